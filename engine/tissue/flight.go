package tissue

import (
	"math"

	"lastlight/engine/gas"
)

// CabinPressure is the least pressure in an airliner's cabin, bar (8000 ft).
const CabinPressure = 0.753

// FlightWait is how long a diver breathes air at the surface until the state
// tolerates a cabin pressure.
type FlightWait struct {
	Minutes     float64
	Compartment int // least margin then
	Margin      float64
	N2, He      float64 // tensions of that compartment then, bar
	Beyond      bool    // not within a week
}

// Flight waits in steps of some minutes (above 0), at a surface pressure in bar,
// until every compartment is within gf at the cabin pressure. It is the model's
// own time and no guideline: the later of it and the practice intervals counts.
func (m *Model) Flight(s State, surface, cabin, gf, step float64) FlightWait {
	helium := s.HasHelium()
	var st Step
	m.Fill(&st, step, helium)
	for n := 0; ; n++ {
		margin, c := m.Margin(&s, cabin, gf)
		w := FlightWait{Minutes: float64(float64(n) * step), Compartment: c, Margin: margin, N2: s.N2[c], He: s.He[c]}
		if margin >= -Tie {
			return w
		}
		if w.Minutes >= 7*24*60 || math.IsNaN(margin) {
			w.Beyond = true
			return w
		}
		m.Apply(&s, &st, gas.Air, surface, surface, helium)
	}
}
