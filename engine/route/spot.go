package route

import (
	"math"
	"slices"
)

// Spot is a place on a Path: a stretch of it, and metres into a swim or minutes
// into a hold.
type Spot struct{ s spot }

// Spots lists the places at which a plan is checked (D16): arriving at every
// station, there, at the end of the hold, at every depth point and wherever
// going back costs as much as going on; and between them so many more that no
// swim or hold from one to the next takes longer than the minutes given.
func (p *Path) Spots(minutes float64) []Spot {
	var list []Spot
	for i := range p.walk.segs {
		x := &p.walk.segs[i]
		n := max(1, int(math.Ceil(float64(x.length*x.minutes)/minutes-1e-9)))
		if x.hold {
			list = append(list, Spot{spot{i, 0}})
			if x.length == 0 {
				continue
			}
		}
		for k := 1; k <= n; k++ {
			at := float64(x.length*float64(k)) / float64(n)
			if k == n {
				at = x.length
			}
			list = append(list, Spot{spot{i, at}})
		}
	}
	return list
}

// Between is the place a share of the way from one of Spots to the next; false
// where they lie on no stretch together or closer than the minutes given.
func (p *Path) Between(a, b Spot, share, minutes float64) (Spot, bool) {
	x := &p.walk.segs[b.s.seg]
	from := 0.0
	if a.s.seg == b.s.seg {
		from = a.s.x
	}
	if a.s.seg < b.s.seg-1 || float64((b.s.x-from)*x.minutes) <= minutes {
		return Spot{}, false
	}
	return Spot{spot{b.s.seg, from + float64(share*(b.s.x-from))}}, true
}

// Before tells whether a comes before b on the dive.
func (a Spot) Before(b Spot) bool {
	return a.s.seg < b.s.seg || a.s.seg == b.s.seg && a.s.x < b.s.x
}

// Place names a spot; its minutes are those of a dive without stops.
func (p *Path) Place(s Spot) Place { return p.walk.place(s.s) }

// Metres is how far a spot lies into the leg of its move; false in a hold and at the start.
func (p *Path) Metres(s Spot) (float64, bool) {
	x := &p.walk.segs[s.s.seg]
	return x.at + s.s.x, !x.hold
}

// Commitment is the commitment point of the plan (D22). Stops belong to the way
// out and do not move it.
func (p *Path) Commitment() Spot {
	last := len(p.walk.segs) - 1
	return Spot{p.walk.begin(spot{last, p.walk.segs[last].length})}
}

// Find is the spot of a Place that Spots or a Result named.
func (p *Path) Find(at Place) (Spot, bool) {
	w := p.walk
	if at.Move < 1 || at.Move > len(w.steps) {
		return Spot{}, false
	}
	step := &w.steps[at.Move-1]
	length := w.legs[w.moves[at.Move-1].leg].in.LengthM
	if at.InHold {
		return Spot{spot{step.hold, math.Min(at.AfterHoldMin, w.segs[step.hold].length)}}, true
	}
	metres := at.MetresPast
	if at.Arriving {
		metres = length
	}
	if !(metres >= 0 && metres <= length) {
		return Spot{}, false
	}
	n := step.first
	for ; n < step.hold-1 && w.segs[n].at+w.segs[n].length < metres; n++ {
	}
	return Spot{spot{n, math.Max(0, metres-w.segs[n].at)}}, true
}

// WayFrom adds to a list the pieces of the k-th known way out of a spot at
// contingency speed, without holds and stops: swims, then the ascent from an
// opening. The first, 0, costs least without stops; the others are all that come
// past no station and no part of the line twice. False where there are not so many;
// there is none where no way out is known.
func (p *Path) WayFrom(out []Piece, at Spot, k int) ([]Piece, bool) {
	w := p.walk
	s := &w.segs[at.s.seg]
	switch {
	case s.mode == noWay, s.mode == upward && k > 0:
		return out, false
	case s.mode == upward:
		l := &w.legs[s.leg]
		depth := (s.pressure.at(at.s.x) - w.in.Water.SurfaceBar) / w.in.Water.BarPerM
		return append(out, p.ascent(&node{name: w.nodes[l.ends[s.dir]].name, depth: depth}, nil)), true
	case k == 0:
		return p.wayOut(out, s, at.s.x, turning{s.mode, s.home}), true
	}
	for _, o := range s.forks.turnings() {
		if o.mode != s.mode || !o.home.same(s.home) {
			if k--; k == 0 {
				return p.wayOut(out, s, at.s.x, o), true
			}
		}
	}
	return out, false
}

// Cost is what the first of these ways costs, bar·minutes; false where there is none.
func (p *Path) Cost(at Spot) (barMin float64, ok bool) {
	s := &p.walk.segs[at.s.seg]
	if s.mode == noWay {
		return 0, false
	}
	return s.out.at(at.s.x), true
}

func (p *Path) wayOut(out []Piece, s *segment, x float64, t turning) []Piece {
	w := p.walk
	n := 1 // the ascent
	if !s.hold {
		n += len(w.legs[s.leg].travel[0].pieces)
	}
	for y := t.home; y.leg >= 0; y = y.next {
		n += len(w.legs[y.leg].travel[y.dir].pieces)
	}
	out = slices.Grow(out, n)
	if !s.hold {
		l := &w.legs[s.leg]
		metres := s.at + x
		if t.mode == back {
			out = p.over(out, s.leg, 1-s.dir, l.in.LengthM-metres)
		} else {
			out = p.over(out, s.leg, s.dir, metres)
		}
	}
	y := t.home
	for ; y.leg >= 0; y = y.next {
		out = p.over(out, y.leg, y.dir, 0)
	}
	if min, _ := w.straight(w.nodes[y.node].depth, w.in.Policy.AscentMMin); min > 0 {
		out = append(out, p.ascent(&w.nodes[y.node], nil))
	}
	return out
}

// Supply is a cylinder of the team as its gas is reckoned.
type Supply struct {
	ID       string
	Diver    int // in team order
	Main     bool
	Deco     bool
	VolumeL  float64
	StartBar float64
	StartL   float64
	SharingL float64 // of the sharing reserve
	PlannedL float64 // of the planned reserve
	Share    float64 // of a main: of what its diver breathes from the mains
}

// Supplies lists every cylinder, a diver's mains before the stages.
func (p *Path) Supplies() []Supply {
	var list []Supply
	for k := range p.walk.cyls {
		c := &p.walk.cyls[k]
		s := Supply{
			ID: c.id, Diver: c.diver, Main: c.main, Deco: c.deco, VolumeL: c.volume, StartBar: c.bar,
			StartL: c.start, SharingL: c.sharing, PlannedL: c.planned,
		}
		d := &p.walk.divers[c.diver]
		for i, m := range d.mains {
			if m == k {
				s.Share = d.share[i]
			}
		}
		list = append(list, s)
	}
	return list
}

// Gauge is what supply k shows with so many litres in it, bar.
func (p *Path) Gauge(k int, litres float64) float64 { return p.walk.cyls[k].gauge(litres) }

// Rates are a diver's consumption as planned and after a failure (D36), L/min.
func (p *Path) Rates(d int) (planned, after float64) {
	return p.walk.divers[d].rmv, p.walk.divers[d].after
}
