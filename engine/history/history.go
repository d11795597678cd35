// Package history reads what a diver's recorded dives and stays left behind at
// the planned entry: inert gas in the tissues and exposure to oxygen. Where a
// record leaves something open the careful reading holds; where it leaves out
// what no reading can stand for, the answer is a problem and not a number.
package history

import (
	"fmt"
	"math"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/gas"
	"lastlight/engine/oxygen"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// Settings are what the policy fixes for the reading.
type Settings struct {
	Model    *tissue.Model
	Descent  float64 // m/min, of a dive without profile
	Hours    int     // dives that ended longer before the entry count nothing
	Altitude float64 // m; above it the arrival must be known
	Richest  float64 // bar of oxygen that any gas is taken to have been breathed at, at most
}

// Place is where and when the dive in question begins.
type Place struct {
	Site     string
	Altitude float64 // m
	Surface  float64 // bar
	Entry    calendar.Instant
}

// Start is a diver's state at the entry. It holds only where Problems is empty.
type Start struct {
	Tissues  tissue.State
	Oxygen   oxygen.Carried
	Dives    []Counted        // oldest first
	Arrived  calendar.Instant // at the altitude of the place; none = not asked, or not known
	Problems []Problem
}

// Counted is one dive that counts, and what it did by itself.
type Counted struct {
	ID         string
	Entry, Out calendar.Instant
	Profile    bool // read from its profile; else square to its greatest depth
	CNS        float64
	OTU        float64
}

// Problem is why the state cannot be told.
type Problem struct {
	Code string
	Dive string // empty: not about a dive
	What string // in words, what is missing or does not fit
}

// The codes of problems.
const (
	Arrival  = "arrival" // no arrival at the altitude of the place
	Open     = "open"    // a dive whose record is not closed
	Overlap  = "overlap" // a dive begins before the last ended, or ends after the entry
	Order    = "order"   // dives out of order
	NoGas    = "no_gas"  // gas not recorded
	GasDepth = "no_gas_depth"
	NoDepth  = "no_depth"
	NoTime   = "no_duration"
	NoPlace  = "no_pressure" // surface pressure or density of a past dive's site
	Profile  = "profile"     // the profile does not fit the record
)

// At reads a diver's state at the place: tissues saturated where the diver came
// from, every recorded dive of the last hours followed, every surface interval at
// the pressure of the place.
func At(d *facts.Diver, p Place, s Settings) Start {
	var out Start
	back := p.Entry.Add(-s.Hours * 60)
	stay := stays{model: s.Model, arrivals: d.Arrivals, limit: s.Altitude}
	var account []oxygen.Past
	var last calendar.Instant
	for i := range d.Dives {
		x := &d.Dives[i]
		if !x.Entry.Before(p.Entry) || (!x.Open && x.Out.Before(back)) {
			continue
		}
		problem := func(code, format string, args ...any) {
			out.Problems = append(out.Problems, Problem{Code: code, Dive: x.ID, What: fmt.Sprintf(format, args...)})
		}
		switch {
		case x.Open:
			problem(Open, "the dive is not closed")
			continue
		case !x.Out.After(x.Entry):
			problem(NoTime, "the dive has no duration")
			continue
		case x.Out.After(p.Entry):
			problem(Overlap, "the dive ends after this entry")
			continue
		case len(out.Dives) > 0 && x.Entry.Before(out.Dives[len(out.Dives)-1].Entry):
			problem(Order, "the dives are not in the order in which they were dived")
			continue
		case !last.IsZero() && x.Entry.Before(last):
			problem(Overlap, "the dive begins before the last one ended")
			continue
		}
		last = x.Out
		counted := Counted{ID: x.ID, Entry: x.Entry, Out: x.Out, Profile: len(x.Profile) > 0}
		out.Dives = append(out.Dives, counted)
		w, altitude, ok := column(x)
		if !ok {
			problem(NoPlace, "the surface pressure and the water of its site are not known")
			continue
		}
		gases, problems := mixes(x, w, s.Richest)
		out.Problems = append(out.Problems, problems...)
		if len(gases) == 0 {
			continue
		}
		stay.to(x.Site, altitude, w.Surface, x.Entry)
		var e exposure
		if counted.Profile {
			var what string
			if e, what = follow(s.Model, &stay.state, x, w, gases); what != "" {
				problem(Profile, "%s", what)
				continue
			}
		} else {
			e = square(s.Model, &stay.state, x, w, gases, s.Descent)
		}
		stay.leave(x.Out)
		mine := &out.Dives[len(out.Dives)-1]
		mine.CNS, mine.OTU = e.cns, e.otu
		account = append(account, oxygen.Past{
			EndedAgo: float64(p.Entry.Sub(x.Out)), Minutes: float64(x.Out.Sub(x.Entry)), CNS: e.cns, Daily: e.daily, OTU: e.otu,
		})
	}
	out.Arrived = stay.to(p.Site, p.Altitude, p.Surface, p.Entry)
	if p.Altitude > s.Altitude && out.Arrived.IsZero() {
		out.Problems = append(out.Problems, Problem{Code: Arrival, What: "the arrival at the altitude of the site"})
	}
	out.Tissues, out.Oxygen = stay.state, oxygen.Carry(account)
	return out
}

// Surfaced is a diver's state when the last recorded dive ended, and the surface
// pressure there; ok is false where nobody can tell.
func Surfaced(d *facts.Diver, s Settings) (state tissue.State, surface float64, ok bool) {
	if len(d.Dives) == 0 {
		return state, 0, false
	}
	last := &d.Dives[len(d.Dives)-1]
	w, altitude, known := column(last)
	start := At(d, Place{Site: last.Site, Altitude: altitude, Surface: w.Surface, Entry: last.Out}, s)
	for _, p := range start.Problems {
		if p.Code != Arrival { // who has just dived here needs no arrival for the way down
			known = false
		}
	}
	return start.Tissues, w.Surface, known
}

// column is the water of a past dive's site.
func column(x *facts.PastDive) (w water.Column, altitude float64, ok bool) {
	return Column(x.BarometerBar, x.AltitudeM, x.DensityKgM3)
}

// Column is the water of a site, and its altitude, from what is recorded of it:
// a barometer's reading in bar, else the altitude in metres, and the density in
// kg/m³; nil is not known. Not ok: the water cannot be told.
func Column(barometer, altitudeM, density *float64) (w water.Column, altitude float64, ok bool) {
	if density == nil {
		return w, 0, false
	}
	switch {
	case barometer != nil:
		h, err := water.Altitude(*barometer)
		if err != nil {
			return w, 0, false
		}
		w, altitude = water.Of(*barometer, *density), h
	case altitudeM != nil:
		surface, err := water.SurfacePressure(water.Geopotential(*altitudeM))
		if err != nil {
			return w, 0, false
		}
		w, altitude = water.Of(surface, *density), *altitudeM
	default:
		return w, 0, false
	}
	return w, altitude, w.Check() == nil
}

// deepest is the greatest depth of any record, m; more is a mistyped one.
const deepest = 400

// breathed is one gas with how deep and, where it is known, how long.
type breathed struct {
	mix     gas.Mix
	deepest float64
	minutes float64 // negative: not known
}

// mixes are the gases of a past dive. With a profile their depths are the
// profile's; without, a gas may have been breathed down to the greatest depth
// unless its record says otherwise, and where that would have been beyond any
// limit the record must say.
func mixes(x *facts.PastDive, w water.Column, richest float64) ([]breathed, []Problem) {
	var out []breathed
	var problems []Problem
	problem := func(code, what string) {
		problems = append(problems, Problem{Code: code, Dive: x.ID, What: what})
	}
	if len(x.Gases) == 0 {
		problem(NoGas, "the gas breathed")
	}
	if x.MaxDepthM == nil || !(*x.MaxDepthM >= 0 && *x.MaxDepthM <= deepest) {
		problem(NoDepth, "the greatest depth")
	}
	if len(problems) > 0 {
		return nil, problems
	}
	left := float64(x.Out.Sub(x.Entry))
	for i, g := range x.Gases {
		b := breathed{mix: gas.Mix{O2: g.O2 / 100, He: g.He / 100}, deepest: *x.MaxDepthM, minutes: -1}
		if g.DeepestM != nil {
			b.deepest = math.Min(b.deepest, *g.DeepestM)
		}
		if b.mix.Check() != nil || !(b.deepest >= 0) {
			problem(NoGas, "the gas breathed")
			return nil, problems
		}
		if i > 0 && g.Minutes != nil {
			b.minutes = *g.Minutes
			left -= b.minutes
		}
		if len(x.Profile) == 0 && i > 0 && g.DeepestM == nil && b.mix.O2*w.Pressure(b.deepest) > richest {
			problem(GasDepth, "the depth to which "+b.mix.String()+" was breathed")
		}
		out = append(out, b)
	}
	if left < 0 {
		problem(NoTime, "the gases were breathed for longer than the dive")
	}
	if len(problems) > 0 {
		return nil, problems
	}
	return out, nil
}
