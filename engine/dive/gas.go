package dive

import (
	"math"

	"lastlight/engine/route"
)

// litreTolerance is the amount within which limits pass and places tie (D31), litres.
const litreTolerance = 1e-6

// kind of failure that is tested at every place.
type kind int

const (
	sharing     kind = iota // one diver lost everything carried, another shares (D18); pooled where the club says so
	lostWaiting             // a waiting cylinder is gone (D24), or gas for decompression wherever it is (section 6)
	lostMain                // one of two independent mains is gone (D24)
	homeward                // nothing is lost: everybody surfaces with the reserve (D24, D20)
)

// failure is a loss with those who live on what is left.
type failure struct {
	kind   kind
	donors []int // divers whose gas counts
	victim int   // sharing: the diver who lost everything; else the owner
	lost   int   // supply; -1: sharing and homeward
}

// margin is what is left to spare in a failure at a place: litres, of the gas
// counted together (mains, and stages carried that are not for decompression)
// and of every other cylinder that is breathed.
type margin struct {
	gases []amount
	out   loss
	fails bool      // no schedule
	own   [4]amount // where gases begin, so that most margins are one piece of memory
}

// amount is one gas: what is left of it, and what is needed, its reserve included.
type amount struct {
	cylinder   int // of the team; -1: counted together
	left, need float64
}

// margins is memory of margins, in pieces that stay where they are.
type margins struct {
	pieces [][]margin
	used   int
}

func (l *margins) another() *margin {
	const piece = 64
	if l.used == piece*len(l.pieces) {
		l.pieces = append(l.pieces, make([]margin, piece))
	}
	m := &l.pieces[l.used/piece][l.used%piece]
	l.used++
	return m
}

// marginAfter begins the margin of a way out.
func (w *Work) marginAfter(o loss) *margin {
	m := w.margins.another()
	m.out, m.fails, m.gases = o, o.noSchedule, nil
	return m
}

// keep is a margin that outlasts the search that found it.
func (w *Work) keep(m *margin) *margin {
	k := w.margins.another()
	k.out, k.fails, k.gases = m.out, m.fails, append(k.own[:0], m.gases...)
	return k
}

func (m *margin) spare() float64 {
	if m.fails {
		return math.Inf(-1)
	}
	g := m.tightest()
	return g.left - g.need
}

// tightest is the gas with least to spare.
func (m *margin) tightest() amount { return m.gases[m.tightestIndex()] }

func (m *margin) tightestIndex() int {
	best := 0
	for i, g := range m.gases {
		if b := m.gases[best]; g.left-g.need < b.left-b.need-litreTolerance {
			best = i
		}
	}
	return best
}

func (m *margin) holds() bool { return m == nil || m.spare() >= -litreTolerance }

// everyFailure lists what is tested at every place.
func (w *Work) everyFailure() []failure {
	n := len(w.team.Divers)
	var list []failure
	for v := range n {
		var others []int
		for d := range n {
			if d != v {
				others = append(others, d)
			}
		}
		if n > 2 && w.q.Route.Policy.ThreeDonor == route.DonorPooled {
			list = append(list, failure{sharing, others, v, -1})
		}
	}
	if len(list) == 0 {
		for j := range n {
			for v := range n {
				if v != j {
					list = append(list, failure{sharing, []int{j}, v, -1})
				}
			}
		}
	}
	for k := range w.supplies {
		s := &w.supplies[k]
		switch {
		case !s.Main:
			list = append(list, failure{lostWaiting, []int{s.Diver}, s.Diver, k})
		case s.Share < 1:
			list = append(list, failure{lostMain, []int{s.Diver}, s.Diver, k})
		}
	}
	for d := range n {
		list = append(list, failure{homeward, []int{d}, d, -1})
	}
	return list
}

// cylinder of the team that a supply is, or is part of.
func (w *Work) cylinder(k int) int {
	d := &w.team.Divers[w.supplies[k].Diver]
	for _, c := range d.Stages {
		if w.first[c] == k {
			return c
		}
	}
	return d.Back
}

// carried are the cylinders a diver has along at a place, as bits.
func (w *Work) carried(p *place, d int) uint64 {
	bits := uint64(1) << w.team.Divers[d].Back
	waiting := w.waitingAt(p)
	for _, c := range w.team.Divers[d].Stages {
		if waiting[c] == "" {
			bits |= 1 << c
		}
	}
	return bits
}

