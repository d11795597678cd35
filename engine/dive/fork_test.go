package dive

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/deco"
	"lastlight/engine/passage"
	"lastlight/engine/route"
)

// forked is scenario P20 of the method handbook (data of decompression along the
// passage: Otter Fork, ways out are compared with their stops, D51) with a nook 20 m
// beyond the fork at bend, looked into before the way home.
func forked() route.Input {
	in := swumAt(12)
	in.Stations = []route.Station{
		{Name: "pool", DepthM: 2, Opening: true, Daylight: true},
		{Name: "sill", DepthM: 2},
		{Name: "bend", DepthM: 21},
		{Name: "crawl", DepthM: 38},
		{Name: "nook", DepthM: 21},
	}
	in.Route = route.Route{Start: "pool", Moves: []route.Move{
		{Leg: "b1", To: "sill"},
		{Leg: "b2", To: "bend", HoldMin: 5, HoldTask: "survey"},
		{Leg: "b3", To: "crawl", HoldMin: 10, HoldTask: "survey"},
		{Leg: "b3", To: "bend"},
		{Leg: "b5", To: "nook"},
		{Leg: "b5", To: "bend"},
		{Leg: "b2", To: "sill"},
		{Leg: "b1", To: "pool"},
	}}
	in.Verified = []route.Verification{{ID: "v", Legs: []string{"b4"}, PassedBy: []string{"Oda", "Ruun"}}}
	in.Policy.VerifiedCounts, in.Policy.VerificationDays = route.VerifiedFromStart, 7
	leg := func(id, from, to string, metres, flow float64) {
		in.Legs = append(in.Legs, route.Leg{ID: id, From: from, To: to, LengthM: metres, FlowMMin: flow, Lined: true, Restriction: "none"})
	}
	leg("b1", "pool", "sill", 40, -2)
	in.Legs[0].DepthPoints = []route.DepthPoint{{AtM: 20, DepthM: 6}}
	leg("b2", "sill", "bend", 240, 0)
	leg("b3", "bend", "crawl", 75, 0)
	leg("b4", "crawl", "sill", 60, 0)
	leg("b5", "bend", "nook", 20, 0)
	for _, name := range []string{"Oda", "Ruun"} {
		in.Team = append(in.Team, route.Diver{Name: name, RMVLMin: 18, Mains: []route.Cylinder{{ID: name + "-main", VolumeL: 30, StartBar: 220, Gas: route.Gas{O2: .25}}}})
	}
	return in
}

func legsOf(pieces []route.Piece) (legs []string) {
	for i := range pieces {
		if l := pieces[i].Leg; l != "" && (len(legs) == 0 || legs[len(legs)-1] != l) {
			legs = append(legs, l)
		}
	}
	return legs
}

// The handbook's way out of bend is b2, b1, although b3, b4, b1 is swum for less. It is
// so too from where bend is the first station on the way, and a metre before bend.
func TestForkBeyondTheFirstLeg(t *testing.T) {
	q := question(t, forked())
	q.Settings.LastStop = 3
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for _, p := range w.places {
		want := []string{"b2", "b1"}
		switch {
		case p.at.Station == "nook":
			want = []string{"b5", "b2", "b1"}
		case p.at.Station == "bend" && p.at.Arriving && p.at.Move == 4:
			want = []string{"b3", "b2", "b1"}
		case p.at.Station == "bend" && p.at.Arriving && p.at.Move == 6:
			want = []string{"b5", "b2", "b1"}
		case p.at.Station != "bend" || p.at.Move < 4:
			continue
		}
		asked++
		if legs := legsOf(w.piecesOf(w.way(p))); !slices.Equal(legs, want) {
			t.Errorf("%s: way out over %v, want %v", placeText(p), legs, want)
		}
	}
	if asked < 5 {
		t.Errorf("only %d places at bend and nook", asked)
	}
}

