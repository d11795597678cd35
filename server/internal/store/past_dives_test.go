package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"lastlight/engine"
	"lastlight/engine/enginetest"
	enginefacts "lastlight/engine/facts"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/storetest"
	"lastlight/server/zones"
)

func TestMain(m *testing.M) { os.Exit(storetest.Run(m)) }

// today is the minute of the plan's entry: every dive of the logs below began before it.
var today = time.Date(2026, 6, 14, 7, 0, 0, 0, time.UTC)

// logSites are as far apart on the clock as sites can be.
var logSites = map[string]string{"site-1": "Europe/Berlin", "atoll": "Pacific/Kiritimati", "reef": "Pacific/Pago_Pago", "home": "Etc/UTC"}

// logDatabase has the sites, the person whose log it is, another who teaches, and a plan.
func logDatabase(t *testing.T) *pgxpool.Pool {
	pool := storetest.New(t)
	for id, zone := range logSites {
		if _, err := pool.Exec(t.Context(), `INSERT INTO site (id, title, time_zone, doc) VALUES ($1, $1, $2, '{"water_density": 1000, "altitude_m": 120}')`, id, zone); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := pool.Exec(t.Context(), `
INSERT INTO person (id, pseudonym, full_name, doc) VALUES ('p', 'p', 'P', '{}'), ('other', 'other', 'Other', '{}');
INSERT INTO plan (id, site, leader, planned_entry) VALUES ('planned', 'site-1', 'p', '2026-06-14');
INSERT INTO plan_version (plan, version, doc, code_word, made_by) VALUES ('planned', 1, '{}', '', 'p')`); err != nil {
		t.Fatal(err)
	}
	return pool
}

// logged is one dive of a log.
type logged struct {
	at                        time.Time
	site, kind, state, zone   string
	level, taught             string
	instructor, with, planned bool
	archived, deco            bool
	deep                      float64
	length                    time.Duration
}

func (l logged) write(t rapid.TB, b *pgx.Batch, n int) {
	id, out := fmt.Sprintf("dive-%d", n), l.at.Add(l.length)
	m := &lastlightv1.Dive{
		Id: id, Site: l.site, EnteredAt: timestamppb.New(l.at), OutAt: timestamppb.New(out), MaxDepthM: &l.deep, RequiredStops: proto.Bool(l.deep > 30),
		Divers: []*lastlightv1.DiveDiver{{Person: "p", Gas: &lastlightv1.GasMix{OxygenPercent: 32}}},
	}
	record, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	var plan, version, outAt any
	if l.planned {
		plan, version = "planned", 1
	}
	if l.state != "in_water" {
		outAt = out
	}
	var used []string
	if l.deco {
		used = []string{"DECO"}
	}
	b.Queue(`INSERT INTO dive (id, site, plan, plan_version, kind, state, entered_at, out_at, max_depth_m, zone, taught_level, archived, record, recorded_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, 'p')`, id, l.site, plan, version, l.kind, l.state, l.at, outAt, l.deep, l.zone, l.taught, l.archived, record)
	b.Queue(`INSERT INTO dive_diver (dive, person, entered_at, site, counted_as, instructor, used, doc) VALUES ($1, 'p', $2, $3, $4, $5, $6, '{}')`,
		id, l.at, l.site, l.level, l.instructor, nonNil(used))
	if l.with {
		b.Queue(`INSERT INTO dive_diver (dive, person, entered_at, site, instructor, doc) VALUES ($1, 'other', $2, $3, true, '{}')`, id, l.at, l.site)
	}
}

// clocks are the months and days that a policy asks about.
func clocks(p *policy.Policy) []int {
	k := &p.Currency
	return []int{k.WithinMonths, k.RefresherMonths, k.RefresherMonths, k.RefresherMonths, k.ReassessMonths, k.EndorsementMonths, p.FirstVisit.LeaderMonths}
}

// drawLog draws dives backwards from today, in stretches: dives close together, and between stretches gaps as long as something of
// the policy lasts, to the days and hours around it, or of any length; and to either end of a spell, of which the first and last
// dive alone are read.
func drawLog(t *rapid.T, p *policy.Policy) []logged {
	var log []logged
	at := today
	draw := func(name string, least, most int) int { return rapid.IntRange(least, most).Draw(t, name) }
	planned, open := draw("planned", 0, 60), draw("open", 0, 3) == 0
	for range draw("stretches", 3, 10) {
		switch draw("gap", 0, 9) {
		case 0, 1, 2: // no clock has run out yet
			at = at.AddDate(0, -p.Currency.RefresherMonths, draw("off", 0, 3))
		case 3:
			at = at.AddDate(0, -rapid.SampledFrom(clocks(p)).Draw(t, "months"), draw("off", -3, 3))
		case 4, 5:
			long := int64(spell(p) / time.Second)
			ends := time.Unix(at.Unix()/long*long, 0)
			if hours := draw("of the spell before", -1, 30); hours >= 0 { // its last hours
				at = ends.Add(-time.Duration(hours) * time.Hour)
			} else if begins := ends.Add(24 * time.Hour); begins.Before(at) { // the first of this one
				at = begins
			}
		case 6:
			at = at.Add(-time.Duration(p.Decompression.EarlierDivesHours+draw("hours off", -50, 50)) * time.Hour)
		case 7:
			at = at.Add(-time.Duration(p.Flying.ChainHours+draw("hours off", -2, 2)) * time.Hour)
		case 8:
			at = at.AddDate(0, 0, -draw("days", 0, 40*p.Currency.RefresherMonths))
		default:
			at = at.Add(-time.Duration(draw("hours", 0, 30)) * time.Hour)
		}
		at = at.Add(-time.Duration(rapid.SampledFrom([]int{1, 60, 7 * 60, 17 * 60, 21 * 60, 23 * 60}).Draw(t, "minutes")) * time.Minute)
		like := func() logged {
			l := logged{
				site: rapid.SampledFrom([]string{"site-1", "home", "atoll", "reef"}).Draw(t, "site"), kind: "normal", state: "closed",
				zone: rapid.SampledFrom([]string{"cave", "cave", "cavern", "open_water"}).Draw(t, "zone"), level: rapid.SampledFrom([]string{"FULL", "FULL", "", "INT", "APP", "CAV"}).Draw(t, "level"),
				deep: float64(draw("depth", 5, 60)), length: time.Duration(rapid.SampledFrom([]int{30, 60, 600, 48 * 60}).Draw(t, "length")) * time.Minute,
				deco: rapid.Bool().Draw(t, "deco"),
			}
			if draw("lesson", 0, 4) == 0 {
				l.kind, l.taught = "training", rapid.SampledFrom([]string{"FULL", "FULL", "APP", "CAV"}).Draw(t, "taught")
				l.instructor, l.with = draw("teaches", 0, 3) == 0, draw("is taught", 0, 3) > 0
			}
			return l
		}
		usual, other, every := like(), like(), rapid.SampledFrom([]int{60, 26 * 60, 5 * 24 * 60, 10 * 24 * 60, 20 * 24 * 60, 30 * 24 * 60}).Draw(t, "every")
		for i := range rapid.SampledFrom([]int{1, 1, 3, 10, 20}).Draw(t, "dives") {
			if i > 0 {
				at = at.Add(-time.Duration(draw("apart", 1, every)) * time.Minute)
			}
			l := usual
			if draw("other", 0, 5) == 0 {
				l = other
			}
			l.at, l.planned = at, len(log) == planned
			if n := draw("state", 0, 100); n < 7 {
				l.archived = true
			} else if n == 100 && open {
				l.state = rapid.SampledFrom([]string{"out", "in_water"}).Draw(t, "open")
			}
			log = append(log, l)
		}
	}
	return log
}

// drawPolicy draws the numbers that dives of the past are asked by, each as the policy's check allows it.
func drawPolicy(t *rapid.T) policy.Policy {
	p := enginetest.WorkedPolicy()
	draw := func(name string, values ...int) int { return rapid.SampledFrom(values).Draw(t, name) }
	k := &p.Currency
	k.Dives, k.EasierAfterDays, k.GraceMonths = draw("dives asked", 0, 1, 6, 25), draw("easier after", 1, 30, 90, 200), draw("grace", 0, 3, 12)
	k.WithinMonths, k.EndorsementMonths = draw("within", 1, 1, 1, 2, 6, 12), draw("endorsement months", 1, 1, 1, 2, 6, 12)
	k.RefresherMonths = draw("refresher", 1, 2, 3, 6, 6, 12)
	k.ReassessMonths = k.RefresherMonths + draw("reassess", 0, 1, 6, 12)
	k.EndorsementUses, k.CountedEndorsements = draw("uses", 0, 1, 4, 25), []string{"DECO"}
	p.FirstVisit.LeaderDives, p.FirstVisit.LeaderMonths = draw("leader dives", 0, 1, 25), draw("leader months", 1, 6, 24)
	p.Decompression.EarlierDivesHours = draw("hours", 48, 240, 720)
	p.Flying.ChainHours = draw("chain", 1, 48)
	for i := range p.Ladder {
		if months := draw("lapse", 0, 0, 0, 12, 36); months > 0 {
			p.Ladder[i].LapseMonths = &months
		}
	}
	return p
}

// daysAround draws a day on which a dive of a log, or today, is as far back as something of the policy lasts, or a day near it.
func daysAround(t *rapid.T, name string, log []logged, p *policy.Policy) time.Time {
	at := today
	if i := rapid.IntRange(-2, len(log)-1).Draw(t, name+": dive"); i >= 0 {
		at = log[i].at.AddDate(0, rapid.SampledFrom(clocks(p)).Draw(t, name+": months"), 0)
	}
	return at.AddDate(0, 0, rapid.IntRange(-2, 3).Draw(t, name+": off"))
}

func drawPerson(t *rapid.T, log []logged) *lastlightv1.Person {
	day := func(name string) string {
		at := today.AddDate(0, 0, -rapid.IntRange(0, 3000).Draw(t, name))
		if i := rapid.IntRange(-2, len(log)-1).Draw(t, name+": dive"); i >= 0 {
			at = log[i].at.AddDate(0, 0, rapid.IntRange(-3, 2).Draw(t, name+": off"))
		}
		return at.Format(time.DateOnly)
	}
	seen := timestamppb.New(time.Date(2010, 1, 1, 0, 0, 0, 0, time.UTC))
	p := &lastlightv1.Person{
		Id: "p", FullName: "P", BirthDay: proto.String("1985-04-02"),
		Medical: &lastlightv1.MedicalStatus{ExaminedDay: "2026-01-01", DeclaredDay: "2026-01-01"},
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "cards") {
		c := &lastlightv1.Card{Id: fmt.Sprint(i), Level: rapid.SampledFrom([]string{"FULL", "FULL", "INT", "APP", "CAV"}).Draw(t, "card"), IssuedDay: day("issued"), SeenBy: "other", SeenAt: seen}
		if rapid.IntRange(0, 3).Draw(t, "ends") == 0 {
			c.ExpiresDay = today.AddDate(0, 0, rapid.IntRange(-2000, 400).Draw(t, "expires")).Format(time.DateOnly)
		}
		p.Cards = append(p.Cards, c)
	}
	p.Cards = append(p.Cards,
		&lastlightv1.Card{Id: "old", Level: rapid.SampledFrom([]string{"FULL", "FULL", "FULL", "CAV"}).Draw(t, "old card"), IssuedDay: "2005-05-31", SeenBy: "other", SeenAt: seen},
		&lastlightv1.Card{Id: "deco", Endorsement: "DECO", IssuedDay: "2006-05-31", SeenBy: "other", SeenAt: seen})
	for range rapid.IntRange(0, 6).Draw(t, "reassessments") / 5 {
		p.Reassessments = append(p.Reassessments, &lastlightv1.Reassessment{Day: day("reassessed")})
	}
	return p
}

// same fails where the log that was read within bounds gives another answer than the whole one.
func same(t *rapid.T, what string, whole, bounded any) {
	a, err := json.Marshal(whole)
	b, err2 := json.Marshal(bounded)
	if err = errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	if string(a) == string(b) {
		return
	}
	at := 0
	for at < min(len(a), len(b)) && a[at] == b[at] {
		at++
	}
	at = max(0, at-500)
	t.Fatalf("%s: from the whole log\n… %.1000s\nfrom what can matter\n… %.1000s", what, a[at:], b[at:])
}

// What is left out of a log changes no answer: whatever the log, the cards, the policy and the day.
func TestWhatIsLeftOutOfALogChangesNoAnswer(t *testing.T) {
	t.Parallel()
	pool := logDatabase(t)
	rapid.Check(t, func(t *rapid.T) {
		p := drawPolicy(t)
		log := drawLog(t, &p)
		tx, err := pool.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer tx.Rollback(t.Context())
		b := &pgx.Batch{}
		for n, l := range log {
			l.write(t, b, n)
		}
		if err := tx.SendBatch(t.Context(), b).Close(); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			asked(t, tx, &p, log)
		}
	})
}

