package engine

import (
	"math"
	"slices"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// ring is a pair on a circuit B, C, D, E, B behind 90 m of approach, in one of both
// directions: deep at one side, with flow, so that the directions differ.
func ring(depth float64, backwards bool) Input {
	leg := func(from, to string, metres, flow float64) route.Leg {
		return route.Leg{ID: from + to, From: from, To: to, LengthM: metres, Lined: true, FlowMMin: flow, Restriction: route.RestrictionNone}
	}
	legs := []route.Leg{leg("A", "B", 90, 0), leg("B", "C", 40, 2), leg("C", "D", 60, 2), leg("D", "E", 50, 1), leg("E", "B", 70, 1)}
	in := enginetest.Plan(enginetest.Options{Policy: policy.Default(), Names: []string{"Ada", "Ben"}, Bars: []float64{220, 220}, Volume: 20, O2: "21", Legs: legs, Depth: 12, Moves: []string{"B", "C", "D", "E", "B", "A"}})
	for i := range in.Route.Stations {
		switch in.Route.Stations[i].Name {
		case "C":
			in.Route.Stations[i].DepthM = depth
		case "D":
			in.Route.Stations[i].DepthM = depth - 3
		}
	}
	moves := in.Route.Route.Moves
	for i, id := range []string{"AB", "BC", "CD", "DE", "EB", "AB"} {
		moves[i].Leg = id
	}
	moves[1].HoldMin, moves[1].HoldTask = 6, "survey" // at C
	if backwards {
		for i, x := range []struct{ leg, to string }{{"EB", "E"}, {"DE", "D"}, {"CD", "C"}, {"BC", "B"}} {
			moves[1+i] = route.Move{Leg: x.leg, To: x.to}
			if x.to == "C" {
				moves[1+i].HoldMin, moves[1+i].HoldTask = 6, "survey"
			}
		}
	}
	return in
}

// The other way round is exactly what a plan in that direction comes to, and that
// plan's other way round is this one.
func TestOtherWayIsThePlanTheOtherWayRound(t *testing.T) {
	differ := false
	for _, depth := range []float64{14, 30, 36} {
		a, b := Evaluate(ring(depth, false)), Evaluate(ring(depth, true))
		for _, x := range []struct{ here, there Report }{{a, b}, {b, a}} {
			o, r := x.here.OtherWay, x.there
			if o == nil || !o.Computed || r.Route == nil || r.Dive == nil {
				t.Fatalf("at %v m: other way %+v", depth, o)
			}
			if o.Station != "B" || len(o.Legs) != 4 || o.RuntimeMin != finding.Round9(r.Route.Summary.RuntimeMin) || o.StopMin != r.Dive.Schedule.StopMin || len(o.Stops) != len(r.Dive.Schedule.Stops) {
				t.Errorf("at %v m: other way %+v, the plan takes %v min with %d min of stops", depth, o, r.Route.Summary.RuntimeMin, r.Dive.Schedule.StopMin)
			}
			if math.Abs(*o.SharingL-r.Route.WorstSharing.MarginL) > 1e-5 || o.Divers[0].TurnBar != r.Turns[0].TurnBar {
				t.Errorf("at %v m: %v L to spare and a turn at %v bar, the plan has %v L and %v bar", depth, *o.SharingL, o.Divers[0].TurnBar, r.Route.WorstSharing.MarginL, r.Turns[0].TurnBar)
			}
			refused := slices.ContainsFunc(r.Findings, func(f finding.Finding) bool {
				return f.Blocks() && (f.Rule[:6] == "route." || f.Rule[:8] == "failure." && f.Rule != "failure.deeper_longer")
			})
			if o.Holds == refused {
				t.Errorf("at %v m: holds %v (%v), the plan is refused: %v", depth, o.Holds, o.Why, refused)
			}
		}
		differ = differ || a.OtherWay.StopMin != a.Dive.Schedule.StopMin
	}
	if !differ {
		t.Error("no depth at which the directions need other stops")
	}
}

func TestNoCircuitNoOtherWay(t *testing.T) {
	if r := Evaluate(enginetest.Pair()); r.OtherWay != nil {
		t.Errorf("there and back has another way %+v", r.OtherWay)
	}
	in := ring(14, false)
	in.Plan.Kind = facts.Normal
	in.Route.Route.Moves[2].RunLine = true // over the line that is there
	if r := Evaluate(in); r.OtherWay != nil {
		t.Errorf("a route with faults has another way %+v", r.OtherWay)
	}
}
