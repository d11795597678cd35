package stories

import (
	"strings"
	"testing"

	pb "lastlight/proto/lastlight/v1"
)

// What the owner allows is judged in the approval: a permit that comes, changes or goes makes it stale, and says so.
func TestPermitsMakeApprovalsStale(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("kept", "2026-06-08 08:00")
	permit := &pb.Permit{Id: "june", Site: "spring", FromDay: "2026-06-01", ToDay: "2026-06-30"}
	for _, change := range []struct {
		what string
		do   func() error
	}{
		{"comes", func() error {
			_, err := c.sites().CreatePermit(c.as("keeper"), &pb.CreatePermitRequest{Permit: permit, RequestId: id()})
			return err
		}},
		{"changes", func() error {
			permit.ToDay = "2026-06-20"
			_, err := c.sites().UpdatePermit(c.as("keeper"), &pb.UpdatePermitRequest{Permit: permit, ExpectedVersion: 1, RequestId: id()})
			return err
		}},
		{"goes", func() error {
			_, err := c.sites().ArchivePermit(c.as("keeper"), &pb.ArchivePermitRequest{Id: permit.Id, RequestId: id()})
			return err
		}},
	} {
		if err := change.do(); err != nil {
			t.Fatalf("the permit %s: %v", change.what, err)
		}
		got := c.planAt("kept", 1)
		if got.State != pb.PlanState_PLAN_STATE_STALE || !strings.Contains(strings.Join(got.StateReasons, "; "), "permit") {
			t.Errorf("the permit %s, the plan is %v because %q", change.what, got.State, got.StateReasons)
		}
		again, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: p.Id, RequestId: id()})
		if err != nil {
			t.Fatal(err)
		}
		if out := c.approve(p, again.Report); !out.Decided {
			t.Fatalf("approved anew: %v", out)
		}
	}
}
