package route

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// D28 by its definition: an ordinary plan to the reach and back, with the
// minutes at the marker spent there, passes; 1 cm further it does not.
func TestSetUpReachByItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := caves{}.draw(t)
		in.Stations, in.Legs, in.Team = in.Stations[:3], nil, in.Team[:2]
		in.Stations[1].Opening, in.Stations[2].Opening = false, false
		flow := grid(t, "around", -3, 3, 0.5)
		a, b, c := in.Stations[0], in.Stations[1], in.Stations[2]
		deep := math.Abs(b.DepthM - c.DepthM)
		in.Legs = []Leg{
			{ID: "in", From: a.Name, To: b.Name, LengthM: math.Abs(a.DepthM-b.DepthM) + grid(t, "approach", 10, 60, 1), Lined: true},
			{ID: "one", From: b.Name, To: c.Name, LengthM: deep + grid(t, "one side", 50, 400, 1), FlowMMin: flow, Lined: true},
			{ID: "other", From: c.Name, To: b.Name, LengthM: deep + grid(t, "other side", 50, 400, 1), FlowMMin: grid(t, "other flow", -3, 3, 0.5), Lined: true},
		}
		hold := grid(t, "at the marker", 0, 6, 1)
		in.Route = Route{Start: a.Name, Moves: []Move{{Leg: "in", To: b.Name}, {Leg: "in", To: a.Name}}}
		in.Loops = []Circuit{{ID: "ring", Start: a.Name, Approach: []string{"in"}, Legs: []string{"one", "other"}, MarkerHoldMin: hold}}
		r := must(t, in).Closability[0]
		plan := func(x float64) bool {
			p := clone(in)
			p.Loops = nil
			leg, at, ways := "one", x, []string{"in"}
			if x > in.Legs[1].LengthM {
				leg, at, ways = "other", x-in.Legs[1].LengthM, []string{"in", "one"}
			}
			to := map[string][2]string{"in": {a.Name, b.Name}, "one": {b.Name, c.Name}}
			p.Route.Moves = nil
			for _, w := range ways {
				p.Route.Moves = append(p.Route.Moves, Move{Leg: w, To: to[w][1]})
			}
			p = split(p, leg, []float64{at})
			p.Route.Moves = append(p.Route.Moves, Move{Leg: leg + ".0", To: leg + "@0", HoldMin: hold, HoldTask: "place_marker"})
			start := to[ways[len(ways)-1]][1]
			p.Route.Moves = append(p.Route.Moves, Move{Leg: leg + ".0", To: start, SwimMMin: in.Speeds.ContingencyMMin})
			for i := len(ways) - 1; i >= 0; i-- {
				p.Route.Moves = append(p.Route.Moves, Move{Leg: ways[i], To: to[ways[i]][0], SwimMMin: in.Speeds.ContingencyMMin})
			}
			passed, _ := passes(t, p)
			return passed
		}
		// A turn nearer to the station than the shortest leg there may be is not asked.
		asked := func(x float64) bool { return math.Abs(x-in.Legs[1].LengthM) >= shortestM }
		if r.ReachForwardM > 0.1 && asked(r.ReachForwardM-0.01) && !plan(r.ReachForwardM-0.01) {
			t.Fatalf("1 cm before the reach %+v the plan does not pass", r)
		}
		if r.ReachForwardM < r.LengthM-0.1 && asked(r.ReachForwardM+0.01) && plan(r.ReachForwardM+0.01) {
			t.Fatalf("1 cm beyond the reach %+v the plan passes", r)
		}
		if want := r.ReachForwardM+r.ReachBackwardM >= r.LengthM-1e-7; want != r.Closes {
			t.Fatalf("closes: %+v", r)
		}
	})
}
