//go:build linux

package postgres

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// launcherDir, when set, makes this test binary a launcher that starts a server there and waits to be killed.
const launcherDir = "LASTLIGHT_TEST_LAUNCHER_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(launcherDir); dir != "" {
		s, err := Start(context.Background(), Options{Dir: dir, Throwaway: true})
		if err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
		fmt.Println("ready", s.Pid())
		select {}
	}
	os.Exit(m.Run())
}

// reachableDir is a new directory under which the server's user can work: testing's own is closed to others.
func reachableDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "lastlight-launcher-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "pg")
}

func start(t *testing.T, o Options) *Server {
	t.Helper()
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Stop(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func run(t *testing.T, s *Server, sql string) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), s.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(t.Context())
	if _, err := c.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

func one[T any](t *testing.T, s *Server, sql string) T {
	t.Helper()
	c, err := pgx.Connect(t.Context(), s.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(t.Context())
	var v T
	if err := c.QueryRow(t.Context(), sql).Scan(&v); err != nil {
		t.Fatal(err)
	}
	return v
}

func TestServesAndLeavesNothing(t *testing.T) {
	// What the caller's environment says about other servers must not matter.
	t.Setenv("PGDATA", "/nowhere")
	t.Setenv("PGPORT", "1")
	t.Setenv("PGHOST", "/nowhere")
	s := start(t, Options{Throwaway: true, Settings: map[string]string{"max_connections": "17"}})
	if got := one[string](t, s, "SHOW max_connections"); got != "17" {
		t.Errorf("max_connections is %s, not the 17 asked for", got)
	}
	if got := one[string](t, s, "SHOW listen_addresses"); got != "" {
		t.Errorf("the server listens on %q; only its socket was wanted", got)
	}
	if got := one[string](t, s, "SELECT datcollate || ' ' || pg_encoding_to_char(encoding) FROM pg_database WHERE datname = 'postgres'"); got != "C.UTF-8 UTF8" {
		t.Errorf("collation and encoding are %q", got)
	}
	info, err := os.Stat(filepath.Join(s.dir, "socket"))
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o700 {
		t.Errorf("the socket's directory is open to others: %v", info.Mode())
	}
	dir, pid := s.dir, s.Pid()
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%s is still there", dir)
	}
	if state, _ := inspect(pid, dir); state != 0 {
		t.Errorf("process %d is still there, in state %c", pid, state)
	}
	if err := s.Stop(); err != nil {
		t.Errorf("a second Stop: %v", err)
	}
}

func TestSecondStartKeepsData(t *testing.T) {
	t.Parallel()
	dir := reachableDir(t)
	s := start(t, Options{Dir: dir, Throwaway: true})
	run(t, s, "CREATE TABLE mark AS SELECT 41 AS n")
	if err := s.Stop(); err != nil {
		t.Fatal(err)
	}
	if got := one[int](t, start(t, Options{Dir: dir, Throwaway: true}), "SELECT n FROM mark"); got != 41 {
		t.Errorf("after the second start n = %d, not 41", got)
	}
}

func TestOneServerForEachCluster(t *testing.T) {
	t.Parallel()
	dir := reachableDir(t)
	first := start(t, Options{Dir: dir, Throwaway: true})
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
	defer cancel()
	s, err := Start(ctx, Options{Dir: dir, Throwaway: true})
	if err == nil {
		s.Stop()
		t.Fatal("a second server started on a cluster in use")
	}
	if !strings.Contains(err.Error(), fmt.Sprintf("in use by the PostgreSQL server with process id %d", first.Pid())) {
		t.Errorf("the error does not name the server: %v", err)
	}
	if got := one[int](t, first, "SELECT 1"); got != 1 {
		t.Error("the first server was disturbed")
	}
}

func TestServerEndsWithItsKilledLauncher(t *testing.T) {
	t.Parallel()
	dir := reachableDir(t)
	launcher := exec.Command(os.Args[0])
	launcher.Env = append(os.Environ(), launcherDir+"="+dir)
	out, err := launcher.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := launcher.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	var pid int
	if _, scanErr := fmt.Sscanf(line, "ready %d", &pid); err != nil || scanErr != nil {
		launcher.Process.Kill()
		launcher.Wait()
		t.Fatalf("launcher said %q, %v", line, err)
	}
	launcher.Process.Signal(syscall.SIGKILL)
	launcher.Wait()
	// At once, while the old postmaster is still on its way out.
	s := start(t, Options{Dir: dir, Throwaway: true})
	if s.Pid() == pid {
		t.Error("the new server has the old one's process id")
	}
	if got := one[int](t, s, "SELECT 1"); got != 1 {
		t.Error("the new server does not answer")
	}
}

func TestCancelledStartLeavesNothing(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond) // within initdb, which takes longer
	defer cancel()
	dir := reachableDir(t)
	if s, err := Start(ctx, Options{Dir: dir, Throwaway: true}); err == nil {
		s.Stop()
		t.Skip("this machine started a server within 50 ms")
	}
	left, err := filepath.Glob(filepath.Join(dir, "initdb-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
	start(t, Options{Dir: dir, Throwaway: true})
}

func TestRefusesDirectoryOfOthers(t *testing.T) {
	t.Parallel()
	dir := reachableDir(t)
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "letter"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if s, err := Start(t.Context(), Options{Dir: dir, Throwaway: true}); err == nil {
		s.Stop()
		t.Fatal("took over a directory that holds other files")
	}
	if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o755 {
		t.Errorf("the directory was changed: %v %v", info, err)
	}
}

func TestNamesTheClosedParent(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("only root starts the server as another user")
	}
	dir := reachableDir(t)
	if err := os.Chmod(filepath.Dir(dir), 0o700); err != nil {
		t.Fatal(err)
	}
	s, err := Start(t.Context(), Options{Dir: dir, Throwaway: true})
	if err == nil {
		s.Stop()
		t.Fatal("started under a directory that the server's user cannot pass")
	}
	if !strings.Contains(err.Error(), filepath.Dir(dir)+" (mode -rwx------)") {
		t.Errorf("the error does not name the closed directory: %v", err)
	}
}

func TestTellsWhyItDidNotStart(t *testing.T) {
	t.Parallel()
	s, err := Start(t.Context(), Options{Throwaway: true, Settings: map[string]string{"no_such_setting": "1"}})
	if err == nil {
		s.Stop()
		t.Fatal("started with an unknown setting")
	}
	if !strings.Contains(err.Error(), "no_such_setting") {
		t.Errorf("the server's own words are missing: %v", err)
	}
}
