package store

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
)

// How far around a planned entry records of the site are read: readings of the
// days around it, dives that may still verify a line. The engine judges the
// exact limits; these only bound the amount.
const (
	readingsBefore = 4 * 24 * time.Hour
	readingsAfter  = 2 * 24 * time.Hour
	siteDivesBack  = 40 * 24 * time.Hour
)

// GatherRecords reads everything one evaluation of a plan version rests on.
// at is the entry asked about: the planned one, or the real one at the water.
// Inside a deciding transaction it runs after the roots are locked. The plan is
// judged under the policy in force on the day of that entry at the site.
func GatherRecords(ctx context.Context, q Querier, id string, version int32, at, now time.Time) (*facts.Records, error) {
	return GatherRecordsUnder(ctx, q, "", id, version, at, now)
}

// GatherRecordsUnder reads the same as if the named policy were in force; a
// policy says how far back some records are read.
func GatherRecordsUnder(ctx context.Context, q Querier, governs, id string, version int32, at, now time.Time) (*facts.Records, error) {
	p, err := getPlan(ctx, q, id, version, now)
	if err != nil {
		return nil, err
	}
	// The enter-by time that submission worked out is an answer, not the plan's own word.
	state, reasons := p.State, p.StateReasons
	if err := unmarshalOwn(ctx, q, p); err != nil {
		return nil, err
	}
	p.State, p.StateReasons = state, reasons
	if at.IsZero() {
		at = p.PlannedEntry.AsTime()
	}
	r := &facts.Records{Plan: p, Pseudonyms: map[string]string{}}
	if err := q.QueryRow(ctx, `SELECT stops FROM plan WHERE id = $1`, id).Scan(&r.Stops); err != nil {
		return nil, err
	}
	g := gatherer{q: q, r: r, at: at, now: now, governs: governs}
	for _, step := range []func(context.Context) error{
		g.site, g.policy, g.people, g.dives, g.gear, g.bookings, g.pseudonyms,
	} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	return r, nil
}

type gatherer struct {
	q   Querier
	r   *facts.Records
	at  time.Time
	now time.Time

	governs string // policy; empty: the one in force on the day of the entry
}

// policyInForce is the policy that governs the day of an instant in the zone of the
// site that is asked about (T1); empty: in the club's.
func policyInForce(ctx context.Context, q Querier, at time.Time, zone string) (id string, document []byte, err error) {
	var day string
	err = q.QueryRow(ctx, `SELECT ($1::timestamptz AT TIME ZONE COALESCE(NULLIF($2, ''), (SELECT time_zone FROM club), 'UTC'))::date::text`, at, zone).Scan(&day)
	if err != nil {
		return "", nil, err
	}
	return policyOn(ctx, q, day)
}

// policyOn is the policy that governs a day: the last adopted of those in force
// from that day or before.
func policyOn(ctx context.Context, q Querier, day string) (id string, document []byte, err error) {
	err = q.QueryRow(ctx, `
SELECT p.id, p.doc -> 'document' FROM policy p
WHERE p.adopted_at IS NOT NULL AND p.in_force_from <= $1::text::date
ORDER BY p.in_force_from DESC, p.adopted_at DESC, p.number DESC LIMIT 1`, day).Scan(&id, &document)
	if errors.Is(err, pgx.ErrNoRows) {
		return "", nil, noPolicy()
	}
	return id, document, err
}

// policiesWithin are those that govern some day from the first to the last, in their order; a policy governs from its day on, until
// another does. Before there was any, the first counts.
func policiesWithin(ctx context.Context, q Querier, first, last string) ([]facts.PolicyFrom, error) {
	rows, err := q.Query(ctx, `
SELECT DISTINCT ON (in_force_from) id, in_force_from::text, doc -> 'document' FROM policy
WHERE adopted_at IS NOT NULL AND in_force_from <= $2::text::date
  AND in_force_from >= COALESCE((SELECT max(in_force_from) FROM policy WHERE adopted_at IS NOT NULL AND in_force_from <= $1::text::date), '-infinity')
ORDER BY in_force_from, adopted_at DESC, number DESC`, first, last)
	if err != nil {
		return nil, err
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (x facts.PolicyFrom, err error) {
		var document []byte
		if err = row.Scan(&x.ID, &x.From, &document); err != nil {
			return x, err
		}
		p, err := readPolicy(x.ID, document)
		if err == nil {
			x.Policy = *p
		}
		return x, err
	})
	if err == nil && len(list) == 0 {
		err = noPolicy()
	}
	return list, err
}

func noPolicy() error {
	return &fault.Error{Kind: fault.WrongState, Reason: "NO_POLICY", Message: "no club policy is in force; adopt one first"}
}

