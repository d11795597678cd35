package tissue

import (
	"math"

	"lastlight/engine/water"
)

// Tie is the difference in bar below which two margins count as equal; the
// compartment that comes first is then named.
const Tie = 1e-9

// Coefficients returns a and b of compartment i for what it holds: the means of
// both gases' values weighted by their tissue tensions, nitrogen's where there is no inert gas.
func (m *Model) Coefficients(s *State, i int) (a, b float64) {
	c := &m.compartments[i]
	he, n2 := s.He[i], s.N2[i]
	sum := n2 + he
	if he == 0 || !(sum > 0) {
		return c.AN2, c.BN2
	}
	return (float64(c.AN2*n2) + float64(c.AHe*he)) / sum,
		(float64(c.BN2*n2) + float64(c.BHe*he)) / sum
}

// Allowed is the tension compartment i may have at an ambient pressure with a
// gradient factor (0 to 1), bar: P + gf (a + P/b - P).
func (m *Model) Allowed(s *State, i int, ambient, gf float64) float64 {
	a, b := m.Coefficients(s, i)
	return ambient + float64(gf*(a+ambient/b-ambient))
}

// CompartmentMargin is Allowed less the tension, bar: negative means refused.
func (m *Model) CompartmentMargin(s *State, i int, ambient, gf float64) float64 {
	return m.Allowed(s, i, ambient, gf) - (s.N2[i] + s.He[i])
}

// Margin is the least CompartmentMargin and its compartment.
func (m *Model) Margin(s *State, ambient, gf float64) (least float64, compartment int) {
	least = math.Inf(1)
	for i := range s.N2 {
		if d := m.CompartmentMargin(s, i, ambient, gf); d < least-Tie {
			least, compartment = d, i
		}
	}
	return least, compartment
}

// Tolerated is the lowest ambient pressure the state allows with a gradient
// factor above 0, bar, and the compartment that sets it.
func (m *Model) Tolerated(s *State, gf float64) (ambient float64, compartment int) {
	ambient = math.Inf(-1)
	for i := range s.N2 {
		a, b := m.Coefficients(s, i)
		p := (s.N2[i] + s.He[i] - float64(a*gf)) / (gf/b - gf + 1)
		if p > ambient+Tie {
			ambient, compartment = p, i
		}
	}
	return ambient, compartment
}

// Ceiling is the depth of Tolerated in metres, negative where the state would
// allow less than the surface pressure.
func (m *Model) Ceiling(s *State, c water.Column, gf float64) (depth float64, compartment int) {
	p, i := m.Tolerated(s, gf)
	return c.Depth(p), i
}

// SurfaceLoad is the greatest share of the surface's allowed excess that a
// compartment holds (1 = at the model's limit; below 0: less than the surface
// pressure), at a surface pressure in bar, and its compartment.
func (m *Model) SurfaceLoad(s *State, surface float64) (load float64, compartment int) {
	load = math.Inf(-1)
	for i := range s.N2 {
		a, b := m.Coefficients(s, i)
		if v := (s.N2[i] + s.He[i] - surface) / (a + surface/b - surface); v > load+Tie {
			load, compartment = v, i
		}
	}
	return load, compartment
}

// GradientFactor is the factor in force at a depth in metres: GFhigh at the
// surface, GFlow at the anchor and below it, straight between.
func GradientFactor(low, high, depth, anchor float64) float64 {
	switch {
	case !(anchor > 0) || !(depth > 0):
		return high
	case depth >= anchor:
		return high + (low - high)
	}
	return high + float64((low-high)*(depth/anchor))
}
