package rules_test

import (
	"regexp"
	"strings"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/rules"
)

func judge(in facts.Input) []finding.Finding { return rules.Judge(rules.Open(&in)) }

// Air at 1500 m holds 0.178 bar of oxygen at the surface: it may be breathed there
// all the same, 20 % may not (method handbook, physics 0; D45).
func TestAirIsNotHypoxicAtAltitude(t *testing.T) {
	for _, c := range []struct {
		planned, measured string
		blocks            bool
	}{{"21", "21", false}, {"21", "20.7", false}, {"21", "20.6", true}, {"20", "20", true}} {
		in := enginetest.Pair()
		in.Site.AltitudeM, in.Site.BarometerBar = new(1500.0), nil
		for i := range in.Plan.Supplies {
			in.Plan.Supplies[i].PlannedO2 = c.planned
		}
		for i := range in.Cylinders {
			for j := range in.Cylinders[i].Analyses {
				in.Cylinders[i].Analyses[j].O2 = c.measured
			}
		}
		for _, f := range judge(in) {
			if f.Rule == "gas.hypoxic" && f.Blocks() != c.blocks {
				t.Errorf("%s %% planned, %s %% measured: %s", c.planned, c.measured, f.Message)
			}
		}
	}
}

// A rule without a citation, or with the leftovers of a template, is refused.
func TestEveryRuleCitesItsClause(t *testing.T) {
	id := regexp.MustCompile(`^[a-z]+\.[a-z_]+$`)
	seen := map[string]bool{}
	p := policy.Default()
	for _, r := range rules.Table() {
		if !id.MatchString(r.ID) || seen[r.ID] {
			t.Errorf("rule id %q: expected area.name, once", r.ID)
		}
		seen[r.ID] = true
		if !r.Citation.Complete() {
			t.Errorf("%s: citation %+v lacks document, edition, section or date read", r.ID, r.Citation)
		}
		if r.Version < 1 || r.Title == "" || r.Check == nil || len(r.Words) == 0 {
			t.Errorf("%s: version, title, check and words are needed", r.ID)
		}
		for code, w := range r.Words {
			if w.Says == "" || strings.Contains(strings.ToUpper(w.Says+w.Remedy), "TODO") {
				t.Errorf("%s %s: says %q", r.ID, code, w.Says)
			}
		}
		if r.Cell != "" {
			cell := strings.ReplaceAll(r.Cell, "{level}", "FULL")
			if _, ok := p.CitationFor(cell); !ok {
				t.Errorf("%s: the policy cites nothing for %s", r.ID, cell)
			}
		}
	}
	for _, w := range p.Waivers.Rules {
		if !seen[w.Rule] && !strings.HasPrefix(w.Rule, "failure.") {
			t.Errorf("the policy names a waiver for %s, which is no rule", w.Rule)
		}
	}
	for _, n := range p.Waivers.Nobody {
		if !seen[n] {
			t.Errorf("the policy says nobody waives %s, which is no rule", n)
		}
	}
}

func TestRefusalsAndUnknownsAreNeverWaivable(t *testing.T) {
	for _, b := range breaches {
		in := enginetest.Pair()
		b.change(&in)
		for _, f := range judge(in) {
			if f.Status != finding.NeedsWaiver && (f.Waivable() || f.Waiver != nil) {
				t.Errorf("%s %s %s may be waived", f.Status, f.Rule, f.Code)
			}
		}
	}
}

// On an evening before, today's reading and visibility are conditions of entry;
// at entry they block.
func TestReadingIsDueAtEntry(t *testing.T) {
	in := enginetest.Pair()
	in.Site.Readings, in.DecidedAt = nil, enginetest.At("2026-06-13T21:00+02:00")
	due := 0
	for _, f := range judge(in) {
		if f.Blocks() {
			t.Errorf("%s blocks the evening before: %s", f.Rule, f.Message)
		}
		if f.DueAt == finding.AtEntry {
			due++
		}
	}
	if due != 2 {
		t.Errorf("%d conditions of entry, want the reading and its visibility", due)
	}
	in.Moment = facts.AtEntry
	for i := range in.Plan.Supplies {
		in.Plan.Supplies[i].MeasuredBar = in.Plan.Supplies[i].PlannedBar
	}
	blocked := map[string]bool{}
	for _, f := range judge(in) {
		if f.Blocks() {
			blocked[f.Rule] = true
		}
	}
	if !blocked["site.reading"] || !blocked["level.visibility"] {
		t.Errorf("at entry a missing reading must block, blocked are %v", blocked)
	}
}

// An empty input blocks in every area and never panics.
func TestNothingKnownBlocks(t *testing.T) {
	for _, in := range []facts.Input{{}, {Policy: policy.Default()}, {Policy: policy.Default(), Plan: facts.Plan{Team: []facts.Member{{Diver: "x"}}, Supplies: []facts.Supply{{Diver: "x", Cylinders: []string{"y"}}}}}} {
		fs := judge(in)
		if !finding.Worst(fs).Blocks() {
			t.Error("an empty plan passes")
		}
		for _, f := range fs {
			if f.Status == finding.Pass && strings.HasPrefix(f.Rule, "diver.") {
				t.Errorf("%s passes on an empty plan: %s", f.Rule, f.Message)
			}
		}
	}
}

// Water that helps on the way out counts as it is; where the club says so, so does what is against it.
func TestHelpfulFlowCountsAsItIs(t *testing.T) {
	for name, change := range map[string]func(*facts.Input){
		"outflow": func(in *facts.Input) { in.Route.Legs[0].FlowMMin = -9 },
		"equal":   func(in *facts.Input) { in.Route.Legs[0].FlowMMin, in.Policy.Flow.InflowOneUp = 9, false },
	} {
		in := enginetest.Pair()
		change(&in)
		for _, f := range judge(in) {
			if f.Rule == "route.flow_class" && (f.Status != finding.Pass || !strings.Contains(f.Message, "counts as high")) {
				t.Errorf("%s: %s %s", name, f.Status, f.Message)
			}
		}
	}
}
