package gear

import (
	"cmp"
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// tableOf is the row of the policy's service table for a kind of item; a kind
// that is not here has a row of its own name, or none.
var tableOf = map[facts.ItemKind]string{
	facts.PrimaryLight: "light", facts.BackupLight: "light", facts.Spool: "reel",
}

// doneBy are the events that set a clock; a clock that is not here is set by the event of its own name.
var doneBy = map[string][]string{
	"service":  {"service"},
	"check":    {"check", "service", "inspection"},
	"look":     {"look", "service", "inspection"},
	"function": {"function", "service"},
	"trip":     {"burn", "check"},
	"pressure": {"check", "test"},
}

// The clocks that have rules of their own.
const (
	clockManufacture = "manufacture" // from the mark of manufacture, month-counted (T21)
	clockFitting     = "fitting"     // from the first fitting; moving a cell starts nothing anew
)

// Clock is one interval of an item, as seen on a day.
type Clock struct {
	Clock    string           `json:"clock"`
	Overdue  policy.Decide    `json:"overdue"` // what it is on a dive when it has run out
	EachTrip bool             `json:"each_trip,omitempty"`
	Status   calendar.Status  `json:"status"`
	LastDay  calendar.Day     `json:"last_day"`            // none: cannot tell, the count of dives governs, or asked on each trip
	Dives    *int             `json:"dives_left,omitzero"` // where dives are counted
	Why      []string         `json:"why,omitempty"`
	Caution  []string         `json:"caution,omitempty"`
	Clause   finding.Citation `json:"clause"`
}

// Item is how a piece of equipment stands on a day.
type Item struct {
	Clocks  []Clock         `json:"clocks"` // worst first; none where the policy has no interval for its kind
	Status  calendar.Status `json:"status"` // of the clock that governs; current where there is none
	LastDay calendar.Day    `json:"last_day"`
	Clock   string          `json:"clock,omitempty"` // which governs
}

// ItemOn tells how a piece of equipment stands on the day; trip is the
// expedition or the dive that an each-trip check must lie in, zero where none
// is asked about: then such checks are left out. Every clock of an item runs
// (T20); the worst governs, cannot tell before overdue before the earliest.
func ItemOn(p *policy.Policy, it *facts.Item, trip calendar.Days, on calendar.Day) Item {
	out := Item{Status: calendar.Current}
	for _, row := range p.Kit {
		if row.Item != rowOf(it.Kind) {
			continue
		}
		for _, c := range row.Clocks {
			if c.EachTrip && trip.First.IsZero() {
				continue
			}
			k := clockOn(p, it, c, trip, on)
			k.Clause, _ = p.CitationFor("kit[" + row.Item + "].clocks[" + c.Clock + "]")
			out.Clocks = append(out.Clocks, k)
		}
	}
	slices.SortStableFunc(out.Clocks, func(a, b Clock) int {
		return cmp.Or(cmp.Compare(rank(a.Status), rank(b.Status)), a.LastDay.Compare(b.LastDay), cmp.Compare(a.Clock, b.Clock))
	})
	for _, k := range out.Clocks {
		if k.LastDay.IsZero() && k.Status == calendar.Current {
			continue // checked on this trip: no date of its own
		}
		out.Status, out.LastDay, out.Clock = k.Status, k.LastDay, k.Clock
		break
	}
	return out
}

func rowOf(kind facts.ItemKind) string {
	if row, ok := tableOf[kind]; ok {
		return row
	}
	return string(kind)
}

func rank(s calendar.Status) int {
	return slices.Index([]calendar.Status{calendar.CannotTell, calendar.Overdue, calendar.Due, calendar.Current}, s)
}

func clockOn(p *policy.Policy, it *facts.Item, c policy.KitClock, trip calendar.Days, on calendar.Day) Clock {
	out := Clock{Clock: c.Clock, Overdue: c.Overdue, EachTrip: c.EachTrip}
	within := p.Cylinders.DueSoonDays
	switch {
	case c.EachTrip:
		out.Status = calendar.Overdue
		for _, e := range it.Events {
			if slices.Contains(sets(c.Clock), e.Kind) && due.TripCheckCounts(e.On.Day(), trip, on) {
				out.Status = calendar.Current
			}
		}
	case c.Clock == clockManufacture, c.Clock == clockFitting:
		first := calendar.Mark{}
		for _, e := range it.Events {
			if e.Kind == clockFitting && (first.IsZero() || e.On.CompareCoarse(first) < 0) {
				first = e.On
			}
		}
		rules := due.CellRules{DueWithinDays: within}
		if c.Clock == clockManufacture {
			rules.MonthsFromManufacture = c.Months
			first = calendar.Mark{}
		} else {
			rules.MonthsFromManufacture, rules.MonthsFromFitting = farAway, c.Months
		}
		d := due.CellDueOn(it.Made, first, on, rules)
		if c.Clock == clockFitting && d.Clock == due.ClockManufacture {
			return Clock{Clock: c.Clock, Overdue: c.Overdue, Status: calendar.Current} // not fitted: the first clock alone
		}
		out.LastDay, out.Status, out.Why, out.Caution = d.LastDay, d.Status, d.Why, d.Caution
		if d.Refused != "" {
			out.Status, out.Why = calendar.CannotTell, []string{string(d.Refused)}
		}
	default:
		item := due.KitItem{Clocks: map[string]calendar.Mark{c.Clock: lastDone(it, c.Clock, on)}, DivesSince: it.DivesSince}
		d := due.KitDueOn(item, due.KitRule{Months: map[string]int{c.Clock: c.Months}, DiveLimit: c.Dives}, on, within)
		out.LastDay, out.Status, out.Dives, out.Why, out.Caution = d.LastDay, d.Status, d.DivesLeft, d.Why, d.Caution
	}
	return out
}

// lastDone is the latest that sets the clock, of what counts on the day (T12).
func lastDone(it *facts.Item, clock string, on calendar.Day) (last calendar.Mark) {
	for _, e := range it.Events {
		if !slices.Contains(sets(clock), e.Kind) || due.CountsFrom(e.On, e.Recorded, on).IsZero() {
			continue
		}
		if last.IsZero() || e.On.Last().After(last.Last()) {
			last = e.On
		}
	}
	return last
}

// farAway is a life in months that never governs.
const farAway = 12 * 200

func sets(clock string) []string {
	if by, ok := doneBy[clock]; ok {
		return by
	}
	return []string{clock}
}
