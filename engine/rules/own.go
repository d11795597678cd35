package rules

import (
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/ownrules"
	"lastlight/engine/policy"
	"lastlight/engine/training"
)

// notInView are the rules whose answers no expression of the club reads: they tell of a person's health, age, cards or consumption.
var notInView = map[string]bool{
	"diver.medical": true, "diver.not_diving": true, "diver.card": true, "diver.minimum_age": true, "diver.guardian_consent": true,
	"diver.consumption": true, "diver.currency": true, "diver.step_down": true,
}

// ownFindings asks the club's own rules, once the built-in ones have answered. They add findings and can do nothing else.
func ownFindings(c *Case, builtIn []finding.Finding) []finding.Finding {
	var inForce []policy.OwnRule
	var out []finding.Finding
	for _, r := range c.Policy.OwnRules {
		shell := ownShell(r)
		if shell.inForce(c) {
			inForce = append(inForce, r)
			continue
		}
		f := answer(finding.NotApplicable, "not_in_force", c.plan())
		shell.finish(c, &f, shell.cited(c))
		out = append(out, f)
	}
	if len(inForce) == 0 {
		return out
	}
	answers := ownrules.Judge(inForce, c.view(builtIn))
	asked := map[string]bool{}
	for _, a := range answers {
		asked[a.Rule.ID] = true
		f := c.ownFinding(a)
		shell := ownShell(a.Rule)
		shell.finish(c, &f, shell.cited(c))
		out = append(out, f)
	}
	for _, r := range inForce {
		if !asked[r.ID] {
			f := answer(finding.NotApplicable, "none", c.plan())
			shell := ownShell(r)
			shell.finish(c, &f, shell.cited(c))
			out = append(out, f)
		}
	}
	return out
}

// ownShell is an own rule as the table's rules are, for what all of them share: dates in force, citation, words.
func ownShell(r policy.OwnRule) *Rule {
	return &Rule{
		ID: r.ID, Version: 1, Title: r.Title, Citation: r.Citation, From: r.From, To: r.To,
		Words: map[string]Words{
			"broken":    {Says: "{subject}: " + r.Says, Remedy: r.Remedy},
			"none":      {Says: "the plan has nothing that the rule is about"},
			"cannot":    {Says: "{subject}: cannot tell whether " + r.Title + " holds: {observed}", Remedy: "enter what is missing, or have the club mend its rule"},
			"due_entry": {Says: "{subject}: " + r.Title + " is asked again at entry: {observed}", Remedy: "record the reading of the day of entry"},
		},
	}
}

// ownFinding turns an answer into a finding.
func (c *Case) ownFinding(a ownrules.Answer) finding.Finding {
	s, at := c.plan(), "plan"
	switch a.Rule.About {
	case policy.AboutSite:
		s, at = c.site(), "site"
	case policy.AboutDiver:
		s, at = c.Team[a.Index].subject(), c.Team[a.Index].Path
	case policy.AboutSupply:
		s, at = c.supply(c.In.Plan.Supplies[a.Index]), path("plan.supplies", a.Index, "")
	case policy.AboutCylinder:
		id := c.viewedCylinders()[a.Index]
		s, at = c.cylinder(id.ID), path("plan.supplies", id.supply, path("cylinders", id.n, ""))
	case policy.AboutItem:
		carried := c.In.Plan.Carries[a.Index]
		s, at = finding.Subject{Kind: finding.KindItem, ID: carried.Item}, path("plan.carries", a.Index, "")
		if x := c.In.Item(carried.Item); x != nil {
			s.Name = x.Name
		}
	}
	f := pass(s)
	f.Path = at
	result := "holds"
	switch a.Outcome {
	case ownrules.Holds:
	case ownrules.Broken:
		f.Status, f.Code, result = a.Rule.Otherwise.Status(), "broken", "does not hold"
		if f.Status == finding.NeedsWaiver {
			f.Waiver = &finding.Waiver{Roles: append([]string(nil), a.Rule.WaivedBy...), SecondApprover: a.Rule.SecondApprover}
		}
	default:
		why := finding.Word("", c.named(a.Why))
		f.Status, f.Code, f.Observed, result = finding.Indeterminate, "cannot", &why, "cannot be told"
		if OnEarlierDay(c.In) && c.Policy.Readings.DueAtEntry && readingsOnly(a.Missing) {
			f.Status, f.Code, f.DueAt, result = finding.Note, "due_entry", finding.AtEntry, "asked again at entry"
		}
	}
	step := finding.Step{What: a.Rule.Title, Formula: a.Rule.Holds, Result: finding.Word("", result)}
	for _, r := range a.Read {
		x := finding.Word(r.Path, c.nameInPlaceOf(r.Text))
		if r.Number != nil {
			x = finding.Number(r.Path, *r.Number, 4, "")
		}
		if r.Own != "" {
			x = x.Own(r.Own)
		}
		step.Inputs = append(step.Inputs, x.At("view."+r.Path))
	}
	for _, m := range a.Missing {
		step.Inputs = append(step.Inputs, finding.Word(m, "not on record").At("view."+m))
	}
	f.Steps = []finding.Step{step}
	return f
}

