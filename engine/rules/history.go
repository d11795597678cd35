package rules

import (
	"math"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/history"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// historyRules are about what a diver brings to the entry: what earlier dives
// left, and whether the body knows the altitude.
func historyRules() []Rule {
	return []Rule{
		{
			ID: "decompression.earlier_dives", Version: 1, Title: "Earlier dives are known whole", Citation: handbook("route method", "5"), Cell: "decompression.earlier_dives_hours",
			Words: map[string]Words{
				"ok":               {Says: "{subject}: {dives} of the last {limit} counted, the last ended {observed} before the entry; from them CNS {cns}, {otu} OTU of the last 24 h"},
				"none":             {Says: "{subject}: no dive in the last {limit}"},
				"planned_before":   {Says: "{subject}: {other} is planned before this dive and not dived yet: not counted now, counted at entry", Remedy: "dive it or withdraw it; this dive is judged again at entry"},
				history.Open:       {Says: "{subject}: cannot tell what dive {place} left: {observed}", Remedy: "close its record"},
				history.Overlap:    {Says: "{subject}: cannot tell what dive {place} left: {observed}", Remedy: "correct the times of the dives"},
				history.Order:      {Says: "{subject}: cannot tell what dive {place} left: {observed}", Remedy: "report this: the record is out of order"},
				history.NoTime:     {Says: "{subject}: cannot tell what dive {place} left: {observed}", Remedy: "correct its times and the minutes on each gas"},
				history.NoGas:      {Says: "{subject}: cannot tell what dive {place} left: {observed} is not recorded", Remedy: "record {observed}"},
				history.NoDepth:    {Says: "{subject}: cannot tell what dive {place} left: {observed} is not recorded", Remedy: "record {observed}"},
				history.GasDepth:   {Says: "{subject}: cannot tell what dive {place} left: {observed} is not recorded", Remedy: "record {observed}"},
				history.NoPlace:    {Says: "{subject}: cannot tell what dive {place} left: {observed}", Remedy: "record the altitude of that site"},
				history.Profile:    {Says: "{subject}: cannot tell what dive {place} left: {observed}", Remedy: "correct the record, or record it without profile"},
				"start_not_known":  {Says: "{subject}: cannot tell what earlier dives left: the entry or the water is not known", Remedy: "complete the plan and the site"},
				"person_not_known": {Says: "{subject}: cannot tell, nobody has recorded this person", Remedy: "record the person"},
			},
			Check: earlierDives,
		},
		{
			ID: "decompression.altitude", Version: 1, Title: "Arrival at altitude", Citation: handbook("physics", "9"), Cell: "decompression.altitude_m",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: arrived at the altitude of the site {observed} before the entry"},
				"low":     {Says: "{subject}: at {observed}, up to {limit} nobody is asked when they arrived"},
				"unknown": {Says: "{subject}: cannot tell, {observed} is not recorded", Remedy: "record {observed}"},
				"arrival": {Says: "{subject}: cannot tell what the tissues hold: the site is at {observed}, above {limit}, and nobody has recorded when {subject} arrived there", Remedy: "record the arrival of {subject} at the site's altitude; who arrives from below dives with more nitrogen"},
			},
			Check: arrivals,
		},
	}
}

// model is the policy's tissue model; nil where the policy names none.
func (c *Case) model() *tissue.Model {
	d := c.Policy.Decompression
	variant := tissue.C
	if d.Model == "zhl16b" {
		variant = tissue.B
	}
	m, err := tissue.New(variant, d.FirstCompartment, tissue.WaterVapour)
	if err != nil {
		return nil
	}
	return m
}

// altitude of the site in metres: the site's own, else what its barometer says.
func (c *Case) altitude() *float64 {
	if h := c.In.Site.AltitudeM; h != nil {
		return h
	}
	if bar := c.In.Site.BarometerBar; bar != nil {
		if h, err := water.Altitude(*bar); err == nil {
			return &h
		}
	}
	return nil
}

// starts reads what each member of the team brings to the entry.
func (c *Case) starts() {
	model, altitude := c.model(), c.altitude()
	if model == nil || altitude == nil || c.Water == nil || c.Span.Entry.IsZero() {
		return
	}
	s := c.historySettings(model)
	at := history.Place{Site: c.In.Site.ID, Altitude: *altitude, Surface: c.Water.Surface, Entry: c.Span.Entry}
	for _, m := range c.Team {
		record := m.Record
		if record == nil {
			record = &facts.Diver{}
		}
		c.Starts = append(c.Starts, history.At(record, at, s))
	}
}

