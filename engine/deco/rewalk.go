package deco

import (
	"math"

	"lastlight/engine/tissue"
)

// Excess is where the finished path was above a limit (D55).
type Excess struct {
	Stretch     int // of Result.Stretches
	Diver       int
	Compartment int
	Minutes     float64 // into the stretch, where it was greatest
	Bar         float64 // tension above the limit in force, greatest
}

// Findings of Rewalk.
type Findings struct {
	Travel  []Excess // on the way: an error of this engine, never a finding about the plan
	Waiting []Excess // a gas that still loads somebody while the team waits: a finding, refuse
}

// Steps of Rewalk.
const (
	rewalkMinutes = 0.05
	rewalkMetres  = 0.1
	travelSlack   = 1e-6 // bar; the accuracy asked of tissues
)

// Rewalk goes along a finished schedule again in steps of at most 0.05 min and
// 0.1 m, by Runge-Kutta on dP/dt = k (Pi - P) with no exponential in it, and
// compares every compartment with the limit in force at every step (D55): that of
// the diver's anchor, or the GFhigh line where D43 exempted the diver. start has
// the tissues with which Schedule or WayOut began.
func Rewalk(s *Settings, t *Team, start *Moment, r *Result) Findings {
	var f Findings
	for d := range t.Divers {
		n2, he := start.Divers[d].Tissues.N2, start.Divers[d].Tissues.He
		for i := range r.Stretches {
			x := &r.Stretches[i]
			mix := t.Cylinders[x.Breathing[d]].Mix
			steps := int(math.Ceil(math.Max(x.Minutes/rewalkMinutes, math.Abs(x.To-x.From)/rewalkMetres)))
			worst := Excess{Stretch: i, Diver: d, Bar: math.Inf(-1)}
			for k := range tissue.Count {
				c := s.Model.Compartment(k)
				h := x.Minutes / float64(max(steps, 1))
				for j := range steps {
					from := x.From + float64((x.To-x.From)*(float64(j)/float64(steps)))
					to := x.From + float64((x.To-x.From)*(float64(j+1)/float64(steps)))
					pa, pb := s.Water.Pressure(from), s.Water.Pressure(to)
					na, ha := s.Model.Inspired(mix, pa)
					nb, hb := s.Model.Inspired(mix, pb)
					n2[k] = rungeKutta(n2[k], na, nb, float64(math.Ln2*h)/c.HalfN2)
					he[k] = rungeKutta(he[k], ha, hb, float64(math.Ln2*h)/c.HalfHe)
					if over := n2[k] + he[k] - limit(s, r.LastStop, &c, n2[k], he[k], to, pb, x, d); over > worst.Bar {
						worst.Bar, worst.Compartment, worst.Minutes = over, k, float64(float64(j+1)*h)
					}
				}
			}
			switch {
			case worst.Bar <= travelSlack:
			case x.Kind == Travel:
				f.Travel = append(f.Travel, worst)
			default:
				f.Waiting = append(f.Waiting, worst)
			}
		}
	}
	return f
}

// rungeKutta is one step of the classical fourth-order method for a tension with
// k·h = x while the inspired pressure goes evenly from a to b.
func rungeKutta(p, a, b, x float64) float64 {
	mid := float64(0.5 * (a + b))
	k1 := float64(x * (a - p))
	k2 := float64(x * (mid - p - float64(0.5*k1)))
	k3 := float64(x * (mid - p - float64(0.5*k2)))
	k4 := float64(x * (b - p - k3))
	return p + float64(k1+float64(2*k2)+float64(2*k3)+k4)/6
}

// limit is the tension allowed to a compartment at a depth of a stretch.
func limit(s *Settings, lastStop float64, c *tissue.Compartment, n2, he, depth, ambient float64, x *Stretch, d int) float64 {
	gf := s.GFHigh
	if x.Exempt>>d&1 == 0 {
		gf = tissue.GradientFactor(s.GFLow, s.GFHigh, depth, math.Max(x.Anchor[d], lastStop))
	}
	a, b := c.AN2, c.BN2
	if he > 0 {
		a = (float64(c.AN2*n2) + float64(c.AHe*he)) / (n2 + he)
		b = (float64(c.BN2*n2) + float64(c.BHe*he)) / (n2 + he)
	}
	return ambient + float64(gf*(a+ambient/b-ambient))
}

// Drift is the part of Rewalk about waiting, for the last schedule this planner
// made, whose beginning and result these are: exact at the end of every wait,
// where it is greatest. A gas cannot load a compartment above the limit of a place
// by itself; it takes two inert gases, one on its way in while the other is not
// out yet. So divers without helium have none.
func (p *Planner) Drift(start *Moment, r *Result) []Excess {
	var list []Excess
	for d := range p.team.Divers {
		if !p.hasHelium[d] {
			continue
		}
		state := start.Divers[d].Tissues
		for i := range r.Stretches {
			x := &r.Stretches[i]
			if x.Minutes > 0 {
				st := p.steps.at(x.Minutes, p.helium)
				p.model.Apply(&state, st, p.mixes[x.Breathing[d]], p.set.Water.Pressure(x.From), p.set.Water.Pressure(x.To), true)
			}
			if x.Kind == Travel {
				continue
			}
			worst := Excess{Stretch: i, Diver: d, Minutes: x.Minutes, Bar: math.Inf(-1)}
			ambient := p.set.Water.Pressure(x.To)
			for k := range tissue.Count {
				c := p.model.Compartment(k)
				over := state.N2[k] + state.He[k] - limit(&p.set, r.LastStop, &c, state.N2[k], state.He[k], x.To, ambient, x, d)
				if over > worst.Bar {
					worst.Bar, worst.Compartment = over, k
				}
			}
			if worst.Bar > travelSlack {
				list = append(list, worst)
			}
		}
	}
	return list
}
