package route

// Verdicts of a Result.
const (
	Pass    = "pass"
	Fail    = "fail"
	Refused = "refused"
)

// Names of the checks, in the order of Result.Checks.
const (
	CheckShareRule       = "share_rule"
	CheckStageShare      = "stage_share"
	CheckSharingLegEnds  = "sharing_exit_at_leg_ends" // for comparison only, never a verdict
	CheckSharing         = "sharing_exit_everywhere"
	CheckShareHere       = "share_at_restriction" // D11: the way out holds a major restriction
	CheckPlannedExit     = "planned_exit_reserve"
	CheckLostCylinder    = "lost_cylinder"
	CheckIndependent     = "independent_main_lost" // D24, either independent main gone
	CheckSpread          = "independent_spread"
	CheckOnTheWayOut     = "cylinder_on_the_way_out"
	CheckMarkerMet       = "marker_met_before_turn"
	CheckDecoGas         = "deco_gas_reserve"
	CheckCavernZone      = "cavern_zone"
	CheckSiphon          = "siphon_row"
	CheckHelpfulOutflow  = "helpful_outflow_gone"
	BindSharing          = "sharing_exit"            // in Reach.Binds
	BindSharingGoingHome = "sharing_exit_going_home" // D20
	BindProgress         = "min_progress"            // in Closability only
	BindNoWayOut         = "no_way_out"
)

// Result is everything found out about the plan. With Verdict refused only
// Verdict, Refused and Zones are filled.
type Result struct {
	Verdict  string    `json:"verdict"`
	Refused  []Refusal `json:"refused"`
	Checks   []Check   `json:"checks"`
	Cautions []Caution `json:"cautions"`

	Start      Start       `json:"start"`
	Moves      []MoveTimes `json:"moves"`
	End        End         `json:"end"`
	Commitment Place       `json:"commitment_point"`
	Divers     []DiverGas  `json:"divers"` // in team order

	WorstSharing          *Sharing `json:"worst_sharing"` // nil for one diver
	WorstSharingAtLegEnds *Sharing `json:"worst_sharing_at_leg_ends"`
	Reach                 Reach    `json:"reach"`   // turn at the latest (D27)
	Governs               string   `json:"governs"` // share_rule or sharing_exit: which leaves less

	Closability []Closability `json:"closability"`
	Zones       []Zone        `json:"zones"` // of the legs of the route, in order of first use
	Siphon      Siphon        `json:"siphon"`
	Verified    *Reliance     `json:"verified"`        // nil: no verified leg is relied on
	FarSide     []FarSide     `json:"far_side"`        // D37, per diver, where verified legs are relied on
	Helpful     *Sharing      `json:"helpful_outflow"` // worst sharing with helpful flow set to zero; nil where there is none
	Summary     Summary       `json:"summary"`

	// Parts are the numbers that led to it; nil where nothing was computed.
	Parts *Parts `json:"-"`

	shared bool // ShareAtStations was here
}

// Check is one requirement on the plan.
type Check struct {
	Name      string  `json:"name"`
	Applies   bool    `json:"applies"` // false: nothing of the plan concerns it, Passed is true
	Passed    bool    `json:"passed"`
	Verdict   string  `json:"verdict"`  // what failing means: refuse, needs_waiver, caution, none
	Who       string  `json:"who"`      // diver, donor->victim, cylinder or leg of the worst case
	Place     *Place  `json:"place"`    // of the worst case; nil where it is about the whole plan
	Measured  float64 `json:"measured"` // of the worst case
	Limit     float64 `json:"limit"`
	Margin    float64 `json:"margin"` // measured against limit, negative = shortfall
	Unit      string  `json:"unit"`
	WhatPass  string  `json:"what_would_pass"` // empty where passed or nothing is known
	Reference string  `json:"reference"`       // decisions of the method
}

// Caution is something to say that decides nothing.
type Caution struct {
	Kind   string  `json:"kind"`
	Who    string  `json:"who"` // leg, diver, cylinder
	Place  *Place  `json:"place"`
	Value  float64 `json:"value"`
	Limit  float64 `json:"limit"`
	Unit   string  `json:"unit"`
	Phrase string  `json:"phrase"`
}

// Kinds of cautions.
const (
	CautionSlowProgress   = "slow_contingency_progress" // below 3 m/min on the way out
	CautionNoWayOver      = "no_way_out_over_leg"       // contingency ground speed at or below 0
	CautionFarSideShut    = "far_side_shut"             // D37
	CautionHelpfulOutflow = "helpful_outflow_gone"
	CautionTemperature    = "no_temperature_entered"
	CautionHalves         = "halves_differ" // D29
	CautionMinimumGas     = "minimum_gas_before_turn"
	CautionSolo           = "no_second_diver"
	CautionPooled         = "pooled_donors" // named wherever it is used (D21)
)

