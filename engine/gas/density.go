package gas

import "lastlight/engine/water"

// Molar masses, g/mol. Argon is not told apart.
const (
	massO2 = 31.998
	massN2 = 28.0134
	massHe = 4.002602
)

// DensityKelvin is the temperature of the published density limits: 5.2 and
// 6.2 g/L are air at 31 and 39 m only at 0 °C, with 1 bar and 10 m per bar.
const DensityKelvin = 273.15

// Density limits in g/L (Anthony & Mitchell 2016; both numbers from memory in
// the method handbook, physics section 5).
const (
	DensityIdeal = 5.2
	DensityMost  = 6.2
)

// MolarMass of the mix, g/mol.
func (m Mix) MolarMass() float64 {
	return float64(m.O2*massO2) + float64(m.N2()*massN2) + float64(m.He*massHe)
}

// Density of the mix in g/L at a pressure in bar and a temperature in kelvin
// (above 0), as an ideal gas.
func (m Mix) Density(pressure, kelvin float64) float64 {
	return float64(pressure*m.MolarMass()) / float64(R*kelvin)
}

// DepthOfDensity is the depth in metres at which the mix has a density in g/L at
// DensityKelvin.
func (m Mix) DepthOfDensity(density float64, c water.Column) float64 {
	return c.Depth(float64(density*float64(R*DensityKelvin)) / m.MolarMass())
}
