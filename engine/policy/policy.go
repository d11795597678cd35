// Package policy is the club policy: one typed document that holds every
// number a rule compares against. No rule has a limit of its own; a club edits
// any cell, keeps every version, and a decision names the version it used.
//
// Units: metres, minutes, bar, litres at 1 bar, hours, calendar days and
// months as named by each field. A pointer that is nil means "no limit set"
// where the field says so.
package policy

import "lastlight/engine/finding"

// Policy is the whole document. The version is the server's, not part of it.
type Policy struct {
	Name string `json:"name"`

	Ladder       []Level  `json:"ladder"` // easiest level first
	Endorsements []string `json:"endorsements"`

	Team           Team           `json:"team"`
	Lights         Lights         `json:"lights"`
	Lines          Lines          `json:"lines"`
	Gas            Gas            `json:"gas"`
	Consumption    Consumption    `json:"consumption"`
	Speeds         Speeds         `json:"speeds"`
	Flow           Flow           `json:"flow"`
	SlowExit       SlowExit       `json:"slow_exit"`
	Verification   Verification   `json:"verification"`
	Cavern         Cavern         `json:"cavern"`
	Mix            Mix            `json:"mix"`
	People         People         `json:"people"`
	Currency       Currency       `json:"currency"`
	FirstVisit     FirstVisit     `json:"first_visit"`
	Readings       Readings       `json:"readings"`
	Entry          Entry          `json:"entry"`
	Watch          Watch          `json:"watch"`
	Overlap        Overlap        `json:"overlap"`
	Cylinders      Cylinders      `json:"cylinders"`
	Kit            []KitInterval  `json:"kit"`
	Scooter        Scooter        `json:"scooter"`
	Decompression  Decompression  `json:"decompression"`
	Oxygen         Oxygen         `json:"oxygen"`
	Failures       Failures       `json:"failures"`
	Flying         Flying         `json:"flying"`
	FirstAidOxygen FirstAidOxygen `json:"first_aid_oxygen"`
	Statistics     Statistics     `json:"statistics"`
	Retention      []Retention    `json:"retention"`
	Waivers        Waivers        `json:"waivers"`
	OwnRules       []OwnRule      `json:"own_rules,omitempty"`

	// Sources cites the cells: the longest matching path prefix governs a cell.
	Sources []Source `json:"sources"`
}

// Source cites the clause one cell, or a group of cells, rests on.
type Source struct {
	Path     string           `json:"path"` // as in Problem.Path, e.g. ladder[INT].max_depth_m
	Citation finding.Citation `json:"citation"`
}

// The endorsements that say what somebody can do for others, not where they may
// dive. A club whose policy lists them is asked whether they are kept current.
const (
	Resuscitation = "CPR"
	FirstAid      = "FIRST_AID"
	GivesOxygen   = "OXYGEN"
)

// IsFirstAid tells whether the endorsement is one of those.
func IsFirstAid(endorsement string) bool {
	return endorsement == Resuscitation || endorsement == FirstAid || endorsement == GivesOxygen
}

// Permission is one cell of the per-level table that is "no", "yes" or "yes if".
type Permission struct {
	Allowed          bool     `json:"allowed"`
	Endorsements     []string `json:"endorsements,omitempty"` // every diver concerned must hold each of them
	InstructorInTeam bool     `json:"instructor_in_team,omitempty"`
	AfterSetUp       bool     `json:"after_set_up,omitempty"` // only over a verified far side
	SecondApprover   bool     `json:"second_approver,omitempty"`
	Max              *int     `json:"max,omitempty"`        // per dive; nil = no limit set
	WarnAbove        *int     `json:"warn_above,omitempty"` // caution above this number
}

// Overhead is how much overhead a level may go under.
type Overhead string

// The overheads of the per-level table, easiest first.
const (
	OverheadNone     Overhead = "none"
	OverheadDaylight Overhead = "daylight_zone"
	OverheadMainLine Overhead = "dark_zone_main_line"
	OverheadDark     Overhead = "dark_zone"
)

// GasRuleKind is how a level's share of the gas is limited.
type GasRuleKind string

// The kinds of gas rule.
const (
	GasNotAllowed GasRuleKind = "not_allowed"
	GasMinimum    GasRuleKind = "minimum_gas" // open water: practice 4.8
	GasFraction   GasRuleKind = "fraction"
)