// Where a Refusal is.
const (
	AtMove  = "move"
	AtStart = "start"
	AtEnd   = "end"
	AtLeg   = "leg"
	AtStage = "stage"
)

// Kinds of refusals (D33).
const (
	RefuseSelfLeg      = "leg_joins_station_to_itself"
	RefuseShortLeg     = "leg_shorter_than_depth_difference"
	RefuseHalfPlus15   = "half_plus_15_below_90_bar"
	RefuseStart        = "start_not_an_opening"
	RefuseNoLeg        = "no_leg_joins"
	RefuseNameLeg      = "name_the_leg"
	RefuseRunOverLine  = "line_run_over_line"
	RefuseNoLine       = "leg_has_no_line"
	RefuseRecover      = "line_recovered_not_run"
	RefuseProgress     = "below_min_progress"
	RefuseMoveProgress = "no_progress_at_own_speed"
	RefuseSwitch       = "switch_not_carried"
	RefuseDrop         = "drop_not_carried"
	RefusePickUp       = "pick_up_not_there"
	RefuseMarker       = "marker_not_there"
	RefuseEnd          = "end_not_an_opening"
	RefuseLineLeft     = "line_left_undeclared"
	RefuseMarkerLeft   = "marker_left_undeclared"
	RefuseCylinderLeft = "cylinder_left_undeclared"
)

// Refusal is a reason why the plan cannot be computed at all (D33).
type Refusal struct {
	At     string `json:"at"`
	Move   int    `json:"move"` // from 1; 0 where At is not move
	Kind   string `json:"kind"`
	Object string `json:"object"` // leg, cylinder, marker or station
	Detail string `json:"detail"` // direction from_to or to_from, or the diver
	Phrase string `json:"phrase"`
}

// Place on the route: a station last left and metres past it on the way
// towards the next, or minutes into a hold at a station.
type Place struct {
	Move         int     `json:"move"` // from 1
	Station      string  `json:"station"`
	Leg          string  `json:"leg"` // the leg of the move
	MetresPast   float64 `json:"metres_past"`
	Towards      string  `json:"towards"` // set inside a leg
	InHold       bool    `json:"in_hold"`
	AfterHoldMin float64 `json:"after_hold_min"`
	Arriving     bool    `json:"arriving"` // the arriving value of D14
	ElapsedMin   float64 `json:"elapsed_min"`
	DistanceM    float64 `json:"distance_m"`
	DepthM       float64 `json:"depth_m"`
}

// InsideLeg tells whether the place is between two stations.
func (p Place) InsideLeg() bool { return p.Towards != "" }

// Start is the descent to the first station.
type Start struct {
	ElapsedMin float64 `json:"elapsed_min"`
	BarMin     float64 `json:"bar_min"`
}

// End is at the surface, after the last ascent.
type End struct {
	ElapsedMin float64 `json:"elapsed_min"`
	BarMin     float64 `json:"bar_min"`
	DistanceM  float64 `json:"distance_m"`
}

// MoveTimes is what one move costs. Bar·minutes are ambient pressure × time,
// times the gas factor where the team pulls and glides.
type MoveTimes struct {
	Move                int      `json:"move"`
	Leg                 string   `json:"leg"`
	From                string   `json:"from"`
	To                  string   `json:"to"`
	Minutes             float64  `json:"minutes"` // of the swim
	BarMin              float64  `json:"bar_min"` // of the swim
	DistanceM           float64  `json:"distance_m"`
	HoldMin             float64  `json:"hold_min"`
	ElapsedArrivalMin   float64  `json:"elapsed_arrival_min"`
	ElapsedDepartureMin float64  `json:"elapsed_departure_min"`
	CumDistanceM        float64  `json:"cumulative_distance_m"`
	CumBarMinArrival    float64  `json:"cumulative_bar_min_arrival"`
	CumBarMinDeparture  float64  `json:"cumulative_bar_min_departure"`
	LegKnownBefore      bool     `json:"leg_known_before"` // verified legs that count now included
	WayOutArriving      *WayOut  `json:"way_out_arriving"` // nil: no known way out
	WayOutAfterArrival  *WayOut  `json:"way_out_after_arrival"`
	SharingArriving     *Sharing `json:"sharing_arriving"` // nil for one diver
	SharingDeparting    *Sharing `json:"sharing_departing"`
}

