package roster

import (
	"slices"
	"strings"

	"lastlight/engine/calendar"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Available gives the spans of "not diving" after a person said that they dive,
// or do not dive, on all days from the first to the last. The spans come back
// sorted and joined, so that saying it twice changes nothing. Days must be real.
func Available(spans []*lastlightv1.Unavailability, fromDay, toDay string, dives bool) []*lastlightv1.Unavailability {
	from, to := day(fromDay), day(toDay)
	var out []*lastlightv1.Unavailability
	for _, s := range spans {
		first, last := day(s.FromDay), day(s.ToDay)
		if last.Before(from) || first.After(to) {
			out = append(out, s)
			continue
		}
		if first.Before(from) {
			out = append(out, span(first, from.Add(-1)))
		}
		if last.After(to) {
			out = append(out, span(to.Add(1), last))
		}
	}
	if !dives {
		out = append(out, span(from, to))
	}
	slices.SortFunc(out, func(a, b *lastlightv1.Unavailability) int { return strings.Compare(a.FromDay, b.FromDay) })
	var joined []*lastlightv1.Unavailability
	for _, s := range out {
		if n := len(joined); n > 0 && !day(s.FromDay).After(day(joined[n-1].ToDay).Add(1)) {
			if day(s.ToDay).After(day(joined[n-1].ToDay)) {
				joined[n-1] = span(day(joined[n-1].FromDay), day(s.ToDay))
			}
			continue
		}
		joined = append(joined, s)
	}
	return joined
}

func span(from, to calendar.Day) *lastlightv1.Unavailability {
	return &lastlightv1.Unavailability{FromDay: from.String(), ToDay: to.String()}
}

func day(text string) calendar.Day {
	d, _ := calendar.ParseDay(text) // checked on arrival
	return d
}