// GasRule is the share of the whole supply that may be used up to the
// commitment point.
type GasRule struct {
	Kind     GasRuleKind `json:"kind"`
	Fraction Fraction    `json:"fraction,omitzero"`
}

// Level is one row of the training ladder: what the least qualified diver
// present permits the team.
type Level struct {
	Name  string `json:"name"`
	Title string `json:"title"`

	Overhead   Overhead `json:"overhead"`
	MaxDepthM  float64  `json:"max_depth_m"`
	DeeperWith []string `json:"deeper_with,omitempty"` // endorsements that lift the depth to the card's own
	CardDepth  bool     `json:"card_depth,omitempty"`  // the card's own depth governs where it is printed (open water)
	MaxLinearM *float64 `json:"max_linear_m"`          // from the surface, depth included; nil = none

	GasSingle       GasRule  `json:"gas_single"`
	GasDoubles      GasRule  `json:"gas_doubles"`
	Inflow          GasRule  `json:"inflow"` // siphon row: not_allowed or the largest fraction
	MinStartGasL    float64  `json:"min_start_gas_l"`
	MinVisibilityM  float64  `json:"min_visibility_m"`
	LowerVisibility Decide   `json:"lower_visibility"` // what less visibility is
	NoStopShare     *float64 `json:"no_stop_share"`    // bottom time within this share of the no-stop limit; nil = none

	Decompression    Permission `json:"decompression"`
	DecoGases        *int       `json:"deco_gases"`     // nil = no limit set
	DecoMinutes      *float64   `json:"deco_minutes"`   // total stops; nil = no limit set
	Jumps            Permission `json:"jumps"`          // jumps + gaps per dive
	JumpFromJump     bool       `json:"jump_from_jump"` // a jump that starts on a jump line
	OffMainLine      Permission `json:"off_main_line"`  // T passed off the main line
	Circuit          Permission `json:"circuit"`        //
	Traverse         Permission `json:"traverse"`       //
	MinorRestriction Permission `json:"minor_restriction"`
	TurnBothEnds     bool       `json:"turn_both_ends"` // each end of a minor restriction must let the diver turn round
	MajorRestriction Permission `json:"major_restriction"`
	Stages           Permission `json:"stages"`
	Scooter          Permission `json:"scooter"`
	Rebreather       Permission `json:"rebreather"`

	TeamMin      int    `json:"team_min"`
	TeamMax      int    `json:"team_max"`
	Lights       int    `json:"lights"`
	MaxSiteGrade int    `json:"max_site_grade"`
	CourseDives  int    `json:"course_dives,omitempty"` // recorded and shown only: of the next level's course, which is the instructor's to certify
	LapseMonths  *int   `json:"lapse_months"`           // card counts this long from issue; nil = no lapse
	LapsesTo     string `json:"lapses_to,omitempty"`
}

// Decide is what a breach of a cell is.
type Decide string

// The three ways a cell can be breached.
const (
	DecideRefuse  Decide = "refuse"
	DecideWaiver  Decide = "needs_waiver"
	DecideCaution Decide = "caution"
)

// Status is the finding status of a breach; an unset cell refuses.
func (d Decide) Status() finding.Status {
	switch d {
	case DecideWaiver:
		return finding.NeedsWaiver
	case DecideCaution:
		return finding.Caution
	}
	return finding.Refuse
}

// Team is what holds for every team.
type Team struct {
	SoloAllowed      bool     `json:"solo_allowed"`
	SoloEndorsements []string `json:"solo_endorsements"` // asked of a solo diver where solo is allowed
	CoverRequired    bool     `json:"cover_required"`
	CuttingTools     int      `json:"cutting_tools"` // per diver in overhead
}

// Lights are the burn times asked of each light.
type Lights struct {
	PrimaryFactor float64 `json:"primary_factor"` // × planned runtime, up to whole minutes
	BackupFactor  float64 `json:"backup_factor"`
	Primaries     int     `json:"primaries"` // how many of a level's lights are primaries
}

// Lines are reels, spools and markers.
type Lines struct {
	ReelFactor          float64 `json:"reel_factor"`          // reel length ≥ leg × this
	PrimaryReelM        float64 `json:"primary_reel_m"`       // where no permanent line starts in open water
	SafetySpools        int     `json:"safety_spools"`        // per diver
	SafetySpoolM        float64 `json:"safety_spool_m"`       // least length of one
	MarkersPerDecision  int     `json:"markers_per_decision"` // personal markers per diver and decision
	ArrowsPerDiver      int     `json:"arrows_per_diver"`
	JunctionsNeedMarker bool    `json:"junctions_need_marker"`
}

