//go:build linux

package quickstart

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/deploy/postgres"
)

// startDatabase returns the URL of an empty database: in a private server, or in the server that the user named.
func (r *run) startDatabase(ctx context.Context, clean *cleanup) (string, error) {
	if r.DatabaseURL != "" {
		return createDatabase(ctx, r.DatabaseURL, clean)
	}
	server, err := postgres.Start(ctx, postgres.Options{Dir: r.path("postgres"), Throwaway: r.Throwaway})
	if err != nil {
		return "", err
	}
	clean.add("stop the database", server.Stop)
	return createDatabase(ctx, server.URL("postgres"), clean)
}

// createDatabase makes a database of this run's own in a server, and drops it at the end.
func createDatabase(ctx context.Context, serverURL string, clean *cleanup) (string, error) {
	conn, err := pgx.Connect(ctx, serverURL)
	if err != nil {
		return "", fmt.Errorf("LASTLIGHT_DATABASE_URL: %w", err)
	}
	defer conn.Close(ctx)
	name := "lastlight_quickstart_" + strings.ToLower(rand.Text()[:12])
	if _, err := conn.Exec(ctx, "CREATE DATABASE "+name+" TEMPLATE template0 ENCODING 'UTF8' LC_COLLATE 'C.UTF-8' LC_CTYPE 'C.UTF-8'"); err != nil {
		return "", fmt.Errorf("create a database: %w", err)
	}
	clean.add("drop the database "+name, func() error {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second) // the run's own context may have ended
		defer cancel()
		conn, err := pgx.Connect(ctx, serverURL)
		if err != nil {
			return err
		}
		defer conn.Close(ctx)
		_, err = conn.Exec(ctx, "DROP DATABASE IF EXISTS "+name+" WITH (FORCE)")
		return err
	})
	return withDatabase(serverURL, name)
}

// withDatabase puts another database's name into a connection URL or a key=value connection string.
func withDatabase(serverURL, name string) (string, error) {
	if !strings.HasPrefix(serverURL, "postgres://") && !strings.HasPrefix(serverURL, "postgresql://") {
		return serverURL + " dbname=" + name, nil // the last one counts
	}
	u, err := url.Parse(serverURL)
	if err != nil {
		return "", fmt.Errorf("LASTLIGHT_DATABASE_URL is not a URL: %w", err)
	}
	u.Path = "/" + name
	q := u.Query()
	q.Del("dbname")
	q.Del("database")
	u.RawQuery = q.Encode()
	return u.String(), nil
}

// withoutPassword is a connection string that may be shown.
func withoutPassword(connection string) string {
	u, err := url.Parse(connection)
	if err != nil || u.Scheme == "" {
		return "(as in LASTLIGHT_DATABASE_URL)"
	}
	q := u.Query()
	if q.Has("password") {
		q.Set("password", "xxxxx")
	}
	u.RawQuery = q.Encode()
	return u.Redacted()
}
