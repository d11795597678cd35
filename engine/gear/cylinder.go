// Package gear says how a club's cylinders, sets of cylinders and other kit
// stand on a day: what may be done with each, until when, by which clause. It
// reads the policy's tables for the package due, which answers every question
// about a date; there is no other reading of them.
package gear

import (
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// dueRegime hands a policy's regime to the package due.
func dueRegime(r policy.Regime) (due.Regime, error) {
	binds := r.VisualBindsCarriage
	out := due.Regime{
		Name: r.Name, HydroMonths: r.HydroMonths, VisualMonths: r.VisualMonths,
		Count: due.Count(r.Count), Base: due.Base(r.Base), CarryPastDue: r.CarryPastDue, VisualBindsCarriage: &binds,
	}
	if r.VisualRiskMonths != nil {
		out.VisualRiskMonths = *r.VisualRiskMonths
	}
	if r.VisualHeavyUseMonths != nil {
		out.VisualHeavyUseMonths = *r.VisualHeavyUseMonths
	}
	var err error
	day := func(text string) calendar.Day {
		if text == "" {
			return calendar.Day{}
		}
		d, e := calendar.ParseDay(text)
		if e != nil {
			err = e
		}
		return d
	}
	out.From, out.To = day(r.EffectiveFrom), day(r.EffectiveTo)
	for _, b := range r.AlloyRefusedFrom {
		if out.AlloyRefusedFrom == nil {
			out.AlloyRefusedFrom = map[string]calendar.Day{}
		}
		out.AlloyRefusedFrom[b.Alloy] = day(b.From)
	}
	return out, err
}

// Record hands a cylinder and the policy's table to the package due; ok is
// false where no regime of the policy holds on the day.
func Record(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day) (due.Cylinder, due.CylinderRules, bool) {
	rules := due.CylinderRules{
		DueWithinDays: p.Cylinders.DueSoonDays, EddyCurrentAlloys: p.Cylinders.EddyCurrentAlloys,
		PlusSpecs: p.Cylinders.PlusSpecs, PlusPercent: p.Cylinders.PlusPercent,
	}
	name := cyl.Regime
	if name == "" {
		name = due.Unknown
	}
	var regimes []due.Regime
	for i := range p.Cylinders.Regimes {
		d, err := dueRegime(p.Cylinders.Regimes[i])
		if err != nil {
			return due.Cylinder{}, rules, false
		}
		if d.Name == name || d.Name == due.Unknown { // no other is asked
			regimes = append(regimes, d)
		}
	}
	regime, ok := due.RegimeOn(regimes, name, on)
	if !ok {
		return due.Cylinder{}, rules, false
	}
	out := due.Cylinder{
		Regime: regime, Made: cyl.Made, MadePlus: cyl.MadePlus, FirstService: cyl.FirstService,
		RiskAssessment: cyl.RiskAssessment, HeavyUse: cyl.HeavyUse, Alloy: cyl.Alloy, Spec: cyl.Spec,
	}
	out.Events = make([]due.Event, 0, len(cyl.Events))
	for _, e := range cyl.Events {
		out.Events = append(out.Events, due.Event{
			ID: e.ID, Type: due.EventType(e.Kind), Date: e.On, Recorded: e.Recorded, NextDue: e.NextDue,
			Eddy: e.Eddy, Plus: e.Plus, Star: e.Star, Clears: e.Clears,
		})
	}
	return out, rules, true
}

// Reasons of this package beside those of due.
const (
	InQuarantine = "in_quarantine"
	NoRegime     = "no_regime_in_force"
)

// May is one of the three answers about a cylinder.
type May struct {
	Answer due.Answer       `json:"answer"`
	Why    []string         `json:"why"`
	Until  calendar.Day     `json:"until"`  // last day on which it still may; none: it may not now, or no end is in sight
	Clause finding.Citation `json:"clause"` // the rule that says so: the country's for a test, else ours
}

// The three things asked of a cylinder.
const (
	ToFill  = "fill"
	ToUse   = "use"
	ToCarry = "carry"
)

// Cylinder is how a cylinder stands on a day.
type Cylinder struct {
	Due   due.CylinderDue `json:"due"`
	Fill  May             `json:"fill"`
	Use   May             `json:"use"`   // on a dive, with the fill on record
	Carry May             `json:"carry"` // full; empty it may always be carried (T16)

	FallsFirst string       `json:"falls_first,omitempty"` // fill, use or carry: which of those that it may now ends first
	LastDay    calendar.Day `json:"last_day"`              // of that one

	MaxFillBar float64 `json:"max_fill_bar"` // gauge; the marked pressure, or above while a plus stands; 0: it may not be filled
}

// CylinderOn tells how a cylinder stands on the day. Events later than the day
// do not exist; Until looks ahead with nothing more done to it.
func CylinderOn(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day) Cylinder {
	c, rules, ok := Record(p, cyl, on)
	if !ok {
		none := May{Answer: due.CannotTell, Why: []string{NoRegime}, Clause: dates("T9")}
		return Cylinder{Due: due.CylinderDue{Status: calendar.CannotTell, Why: []string{NoRegime}}, Fill: none, Use: none, Carry: none}
	}
	out := Cylinder{Due: due.DueOn(c, on, rules)}
	now := mayOn(p, cyl, on)
	var ahead []due.CylinderMay
	days := changes(p, cyl, on)
	for _, d := range days {
		ahead = append(ahead, mayOn(p, cyl, d))
	}
	answer := func(what string, pick func(due.CylinderMay) due.Judgement) May {
		j := pick(now)
		m := May{Answer: j.Answer, Why: j.Why, Clause: clause(p, cyl, on, what, j.Why)}
		if j.Answer.Blocks() {
			return m
		}
		for i, d := range days {
			if pick(ahead[i]).Answer.Blocks() {
				m.Until = d.Add(-1)
				if out.LastDay.IsZero() || m.Until.Before(out.LastDay) {
					out.FallsFirst, out.LastDay = what, m.Until
				}
				break
			}
		}
		return m
	}
	out.Fill = answer(ToFill, func(m due.CylinderMay) due.Judgement { return m.Fill })
	out.Use = answer(ToUse, func(m due.CylinderMay) due.Judgement { return m.Use })
	out.Carry = answer(ToCarry, func(m due.CylinderMay) due.Judgement { return m.Carry })
	out.MaxFillBar = MaxFillBar(p, cyl, on)
	return out
}

// mayOn asks due, and takes what is in quarantine out of filling and use; how a
// full cylinder may be carried is the law's to say, not the club's.
func mayOn(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day) due.CylinderMay {
	return MayDuring(p, cyl, calendar.On(on))
}

// MayDuring answers for the days of a dive: the fill on record was there before the first, and the last is judged (T15).
func MayDuring(p *policy.Policy, cyl *facts.Cylinder, days calendar.Days) due.CylinderMay {
	c, rules, ok := Record(p, cyl, days.Last)
	if !ok {
		none := due.Judgement{Answer: due.CannotTell, Why: []string{NoRegime}}
		return due.CylinderMay{Fill: none, Use: none, Carry: none}
	}
	m := due.May(due.CylinderUse{
		Cylinder: c, Days: days, FilledOn: cyl.FilledOn, FilledUnder: RegimeAtFill(p, cyl, cyl.FilledOn), Strict: p.Cylinders.StrictOutOfTest,
	}, rules)
	if cyl.Quarantined != nil {
		for _, j := range []*due.Judgement{&m.Fill, &m.Use} {
			j.Answer = due.No
			j.Why = append(slices.Clone(j.Why), InQuarantine)
			slices.Sort(j.Why)
		}
	}
	return m
}

// RegimeAtFill is the regime under which a cylinder was filled, which may not be
// that of the dive (T9, T15). No regime in force then: one that allows no fill.
func RegimeAtFill(p *policy.Policy, cyl *facts.Cylinder, filled calendar.Day) *due.Regime {
	if filled.IsZero() {
		return nil
	}
	c, _, _ := Record(p, cyl, filled)
	return &c.Regime
}

// changes are the days after on, in order, on which an answer can change with
// nothing more done to the cylinder: the days after its tests and those on which
// another regime takes effect, under which the tests end on other days.
func changes(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day) []calendar.Day {
	var days []calendar.Day
	add := func(day calendar.Day) {
		if !day.IsZero() && day.After(on) && !slices.Contains(days, day) {
			days = append(days, day)
		}
	}
	after := func(last calendar.Day) {
		if !last.IsZero() {
			add(last.Add(1))
		}
	}
	for _, r := range p.Cylinders.Regimes {
		if r.Name == cyl.Regime || r.Name == due.Unknown {
			if from, err := calendar.ParseDay(r.EffectiveFrom); err == nil {
				add(from)
			}
			if to, err := calendar.ParseDay(r.EffectiveTo); err == nil {
				after(to)
			}
		}
	}
	for _, day := range append([]calendar.Day{on}, days...) {
		if c, rules, ok := Record(p, cyl, day); ok {
			d := due.DueOn(c, day, rules)
			after(d.Hydro)
			after(d.Visual)
			add(c.Regime.AlloyRefusedFrom[c.Alloy])
		}
	}
	slices.SortFunc(days, calendar.Day.Compare)
	return days
}

// clause is what an answer rests on: the country's rule where a test or an alloy
// decides, the club's own for damage, quarantine and an unknown fill.
func clause(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day, what string, why []string) finding.Citation {
	switch {
	case slices.Contains(why, InQuarantine):
		return finding.Citation{Document: "method handbook, practice", Edition: "2026", Section: "9.2 D5", DateRead: read}
	case slices.Contains(why, due.InspectionNeeded):
		return dates("T18")
	case slices.Contains(why, due.FillDateUnknown), slices.Contains(why, due.FilledOutOfDate):
		if what == ToCarry {
			return dates("T16")
		}
		return dates("T15")
	}
	if r, ok := RegimeOn(p, cyl, on); ok {
		return r.Citation
	}
	return dates("T9")
}

// RegimeOn is the policy's regime that governs the cylinder on the day.
func RegimeOn(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day) (policy.Regime, bool) {
	c, _, ok := Record(p, cyl, on)
	if !ok {
		return policy.Regime{}, false
	}
	for _, r := range p.Cylinders.Regimes {
		if d, err := dueRegime(r); err == nil && d.Name == c.Regime.Name && d.From == c.Regime.From && d.To == c.Regime.To {
			return r, true
		}
	}
	return policy.Regime{}, false
}

// psiPerBar by the exact pound-force and inch: 100000 / 6894.757293168361.
const psiPerBar = 14.503773773020921

// MaxFillBar is the gauge pressure up to which the cylinder may be filled on the
// day: the marked one, or the per cent above it that a standing plus allows,
// floored to whole psi (T13). 0: it may not be filled, or cannot be told.
func MaxFillBar(p *policy.Policy, cyl *facts.Cylinder, on calendar.Day) float64 {
	if MayDuring(p, cyl, calendar.On(on)).Fill.Answer.Blocks() {
		return 0
	}
	c, rules, ok := Record(p, cyl, on)
	if !ok {
		return 0
	}
	// A pressure marked in psi comes back from bar within a millionth.
	marked := int(float64(cyl.RatedBar*psiPerBar) + 1e-3)
	plus := due.PlusRating(c, on, marked, cyl.Disc, rules)
	if len(plus.Why) > 0 || plus.MaxPsi <= marked {
		return cyl.RatedBar
	}
	return float64(plus.MaxPsi) / psiPerBar
}

const read = "2026-11-25"

// dates cites the handbook's rules about dates.
func dates(section string) finding.Citation {
	return finding.Citation{Document: "method handbook, dates and deadlines", Edition: "2026", Section: section, DateRead: read}
}

// During sets a cylinder's next event against the days of an expedition (T17);
// the regime is that of its last day.
func During(p *policy.Policy, cyl *facts.Cylinder, days calendar.Days) due.Expedition {
	c, rules, ok := Record(p, cyl, days.Last)
	if !ok {
		return due.Expedition{StatusOnLast: calendar.CannotTell, Verdict: string(calendar.CannotTell), Why: []string{NoRegime}}
	}
	return due.DuringExpedition(c, days, rules)
}

// SetOn tells when a set of cylinders falls due: with its worst member (T19).
// The members must be on record; one that is not makes the set untold.
func SetOn(p *policy.Policy, members []*facts.Cylinder, on calendar.Day) due.SetDue {
	var cylinders []due.Cylinder
	var rules due.CylinderRules
	for i, m := range members {
		if m == nil {
			return due.SetDue{Member: i, Status: calendar.CannotTell}
		}
		c, r, ok := Record(p, m, on)
		if !ok {
			return due.SetDue{Member: i, Status: calendar.CannotTell, Why: []string{NoRegime}}
		}
		cylinders, rules = append(cylinders, c), r
	}
	return due.SetDueOn(cylinders, on, rules)
}
