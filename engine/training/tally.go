package training

import (
	"slices"

	"lastlight/engine/calendar"
)

// Done is something recorded that counts for a while: a dive, or a use.
type Done struct {
	ID  string
	Day calendar.Day // site-local day of the entry
}

// Counts tells whether what was done on a day still counts on another: through
// its day and the months, counted forward from it (T25).
func Counts(done, on calendar.Day, months int) bool {
	return !done.IsZero() && !done.After(on) && !on.After(done.AddMonths(months))
}

// Tally is what counts on a day.
type Tally struct {
	Counted []string     // ids, oldest first
	Last    calendar.Day // latest day done, whether or not it still counts; none = never
	FallsOn calendar.Day // next day on which one fewer counts with nothing new done; none = never
}

// TallyOn counts what was done, in any order, up to the day.
func TallyOn(done []Done, on calendar.Day, months int) Tally {
	done = slices.Clone(done)
	slices.SortStableFunc(done, func(a, b Done) int { return a.Day.Compare(b.Day) })
	var out Tally
	for _, d := range done {
		if d.Day.IsZero() || d.Day.After(on) {
			continue
		}
		out.Last = d.Day
		if !Counts(d.Day, on, months) {
			continue
		}
		out.Counted = append(out.Counted, d.ID)
		if out.FallsOn.IsZero() {
			out.FallsOn = d.Day.AddMonths(months).Add(1)
		}
	}
	return out
}
