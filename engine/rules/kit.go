package rules

import (
	"lastlight/engine/facts"
	"lastlight/engine/finding"
)

// kitRules count what is carried: lights, reels, spools, markers, cutting tools.
func kitRules() []Rule {
	return []Rule{
		{
			ID: "kit.lights", Version: 1, Title: "Lights per diver", Citation: handbook("practice", "2.2, 7"), Cell: "ladder[{level}].lights",
			Words: map[string]Words{
				"ok":         {Says: "{subject}: {observed}, at least {limit}"},
				"few":        {Says: "{subject}: {observed}, at least {limit}: {shortfall} missing", Remedy: "carry {shortfall} more"},
				"no_primary": {Says: "{subject}: {observed}, at least {limit}", Remedy: "carry a primary light"},
			},
			Check: lights,
		},
		{
			ID: "kit.light_burn", Version: 1, Title: "Burn time of each light", Citation: handbook("dates and deadlines", "T43"), Cell: "lights.primary_factor",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: burns {observed}, at least {limit} for {runtime}"},
				"short": {Says: "{subject}: burns {observed}, at least {limit} for {runtime}: {shortfall} short", Remedy: "charge it, or take a light that burns {limit}"},
				"none":  {Says: "{subject}: no light is carried"},
			},
			Check: burn,
		},
		{
			ID: "kit.reels", Version: 1, Title: "A reel for every line run", Citation: handbook("practice", "5.3 RT3"), Cell: "lines.reel_factor",
			Words: map[string]Words{
				"ok":         {Says: "{subject}: {observed} of line for {place}, at least {limit}"},
				"none":       {Says: "{subject}: no reel is named for {place}, at least {limit} of line", Remedy: "name a reel of {limit} for {place}"},
				"short":      {Says: "{subject}: {observed} of line for {place}, at least {limit}: {shortfall} short", Remedy: "take a reel of {limit}"},
				"twice":      {Says: "{subject}: is to span {observed} and {limit}", Remedy: "one reel for each line"},
				"not_a_reel": {Says: "{subject}: is no reel", Remedy: "name a reel or spool"},
			},
			Check: reels,
		},
		{
			ID: "kit.safety_spool", Version: 1, Title: "A safety spool for every diver", Citation: handbook("practice", "5.1, 5.3 RT3"), Cell: "lines.safety_spools",
			Words: map[string]Words{
				"ok":  {Says: "{subject}: {observed}, at least {limit}"},
				"few": {Says: "{subject}: {observed} of {least} or more not named for a line, at least {limit}", Remedy: "carry a spool of {least} that is kept for a lost line"},
			},
			Check: spools,
		},
		{
			ID: "kit.markers", Version: 1, Title: "A personal marker for every decision", Citation: handbook("practice", "5.2, 5.3 RT6"), Cell: "lines.markers_per_decision",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: {observed}, at least {limit}"},
				"few":  {Says: "{subject}: {observed}, at least {limit} for {places}: {shortfall} missing", Remedy: "carry {shortfall} more"},
				"none": {Says: "{subject}: the way out needs no decision"},
			},
			Check: markers,
		},
		{
			ID: "kit.arrows", Version: 1, Title: "Line arrows carried", Citation: handbook("practice", "5.1"), Cell: "lines.arrows_per_diver",
			Words: map[string]Words{
				"ok":  {Says: "{subject}: {observed}, at least {limit}"},
				"few": {Says: "{subject}: {observed}, advised at least {limit}", Remedy: "carry {shortfall} more"},
			},
			Check: func(c *Case) []finding.Finding {
				return c.each(func(m Member) []finding.Finding {
					n := 0
					for _, k := range c.carried(m.Diver, facts.Arrow) {
						n += k.N
					}
					f := atLeast(m.subject(), n, c.Policy.Lines.ArrowsPerDiver, "arrows")
					if f.Status == finding.Refuse {
						f.Status = finding.Caution // common practice, no standard refuses
					}
					return one(f)
				})
			},
		},
		{
			ID: "kit.cutting_tools", Version: 1, Title: "Cutting tools", Citation: handbook("practice", "7"), Cell: "team.cutting_tools",
			Words: map[string]Words{
				"ok":  {Says: "{subject}: {observed}, at least {limit}"},
				"few": {Says: "{subject}: {observed}, at least {limit}: {shortfall} missing", Remedy: "carry {shortfall} more"},
			},
			Check: func(c *Case) []finding.Finding {
				return c.each(func(m Member) []finding.Finding {
					n := 0
					for _, k := range c.carried(m.Diver, facts.CuttingTool) {
						n += k.N
					}
					return one(atLeast(m.subject(), n, c.Policy.Team.CuttingTools, "cutting tools"))
				})
			},
		},
	}
}

// atLeast compares a count with the least that is asked for.
func atLeast(s finding.Subject, n, least int, unit string) finding.Finding {
	f := measured(pass(s), finding.CountOf("", n, unit), finding.CountOf("", least, unit))
	if n < least {
		short := finding.CountOf("", least-n, unit)
		f.Status, f.Code, f.Path, f.Shortfall = finding.Refuse, "few", "plan.carries", &short
	}
	return f
}

