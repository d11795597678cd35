package stories

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

// mondays adopts a rule of the club's own that a plan of 2026-06-08, a Monday, breaks, and that is waived with a second approver.
func (c *club) mondays() {
	c.t.Helper()
	c.adoptPolicy(func(p *policyDocument) {
		r := own("mondays", policy.AboutPlan, `plan.weekday != 1`, policy.DecideWaiver)
		r.SecondApprover = true
		p.OwnRules = []policy.OwnRule{r}
	})
	c.apply(
		record(&pb.Person{Id: "carl", FullName: "Carl Ode"}), record(&pb.RoleGrant{Person: "carl", Role: "coordinator"}),
		record(&pb.Person{Id: "sofie", FullName: "Sofie Ran"}), record(&pb.RoleGrant{Person: "sofie", Role: "safety_officer"}),
	)
}

func keyOf(t *testing.T, r *pb.Report, rule string) string {
	t.Helper()
	for _, f := range r.Findings {
		if f.Rule == rule {
			return f.Key
		}
	}
	t.Fatalf("%s says nothing", rule)
	return ""
}

func (c *club) waive(as, plan string, version int32, key string, until *timestamppb.Timestamp) (*pb.DecideResponse, error) {
	return c.plans().WaiveFinding(c.as(as), &pb.WaiveFindingRequest{
		Id: plan, Version: version, Finding: key, Reason: "the owner is away on other days", Conditions: []string{"two teams at most", "out by noon, whatever the gas"}, ExpiresAt: until, RequestId: id(),
	})
}

func TestWaiverFromItsReasonToTheListOfTheSafetyOfficer(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.mondays()
	c.reading("spring", c.at("2026-06-08 07:00"))
	sent := c.submit(c.plan("one", "2026-06-08 08:00"))
	key, version := keyOf(t, sent.Report, "own.mondays"), sent.Plan.Version
	approve := func() *pb.DecideResponse {
		t.Helper()
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "one"})
		if err != nil {
			t.Fatal(err)
		}
		out, err := c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: "one", Version: version, ReportHash: r.Hash, RequestId: id()})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	states := func(as string) string {
		t.Helper()
		list, err := c.plans().ListWaivers(c.as(as), &pb.ListWaiversRequest{})
		if err != nil {
			t.Fatal(err)
		}
		var words []string
		for _, w := range list.Waivers {
			words = append(words, w.State)
		}
		slices.Sort(words)
		return strings.Join(words, " ")
	}

	// One that would have run out before the team goes in is none.
	for _, until := range []string{"2026-06-08 07:00", "2026-06-08 08:00"} {
		if _, err := c.waive("cora", "one", version, key, stamp(c.at(until))); status.Code(err) != codes.InvalidArgument {
			t.Errorf("a waiver until %s: %v", until, err)
		}
	}
	// Nobody of the plan waives; the leader is not even a coordinator.
	if out, err := c.waive("asta", "one", version, key, nil); err == nil && out.Decided {
		t.Error("the leader waived")
	}
	if out, err := c.waive("cora", "one", version, key, stamp(c.at("2026-06-08 09:00"))); err != nil || !out.Decided {
		t.Fatalf("not waived: %v %v", out, err)
	}
	list, err := c.plans().ListWaivers(c.as("sofie"), &pb.ListWaiversRequest{})
	if err != nil || len(list.Waivers) != 1 {
		t.Fatalf("the safety officer's list: %v, %v", list, err)
	}
	w := list.Waivers[0]
	if w.State != "waiting" || w.WaivedBy != "cora" || w.Reason == "" || w.Site != "spring" || !strings.Contains(w.Said, "breaks rule mondays") {
		t.Errorf("on the list: %v", w)
	}
	if approve().Decided {
		t.Error("approved without the second approver")
	}
	// The first is not the second; another coordinator is.
	sign := func(as string) error {
		out, err := c.plans().CountersignWaiver(c.as(as), &pb.CountersignWaiverRequest{Id: "one", Waiver: w.Id, RequestId: id()})
		if err == nil && !out.Decided {
			return status.Error(codes.PermissionDenied, out.Explanation)
		}
		return err
	}
	for _, as := range []string{"cora", "asta", "cover"} {
		if sign(as) == nil {
			t.Errorf("%s signed as the second", as)
		}
	}
	if err := sign("carl"); err != nil {
		t.Fatal(err)
	}
	if s := states("sofie"); s != "standing" {
		t.Errorf("countersigned and %s", s)
	}
	if out := approve(); !out.Decided {
		t.Fatalf("not approved: %s", out.Explanation)
	}
	brief, err := c.plans().GetBrief(c.as("asta"), &pb.GetBriefRequest{Id: "one"})
	if err != nil {
		t.Fatal(err)
	}
	page := strings.Join(strings.Fields(brief.Text), " ")
	for _, want := range []string{"waived:", "breaks rule mondays", "Carl Ode", "[ ] on condition: two teams at most", "[ ] on condition: out by noon, whatever the gas"} {
		if !strings.Contains(page, want) {
			t.Errorf("the brief does not say %q", want)
		}
	}
	if strings.Contains(page, "owner is away") {
		t.Error("the brief tells the reason")
	}
	// The team reads what was waived and on what conditions, never why; others nothing of it, and not the list.
	p, err := c.plans().GetPlan(c.as("birk"), &pb.GetPlanRequest{Id: "one"})
	if err != nil || len(p.Waivers) != 1 || p.Waivers[0].Reason != "" || len(p.Waivers[0].Conditions) != 2 || strings.Contains(p.Waivers[0].Said, "P-") {
		t.Errorf("the team reads %v, %v", p.GetWaivers(), err)
	}
	if _, err := c.plans().ListWaivers(c.as("birk"), &pb.ListWaiversRequest{}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver reads the list: %v", err)
	}

	// Taken back: the approval is stale, and does not come back by itself.
	if _, err := c.plans().WithdrawWaiver(c.as("birk"), &pb.WithdrawWaiverRequest{Id: "one", Waiver: w.Id, Reason: "no", RequestId: id()}); err == nil {
		t.Error("a diver of the team took the waiver back")
	}
	if out, err := c.plans().WithdrawWaiver(c.as("sofie"), &pb.WithdrawWaiverRequest{Id: "one", Waiver: w.Id, Reason: "the owner objects", RequestId: id()}); err != nil || !out.Decided {
		t.Fatalf("not withdrawn: %v, %v", out, err)
	}
	if s := c.standing("one"); s != pb.PlanState_PLAN_STATE_STALE {
		t.Errorf("the plan is %v", s)
	}
	if approve().Decided {
		t.Error("approved on a waiver that was withdrawn")
	}
	// Waived anew, signed, approved; its time runs out before the team goes in.
	out, err := c.waive("cora", "one", version, key, stamp(c.at("2026-06-08 08:01")))
	if err != nil || !out.Decided {
		t.Fatalf("not waived anew: %v, %v", out, err)
	}
	list, err = c.plans().ListWaivers(c.as("sofie"), &pb.ListWaiversRequest{State: "waiting"})
	if err != nil || len(list.Waivers) != 1 {
		t.Fatalf("waiting: %v, %v", list, err)
	}
	w = list.Waivers[0]
	if err := sign("carl"); err != nil {
		t.Fatal(err)
	}
	if out := approve(); !out.Decided {
		t.Fatalf("not approved again: %s", out.Explanation)
	}
	c.clock.set(c.at("2026-06-08 08:02"))
	if s := states("sofie"); s != "lapsed withdrawn" {
		t.Errorf("after its time: %s", s)
	}
	r, err := c.plans().GetReport(c.as("cora"), &pb.GetReportRequest{Id: "one"})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Findings {
		if f.Rule == "own.mondays" && f.WaivedBy != "" {
			t.Error("a waiver that has run out is shown as standing")
		}
	}
	c.withdraw("one")
	if s := states("sofie"); s != "spent withdrawn" {
		t.Errorf("after the plan was withdrawn: %s", s)
	}
}

