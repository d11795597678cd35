package store

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
)

// ConsumptionRecords is what a question about a person's consumption rests on.
type ConsumptionRecords struct {
	PolicyID string
	Policy   policy.Policy
	Person   *lastlightv1.Person
	Dives    []facts.BreathedDive // of the policy's months up to the day, oldest first, those without pressures too
	ClubZone string
}

// GatherConsumption reads it on one snapshot, for a minute.
func (s *Store) GatherConsumption(ctx context.Context, person string, at, now time.Time) (*ConsumptionRecords, error) {
	r := &ConsumptionRecords{}
	err := s.Read(ctx, func(ctx context.Context, q Querier) error {
		id, document, err := policyInForce(ctx, q, now, "")
		if err != nil {
			return err
		}
		if err := json.Unmarshal(document, &r.Policy); err != nil {
			return fmt.Errorf("policy %s: %w", id, err)
		}
		r.PolicyID = id
		people, err := loadPeople(ctx, q, []string{person})
		if err != nil {
			return err
		}
		if len(people) == 0 {
			return fault.NoSuch("person", person)
		}
		r.Person = people[0]
		if r.ClubZone, err = ClubZone(ctx, q); err != nil || r.Policy.Consumption.Dives == 0 {
			return err
		}
		dives, err := breathedDives(ctx, q, breathedQuestion{people: []string{person}, from: facts.LearnedSince(&r.Policy, at), before: at, all: true})
		r.Dives = dives[person]
		return err
	})
	return r, err
}

// breathedQuestion bounds a reading of dives for their pressures.
type breathedQuestion struct {
	people       []string
	from, before time.Time
	but          string // the dive of this plan is left out
	all          bool   // those without pressures too
}

// breathedDives reads closed dives of people for how much was breathed, by
// person, oldest first. Unless all are asked for, only dives with pressures are
// touched: they have an index of their own, so that a plan reads those of some
// months and never a whole log.
func breathedDives(ctx context.Context, q Querier, ask breathedQuestion) (map[string][]facts.BreathedDive, error) {
	rows, err := q.Query(ctx, `
SELECT x.person, d.id, d.site, d.entered_at, d.out_at, d.record
FROM dive_diver x CROSS JOIN LATERAL (SELECT * FROM dive WHERE id = x.dive LIMIT 1) d
WHERE x.person = ANY ($1) AND x.entered_at >= $2 AND x.entered_at < $3 AND (x.doc ?| '{end_pressure,cylinders}')
  AND d.state = 'closed' AND NOT d.archived AND d.plan IS DISTINCT FROM $4
UNION ALL
SELECT x.person, d.id, d.site, d.entered_at, d.out_at, d.record
FROM dive_diver x CROSS JOIN LATERAL (SELECT * FROM dive WHERE id = x.dive LIMIT 1) d
WHERE $5 AND x.person = ANY ($1) AND x.entered_at >= $2 AND x.entered_at < $3 AND NOT (x.doc ?| '{end_pressure,cylinders}')
  AND d.state = 'closed' AND NOT d.archived AND d.plan IS DISTINCT FROM $4`, sortedSet(ask.people), ask.from, ask.before, ask.but, ask.all)
	if err != nil {
		return nil, err
	}
	var list []*breathedRow
	read := map[string]*lastlightv1.Dive{}
	var person, id, site string
	var in, out time.Time
	var record []byte
	if _, err = pgx.ForEachRow(rows, []any{&person, &id, &site, &in, &out, &record}, func() error {
		m := read[id] // a team's dive is each one's; its profiles are long
		if m == nil {
			m = &lastlightv1.Dive{}
			if err := proto.Unmarshal(record, m); err != nil {
				return fmt.Errorf("dive %s: %w", id, err)
			}
			m.Id, m.Site, m.EnteredAt, m.OutAt = id, site, timestamppb.New(in), timestamppb.New(out)
			read[id] = m
		}
		list = append(list, &breathedRow{person: person, dive: facts.BreathedDive{Record: m}})
		return nil
	}); err != nil || len(list) == 0 {
		return nil, err
	}
	for _, step := range []func(context.Context, Querier, []*breathedRow) error{breathedAt, breathedFrom, filledMeanwhile, reported} {
		if err := step(ctx, q, list); err != nil {
			return nil, err
		}
	}
	by := map[string][]facts.BreathedDive{}
	for _, r := range list {
		by[r.person] = append(by[r.person], r.dive)
	}
	for _, of := range by {
		sortBreathed(of)
	}
	return by, nil
}

// breathedRow is one dive of one person on its way to the engine.
type breathedRow struct {
	person string
	dive   facts.BreathedDive
}

// diver is the person's part of the dive.
func (r *breathedRow) diver() *lastlightv1.DiveDiver {
	for _, x := range r.dive.Record.Divers {
		if x.Person == r.person {
			return x
		}
	}
	return &lastlightv1.DiveDiver{}
}

