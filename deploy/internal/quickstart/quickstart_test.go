//go:build linux

package quickstart

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"

	"lastlight/deploy/postgres"
)

// TestMain makes this binary stand in for the two programs when it is called by their names.
func TestMain(m *testing.M) {
	switch filepath.Base(os.Args[0]) {
	case "lastlightd":
		exit(standInServer(os.Args[1:]))
	case "lastlight":
		exit(standInClient(os.Args[1:]))
	case "quickstart":
		exit(Run(context.Background(), Options{Bin: os.Args[1], Demo: os.Args[2], Stay: true, Throwaway: true, Out: os.Stdout}))
	}
	os.Exit(m.Run())
}

func exit(err error) {
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	os.Exit(0)
}

func standInServer(args []string) error {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	if args[0] == "tls" {
		return standInCertificates(args[2])
	}
	db, err := pgx.Connect(ctx, os.Getenv("LASTLIGHT_DATABASE_URL"))
	if err != nil {
		return err
	}
	defer db.Close(context.Background())
	switch args[0] {
	case "migrate":
		_, err := db.Exec(ctx, "CREATE TABLE migrated (n int)") // fails if the database is not empty
		return err
	case "first-token":
		return os.WriteFile(args[len(args)-1], []byte("first"), 0o600)
	}
	if _, err := db.Exec(ctx, "SELECT n FROM migrated"); err != nil {
		return err
	}
	pair, err := tls.LoadX509KeyPair(os.Getenv("LASTLIGHT_TLS_CERT"), os.Getenv("LASTLIGHT_TLS_KEY"))
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", os.Getenv("LASTLIGHT_LISTEN"))
	if err != nil {
		return err
	}
	s := grpc.NewServer(grpc.Creds(credentials.NewServerTLSFromCert(&pair)))
	grpc_health_v1.RegisterHealthServer(s, health.NewServer())
	context.AfterFunc(ctx, s.GracefulStop)
	fmt.Println("serving")
	return s.Serve(l)
}

// standInCertificates makes one certificate that is its own authority.
func standInCertificates(dir string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	self := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, self, self, &key.PublicKey, key)
	if err != nil {
		return err
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	certificate := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	return errors.Join(
		os.Mkdir(dir, 0o700),
		os.WriteFile(filepath.Join(dir, "ca.pem"), certificate, 0o600),
		os.WriteFile(filepath.Join(dir, "server.pem"), certificate, 0o600),
		os.WriteFile(filepath.Join(dir, "server.key"), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), 0o600),
	)
}

func standInClient(args []string) error {
	switch args[0] {
	case "ask":
		trust, err := credentials.NewClientTLSFromFile(os.Getenv("LASTLIGHT_CA"), "")
		if err != nil {
			return err
		}
		conn, err := grpc.NewClient(os.Getenv("LASTLIGHT_SERVER"), grpc.WithTransportCredentials(trust))
		if err != nil {
			return err
		}
		token, err := os.ReadFile(os.Getenv("LASTLIGHT_TOKEN_FILE"))
		if err != nil {
			return err
		}
		reply, err := grpc_health_v1.NewHealthClient(conn).Check(context.Background(), &grpc_health_v1.HealthCheckRequest{})
		fmt.Printf("asked with %s: %v\n", token, reply.GetStatus())
		return err
	case "show":
		text, err := os.ReadFile(args[1])
		fmt.Print(string(text))
		return err
	case "wait":
		fmt.Println("waiting")
		time.Sleep(time.Minute)
	}
	return errors.New("refused")
}

