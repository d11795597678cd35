package dive

import (
	"math"
	"slices"

	"lastlight/engine/route"
)

// widest is how many minutes may lie between two places of a search for the least margin.
const widest = 10

// search finds the place with the least margin of several failures at once. As in
// check, need between two peaks is no more than at the dearer, but for the minutes at
// the place, so that two places bound what lies between: where that may
// be less than the least found so far, or they lie further apart than widest, the
// place half way is looked at, down to spacing, then eighths of that, and both sides
// of a place where the way out begins to draw on other gases. Stops are whole minutes, so
// between them need may be a few minutes' more than at both; that is reckoned with until
// something is found that does not hold.
type search struct {
	w      *Work
	fs     []*failure
	delay  float64 // minutes at the place, on all rates of a failure
	at     func(p *place, f *failure) *margin
	under  func(*place) *place // the same place under the network searched
	place  func(i int) *place  // of those of the dive
	found  []worst
	margin [][]*margin // per place looked at
}

// leastOf searches all places up to one (nil: all), beginning with those of first.
func (w *Work) leastOf(fs []*failure, delay float64, first []int, until *place, under func(*place) *place, at func(p *place, f *failure) *margin) []worst {
	if len(fs) == 0 { // as sharing is to one diver
		return nil
	}
	stay := w.margins
	w.margins = margins{pieces: w.searched.pieces} // what is found is kept, the rest is forgotten
	looked := make([]*place, len(w.places))
	s := &search{w: w, fs: fs, delay: delay, under: under, at: at, found: make([]worst, len(fs)), margin: make([][]*margin, len(w.places))}
	s.place = func(i int) *place {
		if looked[i] == nil {
			looked[i] = under(w.places[i])
		}
		return looked[i]
	}
	last := len(w.places) - 1
	if until != nil {
		for last > 0 && until.spot.Before(w.places[last].spot) {
			last--
		}
		q := under(until)
		for k, f := range fs {
			s.found[k].take(at(q, f), q)
		}
	}
	first = append(append([]int(nil), first...), 0, last)
	for i := 1; i <= last; i++ {
		if w.changes(i) {
			first = append(first, i-1, i)
		}
	}
	first = slices.DeleteFunc(first, func(i int) bool { return i > last })
	slices.Sort(first)
	first = slices.Compact(first)
	for _, i := range first {
		s.look(i)
	}
	for k := 1; k < len(first); k++ {
		s.between(first[k-1], first[k])
	}
	w.searched, w.margins = w.margins, stay
	for k := range s.found {
		if b := &s.found[k]; b.found {
			b.m = w.keep(b.m)
		}
	}
	return s.found
}

// judgedPlaces are those of the dive that check looked at.
func (w *Work) judgedPlaces() (list []int) {
	for i, p := range w.places {
		if p.judged {
			list = append(list, i)
		}
	}
	return list
}

// peaks are the places from which the way out, without its stops, costs more than
// from the next, and no less than from the one before: the far end of a passage, the
// place in a known ring where going on costs as much as going back, and the last
// metre before a station where a way out becomes known (D14). Between two of them
// and the ends of the dive need is nowhere more than at both, but for stops and for
// minutes at the place.
func (w *Work) peaks(n *network) (list []int) {
	if n.path == nil {
		return nil
	}
	before, rising := math.Inf(-1), true
	for i, p := range w.places {
		cost := math.Inf(1) // no way out
		if spot, found := w.spotIn(n, p); found {
			if c, ok := n.path.Cost(spot); ok {
				cost = c
			}
		}
		if rising && cost < before-1e-9 {
			list = append(list, i-1)
		}
		if cost > before+1e-9 || cost < before-1e-9 {
			rising = cost > before
		}
		before = cost
	}
	return list
}

// changes tells whether a cylinder is left, taken or held for between a place and the one before.
func (w *Work) changes(i int) bool {
	return w.places[i] == w.commitment || !slices.Equal(w.waitingAt(w.places[i-1]), w.waitingAt(w.places[i]))
}

