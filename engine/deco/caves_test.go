package deco

import (
	"math"
	"math/rand"
	"os"
	"slices"
	"strconv"
	"testing"

	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// cave is a random dive: a passage that goes up and down, in and home again.
type cave struct {
	set   Settings
	team  *Team
	path  *Path
	start Moment
}

var backGases = []gas.Mix{gas.Air, {O2: .32}, {O2: .28}, {O2: .21, He: .35}, {O2: .18, He: .45}, {O2: .15, He: .5}}

func randomCave(rng *rand.Rand) cave {
	pick := func(v ...float64) float64 { return v[rng.Intn(len(v))] }
	variant := tissue.C
	if rng.Intn(3) == 0 {
		variant = tissue.B
	}
	m, err := tissue.New(variant, []string{"1", "1b"}[rng.Intn(2)], tissue.WaterVapour)
	if err != nil {
		panic(err)
	}
	c := cave{set: Settings{
		Model: m, Water: water.Column{Surface: pick(1.01325, 0.9, 0.79495), PerMetre: 0.0980665},
		GFLow: pick(.2, .3, .4), GFHigh: pick(.7, .8, .85, .95), Grid: 3, LastStop: pick(3, 6), Ascent: 9, SwitchMinutes: pick(0, 1),
		LimitDeco: 1.6, LimitBottom: 1.4, Tolerance: .02, Least: .18, FlowLimit: 9,
	}, team: &Team{}}
	var tissues []tissue.State
	for d := range 1 + rng.Intn(3) {
		add := func(x Cylinder) int {
			c.team.Cylinders = append(c.team.Cylinders, x)
			return len(c.team.Cylinders) - 1
		}
		diver := Diver{Name: string(rune('A' + d)), Back: add(Cylinder{ID: "back", Mix: backGases[rng.Intn(len(backGases))]})}
		if rng.Intn(2) == 0 {
			diver.Stages = append(diver.Stages, add(Cylinder{ID: "e50", Mix: gas.Mix{O2: .5}, Kind: Deco, SwitchDepth: 21}))
		}
		if rng.Intn(2) == 0 {
			diver.Stages = append(diver.Stages, add(Cylinder{ID: "o2", Mix: gas.Oxygen, Kind: Deco, SwitchDepth: 6}))
		}
		c.team.Divers = append(c.team.Divers, diver)
		s := m.Saturated(c.set.Water.Surface)
		if rng.Intn(3) == 0 { // dived before
			p := c.set.Water.Pressure(20 + 10*rng.Float64())
			m.Linear(&s, gas.Air, p, p, 25)
			m.Linear(&s, gas.Air, c.set.Water.Surface, c.set.Water.Surface, 60+60*rng.Float64())
		}
		tissues = append(tissues, s)
	}
	c.path = randomPath(rng)
	c.start = Begin(c.team, tissues)
	return c
}

func randomPath(rng *rand.Rand) *Path {
	depths := []float64{math.Round(8 * rng.Float64())}
	for range 2 + rng.Intn(5) {
		d := math.Round(600*rng.Float64()) / 10
		if rng.Intn(3) == 0 {
			d = 3 * math.Round(d/3) // on the grid
		}
		if rng.Intn(4) == 0 {
			d = depths[len(depths)-1] // a level
		}
		depths = append(depths, d)
	}
	way := append([]float64(nil), depths...)
	for i := len(depths) - 2; i >= 0; i-- {
		way = append(way, depths[i])
	}
	p := &Path{Nodes: []Node{{}}}
	add := func(from, to, metres float64, open bool) {
		minutes := math.Max(metres/12, math.Max((from-to)/9, (to-from)/18))
		if minutes == 0 {
			return
		}
		p.Pieces = append(p.Pieces, Piece{From: from, To: to, Minutes: minutes, Metres: metres, OpenWater: open})
		p.Nodes = append(p.Nodes, Node{})
	}
	add(0, way[0], 0, true)
	lengths := make([]float64, len(depths))
	for i := range lengths {
		lengths[i] = 60 * rng.Float64()
	}
	for i := 1; i < len(way); i++ {
		k := i
		if k >= len(depths) {
			k = len(way) - i
		}
		add(way[i-1], way[i], math.Abs(way[i]-way[i-1])+lengths[k], false)
		n := &p.Nodes[len(p.Nodes)-1]
		if i == len(depths)-1 {
			n.Hold, n.Turn = 5+20*rng.Float64(), true
		} else if rng.Intn(6) == 0 {
			n.Hold = math.Round(6 * rng.Float64())
		}
	}
	add(way[len(way)-1], 0, 0, true)
	return p
}

// Seed and number of random caves: fixed for the tests, raised and varied for a
// soak by LASTLIGHT_CAVES and LASTLIGHT_SEED. Both are printed.
func caves(t *testing.T) (*rand.Rand, int) {
	t.Helper()
	number := func(name string, otherwise int64) int64 {
		if v, err := strconv.ParseInt(os.Getenv(name), 10, 64); err == nil {
			return v
		}
		return otherwise
	}
	seed, n := number("LASTLIGHT_SEED", 20), number("LASTLIGHT_CAVES", 300)
	t.Logf("%d caves, seed %d", n, seed)
	return rand.New(rand.NewSource(seed)), int(n)
}

// TestTheCeilingIsNeverBroken is D55: random caves walked again by an independent
// small-step integration. On the travel nothing is above the limit in force.
func TestTheCeilingIsNeverBroken(t *testing.T) {
	rng, count := caves(t)
	stops, noStop, drift := 0, 0, 0
	for n := range count {
		c := randomCave(rng)
		p, err := NewPlanner(c.set)
		if err != nil {
			t.Fatal(err)
		}
		var r Result
		if err := p.Schedule(c.team, c.path, &c.start, nil, &r); err != nil {
			t.Fatalf("cave %d: %v", n, err)
		}
		if r.NoSchedule {
			continue
		}
		stops += len(r.Stops)
		if r.NoStop {
			noStop++
		}
		f := Rewalk(&c.set, c.team, &c.start, &r)
		for _, e := range f.Travel {
			t.Errorf("cave %d: %+v in %+v", n, e, r.Stretches[e.Stretch])
		}
		drift += len(f.Waiting)
		// What is seen on the way is what both walks of the finished schedule see.
		if list := p.Drift(&c.start, &r); r.Drifts != (len(list) > 0) {
			t.Errorf("cave %d: drifts %v, afterwards %+v", n, r.Drifts, list)
		}
		for _, e := range f.Waiting {
			if e.Bar > 10*travelSlack && !r.Drifts {
				t.Errorf("cave %d: %+v was not seen", n, e)
			}
		}
		noMinuteTooLong(t, n, &c, &r)
	}
	if stops < count || noStop < count/30 {
		t.Errorf("%d stops, %d no-stop dives: the caves are one-sided", stops, noStop)
	}
	t.Logf("%d stops, %d no-stop dives, %d waits above a limit", stops, noStop, drift)
}

// TestTheCeilingIsNeverBrokenOnTheWayOut is D55 from the turn of random caves,
// something lost: on the travel nothing is above the limit in force.
func TestTheCeilingIsNeverBrokenOnTheWayOut(t *testing.T) {
	rng, count := caves(t)
	stops, schedules := 0, 0
	for n := range count {
		c := randomCave(rng)
		p, err := NewPlanner(c.set)
		if err != nil {
			t.Fatal(err)
		}
		turn := 0
		for i := range c.path.Nodes {
			if c.path.Nodes[i].Turn {
				turn = i
			}
		}
		var r Result
		if err := p.Schedule(c.team, c.path, &c.start, []Probe{{Node: turn, Hold: c.path.Nodes[turn].Hold}}, &r); err != nil {
			t.Fatal(err)
		}
		if len(r.Moments) == 0 {
			continue // no schedule to there
		}
		l := Loss{Donor: -1}
		if k := rng.Intn(len(c.team.Cylinders) + 1); k < len(c.team.Cylinders) {
			l.Cylinders = []int{k}
			l.Donor = rng.Intn(len(c.team.Divers))
			if c.team.Divers[l.Donor].Back == k {
				l.Cylinders = nil
			}
		}
		way := &Path{Turned: true, Delay: 2 * rng.Float64(), Pieces: c.path.Pieces[turn:], Nodes: append([]Node{{}}, c.path.Nodes[turn+1:]...)}
		var out Result
		if err := p.WayOut(c.team, way, &r.Moments[0], l, &out); err != nil {
			t.Fatal(err)
		}
		if out.NoSchedule {
			continue
		}
		schedules++
		stops += len(out.Stops)
		for _, e := range Rewalk(&c.set, c.team, &r.Moments[0], &out).Travel {
			t.Errorf("cave %d: %+v in %+v", n, e, out.Stretches[e.Stretch])
		}
	}
	if stops < count || schedules < count/2 {
		t.Errorf("%d stops on %d ways out: the caves are one-sided", stops, schedules)
	}
}

// noMinuteTooLong leaves each stop a minute early: before the next stop some
// limit is then broken. Stops of one minute are left out: what refused them was
// the limit before they had an anchor.
func noMinuteTooLong(t *testing.T, n int, c *cave, r *Result) {
	for i := range r.Stretches {
		x := r.Stretches[i]
		if x.Kind != Stopped || x.Minutes < 2 {
			continue
		}
		early := *r
		early.Stretches = append([]Stretch(nil), r.Stretches[:i+1]...)
		early.Stretches[i].Minutes--
		for _, y := range r.Stretches[i+1:] {
			if y.Kind == Stopped {
				break
			}
			early.Stretches = append(early.Stretches, y)
		}
		broken := false
		for _, e := range Rewalk(&c.set, c.team, &c.start, &early).Travel {
			broken = broken || e.Stretch > i
		}
		// After hours the tissues hardly change in a minute: less than the small steps resolve.
		if !broken && aboveAtAnEnd(c, &early, i, r.LastStop) <= 0 {
			t.Errorf("cave %d: stop at %v m for %v min could be a minute shorter", n, x.From, x.Minutes)
		}
	}
}

// aboveAtAnEnd is how far tissues by the closed form are above the limit in force at
// the end of any travel after a stretch, bar; it asks nothing of the planner.
func aboveAtAnEnd(c *cave, r *Result, after int, lastStop float64) float64 {
	worst := math.Inf(-1)
	for d := range c.team.Divers {
		s := c.start.Divers[d].Tissues
		for i := range r.Stretches {
			x := &r.Stretches[i]
			ambient := c.set.Water.Pressure(x.To)
			c.set.Model.Linear(&s, c.team.Cylinders[x.Breathing[d]].Mix, c.set.Water.Pressure(x.From), ambient, x.Minutes)
			if i <= after || x.Kind != Travel {
				continue
			}
			for k := range tissue.Count {
				compartment := c.set.Model.Compartment(k)
				worst = math.Max(worst, s.N2[k]+s.He[k]-limit(gfOf(&c.set, lastStop, x.To, x, d), &compartment, s.N2[k], s.He[k], ambient))
			}
		}
	}
	return worst
}

// TestCutsChangeNothing is D54: straight pieces cut anywhere give the same stops.
func TestCutsChangeNothing(t *testing.T) {
	rng, count := caves(t)
	for n := range count {
		c := randomCave(rng)
		cut := &Path{Nodes: []Node{c.path.Nodes[0]}}
		for i, q := range c.path.Pieces {
			parts := 1 + rng.Intn(3)
			for k := range parts {
				a, b := float64(k)/float64(parts), float64(k+1)/float64(parts)
				x := q
				x.From, x.To = q.From+(q.To-q.From)*a, q.From+(q.To-q.From)*b
				x.Minutes, x.Metres, x.Past = q.Minutes*(b-a), q.Metres*(b-a), q.Past+q.Metres*a
				cut.Pieces = append(cut.Pieces, x)
				if k < parts-1 {
					cut.Nodes = append(cut.Nodes, Node{})
				}
			}
			cut.Nodes = append(cut.Nodes, c.path.Nodes[i+1])
		}
		p, err := NewPlanner(c.set)
		if err != nil {
			t.Fatal(err)
		}
		var a, b Result
		if err := p.Schedule(c.team, c.path, &c.start, nil, &a); err != nil {
			t.Fatal(err)
		}
		if err := p.Schedule(c.team, cut, &c.start, nil, &b); err != nil {
			t.Fatal(err)
		}
		if len(a.Stops) != len(b.Stops) || math.Abs(a.End.Minutes-b.End.Minutes) > 1e-6 || a.NoStop != b.NoStop || len(a.Switches) != len(b.Switches) {
			t.Errorf("cave %d: %d stops, %v min; cut: %d stops, %v min", n, len(a.Stops), a.End.Minutes, len(b.Stops), b.End.Minutes)
			continue
		}
		for i := range a.Stops {
			x, y := a.Stops[i], b.Stops[i]
			if x.Minutes != y.Minutes || math.Abs(x.Depth-y.Depth) > 1e-6 || math.Abs(x.LeavesWith.Bar-y.LeavesWith.Bar) > 1e-6 {
				t.Errorf("cave %d stop %d: %+v; cut: %+v", n, i+1, x, y)
			}
		}
	}
}

// A planner gives the same bits for the same dive whatever it planned before,
// and a probe changes none.
func TestNothingIsRemembered(t *testing.T) {
	rng, count := caves(t)
	for range count / 6 {
		a, b := randomCave(rng), randomCave(rng)
		p, err := NewPlanner(a.set)
		if err != nil {
			t.Fatal(err)
		}
		fresh, err := NewPlanner(a.set)
		if err != nil {
			t.Fatal(err)
		}
		var x, y, other Result
		if err := p.Schedule(b.team, b.path, &b.start, nil, &other); err != nil {
			t.Fatal(err)
		}
		var probes []Probe
		for i := range a.path.Pieces {
			probes = append(probes, Probe{Node: i, Hold: a.path.Nodes[i].Hold / 2}, Probe{Node: -1, Piece: i, Share: rng.Float64()})
		}
		if err := p.Schedule(a.team, a.path, &a.start, probes, &x); err != nil {
			t.Fatal(err)
		}
		if err := fresh.Schedule(a.team, a.path, &a.start, nil, &y); err != nil {
			t.Fatal(err)
		}
		if x.End.Minutes != y.End.Minutes || x.Closest() != y.Closest() || len(x.Stops) != len(y.Stops) {
			t.Fatalf("%v min, closest %v; fresh: %v min, closest %v", x.End.Minutes, x.Closest(), y.End.Minutes, y.Closest())
		}
		for d := range x.End.Divers {
			if x.End.Divers[d].Tissues != y.End.Divers[d].Tissues {
				t.Fatal("tissues differ")
			}
		}
		if !x.NoSchedule && len(x.Moments) != len(probes) {
			t.Fatalf("%d moments for %d probes", len(x.Moments), len(probes))
		}
	}
}

// Raising GF high alone never lengthens the total stop time on an open-water
// profile, where a change of gas takes no time. Where it does, it can: a diver
// exempt with the higher factor changes no gas, and the minute that the team
// would have spent on it is then missing to another.
func TestHigherGFHighIsNeverLonger(t *testing.T) {
	rng, count := caves(t)
	for range count / 3 {
		c := randomCave(rng)
		c.set.SwitchMinutes = 0
		c.path = openWater(10+60*rng.Float64(), 10+30*rng.Float64(), 20, 9)
		before := math.MaxInt
		for gf := c.set.GFLow; gf <= 1; gf += 0.05 {
			c.set.GFHigh = gf
			p, err := NewPlanner(c.set)
			if err != nil {
				t.Fatal(err)
			}
			var r Result
			if err := p.Schedule(c.team, c.path, &c.start, nil, &r); err != nil {
				t.Fatal(err)
			}
			if r.NoSchedule {
				continue
			}
			if total := r.TotalStop(); total > before {
				t.Errorf("GF high %v: %d min, before it %d", gf, total, before)
			} else {
				before = total
			}
		}
	}
}

// A plain schedule is the same dive; it only does not say who needed a stop.
func TestPlainSchedulesAreTheSame(t *testing.T) {
	rng, count := caves(t)
	stops := 0
	for n := range count {
		c := randomCave(rng)
		p, err := NewPlanner(c.set)
		if err != nil {
			t.Fatal(err)
		}
		var whole, plain Result
		if err := p.Schedule(c.team, c.path, &c.start, nil, &whole); err != nil {
			t.Fatal(err)
		}
		p.Plain = true
		if err := p.Schedule(c.team, c.path, &c.start, nil, &plain); err != nil {
			t.Fatal(err)
		}
		if whole.NoSchedule != plain.NoSchedule || whole.NoStop != plain.NoStop || whole.End.Minutes != plain.End.Minutes ||
			!slices.Equal(whole.Switches, plain.Switches) || !slices.Equal(whole.Stretches, plain.Stretches) || len(whole.Stops) != len(plain.Stops) {
			t.Fatalf("cave %d: plain %+v, whole %+v", n, plain.Stops, whole.Stops)
		}
		for i := range plain.Stops {
			x, y := whole.Stops[i], plain.Stops[i]
			if d := x.LeavesWith.Bar - y.LeavesWith.Bar; !(math.Abs(d) < 1e-12) && !whole.NoSchedule {
				t.Errorf("cave %d, stop %d: leaves with %v bar, plain %v", n, i, x.LeavesWith.Bar, y.LeavesWith.Bar)
			}
			x.NeededBy, x.LeavesWith, y.LeavesWith = y.NeededBy, Margin{}, Margin{}
			if x != y {
				t.Errorf("cave %d, stop %d: %+v, plain %+v", n, i, x, y)
			}
		}
		stops += len(plain.Stops)
	}
	if stops < count {
		t.Errorf("%d stops: the caves are one-sided", stops)
	}
}

// Whoever comes with more helium than a place allows is above its limit while the team
// waits there: seen on the way as by both walks of the finished schedule.
func TestAWaitAboveTheLimitIsSeen(t *testing.T) {
	c := randomCave(rand.New(rand.NewSource(3)))
	p, err := NewPlanner(c.set)
	if err != nil {
		t.Fatal(err)
	}
	team := &Team{Cylinders: []Cylinder{{Mix: gas.Mix{O2: .21, He: .35}}}, Divers: []Diver{{Name: "A"}}}
	path := &Path{
		Nodes:  []Node{{}, {Hold: 5, Turn: true}, {}},
		Pieces: []Piece{{From: 0, To: 4, Minutes: 1}, {From: 4, To: 0, Minutes: 1}},
	}
	for _, loaded := range []bool{false, true} {
		state := c.set.Model.Saturated(c.set.Water.Surface)
		if loaded {
			for i := range state.He {
				state.He[i] = 3
			}
		}
		start := Begin(team, []tissue.State{state})
		var r Result
		if err := p.Schedule(team, path, &start, nil, &r); err != nil {
			t.Fatal(err)
		}
		if a, b := p.Drift(&start, &r), Rewalk(&c.set, team, &start, &r).Waiting; r.Drifts != loaded || len(a) > 0 != loaded || len(b) > 0 != loaded {
			t.Errorf("loaded %v: seen %v, afterwards %+v and %+v", loaded, r.Drifts, a, b)
		}
	}
}
