// Package units turns the stored SI values into what a person's setting
// shows, and text a person types into the API's values. Depth is always
// metres of the site's water. Nothing here is computed about a dive.
package units

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	pb "lastlight/proto/lastlight/v1"
)

// Exact by definition: 1 psi = 6894.757293… Pa (NIST SP 811, B.8), 1 ft = 0.3048 m.
const (
	BarPerPSI       = 0.0689475729317831
	LitresPerCubicF = 28.316846592
	// Standard atmosphere in bar, at which the content of US cylinders is named.
	barPerAtmosphere = 1.01325
)

// System is a person's setting.
type System string

const (
	Metric   System = "metric"
	Imperial System = "imperial"
)

// Note states the rounding, to be printed under what is shown.
func (s System) Note() string {
	if s == Imperial {
		return "Shown in psi (whole; turns rounded up to 50) and ft³ (to 0.1); stored in bar and litres."
	}
	return "Pressures to 0.1 bar (turns rounded up to 5 bar), volumes to 0.1 L."
}

// Bar shows a pressure to the nearest 0.1 bar or 1 psi.
func (s System) Bar(bar float64) string {
	if s == Imperial {
		return number(bar/BarPerPSI, 0) + " psi"
	}
	return number(bar, 1) + " bar"
}

// Turn shows a turn pressure on the next mark of a gauge, as on the brief: 5
// bar or 50 psi, never lower than it is. The exact one is in the JSON.
func (s System) Turn(bar float64) string {
	const slack = 1e-6
	if s == Imperial {
		return number(math.Ceil((bar-slack)/BarPerPSI/50)*50, 0) + " psi"
	}
	return number(math.Ceil((bar-slack)/5)*5, 0) + " bar"
}

// BarUp shows a pressure that must not be rounded down, as a shortfall.
func (s System) BarUp(bar float64) string {
	// The slack is far below what a gauge shows and keeps 150.00000000001 at 150.
	const slack = 1e-6
	if s == Imperial {
		return number(math.Ceil(bar/BarPerPSI-slack), 0) + " psi"
	}
	return number(math.Ceil((bar-slack)*10)/10, 1) + " bar"
}

// BarDown shows a pressure that must not be rounded up, as one to bleed down to.
func (s System) BarDown(bar float64) string {
	const slack = 1e-6
	if s == Imperial {
		return number(math.Floor(bar/BarPerPSI+slack), 0) + " psi"
	}
	return number(math.Floor((bar+slack)*10)/10, 1) + " bar"
}

// Litres shows a gas or water volume.
func (s System) Litres(l float64) string {
	if s == Imperial {
		return number(l/LitresPerCubicF, 1) + " ft³"
	}
	return number(l, 1) + " L"
}

// Rate shows gas per minute at the surface.
func (s System) Rate(lmin float64) string {
	if s == Imperial {
		return number(lmin/LitresPerCubicF, 2) + " ft³/min"
	}
	return number(lmin, 1) + " L/min"
}

// Pressure shows a pressure; an absent one is "".
func (s System) Pressure(p *pb.Pressure) string {
	switch u := p.GetUnit().(type) {
	case *pb.Pressure_Bar:
		return s.Bar(u.Bar)
	case *pb.Pressure_Psi:
		return s.Bar(u.Psi * BarPerPSI)
	default:
		return ""
	}
}

// Cylinder shows the size of a cylinder: litres of water, or the gas in ft³
// that it holds at its working pressure, as the imperial trade names it.
func (s System) Cylinder(v *pb.WaterVolume, working *pb.Pressure) string {
	litres, ok := waterLitres(v, working)
	switch {
	case v.GetUnit() == nil:
		return ""
	case s == Imperial:
		if u, named := v.GetUnit().(*pb.WaterVolume_CubicFeetOfGasAtWorkingPressure); named {
			return number(u.CubicFeetOfGasAtWorkingPressure, 1) + " ft³"
		}
		if bar, known := bars(working); ok && known {
			return number(litres*bar/barPerAtmosphere/LitresPerCubicF, 1) + " ft³"
		}
		return number(litres/LitresPerCubicF, 2) + " ft³ water"
	case !ok:
		return number(v.GetCubicFeetOfGasAtWorkingPressure(), 1) + " ft³"
	default:
		return number(litres, 1) + " L"
	}
}

