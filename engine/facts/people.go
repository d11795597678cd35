package facts

import "lastlight/engine/calendar"

// Diver is one person, under a pseudonym. Nothing here says why a person may
// not dive.
type Diver struct {
	ID      string `json:"id"`   // pseudonym, stable
	Name    string `json:"name"` // display name
	Version int64  `json:"version"`

	Birth       calendar.Day   `json:"birth"`
	Cards       []Card         `json:"cards" most:"200"`
	Medical     *Medical       `json:"medical"`
	NotDiving   []Absence      `json:"not_diving" most:"1000"` // by the diver's own word, no reason kept
	Consumption *Consumption   `json:"consumption"`
	Dives       []PastDive     `json:"dives" most:"20000"` // oldest first; closed dives only
	Reassessed  []calendar.Day `json:"reassessed" most:"200"`
	Consent     []Consent      `json:"consent" most:"200"` // a guardian's, for a minor
	Guest       bool           `json:"guest"`
	Arrivals    []Arrival      `json:"arrivals,omitempty" most:"200"` // at altitude, as the diver says
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
	Expires     calendar.Day     `json:"expires"`               // printed last day, none = none printed
	DepthM      *float64         `json:"depth_m" in:"0..400 m"` // printed depth, none = none printed
	SeenBy      string           `json:"seen_by"`               // person id; empty = nobody has seen it
	SeenAt      calendar.Instant `json:"seen_at"`
	Revoked     calendar.Instant `json:"revoked"` // none = not revoked
	Version     int64            `json:"version"`
}

// Medical is status facts only: dates and suspensions, never content.
type Medical struct {
	Examined    calendar.Day     `json:"examined"`
	DoctorUntil calendar.Day     `json:"doctor_until"`                // the doctor's own earlier date
	Declared    calendar.Day     `json:"declared"`                    // last yearly declaration
	Suspended   calendar.Day     `json:"suspended"`                   // accident or symptoms: from this day
	Cleared     calendar.Instant `json:"cleared"`                     // by the roles the policy names
	NotFit      bool             `json:"not_fit"`                     // declared not fit, until changed
	DepthLimitM *float64         `json:"depth_limit_m" in:"0..400 m"` // what a restriction means for planning, never the restriction
	Version     int64            `json:"version"`
}

// Absence is a stretch of days on which the diver has said they do not dive.
type Absence struct {
	From calendar.Day `json:"from"`
	To   calendar.Day `json:"to"`
}

// Consumption is a breathing rate at the surface and where it comes from.
type Consumption struct {
	RMVLMin   float64 `json:"rmv_l_min" in:"0 or 1..200 L/min"`   // 0 = not stated
	WorstLMin float64 `json:"worst_l_min" in:"0 or 1..200 L/min"` // 0 = not known
	Origin    string  `json:"origin" words:"measured declared"`   // of the two above: measured | declared
	Dives     int     `json:"dives" in:"0..100000 dives"`         // how many recorded dives they rest on

	// Learned is what the diver's recorded dives of the months before say, one for
	// each way of moving; whether it is enough is the policy's.
	Learned []LearnedRate `json:"learned,omitempty" most:"10"`
}

// LearnedRate is what recorded dives say of one way of moving, L/min.
type LearnedRate struct {
	Way        string       `json:"way" words:"swimming pull_and_glide scooter decompression"` // swimming | pull_and_glide | scooter | decompression
	MedianLMin float64      `json:"median_l_min" in:"0..500 L/min"`
	WorstLMin  float64      `json:"worst_l_min" in:"0..500 L/min"` // worst tenth
	Dives      []string     `json:"dives" most:"20000"`            // that it rests on, oldest first
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
	Zone         string           `json:"zone" words:"open cavern cave"` // open | cavern | cave
	CountedAs    string           `json:"counted_as"`                    // level the diver counted as
	TrainingAs   string           `json:"training_as,omitempty"`
	Instructor   bool             `json:"instructor"`
	Uses         []string         `json:"uses" most:"60"` // endorsements used
	PenetrationM *float64         `json:"penetration_m" in:"0..20000 m"`
	MaxDepthM    *float64         `json:"max_depth_m" in:"0..400 m"` // the diver's own, else the team's
	Version      int64            `json:"version"`

	// The place: a barometer's reading, else the altitude; both none = not known.
	BarometerBar *float64 `json:"barometer_bar,omitempty" in:"0.3..1.2 bar"`
	AltitudeM    *float64 `json:"altitude_m,omitempty" in:"-430..5500 m"`
	DensityKgM3  *float64 `json:"density_kg_m3,omitempty" in:"990..1250 kg/m³"`

	Gases   []Breathed `json:"gases,omitempty" most:"20"`      // the back gas first; empty = not recorded
	Profile []Sample   `json:"profile,omitempty" most:"20000"` // in order of time; empty = none on record
	Stops   *bool      `json:"stops,omitempty"`                // required stops; none = not known
}

// Breathed is one gas of a past dive.
type Breathed struct {
	O2       float64  `json:"o2" in:"0..100 per cent"` // per cent
	He       float64  `json:"he,omitempty" in:"0..100 per cent"`
	DeepestM *float64 `json:"deepest_m,omitempty" in:"0..400 m"`  // breathed no deeper than; none = down to the greatest depth
	Minutes  *float64 `json:"minutes,omitempty" in:"0..2880 min"` // how long; none = not known
}

// Sample is one point of a recorded profile; depth changes evenly between points.
type Sample struct {
	Second int     `json:"s" in:"0..1000000 s"`
	DepthM float64 `json:"m" in:"-5..400 m"`
	Gas    int     `json:"gas,omitempty" in:"0..20 of the gases"` // index into Gases, breathed from here on
}
