package dive

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/route"
)

// drawnDive is a dive with stops: an expedition of random lengths, depths, flow and gas.
func drawnDive(t *rapid.T) route.Input {
	legs := rapid.IntRange(3, 8).Draw(t, "legs")
	in := expedition(legs)
	for d := range in.Team {
		in.Team[d].RMVLMin = rapid.Float64Range(12, 25).Draw(t, "rate")
		in.Team[d].Mains[0].VolumeL = rapid.Float64Range(30, 100).Draw(t, "volume")
	}
	for i := range in.Legs {
		in.Legs[i].LengthM = rapid.Float64Range(12, 40).Draw(t, "length")
		in.Legs[i].DepthPoints[0].AtM = in.Legs[i].LengthM / 2
		in.Legs[i].FlowMMin = rapid.Float64Range(-2, 2).Draw(t, "flow")
	}
	return in
}

func copied(in route.Input) route.Input {
	in.Stations, in.Legs = slices.Clone(in.Stations), slices.Clone(in.Legs)
	for i := range in.Legs {
		in.Legs[i].DepthPoints = slices.Clone(in.Legs[i].DepthPoints)
	}
	in.Route.Moves = slices.Clone(in.Route.Moves)
	return in
}

// answered is a dive with what the engine says of it.
func answered(t *rapid.T, in route.Input) (*Question, *Answer) {
	q := question(t, in)
	q.DelayMin, q.TouchFactor = 10, 0.5
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	return q, w.Answer()
}

func near(a, b, within float64) bool { return math.Abs(a-b) <= within*(1+math.Abs(a)+math.Abs(b)) }

// sameDive compares two answers: schedules, losses and gas. margins is how far the
// margin of a check or a row may differ, of what is needed.
func sameDive(t *rapid.T, q, r *Question, a, b *Answer, margins float64) {
	if a.Schedule.StopMin != b.Schedule.StopMin || len(a.Schedule.Stops) != len(b.Schedule.Stops) || !near(a.Schedule.RuntimeMin, b.Schedule.RuntimeMin, 1e-7) {
		t.Fatalf("%d min of stops in %v min, then %d in %v", a.Schedule.StopMin, a.Schedule.RuntimeMin, b.Schedule.StopMin, b.Schedule.RuntimeMin)
	}
	for i := range a.Schedule.Stops {
		if x, y := a.Schedule.Stops[i], b.Schedule.Stops[i]; !near(x.DepthM, y.DepthM, 1e-6) || x.Minutes != y.Minutes || !near(x.ArrivalMin, y.ArrivalMin, 1e-7) {
			t.Fatalf("stop %+v, then %+v", x, y)
		}
	}
	for i := range a.Schedule.Divers {
		x, y := &a.Schedule.Divers[i], &b.Schedule.Divers[i]
		if !near(x.CNSAll, y.CNSAll, 1e-6) || !near(x.OTUAll, y.OTUAll, 1e-6) {
			t.Fatalf("oxygen %v %% and %v OTU, then %v and %v", x.CNSAll, x.OTUAll, y.CNSAll, y.OTUAll)
		}
		for k := range x.Supplies {
			if !near(x.Supplies[k].LeftL, y.Supplies[k].LeftL, 1e-6) {
				t.Fatalf("%+v, then %+v", x.Supplies[k], y.Supplies[k])
			}
		}
	}
	for i := range a.LostGas {
		if x, y := &a.LostGas[i], &b.LostGas[i]; x.Lost != y.Lost || x.Schedule.StopMin != y.Schedule.StopMin || len(x.Short) != len(y.Short) {
			t.Fatalf("lost gas %+v, then %+v", x, y)
		}
	}
	for i := range a.Cases {
		x, y := &a.Cases[i], &b.Cases[i]
		if x.Kind != y.Kind || x.Diver != y.Diver || x.Victim != y.Victim || x.Lost != y.Lost {
			t.Fatalf("row %+v, then %+v", x, y)
		}
		p, q := x.LeftL-x.NeedL, y.LeftL-y.NeedL
		// Ways out by touch, without help and after a lost cylinder are searched for a place that does not hold. Where there is none, the place that is told is the worst of
		// those looked at, and another cut of the same line has others looked at: the verdict is what has to be the same.
		if searched := x.Kind == CaseTouchContact || x.Kind == CaseTouchSharing || x.Kind == CaseNoHelp || x.Kind == CaseLostCylinder; searched && x.Holds() && y.Holds() {
			continue
		}
		if clear := math.Min(math.Abs(p), math.Abs(q)) > margins*x.NeedL; x.NoWay != y.NoWay || x.Holds() != y.Holds() && clear || math.Abs(p-q) > margins*(1+x.NeedL) && (x.Holds() || y.Holds()) {
			t.Fatalf("row %+v, then %+v", x, y)
		}
	}
	for i := range q.Result.Checks {
		x, y := q.Result.Checks[i], r.Result.Checks[i]
		if x.Name != y.Name || x.Passed != y.Passed && math.Min(math.Abs(x.Margin), math.Abs(y.Margin)) > margins*(1+math.Abs(x.Limit)) {
			t.Fatalf("check %+v, then %+v", x, y)
		}
	}
}

