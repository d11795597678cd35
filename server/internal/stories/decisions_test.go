package stories

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	pb "lastlight/proto/lastlight/v1"
)

// Story 7: approved 18:00; 18:40 a stage is topped up; 08:10 one diver is
// medically out. Entry on that version is refused for both reasons, with no
// word about health. A version without him is pair arithmetic and a new
// approval. The approved version replays byte for byte.
func TestStaleApproval(t *testing.T) {
	c := newClub(t, "2026-06-07 17:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta", endorses: []string{"STAGE"}}, {id: "birk", endorses: []string{"STAGE"}}, {id: "cleo", endorses: []string{"STAGE"}}}
	c.enrol("spring", team...)
	c.stage("asta-stage", "asta")
	p := planOf("stale", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200, 200})
	p.Team[0].Stages = []*pb.PlanStage{{Cylinder: "asta-stage", Kind: "stage", StartPressure: bar(200), Gas: &pb.GasMix{OxygenPercent: 21}, TemperatureC: proto.Float64(20)}}
	c.clock.set(c.at("2026-06-07 18:00"))
	r := c.submit(p).Report
	if out := c.approve(p, r); !out.Decided {
		t.Fatalf("not approved: %s\n  %s", out.Explanation, strings.Join(blocks(out.Report), "\n  "))
	} else if !slices.ContainsFunc(out.Decision.Conditions, func(s string) bool { return strings.Contains(s, "read on 2026-06-08 before entry") }) {
		t.Errorf("an approval of the evening before carries no condition about today's reading: %v", out.Decision.Conditions)
	}

	c.clock.set(c.at("2026-06-07 18:40"))
	if _, err := c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{RequestId: id(), Fill: &pb.Fill{
		Cylinder: "asta-stage", FilledAt: stamp(c.clock.Now()),
		Pressure: bar(205), Intended: &pb.GasMix{OxygenPercent: 21}, TopUp: true,
	}}); err != nil {
		t.Fatal(err)
	}
	stale, err := c.plans().GetPlan(c.as("cora"), &pb.GetPlanRequest{Id: "stale"})
	if err != nil || stale.State != pb.PlanState_PLAN_STATE_STALE || len(stale.StateReasons) == 0 {
		t.Fatalf("after the top-up the plan is %v because %v (%v)", stale.GetState(), stale.GetStateReasons(), err)
	}
	c.clock.set(c.at("2026-06-08 07:00"))
	c.reading("spring", c.clock.Now())
	c.clock.set(c.at("2026-06-08 08:10"))
	if _, err := c.people().SetMedicalStatus(c.as("keeper"), &pb.SetMedicalStatusRequest{
		Person: "cleo", RequestId: id(),
		Medical: &pb.MedicalStatus{ExaminedDay: "2026-02-20", DeclaredDay: "2026-04-10", SuspendedAt: stamp(c.clock.Now())},
	}); err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-06-08 08:30"))
	if _, err := c.dives().SignIn(c.as("asta"), &pb.SignInRequest{Plan: "stale", Version: 1, RequestId: id(), Measured: measuredAs(p, 200, 200, 200)}); fmt.Sprint(fieldsOf(err)) != "[measured[0].cylinders]" {
		t.Errorf("without the stage: %v", err)
	}
	in, err := c.dives().SignIn(c.as("asta"), &pb.SignInRequest{Plan: "stale", Version: 1, RequestId: id(), Measured: []*pb.Measured{
		{Person: "asta", StartPressure: bar(200), Cylinders: []*pb.MeasuredCylinder{{Cylinder: "asta-stage", Pressure: bar(205)}}},
		{Person: "birk", StartPressure: bar(200)},
		{Person: "cleo", StartPressure: bar(200)},
	}})
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(in.Changed, "\n")
	if in.Go || !strings.Contains(said, "asta-stage") || !strings.Contains(said, "Cleo") {
		t.Errorf("go %v; both reasons must be said:\n%s", in.Go, said)
	}
	// What asta reads about herself is hers to know.
	others := proto.CloneOf(in.Report)
	others.Findings = slices.DeleteFunc(others.Findings, func(f *pb.Finding) bool { return f.GetSubject().GetId() == "asta" })
	everything := said + in.WhoMustApprove + fmt.Sprint(others)
	for _, word := range []string{"medical", "suspend", "symptom", "doctor", "health", "fit"} {
		for _, w := range strings.FieldsFunc(strings.ToLower(everything), func(r rune) bool { return r < 'a' || r > 'z' }) {
			if w == word || strings.HasPrefix(w, word) && word != "fit" {
				i := strings.Index(strings.ToLower(everything), w)
				t.Errorf("the leader is told %q: …%s…", w, everything[max(0, i-60):min(len(everything), i+60)])
			}
		}
	}

	// The approved version replays byte for byte.
	evidence, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: "stale", Version: 1})
	if err != nil {
		t.Fatal(err)
	}
	var input engine.Input
	if err := json.Unmarshal(evidence.Input, &input); err != nil {
		t.Fatal(err)
	}
	replayed, err := engine.Bytes(engine.Evaluate(input))
	if err != nil || !bytes.Equal(replayed, evidence.Report) {
		t.Errorf("the approved version does not replay byte for byte (%v)", err)
	}

	// Without him: a new version, its own report, a new approval.
	pair := proto.CloneOf(p)
	pair.Team = pair.Team[:2]
	pair.Team[0].Stages = nil
	if _, err := c.plans().UpdatePlan(c.as("asta"), &pb.UpdatePlanRequest{Plan: pair, ExpectedVersion: 1, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	brief, err := c.plans().GetBrief(c.as("asta"), &pb.GetBriefRequest{Id: "stale"})
	if err != nil || brief.Valid || strings.Contains(brief.Text, "TURN bar") {
		t.Errorf("a draft has a valid brief or shows turn pressures (%v):\n%s", err, brief.GetText())
	}
	again, err := c.plans().SubmitPlan(c.as("asta"), &pb.SubmitPlanRequest{Id: "stale", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(again.Report.Dive.Divers); n != 2 || again.Report.PlanVersion != 2 {
		t.Errorf("version %d with %d divers, want version 2 of a pair", again.Report.PlanVersion, n)
	}
	if out := c.approve(pair, again.Report); !out.Decided {
		t.Errorf("the pair is not approved: %s", out.Explanation)
	}
}

// stage enters a stage cylinder of a diver, tested, filled and analysed with air.
func (c *club) stage(name, owner string) {
	c.t.Helper()
	now := c.clock.Now()
	day := now.AddDate(0, 0, -200).Format("2006-01-02")
	c.apply(
		record(&pb.Cylinder{
			Id: name, Serial: "S-" + name, Maker: "Alumar", Material: "aluminium", Jurisdiction: "de", OxygenClean: "clean", Owner: owner,
			WaterVolume: &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: 11.1}}, WorkingPressure: bar(207),
			ServiceEvents: []*pb.ServiceEvent{{Id: name + "-hydro", Kind: "hydro", Date: day}, {Id: name + "-visual", Kind: "visual", Date: day}},
		}),
		record(&pb.Fill{Id: name + "-fill", Cylinder: name, FilledAt: stamp(now.Add(-30 * time.Hour)), Pressure: bar(202), Intended: &pb.GasMix{OxygenPercent: 21}}),
		record(&pb.Analysis{Id: name + "-analysis", Cylinder: name, AnalysedAt: stamp(now.Add(-29 * time.Hour)), OxygenPercent: "21.0", HeliumPercent: "0", AnalysedBy: owner, Analyser: "analyser", CalibratedAt: stamp(now.Add(-30 * time.Hour)), AirReadingPercent: "20.9"}),
	)
}

// Story 9: two drafts that share a diver both save; approved at the same
// moment, exactly one wins every time, and the loser is told which plan. The
// first plan's cover diving in the second is refused.
func TestTwoPlansOneDiver(t *testing.T) {
	c := newClub(t, "2026-06-07 10:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}, {id: "cleo"}}
	c.enrol("spring", team...)
	c.apply(record(&pb.Person{Id: "spare", FullName: "Spare cover"}), record(&pb.RoleGrant{Person: "spare", Role: "cover"}))
	runs := 50
	if testing.Short() {
		runs = 5
	}
	for i := range runs {
		day := c.at("2026-06-08 00:00").AddDate(0, 0, i%10) // the fortnight in which the analyses hold
		first := planOf(fmt.Sprintf("first-%d", i), "spring", day.Add(9*time.Hour), route, []diver{team[0], team[1]}, []float64{200, 200})
		second := planOf(fmt.Sprintf("second-%d", i), "spring", day.Add(9*time.Hour+10*time.Minute), route, []diver{team[0], team[2]}, []float64{200, 200})
		second.Cover = "spare"
		a, b := c.submit(first), c.submit(second)
		var wait sync.WaitGroup
		answers := make([]*pb.DecideResponse, 2)
		for j, x := range []struct {
			plan *pb.Plan
			hash string
		}{{first, a.Report.Hash}, {second, b.Report.Hash}} {
			ctx := c.as("cora")
			wait.Go(func() {
				out, err := c.plans().ApprovePlan(ctx, &pb.ApprovePlanRequest{Id: x.plan.Id, Version: 1, ReportHash: x.hash, RequestId: id()})
				if err != nil {
					t.Errorf("run %d: %v", i, err)
					return
				}
				answers[j] = out
			})
		}
		wait.Wait()
		if t.Failed() {
			return
		}
		if answers[0].Decided == answers[1].Decided {
			t.Fatalf("run %d: decided %v and %v\n%s\n%s", i, answers[0].Decided, answers[1].Decided, answers[0].Explanation, answers[1].Explanation)
		}
		winner, loser := first.Id, answers[1]
		if answers[1].Decided {
			winner, loser = second.Id, answers[0]
		}
		if !strings.Contains(loser.Explanation+strings.Join(blocks(loser.Report), " "), winner) {
			t.Errorf("run %d: the loser is not told about %s: %s", i, winner, loser.Explanation)
		}
		for _, x := range []string{first.Id, second.Id} {
			if _, err := c.plans().WithdrawPlan(c.as("cora"), &pb.WithdrawPlanRequest{Id: x, Reason: "next run", RequestId: id()}); err != nil {
				t.Fatal(err)
			}
		}
	}

	covered := planOf("covered", "spring", c.at("2026-06-09 09:00"), route, []diver{team[1], team[2]}, []float64{200, 200})
	covered.Cover = "asta"
	if out := c.approve(covered, c.submit(covered).Report); !out.Decided {
		t.Fatalf("the covered plan is not approved: %s", out.Explanation)
	}
	dived := planOf("dived", "spring", c.at("2026-06-09 09:20"), route, []diver{team[0]}, []float64{200})
	c.mustSay(c.submit(dived).Report, "Asta", "covered")
}

// Story 11: the coordinator is diver, standby or cover of the plan: approval is
// refused, naming who may. The approver's role revoked meanwhile: refused.
func TestOwnDive(t *testing.T) {
	c := newClub(t, "2026-06-07 10:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	c.apply(record(&pb.RoleGrant{Person: "asta", Role: "coordinator"}))
	for i, duty := range []string{"diver", "standby", "cover"} {
		p := planOf("own-"+duty, "spring", c.at("2026-06-08 09:00").AddDate(0, 0, i), route, team, []float64{200, 200})
		who := "asta"
		switch duty {
		case "standby":
			c.apply(record(&pb.Person{Id: "sten", FullName: "Sten Stand"}), record(&pb.RoleGrant{Person: "sten", Role: "coordinator"}))
			p.Standby, who = []string{"sten"}, "sten"
		case "cover":
			c.apply(record(&pb.RoleGrant{Person: "cover", Role: "coordinator"}))
			who = "cover"
		}
		r := c.submit(p).Report
		out, err := c.plans().ApprovePlan(c.as(who), &pb.ApprovePlanRequest{Id: p.Id, Version: 1, ReportHash: r.Hash, RequestId: id()})
		if err != nil {
			t.Fatal(err)
		}
		if out.Decided || !strings.Contains(out.Explanation, duty) || !strings.Contains(out.Explanation, "cora") {
			t.Errorf("%s of the plan: decided %v, %q; want a refusal that names cora", duty, out.Decided, out.Explanation)
		}
	}
	p := planOf("revoked", "spring", c.at("2026-06-12 09:00"), route, team, []float64{200, 200})
	p.Cover = "spare"
	c.apply(record(&pb.Person{Id: "spare", FullName: "Spare cover"}), record(&pb.Person{Id: "rolf", FullName: "Rolf"}), record(&pb.RoleGrant{Person: "rolf", Role: "coordinator"}))
	r := c.submit(p).Report
	ctx := c.as("rolf")
	access := pb.NewAccessServiceClient(c.conn)
	roles, err := access.ListRoles(c.as("keeper"), &pb.ListRolesRequest{Person: "rolf"})
	if err != nil || len(roles.Roles) != 1 {
		t.Fatalf("roles of rolf: %v, %v", roles, err)
	}
	if _, err := access.RevokeRole(c.as("keeper"), &pb.RevokeRoleRequest{Id: roles.Roles[0].Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	out, err := c.plans().ApprovePlan(ctx, &pb.ApprovePlanRequest{Id: "revoked", Version: 1, ReportHash: r.Hash, RequestId: id()})
	if err == nil && out.Decided {
		t.Error("approved by somebody whose role was revoked")
	}
}

// Story 12: a guest of 17 whose card is claimed, not seen; 18 on 12 June.
func TestGuestOfSeventeen(t *testing.T) {
	c := newClub(t, "2026-06-10 10:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "gast", born: "2008-06-12", unseen: true}}
	c.enrol("spring", team...)
	before := planOf("eleventh", "spring", c.at("2026-06-11 09:00"), route, team, []float64{200, 200})
	r := c.submit(before).Report
	c.mustSay(r, "Gast", "17", "18")
	c.mustSay(r, "Gast", "card")
	after := planOf("thirteenth", "spring", c.at("2026-06-13 09:00"), route, team, []float64{200, 200})
	r = c.submit(after).Report
	for _, text := range blocks(r) {
		if strings.Contains(text, "17") && strings.Contains(text, "age") {
			t.Errorf("on the 13th the guest is 18: %s", text)
		}
	}
	c.mustSay(r, "Gast", "card")
	if _, err := c.people().RecordCardSeen(c.as("gast"), &pb.RecordCardSeenRequest{Person: "gast", Card: "level", RequestId: id()}); err == nil {
		t.Error("the holder recorded having seen their own card")
	}
	if _, err := c.people().RecordCardSeen(c.as("cora"), &pb.RecordCardSeenRequest{Person: "gast", Card: "level", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	again, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: "thirteenth", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if out := c.approve(after, again.Report); !out.Decided {
		t.Errorf("seen by somebody else, still not approved: %s\n  %s", out.Explanation, strings.Join(blocks(out.Report), "\n  "))
	}
}
