// Package due judges what falls due: cylinders, other kit, oxygen cells, lights
// and medical examinations. It answers for the day or the span of days asked,
// from records handed in; events later than the day asked do not exist.
//
// Rules: method handbook, "Dates and deadlines", T3, T9–T22, T43. Every number
// is an argument.
package due

import "lastlight/engine/calendar"

// Count is how a regime counts its months.
type Count string

// The ways to count.
const (
	CountMonth Count = "month" // to the last day of the resulting month
	CountExact Count = "exact" // to the same day
)

// Base is what a regime counts from before the first test.
type Base string

// The bases.
const (
	BaseMark         Base = "mark"          // the stamped manufacture mark
	BaseFirstService Base = "first_service" // first service; manufacture, with a caution, where unknown
)

// FilledInDate is the value of Regime.CarryPastDue that lets a cylinder filled
// in date be carried full past its date; anything else refuses.
const FilledInDate = "filled_in_date"

// Regime is one jurisdiction's rule for testing cylinders, as club data (T9).
type Regime struct {
	Name                 string                  `json:"name"`
	HydroMonths          int                     `json:"hydro"`
	VisualMonths         int                     `json:"visual"`
	VisualRiskMonths     int                     `json:"visual_with_risk_assessment,omitempty"` // while an assessment is on file; 0 = no such condition
	VisualHeavyUseMonths int                     `json:"visual_heavy_use,omitempty"`            // for heavy use; 0 = no such condition
	Count                Count                   `json:"count"`
	Base                 Base                    `json:"base"`
	CarryPastDue         string                  `json:"carry_past_due,omitempty"`      // FilledInDate or refused; silent = refused
	VisualBindsCarriage  *bool                   `json:"visual_binds_carriage"`         // nil binds
	AlloyRefusedFrom     map[string]calendar.Day `json:"alloy_refused_from,omitempty"`  // alloy → first day without filling, use, full carriage
	EddyCurrentAlloys    []string                `json:"eddy_current_alloys,omitempty"` // beside CylinderRules.EddyCurrentAlloys
	From                 calendar.Day            `json:"from,omitzero"`                 // first day in force; none = ever
	To                   calendar.Day            `json:"to,omitzero"`                   // last day in force; none = open
	Citation             string                  `json:"citation,omitempty"`            // document, edition, section, date read
}

// Unknown is the name of the regime that governs where no other is known.
const Unknown = "unknown"

// RegimeOn finds the regime of that name in force on a day; where there is none,
// the one named Unknown. It reports false when there is neither.
func RegimeOn(regimes []Regime, name string, on calendar.Day) (Regime, bool) {
	for _, want := range []string{name, Unknown} {
		for _, r := range regimes {
			if r.Name == want && !on.Before(r.From) && (r.To.IsZero() || !on.After(r.To)) {
				return r, true
			}
		}
	}
	return Regime{}, false
}

func (r Regime) visualBinds() bool { return r.VisualBindsCarriage == nil || *r.VisualBindsCarriage }

// EventType is what happened to a cylinder.
type EventType string

// The events that move dates.
const (
	EventHydro  EventType = "hydro"
	EventVisual EventType = "visual"
	EventDamage EventType = "damage" // dropped, heated, wet inside, emptied under water, corroded
)

// Event is one entry in a cylinder's service record.
type Event struct {
	ID       string        `json:"id,omitempty"`
	Type     EventType     `json:"type"`
	Date     calendar.Mark `json:"date"`
	Recorded calendar.Day  `json:"recorded,omitzero"` // day it was recorded; matters for a month without a day
	NextDue  calendar.Mark `json:"next_due,omitzero"` // stamped on the cylinder
	Eddy     bool          `json:"eddy,omitempty"`    // neck examined by eddy current
	Plus     bool          `json:"plus,omitempty"`    // the test earned the plus
	Star     bool          `json:"star,omitempty"`    // ten-year star: recorded, never counted
	Clears   string        `json:"clears,omitempty"`  // id of the damage this inspection names
}

// Cylinder is what its record says.
type Cylinder struct {
	Regime         Regime        `json:"regime"`
	Events         []Event       `json:"events"`
	Made           calendar.Mark `json:"made,omitzero"`
	MadePlus       bool          `json:"made_plus,omitempty"`
	FirstService   calendar.Mark `json:"first_service,omitzero"`
	RiskAssessment calendar.Mark `json:"risk_assessment,omitzero"`
	HeavyUse       bool          `json:"heavy_use,omitempty"`
	Alloy          string        `json:"alloy,omitempty"`
	Spec           string        `json:"spec,omitempty"` // 3AA and the like
}

// CylinderRules are the club's numbers for cylinders.
type CylinderRules struct {
	DueWithinDays     int      `json:"due_within_days"`     // 60
	EddyCurrentAlloys []string `json:"eddy_current_alloys"` // 6351: a hydro counts only with the eddy current on record
	PlusSpecs         []string `json:"plus_specs"`          // 3A, 3AA
	PlusPercent       int      `json:"plus_percent"`        // 10
}

// The reasons and cautions of this package.
const (
	HydroOverdue       = "hydro_overdue"
	VisualOverdue      = "visual_overdue"
	HydroUnknown       = "hydro_date_unknown"
	VisualUnknown      = "visual_date_unknown"
	NoEddyCurrent      = "no_eddy_current_on_record"
	HydroNotCounted    = "hydro_without_eddy_current_not_counted"
	FromManufacture    = "counted_from_manufacture"
	MonthEndTaken      = "day_not_known_month_end_taken"
	InspectionNeeded   = "inspection_after_damage"
	AlloyRefused       = "alloy_refused_here"
	FillDateUnknown    = "fill_date_unknown"
	FilledOutOfDate    = "filled_out_of_date"
	LastDay            = "last_day"
	Empty              = "empty"
	NoPlus             = "no_plus_at_last_test"
	NotThisSteel       = "not_this_kind_of_steel"
	DiscNotRecorded    = "burst_disc_not_recorded"
	ServiceUnknown     = "service_unknown"
	ManufactureUnknown = "manufacture_unknown"
	ClockDives         = "dives"
	ClockFitting       = "fitting"
	ClockManufacture   = "manufacture"
)