// margin works out one failure at a place, after so many minutes of delay; nil
// where it does not concern it.
func (w *Work) margin(p *place, f *failure, delay float64) *margin {
	if w.way(p) == nil {
		return &margin{fails: true}
	}
	d := f.victim
	switch f.kind {
	case sharing:
		return w.share(p, f, delay)
	case lostWaiting:
		c := w.cylinder(f.lost)
		if w.waitingAt(p)[c] == "" && !w.supplies[f.lost].Deco {
			return nil
		}
		return w.alone(p, d, w.goOut(p, d, 1<<c, -1, delay), -1, w.rates[d].after)
	case lostMain:
		return w.alone(p, d, w.goOut(p, -1, 0, -1, delay), f.lost, w.rates[d].after)
	}
	return w.reserve(p, d)
}

// share is the sharing exit (D18, D21): the victim has lost everything carried
// and breathes the donor's back gas. Gas for decompression and what waits on the
// way helps its owner alone (D19): at the rates after a failure it must last.
func (w *Work) share(p *place, f *failure, delay float64) *margin {
	o := w.goOut(p, f.victim, w.carried(p, f.victim), f.donors[0], delay)
	m := w.marginAfter(o)
	if m.fails {
		return m
	}
	m.gases = append(m.own[:0], amount{cylinder: -1})
	m.gases[0].need += w.drawn(m, 0, f.victim, w.team.Divers[f.donors[0]].Back, w.rates[f.victim].after)
	for _, d := range f.donors {
		w.ownGas(p, d, w.rates[d].after, 1, m)
		w.count(p, d, -1, 1, m)
	}
	w.waitingGas(p, f.victim, w.rates[f.victim].after, m)
	return m
}

// alone is one diver's way out on what is left to that diver, at a rate.
func (w *Work) alone(p *place, d int, o loss, without int, rate float64) *margin {
	m := w.marginAfter(o)
	if m.fails {
		return m
	}
	m.gases = append(m.own[:0], amount{cylinder: -1})
	w.ownGas(p, d, rate, 1, m)
	w.count(p, d, without, 1, m)
	return m
}

// wayBack is one diver's way back with nothing lost, at the own rate and down to nothing (D37).
func (w *Work) wayBack(p *place, d int) *margin {
	m := w.marginAfter(w.goOut(p, -1, 0, -1, 0))
	if m.fails {
		return m
	}
	m.gases = append(m.own[:0], amount{cylinder: -1})
	w.ownGas(p, d, w.rates[d].planned, 0, m)
	w.count(p, d, -1, 0, m)
	return m
}

// ownGas adds what a diver draws from mains and stages counted with them, and
// every other cylinder that the diver breathes. keep is 1 where the sharing reserve
// is kept in it, 0 where not.
func (w *Work) ownGas(p *place, d int, rate, keep float64, m *margin) {
	waiting := w.waitingAt(p)
	m.gases[0].need += w.drawn(m, 0, d, w.team.Divers[d].Back, rate)
	for _, c := range w.team.Divers[d].Stages {
		k := w.first[c]
		switch {
		case waiting[c] != "":
		case !w.supplies[k].Deco:
			m.gases[0].need += w.drawn(m, 0, d, c, rate)
		case m.out.breathed(w, d, c) > 0:
			litres := w.drawn(m, len(m.gases), d, c, rate)
			kept := float64(keep * w.supplies[k].SharingL)
			w.holds(len(m.gases), k, p.content[k], kept)
			m.gases = append(m.gases, amount{c, p.content[k], litres + kept})
		}
	}
	w.waitingGas(p, d, rate, m)
}

// waitingGas adds the cylinders that wait on the way and are breathed by their owner.
func (w *Work) waitingGas(p *place, d int, rate float64, m *margin) {
	waiting := w.waitingAt(p)
	for _, c := range w.team.Divers[d].Stages {
		if waiting[c] == "" || !(m.out.breathed(w, d, c) > 0) {
			continue
		}
		litres := w.drawn(m, len(m.gases), d, c, rate)
		left := p.content[w.first[c]]
		if w.q.Route.Policy.WaitingGas != route.WaitingOwn {
			left = 0
		}
		w.holds(len(m.gases), w.first[c], left, w.supplies[w.first[c]].PlannedL)
		m.gases = append(m.gases, amount{c, left, litres + w.supplies[w.first[c]].PlannedL})
	}
}

