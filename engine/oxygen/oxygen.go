// Package oxygen reckons exposure to oxygen: of the central nervous system
// (CNS, percent of the NOAA single-exposure limit), of the lungs (OTU), and what
// several days allow. Oxygen pressures are dry (fraction × ambient), bar; the
// tables' axis is in ata, taken as bar, which is on the careful side.
package oxygen

import (
	"math"

	"lastlight/engine/floats"
)

// Threshold is the oxygen pressure up to which nothing accumulates, bar.
const Threshold = 0.5

// Routine is the highest oxygen pressure the NOAA table covers, bar. Above it
// there is no published routine value: a plan must warn.
const Routine = 1.6

// line of the single-exposure limit: minutes = m p + c from one pressure to another.
type line struct{ from, to, m, c float64 }

// Straight lines through the NOAA single-exposure table (NOAA Diving Manual,
// table 15.1, after Butler & Thalmann 1986), as interpolated by E. C. Baker,
// "Oxygen toxicity calculations"; method handbook, physics section 3. Beyond 1.6
// the last line goes on, with a floor of 1 min: the handbook's rule.
var lines = [...]line{
	{0.5, 0.6, -1800, 1800},
	{0.6, 0.7, -1500, 1620},
	{0.7, 0.8, -1200, 1410},
	{0.8, 0.9, -900, 1170},
	{0.9, 1.1, -600, 900},
	{1.1, 1.5, -300, 570},
	{1.5, floorFrom, -750, 1245},
}

const (
	floorMinutes = 1
	floorFrom    = (1245 - floorMinutes) / 750.0 // bar, where the last line reaches the floor
)

// SingleLimit is the single-exposure limit in minutes at a constant oxygen
// pressure in bar: +Inf at and below Threshold, at least 1.
func SingleLimit(p float64) float64 {
	if !(p > Threshold) {
		return math.Inf(1)
	}
	for _, l := range lines {
		if p <= l.to {
			return float64(l.m*p) + l.c
		}
	}
	return floorMinutes
}

// CNS is the share of the single-exposure limit used, percent, while the oxygen
// pressure goes evenly from one value to another in some minutes. Exact for the
// interpolated limit. No minutes give 0.
func CNS(from, to, minutes float64) float64 {
	if !(minutes > 0) {
		return 0
	}
	low, high := math.Min(from, to), math.Max(from, to)
	if high-low < 1e-9 { // the ramp's logarithm would lose its digits
		return float64(100*minutes) / SingleLimit(float64(0.5*(low+high)))
	}
	perBar := minutes / (high - low)
	sum := 0.0
	for _, l := range lines {
		a, b := math.Max(low, l.from), math.Min(high, l.to)
		if a >= b {
			continue
		}
		ta, tb := float64(l.m*a)+l.c, float64(l.m*b)+l.c
		sum += float64(perBar*floats.Log(tb/ta)) / l.m
	}
	if high > floorFrom {
		sum += float64(perBar*(high-math.Max(low, floorFrom))) / floorMinutes
	}
	return float64(100 * sum)
}

// CNSHalfTime is the half-time in minutes by which technical training lets the
// CNS share decay at the surface. A convention without a primary source: show both totals.
const CNSHalfTime = 90

// Decayed is a CNS share after minutes at the surface, by CNSHalfTime.
func Decayed(percent, minutes float64) float64 {
	return float64(percent * floats.Exp(-float64(math.Ln2*math.Max(0, minutes))/CNSHalfTime))
}

// OTU is the oxygen tolerance units taken up while the oxygen pressure goes
// evenly from one value to another in some minutes: t ((p-0.5)/0.5)^(5/6),
// exact along a ramp (method handbook, physics section 3).
func OTU(from, to, minutes float64) float64 {
	if !(minutes > 0) {
		return 0
	}
	unit := func(p float64) float64 { return math.Max(0, (p-Threshold)/Threshold) }
	if d := to - from; math.Abs(d) > 1e-6 {
		a, b := unit(from), unit(to)
		return float64(float64(3*minutes)/float64(11*d)) * (floats.Pow(b, 11.0/6) - floats.Pow(a, 11.0/6))
	}
	return float64(minutes * floats.Pow(unit(float64(0.5*(from+to))), 5.0/6))
}

// repex are the daily doses of the REPEX method by number of days (Hamilton,
// Kenyon, Peterson, NOAA OUR TR 88-1B, 1988; days 2 to 14 from memory in the
// method handbook), OTU per day.
var repex = [...]float64{850, 700, 620, 525, 460, 420, 380, 350, 330, 310}

// RepexDaily is the OTU allowed per day on a mission of so many days, 1 or more.
func RepexDaily(days int) float64 {
	if days < 1 {
		days = 1
	}
	if days <= len(repex) {
		return repex[days-1]
	}
	return 300
}

// RepexTotal is the OTU allowed in all on a mission of so many days, 1 or more.
func RepexTotal(days int) float64 {
	return float64(float64(max(days, 1)) * RepexDaily(days))
}
