package stories

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// deepPool is a pool at 30 m, with gas for a dive that has stops, twice a day.
func deepPool(t *testing.T, now string) *pool {
	c := newClub(t, now)
	c.adoptPolicy(nil)
	stations, legs, route := straight(60, 0)
	route.Moves[0].HoldMin = 12
	c.apply(levelSite("spring", zoneName, 30, stations, legs)...)
	p := &pool{club: c, team: []diver{{id: "asta", endorses: []string{"DECO"}, litres: 48}, {id: "birk", endorses: []string{"DECO"}, litres: 48}}, route: route}
	c.enrol("spring", p.team...)
	return p
}

// byHand records a dive that nobody planned.
func (c *club) byHand(name, entered, out string, depth float64, people ...string) *pb.Dive {
	c.t.Helper()
	d := &pb.Dive{Id: name, Site: "spring", Kind: "normal", EnteredAt: stamp(c.at(entered)), OutAt: stamp(c.at(out)), MaxDepthM: &depth, Zone: "cave"}
	for _, person := range people {
		d.Divers = append(d.Divers, &pb.DiveDiver{Person: person, CountedAs: "FULL", Gas: &pb.GasMix{OxygenPercent: 21}})
	}
	kept, err := c.dives().RecordDive(c.as("cora"), &pb.RecordDiveRequest{Dive: d, RequestId: id()})
	if err != nil {
		c.t.Fatalf("record %s: %v", name, err)
	}
	return kept
}

// What the morning's dive left is on the schedules of the afternoon, which was approved before it: the plan stands, for the
// morning was foreseen, and at the water every schedule that asks for more than the one approved is told.
func TestStopsAreComparedAtTheEntry(t *testing.T) {
	c := deepPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	first := c.approved("first", "2026-06-08 07:40")
	second := c.plan("second", "2026-06-08 11:00")
	report := c.submit(second).Report
	if text := c.briefOf("second").Text; strings.Contains(text, "submit it") || !strings.Contains(text, "What to do: have it decided") {
		t.Errorf("the page of a submitted plan:\n%s", text)
	}
	if out := c.approve(second, report); !out.Decided {
		t.Fatalf("%s %v", out.Explanation, blocks(out.Report))
	}
	const without = "ONLY IF stops and oxygen are without first, planned before this dive: they are worked out anew at sign-in"
	if text := strings.Join(strings.Fields(c.briefOf("second").Text), " "); strings.Count(text, without) != 1 {
		t.Errorf("the page does not say once what its stops are without:\n%s", text)
	}
	if text := c.briefOf("first").Text; strings.Contains(text, "worked out anew") {
		t.Errorf("the page of the day's first dive is without another:\n%s", text)
	}
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(first, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:30"))
	for _, person := range []string{"asta", "birk"} {
		c.seenOut("first", person)
		c.signOut("first", person, false)
	}
	if _, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "first", MaxDepthM: proto.Float64(30), PenetrationM: proto.Float64(60), Zone: "cave"}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if s := c.standing("second"); s != pb.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("after the dive that was planned before it, the second is %v", s)
	}
	c.clock.set(c.at("2026-06-08 11:00"))
	in := c.signIn(second, 1, 200, 200)
	for _, of := range []string{"the dive as planned, were 12 m 1 min, 9 m 1 min, 6 m 16 min", "the dive 3 m deeper, were ", "the dive 3 min longer, were ", "the dive 3 m deeper and 3 min longer, were "} {
		if !strings.Contains(strings.Join(in.Changed, "\n"), "stops of "+of) {
			t.Errorf("nothing says %q", of)
		}
	}
	if in.Go || !strings.Contains(in.WhoMustApprove, "coordinator") {
		t.Errorf("go %v, who must approve: %q", in.Go, in.WhoMustApprove)
	}
	// Approved with the morning on record, it goes.
	second.PlannedEntry, second.Version = stamp(c.at("2026-06-08 11:20")), 0
	if _, err := c.plans().UpdatePlan(c.as("cora"), &pb.UpdatePlanRequest{Plan: second, ExpectedVersion: 1, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if out := c.approve(second, c.again("second").Report); !out.Decided {
		t.Fatalf("%s %v", out.Explanation, blocks(out.Report))
	}
	c.clock.set(c.at("2026-06-08 11:20"))
	c.mustGo(second, 2, 200, 200)
}

// A dive that nobody planned makes the plans stale whose divers it loads; no other does.
func TestADiveByHandMakesLaterPlansStale(t *testing.T) {
	c := deepPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.clock.set(c.at("2026-06-08 10:00"))
	p := c.plan("noon", "2026-06-08 12:00")
	r := c.submit(p).Report
	states := func(want pb.PlanState, after string) {
		t.Helper()
		if m := c.planAt("noon", 0); m.State != want || want == pb.PlanState_PLAN_STATE_STALE && !strings.Contains(fmt.Sprint(m.StateReasons), "a dive without a plan was recorded") {
			t.Errorf("after %s: %v because %v", after, m.State, m.StateReasons)
		}
	}
	again := func() {
		t.Helper()
		if out := c.approve(p, c.again("noon").Report); !out.Decided {
			t.Fatalf("not approved again: %s %v", out.Explanation, blocks(out.Report))
		}
	}
	if out := c.approve(p, r); !out.Decided {
		t.Fatalf("%s %v", out.Explanation, blocks(out.Report))
	}
	c.byHand("old", "2026-05-29 09:00", "2026-05-29 09:40", 18, "asta") // 240 h of the policy end at 12:00 of 29 May
	states(pb.PlanState_PLAN_STATE_APPROVED, "a dive of before the days that count")
	c.byHand("other", "2026-06-08 08:00", "2026-06-08 08:30", 18, "cover")
	states(pb.PlanState_PLAN_STATE_APPROVED, "a dive of somebody who is cover")
	d := c.byHand("morning", "2026-06-08 08:00", "2026-06-08 08:30", 18, "birk")
	states(pb.PlanState_PLAN_STATE_STALE, "a dive of the morning")
	c.clock.set(c.at("2026-06-08 12:00"))
	c.mustNotGo(p, 1, "stops of the dive 3 m deeper, were ", ", now ")
	c.clock.set(c.at("2026-06-08 10:10"))
	again()
	d.Notes = "clear"
	d, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version, RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	states(pb.PlanState_PLAN_STATE_APPROVED, "a note on it")
	d.MaxDepthM = proto.Float64(24)
	if _, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	states(pb.PlanState_PLAN_STATE_STALE, "its depth was corrected")
}
