package bench

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc/health/grpc_health_v1"
)

// floor is what no call on this machine can be faster than.
type floor struct {
	health grpc_health_v1.HealthClient
	pool   *pgxpool.Pool
}

const rowsListed = 50

// newFloor makes the floor's own tables beside the records, with one row for each caller.
func newFloor(ctx context.Context, database string, callers int, health grpc_health_v1.HealthClient) (*floor, error) {
	config, err := pgxpool.ParseConfig(database)
	if err != nil {
		return nil, err
	}
	config.MaxConns = int32(callers)
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, err
	}
	_, err = pool.Exec(ctx, `
		CREATE SCHEMA bench;
		CREATE TABLE bench.root (id int PRIMARY KEY, version bigint NOT NULL, what text NOT NULL);
		CREATE TABLE bench.child (id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, root int NOT NULL REFERENCES bench.root, what text NOT NULL)`)
	if err == nil {
		_, err = pool.Exec(ctx, "INSERT INTO bench.root SELECT i, 1, 'root' FROM generate_series(0, $1::int - 1) i", callers)
	}
	if err != nil {
		pool.Close()
		return nil, fmt.Errorf("tables of the floor: %w", err)
	}
	return &floor{health, pool}, nil
}

func (f *floor) call(ctx context.Context, _, _ int) error {
	_, err := f.health.Check(ctx, &grpc_health_v1.HealthCheckRequest{})
	return err
}

// transaction locks one row, updates it and inserts three, in two round trips.
func (f *floor) transaction(ctx context.Context, caller, _ int) error {
	return f.pool.AcquireFunc(ctx, func(c *pgxpool.Conn) error {
		first := &pgx.Batch{}
		first.Queue("BEGIN")
		first.Queue("SELECT version, what FROM bench.root WHERE id = $1 FOR UPDATE", caller)
		if err := c.SendBatch(ctx, first).Close(); err != nil {
			return err
		}
		second := &pgx.Batch{}
		second.Queue("UPDATE bench.root SET version = version + 1 WHERE id = $1", caller)
		for _, what := range []string{"record", "event", "request"} {
			second.Queue("INSERT INTO bench.child (root, what) VALUES ($1, $2)", caller, what)
		}
		second.Queue("COMMIT")
		return c.SendBatch(ctx, second).Close()
	})
}

// write is what a plain write is measured against: a bare call and a bare transaction.
func (f *floor) write(ctx context.Context, caller, n int) error {
	if err := f.call(ctx, caller, n); err != nil {
		return err
	}
	return f.transaction(ctx, caller, n)
}

// list is what a list is measured against: a bare call and the same rows selected.
func (f *floor) list(ctx context.Context, caller, n int) error {
	return f.rows(ctx, caller, n, "record")
}

// lines is the same for what a line of the list shows.
func (f *floor) lines(ctx context.Context, caller, n int) error {
	return f.rows(ctx, caller, n, "line")
}

// rows makes a bare call and selects a column of the rows that a page of dives holds.
func (f *floor) rows(ctx context.Context, caller, n int, column string) error {
	if err := f.call(ctx, caller, n); err != nil {
		return err
	}
	// The number in the text: as an argument, the statement would be planned anew in every call.
	rows, err := f.pool.Query(ctx, fmt.Sprintf("SELECT id, %s FROM dive WHERE NOT archived ORDER BY entered_at DESC, id DESC LIMIT %d", column, rowsListed))
	if err != nil {
		return err
	}
	var id string
	var text []byte
	_, err = pgx.ForEachRow(rows, []any{&id, &text}, func() error { return nil })
	return err
}
