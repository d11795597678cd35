package agenda

import (
	"bytes"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	pb "lastlight/proto/lastlight/v1"
)

func TestCalendarFile(t *testing.T) {
	t.Parallel()
	r := &pb.ListDueResponse{Day: "2026-06-08", Entries: []*pb.DueEntry{
		{Kind: "person", Id: "mila-sund", Name: "Mila Sund", Person: "mila-sund", Stops: "now", What: "Mila: fit until 2026-05-30", Rule: "diver.medical"},
		{Kind: "cylinder", Id: "club-7", Name: "club-7 (Ostmark 1234)", Person: "ane", Stops: "later", LastDay: "2026-06-30", What: "hydro", Rule: "cylinder.due"},
		{Kind: "site", Id: "hollowmere", Name: "Hollowmere", Stops: "expedition", LastDay: "2026-06-12", What: "permit", Rule: "site.permit"},
		{Kind: "site", Id: "hollowmere", Name: "Hollowmere", Stops: "later", LastDay: "2026-06-14", What: "permit again", Rule: "site.permit"},
	}}
	var out bytes.Buffer
	if err := Write(&out, r, time.Date(2026, 6, 8, 7, 30, 0, 0, time.FixedZone("", 7200))); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	for _, secret := range []string{"Mila", "mila", "club-7", "Ostmark", "ane", "ollowmere", "medical", "fit", "hydro", "1234"} {
		if strings.Contains(text, secret) {
			t.Errorf("the calendar tells %q:\n%s", secret, text)
		}
	}
	// RFC 5545, 3.1: lines end in CR LF and are at most 75 octets long without it.
	for _, line := range strings.SplitAfter(strings.TrimSuffix(text, "\r\n"), "\n") {
		if body, ended := strings.CutSuffix(line, "\r\n"); len(body) > 75 || !ended && !strings.HasPrefix(line, "END:VCALENDAR") {
			t.Errorf("a line of %d octets: %q", len(body), line)
		}
	}
	read, err := ical.NewDecoder(strings.NewReader(text)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	// 3.6: PRODID and VERSION once; 3.6.1: of an event UID and DTSTAMP once, and with a DATE start a DATE end.
	for _, p := range []string{ical.PropProductID, ical.PropVersion} {
		if len(read.Props[p]) != 1 {
			t.Errorf("%s stands %d times", p, len(read.Props[p]))
		}
	}
	uids, starts := map[string]bool{}, []string{}
	for _, e := range read.Events() {
		for _, p := range []string{ical.PropUID, ical.PropDateTimeStamp, ical.PropDateTimeStart, ical.PropDateTimeEnd, ical.PropSummary} {
			if len(e.Props[p]) != 1 {
				t.Errorf("%s stands %d times in an event", p, len(e.Props[p]))
			}
		}
		uids[e.Props.Get(ical.PropUID).Value] = true
		start, end := e.Props.Get(ical.PropDateTimeStart), e.Props.Get(ical.PropDateTimeEnd)
		if start.ValueType() != ical.ValueDate || end.ValueType() != ical.ValueDate {
			t.Errorf("from %v to %v: not whole days", start, end)
		}
		from, _ := start.DateTime(time.UTC)
		to, _ := end.DateTime(time.UTC)
		if to.Sub(from) != 24*time.Hour {
			t.Errorf("from %v to %v", from, to)
		}
		starts = append(starts, from.Format(time.DateOnly))
	}
	if len(uids) != 3 || strings.Join(starts, " ") != "2026-06-08 2026-06-30 2026-06-12" {
		t.Errorf("%d events on %v", len(uids), starts)
	}
	// The same date moved is the same event: a calendar that reads the file again replaces it.
	moved := &pb.DueEntry{Kind: "cylinder", Id: "club-7", LastDay: "2031-06-30", Rule: "cylinder.due"}
	// Two endorsements of one person are two dates.
	stage, scooter := &pb.DueEntry{Kind: "person", Id: "mila-sund", Rule: "diver.card", Of: "STAGE"}, &pb.DueEntry{Kind: "person", Id: "mila-sund", Rule: "diver.card", Of: "DPV"}
	if card := (&pb.DueEntry{Kind: "person", Id: "mila-sund", Rule: "diver.card"}); Ref(stage) == Ref(scooter) || Ref(stage) == Ref(card) {
		t.Errorf("refs %s %s %s", Ref(stage), Ref(scooter), Ref(card))
	}
	if Ref(moved) != Ref(r.Entries[1]) || Ref(moved) == Ref(r.Entries[0]) {
		t.Error("references do not follow the thing and its rule")
	}
	if Write(&out, &pb.ListDueResponse{Day: "2026-06-08"}, time.Now()) == nil {
		t.Error("a calendar of nothing was written")
	}
}

// Each endorsement of a person is an event of its own, and the same one on its last day and after it.
func TestEachEndorsementIsAnEvent(t *testing.T) {
	t.Parallel()
	uids := func(stops, last string) (out []string) {
		r := &pb.ListDueResponse{Day: "2026-06-08"}
		for _, of := range []string{"", "STAGE", "DPV", "DECO"} {
			r.Entries = append(r.Entries, &pb.DueEntry{Kind: "person", Id: "mila-sund", Person: "mila-sund", Stops: stops, LastDay: last, Rule: "diver.card", Of: of})
		}
		var file bytes.Buffer
		if err := Write(&file, r, time.Date(2026, 6, 8, 7, 30, 0, 0, time.UTC)); err != nil {
			t.Fatal(err)
		}
		read, err := ical.NewDecoder(&file).Decode()
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range read.Events() {
			if overdue := strings.HasSuffix(e.Props.Get(ical.PropSummary).Value, ", overdue"); overdue != (stops == "ended") {
				t.Errorf("%s: %s", stops, e.Props.Get(ical.PropSummary).Value)
			}
			out = append(out, e.Props.Get(ical.PropUID).Value)
		}
		return out
	}
	before, after := uids("later", "2026-06-20"), uids("ended", "")
	if len(slices.Compact(slices.Sorted(slices.Values(before)))) != 4 || !slices.Equal(before, after) {
		t.Errorf("a card and three endorsements are %q before they end and %q after", before, after)
	}
}