// WayOut is the cheapest known way out of a place (D15).
type WayOut struct {
	BarMin   float64         `json:"bar_min"` // the ascent from the opening included
	Minutes  float64         `json:"minutes"`
	Metres   float64         `json:"metres"` // of line
	Stations []WayOutStation `json:"stations"`
}

// WayOutStation is one station on a way out.
type WayOutStation struct {
	Station string  `json:"station"`
	Minutes float64 `json:"minutes"` // since leaving
}

// Sharing is the sharing exit (4.2) at its worst pair.
type Sharing struct {
	Place      Place     `json:"place"`
	Donor      string    `json:"donor"` // A+B where donors pool
	Victim     string    `json:"victim"`
	LeftL      float64   `json:"left_l"`
	NeedL      float64   `json:"need_l"` // the sharing reserve included
	MarginL    float64   `json:"margin_l"`
	MarginBar  *float64  `json:"margin_bar_of_donor"` // nil where donors pool
	AlsoAtTies []Sharing `json:"also_at"`             // other pairs and places within 1e-6 L
}

// Reach is the turn at the latest (D27, D20).
type Reach struct {
	WholeRoute bool       `json:"whole_route"` // nothing binds
	Place      Place      `json:"place"`       // the end of the route, before the last ascent, where nothing binds
	Binds      []Bind     `json:"binds"`       // all that tie
	GaugeBar   []GaugeBar `json:"gauge_bar"`   // mains of each diver there
}

// Bind is a check and whom it binds: diver, donor->victim, or cylinder.
type Bind struct {
	Check string `json:"check"`
	Who   string `json:"who"`
}

// GaugeBar is a pressure of one diver's cylinder.
type GaugeBar struct {
	Diver    string  `json:"diver"`
	Cylinder string  `json:"cylinder"` // empty for a single main
	Bar      float64 `json:"bar"`
	Rounded  float64 `json:"rounded_bar"` // the drop from the start floored to the step (D26)
}

// DiverGas is the gas plan of one diver.
type DiverGas struct {
	Name         string  `json:"name"`
	UsableL      float64 `json:"usable_l"`    // U (D17)
	PermittedL   float64 `json:"permitted_l"` // by the share rule
	PenetrationL float64 `json:"penetration_l"`

	// Turn pressures of the mains, exact and rounded (D25, D26). Two
	// independent mains have one each in Mains; the values here are the first's.
	ShareTurnBar        float64     `json:"share_turn_bar_exact"`
	ShareTurnRoundedBar float64     `json:"share_turn_bar_rounded"`
	TwoOutBar           float64     `json:"two_out_bar_exact"`  // 0 where donors pool
	GaugeAtReachBar     *float64    `json:"gauge_at_reach_bar"` // nil where nothing binds
	MinimumGasBar       float64     `json:"minimum_gas_bar"`
	TurnBar             float64     `json:"turn_bar_exact"` // the highest of the four
	TurnRoundedBar      float64     `json:"turn_bar_rounded"`
	TurnGovernedBy      string      `json:"turn_governed_by"` // share, two_out, reach or minimum
	SurfaceBar          float64     `json:"surface_bar"`      // after the last ascent
	Mains               []MainTurn  `json:"mains"`
	Stages              []StageTurn `json:"stages"`

	SurfaceL      float64 `json:"surface_l"`           // mains and stages carried, after the last ascent
	ExitRateLMin  float64 `json:"exit_rate_l_min"`     // mean litres a minute on the way home at the rate after a failure
	ExitRateLasts float64 `json:"exit_rate_lasts_min"` // SurfaceL at ExitRateLMin (T36)
}

// MainTurn is one main cylinder's turn.
type MainTurn struct {
	Cylinder       string  `json:"cylinder"`
	StartBar       float64 `json:"start_bar"`
	TurnBar        float64 `json:"turn_bar_exact"`
	TurnRoundedBar float64 `json:"turn_bar_rounded"`
	SurfaceBar     float64 `json:"surface_bar"`

	ShareBar float64 `json:"-"` // what the share rule alone asks for
}

// StageTurn is one stage's limit.
type StageTurn struct {
	Cylinder     string  `json:"cylinder"`
	Deco         bool    `json:"deco"`
	PermittedL   float64 `json:"permitted_l"`
	DropAtBar    float64 `json:"drop_at_bar_exact"`
	PenetrationL float64 `json:"penetration_l"`
	EndBar       float64 `json:"end_bar"`
}

