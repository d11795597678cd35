package rules

import (
	"cmp"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	"lastlight/engine/watch"
	"lastlight/engine/water"
)

// Open works out what several rules need: the route, the span of the dive, the
// days it touches, what each diver counts as, and the level that judges the
// team. It never fails: what cannot be told stays unknown and is listed in
// Missing, and the rules block on it.
func Open(in *facts.Input) *Case { return OpenUntil(in, nil) }

// OpenUntil is Open that asks stop every now and then whether it is to be given up,
// and tells it what the schedules made since it was asked last came to, as
// deco.Planner.Spent counts it; nil: never. A case that was stopped, see Stopped,
// says nothing about the plan.
func OpenUntil(in *facts.Input, stop func(spent int) bool) *Case {
	c := &Case{In: in, Policy: &in.Policy, Least: -1, stop: stop}
	if c.Faults = in.Problems(); len(c.Faults) > 0 {
		return c.unfit()
	}
	c.Network = survey(&in.Route)
	c.members()
	c.column()

	// The runtime does not depend on the share of the gas, the level does depend
	// on the days, and the share depends on the level: so the route is laid first,
	// and judged once the level is known.
	c.lay()
	c.span()
	c.standings()
	c.judge()
	c.evaluate()
	c.starts()
	c.decompress()
	c.lengthen()
	c.otherWay()
	c.fromResult()
	c.watch()
	return c
}

// Stopped asks whether the case is to be given up. Once it is, it stays so.
func (c *Case) Stopped() bool { return c.stopAfter(0) }

func (c *Case) stopAfter(spent int) bool {
	c.stopped = c.stopped || c.stop != nil && c.stop(spent)
	return c.stopped
}

// unfit is the case of an input that cannot be computed on: of its texts only
// what names the plan is told again, and only where it is no longer than any text.
func (c *Case) unfit() *Case {
	named := &facts.Input{}
	for _, t := range []struct {
		from string
		to   *string
	}{
		{c.In.Plan.ID, &named.Plan.ID}, {c.In.Plan.Name, &named.Plan.Name}, {c.In.PolicyVersion, &named.PolicyVersion}, {c.In.SurveyVersion, &named.SurveyVersion}, {string(c.In.Moment), (*string)(&named.Moment)},
	} {
		if len(t.from) <= facts.MaxText {
			*t.to = t.from
		}
	}
	c.In = named
	return c
}

// lengthen sets the dive on the clock again where stops, or changes of gas, make it
// longer than the route alone, and judges it anew should another level hold for the longer dive.
func (c *Case) lengthen() {
	if c.Dive == nil || !c.Dive.Counted {
		return
	}
	level := c.LevelName
	c.span()
	for i := range c.Team {
		c.Team[i].Standing = Standing{}
	}
	c.standings()
	c.judge()
	if c.LevelName != level {
		c.evaluate()
		c.decompress()
	}
}

// missing notes an input that is not known; each is reported once.
func (c *Case) missing(s finding.Subject, what, path string) {
	f := unknown(s, what, path)
	for _, g := range c.Missing {
		if g.Path == f.Path && g.Subject == f.Subject && g.Observed.Text == f.Observed.Text {
			return
		}
	}
	c.Missing = append(c.Missing, f)
}

func (c *Case) members() {
	for i, m := range c.In.Plan.Team {
		c.Team = append(c.Team, Member{Member: m, Path: path("plan.team", i, ""), Record: c.In.Diver(m.Diver)})
	}
}

// column is the water of the site. The surface pressure is the barometer's, or
// the standard atmosphere's at the site's altitude.
func (c *Case) column() {
	s := &c.In.Site
	density, surface := s.DensityKgM3, s.BarometerBar
	if density == nil {
		c.missing(c.site(), "the density of the water", "site.density_kg_m3")
	}
	if surface == nil {
		if s.AltitudeM == nil {
			c.missing(c.site(), "the altitude or barometer", "site.altitude_m")
		} else if p, err := water.SurfacePressure(water.Geopotential(*s.AltitudeM)); err == nil {
			surface = &p
		} else {
			c.missing(c.site(), err.Error(), "site.altitude_m")
		}
	}
	if density == nil || surface == nil {
		return
	}
	col := water.Of(*surface, *density)
	if err := col.Check(); err != nil {
		c.missing(c.site(), err.Error(), "site.density_kg_m3")
		return
	}
	c.Water = &col
}

