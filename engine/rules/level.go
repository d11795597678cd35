package rules

import (
	"slices"
	"strings"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// levelRules are the per-level table of the policy (practice 2.2): every limit
// is taken from the least qualified diver present.
func levelRules() []Rule {
	table := handbook("practice", "2.2")
	refusal := func(thing string) map[string]Words {
		return map[string]Words{
			"ok":         {Says: "{subject}: {observed} " + thing + ", {limit} permitted"},
			"over":       {Says: "{subject}: {observed} > {limit} " + thing + " at this level{at}", Remedy: "plan at most {limit} " + thing + ", or take a team that may"},
			"not_here":   {Says: "{subject}: {observed}, not permitted at this level{at}", Remedy: "leave it out, or take a team that may"},
			"many":       {Says: "{subject}: {observed} " + thing + ", more than {limit} is many", Remedy: "plan fewer"},
			"endorse":    {Says: "{subject}: {observed} needs {limit}, not held or not current", Remedy: "leave it out, or have {limit} seen and current"},
			"instructor": {Says: "{subject}: {observed} only with an instructor in the team at this level", Remedy: "add an instructor, or leave it out"},
			"set_up":     {Says: "{subject}: {observed} only after set-up: no verified far side", Remedy: "dive the set-up from both sides first"},
			"second":     {Says: "{subject}: {observed}{at}, needs a second approver", Remedy: "a second approver decides"},
		}
	}
	return []Rule{
		{
			ID: "level.overhead", Version: 1, Title: "Overhead permitted", Citation: table, Cell: "ladder[{level}].overhead",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: {observed}, {limit} permitted"},
				"over": {Says: "{subject}: the route goes into the {observed}, {limit} permitted at this level{at}", Remedy: "turn before {place}, or take a team that may"},
			},
			Check: overhead,
		},
		{
			ID: "level.depth", Version: 1, Title: "Greatest depth", Citation: table, Cell: "ladder[{level}].max_depth_m",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: {observed} deep, at most {limit}"},
				"over": {Says: "{subject}: {observed} > {limit} deep at {place}, {shortfall} too deep", Remedy: "stay above {limit}, or take a diver whose level goes deeper"},
			},
			Check: depth,
		},
		{
			ID: "level.linear", Version: 1, Title: "Distance from the surface", Citation: table, Cell: "ladder[{level}].max_linear_m",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: {observed} from the surface, at most {limit}"},
				"over": {Says: "{subject}: {observed} > {limit} from the surface at {place}, {shortfall} too far", Remedy: "turn within {limit} of the surface, depth included"},
			},
			Check: func(c *Case) []finding.Finding {
				s, ok, fs := c.levelReady()
				if !ok {
					return fs
				}
				if c.Level.MaxLinearM == nil {
					return one(notAsked(s))
				}
				return one(limited(s, c.Network.Linear, *c.Level.MaxLinearM, "m"))
			},
		},
		{
			ID: "level.gas_rule", Version: 1, Title: "Share of the gas for the way in", Citation: table, Cell: "ladder[{level}].gas_doubles",
			Words: map[string]Words{
				"ok":          {Says: "{subject}: {observed} of the gas for the way in, at most {limit}"},
				"over":        {Says: "{subject}: {observed} > {limit} of the gas for the way in", Remedy: "plan on {limit}"},
				"not_allowed": {Says: "{subject}: dives {observed}, not permitted at this level in overhead", Remedy: "carry doubles or a sidemount pair"},
				"dual":        {Says: "{subject}: a single cylinder needs two outlets", Remedy: "use a valve with two outlets"},
			},
			Check: gasRule,
		},
		{
			ID: "level.inflow", Version: 1, Title: "Siphon", Citation: table, Cell: "ladder[{level}].inflow",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: no inflow above the limit on the way"},
				"refuse":  {Says: "{subject}: water flows in, away from the exit, at {observed}{at}: not permitted at this level", Remedy: "another site, or a team that may"},
				"capped":  {Says: "{subject}: inflow of {observed}{at}: at most {limit} of the gas for the way in"},
				"planned": {Says: "{subject}: plans {observed} of the gas in an inflow, at most {limit}", Remedy: "plan on {limit}"},
			},
			Check: inflow,
		},
		{
			ID: "level.start_gas", Version: 1, Title: "Least gas to start with", Citation: table, Cell: "ladder[{level}].min_start_gas_l",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: starts with {observed}, at least {limit}"},
				"short": {Says: "{subject}: starts with {observed}, at least {limit}: short {shortfall} = {short_bar}", Remedy: "start with at least {need_bar} in the mains"},
			},
			Check: startGas,
		},
		{
			ID: "level.visibility", Version: 1, Title: "Least visibility", Citation: table, Cell: "ladder[{level}].min_visibility_m",
			Words: map[string]Words{
				"ok":     {Says: "{subject}: visibility {observed}, at least {limit}"},
				"poor":   {Says: "{subject}: visibility {observed}, at least {limit} at this level: {shortfall} less", Remedy: "wait for {limit}"},
				"due":    {Says: "{subject}: visibility is read on the day, at least {limit}", Remedy: "read the visibility before entry"},
				"absent": {Says: "{subject}: visibility is not recorded for the day of entry", Remedy: "record a reading with visibility before entry"},
			},
			Check: visibility,
		},
		{
			ID: "level.jumps", Version: 1, Title: "Jumps and gaps", Citation: table, Cell: "ladder[{level}].jumps", Words: merge(refusal("jumps"), map[string]Words{
				"from_jump": {Says: "{subject}: a jump from a jump{at}, not permitted at this level", Remedy: "leave the second jump out"},
			}),
			Check: func(c *Case) []finding.Finding {
				s, ok, fs := c.levelReady()
				if !ok {
					return fs
				}
				out := c.permit(s, c.Level.Jumps, "jumps", c.Network.Jumps)
				if len(c.Network.JumpFromJump) > 0 && !c.Level.JumpFromJump {
					f := answer(finding.Refuse, "from_jump", s)
					f.Place = c.Network.JumpFromJump[0].Place
					out = append(out, at(f))
				}
				return out
			},
		},
		count("level.off_main_line", "T passed off the main line", "off_main_line", "Ts off the main line", refusal("Ts off the main line"),
			func(l *policy.Level) policy.Permission { return l.OffMainLine }, func(n Network) []Spot { return n.OffMain }),
		count("level.circuit", "Circuit", "circuit", "circuits", refusal("circuits"),
			func(l *policy.Level) policy.Permission { return l.Circuit }, func(n Network) []Spot { return n.Circuit }),
		count("level.traverse", "Traverse", "traverse", "traverses", refusal("traverses"),
			func(l *policy.Level) policy.Permission { return l.Traverse }, func(n Network) []Spot { return n.Traverse }),
		count("level.minor_restriction", "Minor restriction", "minor_restriction", "minor restrictions", refusal("minor restrictions"),
			func(l *policy.Level) policy.Permission { return l.MinorRestriction }, func(n Network) []Spot { return n.Minor }),
		{
			ID: "level.turn_round", Version: 1, Title: "Room to turn round at both ends of a minor restriction", Citation: table, Cell: "ladder[{level}].turn_both_ends",
			Words: map[string]Words{
				"ok":       {Says: "{subject}: a diver can turn round at both ends of {observed}"},
				"cannot":   {Says: "{subject}: {observed}: no diver can turn round at both ends{at}", Remedy: "turn before it, or take a team that may"},
				"not_told": {Says: "{subject}: cannot tell whether a diver can turn round at both ends of {observed}{at}", Remedy: "survey it: turns_round of the leg"},
			},
			Check: turnRound,
		},
		count("level.major_restriction", "Major restriction", "major_restriction", "major restrictions", refusal("major restrictions"),
			func(l *policy.Level) policy.Permission { return l.MajorRestriction }, func(n Network) []Spot { return n.Major }),
		count("level.stages", "Stage cylinders", "stages", "stages", refusal("stages"),
			func(l *policy.Level) policy.Permission { return l.Stages }, func(n Network) []Spot { return n.Stages }),
		count("level.scooter", "Scooter", "scooter", "scooters", refusal("scooters"),
			func(l *policy.Level) policy.Permission { return l.Scooter }, func(n Network) []Spot { return n.Scooters }),
		{
			ID: "level.decompression", Version: 2, Title: "Decompression", Citation: table, Cell: "ladder[{level}].decompression",
			Words: merge(refusal("dives with required stops"), map[string]Words{
				"gases": {Says: "{subject}: {observed} for decompression, at most {limit} at this level", Remedy: "plan with at most {limit}, or take a team that may"},
				"long":  {Says: "{subject}: {observed} of stops as planned, at most {limit} at this level", Remedy: "plan shorter or shallower, or take a team that may"},
			}),
			Check: requiredStops,
		},
		{
			ID: "level.no_stop_share", Version: 1, Title: "Share of the no-stop limit", Citation: table, Cell: "ladder[{level}].no_stop_share",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: no stop even if the dive took {longer} more at its deepest: within {limit} of the no-stop limit"},
				"over": {Says: "{subject}: with {longer} more at its deepest the dive would need a stop: it is not within {limit} of the no-stop limit", Remedy: "plan shorter or shallower, or take a team that may"},
			},
			Check: noStopShare,
		},
		{
			ID: "level.site_grade", Version: 1, Title: "Site grade", Citation: table, Cell: "ladder[{level}].max_site_grade",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: site of grade {observed}, at most {limit}"},
				"over": {Says: "{subject}: site of grade {observed}, at most {limit} at this level", Remedy: "a site of grade {limit} or less, or a team that may"},
			},
			Check: func(c *Case) []finding.Finding {
				if c.Level == nil {
					return one(levelUnknown(c, c.site()))
				}
				if c.In.Site.Grade == nil {
					return one(unknown(c.site(), "the grade of the site", "site.grade"))
				}
				f := measured(pass(c.leastSubject()), finding.CountOf("", *c.In.Site.Grade, ""), finding.CountOf("", c.Level.MaxSiteGrade, ""))
				if *c.In.Site.Grade > c.Level.MaxSiteGrade {
					f.Status, f.Code, f.Path = finding.Refuse, "over", "site.grade"
				}
				return one(f)
			},
		},
	}
}

