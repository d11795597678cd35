package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

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

// GatherPerson reads everything a person's question for a day, and days after it, rests on, on one snapshot; day and site may be
// empty. The policy is the one in force on the day. Of the person's log it reads what can matter, or everything, for tallies of
// all that was ever dived.
func (s *Store) GatherPerson(ctx context.Context, person, day, site string, everything bool, now time.Time) (*facts.PersonRecords, error) {
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
		asked := logAsked{
			people: people, policy: &r.Policy, from: askedFrom(day, now), before: now, whole: now.Add(-divesWhole(&r.Policy)), everything: everything,
		}
		if site != "" {
			asked.sites = []string{site}
		}
		dives, err := pastDives(ctx, q, asked)
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