// Gas is how gas is shared and turned on: route method, section 4.
type Gas struct {
	DefaultRMVLMin        float64  `json:"default_rmv_l_min"` // where a diver has no measured consumption; 0 = cannot tell
	StressFactor          float64  `json:"stress_factor"`
	ConsumptionFloorLMin  float64  `json:"consumption_floor_l_min"`
	DelayMin              float64  `json:"delay_min"`
	SharingReserveBar     float64  `json:"sharing_reserve_bar"`
	PlannedReserveBar     float64  `json:"planned_reserve_bar"`
	MinimumGasBar         float64  `json:"minimum_gas_bar"` // no turn pressure below this; 0 = none
	StepBar               float64  `json:"step_bar"`        // drops are floored to this
	StepPsi               float64  `json:"step_psi"`        // recorded and shown only: the engine floors in bar, a page in psi rounds up to the gauge's next mark
	ThreeDonor            string   `json:"three_donor"`     // single | pooled
	WaitingGas            string   `json:"waiting_gas"`     // own | none
	StageRule             string   `json:"stage_rule"`      // thirds | half_plus_15
	StageFraction         Fraction `json:"stage_fraction"`
	DecoReserveFactor     float64  `json:"deco_reserve_factor"`
	IndependentWithinBar  float64  `json:"independent_within_bar"`
	SiteOpeningShare      Fraction `json:"site_opening_share"` // of the gas rule, on a site opening
	HelpfulOutflowGone    Decide   `json:"helpful_outflow_gone"`
	Model                 string   `json:"model"` // real | ideal
	CountOpenWaterAscent  bool     `json:"count_open_water_ascent"`
	RebreatherBailoutLMin float64  `json:"rebreather_bailout_l_min"` // recorded and shown only: a rebreather is unsupported and refused
}

// Consumption is from which dives a diver's own consumption is learned.
type Consumption struct {
	Dives        int `json:"dives"`         // fewer: what is stated, else the default; 0 = nothing is learned
	WithinMonths int `json:"within_months"` // dives count through their day and so many months
}

// Speeds in metres per minute.
type Speeds struct {
	Swim               float64  `json:"swim"`
	ContingencySwim    float64  `json:"contingency_swim"`
	Ascent             float64  `json:"ascent"`
	Descent            float64  `json:"descent"`
	MinProgress        float64  `json:"min_progress"`
	ContingencyCaution float64  `json:"contingency_caution"`
	PullAndGlide       *float64 `json:"pull_and_glide"` // nil = not declared
	PullAndGlideRMV    float64  `json:"pull_and_glide_rmv_factor"`
	Scooter            float64  `json:"scooter"`
	TouchContactFactor float64  `json:"touch_contact_factor"`
}

// FlowClass is one class of water speed.
type FlowClass struct {
	Name   string   `json:"name"`
	Below  *float64 `json:"below_m_min"` // nil = no upper end
	Refuse bool     `json:"refuse,omitempty"`
}

// Flow is how water speed is judged.
type Flow struct {
	Classes         []FlowClass `json:"classes"` // slowest first
	InflowOneUp     bool        `json:"inflow_one_class_stricter"`
	InflowAboveMMin float64     `json:"inflow_above_m_min"` // a leg is inflow above this
	HoldStopMMin    float64     `json:"hold_stop_m_min"`    // no stop is held in faster water
}

// SlowExit is the delayed-exit multiplier by bottom.
type SlowExit struct {
	Clear          float64 `json:"clear"`
	SomeSilt       float64 `json:"some_silt"`
	SiltLikely     float64 `json:"silt_likely"`
	ZeroVisibility float64 `json:"zero_visibility"` // also a minor restriction while sharing
}

// Verification is what a plan may count on beyond the way it came.
type Verification struct {
	Hours           int     `json:"hours"`             // a verification holds this long, to the minute
	FarOpeningHours int     `json:"far_opening_hours"` // the far opening was seen open within
	Counts          string  `json:"counts"`            // after_marker | from_start | never
	MinPassed       int     `json:"min_passed"`        // members of this team that passed it
	HalvesWarnShare float64 `json:"halves_warn_share"` // time or gas half differs from distance half by more
}

