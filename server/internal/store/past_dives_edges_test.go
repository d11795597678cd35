package store

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
)

// Each rule that looks back, at the edge of what it looks at: the dives that decide are read.
func TestWhatDecidesIsRead(t *testing.T) {
	t.Parallel()
	pool := logDatabase(t)
	moment := func(text string) time.Time {
		at, err := time.Parse("2006-01-02T15:04Z", text)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	on := func(day string) time.Time { return moment(day + "T12:00Z") }
	cave := func(day string) logged {
		return logged{at: on(day), site: "home", kind: "normal", state: "closed", zone: "cave", level: "FULL", deep: 20, length: time.Hour}
	}
	at := func(text, site string) logged {
		l := cave("2020-01-01")
		l.at, l.site = moment(text), site
		return l
	}
	with := func(l logged, change func(*logged)) logged {
		change(&l)
		return l
	}
	archived, planned := func(l *logged) { l.archived = true }, func(l *logged) { l.planned = true }
	lesson := func(level string) func(*logged) {
		return func(l *logged) { l.kind, l.taught, l.with = "training", level, true }
	}
	// every: one dive after another, oldest first, as many days apart.
	every := func(from, to string, days int) (log []logged) {
		for at := on(from); !at.After(on(to)); at = at.AddDate(0, 0, days) {
			log = append(log, cave(at.Format(time.DateOnly)))
		}
		return log
	}
	back := func(months int) func(logged) bool {
		return func(l logged) bool { return !l.at.AddDate(0, months, 0).Before(on("2026-06-14")) }
	}
	all := func(logged) bool { return true }
	is := func(days ...string) func(logged) bool {
		return func(l logged) bool { return slices.Contains(days, l.at.Format(time.DateOnly)) }
	}
	for _, c := range []struct {
		name   string
		policy func(*policy.Policy)
		cards  []*lastlightv1.Card // else one of 2000-01-01
		log    []logged
		asked  func(*logAsked) // else the plan of today, at site-1
		read   func(logged) bool
		spared func(logged) bool // nil: none. Those that need not be read, and are not
	}{
		{name: "the dives counted", policy: func(p *policy.Policy) { p.Currency.WithinMonths = 12 }, log: every("2024-01-01", "2026-06-10", 4), read: back(12)},
		{name: "the uses counted", policy: func(p *policy.Policy) { p.Currency.EndorsementMonths = 12 }, log: every("2024-01-01", "2026-06-10", 4), read: back(12)},
		{name: "of ten years", policy: func(p *policy.Policy) { p.Currency.WithinMonths = 120 }, log: every("2010-01-01", "2026-06-10", 7), read: back(120)},
		{
			name:   "at the site, twice on a day that had come at the far end of the world", // July 1 there; 62 days and 20 hours before
			policy: func(p *policy.Policy) { p.FirstVisit.LeaderMonths = 2 },
			log:    append(every("2026-05-01", "2026-08-31", 3), at("2026-06-30T10:30Z", "atoll"), at("2026-06-30T20:00Z", "atoll")),
			asked: func(a *logAsked) {
				a.from, a.sites = moment("2026-09-01T07:00Z"), []string{"atoll"}
				a.before, a.whole = a.from, a.from.Add(-divesWhole(a.policy))
			},
			read: func(l logged) bool { return l.site == "atoll" },
		},
		{
			name: "counted on a day of the past", log: every("2023-01-01", "2026-06-10", 4), asked: func(a *logAsked) { a.from = askedFrom("2025-06-10", today) },
			read: func(l logged) bool { return l.at.After(on("2025-05-09")) },
		},
		{
			name: "at the site, by who leads", policy: func(p *policy.Policy) { p.FirstVisit.LeaderMonths = 24 },
			log: func() []logged {
				log := every("2023-01-01", "2026-06-10", 4)
				for i := range log {
					log[i].site = "site-1"
				}
				return log
			}(),
			read: back(24),
		},
		{
			name: "at the site, ever, and not by a dive that does not count", policy: func(p *policy.Policy) { p.Flying.ChainHours = 1 },
			log: append([]logged{
				with(cave("2009-03-01"), func(l *logged) { l.site = "site-1" }), with(cave("2009-04-01"), func(l *logged) { l.site = "site-1"; archived(l) }),
				with(cave("2009-05-01"), func(l *logged) { l.site = "site-1"; planned(l) }),
			}, every("2009-02-02", "2026-06-10", 4)...),
			read: is("2009-03-01"),
		},
		{
			name: "what loads tissues, and what loaded them at the last dive", policy: func(p *policy.Policy) { p.Decompression.EarlierDivesHours = 720 },
			log: append(every("2026-04-13", "2026-05-14", 2), cave("2026-06-11")), read: all,
		},
		{
			name: "the last dive, and not one that does not count", cards: []*lastlightv1.Card{},
			log: []logged{cave("2015-02-01"), cave("2015-03-01"), with(cave("2015-04-01"), archived), with(cave("2015-05-01"), planned)}, read: is("2015-03-01"),
		},
		{
			name: "the dive of the last day, although another began after it", cards: []*lastlightv1.Card{}, // days 2015-03-02 and 2015-03-01
			log: []logged{at("2015-03-01T11:00Z", "atoll"), at("2015-03-02T10:30Z", "reef")}, read: all,
		},
		{name: "what is in the register, however old", log: []logged{with(cave("2015-03-01"), func(l *logged) { l.state = "in_water" }), cave("2026-06-01")}, read: all},
		{
			name: "every lesson", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{with(cave("2024-05-20"), lesson("CAV")), with(cave("2024-06-20"), lesson("FULL")), with(cave("2024-07-20"), lesson("CAV"))}, read: all,
		},
		{
			name: "a dive between lessons of another level", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{with(cave("2024-05-20"), lesson("CAV")), cave("2024-06-20"), with(cave("2024-07-20"), lesson("CAV"))}, read: all,
		},
		{
			name: "a dive in a cave between others in open water", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{
				with(cave("2024-05-20"), func(l *logged) { l.zone = "open_water" }), cave("2024-06-20"), with(cave("2024-07-20"), func(l *logged) { l.zone = "open_water" }),
			},
			read: is("2024-06-20"),
		},
		{
			name: "a dive at the level between others of an easier one", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{
				with(cave("2024-05-20"), func(l *logged) { l.level = "CAV" }), cave("2024-06-20"), with(cave("2024-07-20"), func(l *logged) { l.level = "CAV" }),
			},
			read: is("2024-06-20"),
		},
		{
			name: "the first and last of a spell, and not one that does not count", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{
				with(cave("2024-05-12"), archived), with(cave("2024-05-14"), planned), cave("2024-05-20"), cave("2024-06-20"), cave("2024-07-20"), with(cave("2024-07-28"), archived), cave("2026-06-10"),
			},
			read: is("2024-05-20", "2024-07-20"),
		},
		{ // days 2024-05-22, 2024-05-20; 2024-09-11, 2024-09-09
			name: "the first and last day of a spell, although others began before and after", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{
				at("2024-05-21T10:30Z", "atoll"), at("2024-05-21T10:45Z", "reef"), cave("2024-07-20"),
				at("2024-09-10T10:30Z", "atoll"), at("2024-09-10T10:45Z", "reef"), with(cave("2025-03-01"), func(l *logged) { l.zone = "open_water" }), cave("2026-06-10"),
			},
			read: is("2024-05-21", "2024-09-10"),
		},
		{
			name: "the day after the first card, where it comes first", cards: []*lastlightv1.Card{{Level: "FULL", IssuedDay: "2010-01-01"}}, // day 2010-01-02
			policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log:    []logged{at("2010-01-01T10:30Z", "atoll"), cave("2010-05-01"), cave("2010-07-01"), cave("2026-06-10")}, read: is("2010-01-01"),
		},
		{
			name: "enough of each kind, whatever others came after", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 3 }, cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.whether = true },
			log: append([]logged{
				with(cave("2025-07-01"), lesson("FULL")), with(cave("2025-07-02"), func(l *logged) { l.level = "" }), cave("2025-08-01"), cave("2025-09-01"), cave("2025-10-01"),
				with(cave("2025-11-01"), lesson("CAV")), with(cave("2025-11-02"), lesson("CAV")), with(cave("2025-11-03"), lesson("CAV")), with(cave("2025-11-08"), lesson("CAV")),
			}, func() (others []logged) {
				for _, l := range every("2026-01-01", "2026-03-10", 2) {
					others = append(others, with(l, func(l *logged) { l.level = "CAV" }), with(l, func(l *logged) { l.zone = "open_water" }), with(l, func(l *logged) { l.level = "" }),
						with(l, archived))
				}
				return append(others, with(cave("2026-03-11"), planned))
			}()...),
			read: func(l logged) bool { return l.level == "" || l.at.Before(on("2026-01-01")) },
		},
		{
			name: "what came before, of a question about a later day", cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.from = moment("2027-06-14T07:00Z") },
			log: []logged{
				with(cave("2020-01-01"), func(l *logged) { l.site = "site-1" }), cave("2021-01-01"), at("2026-06-14T07:00Z", "site-1"), at("2026-06-14T07:00Z", "home"),
				with(cave("2027-06-01"), func(l *logged) { l.site = "site-1" }), with(cave("2026-06-20"), lesson("FULL")), with(cave("2026-06-20"), func(l *logged) { l.state = "in_water" }), cave("2027-06-13"),
			},
			read: all,
		},
		{
			name: "all of a kind of which there are too few, whatever others came after", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 3 },
			cards: []*lastlightv1.Card{}, asked: func(a *logAsked) { a.whether = true },
			log: []logged{cave("2025-09-01"), cave("2025-10-01"), with(cave("2026-02-01"), func(l *logged) { l.zone = "open_water" })}, read: all,
		},
		{
			name: "enough before a day of the past, whatever came after it", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 2 }, cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.whether, a.from = true, askedFrom("2026-01-10", today) },
			log: []logged{
				cave("2025-07-01"), cave("2025-08-01"), with(cave("2025-12-01"), func(l *logged) { l.zone = "open_water" }), cave("2026-03-01"), cave("2026-03-02"), cave("2026-03-20"),
			},
			read: all,
		},
		{
			name: "enough, although others that are under way began since", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 2 }, cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.whether = true },
			log: []logged{
				cave("2025-08-01"), cave("2025-09-01"), with(cave("2025-12-01"), func(l *logged) { l.zone = "open_water" }),
				with(cave("2026-02-01"), func(l *logged) { l.state = "out" }), with(cave("2026-02-20"), func(l *logged) { l.state = "in_water" }),
			},
			read: all,
		},
		{
			name: "enough and no more, of what somebody dived and of what they taught", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 2 },
			cards: []*lastlightv1.Card{}, asked: func(a *logAsked) { a.whether = true },
			log: []logged{
				cave("2025-08-01"), cave("2025-09-01"), cave("2025-10-01"), with(cave("2025-08-02"), func(l *logged) { l.kind, l.taught, l.instructor, l.zone = "training", "INT", true, "cavern" }),
				with(cave("2025-09-02"), func(l *logged) { l.kind, l.taught, l.instructor, l.zone = "training", "INT", true, "cavern" }),
				with(cave("2025-10-02"), func(l *logged) { l.kind, l.taught, l.instructor, l.zone = "training", "INT", true, "cavern" }), with(cave("2025-12-01"), func(l *logged) { l.zone = "open_water" }),
			},
			read: all, spared: is("2025-08-01", "2025-08-02"),
		},
		{
			name: "the last before a day of the past, and not the last of all", cards: []*lastlightv1.Card{}, asked: func(a *logAsked) { a.whether, a.from = true, askedFrom("2026-01-10", today) },
			log: []logged{cave("2025-02-01"), cave("2025-03-01"), cave("2026-03-01"), cave("2026-06-01")}, read: all, spared: is("2025-02-01"),
		},
		{
			name: "the last that is closed, although others that are under way began after it", cards: []*lastlightv1.Card{},
			log: []logged{cave("2015-03-01"), with(cave("2015-06-01"), func(l *logged) { l.state = "in_water" }), with(cave("2015-07-01"), func(l *logged) { l.state = "out" })}, read: all,
		},
		{
			name:   "the one that counts to the day asked about, at the far end of the world", // July 1 there, through September 1; 62 days and 20 hours before
			policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 2, 2 }, cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) {
				a.whether, a.from = true, moment("2026-09-01T07:00Z")
				a.before, a.whole = a.from, a.from
			},
			log: []logged{at("2026-06-30T10:30Z", "atoll"), with(cave("2026-08-01"), func(l *logged) { l.zone = "open_water" })}, read: all,
		},
		{
			name: "what is beside the last and the ends of a spell, but does not count", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			asked: func(a *logAsked) { a.whether = true },
			log: []logged{
				cave("2024-05-20"), with(cave("2024-05-21"), planned), with(cave("2024-05-22"), archived), cave("2024-07-20"), cave("2024-08-20"),
				with(cave("2025-03-01"), func(l *logged) { l.zone = "open_water" }), with(cave("2025-02-28"), archived),
			},
			read: is("2024-05-20", "2024-08-20", "2025-03-01"), spared: is("2024-07-20"),
		},
		{
			name: "what is beside the last, but does not count", cards: []*lastlightv1.Card{}, asked: func(a *logAsked) { a.whether = true },
			log: []logged{with(cave("2025-02-27"), archived), with(cave("2025-02-28"), planned), cave("2025-03-01")}, read: all,
		},
		{
			name: "what is beside the first of a spell, but not before what is asked about", policy: func(p *policy.Policy) { p.Decompression.EarlierDivesHours = 0 },
			asked: func(a *logAsked) { a.whether, a.whole, a.from = true, a.before, moment("2027-06-14T07:00Z") },
			log:   []logged{at("2026-06-12T06:00Z", "home"), at("2026-06-14T17:00Z", "home")}, read: all,
		},
		{
			name: "the last at the site that is closed, although others that are under way began after it", cards: []*lastlightv1.Card{},
			log: []logged{
				with(cave("2015-03-01"), func(l *logged) { l.site = "site-1" }), with(cave("2015-06-01"), func(l *logged) { l.site, l.state = "site-1", "in_water" }), cave("2015-07-01"),
			},
			read: all,
		},
		{
			name: "what was dived lately, and not on the plan asked about", log: []logged{cave("2026-06-09"), with(cave("2026-06-10"), planned), with(cave("2026-06-11"), archived)}, read: all,
		},
		{
			name: "enough before a day of the past, and not by one the day after it", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 1 },
			cards: []*lastlightv1.Card{}, asked: func(a *logAsked) { a.whether, a.from = true, askedFrom("2026-01-10", today) },
			log: []logged{cave("2025-12-01"), with(cave("2025-12-20"), func(l *logged) { l.zone = "open_water" }), cave("2026-01-11")}, read: all,
		},
		{
			name: "the ends of a spell that are closed, although others that are under way lie outside", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: []logged{
				with(cave("2024-05-20"), func(l *logged) { l.state = "out" }), cave("2024-06-20"), cave("2024-07-20"), with(cave("2024-08-20"), func(l *logged) { l.state = "in_water" }),
				with(cave("2025-03-01"), func(l *logged) { l.zone = "open_water" }),
			},
			read: all,
		},
		{
			name: "the ends of a spell of teaching, and not every dive of it", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			log: func() (log []logged) {
				for _, day := range []string{"2024-05-20", "2024-06-20", "2024-07-20", "2025-03-01"} {
					log = append(log, with(cave(day), func(l *logged) { l.kind, l.taught, l.instructor = "training", "INT", true }))
				}
				return log
			}(),
			read: all, spared: is("2024-06-20"),
		},
		{
			name: "enough before, of a question about a later day", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 24, 1 }, cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.whether, a.from = true, moment("2027-06-14T07:00Z") },
			log:   []logged{cave("2026-01-01"), with(cave("2026-02-01"), func(l *logged) { l.zone = "open_water" }), at("2026-06-14T07:00Z", "home"), cave("2026-06-20")}, read: all,
		},
		{
			name: "the ends of each spell before, of a question about a later day", policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 12 },
			asked: func(a *logAsked) { a.from = moment("2027-06-14T07:00Z") },
			log:   []logged{cave("2026-05-01"), cave("2026-05-20"), cave("2026-06-10"), at("2026-06-14T07:00Z", "home"), with(cave("2026-06-20"), lesson("FULL"))}, read: all,
		},
		{
			name: "at the site before a day of the past", cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.whether, a.from = true, askedFrom("2026-01-10", today) },
			log: []logged{
				with(cave("2020-01-01"), func(l *logged) { l.site = "site-1" }), cave("2025-12-20"), with(cave("2026-02-01"), func(l *logged) { l.site = "site-1" }),
			},
			read: all,
		},
		{ // days 2026-03-02 and 2026-03-01
			name: "the last that counts, although another began after it", policy: func(p *policy.Policy) { p.Currency.WithinMonths, p.Currency.Dives = 12, 1 }, cards: []*lastlightv1.Card{},
			asked: func(a *logAsked) { a.whether = true },
			log:   []logged{at("2026-03-01T10:01Z", "atoll"), at("2026-03-02T10:58Z", "reef"), with(cave("2026-05-01"), func(l *logged) { l.zone = "open_water" })}, read: all,
		},
		{
			name: "since the first card", cards: []*lastlightv1.Card{{Level: "CAV", IssuedDay: "2025-01-01"}, {Level: "FULL", IssuedDay: "2010-01-01"}},
			policy: func(p *policy.Policy) { p.Currency.RefresherMonths = 1 },
			log:    append([]logged{at("2010-01-01T10:30Z", "atoll")}, every("2010-01-03", "2026-06-10", 28)...), read: all,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := policy.Default()
			k := &p.Currency
			k.WithinMonths, k.EndorsementMonths, k.RefresherMonths, k.ReassessMonths, p.FirstVisit.LeaderMonths, p.Decompression.EarlierDivesHours = 1, 1, 240, 240, 1, 48
			if c.policy != nil {
				c.policy(&p)
			}
			if c.cards == nil {
				c.cards = []*lastlightv1.Card{{Level: "FULL", IssuedDay: "2000-01-01"}}
			}
			tx, err := pool.Begin(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			defer tx.Rollback(t.Context())
			b := &pgx.Batch{}
			for n, l := range c.log {
				l.write(t, b, n)
			}
			if err := tx.SendBatch(t.Context(), b).Close(); err != nil {
				t.Fatal(err)
			}
			a := logAsked{
				people: []*lastlightv1.Person{{Id: "p", Cards: c.cards}}, policy: &p, sites: []string{"site-1"}, from: today, before: today, whole: today.Add(-divesWhole(&p)), but: "planned",
			}
			if c.asked != nil {
				c.asked(&a)
			}
			of, err := pastDives(t.Context(), tx, a)
			if err != nil {
				t.Fatal(err)
			}
			wanted := 0
			for n, l := range c.log {
				id := fmt.Sprintf("dive-%d", n)
				read := slices.ContainsFunc(of["p"], func(d facts.PastDive) bool { return d.ID == id })
				switch {
				case l.archived || l.planned || !l.at.Before(a.before):
					if read {
						t.Errorf("the dive of %s is read, which is archived, of the plan asked about or not before it", l.at.Format(time.RFC3339))
					}
				case c.spared != nil && c.spared(l):
					if read {
						t.Errorf("the dive of %s is read, and changes nothing", l.at.Format(time.RFC3339))
					}
				case c.read(l):
					wanted++
					if !read {
						t.Errorf("the dive of %s is not read", l.at.Format(time.RFC3339))
					}
				}
			}
			if wanted == 0 {
				t.Error("nothing is asked of this log")
			}
		})
	}
}
