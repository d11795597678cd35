package calendar

import (
	"errors"
	"slices"
	"testing"
)

// Clock changes as the IANA zone data (2025b) has them.
func berlin(t *testing.T) Zone {
	return zoneOf(t, "Europe/Berlin", 60, Change{instant(t, "2026-03-29T01:00Z"), 120}, Change{instant(t, "2026-10-25T01:00Z"), 60})
}

func santiago(t *testing.T) Zone { // no midnight on 6 September
	return zoneOf(t, "America/Santiago", -180, Change{instant(t, "2026-04-05T03:00Z"), -240}, Change{instant(t, "2026-09-06T04:00Z"), -180})
}

func lordHowe(t *testing.T) Zone { // half an hour
	return zoneOf(t, "Australia/Lord_Howe", 660, Change{instant(t, "2026-04-04T15:00Z"), 630}, Change{instant(t, "2026-10-03T15:30Z"), 660})
}

func kathmandu(t *testing.T) Zone { return zoneOf(t, "Asia/Kathmandu", 345) }

func stJohns(t *testing.T) Zone {
	return zoneOf(t, "America/St_Johns", -210, Change{instant(t, "2026-03-08T05:30Z"), -150}, Change{instant(t, "2026-11-01T04:30Z"), -210})
}

func zoneOf(t *testing.T, name string, base int, changes ...Change) Zone {
	t.Helper()
	z := Zone{Name: name, Version: "2025b", From: instant(t, "2025-12-01T00:00Z"), Until: instant(t, "2027-02-01T00:00Z"), Base: base, Changes: changes}
	if err := z.Check(); err != nil {
		t.Fatal(err)
	}
	return z
}

