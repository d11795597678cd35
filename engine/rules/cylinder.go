package rules

import (
	"lastlight/engine/analysis"
	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/gear"
)

// cylinderRules are about each cylinder the plan names.
func cylinderRules() []Rule {
	return []Rule{
		{
			ID: "cylinder.test", Version: 1, Title: "May be used on the dive", Citation: handbook("dates and deadlines", "T9-T19"), Cell: "cylinders.regimes",
			Words: map[string]Words{
				"ok":                                     {Says: "{subject}: in test on {observed}, next {next} due {limit}"},
				"last_day":                               {Says: "{subject}: its last good day is {limit}, the last day of the dive"},
				"hydro_overdue":                          {Says: "{subject}: hydro test was due {limit}, the dive is on {observed}", Remedy: "have it tested, or take another cylinder"},
				"visual_overdue":                         {Says: "{subject}: visual inspection was due {limit}, the dive is on {observed}", Remedy: "have it inspected, or take another cylinder"},
				"filled_out_of_date":                     {Says: "{subject}: filled {filled}, when it might not be filled: {limit}", Remedy: "take another cylinder; this one goes to test"},
				"fill_date_unknown":                      {Says: "{subject}: cannot tell, no fill is on record", Remedy: "record the fill"},
				"hydro_date_unknown":                     {Says: "{subject}: cannot tell, no hydro date that counts is on record", Remedy: "record the stamp"},
				"visual_date_unknown":                    {Says: "{subject}: cannot tell, no visual date is on record", Remedy: "record the inspection"},
				"no_eddy_current_on_record":              {Says: "{subject}: cannot tell, the eddy current examination is not on record", Remedy: "record it, or take another cylinder"},
				"inspection_after_damage":                {Says: "{subject}: damaged and not inspected since", Remedy: "have it inspected; the inspection names the damage"},
				"alloy_refused_here":                     {Says: "{subject}: this alloy is not used under the cylinder's regime", Remedy: "take another cylinder"},
				"counted_from_manufacture":               {Says: "{subject}: first service unknown, counted from manufacture"},
				"day_not_known_month_end_taken":          {Says: "{subject}: day of the mark unknown, the month's end was taken"},
				"hydro_without_eddy_current_not_counted": {Says: "{subject}: a hydro without eddy current was not counted"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachCylinder(cylinderTest) },
		},
		{
			ID: "cylinder.quarantine", Version: 1, Title: "Not in quarantine", Citation: handbook("dates and deadlines", "T18"),
			Words: map[string]Words{
				"ok":         {Says: "{subject}: not in quarantine"},
				"quarantine": {Says: "{subject}: in quarantine since {observed}", Remedy: "take another, or have it released"},
			},
			Check: func(c *Case) []finding.Finding {
				out := c.eachCylinder(func(c *Case, s finding.Subject, cyl *facts.Cylinder, _ facts.Supply, at string) []finding.Finding {
					return one(quarantined(c, s, cyl.Quarantined, at))
				})
				for i, k := range c.In.Plan.Carries {
					s := finding.Subject{Kind: finding.KindItem, ID: k.Item}
					it := c.In.Item(k.Item)
					if it == nil {
						out = append(out, unknown(s, "the item", path("plan.carries", i, "")))
						continue
					}
					s.Name = it.Name
					out = append(out, quarantined(c, s, it.Quarantined, path("plan.carries", i, "")))
				}
				return out
			},
		},
		{
			ID: "cylinder.rating", Version: 1, Title: "Not above its marked pressure", Citation: handbook("dates and deadlines", "T13"), Cell: "cylinders.plus_percent",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: {observed}, at most {limit}"},
				"over": {Says: "{subject}: {observed}, at most {limit}: {shortfall} too much", Remedy: "let it down to {limit} and plan on that"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachCylinder(rating) },
		},
		{
			ID: "cylinder.clean", Version: 1, Title: "Clean for its gas", Citation: handbook("practice", "0, 9.2 D6"), Cell: "cylinders.regimes",
			Words: serviceWords(map[string]Words{
				"ok":            {Says: "{subject}: {observed}, cleaned for oxygen"},
				"not_asked":     {Says: "{subject}: {observed}, needs no cleaning up to {limit}"},
				"not_clean":     {Says: "{subject}: {observed} in a cylinder that is not clean for oxygen, at most {limit}", Remedy: "empty it; have it cleaned before it is filled with this again"},
				"clean_unknown": {Says: "{subject}: cannot tell whether it is clean for oxygen, {observed} in it, at most {limit} without", Remedy: "record whether it is clean; in doubt it is not"},
			}),
			Check: func(c *Case) []finding.Finding { return c.eachCylinder(cleanFor) },
		},
		{
			ID: "cylinder.where", Version: 1, Title: "Somebody has it", Citation: handbook("dates and deadlines", "T29"),
			Words: map[string]Words{
				"ok":        {Says: "{subject}: in somebody's hands"},
				"waits":     {Says: "{subject}: waits here at {place} since {observed}"},
				"elsewhere": {Says: "{subject}: waits at another site since {observed}", Remedy: "bring it back, or take another"},
				"lost":      {Says: "{subject}: lost since {observed}", Remedy: "take another; one that is found is recorded as found"},
			},
			Check: func(c *Case) []finding.Finding {
				out := c.eachCylinder(func(c *Case, s finding.Subject, cyl *facts.Cylinder, sup facts.Supply, at string) []finding.Finding {
					return one(whereIs(c, s, cyl.Lies, sup.Role != facts.Main, at))
				})
				for i, k := range c.In.Plan.Carries {
					if it := c.In.Item(k.Item); it != nil && it.Lies != nil {
						out = append(out, whereIs(c, finding.Subject{Kind: finding.KindItem, ID: it.ID, Name: it.Name}, it.Lies, true, path("plan.carries", i, "")))
					}
				}
				return out
			},
		},
	}
}

// whereIs judges an item that nobody has. What waits at the site of the dive is
// in custody; mains are put on at the water, so they cannot wait in the cave.
func whereIs(c *Case, s finding.Subject, l *facts.Lies, mayWait bool, at string) finding.Finding {
	if l == nil {
		return pass(s)
	}
	f := answer(finding.Refuse, "elsewhere", s)
	switch {
	case l.Lost:
		f.Code = "lost"
	case l.Site == c.In.Site.ID && mayWait:
		f.Status, f.Code = finding.Note, "waits"
	}
	since := finding.Word("", c.local(l.Since))
	f.Observed, f.Place, f.Path = &since, l.Place, at
	return f
}

// rating compares the start pressure, brought to 20 °C where its temperature was
// read, with what the cylinder might be filled to on the day of its fill.
func rating(c *Case, s finding.Subject, cyl *facts.Cylinder, sup facts.Supply, at string) []finding.Finding {
	bar := sup.PlannedBar
	if sup.MeasuredBar != nil {
		bar = sup.MeasuredBar
	}
	if bar == nil {
		return one(unknown(s, "the start pressure", at))
	}
	if cyl.RatedBar <= 0 {
		return one(unknown(s, "the marked pressure", at))
	}
	settled := *bar
	if sup.TemperatureC != nil && sup.MeasuredBar != nil {
		kelvin := 273.15 + *sup.TemperatureC
		settled = float64((settled+1)*gas.ReferenceKelvin)/kelvin - 1
		// The real gas rises more as it warms: 225 bar of air at 5 °C to 244, not 237.
		if mix, ok := c.mixOf(sup); ok && gas.Model(c.Policy.Gas.Model) == gas.Real {
			if real, err := gas.AtTemperature(gas.Real, mix, *bar, 1, kelvin, gas.ReferenceKelvin); err == nil {
				settled = max(settled, real)
			}
		}
	}
	limit := gear.MaxFillBar(c.Policy, cyl, cyl.FilledOn)
	limit = max(limit, cyl.RatedBar)
	f := measured(pass(s), finding.Number("", settled, 1, "bar"), finding.Number("", limit, 1, "bar"))
	f.Evidence = record("cylinder", cyl.ID, cyl.Version)
	if settled > limit+1e-6 {
		short := finding.Number("", settled-limit, 1, "bar")
		f.Status, f.Code, f.Path, f.Shortfall = finding.Refuse, "over", at, &short
	}
	return one(f)
}

// cleanFor compares the planned oxygen with what the cylinder's country lets into
// one that is not cleaned; oxygen decanted into the cylinder itself always asks
// for it. The planned figure is compared: a measured one differs by the tolerance.
func cleanFor(c *Case, s finding.Subject, cyl *facts.Cylinder, sup facts.Supply, at string) []finding.Finding {
	if c.Days.Last.IsZero() {
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	regime, ok := gear.RegimeOn(c.Policy, cyl, c.Days.Last)
	o2, err := analysis.ParseDecimal(sup.PlannedO2)
	limit, errLimit := analysis.ParseDecimal(regime.CleanAboveO2)
	if !ok || err != nil || errLimit != nil {
		return one(unknown(s, "the planned oxygen, or its country's limit for it", at))
	}
	decanted := cyl.Fill != nil && cyl.Fill.PartialPressure
	f := measured(pass(s), finding.Number("", o2.Float(), 1, "%"), finding.Number("", limit.Float(), 1, "%"))
	f.Evidence = record("cylinder", cyl.ID, cyl.Version)
	switch {
	case o2.Float() <= limit.Float() && !decanted:
		f.Status, f.Code = finding.NotApplicable, "not_asked"
		return one(f)
	case cyl.Clean == "not_clean":
		f.Status, f.Code, f.Path = finding.Refuse, "not_clean", at
		return one(f)
	case cyl.Clean != "clean":
		f.Status, f.Code, f.Path = finding.Indeterminate, "clean_unknown", at
		return one(f)
	}
	out := one(f)
	cleaned := facts.Item{ID: cyl.ID, Name: cyl.Name, Kind: "oxygen_clean", Version: cyl.Version}
	for _, e := range cyl.Events {
		cleaned.Events = append(cleaned.Events, facts.ItemEvent{Kind: e.Kind, On: e.On, Recorded: e.Recorded})
	}
	for _, k := range c.clocks(s, &cleaned, c.Days.Last, at) {
		if k.Status != finding.Pass {
			out = append(out, k)
		}
	}
	return out
}

func quarantined(c *Case, s finding.Subject, q *facts.Quarantine, at string) finding.Finding {
	if q == nil {
		return pass(s)
	}
	f := answer(finding.Refuse, "quarantine", s)
	since := finding.Word("", c.local(q.Since))
	f.Observed, f.Path = &since, at
	return f
}

// eachCylinder asks a question about every cylinder of every supply, each once.
func (c *Case) eachCylinder(ask func(*Case, finding.Subject, *facts.Cylinder, facts.Supply, string) []finding.Finding) []finding.Finding {
	if c.cylinders == nil {
		c.cylinders = c.cylindersSupplied()
	}
	out := make([]finding.Finding, 0, len(c.cylinders))
	for i := range c.cylinders {
		x := &c.cylinders[i]
		if x.cylinder == nil {
			out = append(out, unknown(x.subject, "the cylinder", x.at))
			continue
		}
		out = append(out, ask(c, x.subject, x.cylinder, c.In.Plan.Supplies[x.supply], x.at)...)
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "which cylinders are dived", "plan.supplies"))
	}
	return out
}

