package screen

import (
	"fmt"

	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// Past shows what a policy would have said of plans on record: in full those whose verdict would have been another, then how
// many would have been judged alike. A pipe gets one line for each plan and for each finding that differs.
func (w View) Past(x *pb.CompareDecidedPlansResponse) error {
	if !w.Page {
		return w.pastRows(x)
	}
	var turned, reworded, alike, not, engine, further, untold int
	for _, plan := range x.GetPlans() {
		if plan.GetNotTold() {
			untold++
			continue
		}
		switch {
		case plan.GetNotEvaluated() != "":
			not++
		case plan.GetVerdictBefore() != plan.GetVerdictAfter():
			turned++
		case len(plan.GetFindings())+len(plan.GetStandings()) > 0:
			reworded++
		default:
			alike++
		}
		if plan.GetNotEvaluated() == "" && plan.GetVerdictThen() != plan.GetVerdictBefore() {
			engine++
		}
		if plan.GetReadsFurther() {
			further++
		}
	}
	p := &page{w: w}
	p.headline("POLICY " + x.GetId() + " ON PLANS ON RECORD")
	p.blank()
	if len(x.GetPlans()) == 0 {
		p.line("No plan was judged in these days, or at this site.")
		return p.err
	}
	p.headline(fmt.Sprintf("Another verdict: %d of %d", turned, len(x.GetPlans())-untold))
	p.notTold(untold)
	for _, plan := range x.GetPlans() {
		if plan.GetNotTold() || plan.GetNotEvaluated() == "" && plan.GetVerdictBefore() == plan.GetVerdictAfter() {
			continue
		}
		p.blank()
		p.indented(2, fmt.Sprintf("%s (version %d, %s, under %s), at %s %s", plan.GetPlan(), plan.GetVersion(), judgedAt(plan.GetMoment()),
			plan.GetPolicyThen(), plan.GetSite(), w.Time(plan.GetPlannedEntry(), plan.GetSite())))
		if plan.GetNotEvaluated() != "" {
			p.label(4, "Not evaluated", plan.GetNotEvaluated())
			continue
		}
		p.label(4, "Verdict", spaced(plan.GetVerdictBefore())+" -> "+spaced(plan.GetVerdictAfter()))
		if plan.GetVerdictThen() != plan.GetVerdictBefore() {
			p.label(4, "As stored", fmt.Sprintf("%s, by engine %s", spaced(plan.GetVerdictThen()), plan.GetEngineThen()))
		}
		for _, s := range plan.GetStandings() {
			p.label(4, s.GetPerson(), "counts as "+orNone(s.GetBefore())+" -> "+orNone(s.GetAfter()))
		}
		p.findingChanges(plan.GetFindings())
	}
	p.blank()
	p.indented(0, fmt.Sprintf("Same verdict: %d, of which %d with other findings (--json has them). Not evaluated: %d.", alike+reworded, reworded, not))
	if engine > 0 {
		p.indented(0, fmt.Sprintf("Plans whose stored verdict this engine no longer gives under the same policy: %d. There the engine has changed.", engine))
	}
	if further > 0 {
		p.indented(0, fmt.Sprintf("Plans stored with fewer earlier dives than this policy reads: %d. What it says of earlier dives may be too little there.", further))
	}
	p.blank()
	p.label(0, "Engine", x.GetEngineVersion())
	p.line("%s", Cautions[0])
	return p.err
}

func judgedAt(moment string) string {
	if moment == "entry" {
		return "at entry"
	}
	return "planned"
}

func (w View) pastRows(x *pb.CompareDecidedPlansResponse) error {
	t := table.Table{Columns: []table.Column{{Title: "what"}, {Title: "plan"}, {Title: "name"}, {Title: "then"}, {Title: "before"}, {Title: "after"}}}
	for _, p := range x.GetPlans() {
		if p.GetNotEvaluated() != "" {
			t.Rows = append(t.Rows, []string{"not_evaluated", p.GetPlan(), p.GetNotEvaluated(), p.GetVerdictThen(), "", ""})
			continue
		}
		if p.GetNotTold() {
			t.Rows = append(t.Rows, []string{"not_told", p.GetPlan(), p.GetPolicyThen(), p.GetVerdictThen(), "", ""})
			continue
		}
		t.Rows = append(t.Rows, []string{"verdict", p.GetPlan(), p.GetPolicyThen(), p.GetVerdictThen(), p.GetVerdictBefore(), p.GetVerdictAfter()})
		for _, s := range p.GetStandings() {
			t.Rows = append(t.Rows, []string{"standing", p.GetPlan(), s.GetPerson(), "", s.GetBefore(), s.GetAfter()})
		}
		for _, f := range p.GetFindings() {
			t.Rows = append(t.Rows, []string{"finding", p.GetPlan(), changedRule(f), "", said(f.GetBefore()), said(f.GetAfter())})
		}
	}
	return w.Table(t)
}
