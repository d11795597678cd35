package tissue

import (
	"lastlight/engine/floats"
	"lastlight/engine/gas"
	"lastlight/engine/water"
)

// State is the tension of each inert gas in each compartment, bar.
type State struct {
	N2, He [Count]float64
}

// Saturated is the state of a person who has long breathed air at a surface
// pressure in bar.
func (m *Model) Saturated(surface float64) State {
	var s State
	for i := range s.N2 {
		s.N2[i] = float64(SurfaceNitrogen * (surface - m.vapour))
	}
	return s
}

// Factor is what some minutes do to one compartment: Q = e^(-kt) and
// W = t - (1 - Q)/k, by which a constant change of inspired pressure counts.
type Factor struct{ Q, W float64 }

// Step has the factors of all compartments for one length of time. It is worth
// keeping: a schedule uses few different lengths.
type Step struct {
	Minutes float64
	N2, He  [Count]Factor
}

// Fill works out the factors for a length of time in minutes; helium's only when asked.
func (m *Model) Fill(st *Step, minutes float64, helium bool) {
	st.Minutes = minutes
	fill(&st.N2, &m.rateN2, &m.meanN2, minutes)
	if helium {
		fill(&st.He, &m.rateHe, &m.meanHe, minutes)
	}
}

func fill(f *[Count]Factor, rate, mean *[Count]float64, minutes float64) {
	var q [Count]float64
	floats.Decays(&q, rate, minutes)
	for i, q := range &q {
		x := float64(rate[i] * minutes)
		f[i].Q = q
		if x > 0.05 {
			f[i].W = minutes - float64((1-q)*mean[i])
			continue
		}
		// 1-q would lose digits: the series of W/t = 1 - (1-e^-x)/x instead, good to 1e-15.
		w := 1.0/720 - float64(x*(1.0/5040-float64(x*(1.0/40320))))
		w = 1.0/24 - float64(x*(1.0/120-float64(x*w)))
		w = 1.0/2 - float64(x*(1.0/6-float64(x*w)))
		f[i].W = float64(float64(minutes*x) * w)
	}
}

// Inspired is the pressure of nitrogen and helium breathed at an ambient pressure.
func (m *Model) Inspired(mix gas.Mix, ambient float64) (n2, he float64) {
	dry := ambient - m.vapour
	return float64(mix.N2() * dry), float64(mix.He * dry)
}

// Linear moves the state through minutes in which the ambient pressure goes
// evenly from one value to another, breathing one mix. It is Schreiner's
// equation, exact; with equal pressures it is Haldane's. Minutes up to 1e-12,
// where a rate would have no bound, change nothing.
func (m *Model) Linear(s *State, mix gas.Mix, from, to, minutes float64) {
	if !(minutes > 1e-12) {
		return
	}
	helium := mix.He > 0 || s.HasHelium()
	var st Step
	m.Fill(&st, minutes, helium)
	m.Apply(s, &st, mix, from, to, helium)
}

// Apply is Linear with the factors of the step at hand. Without helium the
// step's helium factors and the state's helium are left alone.
func (m *Model) Apply(s *State, st *Step, mix gas.Mix, from, to float64, helium bool) {
	n2, he := m.Inspired(mix, from)
	if from == to {
		for i := range s.N2 {
			s.N2[i] = n2 + float64((s.N2[i]-n2)*st.N2[i].Q)
		}
		if helium {
			for i := range s.He {
				s.He[i] = he + float64((s.He[i]-he)*st.He[i].Q)
			}
		}
		return
	}
	rate := (to - from) / st.Minutes
	rateN2, rateHe := float64(mix.N2()*rate), float64(mix.He*rate)
	for i := range s.N2 {
		s.N2[i] = n2 + float64((s.N2[i]-n2)*st.N2[i].Q) + float64(rateN2*st.N2[i].W)
	}
	if helium {
		for i := range s.He {
			s.He[i] = he + float64((s.He[i]-he)*st.He[i].Q) + float64(rateHe*st.He[i].W)
		}
	}
}

// HasHelium tells whether any compartment holds helium.
func (s *State) HasHelium() bool {
	for _, p := range s.He {
		if p > 0 {
			return true
		}
	}
	return false
}

// Piece is a straight part of a dive: some minutes from one depth to another, or
// at one depth, on one mix.
type Piece struct {
	From, To float64 // metres
	Minutes  float64
	Mix      gas.Mix
}

// Advance moves the state through a piece.
func (m *Model) Advance(s *State, c water.Column, p Piece) {
	m.Linear(s, p.Mix, c.Pressure(p.From), c.Pressure(p.To), p.Minutes)
}
