package route

// shut is what a segment whose way out relies on legs known by verification alone
// would take if the far side were shut at their last metre (D37).
type shut struct {
	last   *way // the last of those legs on the way out; nil: the segment's own leg alone
	behind *way // from the station last left, or where the team holds, over legs swum on this dive; nil: none
	ahead  *way // from the next station, likewise
	closed bool // some leg cannot be swum back
}

// FarShut is the way a team swims that finds the far side shut at the last metre
// known by verification alone: on from the place to there, back to the place, and
// out the way that was swum. relied tells whether the place relies on such legs at
// all; without pieces the way back cannot be swum.
func (p *Path) FarShut(at Spot) (pieces []Piece, relied bool) {
	w := p.walk
	s := &w.segs[at.s.seg]
	if s.shut == nil {
		return nil, false
	}
	if s.shut.closed {
		return nil, true
	}
	var there, again []Piece // on to the last metre; back to the place
	home := s.shut.behind
	if !s.hold {
		l := &w.legs[s.leg]
		metres := s.at + at.s.x
		length := l.in.LengthM
		if s.mode == onward {
			there, again = p.over(nil, s.leg, s.dir, metres), p.upTo(nil, s.leg, 1-s.dir, 0, length-metres)
		} else {
			there, again = p.over(nil, s.leg, 1-s.dir, length-metres), p.upTo(nil, s.leg, s.dir, 0, metres)
		}
		behind, ahead := p.over(nil, s.leg, 1-s.dir, length-metres), p.over(nil, s.leg, s.dir, metres)
		if home == nil || s.shut.ahead != nil && p.cost(ahead)+s.shut.ahead.barMin < p.cost(behind)+home.barMin {
			home = s.shut.ahead
			behind = ahead
		}
		again = append(again, behind...)
	}
	if home == nil {
		return nil, true
	}
	if s.shut.last != nil {
		var chain []*way
		for y := s.home; ; y = y.next {
			chain = append(chain, y)
			there = p.over(there, y.leg, y.dir, 0)
			if y == s.shut.last {
				break
			}
		}
		var back []Piece
		for i := len(chain) - 1; i >= 0; i-- {
			back = p.over(back, chain[i].leg, 1-chain[i].dir, 0)
		}
		again = append(back, again...)
	}
	pieces = append(there, again...)
	for ; home.leg >= 0; home = home.next {
		pieces = p.over(pieces, home.leg, home.dir, 0)
	}
	if min, _ := w.straight(w.nodes[home.node].depth, w.in.Policy.AscentMMin); min > 0 {
		pieces = append(pieces, p.ascent(&w.nodes[home.node], nil))
	}
	return pieces, true
}

// cost is the bar·minutes of pieces.
func (p *Path) cost(list []Piece) float64 {
	sum := 0.0
	for i := range list {
		q := &list[i]
		sum += float64(float64(0.5*float64(q.Minutes*q.GasFactor)) * (p.walk.pressure(q.FromDepthM) + p.walk.pressure(q.ToDepthM)))
	}
	return sum
}
