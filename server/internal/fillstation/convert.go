// Package fillstation answers the calls about gas: it reads requests into the
// engine's terms, asks the engine, and rounds what is answered to the safe side.
// It reads no record but what the fill plan is handed.
package fillstation

import (
	"fmt"
	"math"
	"strconv"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/gas"
	"lastlight/engine/policy"
	"lastlight/engine/water"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/quantity"
)

const zeroCelsius = 273.15 // K

// sized is a request about one cylinder whose size may be told by the gas it holds.
type sized interface {
	proto.Message
	GetWaterVolume() *lastlightv1.WaterVolume
	GetWorkingPressure() *lastlightv1.Pressure
}

// inSI gives a copy of the request in SI units, and notes what cannot be told.
func inSI[M proto.Message](r M, p *fault.Problems) M {
	m := proto.CloneOf(r)
	if s, ok := any(m).(sized); ok {
		quantity.ToBar(s.GetWorkingPressure())
		quantity.ToLitres(s.GetWaterVolume(), s.GetWorkingPressure())
	}
	quantity.ToSI(m, p)
	return m
}

func mixOf(m *lastlightv1.GasMix) gas.Mix {
	return gas.Mix{O2: m.GetOxygenPercent() / 100, He: m.GetHeliumPercent() / 100}
}

func mixOr(m *lastlightv1.GasMix, absent gas.Mix) gas.Mix {
	if m == nil {
		return absent
	}
	return mixOf(m)
}

// percent shows a mix to places decimals of a per cent.
func percent(m gas.Mix, places int) *lastlightv1.GasMix {
	return &lastlightv1.GasMix{OxygenPercent: round(100*m.O2, places), HeliumPercent: round(100*m.He, places)}
}

func kelvin(celsius *float64) float64 {
	if celsius == nil {
		return gas.ReferenceKelvin
	}
	return *celsius + zeroCelsius
}

// column is the water asked about; it cannot fail within the bounds of the request.
func column(s *lastlightv1.Surroundings) (water.Column, error) {
	density, surface := s.GetWaterDensity(), water.SeaLevelBar
	if density == 0 {
		density = water.FreshDensity
	}
	switch at := s.GetSurface().(type) {
	case *lastlightv1.Surroundings_AltitudeM:
		bar, err := water.SurfacePressure(water.Geopotential(at.AltitudeM))
		if err != nil {
			return water.Column{}, err
		}
		surface = bar
	case *lastlightv1.Surroundings_BarometerBar:
		surface = at.BarometerBar
	}
	return water.Of(surface, density), nil
}

func limitsOf(p *policy.Policy) gas.Limits {
	m := p.Mix
	return gas.Limits{
		WorkingBar: m.PO2WorkingBar, RestingBar: m.PO2RestingBar, FloorBar: m.PO2FloorBar,
		DensityCaution: m.DensityCautionGL, DensityMost: m.DensityRefuseGL, OxygenNarcotic: m.OxygenNarcotic,
	}
}

func limitsUsed(l gas.Limits, c water.Column) *lastlightv1.GasLimits {
	return &lastlightv1.GasLimits{
		OxygenWorkingBar: l.WorkingBar, OxygenRestingBar: l.RestingBar, OxygenFloorBar: up(gas.LeastOxygen(l.FloorBar, c), 3),
		DensityAdvised: l.DensityCaution, DensityMost: l.DensityMost, OxygenNarcotic: l.OxygenNarcotic,
	}
}

// tolerance of an analysis as the policy has it, as fractions.
func tolerance(p *policy.Policy) gas.Mix {
	points := func(text string) float64 {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil { // a policy in force has been checked; none is the safe side
			return 0
		}
		return x / 100
	}
	return gas.Mix{O2: points(p.Mix.O2TolerancePoints), He: points(p.Mix.HeTolerancePoints)}
}

// cleanAbove is the oxygen fraction above which a cylinder of a jurisdiction
// must be clean; where that is not told, the strictest of the policy's table. A
// cell that cannot be read asks it of every cylinder.
func cleanAbove(p *policy.Policy, jurisdiction string) float64 {
	least, found := 1.0, false
	for _, named := range []bool{true, false} {
		for _, r := range p.Cylinders.Regimes {
			if named && r.Name != jurisdiction {
				continue
			}
			x, err := strconv.ParseFloat(r.CleanAboveO2, 64)
			if err != nil {
				return 0
			}
			least, found = min(least, x/100), true
		}
		if found {
			return least
		}
	}
	return 0
}

// Rounding: down and up to places decimals, and to the nearest. A value within
// 1e-6 of the last place is on it.
func down(x float64, places int) float64 {
	s := math.Pow10(places)
	return math.Floor(x*s+1e-6) / s
}

func up(x float64, places int) float64 {
	s := math.Pow10(places)
	return math.Ceil(x*s-1e-6)/s + 0 // never -0
}

func round(x float64, places int) float64 {
	s := math.Pow10(places)
	if r := math.Round(x*s) / s; r != 0 {
		return r
	}
	return 0 // never -0
}

func bar(x float64) string { return fmt.Sprintf("%.1f bar", x) }

// depth keeps what a mix without an end would give within what can be shown.
func depth(x float64) float64 { return math.Min(x, deepest) }

const deepest = 9999 // m
