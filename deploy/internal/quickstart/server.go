//go:build linux

package quickstart

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"

	"lastlight/deploy/internal/tour"
)

const (
	readyWithin = 30 * time.Second
	endsWithin  = 15 * time.Second
)

// serverCommands are the commands of lastlightd that a run uses, as their first words.
var serverCommands = [][]string{{"tls"}, {"migrate", "up"}, {"first-token"}, {"serve"}}

// UsesServerCommand tells whether every run uses a command of lastlightd; the documents may then name it.
func UsesServerCommand(words []string) bool {
	return slices.ContainsFunc(serverCommands, func(used []string) bool { return slices.Equal(used, words) })
}

// startServer makes certificates, migrates the database, makes the first token and starts lastlightd; it returns when the server says that it serves.
func (r *run) startServer(ctx context.Context, database string, now time.Time, clean *cleanup) (*daemon, error) {
	var err error
	if r.address, err = freeAddress(); err != nil {
		return nil, err
	}
	env := append(r.baseEnv(),
		"LASTLIGHT_DATABASE_URL="+database,
		"LASTLIGHT_LISTEN="+r.address,
		"LASTLIGHT_TLS_CERT="+filepath.Join(r.dir, "tls", "server.pem"),
		"LASTLIGHT_TLS_KEY="+filepath.Join(r.dir, "tls", "server.key"),
		"LASTLIGHT_CLUB=Hollowmere Cave Divers",
		"LASTLIGHT_TIME_ZONE="+tour.NoonZone(now),
	)
	for _, args := range [][]string{
		append(slices.Clone(serverCommands[0]), "--dir", r.path("tls"), "--days", "30"),
		serverCommands[1],
		append(slices.Clone(serverCommands[2]), "--out", r.tokenFile(firstPerson)),
	} {
		if err := r.lastlightd(ctx, env, args...); err != nil {
			return nil, err
		}
	}
	log, err := os.OpenFile(r.path("lastlightd.log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	cmd := exec.Command(filepath.Join(r.Bin, "lastlightd"), serverCommands[3]...)
	cmd.Dir, cmd.Env, cmd.Stdout, cmd.Stderr = r.dir, env, log, log
	process, err := startDaemon(cmd)
	if err != nil {
		return nil, err
	}
	clean.add("stop lastlightd", process.stop)
	r.note("lastlightd listens on " + r.address)
	if err := r.awaitServing(ctx, process); err != nil {
		return nil, errors.Join(err, r.serverLog())
	}
	return process, nil
}

// lastlightd runs one command of the server's program to its end.
func (r *run) lastlightd(ctx context.Context, env []string, args ...string) error {
	r.note("lastlightd " + strings.Join(args, " "))
	cmd := exec.CommandContext(ctx, filepath.Join(r.Bin, "lastlightd"), args...)
	cmd.Dir, cmd.Env = r.dir, env
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = endsWithin
	out, err := cmd.CombinedOutput()
	if err != nil {
		return fmt.Errorf("lastlightd %s: %w\n%s", args[0], errors.Join(ctx.Err(), err), out)
	}
	return nil
}

// freeAddress is a loopback address that nobody listens on now.
func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	defer l.Close()
	return l.Addr().String(), nil
}

func (r *run) awaitServing(ctx context.Context, process *daemon) error {
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	trust, err := credentials.NewClientTLSFromFile(filepath.Join(r.dir, "tls", "ca.pem"), "")
	if err != nil {
		return err
	}
	conn, err := grpc.NewClient(r.address, grpc.WithTransportCredentials(trust))
	if err != nil {
		return err
	}
	defer conn.Close()
	health := grpc_health_v1.NewHealthClient(conn)
	for {
		attempt, cancel := context.WithTimeout(ctx, time.Second)
		reply, err := health.Check(attempt, &grpc_health_v1.HealthCheckRequest{})
		cancel()
		if err == nil && reply.GetStatus() == grpc_health_v1.HealthCheckResponse_SERVING {
			return nil
		}
		select {
		case <-process.done:
			return fmt.Errorf("lastlightd ended: %w", process.exit)
		case <-ctx.Done():
			return fmt.Errorf("lastlightd does not serve: %w", errors.Join(ctx.Err(), err))
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// serverLog is an error that holds the end of the server's log, since the log goes with the run.
func (r *run) serverLog() error {
	text, err := os.ReadFile(r.path("lastlightd.log"))
	if err != nil {
		return err
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return fmt.Errorf("the end of lastlightd's log:\n%s", strings.Join(lines[max(0, len(lines)-20):], "\n"))
}

// daemon is a child that ends with this process, however that ends.
type daemon struct {
	process *os.Process
	done    chan struct{}
	exit    error // valid once done is closed
}

func startDaemon(cmd *exec.Cmd) (*daemon, error) {
	// Setpgid: Ctrl-C reaches us alone, and we end things in order.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGTERM}
	d := &daemon{done: make(chan struct{})}
	started := make(chan error)
	go func() {
		// Pdeathsig follows the thread that forked, so that thread must live as long as the child.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err != nil {
			return
		}
		if d.exit = cmd.Wait(); d.exit == nil {
			d.exit = errors.New("exit status 0")
		}
		close(d.done)
	}()
	if err := <-started; err != nil {
		return nil, fmt.Errorf("start %s: %w", cmd.Path, err)
	}
	d.process = cmd.Process
	return d, nil
}

// stop asks the child to end, and kills it if it does not; that it had to be killed, or had ended before, is an error.
func (d *daemon) stop() error {
	select {
	case <-d.done:
		return fmt.Errorf("it had ended by itself: %w", d.exit)
	default:
	}
	if err := d.process.Signal(syscall.SIGTERM); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return err
	}
	select {
	case <-d.done:
		if code := exitCode(d.exit); code != 0 {
			return fmt.Errorf("it ended with exit code %d", code)
		}
		return nil
	case <-time.After(endsWithin):
	}
	if err := d.process.Kill(); err != nil {
		return err
	}
	<-d.done
	return fmt.Errorf("it did not end within %v and was killed", endsWithin)
}

func exitCode(err error) int {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode()
	}
	return 0
}
