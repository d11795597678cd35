package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"lastlight/engine"
)

// program is what the commands share.
type program struct {
	from   source
	now    func() time.Time
	out    io.Writer // what was asked for
	errors io.Writer // everything else, logs included
	file   string    // --config
}

// Main runs the program with the arguments of the command line and gives its exit code: 0 done, 1 failed, 2 wrongly called, 5 a file that is not what the
// command reads.
func Main(args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	p := &program{from: fromMachine(), now: time.Now, out: os.Stdout, errors: os.Stderr}
	return p.run(ctx, args)
}

// wrongUse marks an error in how the program was called.
type wrongUse struct{ error }

func (p *program) run(ctx context.Context, args []string) int {
	root := p.root()
	root.SetArgs(args)
	root.SetOut(p.out)
	root.SetErr(p.errors)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	fmt.Fprintln(p.errors, "lastlightd:", err)
	if _, ok := errors.AsType[wrongUse](err); ok {
		return 2
	}
	if _, ok := errors.AsType[badFile](err); ok {
		return 5
	}
	return 1
}

func (p *program) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "lastlightd",
		Short:         "The server of a cave-diving club's records",
		Long:          "The server of a cave-diving club's records.\n\nSettings come from a file (--config or LASTLIGHT_CONFIG) and from the environment,\nwhich has the last word; `lastlightd config` prints them.",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return wrongUse{errors.New("a command is expected: see lastlightd --help")}
		},
	}
	root.PersistentFlags().StringVar(&p.file, "config", "", "file with settings (YAML)")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return wrongUse{err} })
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(p.serveCommand(), p.migrateCommand(), p.firstTokenCommand(), p.tlsCommand(), p.evaluateCommand(), p.retentionCommand(), p.erasuresCommand(), p.configCommand(), p.versionCommand())
	root.Args = asUse(root.Args)
	for _, c := range root.Commands() {
		c.Args = asUse(c.Args)
		for _, below := range c.Commands() {
			below.Args = asUse(below.Args)
		}
	}
	return root
}

// asUse makes wrong arguments an error of use.
func asUse(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if check == nil {
			return nil
		}
		if err := check(c, args); err != nil {
			return wrongUse{err}
		}
		return nil
	}
}

func (p *program) serveCommand() *cobra.Command {
	return &cobra.Command{
		Use: "serve", Short: "Answer calls until SIGTERM or Ctrl-C", Args: cobra.NoArgs,
		Example: "  lastlightd serve --config /etc/lastlight.yaml",
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := load(p.from, p.file, "database_url", "listen", "tls_cert", "tls_key")
			if err != nil {
				return err
			}
			server, err := New(cmd.Context(), c, newLog(p.errors, c.LogLevel), p.now)
			if err != nil {
				return err
			}
			listener, err := (&net.ListenConfig{}).Listen(cmd.Context(), "tcp", c.Listen)
			if err != nil {
				server.pool.Close()
				return fmt.Errorf("listen: %w", err)
			}
			defer runtime.KeepAlive(ballast())
			return server.Serve(cmd.Context(), listener)
		},
	}
}

// ballast is memory that is never touched, so it costs nothing, but counts as in use: garbage is collected when it has grown as
// large as what is in use, and what the server itself holds is a few megabytes, because the records are in the database. Without
// it a fifth of its work under load went into collecting a few megabytes again and again. Where a call holds much, it changes
// nothing, unlike a higher GOGC.
func ballast() []byte { return make([]byte, 128<<20) }

// newLog writes one JSON object a line.
func newLog(w io.Writer, level string) *slog.Logger {
	var l slog.Level
	_ = l.UnmarshalText([]byte(level)) // checked where it was read
	return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{Level: l}))
}

func (p *program) configCommand() *cobra.Command {
	return &cobra.Command{
		Use: "config", Short: "Print the settings as a file, without secrets", Args: cobra.NoArgs,
		Example: "  lastlightd config > lastlight.yaml",
		RunE: func(*cobra.Command, []string) error {
			c, err := load(p.from, p.file)
			if err != nil {
				return err
			}
			return c.Print(p.out)
		},
	}
}

func (p *program) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Print the versions of server and engine", Args: cobra.NoArgs,
		Example: "  lastlightd version",
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintf(p.out, "lastlightd %s, engine %s\n", Version(), engine.Version)
			return err
		},
	}
}
