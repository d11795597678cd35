package history

import (
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// longStay is minutes after which a stay has nothing more to say: 30 days, some
// seventy half-times of the slowest compartment.
const longStay = 30 * 24 * 60

// stays follows a diver from place to place at the surface. Where a diver was is
// known for the dives and from the recorded arrivals on; in between the greater
// pressure counts, under which less inert gas leaves.
type stays struct {
	model    *tissue.Model
	arrivals []facts.Arrival
	limit    float64 // m: up to it people count as living at the site's pressure

	state   tissue.State
	begun   bool
	left    calendar.Instant // when the diver was last out of the water
	surface float64          // bar, where that was
}

// to brings the diver to a site at an instant and returns the arrival that
// counts there, none where none is on record or none is asked.
func (s *stays) to(site string, altitude, surface float64, at calendar.Instant) calendar.Instant {
	var arrived calendar.Instant
	if altitude > s.limit {
		for _, a := range s.arrivals {
			if a.Site == site && !a.At.After(at) && a.At.After(arrived) {
				arrived = a.At
			}
		}
	}
	rest := func(bar float64, from calendar.Instant) {
		s.model.Linear(&s.state, gas.Air, bar, bar, float64(min(longStay, at.Sub(from))))
	}
	below := max(surface, water.SeaLevelBar)
	switch {
	case !s.begun && altitude <= s.limit:
		s.state = s.model.Saturated(surface)
	case !s.begun:
		// Whence is not recorded: from the sea, the most that is usual.
		s.state = s.model.Saturated(below)
		if !arrived.IsZero() {
			rest(surface, arrived)
		}
	case arrived.After(s.left):
		away := max(below, s.surface)
		s.model.Linear(&s.state, gas.Air, away, away, float64(arrived.Sub(s.left)))
		rest(surface, arrived)
	default:
		rest(max(surface, s.surface), s.left)
	}
	s.begun, s.surface, s.left = true, surface, at
	return arrived
}

// leave notes when a dive at the place ended.
func (s *stays) leave(out calendar.Instant) { s.left = out }
