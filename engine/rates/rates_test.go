package rates

import (
	"math"
	"testing"
)

var rules = Rules{Confidence: 0.95, HideBelow: 3, Per: 1000}

// Published check values (practice, section 12: 23 events in 5.25; three and none
// of its examples), and limits of Garwood's table (1936), from memory, for 1, 2, 10 and 50.
func TestPoissonLimits(t *testing.T) {
	for _, c := range []struct {
		n         int
		scale     float64
		low, high float64
		accuracy  float64
	}{
		{23, 5.25, 2.777148, 6.573580, 5e-7},
		{3, 1, 0.6187, 8.7673, 5e-5},
		{0, 1, 0, 3.6889, 5e-5},
		{1, 1, 0.0253, 5.5716, 5e-5},
		{2, 1, 0.2422, 7.2247, 5e-5},
		{10, 1, 4.7954, 18.3904, 5e-5},
		{50, 1, 37.1110, 65.9187, 2e-3},
	} {
		got := PoissonLimits(c.n, 0.95, false)
		if math.Abs(got[0]/c.scale-c.low) > c.accuracy || math.Abs(got[1]/c.scale-c.high) > c.accuracy {
			t.Errorf("%d events: %.7f to %.7f, expected %.7f to %.7f", c.n, got[0]/c.scale, got[1]/c.scale, c.low, c.high)
		}
	}
	if got := PoissonLimits(0, 0.95, true); math.Abs(got[1]+math.Log(0.05)) > 1e-12 {
		t.Errorf("none seen, one-sided: %.12f, expected −ln 0.05", got[1])
	}
}

// The limits are where the sums of the distribution itself reach the tail
// (practice, section 12: P(X ≥ n | λ) = α/2 and P(X ≤ n | λ) = α/2).
func TestLimitsAgainstTheSums(t *testing.T) {
	for n := 0; n <= 400; n += 1 + n/5 {
		for _, confidence := range []float64{0.5, 0.9, 0.95, 0.999} {
			got := PoissonLimits(n, confidence, false)
			tail := (1 - confidence) / 2
			if below := atMost(n-1, got[0]); n > 0 && math.Abs(1-below-tail) > 1e-9 {
				t.Errorf("%d at %g: P(X ≥ n) at the lower limit is %g", n, confidence, 1-below)
			}
			if p := atMost(n, got[1]); math.Abs(p-tail) > 1e-9 {
				t.Errorf("%d at %g: P(X ≤ n) at the upper limit is %g", n, confidence, p)
			}
		}
	}
}

func atMost(n int, lambda float64) float64 {
	sum := 0.0
	for k := 0; k <= n; k++ {
		lg, _ := math.Lgamma(float64(k) + 1)
		sum += math.Exp(float64(k)*math.Log(lambda) - lambda - lg)
	}
	return sum
}

// Practice P21: 3 incidents in 1,842 dives are 1.629 per 1,000, limits 0.336 to 4.760; none in
// 1,250 has a two-sided upper limit of 2.951 per 1,000, a one-sided one of 2.397.
func TestPracticeP21(t *testing.T) {
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 5.001e-4 {
			t.Errorf("%s: %.6f, want %.3f", what, got, want)
		}
	}
	some := Judge(Question{N: 3, Exposure: 1842}, rules)
	near("rate", some.Rate, 1.629)
	near("low", some.Limits[0], 0.336)
	near("high", some.Limits[1], 4.760)
	none := Judge(Question{N: 0, Exposure: 1250, InSafetyGroup: true}, rules)
	near("none, high", none.Limits[1], 2.951)
	near("none, one-sided", PoissonLimits(0, 0.95, true)[1]/1250*1000, 2.397)
}

// T41: a hidden count shows its denominator and nothing else.
func TestHidden(t *testing.T) {
	for n, want := range map[int]string{0: Hidden, 2: Hidden, 3: Shown} {
		got := Judge(Question{N: n, Exposure: 900}, rules)
		if got.Verdict != want || want == Hidden && (got.N != nil || got.Rate != 0 || got.Lambda != Limits{} || got.Limits != Limits{} || got.Exposure != 900) {
			t.Errorf("%d events: %+v", n, got)
		}
	}
	if got := Judge(Question{N: 0, Exposure: 0}, rules); got.Verdict != Hidden {
		t.Errorf("no exposure tells that there was none: %+v", got)
	}
}

func TestNothingToDivideBy(t *testing.T) {
	for _, exposure := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if got := Judge(Question{N: 5, Exposure: exposure, InSafetyGroup: true}, rules); got.Verdict != CannotTell {
			t.Errorf("exposure %g: %+v", exposure, got)
		}
	}
}

// T42: intervals that touch claim nothing.
func TestChange(t *testing.T) {
	for _, c := range []struct {
		before, after Question
		verdict       string
		claim         bool
	}{
		{Question{N: 30, Exposure: 1000}, Question{N: 5, Exposure: 1000}, Shown, true},
		{Question{N: 5, Exposure: 1000}, Question{N: 30, Exposure: 1000}, Shown, true},
		{Question{N: 12, Exposure: 1000}, Question{N: 5, Exposure: 1000}, Shown, false},
		{Question{N: 5, Exposure: 1000}, Question{N: 5, Exposure: 1000}, Shown, false},
		{Question{N: 5, Exposure: 0}, Question{N: 5, Exposure: 1000}, CannotTell, false},
	} {
		if got := JudgeChange(c.before, c.after, rules); got.Verdict != c.verdict || got.Claim != c.claim {
			t.Errorf("%+v then %+v: %+v", c.before, c.after, got)
		}
	}
}

func TestRound(t *testing.T) {
	for _, c := range []struct {
		x        float64
		decimals int
		want     float64
	}{{0.5, 0, 1}, {1.25, 1, 1.3}, {2.777148, 3, 2.777}, {0, 3, 0}} {
		if got := Round(c.x, c.decimals); got != c.want {
			t.Errorf("%g to %d: %g", c.x, c.decimals, got)
		}
	}
}
