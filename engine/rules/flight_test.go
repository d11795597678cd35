package rules_test

import (
	"strings"
	"testing"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
)

func flightOf(t *testing.T, in facts.Input, diver int) (finding.Finding, calendar.Instant) {
	t.Helper()
	r := engine.Evaluate(in)
	for _, f := range r.Findings {
		if f.Rule == "diver.flight" && f.Subject.ID == in.Plan.Team[diver].Diver {
			return f, r.Flights[diver].Earliest
		}
	}
	t.Fatal("no answer about flights")
	return finding.Finding{}, calendar.Instant{}
}

// Flight after 12, 18 and 24 h (dates and deadlines, T38; DAN/UHMS workshop 2002
// for 12 and 18, common practice for 24), from the latest surfacing.
func TestEarliestFlight(t *testing.T) {
	dive := func(id, entry, out string) facts.PastDive {
		return facts.PastDive{
			ID: id, Entry: enginetest.At(entry), Out: enginetest.At(out), MaxDepthM: new(10.0), AltitudeM: new(0.0), DensityKgM3: new(1000.0),
			Gases: []facts.Breathed{{O2: 32}}, Stops: new(false),
		}
	}
	base := enginetest.Pair()
	surfacing := engine.Evaluate(base).LatestSurfacing
	for _, c := range []struct {
		name, words string
		hours       int
		dives       []facts.PastDive
	}{
		{"a single dive", "12 h after a single dive", 12, nil},
		{"the day before", "18 h after 2 dives", 18, []facts.PastDive{dive("a", "2026-06-13T10:00+02:00", "2026-06-13T10:40+02:00")}},
		{"more than 48 h before", "12 h after a single dive", 12, []facts.PastDive{dive("a", "2026-06-11T10:00+02:00", "2026-06-11T10:40+02:00")}},
		{"stops not recorded", "24 h after dives with required stops, or whose stops are not recorded", 24, []facts.PastDive{func() facts.PastDive {
			d := dive("a", "2026-06-13T10:00+02:00", "2026-06-13T10:40+02:00")
			d.Stops = nil
			return d
		}()}},
	} {
		in := enginetest.Pair()
		in.Divers[1].Dives = c.dives
		i := 0
		for k, m := range in.Plan.Team {
			if m.Diver == in.Divers[1].ID {
				i = k
			}
		}
		f, earliest := flightOf(t, in, i)
		if earliest != surfacing.Add(c.hours*60) || !strings.Contains(f.Message, c.words) {
			t.Errorf("%s: %v, %q; want %v", c.name, earliest, f.Message, surfacing.Add(c.hours*60))
		}
	}
}

// Who reported symptoms: the plan tells nobody why, the diver's own question does.
func TestFlightWithSymptoms(t *testing.T) {
	in := enginetest.Pair()
	for k := range in.Divers {
		medical := *in.Divers[k].Medical
		medical.Suspended = enginetest.Day("2026-06-13")
		in.Divers[k].Medical = &medical
	}
	if f, earliest := flightOf(t, in, 0); !earliest.IsZero() || f.Code != "not_told" || f.Blocks() {
		t.Errorf("%v %q", earliest, f.Message)
	}
	r := engine.Ready(engine.ReadyInput{Policy: in.Policy, Zones: in.Site.Zones, Day: enginetest.Day("2026-06-14"), Diver: in.Divers[1]})
	for _, l := range r.Lines {
		if l.Finding.Rule == "diver.flight" {
			if l.Finding.Code != "not_until_cleared" || l.Sign != engine.ReadyStop {
				t.Errorf("%+v", l)
			}
			return
		}
	}
	t.Error("no line about flights")
}

// The own question after a dive: the later of the interval and the model's wait.
func TestReadySaysWhenToFly(t *testing.T) {
	in := enginetest.Pair()
	d := in.Divers[1]
	d.Dives = []facts.PastDive{{
		ID: "a", Entry: enginetest.At("2026-06-14T10:00+02:00"), Out: enginetest.At("2026-06-14T10:40+02:00"), MaxDepthM: new(12.0), AltitudeM: new(0.0),
		DensityKgM3: new(1000.0), Gases: []facts.Breathed{{O2: 32}}, Stops: new(false),
	}}
	says := func(day string) string {
		r := engine.Ready(engine.ReadyInput{Policy: in.Policy, Zones: in.Site.Zones, Day: enginetest.Day(day), Diver: d})
		for _, l := range r.Lines {
			if l.Finding.Rule == "diver.flight" {
				return l.Says
			}
		}
		return ""
	}
	if s := says("2026-06-14"); !strings.Contains(s, "no flight before 2026-06-14T22:40") || !strings.Contains(s, "12 h after a single dive") {
		t.Errorf("on the day: %q", s)
	}
	if s := says("2026-06-16"); s != "" {
		t.Errorf("two days later: %q", s)
	}
}