// Closability says whether the set-up dives of a circuit meet (D28, D29).
type Closability struct {
	ID               string     `json:"id"`
	Kind             string     `json:"kind"` // loop or traverse
	LengthM          float64    `json:"length_m"`
	ReachForwardM    float64    `json:"reach_forward_m"`
	ReachBackwardM   float64    `json:"reach_backward_m"`
	Closes           bool       `json:"closes"`
	MarkerInterval   []float64  `json:"marker_interval_m"` // from, to, measured forward; nil where it does not close
	MarkerLegal      *bool      `json:"marker_legal"`      // nil where it does not close or no marker is given
	BindsForward     []Bind     `json:"binds_forward"`
	BindsBackward    []Bind     `json:"binds_backward"`
	GaugeForward     []GaugeBar `json:"gauge_forward"` // mains at the reach, before the minutes at the marker
	GaugeBackward    []GaugeBar `json:"gauge_backward"`
	DistanceHalfwayM float64    `json:"distance_halfway_m"`
	TimeHalfwayM     float64    `json:"time_halfway_m"`
	GasHalfwayM      float64    `json:"gas_halfway_m"`
	HalvesDiffer     float64    `json:"halves_differ_fraction"`
	HalvesWarning    bool       `json:"halves_warning"`
}

// Zones.
const (
	ZoneCavern    = "cavern"
	ZoneCave      = "cave"
	ZoneOpenWater = "open water"
)

// Zone of one leg (D2).
type Zone struct {
	Leg       string   `json:"leg"`
	Zone      string   `json:"zone"`
	Why       []string `json:"why"`                     // why it is no cavern zone, sorted
	DistanceM *float64 `json:"distance_from_surface_m"` // of its farthest point; nil: no lined way to an opening
}

// Siphon says where flow is against the way out (D38).
type Siphon struct {
	InflowLegs      []string `json:"inflow_legs"`
	Applied         bool     `json:"applied"`          // the policy's siphon row lowered the share fraction
	FractionUsed    Fraction `json:"fraction_used"`    // of the share rule
	UniformFraction *float64 `json:"uniform_fraction"` // formula of practice 4.4, where depth and speed ratio are uniform; information only
}

// Reliance says when legs known by verification alone are relied on (T31).
type Reliance struct {
	FirstMin      float64  `json:"first_min"` // elapsed minutes
	LastMin       float64  `json:"last_min"`
	Legs          []string `json:"legs"`
	Verifications []string `json:"verifications"` // ids, or their number from 1 where they have none
	FarOpenings   []string `json:"far_openings"`  // openings at the end of such ways out that the team did not start from
}

// FarSide is D37 for one diver at the dearest place.
type FarSide struct {
	Diver   string  `json:"diver"`
	Place   Place   `json:"place"`
	MarginL float64 `json:"margin_l"`
}

// Summary is what the rules and the brief count.
type Summary struct {
	MaxDepthM        float64        `json:"max_depth_m"`
	RuntimeMin       float64        `json:"runtime_min"`
	PenetrationM     float64        `json:"penetration_m"` // D32, the largest
	PenetrationAt    Place          `json:"penetration_at"`
	TurnMin          float64        `json:"turn_min"` // elapsed at the commitment point
	Jumps            int            `json:"jumps"`    // unlined legs, not gaps, different ones
	Gaps             int            `json:"gaps"`
	JumpDepth        int            `json:"jump_depth"`         // most jumps and gaps on one way out: a jump from a jump is 2
	TurnsOffMainLine *int           `json:"t_off_main_line"`    // nil: a leg of the route has no main line entry
	MinorRestrict    int            `json:"minor_restrictions"` // different ones passed
	MajorRestrict    int            `json:"major_restrictions"`
	LinesRun         []LineRun      `json:"lines_run"`
	MarkersPlaced    []PlacedMarker `json:"markers_placed"`
	StrongestFlow    float64        `json:"strongest_flow_m_min"` // size, over the legs of the route
	AirBells         []string       `json:"air_bells"`            // stations of the route that are no exit
}

// LineRun is a line the team runs itself.
type LineRun struct {
	Leg     string  `json:"leg"`
	LengthM float64 `json:"length_m"`
	Move    int     `json:"move"`
	Gap     bool    `json:"gap"`
}

// Problem is an error in the Input, with the path of the field.
type Problem struct {
	Field string `json:"field"` // like legs[3].length_m
	Text  string `json:"text"`  // with value, range and unit
}

func (p Problem) Error() string { return p.Field + ": " + p.Text }
