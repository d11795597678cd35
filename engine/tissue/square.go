package tissue

import (
	"math"

	"lastlight/engine/floats"
	"lastlight/engine/gas"
	"lastlight/engine/water"
)

// Square is a dive to one depth and straight up: what no-stop limits are told for.
type Square struct {
	Water   water.Column
	Depth   float64 // metres, above 0
	Mix     gas.Mix
	GFHigh  float64
	Descent float64 // m/min, above 0
	Ascent  float64 // m/min, above 0
}

// InstantLimit is the time in minutes at the depth until the tension of a
// compartment reaches what the surface allows, descent and ascent taking no
// time, from a saturated state; and that compartment. It is +Inf, compartment
// -1, where no compartment ever does. (Method handbook, physics section 10, definition 1.)
func (m *Model) InstantLimit(q Square) (minutes float64, compartment int) {
	s := m.Saturated(q.Water.Surface)
	n2, he := m.Inspired(q.Mix, q.Water.Pressure(q.Depth))
	if he > 0 {
		return m.instantLimitWithHelium(s, q)
	}
	minutes, compartment = math.Inf(1), -1
	for i := range s.N2 {
		limit := m.Allowed(&s, i, q.Water.Surface, q.GFHigh)
		if n2 <= limit {
			continue
		}
		t := 0.0
		if limit > s.N2[i] {
			t = -floats.Log((n2-limit)/(n2-s.N2[i])) / m.rateN2[i]
		}
		if t < minutes-Tie {
			minutes, compartment = t, i
		}
	}
	return minutes, compartment
}

// instantLimitWithHelium halves an interval: with two gases the limit moves with
// the tissue's content and there is no closed form. The tension may pass its
// limit and fall below it again, so the first crossing is looked for minute by minute.
func (m *Model) instantLimitWithHelium(s State, q Square) (float64, int) {
	p := q.Water.Pressure(q.Depth)
	var minute Step
	m.Fill(&minute, 1, true)
	for t := range 100000 {
		before := s
		m.Apply(&s, &minute, q.Mix, p, p, true)
		margin, c := m.Margin(&s, q.Water.Surface, q.GFHigh)
		if margin >= 0 {
			continue
		}
		low, high := 0.0, 1.0
		for range 60 {
			mid := float64(0.5 * (low + high))
			at := before
			m.Linear(&at, q.Mix, p, p, mid)
			if d, i := m.Margin(&at, q.Water.Surface, q.GFHigh); d < 0 {
				high, c = mid, i
			} else {
				low = mid
			}
		}
		return float64(t) + high, c
	}
	return math.Inf(1), -1
}

// MinuteLimit is the answer of Model.MinuteLimit.
type MinuteLimit struct {
	Minutes     int     // longest whole bottom time, descent included, from which a direct ascent is within GFhigh; meaningless if Beyond
	Beyond      bool    // true: longer than was searched
	Compartment int     // of the first minute that fails
	Margin      float64 // bar, of the first minute that fails: negative
}

// MinuteLimit searches the longest no-stop time in whole minutes up to a bound,
// with descent, direct ascent and off-gassing on the way, from a saturated state.
// (Method handbook, physics section 10, definition 2.) If already the first
// whole minute after the descent fails, Minutes is one less than that.
func (m *Model) MinuteLimit(q Square, most int) MinuteLimit {
	s := m.Saturated(q.Water.Surface)
	helium := q.Mix.He > 0
	bottom := q.Water.Pressure(q.Depth)
	descent := q.Depth / q.Descent
	m.Linear(&s, q.Mix, q.Water.Surface, bottom, descent)
	var up, minute Step
	m.Fill(&up, q.Depth/q.Ascent, helium)
	m.Fill(&minute, 1, helium)
	first := int(math.Ceil(descent - Tie))
	m.Linear(&s, q.Mix, bottom, bottom, float64(first)-descent)
	for t := first; t <= most; t++ {
		at := s
		m.Apply(&at, &up, q.Mix, bottom, q.Water.Surface, helium)
		if margin, c := m.Margin(&at, q.Water.Surface, q.GFHigh); margin < -Tie {
			return MinuteLimit{Minutes: t - 1, Compartment: c, Margin: margin}
		}
		m.Apply(&s, &minute, q.Mix, bottom, bottom, helium)
	}
	return MinuteLimit{Minutes: most, Beyond: true}
}
