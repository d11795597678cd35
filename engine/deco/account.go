package deco

import "lastlight/engine/oxygen"

// BarMinutes is the integral of the ambient pressure over the finished path,
// stops and switches included and the delay left out (D51). pressure gives the
// ambient pressure at a depth, as water.Column.Pressure does.
func (r *Result) BarMinutes(pressure func(depth float64) float64) float64 {
	sum := 0.0
	for i := range r.Stretches {
		if s := &r.Stretches[i]; s.Kind != Delayed {
			sum += s.barMinutes(pressure)
		}
	}
	return sum
}

// StopBarMinutes is the part of BarMinutes spent at stops.
func (r *Result) StopBarMinutes(pressure func(depth float64) float64) float64 {
	sum := 0.0
	for i := range r.Stretches {
		if s := &r.Stretches[i]; s.Kind == Stopped {
			sum += s.barMinutes(pressure)
		}
	}
	return sum
}

func (s *Stretch) barMinutes(pressure func(depth float64) float64) float64 {
	return float64(float64(0.5*s.Minutes) * (pressure(s.From) + pressure(s.To)))
}

// Breathed is the bar·minutes each diver breathed from each cylinder, the delay
// included: times a diver's rate, litres. Index: diver, cylinder of the team.
func (r *Result) Breathed(t *Team, pressure func(depth float64) float64) [][]float64 {
	list := make([][]float64, len(t.Divers))
	for d := range list {
		list[d] = make([]float64, len(t.Cylinders))
	}
	for i := range r.Stretches {
		s := &r.Stretches[i]
		for d := range list {
			list[d][s.Breathing[d]] += s.barMinutes(pressure)
		}
	}
	return list
}

// Exposure is what a dive adds to one diver's oxygen account.
type Exposure struct {
	CNS   float64 // percent
	OTU   float64
	Worst float64 // greatest oxygen pressure breathed, bar
}

// Oxygen is the exposure of diver d over the finished path.
func (r *Result) Oxygen(t *Team, d int, pressure func(depth float64) float64) Exposure {
	var e Exposure
	for i := range r.Stretches {
		s := &r.Stretches[i]
		f := t.Cylinders[s.Breathing[d]].Mix.O2
		from, to := float64(f*pressure(s.From)), float64(f*pressure(s.To))
		e.CNS += oxygen.CNS(from, to, s.Minutes)
		e.OTU += oxygen.OTU(from, to, s.Minutes)
		e.Worst = max(e.Worst, from, to)
	}
	return e
}
