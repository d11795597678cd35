package rules

import (
	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/finding"
	"lastlight/engine/training"
)

// peopleRules are about each diver: card, age, medical status, currency. No
// message says why a person is not fit.
func peopleRules() []Rule {
	return []Rule{
		{
			ID: "diver.card", Version: 1, Title: "Card counts on every day of the dive", Citation: handbook("dates and deadlines", "T2, T23"),
			Words: map[string]Words{
				"ok":                       {Says: "{subject}: {card} card counts, last day {limit}"},
				"last_day":                 {Says: "{subject}: {card} card ends on {limit}, the last day of the dive"},
				"card_ends":                {Says: "{subject}: {card} card ends {limit}, the dive touches {observed}: counts as {counts_as} for the whole dive", Remedy: "renew the card and have it seen, or plan the dive as {counts_as} may"},
				"card_ended":               {Says: "{subject}: {card} card does not count on {observed}: last day {limit}", Remedy: "renew the card and have it seen"},
				"card_not_seen":            {Says: "{subject}: cannot tell, nobody has recorded having seen the {card} card before entry", Remedy: "somebody else looks at the card and records it"},
				"card_seen_by_holder_only": {Says: "{subject}: cannot tell, only the holder has seen the {card} card", Remedy: "somebody else looks at the card and records it"},
				"endorsement_not_counted":  {Says: "{subject}: {observed} does not count, {limit}"},
				"endorsement_ended":        {Says: "{subject}: {observed} does not count, {limit}"},
				"endorsement_lapsed":       {Says: "{subject}: {observed} does not count any more, {limit}"},
				"endorsement_ends":         {Says: "{subject}: {observed} counts until {limit}, the last day of its card"},
				"endorsement_lapses":       {Says: "{subject}: {observed} counts until {limit}: {uses} in {within}, at least {asked}"},
			},
			Check: func(c *Case) []finding.Finding {
				return c.each(func(m Member) []finding.Finding { return append(one(m.Card), m.Lapsed...) })
			},
		},
		{
			ID: "diver.minimum_age", Version: 1, Title: "Minimum age on the first day", Citation: handbook("dates and deadlines", "T24"), Cell: "people.minimum_age",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: old enough, at least {limit}"},
				"young": {Says: "{subject}: {observed} on {day}, at least {limit}: reached on {reached}", Remedy: "dive on or after {reached}"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.age) },
		},
		{
			ID: "diver.guardian_consent", Version: 1, Title: "A guardian consents to a minor's dive", Citation: handbook("practice", "13"), Cell: "people.guardian_consent",
			Words: map[string]Words{
				"ok":        {Says: "{subject}: a guardian's consent holds until {limit}"},
				"adult":     {Says: "{subject}: of age"},
				"not_set":   {Says: "{subject}: the club asks no guardian"},
				"none":      {Says: "{subject}: cannot tell, no guardian's consent is on record for {observed}", Remedy: "the guardian or the welfare officer records the consent"},
				"ended":     {Says: "{subject}: the guardian's consent ended on {limit}, the dive touches {observed}", Remedy: "the guardian or the welfare officer records it anew"},
				"last_day":  {Says: "{subject}: the guardian's consent holds until {limit}, the last day of the dive"},
				"not_given": {Says: "{subject}: consents for themselves, a guardian is asked", Remedy: "another person, the guardian, consents"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.consent) },
		},
		{
			ID: "diver.medical", Version: 1, Title: "Fit on every day of the dive", Citation: handbook("dates and deadlines", "T22"), Cell: "people.medical_mode",
			Words: map[string]Words{
				// Nothing here says why: fit or not, until when.
				"ok":            {Says: "{subject}: fit over the whole dive"},
				"last_day":      {Says: "{subject}: fit until {limit}, the last day of the dive"},
				"not_available": {Says: "{subject}: not available on {observed}", Remedy: "take another diver; {subject} knows what to do"},
				"depth":         {Says: "{subject}: not available below {limit}, the plan goes to {observed}", Remedy: "plan to {limit}, or take another diver"},
				"cannot_tell":   {Says: "{subject}: cannot tell whether available on {observed}", Remedy: "{subject} completes their medical record: exam and declaration, days only"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.medical) },
		},
		{
			ID: "diver.not_diving", Version: 1, Title: "Not diving by own word", Citation: handbook("practice", "7"),
			Words: map[string]Words{
				"ok":            {Says: "{subject}: has not said they are not diving"},
				"not_available": {Says: "{subject}: not available on {observed}", Remedy: "take another diver; no reason is asked"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.absent) },
		},
		consumptionRule(),
	}
}

