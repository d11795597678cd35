package store

import (
	"context"

	"github.com/jackc/pgx/v5"
)

// staleQueries finds the approved plans whose version in force relies on a
// record, by the kind of record. A plan in the water is no longer asked.
var staleQueries = map[string]string{
	"person": `SELECT p.id, p.version FROM plan p JOIN plan_person x ON x.plan = p.id AND x.version = p.version
WHERE x.person = $1 AND p.state IN ('approved', 'stale') ORDER BY p.id FOR UPDATE OF p`,
	// An item that the plan names, or that analysed or filled one of its cylinders.
	"item": `SELECT p.id, p.version FROM plan p
WHERE p.state IN ('approved', 'stale') AND EXISTS (
  SELECT FROM plan_item x WHERE x.plan = p.id AND x.version = p.version AND (x.item = $1
    OR EXISTS (SELECT FROM analysis a WHERE a.cylinder = x.item AND a.doc ->> 'analyser' = $1)
    OR EXISTS (SELECT FROM fill f WHERE f.cylinder = x.item AND f.doc ->> 'compressor' = $1)))
ORDER BY p.id FOR UPDATE OF p`,
	"site": `SELECT p.id, p.version FROM plan p WHERE p.site = $1 AND p.state IN ('approved', 'stale') ORDER BY p.id FOR UPDATE OF p`,
	// A set is no root of its own: a plan names it as somebody's mains.
	"cylinder_set": `SELECT p.id, p.version FROM plan p JOIN plan_version v ON v.plan = p.id AND v.version = p.version
WHERE p.state IN ('approved', 'stale') AND EXISTS (SELECT FROM jsonb_array_elements(v.doc -> 'team') d WHERE d ->> 'mains' = $1) ORDER BY p.id FOR UPDATE OF p`,
	// A dive of one of its divers before it, that loads them still by the policy of its day, and was nobody's plan: of one that
	// was, the report says so beforehand, and every schedule is compared at the entry.
	"dive": `SELECT p.id, p.version FROM plan p JOIN dive d ON d.id = $1 AND d.plan IS NULL JOIN site s ON s.id = p.site
WHERE p.state IN ('approved', 'stale') AND d.entered_at < p.enter_by
  AND EXISTS (SELECT FROM dive_diver x JOIN plan_person y ON y.person = x.person WHERE x.dive = d.id AND y.plan = p.id AND y.version = p.version AND y.duty = 'diver')
  AND d.out_at >= p.planned_entry - COALESCE((SELECT make_interval(hours => (o.doc #>> '{document,decompression,earlier_dives_hours}')::int)
    FROM policy o WHERE o.adopted_at IS NOT NULL AND o.in_force_from <= (p.planned_entry AT TIME ZONE s.time_zone)::date
    ORDER BY o.in_force_from DESC, o.adopted_at DESC, o.number DESC LIMIT 1), interval '720 hours')
ORDER BY p.id FOR UPDATE OF p`,
	// What was decided about the plan itself.
	"plan": `SELECT p.id, p.version FROM plan p WHERE p.id = $1 AND p.state IN ('approved', 'stale') FOR UPDATE OF p`,
	// A policy governs the dives from the day it is in force, as the site counts days, until another does.
	"policy": `SELECT p.id, p.version FROM plan p JOIN site s ON s.id = p.site JOIN policy n ON n.id = $1
WHERE p.state IN ('approved', 'stale') AND n.in_force_from <= (p.planned_entry AT TIME ZONE s.time_zone)::date
  AND NOT EXISTS (SELECT FROM policy o WHERE o.adopted_at IS NOT NULL AND o.in_force_from <= (p.planned_entry AT TIME ZONE s.time_zone)::date
    AND (o.in_force_from, o.adopted_at, o.number) > (n.in_force_from, n.adopted_at, n.number))
ORDER BY p.id FOR UPDATE OF p`,
}

// MarkStale makes every approved plan stale that relies on this record (kind: a
// key of staleQueries), with the reason in words. It runs in the
// transaction of the change, after the record's root was bumped; locks are
// taken in the order of decisions (people, site, items before plans). The
// reason never tells health: "a diver is not available".
func (tx *Tx) MarkStale(ctx context.Context, kind, id, reason string) error {
	rows, err := tx.Query(ctx, staleQueries[kind], id)
	if err != nil {
		return err
	}
	type relying struct {
		id      string
		version int32
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (r relying, err error) {
		err = row.Scan(&r.id, &r.version)
		return r, err
	})
	if err != nil {
		return err
	}
	for _, p := range list {
		tx.Later(`
UPDATE plan SET state = 'stale', state_reasons = CASE WHEN $2 = ANY (state_reasons) THEN state_reasons ELSE state_reasons || $2::text END, updated_at = $3
WHERE id = $1`, p.id, reason, tx.Now())
		tx.Later(`INSERT INTO decision (plan, version, decision, decided_at, reason) VALUES ($1, $2, 'stale', $3, $4)`, p.id, p.version, tx.Now(), reason)
		tx.Event("plan.stale", "plan", p.id, nil, nil)
	}
	return nil
}
