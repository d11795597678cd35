package passage

import (
	"math"
	"testing"

	"lastlight/engine/deco"
	"lastlight/engine/gas"
	"lastlight/engine/route"
)

// A route laid by engine/route and by this package is the same path, and so is
// its way out from the turn.
func TestTheSamePathEitherWay(t *testing.T) {
	stage := "e50"
	in := route.Input{
		Water: route.Water{SurfaceBar: 1.01325, BarPerM: 0.0980665}, GasModel: gas.Real,
		Policy: route.Policy{
			ShareFraction: 1.0 / 3, Rounding: route.Rounding{Mode: route.RoundDropFloor, StepBar: 5},
			StressFactor: 1, VerifiedCounts: route.VerifiedNever, AscentMMin: 9, DescentMMin: 18, CountOpenWaterAscent: true, MinProgressMMin: 6,
			SlowExitFactor: 1.5, ThreeDonor: route.DonorSingle, WaitingGas: route.WaitingOwn, StageRule: route.StageFraction, StageFraction: 1.0 / 3,
		},
		Speeds:   route.Speeds{SwimMMin: 14, ContingencyMMin: 12},
		Stations: []route.Station{{Name: "mouth", DepthM: 2, Opening: true, Daylight: true}, {Name: "ledge", DepthM: 15}, {Name: "end", DepthM: 38}},
		Legs: []route.Leg{
			{ID: "a", From: "mouth", To: "ledge", LengthM: 80, Lined: true, FlowMMin: -2, Restriction: "none", DepthPoints: []route.DepthPoint{{AtM: 40, DepthM: 20}}},
			{ID: "b", From: "end", To: "ledge", LengthM: 60, Lined: true, Restriction: "minor"},
		},
		Team: []route.Diver{
			{
				Name: "Ida", RMVLMin: 18, Mains: []route.Cylinder{{VolumeL: 24, StartBar: 220, Gas: route.Gas{O2: .28}}},
				Stages: []route.Cylinder{{ID: stage, VolumeL: 7, StartBar: 200, Gas: route.Gas{O2: .5}, Deco: true}},
			},
			{Name: "Ole", RMVLMin: 18, Mains: []route.Cylinder{{VolumeL: 24, StartBar: 220, Gas: route.Gas{O2: .28}}}},
		},
		Route: route.Route{Start: "mouth", Moves: []route.Move{
			{Leg: "a", To: "ledge", Actions: []route.Action{{Action: route.ActDrop, Diver: "Ida", Cylinder: &stage}}},
			{Leg: "b", To: "end", HoldMin: 12, HoldTask: "survey"},
			{Leg: "b", To: "ledge", Actions: []route.Action{{Action: route.ActPickUp, Diver: "Ida", Cylinder: &stage}}},
			{Leg: "a", To: "mouth"},
		}},
	}
	traced, refused, problems := route.Trace(in)
	if traced == nil {
		t.Fatal(refused, problems)
	}
	team, err := TeamOf(in.Team, func(*route.Cylinder) float64 { return 21 })
	if err != nil {
		t.Fatal(err)
	}
	got, err := FromPieces(traced.Pieces, team, 2, false)
	if err != nil {
		t.Fatal(err)
	}
	n := &Network{
		Rates:    Rates{Swim: 14, Contingency: 12, Ascent: 9, Descent: 18, SlowExit: 1.5, CountAscent: true},
		Stations: []Station{{"mouth", 2, true}, {"ledge", 15, false}, {"end", 38, false}},
		Legs: []Leg{
			{ID: "a", From: 0, To: 1, Length: 80, Flow: -2, Lined: true, Points: []DepthPoint{{40, 20}}},
			{ID: "b", From: 2, To: 1, Length: 60, Lined: true, Restriction: true},
		},
	}
	d := &Dive{Moves: []Move{
		{Leg: 0, Actions: []deco.Action{{Kind: deco.Drop, Diver: 0, Cylinder: 1}}},
		{Leg: 1, Dir: 1, Hold: 12},
		{Leg: 1, Actions: []deco.Action{{Kind: deco.PickUp, Diver: 0, Cylinder: 1}}},
		{Leg: 0, Dir: 1},
	}, TurnAfter: 2}
	laid, err := n.Lay(d)
	if err != nil {
		t.Fatal(err)
	}
	samePath(t, got, &laid.Path)

	out, ok := traced.WayOut(route.Place{Move: 2, Station: "end", InHold: true, AfterHoldMin: 12})
	if !ok {
		t.Fatal("no way out")
	}
	way, err := FromPieces(out, team, 0, true)
	if err != nil {
		t.Fatal(err)
	}
	mine := n.lay(&partial{hops: []hop{{1, 0, 0}, {0, 1, 0}}, at: 0}, nil)
	samePath(t, way, &mine)
}

func samePath(t *testing.T, got, want *deco.Path) {
	t.Helper()
	if len(got.Pieces) != len(want.Pieces) || len(got.Nodes) != len(want.Nodes) || got.Turned != want.Turned {
		t.Fatalf("%d pieces and %d nodes, want %d and %d", len(got.Pieces), len(got.Nodes), len(want.Pieces), len(want.Nodes))
	}
	for i := range got.Pieces {
		g, w := got.Pieces[i], want.Pieces[i]
		if math.Abs(g.Minutes-w.Minutes) > 1e-9 || math.Abs(g.Metres-w.Metres) > 1e-9 || math.Abs(g.Past-w.Past) > 1e-9 {
			t.Errorf("piece %d: %+v, want %+v", i, g, w)
		}
		g.Minutes, g.Metres, g.Past = w.Minutes, w.Metres, w.Past
		if g != w {
			t.Errorf("piece %d: %+v, want %+v", i, g, w)
		}
	}
	for i := range got.Nodes {
		g, w := got.Nodes[i], want.Nodes[i]
		if g.Station != w.Station || g.Hold != w.Hold || g.Turn != w.Turn || len(g.Actions) != len(w.Actions) {
			t.Errorf("node %d: %+v, want %+v", i, g, w)
		}
		for k := range min(len(g.Actions), len(w.Actions)) {
			if g.Actions[k] != w.Actions[k] {
				t.Errorf("node %d: %+v, want %+v", i, g, w)
			}
		}
	}
}
