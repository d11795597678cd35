package route

import (
	"slices"
	"strconv"
)

// markers reads the verifications (D34, D12, D13, D11): which of them count,
// from where on, and over which legs in which direction. Today's readings, line
// damage and survey changes have been judged by whoever made the input.
func (w *walk) markers() {
	pol := &w.in.Policy
	for i := range w.in.Verified {
		v := &w.in.Verified[i]
		named := v.MarkerStation != ""
		if pol.VerifiedCounts == VerifiedNever || v.DoubtSince || v.DaysAgo > pol.VerificationDays+1e-9 ||
			!named && pol.VerifiedCounts == VerifiedAfterMarker || w.passed(v) < 2 {
			continue
		}
		legs := w.chain(v, named)
		if len(legs) == 0 {
			continue
		}
		counts := map[int][2]bool{}
		for _, s := range legs {
			l := w.leg(s)
			dirs := [2]bool{true, true}
			if w.legs[l].major {
				all := w.passed(v) == len(w.divers)
				dirs = [2]bool{all && slices.Contains(v.Directions, directionName[0]), all && slices.Contains(v.Directions, directionName[1])}
			}
			counts[l] = dirs
		}
		m := marker{node: -1, legs: counts, from: i}
		if pol.VerifiedCounts == VerifiedAfterMarker {
			m.node = w.node(v.MarkerStation)
		}
		w.pending = append(w.pending, m)
	}
	w.verified = make([][2]bool, len(w.legs))
}

// passed counts the divers of this team among those who passed.
func (w *walk) passed(v *Verification) int {
	n := 0
	for d := range w.divers {
		if slices.Contains(v.PassedBy, w.divers[d].name) {
			n++
		}
	}
	return n
}

// chain is the legs of a verification (indices in the survey) that are joined
// to its marker by legs passed in it (D13); without a marker all of them.
func (w *walk) chain(v *Verification, named bool) []int {
	var all []int
	for _, id := range v.Legs {
		if i, ok := w.names.legs[id]; ok && !slices.Contains(all, i) {
			all = append(all, i)
		}
	}
	if !named {
		return all
	}
	if _, ok := w.names.stations[v.MarkerStation]; !ok {
		return nil
	}
	reached := map[string]bool{v.MarkerStation: true}
	var chain []int
	for {
		before := len(chain)
		all = slices.DeleteFunc(all, func(i int) bool {
			l := &w.in.Legs[i]
			if !reached[l.From] && !reached[l.To] {
				return false
			}
			reached[l.From], reached[l.To] = true, true
			chain = append(chain, i)
			return true
		})
		if len(chain) == before {
			return chain
		}
	}
}

// meet lets verifications count whose marker hangs here (or that count from the
// start); seg is the segment that ends here, -1 before the first.
func (w *walk) meet(at, seg int) {
	w.pending = slices.DeleteFunc(w.pending, func(m marker) bool {
		if m.node != at && !(m.node < 0 && seg < 0) {
			return false
		}
		if seg >= 0 {
			w.met = append(w.met, met{seg, m.from})
		}
		w.reliance.counting = append(w.reliance.counting, m.from)
		for l := range w.legs {
			dirs, ok := m.legs[l]
			if !ok {
				continue
			}
			w.verified[l][0] = w.verified[l][0] || dirs[0]
			w.verified[l][1] = w.verified[l][1] || dirs[1]
			if w.lined[l] {
				w.ways.allow(l, dirs)
			}
		}
		return true
	})
}

// reliance gathers where legs known by verification alone are relied on.
type reliance struct {
	counting []int // verifications that count
	relied   bool
	first    float64
	last     float64
	legs     []int
	openings []int
	far      []farSide // per diver, the dearest place
}

type farSide struct {
	at     spot
	margin float64
	closed bool // the way back from the far side cannot be swum
}

// rely notes a segment whose way out uses legs known by verification alone, and
// what it costs if the far side is shut at the last metre (D37). The segment is
// the next to be appended; at is its station for a hold, -1 for a swim.
func (w *walk) rely(s *segment, at int) {
	if w.reliance == nil || s.home == nil || len(w.reliance.counting) == 0 {
		return
	}
	r := w.reliance
	own := !s.hold && s.mode == onward && !w.knownBySwim[s.leg]
	var last *way // the last leg known by verification alone
	for y := s.home; y.leg >= 0; y = y.next {
		if !w.knownBySwim[y.leg] {
			last = y
			w.note(y.leg)
		}
	}
	if own {
		w.note(s.leg)
	}
	if last == nil && !own {
		return
	}
	end := s.elapsed + float64(s.minutes*s.length)
	if !r.relied {
		r.relied, r.first = true, s.elapsed
	}
	r.last = end
	if o := s.home.opening; o != w.start && !slices.Contains(r.openings, o) {
		r.openings = append(r.openings, o)
	}
	w.farShut(s, at, last, 0)
	w.farShut(s, at, last, s.length)
	s.shut = w.shutOf(s, at, last)
}

