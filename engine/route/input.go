package route

import "lastlight/engine/gas"

// Bounds of an Input. Evaluate answers anything beyond them with a Problem that
// names the place; they are far above any real dive and keep the work bounded.
const (
	MaxStations    = 20000
	MaxLegs        = 40000
	MaxDepthPoints = 200  // of one leg
	MaxMoves       = 1000 // of one route
	MaxDivers      = 6
	MaxStages      = 8     // of one diver
	MaxActions     = 64    // of one move
	MaxVerified    = 100   // verifications, and loops and traverses
	MaxListed      = 5000  // legs of all verifications together, and of all loops and traverses
	MaxHours       = 48    // runtime of the plan
	MaxDepthM      = 350   // metres
	MaxLengthM     = 20000 // metres of one leg
	MaxText        = 4096  // bytes of a name or a word
)

// Input is all that Evaluate knows.
type Input struct {
	Water    Water     `json:"water"`
	GasModel gas.Model `json:"gas_model"` // ideal or real; empty is a problem
	Policy   Policy    `json:"policy"`
	Speeds   Speeds    `json:"speeds"`

	Stations []Station `json:"stations"`
	Legs     []Leg     `json:"legs"`
	Team     []Diver   `json:"team"` // in the order in which the team swims
	Route    Route     `json:"route"`

	LeftLines []string       `json:"left_lines"` // legs whose temporary line this team left in place and confirmed today (D35)
	Markers   []PlacedMarker `json:"markers"`    // markers of this team that are in the cave before the dive
	Verified  []Verification `json:"verified"`
	Loops     []Circuit      `json:"loops"` // circuits whose set-up is to be judged (D28)
	Traverses []Circuit      `json:"traverses"`

	CavernLimits *CavernLimits `json:"cavern_limits"` // nil: no leg is cavern zone
	Night        bool          `json:"night"`
	VisibilityM  *float64      `json:"visibility_m"` // nil = not entered
	ClaimedZone  string        `json:"claimed_zone"` // "cavern": the plan is offered as a cavern dive
}

// Water of the site on the day.
type Water struct {
	SurfaceBar float64 `json:"surface_bar"` // 0.3 to 1.2 bar absolute
	BarPerM    float64 `json:"bar_per_m"`   // 0.09 to 0.13 bar per metre
}

// Speeds of the team through the water.
type Speeds struct {
	SwimMMin        float64 `json:"swim_m_min"`
	ContingencyMMin float64 `json:"contingency_swim_m_min"` // on every way out (D7)
}

// Who may help whom in a team of three or more (D21).
const (
	DonorSingle = "single"
	DonorPooled = "pooled"
)

// What gas waiting on the way out counts for in a failure (D19).
const (
	WaitingOwn  = "own"
	WaitingNone = "none"
)

// From where verified legs count (D12).
const (
	VerifiedAfterMarker = "after_marker"
	VerifiedFromStart   = "from_start"
	VerifiedNever       = "never"
)

// How much of a stage may be breathed on the way in.
const (
	StageFraction    = "thirds" // the policy's stage fraction
	StageHalfPlus15  = "half_plus_15"
	RoundDropFloor   = "drop_floor"
	SiphonRefuse     = "refuse"
	SiphonNoRow      = ""
	SiphonFraction   = "fraction"
	HelpfulCaution   = "caution"
	HelpfulRefuse    = "refuse"
	ClaimCavern      = "cavern"
	RestrictionNone  = "none"
	RestrictionMinor = "minor"
	RestrictionMajor = "major"
)

