package command

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
	"lastlight/client/screen"
	"lastlight/client/sheet"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// sheet is records as spreadsheets.
func (a *app) sheet() *cobra.Command {
	return a.noun("sheet", "Records as spreadsheets (CSV), in and out", a.sheetIn(), a.sheetOut(), a.sheetColumns())
}

func (a *app) sheetIn() *cobra.Command {
	var mapping string
	var dry, confirmed bool
	cmd := &cobra.Command{
		Use: "in FILE...", Short: "Enter records from CSV files: all or nothing",
		Long: `A sheet has a row of headings. Headings that are field paths need no mapping;
the file's name then begins with the kind: person.csv, person.cards.csv. For a
club's own spreadsheet a mapping ties its headings to the fields, once:

  kind: person
  fields:
    id: "{Member no}"
    full_name: "{First name} {Name}"
    birth_day: "{Born}"
  keys: [id]          # small letters, digits and hyphens are made of it
  words: {material: {Stahl: steel}}
  dates: DMY          # or MDY, YMD, MY, YM; ISO dates are always read
  zone: Europe/Oslo   # of times without an offset
  decimal: comma
  separator: ";"
  encoding: windows-1252

What is there already and equal is left alone, and so is what the sheet has no
column for, or an empty cell. Every problem is shown at once by row and column.
A year of two digits is completed only where one century fits; what was read is
shown, and --dates-confirmed says that it is right.`,
		Example: "  lastlight sheet in members.csv --map members.yaml --dry-run",
		Args:    arity(1, math.MaxInt),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.readSheets(cmd, args, mapping, dry, confirmed)
		},
	}
	cmd.Flags().StringVar(&mapping, "map", "", "YAML file that ties headings to fields")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "show every problem and what would change; store nothing")
	cmd.Flags().BoolVar(&confirmed, "dates-confirmed", false, "the completed dates shown by a dry run are right")
	return cmd
}

func (a *app) readSheets(cmd *cobra.Command, files []string, mapping string, dry, confirmed bool) error {
	if !cmd.Flags().Changed("timeout") {
		a.timeout = filesTimeout
	}
	o := sheet.Options{Now: a.Now()}
	if mapping != "" {
		src, err := recordfile.Open(mapping, a.In)
		if err == nil {
			o.Mapping, err = sheet.ReadMapping(src)
		}
		if err != nil {
			return exit.With(exit.Invalid, err)
		}
	}
	sources, problems := a.openAll(files)
	conn, err := a.dial()
	if err != nil {
		return withProblems(problems, err)
	}
	who, err := pb.NewAccessServiceClient(conn).WhoAmI(cmd.Context(), &pb.WhoAmIRequest{})
	if err != nil {
		return withProblems(problems, err)
	}
	o.Zone = who.GetClubTimeZone()
	o.Existing = func(kind string, ids []string) ([]*pb.Record, error) { return a.onRecord(cmd.Context(), kind, ids) }
	read, found, err := sheet.Read(sources, o)
	if err != nil {
		return withProblems(problems, err)
	}
	problems = append(problems, found...)
	if len(read.Unused) > 0 {
		a.note("not read, no field is tied to these columns: %s", strings.Join(read.Unused, ", "))
	}
	for _, e := range read.Echoes {
		a.note("%s", e)
	}
	if len(read.Echoes) > 0 && !dry && !confirmed {
		return exit.Errorf(exit.Invalid, "%d dates were completed as shown; nothing was stored. If they are right: --dates-confirmed", len(read.Echoes))
	}
	if len(sources) < len(files) || len(read.File.Records) == 0 && len(problems) > 0 {
		return exit.With(exit.Invalid, problems)
	}
	if len(read.File.Records) == 0 {
		return exit.Errorf(exit.Invalid, "no rows below the headings; nothing was stored")
	}
	return a.applyRecords(cmd, read.File, problems, dry)
}

