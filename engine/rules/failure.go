package rules

import (
	"math"
	"slices"

	"lastlight/engine/dive"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// failureRules are the rows of the table of failures (route method, 6) that no
// other rule answers. Lost own gas with the slow exit of the worst bottom is
// route.sharing_exit; a lost cylinder for its owner is route.lost_cylinder.
func failureRules() []Rule {
	row := func(id, title, cell, kind, when, remedy, absent string, decide func(*policy.Policy) policy.Decide) Rule {
		return Rule{
			ID: id, Version: 1, Title: title, Citation: handbook("route method", "6"), Cell: cell,
			Words: map[string]Words{
				"ok":     {Says: "{who}: " + when + "{at}: {observed} left in {supply}, {limit} needed"},
				"short":  {Says: "{who}: " + when + "{at}: {observed} left in {supply}, {limit} needed: {shortfall} short", Remedy: remedy},
				"no_way": {Says: "{who}: " + when + "{at}: no way out that can be swum and scheduled", Remedy: remedy},
				"absent": {Says: "{subject}: " + absent},
			},
			Check: func(c *Case) []finding.Finding { return c.failure(id, kind, decide(c.Policy).Status()) },
		}
	}
	mend := "more gas, or turn earlier"
	worst := row("failure.worst_consumption", "One diver at the worst consumption", "failures.worst_consumption", dive.CaseWorstConsumption, "at the worst consumption recorded", "more gas, or a shorter dive",
		"no worst consumption is recorded, so nobody knows what the dive would be at it", func(p *policy.Policy) policy.Decide { return p.Failures.WorstConsumption })
	worst.Version, worst.Check = 2, worstConsumption
	return []Rule{
		row("failure.delay", "Delay at the far point", "failures.delay", dive.CaseDelay, "with {delay} of delay at the far point", mend,
			"the team goes nowhere", func(p *policy.Policy) policy.Decide { return p.Failures.Delay }),
		row("failure.touch_contact", "Out by touch", "failures.touch_contact", dive.CaseTouchContact, "out by touch, nothing lost", mend,
			"the team goes nowhere", func(p *policy.Policy) policy.Decide { return p.Failures.TouchContact }),
		row("failure.touch_contact_sharing", "Out by touch while sharing", "failures.touch_contact_sharing", dive.CaseTouchSharing, "out by touch while sharing", mend,
			"nobody to share with", func(p *policy.Policy) policy.Decide { return p.Failures.TouchSharing }),
		row("failure.lost_cylinder", "The others while a cylinder is lost", "failures.lose_deco_gas", dive.CaseLostCylinder, "out with {lost} gone", mend,
			"no cylinder waits and no gas for decompression is carried in a team", func(p *policy.Policy) policy.Decide { return p.Failures.LoseDecoGas }),
		row("failure.scooter_lost", "Swum out without scooters", "failures.scooter_lost", dive.CaseScooterLost, "swimming out from the far point", mend,
			"nobody rides a scooter", func(p *policy.Policy) policy.Decide { return p.Failures.ScooterLost }),
		worst,
		{
			ID: "failure.far_side_shut", Version: 1, Title: "Far side shut", Citation: handbook("route method", "D37"), Cell: "failures.far_side_shut",
			Words: map[string]Words{
				"ok":     {Says: "{subject}: alone back the way in, {observed} to spare{at}"},
				"short":  {Says: "{subject}: the far side shut at the last metre, alone back the way in: {shortfall} short{at}", Remedy: mend},
				"absent": {Says: "{subject}: no way out over a verified far side is relied on"},
				"shut":   {Says: "{subject}: the far side shut at the last metre: no way back in that can be swum and scheduled{at}", Remedy: mend},
			},
			Check: farSideShut,
		},
	}
}

// failure tells every case of a kind.
func (c *Case) failure(rule, kind string, status finding.Status) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	var out []finding.Finding
	for i := range c.Dive.Cases {
		if x := &c.Dive.Cases[i]; x.Kind == kind {
			f := c.failureCase(x, status)
			f.Rule = rule
			if !x.NoWay {
				f.Steps = c.caseSteps(x, f.Key())
			}
			out = append(out, f)
		}
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "absent", c.plan()))
	}
	return out
}

