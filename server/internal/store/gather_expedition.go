package store

import (
	"context"
	"slices"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
)

// GatherExpedition reads what "who can dive where on which day" rests on, on one
// snapshot: every person once, with their dives by one index range each.
func (s *Store) GatherExpedition(ctx context.Context, id string, now time.Time) (*facts.ExpeditionRecords, error) {
	trip, err := s.GetExpedition(ctx, id)
	if err != nil {
		return nil, err
	}
	r := &facts.ExpeditionRecords{Expedition: trip, Permits: map[string][]*lastlightv1.Permit{}, Pseudonyms: map[string]string{}}
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		var err error
		if r.Policies, err = policiesWithin(ctx, q, trip.FromDay, trip.ToDay); err != nil {
			return err
		}
		var ids []string
		for _, p := range trip.Participants {
			// Who is here for something else alone, such as cover, is not asked about.
			if len(p.Tasks) == 0 || slices.Contains(p.Tasks, "diver") {
				ids = append(ids, p.Person)
			}
		}
		people, err := loadPeople(ctx, q, ids)
		if err != nil {
			return err
		}
		dives, err := pastDives(ctx, q, logAsked{people: people, policy: reachingFurthest(r.Policies), sites: trip.Sites, from: askedFrom(trip.FromDay, now), before: now, whole: now, whether: true})
		if err != nil {
			return err
		}
		named := ids
		for _, p := range people {
			r.People = append(r.People, facts.Person{Record: p, Dives: dives[p.Id]})
			named = append(named, p.Guardian)
			for _, c := range p.Cards {
				named = append(named, c.SeenBy)
			}
		}
		for _, site := range trip.Sites {
			m, found, err := loadSite(ctx, q, site, false)
			if err == nil && !found {
				err = fault.NoSuch("site", site)
			}
			if err != nil {
				return err
			}
			m.ExactPosition, m.AccessNotes, m.GateCode = nil, nil, nil
			r.Sites = append(r.Sites, m)
			if r.Permits[site], err = documents(ctx, q, func() *lastlightv1.Permit { return &lastlightv1.Permit{} },
				`SELECT doc FROM permit WHERE site = $1 AND NOT archived ORDER BY from_day, id`, site); err != nil {
				return err
			}
		}
		r.Pseudonyms, err = pseudonymsOf(ctx, q, named)
		return err
	})
	return r, err
}
