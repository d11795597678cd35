package deco

import (
	"encoding/binary"
	"math"
	"testing"

	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// FuzzSchedule: any settings, team and path give a schedule of finite numbers or an error.
func FuzzSchedule(f *testing.F) {
	f.Add([]byte{})
	seed := make([]byte, 0, 400)
	for _, v := range []float64{1.01325, .0980665, .3, .7, 3, 6, 9, 1, .21, .35, .5, 21, 40, 4, 3, 30, 12, 2, 0, 40, 7, 5} {
		seed = binary.LittleEndian.AppendUint64(seed, math.Float64bits(v))
	}
	f.Add(seed)
	f.Add(append(seed, seed...))
	f.Fuzz(func(t *testing.T, data []byte) {
		next := func() float64 {
			if len(data) < 8 {
				return 0
			}
			v := math.Float64frombits(binary.LittleEndian.Uint64(data))
			data = data[8:]
			return v
		}
		s := Settings{
			Model: tissue.Default(), Water: water.Column{Surface: next(), PerMetre: next()}, GFLow: next(), GFHigh: next(), Grid: next(),
			LastStop: next(), Ascent: next(), SwitchMinutes: next(), LimitDeco: 1.6, LimitBottom: 1.4, Least: .18,
		}
		p, err := NewPlanner(s)
		if err != nil {
			return
		}
		team := &Team{
			Cylinders: []Cylinder{{Mix: gas.Mix{O2: next(), He: next()}}, {Mix: gas.Mix{O2: next()}, Kind: Deco, SwitchDepth: next()}},
			Divers:    []Diver{{Stages: []int{1}}},
		}
		path := &Path{Nodes: []Node{{}}}
		depth := 0.0
		for len(data) >= 24 && len(path.Pieces) < 40 {
			to := next()
			path.Pieces = append(path.Pieces, Piece{From: depth, To: to, Minutes: next()})
			path.Nodes = append(path.Nodes, Node{Hold: next(), Turn: len(path.Pieces) == 1})
			depth = to
		}
		path.Pieces = append(path.Pieces, Piece{From: depth, To: 0, Minutes: depth / 9})
		path.Nodes = append(path.Nodes, Node{})
		start := Begin(team, []tissue.State{s.Model.Saturated(s.Water.Surface)})
		var r Result
		if err := p.Schedule(team, path, &start, nil, &r); err != nil {
			return
		}
		finite := func(v float64) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%v in %+v", v, r)
			}
		}
		finite(r.End.Minutes)
		for _, x := range r.Stops {
			finite(x.NeededBy.Bar)
			finite(x.Depth)
			if !r.NoSchedule {
				finite(x.LeavesWith.Bar)
			}
		}
		for i := range r.End.Divers[0].Tissues.N2 {
			finite(r.End.Divers[0].Tissues.N2[i])
			finite(r.End.Divers[0].Tissues.He[i])
		}
		e := r.Oxygen(team, 0, s.Water.Pressure)
		finite(e.CNS)
		finite(e.OTU)
	})
}

func TestErrorsNameEverything(t *testing.T) {
	if _, err := NewPlanner(Settings{}); err == nil {
		t.Error("empty settings accepted")
	}
	o := oracles[0]
	p, team, path, start := o.planner(t)
	var r Result
	bad := *path
	bad.Pieces = append([]Piece(nil), path.Pieces...)
	bad.Pieces[1].From = math.NaN()
	for name, err := range map[string]error{
		"depth":  p.Schedule(team, &bad, start, nil, &r),
		"team":   p.Schedule(&Team{}, path, start, nil, &r),
		"probe":  p.Schedule(team, path, start, []Probe{{Node: 99}}, &r),
		"moment": p.Schedule(team, path, &Moment{}, nil, &r),
		"donor":  p.WayOut(team, path, start, Loss{Cylinders: []int{0}, Donor: -1}, &r),
	} {
		if err == nil {
			t.Errorf("wrong %s accepted", name)
		}
	}
}
