package dive

import (
	"math"
	"testing"

	"lastlight/engine/route"
)

// closing are two dives whose way out is longest at the last metre before a station,
// where the leg just swum is not known yet (method handbook, D10 and D14): a traverse
// nobody has verified, swum to its far opening, and a ring swum round to where it began.
func closing(ring bool) route.Input {
	in := swumAt(15)
	in.Stations = []route.Station{
		{Name: "pool", DepthM: 5, Opening: true, Daylight: true},
		{Name: "hall", DepthM: 30},
		{Name: "lake", DepthM: 5, Opening: true, Daylight: true},
	}
	in.Route = route.Route{Start: "pool", Moves: []route.Move{{Leg: "in", To: "hall", HoldMin: 8, HoldTask: "survey"}, {Leg: "on", To: "lake"}}}
	in.Legs = []route.Leg{
		{ID: "in", From: "pool", To: "hall", LengthM: 90, Lined: true, Restriction: "none"},
		{ID: "on", From: "hall", To: "lake", LengthM: 66, Lined: true, Restriction: "none"},
	}
	if ring {
		in.Stations = append(in.Stations[:2], route.Station{Name: "end", DepthM: 32})
		in.Legs[1] = route.Leg{ID: "on", From: "hall", To: "end", LengthM: 45, Lined: true, Restriction: "none"}
		in.Legs = append(in.Legs, route.Leg{ID: "round", From: "end", To: "hall", LengthM: 66, Lined: true, Restriction: "none"})
		in.Route.Moves = []route.Move{
			{Leg: "in", To: "hall"}, {Leg: "on", To: "end", HoldMin: 8, HoldTask: "survey"}, {Leg: "round", To: "hall"}, {Leg: "in", To: "pool"},
		}
	}
	for _, name := range []string{"Oda", "Ruun"} {
		in.Team = append(in.Team, route.Diver{Name: name, RMVLMin: 18, Mains: []route.Cylinder{{ID: name + "-main", VolumeL: 24, StartBar: 200, Gas: route.Gas{O2: .21}}}})
	}
	in.Policy.ShareFraction = 0.9 // so that sharing decides
	return in
}

// Every place counts (D16, D18): where the team is short at one, the check does not
// hold, however much there is before it and after it.
func TestLastMetreIsNotPassedOver(t *testing.T) {
	for _, ring := range []bool{false, true} {
		decides := 0
		for volume := 15.0; volume <= 60; volume += 0.5 {
			in := closing(ring)
			for d := range in.Team {
				in.Team[d].Mains[0].VolumeL = volume
			}
			last := 2 // the move that ends where a way out becomes known
			if ring {
				last = 3
			}
			w, _ := answer(t, in)
			for i := range w.failures {
				f := &w.failures[i]
				if f.kind != sharing {
					continue
				}
				before, there := math.Inf(1), math.Inf(1)
				for _, p := range w.places {
					switch m := w.margin(p, f, in.Policy.DelayMin).spare(); {
					case p.at.Arriving && p.at.Move == last:
						there = m
					case p.at.Move < last:
						before = math.Min(before, m)
					}
				}
				if short := math.Min(there, before); w.worst[i].m.holds() && short < -litreTolerance {
					t.Errorf("ring %v, %v L: %v L to spare at the last metre, %v before the leg, said is %v", ring, volume, there, before, w.worst[i].m.spare())
				}
				if there < 0 && before > 0 {
					decides++
				}
			}
		}
		if decides == 0 {
			t.Errorf("ring %v: the last metre decides nowhere", ring)
		}
	}
}

// The case of section 6 is told at the worst place for it: ten minutes lost at the
// last metre of a traverse nobody has verified are not ten minutes at its far opening.
func TestDelayIsJudgedWhereTheWayOutIsLongest(t *testing.T) {
	for _, ring := range []bool{false, true} {
		in := closing(ring)
		q := question(t, in)
		q.DelayMin = 10
		w, err := Open(q)
		if err != nil {
			t.Fatal(err)
		}
		told := 0
		for _, c := range w.Answer().Cases {
			if c.Kind != CaseDelay {
				continue
			}
			told++
			f := &failure{homeward, []int{0}, w.diver(c.Diver), -1}
			for _, p := range w.places {
				if m := w.outOf(p, f, q.DelayMin); !w.commitment.spot.Before(p.spot) && c.Holds() && !m.holds() || p.at.Arriving && m.spare() < c.LeftL-c.NeedL-1e-4 {
					t.Errorf("ring %v, %s: %v L to spare at %s, but %v at %s", ring, c.Diver, c.LeftL-c.NeedL, c.Place, m.spare(), placeText(p))
				}
			}
		}
		if told != 2 {
			t.Errorf("ring %v: %d delays told", ring, told)
		}
	}
}

// A cylinder that waits at an opening at the surface is on every way out that ends
// there (D39), at the opening itself too: nothing of that binds the turn.
func TestWaitingAtTheSurfaceIsOnTheWayOut(t *testing.T) {
	in := closing(false)
	in.Stations = in.Stations[:2]
	in.Stations[0].DepthM = 0
	in.Legs = in.Legs[:1]
	in.Route.Moves[1] = route.Move{Leg: "in", To: "pool"}
	for d := range in.Team {
		id := in.Team[d].Name + "-o2"
		in.Team[d].Mains[0].VolumeL = 60
		in.Team[d].Stages = []route.Cylinder{{ID: id, VolumeL: 7, StartBar: 200, Gas: route.Gas{O2: 1}, Deco: true}}
		in.Route.StartActions = append(in.Route.StartActions, route.Action{Action: route.ActDrop, Diver: in.Team[d].Name, Cylinder: &id})
		in.Route.Moves[1].Actions = append(in.Route.Moves[1].Actions, route.Action{Action: route.ActPickUp, Diver: in.Team[d].Name, Cylinder: &id})
	}
	w, a := answer(t, in)
	if !a.Stops || w.reach != nil {
		t.Errorf("stops %v, turn at %+v by %v, want the whole route", a.Stops, w.reach, w.binds)
	}
}
