// Package passage lays a dive over a line network as the path that decompression
// is planned on, and finds the way out that a team would take from any place of
// it, stops included (method handbook, D4 to D15, D44, D51). Metres, minutes, m/min.
package passage

import (
	"math"
	"slices"

	"lastlight/engine/deco"
)

// Station is a named place on the line.
type Station struct {
	Name    string
	Depth   float64
	Opening bool // open water above; an air bell is none
}

// DepthPoint is a depth inside a leg, metres along it from its From.
type DepthPoint struct {
	At, Depth float64
}

// Leg joins two stations.
type Leg struct {
	ID          string
	From, To    int // stations
	Length      float64
	Flow        float64 // From to To positive
	Lined       bool    // a permanent line
	Restriction bool    // minor or major
	Points      []DepthPoint
	SlowExit    float64 // factor of its bottom, 1 or more; 0 is read as 1
	PullGlide   float64 // declared pull-and-glide speed; 0: none
}

// Rates of movement.
type Rates struct {
	Swim        float64 // planned
	Contingency float64 // on every way out (D7)
	Ascent      float64
	Descent     float64
	SlowExit    float64 // of the plan, 1 or more; 0 is read as 1 (D6)
	Delay       float64 // minutes to solve a problem at the place of it (D44)
	CountAscent bool    // D3; false only reproduces examples by hand
}

// Network is what a dive is laid over.
type Network struct {
	Stations []Station
	Legs     []Leg
	Rates    Rates
}

// direction of a leg: 0 from From to To, 1 back.
type direction = int

func (n *Network) ends(leg int, dir direction) (from, to int) {
	l := &n.Legs[leg]
	if dir == 1 {
		return l.To, l.From
	}
	return l.From, l.To
}

func (n *Network) flow(leg int, dir direction) float64 {
	if dir == 1 {
		return -n.Legs[leg].Flow
	}
	return n.Legs[leg].Flow
}

// planned ground speed (D5).
func (n *Network) planned(leg int, dir direction, swim float64) float64 {
	if swim == 0 {
		swim = n.Rates.Swim
	}
	return math.Max(n.Legs[leg].PullGlide, swim+n.flow(leg, dir))
}

// contingency ground speed (D6).
func (n *Network) contingency(leg int, dir direction) float64 {
	l := &n.Legs[leg]
	m := max(1, n.Rates.SlowExit, l.SlowExit)
	flow, swim := n.flow(leg, dir), n.Rates.Contingency
	return math.Max(l.PullGlide, math.Min((swim+flow)/m, swim/m+flow))
}

// leastGround is the speed at or below which a leg is no way at all.
const leastGround = 1e-3

// travel appends the pieces of a leg from some metres past its beginning to its
// end (D4): each takes the longest of swimming, rising and dropping.
func (n *Network) travel(pieces []deco.Piece, leg int, dir direction, past, ground float64, move int) []deco.Piece {
	l := &n.Legs[leg]
	from, to := n.ends(leg, dir)
	points := make([]DepthPoint, 0, len(l.Points)+2)
	points = append(points, DepthPoint{0, n.Stations[l.From].Depth})
	points = append(points, l.Points...)
	points = append(points, DepthPoint{l.Length, n.Stations[l.To].Depth})
	if dir == 1 {
		slices.Reverse(points)
		for i := range points {
			points[i].At = l.Length - points[i].At
		}
	}
	points[0].Depth, points[len(points)-1].Depth = n.Stations[from].Depth, n.Stations[to].Depth
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if b.At <= past+1e-9 || b.At-a.At < 1e-9 {
			continue
		}
		if a.At < past {
			a.Depth += float64((b.Depth - a.Depth) * ((past - a.At) / (b.At - a.At)))
			a.At = past
		}
		metres := b.At - a.At
		minutes := metres / ground
		if rise := a.Depth - b.Depth; rise > 0 {
			minutes = math.Max(minutes, rise/n.Rates.Ascent)
		} else {
			minutes = math.Max(minutes, -rise/n.Rates.Descent)
		}
		pieces = append(pieces, deco.Piece{
			From: a.Depth, To: b.Depth, Minutes: minutes, Metres: metres, Move: move, Leg: l.ID,
			Station: n.Stations[from].Name, Past: a.At, Restriction: l.Restriction, Flow: math.Abs(l.Flow),
		})
	}
	return pieces
}

// ascent appends the way straight up from an opening.
func (n *Network) ascent(pieces []deco.Piece, opening, move int) []deco.Piece {
	s := &n.Stations[opening]
	if s.Depth <= 0 || !n.Rates.CountAscent {
		return pieces
	}
	return append(pieces, deco.Piece{From: s.Depth, To: 0, Minutes: s.Depth / n.Rates.Ascent, OpenWater: true, Move: move, Station: s.Name})
}
