package route

import "math"

// segment is a stretch of the dive on which everything is a quadratic of the
// metres (of a swim) or minutes (of a hold) since it began.
type segment struct {
	hold   bool // or a swim
	first  bool // the first station before anything is swum
	move   int
	leg    int
	dir    int
	at     float64 // metres past the beginning of the leg
	length float64 // metres or minutes

	pressure quad
	used     quad    // bar·minutes breathed, gas factor included
	out      quad    // bar·minutes of the way out
	minutes  float64 // planned, per metre or minute
	mode     mode
	home     *way    // way out of the first station on it; nil straight up or where there is none
	metres   float64 // of line on the way out, at the beginning

	gear    *gear
	content []float64 // litres per cylinder at the beginning
	barMin  float64   // since the surface, at the beginning
	elapsed float64
	metre   float64 // swum since the first station

	high    []float64 // per case: dearest place between this stretch and home, see memo.high; nil where it never binds
	working bool
	run     spot  // where the way home began (D22); seg -1: nowhere before the place itself
	forks   forks // all ways out: stops can make any of them the cheapest (D15)
	shut    *shut // what it relies on that is known by verification alone; nil: nothing
}

// turning is a way out: which way it begins, and from its first station on.
type turning struct {
	mode mode
	home *way
}

type mode int

const (
	noWay  mode = iota
	back        // the way out leads back
	onward      // it leads on
	upward      // open water: straight up
)

// spot is a place on the dive: a segment and how far into it.
type spot struct {
	seg int
	x   float64
}

// walk goes through the dive once and cuts it into segments.
type walk struct {
	*plan
	ways  *ways
	swum  *ways // over legs swum on this dive alone; nil where nothing is verified
	segs  []segment
	steps []step // per move

	knownBySwim []bool
	verified    [][2]bool
	lined       []bool
	pending     []marker // verifications that count from a marker on
	met         []met
	gear        *gear
	content     []float64
	barMin      float64
	elapsed     float64
	metre       float64
	gears       int
	startMin    float64 // of the descent
	startBarMin float64
	endMin      float64 // of the last ascent
	endBarMin   float64

	wayInOnly bool // set-up dives (D28): the way in is the only way out
	reliance  *reliance

	inflow      []int // legs whose flow goes against some way out (D38)
	helpfulFlow bool  // some way out is swum with the flow
}

// step is the segments of one move.
type step struct {
	from, to    int // nodes
	first, hold int // segments
	known       bool
	minutes     float64
	barMin      float64
	arriving    *WayOut
	after       *WayOut
}

type marker struct {
	node int
	legs map[int][2]bool
	from int // verification
}

// met is a marker reached: the segment whose end it is.
type met struct{ seg, verification int }

func newWalk(p *plan) *walk {
	w := &walk{plan: p}
	w.markers() // may add nodes and legs
	w.knownBySwim = make([]bool, len(p.legs))
	w.lined = make([]bool, len(p.legs))
	for i := range p.legs {
		w.lined[i] = p.legs[i].lined
	}
	w.ways = newWays(p)
	if len(w.pending) > 0 {
		w.swum = newWays(p)
		w.reliance = &reliance{}
	}
	w.content = make([]float64, len(p.cyls))
	for k := range p.cyls {
		w.content[k] = p.cyls[k].start
	}
	w.gear = &gear{inUse: make([]int, len(p.divers)), where: make([]int, len(p.cyls))}
	for d := range w.gear.inUse {
		w.gear.inUse[d] = mainsInUse
	}
	for k := range w.gear.where {
		w.gear.where[k] = -1
	}
	n := len(p.moves) + 1 + 4 // holds, and the few legs cut where going back costs as much as going on
	for i := range p.moves {
		n += len(p.legs[p.moves[i].leg].travel[0].pieces)
	}
	w.segs = make([]segment, 0, n)
	w.steps = make([]step, 0, len(p.moves))
	return w
}

