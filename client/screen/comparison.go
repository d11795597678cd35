package screen

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"lastlight/client/recordfile"
	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Comparison shows what a policy would change: cells, then plan by plan the
// verdict, the findings and what divers count as. A pipe gets one line for each.
func (w View) Comparison(x *pb.PolicyComparison) error {
	if !w.Page {
		return w.comparisonRows(x)
	}
	p := &page{w: w}
	p.headline(fmt.Sprintf("POLICY %s AGAINST %s", x.GetId(), x.GetAgainst()))
	p.blank()
	p.headline("Cells that differ")
	if len(x.GetCells()) == 0 {
		p.indented(2, "none")
	}
	for _, c := range x.GetCells() {
		p.indented(2, c.GetPath()+": "+orNone(c.GetBefore())+" -> "+orNone(c.GetAfter()))
		if source := clause(c.GetCitation()); source != "" {
			p.indented(4, source)
		}
	}
	p.blank()
	told := slices.DeleteFunc(slices.Clone(x.GetPlans()), (*pb.PolicyPlanChange).GetNotTold)
	p.headline(fmt.Sprintf("Open plans that change: %d of %d", len(told), int(x.GetPlansCompared())-len(x.GetPlans())+len(told)))
	p.notTold(len(x.GetPlans()) - len(told))
	for _, plan := range told {
		p.blank()
		p.indented(2, fmt.Sprintf("%s (version %d, %s), at %s %s", plan.GetPlan(), plan.GetVersion(), changedState(plan), plan.GetSite(), w.Time(plan.GetPlannedEntry(), plan.GetSite())))
		if plan.GetNotEvaluated() != "" {
			p.label(4, "Not evaluated", plan.GetNotEvaluated())
			continue
		}
		p.label(4, "Verdict", spaced(plan.GetVerdictBefore())+" -> "+spaced(plan.GetVerdictAfter()))
		for _, s := range plan.GetStandings() {
			p.label(4, s.GetPerson(), "counts as "+orNone(s.GetBefore())+" -> "+orNone(s.GetAfter()))
		}
		p.findingChanges(plan.GetFindings())
	}
	p.blank()
	p.label(0, "Engine", x.GetEngineVersion())
	p.line("%s", Cautions[0])
	return p.err
}

// notTold counts the plans of which the reader is told nothing.
func (p *page) notTold(n int) {
	if n > 0 {
		p.indented(2, fmt.Sprintf("Not told: %s, with people whose records you may not read; a coordinator is told.", count(int32(n), "plan", "plans"))) //nolint:gosec // Not more than a page holds.
	}
}

// findingChanges lists findings that differ. Those of a rule that was not asked before, or would not be, and has nothing to say are
// counted: who adopts a policy reads what it would stop.
func (p *page) findingChanges(list []*pb.FindingChange) {
	quiet := map[string]int{}
	var order []string
	for _, f := range list {
		if only := cmp.Or(f.GetAfter(), f.GetBefore()); (f.GetBefore() == nil || f.GetAfter() == nil) && (only.GetStatus() == "pass" || only.GetStatus() == "not_applicable") {
			line := changedRule(f) + ": in order or not asked for, and not judged before"
			if f.GetAfter() == nil {
				line = changedRule(f) + ": not judged any more, in order or not asked for before"
			}
			if quiet[line]++; quiet[line] == 1 {
				order = append(order, line)
			}
			continue
		}
		p.indented(4, changedRule(f))
		p.label(6, "before", said(f.GetBefore()))
		p.label(6, "after", said(f.GetAfter()))
	}
	for _, line := range order {
		p.indented(4, fmt.Sprintf("%s: %d", line, quiet[line]))
	}
}

func (w View) comparisonRows(x *pb.PolicyComparison) error {
	t := table.Table{Columns: []table.Column{{Title: "what"}, {Title: "plan"}, {Title: "name"}, {Title: "before"}, {Title: "after"}, {Title: "source"}}}
	for _, c := range x.GetCells() {
		t.Rows = append(t.Rows, []string{"cell", "", c.GetPath(), c.GetBefore(), c.GetAfter(), clause(c.GetCitation())})
	}
	for _, p := range x.GetPlans() {
		if p.GetNotEvaluated() != "" {
			t.Rows = append(t.Rows, []string{"not_evaluated", p.GetPlan(), p.GetNotEvaluated(), "", "", ""})
			continue
		}
		if p.GetNotTold() {
			t.Rows = append(t.Rows, []string{"not_told", p.GetPlan(), "", "", "", ""})
			continue
		}
		t.Rows = append(t.Rows, []string{"verdict", p.GetPlan(), "", p.GetVerdictBefore(), p.GetVerdictAfter(), ""})
		for _, s := range p.GetStandings() {
			t.Rows = append(t.Rows, []string{"standing", p.GetPlan(), s.GetPerson(), s.GetBefore(), s.GetAfter(), ""})
		}
		for _, f := range p.GetFindings() {
			source := f.GetAfter().GetCitation()
			if source == nil {
				source = f.GetBefore().GetCitation()
			}
			t.Rows = append(t.Rows, []string{"finding", p.GetPlan(), changedRule(f), said(f.GetBefore()), said(f.GetAfter()), clause(source)})
		}
	}
	return w.Table(t)
}

func changedRule(f *pb.FindingChange) string {
	if f.GetAfter() != nil {
		return f.GetAfter().GetRule()
	}
	return f.GetBefore().GetRule()
}

func changedState(p *pb.PolicyPlanChange) string {
	return spaced(recordfile.EnumWord(p.GetState().Descriptor().Values().ByNumber(p.GetState().Number())))
}

// said is a finding in a line: its status and its message.
func said(f *pb.Finding) string {
	if f == nil {
		return "none"
	}
	return spaced(f.GetStatus()) + ": " + f.GetMessage()
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func spaced(word string) string { return strings.ReplaceAll(word, "_", " ") }

// clause is a citation that stands alone.
func clause(c *pb.Citation) string { return strings.TrimPrefix(cited(c), ", ") }