// Cavern is what makes a leg cavern zone.
type Cavern struct {
	MaxDepthM      float64 `json:"max_depth_m"`
	MaxLinearM     float64 `json:"max_linear_m"`
	MinVisibilityM float64 `json:"min_visibility_m"`
}

// Mix is analyses and breathing-gas limits.
type Mix struct {
	AnalysisDays      int     `json:"analysis_days"`       // to the end of this many site-local days after its own
	O2TolerancePoints string  `json:"o2_tolerance_points"` // decimal text, compared exactly
	HeTolerancePoints string  `json:"he_tolerance_points"`
	AnalysedByDiver   bool    `json:"analysed_by_diver"`     // by the person who breathes it
	CalibratedWithin  int     `json:"calibrated_within_min"` // the analyser was calibrated at most so long before the reading; 0 = not asked
	AirReadingLow     string  `json:"air_reading_low"`       // per cent shown for air at the calibration, decimal text
	AirReadingHigh    string  `json:"air_reading_high"`
	PO2WorkingBar     float64 `json:"po2_working_bar"`
	PO2RestingBar     float64 `json:"po2_resting_bar"`
	PO2FloorBar       float64 `json:"po2_floor_bar"`
	DensityCautionGL  float64 `json:"density_caution_g_l"`
	DensityRefuseGL   float64 `json:"density_refuse_g_l"`
	OxygenNarcotic    bool    `json:"oxygen_narcotic"`
	// A change of gas whose nitrogen rises by more than this share of the fall of
	// its helium is noted.
	SwitchNitrogenShare Fraction `json:"switch_nitrogen_share"`
}

// MedicalBand is one age band; Below is the birthday that ends it, nil for the last.
type MedicalBand struct {
	Below  *int `json:"below"`
	Months int  `json:"months"`
}

// People is who may dive at all.
type People struct {
	MinimumAge          int           `json:"minimum_age"`
	AdultAge            int           `json:"adult_age"`        // below it a diver is a minor
	GuardianConsent     bool          `json:"guardian_consent"` // of minors, where the minimum age admits them
	MedicalMode         string        `json:"medical_mode"`     // strict | lenient
	MedicalBands        []MedicalBand `json:"medical_bands"`
	DeclarationRequired bool          `json:"declaration_required"`
	DeclarationMonths   int           `json:"declaration_months"`
	SuspensionClearedBy []string      `json:"suspension_cleared_by"`
	CardSeenByOther     bool          `json:"card_seen_by_other"`
	CprMonths           int           `json:"cpr_months"`       // a card of CPR holds so long from its issue; 0 = not asked
	FirstAidMonths      int           `json:"first_aid_months"` // a card of FIRST_AID or OXYGEN; 0 = not asked
}

// Currency is practice 11 as dates fix it.
type Currency struct {
	Dives               int      `json:"dives"`
	WithinMonths        int      `json:"within_months"`
	EasierAfterDays     int      `json:"easier_after_days"`
	RefresherMonths     int      `json:"refresher_months"`
	ReassessMonths      int      `json:"reassess_months"`
	GraceMonths         int      `json:"grace_after_issue_months"`
	EndorsementUses     int      `json:"endorsement_uses"`
	EndorsementMonths   int      `json:"endorsement_months"`
	CountedEndorsements []string `json:"counted_endorsements"`
}

// FirstVisit is what a dive is where a member has never dived the site.
type FirstVisit struct {
	OneStepEasier    bool     `json:"one_step_easier"`
	LeaderDives      int      `json:"leader_dives"`
	LeaderMonths     int      `json:"leader_months"`
	PenetrationShare Fraction `json:"penetration_share"`
	MedianMonths     int      `json:"median_months"`
	MedianLeast      int      `json:"median_least"`
}

// Readings is how the day's level, flow and visibility bind.
type Readings struct {
	Required          bool   `json:"required"`
	DueAtEntry        bool   `json:"due_at_entry"` // a condition at an approval given on an earlier day
	ThresholdExceeded Decide `json:"threshold_exceeded"`
}

// Entry is how long an approval may wait.
type Entry struct {
	EnterByMin int `json:"enter_by_min"` // after the planned entry; later the approval is expired
}

// Watch is the timing of the surface watch.
type Watch struct {
	RoundToMin       int      `json:"round_to_min"`
	GraceShare       Fraction `json:"grace_share"` // of the unrounded runtime
	GraceMin         int      `json:"grace_min"`
	GraceMax         int      `json:"grace_max"`
	GraceFloor       int      `json:"grace_floor"` // never less, not even by the gas clause
	LookShare        Fraction `json:"look_share"`
	CoordinatorShare Fraction `json:"coordinator_share"`
}

