package deco

import (
	"math"
	"testing"

	"lastlight/engine/water"
)

// Method handbook, physics sections 0 and 7: the oxygen floor is 0.18 bar, and what air has at the surface where that is
// less; at 2000 m (0.79495 bar) that is 0.167 bar.
func TestLeastOxygen(t *testing.T) {
	for _, c := range []struct{ surface, want, within float64 }{
		{1.01325, 0.18, 0},
		{0.79495, 0.167, 1e-3},
	} {
		p := Planner{set: Settings{Least: 0.18, Water: water.Column{Surface: c.surface, PerMetre: 0.098}}}
		if got := p.leastOxygen(); math.Abs(got-c.want) > c.within {
			t.Errorf("at %v bar: %v bar, expected %v", c.surface, got, c.want)
		}
	}
}
