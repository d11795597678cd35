// Package analysis judges gas analyses: how long one holds, and what the
// measured gas allows against what was planned.
//
// Rules: method handbook, "Dates and deadlines", T29 and T30; practice, section
// 10. Every number is an argument.
package analysis

import (
	"fmt"
	"slices"

	"lastlight/engine/calendar"
)

// EventType is what happened to an analysed cylinder.
type EventType string

// The events; all but WaitsInCave end an analysis, and so does an unknown one.
const (
	Fill         EventType = "fill"
	TopUp        EventType = "top_up"
	ValveRemoved EventType = "valve_removal"
	CustodyBreak EventType = "custody_break"
	WaitsInCave  EventType = "waits_in_cave" // a stage recorded as waiting in the cave
)

// Event is something that happened to the cylinder.
type Event struct {
	Type EventType        `json:"type"`
	At   calendar.Instant `json:"at"`
}

// Verdicts and reasons; an analysis ended by an event says "ended_by_" and the event.
const (
	Passes             = "passes"
	Blocked            = "blocked"
	Accept             = "accept"
	RePlan             = "re_plan"
	OlderThanDays      = "older_than_%d_days"
	AnalysedAfterEntry = "analysed_after_entry"
	NotAnalysed        = "not_analysed"
	EndedBy            = "ended_by_"
	OxygenOff          = "o2_off"
	HeliumOff          = "he_off"
	DeeperThanMOD      = "deeper_than_mod"
)

// Question asks whether an analysis holds for a dive.
type Question struct {
	AnalysedAt calendar.Instant `json:"analysed_at"` // none = never analysed: blocked
	Dive       calendar.Span    `json:"dive"`
	Events     []Event          `json:"events"`     // of the cylinder, in any order
	HoldsDays  int              `json:"holds_days"` // 14 site-local days after its own day
}

// Answer is whether it does.
type Answer struct {
	LastDay calendar.Day     `json:"last_day"` // last good day; the earliest over the zones asked
	EndedAt calendar.Instant `json:"ended_at,omitzero"`
	Verdict string           `json:"verdict"` // Passes or Blocked
	Why     []string         `json:"why"`
}

// Judge tells whether the analysis holds for the whole dive, in every zone given
// (T29). Days are compared as dates. An event in the minute of the analysis ends
// it; one after the dive does not concern the dive. The error is for a time
// beyond what a zone knows.
func Judge(q Question, zones ...calendar.Zone) (Answer, error) {
	out := Answer{Verdict: Passes, Why: []string{}}
	block := func(why string) {
		out.Verdict = Blocked
		if !slices.Contains(out.Why, why) {
			out.Why = append(out.Why, why)
		}
	}
	if q.AnalysedAt.IsZero() {
		block(NotAnalysed)
		return out, nil
	}
	if len(zones) == 0 {
		return Answer{}, fmt.Errorf("no zone: the days of an analysis are not known")
	}
	for _, zone := range zones {
		day, err := zone.Day(q.AnalysedAt)
		if err != nil {
			return Answer{}, err
		}
		days, err := q.Dive.Days(zone)
		if err != nil {
			return Answer{}, err
		}
		last := day.Add(q.HoldsDays)
		out.LastDay = calendar.Earliest(out.LastDay, last)
		if days.Last.After(last) {
			block(fmt.Sprintf(OlderThanDays, q.HoldsDays))
		}
	}
	if q.AnalysedAt.After(q.Dive.Entry) {
		block(AnalysedAfterEntry)
	}
	var by EventType
	for _, e := range q.Events {
		if e.Type == WaitsInCave || e.At.Before(q.AnalysedAt) || e.At.After(q.Dive.Out) {
			continue
		}
		if out.EndedAt.IsZero() || e.At.Before(out.EndedAt) {
			out.EndedAt, by = e.At, e.Type
		}
	}
	if by != "" {
		block(EndedBy + string(by))
	}
	slices.Sort(out.Why)
	return out, nil
}
