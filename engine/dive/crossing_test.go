package dive

import (
	"math"
	"testing"

	"lastlight/engine/route"
)

// knownRing is a ring that is known from the start, deeper on its far side, so that
// stops grow fast where going on costs as much as going back.
func knownRing(volume float64) route.Input {
	in := forked()
	in.Stations = []route.Station{
		{Name: "pool", DepthM: 2, Opening: true, Daylight: true}, {Name: "hall", DepthM: 18}, {Name: "left", DepthM: 48}, {Name: "right", DepthM: 30},
	}
	in.Legs = []route.Leg{
		{ID: "in", From: "pool", To: "hall", LengthM: 120, Lined: true, Restriction: "none"},
		{ID: "down", From: "hall", To: "left", LengthM: 150, Lined: true, Restriction: "none"},
		{ID: "across", From: "left", To: "right", LengthM: 240, Lined: true, Restriction: "none"},
		{ID: "up", From: "right", To: "hall", LengthM: 170, Lined: true, Restriction: "none"},
	}
	in.Verified[0].Legs = []string{"in", "down", "across", "up"}
	in.Route.Moves = []route.Move{{Leg: "in", To: "hall"}, {Leg: "down", To: "left"}, {Leg: "across", To: "right"}, {Leg: "up", To: "hall"}, {Leg: "in", To: "pool"}}
	in.Policy.ShareFraction = 1
	for d := range in.Team {
		in.Team[d].Mains[0].VolumeL = volume
	}
	return in
}

// The dearest place of a known ring is where with its stops one way out costs as much as
// the other (method handbook, D15 and D16 b): what is told there is no more to spare
// than every place a twentieth of the spacing apart has.
func TestCrossingIsLookedAt(t *testing.T) {
	w, _ := answer(t, knownRing(90))
	crossings := 0
	for i := range w.failures {
		f := &w.failures[i]
		if f.kind != sharing {
			continue
		}
		told, least := w.worst[i].m.spare(), math.Inf(1)
		for k := 1; k < len(w.places); k++ {
			a, b := w.places[k-1], w.places[k]
			if w.begun(a) {
				break
			}
			if !w.sameWay(a, b) {
				crossings++
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
		if told > least+5 { // where the last halving stops
			t.Errorf("%s: %v L to spare are told, %v L somewhere", w.who(f), told, least)
		}
	}
	if crossings == 0 {
		t.Error("nowhere does one way out give way to another")
	}
}

// So it is with slower ways out (method handbook, 6: out by touch).
func TestCrossingOfSlowerWaysIsLookedAt(t *testing.T) {
	in := knownRing(150)
	q := question(t, in)
	q.TouchFactor = 0.7
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	slow, told := w.slower(q.TouchFactor*in.Speeds.SwimMMin), 0
	for _, c := range w.Answer().Cases {
		if c.Kind != CaseTouchContact {
			continue
		}
		told++
		f, least := &failure{homeward, nil, w.diver(c.Diver), -1}, math.Inf(1)
		for k := 1; k < len(w.places); k++ {
			for share := 0.05; share < 1; share += 0.05 {
				spot, ok := w.normal.path.Between(w.places[k-1].spot, w.places[k].spot, share, 0.01)
				if !ok {
					break
				}
				for _, p := range w.at(spot) {
					least = math.Min(least, w.outOf(w.under(slow, p), f, 0).spare())
				}
			}
		}
		if c.NoWay || c.LeftL-c.NeedL > least+5 { // where the last halving stops
			t.Errorf("%s: %v L to spare are told at %s, %v L somewhere", c.Diver, c.LeftL-c.NeedL, c.Place, least)
		}
	}
	if told == 0 {
		t.Error("nothing is told of it")
	}
}

// Mains that are breathed one after the other drift apart by the stops too (D24).
func TestSpreadCountsTheStops(t *testing.T) {
	in := knownRing(0)
	for d := range in.Team {
		m := in.Team[d].Mains[0]
		a, b := m, m
		a.ID, b.ID, a.VolumeL, b.VolumeL = m.ID+"-left", m.ID+"-right", 60, 60
		in.Team[d].Mains = []route.Cylinder{a, b}
		in.Route.StartActions = append(in.Route.StartActions, route.Action{Action: route.ActSwitchTo, Diver: in.Team[d].Name, Cylinder: &a.ID})
	}
	w, a := answer(t, in)
	w.Apply(w.q.Result, a)
	for _, c := range w.q.Result.Checks {
		if c.Name == route.CheckSpread {
			most := 0.0
			for d := range w.team.Divers {
				most = math.Max(most, w.apart(d, w.end))
			}
			if w.result.TotalStop() == 0 || c.Measured < most-1e-9 || c.Passed != (c.Measured <= c.Limit+1e-6) {
				t.Errorf("%+v, but they surface %v bar apart after %d min of stops", c, most, w.result.TotalStop())
			}
			return
		}
	}
	t.Error("no such check")
}

// No main of several turns below what the pressures alone give (4.1, D25): two alike turn alike.
func TestEveryMainTurnsByItsShare(t *testing.T) {
	in := pit("Ada", "Ben")
	in.GasModel, in.Policy.ShareFraction = "real", 1.0/3
	temp := 20.0
	for d := range in.Team {
		m := in.Team[d].Mains[0]
		m.VolumeL, m.StartBar, m.TempC = 190, 200, &temp
		a, b := m, m
		a.ID, b.ID = m.ID+"-left", m.ID+"-right"
		in.Team[d].Mains = []route.Cylinder{a, b}
	}
	w, a := answer(t, in)
	if !a.Stops {
		t.Fatal("a dive without stops is the route model's")
	}
	for _, g := range w.q.Result.Divers {
		for _, m := range g.Mains {
			if m.TurnBar < 200-200.0/3-1e-9 || m.TurnRoundedBar != g.Mains[0].TurnRoundedBar {
				t.Errorf("%s turns at %v bar, %v rounded; the first at %v", m.Cylinder, m.TurnBar, m.TurnRoundedBar, g.Mains[0].TurnRoundedBar)
			}
		}
	}
}