func (g *gatherer) policy(ctx context.Context) error {
	var id string
	var document []byte
	var err error
	if g.governs == "" {
		id, document, err = policyInForce(ctx, g.q, g.at, g.r.Site.TimeZone)
	} else {
		id, document, err = policyDocument(ctx, g.q, g.governs)
	}
	if err != nil {
		return err
	}
	p, err := readPolicy(id, document)
	if err == nil {
		g.r.PolicyID, g.r.Policy = id, *p
	}
	return err
}

func (g *gatherer) site(ctx context.Context) error {
	site, found, err := loadSite(ctx, g.q, g.r.Plan.Site, false)
	if err == nil && !found {
		err = fault.NoSuch("site", g.r.Plan.Site)
	}
	if err != nil {
		return err
	}
	site.ExactPosition, site.AccessNotes, site.GateCode = nil, nil, nil
	g.r.Site = site
	if e := g.r.Plan.Expedition; e != "" {
		if err := g.q.QueryRow(ctx, `SELECT from_day::text, to_day::text FROM expedition WHERE id = $1`, e).Scan(&g.r.Trip[0], &g.r.Trip[1]); err != nil {
			return err
		}
	}
	if g.r.Survey, err = getSurvey(ctx, g.q, site.Id, g.r.Plan.Survey); err != nil {
		return err
	}
	rows, err := g.q.Query(ctx, `
SELECT id, read_at, level_m, flow, visibility_m, openings_seen_open, notes, read_by FROM reading
WHERE site = $1 AND read_at BETWEEN $2 AND $3 ORDER BY read_at, recorded_at, id`, site.Id, g.at.Add(-readingsBefore), g.at.Add(readingsAfter))
	if err != nil {
		return err
	}
	if g.r.Readings, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Reading, error) {
		m := &lastlightv1.Reading{Site: site.Id}
		var at time.Time
		err := row.Scan(&m.Id, &at, &m.LevelM, &m.Flow, &m.VisibilityM, &m.OpeningsSeenOpen, &m.Notes, &m.ReadBy)
		m.ReadAt = timestamppb.New(at)
		return m, err
	}); err != nil {
		return err
	}
	if g.r.Permits, err = documents(ctx, g.q, func() *lastlightv1.Permit { return &lastlightv1.Permit{} },
		`SELECT doc FROM permit WHERE site = $1 AND NOT archived ORDER BY from_day, id`, site.Id); err != nil {
		return err
	}
	rows, err = g.q.Query(ctx, `SELECT id, legs, seen_at, what FROM line_damage WHERE site = $1 AND seen_at > $2 ORDER BY seen_at, id`, site.Id, g.at.Add(-siteDivesBack))
	if err != nil {
		return err
	}
	if g.r.Damages, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.LineDamage, error) {
		m := &lastlightv1.LineDamage{Site: site.Id}
		var at time.Time
		err := row.Scan(&m.Id, &m.Legs, &at, &m.What)
		m.SeenAt = timestamppb.New(at)
		return m, err
	}); err != nil {
		return err
	}
	rows, err = g.q.Query(ctx, `
SELECT id, COALESCE(dive, ''), kind, place, item, owner, left_at, confirmed_at FROM left_item WHERE site = $1 AND recovered_at IS NULL ORDER BY left_at, id`, site.Id)
	if err != nil {
		return err
	}
	g.r.Left, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.LeftItem, error) {
		m := &lastlightv1.LeftItem{Site: site.Id}
		var left time.Time
		var confirmed *time.Time
		err := row.Scan(&m.Id, &m.Dive, &m.Kind, &m.Place, &m.Item, &m.Owner, &left, &confirmed)
		m.LeftAt = timestamppb.New(left)
		if confirmed != nil {
			m.ConfirmedAt = timestamppb.New(*confirmed)
		}
		return m, err
	})
	return err
}

// documents collects a doc column.
func documents[M proto.Message](ctx context.Context, q Querier, fresh func() M, sql string, args ...any) ([]M, error) {
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (M, error) {
		var doc []byte
		m := fresh()
		if err := row.Scan(&doc); err != nil {
			return m, err
		}
		return m, unmarshalDocument(doc, m)
	})
}

func (g *gatherer) people(ctx context.Context) error {
	people, err := loadPeople(ctx, g.q, plan.People(g.r.Plan))
	if err != nil {
		return err
	}
	for _, p := range people {
		// Who is archived, as an erased person is, does not dive, stand by or cover: the plan names somebody who is not there, which
		// blocks.
		if !p.Archived {
			g.r.People = append(g.r.People, facts.Person{Record: p})
		}
	}
	return nil
}

