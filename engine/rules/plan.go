package rules

import (
	"slices"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/watch"
)

// planRules are about the plan as a whole: complete, supported, of its kind,
// beside other plans, and what it may count on from earlier dives.
func planRules() []Rule {
	return []Rule{
		{
			ID: inputRule, Version: 1, Title: "What stands in the input can be", Citation: handbook("route method", "7, open: bounds far above any dive, which keep the work bounded"),
			Words: map[string]Words{
				"ok":      {Says: "{subject}: every list, number and word is within its bounds"},
				"problem": {Says: "{subject}: {field}: {observed}", Remedy: "correct {field}"},
				"policy":  {Says: "{subject}: cannot tell, there is no club policy", Remedy: "give the policy"},
			},
			Check: sound,
		},
		{
			ID: "plan.complete", Version: 1, Title: "Nothing is missing", Citation: handbook("route method", "4 and 7"),
			Words: map[string]Words{"ok": {Says: "{subject}: everything the engine needs is recorded"}},
			Check: func(c *Case) []finding.Finding {
				if len(c.Missing) == 0 {
					return one(pass(c.plan()))
				}
				return append([]finding.Finding(nil), c.Missing...)
			},
		},
		{
			ID: "plan.unsupported", Version: 1, Title: "What the engine can compute", Citation: handbook("route method", "6"),
			Words: map[string]Words{
				"ok":          {Says: "{subject}: open circuit"},
				"unsupported": {Says: "{subject}: {observed} is unsupported: it is not treated as open circuit", Remedy: "dive open circuit, or plan it without this system"},
			},
			Check: func(c *Case) []finding.Finding {
				return c.each(func(m Member) []finding.Finding {
					switch m.Apparatus {
					case facts.OpenCircuit:
						return one(pass(m.subject()))
					case "":
						return one(unknown(m.subject(), "what the diver breathes from", m.Path+".apparatus"))
					}
					f := answer(finding.Refuse, "unsupported", m.subject())
					w := finding.Word("", string(m.Apparatus))
					f.Observed, f.Path = &w, m.Path+".apparatus"
					return one(f)
				})
			},
		},
		{
			ID: "plan.kind", Version: 1, Title: "The team fits the kind of plan", Citation: handbook("route method", "8"),
			Words: map[string]Words{
				"ok":            {Says: "{subject}: {observed}"},
				"unknown_kind":  {Says: "{subject}: {observed} is no kind of plan", Remedy: "name one of {limit}"},
				"no_instructor": {Says: "{subject}: a training dive without an instructor whose endorsement counts", Remedy: "add an instructor"},
				"no_level":      {Says: "{subject}: a training dive names no level of the ladder", Remedy: "name the level being taught"},
				"instructor_at": {Says: "{subject}: instructs at {observed}, counts as {limit}", Remedy: "an instructor who counts at the level taught"},
				"no_survey":     {Says: "{subject}: opens a site without {limit}", Remedy: "a diver whose {limit} endorsement counts"},
			},
			Check: planKind,
		},
		{
			ID: "plan.site_opening", Version: 1, Title: "A new site is opened with a second approver", Citation: handbook("route method", "8"),
			Words: map[string]Words{
				"ok":     {Says: "{subject}: does not open a site"},
				"second": {Says: "{subject}: opens a site: a second approver decides", Remedy: "a second approver decides"},
			},
			Check: func(c *Case) []finding.Finding {
				if c.In.Plan.Kind == facts.SiteOpening {
					f := answer(finding.NeedsWaiver, "second", c.plan())
					f.Path = "plan.kind"
					return one(f)
				}
				return one(notAsked(c.plan()))
			},
		},
		{
			ID: "plan.exploration", Version: 1, Title: "Passage without line is explored with SURVEY and a second approver", Citation: handbook("practice", "5.3 RT2"),
			Words: map[string]Words{
				"no_survey": {Says: "{subject}: lays {observed}{at}, passage that nobody has lined, without {limit}", Remedy: "a diver whose {limit} endorsement counts, or turn before {place}"},
				"second":    {Says: "{subject}: lays {observed}{at}, passage that nobody has lined: a second approver decides", Remedy: "a second approver decides, or turn before {place}"},
			},
			Check: exploration,
		},
		{
			ID: "plan.runtime", Version: 1, Title: "Planned runtime covers the route", Citation: handbook("dates and deadlines", "T2"),
			Words: map[string]Words{
				"ok":    {Says: "{subject}: runtime {observed}, the route takes {limit}"},
				"short": {Says: "{subject}: planned runtime {observed}, the route takes {limit}: {shortfall} short", Remedy: "plan at least {limit}"},
				"order": {Says: "{subject}: enter by {limit} lies before the entry {observed}", Remedy: "enter-by must not lie before the entry"},
				"late":  {Says: "{subject}: entry {observed} lies after the enter-by time {limit}: the approval has expired", Remedy: "submit and approve it again"},
			},
			Check: runtime,
		},
		{
			ID: "plan.speeds", Version: 1, Title: "No faster than the club plans", Citation: handbook("practice", "6"), Cell: "speeds",
			Words: map[string]Words{
				"swim":       {Says: "{subject}: swims {observed} as planned, at most {limit}"},
				"out":        {Says: "{subject}: swims {observed} on every way out, at most {limit}"},
				"brisk_swim": {Says: "{subject}: swims {observed}, the club plans at most {limit}: is the team so fast, with what it carries?"},
				"brisk_out":  {Says: "{subject}: swims {observed} on every way out, the club plans at most {limit}: is the team so fast, with one short of gas?"},
				"fast_swim":  {Says: "{subject}: swims {observed}, the club plans at most {limit}: {shortfall} too fast", Remedy: "plan at most {limit}, or none: then the club's speed is taken"},
				"fast_out":   {Says: "{subject}: swims {observed} on every way out, the club plans at most {limit}: {shortfall} too fast", Remedy: "plan at most {limit} for the ways out, or none: then the club's speed is taken"},
			},
			Check: speeds,
		},
		{
			ID: "plan.turn", Version: 1, Title: "The turn is flagged where the way home begins", Citation: handbook("route method", "D22"),
			Words: map[string]Words{
				"ok":     {Says: "{subject}: the team turns at {place}"},
				"way_in": {Says: "{subject}: the turn is flagged at {place}, on the way in: at most {before} so far, then {observed} ({deepest}); the way home begins at {home}", Remedy: "flag the move at whose end the team turns, or none: then the turn is where the way home begins"},
			},
			Check: turnFlag,
		},
		{
			ID: "plan.double_booking", Version: 1, Title: "No duty overlaps another", Citation: handbook("dates and deadlines", "T34"), Cell: "overlap.buffer_min",
			Words: map[string]Words{
				"ok":             {Says: "{subject}: no other duty in {observed}"},
				"clash":          {Says: "{subject}: is {role} here {observed} and {other_role} in plan {plan} {limit}", Remedy: "free {subject} in plan {plan}, or move this dive"},
				"clash_cylinder": {Says: "{subject}: used here {observed} and in plan {plan} {limit}", Remedy: "take another cylinder, or move this dive"},
				"twice":          {Says: "{subject}: stands in two supplies of this plan", Remedy: "name each cylinder once"},
			},
			Check: doubleBooking,
		},
		{
			ID: "plan.verification", Version: 1, Title: "Verified legs still count", Citation: handbook("dates and deadlines", "T31"), Cell: "verification.hours",
			Words: map[string]Words{
				"ok":                {Says: "{subject}: verified, relied on until {observed}, holds until {limit}"},
				"unused":            {Says: "{subject}: relies on no verified leg"},
				"expired":           {Says: "{subject}: verification ends {limit}, relied on until {observed}: expired by {shortfall}", Remedy: "dive the set-up again, or be past it by {limit}"},
				"cannot_tell":       {Says: "{subject}: cannot tell, relied on until {observed}: no reading of the day of entry, or no conditions recorded on the set-up dive", Remedy: "record level, flow and visibility today"},
				"conditions_differ": {Says: "{subject}: conditions today {observed}, on the set-up dive {limit}", Remedy: "dive the set-up again in today's conditions"},
				"doubt":             {Says: "{subject}: line damage or a survey change came since", Remedy: "dive the set-up again"},
				"not_counted":       {Says: "{subject}: the set-up dive does not count for this team", Remedy: "at least {limit} of this team must have passed it"},
			},
			Check: verification,
		},
	}
}

