// Package command holds the commands of lastlight, one file per noun. It is
// thin: it reads flags and files into the API's messages, calls, and shows
// the answer. It knows no rule and computes nothing about a dive.
package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"time"

	_ "time/tzdata" // zones of sites, also where the machine has none

	"github.com/google/uuid"
	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"lastlight/client/config"
	"lastlight/client/exit"
	"lastlight/client/link"
	"lastlight/client/recordfile"
	"lastlight/client/screen"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

// Streams are what a run reads and writes.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
	Env      func(string) string
	Now      func() time.Time
	// Out is a terminal; Err is one.
	Terminal, ErrTerminal bool
}

// form is how answers are written.
type form string

const (
	asTable form = "table"
	asTabs  form = "tabs"
	asJSON  form = "json"
)

// app is one run of the program.
type app struct {
	Streams
	profile   string
	given     config.Values
	timeout   time.Duration
	requestID string
	as        string
	json      bool

	settings config.Settings
	conn     *grpc.ClientConn
	zones    map[string]*time.Location
	wrote    bool
	// began is what every "now" of a command line means: two flags of it say the same instant.
	began time.Time
}

// Process runs the program on the process's own streams.
func Process() exit.Code {
	return Main(os.Args[1:], Streams{
		In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Env: os.Getenv, Now: time.Now,
		Terminal: terminal(os.Stdout), ErrTerminal: terminal(os.Stderr),
	})
}

// Main runs one command line and tells the exit code.
func Main(args []string, s Streams) exit.Code {
	a := &app{Streams: s, zones: map[string]*time.Location{}, began: s.Now()}
	root := a.root()
	root.SetArgs(args)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	err := root.ExecuteContext(ctx)
	if a.conn != nil {
		a.conn.Close()
	}
	if err == nil {
		return exit.Done
	}
	id := ""
	if a.wrote {
		id = a.requestID
	}
	if text := exit.Explain(err, id); text != "" {
		fmt.Fprintln(s.Err, "lastlight: "+screen.Clean(text))
	}
	return exit.Of(err)
}

func terminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "lastlight",
		Short: "Records and plans of a cave diving club",
		Long: `lastlight talks to the club's server: sites, people, gear, plans, who is in the
water, and what happened. Lists are tables on a terminal, tabs when piped,
JSON with --json.

` + screen.Hang(screen.Cautions[0], 0),
		Example:       "  lastlight login --server club.example:7443 --ca club-ca.pem < token\n  lastlight ready\n  lastlight plan submit loop-1",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          a.noSuch,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetIn(a.In)
	root.SetOut(a.Out)
	root.SetErr(a.Err)
	f := root.PersistentFlags()
	f.StringVar(&a.profile, "profile", "", "profile of the settings file")
	f.StringVar(&a.given.Server, "server", "", "HOST:PORT of the club's server")
	f.StringVar(&a.given.CA, "ca", "", "PEM file of the club's CA, the only one trusted")
	f.StringVar(&a.given.TokenFile, "token-file", "", "file with the token, mode 0600")
	f.StringVar(&a.given.Units, "units", "", "metric or imperial")
	f.DurationVar(&a.timeout, "timeout", config.DefaultTimeout, "deadline of each call")
	f.StringVar(&a.requestID, "request-id", "", "UUID of a write to repeat; it is done once only")
	f.StringVar(&a.as, "as", "", "table, tabs or json (else table on a terminal, tabs when piped)")
	f.BoolVar(&a.json, "json", false, "the same as --as json")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return usage(cmd, err) })
	root.PersistentPreRunE = func(*cobra.Command, []string) error { return a.prepare() }
	root.AddGroup(
		&cobra.Group{ID: "day", Title: "The day:"},
		&cobra.Group{ID: "records", Title: "Records:"},
		&cobra.Group{ID: "access", Title: "Access and settings:"},
	)
	day := []*cobra.Command{a.ready(), a.due(), a.plan(), a.waiver(), a.watch(), a.board(), a.reading(), a.gas(), a.stopAll()}
	records := []*cobra.Command{
		a.apply(), a.export(), a.sheet(), a.site(), a.survey(), a.permit(), a.left(), a.person(), a.card(), a.cylinder(), a.cylinderSet(), a.equipment(),
		a.fill(), a.analysis(), a.custody(), a.policy(), a.expedition(), a.dive(), a.incident(), a.digest(),
	}
	access := []*cobra.Command{a.whoami(), a.login(), a.settingsCommand(), a.role(), a.token(), a.events(), a.version()}
	for group, commands := range map[string][]*cobra.Command{"day": day, "records": records, "access": access} {
		for _, c := range commands {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	root.AddCommand(exitCodes())
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), "FlagUsages | trimTrailingWhitespaces", "FlagUsagesWrapped 80 | trimTrailingWhitespaces"))
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), " for more information about a command.", " tells more."))
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			finishCompletion(c)
		}
	}
	return root
}

