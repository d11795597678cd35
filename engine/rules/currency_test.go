package rules_test

import (
	"slices"
	"strings"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/rules"
)

// Practice 11 and T25–T27, one line each: what recorded dives make of a card.
func TestWhatADiverCountsAs(t *testing.T) {
	day := enginetest.Day
	dives := func(days ...string) (all []facts.PastDive) {
		for _, d := range days {
			all = append(all, enginetest.PastDive("log-"+d, d))
		}
		return all
	}
	six := []string{"2025-06-14", "2025-09-01", "2025-12-01", "2026-01-10", "2026-02-10", "2026-03-16"}
	for name, c := range map[string]struct {
		change  func(*facts.Input)
		counts  string
		because []string // all stand in the explanation
	}{
		"six dives in twelve months, the sixth on its last day; 90 days": {func(in *facts.Input) { in.Divers[1].Dives = dives(six...) }, "FULL", []string{"by the card"}},
		"91 days": {func(in *facts.Input) {
			in.Divers[1].Dives = dives(append(slices.Clone(six[:5]), "2026-03-15")...)
		}, "APP", []string{"one step below FULL", "91 days since the last that counts, 2026-03-15, at most 90"}},
		"one of the six a day older": {func(in *facts.Input) {
			in.Divers[1].Dives = dives(append([]string{"2025-06-13"}, six[1:]...)...)
		}, "APP", []string{"5 of 6 dives that count in 12 months"}},
		"two causes are one step": {func(in *facts.Input) { in.Divers[1].Dives = dives("2026-03-01") }, "APP", []string{"1 of 6 dives", "105 days since"}},
		"a dive not yet closed never counts": {func(in *facts.Input) {
			in.Divers[1].Dives = dives(six...)
			in.Divers[1].Dives[5].SignedOut = calendar.Instant{}
		}, "APP", []string{"5 of 6"}},
		"one of the same day counts if signed out before entry": {func(in *facts.Input) {
			in.Divers[1].Dives = dives(six...)
			d := &in.Divers[1].Dives[0]
			d.Entry, d.Out, d.EntryDay = enginetest.At("2026-06-14T06:00+02:00"), enginetest.At("2026-06-14T06:50+02:00"), day("2026-06-14")
			d.SignedOut = d.Out
		}, "FULL", nil},
		"a dive without its level takes the card's of that day": {func(in *facts.Input) {
			in.Divers[1].Dives = dives(six...)
			in.Divers[1].Dives[3].CountedAs = ""
		}, "FULL", nil},
		"dives two steps down do not count": {func(in *facts.Input) {
			in.Divers[1].Dives = dives(six...)
			in.Divers[1].Dives[3].CountedAs = "INT"
		}, "APP", []string{"5 of 6"}},
		"more than 12 months: refresher": {func(in *facts.Input) {
			in.Divers[1].Dives, in.Divers[1].Reassessed = nil, []calendar.Day{day("2025-06-13")}
		}, "", []string{"training dives only", "refresher"}},
		"more than 24 months: re-assessment": {func(in *facts.Input) {
			in.Divers[1].Dives, in.Divers[1].Reassessed = nil, []calendar.Day{day("2024-06-13")}
		}, "", []string{"training dives only", "re-assessment"}},
		"a fresh card has its grace, the 90 days are asked": {func(in *facts.Input) {
			in.Divers[1].Dives, in.Divers[1].Reassessed = nil, nil
			in.Divers[1].Cards[0].Issued = day("2026-03-16")
			in.Divers[1].Cards[0].SeenAt = enginetest.At("2026-03-20T10:00Z")
			in.Policy.FirstVisit.OneStepEasier = false
		}, "FULL", nil},
		"a newcomer in the team": {func(in *facts.Input) { newHere(in, 2) }, "APP", []string{"one step below FULL", "first visit here by Ben"}},
		"a step on top of a lapse": {func(in *facts.Input) {
			level(in, 1, "APP")
			in.Divers[1].Cards[0].Issued, in.Divers[1].Cards[0].SeenAt = day("2025-06-01"), enginetest.At("2025-06-02T10:00Z")
			newHere(in, 2)
		}, "CAV", []string{"one step below INT (the card has lapsed to INT)", "first visit here by Ben"}},
		"below cavern no step is left":      {func(in *facts.Input) { level(in, 1, "CAV"); newHere(in, 2) }, "", []string{"training dives only"}},
		"a site opening has its own limits": {func(in *facts.Input) { newHere(in, 2); in.Plan.Kind = facts.SiteOpening }, "FULL", nil},
		"in training the level taught limits": {func(in *facts.Input) {
			newHere(in, 2)
			endorse(in, 1, "INSTRUCTOR")
			in.Plan.Kind, in.Plan.Taught, in.Plan.Team[0].Instructor = facts.Training, "FULL", true
		}, "FULL", nil},
	} {
		in := enginetest.Pair()
		c.change(&in)
		k := rules.Open(&in)
		m := k.Team[0]
		because := k.Because(m)
		if m.Counts != c.counts {
			t.Errorf("%s: counts as %q because %q, want %q", name, m.Counts, because, c.counts)
		}
		for _, want := range c.because {
			if !strings.Contains(because, want) {
				t.Errorf("%s: because %q, want %q in it", name, because, want)
			}
		}
	}
}