// inputRule tells what cannot be in the input itself.
const inputRule = "plan.input"

func sound(c *Case) []finding.Finding {
	var out []finding.Finding
	for _, p := range append(c.Faults, c.In.Contradictions()...) {
		f := answer(finding.Refuse, "problem", c.plan())
		w := finding.Word("", p.Text)
		f.Observed, f.Path = &w, p.Place
		f.Figures = []finding.Figure{finding.Word("field", p.Place)}
		out = append(out, f)
	}
	if len(c.Policy.Ladder) == 0 {
		f := answer(finding.Indeterminate, "policy", c.plan())
		f.Path = "policy"
		out = append(out, f)
	}
	if len(out) == 0 {
		out = one(pass(c.plan()))
	}
	return out
}

func planKind(c *Case) []finding.Finding {
	s := c.plan()
	kind := finding.Word("", words(string(c.In.Plan.Kind)))
	f := pass(s)
	f.Observed, f.Path = &kind, "plan.kind"
	switch c.In.Plan.Kind {
	case facts.Normal, facts.SetUp, facts.CleanUp:
		return one(f)
	case facts.SiteOpening:
		for _, m := range c.Team {
			if m.Holds("SURVEY") {
				return one(f)
			}
		}
		limit := finding.Word("", "SURVEY")
		f.Status, f.Code, f.Limit = finding.Refuse, "no_survey", &limit
		return one(f)
	case facts.Training:
		var out []finding.Finding
		if c.taught() == nil {
			g := answer(finding.Refuse, "no_level", s)
			g.Path = "plan.taught"
			out = append(out, g)
		}
		if !c.instructorInTeam() {
			g := answer(finding.Refuse, "no_instructor", s)
			g.Path = "plan.team"
			out = append(out, g)
		}
		for _, m := range c.Team {
			if m.Instructor && m.Holds("INSTRUCTOR") && c.taught() != nil && c.Policy.Rung(m.Counts) < c.Policy.Rung(c.In.Plan.Taught) {
				g := measured(answer(finding.Refuse, "instructor_at", m.subject()), finding.Word("", c.In.Plan.Taught), finding.Word("", nameOr(m.Counts, "nothing")))
				g.Path = m.Path
				out = append(out, g)
			}
		}
		if len(out) == 0 {
			out = one(f)
		}
		return out
	}
	limit := finding.Word("", "normal, set up, clean up, training, site opening")
	f.Status, f.Code, f.Limit = finding.Refuse, "unknown_kind", &limit
	return one(f)
}

