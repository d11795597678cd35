package facts

import "lastlight/engine/calendar"

// Diver is one person, under a pseudonym. Nothing here says why a person may
// not dive.
type Diver struct {
	ID      string `json:"id"`   // pseudonym, stable
	Name    string `json:"name"` // display name
	Version int64  `json:"version"`

	Birth       calendar.Day   `json:"birth"`
	Cards       []Card         `json:"cards"`
	Medical     *Medical       `json:"medical"`
	NotDiving   []Absence      `json:"not_diving"` // by the diver's own word, no reason kept
	Consumption *Consumption   `json:"consumption"`
	Dives       []PastDive     `json:"dives"` // oldest first; closed dives only
	Reassessed  []calendar.Day `json:"reassessed"`
	Consent     []Consent      `json:"consent"` // a guardian's, for a minor
	Guest       bool           `json:"guest"`
	Arrivals    []Arrival      `json:"arrivals,omitempty"` // at altitude, as the diver says
}

// Arrival is when a diver came to stay at the altitude of a site.
type Arrival struct {
	Site string           `json:"site"`
	At   calendar.Instant `json:"at"`
}

// Card is one training card: a level of the ladder or an endorsement.
type Card struct {
	ID          string           `json:"id"`
	Level       string           `json:"level,omitempty"`
	Endorsement string           `json:"endorsement,omitempty"`
	Issued      calendar.Day     `json:"issued"`
	Expires     calendar.Day     `json:"expires"` // printed last day, none = none printed
	DepthM      *float64         `json:"depth_m"` // printed depth, none = none printed
	SeenBy      string           `json:"seen_by"` // person id; empty = nobody has seen it
	SeenAt      calendar.Instant `json:"seen_at"`
	Revoked     calendar.Instant `json:"revoked"` // none = not revoked
	Version     int64            `json:"version"`
}

// Medical is status facts only: dates and suspensions, never content.
type Medical struct {
	Examined    calendar.Day     `json:"examined"`
	DoctorUntil calendar.Day     `json:"doctor_until"`  // the doctor's own earlier date
	Declared    calendar.Day     `json:"declared"`      // last yearly declaration
	Suspended   calendar.Day     `json:"suspended"`     // accident or symptoms: from this day
	Cleared     calendar.Instant `json:"cleared"`       // by the roles the policy names
	NotFit      bool             `json:"not_fit"`       // declared not fit, until changed
	DepthLimitM *float64         `json:"depth_limit_m"` // what a restriction means for planning, never the restriction
	Version     int64            `json:"version"`
}

// Absence is a stretch of days on which the diver has said they do not dive.
type Absence struct {
	From calendar.Day `json:"from"`
	To   calendar.Day `json:"to"`
}

// Consumption is a breathing rate at the surface and where it comes from.
type Consumption struct {
	RMVLMin   float64 `json:"rmv_l_min"`   // 0 = not stated
	WorstLMin float64 `json:"worst_l_min"` // 0 = not known
	Origin    string  `json:"origin"`      // of the two above: measured | declared
	Dives     int     `json:"dives"`       // how many recorded dives they rest on

	// Learned is what the diver's recorded dives of the months before say, one for
	// each way of moving; whether it is enough is the policy's.
	Learned []LearnedRate `json:"learned,omitempty"`
}

// LearnedRate is what recorded dives say of one way of moving, L/min.
type LearnedRate struct {
	Way        string       `json:"way"` // swimming | pull_and_glide | scooter | decompression
	MedianLMin float64      `json:"median_l_min"`
	WorstLMin  float64      `json:"worst_l_min"` // worst tenth
	Dives      []string     `json:"dives"`       // that it rests on, oldest first
	First      calendar.Day `json:"first"`
	Last       calendar.Day `json:"last"`
}

// Consent is a guardian's consent for a minor.
type Consent struct {
	From calendar.Day `json:"from"`
	To   calendar.Day `json:"to"`
	By   string       `json:"by"`
}

// PastDive is one recorded dive of one diver. What it left in tissues and lungs
// is read from its profile, or carefully from depth, duration and gases.
type PastDive struct {
	ID           string           `json:"id"`
	Site         string           `json:"site"`
	Entry        calendar.Instant `json:"entry"`
	Out          calendar.Instant `json:"out"`
	Open         bool             `json:"open,omitempty"` // the record is not closed: out and depth may not be the last word
	EntryDay     calendar.Day     `json:"entry_day"`      // in the zone of that dive's site
	SignedOut    calendar.Instant `json:"signed_out"`
	Zone         string           `json:"zone"`       // open | cavern | cave
	CountedAs    string           `json:"counted_as"` // level the diver counted as
	TrainingAs   string           `json:"training_as,omitempty"`
	Instructor   bool             `json:"instructor"`
	Uses         []string         `json:"uses"` // endorsements used
	PenetrationM *float64         `json:"penetration_m"`
	MaxDepthM    *float64         `json:"max_depth_m"` // the diver's own, else the team's
	Version      int64            `json:"version"`

	// The place: a barometer's reading, else the altitude; both none = not known.
	BarometerBar *float64 `json:"barometer_bar,omitempty"`
	AltitudeM    *float64 `json:"altitude_m,omitempty"`
	DensityKgM3  *float64 `json:"density_kg_m3,omitempty"`

	Gases   []Breathed `json:"gases,omitempty"`   // the back gas first; empty = not recorded
	Profile []Sample   `json:"profile,omitempty"` // in order of time; empty = none on record
	Stops   *bool      `json:"stops,omitempty"`   // required stops; none = not known
}

// Breathed is one gas of a past dive.
type Breathed struct {
	O2       float64  `json:"o2"` // per cent
	He       float64  `json:"he,omitempty"`
	DeepestM *float64 `json:"deepest_m,omitempty"` // breathed no deeper than; none = down to the greatest depth
	Minutes  *float64 `json:"minutes,omitempty"`   // how long; none = not known
}

// Sample is one point of a recorded profile; depth changes evenly between points.
type Sample struct {
	Second int     `json:"s"`
	DepthM float64 `json:"m"`
	Gas    int     `json:"gas,omitempty"` // index into Gases, breathed from here on
}