// nameInPlaceOf gives a diver's name for their pseudonym: a reader who saw both beside each other could tell whom every other record means.
func (c *Case) nameInPlaceOf(text string) string {
	for _, m := range c.Team {
		if m.Diver == text {
			return m.subject().Label()
		}
	}
	return text
}

// readingsOnly tells whether nothing is missing but what a reading of the day of entry will say.
func readingsOnly(missing []string) bool {
	for _, m := range missing {
		if m != "site.level_m" && m != "site.flow" && m != "site.visibility_m" {
			return false
		}
	}
	return len(missing) > 0
}

// aMonday is where days of the week are counted from.
var aMonday, _ = calendar.NewDay(2024, 1, 1)

// view is what the club's own rules read of the case.
func (c *Case) view(builtIn []finding.Finding) ownrules.View {
	p := c.In.Plan
	v := ownrules.View{
		Plan: ownrules.Plan{ID: p.ID, Kind: string(p.Kind), Night: p.Night, VerifiedLegs: p.VerifiedLegs, Standby: int64(len(p.Standby)), Cover: int64(len(p.Cover))},
		Site: ownrules.Site{ID: c.In.Site.ID, Grade: whole(c.In.Site.Grade), AltitudeM: c.In.Site.AltitudeM, WaterC: c.In.Site.WaterC},
	}
	if r := c.todays(); r != nil {
		v.Site.LevelM, v.Site.VisibilityM = r.LevelM, r.VisibilityM
		if r.Flow != "" {
			v.Site.Flow = &r.Flow
		}
	}
	if !c.EntryDay.IsZero() {
		day, weekday := c.EntryDay.String(), int64((c.EntryDay.Sub(aMonday)%7+7)%7+1)
		v.Plan.EntryDay, v.Plan.Weekday = &day, &weekday
		if w, err := c.In.Site.Zones[0].Wall(c.Span.Entry); err == nil {
			minute := int64(w.Minute)
			v.Plan.EntryMin = &minute
		}
	}
	c.viewRoute(&v.Plan)
	for _, m := range c.Team {
		v.Team = append(v.Team, c.viewDiver(m))
	}
	for _, s := range p.Supplies {
		v.Supplies = append(v.Supplies, c.viewSupply(s))
	}
	for _, d := range c.viewedCylinders() {
		v.Cylinders = append(v.Cylinders, c.viewCylinder(d))
	}
	for _, k := range p.Carries {
		x := ownrules.Item{ID: k.Item, Diver: k.Diver, Count: int64(max(1, k.Count))}
		if item := c.In.Item(k.Item); item != nil {
			x.Kind, x.BurnMin, x.LengthM = string(item.Kind), item.BurnMin, item.LengthM
			x.Made = dateOf(item.Made)
			for _, e := range item.Events {
				x.Checked = later(x.Checked, e.On)
			}
		}
		v.Items = append(v.Items, x)
	}
	v.Report.Verdict = string(finding.Worst(builtIn))
	for i := range builtIn {
		f := &builtIn[i]
		if notInView[f.Rule] {
			continue
		}
		x := ownrules.Finding{Rule: f.Rule, Status: string(f.Status), Code: f.Code, SubjectKind: string(f.Subject.Kind), Subject: f.Subject.ID, Unit: f.Unit}
		if f.Observed != nil {
			x.Observed = f.Observed.Number
		}
		if f.Limit != nil {
			x.Limit = f.Limit.Number
		}
		v.Report.Findings = append(v.Report.Findings, x)
	}
	return v
}

// viewRoute gives what the route comes to; where it could not be computed nothing of it is on record.
func (c *Case) viewRoute(p *ownrules.Plan) {
	if c.Network.Known {
		circuit, traverse := len(c.Network.Circuit) > 0, len(c.Network.Traverse) > 0
		p.Circuit, p.Traverse = &circuit, &traverse
	}
	if !c.computed() {
		return
	}
	s := c.Route.Summary
	p.MaxDepthM, p.PenetrationM, p.FlowMMin = &s.MaxDepthM, &s.PenetrationM, &s.StrongestFlow
	p.Jumps, p.Gaps, p.Minor, p.Major = whole(&s.Jumps), whole(&s.Gaps), whole(&s.MinorRestrict), whole(&s.MajorRestrict)
	_, turn := c.Farthest()
	turn = finding.Round9(turn)
	p.TurnMin = &turn
	if c.Span.RuntimeMin > 0 {
		runtime := finding.Round9(c.Span.RuntimeMin)
		p.RuntimeMin = &runtime
	}
	if c.Dive != nil {
		p.StopMin = whole(&c.Dive.Schedule.StopMin)
	}
}