// merge adds words to a table of words.
func merge(a, b map[string]Words) map[string]Words {
	// order: each key is set once.
	for k, v := range b {
		a[k] = v
	}
	return a
}

// at copies the place into the figure {at}, so that a sentence can leave it out
// where there is none.
func at(f finding.Finding) finding.Finding {
	text := ""
	if f.Place != "" {
		text = ", " + f.Place
	}
	f.Figures = append(f.Figures, finding.Word("at", text))
	return f
}

// levelReady gives the diver whose level limits the team; ok is false where the
// level or the route is not known, with the finding that says so.
func (c *Case) levelReady() (finding.Subject, bool, []finding.Finding) {
	s := c.leastSubject()
	switch {
	case c.Level == nil:
		return s, false, one(levelUnknown(c, c.plan()))
	case !c.Network.Known:
		return s, false, one(c.routeUnknown(c.plan()))
	}
	return s, true, nil
}

// leastSubject is the least qualified diver present; the plan where nobody is.
func (c *Case) leastSubject() finding.Subject {
	if c.Least >= 0 && c.Least < len(c.Team) {
		return c.Team[c.Least].subject()
	}
	return c.plan()
}

// limited compares a greatest value of the route with a limit; equality passes.
func limited(s finding.Subject, r Reach, limit float64, unit string) finding.Finding {
	if !r.Known {
		return unknown(s, "how far the route goes", "route")
	}
	f := measured(pass(s), finding.Number("", r.Value, 1, unit), finding.Number("", limit, 1, unit))
	f.Place = r.Place
	if r.Value > limit+1e-9 {
		short := finding.Number("", r.Value-limit, 1, unit)
		f.Status, f.Code, f.Shortfall, f.Path = finding.Refuse, "over", &short, "route.route.moves"
	}
	return f
}