// Of many waivers a page, and what is asked for.
func TestListOfWaivers(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.mondays()
	c.reading("spring", c.at("2026-06-08 07:00"))
	for i, name := range []string{"one", "two", "three"} {
		sent := c.submit(c.plan(name, "2026-06-08 "+[]string{"08:00", "11:00", "14:00"}[i]))
		if out, err := c.waive("cora", name, sent.Plan.Version, keyOf(t, sent.Report, "own.mondays"), nil); err != nil || !out.Decided {
			t.Fatalf("%s: %v, %v", name, out, err)
		}
		c.clock.set(c.at("2026-06-08 07:30").Add(time.Duration(i+1) * time.Minute))
	}
	c.adoptPolicy(func(p *policyDocument) {
		p.OwnRules = []policy.OwnRule{own("leaders", policy.AboutDiver, `!diver.leader`, policy.DecideWaiver)}
	})
	if out, err := c.waive("cora", "two", 1, keyOf(t, c.again("two").Report, "own.leaders"), nil); err != nil || !out.Decided {
		t.Fatalf("the leader: %v, %v", out, err)
	}
	var plans []string
	for token := ""; ; {
		page, err := c.plans().ListWaivers(c.as("sofie"), &pb.ListWaiversRequest{PageSize: 2, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range page.Waivers {
			plans = append(plans, w.Plan)
		}
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	if got := strings.Join(plans, " "); got != "two three two one" {
		t.Errorf("latest first: %s", got)
	}
	for _, q := range []struct {
		r    *pb.ListWaiversRequest
		want int
	}{
		{&pb.ListWaiversRequest{Plan: "two"}, 2},
		{&pb.ListWaiversRequest{Site: "spring"}, 4},
		{&pb.ListWaiversRequest{Site: "elsewhere"}, 0},
		{&pb.ListWaiversRequest{Rule: "own.mondays", State: "waiting"}, 3},
		{&pb.ListWaiversRequest{State: "standing"}, 1},
		// The site's day, 07:30 of the 8th at +02:00; a name stands in place of its pseudonym, and is found.
		{&pb.ListWaiversRequest{Since: "2026-06-08"}, 4},
		{&pb.ListWaiversRequest{Since: "2026-06-09"}, 0},
		{&pb.ListWaiversRequest{Search: "OWNER is away"}, 4},
		{&pb.ListWaiversRequest{Search: "two teams at most"}, 4},
		{&pb.ListWaiversRequest{Search: "asta"}, 1},
		{&pb.ListWaiversRequest{Search: "breaks rule mondays"}, 3},
		{&pb.ListWaiversRequest{Search: "three", Since: "2026-06-08"}, 1},
		{&pb.ListWaiversRequest{From: stamp(c.at("2026-06-08 07:31")), To: stamp(c.at("2026-06-08 07:31"))}, 1},
	} {
		if page, err := c.plans().ListWaivers(c.as("sofie"), q.r); err != nil || len(page.Waivers) != q.want {
			t.Errorf("%v: %d, want %d, %v", q.r, len(page.GetWaivers()), q.want, err)
		}
	}
	if _, err := c.plans().ListWaivers(c.as("sofie"), &pb.ListWaiversRequest{Since: "2026-06-31"}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a day that there is not: %v", err)
	}
	if _, err := c.plans().ListWaivers(c.as("sofie"), &pb.ListWaiversRequest{State: "gone"}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a state that there is not: %v", err)
	}
}
