package route

import (
	"fmt"
	"math"
	"slices"

	"lastlight/engine/gas"
)

// compile resolves what the route touches. The input has been checked and no
// refusal stands.
func compile(in *Input, names names, resolved []resolved, zeroHelpful bool) (*plan, []Problem) {
	p := &plan{in: in, zeroHelpful: zeroHelpful, nodeOf: map[int]int{}, legOf: map[int]int{}, names: names}
	if problems := p.team(); len(problems) > 0 {
		return nil, problems
	}
	p.nodes = make([]node, 0, len(in.Route.Moves)+1)
	p.legs = make([]leg, 0, len(in.Route.Moves))
	p.start = p.node(in.Route.Start)
	p.moves = make([]move, 0, len(in.Route.Moves))
	for i := range in.Route.Moves {
		m := &in.Route.Moves[i]
		c := move{
			leg: p.leg(resolved[i].leg), dir: resolved[i].dir, to: p.node(m.To), swim: m.SwimMMin,
			run: m.RunLine, recover: m.RecoverLine, hold: m.HoldMin, working: working(m.HoldTask),
			actions: p.acts(m.Actions), index: i,
		}
		if c.swim == 0 {
			c.swim = in.Speeds.SwimMMin
		}
		l := &p.legs[c.leg]
		c.ground, c.factor = c.swim+l.flow(c.dir), 1
		if l.pullable > c.ground {
			c.ground, c.factor = l.pullable, orOne(in.Policy.PullAndGlideGasFactor)
		}
		p.moves = append(p.moves, c)
	}
	p.lossCases()
	return p, nil
}

// working tells whether a hold is work and not part of the way out (D22).
func working(task string) bool {
	switch task {
	case "recover_line", "remove_marker", "pick_up", "stop", "switch":
		return false
	}
	return true
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

func (p *plan) team() []Problem {
	var problems []Problem
	for i := range p.in.Team {
		d := &p.in.Team[i]
		c := diver{
			name: d.Name, rmv: d.RMVLMin,
			after: math.Max(float64(p.in.Policy.StressFactor*d.RMVLMin), p.in.Policy.ContingencyFloorLMin),
		}
		volume := 0.0
		add := func(x *Cylinder, main bool, field string) {
			f, err := gas.NewFilling(p.in.GasModel, x.mix(), x.kelvin(), p.in.Water.SurfaceBar)
			if err != nil {
				problems = append(problems, Problem{field, err.Error()})
				return
			}
			n := cylinder{id: x.ID, diver: i, main: main, deco: x.Deco, volume: x.VolumeL, filling: f, bar: x.StartBar}
			n.start = f.Litres(x.VolumeL, x.StartBar)
			n.sharing = f.Litres(x.VolumeL, p.in.Policy.SharingReserveBar)
			n.planned = f.Litres(x.VolumeL, p.in.Policy.PlannedReserveBar)
			if main {
				c.mains = append(c.mains, len(p.cyls))
				c.usable += n.start
				c.atIdeal += float64(x.VolumeL * x.StartBar)
				volume += x.VolumeL
			} else {
				c.stages = append(c.stages, len(p.cyls))
			}
			p.cyls = append(p.cyls, n)
		}
		for k := range d.Mains {
			add(&d.Mains[k], true, fmt.Sprintf("team[%d].mains[%d]", i, k))
		}
		for k := range d.Stages {
			add(&d.Stages[k], false, fmt.Sprintf("team[%d].stages[%d]", i, k))
		}
		for k := range d.Mains {
			c.share = append(c.share, d.Mains[k].VolumeL/volume)
		}
		c.all = append(slices.Clone(c.mains), c.stages...)
		p.divers = append(p.divers, c)
	}
	return problems
}

// node gives the plan's index of a station.
func (p *plan) node(name string) int {
	s := p.names.stations[name]
	if n, ok := p.nodeOf[s]; ok {
		return n
	}
	n := len(p.nodes)
	p.nodeOf[s] = n
	x := &p.in.Stations[s]
	p.nodes = append(p.nodes, node{name: x.Name, depth: x.DepthM, opening: x.exit()})
	return n
}

// leg gives the plan's index of a leg of the survey.
func (p *plan) leg(i int) int {
	if n, ok := p.legOf[i]; ok {
		return n
	}
	x := &p.in.Legs[i]
	l := leg{
		in: x, ends: [2]int{p.node(x.From), p.node(x.To)}, lined: x.Lined, jump: !x.Lined,
		major: x.Restriction == RestrictionMajor,
	}
	if slices.Contains(p.in.LeftLines, x.ID) {
		l.lined = true
	}
	l.open = x.Overhead != nil && !*x.Overhead && p.nodes[l.ends[0]].opening && p.nodes[l.ends[1]].opening
	switch {
	case x.PullAndGlideMMin != nil:
		l.pullable = *x.PullAndGlideMMin
	case p.in.Policy.PullAndGlideMMin != nil:
		l.pullable = *p.in.Policy.PullAndGlideMMin
	}
	l.travel = [2]travel{p.travel(&l, 0), p.travel(&l, 1)}
	n := len(p.legs)
	p.legOf[i] = n
	p.legs = append(p.legs, l)
	return n
}

// flow is the water's speed along the travel.
func (l *leg) flow(dir int) float64 {
	if dir == 1 {
		return -l.in.FlowMMin
	}
	return l.in.FlowMMin
}

// leastGround is the contingency ground speed below which a leg is no way out;
// "at or below 0" with room for a sum that should be 0.
const leastGround = 1e-3

// travel prepares a leg in one direction: its pieces (D4) and what it costs at
// contingency speed (D5, D6).
func (p *plan) travel(l *leg, dir int) travel {
	x, pol := l.in, &p.in.Policy
	t := travel{factor: 1}
	flow := l.flow(dir)
	if p.zeroHelpful && flow > 0 {
		flow = 0
	}
	m := math.Max(orOne(pol.SlowExitFactor), orOne(x.SlowExitFactor))
	if x.Restriction == RestrictionMinor {
		m = math.Max(m, orOne(pol.SlowExitMinorRestrict))
	}
	swim := p.in.Speeds.ContingencyMMin
	t.ground = math.Min((swim+flow)/m, swim/m+flow)
	if l.pullable > t.ground {
		t.ground, t.factor = l.pullable, orOne(pol.PullAndGlideGasFactor)
	}
	t.passes = t.ground > leastGround

	points := make([]DepthPoint, 0, len(x.DepthPoints)+2)
	points = append(points, DepthPoint{0, p.nodes[l.ends[0]].depth})
	points = append(points, x.DepthPoints...)
	points = append(points, DepthPoint{x.LengthM, p.nodes[l.ends[1]].depth})
	if dir == 1 {
		slices.Reverse(points)
		for i := range points {
			points[i].AtM = x.LengthM - points[i].AtM
		}
	}
	t.pieces = make([]piece, 0, len(points)-1)
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if b.AtM-a.AtM < 1e-9 {
			continue
		}
		c := piece{at: a.AtM, length: b.AtM - a.AtM, depth: a.DepthM, end: b.DepthM}
		c.p = p.pressure(a.DepthM)
		c.g = float64(p.in.Water.BarPerM*(b.DepthM-a.DepthM)) / c.length
		c.barMin, c.min = t.barMin, t.min
		if t.passes {
			c.tc = p.minutesPerMetre(&c, t.ground)
			c.cost = float64(c.tc * t.factor)
			t.barMin += float64(c.cost * c.integral().at(c.length))
			t.min += float64(c.tc * c.length)
		}
		t.pieces = append(t.pieces, c)
	}
	return t
}