// asked puts every question that past dives matter to, from the whole log and from what is read of it.
func asked(t *rapid.T, q Querier, p *policy.Policy, log []logged) {
	person := drawPerson(t, log)
	// The days since the last dive are asked by a club's own rule alone: to the day, of one of the log's.
	since := int64(rapid.IntRange(0, 800).Draw(t, "days since"))
	if i := rapid.IntRange(-1, len(log)-1).Draw(t, "since dive"); i >= 0 {
		since = int64(today.Sub(log[i].at)/(24*time.Hour)) + int64(rapid.IntRange(-1, 2).Draw(t, "since off"))
	}
	p.OwnRules = []policy.OwnRule{
		{ID: "own.here", Title: "Here", About: "diver", Holds: "has(diver.been_here) && diver.been_here", Otherwise: policy.DecideCaution, Says: "never here"},
		{ID: "own.lately", Title: "Lately", About: "diver", Holds: fmt.Sprintf("has(diver.days_since_last_dive) && diver.days_since_last_dive < %d", since), Otherwise: policy.DecideCaution, Says: "not lately"},
	}
	read := func(a logAsked, everything bool) []facts.PastDive {
		a.people, a.everything = []*lastlightv1.Person{person}, everything
		if a.policy == nil {
			a.policy = p
		}
		of, err := pastDives(t.Context(), q, a)
		if err != nil {
			t.Fatal(err)
		}
		return of["p"]
	}
	ready := func(dives []facts.PastDive, day, site string) engine.ReadyInput {
		r := &facts.PersonRecords{Policy: *p, Person: person, Dives: dives, ClubZone: "Europe/Berlin", Pseudonyms: map[string]string{"p": "p", "other": "other"}}
		if site != "" {
			r.Site = &lastlightv1.Site{Id: site, Title: site, TimeZone: logSites[site], Grade: 2}
		}
		in, err := facts.Ready(r, day, today, zones.Load)
		if err != nil {
			t.Fatal(err)
		}
		return in
	}

	compare := func(what string, a logAsked, answer func([]facts.PastDive) any) {
		whole, bounded := read(a, true), read(a, false)
		if len(bounded) < len(whole) {
			same(t, what, answer(whole), answer(bounded))
		}
	}

	day, site := daysAround(t, "day", log, p).Format(time.DateOnly), rapid.SampledFrom([]string{"", "site-1", "atoll", "reef"}).Draw(t, "site asked")
	a := logAsked{from: askedFrom(day, today), before: today, whole: today.Add(-divesWhole(p))}
	if site != "" {
		a.sites = []string{site}
	}
	compare("am I good to go on "+day+" at "+site, a, func(dives []facts.PastDive) any { return engine.Ready(ready(dives, day, site)) })

	// A policy that counts from a later day of the expedition asks the same dives by other numbers.
	later := drawPolicy(t)
	first, both := daysAround(t, "first day", log, p), reachingFurthest([]facts.PolicyFrom{{Policy: *p}, {Policy: later}})
	a = logAsked{from: askedFrom(first.Format(time.DateOnly), today), before: today, whole: today, sites: []string{"site-1", "reef"}, whether: true, policy: both}
	compare("matrix from "+first.Format(time.DateOnly), a, func(dives []facts.PastDive) any {
		var cells []engine.EligibleCell
		for _, by := range []*policy.Policy{p, &later} {
			in := engine.EligibleInput{Policy: *by, First: enginetest.Day(first.Format(time.DateOnly)), Last: enginetest.Day(first.AddDate(0, 0, 2).Format(time.DateOnly))}
			for _, site := range a.sites {
				r := ready(dives, "", site)
				s := enginetest.Pair().Site
				s.ID, s.Zones = site, r.Zones
				in.Sites, in.Divers = append(in.Sites, s), append(in.Divers[:0], r.Diver)
			}
			cells = append(cells, engine.Eligible(in)...)
		}
		return cells
	})

	plan := enginetest.Pair()
	a = logAsked{from: today, before: today, whole: today.Add(-divesWhole(p)), sites: []string{"site-1"}, but: rapid.SampledFrom([]string{"", "planned"}).Draw(t, "but")}
	compare("plan", a, func(dives []facts.PastDive) any {
		in := plan
		in.Policy, in.Divers = *p, slices.Clone(plan.Divers)
		d := ready(dives, "", "site-1").Diver
		d.ID = in.Plan.Team[0].Diver
		i := slices.IndexFunc(in.Divers, func(x enginefacts.Diver) bool { return x.ID == d.ID })
		d.Consumption = in.Divers[i].Consumption
		in.Divers[i] = d
		for k := range in.Divers {
			if k != i { // new to the site: it matters how often the leader has been there
				in.Divers[k].Dives = nil
			}
		}
		return engine.Evaluate(in)
	})
}

