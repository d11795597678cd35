package stories

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "lastlight/proto/lastlight/v1"
)

func (c *club) due(as string, r *pb.ListDueRequest) (*pb.ListDueResponse, error) {
	return pb.NewDueServiceClient(c.conn).ListDue(c.as(as), r)
}

func (c *club) dueOf(as string, r *pb.ListDueRequest) []*pb.DueEntry {
	c.t.Helper()
	out, err := c.due(as, r)
	if err != nil {
		c.t.Fatalf("due %v as %s: %v", r, as, err)
	}
	return out.Entries
}

// What falls due is what "am I good to go?" says of the day after: the same rules, both sides of the last day.
func TestDueIsWhatReadySays(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	far := &pb.ListDueRequest{By: "2040-01-01"}
	all := c.dueOf("asta", far)
	ready := func(day string) map[string]string {
		t.Helper()
		out, err := c.people().CheckGoodToGo(c.as("asta"), &pb.CheckGoodToGoRequest{Day: day})
		if err != nil {
			t.Fatal(err)
		}
		signs := map[string]string{}
		for _, l := range out.Lines {
			key := l.GetFinding().GetRule() + " " + l.GetFinding().GetSubject().GetId()
			if was := signs[key]; was != "STOP" {
				signs[key] = l.Sign
			}
		}
		return signs
	}
	checked := 0
	for _, e := range all {
		if e.LastDay == "" || e.Rule != "diver.medical" && e.Rule != "cylinder.due" {
			continue
		}
		id := e.Id
		if e.Kind == "person" {
			id = "asta"
		}
		last := c.at(e.LastDay + " 12:00")
		on, after := ready(e.LastDay), ready(last.AddDate(0, 0, 1).In(c.zone).Format("2006-01-02"))
		if key := e.Rule + " " + id; on[key] == "STOP" || after[key] != "STOP" {
			t.Errorf("%s: last day %s, but it is %s then and %s the day after", key, e.LastDay, on[key], after[key])
		}
		checked++
	}
	if checked < 2 {
		t.Fatalf("only %d dates to check in %v", checked, all)
	}
	// A list that ends before the first of them holds none; one that ends the day after holds it.
	first := ""
	for _, e := range all {
		if e.Rule == "diver.medical" && e.LastDay != "" && (first == "" || e.LastDay < first) {
			first = e.LastDay
		}
	}
	has := func(by string) bool {
		return slices.ContainsFunc(c.dueOf("asta", &pb.ListDueRequest{By: by}), func(e *pb.DueEntry) bool { return e.Rule == "diver.medical" && e.LastDay == first })
	}
	if next := c.at(first+" 12:00").AddDate(0, 0, 1).In(c.zone).Format("2006-01-02"); has(first) || !has(next) {
		t.Errorf("by %s %v, by %s %v", first, has(first), next, has(next))
	}
	// Asked for the day after, it stops diving and stands at the top.
	next := c.at(first+" 12:00").AddDate(0, 0, 1).In(c.zone).Format("2006-01-02")
	if later := c.dueOf("asta", &pb.ListDueRequest{Day: next, By: "2040-01-01"}); later[0].Stops != "now" {
		t.Errorf("on %s the first is %v", next, later[0])
	}
}

func TestDueOfClubExpeditionAndItem(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(
		record(&pb.Person{Id: "bert", FullName: "Bert Ful"}), record(&pb.RoleGrant{Person: "bert", Role: "blender"}),
		record(&pb.Expedition{Id: "summer", Title: "Summer", FromDay: "2026-06-08", ToDay: "2030-01-01", Sites: []string{"spring"}, Participants: []*pb.Participant{
			{Person: "asta", Tasks: []string{"diver"}}, {Person: "birk", Tasks: []string{"diver"}},
		}}),
	)
	kinds := func(list []*pb.DueEntry) string {
		seen := map[string]bool{}
		var all []string
		for _, e := range list {
			if !seen[e.Kind] {
				seen[e.Kind] = true
				all = append(all, e.Kind)
			}
		}
		slices.Sort(all)
		return strings.Join(all, " ")
	}
	whole := &pb.ListDueRequest{Club: true, By: "2040-01-01", PageSize: 1000}
	club := c.dueOf("cora", whole)
	if got := kinds(club); !strings.Contains(got, "cylinder") || !strings.Contains(got, "person") {
		t.Errorf("the club's list has %s", got)
	}
	if got := kinds(c.dueOf("bert", whole)); strings.Contains(got, "person") || !strings.Contains(got, "cylinder") {
		t.Errorf("the blender's list has %s", got)
	}
	if _, err := c.due("asta", whole); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver lists the club: %v", err)
	}
	// Pages are the list.
	var paged []string
	for token := ""; ; {
		page, err := c.due("cora", &pb.ListDueRequest{Club: true, By: "2040-01-01", PageSize: 3, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range page.Entries {
			paged = append(paged, e.What)
		}
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	var once []string
	for _, e := range club {
		once = append(once, e.What)
	}
	if !slices.Equal(paged, once) {
		t.Errorf("in pages %d entries, at once %d", len(paged), len(once))
	}
	// In order: what stops now, then before the expedition's last day, then the rest by its day.
	trip := c.dueOf("cora", &pb.ListDueRequest{Expedition: "summer", By: "2040-01-01", PageSize: 1000})
	rank := map[string]int{"now": 0, "expedition": 1, "later": 2}
	for i := 1; i < len(trip); i++ {
		a, b := trip[i-1], trip[i]
		if rank[a.Stops] > rank[b.Stops] || a.Stops == b.Stops && a.Stops != "now" && a.LastDay > b.LastDay {
			t.Errorf("%v stands before %v", a, b)
		}
	}
	if !slices.ContainsFunc(trip, func(e *pb.DueEntry) bool { return e.Stops == "expedition" && e.LastDay < "2030-01-01" }) {
		t.Errorf("nothing ends before the last day: %v", trip)
	}
	// A change is in the next answer: a card that is revoked, an item taken out of use.
	cylinder := ""
	for _, e := range club {
		if e.Kind == "cylinder" && e.Stops == "later" {
			cylinder = e.Id
		}
	}
	if _, err := c.gear().Quarantine(c.as("asta"), &pb.QuarantineRequest{Item: cylinder, Reason: "dropped", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	for _, r := range []*pb.ListDueRequest{whole, {Item: cylinder}} {
		if !slices.ContainsFunc(c.dueOf("cora", r), func(e *pb.DueEntry) bool { return e.Id == cylinder && e.Stops == "now" }) {
			t.Errorf("%v: %s is in quarantine and not on the list", r, cylinder)
		}
	}
	// Whoever does not see an item's dates finds no such item; of others nothing, of an expedition nothing without its coordinator.
	for _, item := range []string{"no-such", "asta-left"} {
		if _, err := c.due("birk", &pb.ListDueRequest{Item: item}); status.Code(err) != codes.NotFound {
			t.Errorf("birk asks for %s: %v", item, err)
		}
	}
	for _, r := range []*pb.ListDueRequest{{Person: "asta"}, {Expedition: "summer"}} {
		if _, err := c.due("birk", r); err == nil {
			t.Errorf("birk reads %v", r)
		}
	}
	for _, r := range []*pb.ListDueRequest{{Person: "asta", Club: true}, {Day: "2026-02-30"}, {Day: "2026-06-08", By: "2026-06-07"}} {
		if _, err := c.due("asta", r); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%v: %v", r, err)
		}
	}
}
