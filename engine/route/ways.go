package route

import "math"

// way is the cheapest known way out of a station, as a chain of legs. It is
// never changed once made: a cheaper way makes new ones, and what was computed
// for an earlier moment of the dive keeps its own.
type way struct {
	node    int
	leg     int // -1: an opening, straight up
	dir     int
	next    *way
	barMin  float64 // contingency speed, the ascent from the opening included
	min     float64
	metres  float64 // of line
	opening int     // node where it ends
	major   bool    // holds a major restriction (D11)
	jumps   int     // unlined legs on it
	count   int     // legs on it

	memo    *memo
	memoFor int // gear.waiting of the memo
	seen    bool
}

// ways keeps the cheapest known way out of every station over the legs that
// count now. Legs that come to count are added cheaply; one that stops
// counting makes it start anew, if a way used it.
type ways struct {
	p      *plan
	best   []*way
	usable [][2]bool // per leg and direction
	joins  [][]int   // legs at a node
	heap   queue     // nodes whose way got cheaper

	group []int // per node, another of those joined with it by legs that count; itself: none. Openings are joined by the open air
	rings bool  // legs that count close a ring, the open air included: else no place has two ways out

	frozen *ways             // copy as of now; nil: none was asked for
	found  map[[2]int][]*way // paths, of a copy
}

func newWays(p *plan) *ways {
	w := &ways{p: p, best: make([]*way, len(p.nodes)), usable: make([][2]bool, len(p.legs)), joins: make([][]int, len(p.nodes))}
	for i := range p.legs {
		for _, n := range p.legs[i].ends {
			w.joins[n] = append(w.joins[n], i)
		}
	}
	w.heap.less = func(a, b int) bool { return w.best[a].barMin < w.best[b].barMin }
	w.restart()
	w.regroup()
	return w
}

// regroup joins what is joined from the beginning.
func (w *ways) regroup() {
	w.group, w.rings = make([]int, len(w.p.nodes)), false
	opening := -1
	for n := range w.group {
		w.group[n] = n
		if w.p.nodes[n].opening && opening >= 0 {
			w.group[n] = opening
		} else if w.p.nodes[n].opening {
			opening = n
		}
	}
	for leg := range w.usable {
		if w.counts(leg) {
			w.join(leg)
		}
	}
}

// counts tells whether a leg counts in some direction.
func (w *ways) counts(leg int) bool { return w.usable[leg][0] || w.usable[leg][1] }

// join joins the ends of a leg.
func (w *ways) join(leg int) {
	a, b := w.groupOf(w.p.legs[leg].ends[0]), w.groupOf(w.p.legs[leg].ends[1])
	w.rings = w.rings || a == b
	w.group[a] = b
}

func (w *ways) groupOf(n int) int {
	for w.group[n] != n {
		w.group[n] = w.group[w.group[n]]
		n = w.group[n]
	}
	return n
}

// restart computes everything from the openings.
func (w *ways) restart() {
	for n := range w.best {
		w.best[n] = nil
		if w.p.nodes[n].opening {
			w.best[n] = w.up(n)
			w.heap.push(n)
		}
	}
	w.settle()
}

// up is the way straight up from an opening.
func (w *ways) up(n int) *way {
	min, barMin := w.p.straight(w.p.nodes[n].depth, w.p.in.Policy.AscentMMin)
	return &way{node: n, leg: -1, barMin: barMin, min: min, opening: n}
}

// tie is the difference in bar·minutes below which two ways cost the same.
func tie(a, b float64) bool { return math.Abs(a-b) <= float64(1e-9*(1+math.Abs(a))) }

// over makes the way from the beginning of a leg in a direction, or nil.
func (w *ways) over(leg, dir int) *way {
	l := &w.p.legs[leg]
	next := w.best[l.ends[1-dir]]
	if next == nil || !l.travel[dir].passes {
		return nil
	}
	return w.onto(leg, dir, next)
}

// onto is the way over a leg and on by another.
func (w *ways) onto(leg, dir int, next *way) *way {
	l := &w.p.legs[leg]
	t := &l.travel[dir]
	y := &way{
		node: l.ends[dir], leg: leg, dir: dir, next: next, barMin: t.barMin + next.barMin, min: t.min + next.min,
		metres: l.in.LengthM + next.metres, opening: next.opening, major: next.major || l.major, jumps: next.jumps, count: next.count + 1,
	}
	if l.jump {
		y.jumps++
	}
	return y
}

// relax takes the leg in a direction if that is cheaper, or as cheap with fewer
// metres (D15).
func (w *ways) relax(leg, dir int) {
	if !w.usable[leg][dir] {
		return
	}
	l := &w.p.legs[leg]
	from, next := l.ends[dir], w.best[l.ends[1-dir]]
	t := &l.travel[dir]
	if next == nil || !t.passes {
		return
	}
	if b := w.best[from]; b != nil {
		cost, metres := t.barMin+next.barMin, l.in.LengthM+next.metres
		if tie(cost, b.barMin) {
			if !(metres < b.metres-1e-9) {
				return
			}
		} else if cost > b.barMin {
			return
		}
	}
	w.best[from] = w.over(leg, dir)
	w.heap.push(from)
}

// allow makes a leg count in the given directions.
func (w *ways) allow(leg int, dirs [2]bool) {
	w.frozen = nil
	counted := w.counts(leg)
	w.usable[leg][0] = w.usable[leg][0] || dirs[0]
	w.usable[leg][1] = w.usable[leg][1] || dirs[1]
	if !counted && w.counts(leg) {
		w.join(leg)
	}
	w.relax(leg, 0)
	w.relax(leg, 1)
	w.settle()
}

// forbid makes a leg count no more.
func (w *ways) forbid(leg int) {
	w.frozen = nil
	w.usable[leg] = [2]bool{}
	w.regroup()
	for _, n := range w.p.legs[leg].ends {
		if b := w.best[n]; b != nil && b.leg == leg {
			w.restart()
			return
		}
	}
}

func (w *ways) settle() {
	for len(w.heap.heap) > 0 {
		n := w.heap.pop()
		for _, leg := range w.joins[n] {
			// Towards n: from the other end.
			if w.p.legs[leg].ends[1] == n {
				w.relax(leg, 0)
			}
			if w.p.legs[leg].ends[0] == n {
				w.relax(leg, 1)
			}
		}
	}
}