func lights(c *Case) []finding.Finding {
	if c.Level == nil {
		return one(levelUnknown(c, c.plan()))
	}
	return c.each(func(m Member) []finding.Finding {
		primaries, all := 0, 0
		for _, k := range c.carried(m.Diver, facts.PrimaryLight) {
			primaries += k.N
			all += k.N
		}
		for _, k := range c.carried(m.Diver, facts.BackupLight) {
			all += k.N
		}
		out := one(atLeast(m.subject(), all, c.Level.Lights, "lights"))
		if least := min(c.Policy.Lights.Primaries, c.Level.Lights); primaries < least {
			f := measured(answer(finding.Refuse, "no_primary", m.subject()), finding.CountOf("", primaries, "primary lights"), finding.CountOf("", least, "primary lights"))
			f.Path = "plan.carries"
			out = append(out, f)
		}
		return out
	})
}

func burn(c *Case) []finding.Finding {
	var out []finding.Finding
	for _, k := range c.carried("", facts.PrimaryLight, facts.BackupLight) {
		s := finding.Subject{Kind: finding.KindItem, ID: k.Item.ID, Name: k.Item.Name}
		factor := c.Policy.Lights.BackupFactor
		if k.Item.Kind == facts.PrimaryLight {
			factor = c.Policy.Lights.PrimaryFactor
		}
		out = append(out, c.lasts(s, k, finding.Number("factor", factor, 3, "").At("policy.lights"), "the burn time"))
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "none", c.plan()))
	}
	return out
}

// primaryLine is what a reel is named for that lays the line from open water.
const primaryLine = "primary"

func reels(c *Case) []finding.Finding {
	if !c.Network.Known {
		return one(c.routeUnknown(c.plan()))
	}
	type need struct {
		what   string
		metres float64
	}
	var needs []need
	if !c.Network.StartsIn {
		needs = append(needs, need{primaryLine, c.Policy.Lines.PrimaryReelM})
	}
	for _, r := range c.Network.Runs {
		needs = append(needs, need{r.Leg, r.LengthM * c.Policy.Lines.ReelFactor})
	}
	var out []finding.Finding
	used := map[string]string{}
	for _, n := range needs {
		limit := finding.Number("", n.metres, 1, "m")
		place := "leg " + n.what
		if n.what == primaryLine {
			place = "the line from open water"
		}
		f := answer(finding.Refuse, "none", c.plan())
		f.Limit, f.Place, f.Path = &limit, place, "plan.carries"
		for i, k := range c.In.Plan.Carries {
			if k.For != n.what {
				continue
			}
			f.Path = path("plan.carries", i, "")
			s := finding.Subject{Kind: finding.KindItem, ID: k.Item}
			it := c.In.Item(k.Item)
			if it == nil {
				f = unknown(s, "the item", f.Path)
				break
			}
			s.Name = it.Name
			f.Subject, f.Evidence = s, record("item", it.ID, it.Version)
			switch {
			case it.Kind != facts.Reel && it.Kind != facts.Spool:
				f.Code = "not_a_reel"
			case it.LengthM == nil:
				f = unknown(s, "the length of the line on it", f.Path)
			case used[it.ID] != "":
				f.Code = "twice"
				f = measured(f, finding.Word("", used[it.ID]), finding.Word("", place))
			case *it.LengthM < n.metres-1e-9:
				short := finding.Number("", n.metres-*it.LengthM, 1, "m")
				f.Code, f.Shortfall = "short", &short
				f = measured(f, finding.Number("", *it.LengthM, 1, "m"), limit)
			default:
				f.Status, f.Code, f.Path = finding.Pass, "ok", ""
				f = measured(f, finding.Number("", *it.LengthM, 1, "m"), limit)
			}
			used[it.ID] = place
			break
		}
		out = append(out, f)
	}
	if len(out) == 0 {
		out = one(notAsked(c.plan()))
	}
	return out
}

func spools(c *Case) []finding.Finding {
	if c.overheadFree() {
		return one(notAsked(c.plan()))
	}
	return c.each(func(m Member) []finding.Finding {
		n := 0
		for _, k := range c.carried(m.Diver, facts.Spool, facts.Reel) {
			if k.For == "" && k.Item.LengthM != nil && *k.Item.LengthM >= c.Policy.Lines.SafetySpoolM {
				n += k.N
			}
		}
		f := atLeast(m.subject(), n, c.Policy.Lines.SafetySpools, "safety spools")
		f.Figures = []finding.Figure{finding.Number("least", c.Policy.Lines.SafetySpoolM, 1, "m")}
		return one(f)
	})
}

// overheadFree tells whether the route is known to stay in open water.
func (c *Case) overheadFree() bool {
	return c.Route != nil && len(c.Route.Zones) > 0 && len(c.Network.Overhead)+len(c.Network.Cavern) == 0
}

func markers(c *Case) []finding.Finding {
	if !c.Network.Known {
		return one(c.routeUnknown(c.plan()))
	}
	places := c.Network.Decide
	if len(places) == 0 || !c.Policy.Lines.JunctionsNeedMarker {
		return one(answer(finding.NotApplicable, "none", c.plan()))
	}
	list := ""
	for i, p := range places {
		if i > 0 {
			list += ", "
		}
		list += p
	}
	return c.each(func(m Member) []finding.Finding {
		n := 0
		for _, k := range c.carried(m.Diver, facts.Marker) {
			n += k.N
		}
		f := atLeast(m.subject(), n, len(places)*c.Policy.Lines.MarkersPerDecision, "markers")
		f.Figures = []finding.Figure{finding.Word("places", list)}
		return one(f)
	})
}
