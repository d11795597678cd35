package calendar

import "fmt"

// Span is a closed span of instants: a dive from entry to its latest surfacing,
// both minutes included.
type Span struct {
	Entry Instant `json:"entry"`
	Out   Instant `json:"out"`
}

// Check reports a span without one of its ends, or that ends before it starts.
func (s Span) Check() error {
	if s.Entry.IsZero() || s.Out.IsZero() {
		return fmt.Errorf("a span needs both its entry and its latest surfacing")
	}
	if s.Out.Before(s.Entry) {
		return fmt.Errorf("the latest surfacing %s lies before the entry %s", s.Out, s.Entry)
	}
	return nil
}

// Days is a closed span of calendar days.
type Days struct {
	First Day `json:"first"`
	Last  Day `json:"last"`
}

// On is the span of one day.
func On(d Day) Days { return Days{d, d} }

// Contains reports that the day lies in the span.
func (d Days) Contains(x Day) bool { return !x.Before(d.First) && !x.After(d.Last) }

// Days gives the first and the last calendar day the span touches, over all
// the zones given: on a traverse whose openings lie in two zones every limit
// must hold in both (T1, T2). At least one zone is needed.
func (s Span) Days(zones ...Zone) (Days, error) {
	if err := s.Check(); err != nil {
		return Days{}, err
	}
	if len(zones) == 0 {
		return Days{}, fmt.Errorf("no zone: the days of a span are not known")
	}
	var all Days
	for _, z := range zones {
		first, err := z.Day(s.Entry)
		if err != nil {
			return Days{}, err
		}
		last, err := z.Day(s.Out)
		if err != nil {
			return Days{}, err
		}
		// The days pass in order, except where a zone moves back over its midnight.
		if last.Before(first) {
			first, last = last, first
		}
		if all.First.IsZero() || first.Before(all.First) {
			all.First = first
		}
		if last.After(all.Last) {
			all.Last = last
		}
	}
	return all, nil
}

// Status of something that has a last good day.
type Status string

// The states of a last good day (T3).
const (
	Current    Status = "current"
	Due        Status = "due"
	Overdue    Status = "overdue"
	CannotTell Status = "cannot_tell"
)

// StatusOn sets a last good day against a day: overdue from the day after it,
// due while at most dueWithin days are left (T3), else current; no last day: cannot tell.
func StatusOn(last, day Day, dueWithin int) Status {
	switch {
	case last.IsZero() || day.IsZero():
		return CannotTell
	case day.After(last):
		return Overdue
	case last.Sub(day) <= dueWithin:
		return Due
	}
	return Current
}

// SameDay tells whether two instants are of one site-local day in every zone: on
// a traverse whose openings lie in two zones each limit holds in both (T1). Of no
// zone nothing is told: false.
func SameDay(a, b Instant, zones ...Zone) (bool, error) {
	for _, z := range zones {
		x, err := z.Day(a)
		if err != nil {
			return false, err
		}
		y, err := z.Day(b)
		if err != nil || x != y {
			return false, err
		}
	}
	return len(zones) > 0, nil
}

// EarliestDay is the earliest of the days that an instant is of, over the zones;
// for what must not be taken for later than it was in any of them (T1). Where a
// zone does not reach, it is the day before UTC's: no clock on earth is further
// behind. Of no zone, or of no instant: no day.
func EarliestDay(t Instant, zones ...Zone) Day {
	if t.IsZero() {
		return Day{}
	}
	var earliest Day
	for _, z := range zones {
		d, err := z.Day(t)
		if err != nil {
			d = t.Add(-minutesPerDay).wall(0).Day
		}
		if earliest.IsZero() || d.Before(earliest) {
			earliest = d
		}
	}
	return earliest
}
