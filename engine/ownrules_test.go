package engine_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"lastlight/engine"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

func ownRule(id string, about policy.About, holds string, otherwise policy.Decide) policy.OwnRule {
	return policy.OwnRule{
		ID: "own." + id, Title: "rule " + id, About: about, Holds: holds, Otherwise: otherwise, Says: "not as the club wants it", Remedy: "do as the club wants it",
		Citation: finding.Citation{Document: "club meeting", Edition: "2026", Section: "minute 4", DateRead: "2026-02-01"},
	}
}

func withRules(rules ...policy.OwnRule) facts.Input {
	in := enginetest.Pair()
	in.Policy.OwnRules = rules
	return in
}

func found(t *testing.T, r engine.Report, rule string) []finding.Finding {
	t.Helper()
	var out []finding.Finding
	for _, f := range r.Findings {
		if f.Rule == rule {
			out = append(out, f)
		}
	}
	if len(out) == 0 {
		t.Fatalf("%s says nothing", rule)
	}
	return out
}

func TestOwnRulesOnlyAdd(t *testing.T) {
	t.Parallel()
	before := engine.Evaluate(enginetest.Pair())
	rules := []policy.OwnRule{
		ownRule("a_holds", policy.AboutPlan, `team.size() == 2`, policy.DecideRefuse),
		ownRule("b_broken", policy.AboutDiver, `diver.leader`, policy.DecideCaution),
		ownRule("c_waiver", policy.AboutPlan, `team.size() == 3`, policy.DecideWaiver),
		ownRule("d_unknown", policy.AboutSupply, `supply.volume_l > 0.0 && plan.jumps / 0 == 1`, policy.DecideCaution),
		ownRule("e_nothing", policy.AboutPlan, `report.findings.all(f, f.status == "pass")`, policy.DecideRefuse),
	}
	rules[2].WaivedBy, rules[2].SecondApprover = []string{"committee"}, true
	in := withRules(rules...)
	if faults := in.Policy.Validate(); len(faults) > 0 {
		t.Fatal(faults)
	}
	after := engine.Evaluate(in)

	// Everything the built-in rules said stands as it stood.
	rest := slices.DeleteFunc(slices.Clone(after.Findings), func(f finding.Finding) bool { return strings.HasPrefix(f.Rule, "own.") })
	was, _ := json.Marshal(before.Findings)
	is, _ := json.Marshal(rest)
	if string(was) != string(is) {
		t.Error("own rules changed what the built-in rules say")
	}
	if s := found(t, after, "own.a_holds")[0].Status; s != finding.Pass {
		t.Errorf("a rule that holds: %s", s)
	}
	for _, f := range found(t, after, "own.b_broken") {
		want := finding.Caution
		if f.Subject.ID == in.Plan.Team[0].Diver {
			want = finding.Pass
		}
		if f.Status != want || f.Subject.Kind != finding.KindDiver {
			t.Errorf("about %s: %s, want %s", f.Subject.ID, f.Status, want)
		}
	}
	w := found(t, after, "own.c_waiver")[0]
	if w.Status != finding.NeedsWaiver || !w.Waivable() || !w.Waiver.SecondApprover || w.Waiver.Roles[0] != "committee" {
		t.Errorf("waiver: %+v", w)
	}
	if w.Message != "plan: not as the club wants it" && !strings.HasSuffix(w.Message, ": not as the club wants it") || w.Remedy != "do as the club wants it" {
		t.Errorf("words: %q, %q", w.Message, w.Remedy)
	}
	for _, f := range found(t, after, "own.d_unknown") {
		if f.Status != finding.Indeterminate || f.Subject.Kind != finding.KindCylinder && f.Subject.Kind != finding.KindItem {
			t.Errorf("a rule that fails: %s about %s", f.Status, f.Subject.Kind)
		}
	}
	if after.Verdict != finding.Refuse && after.Verdict != finding.Indeterminate {
		t.Errorf("verdict %s", after.Verdict)
	}
	s := w.Steps[0]
	if s.Formula != rules[2].Holds || len(s.Inputs) == 0 || *s.Inputs[0].Number != 2 {
		t.Errorf("steps: %+v", s)
	}
}

