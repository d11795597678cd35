package store

import (
	"context"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// waiverRows reads waivers with their state at an instant, $1. A plan's own version alone can still be dived.
const waiverRows = `
SELECT w.id::text, w.plan, w.version, w.finding, w.rule, w.reason, w.conditions, w.waived_by, w.waived_at, w.expires_at, COALESCE(w.second_approver, ''), w.needs_second_approver,
       COALESCE(w.withdrawn_by, ''), w.withdrawn_at, w.withdrawn_reason, w.said, w.observed, w.shortfall, p.site, p.planned_entry,
       CASE WHEN w.withdrawn_at IS NOT NULL THEN 'withdrawn'
            WHEN p.version <> w.version OR p.archived OR p.state IN ('closed', 'refused', 'withdrawn', 'expired') THEN 'spent'
            WHEN w.expires_at <= $1 THEN 'lapsed'
            WHEN w.needs_second_approver AND w.second_approver IS NULL THEN 'waiting'
            ELSE 'standing' END AS state
FROM waiver w JOIN plan p ON p.id = w.plan`

func scanWaiver(row pgx.CollectableRow) (*lastlightv1.Waiver, error) {
	w := &lastlightv1.Waiver{}
	var at, entry time.Time
	var expires, withdrawn *time.Time
	var conditions string
	err := row.Scan(&w.Id, &w.Plan, &w.PlanVersion, &w.Finding, &w.Rule, &w.Reason, &conditions, &w.WaivedBy, &at, &expires, &w.SecondApprover, &w.NeedsSecondApprover,
		&w.WithdrawnBy, &withdrawn, &w.WithdrawnReason, &w.Said, &w.Observed, &w.Shortfall, &w.Site, &entry, &w.State)
	w.WaivedAt, w.PlannedEntry = timestamppb.New(at), timestamppb.New(entry)
	w.ExpiresAt, w.WithdrawnAt = stampOrNil(expires), stampOrNil(withdrawn)
	if conditions != "" { // a line each
		w.Conditions = strings.Split(conditions, "\n")
	}
	return w, err
}

// ListPlanWaivers gives the waivers of a plan version, withdrawn ones included, as they are at an instant.
func ListPlanWaivers(ctx context.Context, q Querier, id string, version int32, at time.Time) ([]*lastlightv1.Waiver, error) {
	rows, err := q.Query(ctx, waiverRows+` WHERE w.plan = $2 AND w.version = $3 ORDER BY w.waived_at, w.id`, at, id, version)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, scanWaiver)
}

// ListWaivers gives a page of the club's waivers, latest first; expeditions, if not nil, leaves those of plans of these expeditions.
func (s *Store) ListWaivers(ctx context.Context, r *lastlightv1.ListWaiversRequest, expeditions []string) ([]*lastlightv1.Waiver, string, error) {
	from, to := time.Time{}, time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	if r.From != nil {
		from = r.From.AsTime()
	}
	if r.To != nil {
		to = r.To.AsTime()
	}
	args := []any{r.Plan, r.Site, r.Rule, from, to, r.State, expeditions, r.Since, r.Search}
	after, err := ReadToken("waivers", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	at, id, err := readInstant(after, r.PageToken)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `SELECT * FROM (`+waiverRows+`
WHERE ($2 = '' OR w.plan = $2) AND ($3 = '' OR p.site = $3) AND ($4 = '' OR w.rule = $4) AND w.waived_at >= $5 AND w.waived_at <= $6
  AND ($7::text[] IS NULL OR p.expedition = ANY ($7)) AND (w.waived_at < $8 OR (w.waived_at = $8 AND w.id::text > $9))
  AND ($12 = '' OR (w.waived_at AT TIME ZONE (SELECT time_zone FROM site WHERE site.id = p.site))::date >= NULLIF($12, '')::date)
  AND ($13 = '' OR position(lower($13) IN lower(concat_ws(' ', w.said, w.reason, w.conditions, w.rule, w.plan))) > 0
    OR EXISTS (SELECT FROM person x WHERE position(x.pseudonym IN w.said) > 0 AND position(lower($13) IN lower(`+shownName+`)) > 0))) x
WHERE $10 = '' OR state = $10 ORDER BY waived_at DESC, id LIMIT $11`,
		s.Now(), r.Plan, r.Site, r.Rule, from, to, expeditions, at, id, r.State, size+1, r.Since, r.Search)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanWaiver)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "waivers", args, func(w *lastlightv1.Waiver) []string { return instantKey(w.WaivedAt.AsTime(), w.Id) })
	return list, next, nil
}

