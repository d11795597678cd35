package watch

import (
	"fmt"
	"slices"

	"lastlight/engine/calendar"
)

// Permit lets a site be dived on its days, within its daily hours (T35).
type Permit struct {
	From  calendar.Day `json:"from"` // first day, included
	To    calendar.Day `json:"to"`   // last day, included
	Daily *Daily       `json:"daily,omitempty"`
}

// Daily is a window by the wall clock, in minutes of the day, both ends
// included. An end at or before the start lies on the next day; the window
// belongs to the day it starts on.
type Daily struct {
	Start int `json:"start_min"` // 0–1439
	End   int `json:"end_min"`   // 0–1440
}

// Closure shuts a site, closed at both ends: by instants, or by days. Without an
// end it lasts.
type Closure struct {
	FromDay calendar.Day     `json:"from_day,omitzero"`
	ToDay   calendar.Day     `json:"to_day,omitzero"`
	From    calendar.Instant `json:"from,omitzero"`
	To      calendar.Instant `json:"to,omitzero"`
}

// Access is whether a dive may be made.
type Access struct {
	Verdict string   `json:"verdict"` // Passes or Refused
	Why     []string `json:"why"`
}

// Verdicts of this package.
const (
	Passes           = "passes"
	Refused          = "refused"
	CannotTell       = "cannot_tell"
	Known            = "known"
	Counts           = "counts"
	Expired          = "expired"
	ConditionsDiffer = "conditions_differ"
	NotUntilCleared  = "not_until_cleared"
)

// Reasons why a dive is outside its permit or meets a closure.
const (
	OutsideDates = "outside_permit_dates"
	OutsideHours = "outside_permit_hours"
	Closed       = "closed"
)

// JudgeAccess sets a dive against a permit (nil = none is needed) and against
// closures, in every one of the zones given. The error is for a time beyond
// what a zone knows.
func JudgeAccess(dive calendar.Span, permit *Permit, closures []Closure, zones ...calendar.Zone) (Access, error) {
	if len(zones) == 0 {
		return Access{}, fmt.Errorf("no zone: the days of a dive are not known")
	}
	out := Access{Verdict: Passes, Why: []string{}}
	add := func(why string) {
		out.Verdict = Refused
		if !slices.Contains(out.Why, why) {
			out.Why = append(out.Why, why)
		}
	}
	for _, zone := range zones {
		days, err := dive.Days(zone)
		if err != nil {
			return Access{}, err
		}
		if permit != nil {
			datesHold := permit.holds(days.First) && permit.holds(days.Last)
			if !datesHold {
				add(OutsideDates)
			}
			if permit.Daily != nil {
				inside, err := permit.withinHours(dive, days, zone, datesHold)
				if err != nil {
					return Access{}, err
				}
				if !inside {
					add(OutsideHours)
				}
			}
		}
		for _, c := range closures {
			if c.meets(dive, days) {
				add(Closed)
			}
		}
	}
	slices.Sort(out.Why)
	return out, nil
}

// holds reports that the day is a permit day; an end that is not given is open.
func (p Permit) holds(d calendar.Day) bool {
	return !d.Before(p.From) && (p.To.IsZero() || !d.After(p.To))
}

// withinHours reports that the whole dive lies in one window, or in windows that
// touch. Limits that exist twice or not at all are read to the diver's
// disadvantage. While the dates hold, a window counts only where it starts on a
// permit day; where they do not, the hours are judged by themselves.
func (p Permit) withinHours(dive calendar.Span, days calendar.Days, zone calendar.Zone, onlyPermitDays bool) (bool, error) {
	var until calendar.Instant // end of the windows joined so far
	joined := false
	for day := days.First.Add(-1); !day.After(days.Last); day = day.Add(1) {
		if onlyPermitDays && !p.holds(day) {
			continue
		}
		endDay := day
		if p.Daily.End <= p.Daily.Start {
			endDay = day.Add(1)
		}
		start, err := zone.LatestReading(wallAt(day, p.Daily.Start))
		if err != nil {
			return false, err
		}
		end, err := zone.EarliestReading(wallAt(endDay, p.Daily.End))
		if err != nil {
			return false, err
		}
		if end.Before(start) {
			continue // the clock change swallowed the window
		}
		if !joined || start.After(until) {
			if start.After(dive.Entry) {
				return false, nil
			}
			joined = true
		}
		until = end
		if !end.Before(dive.Entry) && !dive.Out.After(end) {
			return true, nil
		}
		if end.Before(dive.Entry) {
			joined = false
		}
	}
	return false, nil
}

func wallAt(day calendar.Day, minute int) calendar.Wall {
	if minute >= 24*60 {
		return calendar.Wall{Day: day.Add(1), Minute: minute - 24*60}
	}
	return calendar.Wall{Day: day, Minute: minute}
}

func (c Closure) meets(dive calendar.Span, days calendar.Days) bool {
	byInstant := !c.From.IsZero() || !c.To.IsZero()
	byDay := !c.FromDay.IsZero() || !c.ToDay.IsZero()
	if byInstant && (c.From.After(dive.Out) || !c.To.IsZero() && c.To.Before(dive.Entry)) {
		return false
	}
	if byDay && (c.FromDay.After(days.Last) || !c.ToDay.IsZero() && c.ToDay.Before(days.First)) {
		return false
	}
	return byInstant || byDay
}
