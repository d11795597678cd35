package dive

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/route"
)

// The turn that is told is never later than a fine search finds: every place a
// quarter of a minute apart, from the start to it, or to the end where none is told, holds after every failure of
// the route method (4.2 two out on one supply, 4.3 each cylinder gone), with nothing
// skipped or bounded; and from every place that was looked at before it the team
// gets home (D20).
func TestNoPlaceBeforeTheTurnFails(t *testing.T) {
	turned := 0
	rapid.Check(t, func(t *rapid.T) {
		in := expedition(rapid.IntRange(4, 9).Draw(t, "legs"))
		switch rapid.IntRange(0, 2).Draw(t, "team") {
		case 0: // a pair with one supply each, as most dives are
			pair(&in)
		case 1:
			in.Policy.ThreeDonor = route.DonorPooled
		}
		in.Policy.ShareFraction = 1 // what two need is what binds
		in.Policy.DelayMin = rapid.Float64Range(0, 6).Draw(t, "delay")
		if rapid.Bool().Draw(t, "reserve") { // then what binds is to surface with it, nothing lost (D24)
			in.Policy.PlannedReserveBar = rapid.Float64Range(60, 140).Draw(t, "bar")
		}
		depth := 6.0
		for i := 1; i < len(in.Stations); i++ {
			depth = min(60, max(3, depth+rapid.Float64Range(-6, 14).Draw(t, "deeper")))
			in.Stations[i].DepthM = depth
		}
		for d := range in.Team {
			in.Team[d].RMVLMin = rapid.Float64Range(12, 30).Draw(t, "rate")
			in.Team[d].Mains[0].VolumeL = rapid.Float64Range(14, 60).Draw(t, "volume")
		}
		for i := range in.Legs {
			l := &in.Legs[i]
			low, high := in.Stations[i].DepthM, in.Stations[i+1].DepthM
			l.LengthM = rapid.Float64Range(30, 120).Draw(t, "length")
			l.DepthPoints[0] = route.DepthPoint{AtM: l.LengthM / 2, DepthM: (low+high)/2 + rapid.Float64Range(-2, 6).Draw(t, "dip")}
			l.FlowMMin = rapid.Float64Range(-3, 3).Draw(t, "flow")
		}
		q := question(t, in)
		if q == nil || q.Result.Verdict == route.Refused {
			t.Skip("no dive")
		}
		w, err := Open(q)
		if err != nil {
			t.Skip("no schedule as planned")
		}
		grid := slices.Clone(w.places)
		w.Answer()
		if w.reach != nil {
			turned++
		}
		for i := 1; i < len(grid); i++ {
			a, b := grid[i-1], grid[i]
			if before := w.reach == nil || a.spot.Before(w.reach.spot); before && !w.begun(a) && a.judged && !w.getsHome(a) {
				t.Fatalf("the turn told is %+v, but nobody gets home from %+v: %v", w.reach, a.at, a.broken())
			}
			for share := 0.125; share <= 1; share += 0.125 {
				spot, ok := w.normal.path.Between(a.spot, b.spot, share, 1e-9)
				if !ok {
					break
				}
				if w.reach != nil && !spot.Before(w.reach.spot) {
					return
				}
				looked := w.at(spot)
				if len(looked) == 0 {
					continue
				}
				p := looked[0]
				if w.judge(p); len(p.binds) > 0 {
					told := "none"
					if w.reach != nil {
						told = fmt.Sprintf("%+v, where %v binds", w.reach.at, w.binds)
					}
					spares := ""
					for k, m := range p.tested {
						if m != nil && !m.holds() {
							spares += fmt.Sprintf(" %s: %.3f L of %+v;", w.who(&w.failures[k]), m.spare(), m.gases)
						}
					}
					t.Fatalf("the turn told is %s, but at %+v %v binds:%s", told, p.at, p.broken(), spares)
				}
			}
		}
	})
	if turned < 3 {
		t.Errorf("%d turns: the caves decide nothing", turned)
	}
}

// pair leaves the first two divers, with their mains alone.
func pair(in *route.Input) {
	in.Team = in.Team[:2]
	for d := range in.Team {
		in.Team[d].Stages = nil
	}
	in.Route.StartActions = nil
	for i := range in.Route.Moves {
		in.Route.Moves[i].Actions = nil
	}
}
