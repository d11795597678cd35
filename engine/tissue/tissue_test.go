package tissue

import (
	"math"
	"math/rand"
	"testing"

	"lastlight/engine/gas"
	"lastlight/engine/water"
)

func near(t *testing.T, what string, got, want, absolute float64) {
	t.Helper()
	if !(math.Abs(got-want) <= absolute) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func index(t *testing.T, m *Model, id string) int {
	t.Helper()
	for i := range Count {
		if m.Compartment(i).ID == id {
			return i
		}
	}
	t.Fatalf("no compartment %s", id)
	return 0
}

// Method handbook, physics section 1, rows 1.H1, 1.H2, 1.S1, 1.S2, to 1e-6 bar.
func TestHaldaneAndSchreiner(t *testing.T) {
	m := Default()
	p := water.Fresh.Pressure
	s := m.Saturated(water.Fresh.Surface)
	near(t, "saturated", s.N2[3], 0.7509345, 1e-9)
	m.Linear(&s, gas.Air, p(30), p(30), 25)
	near(t, "1.H1", s.N2[index(t, m, "5")], 1.851798, 1e-6)
	s = m.Saturated(water.Fresh.Surface)
	m.Linear(&s, gas.Mix{O2: 0.32}, p(18), p(18), 60)
	near(t, "1.H2", s.N2[index(t, m, "8")], 1.208221, 1e-6)
	s = m.Saturated(water.Fresh.Surface)
	m.Linear(&s, gas.Air, p(0), p(40), 2)
	near(t, "1.S1", s.N2[index(t, m, "3")], 0.9165938, 1e-6)
	i := index(t, m, "2")
	s = State{}
	s.He[i] = 2.1
	m.Linear(&s, gas.Mix{O2: 0.18, He: 0.45}, p(60), p(21), 3.9)
	near(t, "1.S2", s.He[i], 2.093087, 1e-6)
}

// Method handbook, physics section 1, rows 1.M1, 1.M2, 1.M5, 1.G1, 1.G2, and the
// published 1.P1 (trimix 18/50, compartment 1: a 1.5541, b 0.4559).
func TestLimits(t *testing.T) {
	for _, r := range []struct {
		id, compartment              string
		variant                      Variant
		n2, he, ambient, gf          float64
		a, b, m, allowed, tol, depth float64
	}{
		{"1.M1", "4", C, 2.6, 0, 1.6, 0.8, 0.7562, 0.7825, 2.800928, 2.560743, 1.632116, 6.310675},
		{"1.M2", "3", C, 1.45, 1.3, 2.2, 0.35, 1.017847, 0.6893455, 4.209281, 2.903248, 2.06763, 10.75169},
		{"1.M5", "1", B, 3, 0, 1.01325, 1, 1.2599, 0.505, 3.266336, 3.266336, 0.8787505, -1.371513},
	} {
		m, err := New(r.variant, map[bool]string{true: "1", false: "1b"}[r.compartment == "1"], WaterVapour)
		if err != nil {
			t.Fatal(err)
		}
		i := index(t, m, r.compartment)
		var s State
		s.N2[i], s.He[i] = r.n2, r.he
		a, b := m.Coefficients(&s, i)
		near(t, r.id+" a", a, r.a, 1e-6)
		near(t, r.id+" b", b, r.b, 1e-6)
		near(t, r.id+" M", m.Allowed(&s, i, r.ambient, 1), r.m, 1e-6)
		near(t, r.id+" allowed", m.Allowed(&s, i, r.ambient, r.gf), r.allowed, 1e-6)
		tol, c := m.Tolerated(&s, r.gf)
		near(t, r.id+" tolerated", tol, r.tol, 1e-6)
		depth, _ := m.Ceiling(&s, water.Fresh, r.gf)
		near(t, r.id+" ceiling", depth, r.depth, 1e-5)
		if c != i {
			t.Errorf("%s: compartment %d, want %d", r.id, c, i)
		}
	}
	near(t, "1.G1", GradientFactor(0.3, 0.85, 12, 27), 0.6055556, 1e-7)
	near(t, "1.G2", GradientFactor(0.2, 0.8, 6, 42), 0.7142857, 1e-7)
	near(t, "no anchor", GradientFactor(0.2, 0.8, 6, 0), 0.8, 0)
	m, err := New(C, "1", WaterVapour)
	if err != nil {
		t.Fatal(err)
	}
	s := State{N2: [Count]float64{0.32}, He: [Count]float64{0.5}}
	a, b := m.Coefficients(&s, 0)
	near(t, "1.P1 a", a, 1.5541, 5e-5)
	near(t, "1.P1 b", b, 0.4559, 5e-5)
}

// The closed form against the differential equation dP/dt = k (Pi - P) itself,
// by fourth-order Runge-Kutta steps, on random dives.
func TestAgainstTheDifferentialEquation(t *testing.T) {
	const seed = 7
	rng := rand.New(rand.NewSource(seed))
	m := Default()
	for range 40 {
		s := m.Saturated(1)
		var n2, he [Count]float64 = s.N2, s.He
		depth := 0.0
		c := water.Column{Surface: 1, PerMetre: 0.1}
		for range 6 {
			to, minutes := float64(rng.Intn(80)), 0.5+5*rng.Float64()
			mix := gas.Mix{O2: 0.1 + 0.2*rng.Float64(), He: 0.5 * rng.Float64()}
			m.Advance(&s, c, Piece{From: depth, To: to, Minutes: minutes, Mix: mix})
			const steps = 400
			h := minutes / steps
			for i := range Count {
				for g, p := range []*float64{&n2[i], &he[i]} {
					f, half := mix.N2(), m.Compartment(i).HalfN2
					if g == 1 {
						f, half = mix.He, m.Compartment(i).HalfHe
					}
					k := math.Ln2 / half
					slope := func(tt, y float64) float64 {
						return k*(f*(c.Pressure(depth+(to-depth)*tt/minutes)-WaterVapour)) - k*y
					}
					for j := range steps {
						tt, y := float64(j)*h, *p
						k1 := slope(tt, y)
						k2 := slope(tt+h/2, y+h/2*k1)
						k3 := slope(tt+h/2, y+h/2*k2)
						k4 := slope(tt+h, y+h*k3)
						*p = y + h/6*(k1+2*k2+2*k3+k4)
					}
				}
			}
			depth = to
		}
		for i := range Count {
			near(t, "pN2", s.N2[i], n2[i], 1e-7)
			near(t, "pHe", s.He[i], he[i], 1e-7)
		}
	}
}

// A straight piece may be cut anywhere (D54).
func TestCuttingAPieceChangesNothing(t *testing.T) {
	m := Default()
	whole, cut := m.Saturated(1), m.Saturated(1)
	mix := gas.Mix{O2: 0.15, He: 0.55}
	m.Linear(&whole, mix, 1, 8.5, 3.75)
	for i := range 15 {
		m.Linear(&cut, mix, 1+0.5*float64(i), 1.5+0.5*float64(i), 0.25)
	}
	for i := range Count {
		near(t, "pN2", cut.N2[i], whole.N2[i], 1e-13)
		near(t, "pHe", cut.He[i], whole.He[i], 1e-13)
	}
}

// Method handbook, physics section 10: C, air, GF 100, fresh water, 30 m: 21 whole
// minutes with 20 m/min down and 10 m/min up are no-stop, 22 are not.
func TestNoStopOnASquareDive(t *testing.T) {
	m := Default()
	for minutes, want := range map[float64]bool{21: true, 22: false} {
		s := m.Saturated(water.Fresh.Surface)
		m.Advance(&s, water.Fresh, Piece{From: 0, To: 30, Minutes: 1.5, Mix: gas.Air})
		m.Advance(&s, water.Fresh, Piece{From: 30, To: 30, Minutes: minutes - 1.5, Mix: gas.Air})
		a := m.NoStop(s, Way{Water: water.Fresh, AscentRate: 10, GFHigh: 1, Pieces: []Piece{{From: 30, To: 0, Minutes: 3, Mix: gas.Air}}})
		if a.NoStop != want {
			t.Errorf("%v min: %+v", minutes, a)
		}
	}
}

// A long level on the way out loads tissues that were clean at its start: the
// question is put behind it too.
func TestNoStopSeesWhatTheWayOutLoads(t *testing.T) {
	m := Default()
	s := m.Saturated(water.Fresh.Surface)
	way := Way{Water: water.Fresh, AscentRate: 9, GFHigh: 0.7, Pieces: []Piece{
		{From: 5, To: 30, Minutes: 5, Mix: gas.Air},
		{From: 30, To: 30, Minutes: 25, Mix: gas.Air},
		{From: 30, To: 0, Minutes: 40, Mix: gas.Air},
	}}
	a := m.NoStop(s, way)
	if a.NoStop || a.Piece != 1 {
		t.Errorf("%+v, want a no behind piece 1", a)
	}
	if b := m.NoStop(s, way); a != b {
		t.Errorf("asked twice: %+v, %+v", a, b)
	}
}

func TestWrongModelNamesEveryFault(t *testing.T) {
	if _, err := New("D", "2", math.NaN()); err == nil {
		t.Fatal("accepted")
	}
}

func TestEmptyTissuesTakeNitrogensCoefficients(t *testing.T) {
	m := Default()
	var s State
	if margin, c := m.Margin(&s, 1, 0.5); math.IsNaN(margin) || c < 0 {
		t.Error(margin, c)
	}
	if load, _ := m.SurfaceLoad(&s, 1); math.IsNaN(load) || load >= 0 {
		t.Error(load)
	}
}
