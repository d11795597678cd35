package rules

import (
	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// turnFlag refuses a turn that is flagged on the way in: where the way home begins elsewhere (D22) and the route goes on to more than
// a step of the stops below everything before the flag, stops would be told, and a turn at the water's edge read, of a dive that has
// its deepest part ahead. A flag before the far opening of a traverse, or in a circuit that goes home through nothing deeper, stands.
func turnFlag(c *Case) []finding.Finding {
	flagged := c.In.Plan.TurnMove
	if flagged <= 0 {
		return one(notAsked(c.plan()))
	}
	if !c.Network.Known || !c.computed() {
		return one(c.routeUnknown(c.plan()))
	}
	depth := map[string]float64{}
	for i := range c.In.Route.Stations {
		depth[c.In.Route.Stations[i].Name] = c.In.Route.Stations[i].DepthM
	}
	before, after := depth[c.In.Route.Route.Start], Reach{Place: c.In.Route.Route.Start}
	turn, deepest := "", 0
	for _, w := range c.Network.walk {
		d, place := depth[w.to], w.to
		for _, p := range w.leg.DepthPoints {
			if p.DepthM > d {
				d, place = p.DepthM, "leg "+w.leg.ID
			}
		}
		switch {
		case w.move < flagged:
			before, turn = max(before, d), w.to
		case !after.Known || d > after.Value:
			after, deepest = Reach{Known: true, Value: d, Place: place}, w.move+1
		}
	}
	move := number(float64(flagged))
	f := pass(finding.Subject{Kind: finding.KindMove, ID: move, Name: "move " + move})
	f.Place = turn
	limit := before + c.Policy.Decompression.StopStepM
	if endsMove(c.Route.Commitment, flagged) || !after.Known || after.Value <= limit+1e-9 {
		return one(f)
	}
	home := c.Route.Commitment
	short := finding.Number("", after.Value-limit, 1, "m")
	f = measured(f, finding.Number("", after.Value, 1, "m"), finding.Number("", limit, 1, "m"))
	f.Status, f.Code, f.Shortfall, f.Path = finding.Refuse, "way_in", &short, "plan.turn_move"
	f.Figures = []finding.Figure{
		finding.Number("before", before, 1, "m"), finding.Word("deepest", "move "+number(float64(deepest))+", "+after.Place),
		finding.Word("home", "move "+number(float64(home.Move))+", "+placeText(&home)),
	}
	f.Steps = []finding.Step{
		{
			What: "how deep the way home may still go", Formula: "before + step", Result: *f.Limit,
			Inputs: []finding.Figure{finding.Number("before", before, 1, "m").At("site"), finding.Number("step", c.Policy.Decompression.StopStepM, 1, "m").At("policy.decompression.stop_step_m")},
		},
		f.Given("site", ""),
	}
	return one(f)
}

// endsMove tells whether a place is the end of a move, the beginning of the next included.
func endsMove(p route.Place, move int) bool {
	switch {
	case p.InsideLeg():
		return false
	case p.Move == move:
		return p.Arriving || p.InHold
	}
	return p.Move == move+1 && !p.Arriving && !p.InHold
}
