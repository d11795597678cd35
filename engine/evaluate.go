package engine

import (
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	"lastlight/engine/rules"
)

// Evaluate judges a plan. It takes any input: what is missing or contradictory
// comes back as findings that block, never as a panic or an error.
func Evaluate(in Input) Report { return report(rules.Open(&in)) }

// EvaluateUntil is Evaluate that gives up when stop says yes: ok is false then, and
// there is no report. It is asked often, and told what was done since it was asked
// last, in a measure of work that is counted and not timed: a plan of 60 moves for
// three divers comes to some 360,000. No report depends on it.
func EvaluateUntil(in Input, stop func(work int) bool) (r Report, ok bool) {
	c := rules.OpenUntil(&in, stop)
	if c.Stopped() {
		return Report{}, false
	}
	if r = report(c); c.Stopped() {
		return Report{}, false
	}
	return r, true
}

func report(c *rules.Case) Report {
	fs := rules.Judge(c)
	out := Report{
		EngineVersion: Version, PolicyVersion: c.In.PolicyVersion, SurveyVersion: c.In.SurveyVersion,
		Moment: c.In.Moment, Verdict: finding.Worst(fs), Counts: finding.Count(fs), Findings: fs,
		Conditions: []string{},
		Entry:      c.Span.Entry, EnterBy: c.Span.EnterBy, RuntimeMin: finding.Round9(c.Span.RuntimeMin), LatestSurfacing: c.Span.Surfacing,
		FirstDay: c.Days.First, LastDay: c.Days.Last, JudgedAs: c.LevelName,
		Watch: watchOf(c), Turns: turnsOf(c), Route: c.Route, Dive: c.Dive, OtherWay: c.Other,
	}
	for _, m := range c.Team {
		out.Standings = append(out.Standings, Standing{Diver: m.Diver, CountsAs: m.Counts, Because: c.Because(m), Endorsed: m.Endorsed})
	}
	for _, m := range c.Team {
		out.Rates = append(out.Rates, rateOf(c, m))
	}
	for i, earliest := range c.Flights() {
		out.Flights = append(out.Flights, Flight{Diver: c.Team[i].Diver, Earliest: earliest})
	}
	for _, f := range fs {
		if f.DueAt == finding.AtEntry {
			out.Conditions = append(out.Conditions, f.Key())
		}
	}
	return out
}

func rateOf(c *rules.Case, m rules.Member) DiverRate {
	var k *facts.Consumption
	if m.Record != nil {
		k = m.Record.Consumption
	}
	out := shownRate(c.RateOf(m), k)
	out.Diver = m.Diver
	return out
}

func shownRate(r rules.Rate, k *facts.Consumption) DiverRate {
	out := DiverRate{LMin: finding.Round9(r.LMin), WorstLMin: finding.Round9(r.WorstLMin), Origin: r.Origin, Stated: r.StatedLMin}
	switch {
	case r.Governs != nil:
		out.Way, out.Dives, out.First, out.Last = r.Governs.Way, len(r.Governs.Dives), r.Governs.First, r.Governs.Last
	case r.Origin == rules.RateMeasured:
		out.Dives = k.Dives
	}
	return out
}

// SwumRate is the rate that an ordinary plan, without pulling, scooter or
// decompression gas, takes for somebody; k may be nil.
func SwumRate(k *facts.Consumption, p *policy.Policy) DiverRate {
	return shownRate(rules.SwumRate(k, p), k)
}

func watchOf(c *rules.Case) *Watch {
	if c.Watch == nil {
		return nil
	}
	zone := c.In.Site.Zones[0]
	at := func(t calendar.Instant) Deadline {
		local, err := zone.Format(t)
		if err != nil {
			local = t.String()
		}
		return Deadline{At: t, Local: local}
	}
	w := c.Watch
	out := &Watch{
		ETO: at(w.ETO), Look: at(w.Look), Coordinator: at(w.Coordinator), Dial: at(w.Dial),
		GraceMin: w.GraceMin, GasClause: string(w.GasClause), LatestDial: c.Span.Dial,
	}
	if !w.WalkFrom.IsZero() {
		walk := at(w.WalkFrom)
		out.Walk = &walk
	}
	return out
}

func turnsOf(c *rules.Case) []Turn {
	out := []Turn{}
	if c.Route == nil || c.Route.Verdict == route.Refused {
		return out
	}
	place, minute := c.Farthest()
	for _, d := range c.Route.Divers {
		name := d.Name
		if rec := c.In.Diver(d.Name); rec != nil && rec.Name != "" {
			name = rec.Name
		}
		for _, m := range d.Mains {
			out = append(out, Turn{
				Diver: d.Name, Name: name, Supply: m.Cylinder, StartBar: m.StartBar, ExactBar: finding.Round9(m.TurnBar), TurnBar: m.TurnRoundedBar,
				Governs: d.TurnGovernedBy, PlaceText: place, MinuteInto: finding.Round9(minute),
			})
		}
	}
	return out
}
