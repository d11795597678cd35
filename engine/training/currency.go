package training

import (
	"cmp"
	"slices"

	"lastlight/engine/calendar"
)

// CurrencyRules are the club's numbers for currency (T25).
type CurrencyRules struct {
	Dives           int `json:"dives"`             // 6 that count
	WithinMonths    int `json:"within_months"`     // 12: a dive counts through its day and this
	EasierAfterDays int `json:"easier_after_days"` // 90 since the last that counts
	RefresherMonths int `json:"refresher_months"`  // 12: beyond, a refresher
	ReassessMonths  int `json:"reassess_months"`   // 24: beyond, a re-assessment
	GraceMonths     int `json:"grace_months"`      // after the card's issue the dives are not asked this long; 0 = no grace
}

// ZoneClass is where a dive was.
type ZoneClass string

// The classes of a dive; any other is no overhead.
const (
	ZoneCavern ZoneClass = "cavern" // daylight zone
	ZoneDark   ZoneClass = "dark"
)

// Dive is a recorded, closed dive. One of the day asked counts only if it was
// signed out before entry: the caller leaves out the others.
type Dive struct {
	ID         string       `json:"-"`                     // names the dive in Currency.Counted
	Day        calendar.Day `json:"date"`                  // its entry's site-local day
	CountedAs  Level        `json:"rung"`                  // level the diver counted as
	Zone       ZoneClass    `json:"zone_class"`            //
	TrainingAs Level        `json:"training_as,omitempty"` // level of a training dive with an instructor
}

// CurrencyQuestion asks how current a diver is at a level on a day.
type CurrencyQuestion struct {
	Level      Level          `json:"level"`
	Ladder     []Level        `json:"ladder"` // easiest first
	Cavern     Level          `json:"cavern"` // the level for which any overhead counts
	Issued     calendar.Day   `json:"issued"` // of the card
	Dives      []Dive         `json:"dives"`  // in any order
	Reassessed []calendar.Day `json:"reassessed"`
	On         calendar.Day   `json:"on"`
}

// State of a diver's currency.
type State string

// The states, best first.
const (
	StateCurrent       State = "current"
	StateOneStepEasier State = "one_step_easier"
	StateRefresher     State = "refresher"    // training kind only
	StateReassessment  State = "reassessment" // training kind only
)

// TrainingOnly reports that only a training dive with an instructor is left.
func (s State) TrainingOnly() bool { return s == StateRefresher || s == StateReassessment }

// Causes of a step easier.
const (
	CauseDives     = "dives_in_12_months"
	CauseDaysSince = "days_since_last"
)

// Currency is how current a diver is.
type Currency struct {
	Count     int          `json:"count"`      // dives that count on the day
	Last      calendar.Day `json:"last"`       // dive, re-assessment, or the card's issue where neither is later
	DaysSince int          `json:"days_since"` // from Last
	State     State        `json:"state"`
	Causes    []string     `json:"causes"` // empty while the state itself is the reason

	ChangesOn calendar.Day `json:"changes_on,omitzero"` // next day on which state or causes change with no new dive; none = never
	ChangesTo State        `json:"changes_to,omitempty"`
	Tally     Tally        `json:"-"` // the dives behind Count
	Since     calendar.Day `json:"-"` // the clocks of refresher and re-assessment run from here: Last, or the last before a gap not healed
}

// CurrencyOn tells how current the diver is (T25). It reports false when the
// level or the day of issue is missing: then nothing can be told.
func CurrencyOn(q CurrencyQuestion, rules CurrencyRules) (Currency, bool) {
	if q.Issued.IsZero() || q.On.IsZero() || !slices.Contains(q.Ladder, q.Level) {
		return Currency{}, false
	}
	h := q.history()
	out := h.on(q.On, rules)
	out.Tally = TallyOn(h.dives(), q.On, rules.WithinMonths)
	for _, day := range h.candidates(q.On, rules) {
		then := h.on(day, rules)
		if then.State != out.State || !slices.Equal(then.Causes, out.Causes) {
			out.ChangesOn, out.ChangesTo = day, then.State
			break
		}
	}
	return out, true
}

// StateOn is the part of CurrencyOn that a rule compares: without the day on
// which it changes and the dives behind it, for questions asked thousands of times.
func StateOn(q CurrencyQuestion, rules CurrencyRules) (Currency, bool) {
	if q.Issued.IsZero() || q.On.IsZero() || !slices.Contains(q.Ladder, q.Level) {
		return Currency{}, false
	}
	return q.history().on(q.On, rules), true
}

// clockEvent is what starts the clocks anew: a dive that counts, or a re-assessment.
type clockEvent struct {
	id             string
	day            calendar.Day
	dive           bool
	heals12        bool // a training dive at the level
	isReassessment bool
}

// history is what counts at the level, up to the day asked, in order of days.
type history struct {
	issued calendar.Day
	events []clockEvent
}

