package rules_test

import (
	"fmt"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/rules"
)

func eligibleInput(divers, sites int) rules.EligibleInput {
	in := enginetest.Pair()
	out := rules.EligibleInput{Policy: in.Policy, First: enginetest.Day("2026-06-08"), Last: enginetest.Day("2026-06-21")}
	for i := range divers {
		out.Divers = append(out.Divers, enginetest.Diver(fmt.Sprintf("d-%d", i), fmt.Sprintf("Diver %d", i)))
	}
	for i := range sites {
		s := in.Site
		s.ID, s.Name = fmt.Sprintf("site-%d", i+1), fmt.Sprintf("Site %d", i+1)
		out.Sites = append(out.Sites, s)
	}
	return out
}

// Each cell has the first thing that stops, as the day and the site have it.
func TestEligible(t *testing.T) {
	in := eligibleInput(3, 2)
	in.Sites[0].Closures = []facts.Closure{{FromDay: enginetest.Day("2026-06-10"), ToDay: enginetest.Day("2026-06-10")}}
	in.Divers[1].NotDiving = []facts.Absence{{From: enginetest.Day("2026-06-12"), To: enginetest.Day("2026-06-12")}}
	in.Divers[2].Cards[0].Level = "APP"
	in.Divers[2].Cards[0].Issued, in.Divers[2].Cards[0].SeenAt = enginetest.Day("2025-06-14"), enginetest.At("2025-07-01T10:00Z")
	in.Sites[0].Grade = new(3)
	at := func(diver, site, day string) rules.EligibleCell {
		for _, c := range rules.Eligible(in) {
			if c.Diver == diver && c.Site == site && c.Day.String() == day {
				return c
			}
		}
		t.Fatalf("no cell %s %s %s", diver, site, day)
		return rules.EligibleCell{}
	}
	for _, c := range []struct{ diver, site, day, counts, rule string }{
		{"d-0", "site-1", "2026-06-09", "FULL", ""},
		{"d-0", "site-1", "2026-06-10", "FULL", "site.open"},
		{"d-0", "site-2", "2026-06-10", "APP", ""}, // a first visit
		{"d-1", "site-1", "2026-06-11", "FULL", ""},
		{"d-1", "site-1", "2026-06-12", "FULL", "diver.not_diving"},
		{"d-2", "site-1", "2026-06-14", "APP", ""},
		{"d-2", "site-1", "2026-06-15", "INT", "level.site_grade"}, // the card has lapsed
		{"d-2", "site-2", "2026-06-15", "CAV", "level.site_grade"}, // a step on top
	} {
		got := at(c.diver, c.site, c.day)
		rule := ""
		if got.Stopped != nil {
			rule = got.Stopped.Rule
		}
		if got.CountsAs != c.counts || rule != c.rule || got.May != (c.rule == "") {
			t.Errorf("%s at %s on %s: may %v, counts as %s, stopped by %q; want %+v", c.diver, c.site, c.day, got.May, got.CountsAs, rule, c)
		}
	}
}

// The matrix that an expedition is judged by, for logs of one length and of ten times that.
func BenchmarkEligible(b *testing.B) {
	for _, dives := range []int{100, 1000} {
		in := eligibleInput(40, 5)
		for d := range in.Divers {
			in.Divers[d].Dives = nil
			for i := range dives {
				in.Divers[d].Dives = append(in.Divers[d].Dives, enginetest.PastDive(fmt.Sprint(i), enginetest.Day("2026-06-01").Add(-7300*(dives-i)/dives).String()))
			}
		}
		b.Run(fmt.Sprintf("%d dives each", dives), func(b *testing.B) {
			for b.Loop() {
				rules.Eligible(in)
			}
		})
	}
}
