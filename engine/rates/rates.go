// Package rates shows how often something happened: exact Poisson limits, what
// is hidden so that nobody can be recognised, and when a change may be claimed.
//
// Rules: method handbook, "Dates and deadlines", T40–T42; practice, section 12
// (limits of Garwood, 1936).
package rates

import (
	"fmt"
	"math"
)

// Rules are the club's numbers for rates.
type Rules struct {
	Confidence float64 `json:"confidence"` // 0.95
	HideBelow  int     `json:"hide_below"` // 3: smaller counts, 0 included, are hidden outside the safety group
	Per        float64 `json:"per"`        // rates are told per this many, 1,000
}

// Question asks for a rate.
type Question struct {
	N             int     `json:"n"`        // events, at least 0
	Exposure      float64 `json:"exposure"` // dives, hours or diver-years; 0 = none recorded
	OneSided      bool    `json:"one_sided"`
	InSafetyGroup bool    `json:"in_safety_group"` // who looks
}

// Verdicts.
const (
	Shown      = "shown"
	Hidden     = "hidden"
	CannotTell = "cannot_tell"
)

// Limits are two-sided limits, low then high.
type Limits [2]float64

// Rate is a rate with its limits, unrounded, or why there is none. Where it is
// Hidden neither n nor rate nor limits are filled.
type Rate struct {
	Verdict  string  `json:"verdict"`
	ShownN   string  `json:"shown_n,omitempty"` // words for a hidden count
	N        *int    `json:"n,omitempty"`
	Exposure float64 `json:"exposure"`
	Rate     float64 `json:"rate"`   // per Rules.Per
	Lambda   Limits  `json:"lambda"` // limits on the expected count
	Limits   Limits  `json:"limits"` // per Rules.Per
}

// Judge gives a rate (T40) or hides it (T41). No exposure cannot be told; a
// hidden count says neither that nor anything else.
func Judge(q Question, rules Rules) Rate {
	out := Rate{Exposure: q.Exposure}
	switch {
	case !q.InSafetyGroup && q.N < rules.HideBelow:
		out.Verdict, out.ShownN = Hidden, fmt.Sprintf("fewer than %d", rules.HideBelow)
		return out
	case !(q.Exposure > 0) || q.N < 0 || math.IsInf(q.Exposure, 0):
		out.Verdict, out.N = CannotTell, &q.N
		return out
	}
	out.Verdict, out.N = Shown, &q.N
	out.Lambda = PoissonLimits(q.N, rules.Confidence, q.OneSided)
	scale := rules.Per / q.Exposure
	out.Rate = float64(q.N) * scale
	out.Limits = Limits{out.Lambda[0] * scale, out.Lambda[1] * scale}
	return out
}

// Change says whether a change may be claimed.
type Change struct {
	Verdict string    `json:"verdict"` // Shown, or CannotTell without exposure on both sides
	Claim   bool      `json:"claim"`
	Limits  [2]Limits `json:"limits"` // before and after, per Rules.Per
}

// JudgeChange claims a change only where the two intervals do not touch (T42).
func JudgeChange(before, after Question, rules Rules) Change {
	before.InSafetyGroup, after.InSafetyGroup = true, true
	b, a := Judge(before, rules), Judge(after, rules)
	if b.Verdict != Shown || a.Verdict != Shown {
		return Change{Verdict: CannotTell}
	}
	return Change{
		Verdict: Shown,
		Claim:   b.Limits[1] < a.Limits[0] || a.Limits[1] < b.Limits[0],
		Limits:  [2]Limits{b.Limits, a.Limits},
	}
}

// Round rounds half up for show.
func Round(x float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Floor(x*p+0.5) / p
}

// PoissonLimits are the exact limits on the expected count when n events were
// seen (n ≥ 0), confidence between 0 and 1. One-sided: only the upper limit, at
// the whole confidence.
func PoissonLimits(n int, confidence float64, oneSided bool) Limits {
	tail := (1 - confidence) / 2
	if oneSided {
		tail = 1 - confidence
	}
	var out Limits
	if n > 0 && !oneSided {
		// P(X ≥ n | λ) rises with λ: the lower limit is where it equals the tail.
		out[0] = solve(float64(n), func(l float64) float64 { return gammaP(float64(n), l) - tail })
	}
	// P(X ≤ n | λ) = 1 − P(X ≥ n+1 | λ) falls to the tail.
	out[1] = solve(float64(n)+1, func(l float64) float64 { return tail - gammaQ(float64(n)+1, l) })
	return out
}

// solve finds the zero of a rising function on the positive numbers, starting near x.
func solve(x float64, f func(float64) float64) float64 {
	lo, hi := 0.0, x
	for f(hi) < 0 {
		lo, hi = hi, 2*hi
	}
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid == lo || mid == hi {
			break
		}
		if f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// gammaP and gammaQ are the regularised incomplete gamma functions, by series
// below a+1 and by continued fraction (Lentz) above.
func gammaP(a, x float64) float64 {
	if x <= 0 {
		return 0
	}
	if x < a+1 {
		return gammaSeries(a, x)
	}
	return 1 - gammaFraction(a, x)
}

func gammaQ(a, x float64) float64 {
	if x <= 0 {
		return 1
	}
	if x < a+1 {
		return 1 - gammaSeries(a, x)
	}
	return gammaFraction(a, x)
}

func gammaScale(a, x float64) float64 {
	lg, _ := math.Lgamma(a)
	return math.Exp(a*math.Log(x) - x - lg)
}

func gammaSeries(a, x float64) float64 {
	term := 1 / a
	sum := term
	for k := 1.0; k < 100000; k++ {
		term *= x / (a + k)
		sum += term
		if term < sum*1e-16 {
			break
		}
	}
	return sum * gammaScale(a, x)
}

func gammaFraction(a, x float64) float64 {
	const tiny = 1e-300
	b := x + 1 - a
	c := 1 / tiny
	d := 1 / b
	h := d
	for k := 1.0; k < 100000; k++ {
		an := -k * (k - a)
		b += 2
		d = an*d + b
		if math.Abs(d) < tiny {
			d = tiny
		}
		c = b + an/c
		if math.Abs(c) < tiny {
			c = tiny
		}
		d = 1 / d
		delta := d * c
		h *= delta
		if math.Abs(delta-1) < 1e-16 {
			break
		}
	}
	return h * gammaScale(a, x)
}
