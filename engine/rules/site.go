package rules

import (
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/watch"
)

// siteRules are about the site on the day: open, permitted, read, within its
// go/no-go thresholds.
func siteRules() []Rule {
	return []Rule{
		{
			ID: "site.open", Version: 1, Title: "Site open", Citation: handbook("dates and deadlines", "T35"),
			Words: map[string]Words{
				"ok":      {Says: "{subject}: open over the whole dive"},
				"closed":  {Says: "{subject}: closed until further notice", Remedy: "choose another site, or wait until the site officer opens it"},
				"closure": {Says: "{subject}: closed {limit}, the dive is {observed}", Remedy: "plan the dive outside the closure"},
			},
			Check: siteOpen,
		},
		{
			ID: "site.permit", Version: 1, Title: "Permit for the whole dive", Citation: handbook("dates and deadlines", "T35"),
			Words: map[string]Words{
				"ok":                   {Says: "{subject}: the permit {limit} holds for {observed}"},
				"not_needed":           {Says: "{subject}: no permit is needed"},
				"none":                 {Says: "{subject}: a permit is needed and none is on record", Remedy: "record the owner's permit"},
				"outside_permit_dates": {Says: "{subject}: the dive {observed} is outside the permit's days {limit}", Remedy: "plan the dive within {limit}"},
				"outside_permit_hours": {Says: "{subject}: the dive {observed} is outside the permit's daily hours {limit}", Remedy: "be in and out of the water within {limit}"},
			},
			Check: permit,
		},
		{
			ID: "site.reading", Version: 1, Title: "Today's reading", Citation: handbook("dates and deadlines", "T33"), Cell: "readings.required",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: read {observed}"},
				"due":     {Says: "{subject}: level, flow and visibility are read on {limit} before entry", Remedy: "record the reading on {limit} before entry"},
				"no_read": {Says: "{subject}: cannot tell, no reading on {limit} before entry", Remedy: "record level, flow and visibility today"},
				"not_set": {Says: "{subject}: the club asks for no reading"},
			},
			Check: func(c *Case) []finding.Finding {
				if !c.Policy.Readings.Required {
					return one(answer(finding.NotApplicable, "not_set", c.site()))
				}
				if c.EntryDay.IsZero() {
					return one(unknown(c.site(), "the day of entry", "plan.entry"))
				}
				if r := c.todays(); r != nil {
					f := measured(pass(c.site()), finding.Word("", c.local(r.At)), finding.Word("", c.EntryDay.String()))
					f.Evidence = record("reading", r.ID, r.Version)
					return one(f)
				}
				return one(c.due(answer(finding.Indeterminate, "no_read", c.site()), "site.readings"))
			},
		},
		{
			ID: "site.threshold", Version: 1, Title: "Go/no-go thresholds", Citation: handbook("practice", "7"), Cell: "readings.threshold_exceeded",
			Words: map[string]Words{
				"ok":         {Says: "{subject}: {what} {observed}, limit {limit}"},
				"not_set":    {Says: "{subject}: no thresholds are set"},
				"exceeded":   {Says: "{subject}: {what} {observed}, limit {limit}: no-go", Remedy: "wait until the {what} is within {limit}"},
				"due":        {Says: "{subject}: thresholds are compared with the reading of {limit}", Remedy: "record the reading on {limit} before entry"},
				"no_read":    {Says: "{subject}: cannot tell, no reading on {limit} to compare with the thresholds", Remedy: "record level, flow and visibility today"},
				"not_in_it":  {Says: "{subject}: cannot tell, today's reading has no {what}, limit {limit}", Remedy: "record the {what}"},
				"flow_class": {Says: "{subject}: flow class {observed}: no dive in such flow", Remedy: "wait for less flow"},
			},
			Check: thresholds,
		},
		{
			ID: "site.far_opening", Version: 1, Title: "Far opening seen open", Citation: handbook("dates and deadlines", "T32"), Cell: "verification.far_opening_hours",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: seen open {observed}, holds until {limit}"},
				"stale": {Says: "{subject}: cannot tell, seen open {observed}, holds until {limit}, latest surfacing {surfacing}", Remedy: "see the opening again before the dive"},
				"never": {Says: "{subject}: cannot tell, nobody has recorded that it is open", Remedy: "see the opening before the dive and record it"},
			},
			Check: farOpening,
		},
	}
}

// due turns a missing reading into a condition of entry where the decision is
// taken on an earlier day and the club lets it be one.
func (c *Case) due(f finding.Finding, path string) finding.Finding {
	day := finding.Word("", c.EntryDay.String())
	f.Limit, f.Path = &day, path
	if OnEarlierDay(c.In) && c.Policy.Readings.DueAtEntry {
		f.Status, f.Code, f.DueAt = finding.Note, "due", finding.AtEntry
	}
	return f
}

