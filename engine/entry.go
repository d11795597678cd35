package engine

import (
	"reflect"
	"slices"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/route"
	"lastlight/engine/rules"
)

// Change is one way in which the dive at the water is not the one approved.
type Change struct {
	What     string `json:"what"` // people | apparatus | cylinders | gas | route | depth | runtime | entry
	Subject  string `json:"subject"`
	Approved string `json:"approved"`
	Now      string `json:"now"`
}

// EntryAnswer says whether a team may enter on its approval.
type EntryAnswer struct {
	Go      bool              `json:"go"`
	Changes []Change          `json:"changes"` // outside the approved dive: a coordinator must approve it
	Blocked []finding.Finding `json:"blocked"` // what stops the entry, worst first
	Earlier bool              `json:"earlier"` // the team turns earlier than planned
	Report  Report            `json:"report"`  // as evaluated at entry, with the new turns
}

// turnedEarlier are the rules whose breach on the whole planned route is mended
// by turning at the turn at the latest: by its definition (D27) the plan cut
// there passes every one of them.
var turnedEarlier = []string{
	"route.share_rule", "route.stage_share", "route.sharing_exit", "route.planned_exit", "route.lost_cylinder",
	"route.independent_main", "route.marker_in_time", "route.cylinder_on_way_out", "route.helpful_outflow",
}

// Enter judges the entry now against the dive that was approved. It goes when
// the dive is inside the approved one: the same people, apparatus, cylinders and
// gases, no place, depth or minute beyond it, and every check passes when turned
// at the new, possibly earlier, turn. waived are the keys of findings waived at
// the approval.
func Enter(approved, now Input, waived []string) EntryAnswer {
	now.Moment = facts.AtEntry
	c := rules.Open(&now)
	out := EntryAnswer{Changes: []Change{}, Blocked: []finding.Finding{}}
	out.Report = report(c)
	before := Evaluate(approved)
	out.Changes = append(out.Changes, differences(&approved, &now)...)
	if out.Report.RuntimeMin > before.RuntimeMin+1e-6 {
		out.Changes = append(out.Changes, Change{"runtime", now.Plan.Name, finding.Decimal(before.RuntimeMin, 1) + " min", finding.Decimal(out.Report.RuntimeMin, 1) + " min"})
	}
	if !before.EnterBy.IsZero() && now.Plan.Entry.After(before.EnterBy) {
		out.Changes = append(out.Changes, Change{"entry", now.Plan.Name, "enter by " + before.EnterBy.String(), now.Plan.Entry.String()})
	}
	dive := diveLeft(c)
	if dive {
		out.Earlier = mend(&out.Report)
	}
	out.Blocked = append(out.Blocked, Blocking(out.Report, waived)...)
	out.Go = dive && len(out.Changes) == 0 && len(out.Blocked) == 0
	return out
}

// mend turns the breaches that an earlier turn mends into notes and recounts.
func mend(r *Report) bool {
	mended := false
	for i, f := range r.Findings {
		if f.Status == finding.Refuse && slices.Contains(turnedEarlier, f.Rule) && (f.Code == "short" || f.Code == "failed") {
			r.Findings[i].Status = finding.Note
			r.Findings[i].Code = "turn_earlier"
			r.Findings[i].Message = f.Message + "; mended by the earlier turn"
			mended = true
		}
	}
	if mended {
		finding.Sort(r.Findings)
		r.Verdict, r.Counts = finding.Worst(r.Findings), finding.Count(r.Findings)
	}
	return mended
}

// differences lists what is not the same in the two inputs' plans.
func differences(a, b *Input) []Change {
	var out []Change
	add := func(what, subject, was, is string) {
		if was != is {
			out = append(out, Change{what, subject, was, is})
		}
	}
	name := func(in *Input, id string) string {
		if d := in.Diver(id); d != nil && d.Name != "" {
			return d.Name
		}
		return id
	}
	find := func(in *Input, id string) *facts.Member {
		for i := range in.Plan.Team {
			if in.Plan.Team[i].Diver == id {
				return &in.Plan.Team[i]
			}
		}
		return nil
	}
	for _, m := range a.Plan.Team {
		n := find(b, m.Diver)
		if n == nil {
			add("people", name(a, m.Diver), "in the team", "not in the team")
			continue
		}
		add("apparatus", name(a, m.Diver), string(m.Apparatus), string(n.Apparatus))
	}
	for _, m := range b.Plan.Team {
		if find(a, m.Diver) == nil {
			add("people", name(b, m.Diver), "not in the team", "in the team")
		}
	}
	supply := func(in *Input, id string) *facts.Supply {
		for i := range in.Plan.Supplies {
			if in.Plan.Supplies[i].ID == id {
				return &in.Plan.Supplies[i]
			}
		}
		return nil
	}
	describe := func(s *facts.Supply) string {
		text := string(s.Role) + " of " + s.Diver + ":"
		for _, id := range s.Cylinders {
			text += " " + id
		}
		return text
	}
	for i := range a.Plan.Supplies {
		s := &a.Plan.Supplies[i]
		t := supply(b, s.ID)
		if t == nil {
			add("cylinders", s.ID, describe(s), "not carried")
			continue
		}
		add("cylinders", s.ID, describe(s), describe(t))
		add("gas", s.ID, s.PlannedO2+"/"+s.PlannedHe, t.PlannedO2+"/"+t.PlannedHe)
	}
	for i := range b.Plan.Supplies {
		if t := &b.Plan.Supplies[i]; supply(a, t.ID) == nil {
			add("cylinders", t.ID, "not carried", describe(t))
		}
	}
	if !within(a.Route.Route, b.Route.Route) {
		out = append(out, Change{"route", b.Plan.Name, "the route approved", "another route"})
	}
	return out
}

// within tells whether the second route is the first one: the same moves,
// holds and actions in the same order. A shorter one is planned anew, because
// its way home is another.
func within(a, b route.Route) bool { return reflect.DeepEqual(a, b) }
