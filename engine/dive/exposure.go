package dive

import (
	"cmp"
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/finding"
	"lastlight/engine/oxygen"
)

// Oxygen is the exposure of one diver who goes out from a place of the dive after a
// loss or delay: the dive so far, the way out with its stops, and what earlier dives left.
type Oxygen struct {
	Diver string   `json:"diver"`
	Place string   `json:"place"`
	Lost  []string `json:"lost"`        // cylinders
	CNS   float64  `json:"cns_percent"` // at most: sloping pieces at their greatest pressure

	Earlier, SoFarCNS, OutCNS float64     `json:"-"` // per cent, which add up to CNS
	SoFar, Out                []Breathing `json:"-"`
}

// Breathing is a time on which oxygen accumulates.
type Breathing struct{ Minutes, OxygenBar, CNS float64 }

// addCNS adds a stretch to the account of the first divers. It takes the greatest
// pressure of the stretch for the whole of it, which is never too little, and
// spares a logarithm for each of thousands of ways out.
func (w *Work) addCNS(to []float64, s *deco.Stretch) {
	p := w.pressure(math.Max(s.From, s.To))
	for d := range to {
		o := float64(w.team.Cylinders[s.Breathing[d]].Mix.O2 * p)
		if o > oxygen.Threshold {
			to[d] += float64(100*s.Minutes) / oxygen.SingleLimit(o)
		}
	}
}

// mostOxygen finds the way out, of all looked at, that takes most oxygen: after every
// loss, and of the rarer cases of the route method's section 6 (minutes of delay, by
// touch, without scooters, the far side shut) where those were looked at.
func (w *Work) mostOxygen() *Oxygen {
	var best *Oxygen
	var worst struct {
		at    *place
		out   *outcome
		as, d int // diver of the schedule, and of the team
		k     int // stretches of the dive so far
	}
	w.delayAtTheRichest()
	looked := append(slices.Clone(w.places), w.rarer...)
	slices.SortStableFunc(looked, func(a, b *place) int { return cmp.Compare(a.moment.Minutes, b.moment.Minutes) })
	far := make([]float64, len(w.team.Divers)) // of the dive so far, up to the end of the stretch the place is in
	minute, k := w.begin.Minutes, 0
	for _, p := range looked {
		for ; k < len(w.result.Stretches) && minute < p.moment.Minutes; k++ {
			w.addCNS(far, &w.result.Stretches[k])
			minute += w.result.Stretches[k].Minutes
		}
		for _, o := range p.outs {
			for d := range w.team.Divers {
				out, as := 0.0, d
				switch {
				case o.alike: // divers who are alike: any of those scheduled may be this one
					for i, x := range o.cns {
						if i == 0 || x > out {
							out, as = x, i
						}
					}
				case d < len(o.cns):
					out = o.cns[d]
				}
				earlier := w.q.Carried[d].CNS
				if all := earlier + far[d] + out; best == nil || all > best.CNS {
					best = &Oxygen{Diver: w.team.Divers[d].Name, CNS: all, Earlier: earlier, SoFarCNS: far[d], OutCNS: out}
					worst.at, worst.out, worst.as, worst.d, worst.k = p, o, as, d, k
				}
			}
		}
	}
	if best == nil {
		return nil
	}
	best.CNS, best.Place, best.Lost = finding.Round9(best.CNS), placeText(worst.at), w.names(worst.out.lost)
	best.SoFar = w.breathing(w.result.Stretches[:worst.k], worst.d)
	if path := w.walkOut(w.way(worst.at), worst.at, worst.out, true, &w.again); path != nil {
		best.Out = w.breathing(w.again.Stretches, worst.as)
	}
	return best
}

// delayAtTheRichest looks at the minutes of delay where the oxygen breathed is at its
// highest: the search for the gas that they take looks elsewhere.
func (w *Work) delayAtTheRichest() {
	turn := w.turning()
	var at *place
	most := 0.0
	for _, p := range w.places {
		if turn.spot.Before(p.spot) {
			break
		}
		for d := range p.moment.Divers {
			if o := w.team.Cylinders[p.moment.Divers[d].Breathing].Mix.O2 * w.pressure(p.at.DepthM); o > most+1e-9 {
				at, most = p, o
			}
		}
	}
	if at != nil && w.q.DelayMin > 0 {
		if late := w.under(w.normal, at); w.way(late) != nil {
			w.goOut(late, -1, 0, -1, w.q.DelayMin)
		}
	}
}

// breathing lists what addCNS adds up.
func (w *Work) breathing(list []deco.Stretch, d int) (out []Breathing) {
	for i := range list {
		s := &list[i]
		o := float64(w.team.Cylinders[s.Breathing[d]].Mix.O2 * w.pressure(math.Max(s.From, s.To)))
		if o > oxygen.Threshold && s.Minutes > 0 {
			out = append(out, Breathing{s.Minutes, o, float64(100*s.Minutes) / oxygen.SingleLimit(o)})
		}
	}
	return out
}
