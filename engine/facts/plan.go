package facts

import (
	"lastlight/engine/calendar"
	"lastlight/engine/policy"
)

// PlanKind is what a plan is for.
type PlanKind string

// The kinds of plan.
const (
	Normal      PlanKind = "normal"
	SetUp       PlanKind = "set_up"
	CleanUp     PlanKind = "clean_up"
	Training    PlanKind = "training"
	SiteOpening PlanKind = "site_opening"
)

// Plan is one version of a plan, less its route, which is Input.Route.
type Plan struct {
	ID      string   `json:"id"`
	Name    string   `json:"name"`
	Version int64    `json:"version"`
	Kind    PlanKind `json:"kind"`
	Taught  string   `json:"taught,omitempty"` // training: the level being taught, whose limits hold

	Entry      calendar.Instant `json:"entry"`                        // planned
	EnterBy    calendar.Instant `json:"enter_by"`                     // none = entry + the policy's minutes
	RuntimeMin float64          `json:"runtime_min" in:"0..2880 min"` // planned, > 0; 0 = as the route model computes it

	Trip calendar.Days `json:"trip,omitzero"` // the expedition's days; none = the dive's own

	Team     []Member   `json:"team" most:"6"`     // in the water
	Standby  []string   `json:"standby" most:"12"` // diver ids
	Cover    []string   `json:"cover" most:"12"`   // diver ids
	Supplies []Supply   `json:"supplies" most:"60"`
	Carries  []Carrying `json:"carries" most:"1000"`

	GasFraction policy.Fraction `json:"gas_fraction,omitzero"` // the gas rule the team means to dive; none = what its level permits

	SwimMMin            float64 `json:"swim_m_min" in:"0 or 0.1..200 m/min"`             // 0 = the policy's
	ContingencySwimMMin float64 `json:"contingency_swim_m_min" in:"0 or 0.1..200 m/min"` // 0 = the policy's; a faster one is cautioned, faster than anybody swims refused
	SlowExitFactor      float64 `json:"slow_exit_factor" in:"0 or 1..10 ×"`              // 0 = 1; the larger of this and the bottom's holds

	GFLow    *float64 `json:"gf_low,omitempty" in:"1..100 per cent"` // per cent; none = the policy's, and never looser than it
	GFHigh   *float64 `json:"gf_high,omitempty" in:"1..100 per cent"`
	TurnMove int      `json:"turn_move,omitempty" in:"0..1000 moves"` // from 1, the team turns at its end; 0 = where the way home begins

	Night          *bool   `json:"night"`                             // none = not told
	VerifiedLegs   bool    `json:"verified_legs"`                     // the plan relies on verified legs
	ReliedUntilMin float64 `json:"relied_until_min" in:"0..2880 min"` // minutes into the dive until which it does

	// Stops is how often all dives were stopped since the plan was made. No rule asks: a report read before a stop must not be
	// taken for the one after it, and the hash covers this.
	Stops int `json:"stops,omitempty" in:"0..1000000 stops"`
}

// Apparatus is what a diver breathes from.
type Apparatus string

// The kinds of apparatus; anything but open circuit is unsupported for now.
const (
	OpenCircuit Apparatus = "open_circuit"
	Rebreather  Apparatus = "rebreather"
)

// Member is one diver of the team.
type Member struct {
	Diver      string    `json:"diver"`
	Leader     bool      `json:"leader"`
	Instructor bool      `json:"instructor"` // acts as instructor on this dive
	Apparatus  Apparatus `json:"apparatus"`  // empty = not told
	Scooter    bool      `json:"scooter"`
}

// SupplyRole is what a supply is carried for.
type SupplyRole string

// The roles of a supply.
const (
	Main  SupplyRole = "main"
	Stage SupplyRole = "stage"
	Deco  SupplyRole = "deco"
)

// Supply is one gas supply of one diver: a single cylinder, or cylinders joined
// by a manifold and breathed as one. Independent main cylinders (sidemount) are
// two supplies.
type Supply struct {
	ID        string     `json:"id"` // what the route's actions call it
	Diver     string     `json:"diver"`
	Role      SupplyRole `json:"role" words:"main stage deco"`
	Cylinders []string   `json:"cylinders" most:"4"`
	DualValve *bool      `json:"dual_valve"` // a single cylinder with two outlets; none = not told

	PlannedO2    string   `json:"planned_o2"` // per cent, e.g. "32.0"
	PlannedHe    string   `json:"planned_he"`
	PlannedBar   *float64 `json:"planned_bar" in:"0..450 bar"`
	MeasuredBar  *float64 `json:"measured_bar" in:"0..450 bar"`  // read at the water
	TemperatureC *float64 `json:"temperature_c" in:"-40..80 °C"` // of the gas when the pressure was read

	DeepestM *float64 `json:"deepest_m" in:"0..400 m"` // breathed no deeper than; none = anywhere on the route
	Resting  bool     `json:"resting"`                 // breathed only at rest (stops), under the resting limit
}

// Carrying is one item one diver takes along.
type Carrying struct {
	Diver string `json:"diver"`
	Item  string `json:"item"`
	For   string `json:"for,omitempty"`             // the leg a reel will span, or "primary" for the line from open water
	Count int    `json:"count" in:"0..1000 pieces"` // markers, arrows; 0 counts as 1
}

// Duty is what another plan binds a person or a cylinder to. Only plans that
// are approved, stale or in the water bind (T34).
type Duty struct {
	Plan     string           `json:"plan"`      // id
	PlanName string           `json:"plan_name"` // what the reader is told
	State    string           `json:"state"`     // approved | stale | in_water
	Diver    string           `json:"diver,omitempty"`
	Cylinder string           `json:"cylinder,omitempty"`
	As       string           `json:"as" words:"diver standby cover cylinder"` // diver | standby | cover | cylinder
	From     calendar.Instant `json:"from"`
	Until    calendar.Instant `json:"until"` // none = without end (in the water, not all seen out)
}
