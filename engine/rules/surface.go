package rules

import "lastlight/engine/finding"

// watchRules are about the people at the surface and their clock.
func watchRules() []Rule {
	return []Rule{
		{
			ID: "watch.times", Version: 1, Title: "Times of the watch", Citation: handbook("dates and deadlines", "T36"), Cell: "watch",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: out by {observed}, look {look}, coordinator {coordinator}, dial {dial}"},
				"no_time": {Says: "{subject}: the watch cannot be timed", Remedy: "complete the route, the entry and the time zone"},
				"no_gas":  {Says: "{subject}: cannot tell how long the gas left at {observed} lasts", Remedy: "complete the route and the gas"},
			},
			Check: func(c *Case) []finding.Finding {
				s := c.plan()
				if c.Watch == nil {
					f := unknown(s, "the times of the watch", "plan.entry")
					f.Code = "no_time"
					return one(f)
				}
				w := c.Watch
				f := pass(s)
				eto := finding.Word("", c.local(w.ETO))
				f.Observed = &eto
				f.Figures = []finding.Figure{
					finding.Word("look", c.local(w.Look)), finding.Word("coordinator", c.local(w.Coordinator)), finding.Word("dial", c.local(w.Dial)),
					finding.CountOf("grace", w.GraceMin, "min"), finding.Word("gas_clause", string(w.GasClause)),
				}
				f.Steps = c.watchSteps()
				if w.GasClause == "unknown" {
					f.Status, f.Code, f.Path = finding.Indeterminate, "no_gas", "route"
				}
				return one(f)
			},
		},
		{
			ID: "watch.can_help", Version: 1, Title: "The watch can help in time", Citation: handbook("dates and deadlines", "Decided 3"), Cell: "watch.grace_floor",
			Words: map[string]Words{
				"ok":     {Says: "{subject}: the gas left at the planned end lasts {observed}, at least {limit}"},
				"cannot": {Says: "{subject}: the watch cannot help in time: the gas left at the planned end lasts {observed}, at least {limit}: {shortfall} short", Remedy: "turn earlier or carry more gas"},
			},
			Check: func(c *Case) []finding.Finding {
				if c.Watch == nil || !c.computed() || len(c.Route.Divers) == 0 {
					return one(unknown(c.plan(), "how long the gas left lasts", "route"))
				}
				least := c.Route.Divers[0]
				for _, d := range c.Route.Divers[1:] {
					if d.ExitRateLasts < least.ExitRateLasts {
						least = d
					}
				}
				floor := float64(c.Policy.Watch.GraceFloor)
				f := measured(pass(c.nameOf(least.Name)), finding.Number("", least.ExitRateLasts, 1, "min"), finding.Number("", floor, 0, "min"))
				f.Steps = c.lastsSteps(least.Name)
				if c.Watch.CannotHelpInTime {
					short := finding.Number("", floor-least.ExitRateLasts, 1, "min")
					f.Status, f.Code, f.Path, f.Shortfall = finding.NeedsWaiver, "cannot", "plan.supplies", &short
				}
				return one(f)
			},
		},
		{
			ID: "watch.walk", Version: 1, Title: "Enough people for the walk to the signal", Citation: handbook("dates and deadlines", "T37"), Cell: "watch",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: whoever walks to the signal starts {observed}"},
				"no_walk": {Says: "{subject}: signal at the entrance"},
				"alone":   {Says: "{subject}: the walk to the signal starts {observed}, before the look at {limit}: one person is not enough", Remedy: "name a second person as cover"},
			},
			Check: func(c *Case) []finding.Finding {
				s := c.plan()
				if c.Watch == nil {
					return one(unknown(s, "the times of the watch", "plan.entry"))
				}
				if c.Watch.OnePersonEnough == nil {
					return one(answer(finding.NotApplicable, "no_walk", s))
				}
				f := measured(pass(s), finding.Word("", c.local(c.Watch.WalkFrom)), finding.Word("", c.local(c.Watch.Look)))
				if !*c.Watch.OnePersonEnough && len(c.In.Plan.Cover) < 2 {
					f.Status, f.Code, f.Path = finding.Refuse, "alone", "plan.cover"
				}
				return one(f)
			},
		},
	}
}
