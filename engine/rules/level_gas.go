package rules

import (
	"math"
	"strings"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/policy"
)

// gasRule compares the gas rule the team means to dive with each diver's level,
// and refuses a single cylinder where the level has no rule for one.
func gasRule(c *Case) []finding.Finding {
	if c.Level == nil {
		return one(levelUnknown(c, c.plan()))
	}
	return c.each(func(m Member) []finding.Finding {
		l := m.Limits(c)
		s := m.subject()
		if l == nil {
			return one(levelUnknown(c, s))
		}
		single := c.single(m.Diver)
		cell := gasCell(l, single)
		var out []finding.Finding
		switch cell.Kind {
		case policy.GasNotAllowed:
			f := answer(finding.Refuse, "not_allowed", s)
			what := finding.Word("", "doubles")
			if single {
				what = finding.Word("", "a single cylinder")
			}
			f.Observed, f.Path = &what, "plan.supplies"
			out = append(out, f)
		case policy.GasFraction:
			limit := c.openingShare(cell.Fraction)
			planned := c.In.Plan.GasFraction
			if planned.Zero() {
				planned = limit
			}
			f := measured(pass(s), finding.Word("", planned.String()), finding.Word("", limit.String()))
			if limit.Less(planned) {
				f.Status, f.Code, f.Path = finding.Refuse, "over", "plan.gas_fraction"
			}
			out = append(out, f)
			if single {
				out = append(out, dualValve(c, m)...)
			}
		default:
			out = append(out, notAsked(s))
		}
		return out
	})
}

// openingShare lowers a gas rule on a site opening.
func (c *Case) openingShare(f policy.Fraction) policy.Fraction {
	if c.In.Plan.Kind != facts.SiteOpening {
		return f
	}
	s := c.Policy.Gas.SiteOpeningShare
	return policy.Frac(f.Num*s.Num, f.Den*s.Den)
}

// dualValve: the table's single cylinder is one with two outlets.
func dualValve(c *Case, m Member) []finding.Finding {
	for _, s := range c.supplies(m.Diver, facts.Main) {
		switch {
		case s.DualValve == nil:
			return one(unknown(m.subject(), "whether the cylinder has two outlets", "plan.supplies"))
		case !*s.DualValve:
			f := answer(finding.Refuse, "dual", m.subject())
			f.Path = "plan.supplies"
			return one(f)
		}
	}
	return nil
}

// inflow is the siphon row. Which legs are inflow is the route model's answer.
func inflow(c *Case) []finding.Finding {
	s, ok, fs := c.levelReady()
	if !ok {
		return fs
	}
	if c.Route == nil {
		return one(unknown(c.plan(), "the flow against the way out", "route"))
	}
	legs := c.Route.Siphon.InflowLegs
	if len(legs) == 0 {
		return one(pass(s))
	}
	strongest := 0.0
	for _, l := range c.In.Route.Legs {
		for _, id := range legs {
			if l.ID == id {
				strongest = max(strongest, math.Abs(l.FlowMMin))
			}
		}
	}
	speed := finding.Number("", strongest, 1, "m/min")
	f := answer(finding.Refuse, "refuse", s)
	f.Observed, f.Path = &speed, "route.route.moves"
	f.Place = "leg " + strings.Join(legs, ", ")
	if c.Level.Inflow.Kind != policy.GasFraction {
		limit := finding.Number("", c.Policy.Flow.InflowAboveMMin, 1, "m/min")
		f.Limit = &limit
		return one(at(f))
	}
	cap := c.Level.Inflow.Fraction
	limit := finding.Word("", cap.String())
	if planned := c.In.Plan.GasFraction; !planned.Zero() && cap.Less(planned) {
		f.Code = "planned"
		w := finding.Word("", planned.String())
		f.Observed, f.Limit, f.Path = &w, &limit, "plan.gas_fraction"
		return one(at(f))
	}
	f.Status, f.Code, f.Limit = finding.Note, "capped", &limit
	return one(at(f))
}

