package rules

import (
	"math"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/route"
)

// labelMOD is the MOD that a label of this mix bears, as gas.measured has it: whole metres, 10 m of water a bar, the limit at rest for
// what is breathed only at rest, else that at work.
func (c *Case) labelMOD(s facts.Supply, m gas.Mix) float64 {
	limit := c.Policy.Mix.PO2WorkingBar
	if s.Resting {
		limit = c.Policy.Mix.PO2RestingBar
	}
	return math.Floor((limit/m.O2-1)*10 + 1e-9)
}

// staged compares where each gas for decompression waits with its MOD, of the richest analysis: where it lies somebody may take it in
// the dark. The depth from which the plan breathes it is not asked: it may lie a stop deeper than it is needed (practice 4.10).
func staged(c *Case) []finding.Finding {
	var out []finding.Finding
	drops := func(actions []route.Action, station, at string) {
		for _, a := range actions {
			if a.Action != route.ActDrop || a.Cylinder == nil {
				continue
			}
			for i, sup := range c.In.Plan.Supplies {
				if sup.ID == *a.Cylinder && sup.Diver == a.Diver && sup.Role == facts.Deco {
					out = append(out, c.stagedAt(sup, station, path("plan.supplies", i, ""), at))
				}
			}
		}
	}
	drops(c.In.Route.Route.StartActions, c.In.Route.Route.Start, "route.route.start_actions")
	for i, m := range c.In.Route.Route.Moves {
		drops(m.Actions, m.To, path("route.route.moves", i, "actions"))
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "none", c.plan()))
	}
	return append(out, c.unbreathed()...)
}

// stagedAt judges where one waits; supply and drop are where the input has it, and its being left there.
func (c *Case) stagedAt(sup facts.Supply, station, supply, drop string) finding.Finding {
	s := c.supply(sup)
	mix, ok := c.breathed(sup)
	if !ok {
		return unknown(s, "the mix", supply)
	}
	if c.Water == nil {
		return unknown(s, "the water", "site")
	}
	depth, known := 0.0, false
	for i := range c.In.Route.Stations {
		if c.In.Route.Stations[i].Name == station {
			depth, known = c.In.Route.Stations[i].DepthM, true
		}
	}
	if !known {
		return c.routeUnknown(s)
	}
	// Tenths of a metre, downwards, as a reader is shown them.
	mod := math.Floor(c.Water.Depth((c.Policy.Mix.PO2RestingBar+gas.OxygenSlack)/mix.O2)*10+1e-6) / 10
	mod = max(0, min(mod, c.labelMOD(sup, mix)))
	f := measured(pass(s), finding.Number("", depth, 1, "m"), finding.Number("", mod, 1, "m"))
	f.Place = station
	if depth > mod+1e-9 {
		short := finding.Number("", depth-mod, 1, "m")
		f.Status, f.Code, f.Path, f.Shortfall = finding.Refuse, "deep", drop, &short
	}
	return f
}

// unbreathed cautions about decompression gas that a dive with stops brings and does not use: what was forgotten to be picked up, or
// lies where it cannot be breathed, looks like this.
func (c *Case) unbreathed() []finding.Finding {
	if c.Dive == nil || c.Dive.Schedule.StopMin == 0 {
		return nil
	}
	var out []finding.Finding
	for _, d := range c.Dive.Schedule.Divers {
		for _, used := range d.Supplies {
			for i, sup := range c.In.Plan.Supplies {
				if sup.ID == used.ID && sup.Diver == d.Name && sup.Role == facts.Deco && used.UsedL <= 0 {
					f := answer(finding.Caution, "unused", c.supply(sup))
					f.Path = path("plan.supplies", i, "")
					out = append(out, f)
				}
			}
		}
	}
	return out
}
