package route

import (
	"fmt"
	"testing"
)

// longPlan swims so many moves in a straight cave, in and home, with a few side
// stations that the route never sees.
func longPlan(moves, divers, stations int) Input {
	in := siphonR02()
	in.Policy.DelayMin, in.Policy.StressFactor = 2, 1.5
	in.Stations, in.Legs, in.Route.Moves = nil, nil, nil
	in.Team = nil
	for i := range divers {
		in.Team = append(in.Team, Diver{Name: fmt.Sprint("d", i), RMVLMin: 18 + float64(i), Mains: []Cylinder{{VolumeL: 24, StartBar: 220}}})
	}
	length := 300.0 / float64(moves/2)
	for i := range max(stations, moves/2+1) {
		in.Stations = append(in.Stations, Station{Name: fmt.Sprint("s", i), DepthM: min(20, float64(i)*length/10), Opening: i == 0})
		if i > 0 {
			l := Leg{ID: fmt.Sprint("l", i), From: fmt.Sprint("s", i-1), To: fmt.Sprint("s", i), LengthM: length, Lined: true, FlowMMin: -1}
			l.DepthPoints = []DepthPoint{{length / 2, min(20, float64(i)*length/10)}}
			in.Legs = append(in.Legs, l)
		}
	}
	in.Route.Start = "s0"
	for i := 1; i <= moves/2; i++ {
		in.Route.Moves = append(in.Route.Moves, Move{Leg: fmt.Sprint("l", i), To: fmt.Sprint("s", i)})
	}
	for i := moves / 2; i > 0; i-- {
		in.Route.Moves = append(in.Route.Moves, Move{Leg: fmt.Sprint("l", i), To: fmt.Sprint("s", i-1)})
	}
	return in
}

func BenchmarkEvaluate(b *testing.B) {
	for _, c := range []struct{ moves, divers, stations int }{
		{10, 3, 0}, {30, 3, 0}, {100, 3, 0}, {300, 3, 0}, {30, 2, 0}, {30, 6, 0}, {30, 3, 500}, {30, 3, 5000},
	} {
		in := longPlan(c.moves, c.divers, c.stations)
		b.Run(fmt.Sprintf("moves=%d/divers=%d/stations=%d", c.moves, c.divers, len(in.Stations)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				r, problems := Evaluate(in)
				if len(problems) > 0 || len(r.Refused) > 0 {
					b.Fatal(problems, r.Refused)
				}
			}
		})
	}
}