func (s *search) look(i int) []*margin {
	if s.margin[i] != nil {
		return s.margin[i]
	}
	s.margin[i] = s.lookAt(s.place(i))
	return s.margin[i]
}

func (s *search) lookAt(p *place) []*margin {
	list := make([]*margin, len(s.fs))
	for k, f := range s.fs {
		list[k] = s.at(p, f)
		s.found[k].take(list[k], p)
	}
	return list
}

func (s *search) between(i, j int) {
	a, b := s.place(i), s.place(j)
	same, gases := s.w.sameWay(a, b), s.sameGases(i, j)
	if j-i < 2 {
		if !same {
			s.w.crossing(a, b, func(p *place) *place {
				p = s.under(p)
				s.lookAt(p)
				return p
			})
		}
		if !gases {
			s.changeover(i, j)
		}
		if same && s.doubtful(i, j) {
			s.eighths(a, b)
		}
		return
	}
	if same && gases && b.moment.Minutes-a.moment.Minutes <= widest && s.settled(i, j) {
		return
	}
	mid := (i + j) / 2
	s.look(mid)
	s.between(i, mid)
	s.between(mid, j)
}

// sameGases tells whether every failure that holds so far draws on the same gases at two places.
func (s *search) sameGases(i, j int) bool {
	x, y := s.look(i), s.look(j)
	for k := range s.fs {
		if !sameGases(x[k], y[k]) && s.found[k].m.holds() {
			return false
		}
	}
	return true
}

// doubtful tells whether a few minutes more of stops between two neighbours could take
// what a failure that holds leaves.
func (s *search) doubtful(i, j int) bool {
	x, y := s.look(i), s.look(j)
	for k, f := range s.fs {
		if jump := s.w.jump(f); x[k] != nil && y[k] != nil && s.found[k].m.holds() && s.found[k].m.spare() < jump && !s.w.covers(x[k], y[k], s.more(f, i, j), jump) {
			return true
		}
	}
	return false
}

// more is what the minutes at a place cost as deep as it gets between two.
func (s *search) more(f *failure, i, j int) float64 {
	deepest := math.Inf(-1)
	for _, p := range s.w.places[i : j+1] {
		deepest = math.Max(deepest, p.at.DepthM)
	}
	deeper := s.w.pressure(deepest) - s.w.pressure(math.Min(s.w.places[i].at.DepthM, s.w.places[j].at.DepthM))
	return float64(float64(s.w.rateAfter(f)*s.delay) * deeper)
}

// changeover looks at both sides of the place between two neighbours where the way out
// of a failure begins to draw on other gases.
func (s *search) changeover(i, j int) {
	x, y := s.look(i), s.look(j)
	for k := range s.fs {
		if sameGases(x[k], y[k]) || !s.found[k].m.holds() {
			continue
		}
		s.w.halve(s.place(i), s.place(j), finest/10, func(p *place) bool {
			return sameGases(x[k], s.lookAt(s.under(p))[k])
		})
	}
}

// eighths looks at places between two neighbours, an eighth of their distance apart.
func (s *search) eighths(a, b *place) {
	var spots []route.Spot
	for share := 0.125; share < 1; share += 0.125 {
		spot, ok := s.w.normal.path.Between(a.spot, b.spot, share, finest)
		if !ok {
			return
		}
		spots = append(spots, spot)
	}
	for _, p := range s.w.at(spots...) {
		s.lookAt(s.under(p))
	}
}

// settled tells whether nothing between two places can be less than what is found.
func (s *search) settled(i, j int) bool {
	x, y := s.look(i), s.look(j)
	for k, f := range s.fs {
		if x[k] == nil && y[k] == nil || s.found[k].found && s.found[k].m.fails {
			continue
		}
		if x[k] == nil || y[k] == nil {
			return false
		}
		least := s.found[k].m.spare()
		if least >= -litreTolerance {
			least += s.w.jump(f)
		}
		if !s.w.covers(x[k], y[k], s.more(f, i, j), least) {
			return false
		}
	}
	return true
}