func (c *Case) failureCase(x *dive.Case, status finding.Status) finding.Finding {
	s := c.donors(x.Diver)
	f := answer(finding.Pass, "ok", s)
	who := s.Label()
	if x.Victim != "" {
		f.Other = new(c.nameOf(x.Victim))
		who += " with " + f.Other.Label()
	}
	f.Place = x.Place
	f.Figures = []finding.Figure{finding.Word("who", who), finding.Number("delay", c.Policy.Failures.DelayMin, 1, "min")}
	if x.Lost != "" {
		lost, _ := c.who(x.Lost)
		f.Figures = append(f.Figures, finding.Word("lost", lost.Label()))
	}
	if !x.NoWay {
		supply := "all that counts"
		if x.Cylinder != "" {
			named, _ := c.who(x.Cylinder)
			supply = named.Label()
		}
		f = measured(f, finding.Number("", x.LeftL, 1, "L"), finding.Number("", x.NeedL, 1, "L"))
		f.Figures = append(f.Figures, finding.Word("supply", supply), finding.CountOf("stops", x.StopMin, "min"), finding.Number("out", x.OutMin, 1, "min"))
	}
	if !x.Holds() {
		f.Status, f.Code, f.Path = status, "short", "plan.supplies"
		if x.NoWay {
			f.Code = "no_way"
		} else {
			short := finding.Number("", math.Ceil((x.NeedL-x.LeftL)*10)/10, 1, "L")
			f.Shortfall = &short
		}
	}
	return at(f)
}

// swimOut is the speed of a way out without scooters, m/min: the club's, not
// that of the plan, which may ride. 0 where nobody rides.
func (c *Case) swimOut() float64 {
	if !slices.ContainsFunc(c.Team, func(m Member) bool { return m.Scooter }) {
		return 0
	}
	return c.Policy.Speeds.ContingencySwim
}

// touchFactor is the share of the swim speed by touch. With scooters the swim
// speed is the club's, as nobody rides by touch.
func (c *Case) touchFactor() float64 {
	f := c.Policy.Speeds.TouchContactFactor
	if swim := c.RouteInput.Speeds.SwimMMin; c.swimOut() > 0 && swim > c.Policy.Speeds.Swim {
		f *= c.Policy.Speeds.Swim / swim
	}
	return f
}

func (c *Case) worstRates() []float64 {
	var list []float64
	for _, m := range c.Team {
		list = append(list, c.RateOf(m).WorstLMin)
	}
	return list
}

// farSideShut is D37, with the stops of the way back.
func farSideShut(c *Case) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	var out []finding.Finding
	for i := range c.Dive.Cases {
		x := &c.Dive.Cases[i]
		if x.Kind != dive.CaseFarSide {
			continue
		}
		f := answer(finding.Pass, "ok", c.nameOf(x.Diver))
		f.Place = x.Place
		spare := x.LeftL - x.NeedL
		if observed := finding.Number("", spare, 1, "L"); !x.NoWay {
			f.Observed = &observed
		}
		if !x.Holds() {
			f.Status, f.Code, f.Path = c.Policy.Failures.FarSideShut.Status(), "shut", "route.route.moves"
			if !x.NoWay {
				short := finding.Number("", math.Ceil(-spare*10)/10, 1, "L")
				f.Code, f.Shortfall = "short", &short
			}
		}
		if !x.NoWay {
			f.Rule = "failure.far_side_shut"
			f.Steps = c.caseSteps(x, f.Key())
		}
		out = append(out, at(f))
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "absent", c.plan()))
	}
	return out
}

// helpfulOutflow is the route model's, but with stops or changes of gas that of the dive.
func helpfulOutflow(c *Case) []finding.Finding {
	if c.Dive == nil || !c.Dive.Counted {
		return c.routeCheck(route.CheckHelpfulOutflow)
	}
	var out []finding.Finding
	for i := range c.Dive.Cases {
		x := &c.Dive.Cases[i]
		if x.Kind != dive.CaseNoHelp {
			continue
		}
		f := c.failureCase(x, c.Policy.Gas.HelpfulOutflowGone.Status())
		if f.Code != "ok" {
			f.Code, f.Path = "failed", "route.route.moves"
		}
		if x.NoWay {
			f.Code = "no_way"
		}
		if !x.NoWay {
			f.Rule = "route.helpful_outflow"
			f.Steps = c.caseSteps(x, f.Key())
		}
		f.Figures = append(f.Figures, finding.Word("pass", "more gas, or turn earlier"))
		out = append(out, f)
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "not_applicable", c.plan()))
	}
	return out
}
