package gas

import (
	"errors"
	"fmt"
	"math"

	"lastlight/engine/floats"
)

// R is the molar gas constant in litre bar per kelvin and mole.
const R = 0.08314462618

// Composition is what a cylinder holds, mole fractions. Argon counts as oxygen,
// whose molecules it resembles.
type Composition struct {
	N2, O2, He float64
}

// dryAir is the real gas model's air: oxygen and argon 0.2188. With 0.21/0.79
// the model's largest error for air rises from 0.16 to 0.23 %.
var dryAir = Composition{N2: 0.7812, O2: 0.2188}

// CompositionOf is what the real gas model takes for the mix: natural dry air
// for air (no helium, oxygen 20.9 to 21.1 %: what an analyser shows of it), the
// fractions as they are for every other mix.
func CompositionOf(m Mix) Composition {
	if m.He == 0 && math.Abs(m.O2-Air.O2) <= 0.0010001 {
		return dryAir
	}
	return Composition{N2: m.N2(), O2: m.O2, He: m.He}
}

// quadratic is c0 + c1 t + c2 t², t = (kelvin - 293.15)/100.
type quadratic [3]float64

func (q quadratic) at(t float64) float64 {
	return q[0] + float64(t*(q[1]+float64(t*q[2])))
}

// Coefficients of model V: a virial equation in molar density (mol/L), fitted to
// reference equations of state (pure gases: Span 2000, Schmidt & Wagner 1985,
// Ortiz-Vega 2019; air: Lemmon 2000; mixtures: GERG-2008) for 273 to 313 K and
// 1 to 300 bar. Largest error in Z for air, nitrox, oxygen, nitrogen, helium and
// trimix 10/60 to 21/35: 0.16 %; the oxygen-helium term itself is known to about
// 0.5 % of Z. Source: the method handbook, physics section 6, table
// gas_virial_model (testdata/tables).
var (
	virialN2 = [3]quadratic{
		{-0.005359232990700293, 0.019567147605020173, -0.007558720766003882},
		{0.0011297035221358041, 1.2470678522136884e-05, 0.00014635277746017402},
		{5.2388709596449166e-05, -1.0507116122254949e-05, -1.0043724545597017e-05},
	}
	virialO2 = [3]quadratic{
		{-0.01677392227522809, 0.021697226440814683, -0.008378421646337104},
		{0.0009194916671271808, -0.00021386992756209554, 0.00021175699664787513},
		{2.3063102860614302e-05, 1.736978366514443e-06, -9.141643833600504e-06},
	}
	virialHe = [3]quadratic{
		{0.011870848960451609, -0.0004119684580315367, -3.142298364773485e-05},
		{0.00010351516629538853, -1.606204954596366e-05, 5.101325204512569e-06},
		{9.894359698995623e-07, -2.856759835280125e-07, -5.897224955953199e-08},
	}
	crossN2O2 = quadratic{-0.010335382811461017, 0.019955292752880126, -0.008007301781555448}
	crossN2He = quadratic{0.02072934903445926, -5.908314098430904e-05, 0.0003761901611161448}
	crossO2He = quadratic{0.022254136654470996, -0.0003152956978075278, 0.00021699264996469125}
	// Third-order pair terms; the first of each pair is weighted by the first gas.
	tripleN2O2 = [2]quadratic{
		{-0.0003506548170770406, 8.174386392341655e-05, 0.00010802578270458425},
		{-0.0002510746109470445, 6.583853990345312e-07, 0.00017855141882426815},
	}
	tripleN2He = [2]quadratic{
		{0.0007064521017605579, -0.0004236736373621765, -7.447522856039021e-05},
		{0.00021941169244755047, 0.0005056167879250738, -0.00012621794584096027},
	}
	tripleO2He = [2]quadratic{
		{0.0014749577970186113, -0.0004979401495856919, -9.106408119559129e-05},
		{-0.0008583162397073187, 0.0003934208709695581, -7.059652908304781e-05},
	}
	tripleAll = quadratic{0.0028465942607550673, -0.0011705367345548879, -0.00010375776250542504}
)

// Virial is model V for one composition at one temperature:
// Z = 1 + B r + C r² + D r³ and P = r R T Z, r in mol/L.
type Virial struct {
	B, C, D float64
	rt      float64 // R T, L bar/mol
}

// Bounds of model V's use here. It is fitted for 273 to 313 K and 1 to 300 bar;
// outside it stays smooth and rising, without a stated accuracy.
const (
	MinKelvin   = 243.15
	MaxKelvin   = 343.15
	MaxPressure = 500 // bar absolute
)

