package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

func listWaivers(ctx context.Context, q Querier, id string, version int32) ([]*lastlightv1.Waiver, error) {
	rows, err := q.Query(ctx, `
SELECT id::text, plan, version, finding, rule, reason, conditions, waived_by, waived_at, expires_at, COALESCE(second_approver, ''), needs_second_approver
FROM waiver WHERE plan = $1 AND version = $2 ORDER BY waived_at, id`, id, version)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Waiver, error) {
		w := &lastlightv1.Waiver{}
		var at time.Time
		var expires *time.Time
		err := row.Scan(&w.Id, &w.Plan, &w.PlanVersion, &w.Finding, &w.Rule, &w.Reason, &w.Conditions, &w.WaivedBy, &at, &expires, &w.SecondApprover, &w.NeedsSecondApprover)
		w.WaivedAt = timestamppb.New(at)
		if expires != nil {
			w.ExpiresAt = timestamppb.New(*expires)
		}
		return w, err
	})
}

// Waivers gives the waivers of a plan version as they stand in the transaction.
func (tx *Tx) Waivers(ctx context.Context, id string, version int32) ([]*lastlightv1.Waiver, error) {
	return listWaivers(ctx, tx, id, version)
}

// AddWaiver stores a waiver; a second one of the same finding replaces nothing and is refused.
func (tx *Tx) AddWaiver(ctx context.Context, w *lastlightv1.Waiver) error {
	var expires any
	if w.ExpiresAt != nil {
		expires = w.ExpiresAt.AsTime()
	}
	w.WaivedAt = timestamppb.New(tx.Now())
	err := tx.QueryRow(ctx, `
INSERT INTO waiver (plan, version, finding, rule, reason, conditions, waived_by, waived_at, expires_at, needs_second_approver)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) RETURNING id::text`,
		w.Plan, w.PlanVersion, w.Finding, w.Rule, w.Reason, w.Conditions, w.WaivedBy, tx.Now(), expires, w.NeedsSecondApprover).Scan(&w.Id)
	if err == nil {
		tx.Event("plan.waive", "plan", w.Plan, nil, w)
	}
	return err
}

// Countersign adds the second approver to a waiver of this plan version that waits for one.
func (tx *Tx) Countersign(ctx context.Context, id string, version int32, waiver, by string) error {
	tag, err := tx.Exec(ctx, `
UPDATE waiver SET second_approver = $4, second_at = $5
WHERE plan = $1 AND version = $2 AND id::text = $3 AND needs_second_approver AND second_approver IS NULL AND waived_by <> $4`,
		id, version, waiver, by, tx.Now())
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return fault.NoSuch("waiver waiting for a second approver other than you", waiver)
	}
	return nil
}
