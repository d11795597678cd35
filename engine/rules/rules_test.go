package rules_test

import (
	"regexp"
	"strings"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
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

// D33: what would pass depends on what was refused. D5: a leg against whose flow nobody gets forward is pulled along, or left out.
func TestARouteFaultNamesWhatMendsIt(t *testing.T) {
	for _, c := range []struct {
		kind, remedy string
		change       func(*facts.Input)
	}{
		{route.RefuseProgress, "pull-and-glide", func(in *facts.Input) { in.Route.Legs[0].FlowMMin = 10 }},
		{route.RefuseSwitch, "carries it", func(in *facts.Input) { stage(in); act(in, route.ActDrop, "stage"); act(in, route.ActSwitchTo, "stage") }},
		{route.RefuseSwitch, "carries it", func(in *facts.Input) { act(in, route.ActSwitchTo, "nobody's") }},
		{route.RefuseDrop, "carries it", func(in *facts.Input) { stage(in); act(in, route.ActDrop, "stage"); act(in, route.ActDrop, "stage") }},
		{route.RefusePickUp, "where this diver dropped it", func(in *facts.Input) { stage(in); act(in, route.ActPickUp, "stage") }},
		{route.RefuseCylinderLeft, "declare it as left", func(in *facts.Input) { stage(in); act(in, route.ActDrop, "stage") }},
		{route.RefuseNoLeg, "those of the survey", func(in *facts.Input) { in.Route.Route.Moves[0].Leg = "XY" }},
		{route.RefuseNoLine, "run line", func(in *facts.Input) { in.Route.Legs[0].Lined = false }},
		{route.RefuseEnd, "moves home", func(in *facts.Input) { in.Route.Route.Moves = in.Route.Route.Moves[:1] }},
		{route.RefuseShortLeg, "correct the survey", func(in *facts.Input) { in.Route.Legs[0].LengthM, in.Route.Stations[1].DepthM = 10, 40 }},
	} {
		in := enginetest.Pair()
		c.change(&in)
		told := false
		for _, f := range judge(in) {
			if f.Rule == "route.faults" && f.Code == "refused" && f.Figures[0].Text == c.kind {
				told = true
				if !strings.Contains(f.Remedy, c.remedy) {
					t.Errorf("%s: remedy %q lacks %q", f.Message, f.Remedy, c.remedy)
				}
			}
		}
		if !told {
			t.Errorf("%s is not told", c.kind)
		}
	}
}

// act lets Ada do something with a cylinder at the end of the first move.
func act(in *facts.Input, action, cylinder string) {
	m := &in.Route.Route.Moves[0]
	m.Actions = append(m.Actions, route.Action{Action: action, Diver: "d-Ada", Cylinder: &cylinder})
}

// The MOD of 50 % is 22 m (practice 10); the water of a lake at 1800 m alone would allow 1.6 bar at 24 m. A gas of which the plan
// says nothing is breathed at the stop below neither, and no remedy names a depth that another rule refuses.
func TestADecompressionGasAtAltitudeIsBreathedWithinItsMOD(t *testing.T) {
	for _, altitude := range []float64{0, 1800} {
		for _, c := range []struct {
			o2    string
			blame bool
			deep  *float64
			mod   string
		}{{"50", false, nil, "22"}, {"100", false, nil, "6"}, {"50", true, new(30.0), "22"}, {"50.6", false, nil, "21"}, {"50.6", true, new(30.0), "21"}} {
			in := enginetest.Pair()
			oxygenStop(&in, 6)
			in.Site.BarometerBar, in.Site.AltitudeM = nil, &altitude
			depth(&in, 40)
			sup := &in.Plan.Supplies[len(in.Plan.Supplies)-1]
			sup.DeepestM, sup.PlannedO2 = c.deep, c.o2
			in.Cylinders[len(in.Cylinders)-1].Analyses[0].O2 = c.o2
			seen := 0
			for _, f := range judge(in) {
				if f.Subject.ID != "oxygen-1" || f.Rule != "gas.rich" && f.Rule != "gas.measured" {
					continue
				}
				seen++
				if f.Blocks() != c.blame {
					t.Errorf("%s %% at %v m: %s", c.o2, altitude, f.Message)
				}
				for _, x := range f.Figures {
					if x.Name == "mod" && x.Text != c.mod {
						t.Errorf("%s %% at %v m: %s names a MOD of %s m, want %s", c.o2, altitude, f.Rule, x.Text, c.mod)
					}
				}
			}
			if seen != 2 {
				t.Errorf("%s %% at %v m: %d answers", c.o2, altitude, seen)
			}
		}
	}
}

// Without the altitude nobody knows from where on a gas for decompression is breathed: that is asked for, and no depth is made up.
func TestWithoutTheWaterNoDepthIsMadeUp(t *testing.T) {
	in := enginetest.Pair()
	oxygenStop(&in, 6)
	in.Plan.Supplies[len(in.Plan.Supplies)-1].DeepestM = nil
	in.Site.BarometerBar, in.Site.AltitudeM = nil, nil
	in.Cylinders[len(in.Cylinders)-1].Analyses[0].O2 = "98"
	seen := 0
	for _, f := range judge(in) {
		if f.Subject.ID != "oxygen-1" || f.Rule != "gas.measured" {
			continue
		}
		seen++
		if f.Code == "o2_off" { // 2 points (dates T30): needs no depth
			continue
		}
		if f.Status != finding.Indeterminate || f.Code != "unknown" || f.Path != "site" {
			t.Errorf("%s %s at %s: %s", f.Status, f.Code, f.Path, f.Message)
		}
	}
	if seen != 2 {
		t.Errorf("%d answers", seen)
	}
}