// Waivers gives the waivers of a plan version as they are in the transaction.
func (tx *Tx) Waivers(ctx context.Context, id string, version int32) ([]*lastlightv1.Waiver, error) {
	return ListPlanWaivers(ctx, tx, id, version, tx.Now())
}

// AddWaiver stores a waiver. A former one of the same finding, which no longer speaks for it, is withdrawn by that.
func (tx *Tx) AddWaiver(ctx context.Context, w *lastlightv1.Waiver) error {
	var expires any
	if w.ExpiresAt != nil {
		expires = w.ExpiresAt.AsTime()
	}
	w.WaivedAt = timestamppb.New(tx.Now())
	if _, err := tx.Exec(ctx, `
UPDATE waiver SET withdrawn_by = $4, withdrawn_at = $5, withdrawn_reason = 'waived anew'
WHERE plan = $1 AND version = $2 AND finding = $3 AND withdrawn_at IS NULL`, w.Plan, w.PlanVersion, w.Finding, w.WaivedBy, tx.Now()); err != nil {
		return err
	}
	err := tx.QueryRow(ctx, `
INSERT INTO waiver (plan, version, finding, rule, reason, conditions, waived_by, waived_at, expires_at, needs_second_approver, said, observed, shortfall)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13) RETURNING id::text`,
		w.Plan, w.PlanVersion, w.Finding, w.Rule, w.Reason, strings.Join(w.Conditions, "\n"), w.WaivedBy, tx.Now(), expires, w.NeedsSecondApprover, w.Said, w.Observed, w.Shortfall).Scan(&w.Id)
	if err == nil {
		tx.Event("plan.waive", "plan", w.Plan, nil, w)
	}
	return err
}

// Countersign adds the second approver to a waiver of this plan version that waits for one.
func (tx *Tx) Countersign(ctx context.Context, id string, version int32, waiver, by string) error {
	tag, err := tx.Exec(ctx, `
UPDATE waiver SET second_approver = $4, second_at = $5
WHERE plan = $1 AND version = $2 AND id::text = $3 AND needs_second_approver AND second_approver IS NULL AND withdrawn_at IS NULL AND waived_by <> $4`,
		id, version, waiver, by, tx.Now())
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return fault.NoSuch("waiver waiting for a second approver other than you", waiver)
	}
	tx.Event("plan.countersign", "plan", id, nil, &lastlightv1.Waiver{Id: waiver, Plan: id, PlanVersion: version, SecondApprover: by})
	return nil
}

// WithdrawWaiver takes a waiver of this plan version back and gives its rule.
func (tx *Tx) WithdrawWaiver(ctx context.Context, id string, version int32, waiver, reason string) (rule string, err error) {
	by := tx.Mutation.Caller
	rows, err := tx.Query(ctx, `
UPDATE waiver SET withdrawn_by = $4, withdrawn_at = $5, withdrawn_reason = $6
WHERE plan = $1 AND version = $2 AND id::text = $3 AND withdrawn_at IS NULL RETURNING rule`, id, version, waiver, by, tx.Now(), reason)
	if err != nil {
		return "", err
	}
	rules, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return "", err
	}
	if len(rules) == 0 {
		return "", fault.NoSuch("waiver of this version that was not withdrawn", waiver)
	}
	tx.Event("plan.withdraw_waiver", "plan", id, nil, &lastlightv1.Waiver{Id: waiver, Plan: id, PlanVersion: version, Rule: rules[0], WithdrawnBy: by, WithdrawnReason: reason})
	return rules[0], nil
}