// count makes the rule for one cell that is a permission over things counted.
func count(id, title, cell, thing string, words map[string]Words, of func(*policy.Level) policy.Permission, list func(Network) []Spot) Rule {
	return Rule{
		ID: id, Version: 1, Title: title, Citation: handbook("practice", "2.2"), Cell: "ladder[{level}]." + cell, Words: words,
		Check: func(c *Case) []finding.Finding {
			s, ok, fs := c.levelReady()
			if !ok {
				return fs
			}
			if id == "level.off_main_line" && len(c.Network.MainUnknown) > 0 && of(c.Level).Max != nil {
				f := unknown(s, "which line is the main line at "+c.Network.MainUnknown[0].Place, "route.legs")
				return one(f)
			}
			return c.permit(s, of(c.Level), thing, list(c.Network))
		},
	}
}

// permit judges a number of things against a permission. Every diver who lacks
// an endorsement is named.
func (c *Case) permit(s finding.Subject, p policy.Permission, thing string, spots []Spot) []finding.Finding {
	n := len(spots)
	if n == 0 {
		return one(notAsked(s))
	}
	base := func(st finding.Status, code string) finding.Finding {
		f := answer(st, code, s)
		f.Place, f.Path = spots[0].Place, "route.route.moves"
		return f
	}
	observed := finding.CountOf("", n, "")
	var out []finding.Finding
	switch {
	case p.Max != nil && n > *p.Max:
		f := measured(base(finding.Refuse, "over"), observed, finding.CountOf("", *p.Max, ""))
		short := finding.CountOf("", n-*p.Max, "")
		f.Shortfall, f.Place = &short, spots[*p.Max].Place
		f.Unit = thing
		out = append(out, at(f))
	case !p.Allowed:
		f := base(finding.Refuse, "not_here")
		w, zero := finding.Word("", spots[0].What), finding.CountOf("", 0, "")
		f.Observed, f.Limit = &w, &zero
		out = append(out, at(f))
	case p.WarnAbove != nil && n > *p.WarnAbove:
		out = append(out, at(measured(base(finding.Caution, "many"), observed, finding.CountOf("", *p.WarnAbove, ""))))
	}
	what := finding.Word("", spots[0].What)
	if p.Allowed {
		for _, e := range p.Endorsements {
			for _, m := range c.Team {
				if m.Holds(e) || !concerns(spots, m.Diver) {
					continue
				}
				f := measured(base(finding.Refuse, "endorse"), what, finding.Word("", e))
				f.Subject = m.subject()
				out = append(out, at(f))
			}
		}
		if p.InstructorInTeam && !c.instructorInTeam() {
			f := base(finding.Refuse, "instructor")
			f.Observed = &what
			out = append(out, at(f))
		}
		if p.AfterSetUp && c.In.Plan.Kind == facts.Normal && !c.SetUpDone {
			f := base(finding.Refuse, "set_up")
			f.Observed = &what
			out = append(out, at(f))
		}
		if p.SecondApprover {
			f := base(finding.NeedsWaiver, "second")
			f.Observed = &what
			out = append(out, at(f))
		}
	}
	if len(out) == 0 {
		limit := finding.Word("", "no limit")
		if p.Max != nil {
			limit = finding.CountOf("", *p.Max, "")
		}
		f := base(finding.Pass, "ok")
		f.Place = ""
		out = append(out, measured(f, observed, limit))
	}
	return out
}

