package rules

import (
	"strconv"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/finding"
)

// runtimeSteps are the minutes of the dive, move by move, and when it is over.
func (c *Case) runtimeSteps(f finding.Finding) []finding.Step {
	if !c.computed() {
		return nil
	}
	s := c.explaining("route method, D3, D4, D5; dates and deadlines, T2")
	in := make([]finding.Figure, 0, len(c.Route.Parts.Stretches))
	at := 0
	for i := range c.Route.Parts.Stretches {
		x := &c.Route.Parts.Stretches[i]
		name := stretchName("", x)
		if !x.Hold {
			s.add("swum: "+name, "metres / speed", minutes("minutes", x.Minutes), metres("metres", x.Metres), finding.Number("speed", x.Metres/x.Minutes, 6, "m/min"))
		}
		at++
		in = append(in, minutes(strconv.Itoa(at)+": "+name, x.Minutes).At(finding.Above))
	}
	takes := minutes("the route takes", c.Route.Summary.RuntimeMin)
	s.add("the route takes", finding.Sum, takes, in...)
	runtime := minutes("runtime", c.Span.RuntimeMin)
	if p := c.In.Plan.RuntimeMin; p > 0 {
		s.add("the runtime that counts", finding.Greatest, runtime, minutes("planned", p).At("plan.runtime_min"), takes.At(finding.Above))
	}
	whole := wholeMinutes(c.Span.RuntimeMin)
	s.add("the runtime up to the whole minute", "up to whole (runtime)", finding.Number("whole minutes", whole, 0, "min"), runtime.At(finding.Above))
	s.later("surfaces at the latest", "enter by", c.Span.EnterBy, int(whole), "surfacing", c.Span.Surfacing, "plan.enter_by, or entry + policy.entry.enter_by_min")
	if f.Shortfall != nil {
		return s.lines(f.Given("plan.runtime_min", finding.Above))
	}
	return s.lines()
}

// later is an instant so many minutes after another.
func (s *steps) later(what, from string, at calendar.Instant, min int, to string, result calendar.Instant, recorded string) {
	s.add(what, finding.Minutes, finding.Word(to, s.c.local(result)), finding.Word(from, s.c.local(at)).At(recorded), finding.Number("minutes", float64(min), 0, "min").At(finding.Above))
}

// watchSteps are the times of the watch.
func (c *Case) watchSteps() []finding.Step {
	w, p := c.Watch, c.Policy.Watch
	s := c.explaining("dates and deadlines, T36, T37")
	whole := wholeMinutes(c.Span.RuntimeMin)
	unrounded := c.Span.Entry.Add(int(whole))
	s.add("the runtime up to the whole minute", "up to whole (runtime)", finding.Number("whole minutes", whole, 0, "min"), minutes("runtime", c.Span.RuntimeMin).At("lines of plan.runtime"))
	s.later("out as planned", "entry", c.Span.Entry, int(whole), "out", unrounded, "plan.entry")
	s.add("expected out", finding.WallStep, finding.Word("out by", c.local(w.ETO)), finding.Word("time", c.local(unrounded)).At(finding.Above), finding.Number("step", float64(p.RoundToMin), 0, "min").At("policy.watch.round_to_min"))
	grace := finding.Number("grace", float64(w.GraceMin), 0, "min")
	if w.GasClause == "binding" {
		s.gasLasts()
		s.add("grace: the gas left ends before the club's grace does", "down to whole (the greatest of (least grace, gas lasts))", grace,
			finding.Number("least grace", float64(p.GraceFloor), 0, "min").At("policy.watch.grace_floor"), minutes("gas lasts", c.gasLasts()).At(finding.Above))
	} else {
		s.add("grace", "down to whole (the least of (longest, the greatest of (shortest, share × runtime)))", grace,
			finding.Number("longest", float64(p.GraceMax), 0, "min").At("policy.watch.grace_max"), finding.Number("shortest", float64(p.GraceMin), 0, "min").At("policy.watch.grace_min"),
			ratio("share", p.GraceShare.Value()).At("policy.watch.grace_share"), minutes("runtime", c.Span.RuntimeMin).At("lines of plan.runtime"))
	}
	for _, x := range []struct {
		what, at string
		share    float64
		when     calendar.Instant
	}{{"look", "policy.watch.look_share", p.LookShare.Value(), w.Look}, {"coordinator", "policy.watch.coordinator_share", p.CoordinatorShare.Value(), w.Coordinator}} {
		after := x.when.Sub(w.ETO)
		s.add("minutes to the "+x.what, "down to whole (share × grace)", finding.Number("minutes", float64(after), 0, "min"), ratio("share", x.share).At(x.at), grace.At(finding.Above))
		s.later(x.what, "out by", w.ETO, after, x.what, x.when, finding.Above)
	}
	s.later("dial", "out by", w.ETO, w.GraceMin, "dial", w.Dial, finding.Above)
	if !c.Span.Dial.IsZero() {
		s.add("dial if the team enters at the last minute", finding.Recorded, finding.Word("", c.local(c.Span.Dial)), finding.Word("enter by", c.local(c.Span.EnterBy)).At("plan.enter_by"))
	}
	return s.lines()
}