func TestOwnRuleThatNoLongerCompilesBlocks(t *testing.T) {
	t.Parallel()
	in := withRules(ownRule("old", policy.AboutPlan, `plan.gone == 1`, policy.DecideCaution))
	if f := found(t, engine.Evaluate(in), "own.old")[0]; f.Status != finding.Indeterminate || !strings.Contains(f.Message, "gone") {
		t.Errorf("%s: %s", f.Status, f.Message)
	}
}

func TestOwnRuleInForceAtBothEnds(t *testing.T) {
	t.Parallel()
	day := engine.Evaluate(enginetest.Pair()).LastDay
	for _, c := range []struct {
		from, to string
		asked    bool
	}{
		{"", "", true},
		{day.String(), day.String(), true},
		{day.Add(1).String(), "", false},
		{"", day.Add(-1).String(), false},
	} {
		r := ownRule("dated", policy.AboutPlan, `false`, policy.DecideRefuse)
		r.From, r.To = c.from, c.to
		f := found(t, engine.Evaluate(withRules(r)), "own.dated")[0]
		if asked := f.Status == finding.Refuse; asked != c.asked || !asked && f.Status != finding.NotApplicable {
			t.Errorf("from %q to %q: %s", c.from, c.to, f.Status)
		}
	}
}

// What stands in a person's own records is marked, so that it is withheld from who may not read it; health is not to be had at all.
func TestOwnRulesReadNoHealth(t *testing.T) {
	t.Parallel()
	in := withRules(
		ownRule("age", policy.AboutPlan, `team.all(d, d.age_years > 30)`, policy.DecideCaution),
		ownRule("fit", policy.AboutPlan, `report.findings.all(f, f.rule != "diver.medical" && f.rule != "diver.not_diving")`, policy.DecideRefuse),
	)
	r := engine.Evaluate(in)
	for _, x := range found(t, r, "own.age")[0].Steps[0].Inputs {
		if strings.HasSuffix(x.Name, "age_years") && x.Of == "" {
			t.Errorf("%s belongs to nobody", x.Name)
		}
	}
	if s := found(t, r, "own.fit")[0].Status; s != finding.Pass {
		t.Errorf("the view shows what was said about health: %s", s)
	}
}

func TestOwnRulesGiveTheSameBytes(t *testing.T) {
	t.Parallel()
	in := withRules(ownRule("a", policy.AboutItem, `item.count > 1 && has(item.length_m)`, policy.DecideCaution), ownRule("b", policy.AboutSupply, `supply.start_bar * supply.volume_l / 3.0 < 1000.1`, policy.DecideCaution))
	first, _ := json.Marshal(engine.Evaluate(in))
	for range 5 {
		if again, _ := json.Marshal(engine.Evaluate(in)); string(again) != string(first) {
			t.Fatal("other bytes for the same input")
		}
	}
}

// A rule about cylinders is asked of each once, at its place in the supplies; where the date is missing it cannot tell.
func TestOwnRuleAboutCylinders(t *testing.T) {
	t.Parallel()
	in := withRules(ownRule("hydro", policy.AboutCylinder, `cylinder.last_hydro >= "1990" && cylinder.volume_l <= 20`, policy.DecideRefuse))
	n := 0
	for _, s := range in.Plan.Supplies {
		n += len(s.Cylinders)
	}
	fs := found(t, engine.Evaluate(in), "own.hydro")
	if len(fs) != n {
		t.Fatalf("%d answers about %d cylinders", len(fs), n)
	}
	for _, f := range fs {
		if f.Status != finding.Pass || f.Subject.Kind != finding.KindCylinder || !strings.HasPrefix(f.Path, "plan.supplies[") || in.Cylinder(f.Subject.ID) == nil {
			t.Errorf("%s about %v at %s: %s", f.Status, f.Subject, f.Path, f.Message)
		}
	}
	gone := &in.Cylinders[0]
	gone.Events = nil
	in.Plan.Supplies[0].Cylinders = append(in.Plan.Supplies[0].Cylinders, in.Plan.Supplies[0].Cylinders[0])
	fs = found(t, engine.Evaluate(in), "own.hydro")
	if len(fs) != n {
		t.Errorf("%d answers about %d cylinders, one of them named twice", len(fs), n)
	}
	for _, f := range fs {
		if blocks := f.Status == finding.Indeterminate; blocks != (f.Subject.ID == gone.ID) {
			t.Errorf("%s, of which %s has no date: %s", f.Subject.ID, gone.ID, f.Status)
		}
	}
}
