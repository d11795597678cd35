package deco

import (
	"math"
	"slices"

	"lastlight/engine/tissue"
)

// segment is a part of the travel that a test simulates.
type segment struct {
	minutes   float64
	from, to  float64 // bar
	depth     float64 // metres at its end
	bound     int     // reached at its end
	arrival   bool
	step      *tissue.Step
	breathing [MaxDivers]uint8
	leads     [MaxDivers]lead // what breathing along it does, per diver
}

// lookAhead lists what a test from bound j simulates (D41, D41a), up to the last
// arrival: behind it nothing is judged.
func (p *Planner) lookAhead(path *Path, j int, turned bool) {
	p.travel = p.travel[:0]
	if b := &p.bounds[j+1]; b.arrival && (j+1 == len(p.subs) || b.wait && p.endsAt(b, p.bounds[j].depth >= p.lastStop-same)) {
		// The common case: one part, to the next place to wait.
		p.fill(another(&p.travel), j, p.now[:len(p.team.Divers)])
		return
	}
	copy(p.ahead[:], p.now[:len(p.team.Divers)])
	of := p.ahead[:len(p.team.Divers)]
	deep := p.bounds[j].depth >= p.lastStop-same
	last := 0
	for i := j; ; {
		if i > j && p.anyBeforeFall(i, of, turned) {
			p.pause(p.set.SwitchMinutes, i, of)
		}
		i++
		b := &p.bounds[i]
		p.fill(another(&p.travel), i-1, of)
		if b.arrival {
			last = len(p.travel)
		}
		if i == len(p.subs) || (b.wait && p.endsAt(b, deep)) {
			break
		}
		if b.node >= 0 {
			n := &path.Nodes[b.node]
			picked := p.act(n, of)
			if turned {
				changed := false
				for d := range of {
					changed = p.changeOnArrival(d, i, &of[d], picked>>d&1 == 1, true) || changed
				}
				if changed {
					p.pause(p.set.SwitchMinutes, i, of)
				}
			}
			if n.Hold > 0 {
				p.pause(n.Hold, i, of)
			}
			turned = turned || n.Turn
		}
	}
	p.travel = p.travel[:last]
}

// endsAt tells whether a test that starts at or below the last stop (deep), or
// above it, looks no further than this place to wait (D41a).
func (p *Planner) endsAt(b *bound, deep bool) bool {
	return !deep || b.pickUp || b.depth >= p.lastStop-same
}

// another makes a list longer by one element, which is to be filled where it lies: what is in
// it is of before, and a copy of what was just put together elsewhere would have to wait for it.
func another[T any](list *[]T) *T {
	n := len(*list)
	if n == cap(*list) {
		*list = slices.Grow(*list, max(16, n))
	}
	*list = (*list)[:n+1]
	return &(*list)[n]
}

// fill makes the segment of sub j.
func (p *Planner) fill(s *segment, j int, of []carrying) {
	u, b := &p.subs[j], &p.bounds[j+1]
	s.minutes, s.from, s.to = u.minutes, p.set.Water.Pressure(u.from), p.set.Water.Pressure(u.to)
	s.depth, s.bound, s.arrival = b.depth, j+1, b.arrival
	s.step = p.steps.at(u.minutes, p.helium)
	p.breathe(s, of)
}

func (p *Planner) anyBeforeFall(i int, of []carrying, turned bool) bool {
	any := false
	if turned {
		for d := range of {
			changed, _ := p.changeBeforeFall(d, i, &of[d])
			any = any || changed
		}
	}
	return any
}

// pause adds minutes at bound i to the travel.
func (p *Planner) pause(minutes float64, i int, of []carrying) {
	if !(minutes > 0) {
		return
	}
	at := p.set.Water.Pressure(p.bounds[i].depth)
	s := another(&p.travel)
	s.minutes, s.from, s.to, s.depth, s.bound, s.arrival = minutes, at, at, p.bounds[i].depth, i, false
	s.step = p.steps.at(minutes, p.helium)
	p.breathe(s, of)
}

func (p *Planner) breathe(s *segment, of []carrying) {
	rate := 0.0
	if s.to != s.from {
		rate = (s.to - s.from) / s.minutes
	}
	for d := range of {
		s.breathing[d] = uint8(of[d].breathing)
		s.leads[d] = p.lead(of[d].breathing, s.from, rate)
	}
}

// coefficients of one compartment as the inner loops want them.
type coefficients struct {
	aN2, bN2, inverseBN2 float64
	aHe, bHe             float64
	slopeA, slopeB       float64 // see slope
}

func coefficientsOf(c tissue.Compartment) coefficients {
	return coefficients{
		aN2: c.AN2, bN2: c.BN2, inverseBN2: 1 / c.BN2, aHe: c.AHe, bHe: c.BHe,
		slopeA: c.AHe - c.AN2, slopeB: (c.BN2 - c.BHe) / float64(c.BN2*c.BN2),
	}
}

