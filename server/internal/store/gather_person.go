package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
)

// policyOfDay is the policy in force on the day; empty: on today's, in the club's zone.
func policyOfDay(ctx context.Context, q Querier, day string, now time.Time) (id string, document []byte, err error) {
	if day == "" {
		return policyInForce(ctx, q, now, "")
	}
	return policyOn(ctx, q, day)
}

// GatherPerson reads everything a person's question for a day rests on, on one
// snapshot; day and site may be empty. The policy is the one in force on the day.
func (s *Store) GatherPerson(ctx context.Context, person, day, site string, now time.Time) (*facts.PersonRecords, error) {
	r := &facts.PersonRecords{Pseudonyms: map[string]string{}}
	err := s.Read(ctx, func(ctx context.Context, q Querier) error {
		id, document, err := policyOfDay(ctx, q, day, now)
		if err != nil {
			return err
		}
		p, err := readPolicy(id, document)
		if err != nil {
			return err
		}
		r.PolicyID, r.Policy = id, *p
		people, err := loadPeople(ctx, q, []string{person})
		if err != nil {
			return err
		}
		if len(people) == 0 {
			return fault.NoSuch("person", person)
		}
		r.Person = people[0]
		dives, err := pastDives(ctx, q, []string{person}, now, now.Add(-divesWhole(&r.Policy)), "")
		if err != nil {
			return err
		}
		r.Dives = dives[person]
		if site != "" {
			m, found, err := loadSite(ctx, q, site, false)
			if err != nil {
				return err
			}
			if !found {
				return fault.NoSuch("site", site)
			}
			m.ExactPosition, m.AccessNotes, m.GateCode = nil, nil, nil
			r.Site = m
		}
		if r.ClubZone, err = ClubZone(ctx, q); err != nil {
			return err
		}
		rows, err := q.Query(ctx, `SELECT id FROM item WHERE owner = $1 AND NOT archived ORDER BY id`, person)
		if err != nil {
			return err
		}
		ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			return err
		}
		g := gatherer{q: q, r: &facts.Records{Policy: r.Policy}, at: now, now: now}
		if err := g.items(ctx, ids); err != nil {
			return err
		}
		r.Cylinders, r.Equipment = g.r.Cylinders, g.r.Equipment
		named := []string{person, r.Person.Guardian}
		for _, c := range r.Person.Cards {
			named = append(named, c.SeenBy)
		}
		r.Pseudonyms, err = pseudonymsOf(ctx, q, named)
		return err
	})
	return r, err
}

// pseudonymsOf reads the pseudonyms of people; one that is not there is left out.
func pseudonymsOf(ctx context.Context, q Querier, people []string) (map[string]string, error) {
	rows, err := q.Query(ctx, `SELECT id, pseudonym FROM person WHERE id = ANY ($1)`, sortedSet(people))
	if err != nil {
		return nil, err
	}
	all := map[string]string{}
	var id, pseudonym string
	_, err = pgx.ForEachRow(rows, []any{&id, &pseudonym}, func() error {
		all[id] = pseudonym
		return nil
	})
	return all, err
}

// pastDives reads the dives of people that began before a minute, oldest first,
// by person. but leaves out the dive of one plan; those from wholeFrom on come
// with their record and site. A dive loads tissues from the minute it begins,
// whether or not its record is complete: what is still in the register is read
// too, with the last known out of this diver, or the entry while there is none.
// Each dive is looked up by its key: a join of many people's dives would have the
// planner read the whole log, which grows without them.
func pastDives(ctx context.Context, q Querier, people []string, before, wholeFrom time.Time, but string) (map[string][]facts.PastDive, error) {
	rows, err := q.Query(ctx, `
SELECT x.person, d.id, d.site, s.time_zone, d.kind, d.taught_level, COALESCE(d.zone, ''), d.entered_at,
       CASE WHEN d.state = 'closed' THEN d.out_at ELSE COALESCE((
         SELECT max(f.at) FROM (SELECT DISTINCT ON (what) at FROM watch_fact WHERE dive = d.id AND person = x.person AND what <> 'in' ORDER BY what, id DESC) f
       ), d.out_at, d.entered_at) END,
       d.state = 'closed', d.kind = 'training' AND EXISTS (SELECT FROM dive_diver y WHERE y.dive = d.id AND y.instructor),
       x.counted_as, x.instructor, x.used, d.penetration_m, d.max_depth_m, d.version,
       CASE WHEN d.entered_at >= $4 THEN d.record END, CASE WHEN d.entered_at >= $4 THEN s.doc END
FROM dive_diver x CROSS JOIN LATERAL (SELECT * FROM dive WHERE id = x.dive LIMIT 1) d JOIN site s ON s.id = d.site
WHERE x.person = ANY ($1) AND NOT d.archived AND x.entered_at < $2 AND d.plan IS DISTINCT FROM $3
ORDER BY x.person, d.entered_at, d.id`, sortedSet(people), before, but, wholeFrom)
	if err != nil {
		return nil, err
	}
	type of struct {
		person string
		dive   facts.PastDive
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (o of, err error) {
		d := &o.dive
		var record, place []byte
		if err = row.Scan(&o.person, &d.ID, &d.Site, &d.TimeZone, &d.Kind, &d.TaughtLevel, &d.Zone, &d.EnteredAt, &d.OutAt, &d.Closed, &d.Taught,
			&d.CountedAs, &d.Instructor, &d.Used, &d.PenetrationM, &d.MaxDepthM, &d.Version, &record, &place); err != nil {
			return o, err
		}
		if record == nil {
			return o, nil
		}
		d.Record, d.Place = &lastlightv1.Dive{}, &lastlightv1.Site{}
		if err = proto.Unmarshal(record, d.Record); err != nil {
			return o, err
		}
		return o, unmarshalDocument(place, d.Place)
	})
	out := map[string][]facts.PastDive{}
	for _, o := range list {
		out[o.person] = append(out[o.person], o.dive)
	}
	return out, err
}
