package stories

import (
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// ring is story 8's site: 100 m of approach and a loop of 560 m; the marker's
// place 280 m round is a station.
func ring() ([]*pb.Station, []*pb.Leg) {
	return []*pb.Station{{Id: "mouth", Opening: true, Daylight: true}, {Id: "junction"}, {Id: "east"}, {Id: "far"}, {Id: "west"}},
		[]*pb.Leg{
			{Id: "approach", From: "mouth", To: "junction", LengthM: 100, Lined: true},
			{Id: "a", From: "junction", To: "east", LengthM: 140, Lined: true},
			{Id: "b", From: "east", To: "far", LengthM: 140, Lined: true},
			{Id: "c", From: "far", To: "west", LengthM: 140, Lined: true},
			{Id: "d", From: "west", To: "junction", LengthM: 140, Lined: true},
		}
}

func ways(stations ...string) *pb.Route {
	legs := map[string]string{
		"mouth-junction": "approach", "junction-mouth": "approach", "junction-east": "a", "east-junction": "a", "east-far": "b", "far-east": "b",
		"far-west": "c", "west-far": "c", "west-junction": "d", "junction-west": "d",
	}
	r := &pb.Route{Start: stations[0]}
	for i := 1; i < len(stations); i++ {
		r.Moves = append(r.Moves, &pb.RouteMove{Leg: legs[stations[i-1]+"-"+stations[i]], To: stations[i]})
	}
	return r
}

// setUp records a set-up dive of a pair from one side to the marker at "far".
func (c *club) setUp(name string, entered, marker time.Time, pair []string, legs []*pb.LegPassed) {
	c.t.Helper()
	d := &pb.Dive{
		Id: name, Site: "ring", Kind: "set_up", EnteredAt: stamp(entered), OutAt: stamp(entered.Add(75 * time.Minute)), MaxDepthM: proto.Float64(20), PenetrationM: proto.Float64(380),
		Zone: "cave", Survey: 1, Legs: legs, MarkerStation: "far", MarkerReachedAt: stamp(marker), FlowMet: "none", LevelMetM: proto.Float64(0.5), VisibilityMetM: proto.Float64(15),
	}
	for _, p := range pair {
		d.Divers = append(d.Divers, &pb.DiveDiver{Person: p, CountedAs: "FULL", Gas: &pb.GasMix{OxygenPercent: 32}})
	}
	c.apply(record(d))
}

func passed(direction string, legs ...string) []*pb.LegPassed {
	var out []*pb.LegPassed
	for _, l := range legs {
		out = append(out, &pb.LegPassed{Leg: l, Direction: direction})
	}
	return out
}

// Story 8: closes (600 ≥ 560), the marker belongs at 260–300 m; set up on
// 1 June 14:00, at the marker 8 June 15:00: expired; 7 June without a level
// reading: cannot tell; with it but one of the pair replaced: turn 300 m past
// the junction.
func TestLoop(t *testing.T) {
	c := newClub(t, "2026-06-01 08:00")
	c.adoptPolicy(nil)
	stations, legs := ring()
	c.apply(levelSite("ring", zoneName, 20, stations, legs)...)
	// 1/3 of 4800 L at 3 bar and 20 L/min are 26.67 min; at 15 m/min 400 m.
	team := []diver{{id: "asta", oxygen: 40}, {id: "birk", oxygen: 40}, {id: "cleo", oxygen: 40}}
	c.enrol("ring", team...)
	full := func(name string, entry time.Time, divers []diver) *pb.Plan {
		p := planOf(name, "ring", entry, ways("mouth", "junction", "east", "far", "west", "junction", "mouth"), divers, []float64{200, 200})
		p.SwimMMin, p.ContingencySwimMMin = proto.Float64(15), proto.Float64(15)
		p.Circuits = []*pb.Circuit{{Id: "ring", Approach: []string{"approach"}, Legs: []string{"a", "b", "c", "d"}, MarkerAtM: proto.Float64(280)}}
		return p
	}
	r := c.submit(full("closing", c.at("2026-06-02 09:00"), team[:2])).Report
	if len(r.Dive.Circuits) != 1 {
		t.Fatalf("no word about the circuit: %v\n  %s", r.Dive.Circuits, strings.Join(blocks(r), "\n  "))
	}
	x := r.Dive.Circuits[0]
	if !x.Closes || math.Abs(x.ReachForwardM+x.ReachBackwardM-600) > 0.01 || math.Abs(x.GetMarkerFromM()-260) > 0.01 || math.Abs(x.GetMarkerToM()-300) > 0.01 || !x.GetMarkerLegal() {
		t.Errorf("closes %v, reach %v + %v, marker %v–%v; want 600 ≥ 560 and 260–300", x.Closes, x.ReachForwardM, x.ReachBackwardM, x.GetMarkerFromM(), x.GetMarkerToM())
	}

	c.clock.set(c.at("2026-06-01 18:00"))
	pair := []string{"asta", "birk"}
	c.setUp("set-up-east", c.at("2026-06-01 10:00"), c.at("2026-06-01 10:26"), pair, append(passed("from_to", "approach", "a", "b"), passed("to_from", "b", "a", "approach")...))
	c.setUp("set-up-west", c.at("2026-06-01 13:34"), c.at("2026-06-01 14:00"), pair, append(passed("to_from", "d", "c"), passed("from_to", "c", "d")...))

	// At the marker 26 minutes after entry: 8 June 15:00, a week and an hour later.
	c.clock.set(c.at("2026-06-08 09:00"))
	c.reading("ring", c.at("2026-06-08 08:00"))
	around := func(name string, entry time.Time, divers []diver) *pb.Plan {
		p := full(name, entry, divers)
		p.ReliesOnSetUp = true
		return p
	}
	r = c.submit(around("eighth", c.at("2026-06-08 14:34"), team[:2])).Report
	c.mustSay(r, "expired")

	c.clock.set(c.at("2026-06-07 09:00"))
	r = c.submit(around("seventh", c.at("2026-06-07 13:00"), team[:2])).Report
	c.mustSay(r, "reading")
	if out := c.approve(around("seventh", time.Time{}, team[:2]), r); out.Decided {
		t.Error("approved without a reading of the day although verified legs are relied on")
	}
	c.reading("ring", c.at("2026-06-07 08:30"))
	again, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: "seventh", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range blocks(again.Report) {
		if strings.Contains(text, "reading") {
			t.Errorf("with a reading: %s", text)
		}
	}
	// One of the pair replaced: nothing of the far side counts.
	r = c.submit(around("replaced", c.at("2026-06-07 13:00"), []diver{team[0], team[2]})).Report
	place := r.Dive.TurnAtTheLatest
	if place.Station != "far" || math.Abs(place.MetresPast-20) > 0.01 {
		t.Errorf("turn at %+v, want 300 m past the junction: 20 m past far", place)
	}
}