// run walks the whole dive. It stops early where the dive takes longer than MaxHours.
func (w *walk) run() bool {
	w.change(w.start, w.acts(w.in.Route.StartActions), true)
	w.startMin, w.startBarMin = w.straight(w.nodes[w.start].depth, w.in.Policy.DescentMMin)
	w.breathe(w.startBarMin)
	w.elapsed = w.startMin
	w.meet(w.start, -1)
	at := w.start
	w.stay(-1, -1, 0, at, 0, false)
	w.segs[0].first = true
	for i := range w.moves {
		w.move(i, at)
		at = w.moves[i].to
		if w.elapsed > MaxHours*60 {
			return false
		}
	}
	w.endMin, w.endBarMin = w.straight(w.nodes[at].depth, w.in.Policy.AscentMMin)
	w.breathe(w.endBarMin)
	w.runs()
	return true
}

// breathe takes so many bar·minutes out of the cylinders in use.
func (w *walk) breathe(barMin float64) {
	w.barMin += barMin
	for k := range w.cyls {
		if s := w.plan.breathe(w.gear, k); s > 0 {
			w.content[k] -= float64(float64(w.divers[w.cyls[k].diver].rmv*s) * barMin)
		}
	}
}

// change does the actions at a station.
func (w *walk) change(at int, actions []act, first bool) {
	changed := first
	for _, a := range actions {
		if a.kind != ActDrop && a.kind != ActPickUp && a.kind != ActSwitchTo {
			continue
		}
		if !changed {
			g := &gear{inUse: append([]int(nil), w.gear.inUse...), where: append([]int(nil), w.gear.where...)}
			w.gear, changed = g, true
		}
		switch k := a.cylinder; a.kind {
		case ActSwitchTo:
			w.gear.inUse[a.diver] = k
			if k >= 0 && w.cyls[k].main && len(w.divers[a.diver].mains) == 1 {
				w.gear.inUse[a.diver] = mainsInUse
			}
		case ActDrop:
			w.gear.where[k] = at
			if w.gear.inUse[a.diver] == k {
				w.gear.inUse[a.diver] = mainsInUse
			}
		case ActPickUp:
			w.gear.where[k] = -1
		}
	}
	if changed {
		w.gear.settle(w.plan, w.content, &w.gears)
	}
}

func (w *walk) snapshot() []float64 { return append([]float64(nil), w.content...) }

func (w *walk) move(i, from int) {
	m := &w.moves[i]
	l := &w.legs[m.leg]
	known := w.knownBySwim[m.leg] || w.verified[m.leg][m.dir]
	s := step{from: from, to: m.to, first: len(w.segs), known: known}
	if m.recover {
		w.lined[m.leg] = false
		w.ways.forbid(m.leg)
		if w.swum != nil {
			w.swum.forbid(m.leg)
		}
	}
	elapsed, barMin := w.elapsed, w.barMin
	w.swim(i, from, known)
	s.minutes, s.barMin = w.elapsed-elapsed, w.barMin-barMin
	last := len(w.segs) - 1
	if !w.zeroHelpful && !w.wayInOnly && !w.bare {
		s.arriving = w.wayOut(last, w.segs[last].length)
	}
	w.knownBySwim[m.leg] = true
	if m.run {
		w.lined[m.leg] = true
	}
	switch {
	case w.wayInOnly:
		w.ways.best[m.to] = w.ways.over(m.leg, 1-m.dir)
	case w.lined[m.leg]:
		w.ways.allow(m.leg, [2]bool{true, true})
		if w.swum != nil {
			w.swum.allow(m.leg, [2]bool{true, true})
		}
	}
	w.meet(m.to, last)
	// D15: of two ways that cost the same over the same metres, going back.
	if b := w.ways.best[m.to]; b != nil && b.leg >= 0 && b.leg != m.leg && w.lined[m.leg] && !w.nodes[m.to].opening {
		if y := w.ways.over(m.leg, 1-m.dir); y != nil && tie(y.barMin, b.barMin) && math.Abs(y.metres-b.metres) < 1e-9 {
			w.ways.best[m.to] = y
		}
	}
	w.change(m.to, m.actions, false)
	s.hold = len(w.segs)
	w.stay(i, m.leg, m.dir, m.to, m.hold, m.working)
	if !w.zeroHelpful && !w.wayInOnly && !w.bare {
		s.after = s.arriving
		if a, h := &w.segs[last], &w.segs[s.hold]; a.mode != h.mode || a.mode != noWay && !(sameWay(a, m, h) && math.Abs(a.out.at(a.length)-h.out.a) < 1e-9) {
			s.after = w.wayOut(s.hold, 0)
		}
	}
	w.steps = append(w.steps, s)
	_ = l
}

