package dive

import (
	"math"
	"testing"

	"lastlight/engine/route"
)

// slope is a passage from an opening at 5 m down to 32 m, where the team stays a
// minute: on the way in no way out needs a stop, from its end one does.
// Each diver has EAN50, carried or waiting at the opening.
func slope(waits bool) route.Input {
	in := swumAt(15)
	in.Stations = []route.Station{{Name: "pool", DepthM: 5, Opening: true, Daylight: true}, {Name: "ledge", DepthM: 27.5}, {Name: "floor", DepthM: 32}}
	in.Legs = []route.Leg{
		{ID: "down", From: "pool", To: "ledge", LengthM: 90, Lined: true, Restriction: "none"},
		{ID: "on", From: "ledge", To: "floor", LengthM: 70, Lined: true, Restriction: "none"},
	}
	in.Route = route.Route{Start: "pool", Moves: []route.Move{
		{Leg: "down", To: "ledge"}, {Leg: "on", To: "floor", HoldMin: 1, HoldTask: "survey"}, {Leg: "on", To: "ledge"}, {Leg: "down", To: "pool"},
	}}
	in.Policy.ShareFraction = 1
	for _, name := range []string{"Oda", "Ruun"} {
		rich := name + "-50"
		in.Team = append(in.Team, route.Diver{
			Name: name, RMVLMin: 18,
			Mains:  []route.Cylinder{{ID: name + "-main", VolumeL: 20, StartBar: 220, Gas: route.Gas{O2: .28}}},
			Stages: []route.Cylinder{{ID: rich, VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: .5}, Deco: true}},
		})
		if waits {
			in.Route.StartActions = append(in.Route.StartActions, route.Action{Action: route.ActDrop, Diver: name, Cylinder: &rich})
			last := &in.Route.Moves[len(in.Route.Moves)-1]
			last.Actions = append(last.Actions, route.Action{Action: route.ActPickUp, Diver: name, Cylinder: &rich})
		}
	}
	return in
}

// Who needs no stop leaves gas for decompression alone (passage decompression, D43), so
// that the last place from which nobody does takes more back gas than those after it:
// what is told of every failure is no more to spare than a twentieth of the spacing
// from there (route method, D16).
func TestChangeOfGasesIsLookedAt(t *testing.T) {
	w, _ := answer(t, slope(false))
	changes := 0
	for i := range w.failures {
		f := &w.failures[i]
		if f.kind != sharing && f.kind != lostWaiting {
			continue
		}
		told, least := w.worst[i].m.spare(), math.Inf(1)
		for k := 1; k < len(w.places); k++ {
			a, b := w.places[k-1], w.places[k]
			if w.begun(a) {
				break
			}
			x, y := w.margin(a, f, w.q.Route.Policy.DelayMin), w.margin(b, f, w.q.Route.Policy.DelayMin)
			if !sameGases(x, y) {
				changes++
			}
			for share := 0.05; share < 1; share += 0.05 {
				spot, ok := w.normal.path.Between(a.spot, b.spot, share, 1e-9)
				if !ok {
					break
				}
				for _, p := range w.at(spot) {
					least = math.Min(least, w.margin(p, f, w.q.Route.Policy.DelayMin).spare())
				}
			}
		}
		if told > least+1 {
			t.Errorf("%s %s: %.1f L to spare are told, %.1f between two places", checkOfKind[f.kind], w.who(f), told, least)
		}
	}
	if changes == 0 {
		t.Error("no way out draws on other gases than that of the place before")
	}
}

// Whatever is told of a gas breathed on a way out names the stretches it is breathed on,
// arriving where gas waits included: there the back gas lasts for no metre more.
func TestDrawnNamesItsStretches(t *testing.T) {
	w, _ := answer(t, slope(true))
	arrivals := 0
	for _, p := range w.places {
		if !p.at.Arriving || w.way(p) == nil {
			continue
		}
		for i := range w.failures {
			m := w.margin(p, &w.failures[i], 0)
			if m == nil || m.fails {
				continue
			}
			for g := range m.gases {
				parts := w.placeParts(p, "", g, func() *margin { return w.margin(p, &w.failures[i], 0) })
				arrivals++
				for _, d := range parts.Drawn {
					if len(d.On) == 0 {
						t.Errorf("%s, %s: %v bar·min of %s on no stretch", placeText(p), w.who(&w.failures[i]), d.BarMin, d.Cylinder)
					}
				}
			}
		}
	}
	if arrivals == 0 {
		t.Error("no arrival is looked at")
	}
}