// stage makes a directory with the two programs and a demo.
func stage(t *testing.T, script string) (Options, *screen) {
	t.Helper()
	dir := t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{"tour": script, "site.yaml": "opened: {today}\nflow: {x}\n"}
	for _, sub := range []string{"bin", "demo"} {
		if err := os.Mkdir(filepath.Join(dir, sub), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, "demo", name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"lastlight", "lastlightd"} {
		if err := os.Symlink(self, filepath.Join(dir, "bin", name)); err != nil {
			t.Fatal(err)
		}
	}
	out := &screen{}
	return Options{Bin: filepath.Join(dir, "bin"), Demo: filepath.Join(dir, "demo"), Out: out, Throwaway: true}, out
}

// screen is an output that can be read while it is written.
type screen struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// await returns once the words are on the screen.
func (s *screen) await(t *testing.T, words string) {
	t.Helper()
	for end := time.Now().Add(2 * time.Minute); !strings.Contains(s.String(), words); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%q did not come:\n%s", words, s)
		}
	}
}

// nothingLeft fails if a run's directory or a process in it is still there.
func nothingLeft(t *testing.T, before map[string]bool) {
	t.Helper()
	for path := range runs(t) {
		if !before[path] {
			t.Errorf("left behind: %s", path)
		}
	}
	for path := range children(t) {
		t.Errorf("still running: %s", path)
	}
}

func runs(t *testing.T) map[string]bool {
	t.Helper()
	parent, err := postgres.DefaultDir()
	if err != nil {
		t.Fatal(err)
	}
	found, err := filepath.Glob(filepath.Join(parent, "quickstart-*"))
	if err != nil {
		t.Fatal(err)
	}
	set := map[string]bool{}
	for _, path := range found {
		set[path] = true
	}
	return set
}

// children lists the command lines of this process's children.
func children(t *testing.T) map[string]bool {
	t.Helper()
	set := map[string]bool{}
	for _, pid := range below(t, os.Getpid()) {
		line, _ := os.ReadFile(filepath.Join("/proc", pid, "cmdline"))
		set[pid+" "+strings.ReplaceAll(string(line), "\x00", " ")] = true
	}
	return set
}

func TestPlaysTheTourAndLeavesNothing(t *testing.T) {
	before := runs(t)
	o, out := stage(t, "# All of it\n@committee\n$ lastlight ask\n$ lastlight show site.yaml\n$[1] lastlight refuse\n")
	if err := Run(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"All of it\n=========\n",
		"committee$ lastlight ask\nasked with first: SERVING\n",
		"opened: " + time.Now().UTC().Format("2006-"),
		"flow: {x}\n",
		"refused\n",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("missing %q in\n%s", want, out)
		}
	}
	nothingLeft(t, before)
}

func TestUsesAnExistingServer(t *testing.T) {
	before := runs(t)
	server, err := postgres.Start(t.Context(), postgres.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()
	o, out := stage(t, "@committee\n$ lastlight ask\n")
	o.DatabaseURL = server.URL("postgres")
	if err := Run(t.Context(), o); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "SERVING") {
		t.Errorf("the tour was not played:\n%s", out)
	}
	db, err := pgx.Connect(t.Context(), server.URL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close(t.Context())
	var left int
	if err := db.QueryRow(t.Context(), "SELECT count(*) FROM pg_database WHERE datname LIKE 'lastlight%'").Scan(&left); err != nil || left != 0 {
		t.Errorf("%d databases left, %v", left, err)
	}
	if err := server.Stop(); err != nil {
		t.Error(err)
	}
	nothingLeft(t, before)
}

func TestUnexpectedExitStopsEverything(t *testing.T) {
	before := runs(t)
	o, out := stage(t, "$ lastlight refuse\n$ lastlight show site.yaml\n")
	err := Run(t.Context(), o)
	if err == nil || !strings.Contains(err.Error(), "exit code 1, expected 0") || !strings.Contains(err.Error(), "serving") {
		t.Errorf("the error lacks the exit code or the server's log: %v", err)
	}
	if strings.Contains(out.String(), "opened") {
		t.Error("the tour went on")
	}
	nothingLeft(t, before)
}

func TestInterruptedTourStopsEverything(t *testing.T) {
	before := runs(t)
	o, out := stage(t, "$ lastlight wait\n$ lastlight show site.yaml\n")
	ctx, interrupt := context.WithCancel(t.Context())
	go func() {
		out.await(t, "waiting")
		interrupt()
	}()
	if err := Run(ctx, o); !errors.Is(err, context.Canceled) {
		t.Errorf("%v is not an interruption", err)
	}
	nothingLeft(t, before)
}

func TestStaysUntilInterrupted(t *testing.T) {
	before := runs(t)
	o, out := stage(t, "@committee\n$ lastlight ask\n")
	o.Stay = true
	ctx, interrupt := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- Run(ctx, o) }()
	out.await(t, "Database: postgres:")
	for _, line := range []string{"export LASTLIGHT_SERVER=127.0.0.1:", "export LASTLIGHT_CA=/", "export LASTLIGHT_TOKEN_FILE=/"} {
		if !strings.Contains(out.String(), line) {
			t.Errorf("missing %q in\n%s", line, out)
		}
	}
	select {
	case err := <-ended:
		t.Fatalf("did not stay: %v", err)
	default:
	}
	interrupt()
	if err := <-ended; err != nil {
		t.Errorf("Ctrl-C after the tour is no failure: %v", err)
	}
	nothingLeft(t, before)
}