// slope is by how much, at least, the tension allowed grows as helium takes the place of
// nitrogen, for the whole of it: a grows evenly with its share and 1/b never less than at
// the start, where it grows by slopeB.
func (c *coefficients) slope(ambient, gf float64) float64 {
	return float64(gf * (c.slopeA + float64(ambient*c.slopeB)))
}

// margin is allowed less tension for a compartment at an ambient pressure:
// P (1-gf) + gf (a + P/b) - p, with a and b mixed by tension. The two
// divisions of the mix are drawn into one.
func (c *coefficients) margin(n2, he, ambient, gf float64) float64 {
	base := ambient - float64(gf*ambient)
	if he == 0 {
		return base + float64(gf*(c.aN2+float64(ambient*c.inverseBN2))) - n2
	}
	p := n2 + he
	a := float64(c.aN2*n2) + float64(c.aHe*he)
	b := float64(c.bN2*n2) + float64(c.bHe*he)
	return base + float64(gf*((float64(a*b)+float64(ambient*float64(p*p)))/float64(p*b))) - p
}

// limits are the tensions allowed at an ambient pressure with a gradient factor
// to compartments that hold nitrogen alone.
type limits struct {
	ambient, gf float64
	allowed     [tissue.Count]float64
}

// limits are kept of the last two places asked for: the tests of a stop all ask
// for the same, and so does whoever waits where they let the team go.
func (p *Planner) limits(ambient, gf float64) *[tissue.Count]float64 {
	if l := p.nitrogen[0]; l.ambient == ambient && l.gf == gf {
		return &l.allowed
	}
	return p.formerLimits(ambient, gf)
}

func (p *Planner) formerLimits(ambient, gf float64) *[tissue.Count]float64 {
	l := p.nitrogen[1]
	p.nitrogen[0], p.nitrogen[1] = l, p.nitrogen[0]
	if l.ambient != ambient || l.gf != gf {
		l.ambient, l.gf = ambient, gf
		base := ambient - float64(gf*ambient)
		for i := range p.coef {
			c := &p.coef[i]
			l.allowed[i] = base + float64(gf*(c.aN2+float64(ambient*c.inverseBN2)))
		}
	}
	return &l.allowed
}

// lead is what breathing along a segment does: inspired pressures at its start
// and their change per minute.
type lead struct {
	n2, he         float64
	rateN2, rateHe float64
}

// lead is that of a cylinder from an ambient pressure on, which changes by so many bar per minute.
func (p *Planner) lead(cylinder int, from, rate float64) (l lead) {
	mix := &p.mixes[cylinder]
	l.n2, l.he = p.model.Inspired(*mix, from)
	if rate != 0 {
		l.rateN2, l.rateHe = float64(mix.N2()*rate), float64(mix.He*rate)
	}
	return l
}

// fly moves a state along a segment, into another, and gives the least margin at
// its end: Apply and worst in one pass, which is where a schedule's time goes.
func (p *Planner) fly(into, from *tissue.State, st *tissue.Step, l lead, helium bool, ambient, gf float64) (least float64, compartment int) {
	limit := p.limits(ambient, gf)
	// The search begins with the compartment that was least last time: hardly any other is less.
	first := p.lastLeast
	compartment = first
	if !helium {
		least = limit[first] - along(&st.N2[first], from.N2[first], l.n2, l.rateN2)
		for i := range from.N2 {
			n2 := along(&st.N2[i], from.N2[i], l.n2, l.rateN2)
			into.N2[i], into.He[i] = n2, 0
			if m := limit[i] - n2; m < least+tissue.Tie && (i < compartment || m < least-tissue.Tie) {
				least, compartment = m, i
			}
		}
		p.lastLeast = compartment
		return least, compartment
	}
	// Nitrogen's a and b alone give a margin that is never above the true one, and with the
	// slope of what helium adds one that is hardly below it: most others need no more than that.
	least = p.coef[first].margin(along(&st.N2[first], from.N2[first], l.n2, l.rateN2), along(&st.He[first], from.He[first], l.he, l.rateHe), ambient, gf)
	for i := range from.N2 {
		n2, he := along(&st.N2[i], from.N2[i], l.n2, l.rateN2), along(&st.He[i], from.He[i], l.he, l.rateHe)
		into.N2[i], into.He[i] = n2, he
		more := limit[i] - n2 - he - (least + tissue.Tie) // than least, for sure
		if more > 0 || i == first {
			continue
		}
		c := &p.coef[i]
		if float64(more*(n2+he))+float64(c.slope(ambient, gf)*he) > surely {
			continue
		}
		// Of equal margins the lower compartment is named (D46).
		m := c.margin(n2, he, ambient, gf)
		if m < least-tissue.Tie || (i < compartment && m < least+tissue.Tie) {
			least, compartment = m, i
		}
	}
	p.lastLeast = compartment
	return least, compartment
}

