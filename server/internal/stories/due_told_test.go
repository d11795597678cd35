package stories

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// The total is of what the reader may see, page by page, and so are the reads that are noted: a guardian learns neither what is on
// record of a ward's health nor how much.
func TestDueTotalCountsWhatIsShown(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(
		record(&pb.Person{Id: "gerd", FullName: "Gerd One"}),
		// Of age on June 10; the yearly declaration ends on June 20. No card.
		record(&pb.Person{
			Id: "young", FullName: "Young One", ShortName: "Young", BirthDay: proto.String("2008-06-10"), Guardian: "gerd",
			Medical: &pb.MedicalStatus{ExaminedDay: "2026-01-10", DeclaredDay: "2025-06-20"},
		}),
		record(&pb.RoleGrant{Person: "gerd", Role: "guardian", OfPerson: "young"}), record(&pb.RoleGrant{Person: "young", Role: "diver"}),
	)
	health := func(e *pb.DueEntry) bool {
		return e.Rule == "diver.medical" || e.Rule == "diver.not_diving" || e.Rule == "diver.not_available"
	}
	list := func(as, day string) (all []*pb.DueEntry) {
		t.Helper()
		for token := ""; ; {
			page, err := c.due(as, &pb.ListDueRequest{Person: "young", Day: day, PageSize: 1, PageToken: token})
			if err != nil {
				t.Fatalf("%s on %s: %v", as, day, err)
			}
			if len(page.Entries) != 1 {
				t.Fatalf("%s on %s: a page of one has %d entries", as, day, len(page.Entries))
			}
			if all = append(all, page.Entries...); page.NextPageToken == "" {
				if int(page.Total) != len(all) {
					t.Errorf("%s on %s: %d in all, %d are shown", as, day, page.Total, len(all))
				}
				return all
			}
			token = page.NextPageToken
		}
	}
	of := func(entries []*pb.DueEntry) (out []string) {
		for _, e := range entries {
			if health(e) {
				out = append(out, e.Rule+" "+e.Stops+" "+e.LastDay)
			}
		}
		return out
	}
	before := len(c.readsOf("young"))
	if got := of(list("gerd", "2026-06-08")); len(got) != 0 {
		t.Errorf("the guardian is told %q", got)
	}
	if _, err := c.due("cora", &pb.ListDueRequest{Person: "young", PageSize: 1}); err != nil { // the missing card stands first
		t.Fatal(err)
	}
	if got := c.readsOf("young"); len(got) != before {
		t.Errorf("nothing of health was shown, and noted is %q", got)
	}
	if got := of(list("cora", "2026-06-08")); !slices.Equal(got, []string{"diver.medical later 2026-06-20"}) {
		t.Errorf("the coordinator is told %q", got)
	}
	if got := c.readsOf("young"); len(got) != before+1 || !strings.Contains(got[0], "cora ListDue medical") {
		t.Errorf("the coordinator saw it, and noted is %q", got)
	}
	// That somebody does not dive is seen, and once: not for how many reasons.
	if _, err := c.people().SetAvailability(c.as("young"), &pb.SetAvailabilityRequest{Person: "young", FromDay: "2026-06-21", ToDay: "2026-06-21", Unavailable: true, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if got := of(list("cora", "2026-06-21")); len(got) != 2 {
		t.Errorf("the coordinator is told %q", got)
	}
	if got := of(list("gerd", "2026-06-21")); !slices.Equal(got, []string{"diver.not_available now "}) {
		t.Errorf("the guardian is told %q", got)
	}
}

// Each endorsement is a date of its own, told before it comes; what has ended reads so, and a card that is missing is told once: to
// the person and in the club's list, which reads no log and says nothing of uses.
func TestDueOfCards(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	seen := func(person string, cards ...*pb.Card) {
		c.apply(record(&pb.Person{Id: person, FullName: "Of " + person, BirthDay: proto.String("1985-04-01"), Cards: cards}), record(&pb.RoleGrant{Person: person, Role: "diver"}))
		for _, card := range cards {
			if _, err := c.people().RecordCardSeen(c.as("keeper"), &pb.RecordCardSeenRequest{Person: person, Card: card.Id, SeenAt: stamp(c.clock.Now().AddDate(0, 0, -90)), RequestId: id()}); err != nil {
				t.Fatal(err)
			}
		}
	}
	seen("ends",
		&pb.Card{Id: "a", Level: "FULL", IssuedDay: "2024-01-01"}, &pb.Card{Id: "b", Endorsement: "DECO", IssuedDay: "2024-01-01", ExpiresDay: "2026-06-20"},
		&pb.Card{Id: "c", Endorsement: "TRIMIX", IssuedDay: "2024-01-01", ExpiresDay: "2026-06-20"}, &pb.Card{Id: "d", Endorsement: "STAGE", IssuedDay: "2024-01-01"})
	seen("lapsed", &pb.Card{Id: "a", Level: "APP", IssuedDay: "2025-06-07"}) // T23: to 2026-06-07
	seen("none")

	lists := func(person, day string) map[string][]*pb.DueEntry {
		by := c.at(day+" 12:00").AddDate(0, 0, 30).In(c.zone).Format("2006-01-02")
		out := map[string][]*pb.DueEntry{"own": c.dueOf(person, &pb.ListDueRequest{Day: day, By: by})}
		for _, e := range c.dueOf("cora", &pb.ListDueRequest{Club: true, Day: day, By: by, PageSize: 1000}) {
			if e.Person == person {
				out["club"] = append(out["club"], e)
			}
		}
		return out
	}
	cards := func(list []*pb.DueEntry) (out []string) {
		for _, e := range list {
			if e.Rule == "diver.card" || strings.Contains(e.What, "card") {
				out = append(out, strings.TrimSpace(e.Of+" "+e.Stops+" "+e.LastDay))
			}
		}
		slices.Sort(out)
		return out
	}
	for name, list := range lists("ends", "2026-06-20") {
		want := []string{"DECO later 2026-06-20", "TRIMIX later 2026-06-20"}
		if name == "own" { // T26: without four uses in twelve months it does not count
			want = slices.Insert(want, 1, "STAGE ended")
		}
		if !slices.Equal(cards(list), want) {
			t.Errorf("%s, on the last day: %q", name, cards(list))
		}
	}
	for name, list := range lists("ends", "2026-06-21") {
		want := []string{"DECO ended", "TRIMIX ended"}
		if name == "own" {
			want = slices.Insert(want, 1, "STAGE ended")
		}
		if !slices.Equal(cards(list), want) {
			t.Errorf("%s, the day after: %q", name, cards(list))
		}
	}
	for name, list := range lists("lapsed", "2026-06-08") {
		if !slices.Equal(cards(list), []string{"ended"}) {
			t.Errorf("%s, lapsed the day before: %q", name, cards(list))
		}
	}
	for name, list := range lists("none", "2026-06-08") {
		if !slices.Equal(cards(list), []string{"now"}) {
			t.Errorf("%s, no card: %q", name, cards(list))
		}
	}
	ready, err := c.people().CheckGoodToGo(c.as("lapsed"), &pb.CheckGoodToGoRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(ready.Lines, func(l *pb.GoodToGoLine) bool { return l.GetFinding().GetCode() == "card_ends" && l.Sign == "ENDED" }) {
		t.Errorf("lapsed, and it reads %v", ready.Lines)
	}
}
