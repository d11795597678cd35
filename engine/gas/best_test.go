package gas

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/water"
)

var hand = water.Column{Surface: 1, PerMetre: 0.1}

// Method handbook, physics section 4, rows 4.40 and 4.41 (computed there): 60 m
// at 1.4 bar and END 30: 20/42.857; 33 m at 1.4 bar: 32.5581. Whole per cents go
// to the safe side: oxygen down, helium up.
func TestBestMixAgainstTheHandbook(t *testing.T) {
	exact, whole, ok := Want{Depth: 60, OxygenBar: 1.4, Narcosis: 30, OxygenNarcotic: true}.Best(hand)
	near(t, "4.40 oxygen", exact.O2, 0.2, 1e-6)
	near(t, "4.40 helium", exact.He, 0.428571, 1e-5)
	if !ok || whole != (Mix{O2: 0.20, He: 0.43}) {
		t.Errorf("in whole per cents %v", whole)
	}
	exact, whole, _ = Want{Depth: 33, OxygenBar: 1.4, Narcosis: -1}.Best(hand)
	near(t, "4.41 oxygen", exact.O2, 0.325581, 1e-5)
	if whole != ean32 {
		t.Errorf("in whole per cents %v, want EAN32", whole)
	}
}

// Method handbook, physics section 5, row 5.4: 18/45 has 5.2 g/L at 55.8811 m and
// 6.2 g/L at 68.5506 m (0 °C, 1 bar, 10 m per bar).
func TestDensityAsksForHelium(t *testing.T) {
	near(t, "5.2 g/L", Want{Depth: 55.8811, Density: 5.2, Narcosis: -1}.Helium(0.18, hand), 0.45, 1e-5)
	near(t, "6.2 g/L", Want{Depth: 68.5506, Density: 6.2, Narcosis: -1}.Helium(0.18, hand), 0.45, 1e-5)
	if _, _, ok := (Want{Depth: 700, OxygenBar: 1.4, Density: 5.2, Narcosis: -1}).Best(hand); ok {
		t.Error("a mix was found for 700 m at 5.2 g/L")
	}
}

func TestBestMixKeepsToWhatIsAsked(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := water.Column{Surface: rapid.Float64Range(0.6, 1.05).Draw(r, "surface"), PerMetre: rapid.Float64Range(0.097, 0.104).Draw(r, "per metre")}
		w := Want{
			Depth: rapid.Float64Range(0, 150).Draw(r, "depth"), OxygenBar: rapid.Float64Range(1, 1.6).Draw(r, "limit"), Narcosis: rapid.Float64Range(-10, 50).Draw(r, "END"),
			Density: rapid.SampledFrom([]float64{0, 5.2, 6.2}).Draw(r, "density"), OxygenNarcotic: rapid.Bool().Draw(r, "oxygen narcotic"),
		}
		_, whole, ok := w.Best(c)
		if !ok {
			return
		}
		if !w.Keeps(whole, c) {
			t.Fatalf("%+v: %v does not keep to it", w, whole)
		}
		if w.Narcosis >= 0 && END(whole, w.Depth, c, w.OxygenNarcotic) > w.Narcosis+1e-6 {
			t.Fatalf("%+v: END of %v is %v", w, whole, END(whole, w.Depth, c, w.OxygenNarcotic))
		}
		if w.Density > 0 && whole.Density(c.Pressure(w.Depth), DensityKelvin) > w.Density+1e-6 {
			t.Fatalf("%+v: density of %v", w, whole)
		}
		for _, m := range w.Fitting(Stocked(), c) {
			if !w.Keeps(m, c) {
				t.Fatalf("%+v: %v is offered", w, m)
			}
		}
	})
	fit := Want{Depth: 45, OxygenBar: 1.4, Narcosis: 30, Density: 6.2, OxygenNarcotic: true}.Fitting(Stocked(), hand)
	if !slices.Equal(fit[:2], []Mix{{O2: 0.21, He: 0.35}, tx1845}) {
		t.Errorf("for 45 m: %v", fit)
	}
}

// Practice section 10: hypoxic below 0.18 bar. 10/70 is breathed from 8 m down
// (1 bar, 10 m per bar).
func TestLimitsAtADepth(t *testing.T) {
	l := Limits{WorkingBar: 1.4, RestingBar: 1.6, FloorBar: 0.18, DensityCaution: DensityIdeal, DensityMost: DensityMost, OxygenNarcotic: true}
	near(t, "shallowest", l.Shallowest(Mix{O2: 0.10, He: 0.70}, hand), 8, 1e-9)
	if l.Shallowest(Air, hand) != 0 || !math.IsInf(l.Shallowest(Mix{He: 1}, hand), 1) {
		t.Error("shallowest of air or helium")
	}
	for _, r := range []struct {
		m                  Mix
		depth              float64
		refused, cautioned string
	}{
		{ean32, 33.75, "", "dense"},
		{ean32, 33.8, "rich", "dense"},
		{ean32, 41, "rich_at_rest", ""},
		{Air, 30.9, "", ""},
		{Air, 31, "", "dense"},
		{Air, 39, "heavy", ""},
		{Mix{O2: 0.1, He: 0.7}, 0, "hypoxic", ""},
	} {
		b := l.At(r.m, r.depth, hand)
		if r.refused == "" && len(b.Refused) > 0 || r.refused != "" && !slices.Contains(b.Refused, r.refused) {
			t.Errorf("%v at %v m: refused for %v, want %q", r.m, r.depth, b.Refused, r.refused)
		}
		if r.cautioned != "" && !slices.Contains(b.Cautioned, r.cautioned) {
			t.Errorf("%v at %v m: cautioned for %v, want %q", r.m, r.depth, b.Cautioned, r.cautioned)
		}
	}
	// Physics section 0, 7: the floor is the smaller of 0.18 bar and 0.21 x surface
	// pressure; at 2000 m (0.794952 bar, physics row 2.4) air is breathed from the
	// surface, and 10/70 from (0.1669/0.10 - 0.7950)/0.0980665 = 8.92 m down.
	high := water.Of(0.794952, water.FreshDensity)
	near(t, "air at 2000 m", l.Shallowest(Air, high), 0, 0)
	near(t, "10/70 at 2000 m", l.Shallowest(Mix{O2: 0.10, He: 0.70}, high), 8.917, 1e-4)
	// At 5 m (1.5 bar) 12/65 has 0.18 bar, and 10/70 0.15.
	fit := Want{Depth: 5, OxygenBar: 1.4, FloorBar: 0.18, Narcosis: -1}.Fitting(Stocked(), hand)
	if last := fit[len(fit)-1]; last != (Mix{O2: 0.12, He: 0.65}) {
		t.Errorf("the leanest for 5 m is %v", last)
	}
	if _, whole, ok := (Want{Depth: 100, OxygenBar: 1.4, FloorBar: 0.18, Narcosis: -1, Density: 2.1}).Best(hand); ok {
		t.Errorf("%v is offered for 100 m", whole)
	}
	if RoundUp(8) != 8 || RoundUp(8.01) != 8.1 {
		t.Error("rounded up")
	}
}
