package dive

import (
	"math"

	"lastlight/engine/deco"
	"lastlight/engine/finding"
	"lastlight/engine/oxygen"
)

// Oxygen is the exposure of one diver who goes out from a place of the dive after a
// loss: the dive so far, the way out with its stops, and what earlier dives left.
type Oxygen struct {
	Diver string   `json:"diver"`
	Place string   `json:"place"`
	Lost  []string `json:"lost"`        // cylinders
	CNS   float64  `json:"cns_percent"` // at most: sloping pieces at their greatest pressure
}

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

// mostOxygen finds the way out, of all looked at, that takes most oxygen.
func (w *Work) mostOxygen() *Oxygen {
	var best *Oxygen
	far := make([]float64, len(w.team.Divers)) // of the dive so far, up to the end of the stretch the place is in
	minute, k := w.begin.Minutes, 0
	for _, p := range w.places {
		for ; k < len(w.result.Stretches) && minute < p.moment.Minutes; k++ {
			w.addCNS(far, &w.result.Stretches[k])
			minute += w.result.Stretches[k].Minutes
		}
		for _, o := range p.outs {
			for d := range w.team.Divers {
				out := 0.0
				switch {
				case o.alike: // divers who are alike: any of those scheduled may be this one
					for _, x := range o.cns {
						out = math.Max(out, x)
					}
				case d < len(o.cns):
					out = o.cns[d]
				}
				if all := w.q.Carried[d].CNS + far[d] + out; best == nil || all > best.CNS {
					best = &Oxygen{Diver: w.team.Divers[d].Name, Place: placeText(p), Lost: w.names(o.lost), CNS: all}
				}
			}
		}
	}
	if best != nil {
		best.CNS = finding.Round9(best.CNS)
	}
	return best
}
