package store

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

var sets = aggregate[*lastlightv1.CylinderSet]{
	kind:   "cylinder_set",
	load:   loadSet,
	insert: insertSet,
	update: updateSet,
	remark: func(ctx context.Context, tx *Tx, _, m *lastlightv1.CylinderSet, changes []string) error {
		return tx.markStaleFor(ctx, "cylinder_set", m.Id, changes, setReasons)
	},
}

const staleSet = "a set of cylinders has changed"

// setReasons says, for each field that a judgement rests on, why a plan is stale when it changes.
var setReasons = map[string]string{"kind": staleSet, "cylinders": staleSet, "dual_outlet": staleSet, "archived": staleSet}

const setRow = `SELECT id, doc, version, archived FROM cylinder_set`

func scanSet(row pgx.CollectableRow) (*lastlightv1.CylinderSet, error) {
	m := &lastlightv1.CylinderSet{}
	return m, scanRoot(row, m)
}

func loadSet(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.CylinderSet, bool, error) {
	sql := setRow + ` WHERE id = $1`
	if lock {
		sql += ` FOR UPDATE`
	}
	return loadOne(ctx, q, scanSet, sql, id)
}

func insertSet(ctx context.Context, tx *Tx, m *lastlightv1.CylinderSet) error {
	if err := tx.keepKeys(ctx, "owner", m.Owner); err != nil {
		return err
	}
	var b pgx.Batch
	b.Queue(`INSERT INTO cylinder_set (id, kind, doc, created_at, updated_at) VALUES ($1, $2, $3, $4, $4)`, m.Id, m.Kind, stored(m), tx.Now())
	queueMembers(&b, m)
	return tx.send(ctx, &b)
}

// queueMembers lists the members in order.
func queueMembers(b *pgx.Batch, m *lastlightv1.CylinderSet) {
	b.Queue(`
INSERT INTO cylinder_set_member (cylinder_set, position, cylinder) SELECT $1, n, c FROM unnest($2::text[]) WITH ORDINALITY AS x (c, n)`, m.Id, m.Cylinders)
}

func updateSet(ctx context.Context, tx *Tx, before, m *lastlightv1.CylinderSet) error {
	if err := tx.keepKeys(ctx, "owner", m.Owner); err != nil {
		return err
	}
	var b pgx.Batch
	b.Queue(`UPDATE item SET version = version + 1 WHERE id IN (SELECT id FROM item WHERE id = ANY ($1) ORDER BY id FOR UPDATE)`, sortedSet(slices.Concat(before.Cylinders, m.Cylinders)))
	b.Queue(`UPDATE cylinder_set SET kind = $2, doc = $3, version = version + 1, updated_at = $4 WHERE id = $1`, m.Id, m.Kind, stored(m), tx.Now())
	b.Queue(`DELETE FROM cylinder_set_member WHERE cylinder_set = $1`, m.Id)
	queueMembers(&b, m)
	return tx.send(ctx, &b)
}

// GetCylinderSet reads a set.
func (s *Store) GetCylinderSet(ctx context.Context, id string) (*lastlightv1.CylinderSet, error) {
	return sets.get(ctx, s.pool, id)
}

// PutCylinderSet creates or changes a set.
func (tx *Tx) PutCylinderSet(ctx context.Context, m *lastlightv1.CylinderSet, expect Expect, guards ...Guard[*lastlightv1.CylinderSet]) (Put[*lastlightv1.CylinderSet], error) {
	return sets.put(ctx, tx, m, expect, guards...)
}

// ArchiveCylinderSet hides a set from lists.
func (tx *Tx) ArchiveCylinderSet(ctx context.Context, id string) (*lastlightv1.CylinderSet, error) {
	return sets.archive(ctx, tx, "cylinder_set", id)
}

// ListCylinderSets gives a page by id.
func (s *Store) ListCylinderSets(ctx context.Context, r *lastlightv1.ListCylinderSetsRequest) ([]*lastlightv1.CylinderSet, string, error) {
	return listByID(ctx, s, "cylinder_sets", []any{r.ShowArchived, r.Search}, r.PageToken, r.PageSize, scanSet, setRow+`
WHERE id > $1 AND (NOT archived OR $3)
  AND ($4 = '' OR position(lower($4) IN lower(id || ' ' || kind || ' ' || COALESCE(doc ->> 'owner', '') || ' ' || COALESCE(doc ->> 'cylinders', ''))) > 0)
ORDER BY id LIMIT $2`)
}