// TestKilledRunLeavesNoProcess kills a run in the middle, which can then clean up nothing by itself.
func TestKilledRunLeavesNoProcess(t *testing.T) {
	o, out := stage(t, "$ lastlight show site.yaml\n")
	program := filepath.Join(o.Bin, "quickstart")
	if err := os.Symlink(filepath.Join(o.Bin, "lastlight"), program); err != nil {
		t.Fatal(err)
	}
	run := exec.Command(program, o.Bin, o.Demo)
	run.Stdout = out
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	out.await(t, "Database: postgres:")
	started := below(t, run.Process.Pid)
	if len(started) < 2 {
		t.Errorf("a database and a server were expected below the run: %v", started)
	}
	if err := run.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = run.Wait() // it was killed
	for _, pid := range started {
		for end := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
			stat, err := os.ReadFile(filepath.Join("/proc", pid, "stat"))
			if err != nil || strings.Contains(string(stat), ") Z ") { // a zombie waits for the machine's first process
				break
			}
			if time.Now().After(end) {
				t.Errorf("process %s goes on: %s", pid, stat)
				break
			}
		}
	}
}

// below lists the children of a process.
func below(t *testing.T, pid int) []string {
	t.Helper()
	tasks, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", pid))
	if err != nil || len(tasks) == 0 {
		t.Skipf("this kernel does not list children: %v", err)
	}
	var pids []string
	for _, task := range tasks {
		list, err := os.ReadFile(task)
		if err != nil {
			continue // the thread has ended
		}
		pids = append(pids, strings.Fields(string(list))...)
	}
	return pids
}

func TestOtherDatabaseInTheSameServer(t *testing.T) {
	t.Parallel()
	for given, want := range map[string]string{
		"postgres://a:b@h:1/x?sslmode=require":   "postgres://a:b@h:1/new?sslmode=require",
		"postgres:///x?host=%2Frun&dbname=other": "postgres:///new?host=%2Frun",
		"host=h user=u dbname=x":                 "host=h user=u dbname=x dbname=new",
	} {
		got, err := withDatabase(given, "new")
		if err != nil || got != want {
			t.Errorf("%s: %s, %v; want %s", given, got, err, want)
		}
		config, err := pgx.ParseConfig(got)
		if err != nil || config.Database != "new" {
			t.Errorf("%s names the database %v, %v", got, config, err)
		}
	}
}

func TestShownWithoutPassword(t *testing.T) {
	t.Parallel()
	for _, given := range []string{"postgres://a:secret@h/x", "postgres://h/x?user=a&password=secret", "host=h password=secret"} {
		if shown := withoutPassword(given); strings.Contains(shown, "secret") {
			t.Errorf("%s is shown as %s", given, shown)
		}
	}
}