// A log of twenty years, fifty dives in each: what is read is a small part of it and grows by what can matter alone.
func TestALongLogIsNotRead(t *testing.T) {
	t.Parallel()
	pool := logDatabase(t)
	if _, err := pool.Exec(t.Context(), `
INSERT INTO dive (id, site, kind, state, entered_at, out_at, max_depth_m, zone, record, recorded_by)
  SELECT 'dive-' || i, 'home', 'normal', 'closed', at, at + interval '1 hour', 20, 'cave', '', 'p' FROM (SELECT i, $1::timestamptz - i * interval '1 week' AS at FROM generate_series(1, 1000) i) x;
`, today); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(t.Context(), `INSERT INTO dive_diver (dive, person, entered_at, site, counted_as, doc) SELECT id, 'p', entered_at, site, CASE WHEN entered_at < '2015-01-01' THEN '' ELSE 'FULL' END, '{}' FROM dive`); err != nil {
		t.Fatal(err)
	}
	p := policy.Default()
	person := &lastlightv1.Person{Id: "p", Cards: []*lastlightv1.Card{{Level: "FULL", IssuedDay: "2006-06-01"}}}
	a := logAsked{people: []*lastlightv1.Person{person}, policy: &p, from: today, before: today, whole: today.Add(-divesWhole(&p)), sites: []string{"reef"}}
	of, err := pastDives(t.Context(), pool, a)
	if err != nil {
		t.Fatal(err)
	}
	// 53 of the year, and of each of the 21 spells of eleven months before the first and last.
	if n := len(of["p"]); n < 53 || n > 53+2*22 {
		t.Errorf("%d of 1,000 dives are read", n)
	}
	a.whether = true
	if of, err = pastDives(t.Context(), pool, a); err != nil {
		t.Fatal(err)
	}
	// What loads tissues, as many of those counted as are asked for, none of which a week apart has others within the slack, and
	// the first and last of the 23 spells that are touched, of one with and without a level.
	recent := int(divesWhole(&p)/(7*24*time.Hour)) + 1
	if n := len(of["p"]); n < p.Currency.Dives || n > recent+p.Currency.Dives+2*24 {
		t.Errorf("%d of 1,000 dives are read to tell whether they are enough", n)
	}
	a.everything = true
	if of, err = pastDives(t.Context(), pool, a); err != nil || len(of["p"]) != 1000 {
		t.Errorf("%d of 1,000 dives are everything: %v", len(of["p"]), err)
	}
}

