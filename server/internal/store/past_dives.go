package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
)

// logAsked bounds what is read of people's logs. What is left out changes no answer to a question about moments from then on, at
// the sites, under the policy. Only the tallies of everything ever dived, at each site, to each depth, need everything.
type logAsked struct {
	people     []*lastlightv1.Person
	policy     *policy.Policy
	sites      []string  // asked about: who has been there, and how often lately
	from       time.Time // the earliest moment asked about
	before     time.Time // dives that began before
	whole      time.Time // dives from here on come with their record and site; not after before, so that window is before it too
	but        string    // the dive of this plan is left out; empty: none
	everything bool
	whether    bool // asked is whether there are as many dives as the policy asks for, and not how many, and nothing of endorsements or leaders
}

// outOfStep is how far apart two dives are at most whose days, each in the zone of its site, are in another order than their
// entries, with slack: zones are up to 26 hours apart.
const outOfStep = 3 * 24 * time.Hour

// longest is how long a dive lasts at most (dive.Check).
const longest = 48 * time.Hour

// monthsBefore is a moment at least so many months before another, in any zone.
func monthsBefore(t time.Time, months int) time.Time {
	return t.Add(-time.Duration(months)*31*24*time.Hour - outOfStep)
}

// counted is from when dives are counted one by one.
func (a *logAsked) counted() time.Time {
	months := a.policy.Currency.WithinMonths
	if !a.whether {
		months = max(months, a.policy.Currency.EndorsementMonths)
	}
	return monthsBefore(a.from, months)
}

// window is from when every dive is read: those that are counted one by one, that may load tissues, or that make a series before
// a flight.
func (a *logAsked) window() time.Time {
	if a.everything {
		return time.Time{}
	}
	t, load := a.counted(), a.whole.Add(-divesWhole(a.policy))
	if a.whether {
		t = a.from.Add(-outOfStep)
	}
	if load.Before(t) {
		return load
	}
	return t
}

// askedFrom is the earliest moment of a question for a day, empty for today, in any zone; and of one for days after it.
func askedFrom(day string, now time.Time) time.Time {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil { // today
		at = now
	}
	return at.Add(-24 * time.Hour)
}

// siteWindow is from when every dive at the sites asked about is read.
func (a *logAsked) siteWindow() time.Time {
	if a.whether {
		return a.from.Add(-outOfStep)
	}
	return monthsBefore(a.from, a.policy.FirstVisit.LeaderMonths)
}

// spell is a time so short that no gap within it lets a clock of currency run out: a dive that is neither the first nor the last
// of its spell neither opens nor closes such a gap.
func spell(p *policy.Policy) time.Duration {
	months := min(p.Currency.RefresherMonths, p.Currency.ReassessMonths)
	return max(time.Duration(months-1)*30*24*time.Hour, time.Second)
}

// readsShorter tells whether what was read of logs under one policy may be too little for another.
func readsShorter(then, tried *policy.Policy) bool {
	a, b := then.Currency, tried.Currency
	return max(b.WithinMonths, b.EndorsementMonths) > max(a.WithinMonths, a.EndorsementMonths) ||
		tried.FirstVisit.LeaderMonths > then.FirstVisit.LeaderMonths || spell(tried) < spell(then)
}

// reachingFurthest is a policy under which logs are read as far back, and as densely, as any of these asks for.
func reachingFurthest(policies []facts.PolicyFrom) *policy.Policy {
	p := policies[0].Policy
	for i := range policies[1:] {
		q := &policies[i+1].Policy
		p.Currency.Dives = max(p.Currency.Dives, q.Currency.Dives)
		p.Currency.WithinMonths = max(p.Currency.WithinMonths, q.Currency.WithinMonths)
		p.Currency.EndorsementMonths = max(p.Currency.EndorsementMonths, q.Currency.EndorsementMonths)
		p.Currency.RefresherMonths = min(p.Currency.RefresherMonths, q.Currency.RefresherMonths)
		p.Currency.ReassessMonths = min(p.Currency.ReassessMonths, q.Currency.ReassessMonths)
		p.FirstVisit.LeaderMonths = max(p.FirstVisit.LeaderMonths, q.FirstVisit.LeaderMonths)
		p.Decompression.EarlierDivesHours = max(p.Decompression.EarlierDivesHours, q.Decompression.EarlierDivesHours)
	}
	return &p
}

// loggedColumns are what the index of logs says of a dive, and ofThePlan the dives of the plan that is judged ($6), which are no
// past dives: there is one, or none.
const (
	loggedColumns = `dive, entered_at, site, kind, zone, counted_as, instructor, state`
	ofThePlan     = `ARRAY(SELECT id FROM dive WHERE plan = $6 AND NOT archived)`
)

