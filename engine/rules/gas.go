package rules

import (
	"math"

	"lastlight/engine/analysis"
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
)

// gasRules are about what is breathed: analysed, as planned, breathable at
// every depth.
func gasRules() []Rule {
	return []Rule{
		{
			ID: "gas.analysis", Version: 1, Title: "Analysis holds for the whole dive", Citation: handbook("dates and deadlines", "T29"), Cell: "mix.analysis_days",
			Words: map[string]Words{
				"ok":             {Says: "{subject}: analysed {observed}, holds to the end of {limit}"},
				"not_analysed":   {Says: "{subject}: not analysed", Remedy: "the person who breathes it analyses it before the dive"},
				"old":            {Says: "{subject}: analysed {observed}, held to the end of {limit}", Remedy: "analyse it again"},
				"after_entry":    {Says: "{subject}: analysed {observed}, after the entry", Remedy: "analyse before the dive"},
				"ended":          {Says: "{subject}: the analysis of {observed} ended by {why}", Remedy: "analyse it again"},
				"by_other":       {Says: "{subject}: analysed by {observed}, breathed by {limit}", Remedy: "{limit} analyses it"},
				"nobody_named":   {Says: "{subject}: cannot tell who analysed it", Remedy: "{limit} analyses it"},
				"custody_unread": {Says: "{subject}: cannot tell whether the analysis still holds", Remedy: "analyse it again"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachCylinder(analysed) },
		},
		{
			ID: "gas.measured", Version: 1, Title: "Measured against planned", Citation: handbook("dates and deadlines", "T30"), Cell: "mix.o2_tolerance_points",
			Words: map[string]Words{
				"ok":              {Says: "{subject}: measured {observed} against a plan of {limit}, MOD {mod}"},
				"not_analysed":    {Says: "{subject}: cannot tell, nothing measured", Remedy: "analyse it"},
				"o2_off":          {Says: "{subject}: oxygen measured {observed} against a plan of {limit}: off by {shortfall}", Remedy: "plan the dive again on the measured mix"},
				"he_off":          {Says: "{subject}: helium measured {observed} against a plan of {limit}: off by {shortfall}", Remedy: "plan the dive again on the measured mix"},
				"deeper_than_mod": {Says: "{subject}: MOD {limit} from the measured {o2}, the plan goes to {observed}: {shortfall} too deep", Remedy: "stay above {limit} on it"},
				"no_mix":          {Says: "{subject}: cannot tell, {observed}", Remedy: "record the analysis again"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachCylinder(againstPlan) },
		},
		{
			ID: "gas.rich", Version: 1, Title: "Not too rich for the depth", Citation: handbook("practice", "10"), Cell: "mix.po2_working_bar",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: {observed} of oxygen at {depth}, at most {limit}"},
				"rich": {Says: "{subject}: {observed} of oxygen at {depth}, at most {limit}: {shortfall} too much", Remedy: "breathe it no deeper than {mod}"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachSupply(rich) },
		},
		{
			ID: "gas.staged", Version: 1, Title: "Decompression gas waits no deeper than its MOD", Citation: handbook("practice", "4.10"), Cell: "mix.po2_resting_bar",
			Words: map[string]Words{
				"ok":     {Says: "{subject}: waits at {place}, {observed}, MOD {limit}"},
				"none":   {Says: "{subject}: no decompression gas waits in the cave"},
				"deep":   {Says: "{subject}: waits at {place}, {observed}, MOD {limit}: {shortfall} too deep", Remedy: "drop it at {limit} or shallower"},
				"unused": {Says: "{subject}: brought, and never breathed on the dive as planned although it has stops", Remedy: "have it at hand at a stop no deeper than it is breathed, or leave it out"},
			},
			Check: staged,
		},
		{
			ID: "gas.hypoxic", Version: 1, Title: "Not hypoxic", Citation: handbook("practice", "10"), Cell: "mix.po2_floor_bar",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: {observed} of oxygen at the surface, at least {limit}"},
				"hypoxic": {Says: "{subject}: {observed} of oxygen at the surface, at least {limit}: {shortfall} too little", Remedy: "breathe it only below {from}, and start on another gas"},
				"travel":  {Says: "{subject}: {observed} of oxygen at the surface, at least {limit}: breathe it only below {from}"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachSupply(hypoxic) },
		},
		{
			ID: "gas.density", Version: 1, Title: "Gas density", Citation: handbook("physics", "5"), Cell: "mix.density_caution_g_l",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: {observed} at {depth}, at most {limit}"},
				"dense": {Says: "{subject}: {observed} at {depth}, advised at most {limit}"},
				"heavy": {Says: "{subject}: {observed} at {depth}, at most {limit}: {shortfall} too dense", Remedy: "breathe it shallower, or add helium"},
			},
			Check: func(c *Case) []finding.Finding { return c.eachSupply(dense) },
		},
		{
			ID: "gas.switch", Version: 1, Title: "Counterdiffusion at a change of gas", Citation: handbook("physics", "8"), Cell: "mix.switch_nitrogen_share",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: nitrogen rises {observed} when it is taken after {from}, at most {limit}"},
				"none":    {Says: "{subject}: one gas throughout"},
				"outside": {Says: "{subject}: taken after {from}, no helium gives way to nitrogen"},
				"rise":    {Says: "{subject}: nitrogen rises {observed} when it is taken after {from}, advised at most {limit}: a rule of thumb, and disputed"},
			},
			Check: switches,
		},
	}
}

