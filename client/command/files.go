package command

import (
	"context"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
	"lastlight/client/screen"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// A whole club in one call takes longer than a glance at one record.
const filesTimeout = 2 * time.Minute

// apply enters record files: all or nothing.
func (a *app) apply() *cobra.Command {
	var files []string
	dry := false
	cmd := &cobra.Command{
		Use: "apply -f FILE...", Short: "Enter records from YAML files: all or nothing",
		Long: `A file is a list of records, each in the API's own words:

  records:
    - site: {id: hollow-spring, title: Hollow Spring, ...}
    - person: {id: ane, full_name: Ane Holm}

What is there already and equal is left alone. Every problem is shown at once,
with file, line and column; with a problem nothing is stored.`,
		Example: "  lastlight apply -f club.yaml -f gear.yaml --dry-run",
		Args:    cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			// "-f a.yaml b.yaml", as a shell expands -f *.yaml.
			return a.applyFiles(cmd, append(files, args...), dry)
		},
	}
	cmd.Flags().StringArrayVarP(&files, "file", "f", nil, "YAML file with records (- is stdin); may be repeated")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "show every problem and what would change; store nothing")
	return cmd
}

func (a *app) applyFiles(cmd *cobra.Command, files []string, dry bool) error {
	if len(files) == 0 {
		return usage(cmd, fmt.Errorf("no file is given"))
	}
	if !cmd.Flags().Changed("timeout") {
		a.timeout = filesTimeout
	}
	sources, problems := a.openAll(files)
	if len(sources) == 0 {
		return exit.With(exit.Invalid, problems)
	}
	file, found := recordfile.Read(sources...)
	problems = append(problems, found...)
	// With a file that could not be read, or not to its end, the server would judge something else.
	if len(sources) < len(files) || file.Partial {
		return exit.With(exit.Invalid, problems)
	}
	return a.applyRecords(cmd, file, problems, dry)
}

// openAll reads files as they are; what cannot be read is told of every one.
func (a *app) openAll(names []string) (sources []recordfile.Source, problems recordfile.Problems) {
	for _, name := range names {
		src, err := recordfile.Open(name, a.In)
		if ps, ok := err.(recordfile.Problems); ok { //nolint:errorlint // Open returns it unwrapped
			problems = append(problems, ps...)
			continue
		}
		sources = append(sources, src)
	}
	return sources, problems
}

// applyRecords sends what was read. With problems found here already the server is only asked for more of them.
func (a *app) applyRecords(cmd *cobra.Command, file *recordfile.File, problems recordfile.Problems, dry bool) error {
	if len(file.Records) == 0 || len(file.Records) > recordfile.MaxRecords {
		return exit.With(exit.Invalid, problems)
	}
	conn, err := a.dial()
	if err != nil {
		return withProblems(problems, err)
	}
	req := &pb.ApplyRecordsRequest{Records: file.Records, DryRun: dry || len(problems) > 0}
	a.stamp(req)
	if req.DryRun {
		a.wrote = false
	}
	answered := a.waiting(fmt.Sprintf("%d records read; the server judges and stores them", len(file.Records)))
	answer, err := pb.NewRecordServiceClient(conn).ApplyRecords(cmd.Context(), req)
	answered()
	theirs, err := serverProblems(answer, err)
	if err != nil {
		return withProblems(problems, err)
	}
	problems = append(problems, placed(file, theirs, problems)...)
	if len(problems) > 0 {
		problems.Sort(file.Names)
		if form(a.as) == asJSON {
			if err := a.answer(cmd.Context(), problemsMessage(problems), func(screen.View) error { return nil }); err != nil {
				return err
			}
		}
		return exit.With(exit.Invalid, problems)
	}
	return a.answer(cmd.Context(), answer, func(w screen.View) error { return applied(w, file, answer, dry) })
}

// withProblems keeps the local problems in sight where the server could not be asked.
func withProblems(ps recordfile.Problems, err error) error {
	if len(ps) == 0 {
		return err
	}
	return exit.Errorf(exit.Invalid, "%w\nThe server could not be asked for more: %s", ps, exit.Explain(err, ""))
}

