package due

import (
	"maps"
	"math"
	"slices"

	"lastlight/engine/calendar"
)

// KitRule is how often one kind of item needs something done (T20).
type KitRule struct {
	Months    map[string]int `json:"months"`               // clock → months, exact days; every clock runs
	DiveLimit int            `json:"dive_limit,omitempty"` // dives between services; 0 = no such limit
}

// KitItem is one item's record.
type KitItem struct {
	Clocks     map[string]calendar.Mark `json:"clocks"`      // clock → when it was last done
	DivesSince *int                     `json:"dives_since"` // dives since the service; nil = unknown
}

// KitDue is when an item falls due, as seen on one day.
type KitDue struct {
	LastDay   calendar.Day    `json:"last_day"`            // none: cannot tell, or governed by the count of dives
	Clock     string          `json:"clock,omitempty"`     // what governs
	Status    calendar.Status `json:"status"`              //
	DivesLeft *int            `json:"dives_left,omitzero"` // where dives are counted
	Why       []string        `json:"why,omitempty"`
	Caution   []string        `json:"caution,omitempty"`
}

// KitDueOn takes the earliest of the item's clocks; a clock without a date, or
// a count that is needed and not known, cannot be told. A date after the day
// asked does not exist. The count of dives, once full, governs.
func KitDueOn(item KitItem, rule KitRule, on calendar.Day, dueWithin int) KitDue {
	out := KitDue{Status: calendar.CannotTell}
	if rule.DiveLimit > 0 && item.DivesSince != nil {
		left := max(0, rule.DiveLimit-*item.DivesSince)
		out.DivesLeft = &left
		if left == 0 {
			out.Clock, out.Status = ClockDives, calendar.Overdue
			return out
		}
	}
	unknown := rule.DiveLimit > 0 && item.DivesSince == nil
	names := slices.Sorted(maps.Keys(rule.Months))
	assumed := false
	for _, name := range names {
		done := item.Clocks[name]
		if done.IsZero() || done.First().After(on) {
			unknown = true
			continue
		}
		last, monthEnd := done.LastGood(rule.Months[name], false)
		if out.LastDay.IsZero() || last.Before(out.LastDay) {
			out.LastDay, out.Clock = last, name
		}
		assumed = assumed || monthEnd
	}
	if unknown || out.LastDay.IsZero() {
		out.LastDay, out.Clock, out.Why = calendar.Day{}, "", []string{ServiceUnknown}
		return out
	}
	if assumed {
		out.Caution = []string{MonthEndTaken}
	}
	out.Status = calendar.StatusOn(out.LastDay, on, dueWithin)
	return out
}

// TripCheckCounts says whether a check that is due on each trip counts: dated
// within the trip and not after the day asked (T20).
func TripCheckCounts(checked calendar.Day, trip calendar.Days, on calendar.Day) bool {
	return !checked.IsZero() && trip.Contains(checked) && !checked.After(on)
}

// CellRules are the lives of an oxygen cell (T21).
type CellRules struct {
	MonthsFromManufacture int `json:"months_from_manufacture"` // 18, month-counted
	MonthsFromFitting     int `json:"months_from_fitting"`     // 12, exact, from the first fitting
	DueWithinDays         int `json:"due_within_days"`         // 60
}

// CellDue is when an oxygen cell is to be replaced.
type CellDue struct {
	LastDay calendar.Day     `json:"last_day"`
	Clock   string           `json:"clock,omitempty"` // ClockManufacture or ClockFitting
	Status  calendar.Status  `json:"status,omitempty"`
	Why     []string         `json:"why,omitempty"`
	Caution []string         `json:"caution,omitempty"`
	Refused calendar.Refusal `json:"refused,omitempty"` // the record contradicts itself
}

// CellDueOn takes the earlier of the two clocks, manufacture on the same day. A
// cell not fitted on the day asked has the first alone; manufacture unknown: cannot tell.
func CellDueOn(made, firstFitted calendar.Mark, on calendar.Day, rules CellRules) CellDue {
	if made.IsZero() {
		return CellDue{Status: calendar.CannotTell, Why: []string{ManufactureUnknown}}
	}
	if !firstFitted.IsZero() && !calendar.InOrder(made, firstFitted) {
		return CellDue{Refused: calendar.FittedBeforeMade}
	}
	out := CellDue{Clock: ClockManufacture}
	out.LastDay, _ = made.LastGood(rules.MonthsFromManufacture, true)
	if !firstFitted.IsZero() && !firstFitted.First().After(on) {
		last, assumed := firstFitted.LastGood(rules.MonthsFromFitting, false)
		if last.Before(out.LastDay) {
			out.LastDay, out.Clock = last, ClockFitting
		}
		if assumed {
			out.Caution = []string{MonthEndTaken}
		}
	}
	out.Status = calendar.StatusOn(out.LastDay, on, rules.DueWithinDays)
	return out
}

// LightRules are the burn times asked, as shares of the planned runtime (T43).
type LightRules struct {
	PrimaryFactor float64 `json:"primary_factor"` // 1.5
	BackupFactor  float64 `json:"backup_factor"`  // 1.0, each backup
}

// LightMinutes are the least burn times, whole minutes, rounded up.
type LightMinutes struct {
	PrimaryMin int `json:"primary_min"`
	BackupMin  int `json:"backup_min"`
}

// LightsFor gives the burn times a dive of the planned runtime (minutes) needs.
func LightsFor(runtimeMin float64, rules LightRules) LightMinutes {
	return LightMinutes{
		PrimaryMin: MinutesFor(runtimeMin, rules.PrimaryFactor),
		BackupMin:  MinutesFor(runtimeMin, rules.BackupFactor),
	}
}

// MinutesFor is what must last factor times the planned runtime (minutes), in
// whole minutes, rounded up.
func MinutesFor(runtimeMin, factor float64) int {
	return int(math.Ceil(float64(factor*runtimeMin) - roundOff))
}

// roundOff keeps a product that is a whole number on paper from being rounded up
// because binary fractions miss it by a hair.
const roundOff = 1e-9
