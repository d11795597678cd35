package command

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/recordfile"
	"lastlight/client/screen"
)

// update makes the command that changes a record: with flags, the record is
// read, changed and sent back on the version that was read, so that nobody
// else's change is lost; with -f the file is the whole record.
func update[C any, R, G, S message](a *app, v verb, client func(grpc.ClientConnInterface) C, m method[C, R, S],
	ask func(id string) G, get method[C, G, S],
) *cobra.Command {
	cmd, build := command[R](a, v)
	expected := cmd.Flags().String("expected-version", "", "version this change was made on (with -f; else the one that is read)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		req := fresh[R]()
		r := req.ProtoReflect()
		if !cmd.Flags().Changed("file") {
			now, err := get(client(conn), cmd.Context(), ask(args[0]))
			if err != nil {
				return err
			}
			r.Set(r.Descriptor().Fields().ByName(protoreflect.Name(v.block)), protoreflect.ValueOfMessage(now.ProtoReflect()))
			if fd := now.ProtoReflect().Descriptor().Fields().ByName("version"); fd != nil {
				r.Set(r.Descriptor().Fields().ByName("expected_version"), now.ProtoReflect().Get(fd))
			}
		}
		before := func(context.Context, *cobra.Command, R) error {
			if *expected == "" {
				return nil
			}
			if err := recordfile.Set(req, "expected_version", strings.TrimSpace(*expected)); err != nil {
				return usage(cmd, err)
			}
			return nil
		}
		if err := build.request(cmd, args, req, before); err != nil {
			return err
		}
		answer, err := m(client(conn), cmd.Context(), req)
		if err != nil {
			return build.placed(err)
		}
		return a.answer(cmd.Context(), answer, func(w screen.View) error { return done[S]("Changed.")(w, answer) })
	}
	return cmd
}
