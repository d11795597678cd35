// Package water turns depths into pressures: surface pressure from altitude and
// the weight of the site's water. Depths are metres of that water, pressures bar absolute.
package water

import (
	"errors"
	"fmt"

	"lastlight/engine/floats"
)

const (
	Gravity       = 9.80665 // m/s², standard acceleration (ISO 2533)
	FreshDensity  = 1000    // kg/m³, the default of a cave
	SeaDensity    = 1025    // kg/m³
	SeaLevelBar   = 1.01325 // bar, ISO 2533 at altitude 0
	GaugePerMetre = 0.1     // bar, EN 13319: a depth gauge shows 10 m for 1 bar
)

// Column is the water of a site on a day.
type Column struct {
	Surface  float64 // bar absolute at the surface, 0.3 to 1.2
	PerMetre float64 // bar per metre of depth, 0.09 to 0.13
}

// Fresh is fresh water at sea level.
var Fresh = Column{Surface: SeaLevelBar, PerMetre: FreshDensity * Gravity / 1e5}

// Of returns the column for a surface pressure in bar (a barometer's reading, or
// SurfacePressure) and a density in kg/m³.
func Of(surfaceBar, density float64) Column {
	return Column{Surface: surfaceBar, PerMetre: density * Gravity / 1e5}
}

// Check tells everything wrong with the column. The bounds are about 9 km of
// altitude and anything from light oil to a salt lake: outside them a unit was mistaken.
func (c Column) Check() error {
	var errs []error
	if !(c.Surface >= 0.3 && c.Surface <= 1.2) {
		errs = append(errs, fmt.Errorf("surface pressure %v bar, must be 0.3 to 1.2 bar", c.Surface))
	}
	if !(c.PerMetre >= 0.09 && c.PerMetre <= 0.13) {
		errs = append(errs, fmt.Errorf("water %v bar per metre, must be 0.09 to 0.13 bar per metre", c.PerMetre))
	}
	return errors.Join(errs...)
}

// Pressure is the ambient pressure in bar absolute at a depth in metres.
func (c Column) Pressure(depth float64) float64 {
	return c.Surface + float64(depth*c.PerMetre)
}

// Depth is the depth in metres at which the ambient pressure is as given in bar
// absolute; negative above the surface pressure's level.
func (c Column) Depth(pressure float64) float64 {
	return (pressure - c.Surface) / c.PerMetre
}

// SurfaceEquivalent is the depth of water that weighs as much as the air above
// it, metres: the "10" of the common formulas for equivalent depths.
func (c Column) SurfaceEquivalent() float64 { return c.Surface / c.PerMetre }

// FromGauge is the true depth in metres where a gauge made to EN 13319 (1 bar
// shown as 10 m) shows so many metres.
func (c Column) FromGauge(shown float64) float64 {
	return float64(shown*GaugePerMetre) / c.PerMetre
}

// SurfacePressure is the standard atmosphere's pressure in bar at a geopotential
// altitude in metres (ISO 2533, troposphere). Altitudes below -1000 m and above
// 11000 m, where its formula ends, are an error.
func SurfacePressure(geopotential float64) (float64, error) {
	if !(geopotential >= -1000 && geopotential <= 11000) {
		return 0, fmt.Errorf("altitude %v m, must be -1000 to 11000 m", geopotential)
	}
	return SeaLevelBar * floats.Pow(1-float64(lapse*geopotential)/seaLevelKelvin, exponent), nil
}

// The troposphere of ISO 2533.
const (
	seaLevelKelvin = 288.15
	lapse          = 0.0065    // K/m
	exponent       = 5.2558761 // g M / (R lapse) with ISO 2533's constants
)

// Altitude is the geopotential altitude in metres at which the standard
// atmosphere has this pressure in bar (0.23 to 1.15): what a barometer says
// where no altitude is entered. The weather moves it by some hundred metres.
func Altitude(surfaceBar float64) (float64, error) {
	if !(surfaceBar >= 0.23 && surfaceBar <= 1.15) {
		return 0, fmt.Errorf("surface pressure %v bar, must be 0.23 to 1.15 bar", surfaceBar)
	}
	return seaLevelKelvin / lapse * (1 - floats.Pow(surfaceBar/SeaLevelBar, 1/exponent)), nil
}

// Geopotential turns a geometric altitude (a map's, metres) into the
// geopotential altitude of SurfacePressure. Below 3000 m they differ by less than 1.5 m.
func Geopotential(geometric float64) float64 {
	const earthRadius = 6356766 // m, ISO 2533's nominal radius
	return float64(earthRadius*geometric) / (earthRadius + geometric)
}

// SeaLevelDepth is the depth at sea level whose ratio to the surface pressure is
// that of a depth at altitude, in the depth's unit: what sea-level tables are
// entered with (US Navy Diving Manual, altitude diving).
func SeaLevelDepth(depth, surfaceBar, seaLevelBar float64) float64 {
	return float64(depth*seaLevelBar) / surfaceBar
}

// AltitudeStop is the depth at altitude of a stop that a sea-level table gives.
func AltitudeStop(stop, surfaceBar, seaLevelBar float64) float64 {
	return float64(stop*surfaceBar) / seaLevelBar
}
