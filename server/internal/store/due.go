package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
)

// DueSubject is a person or an item whose dates are asked for. Every fact below it raises its version, so that what was worked out
// at a version holds until there is another.
type DueSubject struct {
	Kind, ID, Owner string // person, cylinder, equipment; the owner of an item, empty: the club
	Version         int64
}

// DueSubjects lists whoever dives, by card or role, and every item of the club, less what is archived.
func (s *Store) DueSubjects(ctx context.Context, people bool) ([]DueSubject, error) {
	rows, err := s.pool.Query(ctx, `
SELECT 'person', id, id, version FROM person p WHERE NOT archived AND $1
  AND (EXISTS (SELECT FROM card WHERE person = p.id) OR EXISTS (SELECT FROM role_grant WHERE person = p.id AND role IN ('diver', 'leader') AND revoked_at IS NULL))
UNION ALL SELECT kind, id, COALESCE(owner, ''), version FROM item WHERE NOT archived`, people)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (d DueSubject, err error) {
		err = row.Scan(&d.Kind, &d.ID, &d.Owner, &d.Version)
		return d, err
	})
	return list, translate(err)
}

// GatherPapers reads people without their dives and gear, on one snapshot.
func (s *Store) GatherPapers(ctx context.Context, ids []string, now time.Time) (list []facts.PersonRecords, err error) {
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		id, document, err := policyInForce(ctx, q, now, "")
		if err != nil {
			return err
		}
		var p policy.Policy
		if err := json.Unmarshal(document, &p); err != nil {
			return fmt.Errorf("policy %s: %w", id, err)
		}
		zone, err := ClubZone(ctx, q)
		if err != nil {
			return err
		}
		people, err := loadPeople(ctx, q, ids)
		if err != nil {
			return err
		}
		named := ids
		for _, m := range people {
			named = append(named, m.Guardian)
			for _, c := range m.Cards {
				named = append(named, c.SeenBy)
			}
		}
		pseudonyms, err := pseudonymsOf(ctx, q, named)
		if err != nil {
			return err
		}
		for _, m := range people {
			list = append(list, facts.PersonRecords{PolicyID: id, Policy: p, Person: m, ClubZone: zone, Pseudonyms: pseudonyms})
		}
		return nil
	})
	return list, translate(err)
}

// ToBeOut lists what lies in caves with a day by which it is to be out, at some sites; nil: at all.
func (s *Store) ToBeOut(ctx context.Context, sites []string) ([]*lastlightv1.LeftItem, error) {
	rows, err := s.pool.Query(ctx, `
SELECT id::text, site, kind, COALESCE(place, ''), COALESCE(item, ''), COALESCE(owner, ''), remove_by::text FROM left_item
WHERE recovered_at IS NULL AND remove_by IS NOT NULL AND ($1::text[] IS NULL OR site = ANY ($1))`, sites)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.LeftItem, error) {
		m := &lastlightv1.LeftItem{}
		err := row.Scan(&m.Id, &m.Site, &m.Kind, &m.Place, &m.Item, &m.Owner, &m.RemoveBy)
		return m, err
	})
	return list, translate(err)
}

// LastPermits gives for each site that has a permit window the last day of the latest.
func (s *Store) LastPermits(ctx context.Context, sites []string) (map[string]string, error) {
	rows, err := s.pool.Query(ctx, `
SELECT site, max(to_day)::text FROM permit WHERE NOT archived AND ($1::text[] IS NULL OR site = ANY ($1)) GROUP BY site`, sites)
	if err != nil {
		return nil, translate(err)
	}
	last := map[string]string{}
	var site, day string
	_, err = pgx.ForEachRow(rows, []any{&site, &day}, func() error {
		last[site] = day
		return nil
	})
	return last, translate(err)
}