// exploration: a leg in which nobody has laid line is swum only with line run on this dive (route.faults sees to that), by a team
// with SURVEY, and where a second approver agrees.
func exploration(c *Case) []finding.Finding {
	if !c.Network.Known {
		return one(c.routeUnknown(c.plan()))
	}
	if len(c.Network.Explored) == 0 {
		return one(notAsked(c.plan()))
	}
	surveys := slices.ContainsFunc(c.Team, func(m Member) bool { return m.Holds("SURVEY") })
	out := make([]finding.Finding, len(c.Network.Explored))
	for i, spot := range c.Network.Explored {
		laid := finding.Word("", spot.What)
		f := answer(finding.NeedsWaiver, "second", c.plan())
		if !surveys {
			limit := finding.Word("", "SURVEY")
			f.Status, f.Code, f.Limit = finding.Refuse, "no_survey", &limit
		}
		f.Observed, f.Place, f.Path = &laid, spot.Place, "route.route.moves"
		out[i] = at(f)
	}
	return out
}

func runtime(c *Case) []finding.Finding {
	s := c.plan()
	var out []finding.Finding
	if by := c.In.Plan.EnterBy; !by.IsZero() && !c.Span.Entry.IsZero() && by.Before(c.Span.Entry) {
		code := "order"
		if c.In.Moment == facts.AtEntry {
			code = "late"
		}
		f := measured(answer(finding.Refuse, code, s), finding.Word("", c.local(c.Span.Entry)), finding.Word("", c.local(by)))
		f.Path = "plan.enter_by"
		out = append(out, f)
	}
	if c.Route == nil {
		return append(out, unknown(s, "how long the route takes", "route"))
	}
	takes := c.Route.Summary.RuntimeMin
	f := measured(pass(s), finding.Number("", c.Span.RuntimeMin, 1, "min"), finding.Number("", takes, 1, "min"))
	if p := c.In.Plan.RuntimeMin; p > 0 && p < takes-1e-6 {
		planned, short := finding.Number("", p, 1, "min"), finding.Number("", takes-p, 1, "min")
		f.Status, f.Code, f.Path, f.Observed, f.Shortfall = finding.Refuse, "short", "plan.runtime_min", &planned, &short
	}
	f.Steps = c.runtimeSteps(f)
	return append(out, f)
}

