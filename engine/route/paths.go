package route

// mostPaths bounds the ways out of one station that are told apart: a maze has
// more than anybody could schedule. maxTrails bounds the search for them.
const (
	mostPaths = 64
	maxTrails = 64 * mostPaths
)

// trail is a way out under construction, from a station on.
type trail struct {
	node   int // reached
	hops   []hop
	barMin float64 // of the legs
	metres float64
	bound  float64 // what it costs at least, up to the surface; exact where it is closed
	closed bool    // straight up from here
}

// hop is a leg swum on a trail.
type hop struct{ leg, dir int }

// paths are the ways out of a station over legs that count, in order of what they
// cost without stops, equal ones of fewer metres first: no station twice, and never
// over the leg to avoid (-1: none). With the stops that are required any of them can
// be the one that costs least (D15). At most mostPaths, the first.
func (w *ways) paths(node, avoid int) []*way {
	var list []*way
	open := w.lead(nil, &trail{node: node})
	for n := 0; len(open) > 0 && len(list) < mostPaths && n < maxTrails; n++ {
		i := 0
		for k := range open {
			a, b := open[k], open[i]
			if equal := tie(a.bound, b.bound); !equal && a.bound < b.bound || equal && a.metres < b.metres-1e-9 {
				i = k
			}
		}
		x := open[i]
		open[i] = open[len(open)-1]
		open = open[:len(open)-1]
		if x.closed {
			list = append(list, w.made(x))
			continue
		}
		for _, leg := range w.joins[x.node] {
			for dir := range 2 {
				l := &w.p.legs[leg]
				t, to := &l.travel[dir], l.ends[1-dir]
				if leg == avoid || l.ends[dir] != x.node || !w.usable[leg][dir] || !t.passes || w.visits(x, node, to) {
					continue
				}
				y := &trail{node: to, barMin: x.barMin + t.barMin, metres: x.metres + l.in.LengthM}
				y.hops = append(append(make([]hop, 0, len(x.hops)+1), x.hops...), hop{leg, dir})
				open = w.lead(open, y)
			}
		}
	}
	return list
}

// lead adds a trail to those that are open: to be led on, and ended where it is at an opening.
func (w *ways) lead(open []*trail, x *trail) []*trail {
	b := w.best[x.node]
	if b == nil {
		return open
	}
	if w.p.nodes[x.node].opening {
		_, up := w.p.straight(w.p.nodes[x.node].depth, w.p.in.Policy.AscentMMin)
		open = append(open, &trail{node: x.node, hops: x.hops, metres: x.metres, bound: x.barMin + up, closed: true})
	}
	x.bound = x.barMin + b.barMin
	return append(open, x)
}

// visits tells whether a trail that began at a station has been at another.
func (w *ways) visits(x *trail, from, node int) bool {
	if from == node {
		return true
	}
	for _, h := range x.hops {
		if w.p.legs[h.leg].ends[1-h.dir] == node {
			return true
		}
	}
	return false
}

// made is a closed trail as a way.
func (w *ways) made(x *trail) *way {
	min, barMin := w.p.straight(w.p.nodes[x.node].depth, w.p.in.Policy.AscentMMin)
	y := &way{node: x.node, leg: -1, barMin: barMin, min: min, opening: x.node}
	for k := len(x.hops) - 1; k >= 0; k-- {
		y = w.onto(x.hops[k].leg, x.hops[k].dir, y)
	}
	return y
}

// same tells whether two ways swim the same legs.
func (y *way) same(x *way) bool {
	for y.leg >= 0 && y.leg == x.leg && y.dir == x.dir {
		y, x = y.next, x.next
	}
	return y.leg < 0 && x.leg < 0
}

// turnings are the ways out of a swim over a leg: back, and onward where it leads on.
func (w *ways) turnings(leg, from, to int, canBack, canOn bool) []turning {
	var list []turning
	if canBack {
		for _, y := range w.paths(from, leg) {
			list = append(list, turning{back, y})
		}
	}
	if canOn {
		for _, y := range w.paths(to, leg) {
			list = append(list, turning{onward, y})
		}
	}
	if len(list) < 2 {
		return nil
	}
	return list
}
