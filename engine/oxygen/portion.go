package oxygen

import "math"

// Portion is the part of a time on which one straight line of a limit holds: the
// oxygen pressure goes evenly between Low and High bar, either way, and the limit
// is Constant - Slope × pressure minutes. Percent is its share of that limit.
type Portion struct {
	Low, High, Minutes, Slope, Constant, Percent float64
}

// Portions takes CNS to pieces, or DailyShare where perDay; their Percent add up
// to it. Below Threshold there are none.
func Portions(from, to, minutes float64, perDay bool) []Portion {
	low, high := math.Min(from, to), math.Max(from, to)
	if !(minutes > 0) || !(high > Threshold) {
		return nil
	}
	limits := lines[:]
	end := floorFrom
	if perDay {
		limits, end = daily[:], dailyTo
	}
	var list []Portion
	for _, l := range limits {
		list = portion(list, low, high, minutes, l, perDay)
	}
	switch {
	case high <= end:
	case perDay: // above, as CNS does
		above := math.Max(low, end)
		part := minutes
		if high-low >= level {
			part = float64(minutes * ((high - above) / (high - low)))
		}
		list = append(list, Portions(above, high, part, false)...)
	default:
		list = portion(list, low, high, minutes, line{end, math.Inf(1), 0, floorMinutes}, false)
	}
	return list
}

// level is the difference in bar below which a ramp is reckoned at its mean.
const level = 1e-9

func portion(list []Portion, low, high, minutes float64, l line, perDay bool) []Portion {
	of := CNS
	if perDay {
		of = DailyShare
	}
	if high-low < level {
		mean := float64(0.5 * (low + high))
		if mean > l.from && mean <= l.to {
			list = append(list, Portion{mean, mean, minutes, -l.m, l.c, of(mean, mean, minutes)})
		}
		return list
	}
	a, b := math.Max(low, l.from), math.Min(high, l.to)
	if b-a < level {
		return list
	}
	part := float64(minutes * ((b - a) / (high - low)))
	return append(list, Portion{a, b, part, -l.m, l.c, of(a, b, part)})
}