// Every rule is taken from the least qualified diver present, as that diver
// counts today: a pair of FULL cards is a pair of APP while one is not current.
func TestTheLeastQualifiedAfterTheStep(t *testing.T) {
	in := enginetest.Pair()
	in.Divers[2].Dives = in.Divers[2].Dives[3:]
	c := rules.Open(&in)
	if c.LevelName != "APP" || c.Least != 1 {
		t.Errorf("judged as %s from member %d, want APP from Ben", c.LevelName, c.Least)
	}
	depth(&in, 45)
	for _, f := range judge(in) {
		if f.Rule == "level.depth" && !f.Blocks() {
			t.Errorf("45 m passes: %s", f.Message)
		}
	}
}

// T26 and practice 11: four uses in twelve months; else the endorsement does
// not count, and in training with an instructor it comes back.
func TestEndorsementNeedsUses(t *testing.T) {
	make := func(uses int) facts.Input {
		in := enginetest.Pair()
		endorse(&in, 1, "STAGE")
		for i := range in.Divers[1].Dives {
			if i >= uses {
				in.Divers[1].Dives[i].Uses = nil
			}
		}
		return in
	}
	for uses, want := range map[int]bool{3: false, 4: true} {
		in := make(uses)
		m := rules.Open(&in).Team[0]
		if m.Holds("STAGE") != want || m.Counts != "FULL" {
			t.Errorf("%d uses: STAGE counts %v, as %s; an endorsement is no step", uses, m.Holds("STAGE"), m.Counts)
		}
	}
	in := make(3)
	endorse(&in, 2, "INSTRUCTOR")
	in.Plan.Kind, in.Plan.Taught, in.Plan.Team[1].Instructor = facts.Training, "FULL", true
	if m := rules.Open(&in).Team[0]; !m.Holds("STAGE") {
		t.Error("three uses, in training: STAGE cannot come back")
	}
	// SIDEMOUNT and the like are not counted by uses.
	in = enginetest.Pair()
	endorse(&in, 1, "SIDEMOUNT")
	if m := rules.Open(&in).Team[0]; !m.Holds("SIDEMOUNT") {
		t.Error("SIDEMOUNT is asked for uses")
	}
}

// The finding lists the dives it counted and the day on which it changes.
func TestCurrencyNamesItsDives(t *testing.T) {
	in := enginetest.Pair()
	for _, f := range judge(in) {
		if f.Rule != "diver.currency" || f.Subject.ID != "d-Ada" {
			continue
		}
		changes := slices.IndexFunc(f.Figures, func(x finding.Figure) bool { return x.Name == "changes_on" })
		if len(f.Evidence) != 8 || changes < 0 || f.Figures[changes].Text != "2026-08-15" {
			t.Errorf("evidence %v, figures %v: want eight dives, and 91 days after 2026-05-16", f.Evidence, f.Figures)
		}
	}
}

// The same dives as a report for any day, past or future: each figure names
// what it counted and the day on which it changes (T25, T26, T28).
func TestCurrencyOfAnyDay(t *testing.T) {
	in := enginetest.Pair()
	endorse(&in, 1, "STAGE")
	ask := func(day string) rules.CurrencyReport {
		return rules.CurrencyOf(rules.ReadyInput{Policy: in.Policy, Zones: in.Site.Zones, Day: enginetest.Day(day), Diver: in.Divers[1]})
	}
	figure := func(r rules.CurrencyReport, about, name string) rules.CurrencyFigure {
		for _, f := range r.Figures {
			if f.About == about && f.Name == name {
				return f
			}
		}
		t.Fatalf("on %s no figure %s %s", r.Day, about, name)
		return rules.CurrencyFigure{}
	}
	for _, c := range []struct {
		day, about, name string
		count            int
		state, falls     string
		changes, to      string
	}{
		{"2026-06-14", "level", "FULL", 8, "current", "2026-10-05", "2026-08-15", "one_step_easier"},
		{"2026-08-14", "level", "FULL", 8, "current", "2026-10-05", "2026-08-15", "one_step_easier"},
		{"2026-08-15", "level", "FULL", 8, "one_step_easier", "2026-10-05", "2027-01-11", "one_step_easier"},
		{"2026-02-14", "level", "FULL", 4, "one_step_easier", "2026-10-05", "", ""},
		{"2027-05-17", "level", "FULL", 0, "refresher", "", "2028-05-17", "reassessment"},
		{"2026-06-14", "endorsement", "STAGE", 8, "counts", "2026-10-05", "2027-03-08", "does_not_count"},
		{"2027-03-08", "endorsement", "STAGE", 3, "does_not_count", "2027-04-12", "", ""},
		{"2026-06-14", "site", "site-1", 8, "", "2027-10-05", "", ""},
		{"2026-06-14", "depth", "20", 8, "", "2026-10-05", "", ""},
	} {
		f := figure(ask(c.day), c.about, c.name)
		if len(f.Tally.Counted) != c.count || f.State != c.state || f.Tally.FallsOn.String() != c.falls || c.changes != "" && (f.ChangesOn.String() != c.changes || f.ChangesTo != c.to) {
			t.Errorf("on %s, %s %s: %d dives, %q, one fewer on %s, changes on %s to %q; want %+v", c.day, c.about, c.name, len(f.Tally.Counted), f.State, f.Tally.FallsOn, f.ChangesOn, f.ChangesTo, c)
		}
	}
}
