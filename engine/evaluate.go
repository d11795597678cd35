package engine

import (
	"cmp"
	"math"
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/route"
	"lastlight/engine/rules"
)

// Evaluate judges a plan. It takes any input: what is missing or contradictory
// comes back as findings that block, never as a panic or an error.
func Evaluate(in Input) Report { return report(rules.Open(&in)) }

func report(c *rules.Case) Report {
	fs := rules.Judge(c)
	out := Report{
		EngineVersion: Version, PolicyVersion: c.In.PolicyVersion, SurveyVersion: c.In.SurveyVersion,
		Moment: c.In.Moment, Verdict: finding.Worst(fs), Counts: finding.Count(fs), Findings: fs,
		Conditions: []string{},
		Entry:      c.Span.Entry, EnterBy: c.Span.EnterBy, RuntimeMin: finding.Round9(c.Span.RuntimeMin), LatestSurfacing: c.Span.Surfacing,
		FirstDay: c.Days.First, LastDay: c.Days.Last, JudgedAs: c.LevelName,
		Watch: watchOf(c), Turns: turnsOf(c), Route: c.Route,
	}
	for _, f := range fs {
		if f.DueAt == finding.AtEntry {
			out.Conditions = append(out.Conditions, f.Key())
		}
	}
	return out
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
	return &Watch{
		ETO: at(w.ETO), Look: at(w.Look), Coordinator: at(w.Coordinator), Dial: at(w.Dial),
		GraceMin: w.GraceMin, GasClause: string(w.GasClause), LatestDial: c.Span.Dial,
	}
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

// StartRow is what everybody's turn would be if one diver started with less:
// the rows on the brief that hold where there is no link.
type StartRow struct {
	Diver    string  `json:"diver"`
	StartBar float64 `json:"start_bar"` // of every main supply of that diver
	NoDive   bool    `json:"no_dive"`   // at this pressure, and below it, the team does not dive
	Turns    []Turn  `json:"turns"`     // of the whole team; empty where there is no dive
}

// maxStartRows bounds the rows worked out for one diver.
const maxStartRows = 30

// LowerStarts works out, for each diver, the turns at lower start pressures in
// the policy's steps down to the pressure at which there is no dive. Every
// other diver keeps the planned start.
func LowerStarts(in Input) []StartRow {
	var out []StartRow
	step := in.Policy.Gas.StepBar
	if step <= 0 {
		return nil
	}
	for _, m := range in.Plan.Team {
		start := math.Inf(1)
		for _, s := range in.Plan.Supplies {
			if s.Diver == m.Diver && s.Role == facts.Main && s.PlannedBar != nil {
				start = min(start, *s.PlannedBar)
			}
		}
		if math.IsInf(start, 1) {
			continue
		}
		bar := step * (math.Ceil(start/step-1e-9) - 1)
		for n := 0; n < maxStartRows && bar > 0; n++ {
			row := startRow(in, m.Diver, bar)
			out = append(out, row)
			if row.NoDive {
				break
			}
			bar -= step
		}
	}
	return out
}

func startRow(in Input, diver string, bar float64) StartRow {
	in.Moment = facts.Planning
	in.Plan.Supplies = slices.Clone(in.Plan.Supplies)
	for i := range in.Plan.Supplies {
		s := &in.Plan.Supplies[i]
		if s.Diver == diver && s.Role == facts.Main {
			lower := bar
			s.PlannedBar = &lower
		}
	}
	c := rules.Open(&in)
	row := StartRow{Diver: diver, StartBar: bar, Turns: turnsOf(c), NoDive: !diveLeft(c)}
	if row.NoDive {
		row.Turns = nil
	}
	return row
}

// diveLeft tells whether any dive is left: the turn at the latest lies beyond
// the start, and nobody's turn pressure is at or above the start pressure.
func diveLeft(c *rules.Case) bool {
	if c.Route == nil || c.Route.Verdict == route.Refused || cmp.Compare(c.Route.Reach.Place.DistanceM, 0) <= 0 {
		return false
	}
	for _, d := range c.Route.Divers {
		for _, m := range d.Mains {
			if m.TurnRoundedBar >= m.StartBar {
				return false
			}
		}
	}
	return true
}
