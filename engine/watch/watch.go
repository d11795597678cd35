// Package watch judges what is set against the clock of a dive: the watch
// kept at the surface, duties side by side, permits and closures, today's
// reading, verified legs, the far opening, the time to a flight, and how long
// first-aid oxygen lasts.
//
// Rules: method handbook, "Dates and deadlines", T31–T39. Every number is an argument.
package watch

import (
	"errors"
	"math"

	"lastlight/engine/calendar"
)

// Rules are the club's numbers for the watch (T36).
type Rules struct {
	RoundToMin       int     `json:"round_to_min"`      // 5: the ETO is the next wall-clock minute divisible by it
	GraceShare       float64 `json:"grace_share"`       // 0.5 of the unrounded runtime
	GraceMin         float64 `json:"grace_min"`         // 60 minutes at least
	GraceMax         float64 `json:"grace_max"`         // 90 minutes at most
	GasFloorMin      float64 `json:"gas_floor_min"`     // 20: gas shortens the grace to this and no further
	LookShare        float64 `json:"look_share"`        // 0.25 of the grace
	CoordinatorShare float64 `json:"coordinator_share"` // 0.5 of the grace
}

// GasClause says what the gas left did to the grace.
type GasClause string

// The gas clauses.
const (
	GasUnknown    GasClause = "unknown"
	GasNotBinding GasClause = "not_binding"
	GasBinding    GasClause = "binding"
)

// Question asks for the times of a watch.
type Question struct {
	Entry                  calendar.Instant `json:"entry"`
	RuntimeMin             float64          `json:"runtime_min"`  // planned, above 0
	GasLeftMin             []float64        `json:"gas_left_min"` // per diver: what is left at the ETO lasts this long at exit rate; empty = unknown
	WalkMin                *float64         `json:"walk_min"`     // to the place with a signal; nil = none to walk
	CoordinatorWithoutWalk bool             `json:"coordinator_without_walk"`
}

// Times are the times of a watch. Instants are shown in the site's zone.
type Times struct {
	ETO         calendar.Instant `json:"eto"`
	GraceMin    int              `json:"grace_min"`
	GasClause   GasClause        `json:"gas_clause"`
	Look        calendar.Instant `json:"look"`
	Coordinator calendar.Instant `json:"coordinator"`
	Dial        calendar.Instant `json:"dial"`

	WalkFrom        calendar.Instant `json:"walk_from,omitzero"`
	OnePersonEnough *bool            `json:"one_person_enough,omitempty"` // false: the walk would begin before the look

	// CannotHelpInTime: the gas left at the ETO lasts less than the least grace, so
	// the watch cannot help in time; a finding that needs a waiver.
	CannotHelpInTime bool `json:"cannot_help_in_time,omitempty"`
}

// LatestSurfacing is the entry (or the latest planned entry) and the planned
// runtime, up to the whole minute (T2).
func LatestSurfacing(entry calendar.Instant, runtimeMin float64) calendar.Instant {
	return entry.Add(ceil(runtimeMin))
}

// Plan gives the times of a watch (T36, T37). Minutes of grace are rounded
// down. Of several zones, of the openings of a traverse, the one whose clocks
// give the earlier ETO governs: each limit holds in both (T1). The error is for a
// time beyond what a zone knows, or no zone.
func Plan(q Question, rules Rules, zones ...calendar.Zone) (Times, error) {
	out := Times{GasClause: GasUnknown}
	if len(zones) == 0 {
		return Times{}, errNoZone
	}
	surfacing := LatestSurfacing(q.Entry, q.RuntimeMin)
	for _, zone := range zones {
		wall, err := zone.Wall(surfacing)
		if err != nil {
			return Times{}, err
		}
		eto := surfacing
		if r := rules.RoundToMin; r > 0 && wall.Minute%r != 0 {
			eto = eto.Add(r - wall.Minute%r)
		}
		if out.ETO.IsZero() || eto.Before(out.ETO) {
			out.ETO = eto
		}
	}
	grace := min(rules.GraceMax, max(rules.GraceMin, rules.GraceShare*q.RuntimeMin))
	if len(q.GasLeftMin) > 0 {
		least := math.Inf(1)
		for _, left := range q.GasLeftMin {
			least = min(least, left)
		}
		out.GasClause = GasNotBinding
		if least < grace {
			out.GasClause = GasBinding
			grace = max(rules.GasFloorMin, least)
		}
		out.CannotHelpInTime = least < rules.GasFloorMin
	}
	out.GraceMin = floor(grace)
	g := float64(out.GraceMin)
	out.Look = out.ETO.Add(floor(g * rules.LookShare))
	out.Coordinator = out.ETO.Add(floor(g * rules.CoordinatorShare))
	out.Dial = out.ETO.Add(out.GraceMin)
	if q.WalkMin != nil {
		signal := out.Coordinator
		if q.CoordinatorWithoutWalk {
			signal = out.Dial
		}
		out.WalkFrom = signal.Add(-ceil(*q.WalkMin))
		enough := !out.WalkFrom.Before(out.Look)
		out.OnePersonEnough = &enough
	}
	return out, nil
}

// errNoZone: the wall clock that an ETO is rounded by is not known.
var errNoZone = errors.New("no time zone of the place")

// roundOff keeps what is a whole number on paper from being rounded to the next
// because binary fractions miss it by a hair.
const roundOff = 1e-9

func ceil(x float64) int  { return int(math.Ceil(x - roundOff)) }
func floor(x float64) int { return int(math.Floor(x + roundOff)) }
