// Package engine is the front door of the computation: one input value in, one
// report out. It reads no clock, does no I/O and knows no wire or database
// types; the same input gives the same bytes.
package engine

import (
	"lastlight/engine/calendar"
	"lastlight/engine/dive"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/route"
	"lastlight/engine/rules"
)

// Version names this engine's behaviour. It changes with every change that can
// change a report; a decision stores it beside its report.
const Version = "15"

// Input is everything one evaluation is told.
type Input = facts.Input

// Report is the answer: the verdict, every finding (passes included, worst
// first) and what the brief and the board need.
type Report struct {
	EngineVersion string `json:"engine_version"`
	PolicyVersion string `json:"policy_version"`
	SurveyVersion string `json:"survey_version"`

	Moment   facts.Moment      `json:"moment"`
	Verdict  finding.Status    `json:"verdict"` // the worst status of all findings
	Counts   finding.Counts    `json:"counts"`
	Findings []finding.Finding `json:"findings"`

	// Conditions are the keys of findings that pass now and are due at entry.
	Conditions []string `json:"conditions"`

	Entry           calendar.Instant `json:"entry"`            // planned
	EnterBy         calendar.Instant `json:"enter_by"`         // later the approval is expired
	RuntimeMin      float64          `json:"runtime_min"`      // surface to surface
	LatestSurfacing calendar.Instant `json:"latest_surfacing"` // enter by + runtime, up to the whole minute
	FirstDay        calendar.Day     `json:"first_day"`        // site-local days the dive touches
	LastDay         calendar.Day     `json:"last_day"`
	Standings       []Standing       `json:"standings"` // what each diver of the team counts as
	Rates           []DiverRate      `json:"rates"`     // how much each diver of the team is reckoned to breathe
	JudgedAs        string           `json:"judged_as"` // level whose limits hold, from the least qualified diver present

	Watch *Watch `json:"watch"` // none where it cannot be told
	Turns []Turn `json:"turns"` // one row per diver and main supply

	Flights []Flight `json:"flights"` // one per diver of the team

	Route *route.Result `json:"route"` // none where the route could not be computed
	Dive  *dive.Answer  `json:"dive"`  // with its stops; none where decompression could not be computed

	OtherWay *rules.OtherWay `json:"other_way"` // the circuit the other way round; none where there is no circuit
}

// Standing is what one diver counts as on this dive, and why.
type Standing struct {
	Diver    string   `json:"diver"`
	CountsAs string   `json:"counts_as"` // empty: no card counts, or it cannot be told
	Because  string   `json:"because"`
	Endorsed []string `json:"endorsed"` // endorsements that count
}

// DiverRate is a diver's consumption as this plan reckons it, L/min at the
// surface, and whose figure it is.
type DiverRate struct {
	Diver     string       `json:"diver"`
	LMin      float64      `json:"l_min"`           // 0: not known
	WorstLMin float64      `json:"worst_l_min"`     // 0: none recorded
	Origin    string       `json:"origin"`          // measured | stated | policy_default; empty: not known
	Way       string       `json:"way,omitempty"`   // of moving, of a measured figure
	Dives     int          `json:"dives,omitempty"` // how many a measured figure rests on
	First     calendar.Day `json:"first"`           // days of the first and last of them
	Last      calendar.Day `json:"last"`
	Stated    float64      `json:"stated,omitempty"` // by hand; 0: not stated
}

// Watch is the surface watch for the planned entry, and for the latest.
type Watch struct {
	ETO         Deadline `json:"eto"`
	Look        Deadline `json:"look"`
	Coordinator Deadline `json:"coordinator"`
	Dial        Deadline `json:"dial"`

	// Walk is when whoever must walk to a signal starts; none where nobody must.
	Walk *Deadline `json:"walk,omitempty"`

	GraceMin  int    `json:"grace_min"`
	GasClause string `json:"gas_clause"` // unknown | not_binding | binding

	// LatestDial is the dial time if the team enters at EnterBy: the end of what
	// binds cover and standby.
	LatestDial calendar.Instant `json:"latest_dial"`
}

// Deadline is an instant and how the site's clocks show it.
type Deadline struct {
	At    calendar.Instant `json:"at"`
	Local string           `json:"local"` // site-local minute with its offset
}

// Flight is when one diver may fly after the dive.
type Flight struct {
	Diver    string           `json:"diver"`
	Earliest calendar.Instant `json:"earliest"` // none: not until cleared, or it cannot be told
}

// Turn is when one diver turns the team, by pressure, place and minute:
// whichever comes first.
type Turn struct {
	Diver      string  `json:"diver"`
	Name       string  `json:"name"`
	Supply     string  `json:"supply"`
	StartBar   float64 `json:"start_bar"`
	ExactBar   float64 `json:"exact_bar"`
	TurnBar    float64 `json:"turn_bar"` // rounded up to the policy's step below the start
	Governs    string  `json:"governs"`
	PlaceText  string  `json:"place"`       // turn at the latest
	MinuteInto float64 `json:"minute_into"` // the same in minutes since entry
}
