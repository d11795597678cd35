package passage

import (
	"errors"
	"math"

	"lastlight/engine/deco"
)

// Way is a way out that was chosen and scheduled.
type Way struct {
	Legs    []int
	Opening int
	Metres  float64 // of line
	Path    deco.Path
	Result  deco.Result // with the loss
}

// errNoWay is the answer where no known way out exists.
var errNoWay = errors.New("no known way out")

// maxTried bounds how many ways out are scheduled to find the cheapest with its stops.
const maxTried = 64

// hop is a leg swum on a way out.
type hop struct {
	leg  int
	dir  direction
	past float64 // metres already behind, of the first leg
}

// partial is a way out under construction.
type partial struct {
	hops    []hop
	at      int     // station reached
	bound   float64 // bar·minutes so far, and at least to the surface
	metres  float64
	cost    float64
	closed  bool // ends here
	onward  bool // begins by going on
	visited []bool
}

// WayOut finds the way out of a place that costs least bar·minutes with the stops
// it needs on the gases carried there (D15, D51), then schedules it with the loss
// and with what waits on it (D44). moment is the team's state there, as Schedule
// gave it for Probe. The planner's settings must be those of the dive.
func (n *Network) WayOut(p *deco.Planner, t *deco.Team, d *Dive, place Place, moment *deco.Moment, l deco.Loss, pressure func(float64) float64) (*Way, error) {
	s := n.at(d, t, place)
	rest := n.toSurface(s.known, pressure)
	open := n.begin(d, s, place, rest, pressure)
	var best *Way
	bestCost, tried := math.Inf(1), 0
	var result deco.Result
	for len(open) > 0 && tried < maxTried {
		i := cheapest(open)
		x := open[i]
		open[i] = open[len(open)-1]
		open = open[:len(open)-1]
		if x.bound >= bestCost-1e-9 {
			break
		}
		if !x.closed {
			open = n.extend(open, x, s.known, rest, pressure)
			continue
		}
		tried++
		path := n.lay(x, nil)
		if err := p.Schedule(t, &path, moment, nil, &result); err != nil {
			return nil, err
		}
		if c := result.BarMinutes(pressure); !result.NoSchedule && c < bestCost-1e-9 {
			bestCost = c
			best = &Way{Path: path, Opening: x.at, Metres: x.metres}
			best.Legs = best.Legs[:0]
			for _, h := range x.hops {
				best.Legs = append(best.Legs, h.leg)
			}
			best.Path = n.lay(x, n.waitingOn(t, x, s, place, d))
		} else if best == nil && result.NoSchedule {
			best = &Way{Opening: x.at, Metres: x.metres, Path: n.lay(x, n.waitingOn(t, x, s, place, d))}
			for _, h := range x.hops {
				best.Legs = append(best.Legs, h.leg)
			}
		}
	}
	if best == nil {
		return nil, errNoWay
	}
	best.Path.Delay = n.Rates.Delay
	return best, p.WayOut(t, &best.Path, moment, l, &best.Result)
}

// cheapest is the partial way with the least bound; ties go to fewer metres,
// then to going back.
func cheapest(open []*partial) int {
	best := 0
	for i, x := range open {
		b := open[best]
		switch {
		case x.bound < b.bound-1e-9:
			best = i
		case x.bound > b.bound+1e-9:
		case x.metres < b.metres-1e-9, x.metres <= b.metres+1e-9 && b.onward && !x.onward:
			best = i
		}
	}
	return best
}

// barMinutes of pieces without stops.
func barMinutes(pieces []deco.Piece, pressure func(float64) float64) float64 {
	sum := 0.0
	for i := range pieces {
		q := &pieces[i]
		sum += float64(float64(0.5*q.Minutes) * (pressure(q.From) + pressure(q.To)))
	}
	return sum
}

// toSurface is the least bar·minutes from every station to the surface over
// legs that count, without stops (Bellman-Ford: the legs near a route are few).
func (n *Network) toSurface(known []bool, pressure func(float64) float64) []float64 {
	cost := make([]float64, len(n.Stations))
	for i := range cost {
		cost[i] = math.Inf(1)
		if n.Stations[i].Opening {
			cost[i] = barMinutes(n.ascent(nil, i, 0), pressure)
		}
	}
	for changed := true; changed; {
		changed = false
		for leg := range n.Legs {
			if !known[leg] {
				continue
			}
			for dir := range 2 {
				from, to := n.ends(leg, dir)
				g := n.contingency(leg, dir)
				if !(g > leastGround) || math.IsInf(cost[to], 1) {
					continue
				}
				if c := cost[to] + barMinutes(n.travel(nil, leg, dir, 0, g, 0), pressure); c < cost[from]-1e-12 {
					cost[from], changed = c, true
				}
			}
		}
	}
	return cost
}

