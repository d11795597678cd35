package command

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

// verb describes a command that makes one call.
type verb struct {
	use, short, long, example string
	// Fields of the request that positional arguments fill, in order; a "?" at
	// the end of a path: may be left out; "..." at the end of the last: one or more.
	args []string
	// The block of the request that flags and -f fill, e.g. "site"; empty: the request itself.
	block string
	// Fields without a flag, and further flags on nested fields.
	skip, flags []string
	// Flags of the command's own, by the field that each gives; the places in lists left out.
	own map[string]string
	// -f FILE is taken for the block.
	file bool
}

// argPath is the field that a positional argument fills.
func argPath(arg string) string { return strings.TrimSuffix(strings.TrimSuffix(arg, "?"), "...") }

// most is how many positional arguments a verb takes.
func (v verb) most() int {
	if n := len(v.args); n > 0 && strings.HasSuffix(v.args[n-1], "...") {
		return mostRows
	}
	return len(v.args)
}

// message is a message type of the API.
type message interface {
	comparable
	proto.Message
}

// method is a call of a generated client, as the method expression
// pb.SiteServiceClient.CreateSite.
type method[C any, R, S message] func(C, context.Context, R, ...grpc.CallOption) (S, error)

func fresh[M message]() M {
	var zero M
	return zero.ProtoReflect().Type().New().Interface().(M)
}

// call makes a command of one call. before may complete the request or
// refuse; show writes the answer for a person, and gives the exit code.
func call[C any, R, S message](a *app, v verb, client func(grpc.ClientConnInterface) C, m method[C, R, S],
	before func(ctx context.Context, cmd *cobra.Command, req R) error, show func(screen.View, S) error,
) *cobra.Command {
	cmd, build := command[R](a, v)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		req := fresh[R]()
		if err := build.request(cmd, args, req, before); err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		answer, err := m(client(conn), cmd.Context(), req)
		if err != nil {
			return build.placed(err)
		}
		return a.answer(cmd.Context(), answer, func(w screen.View) error { return show(w, answer) })
	}
	return cmd
}

// builder fills the request of a command, and knows where in a file what was sent stands.
type builder[R message] struct {
	request func(cmd *cobra.Command, args []string, req R, before func(context.Context, *cobra.Command, R) error) error
	block   string             // field of the request that the file fills, with a point
	file    string             // empty: none was given
	places  *recordfile.Places // of that file
	typed   typed
}

// placed gives what the server finds wrong its lines in the file that was sent, or the flags that were typed; any other error
// stays as it is.
func (b *builder[R]) placed(err error) error {
	found := violations(err)
	if b.places == nil || len(found) == 0 {
		return b.typed.refused(err)
	}
	var out recordfile.Problems
	for _, p := range found {
		field, ok := strings.CutPrefix(p.GetField(), b.block)
		if !ok { // of the request itself: no line of the file has it
			return b.typed.refused(err)
		}
		p.Field = field
		out = append(out, b.places.FromServer(p))
	}
	out.Sort([]string{b.file})
	return exit.With(exit.Invalid, out)
}

// more asks the server what else is wrong with the record of a faulty file, in a dry run: those faults are then told in the same
// round. Where it cannot be asked, what was found here is told.
func (b *builder[R]) more(ctx context.Context, a *app, req R, faulty recordfile.Problems) recordfile.Problems {
	fd := req.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(strings.TrimSuffix(b.block, ".")))
	if slices.ContainsFunc(faulty, func(p recordfile.Problem) bool { return p.Field == "" }) {
		return nil // of another kind, or not read at all
	}
	if fd == nil || fd.Message() == nil {
		return nil
	}
	record := &pb.Record{}
	kinds := record.ProtoReflect().Descriptor().Fields()
	kind := kinds.ByName(fd.Name())
	for i := 0; kind == nil && i < kinds.Len(); i++ {
		if kinds.Get(i).Message() == fd.Message() {
			kind = kinds.Get(i)
		}
	}
	if kind == nil || kind.Message() != fd.Message() {
		return nil
	}
	record.ProtoReflect().Set(kind, req.ProtoReflect().Get(fd))
	conn, err := a.dial()
	if err != nil {
		return nil
	}
	dry := &pb.ApplyRecordsRequest{Records: []*pb.Record{record}, DryRun: true, RequestId: a.requestID}
	answer, err := pb.NewRecordServiceClient(conn).ApplyRecords(ctx, dry)
	if err != nil {
		return nil
	}
	known := map[string]bool{"id": true} // a command gives it, or the server does
	for _, p := range faulty {
		known[p.Field] = true
	}
	var out recordfile.Problems
	for _, p := range answer.GetProblems() {
		field, ok := strings.CutPrefix(p.GetField(), "records[0]."+string(kind.Name())+".")
		if p.Field = field; ok && !known[field] && !b.places.Follows(p) {
			out = append(out, b.places.FromServer(p))
		}
	}
	return out
}