func (g *gatherer) dives(ctx context.Context) error {
	var team []string
	var people []*lastlightv1.Person
	for _, p := range g.r.People {
		if slices.ContainsFunc(g.r.Plan.Team, func(d *lastlightv1.PlanDiver) bool { return d.Person == p.Record.Id }) {
			team, people = append(team, p.Record.Id), append(people, p.Record)
		}
	}
	dives, err := pastDives(ctx, g.q, logAsked{
		people: people, policy: &g.r.Policy, sites: []string{g.r.Site.Id}, from: g.at, before: g.at, whole: g.at.Add(-divesWhole(&g.r.Policy)), but: g.r.Plan.Id,
	})
	if err != nil {
		return err
	}
	for i := range g.r.People {
		g.r.People[i].Dives = dives[g.r.People[i].Record.Id]
	}
	if g.r.Policy.Consumption.Dives > 0 {
		learned, err := breathedDives(ctx, g.q, breathedQuestion{people: team, from: facts.LearnedSince(&g.r.Policy, g.at), before: g.at, but: g.r.Plan.Id})
		if err != nil {
			return err
		}
		for i := range g.r.People {
			g.r.People[i].Breathed = learned[g.r.People[i].Record.Id]
		}
	}
	rows, err := g.q.Query(ctx, `
SELECT id, entered_at, penetration_m FROM dive
WHERE site = $1 AND state = 'closed' AND NOT archived AND penetration_m IS NOT NULL AND entered_at BETWEEN $2 AND $3 AND plan IS DISTINCT FROM $4
ORDER BY entered_at, id`, g.r.Site.Id, facts.MonthsBack(g.at, g.r.Policy.FirstVisit.MedianMonths), g.at, g.r.Plan.Id)
	if err != nil {
		return err
	}
	if g.r.Penetrations, err = pgx.CollectRows(rows, pgx.RowToStructByPos[facts.Penetration]); err != nil {
		return err
	}
	rows, err = g.q.Query(ctx, `
SELECT id, record, recorded_by FROM dive
WHERE site = $1 AND state = 'closed' AND NOT archived AND entered_at BETWEEN $2 AND $3 ORDER BY entered_at, id`, g.r.Site.Id, g.at.Add(-siteDivesBack), g.at)
	if err != nil {
		return err
	}
	g.r.SiteDives, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Dive, error) {
		var id, by string
		var doc []byte
		m := &lastlightv1.Dive{}
		if err := row.Scan(&id, &doc, &by); err != nil {
			return nil, err
		}
		err := proto.Unmarshal(doc, m)
		m.Id, m.RecordedBy = id, by
		return m, err
	})
	return err
}

// divesWhole is how far back dives are read with gases, profile and place: as
// far as they count for tissues, and a day more for the length of a dive.
func divesWhole(p *policy.Policy) time.Duration {
	return time.Duration(p.Decompression.EarlierDivesHours)*time.Hour + 48*time.Hour
}

// bookings reads what other plans bind these people and cylinders to.
func (g *gatherer) bookings(ctx context.Context) error {
	cylinders := make([]string, len(g.r.Cylinders))
	for i, c := range g.r.Cylinders {
		cylinders[i] = c.Record.Id
	}
	rows, err := g.q.Query(ctx, `
SELECT b.plan, p.state, b.kind, b.subject, b.duty, lower(b.during), CASE WHEN upper_inc(b.during) THEN upper(b.during) END
FROM booking b JOIN plan p ON p.id = b.plan
WHERE b.plan <> $1 AND ((b.kind = 'person' AND b.subject = ANY ($2)) OR (b.kind = 'cylinder' AND b.subject = ANY ($3)))
  AND p.state IN ('approved', 'stale', 'in_water') AND NOT (p.state IN ('approved', 'stale') AND p.enter_by < $4)
  AND (NOT upper_inc(b.during) OR upper(b.during) > $5)
ORDER BY b.plan, b.kind, b.subject, b.duty`, g.r.Plan.Id, plan.People(g.r.Plan), sortedSet(cylinders), g.now, g.at.Add(-48*time.Hour))
	if err != nil {
		return err
	}
	g.r.Bookings, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (b facts.Booking, err error) {
		var until *time.Time
		err = row.Scan(&b.Plan, &b.State, &b.Kind, &b.Subject, &b.Duty, &b.From, &until)
		if until != nil {
			b.Until = *until
		}
		return b, err
	})
	return err
}

// pseudonyms reads those of everybody named in what was gathered.
func (g *gatherer) pseudonyms(ctx context.Context) error {
	named := plan.People(g.r.Plan)
	for _, p := range g.r.People {
		named = append(named, p.Record.Guardian)
		for _, c := range p.Record.Cards {
			named = append(named, c.SeenBy)
		}
	}
	for _, d := range g.r.SiteDives {
		named = append(named, d.RecordedBy)
		for _, x := range d.Divers {
			named = append(named, x.Person)
		}
	}
	for _, r := range g.r.Readings {
		named = append(named, r.ReadBy)
	}
	for _, c := range g.r.Cylinders {
		named = append(named, c.Record.Owner)
		for _, a := range c.Analyses {
			named = append(named, a.AnalysedBy)
		}
	}
	var err error
	g.r.Pseudonyms, err = pseudonymsOf(ctx, g.q, named)
	return err
}
