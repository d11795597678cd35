package stories

import (
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// The minute of an incident tells who was there: until the safety officer has reviewed it the club reads the day alone, in the record,
// in lists, in the site's history, in the order of either and in the tokens of their pages. As few incidents as are not counted for
// the club (T41: fewer than three) are not listed for it either.
func TestIncidentMinuteAndSmallNumbers(t *testing.T) {
	c := newPool(t, "2026-06-08 18:00")
	c.officers(map[string]string{"dieter": "diver", "sofie": "safety_officer"})
	report := func(name, at string) {
		t.Helper()
		if _, err := c.incidents().ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{Incident: &pb.Incident{
			Id: name, Site: "spring", HappenedAt: stamp(c.at(at)), Level: proto.Int32(1), Types: []string{"line"}, People: []string{"asta"}, Narrative: "loose line",
		}, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	history := func(as string) *pb.SiteHistory {
		t.Helper()
		h, err := c.sites().GetSiteHistory(c.as(as), &pb.GetSiteHistoryRequest{Site: "spring", PageSize: 200})
		if err != nil {
			t.Fatal(err)
		}
		h.Entries = slices.DeleteFunc(h.Entries, func(e *pb.SiteHistoryEntry) bool { return e.Kind != "incident" })
		return h
	}
	// Late in the evening it is another day in UTC.
	report("late", "2026-06-07 23:47")
	report("early", "2026-06-07 09:13")
	if h := history("dieter"); len(h.Entries) != 0 || h.Incidents != 0 || h.Rate.GetShownAs() != "fewer than 3" {
		t.Errorf("two incidents: %v of them are listed, %d counted, %v", h.Entries, h.Incidents, h.Rate)
	}
	if h := history("sofie"); len(h.Entries) != 2 || h.Entries[0].Id != "late" || h.Entries[0].At == nil {
		t.Errorf("the safety officer's history: %v", h.Entries)
	}
	report("noon", "2026-06-07 12:31")
	if h := history("dieter"); len(h.Entries) != 3 || h.Incidents != 3 {
		t.Errorf("three incidents: %v are listed, %d counted", h.Entries, h.Incidents)
	} else {
		for _, e := range h.Entries {
			if e.At != nil || e.Day != "2026-06-07" {
				t.Errorf("the history tells of %s: %v %s", e.Id, e.At, e.Day)
			}
		}
	}

	// Pages of one each, in every list: all are found once, none tells the minute.
	pages := func(as string) (ids []string) {
		t.Helper()
		for token := ""; ; {
			page, err := c.incidents().ListIncidents(c.as(as), &pb.ListIncidentsRequest{PageSize: 1, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			for _, i := range page.Incidents {
				ids = append(ids, i.Id)
				if as == "dieter" && i.ReviewedNarrative == "" && (i.HappenedAt != nil || i.ReportedAt != nil || i.HappenedDay != "2026-06-07") {
					t.Errorf("%s reads of %s: %v %v %s", as, i.Id, i.HappenedAt, i.ReportedAt, i.HappenedDay)
				}
			}
			if token = page.NextPageToken; token == "" {
				return ids
			}
			if raw, err := base64.RawURLEncoding.DecodeString(token); as == "dieter" && !strings.HasSuffix(string(raw), `"noon"]}`) && (err != nil || strings.Contains(string(raw), "T")) {
				t.Errorf("the token of a page: %s %v", raw, err)
			}
		}
	}
	for as, want := range map[string]string{"dieter": "early late noon", "sofie": "late noon early", "birk": "late noon early"} {
		if got := strings.Join(pages(as), " "); got != want {
			t.Errorf("%s lists %s, want %s", as, got, want)
		}
	}
	var seen []string
	for token := ""; ; {
		h, err := c.sites().GetSiteHistory(c.as("dieter"), &pb.GetSiteHistoryRequest{Site: "spring", PageSize: 1, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range h.Entries {
			if e.Kind == "incident" {
				seen = append(seen, e.Id)
			}
		}
		if token = h.NextPageToken; token == "" {
			break
		}
	}
	if slices.Sort(seen); fmt.Sprint(seen) != "[early late noon]" {
		t.Errorf("page by page the history has %v", seen)
	}

	// Reviewed, it is told.
	if _, err := c.incidents().ReviewIncident(c.as("sofie"), &pb.ReviewIncidentRequest{Id: "noon", ReviewedNarrative: "A loose line.", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	i, err := c.incidents().GetIncident(c.as("dieter"), &pb.GetIncidentRequest{Id: "noon"})
	if err != nil || !i.HappenedAt.AsTime().Equal(c.at("2026-06-07 12:31")) {
		t.Errorf("reviewed: %v, %v", i, err)
	}
	if h := history("dieter"); h.Entries[0].Id != "noon" || h.Entries[0].At == nil {
		t.Errorf("reviewed, in the history: %v", h.Entries)
	}
	if got := strings.Join(pages("dieter"), " "); got != "noon early late" {
		t.Errorf("reviewed, in the list: %s", got)
	}
	// Whoever was in it knows when.
	mine := c.ownData("asta")
	if len(mine.Incidents) != 3 || slices.ContainsFunc(mine.Incidents, func(i *pb.Incident) bool { return i.HappenedAt == nil }) {
		t.Errorf("asta's own: %v", mine.Incidents)
	}
}
