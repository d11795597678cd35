package watch

import (
	"slices"

	"lastlight/engine/calendar"
)

// FlightRules are the club's waits before a flight, in hours (T38).
type FlightRules struct {
	SingleHours  int     `json:"single_hours"`   // 12, one dive without stops
	SeriesHours  int     `json:"series_hours"`   // 18, several
	StopsHours   int     `json:"stops_hours"`    // 24, required stops on any of them
	SeriesGapMin int     `json:"series_gap_min"` // 48 h: from out to next entry, still one series
	CabinBelowM  float64 `json:"cabin_below_m"`  // 600: no wait below
}

// SeriesDive is one dive before a flight.
type SeriesDive struct {
	Entry calendar.Instant `json:"entry"`
	Out   calendar.Instant `json:"out"`
	Stops *bool            `json:"stops"` // required stops; nil = unknown, taken as required
}

// FlightQuestion asks when a diver may fly.
type FlightQuestion struct {
	Dives         []SeriesDive     `json:"dives"`
	CabinM        *float64         `json:"cabin_m"` // cabin altitude, metres; nil = unknown
	Symptoms      bool             `json:"symptoms"`
	ModelEarliest calendar.Instant `json:"model_earliest,omitzero"` // what the decompression model says, if it says anything
}

// Flight is the earliest time to fly.
type Flight struct {
	Hours    *int             `json:"hours"` // nil: not until cleared
	Earliest calendar.Instant `json:"earliest,omitzero"`
	Series   int              `json:"series"`            // dives in the series
	Verdict  string           `json:"verdict,omitempty"` // NotUntilCleared
}

// JudgeFlight gives the earliest time to fly: from the last surfacing, elapsed,
// equality passes; the later of the rule's and the model's own. Symptoms beat
// the cabin rule.
func JudgeFlight(q FlightQuestion, rules FlightRules) Flight {
	if q.Symptoms {
		return Flight{Verdict: NotUntilCleared}
	}
	hours := 0
	out := Flight{Hours: &hours}
	if len(q.Dives) == 0 {
		out.Earliest = q.ModelEarliest
		return out
	}
	dives := slices.Clone(q.Dives)
	slices.SortStableFunc(dives, func(a, b SeriesDive) int { return a.Out.Compare(b.Out) })
	last := len(dives) - 1
	surfaced := dives[last].Out
	stops := false
	start := dives[last].Entry
	for i := last; i >= 0; i-- {
		if start.Sub(dives[i].Out) > rules.SeriesGapMin {
			break
		}
		out.Series++
		stops = stops || dives[i].Stops == nil || *dives[i].Stops
		if dives[i].Entry.Before(start) {
			start = dives[i].Entry
		}
	}
	switch {
	case q.CabinM != nil && *q.CabinM < rules.CabinBelowM:
	case stops:
		hours = rules.StopsHours
	case out.Series > 1:
		hours = rules.SeriesHours
	default:
		hours = rules.SingleHours
	}
	out.Earliest = surfaced.Add(hours * 60)
	if q.ModelEarliest.After(out.Earliest) {
		out.Earliest = q.ModelEarliest
	}
	return out
}

// OxygenRules are the club's numbers for first-aid oxygen (T39).
type OxygenRules struct {
	ReserveBar float64 `json:"reserve_bar"` // 20: what is left in a cylinder counts nothing
	LitresMin  float64 `json:"litres_min"`  // 15 per casualty
	Casualties int     `json:"casualties"`  // 2
}

// OxygenCylinder is one cylinder of first-aid oxygen.
type OxygenCylinder struct {
	Litres float64 `json:"litres"` // water volume
	Bar    float64 `json:"bar"`    // gauge pressure
}

// OxygenMinutes is how long the cylinders last for all casualties at once, in
// whole minutes, rounded down.
func OxygenMinutes(cylinders []OxygenCylinder, rules OxygenRules) int {
	flow := rules.LitresMin * float64(rules.Casualties)
	if flow <= 0 {
		return 0
	}
	total := 0.0
	for _, c := range cylinders {
		total += c.Gas(rules)
	}
	return floor(total / flow)
}

// Gas is what a cylinder gives down to the reserve, in litres; nothing below it (T39).
func (c OxygenCylinder) Gas(rules OxygenRules) float64 {
	return float64(c.Litres * max(0, c.Bar-rules.ReserveBar))
}
