package route

import "math"

// gear is where the cylinders are and what each diver breathes, between two
// stations at which that changes.
type gear struct {
	inUse   []int // per diver: cylinder, -1 = the mains
	where   []int // per cylinder: node where it waits, -1 = carried
	waiting int   // number of this set of waiting cylinders, 0 = none waits
	lying   []lying
	rate    []float64 // per case: what the donors breathe out of what counts, L/min
	reserve []float64 // per case: sharing reserves, L
	active  []bool    // per case
}

// lying is a cylinder that waits at a station.
type lying struct {
	cyl, node, diver int
	content          float64
	above            float64 // of the planned reserve, L; 0 for deco gas
}

const mainsInUse = -1

// breathe is the share of the diver's consumption that comes out of a cylinder.
func (p *plan) breathe(g *gear, k int) float64 {
	c := &p.cyls[k]
	use := g.inUse[c.diver]
	if use != mainsInUse {
		if use == k {
			return 1
		}
		return 0
	}
	if !c.main {
		return 0
	}
	d := &p.divers[c.diver]
	for i, m := range d.mains {
		if m == k {
			return d.share[i]
		}
	}
	return 0
}

// counts tells whether a cylinder helps in a case when its owner is donor:
// mains and stages carried (D18), no deco gas, not what is lost.
func (p *plan) counts(g *gear, c *lossCase, k int) bool {
	x := &p.cyls[k]
	return g.where[k] < 0 && !x.deco && !(c.lost == k && (c.kind == lostMain || c.kind == lostWaiting))
}

// settle fills what follows from inUse and where; content is that of now.
func (g *gear) settle(p *plan, content []float64, number *int) {
	g.lying = nil
	for k, n := range g.where {
		if n < 0 {
			continue
		}
		c := &p.cyls[k]
		y := lying{cyl: k, node: n, diver: c.diver, content: content[k]}
		if !c.deco {
			y.above = math.Max(0, content[k]-c.planned)
		}
		g.lying = append(g.lying, y)
	}
	g.waiting = 0
	if len(g.lying) > 0 {
		*number++
		g.waiting = *number
	}
	n := len(p.cases)
	g.rate, g.reserve, g.active = make([]float64, n), make([]float64, n), make([]bool, n)
	for i := range p.cases {
		c := &p.cases[i]
		g.active[i] = c.kind != lostWaiting || g.where[c.lost] >= 0
		for _, d := range c.donors {
			for _, k := range p.divers[d].all {
				if p.counts(g, c, k) {
					g.rate[i] += float64(p.divers[d].rmv * p.breathe(g, k))
					g.reserve[i] += p.cyls[k].sharing
				}
			}
		}
	}
}

// left is what counts for a case, L.
func (p *plan) left(g *gear, c *lossCase, content []float64) float64 {
	sum := 0.0
	for _, d := range c.donors {
		for _, k := range p.divers[d].all {
			if p.counts(g, c, k) {
				sum += content[k]
			}
		}
	}
	return sum
}

// helps is what waits at a node for a diver and counts after a failure (D19),
// without the cylinder lost.
func (p *plan) helps(g *gear, node, diver, lost int) float64 {
	if p.in.Policy.WaitingGas != WaitingOwn {
		return 0
	}
	return pool(g, node, diver, lost)
}

// pool is what waits at a node for a diver above the planned reserve, L.
func pool(g *gear, node, diver, lost int) float64 {
	sum := 0.0
	for i := range g.lying {
		if y := &g.lying[i]; y.node == node && y.diver == diver && y.cyl != lost {
			sum += y.above
		}
	}
	return sum
}

// memo is what the gas of a way out comes to from its first station on, for
// one set of waiting cylinders.
type memo struct {
	need []float64 // per diver: what must come from shared gas at the rate after a failure, what waits at the station itself not counted
	lone []float64 // per cylinder that waits: the same for its owner with that cylinder gone
	base []float64 // per case: Σ over the consumers, what waits at the station counted
	high []float64 // per case: the dearest place on the way home (D20), see high; nil where it never binds

	until []float64 // per diver: litres at the own rate to the next own waiting cylinder, or out
	after []float64 // per diver: litres from the mains beyond it
}

// bindsHome tells whether a way home can be dearer than its beginning: only
// minutes at the place or waiting gas make it so, as all rates after a failure
// are at least the own ones.
func (p *plan) bindsHome(g *gear) bool { return !p.bare && (p.in.Policy.DelayMin > 0 || g.waiting > 0) }

