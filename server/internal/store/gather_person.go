package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/engine/policy"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
)

// GatherPerson reads everything a person's question for a day rests on, on one
// snapshot; site may be empty.
func (s *Store) GatherPerson(ctx context.Context, person, site string, now time.Time) (*facts.PersonRecords, error) {
	r := &facts.PersonRecords{Pseudonyms: map[string]string{}}
	err := s.Read(ctx, func(ctx context.Context, q Querier) error {
		id, document, err := policyInForce(ctx, q, now)
		if err != nil {
			return err
		}
		var p policy.Policy
		if err := json.Unmarshal(document, &p); err != nil {
			return fmt.Errorf("policy %s: %w", id, err)
		}
		r.PolicyID, r.Policy = id, p
		people, err := loadPeople(ctx, q, []string{person})
		if err != nil {
			return err
		}
		if len(people) == 0 {
			return fault.NoSuch("person", person)
		}
		r.Person = people[0]
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
		g := gatherer{q: q, r: &facts.Records{Policy: p}, at: now, now: now}
		if err := g.items(ctx, ids); err != nil {
			return err
		}
		r.Cylinders, r.Equipment = g.r.Cylinders, g.r.Equipment
		named := []string{person, r.Person.Guardian}
		for _, c := range r.Person.Cards {
			named = append(named, c.SeenBy)
		}
		if rows, err = q.Query(ctx, `SELECT id, pseudonym FROM person WHERE id = ANY ($1)`, sortedSet(named)); err != nil {
			return err
		}
		var of, pseudonym string
		_, err = pgx.ForEachRow(rows, []any{&of, &pseudonym}, func() error {
			r.Pseudonyms[of] = pseudonym
			return nil
		})
		return err
	})
	return r, err
}
