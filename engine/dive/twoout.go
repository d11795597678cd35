package dive

import "math"

// twoOut is what a donor's mains must hold at the dearest place up to the commitment
// point or the turn at the latest (D25), with that place and failure; no place where the way
// out of one cannot be scheduled: then it is all that they hold there.
type twoOut struct {
	litres float64
	at     *place
	of     *failure
}

// twoOuts searches it for every diver: as for the least margin, but of mains that hold
// what they held at the start wherever the team is. Zero where gas is pooled.
func (w *Work) twoOuts() {
	w.two = make([]twoOut, len(w.team.Divers))
	until := w.commitment
	if len(w.atReach) > 0 && w.reach.spot.Before(until.spot) {
		until = w.atReach[0] // with the tissues, which the search for the turn may leave out
	}
	var fs []*failure
	for i := range w.failures {
		if f := &w.failures[i]; f.kind == sharing && len(f.donors) == 1 {
			fs = append(fs, f)
		}
	}
	mains := func(p *place, d int) float64 { return w.startMains(d) - w.usedMains(d, p.content) }
	at := func(p *place, f *failure) *margin {
		if w.way(p) == nil {
			return &margin{fails: true}
		}
		m := w.share(p, f, w.q.Route.Policy.DelayMin)
		if !m.fails {
			m.gases[0].left += w.startMains(f.donors[0]) - mains(p, f.donors[0])
			m.gases = m.gases[:1]
		}
		return m
	}
	for k, b := range w.leastOf(fs, w.q.Route.Policy.DelayMin, w.judgedPlaces(), until, func(p *place) *place { return p }, at) {
		d := fs[k].donors[0]
		if b.m.fails {
			w.two[d] = twoOut{litres: math.Max(w.two[d].litres, mains(b.at, d))}
			continue
		}
		if need := w.startMains(d) - b.m.spare(); need > w.two[d].litres {
			w.two[d] = twoOut{need, b.at, fs[k]}
		}
	}
}

// startMains is what a diver's mains hold at the start, litres.
func (w *Work) startMains(d int) float64 {
	sum := 0.0
	for k := range w.supplies {
		if s := &w.supplies[k]; s.Diver == d && s.Main {
			sum += s.StartL
		}
	}
	return sum
}