// serverProblems takes the problems of an answer, or of an error that is about the fields sent.
func serverProblems(answer *pb.ApplyRecordsResponse, err error) ([]*pb.Problem, error) {
	if err == nil {
		return answer.GetProblems(), nil
	}
	out := violations(err)
	if len(out) == 0 {
		return nil, err
	}
	return out, nil
}

// within is how an error says where in the text of a field its fault stands.
var within = regexp.MustCompile(`^LINE_(\d{1,6})_COLUMN_(\d{1,6})$`)

// described is how an error describes a fault in a line: what is wrong, what was read, what is expected.
var described = regexp.MustCompile(`^(.*?)(?:; read: (.*?))?(?:; expected: (.*))?$`)

// violations are the problems of an error that is about the fields sent; none of any other.
func violations(err error) (out []*pb.Problem) {
	s := status.Convert(err)
	if s.Code() != codes.InvalidArgument {
		return nil
	}
	for _, d := range s.Details() {
		b, ok := d.(*errdetails.BadRequest)
		if !ok {
			continue
		}
		for _, v := range b.GetFieldViolations() {
			p := &pb.Problem{Field: v.GetField(), Message: v.GetDescription()}
			if parts := described.FindStringSubmatch(p.Message); parts != nil {
				p.Message, p.Read, p.Expected = parts[1], parts[2], parts[3]
			}
			if at := within.FindStringSubmatch(v.GetReason()); at != nil {
				line, _ := strconv.Atoi(at[1]) // digits, and few
				column, _ := strconv.Atoi(at[2])
				p.Line, p.Column = int32(line), int32(column)
			}
			out = append(out, p)
		}
	}
	return out
}

// placed gives the server's problems their lines, less what is known here
// already and what follows from a value that could not be read.
func placed(file *recordfile.File, theirs []*pb.Problem, ours recordfile.Problems) recordfile.Problems {
	known := map[string]bool{}
	for _, p := range ours {
		known[p.Field] = true
	}
	var out recordfile.Problems
	for _, p := range theirs {
		if known[p.GetField()] || file.Places.Follows(p) {
			continue
		}
		out = append(out, file.Places.FromServer(p))
	}
	return out
}

func problemsMessage(ps recordfile.Problems) *pb.ApplyRecordsResponse {
	r := &pb.ApplyRecordsResponse{}
	for _, p := range ps {
		r.Problems = append(r.Problems, &pb.Problem{
			Field: p.Field, Read: p.Read, Expected: p.Expected, Message: strings.TrimSuffix(p.Place.String()+": "+p.Message, ": "),
		})
	}
	return r
}

// applied lists what became of each record, then counts.
func applied(w screen.View, file *recordfile.File, r *pb.ApplyRecordsResponse, dry bool) error {
	t := table.Table{Columns: []table.Column{{Title: "outcome"}, {Title: "kind"}, {Title: "id"}, {Title: "changes", Wraps: true}, {Title: "line"}, {Title: "not looked at"}}}
	counts, unseen := map[string]int{}, map[string]int{}
	for i, x := range r.GetRecords() {
		counts[x.GetOutcome()]++
		place, _ := file.Places.Find("records[" + strconv.Itoa(i) + "]")
		t.Rows = append(t.Rows, []string{x.GetOutcome(), x.GetKind(), x.GetId(), strings.Join(x.GetChanges(), ", "), place.String(), strings.Join(x.GetNotLookedAt(), ", ")})
		if fields := strings.Join(x.GetNotLookedAt(), ", "); fields != "" {
			unseen[x.GetKind()+": "+fields]++
		}
	}
	if !w.Page {
		return w.Table(t)
	}
	// The last two are for programs; on a page they would crowd out the rest.
	t.Columns = t.Columns[:4]
	for i := range t.Rows {
		t.Rows[i] = t.Rows[i][:4]
	}
	if err := w.Table(t); err != nil {
		return err
	}
	words := fmt.Sprintf("%d created, %d changed, %d unchanged.", counts["created"], counts["changed"], counts["unchanged"])
	if counts["created"]+counts["changed"] == 0 {
		words = "Nothing changed. " + words
	}
	if dry {
		words = "Dry run, nothing stored: " + words
	}
	for _, what := range slices.Sorted(maps.Keys(unseen)) {
		words += fmt.Sprintf("\nNot looked at, for you do not see it on record: %s (in %d of them). It stays as it is.", what, unseen[what])
	}
	_, err := fmt.Fprintln(w.Out, words)
	return err
}

