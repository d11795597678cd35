package gas

import (
	"math"

	"lastlight/engine/water"
)

// MOD is the greatest depth in metres at which a mix's oxygen pressure is within
// a limit in bar: +Inf for a mix without oxygen, negative where the limit is
// already passed at the surface. Show it rounded down (RoundDown).
func MOD(m Mix, limit float64, c water.Column) float64 {
	if !(m.O2 > 0) {
		return math.Inf(1)
	}
	return c.Depth(limit / m.O2)
}

// RoundDown is a depth rounded down to 0.1 m: an operating depth is never
// rounded up. Values within 1e-6 m of a step are on it.
func RoundDown(depth float64) float64 { return math.Floor(float64(depth*10)+1e-5) / 10 }

// EAD is the equivalent air depth in metres: where air has the mix's nitrogen
// pressure (air taken as 0.79 nitrogen).
func EAD(m Mix, depth float64, c water.Column) float64 {
	z := c.SurfaceEquivalent()
	return float64((depth+z)*m.N2())/(1-Air.O2) - z
}

// END is the equivalent narcotic depth in metres. With oxygen counted as
// narcotic only helium relieves; otherwise nitrogen alone counts.
func END(m Mix, depth float64, c water.Column, oxygenNarcotic bool) float64 {
	if !oxygenNarcotic {
		return EAD(m, depth, c)
	}
	z := c.SurfaceEquivalent()
	return float64((depth+z)*(1-m.He)) - z
}

// Counterdiffusion tells how a change of gas stands to the rule that nitrogen
// should rise by no more than a share (commonly a fifth) of the fall of helium:
// the rise, what the rule allows, and whether it is worth a note. It is no more
// than that: the rule is common practice, and disputed (method handbook, physics
// section 8). A change that loses no helium is outside the rule.
func Counterdiffusion(from, to Mix, share float64) (rise, allowed float64, note bool) {
	rise, allowed = to.N2()-from.N2(), float64(share*math.Max(0, from.He-to.He))
	return rise, allowed, allowed > 0 && rise > allowed+fractionSlack
}
