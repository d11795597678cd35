package oxygen

import (
	"math"
	"slices"

	"lastlight/engine/floats"
)

// Day is the window of the 24-hour limit and of a day's OTU, minutes.
const Day = 24 * 60

// daily are straight lines through the 24-hour column of the same table; up to
// 0.6 bar it agrees with the single-exposure limit.
var daily = [...]line{
	{0.5, 0.6, -1800, 1800},
	{0.6, 0.7, -1500, 1620},
	{0.7, 0.8, -1200, 1410},
	{0.8, 0.9, -900, 1170},
	{0.9, 1.0, -600, 900},
	{1.0, 1.4, -300, 600},
	{1.4, 1.5, 0, 180},
	{1.5, dailyTo, -300, 630},
}

// dailyTo is how far the last line goes on, bar: 0.02 above the table, by which an oxygen
// limit may be passed (method handbook, physics 0: pure oxygen at 6 m of fresh water is
// 1.602 bar, which no gauge tells from 1.6).
const dailyTo = Routine + 0.02

// DailyLimit is the NOAA limit of all exposures in 24 hours, minutes, at a
// constant oxygen pressure in bar, straight between the table's values: +Inf at
// and below Threshold; above dailyTo the single-exposure limit. (Column from memory in
// the method handbook but for 1.6; to be confirmed against the manual.)
func DailyLimit(p float64) float64 {
	if !(p > Threshold) {
		return math.Inf(1)
	}
	for _, l := range daily {
		if p <= l.to+1e-9 {
			return float64(l.m*p) + l.c
		}
	}
	return SingleLimit(p)
}

// DailyShare is the share of the 24-hour limit used, percent, while the oxygen
// pressure goes evenly from one value to another in some minutes. Above dailyTo
// it counts as CNS does: there is no routine value.
func DailyShare(from, to, minutes float64) float64 {
	if !(minutes > 0) {
		return 0
	}
	low, high := math.Min(from, to), math.Max(from, to)
	if high-low < 1e-9 {
		return float64(100*minutes) / DailyLimit(float64(0.5*(low+high)))
	}
	perBar := minutes / (high - low)
	sum := 0.0
	for _, l := range daily {
		a, b := math.Max(low, l.from), math.Min(high, l.to)
		switch {
		case a >= b:
		case l.m == 0:
			sum += float64(perBar*(b-a)) / l.c
		default:
			sum += float64(perBar*floats.Log((float64(l.m*b)+l.c)/(float64(l.m*a)+l.c))) / l.m
		}
	}
	sum = float64(100 * sum)
	if high > dailyTo {
		above := math.Max(low, dailyTo)
		sum += CNS(above, high, float64(minutes*((high-above)/(high-low))))
	}
	return sum
}

// Past is what an earlier dive left in the account.
type Past struct {
	EndedAgo float64 // minutes from its end to the start of the dive in question
	Minutes  float64 // it lasted
	CNS      float64 // percent of the single-exposure limit, of that dive alone
	Daily    float64 // percent of the 24-hour limit
	OTU      float64
}

// Carried is the account of earlier dives at the start of a dive.
type Carried struct {
	CNS      float64 // percent, decayed by CNSHalfTime while at the surface
	CNSWhole float64 // percent, of the last 24 hours without decay: both are shown
	Daily    float64 // percent of the 24-hour limit, last 24 hours
	OTUDay   float64 // last 24 hours
	OTUAll   float64 // all dives given
	// Days of diving so far, the present one counted: the REPEX day, at most and at
	// least. More days allow less for each of them, and more in all.
	Days, LeastDays int
}

// Carry adds up earlier dives, the oldest first. A dive that ended less than 24
// hours ago counts whole in the last 24 hours: what of it lies further back is not
// taken off. The decay is that of the surface: it rests during the dives between.
func Carry(past []Past) Carried {
	c := Carried{Days: 1, LeastDays: 1}
	dived := 0.0 // minutes of the dives after the one looked at
	for _, p := range slices.Backward(past) {
		ago := math.Max(0, p.EndedAgo)
		c.CNS += Decayed(p.CNS, math.Max(0, ago-dived))
		dived += p.Minutes
		c.OTUAll += p.OTU
		if ago < Day {
			c.CNSWhole += p.CNS
			c.Daily += p.Daily
			c.OTUDay += p.OTU
		}
		c.Days = max(c.Days, 1+int(math.Min(1000, math.Ceil(ago/Day))))
		c.LeastDays = max(c.LeastDays, 1+int(math.Min(1000, math.Floor(ago/Day))))
	}
	return c
}