// memo computes it once per way and set of waiting cylinders.
func (p *plan) memo(y *way, g *gear) *memo {
	if y.memo != nil && y.memoFor == g.waiting {
		return y.memo
	}
	nd, nc := len(p.divers), len(p.cases)
	all := make([]float64, 3*nd+2*nc+len(p.cyls))
	part := func(n int) []float64 {
		x := all[:n:n]
		all = all[n:]
		return x
	}
	m := &memo{need: part(nd), base: part(nc), until: part(nd), after: part(nd)}
	if g.waiting > 0 {
		m.lone = part(len(p.cyls))
	}
	var next *memo
	cost := y.barMin
	if y.leg >= 0 {
		next = p.memo(y.next, g)
		cost = p.legs[y.leg].travel[y.dir].barMin
	}
	for d := range p.divers {
		m.need[d] = float64(p.divers[d].after * cost)
		m.until[d] = float64(p.divers[d].rmv * cost)
		if next == nil {
			continue
		}
		m.need[d] += math.Max(0, next.need[d]-p.helps(g, y.next.node, d, -1))
		if q := pool(g, y.next.node, d, -1); q > 0 {
			m.after[d] = math.Max(0, next.until[d]-q) + next.after[d]
		} else {
			m.until[d] += next.until[d]
			m.after[d] = next.after[d]
		}
	}
	for i := range g.lying {
		k, d := g.lying[i].cyl, g.lying[i].diver
		m.lone[k] = float64(p.divers[d].after * cost)
		if next != nil {
			m.lone[k] += math.Max(0, next.lone[k]-p.helps(g, y.next.node, d, k))
		}
	}
	for i := range p.cases {
		m.base[i] = p.base(m, g, &p.cases[i], y.node, true)
	}
	if p.bindsHome(g) {
		m.high = part(nc)
		p.high(m, next, y, g)
	}
	y.memo, y.memoFor = m, g.waiting
	return m
}

// base is what the consumers of a case need from the donors from a station on,
// minutes there not counted.
func (p *plan) base(m *memo, g *gear, c *lossCase, node int, withWaiting bool) float64 {
	sum := 0.0
	for _, d := range c.consumers {
		need, lost := m.need[d], -1
		if c.kind == lostWaiting && g.where[c.lost] >= 0 {
			need, lost = m.lone[c.lost], c.lost
		}
		if withWaiting {
			need -= p.helps(g, node, d, lost)
		}
		sum += math.Max(0, need)
	}
	return sum
}

// high finds for every case the dearest place on the way home. Going home from
// x, left at a place y is left(x) − home × (W(x) − W(y)) + what was picked up;
// so the plan holds there if left(x) − reserve − home × W(x) ≥ need(y) −
// home × W(y) − picked up, and high is the maximum of the right side.
func (p *plan) high(m, next *memo, y *way, g *gear) {
	delay := p.in.Policy.DelayMin
	pressure := p.pressure(p.nodes[y.node].depth)
	for i := range p.cases {
		c := &p.cases[i]
		problem := float64(float64(c.c*delay) * pressure)
		homeward := float64(c.home * y.barMin)
		m.high[i] = problem + m.base[i] - homeward
		if !g.active[i] || c.kind == lostWaiting && g.where[c.lost] == y.node {
			continue // picked up here: nothing waits any more
		}
		net := p.pickedUp(g, c, y.node)
		if g.waiting > 0 {
			m.high[i] = math.Max(m.high[i], problem+p.base(m, g, c, y.node, false)-homeward-net)
		}
		if y.leg < 0 {
			continue
		}
		t := &p.legs[y.leg].travel[y.dir]
		for k := range t.pieces {
			x := &t.pieces[k]
			w := quad{a: y.barMin - x.barMin}.plusTimes(-x.cost, x.integral())
			f := p.dear(c, quad{x.p, x.g, 0}, w, y.next.barMin, next.base[i])
			m.high[i] = math.Max(m.high[i], f.highest(x.length)-net)
		}
		m.high[i] = math.Max(m.high[i], next.high[i]-net)
	}
}

// pickedUp is what the donors gain at a station on the way home, above the
// sharing reserve of what they pick up.
func (p *plan) pickedUp(g *gear, c *lossCase, node int) float64 {
	sum := 0.0
	for i := range g.lying {
		y := &g.lying[i]
		if y.node != node || p.cyls[y.cyl].deco {
			continue
		}
		for _, d := range c.donors {
			if d == y.diver {
				sum += y.content - p.cyls[y.cyl].sharing
			}
		}
	}
	return sum
}

// dear is need − home × W along a stretch with pressure and way out given, the
// next station's cost and base known.
func (p *plan) dear(c *lossCase, pressure, w quad, stationCost, base float64) quad {
	return pressure.times(float64(c.c*p.in.Policy.DelayMin)).plusTimes(c.c-c.home, w).
		constant(base - float64(c.c*stationCost))
}