// prepare checks the flags that every command has.
func (a *app) prepare() error {
	if a.json {
		a.as = string(asJSON)
	}
	if a.as == "" {
		a.as = a.Env("LASTLIGHT_AS")
	}
	switch form(a.as) {
	case asTable, asTabs, asJSON:
	case "":
		a.as = string(asTabs)
		if a.Terminal {
			a.as = string(asTable)
		}
	default:
		return exit.Errorf(exit.Usage, "--as %q: table, tabs or json", a.as)
	}
	if a.timeout <= 0 || a.timeout > time.Hour {
		return exit.Errorf(exit.Usage, "--timeout %s: more than 0, at most 1h", a.timeout)
	}
	if a.requestID == "" {
		a.requestID = uuid.NewString()
	} else if _, err := uuid.Parse(a.requestID); err != nil {
		return exit.Errorf(exit.Usage, "--request-id %q is no UUID", a.requestID)
	}
	var err error
	a.settings, err = config.Load(a.Env, a.profile, a.given)
	return err
}

// dial gives the run's one connection.
func (a *app) dial() (*grpc.ClientConn, error) {
	if a.conn != nil {
		return a.conn, nil
	}
	if err := a.settings.Reachable(); err != nil {
		return nil, err
	}
	token, err := config.ReadToken(a.settings.TokenFile)
	if err != nil {
		return nil, err
	}
	a.conn, err = link.Dial(link.Options{
		Server: a.settings.Server, CAFile: a.settings.CA, Token: token, Timeout: a.timeout, Version: programVersion(),
	})
	return a.conn, err
}

// view is how screens show values: units by setting, times in a site's zone.
func (a *app) view(ctx context.Context) screen.View {
	return screen.View{
		Units: units.System(a.settings.Units),
		Page:  form(a.as) == asTable,
		Bold:  a.Terminal && a.Env("NO_COLOR") == "" && a.Env("TERM") != "dumb",
		Now:   a.Now(),
		Out:   a.Out,
		Zone:  func(site string) *time.Location { return a.zone(ctx, site) },
	}
}

// zone is the time zone of a site, asked of the server once a run. Where it
// cannot be had, times stay in UTC and say so by their offset.
func (a *app) zone(ctx context.Context, site string) *time.Location {
	if site == "" {
		return time.UTC
	}
	if z, ok := a.zones[site]; ok {
		return z
	}
	z := time.UTC
	if conn, err := a.dial(); err == nil {
		if s, err := pb.NewSiteServiceClient(conn).GetSite(ctx, &pb.GetSiteRequest{Id: site}); err == nil {
			if l, err := time.LoadLocation(s.GetTimeZone()); err == nil && s.GetTimeZone() != "" {
				z = l
			}
		}
	}
	a.zones[site] = z
	return z
}

// noun makes the command that groups a noun's verbs.
func (a *app) noun(name, short string, verbs ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{
		Use: name, Short: short, Args: a.noSuch,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	// The first verb's example stands for the noun.
	c.Example = verbs[0].Example
	c.AddCommand(verbs...)
	return c
}

func (a *app) noSuch(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	msg := fmt.Sprintf("%q is no command of %q", args[0], cmd.CommandPath())
	if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
		msg += "; perhaps " + strings.Join(near, ", ")
	}
	return usage(cmd, errors.New(msg))
}

func usage(cmd *cobra.Command, err error) error {
	return exit.Errorf(exit.Usage, "%w\n`%s --help` shows how", err, cmd.CommandPath())
}

// arity checks positional arguments: between least and most, named in the usage line.
func arity(least, most int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least || len(args) > most {
			return usage(cmd, fmt.Errorf("%d arguments given: %s", len(args), cmd.UseLine()))
		}
		return nil
	}
}

// open reads a -f file within the limits; its problems are invalid input.
func (a *app) open(path string) (recordfile.Source, error) {
	src, err := recordfile.Open(path, a.In)
	var ps recordfile.Problems
	if errors.As(err, &ps) {
		return src, exit.With(exit.Invalid, ps)
	}
	return src, err
}

func (a *app) note(format string, args ...any) {
	fmt.Fprintf(a.Err, "lastlight: "+format+"\n", args...)
}

// progress tells on a terminal that long work goes on.
func (a *app) progress(format string, args ...any) {
	if a.ErrTerminal {
		a.note(format, args...)
	}
}

// waiting shows, on a terminal, every few seconds how long an answer has been awaited, until done is called.
func (a *app) waiting(what string) (done func()) {
	if !a.ErrTerminal {
		return func() {}
	}
	a.note("%s …", what)
	began, stop, ended := a.Now(), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(3 * time.Second)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				a.note("%s … %.0f s", what, a.Now().Sub(began).Seconds())
			case <-stop:
				return
			}
		}
	}()
	return func() { close(stop); <-ended }
}
