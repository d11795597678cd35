package dive

import (
	"math"
	"testing"

	"lastlight/engine/route"
)

// Three metres deeper is the passage, not its openings: one that is passed on the way
// stays where it is.
func TestOpeningsAreNotDeeper(t *testing.T) {
	in := swumAt(10)
	in.Stations = []route.Station{{Name: "mouth", DepthM: 3, Opening: true, Daylight: true}, {Name: "hall", DepthM: 20}, {Name: "window", DepthM: 2, Opening: true}}
	in.Legs = []route.Leg{
		{ID: "down", From: "mouth", To: "hall", LengthM: 60, Lined: true, Restriction: "none"},
		{ID: "up", From: "hall", To: "window", LengthM: 60, Lined: true, Restriction: "none"},
	}
	for _, name := range []string{"Ada", "Ben"} {
		in.Team = append(in.Team, route.Diver{Name: name, RMVLMin: 20, Mains: []route.Cylinder{{ID: name + "-twin", VolumeL: 24, StartBar: 200, Gas: route.Gas{O2: .21}}}})
	}
	in.Route = route.Route{Start: "mouth", Moves: []route.Move{{Leg: "down", To: "hall"}, {Leg: "up", To: "window"}, {Leg: "up", To: "hall"}, {Leg: "down", To: "mouth"}}}
	_, a := answer(t, in)
	v := a.Variants[0]
	at := map[string]float64{} // pressure where the team swims off, by station
	for _, s := range v.Stretches {
		if !s.Hold && s.Leg != "" {
			at[s.From] = s.FromBar
		}
	}
	for station, depth := range map[string]float64{"mouth": 3, "hall": 20 + v.DeeperM, "window": 2} {
		if want := column.Surface + depth*column.PerMetre; math.Abs(at[station]-want) > 1e-9 {
			t.Errorf("%s at %v bar, want %v", station, at[station], want)
		}
	}
}
