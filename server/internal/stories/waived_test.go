package stories

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/store"
)

// officers are people who hold roles: "name" → "role" or "role/expedition", several with blanks.
func (c *club) officers(roles map[string]string) {
	c.t.Helper()
	var records []*pb.Record
	for name, list := range roles {
		records = append(records, record(&pb.Person{Id: name, FullName: "Officer " + name}))
		for _, r := range strings.Fields(list) {
			role, expedition, _ := strings.Cut(r, "/")
			records = append(records, record(&pb.RoleGrant{Person: name, Role: role, Expedition: expedition}))
		}
	}
	c.apply(records...)
}

func (c *club) sign(as, plan, waiver string) (*pb.DecideResponse, error) {
	return c.plans().CountersignWaiver(c.as(as), &pb.CountersignWaiverRequest{Id: plan, Waiver: waiver, RequestId: id()})
}

// waiverOf is the latest waiver of a plan that is not withdrawn, as cora reads it.
func (c *club) waiverOf(plan string) *pb.Waiver {
	c.t.Helper()
	var last *pb.Waiver
	for _, w := range c.planAt(plan, 0).Waivers {
		if w.WithdrawnAt == nil {
			last = w
		}
	}
	if last == nil {
		c.t.Fatalf("%s has no waiver", plan)
	}
	return last
}

// waived waives a finding and has it signed by the second approver.
func (c *club) waived(plan string, version int32, key string, until time.Time) {
	c.t.Helper()
	r := &pb.WaiveFindingRequest{Id: plan, Version: version, Finding: key, Reason: "looked at", RequestId: id()}
	if !until.IsZero() {
		r.ExpiresAt = stamp(until)
	}
	if out, err := c.plans().WaiveFinding(c.as("cora"), r); err != nil || !out.Decided {
		c.t.Fatalf("not waived: %v, %v", out, err)
	}
	if out, err := c.sign("keeper", plan, c.waiverOf(plan).Id); err != nil || !out.Decided {
		c.t.Fatalf("not signed: %v, %v", out, err)
	}
}

func (c *club) evaluated(plan string) *pb.Report {
	c.t.Helper()
	r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: plan})
	if err != nil {
		c.t.Fatal(err)
	}
	return r
}