// concerns tells whether any of the things counted is this diver's: a stage, a
// scooter and required stops are one diver's, a restriction is everybody's.
func concerns(spots []Spot, diver string) bool {
	for _, s := range spots {
		if s.Diver == "" || s.Diver == diver {
			return true
		}
	}
	return false
}

// turnRound asks of every minor restriction passed whether a diver can turn round at
// both of its ends, where the level permits it only so.
func turnRound(c *Case) []finding.Finding {
	s, ok, fs := c.levelReady()
	if !ok {
		return fs
	}
	if !c.Level.TurnBothEnds || len(c.Network.Minor) == 0 {
		return one(notAsked(s))
	}
	var out []finding.Finding
	for i, spot := range c.Network.Minor {
		f := pass(s)
		what := finding.Word("", spot.What)
		f.Observed, f.Path = &what, "route.legs"
		switch turns := c.Network.TurnsRound[i]; {
		case turns == nil:
			f.Status, f.Code = finding.Indeterminate, "not_told"
		case !*turns:
			f.Status, f.Code = finding.Refuse, "cannot"
		}
		if f.Status != finding.Pass {
			f.Place = spot.Place
			f = at(f)
		}
		out = append(out, f)
	}
	return out
}

// overhead compares the zones of the route with what the level may enter.
func overhead(c *Case) []finding.Finding {
	s, ok, fs := c.levelReady()
	if !ok {
		return fs
	}
	if c.Route == nil {
		return one(c.routeUnknown(c.plan()))
	}
	asked, where := policy.OverheadNone, ""
	see := func(o policy.Overhead, spots []Spot) {
		if len(spots) > 0 && harder(o, asked) {
			asked, where = o, spots[0].Place
		}
	}
	see(policy.OverheadDaylight, c.Network.Cavern)
	see(policy.OverheadMainLine, c.Network.Overhead)
	if len(c.Network.Overhead) > 0 {
		see(policy.OverheadDark, c.Network.OffMain)
		see(policy.OverheadDark, c.Network.Jumps)
	}
	f := measured(pass(s), finding.Word("", overheadWords(asked)), finding.Word("", overheadWords(c.Level.Overhead)))
	if harder(asked, c.Level.Overhead) {
		f.Status, f.Code, f.Place, f.Path = finding.Refuse, "over", where, "route.route.moves"
		return one(at(f))
	}
	return one(f)
}