// lastAnalysis is the last analysis on record at or before the entry; where all
// came after it, the last of them; nil where there is none.
func lastAnalysis(cyl *facts.Cylinder, entry calendar.Instant) *facts.Analysis {
	var before, any *facts.Analysis
	for i := range cyl.Analyses {
		a := &cyl.Analyses[i]
		if any == nil || !a.At.Before(any.At) {
			any = a
		}
		if !a.At.After(entry) && (before == nil || !a.At.Before(before.At)) {
			before = a
		}
	}
	if before != nil {
		return before
	}
	return any
}

func analysed(c *Case, s finding.Subject, cyl *facts.Cylinder, sup facts.Supply, at string) []finding.Finding {
	if c.Days.First.IsZero() {
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	a := lastAnalysis(cyl, c.Span.Entry)
	if a == nil {
		f := answer(finding.Refuse, "not_analysed", s)
		f.Path = at
		return one(f)
	}
	q := analysis.Question{AnalysedAt: a.At, Dive: c.dive(), HoldsDays: c.Policy.Mix.AnalysisDays}
	for _, h := range cyl.Handling {
		q.Events = append(q.Events, analysis.Event{Type: analysis.EventType(h.Kind), At: h.At})
	}
	if !cyl.FilledAt.IsZero() {
		q.Events = append(q.Events, analysis.Event{Type: analysis.Fill, At: cyl.FilledAt})
	}
	ans, err := analysis.Judge(q, c.In.Site.Zones...)
	if err != nil {
		return one(c.cannot(s, err, "site.zones"))
	}
	base := measured(pass(s), finding.Word("", c.local(a.At)), finding.Word("", ans.LastDay.String()))
	base.Evidence = record("analysis", a.ID, a.Version)
	var out []finding.Finding
	for _, why := range ans.Why {
		f := base
		f.Status, f.Path = finding.Refuse, at
		switch {
		case why == analysis.AnalysedAfterEntry:
			f.Code = "after_entry"
		case len(why) > len(analysis.EndedBy) && why[:len(analysis.EndedBy)] == analysis.EndedBy:
			f.Code = "ended"
			f.Figures = []finding.Figure{finding.Word("why", words(why[len(analysis.EndedBy):])+" "+c.local(ans.EndedAt))}
		default:
			f.Code = "old"
		}
		out = append(out, f)
	}
	if c.Policy.Mix.AnalysedByDiver && a.By != sup.Diver {
		f := measured(base, finding.Word("", c.nameOf(a.By).Label()), finding.Word("", c.nameOf(sup.Diver).Label()))
		f.Status, f.Code, f.Path = finding.Refuse, "by_other", at
		if a.By == "" {
			f.Status, f.Code = finding.Indeterminate, "nobody_named"
		}
		out = append(out, f)
	}
	if len(out) == 0 {
		out = append(out, base)
	}
	for i := range out {
		out[i].Steps = c.analysisSteps(a, ans.LastDay, out[i])
	}
	return out
}

func againstPlan(c *Case, s finding.Subject, cyl *facts.Cylinder, sup facts.Supply, at string) []finding.Finding {
	a := lastAnalysis(cyl, c.Span.Entry)
	if a == nil {
		f := answer(finding.Indeterminate, "not_analysed", s)
		f.Path = at
		return one(f)
	}
	depth, why := c.deepest(s, sup, at)
	decimal := func(text string) (analysis.Decimal, error) {
		if text == "" {
			text = "0"
		}
		return analysis.ParseDecimal(text)
	}
	limit := c.Policy.Mix.PO2WorkingBar
	if sup.Resting {
		limit = c.Policy.Mix.PO2RestingBar
	}
	var l analysis.Label
	var r analysis.LabelRules
	var err error
	read := func(into *analysis.Decimal, d analysis.Decimal, e error) {
		*into = d
		if e != nil && err == nil {
			err = e
		}
	}
	put := func(into *analysis.Decimal, text string) { d, e := decimal(text); read(into, d, e) }
	num := func(into *analysis.Decimal, x float64) { d, e := analysis.FromFloat(x); read(into, d, e) }
	put(&l.PlanOxygen, sup.PlannedO2)
	put(&l.PlanHelium, sup.PlannedHe)
	put(&l.MeasuredOxygen, a.O2)
	put(&l.MeasuredHelium, a.He)
	num(&l.MaxOxygenBar, limit)
	put(&r.OxygenTolerance, c.Policy.Mix.O2TolerancePoints)
	put(&r.HeliumTolerance, c.Policy.Mix.HeTolerancePoints)
	num(&r.HypoxicBar, c.Policy.Mix.PO2FloorBar)
	if why == nil {
		var depthD analysis.Decimal
		num(&depthD, depth)
		l.PlanDepthM = &depthD
	}
	var ans analysis.LabelAnswer
	if err == nil {
		ans, err = analysis.JudgeLabel(l, r)
	}
	if err != nil {
		f := answer(finding.Indeterminate, "no_mix", s)
		w := finding.Word("", err.Error())
		f.Observed, f.Path = &w, at
		return one(f)
	}
	percent := func(d analysis.Decimal) finding.Figure { return finding.Number("", d.Float(), 2, "%") }
	mod := finding.CountOf("mod", ans.MODM, "m")
	base := measured(pass(s), percent(l.MeasuredOxygen), percent(l.PlanOxygen))
	o2 := percent(l.MeasuredOxygen)
	o2.Name = "o2"
	base.Figures = []finding.Figure{mod, o2}
	base.Evidence = record("analysis", a.ID, a.Version)
	var out []finding.Finding
	if why != nil { // what is off is told all the same
		out = append(out, *why)
	}
	for _, code := range ans.Why {
		f := base
		f.Status, f.Code, f.Path = finding.Refuse, code, at
		switch code {
		case analysis.OxygenOff:
			short := finding.Number("", math.Abs(l.MeasuredOxygen.Float()-l.PlanOxygen.Float()), 2, "points")
			f.Shortfall = &short
		case analysis.HeliumOff:
			f = measured(f, percent(l.MeasuredHelium), percent(l.PlanHelium))
			short := finding.Number("", math.Abs(l.MeasuredHelium.Float()-l.PlanHelium.Float()), 2, "points")
			f.Shortfall = &short
		case analysis.DeeperThanMOD:
			short := finding.Number("", depth-float64(ans.MODM), 1, "m")
			f = measured(f, finding.Number("", depth, 1, "m"), finding.CountOf("", ans.MODM, "m"))
			f.Shortfall = &short
		}
		out = append(out, f)
	}
	if len(out) == 0 {
		out = append(out, base)
	}
	return out
}

// deepest is how deep a supply is breathed: as declared, never deeper than the
// route; else anywhere on the route. Where it cannot be told the finding says why:
// how deep a gas for decompression is breathed nobody knows without its mix and the water.
func (c *Case) deepest(s finding.Subject, sup facts.Supply, at string) (float64, *finding.Finding) {
	why := func(f finding.Finding) (float64, *finding.Finding) { return 0, &f }
	if !c.Network.Depth.Known {
		return why(c.routeUnknown(s))
	}
	if d, told := c.declaredDepth(sup); told {
		return d, nil
	}
	if sup.Role == facts.Deco {
		if c.Water == nil {
			return why(unknown(s, "the water", "site"))
		}
		if _, ok := c.mixOf(sup); !ok {
			return why(unknown(s, "the mix", at))
		}
	}
	return c.Network.Depth.Value, nil
}

// eachSupply asks a question about every supply with a known mix and water.
func (c *Case) eachSupply(ask func(*Case, finding.Subject, gas.Mix, facts.Supply, string) []finding.Finding) []finding.Finding {
	out := make([]finding.Finding, 0, len(c.In.Plan.Supplies))
	for i, sup := range c.In.Plan.Supplies {
		s, at := c.supply(sup), path("plan.supplies", i, "")
		mix, ok := c.breathed(sup)
		if !ok {
			out = append(out, unknown(s, "the mix", at))
			continue
		}
		if c.Water == nil {
			out = append(out, unknown(s, "the water", "site"))
			continue
		}
		out = append(out, ask(c, s, mix, sup, at)...)
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "which gas is dived", "plan.supplies"))
	}
	return out
}