// sameWay tells whether the way out on arriving is the one after arrival too.
func sameWay(a *segment, m *move, h *segment) bool {
	if a.mode == onward {
		return a.home == h.home
	}
	return a.mode == back && h.home.leg == m.leg && h.home.dir == 1-m.dir && h.home.next == a.home
}

// stay adds the time at a station, also when it is none.
func (w *walk) stay(i, leg, dir, at int, minutes float64, working bool) {
	p := w.pressure(w.nodes[at].depth)
	s := segment{
		hold: true, move: i, leg: leg, dir: dir, length: minutes, pressure: quad{a: p}, used: quad{b: p},
		minutes: 1, gear: w.gear, content: w.snapshot(), barMin: w.barMin, elapsed: w.elapsed, metre: w.metre, working: working,
	}
	if b := w.ways.best[at]; b != nil {
		s.mode, s.home, s.metres = onward, b, b.metres
		s.out = quad{a: b.barMin}
		w.wayHome(&s)
		s.forks = w.forks(-1, -1, at)
	}
	w.breathe(float64(p * minutes))
	w.elapsed += minutes
	w.rely(&s, at)
	w.segs = append(w.segs, s)
}

// forks are those of a place in a leg (-1: at a station), over what counts now. A
// set-up dive has the way in alone; and where nothing closes a ring there is one way
// out, or the two over the ends of a leg that does not count itself.
func (w *walk) forks(leg, back, on int) forks {
	if w.wayInOnly || !w.ways.rings && (leg < 0 || back < 0 || on < 0 || w.ways.counts(leg)) {
		return forks{}
	}
	return forks{known: w.ways.still(), leg: leg, back: back, on: on}
}

// wayHome fills the dearest place on the way home from a station.
func (w *walk) wayHome(s *segment) {
	if w.bindsHome(s.gear) {
		s.high = w.memo(s.home, s.gear).high
	}
}

