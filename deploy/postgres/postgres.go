//go:build linux

// Package postgres runs a private PostgreSQL server from the distribution's binaries, for one laptop, the quickstart and tests.
//
// The server listens on a Unix socket only, in a directory that nobody but the server's user (and root) can enter: that
// directory is the credential, so there is no password and no port to collide on. A cluster that the distribution keeps
// (Debian's 15/main) is neither used nor touched.
//
// Run as root, the server runs as the user "postgres", because PostgreSQL refuses to run as root; run as anybody else, it runs
// as that user. It ends with the process that started it, however that process ends.
package postgres

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"syscall"
	"time"

	"lastlight/deploy/internal/workdir"
)

// Superuser is the only role of a new cluster.
const Superuser = "lastlight"

const (
	startWithin = 60 * time.Second // crash recovery of a laptop that lost power included
	stopWithin  = 20 * time.Second // for each of the two ways to stop
	pollEvery   = 10 * time.Millisecond
	// sun_path of unix(7) holds 108 bytes with its final NUL.
	longestSocketPath = 107
)

// Options says where and how a server runs.
type Options struct {
	// Dir holds the cluster (data), its socket and its log. It is made if it does not exist; an existing cluster in it is
	// started again. Every directory above it must let the server's user pass. Empty: a temporary one, removed by Stop.
	Dir string
	// Throwaway gives up durability for speed: a crash of the machine may destroy the data. For tests.
	Throwaway bool
	// Settings are PostgreSQL's parameters, over the defaults of this package.
	Settings map[string]string
}

// Server is a running PostgreSQL.
type Server struct {
	dir       string
	temporary *workdir.Dir // nil if the directory is the caller's
	process   *os.Process
	done      chan struct{} // closed when the postmaster has ended and been waited for
	exit      error         // valid once done is closed
}

// Start makes the cluster if there is none and returns when the server accepts connections. The server lives until Stop, or
// until this process ends. ErrNotInstalled says that there are no binaries to run.
func Start(ctx context.Context, o Options) (*Server, error) {
	bin, err := Binaries()
	if err != nil {
		return nil, err
	}
	who, err := serverAccount()
	if err != nil {
		return nil, err
	}
	s := &Server{dir: o.Dir, done: make(chan struct{})}
	if s.dir == "" {
		if s.temporary, err = temporary(o.Throwaway); err != nil {
			return nil, fmt.Errorf("temporary directory for PostgreSQL: %w", err)
		}
		s.dir = s.temporary.Path
	}
	if err := s.start(ctx, bin, who, o); err != nil {
		return nil, errors.Join(err, s.release())
	}
	return s, nil
}

func (s *Server) start(ctx context.Context, bin string, who *account, o Options) error {
	abs, err := filepath.Abs(s.dir)
	if err != nil {
		return err
	}
	s.dir = abs
	if path := filepath.Join(s.socketDir(), ".s.PGSQL.5432"); len(path) > longestSocketPath {
		return fmt.Errorf("%s: a socket's path may have %d bytes and this has %d; choose a shorter directory", path, longestSocketPath, len(path))
	}
	if err := makeDirs(s.dir, who); err != nil {
		return err
	}
	if err := who.canReach(s.dir); err != nil {
		return err
	}
	if err := ensureCluster(ctx, bin, s.dir, who, o.Throwaway); err != nil {
		return err
	}
	if err := awaitPredecessor(ctx, s.dataDir()); err != nil {
		return err
	}
	return s.launch(ctx, bin, who, o)
}