func (q CurrencyQuestion) history() history {
	h := history{issued: q.Issued}
	level := slices.Index(q.Ladder, q.Level)
	for _, d := range q.Dives {
		if d.Day.IsZero() || d.Day.After(q.On) {
			continue
		}
		training := d.TrainingAs != "" && slices.Index(q.Ladder, d.TrainingAs) >= level
		overhead := d.Zone == ZoneDark || d.Zone == ZoneCavern && q.Level == q.Cavern
		rung := slices.Index(q.Ladder, d.CountedAs)
		if training || overhead && rung >= 0 && rung >= level-1 {
			h.events = append(h.events, clockEvent{id: d.ID, day: d.Day, dive: true, heals12: training})
		}
	}
	for _, day := range q.Reassessed {
		if !day.IsZero() && !day.After(q.On) {
			h.events = append(h.events, clockEvent{day: day, isReassessment: true})
		}
	}
	slices.SortStableFunc(h.events, func(a, b clockEvent) int {
		// Of one day what heals comes first, so that the day's other dives count on from it.
		return cmp.Or(a.day.Compare(b.day), -cmp.Compare(a.rank(), b.rank()))
	})
	return h
}

func (h history) dives() (done []Done) {
	for _, e := range h.events {
		if e.dive {
			done = append(done, Done{ID: e.id, Day: e.day})
		}
	}
	return done
}

func (e clockEvent) rank() int {
	switch {
	case e.isReassessment:
		return 2
	case e.heals12:
		return 1
	}
	return 0
}

// on judges a day at or after the one asked, with no new event.
func (h history) on(day calendar.Day, rules CurrencyRules) Currency {
	out := Currency{Last: h.issued, Causes: []string{}}
	for _, e := range h.events {
		if e.dive && Counts(e.day, day, rules.WithinMonths) {
			out.Count++
		}
		if e.day.After(out.Last) {
			out.Last = e.day
		}
	}
	out.DaysSince = day.Sub(out.Last)
	anchor := h.anchor(rules)
	out.Since = anchor
	switch {
	case day.After(anchor.AddMonths(rules.ReassessMonths)):
		out.State = StateReassessment
		return out
	case day.After(anchor.AddMonths(rules.RefresherMonths)):
		out.State = StateRefresher
		return out
	}
	if out.DaysSince > rules.EasierAfterDays {
		out.Causes = append(out.Causes, CauseDaysSince)
	}
	if out.Count < rules.Dives && !h.inGrace(day, rules) {
		out.Causes = append(out.Causes, CauseDives)
	}
	out.State = StateCurrent
	if len(out.Causes) > 0 {
		out.State = StateOneStepEasier
	}
	return out
}

func (h history) inGrace(day calendar.Day, rules CurrencyRules) bool {
	return rules.GraceMonths > 0 && !day.After(h.issued.AddMonths(rules.GraceMonths))
}

// anchor is the day from which the clocks of refresher and re-assessment run:
// the last event, or the last before a gap that nothing has healed. A gap beyond
// RefresherMonths is healed by a training dive at the level or a re-assessment,
// beyond ReassessMonths by a re-assessment only.
func (h history) anchor(rules CurrencyRules) calendar.Day {
	anchor := h.issued
	for _, e := range h.events {
		if !e.day.After(anchor) {
			continue
		}
		within12 := !e.day.After(anchor.AddMonths(rules.RefresherMonths))
		within24 := !e.day.After(anchor.AddMonths(rules.ReassessMonths))
		if within12 || e.isReassessment || e.heals12 && within24 {
			anchor = e.day
		}
	}
	return anchor
}

// candidates are the days after the one asked on which anything can change:
// each expiry and the day after it, in order.
func (h history) candidates(on calendar.Day, rules CurrencyRules) []calendar.Day {
	last, anchor := h.issued, h.anchor(rules)
	days := []calendar.Day{
		anchor.AddMonths(rules.RefresherMonths).Add(1),
		anchor.AddMonths(rules.ReassessMonths).Add(1),
		h.issued.AddMonths(rules.GraceMonths).Add(1),
	}
	for _, e := range h.events {
		days = append(days, e.day.AddMonths(rules.WithinMonths).Add(1))
		if e.day.After(last) {
			last = e.day
		}
	}
	days = append(days, last.Add(rules.EasierAfterDays+1))
	days = slices.DeleteFunc(days, func(d calendar.Day) bool { return !d.After(on) })
	slices.SortFunc(days, calendar.Day.Compare)
	return slices.Compact(days)
}

// Endorsement is whether an endorsement counts (T26).
type Endorsement struct {
	Count   int          `json:"count"`    // uses that count on the day
	Current bool         `json:"current"`  // false: it does not count; no step
	LastDay calendar.Day `json:"last_day"` // of the use that is needed; none = too few uses ever
}

// EndorsementOn counts uses, each through its day and withinMonths (12). least
// (4) of them are needed; 0 asks for none and the endorsement does not end.
func EndorsementOn(uses []calendar.Day, on calendar.Day, least, withinMonths int) Endorsement {
	var past []calendar.Day
	for _, u := range uses {
		if !u.IsZero() && !u.After(on) {
			past = append(past, u)
		}
	}
	slices.SortFunc(past, func(a, b calendar.Day) int { return b.Compare(a) })
	var out Endorsement
	for _, u := range past {
		if Counts(u, on, withinMonths) {
			out.Count++
		}
	}
	out.Current = out.Count >= least
	if least > 0 && len(past) >= least {
		out.LastDay = past[least-1].AddMonths(withinMonths)
	}
	return out
}