// Overlap is how far apart two duties of one person or cylinder must be.
type Overlap struct {
	BufferMin int `json:"buffer_min"`
}

// Regime is one national table of cylinder tests.
type Regime struct {
	Name                 string           `json:"name"`
	Title                string           `json:"title"`
	HydroMonths          int              `json:"hydro_months"`
	VisualMonths         int              `json:"visual_months"`
	VisualRiskMonths     *int             `json:"visual_with_risk_assessment_months"`
	VisualHeavyUseMonths *int             `json:"visual_heavy_use_months"`
	Count                string           `json:"count"`          // month | exact
	Base                 string           `json:"base"`           // mark | first_service
	CarryPastDue         string           `json:"carry_past_due"` // filled_in_date | refused
	VisualBindsCarriage  bool             `json:"visual_binds_carriage"`
	AlloyRefusedFrom     []AlloyBan       `json:"alloy_refused_from,omitempty"`
	CleanAboveO2         string           `json:"oxygen_clean_above_o2"` // per cent, decimal text: richer gas only in a cylinder cleaned for oxygen
	EffectiveFrom        string           `json:"effective_from"`        // ISO date, empty = always
	EffectiveTo          string           `json:"effective_to"`          // ISO date, empty = still
	Citation             finding.Citation `json:"citation"`
}

// AlloyBan is an alloy that is neither filled nor used nor carried full from a day on.
type AlloyBan struct {
	Alloy string `json:"alloy"`
	From  string `json:"from"` // ISO date
}

// Cylinders is how tests bind.
type Cylinders struct {
	Regimes           []Regime `json:"regimes"`
	StrictOutOfTest   bool     `json:"strict_out_of_test"` // full and out of test is refused, not noticed
	DueSoonDays       int      `json:"due_soon_days"`
	EddyCurrentAlloys []string `json:"eddy_current_alloys"` // a hydro counts only with the eddy current on record
	PlusSpecs         []string `json:"plus_specs"`
	PlusPercent       int      `json:"plus_percent"`
}

// KitClock is one interval of an item.
type KitClock struct {
	Clock    string `json:"clock"`
	Months   int    `json:"months,omitempty"`
	Dives    int    `json:"dives,omitempty"`
	EachTrip bool   `json:"each_trip,omitempty"`
	Overdue  Decide `json:"overdue"` // what it is on a dive when it has run out or cannot be told: refuse (cannot tell blocks) or caution
}

// KitInterval is the service table of one kind of equipment.
type KitInterval struct {
	Item   string     `json:"item"`
	Clocks []KitClock `json:"clocks"`
}

// Scooter is what is asked of a scooter that is taken along.
type Scooter struct {
	BatteryFactor float64 `json:"battery_factor"` // battery minutes ≥ planned runtime × this, up to whole minutes
}

// Decompression is the model and how stops are made.
type Decompression struct {
	Model                 string  `json:"model"`             // zhl16c | zhl16b
	FirstCompartment      string  `json:"first_compartment"` // 1 | 1b
	GFLow                 float64 `json:"gf_low"`            // per cent
	GFHigh                float64 `json:"gf_high"`           // per cent
	LastStopM             float64 `json:"last_stop_m"`
	StopStepM             float64 `json:"stop_step_m"`
	MinStopMin            float64 `json:"min_stop_min"`
	SwitchMin             float64 `json:"switch_min"`
	EarlierDivesHours     int     `json:"earlier_dives_hours"` // dives that ended within count; each is asked for whole
	AltitudeM             float64 `json:"altitude_m"`          // above this the arrival must be known
	HoldStopInRestriction Decide  `json:"hold_stop_in_restriction"`
	StopInFlow            Decide  `json:"stop_in_flow"` // in water faster than flow.hold_stop_m_min
	StopOnWayIn           Decide  `json:"stop_on_way_in"`
	StopAboveLast         Decide  `json:"stop_above_last"` // shallower than the last stop
	Saddle                Decide  `json:"saddle"`          // the way falls again after the first stop
}