// onRecord asks for records by id, as an export gives them.
func (a *app) onRecord(ctx context.Context, kind string, ids []string) ([]*pb.Record, error) {
	conn, err := a.dial()
	if err != nil {
		return nil, err
	}
	var out []*pb.Record
	for chunk := range slices.Chunk(ids, pageSize) {
		req := &pb.ExportRecordsRequest{Kinds: []string{kind}, Ids: chunk, PageSize: pageSize}
		err := a.exported(ctx, conn, req, len(chunk), func(records []*pb.Record) error {
			out = append(out, records...)
			return nil
		})
		if err != nil {
			return nil, err
		}
		a.progress("%d of %d rows compared with what is on record …", len(out), len(ids))
	}
	return out, nil
}

func (a *app) sheetOut() *cobra.Command {
	cmd := &cobra.Command{
		Use: "out DIR [KIND...]", Short: "Write records as CSV files that a spreadsheet opens",
		Long: `Writes every record you may read, or those of the kinds named, into a folder
that is empty or not there: a file for each kind and one for each list within
it. What is kept out of every export is in none. "sheet in" takes them back.

A text that a spreadsheet would run as a formula has an apostrophe in front.

Kinds: ` + screen.Hang(strings.Join(kinds, ", "), 7),
		Example:   "  lastlight sheet out club-sheets\n  lastlight sheet out gear-sheets cylinder equipment",
		ValidArgs: kinds,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage(cmd, fmt.Errorf("name the folder"))
			}
			for _, kind := range args[1:] {
				if !slices.Contains(kinds, strings.ReplaceAll(kind, "-", "_")) {
					return usage(cmd, fmt.Errorf("%q is no kind: %s", kind, strings.Join(kinds, ", ")))
				}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if !cmd.Flags().Changed("timeout") {
				a.timeout = filesTimeout
			}
			return a.writeSheets(cmd.Context(), args[0], args[1:])
		},
	}
	return cmd
}

// Most records of one kind in sheets; a club's lifetime of dives fits.
const mostInSheets = 2_000_000

func (a *app) writeSheets(ctx context.Context, dir string, asked []string) error {
	if there, err := os.ReadDir(dir); err == nil && len(there) > 0 {
		return exit.Errorf(exit.Invalid, "%s is not empty; nothing was written", dir)
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	req := &pb.ExportRecordsRequest{PageSize: pageSize}
	for _, kind := range asked {
		req.Kinds = append(req.Kinds, strings.ReplaceAll(kind, "-", "_"))
	}
	var w sheet.Writer
	err = a.exported(ctx, conn, req, mostInSheets, func(records []*pb.Record) error {
		for _, r := range records {
			w.Add(r)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return exit.With(exit.Invalid, err)
	}
	t := table.Table{Columns: []table.Column{{Title: "file"}, {Title: "rows"}}}
	for _, name := range w.Names() {
		if err := writeSheet(&w, dir, name); err != nil {
			return exit.With(exit.Invalid, err)
		}
		t.Rows = append(t.Rows, []string{name, fmt.Sprint(w.Rows(name))})
	}
	return a.view(ctx).Table(t)
}

func writeSheet(w *sheet.Writer, dir, name string) (err error) {
	f, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	return w.Write(f, name)
}

func (a *app) sheetColumns() *cobra.Command {
	return &cobra.Command{
		Use: "columns KIND", Short: "The columns that sheets of a kind can have",
		Long: `Each path can be a heading, or stand under fields: in a mapping. Columns of a
list go into a sheet of their own: person.cards.csv has id, cards.id,
cards.issued_day …`,
		Example:   "  lastlight sheet columns person",
		ValidArgs: kinds,
		Args:      arity(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			columns, err := sheet.Columns(strings.ReplaceAll(args[0], "-", "_"))
			if err != nil {
				return usage(cmd, err)
			}
			t := table.Table{Columns: []table.Column{{Title: "column"}, {Title: "expected", Wraps: true}}}
			for _, c := range columns {
				expected := "the place of the row, from 1"
				if c.Field != nil {
					expected = recordfile.Expect(c.Field)
				}
				t.Rows = append(t.Rows, []string{c.Path, expected})
			}
			return a.view(cmd.Context()).Table(t)
		},
	}
}
