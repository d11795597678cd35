package passage

import (
	"errors"
	"fmt"

	"lastlight/engine/deco"
)

// Move is one leg swum and what is done at its end (D8).
type Move struct {
	Leg     int
	Dir     int     // 0 from From to To, 1 back
	Swim    float64 // 0: the team's
	Hold    float64
	Actions []deco.Action
	RunLine bool // the team's own line, in place from then on
	Recover bool // and gone from then on
}

// Dive is a route with the move at whose end the team turns.
type Dive struct {
	Start        int // station, an opening
	StartActions []deco.Action
	Moves        []Move
	TurnAfter    int    // move, from 1; 0: at the start
	Verified     []bool // per leg: known before the dive, both directions (D34)
}

// Laid is a dive as a path, with where its moves are on it.
type Laid struct {
	Path  deco.Path
	Start int   // node of the first station
	Node  []int // node at the end of each move
	First []int // first piece of each move
}

// Lay makes the path of a dive: descent, moves, holds, ascent.
func (n *Network) Lay(d *Dive) (*Laid, error) {
	if len(d.Moves) == 0 {
		return nil, errors.New("route without a move")
	}
	l := &Laid{}
	p := &l.Path
	start := &n.Stations[d.Start]
	if start.Depth > 0 && n.Rates.CountAscent {
		p.Nodes = append(p.Nodes, deco.Node{})
		p.Pieces = append(p.Pieces, deco.Piece{From: 0, To: start.Depth, Minutes: start.Depth / n.Rates.Descent, OpenWater: true, Station: start.Name})
		l.Start = 1
	}
	p.Nodes = append(p.Nodes, deco.Node{Station: start.Name, Actions: d.StartActions, Turn: d.TurnAfter == 0})
	at := d.Start
	for i := range d.Moves {
		m := &d.Moves[i]
		from, to := n.ends(m.Leg, m.Dir)
		if from != at {
			return nil, fmt.Errorf("move %d: leg %s does not leave from %s", i+1, n.Legs[m.Leg].ID, n.Stations[at].Name)
		}
		ground := n.planned(m.Leg, m.Dir, m.Swim)
		if !(ground > leastGround) {
			return nil, fmt.Errorf("move %d: ground speed %v m/min on leg %s", i+1, ground, n.Legs[m.Leg].ID)
		}
		l.First = append(l.First, len(p.Pieces))
		p.Pieces = n.travel(p.Pieces, m.Leg, m.Dir, 0, ground, i+1)
		for len(p.Nodes) < len(p.Pieces) {
			p.Nodes = append(p.Nodes, deco.Node{})
		}
		p.Nodes = append(p.Nodes, deco.Node{Station: n.Stations[to].Name, Hold: m.Hold, Actions: m.Actions, Turn: i+1 == d.TurnAfter})
		l.Node = append(l.Node, len(p.Nodes)-1)
		at = to
	}
	if !n.Stations[at].Opening {
		return nil, fmt.Errorf("route ends at %s, which is no opening", n.Stations[at].Name)
	}
	p.Pieces = n.ascent(p.Pieces, at, len(d.Moves)+1)
	if len(p.Nodes) < len(p.Pieces)+1 {
		p.Nodes = append(p.Nodes, deco.Node{})
	}
	return l, nil
}

// Place is where on the dive something goes wrong: metres past the beginning
// of a move's leg, or minutes into the hold at its end.
type Place struct {
	Move   int // from 1
	Inside bool
	Past   float64 // metres, when Inside
	Hold   float64 // minutes already spent, when not
}

// Probe is the place on the path.
func (n *Network) Probe(d *Dive, l *Laid, at Place) (deco.Probe, error) {
	if at.Move < 1 || at.Move > len(d.Moves) {
		return deco.Probe{}, fmt.Errorf("no move %d", at.Move)
	}
	if !at.Inside {
		return deco.Probe{Node: l.Node[at.Move-1], Hold: at.Hold}, nil
	}
	for i := l.First[at.Move-1]; i < l.Node[at.Move-1]; i++ {
		q := &l.Path.Pieces[i]
		if at.Past <= q.Past+q.Metres+1e-9 {
			return deco.Probe{Node: -1, Piece: i, Share: min(1, max(0, (at.Past-q.Past)/q.Metres))}, nil
		}
	}
	return deco.Probe{}, fmt.Errorf("move %d: no place %v m along its leg", at.Move, at.Past)
}

// situation is what a team can count on at a place.
type situation struct {
	known   []bool // per leg: known and lined
	waiting []int  // per cylinder: station where it lies, -1: with a diver
}

// at works out the situation at a place: after the actions there, the leg being
// swum not yet known (D10, D14).
func (n *Network) at(d *Dive, t *deco.Team, place Place) situation {
	s := situation{known: make([]bool, len(n.Legs)), waiting: make([]int, len(t.Cylinders))}
	lined := make([]bool, len(n.Legs))
	for i := range n.Legs {
		lined[i] = n.Legs[i].Lined
		s.known[i] = i < len(d.Verified) && d.Verified[i]
	}
	for c := range s.waiting {
		s.waiting[c] = -1
	}
	act := func(actions []deco.Action, at int) {
		for _, a := range actions {
			switch a.Kind {
			case deco.Drop:
				s.waiting[a.Cylinder] = at
			case deco.PickUp:
				s.waiting[a.Cylinder] = -1
			}
		}
	}
	act(d.StartActions, d.Start)
	for i := range d.Moves[:place.Move] {
		m := &d.Moves[i]
		if m.Recover {
			lined[m.Leg] = false
		}
		if i == place.Move-1 && place.Inside {
			break
		}
		s.known[m.Leg] = true
		if m.RunLine {
			lined[m.Leg] = true
		}
		_, to := n.ends(m.Leg, m.Dir)
		act(m.Actions, to)
	}
	for i := range s.known {
		s.known[i] = s.known[i] && lined[i]
	}
	return s
}
