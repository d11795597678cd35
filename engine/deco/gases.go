package deco

import (
	"math"

	"lastlight/engine/gas"
)

// oxygen is the ppO2 of a cylinder's gas at a depth, bar.
func (p *Planner) oxygen(c int, depth float64) float64 {
	return float64(p.team.Cylinders[c].Mix.O2 * p.set.Water.Pressure(depth))
}

func (p *Planner) oxygenLimit(c int) float64 {
	if p.team.Cylinders[c].Kind == Deco {
		return p.set.LimitDeco + p.set.Tolerance
	}
	return p.set.LimitBottom + p.set.Tolerance
}

// leastOxygen is D45's floor.
func (p *Planner) leastOxygen() float64 {
	return gas.LeastOxygen(p.set.Least, p.set.Water)
}

// depths works out where each cylinder may be breathed (D45).
func (p *Planner) depths() {
	least := p.leastOxygen() - same
	w := p.set.Water
	for c := range p.team.Cylinders {
		cyl := &p.team.Cylinders[c]
		p.deepest[c], p.shallowest[c] = math.Inf(1), -same
		if cyl.Kind != Back {
			p.deepest[c] = cyl.SwitchDepth + same
		}
		switch o := cyl.Mix.O2; {
		case o > 0:
			p.deepest[c] = min(p.deepest[c], w.Depth((p.oxygenLimit(c)+same)/o))
			p.shallowest[c] = w.Depth(least / o)
		case least > 0:
			p.shallowest[c] = math.Inf(1)
		}
	}
}

// Allowed tells whether a cylinder of the team scheduled last may be breathed at a depth (D45).
func (p *Planner) Allowed(c int, depth float64) bool {
	return depth <= p.deepest[c] && depth >= p.shallowest[c]
}

// richest is the cylinder with most oxygen at hand of diver d that may be
// breathed at both depths (low < 0: at the first only). Ties go to the gas
// breathed, then back gas, then the order of listing. ok is false if none may.
func (p *Planner) richest(d int, c *carrying, depth, low float64) (best int, ok bool) {
	diver := &p.team.Divers[d]
	most := -1.0
	try := func(i int) {
		if c.atHand>>uint(i)&1 == 0 || !p.Allowed(i, depth) || (low >= 0 && !p.Allowed(i, low)) {
			return
		}
		if o := p.team.Cylinders[i].Mix.O2; o > most+same {
			most, best, ok = o, i, true
		}
	}
	try(c.breathing)
	try(p.back[d])
	for _, i := range diver.Stages {
		try(i)
	}
	return best, ok
}

// carrying is what a change of gas depends on and changes.
type carrying struct {
	atHand    uint64
	breathing int
}

// act does the actions of a node and tells which divers picked something up, as bits.
func (p *Planner) act(n *Node, of []carrying) (pickedUp uint32) {
	for _, a := range n.Actions {
		if a.Diver >= len(of) { // of one who is not on this way: it is scheduled for the first divers alone
			continue
		}
		c := &of[a.Diver]
		switch a.Kind {
		case Drop:
			c.atHand &^= 1 << a.Cylinder
			if c.breathing == a.Cylinder {
				c.breathing = p.back[a.Diver]
			}
		case PickUp:
			if p.lost>>a.Cylinder&1 == 0 {
				c.atHand |= 1 << a.Cylinder
				pickedUp |= 1 << a.Diver
			}
		case Switch:
			if c.atHand>>a.Cylinder&1 == 1 {
				c.breathing = a.Cylinder
			}
		}
	}
	return pickedUp
}

// changeOnArrival applies D45 (a) and (b) at bound j for one diver and tells
// whether the gas changed. exempt is D43's answer for the travel that ended here.
func (p *Planner) changeOnArrival(d, j int, c *carrying, pickedUp, exempt bool) bool {
	b := &p.bounds[j]
	byGrid := b.grid && (!exempt || p.tooThinAhead(c.breathing, j))
	if !byGrid && !pickedUp {
		return false
	}
	if c.atHand == 1<<c.breathing {
		return false // nothing else at hand
	}
	best, ok := p.richest(d, c, b.depth, b.low)
	if !ok || best == c.breathing {
		return false
	}
	c.breathing = best
	return true
}

// tooThinAhead tells whether the gas would be below the ppO2 minimum at an
// arrival after bound j, up to the next stop-grid depth reached by rising (D43).
func (p *Planner) tooThinAhead(c, j int) bool {
	for j++; j < len(p.bounds); j++ {
		b := &p.bounds[j]
		if b.arrival && p.oxygen(c, b.depth) < p.leastOxygen()-same {
			return true
		}
		if b.grid {
			return false
		}
	}
	return false
}

// changeBeforeFall applies D45 (c) at bound j for one diver. missing tells that
// no gas at hand may be breathed both here and at the deepest point.
func (p *Planner) changeBeforeFall(d, j int, c *carrying) (changed, missing bool) {
	if j >= len(p.subs) || !p.subs[j].fallStart {
		return false, false
	}
	b := &p.bounds[j]
	if p.Allowed(c.breathing, b.low) {
		return false, false
	}
	best, ok := p.richest(d, c, b.depth, b.low)
	if !ok {
		return false, true
	}
	c.breathing = best
	return true, false
}
