package gas

import (
	"errors"
	"fmt"
)

// Model says how a cylinder's pressure and content belong together.
type Model string

const (
	// Real is model V.
	Real Model = "real"
	// Ideal is pressure × volume, for examples worked by hand.
	Ideal Model = "ideal"
)

// ReferenceKelvin is the temperature of the litres in which contents are told.
const ReferenceKelvin = 293.15

// Filling turns gauge pressures of one mix at one temperature into usable
// litres and back. Make it once per cylinder with NewFilling; it is a value.
type Filling struct {
	model   Model
	kelvin  float64
	virial  Virial
	surface float64 // bar
	stays   float64 // mol/L left at surface pressure
	litres  float64 // litres per mol: R × ReferenceKelvin / 1 bar
	slope   float64 // usable litres per bar and litre of volume at gauge 0
}

// NewFilling prepares the conversion for a mix at a cylinder temperature in
// kelvin (MinKelvin to MaxKelvin) and a surface pressure in bar (0.3 to 1.2).
// The error names everything out of range.
func NewFilling(model Model, mix Mix, kelvin, surfaceBar float64) (Filling, error) {
	errs := []error{mix.Check()}
	if model != Real && model != Ideal {
		errs = append(errs, fmt.Errorf("gas model %q, must be %q or %q", model, Real, Ideal))
	}
	if !(surfaceBar >= 0.3 && surfaceBar <= 1.2) {
		errs = append(errs, fmt.Errorf("surface pressure %v bar, must be 0.3 to 1.2 bar", surfaceBar))
	}
	if !(kelvin >= MinKelvin && kelvin <= MaxKelvin) {
		errs = append(errs, fmt.Errorf("temperature %v K, must be %v to %v K", kelvin, MinKelvin, MaxKelvin))
	}
	if err := errors.Join(errs...); err != nil {
		return Filling{}, err
	}
	f := Filling{model: model, kelvin: kelvin, surface: surfaceBar, litres: R * ReferenceKelvin, slope: 1}
	if model == Ideal {
		return f, nil
	}
	virial, err := NewVirial(CompositionOf(mix), kelvin)
	if err != nil {
		return Filling{}, err
	}
	f.virial = virial
	f.stays = virial.Density(surfaceBar)
	const small = 1e-3 // bar: the slope at gauge 0 as a difference, good to 1e-6
	f.slope = (virial.Density(surfaceBar+small) - f.stays) / small * f.litres
	return f, nil
}

// Ideal tells whether contents are pressure × volume.
func (f Filling) Ideal() bool { return f.model == Ideal }

// Parts are the numbers behind Litres and Gauge at a gauge pressure: with Z the
// compressibility factors at that pressure and at the surface,
//
//	litres = volume × 293.15 K / kelvin × ((gauge + surface) / Z - surface / surface Z)
//
// above gauge 0 (to 450 bar), and litres = volume × gauge × slope at and below it.
func (f Filling) Parts(gauge float64) (kelvin, surface, z, surfaceZ, slope float64) {
	if f.model == Ideal {
		return f.kelvin, f.surface, 1, 1, 1
	}
	factor := func(bar, density float64) float64 { return bar / float64(density*float64(R*f.kelvin)) }
	surfaceZ = factor(f.surface, f.stays)
	if gauge > 0 {
		bar := min(gauge, 450) + f.surface
		z = factor(bar, f.virial.Density(bar))
	}
	return f.kelvin, f.surface, z, surfaceZ, f.slope
}

// Litres is what a cylinder of the given water volume in litres at a gauge
// pressure of 0 to 450 bar gives: n R 293.15 K / 1 bar, less what stays in at
// surface pressure. Below gauge 0 the value goes on with the slope at 0, so that
// what is missing can be told too; above 450 bar it stays at that of 450.
func (f Filling) Litres(volume, gauge float64) float64 {
	if f.model == Ideal {
		return float64(volume * gauge)
	}
	if gauge <= 0 {
		return float64(float64(volume*gauge) * f.slope)
	}
	if gauge > 450 {
		gauge = 450
	}
	return float64(float64(volume*f.litres) * (f.virial.Density(gauge+f.surface) - f.stays))
}

// Gauge is the gauge pressure in bar at which a cylinder of the given water
// volume gives so many litres: the inverse of Litres at the same temperature.
// A volume that is not positive gives 0.
func (f Filling) Gauge(volume, litres float64) float64 {
	if !(volume > 0) {
		return 0
	}
	if f.model == Ideal {
		return litres / volume
	}
	if litres <= 0 {
		return litres / float64(volume*f.slope)
	}
	return f.virial.Pressure(f.stays+litres/float64(volume*f.litres)) - f.surface
}

// Moles is the amount of gas in a cylinder at a gauge pressure, what stays in at
// surface pressure included, by model V for Real and n = PV/RT at 293.15 K for Ideal.
func (f Filling) Moles(volume, gauge float64) float64 {
	if f.model == Ideal {
		return float64(volume*(gauge+f.surface)) / f.litres
	}
	return float64(volume * f.virial.Density(gauge+f.surface))
}

// AtTemperature is the gauge pressure a closed cylinder shows once its gas has
// come to another temperature, bar. Ranges as for NewFilling.
func AtTemperature(model Model, mix Mix, gauge, surfaceBar, fromKelvin, toKelvin float64) (float64, error) {
	from, err := NewFilling(model, mix, fromKelvin, surfaceBar)
	if err != nil {
		return 0, err
	}
	to, err := NewFilling(model, mix, toKelvin, surfaceBar)
	if err != nil {
		return 0, err
	}
	if !(gauge >= 0 && gauge <= 450) {
		return 0, fmt.Errorf("pressure %v bar, must be 0 to 450 bar", gauge)
	}
	if model == Ideal {
		return float64((gauge+surfaceBar)*toKelvin)/fromKelvin - surfaceBar, nil
	}
	return to.virial.Pressure(from.virial.Density(gauge+surfaceBar)) - surfaceBar, nil
}