func (c *Case) dive() calendar.Span { return calendar.Span{Entry: c.Span.Entry, Out: c.Span.Surfacing} }

func (c *Case) diveWords() finding.Figure {
	return finding.Word("", c.local(c.Span.Entry)+" to "+c.local(c.Span.Surfacing))
}

func siteOpen(c *Case) []finding.Finding {
	s := c.site()
	var out []finding.Finding
	if c.In.Site.Closed {
		f := answer(finding.Refuse, "closed", s)
		f.Path = "site.closed"
		out = append(out, f)
	}
	if c.Days.First.IsZero() {
		return append(out, unknown(s, "the days of the dive", "plan.entry"))
	}
	for i, cl := range c.In.Site.Closures {
		access, err := watch.JudgeAccess(c.dive(), nil, []watch.Closure{{FromDay: cl.FromDay, ToDay: cl.ToDay, From: cl.From, To: cl.To}}, c.In.Site.Zones...)
		if err != nil {
			out = append(out, c.cannot(s, err, "site.zones"))
			continue
		}
		if access.Verdict == watch.Refused {
			f := measured(answer(finding.Refuse, "closure", s), c.diveWords(), finding.Word("", closureWords(c, cl)))
			f.Path = path("site.closures", i, "")
			out = append(out, f)
		}
	}
	if len(out) == 0 {
		out = one(pass(s))
	}
	return out
}

func closureWords(c *Case, cl facts.Closure) string {
	text := ""
	if !cl.FromDay.IsZero() || !cl.ToDay.IsZero() {
		text = dayOr(cl.FromDay, "before") + " to " + dayOr(cl.ToDay, "further notice")
	}
	if !cl.From.IsZero() || !cl.To.IsZero() {
		to := "further notice"
		if !cl.To.IsZero() {
			to = c.local(cl.To)
		}
		text += c.local(cl.From) + " to " + to
	}
	return text
}

// cannot reports a question that the facts do not let us answer.
func (c *Case) cannot(s finding.Subject, err error, path string) finding.Finding {
	f := answer(finding.Indeterminate, "cannot_compute", s)
	w := finding.Word("", err.Error())
	f.Observed, f.Path = &w, path
	return f
}