func (c *Case) own(role watch.Role) watch.Duty {
	return watch.Duty{Plan: c.In.Plan.ID, Role: role, State: watch.StateApproved, Entry: c.Span.Entry, Out: c.Span.Surfacing, Dial: c.Span.Dial}
}

func doubleBooking(c *Case) []finding.Finding {
	switch {
	case c.Span.Entry.IsZero():
		return one(unknown(c.plan(), "the planned entry", "plan.entry"))
	case c.Span.RuntimeMin <= 0:
		return one(c.routeUnknown(c.plan()))
	}
	var out []finding.Finding
	check := func(s finding.Subject, role watch.Role, id, at string, cylinder bool) {
		mine := c.own(role)
		end := mine.Out
		if role == watch.RoleCover || role == watch.RoleStandby {
			end = mine.Dial
			if end.IsZero() {
				out = append(out, unknown(s, "the dial time that ends the duty", "plan.entry"))
				return
			}
		}
		span := finding.Word("", c.local(mine.Entry)+" to "+c.local(end))
		clash := false
		for _, d := range c.In.Duties {
			if cylinder && d.Cylinder != id || !cylinder && d.Diver != id {
				continue
			}
			if d.Plan == c.In.Plan.ID && d.Plan != "" {
				continue // the same plan's own earlier version
			}
			other := watch.Duty{Plan: d.Plan, Role: watch.Role(d.As), State: d.State, Entry: d.From, Out: d.Until, Dial: d.Until}
			if d.State == watch.StateInWater && !d.Until.IsZero() {
				other.SeenOut, other.AllSeenOut = d.Until, true
			}
			if !watch.Conflict(mine, other, c.Policy.Overlap.BufferMin) {
				continue
			}
			clash = true
			until := "without end"
			if !d.Until.IsZero() {
				until = "to " + c.local(d.Until)
			}
			f := measured(answer(finding.Refuse, "clash", s), span, finding.Word("", c.local(d.From)+" "+until))
			f.Figures = []finding.Figure{finding.Word("role", string(role)), finding.Word("other_role", d.As), finding.Word("plan", nameOr(d.PlanName, d.Plan))}
			f.Path = at
			if cylinder {
				f.Code = "clash_cylinder"
			}
			out = append(out, f)
		}
		if !clash {
			f := pass(s)
			f.Observed = &span
			out = append(out, f)
		}
	}
	for _, m := range c.Team {
		check(m.subject(), watch.RoleDiver, m.Diver, m.Path, false)
	}
	for i, id := range c.In.Plan.Cover {
		check(c.person(finding.KindCover, id), watch.RoleCover, id, path("plan.cover", i, ""), false)
	}
	for i, id := range c.In.Plan.Standby {
		check(c.person(finding.KindDiver, id), watch.RoleStandby, id, path("plan.standby", i, ""), false)
	}
	seen := map[string]bool{}
	for i, sup := range c.In.Plan.Supplies {
		for j, id := range sup.Cylinders {
			at := path("plan.supplies", i, path("cylinders", j, ""))
			if seen[id] {
				f := answer(finding.Refuse, "twice", c.cylinder(id))
				f.Path = at
				out = append(out, f)
				continue
			}
			seen[id] = true
			check(c.cylinder(id), watch.RoleCylinder, id, at, true)
		}
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

// verification judges every recorded set-up dive the plan relies on, or says it
// would rely on.
func verification(c *Case) []finding.Finding {
	relied := map[string]bool{}
	var until calendar.Instant
	if c.Route != nil && c.Route.Verified != nil {
		for _, id := range c.Route.Verified.Verifications {
			relied[id] = true
		}
		until = c.Span.EnterBy.Add(int(wholeMinutes(c.Route.Verified.LastMin)))
	}
	if len(relied) == 0 && !c.In.Plan.VerifiedLegs {
		return one(answer(finding.NotApplicable, "unused", c.plan()))
	}
	if until.IsZero() {
		minutes := c.In.Plan.ReliedUntilMin
		if minutes <= 0 {
			minutes = c.Span.RuntimeMin
		}
		until = c.Span.EnterBy.Add(int(wholeMinutes(minutes)))
	}
	if len(c.In.Site.Zones) == 0 || c.Span.Entry.IsZero() {
		return one(unknown(c.plan(), "the day of entry", "plan.entry"))
	}
	readings := make([]watch.Reading, len(c.In.Site.Readings))
	for i, r := range c.In.Site.Readings {
		readings[i] = watch.Reading{At: r.At, Class: conditionClass(r.Level, r.Flow, r.Visibility)}
	}
	var out []finding.Finding
	for i, v := range c.In.Site.Verifications {
		if !c.In.Plan.VerifiedLegs && !relied[v.Dive] {
			continue
		}
		s := finding.Subject{Kind: finding.KindLeg, ID: v.Dive, Name: "legs " + strings.Join(v.Legs, ", ")}
		then := conditionClass(v.LevelThen, v.FlowThen, v.SightThen)
		a, err := watch.JudgeVerification(watch.Verification{
			VerifiedAt: []calendar.Instant{verifiedAt(v)}, ReliedUntil: until, Entry: c.Span.Entry,
			ClassThen: then, Readings: readings, HoldsForMin: c.Policy.Verification.Hours * 60,
		}, c.In.Site.Zones...)
		if err != nil {
			out = append(out, c.cannot(s, err, "site.zones"))
			continue
		}
		f := measured(pass(s), finding.Word("", c.local(until)), finding.Word("", c.local(a.EndsAt)))
		f.Path = path("site.verifications", i, "")
		f.Evidence = []finding.Evidence{{Kind: "dive", ID: v.Dive}}
		switch {
		case v.DoubtSince:
			f.Status, f.Code = finding.Refuse, "doubt"
		case a.Verdict == watch.Counts && len(relied) > 0 && !relied[v.Dive]:
			least := finding.CountOf("", c.Policy.Verification.MinPassed, "divers")
			f.Status, f.Code, f.Limit = finding.Note, "not_counted", &least
		case a.Verdict == watch.Counts && len(relied) == 0:
			least := finding.CountOf("", c.Policy.Verification.MinPassed, "divers")
			f.Status, f.Code, f.Limit = finding.Refuse, "not_counted", &least
		case a.Verdict == watch.Counts:
			f.Path = ""
		case a.Verdict == watch.Expired:
			short := finding.CountOf("", until.Sub(a.EndsAt), "min")
			f.Status, f.Code, f.Shortfall = finding.Refuse, "expired", &short
		case a.Verdict == watch.ConditionsDiffer:
			f.Status, f.Code = finding.Refuse, "conditions_differ"
			f = measured(f, finding.Word("", c.todaysClass()), finding.Word("", then))
		default:
			f.Status, f.Code = finding.Indeterminate, "cannot_tell"
		}
		out = append(out, f)
	}
	if len(out) == 0 {
		// The plan says it relies on verified legs and no set-up dive is on record.
		out = one(unknown(c.plan(), "a set-up dive of this team", "site.verifications"))
	}
	return out
}