// Policy is what the club decides about route and gas.
type Policy struct {
	ShareFraction Fraction `json:"share_fraction"` // of the mains, up to the commitment point
	Rounding      Rounding `json:"rounding"`

	StressFactor         float64 `json:"stress_factor"`               // on the own consumption after a failure, at least 1
	ContingencyFloorLMin float64 `json:"contingency_rmv_floor_l_min"` // and never below this (D36)
	DelayMin             float64 `json:"delay_min"`                   // minutes to solve the problem
	SharingReserveBar    float64 `json:"sharing_reserve_bar"`         // of the donor, every cylinder
	PlannedReserveBar    float64 `json:"planned_reserve_bar"`         // at the surface, every cylinder relied on
	MinimumGasBar        float64 `json:"minimum_gas_bar"`             // no turn pressure is below it; 0 = none

	VerifiedCounts   string  `json:"verified_counts"`
	VerificationDays float64 `json:"verification_days"`

	AscentMMin            float64  `json:"ascent_m_min"`
	DescentMMin           float64  `json:"descent_m_min"`
	CountOpenWaterAscent  bool     `json:"count_open_water_ascent"`   // D3; false only reproduces hand examples
	PullAndGlideMMin      *float64 `json:"pull_and_glide_m_min"`      // for every leg; nil = declared per leg or not at all
	PullAndGlideGasFactor float64  `json:"pull_and_glide_gas_factor"` // on consumption while pulling; 0 is read as 1
	MinProgressMMin       float64  `json:"min_progress_m_min"`
	SlowProgressMMin      float64  `json:"slow_progress_m_min"`         // contingency ground below it is a caution (D5); 0 is read as 3
	SlowExitFactor        float64  `json:"slow_exit_factor"`            // of the whole plan, at least 1
	SlowExitMinorRestrict float64  `json:"slow_exit_minor_restriction"` // of legs with a minor restriction; 0 is read as 1
	ThreeDonor            string   `json:"three_donor"`
	WaitingGas            string   `json:"waiting_gas"`
	StageRule             string   `json:"stage_rule"`
	StageFraction         Fraction `json:"stage_fraction"`
	DecoGasReserveFactor  float64  `json:"deco_gas_reserve_factor"` // content ≥ factor × planned use; 0 is read as 1
	IndependentSpreadBar  float64  `json:"independent_spread_bar"`  // independent mains stay within it; 0 is read as 35 bar

	SiphonRow      string   `json:"siphon_row"`      // "", refuse or fraction (D38)
	SiphonFraction Fraction `json:"siphon_fraction"` // largest share on a plan with inflow
	HelpfulOutflow string   `json:"helpful_outflow"` // "" or caution, refuse: what it means when sharing fails without it
	HalvesWarn     Fraction `json:"halves_warn"`     // D29; 0 is read as 1/10
}

// Rounding of turn pressures (D26): the drop is floored to the step.
type Rounding struct {
	Mode    string  `json:"mode"` // drop_floor
	StepBar float64 `json:"step_bar"`
}

// Station is a named place on the line.
type Station struct {
	Name     string  `json:"name"`
	DepthM   float64 `json:"depth_m"`
	Opening  bool    `json:"opening"` // open water above
	Daylight bool    `json:"daylight"`
	AirBell  bool    `json:"air_bell"` // breathable rock-roofed air: never an exit
}

// Leg is a stretch of passage between two stations (D1).
type Leg struct {
	ID          string       `json:"id"`
	From        string       `json:"from"`
	To          string       `json:"to"`
	LengthM     float64      `json:"length_m"`   // along the line
	Lined       bool         `json:"lined"`      // a permanent guideline is in place
	FlowMMin    float64      `json:"flow_m_min"` // from → to positive
	Restriction string       `json:"restriction"`
	DepthPoints []DepthPoint `json:"depth_points"` // in order from From, ends not included
	Overhead    *bool        `json:"overhead"`     // nil = not declared = overhead (D9)

	PullAndGlideMMin *float64 `json:"pull_and_glide_m_min"` // nil = not declared for this leg
	SlowExitFactor   float64  `json:"slow_exit_factor"`     // by its bottom, at least 1; 0 is read as 1
	MainLine         *bool    `json:"main_line"`            // nil = not surveyed; for counting turns off it
	Gap              bool     `json:"gap"`                  // an unlined leg between two permanent lines, not a jump
	Unexplored       bool     `json:"unexplored,omitempty"` // an unlined leg in which nobody has laid line, neither jump nor gap (RT2)

	// TurnsRound tells whether a diver can turn round at both ends of the leg's
	// minor restriction; nil = not surveyed. The route model does not ask.
	TurnsRound *bool `json:"turns_round,omitempty"`
}

