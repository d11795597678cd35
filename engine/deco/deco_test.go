package deco

import (
	"math"
	"testing"
	"time"

	"lastlight/engine/floats"
	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// openWater is a square dive straight down and up.
func openWater(depth, bottom, descent, ascent float64) *Path {
	return &Path{
		Nodes: []Node{{}, {Hold: bottom - depth/descent, Turn: true}, {}},
		Pieces: []Piece{
			{From: 0, To: depth, Minutes: depth / descent, OpenWater: true},
			{From: depth, To: 0, Minutes: depth / ascent, OpenWater: true},
		},
	}
}

type oracle struct {
	name                     string
	depth, bottom            float64
	gases                    []Cylinder
	gfLow, gfHigh, last, tts float64
	stops                    [][2]float64
}

// Schedules S1, S6 and S11 of the method handbook, physics section 11.
var oracles = []oracle{
	{
		"S1", 40, 30,
		[]Cylinder{{ID: "air", Mix: gas.Air}},
		.3, .7, 3, 65,
		[][2]float64{{18, 2}, {15, 3}, {12, 4}, {9, 7}, {6, 15}, {3, 30}},
	},
	{
		"S6", 75, 20,
		[]Cylinder{
			{ID: "b", Mix: gas.Mix{O2: .15, He: .55}},
			{ID: "t", Mix: gas.Mix{O2: .21, He: .35}, Kind: Deco, SwitchDepth: 45},
			{ID: "e", Mix: gas.Mix{O2: .5}, Kind: Deco, SwitchDepth: 21},
			{ID: "o", Mix: gas.Oxygen, Kind: Deco, SwitchDepth: 6},
		},
		.2, .8, 6, 61.5,
		[][2]float64{{42, 1}, {36, 1}, {33, 1}, {30, 1}, {27, 1}, {24, 3}, {21, 1}, {18, 3}, {15, 3}, {12, 5}, {9, 7}, {6, 27}},
	},
	{
		"S11", 90, 18,
		[]Cylinder{
			{ID: "b", Mix: gas.Mix{O2: .10, He: .70}},
			{ID: "t", Mix: gas.Mix{O2: .21, He: .35}, Kind: Deco, SwitchDepth: 45},
			{ID: "e", Mix: gas.Mix{O2: .5}, Kind: Deco, SwitchDepth: 21},
			{ID: "o", Mix: gas.Oxygen, Kind: Deco, SwitchDepth: 6},
		},
		.25, .75, 6, 98,
		[][2]float64{{54, 1}, {51, 1}, {48, 1}, {45, 1}, {42, 1}, {36, 1}, {33, 2}, {30, 2}, {27, 2}, {24, 4}, {21, 3}, {18, 4}, {15, 4}, {12, 8}, {9, 12}, {6, 42}},
	},
}

func (o *oracle) planner(t testing.TB) (*Planner, *Team, *Path, *Moment) {
	t.Helper()
	m := tissue.Default()
	p, err := NewPlanner(Settings{
		Model: m, Water: water.Fresh, GFLow: o.gfLow, GFHigh: o.gfHigh, Grid: 3, LastStop: o.last, Ascent: 10,
		LimitDeco: 1.6, LimitBottom: 1.4, Tolerance: .02, Least: .18, FlowLimit: 9,
	})
	if err != nil {
		t.Fatal(err)
	}
	team := &Team{Cylinders: o.gases, Divers: []Diver{{Name: "A"}}}
	for i := 1; i < len(o.gases); i++ {
		team.Divers[0].Stages = append(team.Divers[0].Stages, i)
	}
	start := Begin(team, []tissue.State{m.Saturated(water.Fresh.Surface)})
	return p, team, openWater(o.depth, o.bottom, 20, 10), &start
}

func TestOpenWaterSchedules(t *testing.T) {
	for _, o := range oracles {
		p, team, path, start := o.planner(t)
		var r Result
		if err := p.Schedule(team, path, start, nil, &r); err != nil {
			t.Fatal(err)
		}
		var got [][2]float64
		for _, s := range r.Stops {
			got = append(got, [2]float64{s.Depth, float64(s.Minutes)})
		}
		if len(got) != len(o.stops) {
			t.Errorf("%s: stops %v, want %v", o.name, got, o.stops)
			continue
		}
		for i := range got {
			if got[i] != o.stops[i] {
				t.Errorf("%s: stops %v, want %v", o.name, got, o.stops)
				break
			}
		}
		if d := r.End.Minutes - r.Turn - o.tts; d > 1e-9 || d < -1e-9 {
			t.Errorf("%s: time to surface %v, want %v", o.name, r.End.Minutes-r.Turn, o.tts)
		}
	}
}

// TestSameBits fixes the bits of three schedules: run on another processor
// (arm64 under qemu-user) it shows that nothing was fused or rounded otherwise there.
func TestSameBits(t *testing.T) {
	h := uint64(14695981039346656037)
	mix := func(v float64) { h = (h ^ math.Float64bits(v)) * 1099511628211 }
	for _, o := range oracles {
		p, team, path, start := o.planner(t)
		var r Result
		if err := p.Schedule(team, path, start, nil, &r); err != nil {
			t.Fatal(err)
		}
		for _, s := range r.Stops {
			mix(s.NeededBy.Bar)
			mix(s.LeavesWith.Bar)
		}
		for i := range r.End.Divers[0].Tissues.N2 {
			mix(r.End.Divers[0].Tissues.N2[i])
			mix(r.End.Divers[0].Tissues.He[i])
		}
		e := r.Oxygen(team, 0, water.Fresh.Pressure)
		mix(e.CNS)
		mix(e.OTU)
	}
	if want := uint64(0x600b2b452c458ecb); h != want {
		t.Errorf("hash %#x, want %#x", h, want)
	}
}

// benchmark plans a schedule over and over, every exponential worked out again,
// and shows its time as a multiple of N·t: N the distinct arguments of exp the
// schedule needs at least, t one call of the faster of the library's and the
// engine's exp, measured in the same run.
func benchmark(b *testing.B, o oracle, n float64, plain bool) {
	p, team, path, start := o.planner(b)
	p.Plain = plain
	var r Result
	if err := p.Schedule(team, path, start, nil, &r); err != nil {
		b.Fatal(err)
	}
	t := math.Inf(1)
	for range 500 {
		t = min(t, perCall(math.Exp), perCall(floats.Exp))
	}
	b.ReportAllocs()
	best := math.Inf(1) // of batches, as t is: what else the machine does is not to count
	const batch = 20
	for b.Loop() {
		begin := time.Now()
		for range batch {
			p.Forget()
			if err := p.Schedule(team, path, start, nil, &r); err != nil {
				b.Fatal(err)
			}
		}
		best = min(best, float64(time.Since(begin).Nanoseconds())/batch)
	}
	b.ReportMetric(best, "ns/schedule")
	b.ReportMetric(best/(n*t), "N·t")
}

// perCall is nanoseconds of one call of an exponential.
func perCall(exp func(float64) float64) float64 {
	const calls = 2000
	sum, x := 0.0, -0.001
	begin := time.Now()
	for range calls {
		sum += exp(x)
		x -= 1e-5
	}
	d := time.Since(begin)
	if sum == 0 {
		panic("exponentials of small numbers are not 0")
	}
	return float64(d.Nanoseconds()) / calls
}

func BenchmarkScheduleS1(b *testing.B)  { benchmark(b, oracles[0], 96, false) }
func BenchmarkScheduleS6(b *testing.B)  { benchmark(b, oracles[1], 192, false) }
func BenchmarkScheduleS11(b *testing.B) { benchmark(b, oracles[2], 192, false) }

func BenchmarkPlainS1(b *testing.B)  { benchmark(b, oracles[0], 96, true) }
func BenchmarkPlainS6(b *testing.B)  { benchmark(b, oracles[1], 192, true) }
func BenchmarkPlainS11(b *testing.B) { benchmark(b, oracles[2], 192, true) }

// Row 42 m, 21 min of the printed Bühlmann air table of 1986, 0 to 700 m: 9 m 2,
// 6 m 4, 3 m 10 (read; method handbook, physics section 10). Plain ZH-L16B at GF
// 100/100 is less conservative: 6:3 3:7, and no stop of it may be longer.
func TestStopsAreNotLongerThanThePrintedTable(t *testing.T) {
	o := oracle{"1986", 42, 21, []Cylinder{{ID: "air", Mix: gas.Air}}, 1, 1, 3, 0, nil}
	p, team, path, start := o.planner(t)
	m, err := tissue.New(tissue.B, "1b", tissue.WaterVapour)
	if err != nil {
		t.Fatal(err)
	}
	s := p.set
	s.Model, s.Water = m, water.Column{Surface: 1, PerMetre: 0.1}
	if p, err = NewPlanner(s); err != nil {
		t.Fatal(err)
	}
	start.Divers[0].Tissues = m.Saturated(1)
	var r Result
	if err := p.Schedule(team, path, start, nil, &r); err != nil {
		t.Fatal(err)
	}
	printed := map[float64]int{9: 2, 6: 4, 3: 10}
	for _, x := range r.Stops {
		if x.Minutes > printed[x.Depth] {
			t.Errorf("%v m: %d min, printed %d", x.Depth, x.Minutes, printed[x.Depth])
		}
	}
	if len(r.Stops) != 2 || r.Stops[0].Minutes != 3 || r.Stops[1].Minutes != 7 {
		t.Errorf("stops %+v, want 6:3 3:7", r.Stops)
	}
}
