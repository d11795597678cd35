package passage

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/gas"
	"lastlight/engine/route"
)

// SwitchDepth gives the depth in metres below which a stage is never breathed (D45).
type SwitchDepth func(c *route.Cylinder) float64

// TeamOf is a route's team as decompression sees it: independent mains of one
// diver are one back gas, the first's. The error names mains of different gases,
// which one schedule cannot breathe as one.
func TeamOf(team []route.Diver, depth SwitchDepth) (*deco.Team, error) {
	t := &deco.Team{}
	var errs []error
	mix := func(g route.Gas) gas.Mix {
		if g == (route.Gas{}) {
			return gas.Air
		}
		return gas.Mix{O2: g.O2, He: g.He}
	}
	for i := range team {
		d := &team[i]
		diver := deco.Diver{Name: d.Name, Back: len(t.Cylinders)}
		if len(d.Mains) == 0 {
			errs = append(errs, fmt.Errorf("diver %s has no main cylinder", d.Name))
			continue
		}
		for k := range d.Mains {
			if d.Mains[k].Gas != d.Mains[0].Gas {
				errs = append(errs, fmt.Errorf("diver %s: main cylinders hold different gases", d.Name))
			}
		}
		t.Cylinders = append(t.Cylinders, deco.Cylinder{ID: "main:" + d.Name, Mix: mix(d.Mains[0].Gas)})
		for k := range d.Stages {
			s := &d.Stages[k]
			c := deco.Cylinder{ID: s.ID, Mix: mix(s.Gas), Kind: deco.Stage, SwitchDepth: math.Min(deco.MaxDepth, math.Max(0, depth(s)))}
			if s.Deco {
				c.Kind = deco.Deco
			}
			diver.Stages = append(diver.Stages, len(t.Cylinders))
			t.Cylinders = append(t.Cylinders, c)
		}
		t.Divers = append(t.Divers, diver)
	}
	return t, errors.Join(errs...)
}

// FromPieces makes the path of a dive that route.Trace laid, with the turn at the
// end of the hold of a move (from 1; 0: before the first), or of a way out that
// Path.WayOut gave (turned, where moves are counted from its first leg).
func FromPieces(pieces []route.Piece, t *deco.Team, turnAfter int, turned bool) (*deco.Path, error) {
	p := new(deco.Path)
	return p, Fill(p, pieces, t, turnAfter, turned)
}

// Fill is FromPieces in the memory of an earlier path, whose actions it leaves alone.
func Fill(p *deco.Path, pieces []route.Piece, t *deco.Team, turnAfter int, turned bool) error {
	*p = deco.Path{Turned: turned, Nodes: slices.Grow(p.Nodes[:0], len(pieces)+1), Pieces: slices.Grow(p.Pieces[:0], len(pieces))}
	p.Nodes = append(p.Nodes, deco.Node{Turn: !turned && turnAfter == 0})
	var errs []error
	leg, move := "", 0
	for i := range pieces {
		x := &pieces[i]
		here := &p.Nodes[len(p.Nodes)-1]
		here.Actions = append(here.Actions, actionsOf(x.Actions, t, &errs)...)
		if x.Kind == route.PieceHold {
			here.Station, here.Hold = x.Station, here.Hold+x.Minutes
			here.Turn = here.Turn || (!turned && x.Move == turnAfter)
			continue
		}
		q := deco.Piece{
			From: x.FromDepthM, To: x.ToDepthM, Minutes: x.Minutes, Move: x.Move, Leg: x.Leg, Station: x.Station, Past: x.MetresPast,
			Restriction: x.Restriction != "" && x.Restriction != route.RestrictionNone, Flow: math.Abs(x.FlowMMin),
		}
		next := deco.Node{}
		switch x.Kind {
		case route.PieceSwim:
			q.Metres = x.Metres
			if x.Leg != leg || x.MetresPast == 0 {
				leg, move = x.Leg, move+1
			}
			if q.Move == 0 {
				q.Move = move
			}
			if x.MetresPast == 0 {
				here.Station = x.Station
			}
		default:
			q.OpenWater = true
			if x.Kind == route.PieceAscent {
				q.Move = lastMove(p) + 1
				here.Station = x.Station
			} else {
				q.Station, next.Station = x.Towards, x.Towards
			}
		}
		p.Pieces = append(p.Pieces, q)
		p.Nodes = append(p.Nodes, next)
	}
	if n := len(pieces); n > 0 && pieces[n-1].Kind == route.PieceSwim { // at an opening at the surface nothing follows that names it
		p.Nodes[len(p.Nodes)-1].Station = pieces[n-1].Towards
	}
	return errors.Join(errs...)
}

func lastMove(p *deco.Path) int {
	if len(p.Pieces) == 0 {
		return 0
	}
	return p.Pieces[len(p.Pieces)-1].Move
}

var kinds = map[string]deco.ActionKind{route.ActDrop: deco.Drop, route.ActPickUp: deco.PickUp, route.ActSwitchTo: deco.Switch}

// actionsOf turns a route's actions on cylinders into those of decompression.
// Markers are none of its business, and a switch between independent mains changes no gas.
func actionsOf(list []route.Action, t *deco.Team, errs *[]error) (out []deco.Action) {
	for i := range list {
		a := &list[i]
		kind, ok := kinds[a.Action]
		if !ok {
			continue
		}
		diver, c := -1, -1
		for d := range t.Divers {
			if t.Divers[d].Name != a.Diver {
				continue
			}
			diver, c = d, t.Divers[d].Back
			for _, s := range t.Divers[d].Stages {
				if a.Cylinder != nil && t.Cylinders[s].ID == *a.Cylinder {
					c = s
				}
			}
		}
		if diver < 0 || (kind != deco.Switch && c == t.Divers[diver].Back) {
			*errs = append(*errs, fmt.Errorf("%s of %s names no stage of the team", a.Action, a.Diver))
			continue
		}
		out = append(out, deco.Action{Kind: kind, Diver: diver, Cylinder: c})
	}
	return out
}
