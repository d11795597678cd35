//go:build linux

// Package quickstart puts a whole Lastlight on one machine for as long as it is looked at: a database, certificates, the server,
// the demo's records. Nothing of it outlives the run.
package quickstart

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"lastlight/deploy/internal/tour"
	"lastlight/deploy/internal/workdir"
	"lastlight/deploy/postgres"
)

// Options says what to run.
type Options struct {
	Bin         string    // directory with the programs lastlightd and lastlight
	Demo        string    // directory with the script "tour" and the files that it names
	DatabaseURL string    // an existing PostgreSQL server; empty: a private one
	Throwaway   bool      // the private server may lose data in a crash of the machine; for tests
	Stay        bool      // after the tour, stay until ctx ends
	Out         io.Writer // what the user sees
	// Then, if set, runs after the tour, while everything still runs.
	Then func(context.Context, Session) error
}

// Session tells how to reach what a run has started.
type Session struct {
	Address        string // of the server
	CAFile         string // that its certificate is checked by
	CommitteeToken string // file with the first token
	Database       string // URL
	ServerPid      int
}

// firstPerson is who gets the first token, on the server's machine.
const firstPerson = "committee"

type run struct {
	Options
	dir     string // of this run
	address string // of the server
}

// Run starts everything, plays the tour, and takes everything down again, whatever happened.
func Run(ctx context.Context, o Options) (err error) {
	var clean cleanup
	defer func() { err = errors.Join(err, clean.do()) }()

	parent, err := postgres.DefaultDir()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return err
	}
	work, err := workdir.New(parent, "quickstart-", nil)
	if err != nil {
		return err
	}
	clean.add("remove "+work.Path, work.Remove)
	r := &run{Options: o, dir: work.Path}
	for _, path := range []*string{&r.Bin, &r.Demo} {
		if *path, err = filepath.Abs(*path); err != nil {
			return err
		}
	}
	now := time.Now()
	steps, err := r.prepare(now)
	if err != nil {
		return err
	}
	r.note("starting a database of this run's own")
	database, err := r.startDatabase(ctx, &clean)
	if err != nil {
		return err
	}
	server, err := r.startServer(ctx, database, now, &clean)
	if err != nil {
		return err
	}
	player := tour.Player{
		Out:      o.Out,
		Values:   tour.Values{Now: now, Kept: map[string]string{"tokens": r.path("tokens")}},
		Programs: map[string]string{"lastlight": filepath.Join(r.Bin, "lastlight")},
		Dir:      r.path("demo"),
		Env:      append(r.baseEnv(), r.clientEnv()...),
		Person:   func(name string) []string { return []string{"LASTLIGHT_TOKEN_FILE=" + r.tokenFile(name)} },
	}
	if err := player.Play(ctx, steps); err != nil {
		return errors.Join(err, r.serverLog())
	}
	if o.Then != nil {
		s := Session{r.address, filepath.Join(r.path("tls"), "ca.pem"), r.tokenFile(firstPerson), database, server.process.Pid}
		if err := o.Then(ctx, s); err != nil {
			return errors.Join(err, r.serverLog())
		}
	}
	if !o.Stay {
		r.note("the tour is over; stopping everything")
		return nil
	}
	return r.stay(ctx, database, server)
}

// prepare makes the run's files: the demo's with today's dates in them, and a place for tokens.
func (r *run) prepare(now time.Time) ([]tour.Step, error) {
	// The database's user passes through it to the database's directory.
	if err := os.Chmod(r.dir, 0o711); err != nil {
		return nil, err
	}
	for _, name := range []string{"tokens", "home"} {
		if err := os.Mkdir(r.path(name), 0o700); err != nil {
			return nil, err
		}
	}
	script, err := os.ReadFile(filepath.Join(r.Demo, "tour"))
	if err != nil {
		return nil, err
	}
	steps, err := tour.Parse(string(script), "lastlight")
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Join(r.Demo, "tour"), err)
	}
	if err := copyDated(r.path("demo"), r.Demo, tour.Values{Now: now}); err != nil {
		return nil, err
	}
	return steps, nil
}

// copyDated copies a directory, with dates in place of the files' placeholders, so that a demo made long ago still happens today.
func copyDated(to, from string, values tour.Values) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		below, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		target := filepath.Join(to, below)
		if d.IsDir() {
			return os.MkdirAll(target, 0o700)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		dated, err := values.ExpandDates(string(text))
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		return os.WriteFile(target, []byte(dated), 0o600)
	})
}

// stay tells how to talk to the server, and waits for Ctrl-C or for the server's end.
func (r *run) stay(ctx context.Context, database string, server *daemon) error {
	var b strings.Builder
	fmt.Fprintf(&b, "\nThe server runs at %s until Ctrl-C. In another terminal:\n\n", r.address)
	fmt.Fprintf(&b, "  export PATH=%s:$PATH\n", r.Bin)
	for _, pair := range append(r.clientEnv(), "LASTLIGHT_TOKEN_FILE="+r.tokenFile(firstPerson)) {
		fmt.Fprintf(&b, "  export %s\n", pair)
	}
	fmt.Fprintf(&b, "  lastlight whoami\n\nTokens of others: %s\nLog: %s\nDatabase: %s\n", r.path("tokens"), r.path("lastlightd.log"), withoutPassword(database))
	if _, err := io.WriteString(r.Out, b.String()); err != nil {
		return err
	}
	select {
	case <-ctx.Done():
		r.note("stopping everything")
		return nil
	case <-server.done:
		return errors.Join(fmt.Errorf("lastlightd ended: %w", server.exit), r.serverLog())
	}
}

func (r *run) note(words string) { fmt.Fprintln(r.Out, "quickstart: "+words) }

func (r *run) path(name string) string { return filepath.Join(r.dir, name) }

func (r *run) tokenFile(person string) string { return filepath.Join(r.dir, "tokens", person) }

// baseEnv is the environment of every program: nothing of the caller's own Lastlight settings reaches them, and what they print is
// for a reader, although it goes through a pipe.
func (r *run) baseEnv() []string {
	return []string{"PATH=/usr/bin:/bin", "HOME=" + r.path("home"), "LANG=C.UTF-8", "TZ=UTC", "COLUMNS=80", "NO_COLOR=1", "LASTLIGHT_AS=table"}
}

func (r *run) clientEnv() []string {
	return []string{"LASTLIGHT_SERVER=" + r.address, "LASTLIGHT_CA=" + filepath.Join(r.dir, "tls", "ca.pem")}
}

// cleanup holds what to undo, and undoes it in the opposite order.
type cleanup struct {
	names []string
	funcs []func() error
}

func (c *cleanup) add(name string, f func() error) {
	c.names, c.funcs = append(c.names, name), append(c.funcs, f)
}

func (c *cleanup) do() error {
	var problems []error
	for i := len(c.funcs) - 1; i >= 0; i-- {
		if err := c.funcs[i](); err != nil {
			problems = append(problems, fmt.Errorf("%s: %w", c.names[i], err))
		}
	}
	return errors.Join(problems...)
}