// pastDives reads dives of people, oldest first, by person: those that can matter to the question.
//
//   - every dive from window on, and at the sites asked about from siteWindow on;
//   - the last one before, and at each site asked about; with it what may have ended later;
//   - where it is asked whether there are enough alone: of each kind of those counted the latest, as many as are asked for. A dive
//     left out then has as many after it that count wherever it does. Where no level is on record the cards of each day say it, and
//     may have said more earlier: all are read;
//   - what is still in the register: a dive loads tissues from the minute it begins, whether or not its record is complete. Its
//     out is the last known of this diver, or the entry while there is none;
//   - since the first card, lessons, which heal a gap, and of the others the first and last of each spell, each zone and level
//     counted as by itself. Where no level is on record the cards of the day say it; as a card lapses to an easier level alone,
//     they say at every such dive since the card that counts now was issued what counts for it.
//
// The log is gone through in an index of its own; what is left is looked up by its key. A join of many people's dives would have
// the planner read the whole log, which grows without them.
func pastDives(ctx context.Context, q Querier, a logAsked) (map[string][]facts.PastDive, error) {
	var people []string
	var since []*time.Time
	for _, p := range a.people {
		people, since = append(people, p.Id), append(since, firstCard(p))
	}
	rows, err := q.Query(ctx, `
SELECT p.person, near.dive, near.site, s.time_zone, near.kind, COALESCE(d.taught_level, ''), COALESCE(near.zone, ''), near.entered_at,
       CASE WHEN near.state = 'closed' THEN COALESCE(d.out_at, near.entered_at) ELSE COALESCE((
         SELECT max(f.at) FROM (SELECT DISTINCT ON (what) at FROM watch_fact WHERE dive = d.id AND person = p.person AND what <> 'in' ORDER BY what, id DESC) f
       ), d.out_at, d.entered_at) END,
       near.state = 'closed', near.kind = 'training' AND COALESCE((SELECT true FROM dive_diver y WHERE y.dive = d.id AND y.instructor LIMIT 1), false),
       near.counted_as, near.instructor, COALESCE((SELECT used FROM dive_diver WHERE dive = d.id AND person = p.person), '{}'), d.penetration_m, d.max_depth_m, COALESCE(d.version, 0),
       CASE WHEN d.entered_at >= $5 THEN d.record END, CASE WHEN d.entered_at >= $5 THEN s.doc END
FROM unnest($1::text[], $2::timestamptz[]) p (person, since) CROSS JOIN LATERAL (
  SELECT `+loggedColumns+` FROM dive_diver WHERE person = p.person AND entered_at >= $4 AND entered_at < $3
UNION
  SELECT `+loggedColumns+` FROM dive_diver WHERE person = p.person AND site = ANY ($7) AND entered_at >= $8 AND entered_at < $3
UNION
  SELECT `+loggedColumns+` FROM (
    SELECT `+loggedColumns+`, kind = 'training' AND NOT instructor AS lesson, nth_value(entered_at, GREATEST($13::int, 1)) OVER (
      PARTITION BY kind = 'training' AND NOT instructor, zone, counted_as ORDER BY entered_at DESC) AS enough
    FROM dive_diver WHERE person = p.person AND entered_at >= $12 AND entered_at < $4 AND state = 'closed' AND dive <> ALL (`+ofThePlan+`)) counted
  WHERE lesson OR counted_as = '' OR enough IS NULL OR entered_at > enough - $11::interval
UNION
  SELECT y.dive, y.entered_at, y.site, y.kind, y.zone, y.counted_as, y.instructor, y.state FROM (
    SELECT entered_at FROM dive_diver WHERE person = p.person AND entered_at < $4 AND state = 'closed' AND dive <> ALL (`+ofThePlan+`)
    ORDER BY entered_at DESC LIMIT 1) last
  JOIN dive_diver y ON y.person = p.person AND y.entered_at BETWEEN last.entered_at - $10::interval AND last.entered_at
    AND y.dive <> ALL (`+ofThePlan+`)
UNION
  SELECT last.* FROM unnest($7::text[]) here (site) CROSS JOIN LATERAL (
    SELECT `+loggedColumns+` FROM dive_diver
    WHERE person = p.person AND site = here.site AND entered_at < LEAST($3::timestamptz, $8) AND state = 'closed' AND dive <> ALL (`+ofThePlan+`)
    ORDER BY entered_at DESC LIMIT 1) last
UNION
  SELECT mine.* FROM dive running CROSS JOIN LATERAL (
    SELECT `+loggedColumns+` FROM dive_diver WHERE dive = running.id AND person = p.person AND entered_at < $3 LIMIT 1) mine
  WHERE running.state <> 'closed'
UNION
  SELECT y.dive, y.entered_at, y.site, y.kind, y.zone, y.counted_as, y.instructor, y.state FROM (
    SELECT min(entered_at) AS first, max(entered_at) AS last FROM dive_diver
    WHERE person = p.person AND entered_at >= p.since AND entered_at < $4 AND state = 'closed' AND dive <> ALL (`+ofThePlan+`)
    GROUP BY CASE WHEN kind = 'training' AND NOT instructor THEN dive END, zone, counted_as, date_bin($9::interval, entered_at, '1970-01-01Z')) spell
  CROSS JOIN LATERAL (VALUES (first, first + $11::interval), (last - $11::interval, last)) ends (since, until)
  JOIN dive_diver y ON y.person = p.person AND y.entered_at BETWEEN ends.since AND ends.until AND y.entered_at < $4
    AND y.dive <> ALL (`+ofThePlan+`)
) near
  LEFT JOIN LATERAL (SELECT * FROM dive WHERE id = near.dive AND NOT ($14 AND near.entered_at < $8 AND near.state = 'closed' AND near.kind <> 'training') LIMIT 1) d ON true
  JOIN site s ON s.id = near.site
WHERE d.id IS NULL OR NOT d.archived AND d.plan IS DISTINCT FROM $6
ORDER BY p.person, near.entered_at, near.dive`,
		people, since, a.before, a.window(), a.whole, a.but, sortedSet(a.sites), a.siteWindow(), spell(a.policy), longest, outOfStep, a.counted(), a.policy.Currency.Dives, a.whether)
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

// firstCard is the moment from which a dive may be on or after the day on which a person's first card was issued, in any zone; nil:
// there is none.
func firstCard(p *lastlightv1.Person) *time.Time {
	var first *time.Time
	for _, c := range p.Cards {
		issued, err := time.Parse(time.DateOnly, c.IssuedDay)
		if c.Level == "" || err != nil {
			continue
		}
		if from := issued.Add(-outOfStep); first == nil || from.Before(*first) {
			first = &from
		}
	}
	return first
}
