package due

import (
	"slices"

	"lastlight/engine/calendar"
)

// Answer to whether something may be done, worst last.
type Answer string

// The answers, in order: a result is the worst of its findings.
const (
	Yes        Answer = "yes"
	Notice     Answer = "notice"
	CannotTell Answer = "cannot_tell" // blocks
	No         Answer = "no"
)

var answerOrder = []Answer{Yes, Notice, CannotTell, No}

// Blocks reports that the thing asked may not be done.
func (a Answer) Blocks() bool { return a != Yes && a != Notice }

// Judgement is the worst answer with everything that was found, sorted.
type Judgement struct {
	Answer Answer   `json:"answer"`
	Why    []string `json:"why"`
}

// find adds reasons to a finding; without a reason there is none.
func (j *Judgement) find(a Answer, why ...string) {
	if len(why) == 0 {
		return
	}
	if slices.Index(answerOrder, a) > slices.Index(answerOrder, j.Answer) {
		j.Answer = a
	}
	for _, w := range why {
		if !slices.Contains(j.Why, w) {
			j.Why = append(j.Why, w)
		}
	}
	slices.Sort(j.Why)
}

// CylinderUse is what one asks of a cylinder.
type CylinderUse struct {
	Cylinder Cylinder      `json:"cylinder"`
	Days     calendar.Days `json:"days"`      // the days the dive touches; one day asked: calendar.On
	FilledOn calendar.Day  `json:"filled_on"` // day of the fill on record; none = unknown
	Strict   bool          `json:"strict"`    // the club refuses use past the hydro date
	Empty    bool          `json:"empty"`     // carried without pressure

	FilledUnder *Regime `json:"filled_under"` // the regime in force on FilledOn; nil: the cylinder's
}

// asFilled is the cylinder under the regime in force when it was filled (T9).
func (in CylinderUse) asFilled() Cylinder {
	c := in.Cylinder
	if in.FilledUnder != nil {
		c.Regime = *in.FilledUnder
	}
	return c
}

// CylinderMay says what may be done with a cylinder.
type CylinderMay struct {
	Fill  Judgement `json:"fill"`
	Use   Judgement `json:"use"`
	Carry Judgement `json:"carry"`
}

// May judges filling, use on a dive, and carriage, on the last day asked
// (T14–T16, T18). The fill is judged on its own day.
func May(in CylinderUse, rules CylinderRules) CylinderMay {
	return CylinderMay{
		Fill:  MayFill(in.Cylinder, in.Days.Last, rules),
		Use:   mayUse(in, rules),
		Carry: mayCarry(in, rules),
	}
}

// MayFill judges a fill or a top-up on the day (T14).
func MayFill(c Cylinder, on calendar.Day, rules CylinderRules) Judgement {
	j := Judgement{Answer: Yes, Why: []string{}}
	c.bans(&j, on)
	f := c.faults(on, rules, true)
	j.find(No, f.over()...)
	j.find(CannotTell, f.unknown...)
	return j
}

func (c Cylinder) bans(j *Judgement, on calendar.Day) {
	if c.banned(on) {
		j.find(No, AlloyRefused)
	}
	if c.damaged(on) {
		j.find(No, InspectionNeeded)
	}
}

// faults are what the clocks say against a cylinder on a day.
type faults struct {
	hydro, visual bool // overdue
	unknown       []string
	due           CylinderDue
}

func (f faults) over() (why []string) {
	if f.hydro {
		why = append(why, HydroOverdue)
	}
	if f.visual {
		why = append(why, VisualOverdue)
	}
	return why
}

// faults looks at the hydro, and at the visual where it binds.
func (c Cylinder) faults(on calendar.Day, rules CylinderRules, visual bool) faults {
	d := DueOn(c, on, rules)
	f := faults{
		hydro:  !d.Hydro.IsZero() && on.After(d.Hydro),
		visual: visual && !d.Visual.IsZero() && on.After(d.Visual),
		due:    d,
	}
	for _, w := range d.Why {
		if visual || w != VisualUnknown {
			f.unknown = append(f.unknown, w)
		}
	}
	return f
}