// suppliedCylinder is a cylinder of the plan with the first supply that names it.
type suppliedCylinder struct {
	subject  finding.Subject
	cylinder *facts.Cylinder // nil: not on record
	supply   int
	at       string
}

// cylindersSupplied are the cylinders of all supplies, each once.
func (c *Case) cylindersSupplied() []suppliedCylinder {
	list := make([]suppliedCylinder, 0, len(c.In.Cylinders))
	seen := map[string]bool{}
	for i := range c.In.Plan.Supplies {
		at := path("plan.supplies", i, "cylinders")
		for j, id := range c.In.Plan.Supplies[i].Cylinders {
			if seen[id] {
				continue // twice in one plan: plan.double_booking says so
			}
			seen[id] = true
			list = append(list, suppliedCylinder{c.cylinder(id), c.In.Cylinder(id), i, path(at, j, "")})
		}
	}
	return list
}

func cylinderTest(c *Case, s finding.Subject, cyl *facts.Cylinder, _ facts.Supply, at string) []finding.Finding {
	if c.Days.First.IsZero() {
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	dc, rules, ok := gear.Record(c.Policy, cyl, c.Days.Last)
	if !ok {
		return one(unknown(s, "the test regime in force", "policy.cylinders.regimes"))
	}
	filled := cyl.FilledOn
	if filled.IsZero() {
		if d, err := (calendar.Span{Entry: cyl.FilledAt, Out: cyl.FilledAt}).Days(c.In.Site.Zones...); err == nil {
			filled = d.First // where a zone does not reach, the day stays unknown
		}
	}
	may := due.May(due.CylinderUse{
		Cylinder: dc, Days: c.Days, FilledOn: filled, FilledUnder: gear.RegimeAtFill(c.Policy, cyl, filled), Strict: c.Policy.Cylinders.StrictOutOfTest,
	}, rules)
	d := due.DueOn(dc, c.Days.Last, rules)
	next, limit := "test", "not known"
	if d.Next != nil {
		next, limit = string(d.Next.Event), d.Next.LastDay.String()
	}
	base := measured(pass(s), finding.Word("", c.Days.Last.String()), finding.Word("", limit))
	base.Figures = []finding.Figure{finding.Word("next", next), finding.Word("filled", dayOr(filled, "unknown"))}
	base.Evidence = record("cylinder", cyl.ID, cyl.Version)
	base.Steps = c.testSteps(d, c.cylinderPath(cyl.ID))
	var out []finding.Finding
	for _, why := range may.Use.Why {
		f := base
		f.Code, f.Path = why, at
		switch why {
		case due.LastDay:
			f.Status = finding.Caution
		case due.FillDateUnknown, due.HydroUnknown, due.VisualUnknown, due.NoEddyCurrent:
			f.Status = finding.Indeterminate
		case due.HydroOverdue:
			f.Status = finding.Note // T15: full and filled in date may be used until empty
			if c.Policy.Cylinders.StrictOutOfTest {
				f.Status = finding.Refuse
			}
			w := finding.Word("", dayOr(d.Hydro, "not known"))
			f.Limit = &w
		default:
			f.Status = finding.Refuse
			if why == due.VisualOverdue {
				w := finding.Word("", dayOr(d.Visual, "not known"))
				f.Limit = &w
			}
			if why == due.FilledOutOfDate {
				w := finding.Word("", allWords(due.MayFill(dc, filled, rules).Why))
				f.Limit = &w
			}
		}
		out = append(out, f)
	}
	if len(out) == 0 {
		out = append(out, base)
	}
	if may.Use.Answer.Blocks() && !anyBlocks(out) {
		// The package says no for a reason not in the list above: never a pass.
		f := base
		f.Status, f.Code, f.Path = finding.Indeterminate, "no_answer", at
		out = append(out, f)
	}
	for _, caution := range d.Caution {
		f := base
		f.Status, f.Code = finding.Caution, caution
		out = append(out, f)
	}
	return out
}

func (c *Case) cylinderPath(id string) string {
	for i := range c.In.Cylinders {
		if c.In.Cylinders[i].ID == id {
			return path("cylinders", i, "events")
		}
	}
	return "cylinders"
}

func anyBlocks(fs []finding.Finding) bool {
	for _, f := range fs {
		if f.Blocks() {
			return true
		}
	}
	return false
}
