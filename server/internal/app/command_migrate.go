package app

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/spf13/cobra"

	"lastlight/migrations"
	"lastlight/server/internal/schema"
	"lastlight/server/internal/store"
)

func (p *program) migrateCommand() *cobra.Command {
	migrate := &cobra.Command{
		Use: "migrate", Short: "Bring the database to this program's version", Args: cobra.NoArgs,
		Long: "Bring the database to this program's version. This is a step of its own, before the server starts:\nevery release runs on the database of the one before it and of the one after it.",
		RunE: func(*cobra.Command, []string) error {
			return wrongUse{errors.New("migrate up or migrate status is expected")}
		},
	}
	migrate.AddCommand(
		&cobra.Command{
			Use: "up", Short: "Apply what is missing, and write the club's name and time zone", Args: cobra.NoArgs,
			Example: "  lastlightd migrate up",
			RunE:    func(cmd *cobra.Command, _ []string) error { return p.migrateUp(cmd.Context()) },
		},
		&cobra.Command{
			Use: "status", Short: "Tell the database's version and this program's", Args: cobra.NoArgs,
			Example: "  lastlightd migrate status",
			RunE:    func(cmd *cobra.Command, _ []string) error { return p.migrateStatus(cmd.Context()) },
		},
	)
	return migrate
}

func (p *program) migrateUp(ctx context.Context) error {
	c, err := load(p.from, p.file, "database_url")
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, c.MigrateWithin)
	defer cancel()
	outcome, err := schema.Up(ctx, c.DatabaseURL, migrations.FS)
	if err != nil {
		return err
	}
	if outcome.From == outcome.To {
		fmt.Fprintf(p.out, "database at version %d already\n", outcome.To)
	} else {
		fmt.Fprintf(p.out, "database from version %d to %d\n", outcome.From, outcome.To)
	}
	return p.furnish(ctx, c)
}

// furnish writes what the settings say of the club, where what they do not say stays as it is in the database, and the shipped
// policy into a database that has none: without a policy nothing can be judged.
func (p *program) furnish(ctx context.Context, c Config) error {
	pool, err := commandPool(ctx, c)
	if err != nil {
		return err
	}
	defer pool.Close()
	s := store.New(pool, p.now)
	title, zone, err := s.KeepClub(ctx, c.Club, c.TimeZone)
	if err != nil {
		return fmt.Errorf("write the club: %w", err)
	}
	if err := s.EnsureDefaultPolicy(ctx); err != nil {
		return fmt.Errorf("write the shipped policy: %w", err)
	}
	fmt.Fprintf(p.out, "club %q, dates without a site in %s\n", title, zone)
	return nil
}

// commandPool connects for a command that asks little and ends.
func commandPool(ctx context.Context, c Config) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(c.DatabaseURL)
	if err != nil {
		return nil, errors.New("database_url: not a PostgreSQL URL") // the driver's words may hold parts of it
	}
	config.MaxConns = 2
	config.ConnConfig.RuntimeParams["application_name"] = "lastlightd command"
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	return pool, nil
}

// onSchema connects to a database whose schema is this program's, for so long. done ends both.
func onSchema(ctx context.Context, c Config, within time.Duration) (_ context.Context, pool *pgxpool.Pool, done func(), err error) {
	ctx, cancel := context.WithTimeout(ctx, within)
	if pool, err = commandPool(ctx, c); err != nil {
		cancel()
		return ctx, nil, nil, err
	}
	done = func() { pool.Close(); cancel() }
	if err := schema.Check(ctx, pool, migrations.FS); err != nil {
		done()
		return ctx, nil, nil, err
	}
	return ctx, pool, done, nil
}

func (p *program) migrateStatus(ctx context.Context) error {
	c, err := load(p.from, p.file, "database_url")
	if err != nil {
		return err
	}
	ctx, pool, done, err := onSchema(ctx, c, c.MigrateWithin)
	if err != nil {
		return err
	}
	defer done()
	var version int64
	if err := pool.QueryRow(ctx, "SELECT version FROM schema_migrations").Scan(&version); err != nil {
		return fmt.Errorf("read the database's version: %w", err)
	}
	list, err := schema.List(migrations.FS)
	if err != nil {
		return err
	}
	fmt.Fprintf(p.out, "database at version %d, this program needs %d: it can serve\n", version, list[len(list)-1].Version)
	return nil
}
