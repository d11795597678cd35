package rules

import (
	"fmt"
	"slices"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// checkSteps are the lines behind one check of the route model. A check that
// has none here is compared as it stands in the finding.
func (c *Case) checkSteps(name string, k *route.Check) []finding.Step {
	p := c.Route.Parts
	if p == nil {
		return nil
	}
	switch name {
	case route.CheckShareRule:
		s := c.explaining("route method, 4.1 (D17, D23)")
		for d := range p.Share {
			if p.Rates[d].Diver == k.Who {
				s.share(d)
				s.used(d)
			}
		}
		return s.lines()
	case route.CheckStageShare:
		s := c.explaining("route method, 4.5")
		for n, x := range p.Cylinders {
			if x.Cylinder == k.Who && !x.Main {
				s.stage(n, k)
			}
		}
		return s.lines()
	case route.CheckSharing:
		return c.placeSteps("route method, 4.2 (D18, D21, D36)", p.Sharing)
	case route.CheckLostCylinder:
		return c.placeSteps("route method, D24, D19", p.Lost)
	case route.CheckIndependent:
		return c.placeSteps("route method, D24", p.LostMain)
	case route.CheckHelpfulOutflow:
		return c.placeSteps("route method, 4.6", p.Helpful)
	case route.CheckPlannedExit:
		s := c.explaining("route method, 4.3 (D6, D24)")
		s.swum()
		for _, l := range p.End {
			s.surfaces(l)
		}
		return s.lines()
	case route.CheckDecoGas:
		s := c.explaining("route method, 4.5")
		for _, l := range p.End {
			if x := p.Cylinders[l.Cylinder]; x.Cylinder == k.Who {
				s.start(x)
				s.left(l, "at the surface")
				used := litres("used", x.Start.Litres-l.LeftL)
				s.add("planned use", "start - left", used, litres("start", x.Start.Litres).At(finding.Above), litres("left", l.LeftL).At(finding.Above))
				s.add("to be carried", "factor × used", litres("needed", k.Limit), finding.Number("factor", k.Limit/(x.Start.Litres-l.LeftL), 6, "").At("policy.gas.deco_reserve_factor"), used.At(finding.Above))
				s.add("to spare", "start - needed", litres("margin", k.Margin), litres("start", x.Start.Litres).At(finding.Above), litres("needed", k.Limit).At(finding.Above))
			}
		}
		return s.lines()
	}
	return nil
}

func (c *Case) placeSteps(source string, p *route.PlaceParts) []finding.Step {
	if p == nil {
		return nil
	}
	s := c.explaining(source)
	s.place(p)
	return s.lines()
}

// share is what the share rule permits a diver.
func (s *steps) share(d int) {
	p := s.c.Route.Parts
	var all []finding.Figure
	for i, x := range p.Share {
		var mains []finding.Figure
		for _, l := range x.Left {
			s.start(p.Cylinders[l.Cylinder])
			mains = append(mains, litres(s.c.cylinderName(p.Cylinders[l.Cylinder]), p.Cylinders[l.Cylinder].Start.Litres).At(finding.Above))
		}
		name := s.c.nameOf(p.Rates[i].Diver).Label()
		if len(mains) > 1 {
			s.add("usable gas of "+name, finding.Sum, litres("usable", x.UsableL), mains...)
		}
		all = append(all, litres(name, x.UsableL).At(finding.Above))
	}
	x := p.Share[d]
	s.add("the smallest supply of the team", finding.Least, litres("smallest", x.LeastL), all...)
	formula := "fraction × smallest"
	in := []finding.Figure{s.fraction(), litres("smallest", x.LeastL).At(finding.Above)}
	if x.ExtraL != 0 {
		formula += " - extra from stages"
		in = append(in, litres("extra from stages", x.ExtraL).At("stages breathed beyond a third (half + 15 bar)"))
	}
	s.add("permitted up to the commitment point", formula, litres("permitted", x.PermittedL), in...)
}

// fraction is the part of the smallest supply that is for the way in: what plan and level give, of it the part that a site opening
// is given, and no more than the level gives where the way in runs with the flow.
func (s *steps) fraction() finding.Figure {
	c := s.c
	var given []finding.Figure
	add := func(name string, f policy.Fraction, at string) {
		given = append(given, ratio(name, f.Value()).At(at+": "+f.String()))
	}
	if p := c.In.Plan.GasFraction; !p.Zero() {
		add("the plan", p, "plan.gas_fraction")
	}
	for _, of := range []struct {
		single bool
		words  string
		cell   string
	}{{false, "doubles", "gas_doubles"}, {true, "a single cylinder", "gas_single"}} {
		carried := slices.ContainsFunc(c.Team, func(m Member) bool { return c.single(m.Diver) == of.single })
		if c.Level == nil || !carried {
			continue
		}
		if g := gasCell(c.Level, of.single); g.Kind == policy.GasFraction {
			add("level "+c.LevelName+" with "+of.words, g.Fraction, "policy.ladder["+c.LevelName+"]."+of.cell)
		}
	}
	switch {
	case len(given) == 0 && c.Level == nil:
		add("a third", policy.Frac(1, 3), "taken where no level is known")
	case len(given) == 0:
		add("all", policy.Frac(1, 1), "level "+c.LevelName+" gives no fraction for what is carried")
	}
	share := s.least("the part of the gas for the way in", given)
	if c.In.Plan.Kind == facts.SiteOpening {
		opening := c.Policy.Gas.SiteOpeningShare
		part := ratio("fraction", *share.Number*opening.Value())
		s.add("of it, the part that a site opening is given", "fraction × opening", part, share, ratio("opening", opening.Value()).At("policy.gas.site_opening_share: "+opening.String()))
		share = part.At(finding.Above)
	}
	if c.Route.Siphon.Applied {
		row := c.Level.Inflow.Fraction
		share = s.least("no more than where the way in runs with the flow", []finding.Figure{share, ratio("siphon row of the level", row.Value()).At("policy.ladder[" + c.LevelName + "].inflow: " + row.String())})
	}
	return share
}

// least is the smallest of some fractions, in a line of its own where there are several.
func (s *steps) least(what string, of []finding.Figure) finding.Figure {
	if len(of) == 1 {
		return of[0].Called("fraction")
	}
	low := of[0]
	for _, f := range of[1:] {
		if *f.Number < *low.Number {
			low = f
		}
	}
	low = ratio("fraction", *low.Number)
	s.add(what, finding.Least, low, of...)
	return low.At(finding.Above)
}

// used is what a diver has breathed out of the mains up to the commitment point.
func (s *steps) used(d int) {
	p := s.c.Route.Parts
	x := p.Share[d]
	var left []finding.Figure
	for _, l := range x.Left {
		s.left(l, "at the commitment point, "+placeText(&s.c.Route.Commitment))
		left = append(left, litres(s.c.cylinderName(p.Cylinders[l.Cylinder]), l.LeftL).At(finding.Above))
	}
	sum := left[0].Called("left")
	if len(left) > 1 {
		sum = litres("left", x.UsableL-x.UsedL)
		s.add("left in the mains", finding.Sum, sum, left...)
	}
	s.add("used up to the commitment point", "usable - left", litres("used", x.UsedL), litres("usable", x.UsableL).At(finding.Above), sum.At(finding.Above))
	margin := x.PermittedL - x.UsedL
	s.add("to spare", "permitted - used", litres("margin", margin), litres("permitted", x.PermittedL).At(finding.Above), litres("used", x.UsedL).At(finding.Above))
}

// stage is what was breathed from a stage against what may be.
func (s *steps) stage(n int, k *route.Check) {
	x := s.c.Route.Parts.Cylinders[n]
	s.start(x)
	for _, l := range s.c.Route.Parts.Stages {
		if l.Cylinder == n {
			s.left(l, "at the commitment point, "+placeText(&s.c.Route.Commitment))
			s.add("used up to the commitment point", "start - left", litres("used", k.Measured), litres("start", x.Start.Litres).At(finding.Above), litres("left", l.LeftL).At(finding.Above))
		}
	}
	s.add("to spare", "permitted - used", litres("margin", k.Margin), litres("permitted", k.Limit).At("policy.gas.stage_rule"), litres("used", k.Measured).At(finding.Above))
}

// surfaces is what a cylinder shows after the last ascent, against the reserve.
func (s *steps) surfaces(l route.LeftParts) {
	x := s.c.Route.Parts.Cylinders[l.Cylinder]
	if !x.Main && len(l.Breathed) == 0 {
		return
	}
	s.start(x)
	s.left(l, "at the surface")
	for _, d := range s.c.Route.Divers {
		for _, m := range d.Mains {
			if m.Cylinder == x.Cylinder && d.Name == x.Diver {
				s.shows(s.c.cylinderName(x)+" at the surface", x, route.Filled(x, m.SurfaceBar, l.LeftL))
			}
		}
	}
}

// turnSteps are the candidates of a turn pressure, which governs, and the rounding.
func (c *Case) turnSteps(d, i int, key string) []finding.Step {
	p := c.Route.Parts
	if p == nil {
		return nil
	}
	t, m := p.Turns[d][i], c.Route.Divers[d].Mains[i]
	x := p.Cylinders[p.Share[d].Left[i].Cylinder]
	s := c.explaining("route method, D25, D26")
	s.key = key
	s.share(d)
	mains := len(p.Turns[d]) > 1
	permitted := litres("permitted", p.Share[d].PermittedL).At(finding.Above)
	if mains {
		s.add("of this cylinder", "permitted × part", litres("permitted", t.ShareL), permitted, ratio("part", t.Volume).At("this cylinder's volume in both"))
		permitted = litres("permitted", t.ShareL).At(finding.Above)
	}
	s.add("left when the share is used", "start - permitted", litres("litres", t.Share.Litres), litres("start", x.Start.Litres).At(finding.Above), permitted)
	s.shows("by the share of the gas", x, t.Share)
	if !t.Share.Ideal {
		s.add("the same by pressure × volume", "start pressure - permitted / volume", gauge("by pressure", t.IdealBar),
			gauge("start pressure", m.StartBar).At(c.startAt(m.Cylinder)), litres("permitted", t.IdealL).At("the fraction of the smallest pressure × volume"), finding.Number("volume", x.VolumeL, 3, "L").At("cylinders"))
	}
	candidates := []finding.Figure{gauge("the share of the gas", t.ShareBar).At(finding.Above)}
	if at := t.TwoOutAt; at != nil {
		s.place(at)
		s.twoOut(t, at, mains)
		s.shows("by two out on one supply", x, t.TwoOut)
		candidates = append(candidates, gauge("two out on one supply", t.TwoOut.Bar).At(finding.Above))
	}
	if t.Reach != nil {
		s.left(*t.ReachLeft, "at the turn at the latest")
		s.shows("by the farthest place allowed", x, *t.Reach)
		candidates = append(candidates, gauge("the farthest place allowed", t.Reach.Bar).At(finding.Above))
	}
	if t.MinimumBar > 0 {
		candidates = append(candidates, gauge("the minimum pressure", t.MinimumBar).At("policy.gas.minimum_gas_bar"))
	}
	s.add("which governs", finding.Greatest, gauge("exact", m.TurnBar), candidates...)
	s.add("the drop rounded down to the step", "start pressure - down to whole ((start pressure - exact) / step) × step", gauge("turn", m.TurnRoundedBar),
		gauge("start pressure", m.StartBar).At(c.startAt(m.Cylinder)), gauge("exact", m.TurnBar).At(finding.Above), gauge("step", t.StepBar).At("policy.gas.step_bar"))
	return s.lines()
}

// twoOut is what of the need must come from the mains: stages that count are
// taken off.
func (s *steps) twoOut(t route.TurnParts, at *route.PlaceParts, mains bool) {
	formula := "need"
	in := []finding.Figure{litres("need", at.NeedL).At(finding.Above)}
	for n, l := range at.Left {
		if x := s.c.Route.Parts.Cylinders[l.Cylinder]; !x.Main {
			name := fmt.Sprint("stage ", n)
			formula += " - " + name
			in = append(in, litres(name, l.LeftL).At(finding.Above))
		}
	}
	need := litres("from the mains", t.TwoOutL)
	s.add("needed from the mains", formula, need, in...)
	if mains {
		s.add("of this cylinder", "from the mains × part", litres("litres", t.TwoOut.Litres), need.At(finding.Above), ratio("part", t.Volume).At("this cylinder's volume in both"))
	}
}

// reachSteps are the lines behind the turn at the latest: the check that binds
// there, with nothing to spare.
func (c *Case) reachSteps() []finding.Step {
	r := c.Route.Reach
	s := c.explaining("route method, D27")
	s.add("metres and minutes into the dive there", finding.Recorded, finding.Word("", placeText(&r.Place)),
		metres("metres swum", r.Place.DistanceM), minutes("minutes", r.Place.ElapsedMin), metres("depth", r.Place.DepthM))
	if r.WholeRoute {
		s.add("every check passes at every place", finding.Recorded, finding.Word("", "the whole route"))
		return s.lines()
	}
	for _, b := range r.Binds {
		who, other := c.who(b.Who)
		name := who.Label()
		if other != nil {
			name += " to " + other.Label()
		}
		s.add("fails first beyond it", finding.Recorded, finding.Word("", words(b.Check)+" of "+name))
	}
	if p := c.Route.Parts; p != nil && p.Reach != nil {
		s.place(p.Reach)
	}
	return s.lines()
}