// launch forks the postmaster and waits until it is ready.
func (s *Server) launch(ctx context.Context, bin string, who *account, o Options) error {
	logFile, err := os.OpenFile(s.LogFile(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer logFile.Close()
	cmd := exec.Command(filepath.Join(bin, "postgres"), s.arguments(o)...)
	cmd.Dir, cmd.Env = "/", environment()
	cmd.Stdout, cmd.Stderr = logFile, logFile
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Credential: who.credential(),
		// SIGINT is PostgreSQL's fast shutdown: no orphan if this process is killed.
		Pdeathsig: syscall.SIGINT,
		// Ctrl-C in a terminal must reach us, not the database, which has to outlive those that use it.
		Setsid: true,
	}
	started := make(chan error)
	go func() {
		// Pdeathsig follows the thread that forked, so that thread must live as long as the server.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err != nil {
			return
		}
		s.exit = cmd.Wait()
		close(s.done)
	}()
	if err := <-started; err != nil {
		close(s.done)
		return fmt.Errorf("start PostgreSQL: %w", err)
	}
	s.process = cmd.Process
	if err := s.awaitReady(ctx); err != nil {
		return errors.Join(err, s.halt())
	}
	return nil
}

func (s *Server) arguments(o Options) []string {
	settings := map[string]string{
		"listen_addresses":        "",
		"unix_socket_directories": s.socketDir(),
		"port":                    "5432", // names the socket file; no port is opened
		"timezone":                "UTC",
		"log_timezone":            "UTC",
		"log_destination":         "stderr",
		"logging_collector":       "off",
		"max_connections":         "200",
	}
	if o.Throwaway {
		settings["fsync"] = "off"
		settings["synchronous_commit"] = "off"
		settings["full_page_writes"] = "off"
		settings["autovacuum"] = "off"
		settings["max_wal_size"] = "128MB" // it may lie in memory
	}
	maps.Copy(settings, o.Settings)
	args := []string{"-D", s.dataDir()}
	for _, name := range slices.Sorted(maps.Keys(settings)) {
		args = append(args, "-c", name+"="+settings[name])
	}
	return args
}

func (s *Server) awaitReady(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, startWithin)
	defer cancel()
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	for {
		if pid, status := readPidFile(s.dataDir()); pid == s.process.Pid && status == "ready" {
			return nil
		}
		select {
		case <-s.done:
			return fmt.Errorf("PostgreSQL ended while starting: %w; the end of %s:\n%s", cmp.Or(s.exit, errors.New("exit status 0")), s.LogFile(), tail(s.LogFile()))
		case <-ctx.Done():
			return fmt.Errorf("PostgreSQL is not ready: %w; the end of %s:\n%s", ctx.Err(), s.LogFile(), tail(s.LogFile()))
		case <-tick.C:
		}
	}
}

// Stop ends the server: sessions are cut, what was committed stays. It returns when the process is gone, and may be called again.
func (s *Server) Stop() error {
	return errors.Join(s.halt(), s.release())
}

// halt asks for a fast shutdown, then for an immediate one. Never SIGKILL: the backends would go on without their postmaster.
func (s *Server) halt() error {
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGQUIT} {
		select {
		case <-s.done:
			return nil
		default:
		}
		if err := s.process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
			return fmt.Errorf("stop PostgreSQL: %w", err)
		}
		select {
		case <-s.done:
			return nil
		case <-time.After(stopWithin):
		}
	}
	return fmt.Errorf("PostgreSQL, process %d, did not stop within %v", s.process.Pid, 2*stopWithin)
}

func (s *Server) release() error {
	if s.temporary == nil {
		return nil
	}
	t := s.temporary
	s.temporary = nil
	return t.Remove()
}

// Pid is the process id of the postmaster.
func (s *Server) Pid() int { return s.process.Pid }

// LogFile is where the server writes its log.
func (s *Server) LogFile() string { return filepath.Join(s.dir, "log") }

func (s *Server) dataDir() string   { return filepath.Join(s.dir, "data") }
func (s *Server) socketDir() string { return filepath.Join(s.dir, "socket") }

// URL is the connection URL of one database of the server. A new cluster has the database "postgres".
func (s *Server) URL(database string) string {
	q := url.Values{"host": {s.socketDir()}, "port": {"5432"}, "user": {Superuser}}
	return (&url.URL{Scheme: "postgres", Path: "/" + database, RawQuery: q.Encode()}).String()
}
