package rules

import (
	"math"

	"lastlight/engine/calendar"
	"lastlight/engine/finding"
	"lastlight/engine/history"
	"lastlight/engine/policy"
	"lastlight/engine/tissue"
	"lastlight/engine/watch"
)

// flightRules say when a diver may fly after this dive, or after those on record.
func flightRules() []Rule {
	return []Rule{{
		ID: "diver.flight", Version: 1, Title: "Earliest flight", Citation: handbook("dates and deadlines", "T38"), Cell: "flying",
		Words: map[string]Words{
			"ok":                  {Says: "{subject}: no flight before {observed}: {hours} after {after}; the model's own wait is {model}"},
			"model":               {Says: "{subject}: no flight before {observed}: the model's own wait is {model}; {hours} after {after} would be less"},
			"model_unknown":       {Says: "{subject}: no flight before {observed}: {hours} after {after}; the model cannot tell, a dive is not recorded whole"},
			"over":                {Says: "{subject}: no dive on record still bars a flight"},
			watch.NotUntilCleared: {Says: "{subject}: no flight until cleared by a doctor", Remedy: "see a doctor; the roles of the club's policy clear"},
			"not_told":            {Says: "{subject}: no time for a flight can be told"},
			"surfacing_not_known": {Says: "{subject}: cannot tell when a flight is possible, the end of the dive is not known", Remedy: "complete the route and the entry"},
			"dive_open":           {Says: "{subject}: cannot tell when a flight is possible, dive {place} is not closed", Remedy: "close its record"},
			"no_schedule_known":   {Says: "{subject}: cannot tell when a flight is possible, the stops are not known", Remedy: "mend what keeps decompression from being computed"},
		},
		Check: flights,
	}}
}

