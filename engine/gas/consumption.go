package gas

import "lastlight/engine/water"

// Consumed is the litres at 1 bar breathed at a surface rate in L/min while the
// depth goes evenly from one value to another in some minutes: rate × time × mean pressure.
func Consumed(rate float64, c water.Column, from, to, minutes float64) float64 {
	return float64(float64(0.5*float64(rate*minutes)) * (c.Pressure(from) + c.Pressure(to)))
}

// Rate is a surface breathing rate in L/min from what a cylinder lost: its
// volume, bar by which the gauge fell, mean ambient pressure and minutes (both above 0).
func Rate(volume, drop, meanPressure, minutes float64) float64 {
	return float64(volume*drop) / float64(meanPressure*minutes)
}

// StopTime is a depth and the minutes spent there.
type StopTime struct{ Depth, Minutes float64 }

// Straight is a way straight up that a reserve has to pay for.
type Straight struct {
	Depth   float64
	Problem float64    // minutes at the depth first
	Ascent  float64    // m/min, above 0
	Stops   []StopTime // from below upward
}

// Reserve is the litres so many divers at a rate in L/min each need for a way
// straight up: the problem at depth, the ascents, the stops.
func Reserve(s Straight, rate float64, divers int, c water.Column) float64 {
	all := float64(rate * float64(divers))
	sum := Consumed(all, c, s.Depth, s.Depth, s.Problem)
	depth := s.Depth
	for _, stop := range s.Stops {
		sum += Consumed(all, c, depth, stop.Depth, (depth-stop.Depth)/s.Ascent)
		sum += Consumed(all, c, stop.Depth, stop.Depth, stop.Minutes)
		depth = stop.Depth
	}
	return sum + Consumed(all, c, depth, 0, depth/s.Ascent)
}

// EqualAmountTurn is the gauge pressure at which a share of what a cylinder
// gives has been breathed. It is for showing what a turn by pressure alone
// really uses, and lies below it at high pressures: a turn is never lowered to it.
func (f Filling) EqualAmountTurn(start, share float64) float64 {
	return f.Gauge(1, float64(f.Litres(1, start)*(1-share)))
}
