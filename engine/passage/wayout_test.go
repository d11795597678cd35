package passage

import (
	"slices"
	"testing"

	"lastlight/engine/deco"
	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// A way out is a path (method handbook, D15): from inside a leg it does not lead to one
// end and back over the leg past the place, though minutes swum there and back would
// save whole minutes of a stop at the same depth.
func TestNoWayOutComesBackPastThePlace(t *testing.T) {
	n := &Network{
		Stations: []Station{{Name: "pool", Depth: 3, Opening: true}, {Name: "lip", Depth: 3}, {Name: "foot", Depth: 45}},
		Legs:     []Leg{{ID: "level", From: 0, To: 1, Length: 80, Lined: true}, {ID: "pit", From: 1, To: 2, Length: 60, Lined: true}},
		Rates:    Rates{Swim: 15, Contingency: 9, Ascent: 9, Descent: 18, CountAscent: true},
	}
	d := &Dive{TurnAfter: 2, Moves: []Move{{Leg: 0}, {Leg: 1, Hold: 25}, {Leg: 1, Dir: 1}, {Leg: 0, Dir: 1}}}
	laid, err := n.Lay(d)
	if err != nil {
		t.Fatal(err)
	}
	m := tissue.Default()
	p, err := deco.NewPlanner(deco.Settings{
		Model: m, Water: water.Fresh, GFLow: .3, GFHigh: .7, Grid: 3, LastStop: 3, Ascent: 9,
		LimitDeco: 1.6, LimitBottom: 1.4, Tolerance: .02, Least: .18, FlowLimit: 9,
	})
	if err != nil {
		t.Fatal(err)
	}
	team := &deco.Team{Cylinders: []deco.Cylinder{{ID: "back", Mix: gas.Air}}, Divers: []deco.Diver{{Name: "A"}}}
	start := deco.Begin(team, []tissue.State{m.Saturated(water.Fresh.Surface)})
	waited := 0
	for past := 5.0; past < 80; past += 5 {
		place := Place{Move: 4, Inside: true, Past: past}
		probe, err := n.Probe(d, laid, place)
		if err != nil {
			t.Fatal(err)
		}
		var r deco.Result
		if err := p.Schedule(team, &laid.Path, &start, []deco.Probe{probe}, &r); err != nil {
			t.Fatal(err)
		}
		way, err := n.WayOut(p, team, d, place, &r.Moments[0], deco.Loss{Donor: -1}, water.Fresh.Pressure)
		if err != nil {
			t.Fatal(err)
		}
		waited += way.Result.TotalStop()
		if !slices.Equal(way.Legs, []int{0}) || way.Metres != 80-past {
			t.Errorf("%v m past the lip: out over legs %v, %v m of line, want the %v m ahead", past, way.Legs, way.Metres, 80-past)
		}
	}
	if waited == 0 {
		t.Error("no stop on any way out")
	}
}