func (c *Case) viewDiver(m Member) ownrules.Diver {
	d := ownrules.Diver{ID: m.Diver, Leader: m.Leader, Instructor: m.Instructor, Scooter: m.Scooter, Endorsements: m.Endorsed}
	if m.Known && m.Counts != "" {
		d.Level = &m.Counts
	}
	r := m.Record
	if r == nil {
		return d
	}
	d.Guest = r.Guest
	if !r.Birth.IsZero() && !c.EntryDay.IsZero() {
		age := int64(training.AgeOn(r.Birth, c.EntryDay))
		d.AgeYears = &age
	}
	here := false
	var last calendar.Day
	for _, past := range r.Dives {
		if past.EntryDay.After(c.EntryDay) {
			continue
		}
		here = here || past.Site == c.In.Site.ID
		if past.EntryDay.After(last) {
			last = past.EntryDay
		}
	}
	if !c.EntryDay.IsZero() {
		d.BeenHere = &here
		if !last.IsZero() {
			days := int64(c.EntryDay.Sub(last))
			d.SinceLastDays = &days
		}
	}
	if r.Consumption != nil && r.Consumption.RMVLMin > 0 {
		d.RMVLMin = &r.Consumption.RMVLMin
	}
	return d
}

func (c *Case) viewSupply(s facts.Supply) ownrules.Supply {
	x := ownrules.Supply{ID: s.ID, Diver: s.Diver, Role: string(s.Role), Cylinders: s.Cylinders, StartBar: s.PlannedBar, O2: percentOf(s.PlannedO2), He: percentOf(s.PlannedHe)}
	if s.MeasuredBar != nil {
		x.StartBar = s.MeasuredBar
	}
	if s.PlannedHe == "" && x.O2 != nil {
		x.He = new(float64)
	}
	volume := 0.0
	for _, id := range s.Cylinders {
		cyl := c.In.Cylinder(id)
		if cyl == nil || cyl.VolumeL <= 0 {
			return x
		}
		volume += cyl.VolumeL
	}
	if len(s.Cylinders) > 0 {
		x.VolumeL = &volume
	}
	return x
}

// divedCylinder is a cylinder of the plan, and where in the supplies it stands first.
type divedCylinder struct {
	ID        string
	supply, n int
}

// viewedCylinders lists the cylinders of the supplies, each once: that one is named twice is another rule's to say.
func (c *Case) viewedCylinders() (out []divedCylinder) {
	for i, s := range c.In.Plan.Supplies {
		for n, id := range s.Cylinders {
			if !slices.ContainsFunc(out, func(d divedCylinder) bool { return d.ID == id }) {
				out = append(out, divedCylinder{id, i, n})
			}
		}
	}
	return out
}

func (c *Case) viewCylinder(d divedCylinder) ownrules.Cylinder {
	s := &c.In.Plan.Supplies[d.supply]
	x := ownrules.Cylinder{ID: d.ID, Supply: s.ID, Diver: s.Diver, Role: string(s.Role)}
	cyl := c.In.Cylinder(d.ID)
	if cyl == nil {
		return x
	}
	x.VolumeL, x.RatedBar = positive(cyl.VolumeL), positive(cyl.RatedBar)
	x.Material, x.Regime = wordOf(cyl.Material), wordOf(cyl.Regime)
	if cyl.Clean == "clean" || cyl.Clean == "not_clean" {
		clean := cyl.Clean == "clean"
		x.Clean = &clean
	}
	x.Made = dateOf(cyl.Made)
	for _, e := range cyl.Events {
		switch e.Kind {
		case "hydro":
			x.Hydro = later(x.Hydro, e.On)
		case "visual":
			x.Visual = later(x.Visual, e.On)
		}
	}
	if !cyl.FilledOn.IsZero() {
		x.FilledOn = wordOf(cyl.FilledOn.String())
	}
	if n := len(cyl.Analyses); n > 0 { // oldest first
		last := &cyl.Analyses[n-1]
		x.AnalysedO2, x.AnalysedHe, x.AnalysedBy = percentOf(last.O2), percentOf(last.He), wordOf(last.By)
	}
	return x
}

func positive(v float64) *float64 {
	if v <= 0 {
		return nil
	}
	return &v
}

func wordOf(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func dateOf(m calendar.Mark) *string {
	if m.IsZero() {
		return nil
	}
	return wordOf(m.String())
}

// later is the later of two recorded dates.
func later(so *string, m calendar.Mark) *string {
	if d := dateOf(m); d != nil && (so == nil || *d > *so) {
		return d
	}
	return so
}

func percentOf(text string) *float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		return nil
	}
	return &v
}

func whole(n *int) *int64 {
	if n == nil {
		return nil
	}
	w := int64(*n)
	return &w
}