var overheads = []policy.Overhead{policy.OverheadNone, policy.OverheadDaylight, policy.OverheadMainLine, policy.OverheadDark}

func harder(a, b policy.Overhead) bool {
	return slices.Index(overheads, a) > slices.Index(overheads, b)
}

func overheadWords(o policy.Overhead) string {
	if o == policy.OverheadNone {
		return "open water"
	}
	if o == policy.OverheadMainLine {
		return "dark zone on the main line"
	}
	return strings.ReplaceAll(string(o), "_", " ")
}

// depth judges every diver by the depth of their own level, lifted to the
// card's own depth where the level's endorsements are held.
func depth(c *Case) []finding.Finding {
	if !c.Network.Known {
		return one(c.routeUnknown(c.plan()))
	}
	if len(c.Team) == 0 {
		return one(levelUnknown(c, c.plan()))
	}
	var out []finding.Finding
	for _, m := range c.Team {
		l := m.Limits(c)
		if l == nil {
			out = append(out, levelUnknown(c, m.subject()))
			continue
		}
		limit := l.MaxDepthM
		lifted := len(l.DeeperWith) > 0
		for _, e := range l.DeeperWith {
			lifted = lifted && m.Holds(e)
		}
		if m.DepthM != nil && (l.CardDepth || lifted && *m.DepthM > limit) {
			limit = *m.DepthM
		}
		out = append(out, limited(m.subject(), c.Network.Depth, limit, "m"))
	}
	return out
}