// ladder is a cave of two passages with rungs between them, most of it verified, with a
// second opening at times, dived along one of them and back.
func ladder(t *rapid.T) route.Input {
	in := forked()
	in.Stations, in.Legs, in.Route.Moves = in.Stations[:1], nil, nil
	in.Verified[0].Legs = nil
	station := func(name string) {
		in.Stations = append(in.Stations, route.Station{Name: name, DepthM: float64(rapid.IntRange(3, 32).Draw(t, name))})
	}
	leg := func(id, from, to string) {
		in.Legs = append(in.Legs, route.Leg{
			ID: id, From: from, To: to, LengthM: float64(rapid.IntRange(60, 180).Draw(t, id)), FlowMMin: float64(rapid.IntRange(-3, 3).Draw(t, id+" flow")), Lined: true, Restriction: "none",
			DepthPoints: []route.DepthPoint{{AtM: 20, DepthM: 12}},
		})
		if rapid.IntRange(0, 3).Draw(t, id+" verified") > 0 {
			in.Verified[0].Legs = append(in.Verified[0].Legs, id)
		}
	}
	last := [2]string{"pool", "pool"}
	rungs := rapid.IntRange(1, 3).Draw(t, "rungs")
	for k := range rungs {
		for side, name := range []string{"left", "right"} {
			name += string(rune('1' + k))
			station(name)
			leg(last[side]+" "+name, last[side], name)
			last[side] = name
		}
		leg("rung"+string(rune('1'+k)), last[0], last[1])
	}
	in.Stations[len(in.Stations)-1].Opening = rapid.Bool().Draw(t, "two openings")
	station("nook")
	leg("dead end", last[0], "nook")
	in.Verified[0].Legs = slices.DeleteFunc(in.Verified[0].Legs, func(id string) bool { return id == "dead end" })
	at := "pool"
	for i := range in.Legs {
		if l := &in.Legs[i]; l.From == at && (l.To[0] == 'l' || l.To == "nook") {
			at = l.To
			in.Route.Moves = append(in.Route.Moves, route.Move{Leg: l.ID, To: at})
		}
	}
	n := len(in.Route.Moves)
	in.Route.Moves[n-1].HoldMin, in.Route.Moves[n-1].HoldTask = float64(rapid.IntRange(5, 25).Draw(t, "hold")), "survey"
	for k := n - 1; k >= 0; k-- {
		to := "pool"
		if k > 0 {
			to = in.Route.Moves[k-1].To
		}
		in.Route.Moves = append(in.Route.Moves, route.Move{Leg: in.Route.Moves[k].Leg, To: to})
	}
	for d := range in.Team {
		in.Team[d].Mains[0].VolumeL = 200 // gas is not what this is about
	}
	return in
}

// The dive is scheduled as by package passage, which the handbook's worked dives are
// checked with, and every place's way out costs what that finds to be the least (D15, D51).
func TestEveryWayOutCostsLeastWithItsStops(t *testing.T) {
	stops := 0
	rapid.Check(t, func(t *rapid.T) {
		in := ladder(t)
		w := open(t, in)
		n := &passage.Network{Rates: passage.Rates{Swim: 12, Contingency: 12, Ascent: 9, Descent: 18, SlowExit: 1, CountAscent: true}}
		station, legs := map[string]int{}, map[string]int{}
		for i, s := range in.Stations {
			station[s.Name] = i
			n.Stations = append(n.Stations, passage.Station{Name: s.Name, Depth: s.DepthM, Opening: s.Opening})
		}
		d := &passage.Dive{Start: station["pool"], TurnAfter: w.turnMove(), Verified: make([]bool, len(in.Legs))}
		for i, l := range in.Legs {
			legs[l.ID] = i
			x := passage.Leg{ID: l.ID, From: station[l.From], To: station[l.To], Length: l.LengthM, Flow: l.FlowMMin, Lined: true}
			for _, q := range l.DepthPoints {
				x.Points = append(x.Points, passage.DepthPoint{At: q.AtM, Depth: q.DepthM})
			}
			n.Legs = append(n.Legs, x)
			d.Verified[i] = slices.Contains(in.Verified[0].Legs, l.ID)
		}
		at := "pool"
		for _, m := range in.Route.Moves {
			x := passage.Move{Leg: legs[m.Leg], Hold: m.HoldMin}
			if in.Legs[x.Leg].From != at {
				x.Dir = 1
			}
			d.Moves = append(d.Moves, x)
			at = m.To
		}
		laid, err := n.Lay(d)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.planner.Schedule(w.team, &laid.Path, &w.begin, nil, &w.out); err != nil {
			t.Fatal(err)
		}
		if a, b := &w.result, &w.out; math.Abs(a.End.Minutes-b.End.Minutes) > 1e-9 || len(a.Stops) != len(b.Stops) || a.TotalStop() != b.TotalStop() {
			t.Errorf("planned: %d min of stops, up after %v min; package passage has %d and %v", a.TotalStop(), a.End.Minutes, b.TotalStop(), b.End.Minutes)
		}
		for _, p := range w.places {
			if !p.swim && !p.at.InHold || p.at.Arriving { // the start, and what is asked before the last metre
				continue
			}
			where := passage.Place{Move: p.at.Move, Inside: p.swim, Past: p.at.MetresPast, Hold: p.at.AfterHoldMin}
			want, err := n.WayOut(w.planner, w.team, d, where, p.moment, deco.Loss{Donor: -1}, w.pressure)
			if err != nil {
				t.Fatal(placeText(p), err)
			}
			least := want.Result.BarMinutes(w.pressure)
			stops += want.Result.TotalStop()
			x := w.way(p)
			if err := w.planner.Schedule(w.team, &w.led(x).path, p.moment, nil, &w.out); err != nil {
				t.Fatal(placeText(p), err)
			}
			if c := w.out.BarMinutes(w.pressure); math.Abs(c-least) > 1e-6 && !want.Result.NoSchedule {
				t.Errorf("%s: %v bar minutes over %v, the least is %v", placeText(p), c, legsOf(w.piecesOf(x)), least)
			}
		}
	})
	if stops == 0 {
		t.Error("no way out with a stop")
	}
}
