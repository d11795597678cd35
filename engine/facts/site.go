package facts

import "lastlight/engine/calendar"

// Site is what holds at the site, less its line network, which is Input.Route.
type Site struct {
	ID      string `json:"id"`
	Name    string `json:"name"`
	Version int64  `json:"version"`

	Zones        []calendar.Zone `json:"zones" most:"2"`                     // of the opening entered first; then of the exit where it differs
	Grade        *int            `json:"grade" in:"1..5 on the club scale"`  // club scale 1-5
	DensityKgM3  *float64        `json:"density_kg_m3" in:"990..1250 kg/m³"` // of the water, 990 to 1250
	BarometerBar *float64        `json:"barometer_bar" in:"0.3..1.2 bar"`    // none = from the altitude
	AltitudeM    *float64        `json:"altitude_m" in:"-430..5500 m"`
	WaterC       *float64        `json:"water_c" in:"-2..45 °C"`

	WalkMin                *float64 `json:"walk_min" in:"0..600 min"` // from the entrance to the place with a signal; none = signal at the entrance
	CoordinatorWithoutWalk bool     `json:"coordinator_without_walk"`

	Oxygen []OxygenCylinder `json:"oxygen,omitempty" most:"100"` // for first aid, kept at the site; empty = none on record

	Bottoms []Bottom `json:"bottoms" most:"40000"` // of legs; a leg not listed is not told and counts as silt likely

	Closed         bool           `json:"closed"` // until further notice
	Closures       []Closure      `json:"closures" most:"1000"`
	PermitRequired *bool          `json:"permit_required"` // none = not told
	Permits        []Permit       `json:"permits" most:"1000"`
	Thresholds     Thresholds     `json:"thresholds"`
	Readings       []Reading      `json:"readings" most:"20000"` // oldest first
	Verifications  []Verification `json:"verifications" most:"1000"`
	Openings       []Sighting     `json:"openings" most:"5000"` // openings seen open

	Penetrations []Penetration `json:"penetrations" most:"100000"` // of recorded, closed dives here, oldest first
}

// OxygenCylinder is one cylinder of first-aid oxygen.
type OxygenCylinder struct {
	VolumeL float64 `json:"volume_l" in:"0..100 L"` // of water
	Bar     float64 `json:"bar" in:"0..450 bar"`    // gauge
}

// Penetration is how far in one recorded dive went.
type Penetration struct {
	Dive   string       `json:"dive"`
	Day    calendar.Day `json:"day"` // of its entry, in the site's zone
	Metres float64      `json:"m" in:"0..20000 m"`
}

// Closure is closed at both ends. Either days or instants are given.
type Closure struct {
	FromDay calendar.Day     `json:"from_day"`
	ToDay   calendar.Day     `json:"to_day"`
	From    calendar.Instant `json:"from"`
	To      calendar.Instant `json:"to"`
	Reason  string           `json:"reason"`
}

// Permit is one window of days, with daily hours where the owner sets them.
type Permit struct {
	ID        string       `json:"id"`
	From      calendar.Day `json:"from"`
	To        calendar.Day `json:"to"`
	DailyFrom string       `json:"daily_from"` // "08:00", empty = no daily hours
	DailyTo   string       `json:"daily_to"`
}

// Thresholds are the site's go/no-go limits; nil or empty = no limit set.
type Thresholds struct {
	MaxLevelM      *float64 `json:"max_level_m" in:"-10000..10000 m"`
	MinLevelM      *float64 `json:"min_level_m" in:"-10000..10000 m"`
	MaxFlow        string   `json:"max_flow"` // flow class of the policy
	MinVisibilityM *float64 `json:"min_visibility_m" in:"0..200 m"`
}

// Reading is one reading of the conditions at the site.
type Reading struct {
	ID          string           `json:"id"`
	At          calendar.Instant `json:"at"`
	LevelM      *float64         `json:"level_m" in:"-10000..10000 m"`
	Level       string           `json:"level"` // class
	Flow        string           `json:"flow"`  // class of the policy
	VisibilityM *float64         `json:"visibility_m" in:"0..200 m"`
	Visibility  string           `json:"visibility"` // class
	By          string           `json:"by"`
	Version     int64            `json:"version"`
}

// Verification is what recorded dives of this team show about a stretch of the
// line: derived from executed dives, never typed.
type Verification struct {
	Dive       string           `json:"dive"` // the set-up dive
	Legs       []string         `json:"legs" most:"1000"`
	PassedBy   []string         `json:"passed_by" most:"100"` // diver ids
	Marker     string           `json:"marker"`               // station of the marker it left, empty = none
	MarkerAt   calendar.Instant `json:"marker_at"`            // minute the marker was reached; none = not recorded
	Entry      calendar.Instant `json:"entry"`                // of that dive
	LevelThen  string           `json:"level_then"`
	FlowThen   string           `json:"flow_then"`
	SightThen  string           `json:"visibility_then"`
	DoubtSince bool             `json:"doubt_since"` // line damage or a survey change came since
	Directions []string         `json:"directions,omitempty" most:"2"`
}

// Sighting is an opening seen open and passable.
type Sighting struct {
	Station string           `json:"station"`
	At      calendar.Instant `json:"at"`
	By      string           `json:"by"`
}

// Bottom is the silt class of one leg, which slows the exit by the policy's factor.
type Bottom struct {
	Leg   string `json:"leg"`
	Class string `json:"class" words:"clear some_silt silt_likely zero_visibility"` // clear | some_silt | silt_likely | zero_visibility
}