// each asks a question about every member of the team.
func (c *Case) each(ask func(Member) []finding.Finding) []finding.Finding {
	var out []finding.Finding
	for _, m := range c.Team {
		out = append(out, ask(m)...)
	}
	if len(c.Team) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

func (c *Case) age(m Member) []finding.Finding {
	s := m.subject()
	if m.Record == nil || m.Record.Birth.IsZero() {
		return one(unknown(s, "the date of birth", path("divers", c.indexOf(m.Diver), "birth")))
	}
	years := c.Policy.People.MinimumAge
	a := training.MinimumAge(m.Record.Birth, years, c.Days)
	if a.Verdict == training.CannotTell {
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	// Those who are old enough get no figure: the age of an adult is nobody's business.
	limit := finding.CountOf("", years, "years")
	f := pass(s)
	f.Limit = &limit
	f.Evidence = record("diver", m.Diver, m.Record.Version)
	if a.Verdict == training.Refused {
		f.Status, f.Code, f.Path = finding.Refuse, "young", path("divers", c.indexOf(m.Diver), "birth")
		f = measured(f, finding.CountOf("", a.Age, "years"), limit)
		f.Figures = []finding.Figure{finding.Word("day", c.Days.First.String()), finding.Word("reached", a.ReachedOn.String())}
	}
	return one(f)
}

// consent asks a guardian's consent for whoever is a minor on the dive's first day.
func (c *Case) consent(m Member) []finding.Finding {
	s := m.subject()
	at := path("divers", c.indexOf(m.Diver), "consent")
	switch {
	case !c.Policy.People.GuardianConsent:
		return one(answer(finding.NotApplicable, "not_set", s))
	case m.Record == nil || m.Record.Birth.IsZero():
		return one(unknown(s, "the date of birth", path("divers", c.indexOf(m.Diver), "birth")))
	}
	switch training.MinimumAge(m.Record.Birth, c.Policy.People.AdultAge, c.Days).Verdict {
	case training.CannotTell:
		return one(unknown(s, "the days of the dive", "plan.entry"))
	case training.Passes:
		return one(answer(finding.NotApplicable, "adult", s))
	}
	days := finding.Word("", c.daysWords())
	f := answer(finding.Indeterminate, "none", s)
	f.Observed, f.Path = &days, at
	for _, g := range m.Record.Consent {
		if !g.From.IsZero() && c.Days.First.Before(g.From) {
			continue
		}
		f = measured(f, days, finding.Word("", g.To.String()))
		switch {
		case g.By == m.Diver:
			f.Status, f.Code = finding.Refuse, "not_given"
		case g.By == "" || g.To.IsZero():
		case g.To.Before(c.Days.Last):
			f.Status, f.Code = finding.Refuse, "ended"
		case g.To == c.Days.Last:
			f.Status, f.Code, f.Path = finding.Caution, "last_day", ""
		default:
			f.Status, f.Code, f.Path = finding.Pass, "ok", ""
			return one(f)
		}
	}
	return one(f)
}

func (c *Case) medical(m Member) []finding.Finding {
	s := m.subject()
	day := finding.Word("", c.daysWords())
	at := path("divers", c.indexOf(m.Diver), "")
	f := answer(finding.Indeterminate, "cannot_tell", s)
	f.Observed, f.Path = &day, at
	if m.Record == nil || m.Record.Medical == nil || c.Days.First.IsZero() {
		return one(f)
	}
	rec := m.Record.Medical
	f.Evidence = record("medical", m.Diver, rec.Version)
	if rec.NotFit {
		f.Status, f.Code = finding.Refuse, "not_available"
		return one(f)
	}
	a, _ := c.medicalDue(m)
	f.Steps = c.medicalSteps(m, a)
	switch a.Verdict {
	case due.MedicalValid:
		f.Status, f.Code, f.Path = finding.Pass, "ok", ""
		f.Figures = []finding.Figure{finding.Word("until", a.LastDay.String()), finding.Word("governs", words(a.Governs)), finding.Word("interval", words(a.Rule))}
		if len(a.Caution) > 0 {
			last := finding.Word("", a.LastDay.String())
			f.Status, f.Code, f.Limit = finding.Caution, "last_day", &last
		}
		limit, deepest := rec.DepthLimitM, c.Network.Depth
		switch {
		case limit == nil || c.asked:
		case !deepest.Known:
			return one(unknown(s, "how deep the dive goes", "route"))
		case deepest.Value > *limit:
			f = measured(f, finding.Number("", deepest.Value, 1, "m"), finding.Number("", *limit, 1, "m"))
			f.Status, f.Code, f.Path = finding.Refuse, "depth", at
		}
	case string(calendar.CannotTell):
	default:
		f.Status, f.Code = finding.Refuse, "not_available"
	}
	return one(f)
}

// medicalDue reads a member's medical status over the days of the dive; ok is
// false where none is on record.
func (c *Case) medicalDue(m Member) (answer due.MedicalDue, ok bool) {
	if m.Record == nil || m.Record.Medical == nil || c.Days.First.IsZero() {
		return due.MedicalDue{Verdict: string(calendar.CannotTell)}, false
	}
	rec := m.Record.Medical
	p := c.Policy.People
	rules := due.MedicalRules{Lenient: p.MedicalMode == "lenient", DeclarationRequired: p.DeclarationRequired, DeclarationMonths: p.DeclarationMonths}
	for _, b := range p.MedicalBands {
		rules.Bands = append(rules.Bands, due.AgeBand{BelowAge: b.Below, Months: b.Months})
	}
	return due.MedicalOn(due.Medical{
		Exam: rec.Examined, Born: m.Record.Birth, Declared: rec.Declared, DoctorUntil: rec.DoctorUntil,
		Accident: rec.Suspended, Cleared: c.seenDay(rec.Cleared), ClearedAt: rec.Cleared,
	}, c.Days, c.Span.Entry, rules), true
}

func (c *Case) daysWords() string {
	if c.Days.First == c.Days.Last {
		return dayOr(c.Days.First, "a day not known")
	}
	return c.Days.First.String() + " to " + c.Days.Last.String()
}

func (c *Case) absent(m Member) []finding.Finding {
	s := m.subject()
	if m.Record == nil || c.Days.First.IsZero() {
		return one(unknown(s, "the person's record", m.Path))
	}
	for _, a := range m.Record.NotDiving {
		to := a.To
		if to.IsZero() {
			to = a.From
		}
		if a.From.After(c.Days.Last) || to.Before(c.Days.First) {
			continue
		}
		day := finding.Word("", c.daysWords())
		f := answer(finding.Refuse, "not_available", s)
		f.Observed, f.Path = &day, m.Path
		return one(f)
	}
	return one(pass(s))
}

// nameOf is a diver of this input by id, with the display name, for places where
// the engine's other packages name divers by id.
func (c *Case) nameOf(id string) finding.Subject { return c.person(finding.KindDiver, id) }
