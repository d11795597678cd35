package dive

import (
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/route"
)

// getsHome tells whether everything that is tested at a place also holds all
// along the way home from it (D20): the team goes home at its own rates with its
// stops, and at any place of that way somebody loses everything.
func (w *Work) getsHome(p *place) bool {
	if p.home == unknown {
		p.home = stuck
		if len(p.binds) == 0 && w.wayHomeHolds(p) {
			p.home = reached
		}
	}
	return p.home == reached
}

func (w *Work) wayHomeHolds(p *place) bool {
	list, from := w.placesHome(p)
	for i := 0; i < len(list); {
		a := &list[i]
		a.out = w.led(w.way(p)).rest(a, from[i].Piece, from[i].Share)
		a.alike = w.alike(a)
		tested := make([]*margin, len(w.failures))
		for k := range w.failures {
			f := &w.failures[k]
			if f.kind == homeward {
				continue // it is the way home that is being swum
			}
			m := w.margin(a, f, w.q.Route.Policy.DelayMin)
			if tested[k] = m; !m.holds() {
				p.homeBinds = []route.Bind{{Check: homeCheck[f.kind], Who: w.who(f)}}
				return false
			}
		}
		deepest := a.at.DepthM
		next := i + 1
		for j := i + 1; j < len(list); j++ {
			deepest = math.Max(deepest, list[j].at.DepthM)
			if !w.lasts(tested, a, &list[j], w.pressure(deepest)-w.pressure(a.at.DepthM)) {
				break
			}
			next = j + 1
		}
		i = next
	}
	return true
}

// lasts tells whether what is left at a later place of the way home covers what
// was needed at an earlier one, at a place deeper by so many bar: need only falls
// on the way home, but for the minutes at the place.
func (w *Work) lasts(tested []*margin, a, b *place, deeper float64) bool {
	from, to := w.waitingAt(a), w.waitingAt(b)
	for c := range from {
		if from[c] != to[c] {
			return false
		}
	}
	for k, m := range tested {
		if m == nil {
			continue
		}
		f := &w.failures[k]
		more := float64(w.rateOf(f) * deeper)
		there := margin{gases: []amount{{cylinder: -1}}}
		for _, d := range f.donors {
			without := -1
			if f.kind == lostMain {
				without = f.lost
			}
			w.count(b, d, without, 1, &there)
		}
		for _, g := range m.gases {
			left := there.gases[0].left
			if g.cylinder >= 0 {
				left = math.Min(g.left, b.content[w.first[g.cylinder]])
			}
			if left-g.need-more < -litreTolerance {
				return false
			}
		}
	}
	return true
}

var homeCheck = [...]string{sharing: route.BindSharingGoingHome, lostWaiting: route.CheckLostCylinder, lostMain: route.CheckIndependent}

// placesHome lists places of the way home from a place, its own not among them:
// every node and the middle of every piece, with what the rest of that way begins
// with. Their moments are good until w.again is used again.
func (w *Work) placesHome(p *place) (list []place, from []deco.Probe) {
	l := w.led(w.way(p))
	path := l.path
	path.Delay = 0
	probes := make([]deco.Probe, 0, 2*len(path.Pieces))
	for i := range path.Pieces {
		probes = append(probes, deco.Probe{Node: -1, Piece: i, Share: 0.5})
		if i+1 < len(path.Pieces) {
			probes = append(probes, deco.Probe{Node: i + 1, Piece: i + 1})
		}
	}
	if err := w.planner.Schedule(w.team, &path, p.moment, probes, &w.again); err != nil {
		return nil, nil
	}
	list = make([]place, len(w.again.Moments))
	waiting := w.waitingAt(p)
	for i := range list {
		h, q := &list[i], probes[i]
		if q.Node >= 0 {
			for _, a := range path.Nodes[q.Node].Actions {
				waiting = slices.Clone(waiting)
				waiting[a.Cylinder] = ""
			}
		}
		h.moment, h.waiting, h.asked = &w.again.Moments[i], waiting, true
		piece := &path.Pieces[q.Piece]
		h.at.DepthM = piece.From + float64(q.Share*(piece.To-piece.From))
	}
	w.contentsHome(p, l.factors, list)
	return list, probes
}

// contentsHome fills what every supply holds at places of a way home, from the
// schedule in w.again.
func (w *Work) contentsHome(p *place, factors []float64, list []place) {
	n := len(p.content)
	all := make([]float64, (len(list)+1)*n)
	now := all[:n]
	copy(now, p.content)
	for i := range list {
		list[i].content = all[(i+1)*n : (i+2)*n : (i+2)*n]
	}
	t, i := p.moment.Minutes, 0
	for k := range w.again.Stretches {
		s := &w.again.Stretches[k]
		for ; i < len(list) && list[i].moment.Minutes < t+s.Minutes-1e-9; i++ {
			copy(list[i].content, now)
			w.breatheHome(list[i].content, factors, cut(s, list[i].moment.Minutes-t))
		}
		w.breatheHome(now, factors, *s)
		t += s.Minutes
	}
	for ; i < len(list); i++ {
		copy(list[i].content, now)
	}
}

func (w *Work) breatheHome(content []float64, factors []float64, s deco.Stretch) {
	bar := w.barMinutes(&s, factors)
	for d := range w.team.Divers {
		w.take(content, int(s.Breathing[d]), float64(w.rates[d].planned*bar), -1)
	}
}

// barMinutes of a stretch, the gas factor of a pulled leg included.
func (w *Work) barMinutes(s *deco.Stretch, factors []float64) float64 {
	return float64(float64(0.5*s.Minutes)*(w.pressure(s.From)+w.pressure(s.To))) * factorOf(factors, s)
}

// cut is the first minutes of a stretch.
func cut(s *deco.Stretch, minutes float64) deco.Stretch {
	part := *s
	if s.Minutes > 0 {
		share := math.Min(1, math.Max(0, minutes)/s.Minutes)
		part.Minutes = float64(share * s.Minutes)
		part.To = s.From + float64(share*(s.To-s.From))
	}
	return part
}

// rest is the way from a place on it, a share of a piece, on; what waits at its
// beginning has been picked up.
func (l *led) rest(at *place, piece int, share float64) *way {
	y := &led{factors: slices.Clone(l.factors[piece:])}
	y.path = deco.Path{Turned: true, Nodes: slices.Clone(l.path.Nodes[piece:]), Pieces: slices.Clone(l.path.Pieces[piece:])}
	y.path.Nodes[0].Actions = nil
	if share > 0 {
		q := &y.path.Pieces[0]
		y.path.Nodes[0] = deco.Node{}
		q.From += float64(share * (q.To - q.From))
		q.Past += float64(share * q.Metres)
		q.Minutes = float64((1 - share) * q.Minutes)
		q.Metres = float64((1 - share) * q.Metres)
	}
	return &way{at: at, kept: y}
}