func (c *Case) historySettings(model *tissue.Model) history.Settings {
	d := c.Policy.Decompression
	return history.Settings{
		Model: model, Descent: c.Policy.Speeds.Descent, Hours: d.EarlierDivesHours, Altitude: d.AltitudeM,
		Richest: c.Policy.Mix.PO2RestingBar + gas.OxygenSlack,
	}
}

func earlierDives(c *Case) []finding.Finding {
	var out []finding.Finding
	hours := finding.CountOf("", c.Policy.Decompression.EarlierDivesHours, "h")
	for i, m := range c.Team {
		s := m.subject()
		switch {
		case m.Record == nil:
			out = append(out, answer(finding.Indeterminate, "person_not_known", s))
			continue
		case i >= len(c.Starts):
			out = append(out, answer(finding.Indeterminate, "start_not_known", s))
			continue
		}
		start := &c.Starts[i]
		known := true
		for _, p := range start.Problems {
			if p.Code == history.Arrival {
				continue
			}
			known = false
			f := answer(finding.Indeterminate, p.Code, s)
			what := finding.Word("", p.What)
			f.Observed, f.Place, f.Path, f.Evidence = &what, p.Dive, "divers", []finding.Evidence{{Kind: "dive", ID: p.Dive}}
			out = append(out, f)
		}
		if known {
			out = append(out, c.counted(s, start, hours))
		}
		out = append(out, c.plannedBefore(m)...)
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

func (c *Case) counted(s finding.Subject, start *history.Start, hours finding.Figure) finding.Finding {
	if len(start.Dives) == 0 {
		f := answer(finding.Pass, "none", s)
		f.Limit = &hours
		return f
	}
	last := start.Dives[len(start.Dives)-1]
	ago := math.Floor(float64(c.Span.Entry.Sub(last.Out))/6) / 10
	f := measured(pass(s), finding.Number("", ago, 1, "h"), hours)
	f.Figures = []finding.Figure{
		finding.CountOf("dives", len(start.Dives), "dives"),
		finding.Number("cns", math.Ceil(start.Oxygen.CNS*10)/10, 1, "%"),
		finding.Number("otu", math.Ceil(start.Oxygen.OTUDay), 0, ""),
	}
	for _, d := range start.Dives {
		f.Evidence = append(f.Evidence, finding.Evidence{Kind: "dive", ID: d.ID})
	}
	return f
}

// plannedBefore says which other plans of a diver come before this dive and are
// not dived yet. A dive in the water is on record already and counts as open.
func (c *Case) plannedBefore(m Member) []finding.Finding {
	var out []finding.Finding
	back := c.Span.Entry.Add(-c.Policy.Decompression.EarlierDivesHours * 60)
	for _, d := range c.In.Duties {
		if d.Diver != m.Diver || d.As != "diver" || d.State == "in_water" || !d.From.Before(c.Span.Entry) || d.From.Before(back) {
			continue
		}
		f := answer(finding.Caution, "planned_before", m.subject())
		f.Other, f.Path = &finding.Subject{Kind: finding.KindPlan, ID: d.Plan, Name: nameOr(d.PlanName, d.Plan)}, "plan.entry"
		out = append(out, f)
	}
	return out
}

func arrivals(c *Case) []finding.Finding {
	altitude, limit := c.altitude(), c.Policy.Decompression.AltitudeM
	if altitude == nil {
		return one(unknown(c.site(), "the altitude", "site.altitude_m"))
	}
	high := finding.Number("", math.Ceil(*altitude), 0, "m")
	if *altitude <= limit {
		return one(measured(answer(finding.Pass, "low", c.site()), high, finding.Number("", limit, 0, "m")))
	}
	var out []finding.Finding
	for i, m := range c.Team {
		s := m.subject()
		if i >= len(c.Starts) || c.Starts[i].Arrived.IsZero() {
			f := measured(answer(finding.Indeterminate, "arrival", s), high, finding.Number("", limit, 0, "m"))
			f.Path = "divers"
			out = append(out, f)
			continue
		}
		f := pass(s)
		since := finding.Number("", math.Floor(float64(c.Span.Entry.Sub(c.Starts[i].Arrived))/6)/10, 1, "h")
		f.Observed = &since
		out = append(out, f)
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}
