package due

import (
	"slices"

	"lastlight/engine/calendar"
)

// Next is the event that falls due first.
type Next struct {
	Event   EventType    `json:"event"`
	LastDay calendar.Day `json:"last_day"`
}

// CylinderDue is when a cylinder's tests run out, as seen on one day.
type CylinderDue struct {
	Hydro    calendar.Day    `json:"hydro"`  // last good day; none = unknown
	Visual   calendar.Day    `json:"visual"` // last good day; none = unknown
	Next     *Next           `json:"next"`   // nil = cannot tell
	Status   calendar.Status `json:"status"`
	DaysLeft int             `json:"days_left"` // to Next; negative = days over; 0 when Next is nil
	Why      []string        `json:"why,omitempty"`
	Caution  []string        `json:"caution,omitempty"`

	HydroFrom, VisualFrom Anchor `json:"-"` // what the last good days were counted from
}

// Anchor is what a last good day was counted from (T4).
type Anchor struct {
	What     string        // event, first service, manufacture, or next due as stamped
	Mark     calendar.Mark // none: unknown
	Months   int           // 0 for a date that was stamped
	MonthEnd bool          // month-counted, or the day is unknown
}

// lastGood is a last good day with what its reader must be told.
type lastGood struct {
	day             calendar.Day
	assumed         bool // the month's end was taken because the day is unknown
	fromManufacture bool
	anchor          Anchor
}

// clock is a last good day counted from the latest of what starts it.
type clock struct {
	lastGood
	since calendar.Day // of what it was counted from
}

// start counts from something done at or after what counted so far. Of two
// things of one day the earlier last good day holds, in whatever order they are listed.
func (c *clock) start(since calendar.Day, g lastGood) {
	if g.day.IsZero() || since.Before(c.since) || since == c.since && !g.day.Before(c.day) {
		return
	}
	*c = clock{g, since}
}

// DueOn tells when the cylinder's tests run out, as known on the day (T10–T13).
func DueOn(c Cylinder, on calendar.Day, rules CylinderRules) CylinderDue {
	hydro, visual, uncounted := c.clocks(on, rules)
	out := CylinderDue{Hydro: hydro.day, Visual: visual.day, Status: calendar.CannotTell, HydroFrom: hydro.anchor, VisualFrom: visual.anchor}
	if hydro.day.IsZero() {
		out.Why = append(out.Why, HydroUnknown)
		if uncounted {
			out.Why = append(out.Why, NoEddyCurrent)
		}
	}
	if visual.day.IsZero() {
		out.Why = append(out.Why, VisualUnknown)
	}
	if uncounted {
		out.Caution = append(out.Caution, HydroNotCounted)
	}
	if hydro.fromManufacture || visual.fromManufacture {
		out.Caution = append(out.Caution, FromManufacture)
	}
	if hydro.assumed || visual.assumed {
		out.Caution = append(out.Caution, MonthEndTaken)
	}
	if len(out.Why) > 0 {
		return out
	}
	next := Next{EventHydro, hydro.day}
	if visual.day.Before(hydro.day) {
		next = Next{EventVisual, visual.day}
	}
	out.Next = &next
	out.Status = calendar.StatusOn(next.LastDay, on, rules.DueWithinDays)
	out.DaysLeft = next.LastDay.Sub(on)
	return out
}

// clocks gives the last good days of hydro and visual as known on the day.
// uncounted reports a hydro that counts for nothing because the alloy's eddy
// current examination is not on record.
func (c Cylinder) clocks(on calendar.Day, rules CylinderRules) (hydro, visual lastGood, uncounted bool) {
	monthly := c.Regime.Count != CountExact
	good := func(what string, m calendar.Mark, months int, stamped calendar.Mark) lastGood {
		day, assumed := m.LastGood(months, monthly)
		g := lastGood{day: day, assumed: assumed, anchor: Anchor{what, m, months, monthly || !m.DayKnown()}}
		if next, assumed := stamped.LastGood(0, monthly); !next.IsZero() && next.Before(day) {
			g = lastGood{day: next, assumed: assumed, anchor: Anchor{"next due, as stamped", stamped, 0, monthly || !stamped.DayKnown()}}
		}
		return g
	}
	eddy := slices.Contains(rules.EddyCurrentAlloys, c.Alloy) || slices.Contains(c.Regime.EddyCurrentAlloys, c.Alloy)
	months := c.visualMonths(on)
	var hydros, visuals clock
	for _, e := range c.Events {
		since := e.since(on)
		if since.IsZero() {
			continue
		}
		switch e.Type {
		case EventHydro:
			if eddy && !e.Eddy {
				uncounted = true
				continue
			}
			hydros.start(since, good("hydro test", e.Date, c.Regime.HydroMonths, e.NextDue))
			visuals.start(since, good("hydro test", e.Date, months, calendar.Mark{}))
		case EventVisual:
			visuals.start(since, good("visual inspection", e.Date, months, e.NextDue))
		}
	}
	if hydros.since.IsZero() {
		base, fromManufacture := c.base(on)
		what := "manufacture"
		if !fromManufacture && base == c.FirstService {
			what = "first service"
		}
		h, v := good(what, base, c.Regime.HydroMonths, calendar.Mark{}), good(what, base, months, calendar.Mark{})
		h.fromManufacture, v.fromManufacture = fromManufacture, fromManufacture
		hydros.start(base.First(), h)
		visuals.start(base.First(), v)
	}
	return hydros.lastGood, visuals.lastGood, uncounted
}