// gasLasts is the least of what the divers' gas lasts at the planned end.
func (c *Case) gasLasts() float64 {
	if !c.computed() {
		return 0
	}
	least := c.Route.Divers[0].ExitRateLasts
	for _, d := range c.Route.Divers {
		least = min(least, d.ExitRateLasts)
	}
	return least
}

func (s *steps) gasLasts() {
	if !s.c.computed() {
		return
	}
	var in []finding.Figure
	for i, d := range s.c.Route.Divers {
		s.lasts(i)
		in = append(in, minutes(s.c.nameOf(d.Name).Label(), d.ExitRateLasts).At(finding.Above))
	}
	s.add("gas lasts", finding.Least, minutes("gas lasts", s.c.gasLasts()), in...)
}

// lastsSteps are how long one diver's gas lasts at the planned end.
func (c *Case) lastsSteps(diver string) []finding.Step {
	s := c.explaining("dates and deadlines, T36")
	for i := range c.Route.Divers {
		if c.Route.Divers[i].Name == diver {
			s.lasts(i)
		}
	}
	return s.lines()
}

func (s *steps) lasts(i int) {
	d, p := s.c.Route.Divers[i], s.c.Route.Parts
	name := s.c.nameOf(d.Name).Label()
	if p != nil {
		s.exitRate(i, name)
	}
	s.add("what "+name+" has left at the surface lasts", "the greatest of (left, 0) / exit rate", minutes("lasts", d.ExitRateLasts),
		litres("left", d.SurfaceL).At("lines of route.planned_exit, mains and stages carried"), rate("exit rate", d.ExitRateLMin).At(finding.Above).Own(d.Name))
}

// exitRate is what a diver breathes on the way home after a failure.
func (s *steps) exitRate(i int, name string) {
	d, r, home := s.c.Route.Divers[i], s.c.Route.Parts.Rates[i], s.c.Route.Parts.Home[i]
	if home.Minutes > 1e-9 {
		s.add("mean pressure on the way home", "bar minutes / minutes", ambient("mean pressure", home.MeanBar), barMin("bar minutes", home.BarMin).At("lines of route.planned_exit"), minutes("minutes", home.Minutes))
	}
	s.add("consumption of "+name+" on the way home after a failure", "the greatest of (stress × own rate, floor) × mean pressure", rate("exit rate", d.ExitRateLMin).Own(r.Diver),
		finding.Number("stress", r.Stress, 3, "").At("policy.gas.stress_factor"), s.c.ownRate(rate("own rate", r.OwnLMin), r.Diver),
		rate("floor", r.FloorLMin).At("policy.gas.consumption_floor_l_min"), ambient("mean pressure", home.MeanBar).At(finding.Above))
}

// testSteps are the last good days of a cylinder's tests.
func (c *Case) testSteps(d due.CylinderDue, at string) []finding.Step {
	s := c.explaining("dates and deadlines, T4, T10-T13")
	var ends []finding.Figure
	for _, x := range []struct {
		what string
		from due.Anchor
		last calendar.Day
	}{{"hydro test", d.HydroFrom, d.Hydro}, {"visual inspection", d.VisualFrom, d.Visual}} {
		if x.last.IsZero() {
			continue
		}
		formula := finding.SameDay
		if x.from.MonthEnd {
			formula = finding.MonthEnd
		}
		last := finding.Word(x.what, x.last.String())
		s.add("last good day of the "+x.what, formula, last, finding.Word("date", x.from.Mark.String()).At(at+", "+x.from.What), finding.CountOf("months", x.from.Months, "").At("policy.cylinders.regimes"))
		ends = append(ends, last.At(finding.Above))
	}
	if d.Next != nil {
		s.add("next due", finding.Earliest, finding.Word("next", d.Next.LastDay.String()), ends...)
	}
	if !c.Days.Last.IsZero() {
		s.add("the dive's last day", finding.Recorded, finding.Word("", c.Days.Last.String()), finding.Word("surfaces at the latest", c.local(c.Span.Surfacing)).At("lines of plan.runtime"))
	}
	return s.lines()
}
