package command

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/exit"
	"lastlight/client/screen"
	"lastlight/client/table"
)

// Rows asked for at a time, and most rows of one command.
const (
	pageSize = 200
	mostRows = 10000
)

// column is one column of a list.
type column[M any] struct {
	table.Column
	text func(screen.View, M) string
}

func col[M any](title string, text func(screen.View, M) string) column[M] {
	return column[M]{table.Column{Title: title}, text}
}

func wide[M any](title string, text func(screen.View, M) string) column[M] {
	return column[M]{table.Column{Title: title, Wraps: true}, text}
}

func plain[M any](title string, text func(M) string) column[M] {
	return col(title, func(_ screen.View, m M) string { return text(m) })
}

func words[M any](title string, text func(M) string) column[M] {
	return wide(title, func(_ screen.View, m M) string { return text(m) })
}

// list makes the command of a call that answers in pages: all pages up to
// --limit, as one table.
func list[C any, R, S, M message](a *app, v verb, client func(grpc.ClientConnInterface) C, m method[C, R, S], columns ...column[M]) *cobra.Command {
	cmd, build := command[R](a, v)
	limit := cmd.Flags().Int("limit", mostRows, "most rows to show")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *limit < 1 || *limit > mostRows {
			return exit.Errorf(exit.Usage, "--limit %d: 1 to %d", *limit, mostRows)
		}
		req := fresh[R]()
		if err := build.request(cmd, args, req, nil); err != nil {
			return err
		}
		if lines := req.ProtoReflect().Descriptor().Fields().ByName("lines"); lines != nil && form(a.as) != asJSON {
			req.ProtoReflect().Set(lines, protoreflect.ValueOfBool(true))
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		all, more, err := pages(cmd.Context(), a, client(conn), m, req, *limit)
		if err != nil {
			return build.placed(err)
		}
		err = a.answer(cmd.Context(), all, func(w screen.View) error { return rows(w, all, columns) })
		if more {
			a.note("there are more than %d: narrow the list or raise --limit", *limit)
		}
		return err
	}
	return cmd
}

// pages follows the pages of a list into one answer of at most limit rows.
func pages[C any, R, S message](ctx context.Context, a *app, client C, m method[C, R, S], req R, limit int) (all S, more bool, err error) {
	r := req.ProtoReflect()
	size, token := r.Descriptor().Fields().ByName("page_size"), r.Descriptor().Fields().ByName("page_token")
	all = fresh[S]()
	rows := rowsField(all)
	next := all.ProtoReflect().Descriptor().Fields().ByName("next_page_token")
	into := all.ProtoReflect().Mutable(rows).List()
	for {
		r.Set(size, protoreflect.ValueOfInt32(int32(min(pageSize, limit-into.Len()))))
		page, err := m(client, ctx, req)
		if err != nil {
			return all, false, err
		}
		got := page.ProtoReflect().Get(rows).List()
		page.ProtoReflect().Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			if fd != rows && fd != next { // what an answer says beside its rows: the last page's
				all.ProtoReflect().Set(fd, v)
			}
			return true
		})
		for i := range got.Len() {
			if into.Len() < limit {
				into.Append(got.Get(i))
			}
		}
		to := page.ProtoReflect().Get(next).String()
		if to == "" || into.Len() >= limit {
			return all, to != "", nil
		}
		if to == r.Get(token).String() {
			return all, false, exit.Errorf(exit.Internal, "the server gave the same page twice")
		}
		a.progress("%d so far …", into.Len())
		r.Set(token, protoreflect.ValueOfString(to))
	}
}

// rowsField is the list of a page: its one repeated block.
func rowsField[S message](s S) protoreflect.FieldDescriptor {
	fields := s.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if fd := fields.Get(i); fd.IsList() && fd.Message() != nil {
			return fd
		}
	}
	panic(string(s.ProtoReflect().Descriptor().Name()) + " has no list")
}

func rows[S, M message](w screen.View, all S, columns []column[M]) error {
	l := all.ProtoReflect().Get(rowsField(all)).List()
	t := table.Table{}
	for _, c := range columns {
		t.Columns = append(t.Columns, c.Column)
	}
	for i := range l.Len() {
		row := make([]string, len(columns))
		for j, c := range columns {
			row[j] = c.text(w, l.Get(i).Message().Interface().(M))
		}
		t.Rows = append(t.Rows, row)
	}
	return w.Table(t)
}
