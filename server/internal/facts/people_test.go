package facts_test

import (
	"testing"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/zones"
)

// A log may go back to a diver's first years, which no plan's zones cover.
func TestADiveOfLongAgo(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	entered := time.Date(1987, 7, 12, 22, 30, 0, 0, time.UTC) // 00:30 on the 13th by the clocks of that summer
	r := &facts.PersonRecords{
		Person: &lastlightv1.Person{Id: "ann"}, ClubZone: "Europe/Berlin", Pseudonyms: map[string]string{"ann": "p-1"},
		Dives: []facts.PastDive{{ID: "first", TimeZone: "Europe/Berlin", EnteredAt: entered, OutAt: entered.Add(time.Hour), Closed: true}},
	}
	in, err := facts.Ready(r, "", now, zones.Load)
	if err != nil {
		t.Fatal(err)
	}
	if got := in.Diver.Dives[0].EntryDay.String(); got != "1987-07-13" {
		t.Errorf("dived on %s", got)
	}
}