func permit(c *Case) []finding.Finding {
	s, site := c.site(), &c.In.Site
	if site.PermitRequired == nil {
		return one(unknown(s, "whether a permit is needed", "site.permit_required"))
	}
	if !*site.PermitRequired {
		return one(answer(finding.NotApplicable, "not_needed", s))
	}
	if c.Days.First.IsZero() {
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	if len(site.Permits) == 0 {
		f := answer(finding.Refuse, "none", s)
		f.Path = "site.permits"
		return one(f)
	}
	var failed []finding.Finding
	for i, p := range site.Permits {
		q := watch.Permit{From: p.From, To: p.To}
		words := dayOr(p.From, "always") + " to " + dayOr(p.To, "further notice")
		hours := ""
		if p.DailyFrom != "" || p.DailyTo != "" {
			start, err1 := calendar.ParseClock(p.DailyFrom)
			end, err2 := calendar.ParseClock(p.DailyTo)
			if err1 != nil || err2 != nil {
				failed = append(failed, unknown(s, "the permit's daily hours", path("site.permits", i, "daily_from")))
				continue
			}
			q.Daily = &watch.Daily{Start: start, End: end}
			hours = p.DailyFrom + " to " + p.DailyTo
		}
		access, err := watch.JudgeAccess(c.dive(), &q, nil, site.Zones...)
		if err != nil {
			failed = append(failed, c.cannot(s, err, "site.zones"))
			continue
		}
		if access.Verdict == watch.Passes {
			f := measured(pass(s), c.diveWords(), finding.Word("", words))
			f.Evidence = []finding.Evidence{{Kind: "permit", ID: p.ID}}
			return one(f)
		}
		for _, why := range access.Why {
			limit := words
			if why == watch.OutsideHours {
				limit = hours
			}
			f := measured(answer(finding.Refuse, why, s), c.diveWords(), finding.Word("", limit))
			f.Path = path("site.permits", i, "")
			failed = append(failed, f)
		}
	}
	return failed
}

// comparison is one threshold with today's value.
type comparison struct {
	what     string
	set      bool
	observed finding.Figure
	known    bool
	limit    finding.Figure
	exceeded bool
}

func thresholds(c *Case) []finding.Finding {
	s, t := c.site(), c.In.Site.Thresholds
	if c.EntryDay.IsZero() {
		return one(unknown(s, "the day of entry", "plan.entry"))
	}
	r := c.todays()
	if r == nil {
		if t == (facts.Thresholds{}) {
			return one(answer(finding.NotApplicable, "not_set", s))
		}
		return one(c.due(answer(finding.Indeterminate, "no_read", s), "site.readings"))
	}
	metres := func(p *float64) finding.Figure {
		if p == nil {
			return finding.Figure{Text: "unknown"}
		}
		return finding.Number("", *p, 2, "m")
	}
	var all []comparison
	number := func(what string, limit, value *float64, exceeds func(v, l float64) bool) {
		if limit == nil {
			return
		}
		all = append(all, comparison{what: what, set: true, observed: metres(value), known: value != nil, limit: metres(limit), exceeded: value != nil && exceeds(*value, *limit)})
	}
	above := func(v, l float64) bool { return v > l }
	below := func(v, l float64) bool { return v < l }
	number("level", t.MaxLevelM, r.LevelM, above)
	number("level", t.MinLevelM, r.LevelM, below)
	number("visibility", t.MinVisibilityM, r.VisibilityM, below)
	if t.MaxFlow != "" {
		have, most := flowRank(c.Policy, r.Flow), flowRank(c.Policy, t.MaxFlow)
		all = append(all, comparison{what: "flow", set: true, observed: finding.Word("", r.Flow), known: have >= 0 && most >= 0, limit: finding.Word("", t.MaxFlow), exceeded: have > most})
	}
	var out []finding.Finding
	for _, x := range all {
		f := measured(pass(s), x.observed, x.limit)
		f.Figures = []finding.Figure{finding.Word("what", x.what)}
		f.Evidence = record("reading", r.ID, r.Version)
		switch {
		case !x.known:
			f.Status, f.Code, f.Path = finding.Indeterminate, "not_in_it", "site.readings"
		case x.exceeded:
			f.Status, f.Code, f.Path = c.Policy.Readings.ThresholdExceeded.Status(), "exceeded", "site.readings"
		}
		out = append(out, f)
	}
	refusing := slices.ContainsFunc(c.Policy.Flow.Classes, func(f policy.FlowClass) bool { return f.Refuse })
	switch i := flowRank(c.Policy, r.Flow); {
	case i < 0 && refusing && t.MaxFlow == "": // else it is said above
		f := answer(finding.Indeterminate, "not_in_it", s)
		f.Figures, f.Path, f.Evidence = []finding.Figure{finding.Word("what", "flow")}, "site.readings", record("reading", r.ID, r.Version)
		out = append(out, f)
	case i >= 0 && c.Policy.Flow.Classes[i].Refuse:
		f := answer(finding.Refuse, "flow_class", s)
		w := finding.Word("", r.Flow)
		f.Observed, f.Path = &w, "site.readings"
		out = append(out, f)
	}
	if len(out) == 0 {
		out = one(answer(finding.NotApplicable, "not_set", s))
	}
	return out
}

func flowRank(p *policy.Policy, class string) int {
	return slices.IndexFunc(p.Flow.Classes, func(f policy.FlowClass) bool { return f.Name == class })
}

// farOpening asks about every opening by which verified legs would lead out.
func farOpening(c *Case) []finding.Finding {
	var stations []string
	if c.Route != nil && c.Route.Verified != nil {
		stations = c.Route.Verified.FarOpenings
	}
	if len(stations) == 0 {
		return one(notAsked(c.plan()))
	}
	var out []finding.Finding
	for _, name := range stations {
		s := finding.Subject{Kind: finding.KindStation, ID: name, Name: name}
		var last facts.Sighting
		for _, o := range c.In.Site.Openings {
			if o.Station == name && !o.At.After(c.Span.Entry) && !o.At.Before(last.At) {
				last = o
			}
		}
		if last.At.IsZero() {
			f := answer(finding.Indeterminate, "never", s)
			f.Path = "site.openings"
			out = append(out, f)
			continue
		}
		a := watch.JudgeFarOpening(last.At, c.dive(), c.Policy.Verification.FarOpeningHours*60)
		f := measured(pass(s), finding.Word("", c.local(last.At)), finding.Word("", c.local(a.EndsAt)))
		f.Figures = []finding.Figure{finding.Word("surfacing", c.local(c.Span.Surfacing))}
		if a.Verdict != watch.Passes {
			f.Status, f.Code, f.Path = finding.Indeterminate, "stale", "site.openings"
		}
		out = append(out, f)
	}
	return out
}