func flights(c *Case) []finding.Finding {
	var out []finding.Finding
	for i := range c.Team {
		out = append(out, c.flight(i))
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

// Flights are the earliest flights of the team, in the plan's order; none where
// it cannot be told.
func (c *Case) Flights() []calendar.Instant {
	var out []calendar.Instant
	for i := range c.Team {
		_, earliest := c.flightAt(i)
		out = append(out, earliest)
	}
	return out
}

func (c *Case) flight(i int) finding.Finding {
	f, _ := c.flightAt(i)
	return f
}

// flightAt is the later of the practice interval and the model's own wait (T38).
// What cannot be told is a note: whatever keeps it from being told blocks the
// dive by a rule of its own.
func (c *Case) flightAt(i int) (finding.Finding, calendar.Instant) {
	m := &c.Team[i]
	s := m.subject()
	none := calendar.Instant{}
	if m.Record == nil {
		return unknown(s, "earlier dives", m.Path), none
	}
	rules := flightRulesOf(c.Policy)
	q := watch.FlightQuestion{}
	if med := m.Record.Medical; med != nil && !med.Suspended.IsZero() && med.Cleared.IsZero() {
		q.Symptoms = true
	}
	if c.brief && !q.Symptoms { // when somebody may fly stops no dive
		return answer(finding.NotApplicable, "over", s), none
	}
	q.Dives = make([]watch.SeriesDive, 0, len(m.Record.Dives)+1)
	for k := range m.Record.Dives {
		d := &m.Record.Dives[k]
		if !c.Span.Entry.IsZero() && !d.Entry.Before(c.Span.Entry) {
			continue
		}
		if d.Open && !q.Symptoms {
			f := answer(finding.Note, "dive_open", s)
			f.Place, f.Path = d.ID, "divers"
			return f, none
		}
		q.Dives = append(q.Dives, watch.SeriesDive{Entry: d.Entry, Out: d.Out, Stops: d.Stops})
	}
	model, known := c.modelFlight(i)
	planned := !c.asked
	if planned {
		if c.Span.Surfacing.IsZero() {
			f := answer(finding.Note, "surfacing_not_known", s)
			f.Path = "plan.entry"
			return f, none
		}
		if c.Dive == nil {
			f := answer(finding.Note, "no_schedule_known", s)
			f.Path = "route"
			return f, none
		}
		stops := c.Dive.Schedule.StopMin > 0
		q.Dives = append(q.Dives, watch.SeriesDive{Entry: c.Span.Entry, Out: c.Span.Surfacing, Stops: &stops})
	}
	if len(q.Dives) == 0 && !q.Symptoms {
		return answer(finding.NotApplicable, "over", s), none
	}
	byRule := watch.JudgeFlight(q, rules)
	if byRule.Verdict == watch.NotUntilCleared {
		if planned { // a team reads this: why is not its to know, and diver.medical stops the dive
			return answer(finding.Note, "not_told", s), none
		}
		f := answer(finding.Refuse, watch.NotUntilCleared, s)
		f.Path = "divers.medical"
		return f, none
	}
	surfaced := byRule.Earliest.Add(-*byRule.Hours * 60)
	if known {
		q.ModelEarliest = surfaced.Add(model)
	}
	both := watch.JudgeFlight(q, rules)
	if c.Dive == nil && !both.Earliest.After(c.startOfDay()) {
		return answer(finding.NotApplicable, "over", s), none
	}
	f := answer(finding.Pass, "ok", s)
	at := finding.Word("", c.local(both.Earliest))
	f.Observed = &at
	f.Figures = []finding.Figure{
		finding.CountOf("hours", *byRule.Hours, "h"), finding.Word("after", c.afterWhat(byRule, rules)),
		finding.Number("model", float64(model), 0, "min"),
	}
	f.Steps = c.flightSteps(i, surfaced, byRule.Earliest, both.Earliest, *byRule.Hours, model, known)
	switch {
	case !known:
		f.Code = "model_unknown"
	case both.Earliest.After(byRule.Earliest):
		f.Code = "model"
	}
	return f, both.Earliest
}

// flightSteps are the practice interval, the model's own wait, and the later of both.
func (c *Case) flightSteps(i int, surfaced, byRule, earliest calendar.Instant, hours, model int, known bool) []finding.Step {
	s := c.explaining("dates and deadlines, T38; physics, 9")
	wait := finding.CountOf("minutes", hours*60, "min")
	s.add("by the practice interval", finding.Minutes, finding.Word("practice", c.local(byRule)), finding.Word("surfaced", c.local(surfaced)).At("lines of plan.runtime, or the last dive's record"), wait.At("policy.flying"))
	if !known {
		return s.lines()
	}
	if c.Dive != nil && i < len(c.Dive.Schedule.Divers) {
		s.modelFlight(&c.Dive.Schedule.Divers[i])
	}
	own := surfaced.Add(model)
	s.add("by the model's own wait", finding.Minutes, finding.Word("model", c.local(own)), finding.Word("surfaced", c.local(surfaced)), finding.CountOf("minutes", model, "min").At(finding.Above))
	s.add("no flight before", finding.Latest, finding.Word("earliest", c.local(earliest)), finding.Word("practice", c.local(byRule)).At(finding.Above), finding.Word("model", c.local(own)).At(finding.Above))
	return s.lines()
}

func flightRulesOf(p *policy.Policy) watch.FlightRules {
	x := p.Flying
	return watch.FlightRules{SingleHours: x.SingleHours, SeriesHours: x.SeveralHours, StopsHours: x.StopsHours, SeriesGapMin: x.ChainHours * 60, CabinBelowM: x.CabinM}
}

// afterWhat says which interval of practice counts.
func (c *Case) afterWhat(f watch.Flight, r watch.FlightRules) string {
	switch {
	case *f.Hours == r.StopsHours:
		return "dives with required stops, or whose stops are not recorded"
	case f.Series > 1:
		return finding.CountOf("", f.Series, "dives").String() + " without stops"
	}
	return "a single dive without stops"
}

// modelFlight is the model's own wait after the last surfacing, in whole minutes:
// after the dive planned, else after the dives on record.
func (c *Case) modelFlight(i int) (minutes int, known bool) {
	if c.Dive != nil && i < len(c.Dive.Schedule.Divers) {
		x := &c.Dive.Schedule.Divers[i]
		return int(math.Ceil(x.FlightMin)), !x.FlightBeyond
	}
	model := c.model()
	if model == nil {
		return 0, false
	}
	state, surface, known := history.Surfaced(c.Team[i].Record, c.historySettings(model))
	if !known {
		return 0, false
	}
	_, high := c.factors()
	w := model.Flight(state, surface, tissue.CabinPressure, high/100, 5)
	return int(math.Ceil(w.Minutes)), !w.Beyond
}

// startOfDay is the first minute of the day asked about, none where unknown.
func (c *Case) startOfDay() calendar.Instant {
	if len(c.In.Site.Zones) == 0 || c.Days.First.IsZero() {
		return calendar.Instant{}
	}
	t, err := c.In.Site.Zones[0].EarliestReading(calendar.Wall{Day: c.Days.First})
	if err != nil {
		return calendar.Instant{}
	}
	return t
}
