package zones

import (
	"errors"
	"testing"
	"time"

	"lastlight/engine/calendar"
)

// The value agrees with the library's own answer all through its years, in zones
// with far and odd offsets, half-hour changes, skipped days and clock changes at
// midnight (IANA zone data).
func TestAgreesWithTheLibrary(t *testing.T) {
	for _, name := range []string{
		"UTC", "Europe/Berlin", "Europe/London", "Europe/Dublin", "America/New_York", "America/St_Johns", "America/Santiago",
		"Asia/Kathmandu", "Asia/Tokyo", "Australia/Lord_Howe", "Australia/Adelaide", "Pacific/Apia", "Pacific/Chatham",
		"Pacific/Kiritimati", "Africa/Casablanca", "Africa/Cairo", "Asia/Gaza", "America/Sao_Paulo", "Antarctica/Troll",
	} {
		zone, err := Load(name, 1980, 2060)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		// A prime number of minutes walks over all hours of the day.
		for at := time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC); at.Year() <= 2060; at = at.Add(1009 * time.Minute) {
			_, seconds := at.In(loc).Zone()
			got, err := zone.Offset(calendar.FromUnix(at.Unix()))
			if err != nil || got != seconds/60 {
				t.Errorf("%s at %s: offset %d min (%v), expected %d min", name, at, got, err, seconds/60)
				break
			}
		}
		for _, c := range zone.Changes {
			before := time.Unix(c.At.Unix()-1, 0).In(loc)
			after := time.Unix(c.At.Unix(), 0).In(loc)
			_, b := before.Zone()
			_, a := after.Zone()
			if a == b || a != c.Offset*60 {
				t.Errorf("%s: change at %s to %d min: the library has %d s before and %d s after", name, c.At, c.Offset, b, a)
			}
		}
	}
}

func TestZonesThatAreRefused(t *testing.T) {
	for _, c := range []struct {
		name     string
		from, to int
	}{
		{"", 2020, 2030},
		{"Local", 2020, 2030},
		{"Europe/Nowhere", 2020, 2030},
		{"../etc/passwd", 2020, 2030},
		{"Europe/Berlin", 2030, 2020},
		{"Europe/Berlin", 0, 2020},
		{"Europe/Berlin", 2020, 9999},
		{"Africa/Monrovia", 1960, 2030}, // 44 min 30 s west of UTC until 1972
	} {
		if z, err := Load(c.name, c.from, c.to); err == nil {
			t.Errorf("%q %d–%d is read as %s", c.name, c.from, c.to, z.Name)
		}
	}
}

func TestBeyondTheYearsAsked(t *testing.T) {
	zone, err := Load("Europe/Berlin", 2026, 2026)
	if err != nil {
		t.Fatal(err)
	}
	for text, known := range map[string]bool{
		"2026-01-01T00:00Z": true, "2026-12-31T23:59Z": true, "2027-02-01T00:00Z": false, "2025-12-01T00:00Z": false,
	} {
		at, err := calendar.ParseInstant(text)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := zone.Day(at); (err == nil) != known || err != nil && !errors.Is(err, calendar.ErrBeyondZone) {
			t.Errorf("%s: %v", text, err)
		}
	}
}