// breathed is the planned mix, with the oxygen of the richest measurement and
// the helium of the poorest where one was made: nothing measured makes it richer
// or denser than it is judged.
func (c *Case) breathed(s facts.Supply) (gas.Mix, bool) {
	m, ok := c.mixOf(s)
	for _, id := range s.Cylinders {
		cyl := c.In.Cylinder(id)
		if cyl == nil {
			continue
		}
		if a := lastAnalysis(cyl, c.Span.Entry); a != nil {
			if o2, err := analysis.ParseDecimal(a.O2); err == nil && o2.Float()/100 > m.O2 && o2.Float()/100+m.He <= 1 {
				m.O2 = o2.Float() / 100
			}
			if he, err := analysis.ParseDecimal(a.He); err == nil {
				m.He = min(m.He, he.Float()/100)
			}
		}
	}
	return m, ok
}

// leanest is the mix with the least oxygen of what is planned and what was
// measured in any of the supply's cylinders. What an analyser may show for air
// is air.
func (c *Case) leanest(s facts.Supply, m gas.Mix) gas.Mix {
	air, err := analysis.ParseDecimal(c.Policy.Mix.AirReadingLow)
	isAir := func(o2 analysis.Decimal) bool { return err == nil && o2.Float() >= air.Float() }
	if planned, ok := c.mixOf(s); ok {
		m = planned
	}
	for _, id := range s.Cylinders {
		cyl := c.In.Cylinder(id)
		if cyl == nil {
			continue
		}
		if a := lastAnalysis(cyl, c.Span.Entry); a != nil {
			if o2, err := analysis.ParseDecimal(a.O2); err == nil && !isAir(o2) {
				m.O2 = min(m.O2, o2.Float()/100)
			}
		}
	}
	return m
}