// Oxygen is exposure limits.
type Oxygen struct {
	CNSCautionPercent float64 `json:"cns_caution_percent"`
	CNSRefusePercent  float64 `json:"cns_refuse_percent"`
	OTUDaily          float64 `json:"otu_daily"`
	AirBreakEveryMin  float64 `json:"air_break_every_min"` // of 80 % oxygen or more at stops; 0 = none
	AirBreakMin       float64 `json:"air_break_min"`
}

// Failures is what a case of the failure table is when it does not hold.
type Failures struct {
	DelayMin         float64 `json:"delay_min"`
	LoseDecoGas      Decide  `json:"lose_deco_gas"`
	Delay            Decide  `json:"delay"`
	TouchContact     Decide  `json:"touch_contact"`
	TouchSharing     Decide  `json:"touch_contact_sharing"`
	ScooterLost      Decide  `json:"scooter_lost"`
	WorstConsumption Decide  `json:"worst_consumption"`
	DeeperM          float64 `json:"deeper_m"`
	LongerMin        float64 `json:"longer_min"`
	DeeperLonger     Decide  `json:"deeper_longer"`
	FarSideShut      Decide  `json:"far_side_shut"`
}

// Flying is the waiting time before a flight.
type Flying struct {
	SingleHours  int     `json:"single_hours"`
	SeveralHours int     `json:"several_hours"`
	StopsHours   int     `json:"stops_hours"`
	ChainHours   int     `json:"chain_hours"` // dives at most this far apart are one series
	CabinM       float64 `json:"cabin_m"`     // no wait below
}

// FirstAidOxygen is how the oxygen at the site is counted (rule site.first_aid_oxygen).
type FirstAidOxygen struct {
	FlowLMin   float64 `json:"flow_l_min"`
	Casualties int     `json:"casualties"`
	DownToBar  float64 `json:"down_to_bar"`
}

// Statistics is what is shown outside the safety group.
type Statistics struct {
	HideBelow int `json:"hide_below"`
}

// Retention is how long a kind of record is kept.
type Retention struct {
	Record string `json:"record"`
	Months int    `json:"months,omitempty"` // 0 with Days 0 = for ever
	Days   int    `json:"days,omitempty"`
	After  string `json:"after,omitempty"` // what it counts from where not the record's own date
}

// WaiverRule says who may waive the needs_waiver findings of one rule.
type WaiverRule struct {
	Rule           string   `json:"rule"`
	Roles          []string `json:"roles"`
	SecondApprover bool     `json:"second_approver"`
}

// Waivers is the table of who may decide otherwise. A rule in Nobody, or in
// neither list, is waived by nobody. A member of the team, its standby or its
// cover may never waive, whatever stands here: the server sees to that.
type Waivers struct {
	Rules  []WaiverRule `json:"rules"`
	Nobody []string     `json:"nobody"`
}

// For is who may waive the rule; nil means nobody.
func (w Waivers) For(rule string) *finding.Waiver {
	for _, n := range w.Nobody {
		if n == rule {
			return nil
		}
	}
	for _, r := range w.Rules {
		if r.Rule == rule && len(r.Roles) > 0 {
			return &finding.Waiver{Roles: append([]string(nil), r.Roles...), SecondApprover: r.SecondApprover}
		}
	}
	return nil
}

// Rung is the index of a level in the ladder, -1 where it is not in it.
func (p *Policy) Rung(level string) int {
	for i := range p.Ladder {
		if p.Ladder[i].Name == level {
			return i
		}
	}
	return -1
}

// Level finds a level by name; nil where the ladder has none.
func (p *Policy) Level(name string) *Level {
	if i := p.Rung(name); i >= 0 {
		return &p.Ladder[i]
	}
	return nil
}

// Regime finds a cylinder regime by name; nil where there is none.
func (p *Policy) Regime(name string) *Regime {
	for i := range p.Cylinders.Regimes {
		if p.Cylinders.Regimes[i].Name == name {
			return &p.Cylinders.Regimes[i]
		}
	}
	return nil
}

// FlowClassOf names the class of a water speed in m/min, the sign ignored, one
// class up where it is inflow and the policy says so.
func (p *Policy) FlowClassOf(speed float64, inflow bool) (class FlowClass, ok bool) {
	if speed < 0 {
		speed = -speed
	}
	for i, c := range p.Flow.Classes {
		if c.Below == nil || speed < *c.Below {
			if inflow && p.Flow.InflowOneUp && i > 0 && i+1 < len(p.Flow.Classes) {
				return p.Flow.Classes[i+1], true
			}
			return c, true
		}
	}
	return FlowClass{}, false
}
