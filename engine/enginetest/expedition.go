package enginetest

import (
	"fmt"
	"math"

	"lastlight/engine/facts"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// Expedition is a large plan for measuring: so many moves (an even number) in
// and home along a sloping passage to 54 m, each diver with a trimix twinset, a
// stage dropped on the way in and picked up on the way home, and two
// decompression gases that wait near the entrance. The site has so many
// stations at least; those beyond the route hang on side passages.
func Expedition(moves, divers, stations int) facts.Input {
	const passage = 240.0 // metres
	half := moves / 2
	length := passage / float64(half)
	var names []string
	var bars []float64
	for i := range divers {
		names = append(names, fmt.Sprint("diver", i+1))
		bars = append(bars, 220)
	}
	in := Plan(Options{Policy: policy.Default(), Names: names, Bars: bars, Volume: 18, O2: "18", Depth: 6})
	in.Plan.Night = new(false)
	in.Site.AltitudeM = new(120.0)
	depth := func(i int) float64 { return math.Min(54, 6+float64(i)*length/2) }
	in.Route.Stations = []route.Station{{Name: "S0", DepthM: 6, Opening: true, Daylight: true}}
	for i := 1; i <= half; i++ {
		id, from, to := fmt.Sprint("L", i), fmt.Sprint("S", i-1), fmt.Sprint("S", i)
		in.Route.Stations = append(in.Route.Stations, route.Station{Name: to, DepthM: depth(i)})
		in.Route.Legs = append(in.Route.Legs, route.Leg{
			ID: id, From: from, To: to, LengthM: length, Lined: true, MainLine: new(true), FlowMMin: -1, Restriction: route.RestrictionNone,
			DepthPoints: []route.DepthPoint{{AtM: length / 2, DepthM: (depth(i-1) + depth(i)) / 2}},
		})
		in.Site.Bottoms = append(in.Site.Bottoms, facts.Bottom{Leg: id, Class: "clear"})
	}
	for n := len(in.Route.Stations); n < stations; n++ {
		id, from := fmt.Sprint("X", n), "S1" // side passages, each from the last
		if n%40 != 0 && n > half+1 {
			from = fmt.Sprint("Y", n-1)
		}
		to := fmt.Sprint("Y", n)
		in.Route.Stations = append(in.Route.Stations, route.Station{Name: to, DepthM: depth(1)})
		in.Route.Legs = append(in.Route.Legs, route.Leg{ID: id, From: from, To: to, LengthM: 30, Lined: true, MainLine: new(false), Restriction: route.RestrictionNone})
		in.Site.Bottoms = append(in.Site.Bottoms, facts.Bottom{Leg: id, Class: "some_silt"})
	}
	in.Route.Route = route.Route{Start: "S0"}
	for i := 1; i <= half; i++ {
		in.Route.Route.Moves = append(in.Route.Route.Moves, route.Move{Leg: fmt.Sprint("L", i), To: fmt.Sprint("S", i)})
	}
	for i := half - 1; i >= 0; i-- {
		in.Route.Route.Moves = append(in.Route.Route.Moves, route.Move{Leg: fmt.Sprint("L", i+1), To: fmt.Sprint("S", i)})
	}
	drop, last := max(1, half/2), len(in.Route.Route.Moves)-1
	do := func(move int, actions ...route.Action) {
		m := &in.Route.Route.Moves[move]
		m.Actions, m.HoldMin, m.HoldTask = append(m.Actions, actions...), 1, "pick_up"
	}
	for i := range in.Plan.Team {
		id, name := in.Plan.Team[i].Diver, names[i]
		in.Cylinders[2*i].Analyses[0].He, in.Cylinders[2*i+1].Analyses[0].He = "45", "45"
		in.Plan.Supplies[i].PlannedHe = "45"
		stage, rich, oxygen := name+"-stage", name+"-50", name+"-o2"
		for _, s := range []struct {
			id       string
			role     facts.SupplyRole
			o2, he   string
			volume   float64
			deepest  float64
			atPasses bool
		}{{stage, facts.Stage, "18", "45", 11, 54, false}, {rich, facts.Deco, "50", "0", 11, 18, true}, {oxygen, facts.Deco, "100", "0", 7, 6, true}} {
			c := Cylinder(s.id, id, s.volume, s.o2)
			c.Analyses[0].He = s.he
			in.Cylinders = append(in.Cylinders, c)
			in.Plan.Supplies = append(in.Plan.Supplies, facts.Supply{
				ID: s.id, Diver: id, Role: s.role, Cylinders: []string{s.id}, PlannedO2: s.o2, PlannedHe: s.he,
				PlannedBar: new(200.0), TemperatureC: new(20.0), DeepestM: &s.deepest, Resting: s.atPasses,
			})
		}
		act := func(kind, cylinder string) route.Action {
			return route.Action{Action: kind, Diver: id, Cylinder: &cylinder}
		}
		in.Route.Route.StartActions = append(in.Route.Route.StartActions, act(route.ActDrop, rich), act(route.ActDrop, oxygen), act(route.ActSwitchTo, stage))
		do(drop-1, route.Action{Action: route.ActSwitchTo, Diver: id}, act(route.ActDrop, stage))
		do(last-drop, act(route.ActPickUp, stage))
		do(last, act(route.ActPickUp, rich), act(route.ActPickUp, oxygen))
	}
	return in
}