// NewVirial works out the coefficients. It refuses temperatures outside
// MinKelvin to MaxKelvin and fractions that are not 0 to 1 or do not add up to 1 (1e-6).
func NewVirial(x Composition, kelvin float64) (Virial, error) {
	var errs []error
	if !(kelvin >= MinKelvin && kelvin <= MaxKelvin) {
		errs = append(errs, fmt.Errorf("temperature %v K, must be %v to %v K", kelvin, MinKelvin, MaxKelvin))
	}
	for _, part := range []struct {
		name string
		f    float64
	}{{"nitrogen", x.N2}, {"oxygen", x.O2}, {"helium", x.He}} {
		if !(part.f >= 0 && part.f <= 1) {
			errs = append(errs, fmt.Errorf("%s fraction %v, must be 0 to 1", part.name, part.f))
		}
	}
	if sum := x.N2 + x.O2 + x.He; !(math.Abs(sum-1) <= 1e-6) {
		errs = append(errs, fmt.Errorf("fractions add up to %v, not 1", sum))
	}
	if len(errs) > 0 {
		return Virial{}, errors.Join(errs...)
	}
	t := (kelvin - 293.15) / 100
	no, nh, oh := float64(x.N2*x.O2), float64(x.N2*x.He), float64(x.O2*x.He)
	b := float64(float64(x.N2*x.N2)*virialN2[0].at(t)) +
		float64(float64(x.O2*x.O2)*virialO2[0].at(t)) +
		float64(float64(x.He*x.He)*virialHe[0].at(t)) +
		2*(float64(no*crossN2O2.at(t))+float64(nh*crossN2He.at(t))+float64(oh*crossO2He.at(t)))
	root := float64(x.N2*floats.Cbrt(virialN2[1].at(t))) +
		float64(x.O2*floats.Cbrt(virialO2[1].at(t))) +
		float64(x.He*floats.Cbrt(virialHe[1].at(t)))
	pair := func(a, b float64, g [2]quadratic) float64 {
		return float64(float64(a*b) * (float64(a*g[0].at(t)) + float64(b*g[1].at(t))))
	}
	c := float64(float64(root*root)*root) +
		pair(x.N2, x.O2, tripleN2O2) + pair(x.N2, x.He, tripleN2He) + pair(x.O2, x.He, tripleO2He) +
		float64(float64(no*x.He)*tripleAll.at(t))
	root = float64(x.N2*fourthRoot(virialN2[2].at(t))) +
		float64(x.O2*fourthRoot(virialO2[2].at(t))) +
		float64(x.He*fourthRoot(virialHe[2].at(t)))
	d := float64(root * root)
	return Virial{B: b, C: c, D: float64(d * d), rt: float64(R * kelvin)}, nil
}

func fourthRoot(x float64) float64 { return math.Sqrt(math.Sqrt(math.Max(0, x))) }

// compressibility is Z at a density in mol/L.
func (v Virial) compressibility(r float64) float64 {
	return 1 + float64(r*(v.B+float64(r*(v.C+float64(r*v.D)))))
}

// Pressure is the pressure in bar absolute at a density in mol/L, both taken as 0 if negative.
func (v Virial) Pressure(r float64) float64 {
	r = math.Max(0, r)
	return float64(float64(r*v.rt) * v.compressibility(r))
}

// Density is the density in mol/L at a pressure in bar absolute, 0 to MaxPressure
// (taken at the nearer bound outside it).
func (v Virial) Density(pressure float64) float64 {
	p := math.Min(math.Max(0, pressure), MaxPressure)
	if !(p > 0) {
		return 0
	}
	// Pressure rises with density over the whole range (a test walks it), so the
	// root is single; Newton's step is kept inside a bracket that always holds it.
	want := p / v.rt
	low, high := 0.0, float64(4*want)+1
	r := want
	for range 100 {
		z := v.compressibility(r)
		f := float64(r*z) - want
		if f > 0 {
			high = r
		} else {
			low = r
		}
		slope := 1 + float64(r*(float64(2*v.B)+float64(r*(float64(3*v.C)+float64(float64(4*v.D)*r)))))
		next := r - f/slope
		if !(next > low && next < high) {
			next = low + float64((high-low)/2)
		}
		if math.Abs(next-r) <= 1e-15*r {
			return next
		}
		r = next
	}
	return r
}

// Z is the compressibility factor at a pressure in bar absolute.
func (v Virial) Z(pressure float64) float64 { return v.compressibility(v.Density(pressure)) }
