// Package quantity brings what was typed in the club's units to SI: the only
// place where the server converts. A quantity that came in imperial is rounded
// to the grain below, so that the same cylinder entered both ways is the same.
package quantity

import (
	"math"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

const (
	// BarPerPsi is exact to ten digits: 1 psi = 6894.757293168 Pa (NIST SP 811, appendix B.8).
	BarPerPsi = 0.06894757293168
	// LitresPerCubicFoot is exact by definition of the foot (NIST SP 811, appendix B.8).
	LitresPerCubicFoot = 28.316846592
	// barPerAtmosphere: US ratings state the gas a cylinder holds at one atmosphere.
	barPerAtmosphere = 1.01325
)

// Grains of what came in imperial: finer than any gauge or stamp is read.
const (
	grainBar    = 0.1
	grainLitres = 0.1
	grainRate   = 0.1
)

func toGrain(x, grain float64) float64 { return math.Round(x/grain) / (1 / grain) }

// ToBar brings a pressure to bar in place.
func ToBar(p *lastlightv1.Pressure) {
	if psi, ok := p.GetUnit().(*lastlightv1.Pressure_Psi); ok {
		p.Unit = &lastlightv1.Pressure_Bar{Bar: toGrain(psi.Psi*BarPerPsi, grainBar)}
	}
}

// ToLitres brings a water volume to litres in place; working is the
// cylinder's working pressure in bar already, which a gas rating needs.
func ToLitres(v *lastlightv1.WaterVolume, working *lastlightv1.Pressure) {
	switch u := v.GetUnit().(type) {
	case *lastlightv1.WaterVolume_CubicFeet:
		v.Unit = &lastlightv1.WaterVolume_Litres{Litres: toGrain(u.CubicFeet*LitresPerCubicFoot, grainLitres)}
	case *lastlightv1.WaterVolume_CubicFeetOfGasAtWorkingPressure:
		if bar := working.GetBar(); bar > 0 {
			litres := u.CubicFeetOfGasAtWorkingPressure * LitresPerCubicFoot * barPerAtmosphere / bar
			v.Unit = &lastlightv1.WaterVolume_Litres{Litres: toGrain(litres, grainLitres)}
		}
	}
}

// ToLitresPerMinute brings a consumption to litres a minute in place.
func ToLitresPerMinute(r *lastlightv1.SurfaceRate) {
	if f, ok := r.GetUnit().(*lastlightv1.SurfaceRate_CubicFeetPerMinute); ok {
		r.Unit = &lastlightv1.SurfaceRate_LitresPerMinute{LitresPerMinute: toGrain(f.CubicFeetPerMinute*LitresPerCubicFoot, grainRate)}
	}
}
