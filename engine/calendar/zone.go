package calendar

import (
	"errors"
	"fmt"
	"slices"
	"sort"
)

// ErrBeyondZone reports a question about a time that a Zone value does not cover.
var ErrBeyondZone = errors.New("beyond what the zone value knows")

// Zone is what is known of a time zone between two instants. Offsets are whole
// minutes east of UTC.
type Zone struct {
	Name    string   `json:"name"`                         // IANA name, such as Europe/Berlin
	Version string   `json:"version"`                      // edition of the zone data, such as 2025b
	From    Instant  `json:"from"`                         // first instant known
	Until   Instant  `json:"until"`                        // first instant no longer known
	Base    int      `json:"base" in:"-1439..1439 min"`    // offset from From to the first change
	Changes []Change `json:"changes,omitzero" most:"5000"` // in order of time
}

// Change is an instant from which another offset holds.
type Change struct {
	At     Instant `json:"at"`
	Offset int     `json:"offset" in:"-1439..1439 min"` // minutes east of UTC
}

// Check reports a zone value that contradicts itself.
func (z Zone) Check() error {
	if z.From.IsZero() || !z.Until.After(z.From) {
		return fmt.Errorf("zone %s: the span it is known for is empty", z.Name)
	}
	last := z.From
	for _, c := range z.Changes {
		if !c.At.After(last) || !c.At.Before(z.Until) {
			return fmt.Errorf("zone %s: change at %s out of order", z.Name, c.At)
		}
		last = c.At
	}
	return nil
}

// Offset gives the minutes east of UTC at an instant, or ErrBeyondZone.
func (z Zone) Offset(t Instant) (int, error) {
	if t.IsZero() || t.Before(z.From) || !t.Before(z.Until) {
		return 0, fmt.Errorf("zone %q (%s to %s) at %s: %w", z.Name, z.From, z.Until, t, ErrBeyondZone)
	}
	// The first change after t; the one before it, if any, is in force.
	i := sort.Search(len(z.Changes), func(i int) bool { return z.Changes[i].At.After(t) })
	if i == 0 {
		return z.Base, nil
	}
	return z.Changes[i-1].Offset, nil
}

// Wall gives what the clocks of the zone show at an instant.
func (z Zone) Wall(t Instant) (Wall, error) {
	off, err := z.Offset(t)
	if err != nil {
		return Wall{}, err
	}
	return t.wall(off), nil
}

// Day gives the zone's calendar day at an instant.
func (z Zone) Day(t Instant) (Day, error) {
	w, err := z.Wall(t)
	return w.Day, err
}

// Format writes the instant as the zone's wall-clock minute with its offset.
func (z Zone) Format(t Instant) (string, error) {
	off, err := z.Offset(t)
	if err != nil {
		return "", err
	}
	return t.wall(off).String() + FormatOffset(off), nil
}

// Readings gives the instants at which the zone's clocks show w: one as a rule,
// two where it exists twice (in order), none where it does not exist.
func (z Zone) Readings(w Wall) ([]Instant, error) {
	all, _, err := z.readings(w)
	return all, err
}

// LatestReading resolves a wall-clock limit that starts something: the later
// reading where it exists twice; where it does not exist, the later of the two
// instants it can be read as (T35).
func (z Zone) LatestReading(w Wall) (Instant, error) {
	all, gap, err := z.readings(w)
	if err != nil {
		return Instant{}, err
	}
	if len(all) == 0 {
		all = gap
	}
	return all[len(all)-1], nil
}

// EarliestReading resolves a wall-clock limit that ends something, the other way round.
func (z Zone) EarliestReading(w Wall) (Instant, error) {
	all, gap, err := z.readings(w)
	if err != nil {
		return Instant{}, err
	}
	if len(all) == 0 {
		all = gap
	}
	return all[0], nil
}

// readings returns the instants that show w and, where there are none, the two
// that w becomes with the offsets before and after the skip, in order.
func (z Zone) readings(w Wall) (shown, gap []Instant, err error) {
	if w.Day.IsZero() {
		return nil, nil, fmt.Errorf("zone %q: no day to read a time on", z.Name)
	}
	bare := w.at(0)
	offsets := []int{}
	// An offset is less than a day, so only what holds within a day of w matters.
	lo, hi := bare.Add(-minutesPerDay), bare.Add(minutesPerDay)
	offLo, err := z.Offset(lo)
	if err != nil {
		return nil, nil, err
	}
	if _, err := z.Offset(hi); err != nil {
		return nil, nil, err
	}
	offsets = append(offsets, offLo)
	before := offLo
	for _, c := range z.Changes {
		if !c.At.After(lo) || c.At.After(hi) {
			continue
		}
		// Skipped: at the change the clocks go from At+before to At+c.Offset.
		if bare.Sub(c.At) >= before && bare.Sub(c.At) < c.Offset {
			gap = []Instant{w.at(c.Offset), w.at(before)}
		}
		before = c.Offset
		if !slices.Contains(offsets, c.Offset) {
			offsets = append(offsets, c.Offset)
		}
	}
	for _, off := range offsets {
		t := w.at(off)
		if got, err := z.Offset(t); err == nil && got == off {
			shown = append(shown, t)
		}
	}
	slices.SortFunc(shown, Instant.Compare)
	if len(shown) > 0 {
		return shown, nil, nil
	}
	if gap == nil {
		return nil, nil, fmt.Errorf("zone %q: %s has no reading", z.Name, w)
	}
	return nil, gap, nil
}