func mayUse(in CylinderUse, rules CylinderRules) Judgement {
	c, on := in.Cylinder, in.Days.Last
	j := Judgement{Answer: Yes, Why: []string{}}
	c.bans(&j, on)
	f := c.faults(on, rules, true)
	j.find(CannotTell, f.unknown...)
	if f.visual {
		j.find(No, VisualOverdue)
	}
	switch {
	case f.hydro && in.Strict:
		j.find(No, HydroOverdue)
	case f.hydro:
		j.find(Notice, HydroOverdue)
	}
	switch {
	case in.FilledOn.IsZero():
		j.find(CannotTell, FillDateUnknown)
	case in.FilledOn.After(in.Days.First):
		j.find(No, FilledOutOfDate) // what is breathed is not the fill on record
	default:
		switch fill := MayFill(in.asFilled(), in.FilledOn, rules); fill.Answer {
		case No:
			j.find(No, FilledOutOfDate)
		case CannotTell:
			j.find(CannotTell, fill.Why...)
		}
	}
	if j.Answer == Yes && f.due.Next != nil && f.due.Next.LastDay == on {
		j.find(Yes, LastDay)
	}
	return j
}

func mayCarry(in CylinderUse, rules CylinderRules) Judgement {
	if in.Empty {
		return Judgement{Answer: Yes, Why: []string{Empty}}
	}
	c, on := in.Cylinder, in.Days.Last
	j := Judgement{Answer: Yes, Why: []string{}}
	c.bans(&j, on)
	f := c.faults(on, rules, c.Regime.visualBinds())
	j.find(CannotTell, f.unknown...)
	over := f.over()
	switch {
	case len(over) == 0:
	case c.Regime.CarryPastDue != FilledInDate:
		j.find(No, over...)
	case in.FilledOn.IsZero() || in.FilledOn.After(on):
		j.find(CannotTell, append(over, FillDateUnknown)...)
	default:
		then := in.asFilled().faults(in.FilledOn, rules, c.Regime.visualBinds())
		switch {
		case len(then.over()) > 0:
			j.find(No, over...)
		case len(then.unknown) > 0:
			j.find(CannotTell, append(over, then.unknown...)...)
		default:
			j.find(Yes, over...)
		}
	}
	return j
}

// Plus is how far a cylinder may be filled.
type Plus struct {
	Fill   Answer   `json:"fill"`
	MaxPsi int      `json:"max_psi"` // 0 when it may not be filled
	Why    []string `json:"why"`     // why not filled, or why not above the marked pressure
}

// PlusRating gives the largest pressure the cylinder may be filled to on the
// day, in psi, floored (T13): the marked pressure, or more by the club's per
// cent while the plus stands. discOK: a burst disc of the stated kind is on record.
func PlusRating(c Cylinder, on calendar.Day, markedPsi int, discOK bool, rules CylinderRules) Plus {
	fill := MayFill(c, on, rules)
	if fill.Answer != Yes {
		return Plus{Fill: fill.Answer, Why: fill.Why}
	}
	out := Plus{Fill: Yes, MaxPsi: markedPsi, Why: []string{}}
	if !c.plusStands(on) {
		out.Why = append(out.Why, NoPlus)
	}
	if !slices.Contains(rules.PlusSpecs, c.Spec) {
		out.Why = append(out.Why, NotThisSteel)
	}
	if !discOK {
		out.Why = append(out.Why, DiscNotRecorded)
	}
	if len(out.Why) == 0 {
		out.MaxPsi = markedPsi * (100 + rules.PlusPercent) / 100
	}
	slices.Sort(out.Why)
	return out
}

// plusStands: the latest hydro, or manufacture before any, bears the plus. Two
// tests of one day must both bear it.
func (c Cylinder) plusStands(on calendar.Day) bool {
	var last calendar.Day
	plus := c.MadePlus
	for _, e := range c.Events {
		if since := e.since(on); e.Type == EventHydro && !since.IsZero() && !since.Before(last) {
			plus = e.Plus && (since != last || plus)
			last = since
		}
	}
	return plus
}