// No gap that the log does not have: dives so close that no clock runs out, and each two of them too far apart.
func TestWhatIsReadHasNoGapOfItsOwn(t *testing.T) {
	t.Parallel()
	pool := logDatabase(t)
	for _, months := range []int{1, 2, 3, 6, 12, 13, 24, 120} {
		p := policy.Default()
		p.Currency.WithinMonths, p.Currency.EndorsementMonths, p.Currency.RefresherMonths, p.Currency.ReassessMonths = 1, 1, months, 2*months
		tx, err := pool.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		b := &pgx.Batch{}
		n := 0
		for at := today.AddDate(0, 0, -3); at.Year() > 1900 && n < 300; n++ {
			logged{at: at, site: "home", kind: "normal", state: "closed", zone: "cave", level: "FULL", deep: 20, length: time.Hour}.write(t, b, n)
			at = at.Add(-at.Sub(at.AddDate(0, -months, -1)) / 2)
		}
		err = tx.SendBatch(t.Context(), b).Close()
		if err != nil {
			t.Fatal(err)
		}
		of, err := pastDives(t.Context(), tx, logAsked{
			people: []*lastlightv1.Person{{Id: "p", Cards: []*lastlightv1.Card{{Level: "FULL", IssuedDay: "1900-01-01"}}}}, policy: &p, from: today, before: today, whole: today,
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(of["p"]) < n {
			t.Errorf("%d months: %d of %d dives are read", months, len(of["p"]), n)
		}
		if err := tx.Rollback(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
}

// TestReachingFurthest asks of each two policies no less than either: no question about a log is answered from too little of it.
func TestReachingFurthest(t *testing.T) {
	a, b := policy.Default(), policy.Default()
	a.Currency.WithinMonths, b.Currency.RefresherMonths, a.Currency.ReassessMonths, b.Currency.Dives = 24, 3, 9, 25
	b.Currency.EndorsementMonths, a.FirstVisit.LeaderMonths, b.Decompression.EarlierDivesHours = 36, 60, 400
	for _, list := range [][]facts.PolicyFrom{{{Policy: a}, {Policy: b}}, {{Policy: b}, {Policy: a}}} {
		far := reachingFurthest(list)
		for _, p := range []policy.Policy{a, b} {
			if readsShorter(far, &p) || divesWhole(far) < divesWhole(&p) || far.Currency.Dives < p.Currency.Dives || far.Currency.WithinMonths < p.Currency.WithinMonths ||
				far.Currency.ReassessMonths > p.Currency.ReassessMonths {
				t.Errorf("%+v reads less than %+v", far.Currency, p.Currency)
			}
		}
	}
}