// minutesPerMetre is D4: the slowest of swimming, rising and dropping.
func (p *plan) minutesPerMetre(c *piece, ground float64) float64 {
	t := 1 / ground
	switch drop := c.end - c.depth; {
	case drop < 0:
		t = math.Max(t, -drop/float64(c.length*p.in.Policy.AscentMMin))
	case drop > 0:
		t = math.Max(t, drop/float64(c.length*p.in.Policy.DescentMMin))
	}
	return t
}

func (p *plan) pressure(depth float64) float64 {
	return p.in.Water.SurfaceBar + float64(p.in.Water.BarPerM*depth)
}

// straight is minutes and bar·minutes between the surface and a depth (D3).
func (p *plan) straight(depth, rate float64) (min, barMin float64) {
	if !p.in.Policy.CountOpenWaterAscent {
		return 0, 0
	}
	min = depth / rate
	return min, float64(min*(p.in.Water.SurfaceBar+p.pressure(depth))) / 2
}

func (p *plan) acts(actions []Action) []act {
	if len(actions) == 0 {
		return nil
	}
	list := make([]act, 0, len(actions))
	for i := range actions {
		a := &actions[i]
		c := act{kind: a.Action, cylinder: -1, marker: a.Marker}
		for d := range p.divers {
			if p.divers[d].name == a.Diver {
				c.diver = d
			}
		}
		if a.Cylinder != nil {
			d := &p.divers[c.diver]
			for _, k := range d.all {
				if p.cyls[k].id == *a.Cylinder {
					c.cylinder = k
				}
			}
		}
		list = append(list, c)
	}
	return list
}

// lossCases lists the failures to be tested at every place (4.2, D21, D24).
func (p *plan) lossCases() {
	n := len(p.divers)
	both := func(kind lossKind, donors, consumers []int, lost int) {
		c := lossCase{kind: kind, donors: donors, consumers: consumers, lost: lost}
		for _, d := range consumers {
			c.c += p.divers[d].after
		}
		for _, d := range donors {
			c.home += p.divers[d].rmv
		}
		p.cases = append(p.cases, c)
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	if n > 2 && p.in.Policy.ThreeDonor == DonorPooled {
		for v := range n {
			others := slices.Delete(slices.Clone(all), v, v+1)
			both(sharePooled, others, all, -1)
			p.cases[len(p.cases)-1].victim = v
		}
	} else {
		for j := range n {
			for v := range n {
				if v != j {
					both(sharePair, []int{j}, []int{j, v}, -1)
					p.cases[len(p.cases)-1].victim = v
				}
			}
		}
	}
	for d := range p.divers {
		for _, k := range p.divers[d].stages {
			if !p.cyls[k].deco {
				both(lostWaiting, []int{d}, []int{d}, k)
			}
		}
		if len(p.divers[d].mains) == 2 {
			for i, k := range p.divers[d].mains {
				both(lostMain, []int{d}, []int{d}, k)
				if len(p.divers[d].stages) == 0 && !p.switchesMains(d) {
					c := &p.cases[len(p.cases)-1]
					c.home = float64(c.home * p.divers[d].share[1-i])
				}
			}
		}
	}
}

// switchesMains tells whether the plan names which main a diver breathes. If
// not, both are taken to go down by the same pressure.
func (p *plan) switchesMains(d int) bool {
	named := func(actions []act) bool {
		for _, a := range actions {
			if a.kind == ActSwitchTo && a.diver == d && a.cylinder >= 0 && p.cyls[a.cylinder].main {
				return true
			}
		}
		return false
	}
	if named(p.acts(p.in.Route.StartActions)) {
		return true
	}
	for i := range p.moves {
		if named(p.moves[i].actions) {
			return true
		}
	}
	return false
}
