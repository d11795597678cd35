package rules

import (
	"slices"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
)

// teamRules are about who is in the water together and who stays out of it.
func teamRules() []Rule {
	return []Rule{
		{
			ID: "team.size", Version: 1, Title: "Team size", Cell: "ladder[{level}].team_max",
			Citation: handbook("practice", "2.2 and 7"),
			Words: map[string]Words{
				"ok":       {Says: "{subject}: team of {observed}, at most {limit}"},
				"too_many": {Says: "{subject}: team of {observed}, at most {limit}", Remedy: "split the team: {shortfall} too many"},
				"too_few":  {Says: "{subject}: team of {observed}, at least {limit}", Remedy: "add {shortfall}"},
				"nobody":   {Says: "{subject}: nobody is in the team", Remedy: "name the divers"},
				"twice":    {Says: "{subject}: stands in the team more than once", Remedy: "name each diver once"},
			},
			Check: teamSize,
		},
		{
			ID: "team.solo", Version: 1, Title: "Nobody dives alone", Cell: "team.solo_allowed", Citation: handbook("practice", "0 and 7"),
			Words: map[string]Words{
				"ok":        {Says: "{subject}: nobody dives alone"},
				"solo":      {Says: "{subject}: solo, refused by the club", Remedy: "add a second diver"},
				"solo_club": {Says: "{subject}: solo, allowed by the club with a second approver", Remedy: "a second approver decides"},
				"solo_lack": {Says: "{subject}: solo without {limit}", Remedy: "add a second diver, or {limit} on record"},
			},
			Check: func(c *Case) []finding.Finding {
				if len(c.Team) == 1 {
					return one(solo(c))
				}
				if len(c.Team) == 0 {
					return one(unknown(c.plan(), "the team", "plan.team"))
				}
				return one(pass(c.plan()))
			},
		},
		{
			ID: "team.leader", Version: 1, Title: "One leader", Citation: handbook("practice", "7"),
			Words: map[string]Words{
				"ok":    {Says: "{subject}: leads"},
				"count": {Says: "{subject}: {observed}, expected {limit}", Remedy: "name one leader of the team"},
			},
			Check: func(c *Case) []finding.Finding {
				n, lead := 0, c.plan()
				for _, m := range c.Team {
					if m.Leader {
						n++
						lead = m.subject()
					}
				}
				f := measured(answer(finding.Refuse, "count", c.plan()), finding.CountOf("", n, "leaders"), finding.CountOf("", 1, "leader"))
				f.Path = "plan.team"
				if n == 1 {
					f.Status, f.Code, f.Subject = finding.Pass, "ok", lead
				}
				return one(f)
			},
		},
		{
			ID: "team.cover", Version: 1, Title: "Surface cover named and out of the water", Cell: "team.cover_required",
			Citation: handbook("practice", "8"),
			Words: map[string]Words{
				"ok":       {Says: "{subject}: is cover and does not dive"},
				"none":     {Says: "{subject}: nobody is surface cover", Remedy: "name a person who stays out of the water"},
				"optional": {Says: "{subject}: no surface cover, the club does not ask for one"},
				"dives":    {Says: "{subject}: is {observed} and dives in this plan", Remedy: "name somebody else as {observed}"},
				"twice":    {Says: "{subject}: has two duties in this plan, {observed} and {limit}", Remedy: "one duty for each person"},
				"no_entry": {Says: "{subject}: {observed} is not among the persons handed in", Remedy: "enter the person"},
			},
			Check: cover,
		},
	}
}

