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

// Three at 24.5 m, 225 m in, one with EAN50: as planned nobody needs a stop, but with the
// delay and the slower way out that diver is not exempt (passage decompression, D43) and
// changes at 21 m, where all three spend a minute (D45). No way out has a stop, yet the
// minute is two divers' gas at 3.07 bar: what the checks say is what the schedules take.
func TestMinuteOfChangeCountsWithoutStops(t *testing.T) {
	in := swumAt(15)
	in.Speeds.ContingencyMMin = 12
	in.Stations = []route.Station{{Name: "pool", DepthM: 4, Opening: true, Daylight: true}, {Name: "end", DepthM: 24.5}}
	in.Legs = []route.Leg{{ID: "in", From: "pool", To: "end", LengthM: 225, Lined: true, Restriction: "none"}}
	in.Route = route.Route{Start: "pool", Moves: []route.Move{{Leg: "in", To: "end", HoldMin: 19.5, HoldTask: "survey"}, {Leg: "in", To: "pool"}}}
	for _, name := range []string{"Ada", "Ben", "Cleo"} {
		in.Team = append(in.Team, route.Diver{Name: name, RMVLMin: 18, Mains: []route.Cylinder{{ID: name + "-main", VolumeL: 20, StartBar: 230, Gas: route.Gas{O2: .28}}}})
	}
	in.Team[2].Stages = []route.Cylinder{{ID: "Cleo-50", VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: .5}, Deco: true}}
	q := question(t, in)
	q.SwitchDepth = func(*route.Cylinder) float64 { return 21 }
	q.Settings.GFLow, q.Settings.GFHigh, q.Settings.SwitchMinutes = 0.4, 0.8, 1
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	if a := w.Answer(); a.Schedule.StopMin > 0 || a.Longest != nil || len(a.Schedule.Switches) > 0 {
		t.Fatalf("%d min of stops, longest %+v, %d changes of gas: the dive is another", a.Schedule.StopMin, a.Longest, len(a.Schedule.Switches))
	}
	least := math.Inf(1)
	for i := range w.failures {
		if w.failures[i].kind == sharing {
			least = math.Min(least, w.worst[i].m.spare())
		}
	}
	for _, c := range q.Result.Checks {
		if c.Name == route.CheckSharing && math.Abs(c.Margin-least) > 0.01 {
			t.Errorf("sharing has %.1f L to spare, with the minute of the change %.1f", c.Margin, least)
		}
	}
}

// Nobody needs a stop anywhere on a short dive, but EAN50 waits at 20 m on the way home:
// picked up there it is breathed (passage decompression, D45 b), for which all spend a
// minute at 2.97 bar. Who has none surfaces with what the schedule leaves (route method,
// D24), and the runtime is the schedule's.
func TestMinuteAtAPickUpCountsWithoutStops(t *testing.T) {
	in := swumAt(15)
	in.Stations = []route.Station{{Name: "pool", DepthM: 3, Opening: true, Daylight: true}, {Name: "ledge", DepthM: 20}, {Name: "end", DepthM: 24}}
	in.Legs = []route.Leg{
		{ID: "in", From: "pool", To: "ledge", LengthM: 80, Lined: true, Restriction: "none"},
		{ID: "on", From: "ledge", To: "end", LengthM: 60, Lined: true, Restriction: "none"},
	}
	rich := "Ben-50"
	in.Route = route.Route{Start: "pool", Moves: []route.Move{
		{Leg: "in", To: "ledge", Actions: []route.Action{{Action: route.ActDrop, Diver: "Ben", Cylinder: &rich}}},
		{Leg: "on", To: "end", HoldMin: 2, HoldTask: "survey"},
		{Leg: "on", To: "ledge", Actions: []route.Action{{Action: route.ActPickUp, Diver: "Ben", Cylinder: &rich}}},
		{Leg: "in", To: "pool"},
	}}
	for _, name := range []string{"Ada", "Ben"} {
		in.Team = append(in.Team, route.Diver{Name: name, RMVLMin: 20, Mains: []route.Cylinder{{ID: name + "-main", VolumeL: 20, StartBar: 230, Gas: route.Gas{O2: .32}}}})
	}
	in.Team[1].Stages = []route.Cylinder{{ID: rich, VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: .5}, Deco: true}}
	q := question(t, in)
	q.SwitchDepth = func(*route.Cylinder) float64 { return 21 }
	alone := q.Result.Divers[0].SurfaceBar
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	a := w.Answer()
	if a.Schedule.StopMin > 0 || !a.Schedule.NoStop || len(a.Schedule.Switches) != 1 {
		t.Fatalf("%d min of stops, changes %+v: the dive is another", a.Schedule.StopMin, a.Schedule.Switches)
	}
	taken := (alone - q.Result.Divers[0].SurfaceBar) * 20
	if want := 20 * w.pressure(20); math.Abs(taken-want) > 0.01 {
		t.Errorf("the minute at 20 m takes %.2f L of Ada, by hand %.2f", taken, want)
	}
	if run := q.Result.Summary.RuntimeMin; math.Abs(run-a.Schedule.RuntimeMin) > 1e-6 {
		t.Errorf("%v min of runtime, the schedule has %v", run, a.Schedule.RuntimeMin)
	}
}

// Ten minutes at 32 m on EAN28 are breathed at 1.162 bar of oxygen, 221.3 min of the single
// exposure (physics, 3): a delay at the far point adds 4.5 per cent to the way out from
// there (route method, section 6).
func TestDelayTakesOxygen(t *testing.T) {
	said := func(delay float64) *Oxygen {
		q := question(t, slope(false))
		q.DelayMin = delay
		w, err := Open(q)
		if err != nil {
			t.Fatal(err)
		}
		return w.Answer().Oxygen
	}
	without, with := said(0), said(10)
	if with.CNS < without.CNS || with.OutCNS < 4.51 || len(with.Lost) > 0 {
		t.Errorf("%.2f %% with the delay, %.2f %% of it on the way out after losing %v; without %.2f %%", with.CNS, with.OutCNS, with.Lost, without.CNS)
	}
}
