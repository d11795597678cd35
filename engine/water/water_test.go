package water

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, absolute float64) {
	t.Helper()
	if !(math.Abs(got-want) <= absolute) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

// Method handbook, physics section 2, rows 2.1 to 2.7; accuracy asked: 1e-6 bar.
func TestAmbientPressure(t *testing.T) {
	for _, r := range []struct {
		id                       string
		depth, density, altitude float64
		surface, ambient         float64
	}{
		{"2.1", 30, 1000, 0, 1.01325, 3.955245},
		{"2.2", 30, 1025, 0, 1.01325, 4.028795},
		{"2.3", 30, 1019.7, 0, 1.01325, 4.013202},
		{"2.4", 20, 1000, 2000, 0.7949522, 2.756282},
		{"2.7", 12, 1000, 500, 0.9546084, 2.131406},
	} {
		surface, err := SurfacePressure(r.altitude)
		if err != nil {
			t.Fatal(err)
		}
		near(t, r.id+" surface", surface, r.surface, 1e-6)
		c := Of(surface, r.density)
		near(t, r.id+" ambient", c.Pressure(r.depth), r.ambient, 1e-6)
		near(t, r.id+" depth back", c.Depth(c.Pressure(r.depth)), r.depth, 1e-12)
	}
}

// Published values of the standard atmosphere: ISO 2533 / US Std Atm 1976 as
// quoted in the method handbook, physics section 2 (-1524 m: 1210.23 hPa, read there).
func TestStandardAtmosphere(t *testing.T) {
	for h, hPa := range map[float64]float64{0: 1013.25, 300: 977.73, 500: 954.61, 1000: 898.75, 1500: 845.56, 2000: 794.95, 3000: 701.09} {
		p, err := SurfacePressure(h)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pressure", p*1000, hPa, 0.0051)
	}
	p, err := SurfacePressure(Geopotential(2000))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "geometric 2000 m", p*1000, 795.01, 0.0051)
	for _, h := range []float64{-1524, 11001, math.NaN(), math.Inf(1)} {
		if _, err := SurfacePressure(h); err == nil {
			t.Errorf("altitude %v accepted", h)
		}
	}
}

// EN 13319, method handbook rows 2.9 and 2.11.
func TestDepthGauge(t *testing.T) {
	near(t, "2.9", Of(1, 1000).FromGauge(30), 30.59149, 5e-6)
	near(t, "2.11", Of(1, 1030).FromGauge(30), 29.70047, 5e-6)
}

func TestCheck(t *testing.T) {
	if err := Fresh.Check(); err != nil {
		t.Error(err)
	}
	if err := (Column{Surface: 1, PerMetre: 0.1}).Check(); err != nil {
		t.Error("the hand examples' water (1 bar, 10 m per bar):", err)
	}
	for _, c := range []Column{{}, {Surface: 1013, PerMetre: 0.1}, {Surface: 1, PerMetre: math.NaN()}} {
		if c.Check() == nil {
			t.Errorf("%+v accepted", c)
		}
	}
}

// Altitude undoes SurfacePressure, whose values are those of data/isa.json.
func TestAltitudeOfABarometer(t *testing.T) {
	for _, h := range []float64{-400, 0, 300, 500, 2000, 5000} {
		p, err := SurfacePressure(h)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := Altitude(p); err != nil || got < h-1e-6 || got > h+1e-6 {
			t.Errorf("%v bar is %v m (%v), want %v", p, got, err, h)
		}
	}
	if _, err := Altitude(0.1); err == nil {
		t.Error("0.1 bar is accepted")
	}
}
