package facts

import "lastlight/engine/calendar"

// Cylinder is one cylinder of the register.
type Cylinder struct {
	ID       string  `json:"id"`
	Name     string  `json:"name"` // what the reader is shown
	Serial   string  `json:"serial"`
	Maker    string  `json:"maker"`
	Owner    string  `json:"owner"`
	VolumeL  float64 `json:"volume_l"` // water volume
	RatedBar float64 `json:"rated_bar"`
	Material string  `json:"material"`
	Alloy    string  `json:"alloy,omitempty"`
	Spec     string  `json:"spec,omitempty"`
	Regime   string  `json:"regime"`       // empty = country unknown
	Clean    string  `json:"oxygen_clean"` // clean | not_clean | unknown
	Version  int64   `json:"version"`

	Made           calendar.Mark   `json:"made"`
	FirstService   calendar.Mark   `json:"first_service"`
	MadePlus       bool            `json:"made_plus"`
	RiskAssessment calendar.Mark   `json:"risk_assessment"`
	HeavyUse       bool            `json:"heavy_use"`
	Events         []CylinderEvent `json:"events"`
	Quarantined    *Quarantine     `json:"quarantined"` // none = not in quarantine

	FilledAt calendar.Instant `json:"filled_at"` // last fill or top-up; none = only the day is known
	FilledOn calendar.Day     `json:"filled_on"` // none = no fill on record

	Analyses []Analysis `json:"analyses"` // oldest first
	Handling []Handling `json:"handling"` // what ends an analysis, oldest first
}

// CylinderEvent is a test, an inspection or damage.
type CylinderEvent struct {
	ID       string        `json:"id"`
	Kind     string        `json:"kind"` // hydro | visual | damage
	On       calendar.Mark `json:"on"`
	Recorded calendar.Day  `json:"recorded"`
	NextDue  calendar.Mark `json:"next_due"`
	Eddy     bool          `json:"eddy"`
	Plus     bool          `json:"plus"`
	Star     bool          `json:"star"`             // ten-year star: recorded, never counted
	Clears   string        `json:"clears,omitempty"` // the damage event an inspection names
}

// Quarantine is an item taken out of use.
type Quarantine struct {
	Since  calendar.Instant `json:"since"`
	Reason string           `json:"reason"`
}

// Analysis is one reading of one cylinder's gas.
type Analysis struct {
	ID      string           `json:"id"`
	At      calendar.Instant `json:"at"`
	O2      string           `json:"o2"` // per cent as typed, e.g. "32.4"
	He      string           `json:"he"`
	By      string           `json:"by"` // diver id
	Version int64            `json:"version"`
}

// Handling is something done to a cylinder that ends an analysis.
type Handling struct {
	Kind string           `json:"kind"` // fill | top_up | valve_removed | custody_break
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
)

// Item is one piece of equipment.
type Item struct {
	ID          string      `json:"id"`
	Name        string      `json:"name"`
	Kind        ItemKind    `json:"kind"`
	BurnMin     *float64    `json:"burn_min"` // lights: tested burn time
	LengthM     *float64    `json:"length_m"` // reels and spools
	Quarantined *Quarantine `json:"quarantined"`
	Version     int64       `json:"version"`
}
