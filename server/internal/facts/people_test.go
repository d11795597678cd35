package facts_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/policy"
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

// T1, T22: a diver is suspended from the day of it at each site. 20:00 UTC on 10
// June is that day in New York and the next in Kathmandu, in whatever order they are listed.
func TestASuspensionAtSitesOfTwoZones(t *testing.T) {
	t.Parallel()
	for _, names := range [][]string{{"America/New_York", "Asia/Kathmandu"}, {"Asia/Kathmandu", "America/New_York"}} {
		r := &facts.ExpeditionRecords{
			Policies:   []facts.PolicyFrom{{ID: "club"}},
			Expedition: &lastlightv1.Expedition{FromDay: "2026-06-09", ToDay: "2026-06-12"},
			People: []facts.Person{{Record: &lastlightv1.Person{Id: "ann", Medical: &lastlightv1.MedicalStatus{
				SuspendedAt: timestamppb.New(time.Date(2026, 6, 10, 20, 0, 0, 0, time.UTC)),
			}}}},
			Sites: []*lastlightv1.Site{{Id: "one", TimeZone: names[0]}, {Id: "two", TimeZone: names[1]}},
		}
		in, err := facts.Eligible(r, time.Date(2026, 6, 8, 12, 0, 0, 0, time.UTC), zones.Load)
		if err != nil {
			t.Fatal(err)
		}
		if got := in[0].Divers[0].Medical.Suspended.String(); got != "2026-06-10" {
			t.Errorf("%v: suspended on %s", names, got)
		}
	}
}

// A suspension never vanishes from a record, so it may be older than what a
// plan's zones cover. T22: suspended from that day, until cleared.
func TestASuspensionOfLongAgo(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	suspended := time.Date(2009, 7, 12, 22, 30, 0, 0, time.UTC)
	r := &facts.PersonRecords{
		Person: &lastlightv1.Person{Id: "ann", Medical: &lastlightv1.MedicalStatus{
			ExaminedDay: "2026-01-10", SuspendedAt: timestamppb.New(suspended), ClearedAt: timestamppb.New(suspended.AddDate(0, 1, 0)), ClearedByRoles: []string{"coordinator"},
		}},
		Policy:   policy.Policy{People: policy.People{SuspensionClearedBy: []string{"coordinator"}}},
		ClubZone: "Europe/Berlin", Pseudonyms: map[string]string{"ann": "p-1"},
	}
	in, err := facts.Ready(r, "", now, zones.Load)
	if err != nil {
		t.Fatal(err)
	}
	m := in.Diver.Medical
	if got := m.Suspended.String(); got != "2009-07-11" { // the earliest day it can have been
		t.Errorf("suspended on %s", got)
	}
	if got := m.Cleared.String(); got != "2009-08-12T22:30+00:00" {
		t.Errorf("cleared at %s", got)
	}
}