func rich(c *Case, s finding.Subject, m gas.Mix, sup facts.Supply, at string) []finding.Finding {
	depth, why := c.deepest(s, sup, at)
	if why != nil {
		return one(*why)
	}
	limit := c.Policy.Mix.PO2WorkingBar
	if sup.Resting { // as the stops are planned (D45): else oxygen could not be breathed at 6 m of fresh water
		limit = c.Policy.Mix.PO2RestingBar + gas.OxygenSlack
	}
	po2 := m.O2 * c.Water.Pressure(depth)
	f := measured(pass(s), finding.Number("", po2, 2, "bar"), finding.Number("", limit, 2, "bar"))
	mod := math.Min(math.Floor(c.Water.Depth(limit/m.O2)+1e-9), c.labelMOD(sup, m)) // what gas.measured would refuse is no remedy
	f.Figures = []finding.Figure{finding.Number("depth", depth, 1, "m"), finding.Number("mod", mod, 0, "m")}
	if po2 > limit+1e-9 {
		short := finding.Number("", po2-limit, 3, "bar")
		f.Status, f.Code, f.Path, f.Shortfall = finding.Refuse, "rich", at, &short
	}
	f.Steps = c.oxygenSteps(m, depth, at+", the richest analysis where one is richer", f)
	return one(f)
}

func hypoxic(c *Case, s finding.Subject, m gas.Mix, sup facts.Supply, at string) []finding.Finding {
	m = c.leanest(sup, m)
	floor := gas.LeastOxygen(c.Policy.Mix.PO2FloorBar, *c.Water)
	po2 := m.O2 * c.Water.Surface
	f := measured(pass(s), finding.Number("", po2, 3, "bar"), finding.Number("", floor, 3, "bar"))
	if po2 < floor-1e-9 {
		short := finding.Number("", floor-po2, 3, "bar")
		f.Status, f.Code, f.Path, f.Shortfall = finding.Refuse, "hypoxic", at, &short
		f.Figures = []finding.Figure{finding.Number("from", math.Ceil(c.Water.Depth(floor/m.O2)-1e-9), 0, "m")}
		if sup.Role != facts.Main {
			f.Status, f.Code = finding.Caution, "travel"
		}
	}
	f.Steps = c.oxygenSteps(m, 0, at+", the leanest analysis where one is leaner", f)
	return one(f)
}

func dense(c *Case, s finding.Subject, m gas.Mix, sup facts.Supply, at string) []finding.Finding {
	depth, why := c.deepest(s, sup, at)
	if why != nil {
		return one(*why)
	}
	d := m.Density(c.Water.Pressure(depth), gas.DensityKelvin)
	p := c.Policy.Mix
	f := measured(pass(s), finding.Number("", d, 2, "g/L"), finding.Number("", p.DensityCautionGL, 2, "g/L"))
	f.Figures = []finding.Figure{finding.Number("depth", depth, 1, "m")}
	switch {
	case d > p.DensityRefuseGL:
		limit, short := finding.Number("", p.DensityRefuseGL, 2, "g/L"), finding.Number("", d-p.DensityRefuseGL, 2, "g/L")
		f.Status, f.Code, f.Path, f.Limit, f.Shortfall = finding.Refuse, "heavy", at, &limit, &short
	case d > p.DensityCautionGL:
		f.Status, f.Code = finding.Caution, "dense"
	}
	f.Steps = c.densitySteps(m, depth, at+", the analysis where one has more oxygen or less helium", f)
	return one(f)
}