func teamSize(c *Case) []finding.Finding {
	n := len(c.Team)
	subject := c.plan()
	f := answer(finding.Pass, "ok", subject)
	f.Path = "plan.team"
	if n == 0 {
		f.Status, f.Code = finding.Refuse, "nobody"
		return one(f)
	}
	seen := map[string]bool{}
	var out []finding.Finding
	for i, m := range c.Team {
		if seen[m.Diver] {
			g := answer(finding.Refuse, "twice", m.subject())
			g.Path = path("plan.team", i, "diver")
			out = append(out, g)
		}
		seen[m.Diver] = true
	}
	if n == 1 {
		return append(out, notAsked(subject)) // team.solo answers
	}
	if c.Level == nil {
		return append(out, levelUnknown(c, subject))
	}
	most, least := c.Level.TeamMax, c.Level.TeamMin
	f = measured(f, finding.CountOf("", n, "divers"), finding.CountOf("", most, "divers"))
	switch {
	case n > most:
		short := finding.CountOf("", n-most, "divers")
		f.Status, f.Code, f.Shortfall = finding.Refuse, "too_many", &short
	case n < least:
		limit, short := finding.CountOf("", least, "divers"), finding.CountOf("", least-n, "divers")
		f.Status, f.Code, f.Limit, f.Shortfall = finding.Refuse, "too_few", &limit, &short
	}
	return append(out, f)
}

// solo is refused unless the club has enabled it; then it needs the
// endorsements the club names and a second approver.
func solo(c *Case) finding.Finding {
	m := c.Team[0]
	f := measured(answer(finding.Refuse, "solo", m.subject()), finding.CountOf("", 1, "diver"), finding.CountOf("", 2, "divers"))
	short := finding.CountOf("", 1, "diver")
	f.Path, f.Shortfall = "plan.team", &short
	if !c.Policy.Team.SoloAllowed {
		return f
	}
	for _, e := range c.Policy.Team.SoloEndorsements {
		if !m.Holds(e) {
			f.Code = "solo_lack"
			limit := finding.Word("", e)
			f.Limit = &limit
			return f
		}
	}
	f.Status, f.Code = finding.NeedsWaiver, "solo_club"
	return f
}

func cover(c *Case) []finding.Finding {
	var out []finding.Finding
	p := c.In.Plan
	if len(p.Cover) == 0 {
		f := answer(finding.Refuse, "none", c.plan())
		f.Path = "plan.cover"
		if !c.Policy.Team.CoverRequired {
			f.Status, f.Code = finding.Caution, "optional"
		}
		out = append(out, f)
	}
	duty := map[string]string{}
	look := func(kind finding.Kind, list, word string, ids []string) {
		for i, id := range ids {
			f := answer(finding.Pass, "ok", c.person(kind, id))
			f.Path = path(list, i, "")
			w := finding.Word("", word)
			f.Observed = &w
			switch {
			case c.isDiver(id):
				f.Status, f.Code = finding.Refuse, "dives"
			case duty[id] != "":
				other := finding.Word("", duty[id])
				f.Status, f.Code, f.Limit = finding.Refuse, "twice", &other
			case c.In.Diver(id) == nil:
				f.Status, f.Code = finding.Indeterminate, "no_entry"
			}
			duty[id] = word
			out = append(out, f)
		}
	}
	look(finding.KindCover, "plan.cover", "cover", p.Cover)
	look(finding.KindDiver, "plan.standby", "standby", p.Standby)
	return out
}

// levelUnknown answers where no level limits the team. Where somebody is known
// to count as none, the rules about that person refuse and say why.
func levelUnknown(c *Case, subject finding.Subject) finding.Finding {
	if c.Least >= 0 && c.Team[c.Least].Counts == "" && !slices.ContainsFunc(c.Team, func(m Member) bool { return !m.Known }) {
		f := answer(finding.NotApplicable, "no_level", subject)
		f.Figures = []finding.Figure{finding.Word("who", c.leastSubject().Label())}
		return f
	}
	f := answer(finding.Indeterminate, "level_unknown", subject)
	f.Path = "plan.team"
	return f
}

// carried lists what one member carries of a kind, with how many of it.
func (c *Case) carried(diver string, kinds ...facts.ItemKind) []carriedItem {
	var out []carriedItem
	for i, k := range c.In.Plan.Carries {
		it := c.In.Item(k.Item)
		if it == nil || diver != "" && k.Diver != diver {
			continue
		}
		for _, kind := range kinds {
			if it.Kind == kind {
				out = append(out, carriedItem{Item: it, Carrying: k, Path: path("plan.carries", i, ""), N: max(1, k.Count)})
			}
		}
	}
	return out
}

type carriedItem struct {
	facts.Carrying
	Item *facts.Item
	Path string
	N    int
}
