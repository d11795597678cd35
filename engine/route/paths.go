package route

// mostPaths bounds the ways out of one station that are told apart: a maze has more
// than anybody could schedule. mostTrails bounds the search for them.
const (
	mostPaths  = 64
	mostTrails = 64 * mostPaths
)

// trail is a way out under construction, from a station on.
type trail struct {
	node     int     // reached
	from     int     // the trail it leads on; -1: none
	leg, dir int     // by which
	barMin   float64 // of the legs
	metres   float64
	bound    float64 // what it costs at least, up to the surface; exact where it is closed
	closed   bool    // straight up from here
}

// still is a copy that stays as it is while more legs come to count.
func (w *ways) still() *ways {
	if w.frozen == nil {
		w.frozen = &ways{p: w.p, joins: w.joins, best: append([]*way(nil), w.best...), usable: append([][2]bool(nil), w.usable...), found: map[[2]int][]*way{}}
	}
	return w.frozen
}

// paths are the ways out of a station over legs that count, in order of what they
// cost without stops, equal ones of fewer metres first: no station twice, and never
// over the leg to avoid (-1: none). With the stops that are required any of them can
// be the one that costs least (D15). At most mostPaths. Of a still copy only.
func (w *ways) paths(node, avoid int) []*way {
	list, done := w.found[[2]int{node, avoid}]
	if !done {
		list = w.search(node, avoid)
		w.found[[2]int{node, avoid}] = list
	}
	return list
}

func (w *ways) search(node, avoid int) (list []*way) {
	var trails []trail
	open := queue{less: func(i, k int) bool {
		a, b := &trails[i], &trails[k]
		if tie(a.bound, b.bound) {
			return a.metres < b.metres-1e-9 || a.metres <= b.metres+1e-9 && i < k
		}
		return a.bound < b.bound
	}}
	add := func(x trail) {
		b := w.best[x.node]
		if b == nil || len(trails) > mostTrails {
			return
		}
		if w.p.nodes[x.node].opening {
			y := x
			y.bound, y.closed = x.barMin+w.up(x.node).barMin, true
			trails = append(trails, y)
			open.push(len(trails) - 1)
		}
		x.bound = x.barMin + b.barMin
		trails = append(trails, x)
		open.push(len(trails) - 1)
	}
	add(trail{node: node, from: -1})
	for len(open.heap) > 0 && len(list) < mostPaths {
		at := open.pop()
		x := trails[at]
		if x.closed {
			list = append(list, w.made(trails, at))
			continue
		}
		for _, leg := range w.joins[x.node] {
			for dir := range 2 {
				l := &w.p.legs[leg]
				t, to := &l.travel[dir], l.ends[1-dir]
				if leg == avoid || l.ends[dir] != x.node || !w.usable[leg][dir] || !t.passes || visits(trails, at, to) {
					continue
				}
				add(trail{node: to, from: at, leg: leg, dir: dir, barMin: x.barMin + t.barMin, metres: x.metres + l.in.LengthM})
			}
		}
	}
	return list
}

// visits tells whether a trail has been at a station.
func visits(trails []trail, at, node int) bool {
	for ; at >= 0; at = trails[at].from {
		if trails[at].node == node {
			return true
		}
	}
	return false
}

// made is a closed trail as a way.
func (w *ways) made(trails []trail, at int) *way {
	y := w.up(trails[at].node)
	for ; trails[at].from >= 0; at = trails[at].from {
		y = w.onto(trails[at].leg, trails[at].dir, y)
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

// forks tells which ways lead out of the places of a segment: over the legs that
// counted then, never again over the leg of the place.
type forks struct {
	known    *ways // still; nil: no other way counts
	leg      int   // of the place; -1: at a station
	back, on int   // first stations of the ways that lead back and on; -1: none does
}

// turnings lists them.
func (f *forks) turnings() (list []turning) {
	if f.known == nil {
		return nil
	}
	if f.back >= 0 {
		for _, y := range f.known.paths(f.back, f.leg) {
			list = append(list, turning{back, y})
		}
	}
	if f.on >= 0 {
		for _, y := range f.known.paths(f.on, f.leg) {
			list = append(list, turning{onward, y})
		}
	}
	return list
}
