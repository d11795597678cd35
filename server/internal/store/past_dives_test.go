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

// today is after every dive of the logs below but those that are still under way.
var today = time.Date(2026, 6, 8, 7, 30, 0, 0, time.UTC)

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

func (l logged) write(t *rapid.T, tx pgx.Tx, n int) {
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
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO dive (id, site, plan, plan_version, kind, state, entered_at, out_at, max_depth_m, zone, taught_level, archived, record, recorded_by)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, 'p')`, id, l.site, plan, version, l.kind, l.state, l.at, outAt, l.deep, l.zone, l.taught, l.archived, record)
	b.Queue(`INSERT INTO dive_diver (dive, person, entered_at, site, counted_as, instructor, used, doc) VALUES ($1, 'p', $2, $3, $4, $5, $6, '{}')`,
		id, l.at, l.site, l.level, l.instructor, nonNil(used))
	if l.with {
		b.Queue(`INSERT INTO dive_diver (dive, person, entered_at, site, instructor, doc) VALUES ($1, 'other', $2, $3, true, '{}')`, id, l.at, l.site)
	}
	if err := tx.SendBatch(t.Context(), b).Close(); err != nil {
		t.Fatal(err)
	}
}

// drawLog draws dives backwards from today, in stretches: dives close together, and between stretches gaps as long as the clocks
// of the policy run, or of any length.
func drawLog(t *rapid.T, p *policy.Policy) []logged {
	months := []int{p.Currency.WithinMonths, p.Currency.RefresherMonths, p.Currency.RefresherMonths, p.Currency.ReassessMonths, p.Currency.EndorsementMonths, p.FirstVisit.LeaderMonths}
	var log []logged
	at := today
	for range rapid.IntRange(0, 6).Draw(t, "stretches") {
		if rapid.Bool().Draw(t, "clock") {
			at = at.AddDate(0, -rapid.SampledFrom(months).Draw(t, "months"), rapid.IntRange(-4, 3).Draw(t, "off"))
		} else {
			at = at.AddDate(0, 0, -rapid.IntRange(0, 400).Draw(t, "days"))
		}
		at = at.Add(-time.Duration(rapid.IntRange(1, 24*60).Draw(t, "minute")) * time.Minute)
		levels := rapid.SampledFrom([][]string{{"FULL"}, {""}, {"FULL", ""}, {"FULL", "INT", "APP", "CAV", ""}}).Draw(t, "levels")
		zones := rapid.SampledFrom([][]string{{"cave"}, {"cave", "open_water"}, {"cave", "cavern", "open_water"}}).Draw(t, "zones")
		sites := rapid.SampledFrom([][]string{{"site-1"}, {"home", "site-1"}, {"atoll", "reef", "home"}}).Draw(t, "sites")
		lessons, far := rapid.SampledFrom([]int{0, 0, 1, 2}).Draw(t, "lessons"), rapid.SampledFrom([]int{60, 26 * 60, 20 * 24 * 60, 60 * 24 * 60}).Draw(t, "far apart")
		for range rapid.IntRange(1, 8).Draw(t, "dives") {
			l := logged{
				at: at, site: rapid.SampledFrom(sites).Draw(t, "site"), kind: "normal", state: "closed",
				zone: rapid.SampledFrom(zones).Draw(t, "zone"), level: rapid.SampledFrom(levels).Draw(t, "level"),
				deep: float64(rapid.IntRange(5, 60).Draw(t, "depth")), length: time.Duration(rapid.SampledFrom([]int{30, 60, 600, 48 * 60}).Draw(t, "length")) * time.Minute,
				deco: rapid.Bool().Draw(t, "deco"),
			}
			if rapid.IntRange(0, 3).Draw(t, "lesson") < lessons {
				l.kind, l.taught = "training", rapid.SampledFrom([]string{"FULL", "FULL", "APP", "CAV"}).Draw(t, "taught")
				l.instructor, l.with = rapid.IntRange(0, 3).Draw(t, "teaches") == 0, rapid.IntRange(0, 3).Draw(t, "is taught") > 0
			}
			switch rapid.IntRange(0, 40).Draw(t, "state") {
			case 0:
				l.state = "out"
			case 1:
				l.state = "in_water"
			case 2, 3, 4:
				l.archived = true
			case 5, 6:
				l.planned = !slices.ContainsFunc(log, func(x logged) bool { return x.planned })
			}
			log = append(log, l)
			at = at.Add(-time.Duration(rapid.IntRange(1, far).Draw(t, "apart")) * time.Minute)
		}
	}
	return log
}

func drawPolicy(t *rapid.T) policy.Policy {
	p := enginetest.WorkedPolicy()
	draw := func(name string, values ...int) int { return rapid.SampledFrom(values).Draw(t, name) }
	k := &p.Currency
	k.Dives, k.WithinMonths, k.EasierAfterDays = draw("dives asked", 0, 1, 3, 6), draw("within", 0, 1, 6, 12, 18), draw("easier after", 0, 30, 90, 200)
	k.RefresherMonths, k.ReassessMonths, k.GraceMonths = draw("refresher", 0, 1, 2, 6, 12, 12), draw("reassess", 1, 3, 12, 24, 24), draw("grace", 0, 3, 12)
	k.EndorsementMonths, k.EndorsementUses, k.CountedEndorsements = draw("endorsement months", 0, 6, 12, 24), draw("uses", 0, 1, 4), []string{"DECO"}
	if rapid.Bool().Draw(t, "plain") { // what the clocks of refresher and re-assessment see begins where counting ends
		k.WithinMonths, k.EndorsementMonths, k.RefresherMonths, k.ReassessMonths = 1, 1, 12, 24
	}
	p.FirstVisit.LeaderDives, p.FirstVisit.LeaderMonths = draw("leader dives", 0, 1, 2), draw("leader months", 0, 6, 24)
	p.Decompression.EarlierDivesHours = draw("hours", 0, 48, 240)
	p.Flying.ChainHours = draw("chain", 1, 48)
	for i := range p.Ladder {
		if months := draw("lapse", 0, 0, 12, 36); months > 0 {
			p.Ladder[i].LapseMonths = &months
		}
	}
	p.OwnRules = []policy.OwnRule{{ID: "own.log", Title: "Log", About: "diver", Holds: "!(has(diver.been_here) && diver.been_here && has(diver.days_since_last_dive) && diver.days_since_last_dive < 50)", Otherwise: policy.DecideCaution, Says: "lately here"}}
	return p
}

func drawPerson(t *rapid.T) *lastlightv1.Person {
	day := func(name string) string {
		return today.AddDate(0, 0, -rapid.IntRange(0, 3000).Draw(t, name)).Format(time.DateOnly)
	}
	p := &lastlightv1.Person{
		Id: "p", FullName: "P", BirthDay: proto.String("1985-04-02"),
		Medical: &lastlightv1.MedicalStatus{ExaminedDay: "2026-01-01", DeclaredDay: "2026-01-01"},
	}
	if rapid.Bool().Draw(t, "old card") {
		p.Cards = append(p.Cards, &lastlightv1.Card{Id: "old", Level: "FULL", IssuedDay: "2015-05-31", SeenBy: "other", SeenAt: timestamppb.New(today.AddDate(0, 0, -1))})
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "cards") {
		c := &lastlightv1.Card{
			Id: fmt.Sprint(i), Level: rapid.SampledFrom([]string{"FULL", "FULL", "INT", "APP", "CAV"}).Draw(t, "card"), IssuedDay: day("issued"),
			SeenBy: "other", SeenAt: timestamppb.New(today.AddDate(0, 0, -1)),
		}
		if rapid.IntRange(0, 3).Draw(t, "ends") == 0 {
			c.ExpiresDay = today.AddDate(0, 0, rapid.IntRange(-2000, 400).Draw(t, "expires")).Format(time.DateOnly)
		}
		p.Cards = append(p.Cards, c)
	}
	p.Cards = append(p.Cards, &lastlightv1.Card{Id: "deco", Endorsement: "DECO", IssuedDay: day("endorsed"), SeenBy: "other", SeenAt: timestamppb.New(today.AddDate(0, 0, -1))})
	for range rapid.IntRange(0, 2).Draw(t, "reassessments") {
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
		p, person := drawPolicy(t), drawPerson(t)
		tx, err := pool.Begin(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer tx.Rollback(t.Context())
		for n, l := range drawLog(t, &p) {
			l.write(t, tx, n)
		}
		read := func(a logAsked, everything bool) []facts.PastDive {
			a.people, a.policy, a.everything = []*lastlightv1.Person{person}, &p, everything
			of, err := pastDives(t.Context(), tx, a)
			if err != nil {
				t.Fatal(err)
			}
			return of["p"]
		}
		ready := func(dives []facts.PastDive, day, site string) engine.ReadyInput {
			r := &facts.PersonRecords{Policy: p, Person: person, Dives: dives, ClubZone: "Europe/Berlin", Pseudonyms: map[string]string{"p": "p", "other": "other"}}
			if site != "" {
				r.Site = &lastlightv1.Site{Id: site, Title: site, TimeZone: logSites[site], Grade: 2}
			}
			in, err := facts.Ready(r, day, today, zones.Load)
			if err != nil {
				t.Fatal(err)
			}
			return in
		}
		sites := []string{"", "site-1", "atoll", "reef"}

		day, site := today.AddDate(0, 0, rapid.IntRange(-1500, 800).Draw(t, "day")).Format(time.DateOnly), rapid.SampledFrom(sites).Draw(t, "site asked")
		a := logAsked{from: askedFrom(day, today), before: today, whole: today.Add(-divesWhole(&p))}
		if site != "" {
			a.sites = []string{site}
		}
		same(t, "am I good to go on "+day+" at "+site, engine.Ready(ready(read(a, true), day, site)), engine.Ready(ready(read(a, false), day, site)))

		first := today.AddDate(0, 0, rapid.IntRange(-800, 800).Draw(t, "first day"))
		a = logAsked{from: askedFrom(first.Format(time.DateOnly), today), before: today, whole: today, sites: []string{"site-1", "reef"}}
		matrix := func(dives []facts.PastDive) []engine.EligibleCell {
			in := engine.EligibleInput{Policy: p, First: enginetest.Day(first.Format(time.DateOnly)), Last: enginetest.Day(first.AddDate(0, 0, 6).Format(time.DateOnly))}
			for _, site := range a.sites {
				r := ready(dives, "", site)
				s := enginetest.Pair().Site
				s.ID, s.Zones = site, r.Zones
				in.Sites, in.Divers = append(in.Sites, s), append(in.Divers[:0], r.Diver)
			}
			return engine.Eligible(in)
		}
		same(t, "matrix from "+first.Format(time.DateOnly), matrix(read(a, true)), matrix(read(a, false)))

		plan := enginetest.Pair()
		entry := time.Date(2026, 6, 14, 7, 0, 0, 0, time.UTC)
		a = logAsked{from: entry, before: entry, whole: entry.Add(-divesWhole(&p)), sites: []string{"site-1"}, but: rapid.SampledFrom([]string{"", "planned"}).Draw(t, "but")}
		judge := func(dives []facts.PastDive) engine.Report {
			in := plan
			in.Policy, in.Divers = p, slices.Clone(plan.Divers)
			d := ready(dives, "", "site-1").Diver
			d.ID = in.Plan.Team[0].Diver
			i := slices.IndexFunc(in.Divers, func(x enginefacts.Diver) bool { return x.ID == d.ID })
			d.Consumption = in.Divers[i].Consumption
			in.Divers[i] = d
			return engine.Evaluate(in)
		}
		same(t, "plan", judge(read(a, true)), judge(read(a, false)))
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
	a.everything = true
	if of, err = pastDives(t.Context(), pool, a); err != nil || len(of["p"]) != 1000 {
		t.Errorf("%d of 1,000 dives are everything: %v", len(of["p"]), err)
	}
}

// A lesson at the level heals a gap of more than a year although others of its kind before and after it, of another level, do not:
// every lesson is read.
func TestEveryLessonIsRead(t *testing.T) {
	t.Parallel()
	pool := logDatabase(t)
	for i, d := range []struct {
		days   int
		taught string
	}{{560, ""}, {140, "CAV"}, {120, "FULL"}, {100, "CAV"}} {
		at, kind := today.AddDate(0, 0, -d.days), "training"
		if d.taught == "" {
			kind = "normal"
		}
		if _, err := pool.Exec(t.Context(), `