// shutOf keeps what farShut looked at, for the same with stops.
func (w *walk) shutOf(s *segment, at int, last *way) *shut {
	out := &shut{last: last}
	if last != nil {
		for y := s.home; ; y = y.next {
			out.closed = out.closed || !w.legs[y.leg].travel[1-y.dir].passes
			if y == last {
				break
			}
		}
	}
	if s.hold {
		out.behind = w.swum.best[at]
	} else {
		m := &w.moves[s.move]
		l := &w.legs[s.leg]
		out.closed = out.closed || s.mode == onward && !l.travel[1-m.dir].passes
		if l.travel[1-m.dir].passes {
			out.behind = w.swum.best[l.ends[m.dir]]
		}
		if w.knownBySwim[s.leg] && l.travel[m.dir].passes {
			out.ahead = w.swum.best[l.ends[1-m.dir]]
		}
	}
	out.closed = out.closed || out.behind == nil && out.ahead == nil
	return out
}

func (w *walk) note(leg int) {
	if !slices.Contains(w.reliance.legs, leg) {
		w.reliance.legs = append(w.reliance.legs, leg)
	}
}

// farShut is D37 at a place: out to the last metre known by verification alone,
// back to the place, and out the way that was swum.
func (w *walk) farShut(s *segment, at int, last *way, x float64) {
	var out, backAgain, wayIn float64
	closed := false
	if last != nil {
		out = s.out.at(x) - last.next.barMin
		for y := s.home; ; y = y.next {
			reverse := &w.legs[y.leg].travel[1-y.dir]
			backAgain += reverse.barMin
			closed = closed || !reverse.passes
			if y == last {
				break
			}
		}
	} else {
		out = s.out.at(x) - s.home.barMin
	}
	if s.hold {
		if b := w.swum.best[at]; b != nil {
			wayIn = b.barMin
		} else {
			closed = true
		}
	} else {
		m := &w.moves[s.move]
		l := &w.legs[s.leg]
		metres := s.at + x
		behind := l.travel[1-m.dir].barMin - l.travel[1-m.dir].upTo(l.in.LengthM-metres)
		ahead := l.travel[m.dir].barMin - l.travel[m.dir].upTo(metres)
		if s.mode == onward {
			backAgain += l.travel[1-m.dir].upTo(l.in.LengthM - metres)
			closed = closed || !l.travel[1-m.dir].passes
		} else {
			backAgain += l.travel[m.dir].upTo(metres)
		}
		from, to := w.swum.best[l.ends[m.dir]], w.swum.best[l.ends[1-m.dir]]
		found := false
		if from != nil && l.travel[1-m.dir].passes {
			wayIn, found = behind+from.barMin, true
		}
		if to != nil && w.knownBySwim[s.leg] && l.travel[m.dir].passes && (!found || ahead+to.barMin < wayIn) {
			wayIn, found = ahead+to.barMin, true
		}
		closed = closed || !found
	}
	total := out + backAgain + wayIn
	here := spot{len(w.segs), x}
	for d := range w.divers {
		left := 0.0
		for _, k := range w.divers[d].all {
			if s.gear.where[k] < 0 && !w.cyls[k].deco {
				left += w.heldQuad(k, s).at(x)
			}
		}
		margin := left - float64(w.divers[d].rmv*total)
		if closed {
			margin = -left // no gas is enough; told by closed
		}
		if len(w.reliance.far) <= d {
			w.reliance.far = append(w.reliance.far, farSide{here, margin, closed})
		} else if f := &w.reliance.far[d]; closed && !f.closed || closed == f.closed && margin < f.margin-litreTolerance {
			*f = farSide{here, margin, closed}
		}
	}
}

// upTo is the contingency cost of the first metres of a leg.
func (t *travel) upTo(metres float64) float64 {
	sum := 0.0
	for i := range t.pieces {
		x := &t.pieces[i]
		if metres <= x.at {
			break
		}
		sum = x.barMin + float64(x.cost*x.integral().at(min(x.length, metres-x.at)))
	}
	return sum
}

// relianceResult is the reliance as the report tells it.
func (w *walk) relianceResult() *Reliance {
	r := w.reliance
	if r == nil || !r.relied {
		return nil
	}
	out := &Reliance{FirstMin: r.first, LastMin: r.last}
	for _, l := range r.legs {
		out.Legs = append(out.Legs, w.legs[l].in.ID)
	}
	for _, o := range r.openings {
		out.FarOpenings = append(out.FarOpenings, w.nodes[o].name)
	}
	for _, i := range r.counting {
		v := &w.in.Verified[i]
		used := false
		for _, id := range v.Legs {
			used = used || slices.Contains(out.Legs, id)
		}
		if !used {
			continue
		}
		if v.ID != "" {
			out.Verifications = append(out.Verifications, v.ID)
		} else {
			out.Verifications = append(out.Verifications, strconv.Itoa(i+1))
		}
	}
	return out
}
