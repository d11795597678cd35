package rules

import (
	"maps"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gear"
	"lastlight/engine/policy"
)

// serviceRules ask when what is carried was last looked after, and whether a
// scooter's battery lasts.
func serviceRules() []Rule {
	return []Rule{
		{
			ID: "kit.service", Version: 1, Title: "Service and checks in date", Citation: handbook("dates and deadlines", "T20, T21"), Cell: "kit",
			Words: serviceWords(map[string]Words{
				"none": {Says: "{subject}: nothing is carried that the policy has a service interval for"},
			}),
			Check: func(c *Case) []finding.Finding {
				if c.Days.Last.IsZero() {
					return one(unknown(c.plan(), "the days of the dive", "plan.entry"))
				}
				var out []finding.Finding
				seen := map[string]bool{}
				for i, k := range c.In.Plan.Carries {
					if it := c.In.Item(k.Item); it != nil && !seen[it.ID] {
						seen[it.ID] = true
						s := finding.Subject{Kind: finding.KindItem, ID: it.ID, Name: it.Name}
						out = append(out, c.clocks(s, it, c.Days.Last, path("plan.carries", i, ""))...)
					}
				}
				if len(out) == 0 {
					out = one(answer(finding.NotApplicable, "none", c.plan()))
				}
				return out
			},
		},
		{
			ID: "kit.scooter_battery", Version: 1, Title: "Scooter's battery", Citation: handbook("practice", "9.3, open"), Cell: "scooter.battery_factor",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: battery {observed}, at least {limit} for {runtime}"},
				"short": {Says: "{subject}: battery {observed}, at least {limit} for {runtime}: {shortfall} short", Remedy: "charge it, or take a scooter whose battery lasts {limit}"},
				"none":  {Says: "{subject}: no scooter is taken"},
			},
			Check: scooterBattery,
		},
	}
}

// serviceWords are the words of a clock's answer, beside those of the rule.
func serviceWords(own map[string]Words) map[string]Words {
	all := map[string]Words{
		"ok":              {Says: "{subject}: {clock} in date to {limit}"},
		"last_day":        {Says: "{subject}: {limit}, the last day of the dive, is the last good day of its {clock}"},
		"overdue":         {Says: "{subject}: {clock} was due {limit}, the day asked is {observed}", Remedy: "have it done, or take another"},
		"overdue_dives":   {Says: "{subject}: {clock} is due, the dives between services are used up", Remedy: "have it serviced, or take another"},
		"not_on_trip":     {Says: "{subject}: not checked on this trip", Remedy: "check it and record the check"},
		"service_absent":  {Says: "{subject}: cannot tell when its {clock} is due: {why}", Remedy: "record when it was last done"},
		due.MonthEndTaken: {Says: "{subject}: day of its {clock} unknown, the month's end was taken"},
	}
	maps.Copy(all, own)
	return all
}

// clocks judges every clock of an item on the day; nothing where the policy
// asks nothing of its kind. A check that is due on each trip is asked at the
// water: before, it could not be made.
func (c *Case) clocks(s finding.Subject, it *facts.Item, on calendar.Day, at string) []finding.Finding {
	trip := calendar.Days{}
	if c.In.Moment == facts.AtEntry {
		trip = c.In.Plan.Trip
		if trip.First.IsZero() {
			trip = c.Days
		}
	}
	var out []finding.Finding
	for _, k := range gear.ItemOn(c.Policy, it, trip, on).Clocks {
		f := pass(s)
		f.Figures = []finding.Figure{finding.Word("clock", words(k.Clock))}
		f.Evidence = record("item", it.ID, it.Version)
		if !k.LastDay.IsZero() {
			f = measured(f, finding.Word("", on.String()), finding.Word("", k.LastDay.String()))
		}
		over := finding.Refuse
		if k.Overdue == policy.DecideCaution {
			over = finding.Caution
		}
		switch {
		case k.Status == calendar.CannotTell:
			f.Status, f.Code, f.Path = over, "service_absent", at
			if over == finding.Refuse {
				f.Status = finding.Indeterminate
			}
			f.Figures = append(f.Figures, finding.Word("why", allWords(k.Why)))
		case k.Status == calendar.Overdue && k.EachTrip:
			f.Status, f.Code, f.Path = over, "not_on_trip", at
		case k.Status == calendar.Overdue && k.LastDay.IsZero():
			f.Status, f.Code, f.Path = over, "overdue_dives", at
		case k.Status == calendar.Overdue:
			f.Status, f.Code, f.Path = over, "overdue", at
		case k.LastDay == on:
			f.Status, f.Code = finding.Caution, "last_day"
		case k.LastDay.IsZero():
			continue // checked on this trip, or not fitted yet
		}
		out = append(out, f)
		for _, caution := range k.Caution {
			f.Status, f.Code = finding.Caution, caution
			out = append(out, f)
		}
	}
	return out
}

func scooterBattery(c *Case) []finding.Finding {
	var out []finding.Finding
	for _, k := range c.carried("", facts.Scooter) {
		s := finding.Subject{Kind: finding.KindItem, ID: k.Item.ID, Name: k.Item.Name}
		out = append(out, c.lasts(s, k, finding.Number("factor", c.Policy.Scooter.BatteryFactor, 3, "").At("policy.scooter.battery_factor"), "the battery's minutes"))
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "none", c.plan()))
	}
	return out
}

// lasts compares an item's tested minutes with the factor times the planned runtime, up to whole minutes (T43).
func (c *Case) lasts(s finding.Subject, k carriedItem, factor finding.Figure, what string) finding.Finding {
	switch {
	case k.Item.BurnMin == nil:
		return unknown(s, what, k.Path)
	case c.Span.RuntimeMin <= 0:
		return c.routeUnknown(s) // the runtime is the route's
	}
	need := float64(due.MinutesFor(c.Span.RuntimeMin, *factor.Number))
	f := measured(pass(s), finding.Number("", *k.Item.BurnMin, 1, "min"), finding.Number("", need, 0, "min"))
	f.Figures = []finding.Figure{finding.Number("runtime", c.Span.RuntimeMin, 1, "min")}
	f.Evidence = record("item", k.Item.ID, k.Item.Version)
	lines := c.explaining("dates and deadlines, T43")
	lines.add("minutes asked for", "up to whole (factor × runtime)", finding.Number("asked", need, 0, "min"), factor, minutes("runtime", c.Span.RuntimeMin).At("lines of plan.runtime"))
	f.Steps = lines.lines(f.Given(k.Path, finding.Above))
	if *k.Item.BurnMin < need {
		short := finding.Number("", need-*k.Item.BurnMin, 1, "min")
		f.Status, f.Code, f.Path, f.Shortfall = finding.Refuse, "short", k.Path, &short
	}
	return f
}

// wholeMinutes rounds minutes up as due does.
func wholeMinutes(x float64) float64 { return float64(due.MinutesFor(x, 1)) }
