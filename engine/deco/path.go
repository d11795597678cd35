package deco

import (
	"errors"
	"fmt"
	"math"
)

// ActionKind is what a diver does with a cylinder at a station.
type ActionKind uint8

const (
	Drop   ActionKind = iota // left there; whoever breathes it goes on with back gas (D8)
	PickUp                   // at hand from then on
	Switch                   // breathed from then on, by the plan
)

// Action is done on arrival, before the hold; it takes no time of its own.
type Action struct {
	Kind     ActionKind
	Diver    int // index into Team.Divers; beyond them it is of one who is not on this way, and passed over
	Cylinder int // index into Team.Cylinders
}

// Node is a place between two pieces, or an end of the path.
type Node struct {
	Station string  // its name; empty at a mere depth point
	Hold    float64 // minutes, planned (D49)
	Turn    bool    // the turn is at the end of the hold
	Actions []Action
}

// Piece is a straight part of the path.
type Piece struct {
	From, To    float64 // metres of depth
	Minutes     float64
	Metres      float64 // along the line; 0 in open water
	OpenWater   bool    // above an opening
	Move        int     // number of the move, from 1; that of the ascent is one more than the last
	Leg         string  // "" in open water
	Station     string  // last passed on the travel
	Past        float64 // metres past Station at the piece's start
	Restriction bool
	Flow        float64 // m/min, amount
}

// Path is a way in the water: Nodes[i], Pieces[i], Nodes[i+1], … A dive's starts
// at the surface, a way out's at a place; both end at the surface.
type Path struct {
	Turned bool    // gases change by D45 from its start: a way out
	Delay  float64 // minutes at the first place, before anything else there (D44)
	Nodes  []Node
	Pieces []Piece
}

func (p *Path) check(t *Team) error {
	var errs []error
	if len(p.Pieces) == 0 || len(p.Pieces) > MaxPieces || len(p.Nodes) != len(p.Pieces)+1 {
		return fmt.Errorf("path of %d pieces and %d places, must be 1 to %d pieces with a place at every end", len(p.Pieces), len(p.Nodes), MaxPieces)
	}
	total := p.Delay
	if !(p.Delay >= 0) {
		errs = append(errs, fmt.Errorf("delay %v min", p.Delay))
	}
	for i := range p.Pieces {
		q := &p.Pieces[i]
		if !(q.From >= 0 && q.From <= MaxDepth && q.To >= 0 && q.To <= MaxDepth) {
			errs = append(errs, fmt.Errorf("piece %d: depths %v to %v m, must be 0 to %d m", i, q.From, q.To, MaxDepth))
		}
		if !(q.Minutes >= 0) || !(math.Abs(q.To-q.From) <= float64(MaxRate*q.Minutes)) {
			errs = append(errs, fmt.Errorf("piece %d: %v min from %v to %v m, at most %d m/min", i, q.Minutes, q.From, q.To, MaxRate))
		}
		if i > 0 && !(q.From-p.Pieces[i-1].To <= same && p.Pieces[i-1].To-q.From <= same) {
			errs = append(errs, fmt.Errorf("piece %d starts at %v m, the one before it ends at %v m", i, q.From, p.Pieces[i-1].To))
		}
		total += q.Minutes
	}
	for i := range p.Nodes {
		n := &p.Nodes[i]
		if !(n.Hold >= 0) {
			errs = append(errs, fmt.Errorf("place %d: hold of %v min", i, n.Hold))
		}
		total += n.Hold
		for _, a := range n.Actions {
			if a.Diver < 0 || a.Diver >= MaxDivers || a.Cylinder < 0 || a.Cylinder >= len(t.Cylinders) || a.Kind > Switch {
				errs = append(errs, fmt.Errorf("place %d: action %+v names no diver or cylinder", i, a))
			}
		}
	}
	if !(total <= MaxMinutes) {
		errs = append(errs, fmt.Errorf("path of %v min, at most %d min", total, MaxMinutes))
	}
	if last := p.Pieces[len(p.Pieces)-1].To; !(last <= same) {
		errs = append(errs, fmt.Errorf("path ends at %v m, not at the surface", last))
	}
	return errors.Join(errs...)
}

// sub is a part of a piece between two bounds.
type sub struct {
	from, to, minutes float64
	rate              float64 // m/min of rise; 0 unless rising
	piece             int32
	rising, falling   bool
	fallStart         bool // first falling part since the path last rose, turned or began
}

