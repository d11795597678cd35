package history

import (
	"math"

	"lastlight/engine/facts"
	"lastlight/engine/gas"
	"lastlight/engine/oxygen"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// exposure is what one dive adds to the oxygen account.
type exposure struct{ cns, otu, daily float64 }

func (e *exposure) add(from, to, minutes float64) {
	e.cns += oxygen.CNS(from, to, minutes)
	e.otu += oxygen.OTU(from, to, minutes)
	e.daily += oxygen.DailyShare(from, to, minutes)
}

// square reads a dive without profile: straight down to the greatest depth and
// there until the diver was out, on every gas recorded at once. In each
// compartment the gas that loads it most counts, nitrogen and helium apart, each
// gas as deep as it may have been breathed; so no order of the gases that fits
// the record leaves more. Oxygen: minutes that are recorded for a gas at that gas's
// greatest pressure, all others at the greatest pressure of the gases that
// have none.
func square(m *tissue.Model, s *tissue.State, x *facts.PastDive, w water.Column, gases []breathed, descent float64) exposure {
	minutes := float64(x.Out.Sub(x.Entry))
	var worst tissue.State
	var e exposure
	rest, richest := minutes, 0.0
	for _, g := range gases {
		after := *s
		down := math.Min(minutes, g.deepest/descent)
		bottom := w.Pressure(g.deepest)
		m.Linear(&after, g.mix, w.Surface, bottom, down)
		m.Linear(&after, g.mix, bottom, bottom, minutes-down)
		for i := range worst.N2 {
			worst.N2[i] = math.Max(worst.N2[i], after.N2[i])
			worst.He[i] = math.Max(worst.He[i], after.He[i])
		}
		po2 := float64(g.mix.O2 * bottom)
		if g.minutes >= 0 {
			e.add(po2, po2, g.minutes)
			rest -= g.minutes
		} else {
			richest = math.Max(richest, po2)
		}
	}
	e.add(richest, richest, rest)
	*s = worst
	return e
}

// Slack within which a profile fits its record: minutes are cut to whole ones,
// and a gauge and a record differ.
const (
	slackMin = 2
	slackM   = 1
	// A recorder may stop some minutes before the diver is seen out; what is missing beyond that was no surface interval for sure.
	slackOutMin = 5
)

// follow reads a dive along its profile. A few minutes of the record after the
// profile's end were spent at the surface. what says why the profile does not
// fit; the state is then not to be used.
func follow(m *tissue.Model, s *tissue.State, x *facts.PastDive, w water.Column, gases []breathed) (e exposure, what string) {
	minutes := float64(x.Out.Sub(x.Entry))
	at, depth, deepest, breathing := 0, 0.0, 0.0, gases[0].mix
	for _, p := range x.Profile {
		switch {
		case p.Second < at || p.Second == at && at > 0:
			return e, "its profile does not go forward in time"
		case !(p.DepthM >= 0 && p.DepthM <= *x.MaxDepthM+slackM):
			return e, "its profile goes deeper than its record"
		case p.Gas < 0 || p.Gas >= len(gases):
			return e, "its profile names a gas that is not recorded"
		}
		spent := float64(p.Second-at) / 60
		from, to := w.Pressure(depth), w.Pressure(p.DepthM)
		m.Linear(s, breathing, from, to, spent)
		e.add(float64(breathing.O2*from), float64(breathing.O2*to), spent)
		at, depth, breathing = p.Second, p.DepthM, gases[p.Gas].mix
		deepest = math.Max(deepest, depth)
	}
	left := minutes - float64(at)/60
	switch {
	case depth > slackM:
		return e, "its profile does not end at the surface"
	case deepest < *x.MaxDepthM-slackM: // it would leave less than the dive did
		return e, "its profile does not go as deep as its record"
	case left < -slackMin:
		return e, "its profile is longer than the dive"
	case left > slackOutMin:
		return e, "its profile ends long before the dive"
	}
	m.Linear(s, gas.Air, w.Surface, w.Surface, math.Max(0, left))
	return e, ""
}