// swim adds the segments of a leg.
func (w *walk) swim(i, from int, known bool) {
	m := &w.moves[i]
	l := &w.legs[m.leg]
	there, return_ := &l.travel[m.dir], &l.travel[1-m.dir]
	start, end := w.ways.best[from], w.ways.best[m.to]
	canBack := start != nil && return_.passes && !m.recover
	canOn := end != nil && there.passes && known && !m.run && (w.lined[m.leg] || m.recover) && !w.wayInOnly
	back, on := -1, -1
	if canBack {
		back = from
	}
	if canOn {
		on = m.to
	}
	f := w.forks(m.leg, back, on)
	var high []float64 // on the way back, up to the piece
	turned := false
	for k := range there.pieces {
		x := &there.pieces[k]
		r := &return_.pieces[len(return_.pieces)-1-k]
		backAt := return_.barMin - r.barMin - float64(r.cost*r.integral().at(r.length)) // cost of the pieces behind
		var backW, onW quad
		if canBack {
			backW = quad{a: start.barMin + backAt}.plusTimes(r.cost, x.integral())
		}
		if canOn {
			onW = quad{a: end.barMin + there.barMin - x.barMin}.plusTimes(-x.cost, x.integral())
		}
		base := segment{
			move: i, leg: m.leg, dir: m.dir, at: x.at, length: x.length,
			pressure: quad{x.p, x.g, 0}, minutes: w.minutesPerMetre(x, m.ground), gear: w.gear, forks: f,
		}
		base.used = x.integral().times(float64(base.minutes * m.factor))
		switch {
		case l.open:
			base.mode, base.out = upward, w.upward(x)
			w.add(base)
		case !canBack && !canOn:
			w.add(base)
		case !canOn || canBack && !turned && backW.at(x.length) < onW.at(x.length)-1e-9:
			high = w.addBack(base, start, backW, high)
		case !canBack || turned || backW.a > onW.a-1e-9:
			turned = true
			w.addOn(base, end, onW, k)
		default:
			// Going back costs as much as going on inside this piece (D16 b).
			t := w.tiePlace(onW.plusTimes(-1, backW), x.length)
			if t < 1e-9 {
				turned = true
				w.addOn(base, end, onW, k)
				continue
			}
			if t > x.length-1e-9 {
				high = w.addBack(base, start, backW, high)
				continue
			}
			first := base
			first.length = t
			high = w.addBack(first, start, backW, high)
			turned = true
			base.at, base.length = base.at+t, base.length-t
			base.pressure = base.pressure.shift(t)
			integral := quad{0, base.pressure.a, x.g / 2}
			base.used = integral.times(float64(base.minutes * m.factor))
			w.addOn(base, end, onW.shift(t), k)
		}
	}
}

// tiePlace is where the falling difference d meets 0.
func (w *walk) tiePlace(d quad, length float64) float64 {
	x, ok := d.root(length)
	if !ok {
		return length
	}
	return x
}

// upward is the cost of going straight up along a piece.
func (w *walk) upward(x *piece) quad {
	if !w.in.Policy.CountOpenWaterAscent {
		return quad{}
	}
	depth := quad{x.depth, (x.end - x.depth) / x.length, 0}
	square := quad{float64(depth.a * depth.a), float64(2 * float64(depth.a*depth.b)), float64(depth.b * depth.b)}
	return depth.times(w.in.Water.SurfaceBar/w.in.Policy.AscentMMin).
		plusTimes(w.in.Water.BarPerM/float64(2*w.in.Policy.AscentMMin), square)
}

func (w *walk) addBack(s segment, home *way, out quad, high []float64) []float64 {
	s.mode, s.home, s.out = back, home, out
	s.metres = s.at + home.metres
	if w.bindsHome(s.gear) {
		m := w.memo(home, s.gear)
		if high == nil {
			high = m.high
		}
		s.high = high
		next := append([]float64(nil), high...)
		for i := range w.cases {
			f := w.dear(&w.cases[i], s.pressure, s.out, home.barMin, m.base[i])
			next[i] = math.Max(next[i], f.highest(s.length))
		}
		high = next
	}
	w.add(s)
	return high
}

func (w *walk) addOn(s segment, home *way, out quad, piece int) {
	s.mode, s.home, s.out = onward, home, out
	l := &w.legs[s.leg]
	s.metres = l.in.LengthM - s.at + home.metres
	if w.bindsHome(s.gear) {
		m := w.memo(home, s.gear)
		s.high = m.high
		t := &l.travel[s.dir]
		for k := piece + 1; k < len(t.pieces); k++ {
			x := &t.pieces[k]
			if k == piece+1 {
				s.high = append([]float64(nil), m.high...)
			}
			o := quad{a: home.barMin + t.barMin - x.barMin}.plusTimes(-x.cost, x.integral())
			for i := range w.cases {
				f := w.dear(&w.cases[i], quad{x.p, x.g, 0}, o, home.barMin, m.base[i])
				s.high[i] = math.Max(s.high[i], f.highest(x.length))
			}
		}
	}
	w.add(s)
}

