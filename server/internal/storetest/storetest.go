// Package storetest gives each test a database of its own, already migrated, on a server that the test package starts for itself.
//
//	func TestMain(m *testing.M) { os.Exit(storetest.Run(m)) }
//
//	func TestSomething(t *testing.T) {
//		t.Parallel()
//		pool := storetest.New(t)
//		…
//	}
package storetest

import (
	"context"
	"fmt"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"lastlight/deploy/postgres"
	"lastlight/migrations"
	"lastlight/server/internal/schema"
)

const template = "lastlight_template"

// current is what Run started; it is set before any test runs and never again.
var current struct {
	server *postgres.Server
	admin  *pgxpool.Pool
	next   atomic.Int64
}

// Run starts the server and makes the migrated template, runs the tests, stops the server, and returns the exit code.
func Run(m *testing.M) int {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	server, err := postgres.Start(ctx, postgres.Options{Throwaway: true})
	if err != nil {
		fmt.Fprintln(os.Stderr, "database for the tests:", err)
		return 1
	}
	code := 1
	if err := prepare(ctx, server); err != nil {
		fmt.Fprintln(os.Stderr, "database for the tests:", err)
	} else {
		code = m.Run()
	}
	if current.admin != nil {
		current.admin.Close()
	}
	if err := server.Stop(); err != nil {
		fmt.Fprintln(os.Stderr, "database for the tests:", err)
		return max(code, 1)
	}
	return code
}

func prepare(ctx context.Context, server *postgres.Server) error {
	admin, err := pgxpool.New(ctx, server.URL("postgres"))
	if err != nil {
		return err
	}
	current.server, current.admin = server, admin
	if _, err := admin.Exec(ctx, "CREATE DATABASE "+template); err != nil {
		return err
	}
	if _, err := schema.Up(ctx, server.URL(template), migrations.FS); err != nil {
		return err
	}
	// A connection to the template would make every clone wait.
	_, err = admin.Exec(ctx, "ALTER DATABASE "+template+" ALLOW_CONNECTIONS false IS_TEMPLATE true")
	return err
}

// New gives the test a migrated database without records and a pool of connections to it. Both end with the test.
func New(t testing.TB) *pgxpool.Pool {
	t.Helper()
	return pool(t, URL(t))
}

func pool(t testing.TB, url string) *pgxpool.Pool {
	t.Helper()
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		t.Fatalf("pool for the test: %v", err)
	}
	config.ConnConfig.RuntimeParams["jit"] = "off" // as the server's
	p, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatalf("pool for the test: %v", err)
	}
	t.Cleanup(p.Close) // before the database goes: cleanups run last first
	return p
}

// URL gives the test a migrated database without records, for those who connect by themselves. It ends with the test, whoever
// is still connected.
func URL(t testing.TB) string {
	t.Helper()
	return create(t, "TEMPLATE "+template)
}

// EmptyURL gives the test a database without tables, for tests of the migrations themselves.
func EmptyURL(t testing.TB) string {
	t.Helper()
	return create(t, "TEMPLATE template0")
}

func create(t testing.TB, how string) string {
	t.Helper()
	if current.server == nil {
		t.Fatal("no server: the package's TestMain must call storetest.Run")
	}
	name := fmt.Sprintf("test_%d", current.next.Add(1))
	quoted := pgx.Identifier{name}.Sanitize()
	if _, err := current.admin.Exec(t.Context(), "CREATE DATABASE "+quoted+" "+how); err != nil {
		t.Fatalf("database for the test: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		if _, err := current.admin.Exec(ctx, "DROP DATABASE "+quoted+" WITH (FORCE)"); err != nil {
			t.Errorf("drop the test's database: %v", err)
		}
	})
	return current.server.URL(name)
}