// DepthPoint is a depth inside a leg.
type DepthPoint struct {
	AtM    float64 `json:"at_m"` // along the line from the leg's From
	DepthM float64 `json:"depth_m"`
}

// Diver of the team.
type Diver struct {
	Name    string     `json:"name"`
	RMVLMin float64    `json:"rmv_l_min"` // at the surface
	Mains   []Cylinder `json:"mains"`     // one volume (a twinset counts as one), or two independent cylinders
	Stages  []Cylinder `json:"stages"`    // carried at the start
}

// Cylinder, or a manifolded set that counts as one.
type Cylinder struct {
	ID       string   `json:"id"` // need not be given for a single main
	VolumeL  float64  `json:"volume_l"`
	StartBar float64  `json:"start_bar"` // gauge
	Gas      Gas      `json:"gas"`
	TempC    *float64 `json:"temp_c"` // nil = 20 °C, with a caution under the real model
	Deco     bool     `json:"deco"`   // decompression gas: not counted where two share at depth
}

// Gas is a mix; the rest is nitrogen. Only the real model looks at it; all zero is read as air.
type Gas struct {
	O2 float64 `json:"o2_fraction"`
	He float64 `json:"he_fraction"`
}

// Route is the plan's way.
type Route struct {
	Start        string   `json:"start"`
	StartActions []Action `json:"start_actions"`
	Moves        []Move   `json:"moves"`
	LeftDeclared []string `json:"left_declared"` // line (its leg's id), marker or cylinder that may stay behind
}

// Move is one leg swum, and what is done at its end (D8): swim, arrive, actions, hold.
type Move struct {
	Leg         string   `json:"leg"` // may be empty where one leg joins the two stations
	To          string   `json:"to"`
	SwimMMin    float64  `json:"swim_m_min"` // 0 = the team's
	RunLine     bool     `json:"run_line"`
	RecoverLine bool     `json:"recover_line"`
	Actions     []Action `json:"actions"`
	HoldMin     float64  `json:"hold_min"`
	HoldTask    string   `json:"hold_task"` // recover_line, remove_marker, pick_up, stop and switch belong to the way out
}

// What can be done at a station.
const (
	ActDrop         = "drop"
	ActPickUp       = "pick_up"
	ActSwitchTo     = "switch_to"
	ActPlaceMarker  = "place_marker"
	ActRemoveMarker = "remove_marker"
)

// Action at a station.
type Action struct {
	Action   string  `json:"action"`
	Diver    string  `json:"diver"`
	Cylinder *string `json:"cylinder"` // nil = the mains
	Marker   string  `json:"marker"`
}

// PlacedMarker is a marker that hangs at a station.
type PlacedMarker struct {
	Marker  string `json:"marker"`
	Station string `json:"station"`
}

// Verification is one recorded set-up dive (D34), as the records say it.
type Verification struct {
	ID            string   `json:"id"` // for the report
	Legs          []string `json:"legs"`
	PassedBy      []string `json:"passed_by"`
	DaysAgo       float64  `json:"days_ago"`
	MarkerStation string   `json:"marker_station"` // empty: names no marker (D12)
	DoubtSince    bool     `json:"doubt_since"`    // readings missing or of another class, damage, survey change: counts for nothing
	Directions    []string `json:"directions"`     // from_to, to_from: needed for major restrictions (D11)
}

// Circuit is a loop or a traverse whose set-up is judged (D28, D29).
type Circuit struct {
	ID            string   `json:"id"`
	Start         string   `json:"start"`    // loop: the opening
	Approach      []string `json:"approach"` // loop: legs from the opening to the junction
	StartA        string   `json:"start_a"`  // traverse
	StartB        string   `json:"start_b"`
	Legs          []string `json:"legs"` // forward
	MarkerAtM     *float64 `json:"marker_at_m"`
	MarkerHoldMin float64  `json:"marker_hold_min"`
}

// CavernLimits of the cavern zone (D2).
type CavernLimits struct {
	DistanceM   float64 `json:"distance_m"`
	DepthM      float64 `json:"depth_m"`
	VisibilityM float64 `json:"visibility_m"`
}
