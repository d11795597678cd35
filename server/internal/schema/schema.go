// Package schema brings a database to the version that the migration files describe, and tells whether it is there.
//
// Migrating is a step of its own, never a part of a server's start: servers only compare versions. It works through golang-migrate
// with what that leaves to its callers: a bounded wait for others who migrate, a session of its own, and plain words about a
// migration that stopped half-way.
package schema

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"github.com/golang-migrate/migrate/v4"
	pgxmigrate "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

const (
	// turnKey is the advisory lock that migrators take turns by: "lastligh" in ASCII. golang-migrate has a lock of its own, but
	// waits for it without bound, and a waiter deadlocks with CREATE INDEX CONCURRENTLY.
	turnKey   = 0x6c6173746c696768
	turnPoll  = 100 * time.Millisecond
	lockBound = "15s" // how long one migration waits for a table in use
)

// Outcome is what a migration run did: the versions before and after, 0 for an empty database.
type Outcome struct {
	From, To uint
}

// Up applies every file that the database does not have yet, in order. It waits for another run until ctx ends. On an error the
// database keeps the versions applied before the one that failed.
func Up(ctx context.Context, databaseURL string, files fs.FS) (Outcome, error) {
	var o Outcome
	err := migrating(ctx, databaseURL, files, func(m *migrate.Migrate) error {
		var err error
		if o.From, err = versionOf(m); err != nil {
			return err
		}
		if err := m.Up(); err != nil && !errors.Is(err, migrate.ErrNoChange) {
			return err
		}
		o.To, err = versionOf(m)
		return err
	})
	return o, err
}

// Down takes every migration back: the database is then empty. It destroys all records, and is there for tests.
func Down(ctx context.Context, databaseURL string, files fs.FS) error {
	return migrating(ctx, databaseURL, files, func(m *migrate.Migrate) error {
		if err := m.Down(); err != nil && !errors.Is(err, migrate.ErrNoChange) {
			return err
		}
		return nil
	})
}

func versionOf(m *migrate.Migrate) (uint, error) {
	v, _, err := m.Version()
	if errors.Is(err, migrate.ErrNilVersion) {
		return 0, nil
	}
	return v, err
}

func migrating(ctx context.Context, databaseURL string, files fs.FS, work func(*migrate.Migrate) error) error {
	list, err := List(files)
	if err != nil {
		return err
	}
	config, err := pgx.ParseConfig(databaseURL)
	if err != nil {
		return fmt.Errorf("database URL: %w", err)
	}
	turn, err := takeTurn(ctx, config)
	if err != nil {
		return err
	}
	defer turn.Close(context.WithoutCancel(ctx))

	// Not a pool that serves: golang-migrate keeps its lock in the session, and a session given back to a pool would keep it.
	own := config.Copy()
	own.RuntimeParams["lock_timeout"] = lockBound
	own.RuntimeParams["application_name"] = "lastlight migrate"
	db := stdlib.OpenDB(*own)
	driver, err := pgxmigrate.WithInstance(db, &pgxmigrate.Config{})
	if err != nil {
		return errors.Join(fmt.Errorf("open database for migration: %w", err), db.Close())
	}
	source, err := iofs.New(files, ".")
	if err != nil {
		return errors.Join(fmt.Errorf("read migrations: %w", err), driver.Close())
	}
	m, err := migrate.NewWithInstance("iofs", source, config.Database, driver)
	if err != nil {
		return errors.Join(fmt.Errorf("prepare migration: %w", err), driver.Close())
	}
	stop := context.AfterFunc(ctx, func() { m.GracefulStop <- true }) // stops between two files
	defer stop()
	err = work(m)
	sourceErr, driverErr := m.Close()
	return errors.Join(explain(err, list), ctx.Err(), sourceErr, driverErr)
}

// takeTurn holds the migrators' lock in a session of its own until that is closed. It asks again and again rather than wait
// inside the database: a waiting session holds a snapshot, which CREATE INDEX CONCURRENTLY of the other run would wait for.
func takeTurn(ctx context.Context, config *pgx.ConnConfig) (*pgx.Conn, error) {
	conn, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("connect to migrate: %w", err)
	}
	for {
		var mine bool
		err := conn.QueryRow(ctx, "SELECT pg_try_advisory_lock($1)", int64(turnKey)).Scan(&mine)
		if err == nil && mine {
			return conn, nil
		}
		if err == nil {
			select {
			case <-time.After(turnPoll):
				continue
			case <-ctx.Done():
				err = ctx.Err()
			}
		}
		return nil, errors.Join(fmt.Errorf("wait for another migration of this database: %w", err), conn.Close(context.WithoutCancel(ctx)))
	}
}

// explain says which file to look at: a failed version is marked and refused until somebody has looked, never forced here.
func explain(err error, list []Migration) error {
	if err == nil {
		return nil
	}
	var dirty migrate.ErrDirty
	if errors.As(err, &dirty) {
		return stopped(uint(max(0, dirty.Version)), list)
	}
	return fmt.Errorf("migrate: %w", err)
}

func stopped(version uint, list []Migration) error {
	file := "a file this program does not have"
	for _, m := range list {
		if m.Version == version {
			file = m.Name + ".up.sql"
		}
	}
	return fmt.Errorf("migration %d stopped half-way: compare the database with %s, put right by hand what is missing, "+
		"then set schema_migrations to (%d, false), or to the version before if nothing of it is there", version, file, version)
}

// Querier reads one row; a pgx connection, pool and transaction all do.
type Querier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// Check tells whether a program with these files can work on the database: not when it is older, or when a migration stopped
// half-way. A newer one is accepted, because every migration leaves the release before it working.
func Check(ctx context.Context, db Querier, files fs.FS) error {
	list, err := List(files)
	if err != nil {
		return err
	}
	var version int64
	var dirty bool
	err = db.QueryRow(ctx, "SELECT version, dirty FROM schema_migrations").Scan(&version, &dirty)
	var pgErr *pgconn.PgError
	switch {
	case errors.Is(err, pgx.ErrNoRows), errors.As(err, &pgErr) && pgErr.Code == "42P01": // no such table
		version = 0
	case err != nil:
		return fmt.Errorf("read the database's version: %w", err)
	}
	needed := list[len(list)-1].Version
	switch {
	case dirty:
		return stopped(uint(version), list)
	case version < int64(needed):
		return fmt.Errorf("the database is at version %d and this program needs %d: run the migrate command first", version, needed)
	}
	return nil
}
