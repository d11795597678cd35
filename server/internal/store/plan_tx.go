package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/plan"
)

// Plan reads the latest version inside the transaction, waivers included.
func (tx *Tx) Plan(ctx context.Context, id string) (*lastlightv1.Plan, error) {
	if err := tx.Flush(ctx); err != nil {
		return nil, err
	}
	m, err := getPlan(ctx, tx, id, 0, tx.Now())
	if err != nil {
		return nil, err
	}
	if m.Waivers, err = ListPlanWaivers(ctx, tx, id, m.Version, tx.Now()); err != nil {
		return nil, err
	}
	m.Acknowledgements, err = acknowledgements(ctx, tx, id, m.Version)
	return m, err
}

// PlanRoots lists what a decision about a plan version relies on, unlocked:
// the version never changes, so nothing can come in between.
func (tx *Tx) PlanRoots(ctx context.Context, id string, version int32) (Roots, error) {
	p, err := getPlan(ctx, tx, id, version, tx.Now())
	if err != nil {
		return Roots{}, err
	}
	r := Roots{Plan: id, Site: p.Site, People: sortedSet(plan.People(p))}
	rows, err := tx.Query(ctx, `SELECT item FROM plan_item WHERE plan = $1 AND version = $2 ORDER BY item`, id, version)
	if err != nil {
		return Roots{}, err
	}
	r.Items, err = pgx.CollectRows(rows, pgx.RowTo[string])
	return r, err
}

// RoleHolders lists who holds one of the roles now, for the club or for this
// expedition, sorted. Whoever grants or revokes a role bumps the person first.
func (tx *Tx) RoleHolders(ctx context.Context, expedition string, roles []string) ([]string, error) {
	rows, err := tx.Query(ctx, `
SELECT DISTINCT g.person FROM role_grant g JOIN person p ON p.id = g.person
WHERE g.role = ANY ($1) AND g.revoked_at IS NULL AND NOT p.archived AND (g.expedition IS NULL OR g.expedition = $2) ORDER BY g.person`, roles, expedition)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// shownName is the name to show of a person x.
const shownName = `COALESCE(NULLIF(x.doc ->> 'short_name', ''), x.full_name)`

// PseudonymsOf gives the pseudonym and the name to show of people by id.
func (s *Store) PseudonymsOf(ctx context.Context, ids []string) (pseudonyms, names map[string]string, err error) {
	rows, err := s.pool.Query(ctx, `
SELECT x.id, x.pseudonym, `+shownName+` FROM person x WHERE x.id = ANY ($1)`, sortedSet(ids))
	if err != nil {
		return nil, nil, translate(err)
	}
	pseudonyms, names = map[string]string{}, map[string]string{}
	var id, pseudonym, name string
	_, err = pgx.ForEachRow(rows, []any{&id, &pseudonym, &name}, func() error {
		pseudonyms[id], names[id] = pseudonym, name
		return nil
	})
	return pseudonyms, names, translate(err)
}

// PeopleByPseudonym gives id and name to show behind pseudonyms that stand in a stored report.
func (s *Store) PeopleByPseudonym(ctx context.Context, pseudonyms []string) (ids, names map[string]string, err error) {
	rows, err := s.pool.Query(ctx, `
SELECT x.pseudonym, x.id, `+shownName+` FROM person x WHERE x.pseudonym = ANY ($1)`, sortedSet(pseudonyms))
	if err != nil {
		return nil, nil, translate(err)
	}
	ids, names = map[string]string{}, map[string]string{}
	var pseudonym, id, name string
	_, err = pgx.ForEachRow(rows, []any{&pseudonym, &id, &name}, func() error {
		ids[pseudonym], names[pseudonym] = id, name
		return nil
	})
	return ids, names, translate(err)
}