// add puts a swim segment behind the ones there are.
func (w *walk) add(s segment) {
	s.content = w.snapshot()
	s.barMin, s.elapsed, s.metre = w.barMin, w.elapsed, w.metre
	w.breathe(s.used.at(s.length))
	w.elapsed += float64(s.minutes * s.length)
	w.metre += s.length
	w.rely(&s, -1)
	w.segs = append(w.segs, s)
}

// runs finds for every segment where the way home that leads through it began:
// the rest of the route costs as much as the way out exactly where the way out
// leads on and nothing made it jump since (D22).
func (w *walk) runs() {
	at, out, ok := spot{-1, 0}, 0.0, false
	for i := range w.segs {
		s := &w.segs[i]
		if !ok || math.Abs(s.out.a-out) > 1e-7 {
			at = spot{i, 0}
		}
		s.run = at
		switch {
		case !s.hold && s.mode != onward, s.mode == noWay, s.hold && s.working && s.length > 0:
			s.run = spot{-1, 0}
			at = spot{i, s.length}
		}
		out, ok = s.out.at(s.length), s.mode != noWay
	}
}

// flows finds the legs whose flow goes against the way out (D38).
func (w *walk) flows() {
	seen := make([]bool, len(w.legs))
	against := func(leg, dir int) {
		w.helpfulFlow = w.helpfulFlow || w.legs[leg].flow(dir) > 0
		if !seen[leg] && w.legs[leg].flow(dir) < -0.5-1e-9 {
			seen[leg] = true
			w.inflow = append(w.inflow, leg)
		}
	}
	for i := range w.segs {
		s := &w.segs[i]
		if !s.hold {
			switch s.mode {
			case back:
				against(s.leg, 1-s.dir)
			case onward:
				against(s.leg, s.dir)
			}
		}
		for y := s.home; y != nil && y.leg >= 0 && !y.seen; y = y.next {
			y.seen = true
			against(y.leg, y.dir)
		}
	}
}

// begin is the commitment point of the plan "the route so far, then the
// cheapest known way out" for a place.
func (w *walk) begin(at spot) spot {
	if r := w.segs[at.seg].run; r.seg >= 0 {
		return r
	}
	return at
}

// held is a cylinder's content at a place, litres.
func (w *walk) held(k int, at spot) float64 {
	s := &w.segs[at.seg]
	c := &w.cyls[k]
	return s.content[k] - float64(float64(w.divers[c.diver].rmv*w.plan.breathe(s.gear, k))*s.used.at(at.x))
}

// heldQuad is the same along a segment.
func (w *walk) heldQuad(k int, s *segment) quad {
	return quad{a: s.content[k]}.plusTimes(float64(-w.divers[w.cyls[k].diver].rmv*w.plan.breathe(s.gear, k)), s.used)
}

// mains is what a diver has in the main cylinders along a segment.
func (w *walk) mains(d int, s *segment) quad {
	sum := quad{}
	for _, k := range w.divers[d].mains {
		sum = sum.plus(w.heldQuad(k, s))
	}
	return sum
}

// margin is what is left to spare in a failure along a segment.
func (w *walk) margin(c int, s *segment) quad {
	left := quad{a: w.left(s.gear, &w.cases[c], s.content)}.plusTimes(-s.gear.rate[c], s.used)
	return left.plusTimes(-1, w.need(c, s))
}

// need is the right side of the sharing exit (4.2), the reserve included.
func (w *walk) need(c int, s *segment) quad {
	x := &w.cases[c]
	n := s.pressure.times(float64(x.c*w.in.Policy.DelayMin)).plusTimes(x.c, s.out).constant(s.gear.reserve[c])
	if s.home != nil && s.gear.waiting > 0 {
		n.a += w.memo(s.home, s.gear).base[c] - float64(x.c*s.home.barMin)
	}
	return n
}
