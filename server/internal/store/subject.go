package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"lastlight/server/internal/access"
)

// Subjects says what ties a caller to records, one entry for each id: a page of
// them costs as many queries as one.
type Subjects map[string]access.Subject

func (s Subjects) add(id string, r access.Relation) {
	x := s[id]
	x.Of = id
	x.Relation |= r
	s[id] = x
}

// PersonSubjects is what ties the caller to these people: their expeditions, the
// teams the caller leads, and the watches that run.
func (s *Store) PersonSubjects(ctx context.Context, q Querier, c *access.Caller, ids []string) (Subjects, error) {
	if q == nil {
		q = s.pool
	}
	out := Subjects{}
	for _, id := range ids {
		var r access.Relation
		if id == c.Person {
			r |= access.Self
		}
		if c.Guards(id) {
			r |= access.Ward
		}
		out.add(id, r)
	}
	rows, err := q.Query(ctx, `
SELECT person, expedition FROM expedition_participant WHERE person = ANY ($1)
UNION SELECT person, expedition FROM role_grant WHERE person = ANY ($1) AND expedition IS NOT NULL AND revoked_at IS NULL ORDER BY 1, 2`, ids)
	if err != nil {
		return nil, translate(err)
	}
	var person, expedition string
	if _, err := pgx.ForEachRow(rows, []any{&person, &expedition}, func() error {
		x := out[person]
		x.Expeditions = append(x.Expeditions, expedition)
		out[person] = x
		return nil
	}); err != nil {
		return nil, translate(err)
	}
	rows, err = q.Query(ctx, `
SELECT x.person, true, false, false FROM plan p JOIN plan_person x ON x.plan = p.id AND x.version = p.version
WHERE p.leader = $2 AND x.person = ANY ($1) AND x.duty = 'diver' AND NOT p.archived AND p.state IN ('draft', 'submitted', 'approved', 'stale', 'in_water')
UNION ALL
SELECT x.person, false, true, w.cover = $2 FROM dive d JOIN dive_diver x ON x.dive = d.id LEFT JOIN watch w ON w.dive = d.id
WHERE d.state = 'in_water' AND x.person = ANY ($1)`, ids, c.Person)
	if err != nil {
		return nil, translate(err)
	}
	var leads, away bool
	var covers *bool
	_, err = pgx.ForEachRow(rows, []any{&person, &leads, &away, &covers}, func() error {
		if leads {
			out.add(person, access.Leads)
		}
		if away {
			out.add(person, access.WatchRuns)
		}
		if covers != nil && *covers {
			out.add(person, access.Covers)
		}
		return nil
	})
	return out, translate(err)
}

// SiteSubjects is what ties the caller to these sites: the watches that run there.
func (s *Store) SiteSubjects(ctx context.Context, q Querier, c *access.Caller, ids []string) (Subjects, error) {
	if q == nil {
		q = s.pool
	}
	out := Subjects{}
	rows, err := q.Query(ctx, `
SELECT d.site, COALESCE(w.cover = $2, false) FROM dive d LEFT JOIN watch w ON w.dive = d.id WHERE d.state = 'in_water' AND d.site = ANY ($1)`, ids, c.Person)
	if err != nil {
		return nil, translate(err)
	}
	var site string
	var covers bool
	if _, err := pgx.ForEachRow(rows, []any{&site, &covers}, func() error {
		out.add(site, access.WatchRuns)
		if covers {
			out.add(site, access.Covers)
		}
		return nil
	}); err != nil {
		return nil, translate(err)
	}
	rows, err = q.Query(ctx, `SELECT site, expedition FROM expedition_site WHERE site = ANY ($1) ORDER BY 1, 2`, ids)
	if err != nil {
		return nil, translate(err)
	}
	var expedition string
	_, err = pgx.ForEachRow(rows, []any{&site, &expedition}, func() error {
		x := out[site]
		x.Expeditions = append(x.Expeditions, expedition)
		out[site] = x
		return nil
	})
	return out, translate(err)
}

// ItemSubjects is what ties the caller to these items: owning them, and the
// plans that name them in which the caller takes part.
func (s *Store) ItemSubjects(ctx context.Context, q Querier, c *access.Caller, ids []string) (Subjects, error) {
	if q == nil {
		q = s.pool
	}
	out := Subjects{}
	rows, err := q.Query(ctx, `
SELECT i.id, true, false, '' FROM item i WHERE i.id = ANY ($1) AND i.owner = $2
UNION ALL
SELECT DISTINCT x.item, false, p.leader = $2, COALESCE(y.duty, '')
FROM plan_item x JOIN plan p ON p.id = x.plan AND p.version = x.version
LEFT JOIN plan_person y ON y.plan = p.id AND y.version = p.version AND y.person = $2
WHERE x.item = ANY ($1) AND NOT p.archived AND p.state IN ('draft', 'submitted', 'approved', 'stale', 'in_water')
  AND (p.leader = $2 OR y.person IS NOT NULL)`, ids, c.Person)
	if err != nil {
		return nil, translate(err)
	}
	var item, duty string
	var owns, leads bool
	_, err = pgx.ForEachRow(rows, []any{&item, &owns, &leads, &duty}, func() error {
		if owns {
			out.add(item, access.Self)
		}
		if leads {
			out.add(item, access.Leads)
		}
		switch duty {
		case "cover":
			out.add(item, access.Covers)
		case "diver", "standby":
			out.add(item, access.InTeam)
		}
		return nil
	})
	return out, translate(err)
}
