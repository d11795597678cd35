package tissue

import (
	"testing"

	"lastlight/engine/gas"
	"lastlight/engine/water"
)

// No-stop times of the printed Bühlmann air table of 1986, 0 to 700 m (27 and 21 m
// read; the rest from memory, as marked in the method handbook, physics section
// 10). The printed table is more conservative than plain ZH-L16: the model's
// no-stop time at GF 100 is never shorter, for B and C.
func TestNoStopTimesAreNotShorterThanThePrintedTable(t *testing.T) {
	printed := map[float64]int{12: 125, 15: 75, 18: 51, 21: 35, 24: 25, 27: 20, 30: 17, 33: 14, 36: 12, 39: 10, 42: 9}
	for _, v := range []Variant{B, C} {
		m, err := New(v, "1b", WaterVapour)
		if err != nil {
			t.Fatal(err)
		}
		for depth, minutes := range printed {
			for _, c := range []water.Column{{Surface: 1, PerMetre: 0.1}, water.Fresh} {
				q := Square{Water: c, Depth: depth, Mix: gas.Air, GFHigh: 1, Descent: 20, Ascent: 10}
				if l := m.MinuteLimit(q, 400); !l.Beyond && l.Minutes < minutes {
					t.Errorf("%s, %v m: %d min, the printed table allows %d", v, depth, l.Minutes, minutes)
				}
			}
		}
	}
}
