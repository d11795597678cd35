package deco

import (
	"math"

	"lastlight/engine/gas"
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
}

// lookAhead lists what a test from bound j simulates (D41, D41a), up to the last
// arrival: behind it nothing is judged.
func (p *Planner) lookAhead(path *Path, j int, turned bool) {
	p.travel = p.travel[:0]
	copy(p.ahead[:], p.now[:len(p.team.Divers)])
	of := p.ahead[:len(p.team.Divers)]
	deep := p.bounds[j].depth >= p.lastStop-same
	last := 0
	for i := j; ; {
		if i > j && p.anyBeforeFall(i, of, turned) {
			p.pause(p.set.SwitchMinutes, i, of)
		}
		s := &p.subs[i]
		i++
		b := &p.bounds[i]
		p.travel = append(p.travel, segment{minutes: s.minutes, from: p.set.Water.Pressure(s.from), to: p.set.Water.Pressure(s.to),
			depth: b.depth, bound: i, arrival: b.arrival})
		breathe(&p.travel[len(p.travel)-1], of)
		if b.arrival {
			last = len(p.travel)
		}
		if i == len(p.subs) || (b.wait && (!deep || b.pickUp || b.depth >= p.lastStop-same)) {
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
	for i := range p.travel {
		p.travel[i].step = p.steps.at(p.travel[i].minutes, p.helium)
	}
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
	p.travel = append(p.travel, segment{minutes: minutes, from: at, to: at, depth: p.bounds[i].depth, bound: i})
	breathe(&p.travel[len(p.travel)-1], of)
}

func breathe(s *segment, of []carrying) {
	for d := range of {
		s.breathing[d] = uint8(of[d].breathing)
	}
}

// coefficients of one compartment as the inner loops want them.
type coefficients struct {
	aN2, bN2, inverseBN2 float64
	aHe, bHe             float64
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

// worst is the least margin of a state at an ambient pressure.
func (p *Planner) worst(s *tissue.State, helium bool, ambient, gf float64) (least float64, compartment int) {
	base := ambient - float64(gf*ambient)
	if !helium {
		least = math.Inf(1)
		for i := range s.N2 {
			c := &p.coef[i]
			if m := base + float64(gf*(c.aN2+float64(ambient*c.inverseBN2))) - s.N2[i]; m < least-tissue.Tie {
				least, compartment = m, i
			}
		}
		return least, compartment
	}
	least = math.Inf(1)
	for i := range s.N2 {
		if m := p.coef[i].margin(s.N2[i], s.He[i], ambient, gf); m < least-tissue.Tie {
			least, compartment = m, i
		}
	}
	return least, compartment
}

// gf is the gradient factor at a depth for an anchor (D42).
func (p *Planner) gf(depth, anchor float64) float64 {
	return tissue.GradientFactor(p.set.GFLow, p.set.GFHigh, depth, math.Max(anchor, p.lastStop))
}

// tested is what one diver's test gave.
type tested struct {
	margin  Margin
	refused bool
	exempt  bool
}

// test asks D43 of diver d where it is to be asked, then judges the travel ahead
// (D41). The state at the travel's end is left in p.sim[d].
func (p *Planner) test(d, j int, r *Result) tested {
	c := &p.state[d]
	asked := !c.Refused && c.No == 0
	yes := asked
	sim := &p.sim[d]
	*sim = c.Tissues
	least := Margin{Diver: d, Bar: math.Inf(1)}
	helium := p.hasHelium[d]
	for i := range p.travel {
		s := &p.travel[i]
		mix := p.mixes[s.breathing[d]]
		p.model.Apply(sim, s.step, mix, s.from, s.to, helium)
		if !s.arrival {
			continue
		}
		if yes {
			m := p.straightUp(sim, s.to, s.depth, mix, helium)
			r.Questions = math.Min(r.Questions, math.Abs(m))
			yes = m >= -marginSlack
		}
		gf := p.gf(s.depth, c.Anchor)
		if m, k := p.worst(sim, helium, s.to, gf); m < least.Bar-tissue.Tie {
			least.Bar, least.Compartment, least.GF = m, k, gf
		}
	}
	if asked && !yes {
		c.No = p.bounds[j].depth
		r.NoStop = false
	}
	if asked && yes {
		return tested{margin: least, exempt: true}
	}
	r.Tests = math.Min(r.Tests, math.Abs(least.Bar))
	return tested{margin: least, refused: least.Bar < -marginSlack}
}

// straightUp is the least margin at the surface, with GFhigh, after a straight
// ascent at the ascent rate on the gas breathed (D43).
func (p *Planner) straightUp(from *tissue.State, ambient, depth float64, mix gas.Mix, helium bool) float64 {
	up := &p.up
	*up = *from
	if depth > 0 {
		p.model.Apply(up, p.steps.at(depth/p.set.Ascent, p.helium), mix, ambient, p.set.Water.Surface, helium)
	}
	m, _ := p.worst(up, helium, p.set.Water.Surface, p.set.GFHigh)
	return m
}

// alone judges one compartment of diver d on the travel ahead.
func (p *Planner) alone(d, i int, n2, he float64) (refused bool) {
	c := &p.coef[i]
	anchor := p.state[d].Anchor
	for k := range p.travel {
		s := &p.travel[k]
		mix := p.mixes[s.breathing[d]]
		fromN2, fromHe := p.model.Inspired(mix, s.from)
		rate := 0.0
		if s.minutes > 0 {
			rate = (s.to - s.from) / s.minutes
		}
		f := s.step.N2[i]
		n2 = fromN2 + float64((n2-fromN2)*f.Q) + float64(float64(mix.N2()*rate)*f.W)
		if p.hasHelium[d] {
			f = s.step.He[i]
			he = fromHe + float64((he-fromHe)*f.Q) + float64(float64(mix.He*rate)*f.W)
		}
		if s.arrival && c.margin(n2, he, s.to, p.gf(s.depth, anchor)) < -marginSlack {
			return true
		}
	}
	return false
}
