package stories

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	"lastlight/engine/finding"
	pb "lastlight/proto/lastlight/v1"
)

// A draft is compared before it is adopted: the cells, and what it would do to
// each open plan and to whom. Nothing changes by asking; after the adoption the
// plans say what the comparison said, and what was decided replays as it was.
func TestPolicyIsComparedBeforeItIsAdopted(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.approved("granted", "2026-06-08 08:00")
	asked := c.plan("asked", "2026-06-08 11:00")
	c.submit(asked)
	if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: c.plan("drafted", "2026-06-08 14:00"), RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	gone := c.plan("gone", "2026-06-08 17:00")
	c.submit(gone)
	c.withdraw("gone")
	c.apply(record(&pb.Person{Id: "sofie", FullName: "Sofie"}), record(&pb.RoleGrant{Person: "sofie", Role: "safety_officer"}))
	before := c.evidenceOf("granted")

	// The pool is 10 m deep; a level for 9 m does not reach its bottom. The cards of the team are two years old.
	draft := c.draftPolicy(func(p *policyDocument) {
		full := p.Level("FULL")
		full.MaxDepthM = 9
		full.LapseMonths, full.LapsesTo = new(6), "INT"
	})
	compare := func(as string) (*pb.PolicyComparison, error) {
		return c.policies().ComparePolicy(c.as(as), &pb.ComparePolicyRequest{Id: draft})
	}
	if _, err := compare("asta"); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver compares policies: %v", err)
	}
	x, err := compare("cora")
	if err != nil {
		t.Fatal(err)
	}
	cells := map[string]*pb.PolicyCellChange{}
	for _, cell := range x.Cells {
		cells[cell.Path] = cell
	}
	if d := cells["ladder[FULL].max_depth_m"]; d.GetBefore() != "40" || d.GetAfter() != "9" || d.GetCitation().GetDocument() == "" || len(x.Cells) != 3 {
		t.Errorf("cells: %v", x.Cells)
	}
	if x.PlansCompared != 3 || len(x.Plans) != 3 {
		t.Fatalf("%d plans of %d: %v", len(x.Plans), x.PlansCompared, x.Plans)
	}
	for _, p := range x.Plans {
		if finding.Status(p.VerdictBefore).Blocks() || !finding.Status(p.VerdictAfter).Blocks() {
			t.Errorf("%s: from %s to %s", p.Plan, p.VerdictBefore, p.VerdictAfter)
		}
		if len(p.Standings) != 2 || p.Standings[0].Before != "FULL" || p.Standings[0].After == "FULL" {
			t.Errorf("%s: standings %v", p.Plan, p.Standings)
		}
		for _, f := range p.Findings {
			if proto.Equal(f.Before, f.After) || f.Before == nil && f.After == nil {
				t.Errorf("%s: no change in %v", p.Plan, f)
			}
		}
	}
	// The safety officer reads what it comes to, not what cards somebody has.
	if x, err := compare("sofie"); err != nil {
		t.Fatal(err)
	} else {
		for _, p := range x.Plans {
			if len(p.Standings) > 0 {
				t.Errorf("the safety officer reads standings: %v", p.Standings)
			}
			for _, f := range p.Findings {
				if strings.HasPrefix(f.GetAfter().GetRule(), "diver.c") && f.GetAfter().GetRule() != "diver.counts" {
					t.Errorf("the safety officer reads %v", f.After)
				}
			}
		}
	}
	if s := c.standing("granted"); s != pb.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("comparing changed the plan: %v", s)
	}

	if _, err := c.policies().AdoptPolicy(c.as("keeper"), &pb.AdoptPolicyRequest{Id: draft, InForceFrom: "2026-06-08", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if s := c.standing("granted"); s != pb.PlanState_PLAN_STATE_STALE {
		t.Errorf("after the adoption the approved plan is %v", s)
	}
	for _, p := range x.Plans {
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: p.Plan})
		if err != nil || r.Verdict != p.VerdictAfter || r.Policy != draft {
			t.Errorf("%s: compared as %s, is %s under %s (%v)", p.Plan, p.VerdictAfter, r.GetVerdict(), r.GetPolicy(), err)
		}
	}

	// The approval keeps the policy it was given under, whole, and replays byte for byte.
	after := c.evidenceOf("granted")
	if !bytes.Equal(before.Input, after.Input) || !bytes.Equal(before.Report, after.Report) || before.Hash != after.Hash {
		t.Error("the evidence of the approval changed with the policy")
	}
	var input engine.Input
	if err := json.Unmarshal(after.Input, &input); err != nil {
		t.Fatal(err)
	}
	replayed, err := engine.Bytes(engine.Evaluate(input))
	if err != nil || !bytes.Equal(replayed, before.Report) {
		t.Errorf("the approval does not replay under its own policy (%v)", err)
	}

	// The other way round is a question too: against a policy that is named.
	back, err := c.policies().ComparePolicy(c.as("cora"), &pb.ComparePolicyRequest{Id: x.Against, Against: draft})
	if err != nil || len(back.Cells) != len(x.Cells) || len(back.Plans) != len(x.Plans) || back.Plans[0].VerdictBefore != x.Plans[0].VerdictAfter {
		t.Errorf("back again: %v, %v", back, err)
	}
	if _, err := c.policies().ComparePolicy(c.as("cora"), &pb.ComparePolicyRequest{Id: "no-such"}); status.Code(err) != codes.NotFound {
		t.Errorf("a policy that is not there: %v", err)
	}
}

func (c *club) evidenceOf(name string) *pb.Evidence {
	c.t.Helper()
	e, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: name, Version: 1})
	if err != nil {
		c.t.Fatal(err)
	}
	return e
}
