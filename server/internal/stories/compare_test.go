package stories

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
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
	// The safety officer may not read what cards, age or health somebody has, so is told of every plan that it is there and not what
	// the draft says of it; of the cells everything.
	if x, err := compare("sofie"); err != nil {
		t.Fatal(err)
	} else {
		if len(x.Cells) != 3 || len(x.Plans) != 3 {
			t.Errorf("the safety officer reads %v", x)
		}
		for _, p := range x.Plans {
			if !p.NotTold || p.VerdictBefore+p.VerdictAfter+p.NotEvaluated != "" || len(p.Standings)+len(p.Findings) > 0 {
				t.Errorf("the safety officer reads %v", p)
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

// A draft is tried on plans on record: each stored input again under the policy of then and under the draft. What the records
// say by now does not matter, nothing is stored, who may not read training is not told of it, and every page is given once.
func TestPolicyIsTriedOnPlansOnRecord(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.approved("granted", "2026-06-08 08:00")
	refused := c.plan("asked", "2026-06-08 11:00")
	c.submit(refused)
	gone := c.plan("gone", "2026-06-09 11:00")
	c.submit(gone)
	c.withdraw("gone")
	if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: c.plan("drafted", "2026-06-08 14:00"), RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.apply(record(&pb.Person{Id: "sofie", FullName: "Sofie"}), record(&pb.RoleGrant{Person: "sofie", Role: "safety_officer"}))
	stored := c.evidenceOf("granted")

	draft := c.draftPolicy(func(p *policyDocument) {
		full := p.Level("FULL")
		full.MaxDepthM = 9
		full.LapseMonths, full.LapsesTo = new(6), "INT"
		p.FirstVisit.MedianMonths++
	})
	past := func(as string, r *pb.CompareDecidedPlansRequest) *pb.CompareDecidedPlansResponse {
		t.Helper()
		r.Id = draft
		x, err := c.policies().CompareDecidedPlans(c.as(as), r)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	names := func(x *pb.CompareDecidedPlansResponse) (out []string) {
		for _, p := range x.Plans {
			out = append(out, p.Plan)
		}
		return out
	}
	x := past("cora", &pb.CompareDecidedPlansRequest{})
	if got := strings.Join(names(x), " "); got != "gone asked granted" {
		t.Fatalf("plans: %s, want the latest entry first and no draft, which has no stored run", got)
	}
	for _, p := range x.Plans {
		if p.VerdictThen != p.VerdictBefore || finding.Status(p.VerdictBefore).Blocks() || !finding.Status(p.VerdictAfter).Blocks() {
			t.Errorf("%s: stored %s, from %s to %s", p.Plan, p.VerdictThen, p.VerdictBefore, p.VerdictAfter)
		}
		if !p.ReadsFurther || p.NotEvaluated != "" || p.EngineThen != engine.Version || p.PolicyThen == draft {
			t.Errorf("%s: %v", p.Plan, p)
		}
		if len(p.Standings) != 2 || p.Standings[0].Before != "FULL" {
			t.Errorf("%s: standings %v", p.Plan, p.Standings)
		}
	}
	// Page by page the same.
	var paged []string
	r := &pb.CompareDecidedPlansRequest{PageSize: 1}
	for range 10 {
		one := past("cora", r)
		paged = append(paged, names(one)...)
		if r.PageToken = one.NextPageToken; r.PageToken == "" {
			break
		}
	}
	if strings.Join(paged, " ") != "gone asked granted" {
		t.Errorf("page by page: %v", paged)
	}
	for _, day := range []struct{ from, to, want string }{
		{"2026-06-09", "", "gone"}, {"", "2026-06-08", "asked granted"}, {"2026-06-08", "2026-06-08", "asked granted"}, {"2026-06-10", "", ""},
	} {
		if got := strings.Join(names(past("cora", &pb.CompareDecidedPlansRequest{FromDay: day.from, ToDay: day.to})), " "); got != day.want {
			t.Errorf("from %q to %q: %q, want %q", day.from, day.to, got, day.want)
		}
	}
	if got := names(past("cora", &pb.CompareDecidedPlansRequest{Site: "elsewhere"})); len(got) != 0 {
		t.Errorf("at another site: %v", got)
	}

	// The safety officer reads the verdicts on record and not what the draft says; a diver reads nothing.
	for _, p := range past("sofie", &pb.CompareDecidedPlansRequest{}).Plans {
		if !p.NotTold || p.VerdictThen == "" || p.VerdictBefore+p.VerdictAfter != "" || len(p.Standings)+len(p.Findings) > 0 {
			t.Errorf("the safety officer reads %v", p)
		}
	}
	if _, err := c.policies().CompareDecidedPlans(c.as("asta"), &pb.CompareDecidedPlansRequest{Id: draft}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver tries policies: %v", err)
	}
	for _, wrong := range []*pb.CompareDecidedPlansRequest{{Id: draft, FromDay: "2026-02-30"}, {Id: draft, PageToken: "x"}, {}} {
		if _, err := c.policies().CompareDecidedPlans(c.as("cora"), wrong); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%v: %v", wrong, err)
		}
	}
	if _, err := c.policies().CompareDecidedPlans(c.as("cora"), &pb.CompareDecidedPlansRequest{Id: "no-such"}); status.Code(err) != codes.NotFound {
		t.Errorf("a policy that is not there: %v", err)
	}

	// Asking has changed nothing.
	if again := c.evidenceOf("granted"); !bytes.Equal(stored.Input, again.Input) || !bytes.Equal(stored.Report, again.Report) || stored.Hash != again.Hash {
		t.Error("trying a policy changed what is stored")
	}
	if s := c.standing("granted"); s != pb.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("trying a policy changed the plan: %v", s)
	}
	// The policy of then, tried, changes nothing.
	same, err := c.policies().CompareDecidedPlans(c.as("cora"), &pb.CompareDecidedPlansRequest{Id: x.Plans[0].PolicyThen})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range same.Plans {
		if p.VerdictBefore != p.VerdictAfter || len(p.Findings)+len(p.Standings) > 0 || p.ReadsFurther {
			t.Errorf("%s under its own policy: %v", p.Plan, p)
		}
	}

	// Once the team is in the water the plan is the watch's.
	granted, err := c.plans().GetPlan(c.as("cora"), &pb.GetPlanRequest{Id: "granted"})
	if err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-06-08 08:01"))
	c.mustGo(granted, 1, 200, 200)
	if got := strings.Join(names(past("cora", &pb.CompareDecidedPlansRequest{})), " "); got != "gone asked" {
		t.Errorf("with granted in the water: %s", got)
	}
}

// A rule of one's own that names a value would read it out of the verdict. Who may not read cards, age and health of everybody in a
// plan is told the same, whatever the rule asks: here whether somebody was born before a year, to be narrowed down by asking again.
func TestNobodyReadsValuesOutOfVerdicts(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.officers(map[string]string{"sofie": "safety_officer", "konrad": "committee", "mila": "medical_officer"})
	c.expedition("away")
	c.officers(map[string]string{"xena": "coordinator/away"})
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.submit(c.plan("one", "2026-06-08 08:00"))
	var drafts []string
	for _, age := range []string{"41", "42"} { // both were born on 1 April 1985: 41
		drafts = append(drafts, c.draftPolicy(func(p *policyDocument) {
			p.OwnRules = []policy.OwnRule{own("probe", policy.AboutDiver, `diver.age_years >= `+age, policy.DecideRefuse)}
		}))
	}
	read := func(as, draft string) string {
		t.Helper()
		x, err := c.policies().ComparePolicy(c.as(as), &pb.ComparePolicyRequest{Id: draft})
		if err != nil {
			t.Fatalf("%s: %v", as, err)
		}
		y, err := c.policies().CompareDecidedPlans(c.as(as), &pb.CompareDecidedPlansRequest{Id: draft})
		if err != nil {
			t.Fatalf("%s: %v", as, err)
		}
		x.Cells, x.Id, y.Id, x.EvaluatedAt = nil, "", "", nil
		return fmt.Sprint(x.Plans, y.Plans)
	}
	for as, told := range map[string]bool{"cora": true, "sofie": false, "konrad": false, "xena": false} {
		if differs := read(as, drafts[0]) != read(as, drafts[1]); differs != told {
			t.Errorf("%s tells the drafts apart: %v", as, differs)
		}
	}
}