func wall(t *testing.T, text string) Wall {
	t.Helper()
	w, err := ParseWall(text)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestReadings(t *testing.T) {
	for _, c := range []struct {
		zone             Zone
		wall             string
		shown            []string // site-local
		latest, earliest string
	}{
		{berlin(t), "2026-06-14T23:10", []string{"2026-06-14T23:10+02:00"}, "2026-06-14T23:10+02:00", "2026-06-14T23:10+02:00"},
		{berlin(t), "2026-03-29T01:59", []string{"2026-03-29T01:59+01:00"}, "2026-03-29T01:59+01:00", "2026-03-29T01:59+01:00"},
		{berlin(t), "2026-03-29T02:00", nil, "2026-03-29T03:00+02:00", "2026-03-29T01:00+01:00"},
		{berlin(t), "2026-03-29T02:59", nil, "2026-03-29T03:59+02:00", "2026-03-29T01:59+01:00"},
		{berlin(t), "2026-03-29T03:00", []string{"2026-03-29T03:00+02:00"}, "2026-03-29T03:00+02:00", "2026-03-29T03:00+02:00"},
		{berlin(t), "2026-10-25T01:59", []string{"2026-10-25T01:59+02:00"}, "2026-10-25T01:59+02:00", "2026-10-25T01:59+02:00"},
		{berlin(t), "2026-10-25T02:00", []string{"2026-10-25T02:00+02:00", "2026-10-25T02:00+01:00"}, "2026-10-25T02:00+01:00", "2026-10-25T02:00+02:00"},
		{berlin(t), "2026-10-25T02:59", []string{"2026-10-25T02:59+02:00", "2026-10-25T02:59+01:00"}, "2026-10-25T02:59+01:00", "2026-10-25T02:59+02:00"},
		{berlin(t), "2026-10-25T03:00", []string{"2026-10-25T03:00+01:00"}, "2026-10-25T03:00+01:00", "2026-10-25T03:00+01:00"},
		{santiago(t), "2026-09-06T00:00", nil, "2026-09-06T01:00-03:00", "2026-09-05T23:00-04:00"},
		{santiago(t), "2026-04-04T23:30", []string{"2026-04-04T23:30-03:00", "2026-04-04T23:30-04:00"}, "2026-04-04T23:30-04:00", "2026-04-04T23:30-03:00"},
		{lordHowe(t), "2026-04-05T01:29", []string{"2026-04-05T01:29+11:00"}, "2026-04-05T01:29+11:00", "2026-04-05T01:29+11:00"},
		{lordHowe(t), "2026-04-05T01:30", []string{"2026-04-05T01:30+11:00", "2026-04-05T01:30+10:30"}, "2026-04-05T01:30+10:30", "2026-04-05T01:30+11:00"},
		{lordHowe(t), "2026-10-04T02:15", nil, "2026-10-04T02:45+11:00", "2026-10-04T01:45+10:30"},
		{stJohns(t), "2026-03-08T02:30", nil, "2026-03-08T03:30-02:30", "2026-03-08T01:30-03:30"},
		{kathmandu(t), "2026-06-08T00:05", []string{"2026-06-08T00:05+05:45"}, "2026-06-08T00:05+05:45", "2026-06-08T00:05+05:45"},
	} {
		format := func(at Instant, err error) string {
			if err != nil {
				t.Fatalf("%s %s: %v", c.zone.Name, c.wall, err)
			}
			s, err := c.zone.Format(at)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		w := wall(t, c.wall)
		all, err := c.zone.Readings(w)
		var shown []string
		for _, at := range all {
			shown = append(shown, format(at, err))
		}
		if !slices.Equal(shown, c.shown) {
			t.Errorf("%s %s: shown at %v, expected %v", c.zone.Name, c.wall, shown, c.shown)
		}
		if got := format(c.zone.LatestReading(w)); got != c.latest {
			t.Errorf("%s %s: a start is read as %s, expected %s", c.zone.Name, c.wall, got, c.latest)
		}
		if got := format(c.zone.EarliestReading(w)); got != c.earliest {
			t.Errorf("%s %s: an end is read as %s, expected %s", c.zone.Name, c.wall, got, c.earliest)
		}
	}
}

// A zone that leaves out a whole day: Samoa had no 30 December 2011.
func TestADayThatWasLeftOut(t *testing.T) {
	z := Zone{
		Name: "Pacific/Apia", Version: "2025b", From: instant(t, "2011-12-01T00:00Z"), Until: instant(t, "2012-02-01T00:00Z"),
		Base: -600, Changes: []Change{{instant(t, "2011-12-30T10:00Z"), 840}},
	}
	if got, err := z.Readings(wall(t, "2011-12-30T12:00")); err != nil || len(got) != 0 {
		t.Errorf("noon of the 30th is %v, %v", got, err)
	}
	for at, want := range map[string]string{"2011-12-30T09:59Z": "2011-12-29", "2011-12-30T10:00Z": "2011-12-31"} {
		if got, err := z.Day(instant(t, at)); err != nil || got.String() != want {
			t.Errorf("%s is %s, %v, expected %s", at, got, err, want)
		}
	}
}

func TestBeyondTheZone(t *testing.T) {
	z := berlin(t)
	for at, known := range map[string]bool{
		"2025-11-30T23:59Z": false, "2025-12-01T00:00Z": true, "2027-01-31T23:59Z": true, "2027-02-01T00:00Z": false,
	} {
		if _, err := z.Offset(instant(t, at)); (err == nil) != known {
			t.Errorf("%s: %v", at, err)
		}
	}
	if _, err := z.Readings(wall(t, "2027-02-01T00:30")); !errors.Is(err, ErrBeyondZone) {
		t.Errorf("a time beyond the zone: %v", err)
	}
	if _, err := z.Day(Instant{}); !errors.Is(err, ErrBeyondZone) {
		t.Errorf("no instant: %v", err)
	}
}

func TestZonesThatContradictThemselves(t *testing.T) {
	good := berlin(t)
	for name, spoil := range map[string]func(*Zone){
		"no span":              func(z *Zone) { z.Until = z.From },
		"changes out of order": func(z *Zone) { z.Changes = []Change{z.Changes[1], z.Changes[0]} },
		"change after the end": func(z *Zone) { z.Until = z.Changes[1].At },
		"nothing":              func(z *Zone) { *z = Zone{} },
	} {
		z := good
		spoil(&z)
		if z.Check() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// T1, T2: the days a span touches, both ends included, over all its zones.
func TestSpanDays(t *testing.T) {
	newYork := zoneOf(t, "America/New_York", -300, Change{instant(t, "2026-03-08T07:00Z"), -240}, Change{instant(t, "2026-11-01T06:00Z"), -300})
	chicago := zoneOf(t, "America/Chicago", -360, Change{instant(t, "2026-03-08T08:00Z"), -300}, Change{instant(t, "2026-11-01T07:00Z"), -360})
	for _, c := range []struct {
		entry, out  string
		zones       []Zone
		first, last string
	}{
		{"2026-06-14T23:10+02:00", "2026-06-14T23:59+02:00", []Zone{berlin(t)}, "2026-06-14", "2026-06-14"},
		{"2026-06-14T23:10+02:00", "2026-06-15T00:00+02:00", []Zone{berlin(t)}, "2026-06-14", "2026-06-15"},
		{"2026-06-12T04:30Z", "2026-06-12T04:40Z", []Zone{newYork, chicago}, "2026-06-11", "2026-06-12"},
		{"2026-06-12T04:30Z", "2026-06-12T06:00Z", []Zone{chicago}, "2026-06-11", "2026-06-12"},
		{"2026-03-10T18:14Z", "2026-03-10T18:15Z", []Zone{kathmandu(t)}, "2026-03-10", "2026-03-11"},
		{"2026-01-11T03:29Z", "2026-01-11T03:30Z", []Zone{stJohns(t)}, "2026-01-10", "2026-01-11"},
	} {
		got, err := Span{instant(t, c.entry), instant(t, c.out)}.Days(c.zones...)
		if err != nil || got.First.String() != c.first || got.Last.String() != c.last {
			t.Errorf("%s to %s: %s to %s (%v), expected %s to %s", c.entry, c.out, got.First, got.Last, err, c.first, c.last)
		}
	}
	for _, bad := range []Span{{}, {Entry: instant(t, "2026-06-14T10:00Z")}, {instant(t, "2026-06-14T10:00Z"), instant(t, "2026-06-14T09:59Z")}} {
		if _, err := bad.Days(berlin(t)); err == nil {
			t.Errorf("%v has days", bad)
		}
	}
	if _, err := (Span{instant(t, "2026-06-14T10:00Z"), instant(t, "2026-06-14T11:00Z")}).Days(); err == nil {
		t.Error("a span without a zone has days")
	}
}

// T1: of two zones the earlier day. Where a zone does not reach, the day before
// UTC's, which no place on earth was behind.
func TestEarliestDay(t *testing.T) {
	for _, c := range []struct {
		at, want string
		zones    []Zone
	}{
		{"2026-06-11T19:00Z", "2026-06-11", []Zone{kathmandu(t), berlin(t)}},
		{"2026-06-11T19:00Z", "2026-06-11", []Zone{berlin(t), kathmandu(t)}},
		{"2026-06-11T19:00Z", "2026-06-12", []Zone{kathmandu(t)}},
		{"2010-06-11T19:00Z", "2010-06-10", []Zone{kathmandu(t)}},
		{"2030-06-11T00:00Z", "2030-06-10", []Zone{kathmandu(t), berlin(t)}},
		{"2026-06-11T19:00Z", "", nil},
	} {
		if got := EarliestDay(instant(t, c.at), c.zones...).String(); got != c.want {
			t.Errorf("%s in %d zones: %q, expected %q", c.at, len(c.zones), got, c.want)
		}
	}
	if got := EarliestDay(Instant{}, berlin(t)); !got.IsZero() {
		t.Errorf("no instant is of %s", got)
	}
}
