package stories

import (
	"math"
	"strings"
	"testing"

	pb "lastlight/proto/lastlight/v1"
)

// straight is a passage of one leg from an opening, and the way in and back.
func straight(length, flow float64) ([]*pb.Station, []*pb.Leg, *pb.Route) {
	return []*pb.Station{{Id: "mouth", Opening: true, Daylight: true}, {Id: "end"}},
		[]*pb.Leg{{Id: "passage", From: "mouth", To: "end", LengthM: length, Lined: true, FlowMMin: flow}},
		&pb.Route{Start: "mouth", Moves: []*pb.RouteMove{{Leg: "passage", To: "end", Turn: true}, {Leg: "passage", To: "mouth"}}}
}

// Story 1 of the handbook: planned at 210/195/185 turn 150/135/125; the third
// reads 175 at the water: 155/140/120, a nearer farthest point, no new approval.
func TestAmendmentAtTheWatersEdge(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(440, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}, {id: "cleo"}}
	c.enrol("spring", team...)
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := planOf("loop", "spring", c.at("2026-06-08 08:30"), route, team, []float64{210, 195, 185})
	submitted := c.submit(p)
	if got := turns(submitted.Report.Dive.Divers); got["asta"] != 150 || got["birk"] != 135 || got["cleo"] != 125 {
		t.Errorf("planned turns %v, want 150/135/125 (practice P3)", got)
	}
	if out := c.approve(p, submitted.Report); !out.Decided {
		t.Fatalf("not approved: %s: %s\n  %s", out.NotDecided, out.Explanation, strings.Join(blocks(out.Report), "\n  "))
	}
	before, err := c.plans().GetBrief(c.as("cover"), &pb.GetBriefRequest{Id: "loop"})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(before.Text, "175: 155/140/120") {
		t.Errorf("the brief has no row for the third at 175:\n%s", before.Text)
	}
	c.clock.set(c.at("2026-06-08 08:31"))
	in, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "loop", Version: 1, RequestId: id(), Measured: []*pb.Measured{
		{Person: "asta", StartPressure: bar(210)}, {Person: "birk", StartPressure: bar(195)}, {Person: "cleo", StartPressure: bar(175)},
	}})
	if err != nil {
		t.Fatal(err)
	}
	if !in.Go {
		t.Fatalf("no go: %v", in.Changed)
	}
	if got := turns(in.Watch.Figures); got["asta"] != 155 || got["birk"] != 140 || got["cleo"] != 120 {
		t.Errorf("turns at the water %v, want 155/140/120", got)
	}
	// 1400 L at 2 bar and 20 L/min are 35 min, at 12 m/min 420 m (by hand).
	place := in.Report.Dive.TurnAtTheLatest
	if place.WholeRoute || math.Abs(place.MetresPast-420) > 0.01 || place.Station != "mouth" {
		t.Errorf("farthest point %+v, want 420 m past the mouth", place)
	}
	board, err := c.dives().GetBoard(c.as("cover"), &pb.GetBoardRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if len(board.Watches) != 1 || turns(board.Watches[0].Figures)["asta"] != 155 || math.Abs(board.Watches[0].TurnAtTheLatest.GetMetresPast()-420) > 0.01 {
		t.Errorf("cover's copy does not show the new figures: %v", board.Watches)
	}
	// The old ones nowhere: neither on the board nor on a brief printed now.
	after, err := c.plans().GetBrief(c.as("cover"), &pb.GetBriefRequest{Id: "loop"})
	if err != nil {
		t.Fatal(err)
	}
	for _, old := range []string{"        150", "        135", "        125"} {
		if strings.Contains(after.Text, old+"\n") {
			t.Errorf("an old turn pressure stands on the new brief:\n%s", after.Text)
		}
	}
	// Nor do rows for starts lower than those planned: the starts are known.
	if strings.Contains(after.Text, "LOWER") || strings.Contains(after.Text, "rows above") || !strings.Contains(after.Text, "420 m past mouth towards end") {
		t.Errorf("rows for lower starts, or no turn, on the brief of a team in the water:\n%s", after.Text)
	}
}

