package plan

import (
	"fmt"
	"slices"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/quantity"
)

// Check says what is wrong with a plan by itself, beyond what the fields'
// ranges say, and brings pressures to bar. Whether its places have ever been
// surveyed the store finds; whether its route can be swum and its gas holds is
// the engine's to say.
func Check(p *lastlightv1.Plan, prefix string) error {
	out := fault.Collect(prefix)
	wrong := out.Add
	quantity.ToSI(p, out)
	dates.Year(out, "planned_entry", p.PlannedEntry.AsTime())
	seen := map[string]string{}
	carried := map[string]string{}
	for i, d := range p.Team {
		at := fmt.Sprintf("team[%d].", i)
		if former, twice := seen[d.Person]; twice {
			wrong(at+"person", d.Person, "each person once", "is in the plan already: "+former)
		}
		seen[d.Person] = at + "person"
		for j, s := range d.Stages {
			field := fmt.Sprintf("%sstages[%d].cylinder", at, j)
			if former, twice := carried[s.Cylinder]; twice {
				wrong(field, s.Cylinder, "each cylinder once", "is carried already: "+former)
			}
			carried[s.Cylinder] = field
		}
		if former, twice := carried["set "+d.Mains]; twice {
			wrong(at+"mains", d.Mains, "each set once", "is carried already: "+former)
		}
		carried["set "+d.Mains] = at + "mains"
	}
	if !slices.ContainsFunc(p.Team, func(d *lastlightv1.PlanDiver) bool { return d.Person == p.Leader }) {
		wrong("leader", p.Leader, "a diver of the team", "the leader is not in the team")
	}
	if p.EnterBy != nil && p.EnterBy.AsTime().Before(p.PlannedEntry.AsTime()) {
		wrong("enter_by", p.EnterBy.AsTime().Format("2006-01-02T15:04Z07:00"), "not before planned_entry", "the latest entry is before the planned one")
	}
	if p.Kind == "training" && p.TaughtLevel == "" {
		wrong("taught_level", "", "the level being taught", "a training plan says which level it teaches")
	}
	turns := 0
	for i, m := range p.GetRoute().GetMoves() {
		at := fmt.Sprintf("route.moves[%d].", i)
		if m.Turn {
			turns++
		}
		if m.RunLine && m.RecoverLine {
			wrong(at+"recover_line", "true", "line is run or recovered on a move, not both", "line is run and recovered on the same move")
		}
		for j, a := range m.Actions {
			checkAction(out, a, fmt.Sprintf("%sactions[%d].", at, j))
		}
	}
	for j, a := range p.GetRoute().GetStartActions() {
		checkAction(out, a, fmt.Sprintf("route.start_actions[%d].", j))
	}
	if turns > 1 {
		wrong("route.moves", fmt.Sprint(turns), "one turn at most", "the team turns more than once")
	}
	return out.Err()
}

func checkAction(out *fault.Problems, a *lastlightv1.RouteAction, at string) {
	need := func(field, value, message string) {
		if value == "" {
			out.Add(at+field, "", "not empty", message)
		}
	}
	switch a.Action {
	case "drop", "pick_up":
		need("cylinder", a.Cylinder, "says which cylinder")
		need("person", a.Person, "says whose cylinder")
	case "switch_to":
		need("person", a.Person, "says who switches")
	case "place_marker", "remove_marker":
		need("marker", a.Marker, "says which marker")
	}
}
