//go:build linux

package postgres

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// makeDirs makes the directory and the socket directory in it, both the server user's own. A directory that holds something
// else is refused: it would change hands.
func makeDirs(dir string, who *account) error {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		if _, err := os.Stat(filepath.Join(dir, "socket")); err != nil {
			return fmt.Errorf("%s holds other files; name an empty or a new directory for PostgreSQL", dir)
		}
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return err
	}
	for _, d := range []string{dir, filepath.Join(dir, "socket")} {
		if err := os.Mkdir(d, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
		if err := who.own(d); err != nil {
			return err
		}
		if err := os.Chmod(d, 0o700); err != nil {
			return err
		}
	}
	return nil
}

// ensureCluster makes dir/data by initdb unless it is there. initdb works in a directory of its own that is renamed when it is
// whole, so that one cut short never passes for a cluster.
func ensureCluster(ctx context.Context, bin, dir string, who *account, throwaway bool) error {
	data := filepath.Join(dir, "data")
	if _, err := os.Stat(filepath.Join(data, "PG_VERSION")); err == nil {
		return nil
	}
	fresh, err := os.MkdirTemp(dir, "initdb-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(fresh)
	if err := who.own(fresh); err != nil {
		return err
	}
	// Trust, because only those who can enter the socket's directory can connect at all.
	args := []string{"-D", fresh, "-U", Superuser, "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8", "--data-checksums"}
	if throwaway {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, filepath.Join(bin, "initdb"), args...)
	cmd.Dir, cmd.Env = "/", environment()
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: who.credential(), Setsid: true}
	// Not Kill: initdb then leaves its bootstrap server behind.
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = 10 * time.Second
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w\n%s", err, bytes.TrimSpace(out))
	}
	if err := os.Rename(fresh, data); err != nil {
		return fmt.Errorf("put the new cluster in place: %w", err)
	}
	return nil
}

// environment is the whole environment of PostgreSQL's programs: PGDATA and its kind in ours must not reach them.
func environment() []string {
	return []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL=C.UTF-8", "TZ=UTC"}
}

// readPidFile returns the process id (line 1) and the status (line 8) of postmaster.pid; 0 and "" where they are missing.
func readPidFile(data string) (pid int, status string) {
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		return 0, ""
	}
	lines := strings.Split(string(text), "\n")
	pid, err = strconv.Atoi(strings.TrimSpace(lines[0]))
	if err != nil {
		return 0, ""
	}
	if len(lines) >= 8 {
		status = strings.TrimSpace(lines[7])
	}
	return pid, status
}

// awaitPredecessor waits for an earlier postmaster of the same cluster that is on its way out: one whose launcher was killed
// takes a moment to shut down, and may then stay a zombie, which PostgreSQL takes for alive. The pid file is never deleted:
// it is all that keeps two servers off one cluster.
func awaitPredecessor(ctx context.Context, data string) error {
	pid, _ := readPidFile(data)
	if pid == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, stopWithin)
	defer cancel()
	for {
		state, ours := inspect(pid, data)
		if state == 0 || !ours && state != 'Z' {
			return nil // gone, or another program under a number used again: PostgreSQL itself tells
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("%s is in use by the PostgreSQL server with process id %d", data, pid)
		case <-time.After(pollEvery):
		}
	}
}

// inspect returns the state letter of a process (0: there is none) and whether it works in the data directory, as a postmaster does.
func inspect(pid int, data string) (state byte, ours bool) {
	proc := filepath.Join("/proc", strconv.Itoa(pid))
	stat, err := os.ReadFile(filepath.Join(proc, "stat"))
	if err != nil {
		return 0, false
	}
	// The name, in parentheses, may hold anything; the state follows the last parenthesis.
	if i := bytes.LastIndex(stat, []byte(") ")); i >= 0 && i+2 < len(stat) {
		state = stat[i+2]
	}
	cwd, err := os.Readlink(filepath.Join(proc, "cwd"))
	return state, err == nil && cwd == data
}

// tail returns the last lines of a log, for an error.
func tail(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return strings.Join(lines[max(0, len(lines)-15):], "\n")
}
