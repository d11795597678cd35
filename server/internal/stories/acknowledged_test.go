package stories

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "lastlight/proto/lastlight/v1"
)

// Each diver acknowledges this version of the plan (job, diver's day): who is of the plan, the version that stands, once; another
// version is read anew, and the brief says of whom it is missing.
func TestAcknowledged(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.officers(map[string]string{"dieter": "diver", "stan": "diver"})
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.plan("one", "2026-06-08 08:00")
	p.Standby = []string{"stan"}
	acknowledge := func(as string, version int32) error {
		_, err := c.plans().AcknowledgePlan(c.as(as), &pb.AcknowledgePlanRequest{Id: "one", Version: version, RequestId: id()})
		return err
	}
	who := func(version int32) string {
		t.Helper()
		m, err := c.plans().GetPlan(c.as("birk"), &pb.GetPlanRequest{Id: "one", Version: version})
		if err != nil {
			t.Fatal(err)
		}
		var list []string
		for _, a := range m.Acknowledgements {
			list = append(list, a.Person)
		}
		return strings.Join(list, " ")
	}
	if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if err := acknowledge("asta", 1); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("a draft: %v", err)
	}
	sent := c.again("one")
	if out := c.approve(p, sent.Report); !out.Decided {
		t.Fatal(out.Explanation)
	}
	// Who is not of the plan does not speak for those who are, whatever their role.
	for _, as := range []string{"cora", "keeper", "dieter"} {
		if err := acknowledge(as, 1); status.Code(err) != codes.PermissionDenied {
			t.Errorf("%s: %v", as, err)
		}
	}
	if err := acknowledge("asta", 2); err == nil {
		t.Error("a version that there is not yet")
	}
	for _, as := range []string{"asta", "cover", "stan", "asta"} {
		if err := acknowledge(as, 1); err != nil {
			t.Fatalf("%s: %v", as, err)
		}
	}
	if got := who(0); got != "asta cover stan" {
		t.Errorf("acknowledged by %q", got)
	}
	if c.standing("one") != pb.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("the plan is %v", c.standing("one"))
	}
	page := strings.Join(strings.Fields(c.briefOf("one").Text), " ")
	for _, want := range []string{"[x] Asta", "[ ] Birk", "[x] Officer stan"} {
		if !strings.Contains(page, want) {
			t.Errorf("the brief does not say %q", want)
		}
	}
	for _, m := range c.ownData("asta").Plans {
		if a := m.Acknowledgements; len(a) != 1 || a[0].Person != "asta" {
			t.Errorf("in her own data: %v", a)
		}
	}
	p = c.planAt("one", 0)
	p.Goal = "another goal"
	if _, err := c.plans().UpdatePlan(c.as("cora"), &pb.UpdatePlanRequest{Plan: p, ExpectedVersion: 1, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.again("one")
	if err := acknowledge("birk", 1); err == nil {
		t.Error("the version before was acknowledged after the next was made")
	}
	if now, then := who(2), who(1); now != "" || then != "asta cover stan" {
		t.Errorf("of version 2 %q, of version 1 %q", now, then)
	}
	if err := acknowledge("birk", 2); err != nil || who(0) != "birk" {
		t.Errorf("%v, %q", err, who(0))
	}
}