var kinds = []string{
	"site", "survey", "reading", "permit", "person", "cylinder", "cylinder_set", "equipment", "fill", "analysis", "policy",
	"expedition", "plan", "dive", "incident", "role", "custody_event",
}

var key = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9-]{0,62}$`)

// export writes records as the file they could have come from.
func (a *app) export() *cobra.Command {
	var limit int
	cmd := &cobra.Command{
		Use: "export [KIND] [ID...]", Short: "Write records as a YAML file that apply takes",
		Long: `Writes every record you may read, those of a KIND, or those with the given ids,
less what is kept out of every export: exact positions, gate codes, contacts,
medical status. Applying such a file leaves those untouched.

Kinds: ` + screen.Hang(strings.Join(kinds, ", "), 7),
		Example:   "  lastlight export site > sites.yaml\n  lastlight export cylinder c-12-1 c-12-2",
		ValidArgs: kinds,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 && !slices.Contains(kinds, strings.ReplaceAll(args[0], "-", "_")) {
				return usage(cmd, fmt.Errorf("%q is no kind: %s", args[0], strings.Join(kinds, ", ")))
			}
			for _, id := range args[min(1, len(args)):] {
				if !key.MatchString(id) {
					return usage(cmd, fmt.Errorf("%q is no id", id))
				}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("timeout") {
				a.timeout = filesTimeout
			}
			conn, err := a.dial()
			if err != nil {
				return err
			}
			req := &pb.ExportRecordsRequest{PageSize: pageSize}
			if len(args) > 0 {
				req.Kinds, req.Ids = []string{strings.ReplaceAll(args[0], "-", "_")}, args[1:]
			}
			if err := (typed{cmd: cmd}).check(req); err != nil {
				return err
			}
			return a.exportTo(cmd.Context(), conn, req, limit)
		},
	}
	cmd.Flags().IntVar(&limit, "limit", recordfile.MaxRecords, "most records to write")
	return cmd
}

func (a *app) exportTo(ctx context.Context, conn *grpc.ClientConn, req *pb.ExportRecordsRequest, limit int) error {
	file := recordfile.Writer{Zone: func(site string) *time.Location { return a.zone(ctx, site) }}
	all := &pb.RecordFile{}
	err := a.exported(ctx, conn, req, limit, func(records []*pb.Record) error {
		if form(a.as) == asJSON {
			all.Records = append(all.Records, records...)
			return nil
		}
		return file.Write(a.Out, records)
	})
	if err != nil {
		return err
	}
	if form(a.as) == asJSON {
		return a.answer(ctx, all, func(screen.View) error { return nil })
	}
	return file.Close(a.Out)
}

// exported takes an export's records page by page, at most limit of them.
func (a *app) exported(ctx context.Context, conn *grpc.ClientConn, req *pb.ExportRecordsRequest, limit int, take func([]*pb.Record) error) error {
	written := 0
	for {
		page, err := pb.NewRecordServiceClient(conn).ExportRecords(ctx, req)
		if err != nil {
			return err
		}
		records := page.GetRecords()
		records = records[:min(len(records), limit-written)]
		written += len(records)
		if err := take(records); err != nil {
			return err
		}
		if page.GetNextPageToken() == "" || written >= limit {
			if page.GetNextPageToken() != "" {
				a.note("there are more than %d: raise --limit", limit)
			}
			return nil
		}
		a.progress("%d records so far …", written)
		req.PageToken = page.GetNextPageToken()
	}
}