INSERT INTO dive (id, site, kind, state, entered_at, out_at, max_depth_m, zone, taught_level, record, recorded_by) VALUES ($1, 'home', $2, 'closed', $3, $3::timestamptz + interval '1 hour', 20, 'cave', $4, '', 'p')`,
			fmt.Sprintf("dive-%d", i), kind, at, d.taught); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := pool.Exec(t.Context(), `
INSERT INTO dive_diver (dive, person, entered_at, site, counted_as, doc) SELECT id, 'p', entered_at, site, 'FULL', '{}' FROM dive;
INSERT INTO dive_diver (dive, person, entered_at, site, instructor, doc) SELECT id, 'other', entered_at, site, true, '{}' FROM dive WHERE kind = 'training'`); err != nil {
		t.Fatal(err)
	}
	p := policy.Default()
	p.Currency.WithinMonths, p.Currency.EndorsementMonths = 1, 1
	person := &lastlightv1.Person{Id: "p", Cards: []*lastlightv1.Card{{Level: "FULL", IssuedDay: "2015-06-01"}}}
	of, err := pastDives(t.Context(), pool, logAsked{people: []*lastlightv1.Person{person}, policy: &p, from: today, before: today, whole: today})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(of["p"], func(d facts.PastDive) bool { return d.ID == "dive-2" }) {
		t.Errorf("the lesson that heals is not read: %v", of["p"])
	}
}

// TestReachingFurthest asks of each two policies no less than either: no question about a log is answered from too little of it.
func TestReachingFurthest(t *testing.T) {
	a, b := policy.Default(), policy.Default()
	a.Currency.WithinMonths, b.Currency.RefresherMonths, a.Currency.ReassessMonths = 24, 3, 9
	b.Currency.EndorsementMonths, a.FirstVisit.LeaderMonths, b.Decompression.EarlierDivesHours = 36, 60, 400
	for _, list := range [][]facts.PolicyFrom{{{Policy: a}, {Policy: b}}, {{Policy: b}, {Policy: a}}} {
		far := reachingFurthest(list)
		for _, p := range []policy.Policy{a, b} {
			if readsShorter(far, &p) || divesWhole(far) < divesWhole(&p) {
				t.Errorf("%+v reads less than %+v", far.Currency, p.Currency)
			}
		}
	}
}