// span sets the dive on the clock (T2).
func (c *Case) span() {
	p := &c.In.Plan
	c.Span.Entry = p.Entry
	if p.Entry.IsZero() {
		c.missing(c.plan(), "the planned entry", "plan.entry")
		return
	}
	c.Span.EnterBy = p.EnterBy
	if p.EnterBy.IsZero() {
		c.Span.EnterBy = p.Entry.Add(c.Policy.Entry.EnterByMin)
	}
	if c.In.Moment == facts.AtEntry {
		// The team goes in now: what is judged is this entry, not the latest.
		c.Span.EnterBy = p.Entry
	}
	c.Span.RuntimeMin = p.RuntimeMin
	switch {
	case c.Route != nil:
		c.Span.RuntimeMin = max(c.Span.RuntimeMin, c.Route.Summary.RuntimeMin)
	case c.laid != nil:
		c.Span.RuntimeMin = max(c.Span.RuntimeMin, c.laid.RuntimeMin())
	}
	c.Span.Surfacing = watch.LatestSurfacing(c.Span.EnterBy, c.Span.RuntimeMin)
	if len(c.In.Site.Zones) == 0 {
		c.missing(c.site(), "the time zone of the site", "site.zones")
		return
	}
	dive := calendar.Span{Entry: c.Span.Entry, Out: c.Span.Surfacing}
	days, err := dive.Days(c.In.Site.Zones...)
	if err != nil {
		c.missing(c.site(), err.Error(), "site.zones")
		return
	}
	c.Days = days
	if d, err := c.In.Site.Zones[0].Day(c.Span.Entry); err == nil {
		c.EntryDay = d
	}
}

// OnEarlierDay tells whether this is a decision taken before the day of entry,
// at which today's reading cannot exist yet (T33): in one zone at least, for the
// reading must be of that day in all of them. It is all that the minute of a
// decision means to the rules.
func OnEarlierDay(in *facts.Input) bool {
	if in.Moment == facts.AtEntry || in.DecidedAt.IsZero() || len(in.Site.Zones) == 0 || !in.DecidedAt.Before(in.Plan.Entry) {
		return false
	}
	same, err := calendar.SameDay(in.DecidedAt, in.Plan.Entry, in.Site.Zones...)
	return err == nil && !same
}

// gasCell is the gas rule of a level for what one diver carries: a single
// cylinder, or doubles or an independent pair.
func gasCell(l *policy.Level, single bool) policy.GasRule {
	if single {
		return l.GasSingle
	}
	return l.GasDoubles
}

// share is the fraction of the smallest supply the team may use up to the
// commitment point: the plan's own, lowered to the level's, and to the part of
// it that a site opening is given. A level that has no fraction for what a
// diver carries lends none here: a rule of its own refuses that.
func (c *Case) share(l *policy.Level) policy.Fraction {
	f := c.In.Plan.GasFraction
	if f.Zero() {
		f = policy.Frac(1, 1)
		if l == nil {
			f = policy.Frac(1, 3)
		}
	}
	if l == nil {
		return f
	}
	for _, m := range c.Team {
		if g := gasCell(l, c.single(m.Diver)); g.Kind == policy.GasFraction && g.Fraction.Less(f) {
			f = g.Fraction
		}
	}
	if c.In.Plan.Kind == facts.SiteOpening {
		s := c.Policy.Gas.SiteOpeningShare
		f = policy.Frac(f.Num*s.Num, f.Den*s.Den)
	}
	return f
}

// supplies lists a diver's supplies of these roles in the plan's order.
func (c *Case) supplies(diver string, roles ...facts.SupplyRole) []facts.Supply {
	var out []facts.Supply
	for _, s := range c.In.Plan.Supplies {
		for _, r := range roles {
			if s.Diver == diver && s.Role == r {
				out = append(out, s)
			}
		}
	}
	return out
}

// single tells whether the diver breathes from one cylinder only.
func (c *Case) single(diver string) bool {
	mains := c.supplies(diver, facts.Main)
	return len(mains) == 1 && len(mains[0].Cylinders) == 1
}

// lay lays the dive over the line, under the share of the gas that the plan asks for.
func (c *Case) lay() {
	c.RouteInput = c.buildRoute(c.share(nil), nil)
	if len(c.RouteMissing) == 0 {
		c.laid, c.RouteProblems = route.Lay(c.RouteInput)
	}
}

// evaluate judges the route with the share of the gas, and the siphon row, of the level.
func (c *Case) evaluate() {
	c.Route = nil
	if len(c.RouteMissing) > 0 {
		return
	}
	if c.Level != nil {
		c.RouteInput.Policy = c.routePolicy(c.share(c.Level), c.Level)
	}
	if c.laid == nil { // a share that the level lowers may have been the fault
		if c.laid, c.RouteProblems = route.Lay(c.RouteInput); c.laid == nil {
			return
		}
	}
	res, problems := c.laid.Judge(c.RouteInput.Policy)
	if c.RouteProblems = problems; len(problems) == 0 {
		c.Route = &res
	}
}

// judge finds the level whose limits hold: the one taught on a training dive,
// else what the least qualified diver present counts as.
func (c *Case) judge() {
	least := -1
	known := len(c.Team) > 0
	for i, m := range c.Team {
		if !m.Known {
			known = false
			continue
		}
		if least < 0 || cmp.Less(c.Policy.Rung(m.Counts), c.Policy.Rung(c.Team[least].Counts)) {
			least = i
		}
	}
	c.Least = least
	if c.In.Plan.Kind == facts.Training && c.In.Plan.Taught != "" {
		c.Level = c.Policy.Level(c.In.Plan.Taught)
	} else if known && least >= 0 {
		c.Level = c.Policy.Level(c.Team[least].Counts)
	}
	if c.Level != nil {
		c.LevelName = c.Level.Name
	}
}