// share is how much of its piece lies before it.
func (s *sub) share(q *Piece) float64 {
	if !s.rising {
		return 0
	}
	return (q.From - s.from) / (q.From - q.To)
}

// bound is a place between two subs, or an end of the path.
type bound struct {
	depth   float64
	low     float64 // deepest of the fall that begins here before the path rises again; -1: it does not fall
	node    int32   // index into Path.Nodes, -1: inside a piece
	wait    bool    // a place to wait (D41, D50)
	arrival bool    // judged on arriving (D41)
	grid    bool    // a stop-grid depth reached by rising
	pickUp  bool    // a waiting cylinder is picked up here
}

// compile cuts the path at the stop-grid depths of its rises and marks the
// places of D41.
func (p *Planner) compile(path *Path, lastStop float64) {
	p.subs, p.bounds = p.subs[:0], p.bounds[:0]
	grid := p.set.Grid
	for i := range path.Pieces {
		q := &path.Pieces[i]
		p.place(q.From, i)
		rise := q.From - q.To
		if rise <= same {
			p.cut(i, q.From, q.To, q.Minutes).falling = rise < -same
			continue
		}
		perMetre, rate := q.Minutes/rise, rise/q.Minutes
		from := q.From
		// The deepest grid depth above the piece's start, then upward.
		for k := floor((q.From - same - lastStop) / grid); k >= 0; k-- {
			depth := lastStop + float64(k*grid)
			if depth >= q.From-same {
				continue
			}
			if depth <= q.To+same {
				break
			}
			s := p.cut(i, from, depth, float64((from-depth)*perMetre))
			s.rate, s.rising = rate, true
			b := p.place(depth, -1)
			b.low, b.wait, b.arrival, b.grid = -1, true, true, true
			from = depth
		}
		s := p.cut(i, from, q.To, float64((from-q.To)*perMetre))
		s.rate, s.rising = rate, true
	}
	last := len(path.Pieces)
	p.place(path.Pieces[last-1].To, last)
	p.mark(path, lastStop)
}

// cut adds a part of piece i.
func (p *Planner) cut(i int, from, to, minutes float64) *sub {
	s := another(&p.subs)
	*s = sub{}
	s.from, s.to, s.minutes, s.piece = from, to, minutes, int32(i)
	return s
}

// place adds a bound.
func (p *Planner) place(depth float64, node int) *bound {
	b := another(&p.bounds)
	*b = bound{}
	b.depth, b.node = depth, int32(node)
	return b
}

func (p *Planner) mark(path *Path, lastStop float64) {
	fell := false // since the path last rose
	for j := range p.bounds {
		b := &p.bounds[j]
		if b.node < 0 { // a grid depth inside a rise, marked when it was cut
			fell = false
			continue
		}
		n := &path.Nodes[b.node]
		hold := n.Hold > 0
		for _, a := range n.Actions {
			b.pickUp = b.pickUp || (a.Kind == PickUp && a.Diver < len(p.team.Divers) && p.lost>>a.Cylinder&1 == 0)
		}
		if n.Turn {
			fell = false
		}
		var before, after *sub
		if j > 0 {
			before = &p.subs[j-1]
		}
		if j < len(p.subs) {
			after = &p.subs[j]
		}
		rose, rises := before != nil && before.rising, after != nil && after.rising
		start := rises && (!rose || hold)
		end := rose && (!rises || hold)
		onGrid := b.depth >= lastStop-same && isMultiple(b.depth-lastStop, p.set.Grid)
		b.grid = rose && onGrid
		b.wait = start || (rose && rises && onGrid) || (b.pickUp && (rose || rises))
		slower := rose && rises && after.rate < float64(before.rate*(1-same))
		b.arrival = rose && (b.wait || end || slower)
		if after != nil {
			after.fallStart = after.falling && !fell
			fell = (fell || after.falling) && !after.rising
		}
	}
	low := -1.0
	for j := len(p.bounds) - 1; j >= 0; j-- {
		if j < len(p.subs) {
			switch s := &p.subs[j]; {
			case s.rising:
				low = -1
			case s.falling:
				low = max(low, s.to)
			}
		}
		p.bounds[j].low = low
	}
}

func isMultiple(x, of float64) bool {
	d := x - float64(of*floor(x/of+0.5))
	return d <= same && d >= -same
}
