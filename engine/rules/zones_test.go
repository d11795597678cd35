package rules_test

import (
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
)

// T1 of "Dates and deadlines": where a traverse's openings lie in two zones the reading must be of the day of entry in both.
// The pair enters at 09:00+02:00 with a reading of 05:30+02:00; nine hours further west 05:30 is of the evening before.
func TestReadingInBothZones(t *testing.T) {
	west := func(offset int) calendar.Zone {
		z := enginetest.Summer()
		z.Name, z.Base = "Test/West", offset
		return z
	}
	of := func(in *facts.Input) finding.Finding {
		for _, f := range judge(*in) {
			if f.Rule == "site.reading" {
				return f
			}
		}
		t.Fatal("no answer about the reading")
		return finding.Finding{}
	}
	for _, c := range []struct {
		name   string
		west   int // minutes east of UTC
		at     string
		status finding.Status
		code   string
	}{
		{"midnight passed in both at 05:30", -210, "05:30", finding.Pass, "ok"},
		{"a minute before midnight in the west at 05:30", -211, "05:30", finding.Indeterminate, "no_read"},
		{"read again on the day of both", -211, "05:31", finding.Pass, "ok"},
	} {
		in := enginetest.Pair()
		in.Site.Zones = append(in.Site.Zones, west(c.west))
		in.Site.Readings[0].At = enginetest.At("2026-06-14T" + c.at + "+02:00")
		in.Moment = facts.AtEntry
		if f := of(&in); f.Status != c.status || f.Code != c.code {
			t.Errorf("%s: %s %s, want %s %s", c.name, f.Status, f.Code, c.status, c.code)
		}
	}
	// Decided while it is still the day before in one of the zones: the reading is due at entry.
	in := enginetest.Pair()
	in.Site.Zones = append(in.Site.Zones, west(-211))
	in.DecidedAt = enginetest.At("2026-06-14T05:30+02:00")
	if f := of(&in); f.Code != "due" || f.DueAt != finding.AtEntry {
		t.Errorf("decided on the evening before, in the west: %s %s", f.Status, f.Code)
	}
}
