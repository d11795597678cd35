package gas

import (
	"math"

	"lastlight/engine/water"
)

// Limits are what a gas may be breathed within: the club's policy has them.
type Limits struct {
	WorkingBar     float64 // most oxygen, at work
	RestingBar     float64 // most oxygen, at rest on a stop
	FloorBar       float64 // least oxygen
	DensityCaution float64 // g/L at DensityKelvin, advised
	DensityMost    float64 // g/L at DensityKelvin, refused above
	OxygenNarcotic bool
	AtRest         bool // what is judged is breathed at rest on a stop
}

// Want is a depth with what a mix for it must keep to.
type Want struct {
	Depth     float64 // metres, 0 or more
	OxygenBar float64 // most oxygen pressure
	FloorBar  float64 // least oxygen pressure (LeastOxygen); 0: none asked
	Narcosis  float64 // most equivalent narcotic depth in metres; below 0: none asked
	Density   float64 // most density in g/L at DensityKelvin; 0: none asked
	// Oxygen counted as narcotic.
	OxygenNarcotic bool
}

// fractionSlack is how near fractions, and pressures in bar, count as equal: far below what an analyser shows.
const fractionSlack = 1e-9

// Helium is the least helium fraction the limits ask for beside a fraction of
// oxygen; above 1-o2 where no helium will do.
func (w Want) Helium(o2 float64, c water.Column) float64 {
	he := 0.0
	if w.Narcosis >= 0 {
		z := c.SurfaceEquivalent()
		share := (w.Narcosis + z) / (w.Depth + z)
		if w.OxygenNarcotic {
			he = math.Max(he, 1-share)
		} else {
			he = math.Max(he, 1-o2-float64(share*(1-Air.O2)))
		}
	}
	if w.Density > 0 {
		molar := float64(w.Density*float64(R*DensityKelvin)) / c.Pressure(w.Depth)
		he = math.Max(he, (float64(o2*massO2)+float64((1-o2)*massN2)-molar)/(massN2-massHe))
	}
	return he
}

// Keeps reports whether a mix keeps to all that is asked.
func (w Want) Keeps(m Mix, c water.Column) bool {
	p := float64(m.O2 * c.Pressure(w.Depth))
	return p <= w.OxygenBar+fractionSlack && p >= LeastOxygen(w.FloorBar, c)-fractionSlack && m.He >= w.Helium(m.O2, c)-fractionSlack
}

// Best is the mix for a depth with the most oxygen and the least helium that
// keep to what is asked, and the same in whole per cents: oxygen rounded down,
// helium up. ok is false where no mix keeps to it.
func (w Want) Best(c water.Column) (exact, whole Mix, ok bool) {
	exact.O2 = math.Min(1, w.OxygenBar/c.Pressure(w.Depth))
	exact.He = math.Max(0, w.Helium(exact.O2, c))
	// More oxygen makes a denser mix, less may leave too little room for nothing
	// but helium: where the room is short, less oxygen is the remedy.
	whole.O2 = math.Floor(float64(exact.O2*100)+1e-7) / 100
	for ; whole.O2 > 0; whole.O2 = math.Round(float64(whole.O2*100)-1) / 100 {
		whole.He = math.Max(0, math.Ceil(float64(w.Helium(whole.O2, c)*100)-1e-7)) / 100
		if whole.O2+whole.He <= 1+fractionSlack {
			break
		}
	}
	if exact.O2+exact.He > 1+fractionSlack {
		exact = whole
	}
	return exact, whole, whole.O2 > 0 && float64(whole.O2*c.Pressure(w.Depth)) >= LeastOxygen(w.FloorBar, c)-fractionSlack
}

// Stocked are the mixes blended as a rule: nitrox and trimix by their common
// numbers (common practice; those with helium are the rows of the method
// handbook's tables).
func Stocked() []Mix {
	return []Mix{
		Oxygen,
		{O2: 0.5},
		{O2: 0.36},
		{O2: 0.32},
		Air,
		{O2: 0.21, He: 0.35},
		{O2: 0.18, He: 0.45},
		{O2: 0.15, He: 0.55},
		{O2: 0.12, He: 0.65},
		{O2: 0.10, He: 0.70},
	}
}

// Fitting are those of some mixes that keep to what is asked, the one with the
// most oxygen first, then the least helium.
func (w Want) Fitting(from []Mix, c water.Column) []Mix {
	var out []Mix
	for _, m := range from {
		if !w.Keeps(m, c) {
			continue
		}
		at := len(out)
		for at > 0 && (out[at-1].O2 < m.O2 || out[at-1].O2 == m.O2 && out[at-1].He > m.He) {
			at--
		}
		out = append(out[:at], append([]Mix{m}, out[at:]...)...)
	}
	return out
}

// RoundUp is a depth rounded up to 0.1 m, for one that must not be shallower.
// Values within 1e-6 m of a step are on it.
func RoundUp(depth float64) float64 { return math.Ceil(float64(depth*10)-1e-5) / 10 }

// Breathed is a mix at a depth.
type Breathed struct {
	OxygenBar float64
	EAD, END  float64 // metres; END as the limits count oxygen
	Density   float64 // g/L at DensityKelvin
	// Codes: what is wrong, worst first. "rich" above the working limit,
	// "rich_at_rest" above the resting one too, "hypoxic", "heavy" above the most
	// density, "dense" above the advised one.
	Refused   []string
	Cautioned []string
}

// OxygenSlack is by how much a limit of oxygen pressure may be passed at a stop, bar: pure
// oxygen at 6 m of fresh water is 1.602 bar (method handbook, physics 0).
const OxygenSlack = 0.02

// LeastOxygen is the least oxygen pressure in bar a gas must have: the floor, or
// what air has at the surface where that is less (method handbook, physics
// section 0: at 2000 m even air is below 0.18 bar).
func LeastOxygen(floor float64, c water.Column) float64 {
	return math.Min(floor, float64(Air.O2*c.Surface))
}

// At judges a mix at a depth in metres.
func (l Limits) At(m Mix, depth float64, c water.Column) Breathed {
	p := c.Pressure(depth)
	b := Breathed{OxygenBar: float64(m.O2 * p), EAD: EAD(m, depth, c), END: END(m, depth, c, l.OxygenNarcotic), Density: m.Density(p, DensityKelvin)}
	switch {
	case b.OxygenBar > l.RestingBar+OxygenSlack+fractionSlack:
		b.Refused = append(b.Refused, "rich_at_rest")
	case !l.AtRest && b.OxygenBar > l.WorkingBar+fractionSlack:
		b.Refused = append(b.Refused, "rich")
	case b.OxygenBar < LeastOxygen(l.FloorBar, c)-fractionSlack:
		b.Refused = append(b.Refused, "hypoxic")
	}
	switch {
	case b.Density > l.DensityMost:
		b.Refused = append(b.Refused, "heavy")
	case b.Density > l.DensityCaution:
		b.Cautioned = append(b.Cautioned, "dense")
	}
	return b
}

// Shallowest is the least depth in metres at which a mix has enough oxygen
// (LeastOxygen); 0 where it may be breathed at the surface, +Inf without oxygen.
func (l Limits) Shallowest(m Mix, c water.Column) float64 {
	if !(m.O2 > 0) {
		return math.Inf(1)
	}
	return math.Max(0, c.Depth(LeastOxygen(l.FloorBar, c)/m.O2))
}
