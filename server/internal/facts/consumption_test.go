package facts

import (
	"testing"
	"time"

	"lastlight/engine/calendar"
	"lastlight/engine/consumption"
)

// Whatever counts on a day is read: every dive that the engine would count begins
// after the minute from which dives are looked for, in the zones farthest apart.
func TestEverythingThatCountsIsRead(t *testing.T) {
	first := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, months := range []int{1, 3, 11, 24} {
		rules := consumption.Rules{Dives: 1, Months: months}
		for i := range 800 { // with a leap day
			day := first.AddDate(0, 0, i)
			on, err := calendar.ParseDay(day.Format(time.DateOnly))
			if err != nil {
				t.Fatal(err)
			}
			oldest := on
			for rules.Within(oldest.Add(-1), on) {
				oldest = oldest.Add(-1)
			}
			begins, err := time.Parse(time.DateOnly, oldest.String())
			if err != nil {
				t.Fatal(err)
			}
			// The dive begins with its day in the east, the entry ends its day in the west.
			dive, entry := begins.Add(-14*time.Hour), day.Add(36*time.Hour)
			if from := MonthsBack(entry, months); from.After(dive) {
				t.Errorf("%d months before %s: read from %s, counts from %s", months, on, from.Format(time.RFC3339), dive.Format(time.RFC3339))
			}
		}
	}
}
