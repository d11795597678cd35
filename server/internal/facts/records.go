// Package facts turns records into the engine's input. It is pure: the store
// reads the records in one transaction, this package says what they mean to the
// engine. Persons go in under their pseudonyms, so that what was decided can be
// kept when names must go.
package facts

import (
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"

	"lastlight/engine/policy"
)

// Records is everything one evaluation rests on, as stored.
type Records struct {
	PolicyID string
	Policy   policy.Policy

	Plan   *lastlightv1.Plan // one version; Version is set
	Site   *lastlightv1.Site // with its restricted fields left out
	Survey *lastlightv1.Survey
	Stops  int // how often all dives were stopped since the plan was made

	Readings []*lastlightv1.Reading // of the site, oldest first
	Permits  []*lastlightv1.Permit
	Damages  []*lastlightv1.LineDamage
	Left     []*lastlightv1.LeftItem // of the site, not recovered

	People    []Person // team, standby and cover
	Cylinders []Cylinder
	Sets      []*lastlightv1.CylinderSet
	Equipment []Equipment
	// Instruments are the analysers and compressors that analyses and fills of the cylinders name.
	Instruments []Equipment

	// Trip is the first and last day of the plan's expedition; empty: it belongs to none.
	Trip [2]string

	// SiteDives are closed dives of the site in the days before, with all their divers.
	SiteDives []*lastlightv1.Dive
	// Penetrations are those of closed dives of the site, as far back as the policy's median looks; oldest first.
	Penetrations []Penetration
	Bookings     []Booking

	// Pseudonyms of everybody named anywhere above, by person id.
	Pseudonyms map[string]string
}

// Person is one person with what counts for or against a dive.
type Person struct {
	Record *lastlightv1.Person // cards and medical status included
	Dives  []PastDive          // oldest first

	// Breathed are the dives of the last months that have pressures, of the team alone.
	Breathed []BreathedDive
}

// PastDive is one dive of one person.
type PastDive struct {
	ID           string
	Site         string
	TimeZone     string // of its site
	Kind         string
	TaughtLevel  string
	Zone         string
	EnteredAt    time.Time
	OutAt        time.Time
	Taught       bool // an instructor was in the team
	CountedAs    string
	Instructor   bool
	Used         []string
	PenetrationM *float64
	MaxDepthM    *float64
	Closed       bool
	Version      int64

	// Of dives that may still count for tissues; nil of older ones.
	Record *lastlightv1.Dive
	Place  *lastlightv1.Site // its site: surface pressure and water
}

// Penetration is how far in one closed dive of a site went.
type Penetration struct {
	Dive      string
	EnteredAt time.Time
	Metres    float64
}

// Cylinder is one cylinder with what was done to it.
type Cylinder struct {
	Record        *lastlightv1.Cylinder // service events included
	QuarantinedAt time.Time             // zero: in service
	LastFill      *lastlightv1.Fill     // nil: none on record
	Analyses      []*lastlightv1.Analysis
	Handling      []Handling                // fills and custody since the oldest analysis, oldest first
	Custody       *lastlightv1.CustodyEvent // the last, up to the entry asked about; nil: none on record
}

// Equipment is another piece of gear with what was done with it.
type Equipment struct {
	Record        *lastlightv1.Equipment // service events included
	QuarantinedAt time.Time              // zero: in service
	DivesSince    *int                   // dives since the last service, at most; nil: not counted for this kind, or no service on record
	Custody       *lastlightv1.CustodyEvent
}

// Handling is what may end an analysis: fill, top_up, valve_removal, custody_break.
type Handling struct {
	Kind string
	At   time.Time
}

// Booking is what another plan binds a person or cylinder to.
type Booking struct {
	Plan    string
	State   string
	Kind    string // person or cylinder
	Subject string
	Duty    string
	From    time.Time
	Until   time.Time // zero: without end
}

// Measured is what was read at the water, by person and cylinder id.
type Measured struct {
	EnteredAt    time.Time
	MainsBar     map[string]float64
	StageBar     map[string]float64
	TemperatureC map[string]*float64 // by person
}

// Versions are the root versions of every record used, for the evaluation's
// row: beside the hash, never in it.
func (r *Records) Versions() map[string]int64 {
	v := map[string]int64{
		"site:" + r.Site.Id:       r.Site.Version,
		"survey:" + r.Survey.Site: int64(r.Survey.Number),
		"plan:" + r.Plan.Id:       int64(r.Plan.Version),
		"policy:" + r.PolicyID:    0,
	}
	for _, p := range r.People {
		v["person:"+p.Record.Id] = p.Record.Version
	}
	for _, c := range r.Cylinders {
		v["item:"+c.Record.Id] = c.Record.Version
	}
	for _, e := range r.Equipment {
		v["item:"+e.Record.Id] = e.Record.Version
	}
	return v
}