// begin lists the first steps of ways out of a place.
func (n *Network) begin(d *Dive, s situation, place Place, rest []float64, pressure func(float64) float64) []*partial {
	m := &d.Moves[place.Move-1]
	from, to := n.ends(m.Leg, m.Dir)
	fresh := func(at int) *partial { return &partial{at: at, visited: make([]bool, len(n.Stations))} }
	if !place.Inside {
		x := fresh(to)
		x.visited[to] = true
		return n.close([]*partial{}, x, rest, pressure, true)
	}
	var open []*partial
	length := n.Legs[m.Leg].Length
	add := func(leg int, dir direction, past float64, at int, onward bool) {
		g := n.contingency(leg, dir)
		if !(g > leastGround) {
			return
		}
		x := fresh(at)
		x.onward = onward
		x.hops = []hop{{leg, dir, past}}
		x.metres = length - past
		x.cost = barMinutes(n.travel(nil, leg, dir, past, g, 0), pressure)
		x.visited[at] = true
		open = n.close(open, x, rest, pressure, true)
	}
	// The line behind lies there unless it is being recovered.
	if !m.Recover {
		add(m.Leg, 1-m.Dir, length-place.Past, from, false)
	}
	if s.known[m.Leg] || (m.Recover && n.swumBefore(d, place.Move, m.Leg)) {
		add(m.Leg, m.Dir, place.Past, to, true)
	}
	return open
}

func (n *Network) swumBefore(d *Dive, move, leg int) bool {
	for i := range d.Moves[:move-1] {
		if d.Moves[i].Leg == leg {
			return true
		}
	}
	return leg < len(d.Verified) && d.Verified[leg]
}

// close adds x to the open ways: as it is, to be led on, and ended where it is at an opening.
func (n *Network) close(open []*partial, x *partial, rest []float64, pressure func(float64) float64, lead bool) []*partial {
	if math.IsInf(rest[x.at], 1) {
		return open
	}
	if n.Stations[x.at].Opening {
		y := *x
		y.closed = true
		y.bound = x.cost + barMinutes(n.ascent(nil, x.at, 0), pressure)
		open = append(open, &y)
	}
	if lead {
		x.bound = x.cost + rest[x.at]
		open = append(open, x)
	}
	return open
}

// extend leads a way on over every leg that counts to a station it has not visited.
// The leg of a place inside it is not swum again: that would come back past the place.
func (n *Network) extend(open []*partial, x *partial, known []bool, rest []float64, pressure func(float64) float64) []*partial {
	for leg := range n.Legs {
		if !known[leg] || len(x.hops) > 0 && x.hops[0].leg == leg {
			continue
		}
		for dir := range 2 {
			from, to := n.ends(leg, dir)
			g := n.contingency(leg, dir)
			if from != x.at || x.visited[to] || !(g > leastGround) {
				continue
			}
			y := &partial{
				at: to, onward: x.onward, metres: x.metres + n.Legs[leg].Length,
				cost: x.cost + barMinutes(n.travel(nil, leg, dir, 0, g, 0), pressure),
			}
			y.hops = append(append([]hop(nil), x.hops...), hop{leg, dir, 0})
			y.visited = append([]bool(nil), x.visited...)
			y.visited[to] = true
			open = n.close(open, y, rest, pressure, true)
		}
	}
	return open
}

// lay makes the path of a way out. actions gives what is picked up after each
// hop, index 0 being the place itself.
func (n *Network) lay(x *partial, actions [][]deco.Action) deco.Path {
	p := deco.Path{Turned: true}
	node := func(i int, station string) deco.Node {
		nd := deco.Node{Station: station}
		if i < len(actions) {
			nd.Actions = actions[i]
		}
		return nd
	}
	first := x.at
	name := ""
	if len(x.hops) > 0 {
		first, _ = n.ends(x.hops[0].leg, x.hops[0].dir)
	}
	if len(x.hops) == 0 || x.hops[0].past == 0 {
		name = n.Stations[first].Name
	}
	p.Nodes = append(p.Nodes, node(0, name))
	for i, h := range x.hops {
		_, to := n.ends(h.leg, h.dir)
		p.Pieces = n.travel(p.Pieces, h.leg, h.dir, h.past, n.contingency(h.leg, h.dir), i+1)
		for len(p.Nodes) < len(p.Pieces) {
			p.Nodes = append(p.Nodes, deco.Node{})
		}
		if len(p.Nodes) == len(p.Pieces) {
			p.Nodes = append(p.Nodes, node(i+1, n.Stations[to].Name))
		}
	}
	p.Pieces = n.ascent(p.Pieces, x.at, len(x.hops)+1)
	if len(p.Pieces) == 0 { // at an opening at the surface already
		p.Pieces = append(p.Pieces, deco.Piece{OpenWater: true, Station: n.Stations[x.at].Name})
	}
	if len(p.Nodes) < len(p.Pieces)+1 {
		p.Nodes = append(p.Nodes, deco.Node{})
	}
	return p
}

// waitingOn lists what owners pick up along a way out (D44).
func (n *Network) waitingOn(t *deco.Team, x *partial, s situation, place Place, d *Dive) [][]deco.Action {
	list := make([][]deco.Action, len(x.hops)+1)
	at := func(i, station int) {
		for diver := range t.Divers {
			for _, c := range t.Divers[diver].Stages {
				if s.waiting[c] == station {
					list[i] = append(list[i], deco.Action{Kind: deco.PickUp, Diver: diver, Cylinder: c})
				}
			}
		}
	}
	if !place.Inside {
		m := &d.Moves[place.Move-1]
		_, here := n.ends(m.Leg, m.Dir)
		at(0, here)
	}
	for i, h := range x.hops {
		_, to := n.ends(h.leg, h.dir)
		at(i+1, to)
	}
	return list
}
