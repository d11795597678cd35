package stories

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// Whoever is of age asks for themselves; for a minor the guardian and the welfare officer do too, and everything that hinders is
// said at once.
func TestWhoAsksForAnErasure(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(
		record(&pb.Person{Id: "second", FullName: "Second of the committee"}), record(&pb.RoleGrant{Person: "second", Role: "committee"}),
		record(&pb.Person{Id: "wilma", FullName: "Wilma Welfare"}), record(&pb.RoleGrant{Person: "wilma", Role: "welfare_officer"}),
		record(&pb.Person{Id: "gerd", FullName: "Gerd Guard"}),
		record(&pb.Person{Id: "young", FullName: "Young One", BirthDay: proto.String("2008-06-09"), Guardian: "gerd"}), record(&pb.RoleGrant{Person: "gerd", Role: "guardian", OfPerson: "young"}),
		record(&pb.Person{Id: "grown", FullName: "Grown One", BirthDay: proto.String("2008-06-08")}), record(&pb.RoleGrant{Person: "gerd", Role: "guardian", OfPerson: "grown"}),
	)
	for _, x := range []struct {
		as, person, letter string
		want               codes.Code
	}{
		{"gerd", "young", "", codes.OK},  // 18 tomorrow
		{"wilma", "young", "", codes.OK}, // one request stands
		{"birk", "young", "", codes.NotFound},
		{"gerd", "grown", "", codes.PermissionDenied}, // 18 today
		{"wilma", "grown", "", codes.PermissionDenied},
		{"grown", "grown", "", codes.OK},
		{"keeper", "asta", "2026-06-01", codes.OK},
		{"birk", "birk", "2026-06-01", codes.InvalidArgument}, // letters are the committee's
		{"keeper", "nobody", "2026-06-01", codes.NotFound},
	} {
		if _, err := c.privacy().RequestErasure(c.as(x.as), &pb.RequestErasureRequest{Person: x.person, WrittenDay: x.letter, RequestId: id()}); status.Code(err) != x.want {
			t.Errorf("%s asks for %s: %v, want %s", x.as, x.person, err, x.want)
		}
	}
	listed := func(as string) (out []string) {
		t.Helper()
		r, err := c.privacy().ListErasures(c.as(as), &pb.ListErasuresRequest{Open: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range r.Erasures {
			out = append(out, e.Person+" by "+e.RequestedBy)
		}
		slices.Sort(out)
		return out
	}
	for as, want := range map[string][]string{"keeper": {"asta by keeper", "grown by grown", "young by gerd"}, "gerd": {"grown by grown", "young by gerd"}, "birk": nil} {
		if got := listed(as); !slices.Equal(got, want) {
			t.Errorf("%s reads %q, want %q", as, got, want)
		}
	}
	if _, err := c.privacy().WithdrawErasure(c.as("grown"), &pb.WithdrawErasureRequest{RequestId: id()}); err != nil {
		t.Error(err)
	}
	if _, err := c.privacy().WithdrawErasure(c.as("grown"), &pb.WithdrawErasureRequest{RequestId: id()}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("taken back twice: %v", err)
	}
	// Whoever entered the letter does not confirm it.
	if _, err := c.confirmErasure("keeper", "asta", c.checkErasure("keeper", "asta").Hash); status.Code(err) != codes.PermissionDenied {
		t.Errorf("whoever asked confirms: %v", err)
	}
	if _, err := c.confirmErasure("birk", "asta", "x"); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver confirms: %v", err)
	}
	// A guardian of minors, in the water: both are said, and nothing tells the committee, who does not see the board, that a plan
	// is being dived.
	if got := codesOf(c.checkErasure("keeper", "gerd")); !slices.Equal(got, []string{"guardian"}) {
		t.Errorf("gerd is hindered by %v", got)
	}
	c.reading("spring", c.at("2026-06-08 07:00"))
	m := c.approved("dive", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 07:41"))
	c.apply(record(&pb.RoleGrant{Person: "asta", Role: "guardian", OfPerson: "young"}))
	ashore := c.checkErasure("keeper", "asta")
	c.mustGo(m, 1, 200, 200)
	away := c.checkErasure("keeper", "asta")
	if got := codesOf(away); !slices.Equal(got, []string{"planned", "guardian"}) {
		t.Errorf("asta is hindered by %v", got)
	}
	for _, lines := range [][2][]*pb.ErasureLine{{ashore.Goes, away.Goes}, {ashore.Stays, away.Stays}} {
		for _, l := range lines[1] {
			if was := lineOf(lines[0], l.Kind); l.Kind != "read" && !proto.Equal(was, l) {
				t.Errorf("the entry changes what the preview says: from %v to %v", was, l)
			}
		}
	}
	_, err := c.confirmErasure("second", "asta", c.checkErasure("second", "asta").Hash)
	for _, words := range []string{"not closed", "approved plan", "guardian of a minor"} {
		if status.Code(err) != codes.FailedPrecondition || !strings.Contains(err.Error(), words) {
			t.Errorf("%q is not among the reasons: %v", words, err)
		}
	}
}

// A plan that waits for a decision does not hinder an erasure; with somebody who is not there any more it cannot be approved.
func TestNobodyCoversUnderAPseudonym(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(
		record(&pb.Person{Id: "second", FullName: "Second of the committee"}), record(&pb.RoleGrant{Person: "second", Role: "committee"}),
		record(&pb.Person{Id: "leaving", FullName: "Leaving Soon"}), record(&pb.RoleGrant{Person: "leaving", Role: "cover"}),
	)
	c.reading("spring", c.at("2026-06-08 07:00"))
	m := c.plan("dive", "2026-06-08 08:40")
	m.Cover = "leaving"
	r := c.submit(m).Report
	if len(blocks(r)) != 0 {
		t.Fatalf("cannot be approved with %s either: %v", m.Cover, blocks(r))
	}
	if _, err := c.privacy().RequestErasure(c.as("leaving"), &pb.RequestErasureRequest{RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	shown := c.checkErasure("second", "leaving")
	if len(shown.Hindrances) != 0 {
		t.Fatal(shown.Hindrances)
	}
	if _, err := c.confirmErasure("second", "leaving", shown.Hash); err != nil {
		t.Fatal(err)
	}
	d, err := c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: "dive", Version: 1, ReportHash: r.Hash, RequestId: id()})
	if err != nil || d.Decided {
		t.Fatalf("approved on the report of before: %v, %v", d, err)
	}
	d, err = c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: "dive", Version: 1, ReportHash: d.Report.Hash, RequestId: id()})
	if err != nil || d.Decided {
		t.Fatalf("approved with nobody at the entrance: %v, %v", d, err)
	}
	if !slices.ContainsFunc(d.Report.Findings, func(f *pb.Finding) bool {
		return f.Rule == "team.cover" && f.Status == "indeterminate" && f.Path == "plan.cover[0]"
	}) {
		t.Errorf("the report does not say where: %v", blocks(d.Report))
	}
}
