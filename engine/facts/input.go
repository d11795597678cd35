// Package facts is what the engine is told: one value that holds a plan and
// every fact it relies on. It is data only. The server gathers it from records
// in one transaction; a stored value replays to the same report years later.
//
// Missing is never a number: a pointer that is nil, a zero calendar.Day or
// calendar.Instant and an empty word mean "not known", and what is not known
// blocks. Decimals that are compared exactly (analyses) are decimal text, in
// per cent. Lengths are metres of the site's water, pressures gauge bar,
// volumes litres of water, consumption litres at 1 bar per minute.
package facts

import (
	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// Moment is when the plan is judged.
type Moment string

// The two moments. At Planning (submit, approve, re-check) planned pressures
// hold and today's reading may be a condition; at Entry measured pressures,
// analyses and readings hold and every condition is due.
const (
	Planning Moment = "planning"
	AtEntry  Moment = "entry"
)

// Input is everything one evaluation is told.
type Input struct {
	Moment Moment `json:"moment" words:"planning entry"`

	// DecidedAt is the minute of this evaluation, handed in because the engine
	// has no clock. Only its site-local day matters (a reading of the day of
	// entry cannot exist before that day); it is not part of the report's hash.
	DecidedAt calendar.Instant `json:"decided_at"`

	PolicyVersion string        `json:"policy_version"`
	SurveyVersion string        `json:"survey_version"`
	Policy        policy.Policy `json:"policy"`

	// Route is the line network and the way planned on it. The caller fills
	// Stations, Legs, Route, LeftLines, Markers, Loops, Traverses and ClaimedZone;
	// divers and cylinders in its actions are diver ids and supply ids. Water,
	// gas model, policy, speeds, team, verified legs, cavern limits, night and
	// visibility follow from the other facts: the engine fills them and
	// overwrites what stands there.
	Route route.Input `json:"route"`

	Plan      Plan       `json:"plan"`
	Site      Site       `json:"site"`
	Divers    []Diver    `json:"divers" most:"100"`    // team, standby and cover
	Cylinders []Cylinder `json:"cylinders" most:"400"` // every cylinder the plan names
	Items     []Item     `json:"items" most:"2000"`    // lights, reels, spools, markers, tools the plan names
	Duties    []Duty     `json:"duties" most:"5000"`   // what other plans bind these persons and cylinders to
}

// Diver finds a diver by id; nil where the input has none.
func (in *Input) Diver(id string) *Diver {
	for i := range in.Divers {
		if in.Divers[i].ID == id {
			return &in.Divers[i]
		}
	}
	return nil
}

// Cylinder finds a cylinder by id; nil where the input has none.
func (in *Input) Cylinder(id string) *Cylinder {
	for i := range in.Cylinders {
		if in.Cylinders[i].ID == id {
			return &in.Cylinders[i]
		}
	}
	return nil
}

// Item finds a piece of equipment by id; nil where the input has none.
func (in *Input) Item(id string) *Item {
	for i := range in.Items {
		if in.Items[i].ID == id {
			return &in.Items[i]
		}
	}
	return nil
}