// supplies are the ids of what the person breathed from: sets and cylinders.
func (r *breathedRow) supplies() (ids []string) {
	x := r.diver()
	if x.Mains != "" {
		ids = append(ids, x.Mains)
	}
	for _, c := range x.Cylinders {
		ids = append(ids, c.Cylinder)
	}
	return ids
}

func sortBreathed(list []facts.BreathedDive) {
	slices.SortFunc(list, func(a, b facts.BreathedDive) int {
		return cmp.Or(a.Record.EnteredAt.AsTime().Compare(b.Record.EnteredAt.AsTime()), cmp.Compare(a.Record.Id, b.Record.Id))
	})
}

// breathedAt adds the sites: each is read once.
func breathedAt(ctx context.Context, q Querier, list []*breathedRow) error {
	var ids []string
	for _, r := range list {
		ids = append(ids, r.dive.Record.Site)
	}
	sites, err := documents(ctx, q, func() *lastlightv1.Site { return &lastlightv1.Site{} }, `
SELECT jsonb_strip_nulls(jsonb_build_object('id', id, 'time_zone', time_zone, 'water_density', doc -> 'water_density', 'altitude_m', doc -> 'altitude_m', 'barometer_bar', doc -> 'barometer_bar'))
FROM site WHERE id = ANY ($1)`, sortedSet(ids))
	if err != nil {
		return err
	}
	of := map[string]*lastlightv1.Site{}
	for _, s := range sites {
		of[s.Id] = s
	}
	for _, r := range list {
		if r.dive.Place = of[r.dive.Record.Site]; r.dive.Place == nil {
			return fmt.Errorf("dive %s: its site %s is not there", r.dive.Record.Id, r.dive.Record.Site)
		}
	}
	return nil
}

// breathedFrom adds the volumes of what is in the register, as it stands there now.
func breathedFrom(ctx context.Context, q Querier, list []*breathedRow) error {
	var ids []string
	for _, r := range list {
		ids = append(ids, r.supplies()...)
	}
	rows, err := q.Query(ctx, `
SELECT id, water_volume_l FROM cylinder WHERE id = ANY ($1)
UNION ALL
SELECT m.cylinder_set, sum(c.water_volume_l) FROM cylinder_set_member m JOIN cylinder c ON c.id = m.cylinder
WHERE m.cylinder_set = ANY ($1) AND m.cylinder_set <> ALL (SELECT id FROM cylinder WHERE id = ANY ($1)) GROUP BY m.cylinder_set`, sortedSet(ids))
	if err != nil {
		return err
	}
	volumes := map[string]float64{}
	var id string
	var litres float64
	_, err = pgx.ForEachRow(rows, []any{&id, &litres}, func() error {
		volumes[id] = litres
		return nil
	})
	for _, r := range list {
		r.dive.Volumes = volumes
	}
	return err
}

// filledMeanwhile marks dives on which what was breathed from was filled between
// in and out.
func filledMeanwhile(ctx context.Context, q Querier, list []*breathedRow) error {
	var at []int32
	var supply []string
	var in, out []time.Time
	for i, r := range list {
		for _, id := range r.supplies() {
			at, supply = append(at, int32(i)), append(supply, id)
			in, out = append(in, r.dive.Record.EnteredAt.AsTime()), append(out, r.dive.Record.OutAt.AsTime())
		}
	}
	rows, err := q.Query(ctx, `
SELECT DISTINCT u.at FROM unnest ($1::int[], $2::text[], $3::timestamptz[], $4::timestamptz[]) u (at, supply, came_in, came_out)
WHERE EXISTS (
  SELECT FROM (SELECT u.supply AS id UNION ALL SELECT m.cylinder FROM cylinder_set_member m WHERE m.cylinder_set = u.supply) c
  JOIN fill f ON f.cylinder = c.id WHERE f.filled_at > u.came_in AND f.filled_at < u.came_out)`, at, supply, in, out)
	if err != nil {
		return err
	}
	filled, err := pgx.CollectRows(rows, pgx.RowTo[int32])
	for _, i := range filled {
		list[i].dive.Filled = true
	}
	return err
}

// reported sets dives aside on which more than a hazard was reported.
func reported(ctx context.Context, q Querier, list []*breathedRow) error {
	ids := make([]string, len(list))
	for i, r := range list {
		ids[i] = r.dive.Record.Id
	}
	rows, err := q.Query(ctx, `SELECT DISTINCT dive FROM incident WHERE dive = ANY ($1) AND level > 0`, sortedSet(ids))
	if err != nil {
		return err
	}
	aside, err := pgx.CollectRows(rows, pgx.RowTo[string])
	for _, r := range list {
		r.dive.Aside = slices.Contains(aside, r.dive.Record.Id)
	}
	return err
}
