package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Acknowledge notes that a person has read a version of a plan; once is enough.
func (tx *Tx) Acknowledge(ctx context.Context, id string, version int32, person string) error {
	tag, err := tx.Exec(ctx, `INSERT INTO acknowledgement (plan, version, person, at) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`, id, version, person, tx.Now())
	if err == nil && tag.RowsAffected() > 0 {
		tx.Event("plan.acknowledge", "plan", id, nil, nil)
	}
	return err
}

// AcknowledgedBy is when a person acknowledged a plan's version; empty: not.
func (s *Store) AcknowledgedBy(ctx context.Context, id string, version int32, person string) ([]*lastlightv1.Acknowledgement, error) {
	all, err := acknowledgements(ctx, s.pool, id, version)
	return slices.DeleteFunc(all, func(a *lastlightv1.Acknowledgement) bool { return a.Person != person }), translate(err)
}

// acknowledgements are those of a plan's version, the first first.
func acknowledgements(ctx context.Context, q Querier, id string, version int32) ([]*lastlightv1.Acknowledgement, error) {
	rows, err := q.Query(ctx, `SELECT person, at FROM acknowledgement WHERE plan = $1 AND version = $2 ORDER BY at, person`, id, version)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Acknowledgement, error) {
		a := &lastlightv1.Acknowledgement{}
		var at time.Time
		err := row.Scan(&a.Person, &at)
		a.At = timestamppb.New(at)
		return a, err
	})
}