// Who waives and who signs: who holds a role that the rule names, for the plan's expedition or the club, at that minute; nobody who
// is diver, standby or cover of the plan; and never one person for both.
func TestWhoWaivesAndWhoSigns(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.mondays() // its rule names coordinator and committee, with a second approver
	c.expedition("away")
	c.officers(map[string]string{"stan": "coordinator diver", "xena": "coordinator/away", "mila": "medical_officer", "olaf": "site_officer", "konrad": "committee"})
	c.apply(record(&pb.RoleGrant{Person: "asta", Role: "coordinator"}), record(&pb.RoleGrant{Person: "cover", Role: "coordinator"}))
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.plan("one", "2026-06-08 08:00")
	p.Standby = []string{"stan"}
	sent := c.submit(p)
	key := keyOf(t, sent.Report, "own.mondays")
	no := func(what, as string, out *pb.DecideResponse, err error) {
		t.Helper()
		switch {
		case err == nil && out.Decided:
			t.Errorf("%s %s", as, what)
		case err == nil && (out.NotDecided != "not_yours" || out.Explanation == ""):
			t.Errorf("%s may not: %v", as, out)
		case err != nil && status.Code(err) != codes.PermissionDenied && status.Code(err) != codes.NotFound:
			t.Errorf("%s: %v", as, err)
		}
	}
	for _, as := range []string{"asta", "birk", "stan", "cover", "xena", "sofie", "mila", "olaf"} {
		out, err := c.waive(as, "one", 1, key, nil)
		no("waived", as, out, err)
	}
	if out, err := c.waive("konrad", "one", 1, key, nil); err != nil || !out.Decided {
		t.Fatalf("the committee: %v, %v", out, err)
	}
	w := c.waiverOf("one")
	access := pb.NewAccessServiceClient(c.conn)
	roles, err := access.ListRoles(c.as("keeper"), &pb.ListRolesRequest{Person: "carl"})
	if err != nil || len(roles.Roles) != 1 {
		t.Fatalf("%v, %v", roles, err)
	}
	if _, err := access.RevokeRole(c.as("keeper"), &pb.RevokeRoleRequest{Id: roles.Roles[0].Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	for _, as := range []string{"asta", "birk", "stan", "cover", "xena", "sofie", "mila", "olaf", "carl"} {
		out, err := c.sign(as, "one", w.Id)
		no("signed", as, out, err)
	}
	// One who may sign, but has waived.
	if out, err := c.sign("konrad", "one", w.Id); err == nil && out.Decided {
		t.Error("the first approver is the second")
	}
	if out, err := c.sign("cora", "one", w.Id); err != nil || !out.Decided {
		t.Fatalf("cora: %v, %v", out, err)
	}
	if got := c.waiverOf("one"); got.WaivedBy != "konrad" || got.SecondApprover != "cora" || got.State != "standing" {
		t.Errorf("on record: %v", got)
	}
	if r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "one"}); err != nil || !r.Waived || !slices.ContainsFunc(r.Findings, func(f *pb.Finding) bool {
		return f.WaivedBy == "konrad" && f.WaiverSecondApprover == "cora"
	}) {
		t.Errorf("the report names not both who signed, or does not say that it passes: %v, %v", r.GetWaived(), err)
	}
	// A site officer waives where the club's rule names one.
	c.adoptPolicy(func(p *policy.Policy) {
		r := own("mondays", policy.AboutPlan, `plan.weekday != 1`, policy.DecideWaiver)
		r.WaivedBy = []string{"site_officer"}
		p.OwnRules = []policy.OwnRule{r}
	})
	again := c.again("one")
	if _, err := c.plans().WithdrawWaiver(c.as("cora"), &pb.WithdrawWaiverRequest{Id: "one", Waiver: w.Id, Reason: "other rule", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if out, err := c.waive("olaf", "one", 1, keyOf(t, again.Report, "own.mondays"), nil); err != nil || !out.Decided {
		t.Errorf("the site officer: %v, %v", out, err)
	}
}

// A waiver speaks for what was measured: a worse reading, at the desk or at the water, asks anew, and so does another version; a
// second approver does not sign what has become worse.
func TestWaiverSpeaksForWhatWasMeasured(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	sees := func(at string, metres float64) {
		t.Helper()
		if _, err := c.sites().RecordReading(c.as("cora"), &pb.RecordReadingRequest{Reading: &pb.Reading{
			Site: "spring", ReadAt: stamp(c.at(at)), LevelM: proto.Float64(0.5), Flow: "none", VisibilityM: &metres,
		}, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	sees("2026-06-08 07:00", 2)
	p := c.plan("murky", "2026-06-08 08:00")
	r := c.submit(p).Report
	var keys []string
	for _, f := range r.Findings {
		if f.Status == "needs_waiver" {
			keys = append(keys, f.Key)
		}
	}
	if len(keys) == 0 {
		t.Fatal("2 m of visibility need no waiver")
	}
	for _, k := range keys {
		if out, err := c.waive("cora", "murky", 1, k, nil); err != nil || !out.Decided {
			t.Fatalf("%v, %v", out, err)
		}
	}
	sees("2026-06-08 07:10", 1.5)
	for _, w := range c.planAt("murky", 0).Waivers {
		if out, err := c.sign("keeper", "murky", w.Id); err != nil || out.Decided || out.NotDecided != "blocked" || !strings.Contains(out.Explanation, "worse") {
			t.Errorf("signed for 2 m at 1.5 m: %v, %v", out, err)
		}
	}
	sees("2026-06-08 07:20", 2)
	for _, w := range c.planAt("murky", 0).Waivers {
		if out, err := c.sign("keeper", "murky", w.Id); err != nil || !out.Decided {
			t.Fatalf("not signed at 2 m: %v, %v", out, err)
		}
	}
	sees("2026-06-08 07:25", 1.9)
	worse := c.again("murky").Report
	if out := c.approve(p, worse); out.Decided || out.NotDecided != "blocked" || !strings.Contains(out.Explanation, "isib") {
		t.Errorf("waived at 2 m, approved at 1.9 m: %v", out.Explanation)
	}
	sees("2026-06-08 07:28", 2.5)
	if out := c.approve(p, c.again("murky").Report); !out.Decided {
		t.Fatalf("waived at 2 m, not approved at 2.5 m: %s", out.Explanation)
	}
	c.clock.set(c.at("2026-06-08 08:01"))
	sees("2026-06-08 08:00", 1)
	c.mustNotGo(p, 1, "it was waived")
	sees("2026-06-08 08:01", 2)
	c.mustGo(p, 1, 200, 200)

	// Another version.
	c.clock.set(c.at("2026-06-10 07:30"))
	sees("2026-06-10 07:00", 2)
	q := c.plan("later", "2026-06-10 08:00")
	for _, f := range c.submit(q).Report.Findings {
		if f.Status == "needs_waiver" {
			c.waived("later", 1, f.Key, time.Time{})
		}
	}
	q.Notes = "another word"
	if _, err := c.plans().UpdatePlan(c.as("cora"), &pb.UpdatePlanRequest{Plan: q, ExpectedVersion: 1, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	second := c.again("later")
	out, err := c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: "later", Version: 2, ReportHash: second.Report.Hash, RequestId: id()})
	if err != nil || out.Decided || len(second.Plan.Waivers) != 0 {
		t.Errorf("the waivers of version 1 count in version 2: %v, %v", out, err)
	}
	list, err := c.plans().ListWaivers(c.as("cora"), &pb.ListWaiversRequest{Plan: "later"})
	if err != nil || len(list.Waivers) != len(keys) || list.Waivers[0].State != "spent" {
		t.Errorf("those of version 1: %v, %v", list, err)
	}
}

// An approved plan whose waiver runs out before the team goes in is stale from that minute, says so, and has no brief; a team that
// went in before is judged at the minute it went in.
func TestWaiverRunsOutAfterApproval(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.mondays()
	c.officers(map[string]string{"dieter": "diver"})
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.plan("one", "2026-06-08 08:00")
	key := keyOf(t, c.submit(p).Report, "own.mondays")
	c.waived("one", 1, key, c.at("2026-06-08 08:10"))
	if out := c.approve(p, c.again("one").Report); !out.Decided {
		t.Fatalf("not approved: %s", out.Explanation)
	}
	for _, f := range found(c.evaluated("one"), "own.mondays", "") {
		if f.WaivedBy != "cora" {
			t.Errorf("a check does not show the waiver: %v", f)
		}
	}
	brief := c.briefOf("one")
	for _, want := range []string{"until 8 Jun 08:10", "Cora Coordinator and Keeper"} {
		if !strings.Contains(strings.Join(strings.Fields(brief.Text), " "), want) {
			t.Errorf("the brief does not say %q", want)
		}
	}
	c.clock.set(c.at("2026-06-08 08:10"))
	check := func() {
		t.Helper()
		got := c.planAt("one", 0)
		if got.State != pb.PlanState_PLAN_STATE_STALE || !strings.Contains(fmt.Sprint(got.StateReasons), "waiver") || strings.Count(fmt.Sprint(got.StateReasons), "run out") != 1 {
			t.Errorf("it is %v because %v", got.State, got.StateReasons)
		}
		other, err := c.plans().GetPlan(c.as("dieter"), &pb.GetPlanRequest{Id: "one"})
		if err != nil || other.State != pb.PlanState_PLAN_STATE_STALE || strings.Contains(fmt.Sprint(other), "waiver") || len(other.StateReasons) != 1 {
			t.Errorf("a diver of no team reads %v, %v", other, err)
		}
		for state, want := range map[pb.PlanState]int{pb.PlanState_PLAN_STATE_APPROVED: 0, pb.PlanState_PLAN_STATE_STALE: 1} {
			if list, err := c.plans().ListPlans(c.as("cora"), &pb.ListPlansRequest{States: []pb.PlanState{state}}); err != nil || len(list.Plans) != want {
				t.Errorf("%v: %d plans, %v", state, len(list.GetPlans()), err)
			}
		}
		if c.briefOf("one").Valid {
			t.Error("its brief is valid")
		}
	}
	check()
	c.mustNotGo(p, 1, "run out")
	in, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{
		Plan: "one", Version: 1, Measured: measuredAs(p, 200, 200), EnteredAt: stamp(c.at("2026-06-08 08:05")), CheckOnly: true, RequestId: id(),
	})
	if err != nil || !in.Go {
		t.Errorf("entered while it stood, written down later: %v, %v", in.GetChanged(), err)
	}
	if n, err := store.New(c.pool, c.clock.Now).ExpirePlans(t.Context()); err != nil || n != 1 {
		t.Errorf("the sweep: %d, %v", n, err)
	}
	check()
	// Waived anew it is approved again, and is not stale by the old time.
	c.waived("one", 1, key, time.Time{})
	if out := c.approve(p, c.again("one").Report); !out.Decided {
		t.Fatalf("not approved again: %s", out.Explanation)
	}
	c.mustGo(p, 1, 200, 200)
}

// What was waived is for coordinator, committee and safety officer, the plan's team and its brief; nobody else reads that there was
// anything: not in the plan, its reasons, decisions, events, exports nor their own data. Why is for the first three alone.
func TestWhoReadsOfWaivers(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.mondays()
	c.expedition("june")
	c.expedition("away")
	c.officers(map[string]string{"dieter": "diver", "xena": "coordinator/away", "june": "coordinator/june", "konrad": "committee"})
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.plan("one", "2026-06-08 08:00")
	p.Expedition = "june"
	hers := c.plan("hers", "2026-06-09 08:00")
	hers.Expedition = "away"
	c.submit(hers)
	key := keyOf(t, c.submit(p).Report, "own.mondays")
	const why = "XYZZY"
	if out, err := c.plans().WaiveFinding(c.as("june"), &pb.WaiveFindingRequest{Id: "one", Version: 1, Finding: key, Reason: why, RequestId: id()}); err != nil || !out.Decided {
		t.Fatalf("%v, %v", out, err)
	}
	if out, err := c.sign("cora", "one", c.waiverOf("one").Id); err != nil || !out.Decided {
		t.Fatalf("%v, %v", out, err)
	}
	if out := c.approve(p, c.again("one").Report); !out.Decided {
		t.Fatal(out.Explanation)
	}
	if out, err := c.plans().WithdrawWaiver(c.as("konrad"), &pb.WithdrawWaiverRequest{Id: "one", Waiver: c.waiverOf("one").Id, Reason: why, RequestId: id()}); err != nil || !out.Decided {
		t.Fatalf("%v, %v", out, err)
	}
	access, records := pb.NewAccessServiceClient(c.conn), pb.NewRecordServiceClient(c.conn)
	// reads is everything that a person gets to read of the plan.
	reads := func(as string) string {
		t.Helper()
		var all strings.Builder
		add := func(what string, m proto.Message, err error) {
			if code := status.Code(err); err != nil && code != codes.PermissionDenied && code != codes.NotFound {
				t.Errorf("%s as %s: %v", what, as, err)
			}
			if err == nil {
				fmt.Fprintf(&all, "%s: %v\n", what, m)
			}
		}
		ctx := c.as(as)
		plan, err := c.plans().GetPlan(ctx, &pb.GetPlanRequest{Id: "one"})
		add("plan", plan, err)
		plans, err := c.plans().ListPlans(ctx, &pb.ListPlansRequest{})
		add("plans", plans, err)
		report, err := c.plans().GetReport(ctx, &pb.GetReportRequest{Id: "one"})
		add("report", report, err)
		decisions, err := c.plans().ListDecisions(ctx, &pb.ListDecisionsRequest{Plan: "one"})
		add("decisions", decisions, err)
		waivers, err := c.plans().ListWaivers(ctx, &pb.ListWaiversRequest{})
		add("list", waivers, err)
		events, err := access.ListEvents(ctx, &pb.ListEventsRequest{PageSize: 200})
		add("events", events, err)
		exported, err := records.ExportRecords(ctx, &pb.ExportRecordsRequest{Kinds: []string{"plan"}})
		add("export", exported, err)
		mine := c.ownData(as)
		add("my data", mine, nil)
		return all.String()
	}
	for as, want := range map[string]struct{ fact, why, list bool }{
		"cora": {true, true, true}, "konrad": {true, true, true}, "sofie": {true, true, true}, "june": {true, true, true},
		"asta": {true, false, false}, "birk": {true, false, false},
		"dieter": {}, "xena": {},
	} {
		got := reads(as)
		if strings.Contains(got, why) != want.why {
			t.Errorf("%s reads why: %v", as, !want.why)
		}
		if listed := strings.Contains(got, "\nlist: "); listed != want.list && as != "xena" {
			t.Errorf("%s reads the list: %v", as, listed)
		}
		for _, line := range strings.Split(got, "\n") {
			for _, word := range []string{"a waiver", "waivers:{", "waived_by:", "second_approver:", "countersign", "plan.waive", `"waived"`} {
				if i := strings.Index(line, word); i >= 0 && !want.fact {
					t.Errorf("%s reads of a waiver: …%.200s", as, line[max(0, i-100):])
				}
			}
		}
		if strings.Contains(got, `record:"hers"`) != (as != "asta" && as != "birk" && as != "dieter" && as != "june") {
			t.Errorf("%s reads the events of the plan of another expedition, or not those of its own", as)
		}
	}
	// The list of a coordinator of one expedition is that of its plans.
	for as, want := range map[string]int{"june": 1, "xena": 0, "sofie": 1} {
		if list, err := c.plans().ListWaivers(c.as(as), &pb.ListWaiversRequest{}); err != nil || len(list.Waivers) != want {
			t.Errorf("%s lists %d waivers, want %d: %v", as, len(list.GetWaivers()), want, err)
		}
	}
}

// Who may not decide reads so in the plan, before anything else is asked of them.
func TestNotYours(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.officers(map[string]string{"sofie": "safety_officer"})
	c.apply(record(&pb.RoleGrant{Person: "birk", Role: "coordinator"}))
	c.submit(c.plan("one", "2026-06-08 08:00"))
	for as, want := range map[string]string{"cora": "", "asta": "approve refuse waive", "birk": "approve refuse waive", "cover": "approve refuse waive", "sofie": "approve refuse"} {
		p, err := c.plans().GetPlan(c.as(as), &pb.GetPlanRequest{Id: "one"})
		if err != nil || strings.Join(p.NotYours, " ") != want {
			t.Errorf("%s: %v, %v", as, p.GetNotYours(), err)
		}
	}
}