// base is what counts before the first test (T11).
func (c Cylinder) base(on calendar.Day) (base calendar.Mark, fromManufacture bool) {
	known := func(m calendar.Mark) bool { return !m.IsZero() && !m.First().After(on) }
	if c.Regime.Base == BaseFirstService {
		if known(c.FirstService) {
			return c.FirstService, false
		}
		fromManufacture = true
	}
	if known(c.Made) {
		return c.Made, fromManufacture
	}
	return calendar.Mark{}, false
}

func (c Cylinder) visualMonths(on calendar.Day) int {
	r := c.Regime
	switch {
	case c.HeavyUse && r.VisualHeavyUseMonths > 0:
		return r.VisualHeavyUseMonths
	case r.VisualRiskMonths > 0 && !c.RiskAssessment.IsZero() && !c.RiskAssessment.Last().After(on):
		return r.VisualRiskMonths
	}
	return r.VisualMonths
}

func (e Event) since(on calendar.Day) calendar.Day { return CountsFrom(e.Date, e.Recorded, on) }

// CountsFrom is the day from which something done counts, none if it does not
// count on the day asked. A month without a day counts inside its own month only
// from the day it was recorded, else from the month's last day (T12).
func CountsFrom(date calendar.Mark, recorded, on calendar.Day) calendar.Day {
	from := date.Last()
	if !date.DayKnown() && date.SameMonth(recorded) {
		from = recorded
	}
	if from.IsZero() || from.After(on) {
		return calendar.Day{}
	}
	return from
}

// damaged reports damage that no inspection on or before the day has named (T18).
// Damage dated by its month counts from the month's first day.
func (c Cylinder) damaged(on calendar.Day) bool {
	for _, d := range c.Events {
		if d.Type != EventDamage || d.Date.First().After(on) {
			continue
		}
		cleared := slices.ContainsFunc(c.Events, func(e Event) bool {
			since := e.since(on)
			return e.Type != EventDamage && d.ID != "" && e.Clears == d.ID &&
				!since.IsZero() && !since.Before(d.Date.First())
		})
		if !cleared {
			return true
		}
	}
	return false
}

// banned reports that the regime refuses the alloy on the day.
func (c Cylinder) banned(on calendar.Day) bool {
	from, ok := c.Regime.AlloyRefusedFrom[c.Alloy]
	return ok && !on.Before(from)
}

// Expedition is how a cylinder stands to the days of an expedition (T17).
type Expedition struct {
	Next         *Next           `json:"next"`
	StatusOnLast calendar.Status `json:"status_on_last_day"`
	Verdict      string          `json:"verdict"`
	NoFillFrom   calendar.Day    `json:"no_fill_from,omitzero"` // first day without filling, for WarnCrossing
	Why          []string        `json:"why,omitempty"`
	Caution      []string        `json:"caution,omitempty"`
}

// The verdicts of an expedition; calendar.CannotTell is the fourth.
const (
	InDate         = "in_date"
	WarnCrossing   = "warn_crossing"
	OverdueAtStart = "overdue_at_start"
)

// DuringExpedition sets the next event against the expedition's days; the
// status is told for its last day.
func DuringExpedition(c Cylinder, days calendar.Days, rules CylinderRules) Expedition {
	d := DueOn(c, days.Last, rules)
	out := Expedition{Next: d.Next, StatusOnLast: d.Status, Why: d.Why, Caution: d.Caution}
	switch {
	case d.Next == nil:
		out.Verdict = string(calendar.CannotTell)
	case d.Next.LastDay.Before(days.First):
		out.Verdict = OverdueAtStart
	case d.Next.LastDay.Before(days.Last):
		out.Verdict = WarnCrossing
		out.NoFillFrom = d.Next.LastDay.Add(1)
	default:
		out.Verdict = InDate
	}
	return out
}

// SetDue is when a set of cylinders runs out: with its worst member (T19).
type SetDue struct {
	LastDay calendar.Day    `json:"last_day"`
	Member  int             `json:"member"` // from 0: the worst, or the first that cannot be told; -1 for no members
	Event   EventType       `json:"event,omitempty"`
	Status  calendar.Status `json:"status"`
	Why     []string        `json:"why,omitempty"`
	Caution []string        `json:"caution,omitempty"` // of any member
}

// SetDueOn tells when the set runs out; one member unknown: it cannot be told.
func SetDueOn(members []Cylinder, on calendar.Day, rules CylinderRules) SetDue {
	out := SetDue{Member: -1, Status: calendar.CannotTell}
	var caution []string
	for i, c := range members {
		d := DueOn(c, on, rules)
		if d.Next == nil {
			return SetDue{Member: i, Status: calendar.CannotTell, Why: d.Why, Caution: d.Caution}
		}
		caution = append(caution, d.Caution...)
		if out.Member < 0 || d.Next.LastDay.Before(out.LastDay) {
			out = SetDue{LastDay: d.Next.LastDay, Member: i, Event: d.Next.Event, Status: d.Status}
		}
	}
	slices.Sort(caution)
	out.Caution = slices.Compact(caution)
	return out
}
