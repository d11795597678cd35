// Package divefile reads and writes dives in the open XML format for dive data,
// UDDF 3.2, whose element names are used as they are: metres, seconds, pascals,
// fractions of gases. A file comes from outside: it is bounded in size, depth
// and number of elements, and a document type, with it every entity of its
// own, is refused.
package divefile

import (
	"time"
)

// Dive is one dive of a file.
type Dive struct {
	Started time.Time
	Zoned   bool // the file says the zone of Started; else it is the clock on the wall
	Samples []Sample
	Tanks   []Tank
}

// Sample is one waypoint.
type Sample struct {
	Second  float64 // since the dive began
	DepthM  float64
	Mix     Mix
	Changed bool // the file names Mix here
}

// Mix is a gas in per cent.
type Mix struct{ O2, He float64 }

// Tank is one cylinder with what it held; nil where the file does not say.
type Tank struct {
	Mix      *Mix
	BeginBar *float64
	EndBar   *float64
	Litres   *float64 // of water
}

// Air is breathed where a file names no gas.
var Air = Mix{O2: 21}

// Limits of what is read. A day of samples two seconds apart is 43,200; a dive
// of the record holds 20,000.
const (
	mostBytes    = 16 << 20
	mostDepth    = 32
	mostElements = 500_000
	mostDives    = 1000
	mostSamples  = 20_000
	mostMixes    = 100
	mostTanks    = 20
	mostText     = 4096 // bytes of one element
)

// deepest is the greatest depth of any record, m; longest that of a dive, s.
const (
	deepest = 400
	longest = 172_800
)

const (
	pascalPerBar        = 1e5
	litresPerCubicMetre = 1000
)
