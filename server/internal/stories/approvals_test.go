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

	pb "lastlight/proto/lastlight/v1"
)

// An approval ends: by its enter-by time, when the plan is withdrawn, and for
// every plan at once when all dives are stopped.
func TestApprovalsEnd(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	late := c.approved("late", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 08:11")) // entry 07:40 and 30 min of the policy
	if s := c.standing("late"); s != pb.PlanState_PLAN_STATE_EXPIRED {
		t.Errorf("past its enter-by time the plan is %v", s)
	}
	c.mustNotGo(late, 1, "enter-by")
	if brief := c.briefOf("late"); brief.Valid {
		t.Errorf("the brief of an expired approval is valid:\n%s", brief.Text)
	}

	c.clock.set(c.at("2026-06-08 08:30"))
	gone := c.approved("gone", "2026-06-08 09:00")
	c.withdraw("gone")
	if _, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "gone", Version: 1, Measured: measuredAs(gone, 200, 200), RequestId: id()}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("entry on a withdrawn plan: %v", err)
	}

	one, two := c.approved("one", "2026-06-08 09:00"), c.approved("two", "2026-06-08 14:00")
	stopped, err := c.plans().StopAllDives(c.as("cora"), &pb.StopAllDivesRequest{Reason: "thunderstorm", RequestId: id()})
	if err != nil || len(stopped.PlansMadeStale) != 2 {
		t.Fatalf("stopped %v, %v", stopped, err)
	}
	for _, p := range []*pb.Plan{one, two} {
		if m := c.planAt(p.Id, 0); m.State != pb.PlanState_PLAN_STATE_STALE || !strings.Contains(fmt.Sprint(m.StateReasons), "thunderstorm") {
			t.Errorf("%s after the stop: %v because %v", p.Id, m.State, m.StateReasons)
		}
		if c.briefOf(p.Id).Valid {
			t.Errorf("the brief of %s is valid after the stop", p.Id)
		}
	}
	c.clock.set(c.at("2026-06-08 09:01"))
	c.mustNotGo(one, 1, "thunderstorm")
	// What was read before the stop does not do, though nothing else has changed.
	old, err := c.plans().GetReport(c.as("cora"), &pb.GetReportRequest{Id: "one"})
	if err != nil {
		t.Fatal(err)
	}
	if out := c.approve(one, old); out.Decided || out.NotDecided != "report_changed" || !strings.Contains(out.Explanation, "all dives were stopped") {
		t.Errorf("approved on the report of before the stop: %v", out)
	}
	// Nor does it once the leader has submitted again, for the one after the stop is another.
	again := c.again("one").Report
	if out := c.approve(one, old); out.Decided || out.NotDecided != "report_changed" || !strings.Contains(out.Explanation, "stopped") {
		t.Errorf("approved on the report of before the stop, submitted again: %v", out)
	}
	if out := c.approve(one, again); !out.Decided {
		t.Fatalf("not approved again: %s", out.Explanation)
	}
	c.mustGo(one, 1, 200, 200)
}

