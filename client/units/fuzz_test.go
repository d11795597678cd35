package units

import (
	"math"
	"testing"
)

// FuzzQuantities: what is typed is a finite number in a known unit, or refused.
func FuzzQuantities(f *testing.F) {
	for _, s := range []string{"200 bar", "3000psi", "12 L", "80 ft³", "20 L/min", "32", "18/45", "1e400 bar", "-1", "∞", "."} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, s := range []System{Metric, Imperial} {
			if p, err := s.ParsePressure(text); err == nil {
				if bar, ok := bars(p); !ok || math.IsInf(bar, 0) || math.IsNaN(bar) || bar < 0 {
					t.Fatalf("%q is %v", text, p)
				}
				_ = s.Pressure(p)
			}
			if v, err := s.ParseWater(text); err == nil {
				_ = s.Water(v)
			}
			if r, err := s.ParseRate(text); err == nil {
				_ = s.SurfaceRate(r)
			}
		}
		if g, err := ParseMix(text); err == nil {
			if o := g.GetOxygenPercent(); math.IsNaN(o) || math.IsInf(o, 0) {
				t.Fatalf("%q is %v", text, g)
			}
			_ = Mix(g)
		}
	})
}