// Reversing every leg and its flow mirrors a dive with stops.
func TestReversedLegsWithStops(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawnDive(t)
		back := copied(in)
		for i := range back.Legs {
			l := &back.Legs[i]
			l.From, l.To, l.FlowMMin = l.To, l.From, -l.FlowMMin
			slices.Reverse(l.DepthPoints)
			for k := range l.DepthPoints {
				l.DepthPoints[k].AtM = l.LengthM - l.DepthPoints[k].AtM
			}
		}
		q, a := answered(t, in)
		r, b := answered(t, back)
		sameDive(t, q, r, a, b, 1e-6)
	})
}

// A leg that is not swum changes nothing of a dive with stops.
func TestUnusedLegWithStops(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawnDive(t)
		more := copied(in)
		more.Stations = append(more.Stations, route.Station{Name: "aside", DepthM: 20})
		at := rapid.IntRange(0, len(in.Stations)-1).Draw(t, "from")
		more.Legs = append(more.Legs, route.Leg{ID: "unused", From: in.Stations[at].Name, To: "aside", LengthM: 60, Lined: true, Restriction: "none"})
		q, a := answered(t, in)
		r, b := answered(t, more)
		sameDive(t, q, r, a, b, 1e-6)
	})
}

// A station set on a leg changes no stop, no minute and no verdict of a dive with
// stops. Places are looked at two minutes apart, so that one more place may find a
// margin a little less.
func TestSplitLegWithStops(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawnDive(t)
		cut := copied(in)
		k := rapid.IntRange(0, len(in.Legs)-1).Draw(t, "leg")
		l := in.Legs[k]
		point := l.DepthPoints[0]
		cut.Stations = append(cut.Stations, route.Station{Name: "between", DepthM: point.DepthM})
		first, second := l, l
		first.ID, first.To, first.LengthM, first.DepthPoints = l.ID+"a", "between", point.AtM, nil
		second.ID, second.From, second.LengthM, second.DepthPoints = l.ID+"b", "between", l.LengthM-point.AtM, nil
		cut.Legs = append(append(append([]route.Leg(nil), in.Legs[:k]...), first, second), in.Legs[k+1:]...)
		cut.Route.Moves = nil
		for _, m := range in.Route.Moves {
			if m.Leg != l.ID {
				cut.Route.Moves = append(cut.Route.Moves, m)
				continue
			}
			ids := []string{first.ID, second.ID}
			if m.To == l.From {
				slices.Reverse(ids)
			}
			m.Leg = ids[1]
			cut.Route.Moves = append(cut.Route.Moves, route.Move{Leg: ids[0], To: "between"}, m)
		}
		q, a := answered(t, in)
		r, b := answered(t, cut)
		sameDive(t, q, r, a, b, 0.02)
	})
}
