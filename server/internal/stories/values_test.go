package stories

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// A length, a volume and a pressure are the same however they were written.
func TestMetricAndImperial(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	before, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: "asta-left"})
	if err != nil {
		t.Fatal(err)
	}
	// 232 bar are 3364.88 psi (1 psi = 6894.757 Pa): what a gauge in psi shows.
	imperial := proto.CloneOf(before)
	imperial.WorkingPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 3364.88}}
	after, err := c.gear().UpdateCylinder(c.as("keeper"), &pb.UpdateCylinderRequest{Cylinder: imperial, RequestId: id()})
	if err != nil || after.Version != before.Version || after.WorkingPressure.GetBar() != before.WorkingPressure.GetBar() {
		t.Errorf("written in psi it became another cylinder: %v, %v, was %v", after, err, before)
	}
	metric := c.submit(c.plan("metric", "2026-06-08 08:30")).Report
	p := c.plan("imperial", "2026-06-08 08:30")
	for _, d := range p.Team {
		d.StartPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 200 * 1e5 / 6894.757293168}}
	}
	r := c.submit(p).Report
	for i, d := range r.Dive.Divers {
		if x := metric.Dive.Divers[i]; math.Abs(d.Turns[0].TurnBarExact-x.Turns[0].TurnBarExact) > 1e-6 || d.Turns[0].TurnBar != x.Turns[0].TurnBar {
			t.Errorf("%s turns at %v with psi, at %v with bar", d.Person, d.Turns, x.Turns)
		}
	}
}

// What cannot be is refused by the method itself, field by field, and leaves nothing behind.
func TestImpossibleValues(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	now := c.clock.Now()
	refused := func(what string, err error, fields ...string) {
		t.Helper()
		details := fmt.Sprint(status.Convert(err).Details())
		if status.Code(err) != codes.InvalidArgument {
			t.Errorf("%s: %v", what, err)
		}
		for _, f := range fields {
			if !strings.Contains(details, f) {
				t.Errorf("%s: %s is not among the violations: %s", what, f, details)
			}
		}
	}
	c.as("cora") // her token is an event of its own
	before := c.rows()
	_, err := c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{Fill: &pb.Fill{Cylinder: "asta-left", FilledAt: stamp(now), Pressure: bar(2100), Intended: &pb.GasMix{OxygenPercent: 0.32}}, RequestId: id()})
	refused("2100 bar of 0.32 %", err, "fill.pressure.bar", "fill.intended.oxygen_percent")
	_, err = c.gear().RecordAnalysis(c.as("keeper"), &pb.RecordAnalysisRequest{Analysis: &pb.Analysis{Cylinder: "asta-left", AnalysedAt: stamp(now), OxygenPercent: "0.32"}, RequestId: id()})
	refused("0.32 %", err, "analysis.oxygen_percent")
	_, err = c.dives().RecordDive(c.as("keeper"), &pb.RecordDiveRequest{Dive: &pb.Dive{
		Site: "spring", Kind: "normal", EnteredAt: stamp(now.Add(-time.Hour)), OutAt: stamp(now.Add(-2 * time.Hour)),
		MaxDepthM: proto.Float64(10), Zone: "cave", Divers: []*pb.DiveDiver{{Person: "asta"}},
	}, RequestId: id()})
	refused("out before in", err, "dive.out_at")
	p := c.plan("impossible", "2026-06-08 08:30")
	p.Team[0].StartPressure, p.Team[1].Gas = bar(2100), &pb.GasMix{OxygenPercent: 0.32}
	_, err = c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()})
	refused("a plan with both", err, "plan.team[0].start_pressure.bar", "plan.team[1].gas.oxygen_percent")
	if after := c.rows(); after != before {
		t.Errorf("something was stored:\n%s\n%s", before, after)
	}

	// The register too: nobody is out before they are in, nor in after they were out.
	c.reading("spring", c.at("2026-06-08 07:00"))
	p = c.approved("register", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:30"))
	_, err = c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "register", Version: 1, Measured: measuredAs(p, 2100, 200), RequestId: id()})
	refused("2100 bar at the water", err, "measured[0].start_pressure.bar")
	_, err = c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "register", Person: "asta", SeenAt: stamp(c.at("2026-06-08 07:30")), RequestId: id()})
	refused("seen out before in", err, "seen_at")
	if _, err := c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "register", Person: "asta", SeenAt: stamp(c.at("2026-06-08 08:10")), RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	_, err = c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{Dive: "register", Person: "asta", What: "in", At: stamp(c.at("2026-06-08 08:20")), Reason: "typed wrong", RequestId: id()})
	refused("in after out", err, "at")
}