// surely is more than the rounding of a bound, bar².
const surely = 1e-12

// along is a tension at the end of a segment.
func along(f *tissue.Factor, tension, inspired, rate float64) float64 {
	return inspired + float64((tension-inspired)*f.Q) + float64(rate*f.W)
}

// gf is the gradient factor at a depth for an anchor (D42).
func (p *Planner) gf(depth, anchor float64) float64 {
	if anchor < p.lastStop {
		anchor = p.lastStop
	}
	return tissue.GradientFactor(p.set.GFLow, p.set.GFHigh, depth, anchor)
}

// tested is what one diver's test gave.
type tested struct {
	margin  Margin
	refused bool
	exempt  bool
}

// test asks D43 of diver d where it is to be asked, then judges the travel ahead
// (D41). The state at the travel's end is left in p.sim[d].
func (p *Planner) test(d, j int, o *tested, r *Result) {
	c := &p.state[d]
	asked := !c.Refused && c.No == 0
	yes := asked
	sim, from := &p.sim[d], &c.Tissues
	least := &o.margin
	*least = Margin{Diver: d, Bar: math.Inf(1)}
	helium := p.hasHelium[d]
	for i := range p.travel {
		s := &p.travel[i]
		gf := p.gf(s.depth, c.Anchor)
		m, k := p.fly(sim, from, s.step, s.leads[d], helium, s.to, gf)
		from = sim
		if !s.arrival {
			continue
		}
		if yes {
			up := p.straightUp(sim, s, d, helium)
			r.Questions = math.Min(r.Questions, math.Abs(up))
			yes = up >= -marginSlack
		}
		if m < least.Bar-tissue.Tie {
			least.Bar, least.Compartment, least.GF = m, k, gf
			least.Depth, least.N2, least.He = s.depth, sim.N2[k], sim.He[k]
		}
	}
	least.Anchor = max(c.Anchor, p.lastStop)
	if asked && !yes {
		c.No = p.bounds[j].depth
		r.NoStop = false
	}
	o.exempt = yes
	o.refused = !yes && least.Bar < -marginSlack
	if m := math.Abs(least.Bar); !yes && m < r.Tests {
		r.Tests = m
	}
}

// straightUp is the least margin at the surface, with GFhigh, after a straight
// ascent from a segment's end at the ascent rate on the gas breathed (D43).
func (p *Planner) straightUp(sim *tissue.State, s *segment, d int, helium bool) float64 {
	surface := p.set.Water.Surface
	minutes, from, rate := s.depth/p.set.Ascent, s.to, 0.0
	if !(minutes > 0) {
		from, minutes = surface, 0
	}
	if from != surface {
		rate = (surface - from) / minutes
	}
	l := p.lead(int(s.breathing[d]), from, rate)
	m, _ := p.fly(&p.up, sim, p.steps.at(minutes, p.helium), l, helium, surface, p.set.GFHigh)
	return m
}

// follower is one compartment's way over one segment, prepared: the tension at
// its end is n2a + n2 × n2q, and likewise helium.
type follower struct {
	n2a, n2q, hea, heq float64
	ambient, gf        float64
	arrival            bool
}

// follow prepares compartment k of diver d for the travel ahead.
func (p *Planner) follow(d, k int) {
	p.followers[d] = p.followers[d][:0]
	anchor := p.state[d].Anchor
	for i := range p.travel {
		s := &p.travel[i]
		l := &s.leads[d]
		f := s.step.N2[k]
		w := another(&p.followers[d])
		w.n2a, w.n2q = l.n2-float64(l.n2*f.Q)+float64(l.rateN2*f.W), f.Q
		w.hea, w.heq = 0, 0
		w.ambient, w.gf, w.arrival = s.to, p.gf(s.depth, anchor), s.arrival
		if p.hasHelium[d] {
			f = s.step.He[k]
			w.hea, w.heq = l.he-float64(l.he*f.Q)+float64(l.rateHe*f.W), f.Q
		}
	}
}

// alone judges the followed compartment of diver d on the travel ahead.
func (p *Planner) alone(d, k int, n2, he float64) (refused bool) {
	c := &p.coef[k]
	for i := range p.followers[d] {
		w := &p.followers[d][i]
		n2 = w.n2a + float64(n2*w.n2q)
		he = w.hea + float64(he*w.heq)
		if w.arrival && c.margin(n2, he, w.ambient, w.gf) < -marginSlack {
			return true
		}
	}
	return false
}