// Size is Cylinder for a page that calls it a water volume: with the other of the two beside what the trade names.
func (s System) Size(v *pb.WaterVolume, working *pb.Pressure) string {
	text := s.Cylinder(v, working)
	if litres, ok := waterLitres(v, working); ok && s == Imperial && working != nil {
		return text + " of gas at working pressure; " + number(litres, 1) + " L of water"
	}
	return text
}

// Water shows a water volume by itself.
func (s System) Water(v *pb.WaterVolume) string {
	litres, ok := waterLitres(v, nil)
	switch {
	case v.GetUnit() == nil:
		return ""
	case !ok:
		return number(v.GetCubicFeetOfGasAtWorkingPressure(), 1) + " ft³ at working pressure"
	case s == Imperial:
		return number(litres/LitresPerCubicF, 2) + " ft³ water"
	default:
		return number(litres, 1) + " L"
	}
}

func waterLitres(v *pb.WaterVolume, working *pb.Pressure) (float64, bool) {
	switch u := v.GetUnit().(type) {
	case *pb.WaterVolume_Litres:
		return u.Litres, true
	case *pb.WaterVolume_CubicFeet:
		return u.CubicFeet * LitresPerCubicF, true
	case *pb.WaterVolume_CubicFeetOfGasAtWorkingPressure:
		if bar, ok := bars(working); ok && bar > 0 {
			return u.CubicFeetOfGasAtWorkingPressure * LitresPerCubicF * barPerAtmosphere / bar, true
		}
	}
	return 0, false
}

func bars(p *pb.Pressure) (float64, bool) {
	switch u := p.GetUnit().(type) {
	case *pb.Pressure_Bar:
		return u.Bar, true
	case *pb.Pressure_Psi:
		return u.Psi * BarPerPSI, true
	default:
		return 0, false
	}
}

// SurfaceRate shows a consumption; an absent one is "".
func (s System) SurfaceRate(r *pb.SurfaceRate) string {
	switch u := r.GetUnit().(type) {
	case *pb.SurfaceRate_LitresPerMinute:
		return s.Rate(u.LitresPerMinute)
	case *pb.SurfaceRate_CubicFeetPerMinute:
		return s.Rate(u.CubicFeetPerMinute * LitresPerCubicF)
	default:
		return ""
	}
}

// Mix shows a gas as blenders write it: 32, or 18/45 with helium.
func Mix(g *pb.GasMix) string {
	switch {
	case g == nil:
		return ""
	case g.GetHeliumPercent() == 0:
		return number(g.GetOxygenPercent(), 1) + " %"
	default:
		return number(g.GetOxygenPercent(), 1) + "/" + number(g.GetHeliumPercent(), 1) + " %"
	}
}

// Figure shows a number with the engine's unit in the person's units; up
// keeps a shortfall from being shown smaller than it is.
func (s System) Figure(f *pb.Figure, up bool) string {
	if f == nil {
		return ""
	}
	if f.Number != nil && s == Imperial {
		switch f.GetUnit() {
		case "bar":
			if up {
				return s.BarUp(f.GetNumber())
			}
			return s.Bar(f.GetNumber())
		case "L":
			return s.Litres(f.GetNumber())
		case "L/min":
			return s.Rate(f.GetNumber())
		}
	}
	text := f.GetText()
	switch {
	case f.Number != nil && up && f.GetUnit() == "bar" && f.GetNumber() >= 1: // of oxygen, hundredths count
		return s.BarUp(f.GetNumber())
	case f.Number != nil && up && f.GetUnit() == "h" && f.GetNumber() < 1:
		return number(math.Ceil(f.GetNumber()*60-1e-6), 0) + " min"
	case text == "" && f.Number != nil:
		text = number(f.GetNumber(), 2)
	}
	if f.GetUnit() != "" {
		text += " " + f.GetUnit()
	}
	return text
}

var quantity = regexp.MustCompile(`^\s*([0-9]*\.?[0-9]+)\s*([^0-9\s]*.*?)\s*$`)

func split(text string) (float64, string, error) {
	m := quantity.FindStringSubmatch(text)
	if m == nil {
		return 0, "", fmt.Errorf("read %q, expected a number and perhaps its unit", text)
	}
	f, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0, "", fmt.Errorf("read %q, expected a number and perhaps its unit", text)
	}
	return f, strings.ToLower(m[2]), nil
}