// Story 2: a siphon on which 480 m are short by 1600 L = 66.7 bar; 360 m pass
// with margin 0; with 30 L/min each while sharing and 2 min to solve it, 242 m.
func TestSiphon(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	// The siphon row of the shipped policy would refuse or lower the fraction; the story is about the sum.
	c.adoptPolicy(func(p *policyDocument) { liftInflow(p); p.Speeds.Swim, p.Speeds.ContingencySwim = 15, 15 })
	stations, legs, route := straight(480, 3)
	c.apply(levelSite("sink", zoneName, 20, stations, legs)...)
	team := []diver{{id: "asta", oxygen: 40}, {id: "birk", oxygen: 40}}
	c.enrol("sink", team...)
	c.reading("sink", c.at("2026-06-08 07:00"))
	p := planOf("down", "sink", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	r := c.submit(p).Report
	c.mustSay(r, "480", "1600 L", "66.7 bar")
	c.mustSay(r, "360 m")
	w := r.Dive.WorstSharing
	if math.Abs(w.LeftL-3200) > 0.01 || math.Abs(w.NeedL-4800) > 0.01 {
		t.Errorf("sharing %v of %v L, want 3200 of 4800", w.LeftL, w.NeedL)
	}
	if place := r.Dive.TurnAtTheLatest; math.Abs(place.MetresPast-360) > 0.01 {
		t.Errorf("farthest %v m, want 360", place.MetresPast)
	}
	if out := c.approve(p, r); out.Decided {
		t.Error("the siphon plan was approved")
	}

	c.adoptPolicy(func(p *policyDocument) {
		liftInflow(p)
		p.Speeds.Swim, p.Speeds.ContingencySwim = 15, 15
		p.Gas.StressFactor, p.Gas.DelayMin = 1.5, 2 // 30 L/min each
	})
	again, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: "down", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if place := again.Report.Dive.TurnAtTheLatest; math.Floor(place.MetresPast) != 242 {
		t.Errorf("farthest under stress %v m, want 242", place.MetresPast)
	}
}

// Story 3: unequal lungs. A 14 L at 210, 12 L/min; B 24 L at 210, 22 L/min; 20 m.
// Turning at 25.45 min is refused: donor A, victim B, short 572.7 L; the
// sharing check alone passes to 21.30 min; by volume they turn at 14.85 min, B at 169.2 bar.
func TestUnequalLungs(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	const speed = 12.0
	stations, legs, route := straight(25.4545454545*speed, 0)
	c.apply(levelSite("hall", zoneName, 20, stations, legs)...)
	team := []diver{{id: "asta", litres: 14, rate: 12, oxygen: 40}, {id: "birk", litres: 24, rate: 22, oxygen: 40}}
	c.enrol("hall", team...)
	c.reading("hall", c.at("2026-06-08 07:00"))
	p := planOf("lungs", "hall", c.at("2026-06-08 08:30"), route, team, []float64{210, 210})
	r := c.submit(p).Report
	c.mustSay(r, "Asta", "Birk", "572.7 L")
	if w := r.Dive.WorstSharing; w.Donor != "Asta" || w.Receiver != "Birk" || math.Abs(w.MarginL+572.7) > 0.05 {
		t.Errorf("worst sharing %v, want Asta for Birk short 572.7", w)
	}
	// Matched by volume the place is where B has drunk 980 L: 14.85 min.
	place := r.Dive.TurnAtTheLatest
	if got := place.MetresPast / speed; math.Abs(got-14.848) > 0.005 {
		t.Errorf("turn at the latest %v min, want 14.85", got)
	}
	for _, d := range r.Dive.Divers {
		if d.Person == "birk" && math.Abs(d.Turns[0].TurnBarExact-169.17) > 0.05 {
			t.Errorf("B turns at %v bar, want 169.2", d.Turns[0].TurnBarExact)
		}
	}
	// The sharing check alone: the share rule out of the way.
	c.adoptPolicy(func(p *policyDocument) { wholeShare(p) })
	alone, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: "lungs", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if got := alone.Report.Dive.TurnAtTheLatest.MetresPast / speed; math.Abs(got-21.30) > 0.01 {
		t.Errorf("sharing alone passes to %v min, want 21.30", got)
	}
}