// count adds what counts of a diver's gas, and the reserve in it, to a margin.
func (w *Work) count(p *place, d, without int, keep float64, m *margin) {
	waiting := w.waitingAt(p)
	for k := range w.supplies {
		s := &w.supplies[k]
		if s.Diver != d || k == without || !s.Main && (s.Deco || waiting[w.cylinder(k)] != "") {
			continue
		}
		m.gases[0].left += p.content[k]
		kept := float64(keep * s.SharingL)
		m.gases[0].need += kept
		w.holds(0, k, p.content[k], kept)
	}
}

// reserve is the way home at the own rates with nothing lost (D24, D20): each
// main, and every cylinder breathed, comes up with the planned reserve, and gas
// for decompression with its factor. A stage not for decompression is breathed
// down to the reserve, then the mains.
func (w *Work) reserve(p *place, d int) *margin {
	o := w.goOut(p, -1, 0, -1, 0)
	m := w.marginAfter(o)
	if m.fails {
		return m
	}
	m.gases = m.own[:0]
	rate := w.rates[d].planned
	back := w.team.Divers[d].Back
	mains := float64(rate * o.breathed(w, d, back))
	beyond := 0.0 // what stages do not give
	for _, c := range w.team.Divers[d].Stages {
		litres := float64(rate * o.breathed(w, d, c))
		k := w.first[c]
		s := &w.supplies[k]
		used := s.StartL - p.content[k] + litres
		switch {
		case !s.Deco:
			over := litres - math.Max(0, p.content[k]-s.PlannedL)
			if over = math.Max(0, over); litres > 0 && over > 0 {
				mains += over
				beyond += over
				litres -= over
			}
			if used > litreTolerance {
				w.relied(p, m, d, c, rate, -over)
				m.gases = append(m.gases, amount{c, p.content[k], litres + s.PlannedL})
			}
		case used > litreTolerance:
			need := math.Max(litres+s.PlannedL, float64(w.decoFactor()*used)-(s.StartL-p.content[k]))
			w.relied(p, m, d, c, rate, need-(litres+s.PlannedL))
			m.gases = append(m.gases, amount{c, p.content[k], need})
		}
	}
	for k := range w.supplies {
		if s := &w.supplies[k]; s.Diver == d && s.Main {
			w.note(entry{gas: len(m.gases), diver: d, from: back, supply: -1, rate: rate, barMin: o.breathed(w, d, back), share: s.Share})
			w.holds(len(m.gases), k, p.content[k], s.PlannedL)
			w.note(entry{gas: len(m.gases), diver: -1, supply: -1, besides: float64(beyond * s.Share)})
			m.gases = append(m.gases, amount{-1, p.content[k], float64(mains*s.Share) + s.PlannedL})
		}
	}
	return m
}

// relied notes the next gas of a margin: what a diver draws from a stage on the
// way home, the planned reserve in it, and what else is needed of it.
func (w *Work) relied(p *place, m *margin, d, c int, rate, besides float64) {
	w.drawn(m, len(m.gases), d, c, rate)
	w.holds(len(m.gases), w.first[c], p.content[w.first[c]], w.supplies[w.first[c]].PlannedL)
	w.note(entry{gas: len(m.gases), diver: -1, supply: -1, besides: besides})
}

// usedMains is what a diver has breathed from the mains, litres.
func (w *Work) usedMains(d int, content []float64) float64 {
	sum := 0.0
	for k := range w.supplies {
		if s := &w.supplies[k]; s.Diver == d && s.Main {
			sum += s.StartL - content[k]
		}
	}
	return sum
}

// apart is the difference between the gauges of two independent mains, bar; 0 where there are none.
func (w *Work) apart(d int, content []float64) float64 {
	least, most, n := math.Inf(1), math.Inf(-1), 0
	for k := range w.supplies {
		if s := &w.supplies[k]; s.Diver == d && s.Main {
			bar := w.normal.path.Gauge(k, content[k])
			least, most, n = math.Min(least, bar), math.Max(most, bar), n+1
		}
	}
	if n < 2 {
		return 0
	}
	return most - least
}

// reliedOn tells whether a supply must come up with the planned reserve: mains,
// and what was breathed of the rest.
func (w *Work) reliedOn(k int, content []float64) bool {
	return w.supplies[k].Main || content[k] < w.supplies[k].StartL-litreTolerance
}

func (w *Work) decoFactor() float64 { return math.Max(1, w.q.Route.Policy.DecoGasReserveFactor) }