// startGas compares the content of each diver's mains with the least the level
// asks for.
func startGas(c *Case) []finding.Finding {
	if c.Level == nil {
		return one(levelUnknown(c, c.plan()))
	}
	return c.each(func(m Member) []finding.Finding {
		l, s := m.Limits(c), m.subject()
		if l == nil {
			return one(levelUnknown(c, s))
		}
		have, volume, fillings, ok := c.contents(m)
		if !ok {
			return one(unknown(s, "the gas at the start", "plan.supplies"))
		}
		f := measured(pass(s), finding.Number("", have, 1, "L"), finding.Number("", l.MinStartGasL, 1, "L"))
		if have < l.MinStartGasL-1e-6 {
			short := finding.Number("", l.MinStartGasL-have, 1, "L")
			f.Status, f.Code, f.Shortfall, f.Path = finding.Refuse, "short", &short, "plan.supplies"
			f.Figures = []finding.Figure{
				finding.Number("short_bar", (l.MinStartGasL-have)/volume, 2, "bar"),
				finding.Number("need_bar", math.Ceil(l.MinStartGasL/volume), 0, "bar"),
			}
		}
		f.Steps = c.startSteps(fillings, have, f)
		return one(f)
	})
}

// mainFilling is what one main cylinder holds.
type mainFilling struct {
	supply, cylinder    string
	filling             gas.Filling
	volume, bar, litres float64
}

// contents is what a diver's mains hold by the policy's gas model, and their
// water volume.
func (c *Case) contents(m Member) (litres, volume float64, each []mainFilling, ok bool) {
	mains := c.supplies(m.Diver, facts.Main)
	if len(mains) == 0 || c.Water == nil {
		return 0, 0, nil, false
	}
	for _, s := range mains {
		bar := c.startBar(s)
		mix, known := c.mixOf(s)
		if bar == nil || !known {
			return 0, 0, nil, false
		}
		kelvin := 293.15
		if s.TemperatureC != nil {
			kelvin = *s.TemperatureC + 273.15
		}
		filling, err := gas.NewFilling(gas.Model(c.Policy.Gas.Model), mix, kelvin, c.Water.Surface)
		if err != nil {
			return 0, 0, nil, false
		}
		for _, id := range s.Cylinders {
			cyl := c.In.Cylinder(id)
			if cyl == nil || cyl.VolumeL <= 0 {
				return 0, 0, nil, false
			}
			volume += cyl.VolumeL
			held := filling.Litres(cyl.VolumeL, *bar)
			litres += held
			each = append(each, mainFilling{s.ID, id, filling, cyl.VolumeL, *bar, held})
		}
	}
	return litres, volume, each, volume > 0
}

// visibility is read on the day; before, it is a condition of entry.
func visibility(c *Case) []finding.Finding {
	if c.Level == nil {
		return one(levelUnknown(c, c.plan()))
	}
	s := c.leastSubject()
	limit := finding.Number("", c.Level.MinVisibilityM, 1, "m")
	r := c.todays()
	if r == nil || r.VisibilityM == nil {
		f := answer(finding.Indeterminate, "absent", s)
		if r == nil && OnEarlierDay(c.In) && c.Policy.Readings.DueAtEntry {
			f.Status, f.Code, f.DueAt = finding.Note, "due", finding.AtEntry
		}
		f.Limit, f.Path = &limit, "site.readings"
		return one(f)
	}
	f := measured(pass(s), finding.Number("", *r.VisibilityM, 1, "m"), limit)
	f.Evidence = record("reading", r.ID, r.Version)
	if *r.VisibilityM < c.Level.MinVisibilityM {
		short := finding.Number("", c.Level.MinVisibilityM-*r.VisibilityM, 1, "m")
		f.Status, f.Code, f.Shortfall, f.Path = c.Level.LowerVisibility.Status(), "poor", &short, "site.readings"
	}
	return one(f)
}
