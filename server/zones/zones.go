// Package zones turns the time-zone data that is built into the program into
// the zone values the engine reasons with.
package zones

import (
	"fmt"
	"runtime"
	"sync"
	"time"
	_ "time/tzdata" // the program must not depend on zone files of the machine

	"lastlight/engine/calendar"
)

// Load returns what is known of the zone with the IANA name from the first
// minute of the year from to the last of the year to (UTC, and two days beyond
// on both sides). It fails for names that are not in the zone data, for an empty
// span of years, and where an offset is not of whole minutes (local mean times,
// before 1973 in the last place that had one).
func Load(name string, from, to int) (calendar.Zone, error) {
	key := asked{name, from, to}
	if zone, ok := loaded.Load(key); ok {
		return zone.(calendar.Zone), nil
	}
	zone, err := load(name, from, to)
	if err == nil {
		loaded.Store(key, zone)
	}
	return zone, err
}

// loaded keeps what was asked before: a plan's divers have hundreds of past
// dives, all in a few zones. Zones are values that nobody changes, and there
// are only as many as the register has sites and years.
var loaded sync.Map

type asked struct {
	name     string
	from, to int
}

func load(name string, from, to int) (calendar.Zone, error) {
	if name == "" || name == "Local" {
		return calendar.Zone{}, fmt.Errorf("time zone %q: an IANA name is needed, such as Europe/Berlin", name)
	}
	if from < 1 || to < from || to > 9998 {
		return calendar.Zone{}, fmt.Errorf("time zone %s: years %d to %d", name, from, to)
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return calendar.Zone{}, fmt.Errorf("time zone %q: %w", name, err)
	}
	first := time.Date(from, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -2)
	until := time.Date(to+1, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, 2)
	zone := calendar.Zone{
		Name: name, Version: runtime.Version(), // the zone data comes with the Go release
		From: calendar.FromUnix(first.Unix()), Until: calendar.FromUnix(until.Unix()),
	}
	if zone.Base, err = offset(name, first.In(loc)); err != nil {
		return calendar.Zone{}, err
	}
	before := zone.Base
	for at := first.In(loc); ; {
		_, end := at.ZoneBounds()
		if end.IsZero() || !end.Before(until) {
			break
		}
		if !end.After(at) {
			// Beyond the zone data's own table the library cuts at the end of a leap
			// year and then gives that minute back as its own end: step over it. No
			// rule changes a clock there; one that did is an error, not a guess.
			at = at.Add(24 * time.Hour)
			if off, err := offset(name, at); err != nil || off != before {
				return calendar.Zone{}, fmt.Errorf("time zone %s: unclear around %s", name, at.UTC())
			}
			continue
		}
		off, err := offset(name, end)
		if err != nil {
			return calendar.Zone{}, err
		}
		if off != before { // a mere change of the abbreviation is none
			if end.Unix()%60 != 0 {
				return calendar.Zone{}, fmt.Errorf("time zone %s: the change at %s is not on a whole minute", name, end.UTC())
			}
			zone.Changes = append(zone.Changes, calendar.Change{At: calendar.FromUnix(end.Unix()), Offset: off})
			before = off
		}
		at = end
	}
	return zone, zone.Check()
}

func offset(name string, at time.Time) (int, error) {
	_, seconds := at.Zone()
	if seconds%60 != 0 {
		return 0, fmt.Errorf("time zone %s: its offset at %s is not of whole minutes", name, at.UTC())
	}
	return seconds / 60, nil
}