// ParsePressure reads "210", "210bar" or "3000 psi"; without a unit it is the setting's.
func (s System) ParsePressure(text string) (*pb.Pressure, error) {
	f, unit, err := split(text)
	if err != nil {
		return nil, err
	}
	switch {
	case unit == "bar" || unit == "" && s != Imperial:
		return &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: f}}, nil
	case unit == "psi" || unit == "":
		return &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: f}}, nil
	}
	return nil, fmt.Errorf("read %q, expected bar or psi", text)
}

// ParseWater reads the size of a cylinder: "12", "12L" (water), "80ft3" (gas
// at working pressure); without a unit it is the setting's.
func (s System) ParseWater(text string) (*pb.WaterVolume, error) {
	f, unit, err := split(text)
	if err != nil {
		return nil, err
	}
	switch {
	case unit == "l" || unit == "" && s != Imperial:
		return &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: f}}, nil
	case unit == "ft3" || unit == "ft³" || unit == "cuft" || unit == "":
		return &pb.WaterVolume{Unit: &pb.WaterVolume_CubicFeetOfGasAtWorkingPressure{CubicFeetOfGasAtWorkingPressure: f}}, nil
	}
	return nil, fmt.Errorf("read %q, expected L (water) or ft3 (gas at working pressure)", text)
}

// ParseRate reads "20", "20L/min" or "0.7ft3/min"; without a unit it is the setting's.
func (s System) ParseRate(text string) (*pb.SurfaceRate, error) {
	f, unit, err := split(text)
	if err != nil {
		return nil, err
	}
	switch unit = strings.TrimSuffix(unit, "/min"); {
	case unit == "l" || unit == "" && s != Imperial:
		return &pb.SurfaceRate{Unit: &pb.SurfaceRate_LitresPerMinute{LitresPerMinute: f}}, nil
	case unit == "ft3" || unit == "ft³" || unit == "cuft" || unit == "":
		return &pb.SurfaceRate{Unit: &pb.SurfaceRate_CubicFeetPerMinute{CubicFeetPerMinute: f}}, nil
	}
	return nil, fmt.Errorf("read %q, expected L/min or ft3/min", text)
}

// ParseDelivery reads what a compressor gives: "250", "250L/min" or "9ft3/min".
func (s System) ParseDelivery(text string) (*pb.Delivery, error) {
	r, err := s.ParseRate(text)
	switch u := r.GetUnit().(type) {
	case *pb.SurfaceRate_LitresPerMinute:
		return &pb.Delivery{Unit: &pb.Delivery_LitresPerMinute{LitresPerMinute: u.LitresPerMinute}}, nil
	case *pb.SurfaceRate_CubicFeetPerMinute:
		return &pb.Delivery{Unit: &pb.Delivery_CubicFeetPerMinute{CubicFeetPerMinute: u.CubicFeetPerMinute}}, nil
	}
	return nil, err
}

// ParseMix reads "32" (oxygen) or "18/45" (oxygen/helium), in percent, and the
// words air and oxygen.
func ParseMix(text string) (*pb.GasMix, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "air":
		return &pb.GasMix{OxygenPercent: 21}, nil
	case "oxygen":
		return &pb.GasMix{OxygenPercent: 100}, nil
	}
	o2, he, helium := strings.Cut(strings.TrimSuffix(strings.TrimSpace(text), "%"), "/")
	o, err := strconv.ParseFloat(strings.TrimSpace(o2), 64)
	h := 0.0
	if err == nil && helium {
		h, err = strconv.ParseFloat(strings.TrimSpace(he), 64)
	}
	if err != nil || math.IsNaN(o) || math.IsNaN(h) {
		return nil, fmt.Errorf("read %q, expected oxygen or oxygen/helium in percent, e.g. 32 or 18/45, air or oxygen", text)
	}
	return &pb.GasMix{OxygenPercent: o, HeliumPercent: h}, nil
}

// number writes at most places decimals, without zeros at the end.
func number(f float64, places int) string {
	s := strconv.FormatFloat(f, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// GasUp shows gas that is needed, in whole litres or cubic feet, never less than it is.
func (s System) GasUp(l float64) string {
	const slack = 1e-6
	if s == Imperial {
		return number(math.Ceil(l/LitresPerCubicF-slack), 0) + " ft³"
	}
	return number(math.Ceil(l-slack), 0) + " L"
}

// GasDown shows gas that is left, never more than it is.
func (s System) GasDown(l float64) string {
	const slack = 1e-6
	if s == Imperial {
		return number(math.Floor(l/LitresPerCubicF+slack), 0) + " ft³"
	}
	return number(math.Floor(l+slack), 0) + " L"
}