// A waiver has a reason, is never given by the team nor to a refusal, counts
// only with its second approver, and stands on the brief without its reason.
func TestWaiver(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(record(&pb.RoleGrant{Person: "asta", Role: "coordinator"}))
	if _, err := c.sites().RecordReading(c.as("cora"), &pb.RecordReadingRequest{Reading: &pb.Reading{Site: "spring", ReadAt: stamp(c.at("2026-06-08 07:00")), LevelM: proto.Float64(0.5), Flow: "none", VisibilityM: proto.Float64(2)}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	p := c.plan("murky", "2026-06-08 08:00")
	r := c.submit(p).Report
	var keys []string
	for _, f := range r.Findings {
		if f.Status == "needs_waiver" {
			keys = append(keys, f.Key)
			if !f.SecondApprover || len(f.WaivableBy) == 0 || f.Rule != "level.visibility" {
				t.Errorf("waivable: %v", f)
			}
		}
	}
	if len(keys) == 0 {
		t.Fatalf("2 m of visibility need no waiver: %v", blocks(r))
	}
	waive := func(as, key, reason string) (*pb.DecideResponse, error) {
		return c.plans().WaiveFinding(c.as(as), &pb.WaiveFindingRequest{Id: p.Id, Version: 1, Finding: key, Reason: reason, RequestId: id()})
	}
	if _, err := waive("cora", keys[0], ""); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a waiver without a reason: %v", err)
	}
	if out, err := waive("asta", keys[0], "I know it"); err != nil || out.Decided || out.NotDecided != "not_yours" {
		t.Errorf("a waiver by the team: %v, %v", out, err)
	}
	const why = "they surveyed it blind"
	for _, key := range keys {
		out, err := waive("cora", key, why)
		if err != nil || !out.Decided {
			t.Fatalf("waiver: %v, %v", out, err)
		}
	}
	if out := c.approve(p, r); out.Decided {
		t.Error("approved before the second approver")
	}
	for _, w := range c.planAt(p.Id, 0).Waivers {
		countersign := func(as string) (*pb.DecideResponse, error) {
			return c.plans().CountersignWaiver(c.as(as), &pb.CountersignWaiverRequest{Id: p.Id, Waiver: w.Id, RequestId: id()})
		}
		if out, err := countersign("cora"); err == nil && out.Decided {
			t.Error("the second approver is the first")
		}
		if out, err := countersign("asta"); err == nil && out.Decided {
			t.Error("the second approver is in the team")
		}
		if out, err := countersign("keeper"); err != nil || !out.Decided {
			t.Fatalf("second approver: %v, %v", out, err)
		}
	}
	if out := c.approve(p, r); !out.Decided {
		t.Fatalf("not approved with its waiver: %s", out.Explanation)
	}
	brief := c.briefOf(p.Id)
	if !strings.Contains(brief.Text, "waived: level.visibility, by") || strings.Contains(brief.Text, why) {
		t.Errorf("the waiver on the brief:\n%s", brief.Text)
	}
	team, err := c.plans().GetPlan(c.as("birk"), &pb.GetPlanRequest{Id: p.Id})
	if err != nil || len(team.Waivers) != len(keys) || team.Waivers[0].Reason != "" || team.Waivers[0].Rule != "level.visibility" {
		t.Errorf("a diver of the team reads %v, %v", team.GetWaivers(), err)
	}
	decisions, err := c.plans().ListDecisions(c.as("birk"), &pb.ListDecisionsRequest{Plan: p.Id})
	if err != nil || strings.Contains(fmt.Sprint(decisions), why) {
		t.Errorf("the reason is told to the team: %v, %v", decisions, err)
	}
	c.clock.set(c.at("2026-06-08 08:01"))
	c.mustGo(p, 1, 200, 200)

	// A refusal: nobody.
	far := c.plan("far", "2026-06-10 08:00")
	far.Cover = ""
	for _, f := range c.submit(far).Report.Findings {
		if f.Status != "refuse" && f.Status != "indeterminate" {
			continue
		}
		if len(f.WaivableBy) > 0 {
			t.Errorf("%s is %s and offers a waiver", f.Rule, f.Status)
		}
		out, err := c.plans().WaiveFinding(c.as("cora"), &pb.WaiveFindingRequest{Id: far.Id, Version: 1, Finding: f.Key, Reason: "please", RequestId: id()})
		if err != nil || out.Decided || !strings.Contains(out.Explanation, "nobody may waive") {
			t.Errorf("%s (%s) waived: %v, %v", f.Rule, f.Status, out, err)
		}
	}
}

// One cylinder is in one place, and cover stays out of the water; drafts are free.
func TestBoundOnce(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	cleo, dora := c.bare("cleo", true, nil), c.bare("dora", true, nil)
	c.apply(record(&pb.Person{Id: "spare", FullName: "Spare"}), record(&pb.RoleGrant{Person: "spare", Role: "cover"}))
	other := planOf("other", "spring", c.at("2026-06-08 08:30"), c.route, []diver{cleo, dora}, []float64{200, 200})
	other.Cover, other.Team[0].Mains = "spare", "asta-mains"
	if f := found(c.submit(other).Report, "plan.double_booking", "asta-left"); len(f) != 1 || f[0].Status != "pass" {
		t.Errorf("while nothing is approved: %v", f)
	}
	c.approved("first", "2026-06-08 08:30")
	r := c.again("other").Report
	if f := found(r, "plan.double_booking", "asta-left"); len(f) != 1 || f[0].Status != "refuse" || !strings.Contains(f[0].Message, "first") {
		t.Errorf("one cylinder in two plans: %v", f)
	}
	if out := c.approve(other, r); out.Decided {
		t.Error("one cylinder in two approved plans")
	}
	wet := planOf("wet", "spring", c.at("2026-06-08 08:40"), c.route, []diver{cleo, dora}, []float64{200, 200})
	wet.Cover = "birk"
	r = c.submit(wet).Report
	c.mustSay(r, "Birk", "cover", "diver", "first")
	if out := c.approve(wet, r); out.Decided {
		t.Error("cover of the one dives in the other")
	}
	dry := planOf("dry", "spring", c.at("2026-06-08 08:40"), c.route, []diver{cleo, dora}, []float64{200, 200})
	dry.Cover = "spare"
	c.mustApprove(dry)
	// Nobody went in by the latest entry: the plan binds nothing any more, whoever has looked at it since.
	c.clock.set(c.at("2026-06-08 12:00"))
	if f := found(c.again("other").Report, "plan.double_booking", "asta-left"); len(f) != 1 || f[0].Status != "pass" {
		t.Errorf("after the latest entry of the other plan: %v", f)
	}
}

// Two plans of one day: the later one keeps nobody from entering on the first,
// nor from being seen out late, into the minutes of the second.
func TestLateIntoTheNextPlan(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	first, next := c.approved("first", "2026-06-08 08:00"), c.approved("next", "2026-06-08 10:30")
	c.clock.set(c.at("2026-06-08 08:01"))
	c.mustGo(first, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 10:40"))
	c.mustNotGo(next, 1, "first")
	c.seenOut("first", "asta")
	if w := c.seenOut("first", "birk"); !w.AllSeenOut {
		t.Errorf("both out: %v", w)
	}
	if _, err := c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{Dive: "first", Person: "birk", What: "seen_out", Reason: "somebody else", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.mustNotGo(next, 1, "Birk", "first")
	c.seenOut("first", "birk")
}

// Nothing that history rests on is deleted; archiving hides from lists only.
func TestNothingIsDeleted(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("kept", "2026-06-08 08:00")
	evidence, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: p.Id, Version: 1})
	if err != nil {
		t.Fatal(err)
	}
	// It holds everybody's days and rates, whole: the leader, the team and cover read the report instead.
	for _, as := range []string{"asta", "birk", "cover"} {
		if _, err := c.plans().GetEvidence(c.as(as), &pb.GetEvidenceRequest{Id: p.Id, Version: 1}); err == nil {
			t.Errorf("%s reads the evidence", as)
		}
	}
	c.clock.set(c.at("2026-06-08 08:01"))
	c.mustGo(p, 1, 200, 200)
	c.clock.set(c.clock.Now().Add(40 * time.Minute))
	for _, person := range []string{"asta", "birk"} {
		c.seenOut("kept", person)
		c.signOut("kept", person, false)
	}
	if _, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "kept", MaxDepthM: proto.Float64(10), Zone: "cave"}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"dive", "event", "evaluation", "decision", "survey", "watch_fact", "plan_version", "plan", "person", "site", "item", "fill", "analysis", "service_event", "policy", "reading"} {
		if _, err := c.club.pool.Exec(t.Context(), `DELETE FROM `+table); err == nil {
			t.Errorf("rows of %s can be deleted", table)
		}
	}

	if _, err := c.plans().ArchivePlan(c.as("cora"), &pb.ArchivePlanRequest{Id: "kept", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.people().ArchivePerson(c.as("keeper"), &pb.ArchivePersonRequest{Id: "birk", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	first, err := c.sites().ArchiveSite(c.as("keeper"), &pb.ArchiveSiteRequest{Id: "spring", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	again, err := c.sites().ArchiveSite(c.as("keeper"), &pb.ArchiveSiteRequest{Id: "spring", RequestId: id()})
	if err != nil || !proto.Equal(again, first) {
		t.Errorf("archived twice the site reads %v, %v; once %v", again, err, first)
	}
	var times int
	if err := c.club.pool.QueryRow(t.Context(), `SELECT count(*) FROM event WHERE what = 'site.archive'`).Scan(&times); err != nil || times != 1 {
		t.Errorf("%d events of archiving, %v", times, err)
	}
	for _, shown := range []bool{false, true} {
		plans, err1 := c.plans().ListPlans(c.as("cora"), &pb.ListPlansRequest{ShowArchived: shown})
		people, err2 := c.people().ListPeople(c.as("cora"), &pb.ListPeopleRequest{ShowArchived: shown, Search: "birk"})
		sites, err3 := c.sites().ListSites(c.as("cora"), &pb.ListSitesRequest{ShowArchived: shown})
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		if (len(plans.Plans) == 1) != shown || (len(people.People) == 1) != shown || (len(sites.Sites) == 1) != shown {
			t.Errorf("archived shown %v: %d plans, %d people, %d sites", shown, len(plans.Plans), len(people.People), len(sites.Sites))
		}
	}
	if m := c.planAt("kept", 1); !m.Archived {
		t.Errorf("the archived plan reads %v", m)
	}
	if d, err := c.dives().GetDive(c.as("cora"), &pb.GetDiveRequest{Id: "kept"}); err != nil || len(d.Divers) != 2 {
		t.Errorf("the dive reads %v, %v", d, err)
	}
	r, err := c.plans().GetReport(c.as("cora"), &pb.GetReportRequest{Id: "kept", Version: 1, OfDecision: true})
	if err != nil || !strings.Contains(fmt.Sprint(r.Findings), "Birk") {
		t.Errorf("the report no longer names an archived diver: %v", err)
	}
	var approval []byte
	if err := c.club.pool.QueryRow(t.Context(), `SELECT input FROM evaluation WHERE hash = $1 ORDER BY id LIMIT 1`, evidence.Hash).Scan(&approval); err != nil || string(approval) != string(evidence.Input) {
		t.Errorf("the bytes of the approval are gone: %v", err)
	}
}

// All dives are stopped while a team is in the water: nobody reads its plan as an approval, not even who may not know where the team
// is, to whom it reads as any other that was stopped; the board tells whoever waits for the team, until all are out.
func TestStopWhileATeamIsInTheWater(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(record(&pb.Person{Id: "dora", FullName: "Dora"}), record(&pb.RoleGrant{Person: "dora", Role: "diver"}),
		record(&pb.Person{Id: "sofie", FullName: "Sofie"}), record(&pb.RoleGrant{Person: "sofie", Role: "safety_officer"}))
	c.reading("spring", c.at("2026-06-08 07:00"))
	away := c.approved("away", "2026-06-08 08:30")
	c.clock.set(c.at("2026-06-08 08:31"))
	c.mustGo(away, 1, 200, 200)
	if got := c.planAt("away", 0); len(got.StateReasons) > 0 || len(c.board().Watches[0].Stopped) > 0 {
		t.Errorf("stopped before the stop: %v, %v", got.StateReasons, c.board())
	}
	stopped, err := c.plans().StopAllDives(c.as("sofie"), &pb.StopAllDivesRequest{Reason: "thunderstorm", RequestId: id()})
	if err != nil || !slices.Equal(stopped.PlansMadeStale, []string{"away"}) { // as it reads to her
		t.Fatalf("made stale %v, %v", stopped, err)
	}
	decisions := func(want map[string]bool) {
		t.Helper()
		for who, entered := range want {
			list, err := c.plans().ListDecisions(c.as(who), &pb.ListDecisionsRequest{Plan: "away"})
			if err != nil || slices.ContainsFunc(list.GetDecisions(), func(d *pb.Decision) bool {
				return d.Decision == "entered" || strings.Contains(d.Reason, "in the water")
			}) != entered {
				t.Errorf("%s reads %v (%v)", who, list.GetDecisions(), err)
			}
		}
	}
	decisions(map[string]bool{"cora": true, "sofie": false})
	stands := func(want map[string]pb.PlanState) {
		t.Helper()
		for who, state := range want {
			got, err := c.plans().GetPlan(c.as(who), &pb.GetPlanRequest{Id: "away"})
			if err != nil || got.State != state || !strings.Contains(fmt.Sprint(got.StateReasons), "all dives stopped: thunderstorm") {
				t.Errorf("%s reads %v because %v, want %v (%v)", who, got.GetState(), got.GetStateReasons(), state, err)
			}
			for _, asked := range []pb.PlanState{pb.PlanState_PLAN_STATE_APPROVED, pb.PlanState_PLAN_STATE_STALE, pb.PlanState_PLAN_STATE_IN_WATER, pb.PlanState_PLAN_STATE_EXPIRED} {
				list, err := c.plans().ListPlans(c.as(who), &pb.ListPlansRequest{States: []pb.PlanState{asked}})
				if found := len(list.GetPlans()) == 1 && list.Plans[0].State == state; err != nil || found != (asked == state) || !found && len(list.Plans) > 0 {
					t.Errorf("%s lists %v as %v (%v)", who, list.GetPlans(), asked, err)
				}
			}
		}
	}
	const in, stale, expired = pb.PlanState_PLAN_STATE_IN_WATER, pb.PlanState_PLAN_STATE_STALE, pb.PlanState_PLAN_STATE_EXPIRED
	stands(map[string]pb.PlanState{"asta": in, "cora": in, "cover": in, "dora": stale, "sofie": stale})
	if w := c.board().Watches[0]; !slices.Equal(w.Stopped, []string{"all dives stopped: thunderstorm"}) {
		t.Errorf("the board says %v", w.Stopped)
	}
	for who, deadlines := range map[string]bool{"cover": true, "sofie": false} {
		b, err := c.plans().GetBrief(c.as(who), &pb.GetBriefRequest{Id: "away"})
		if err != nil || b.Valid || !strings.Contains(b.Text, "NOT TO BE DIVED ON") || !strings.Contains(b.Text, "thunderstorm") || strings.Contains(b.Text, "RUNTIME") != deadlines {
			t.Errorf("%s prints, %v:\n%s", who, err, b.GetText())
		}
	}
	c.clock.set(c.at("2026-06-08 09:05"))
	stands(map[string]pb.PlanState{"cora": in, "dora": expired})
	// Stopped once more, when whoever had not entered could not any more: of that nobody reads who may not know who has.
	if stopped, err = c.plans().StopAllDives(c.as("sofie"), &pb.StopAllDivesRequest{Reason: "flood", RequestId: id()}); err != nil || len(stopped.PlansMadeStale) > 0 {
		t.Fatalf("made stale %v, %v", stopped, err)
	}
	for who, told := range map[string]bool{"asta": true, "cora": true, "dora": false, "sofie": false} {
		got, err := c.plans().GetPlan(c.as(who), &pb.GetPlanRequest{Id: "away"})
		if err != nil || strings.Contains(fmt.Sprint(got.StateReasons), "flood") != told {
			t.Errorf("%s reads %v (%v)", who, got.GetStateReasons(), err)
		}
	}
	decisions(map[string]bool{"cora": true, "sofie": false})
	if w := c.board().Watches[0]; len(w.Stopped) != 2 {
		t.Errorf("the board says %v", w.Stopped)
	}
	c.seenOut("away", "asta")
	c.seenOut("away", "birk")
	if w := c.board().Watches[0]; len(w.Stopped) > 0 || !w.AllSeenOut {
		t.Errorf("all out, the board says %v", w)
	}
}