// command makes the command of a verb and what fills its request: the file,
// then arguments and flags, then before, then the API's own checks.
func command[R message](a *app, v verb) (*cobra.Command, *builder[R]) {
	required := 0
	skip := append([]string{}, v.skip...)
	for _, arg := range v.args {
		if !strings.HasSuffix(arg, "?") {
			required++
		}
		arg = argPath(arg)
		skip = append(skip, arg[strings.LastIndex(arg, ".")+1:])
	}
	cmd := &cobra.Command{Use: v.use, Short: v.short, Long: screen.Hang(v.long, 0), Example: v.example, Args: arity(required, v.most())}
	var zero R
	f := a.fieldsOf(cmd, zero.ProtoReflect().Descriptor(), v.block, skip, v.flags)
	var file string
	if v.file {
		cmd.Flags().StringVarP(&file, "file", "f", "", "YAML file of the record (- is stdin); flags win over it")
	}
	b := &builder[R]{typed: typed{cmd: cmd, verb: v, flags: f.flags}}
	if v.block != "" {
		b.block = v.block + "."
	}
	b.request = func(cmd *cobra.Command, args []string, req R, before func(context.Context, *cobra.Command, R) error) error {
		var faulty recordfile.Problems
		if file != "" {
			src, err := a.open(file)
			if err != nil {
				return err
			}
			r := req.ProtoReflect()
			target := req.ProtoReflect().Interface()
			if v.block != "" {
				fd := r.Descriptor().Fields().ByName(protoreflect.Name(v.block))
				// A file is the whole record: what stood there is not mixed in.
				r.Clear(fd)
				target = r.Mutable(fd).Message().Interface()
			}
			b.file = src.Name
			b.places, faulty = recordfile.ReadMessage(src, target)
		}
		for i, text := range args {
			path := argPath(v.args[min(i, len(v.args)-1)])
			fd, err := recordfile.FieldAt(req.ProtoReflect().Descriptor(), path)
			if err == nil {
				err = a.set(req, path, fd, text)
			}
			if err != nil {
				return usage(cmd, fmt.Errorf("%s: %w", v.argument(i), err))
			}
		}
		if err := f.fill(cmd, req); err != nil {
			return err
		}
		if len(faulty) > 0 {
			faulty = append(faulty, b.more(cmd.Context(), a, req, faulty)...)
			faulty.Sort([]string{b.file})
			return exit.With(exit.Invalid, faulty)
		}
		if before != nil {
			if err := before(cmd.Context(), cmd, req); err != nil {
				return err
			}
		}
		a.stamp(req)
		return b.typed.check(req)
	}
	return cmd, b
}

// stamp gives a write the run's request id.
func (a *app) stamp(req proto.Message) {
	r := req.ProtoReflect()
	if fd := r.Descriptor().Fields().ByName("request_id"); fd != nil {
		r.Set(fd, protoreflect.ValueOfString(a.requestID))
		a.wrote = true
	}
}

// answer writes a message as JSON, or has it shown.
func (a *app) answer(ctx context.Context, m proto.Message, show func(screen.View) error) error {
	if form(a.as) != asJSON {
		return show(a.view(ctx))
	}
	text, err := screen.JSON(m)
	if err != nil {
		return err
	}
	if _, err := a.Out.Write(text); err != nil {
		return err
	}
	// The exit code is the same in every form: the answer is shown to nobody for it.
	w := a.view(ctx)
	w.Out, w.Zone = io.Discard, func(string) *time.Location { return time.UTC }
	return onlyCode(show(w))
}

// onlyCode keeps the refusal of an answer and nothing else.
func onlyCode(err error) error {
	if exit.Of(err) == exit.Refused || exit.Of(err) == exit.Conflict {
		return err
	}
	return nil
}

// detail shows a record field by field.
func detail[M message](w screen.View, m M) error { return w.Detail(m) }

// done shows a record under what was done to it.
func done[M message](what string) func(screen.View, M) error {
	return func(w screen.View, m M) error {
		if w.Page {
			if _, err := fmt.Fprintln(w.Out, what); err != nil {
				return err
			}
		}
		return w.Detail(m)
	}
}
