package oxygen

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

// NOAA Diving Manual, single-exposure column (read; method handbook, physics section 3).
func TestSingleExposureTable(t *testing.T) {
	for p, minutes := range map[float64]float64{0.6: 720, 0.7: 570, 0.8: 450, 0.9: 360, 1.0: 300, 1.1: 240, 1.2: 210, 1.3: 180, 1.4: 150, 1.5: 120, 1.6: 45} {
		near(t, "limit", SingleLimit(p), minutes, 1e-9)
	}
	if !math.IsInf(SingleLimit(0.5), 1) {
		t.Error("0.5 bar accumulates")
	}
	for p := 1.6; p < 10; p += 0.013 {
		if l := SingleLimit(p); !(l >= 1) {
			t.Fatalf("limit at %v bar is %v", p, l)
		}
	}
}

// NOAA 24-hour column; 1.6 read, the rest from memory in the handbook.
func TestDailyTable(t *testing.T) {
	for p, minutes := range map[float64]float64{0.6: 720, 0.9: 360, 1.1: 270, 1.4: 180, 1.5: 180, 1.6: 150} {
		near(t, "limit", DailyLimit(p), minutes, 1e-9)
	}
	if l := DailyLimit(0.55); !(l > 720) {
		t.Error("limit at 0.55 bar", l)
	}
}

// A ramp is the same as many small constant stretches, above 1.6 too.
func TestRampsAgainstSmallSteps(t *testing.T) {
	for _, r := range [][3]float64{{0.21, 1.4, 2}, {1.4, 0.32, 10}, {0.3, 2.1, 7}, {1.6, 1.7, 3}, {0.2, 0.5, 3}, {1.2, 1.2000001, 5}} {
		const n = 40000
		cns, otu := 0.0, 0.0
		for i := range n {
			p := r[0] + (r[1]-r[0])*(float64(i)+0.5)/n
			cns += 100 * r[2] / n / SingleLimit(p)
			if p > 0.5 {
				otu += r[2] / n * math.Pow((p-0.5)/0.5, 5.0/6)
			}
		}
		near(t, "CNS", CNS(r[0], r[1], r[2]), cns, 1e-5)
		near(t, "OTU", OTU(r[0], r[1], r[2]), otu, 1e-5)
	}
}

// Method handbook, physics section 3: 80 % -> 60 min 50.40 %, 90 min 40.00 %, 150 min 25.20 %.
func TestDecay(t *testing.T) {
	for minutes, want := range map[float64]float64{60: 50.40, 90: 40.00, 150: 25.20} {
		near(t, "decayed", Decayed(80, minutes), want, 1e-4)
	}
}

// REPEX, per day and in all (day 1 read, the rest from memory in the handbook).
func TestRepex(t *testing.T) {
	for days, want := range map[int][2]float64{1: {850, 850}, 2: {700, 1400}, 5: {460, 2300}, 10: {310, 3100}, 11: {300, 3300}, 14: {300, 4200}, 30: {300, 9000}} {
		near(t, "per day", RepexDaily(days), want[0], 0)
		near(t, "in all", RepexTotal(days), want[1], 1e-12)
	}
}

// The 24-hour share is the integral over the interpolated limit.
func TestDailyShareAgainstSmallSteps(t *testing.T) {
	for _, r := range [][3]float64{{0.21, 1.4, 2}, {1.6, 0.4, 30}, {0.7, 0.7, 60}, {1.45, 1.47, 10}, {1.2, 1.9, 8}} {
		const n = 40000
		sum := 0.0
		for i := range n {
			sum += 100 * r[2] / n / DailyLimit(r[0]+(r[1]-r[0])*(float64(i)+0.5)/n)
		}
		near(t, "24-hour share", DailyShare(r[0], r[1], r[2]), sum, 1e-4)
	}
	// Ten exposures of 15 min at 1.6 bar are the 24-hour limit of 150 min (NOAA).
	near(t, "at 1.6 bar", 10*DailyShare(1.6, 1.6, 15), 100, 1e-9)
}

func TestCarry(t *testing.T) {
	c := Carry([]Past{{EndedAgo: 30 * 60, CNS: 80, Daily: 50, OTU: 300}, {EndedAgo: 90, CNS: 40, Daily: 20, OTU: 100}})
	near(t, "CNS", c.CNS, 20+Decayed(80, 1800), 1e-12)
	near(t, "CNS whole", c.CNSWhole, 40, 0)
	near(t, "24 h", c.Daily, 20, 0)
	near(t, "OTU of the day", c.OTUDay, 100, 0)
	near(t, "OTU of all", c.OTUAll, 400, 0)
	if c.Days != 3 || c.LeastDays != 2 {
		t.Errorf("REPEX day %d, at least %d, want 3 and 2: a dive 30 h ago may lie two days back, or one", c.Days, c.LeastDays)
	}
}

// Method handbook, physics section 3: a surface decay with a half-time of 90 min. By
// hand: 80 %, 90 min at the surface: 40 %; a dive of 180 min adds 20 %: 60 % on
// surfacing, as was planned then; 90 min at the surface: 30 %.
func TestDecayRestsDuringADive(t *testing.T) {
	c := Carry([]Past{{EndedAgo: 90 + 180 + 90, Minutes: 120, CNS: 80}, {EndedAgo: 90, Minutes: 180, CNS: 20}})
	near(t, "CNS", c.CNS, 30, 1e-9)
}

// What is handed out to be followed adds up to what is reckoned, and every part
// lies on one line of the table.
func TestPortionsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from, to := rapid.Float64Range(0.2, 2).Draw(t, "from"), rapid.Float64Range(0.2, 2).Draw(t, "to")
		if rapid.Bool().Draw(t, "level") {
			to = from
		}
		minutes := rapid.Float64Range(0.01, 200).Draw(t, "minutes")
		for _, perDay := range []bool{false, true} {
			want, sum := CNS(from, to, minutes), 0.0
			if perDay {
				want = DailyShare(from, to, minutes)
			}
			for _, p := range Portions(from, to, minutes, perDay) {
				sum += p.Percent
				if p.Constant-p.Slope*p.High < 0.9 || p.Low < Threshold {
					t.Fatalf("%+v", p)
				}
			}
			if math.Abs(sum-want) > 1e-9*(1+want) {
				t.Fatalf("per day %v: the parts are %v %%, all is %v %%", perDay, sum, want)
			}
		}
	})
}
