package brief

import (
	"math"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/quantity"
)

// Units are what the reader's gauge shows.
type Units string

// The units of a page; a depth is metres in both.
const (
	Metric   Units = "metric"
	Imperial Units = "imperial"
)

// UnitsOf reads the word of a request; none is metric.
func UnitsOf(word string) Units {
	if word == string(Imperial) {
		return Imperial
	}
	return Metric
}

// What a gauge is read to: a turn between two marks is printed at the upper one.
const (
	stepBar = 5.0
	stepPsi = 50.0
	// slack keeps 150.00000000001 at 150; far below what a gauge shows.
	slack = 1e-6
)

func (u Units) pressure() string {
	if u == Imperial {
		return "psi"
	}
	return "bar"
}

// turn writes a pressure that must not be read lower than it is, on the gauge's next mark.
func (u Units) turn(bar float64) string {
	if u == Imperial {
		return number(math.Ceil((bar-slack)/quantity.BarPerPsi/stepPsi)*stepPsi, 0)
	}
	return number(math.Ceil((bar-slack)/stepBar)*stepBar, 0)
}

// start writes a start pressure as it was read: 0.1 bar, or whole psi.
func (u Units) start(bar float64) string {
	if u == Imperial {
		return number(math.Ceil((bar-slack)/quantity.BarPerPsi), 0)
	}
	return number(bar, 1)
}

// rowStart writes the start of a row of lower starts, never lower than it was judged at.
func (u Units) rowStart(bar float64) string {
	if u == Imperial {
		return u.turn(bar)
	}
	return number(bar, 1)
}

// spare writes gas that is left over, never more than there is.
func (u Units) spare(litres float64) string {
	if u == Imperial {
		return number(math.Floor(litres/quantity.LitresPerCubicFoot), 0) + " ft³"
	}
	return number(math.Floor(litres), 0) + " L"
}

// rate writes how much somebody breathes at the surface, never less than it is.
func (u Units) rate(lMin float64) string {
	if u == Imperial {
		return number(math.Ceil(lMin/quantity.LitresPerCubicFoot*100-slack)/100, 2) + " ft³/min"
	}
	return number(math.Ceil(lMin*10-slack)/10, 1) + " L/min"
}

// cylinder writes a cylinder of oxygen: water volume in litres, as it is kept, and its pressure.
func (u Units) cylinder(o *lastlightv1.OxygenCylinder) string {
	return number(o.GetWaterVolume().GetLitres(), 1) + " L at " + number(u.whole(o.GetPressure().GetBar()), 0) + " " + u.pressure()
}

func (u Units) whole(bar float64) float64 {
	if u == Imperial {
		return math.Floor(bar / quantity.BarPerPsi)
	}
	return math.Floor(bar)
}

// Mark is the distance in bar of two marks of the gauge.
func (u Units) Mark() float64 {
	if u == Imperial {
		return stepPsi * quantity.BarPerPsi
	}
	return stepBar
}

// LowerStarts are the starts in bar below the planned one for which rows are
// worked out, down to nothing: each 10 bar lower, or at the full hundreds of psi,
// rounded down to what the register keeps of a reading.
func (u Units) LowerStarts(planned float64) []float64 {
	var out []float64
	if u == Imperial {
		const row = 2 * stepPsi * quantity.BarPerPsi
		for n := math.Ceil(planned/row-slack) - 1; n > 0; n-- {
			out = append(out, math.Floor(n*row*10)/10)
		}
		return out
	}
	for start := planned - 2*stepBar; start > 0; start -= 2 * stepBar {
		out = append(out, start)
	}
	return out
}
