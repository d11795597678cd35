package stories

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/app"
	"lastlight/server/internal/store"
	"lastlight/server/internal/storetest"
)

// certificates is one authority and server certificate for all stories.
var certificates string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "stories")
	if err != nil {
		panic(err)
	}
	certificates = dir
	if code := app.Main([]string{"tls", "--dir", dir}); code != 0 {
		os.Exit(code)
	}
	code := storetest.Run(m)
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// newClub starts a server of its own for a story, at this site-local time.
func newClub(t *testing.T, now string) *club {
	t.Helper()
	t.Parallel()
	zone, err := time.LoadLocation(zoneName)
	if err != nil {
		t.Fatal(err)
	}
	c := &club{t: t, clock: &clock{}, token: map[string]string{}, zone: zone}
	c.clock.set(c.at(now))

	url := storetest.URL(t)
	if c.pool, err = pgxpool.New(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.pool.Close)
	s := store.New(c.pool, c.clock.Now)
	if _, _, err := s.KeepClub(t.Context(), "Story Club", zoneName); err != nil {
		t.Fatal(err)
	}
	if err := s.EnsureDefaultPolicy(t.Context()); err != nil {
		t.Fatal(err)
	}
	secret := access.NewSecret()
	if _, err := s.FirstToken(t.Context(), store.First{Person: "keeper", FullName: "Keeper", Device: "test", Hash: secret.Hash(), Life: 300 * 24 * time.Hour}); err != nil {
		t.Fatal(err)
	}
	c.token["keeper"] = secret.Reveal()
	c.conn = serve(t, url, c.clock.Now)
	c.apply(
		record(&pb.RoleGrant{Person: "keeper", Role: "coordinator"}),
		record(&pb.RoleGrant{Person: "keeper", Role: "medical_officer"}),
		record(&pb.RoleGrant{Person: "keeper", Role: "blender"}),
		record(&pb.RoleGrant{Person: "keeper", Role: "diver"}),
		record(&pb.Person{Id: "cora", FullName: "Cora Coordinator"}), record(&pb.RoleGrant{Person: "cora", Role: "coordinator"}),
		record(&pb.Person{Id: "cover", FullName: "Cover"}), record(&pb.RoleGrant{Person: "cover", Role: "cover"}),
	)
	return c
}

func serve(t *testing.T, database string, now func() time.Time) *grpc.ClientConn {
	t.Helper()
	return serveWith(t, database, now, nil)
}

func serveWith(t *testing.T, database string, now func() time.Time, edit func(*app.Config)) *grpc.ClientConn {
	t.Helper()
	config := app.Config{
		DatabaseURL: database, Listen: "127.0.0.1:0", TLSCert: filepath.Join(certificates, "server.pem"), TLSKey: filepath.Join(certificates, "server.key"),
		PoolConnections: 6, CallsAtOnce: 32, CallsWaiting: 64, LongestCall: 30 * time.Second, StatementTimeout: 20 * time.Second, StopWithin: 5 * time.Second,
	}
	if edit != nil {
		edit(&config)
	}
	server, err := app.New(t.Context(), config, slog.New(slog.NewTextHandler(logOf(t), nil)), now)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx, listener) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("the server ended with %v", err)
		}
	})
	text, err := os.ReadFile(filepath.Join(certificates, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(text)
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS13})))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// logOf shows the server's log with a failed story when asked for.
func logOf(t *testing.T) io.Writer {
	if os.Getenv("STORY_LOG") == "" {
		return io.Discard
	}
	return t.Output()
}
