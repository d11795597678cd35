package facts

import "lastlight/engine/calendar"

// Cylinder is one cylinder of the register.
type Cylinder struct {
	ID       string  `json:"id"`
	Name     string  `json:"name"` // what the reader is shown
	Serial   string  `json:"serial"`
	Maker    string  `json:"maker"`
	Owner    string  `json:"owner"`
	VolumeL  float64 `json:"volume_l" in:"0 or 0.1..200 L"` // water volume
	RatedBar float64 `json:"rated_bar" in:"0..700 bar"`
	Material string  `json:"material"`
	Alloy    string  `json:"alloy,omitempty"`
	Spec     string  `json:"spec,omitempty"`
	Regime   string  `json:"regime"`                                       // empty = country unknown
	Clean    string  `json:"oxygen_clean" words:"clean not_clean unknown"` // clean | not_clean | unknown
	Version  int64   `json:"version"`

	Made           calendar.Mark   `json:"made"`
	FirstService   calendar.Mark   `json:"first_service"`
	MadePlus       bool            `json:"made_plus"`
	Disc           bool            `json:"burst_disc"` // burst disc of the stated kind on record
	RiskAssessment calendar.Mark   `json:"risk_assessment"`
	HeavyUse       bool            `json:"heavy_use"`
	Events         []CylinderEvent `json:"events" most:"2000"`
	Quarantined    *Quarantine     `json:"quarantined"` // none = not in quarantine
	Lies           *Lies           `json:"lies"`        // none = somebody has it

	FilledAt calendar.Instant `json:"filled_at"` // last fill or top-up; none = only the day is known
	FilledOn calendar.Day     `json:"filled_on"` // none = no fill on record
	Fill     *Fill            `json:"fill"`      // the fill on record, where more than its date is known

	Analyses []Analysis `json:"analyses" most:"5000"`  // oldest first
	Handling []Handling `json:"handling" most:"10000"` // what ends an analysis, oldest first
}

// CylinderEvent is a test, an inspection or damage.
type CylinderEvent struct {
	ID       string        `json:"id"`
	Kind     string        `json:"kind"` // hydro | visual | damage, and what counts for no test: clean | service | function …
	On       calendar.Mark `json:"on"`
	Recorded calendar.Day  `json:"recorded"`
	NextDue  calendar.Mark `json:"next_due"`
	Eddy     bool          `json:"eddy"`
	Plus     bool          `json:"plus"`
	Star     bool          `json:"star"`             // ten-year star: recorded, never counted
	Clears   string        `json:"clears,omitempty"` // the damage event an inspection names
}

// Fill is how a cylinder was filled.
type Fill struct {
	PartialPressure bool  `json:"partial_pressure"` // oxygen decanted into the cylinder itself
	Compressor      *Item `json:"compressor"`       // what compressed the air; none = not on record
}

// Quarantine is an item taken out of use.
type Quarantine struct {
	Since  calendar.Instant `json:"since"`
	Reason string           `json:"reason"`
}

// Lies is an item that nobody has: waiting in a cave, or lost.
type Lies struct {
	Lost  bool             `json:"lost"`
	Site  string           `json:"site"`
	Place string           `json:"place"`
	Since calendar.Instant `json:"since"`
}

// Analysis is one reading of one cylinder's gas.
type Analysis struct {
	ID string           `json:"id"`
	At calendar.Instant `json:"at"`
	O2 string           `json:"o2"` // per cent as typed, e.g. "32.4"
	He string           `json:"he"`
	By string           `json:"by"` // diver id

	Analyser   *Item            `json:"analyser"`   // none = not named
	Calibrated calendar.Instant `json:"calibrated"` // none = not told
	AirReading string           `json:"air"`        // per cent shown for air at the calibration; empty = not told

	Version int64 `json:"version"`
}

// Handling is something done to a cylinder that ends an analysis.
type Handling struct {
	Kind string           `json:"kind" words:"fill top_up valve_removal custody_break"` // fill | top_up | valve_removal | custody_break
	At   calendar.Instant `json:"at"`
}

// ItemKind is a kind of equipment the rules count.
type ItemKind string

// The kinds the rules count.
const (
	PrimaryLight ItemKind = "primary_light"
	BackupLight  ItemKind = "backup_light"
	Reel         ItemKind = "reel"
	Spool        ItemKind = "spool"
	Marker       ItemKind = "marker"
	Arrow        ItemKind = "arrow"
	CuttingTool  ItemKind = "cutting_tool"
	Mask         ItemKind = "mask"
	Scooter      ItemKind = "scooter"
	Analyser     ItemKind = "analyser"
	Compressor   ItemKind = "compressor"
)

// Item is one piece of equipment.
type Item struct {
	ID          string      `json:"id"`
	Name        string      `json:"name"`
	Kind        ItemKind    `json:"kind"`
	BurnMin     *float64    `json:"burn_min" in:"0..100000 min"` // lights: tested burn time; scooters: battery minutes
	LengthM     *float64    `json:"length_m" in:"0..2000 m"`     // reels and spools
	Quarantined *Quarantine `json:"quarantined"`
	Lies        *Lies       `json:"lies"`
	Version     int64       `json:"version"`

	Made       calendar.Mark `json:"made"`
	Events     []ItemEvent   `json:"events" most:"2000"`
	DivesSince *int          `json:"dives_since" in:"0..100000 dives"` // dives since the last service, at most; none = not known
}

// ItemEvent is something done to an item.
type ItemEvent struct {
	Kind     string        `json:"kind"` // service | check | burn | battery | clean | function | look | cell | fitting | test
	On       calendar.Mark `json:"on"`
	Recorded calendar.Day  `json:"recorded"`
}
