package store

import (
	"encoding/json"
	"testing"
	"time"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
)

// Each dive comes as it is on record, with its own diver's part: whoever asks, and to the minute from which records come along.
func TestWhatIsReadOfADive(t *testing.T) {
	t.Parallel()
	pool := logDatabase(t)
	if _, err := pool.Exec(t.Context(), `
INSERT INTO dive (id, site, kind, state, entered_at, out_at, max_depth_m, penetration_m, zone, taught_level, record, recorded_by) VALUES
  ('lesson',   'home',   'training', 'closed',   '2024-03-01 12:00Z', '2024-03-01 13:30Z', 31, 310, 'cave',       'INT', '', 'p'),
  ('teaching', 'atoll',  'training', 'closed',   '2024-03-02 12:00Z', '2024-03-02 13:00Z', 32, 320, 'cavern',     'APP', '', 'p'),
  ('alone',    'reef',   'training', 'closed',   '2024-03-03 12:00Z', '2024-03-03 13:00Z', 33, 330, 'open_water', 'CAV', '', 'p'),
  ('guided',   'home',   'normal',   'closed',   '2024-03-08 12:00Z', '2024-03-08 13:00Z', 34, 340, 'cave',       '',    '', 'p'),
  ('later',    'reef',   'normal',   'closed',   '2025-01-05 12:00Z', '2025-01-05 13:00Z', 40, 400, 'open_water', '',    '', 'p'),
  ('former',   'home',   'normal',   'closed',   '2026-06-12 06:59:59Z', '2026-06-12 08:00Z', 35, 350, 'cave',    '',    '', 'p'),
  ('out',      'site-1', 'normal',   'out',      '2026-06-12 07:00Z', '2026-06-12 11:59Z', 36, 360, 'cave',       '',    '', 'p'),
  ('away',     'site-1', 'normal',   'in_water', '2026-06-12 09:00Z', NULL,                37, 370, 'cave',       '',    '', 'p'),
  ('before',   'home',   'normal',   'closed',   '2023-12-01 12:00Z', '2023-12-01 13:00Z', 39, 390, 'cave',       '',    '', 'p'),
  ('between',  'home',   'normal',   'closed',   '2024-03-12 12:00Z', '2024-03-12 13:00Z', 39, 390, 'cave',       '',    '', 'p'),
  ('lately',   'home',   'normal',   'closed',   '2026-02-01 12:00Z', '2026-02-01 13:00Z', 39, 390, 'cave',       '',    '', 'p'),
  ('others',   'site-1', 'normal',   'in_water', '2026-06-12 10:00Z', NULL,                39, 390, 'cave',       '',    '', 'p'),
  ('a-twin',   'site-1', 'normal',   'closed',   '2026-06-12 07:00Z', '2026-06-12 07:30Z', 38, 380, 'cave',       '',    '', 'p');
INSERT INTO dive_diver (dive, person, entered_at, site, counted_as, instructor, used, doc) VALUES
  ('lesson', 'p', '2024-03-01 12:00Z', 'home', 'INT', false, '{DECO,STAGE}', '{}'), ('lesson', 'other', '2024-03-01 12:00Z', 'home', 'FULL', true, '{DPV}', '{}'),
  ('teaching', 'p', '2024-03-02 12:00Z', 'atoll', 'FULL', true, '{}', '{}'),
  ('alone', 'p', '2024-03-03 12:00Z', 'reef', '', false, '{}', '{}'), ('alone', 'other', '2024-03-03 12:00Z', 'reef', '', false, '{}', '{}'),
  ('guided', 'p', '2024-03-08 12:00Z', 'home', 'FULL', false, '{STAGE}', '{}'), ('guided', 'other', '2024-03-08 12:00Z', 'home', 'FULL', true, '{DPV}', '{}'),
  ('later', 'p', '2025-01-05 12:00Z', 'reef', 'CAV', false, '{}', '{}'),
  ('former', 'p', '2026-06-12 06:59:59Z', 'home', 'FULL', false, '{DECO}', '{}'),
  ('out', 'p', '2026-06-12 07:00Z', 'site-1', 'FULL', false, '{}', '{}'), ('out', 'other', '2026-06-12 07:00Z', 'site-1', 'FULL', false, '{}', '{}'),
  ('away', 'p', '2026-06-12 09:00Z', 'site-1', '', false, '{}', '{}'),
  ('before', 'other', '2023-12-01 12:00Z', 'home', 'FULL', false, '{}', '{}'), ('between', 'other', '2024-03-12 12:00Z', 'home', 'FULL', false, '{}', '{}'),
  ('lately', 'other', '2026-02-01 12:00Z', 'home', 'FULL', false, '{}', '{}'), ('others', 'other', '2026-06-12 10:00Z', 'site-1', 'FULL', false, '{}', '{}'),
  ('a-twin', 'p', '2026-06-12 07:00Z', 'site-1', 'APP', false, '{}', '{}');
INSERT INTO watch_fact (dive, person, what, at, correction, reason, recorded_by) VALUES
  ('out', 'p', 'in', '2026-06-12 12:30Z', false, '', 'p'), ('out', 'p', 'seen_out', '2026-06-12 09:40Z', false, '', 'p'),
  ('out', 'p', 'signed_out', '2026-06-12 11:00Z', false, '', 'p'), ('out', 'p', 'signed_out', '2026-06-12 08:20Z', true, 'wrong dial', 'p'),
  ('out', 'other', 'signed_out', '2026-06-12 10:00Z', false, '', 'p')`); err != nil {
		t.Fatal(err)
	}
	moment := func(text string) time.Time {
		at, err := time.Parse("2006-01-02 15:04:05Z", text)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	metres := func(x float64) *float64 { return &x }
	dive := func(id, site, kind, zone, from, to, level string, n float64) facts.PastDive {
		return facts.PastDive{
			ID: id, Site: site, TimeZone: logSites[site], Kind: kind, Zone: zone, EnteredAt: moment(from), OutAt: moment(to), CountedAs: level, Closed: true, Used: []string{},
			MaxDepthM: metres(30 + n), PenetrationM: metres(300 + 10*n), Version: 1,
		}
	}
	with := func(d facts.PastDive, change func(*facts.PastDive)) facts.PastDive {
		change(&d)
		return d
	}
	lesson := with(dive("lesson", "home", "training", "cave", "2024-03-01 12:00:00Z", "2024-03-01 13:30:00Z", "INT", 1), func(d *facts.PastDive) {
		d.TaughtLevel, d.Taught, d.Used = "INT", true, []string{"DECO", "STAGE"}
	})
	teaching := with(dive("teaching", "atoll", "training", "cavern", "2024-03-02 12:00:00Z", "2024-03-02 13:00:00Z", "FULL", 2), func(d *facts.PastDive) {
		d.TaughtLevel, d.Taught, d.Instructor = "APP", true, true
	})
	alone := with(dive("alone", "reef", "training", "open_water", "2024-03-03 12:00:00Z", "2024-03-03 13:00:00Z", "", 3), func(d *facts.PastDive) { d.TaughtLevel = "CAV" })
	guided := with(dive("guided", "home", "normal", "cave", "2024-03-08 12:00:00Z", "2024-03-08 13:00:00Z", "FULL", 4), func(d *facts.PastDive) { d.Used = []string{"STAGE"} })
	later := dive("later", "reef", "normal", "open_water", "2025-01-05 12:00:00Z", "2025-01-05 13:00:00Z", "CAV", 10)
	former := with(dive("former", "home", "normal", "cave", "2026-06-12 06:59:59Z", "2026-06-12 08:00:00Z", "FULL", 5), func(d *facts.PastDive) { d.Used = []string{"DECO"} })
	recorded := func(d *facts.PastDive) { d.Record, d.Place = &lastlightv1.Dive{}, &lastlightv1.Site{} }
	// Of each fact the one recorded last counts, of this diver; the latest of them is the diver's out. It beats what is on the dive.
	out := with(dive("out", "site-1", "normal", "cave", "2026-06-12 07:00:00Z", "2026-06-12 09:40:00Z", "FULL", 6), func(d *facts.PastDive) { d.Closed = false; recorded(d) })
	away := with(dive("away", "site-1", "normal", "cave", "2026-06-12 09:00:00Z", "2026-06-12 09:00:00Z", "", 7), func(d *facts.PastDive) { d.Closed = false; recorded(d) })
	twin := with(dive("a-twin", "site-1", "normal", "cave", "2026-06-12 07:00:00Z", "2026-06-12 07:30:00Z", "APP", 8), recorded)
	// Asked whether there are enough, a dive of long ago that is no lesson is known by what the log repeats of it.
	old := func(d *facts.PastDive) {
		d.OutAt, d.Used, d.MaxDepthM, d.PenetrationM, d.Version = d.EnteredAt, []string{}, nil, nil, 0
	}

	p := policy.Default()
	a := logAsked{
		people: []*lastlightv1.Person{{Id: "p", Cards: []*lastlightv1.Card{{Level: "FULL", IssuedDay: "2020-01-01"}}}}, policy: &p, sites: []string{"site-1"},
		from: today, before: today, whole: moment("2026-06-12 07:00:00Z"),
	}
	for _, c := range []struct {
		name string
		ask  func(*logAsked)
		want []facts.PastDive
	}{
		{"what can matter", func(*logAsked) {}, []facts.PastDive{lesson, teaching, alone, guided, later, former, twin, out, away}},
		{"everything", func(a *logAsked) { a.everything = true }, []facts.PastDive{lesson, teaching, alone, guided, later, former, twin, out, away}},
		{"whether enough", func(a *logAsked) { a.whether = true }, []facts.PastDive{lesson, teaching, alone, with(guided, old), with(later, old), former, twin, out, away}},
	} {
		ask := a
		c.ask(&ask)
		of, err := pastDives(t.Context(), pool, ask)
		if err != nil {
			t.Fatal(err)
		}
		got := of["p"]
		for i := range got {
			got[i].EnteredAt, got[i].OutAt = got[i].EnteredAt.UTC(), got[i].OutAt.UTC()
			if got[i].Place != nil { // of the site it is enough that it is there
				got[i].Place = &lastlightv1.Site{}
			}
		}
		text := func(list []facts.PastDive) string {
			b, err := json.MarshalIndent(list, "", " ")
			if err != nil {
				t.Fatal(err)
			}
			return string(b)
		}
		for i := range max(len(got), len(c.want)) {
			if i >= len(got) || i >= len(c.want) || text(got[i:i+1]) != text(c.want[i:i+1]) {
				t.Errorf("%s: dive %d\nread %s\nwant %s", c.name, i, text(got[min(i, len(got)):min(i+1, len(got))]), text(c.want[min(i, len(c.want)):min(i+1, len(c.want))]))
			}
		}
	}
}
