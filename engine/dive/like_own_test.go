package dive

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/deco"
	"lastlight/engine/gas"
	"lastlight/engine/route"
)

// Where sharing is told from the way out with nothing lost, the way out scheduled with
// the loss itself comes to the same, diver by diver and cylinder by cylinder.
func TestSharingLikeNothingLost(t *testing.T) {
	told, scheduled := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		in := drawnDive(t)
		stage := rapid.SampledFrom([]route.Gas{{O2: .21, He: .35}, {O2: .21, He: .35}, {O2: .21}, {O2: .5}, {O2: .36}}).Draw(t, "stage")
		for d := range in.Team {
			in.Team[d].Stages[0].Gas = stage
		}
		if rapid.Bool().Draw(t, "carried") { // gas for decompression along all the way
			for i := range in.Route.Moves {
				in.Route.Moves[i].Actions = nil
			}
		}
		if rapid.Bool().Draw(t, "breathed") {
			for d := range in.Team {
				in.Route.StartActions = append(in.Route.StartActions, route.Action{Action: route.ActSwitchTo, Diver: in.Team[d].Name, Cylinder: &in.Team[d].Stages[0].ID})
			}
		}
		q := question(t, in)
		deepest := rapid.Float64Range(10, 60).Draw(t, "deepest")
		q.SwitchDepth = func(c *route.Cylinder) float64 {
			if c.Gas == stage {
				return deepest
			}
			return deco.MaxDepth
		}
		if rapid.Bool().Draw(t, "unlike") {
			deep, _ := q.Settings.Model.Inspired(gas.Mix{O2: .21}, 2)
			for k := range q.Tissues[1].N2 {
				q.Tissues[1].N2[k] += 0.2 * deep
			}
		}
		if rapid.Bool().Draw(t, "breaks") {
			q.Settings.BreakEvery, q.Settings.BreakMinutes = 15, 5
		}
		w, err := Open(q)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range w.places {
			if i%3 != 0 || w.way(p) == nil {
				continue
			}
			for k := range w.failures {
				f := &w.failures[k]
				if f.kind != sharing {
					continue
				}
				lost, donor, divers := w.carried(p, f.victim), f.donors[0], len(w.team.Divers)
				o := w.goOut(p, f.victim, lost, donor, 2)
				if o.shared == 0 {
					scheduled++
					continue
				}
				told++
				if p.alike {
					lost, donor, divers = lost>>w.team.Divers[f.victim].Back, 1, 2
				}
				x := loss{w.scheduleOut(w.way(p), p, divers, lost, donor, 2), f.victim, 0}
				if x.noSchedule != o.noSchedule || x.stops != o.stops || math.Abs(x.minutes-o.minutes) > 1e-9 || x.drift != o.drift {
					t.Fatalf("%s, %s: %d min of stops in %v min, scheduled %d in %v", placeText(p), w.who(f), o.stops, o.minutes, x.stops, x.minutes)
				}
				kinds := func(list []deco.Flag) (kinds []string) {
					for _, f := range list {
						kinds = append(kinds, f.Kind)
					}
					slices.Sort(kinds)
					return slices.Compact(kinds)
				}
				if !slices.Equal(kinds(x.flags), kinds(o.flags)) || math.Abs(slices.Max(x.cns)-slices.Max(o.cns)) > 1e-9 {
					t.Fatalf("%s, %s: %v %v, scheduled %v %v", placeText(p), w.who(f), o.flags, o.cns, x.flags, x.cns)
				}
				for d := range w.team.Divers {
					cylinders := append([]int{w.team.Divers[d].Back}, w.team.Divers[d].Stages...)
					if d == f.victim {
						cylinders[0] = w.team.Divers[f.donors[0]].Back
					}
					for _, c := range cylinders {
						if d == f.victim && w.carried(p, d)>>c&1 == 1 {
							continue // lost: nobody asks
						}
						if a, b := o.breathed(w, d, c), x.breathed(w, d, c); math.Abs(a-b) > 1e-9 {
							t.Fatalf("%s, %s: %s breathes %v bar min of %s, scheduled %v", placeText(p), w.who(f), w.team.Divers[d].Name, a, w.cylinderName(c), b)
						}
					}
				}
			}
		}
	})
	if told < 100 || scheduled < 2 {
		t.Errorf("%d told, %d scheduled: the dives decide nothing", told, scheduled)
	}
}

// The schedule for whoever lost everything carried is that of the sharing exit there (section 6).
func TestScheduleAfterTheLossOfEverything(t *testing.T) {
	w, a := answer(t, expedition(8))
	far, rows := w.farthest(), 0
	for _, l := range a.LostGas {
		if l.Lost != "" {
			continue
		}
		rows++
		v, donor := w.diver(l.Diver), w.diver(l.Donor)
		o := w.goOut(far, v, w.carried(far, v), donor, w.q.Route.Policy.DelayMin)
		if o.stops == 0 || o.stops != l.Schedule.StopMin || math.Abs(o.minutes-l.Schedule.ToSurfaceMin) > 1e-6 {
			t.Errorf("%s: %d min of stops, %v to the surface; sharing takes %d and %v", l.Diver, l.Schedule.StopMin, l.Schedule.ToSurfaceMin, o.stops, o.minutes)
		}
		given := 0.0
		for _, x := range l.Schedule.Divers[donor].Supplies {
			given += x.UsedL
		}
		if own := l.Schedule.Divers[v].Supplies[0].UsedL; given == 0 || own != 0 {
			t.Errorf("%s breathes %v L of the own mains, %s gives %v", l.Diver, own, l.Donor, given)
		}
	}
	if rows != len(w.team.Divers) {
		t.Errorf("%d rows for %d divers", rows, len(w.team.Divers))
	}
}
