package deco

import (
	"math"

	"lastlight/engine/gas"
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
	w := newRewalker(s)
	for d := range t.Divers {
		if e := w.twin(t, start, r, d); e >= 0 {
			f.Travel, f.Waiting = repeat(f.Travel, e, d), repeat(f.Waiting, e, d)
			continue
		}
		state := start.Divers[d].Tissues
		for i := range r.Stretches {
			x := &r.Stretches[i]
			worst := w.stretch(t.Cylinders[x.Breathing[d]].Mix, &state, x, d, r.LastStop)
			worst.Stretch = i
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

// rewalker has what the steps of one Rewalk share.
type rewalker struct {
	set          *Settings
	compartments [tissue.Count]tissue.Compartment
	inverseBN2   [tissue.Count]float64
}

func newRewalker(s *Settings) *rewalker {
	w := &rewalker{set: s}
	for i := range w.compartments {
		w.compartments[i] = s.Model.Compartment(i)
		w.inverseBN2[i] = 1 / w.compartments[i].BN2
	}
	return w
}

// twin is an earlier diver who begins with the same tissues, breathes the same all
// along and has the same limits; -1: nobody.
func (w *rewalker) twin(t *Team, start *Moment, r *Result, d int) int {
	same := func(e int) bool {
		if start.Divers[e].Tissues != start.Divers[d].Tissues {
			return false
		}
		for i := range r.Stretches {
			x := &r.Stretches[i]
			if t.Cylinders[x.Breathing[e]].Mix != t.Cylinders[x.Breathing[d]].Mix || x.Anchor[e] != x.Anchor[d] || x.Exempt>>e&1 != x.Exempt>>d&1 {
				return false
			}
		}
		return true
	}
	for e := range d {
		if same(e) {
			return e
		}
	}
	return -1
}

// repeat adds to a list what it says of one diver for another.
func repeat(list []Excess, of, by int) []Excess {
	for _, x := range list {
		if x.Diver == of {
			x.Diver = by
			list = append(list, x)
		}
	}
	return list
}

// stretch moves a diver's state through a stretch and gives the greatest excess
// above travelSlack on it.
func (w *rewalker) stretch(mix gas.Mix, state *tissue.State, x *Stretch, d int, lastStop float64) Excess {
	s := w.set
	worst := Excess{Diver: d, Bar: travelSlack}
	steps := int(math.Ceil(math.Max(x.Minutes/rewalkMinutes, math.Abs(x.To-x.From)/rewalkMetres)))
	if steps == 0 {
		return worst
	}
	h := x.Minutes / float64(steps)
	var inN2, inHe [tissue.Count]rungeKutta
	helium := mix.He > 0 || state.HasHelium()
	for k := range w.compartments {
		c := &w.compartments[k]
		inN2[k] = step(float64(math.Ln2*h) / c.HalfN2)
		inHe[k] = step(float64(math.Ln2*h) / c.HalfHe)
	}
	n2, he := s.Model.Inspired(mix, s.Water.Pressure(x.From))
	for j := 1; j <= steps; j++ {
		depth := x.From + float64((x.To-x.From)*(float64(j)/float64(steps)))
		ambient := s.Water.Pressure(depth)
		gf := gfOf(s, lastStop, depth, x, d)
		nextN2, nextHe := s.Model.Inspired(mix, ambient)
		moreN2, moreHe := nextN2-n2, nextHe-he
		base := ambient - float64(gf*ambient)
		for k := range w.compartments {
			c := &w.compartments[k]
			p := inN2[k].apply(state.N2[k], n2, moreN2)
			q := 0.0
			state.N2[k] = p
			if helium {
				q = inHe[k].apply(state.He[k], he, moreHe)
				state.He[k] = q
			}
			// Nitrogen's coefficients give a limit that is never above the true one (see fly).
			if p+q-base-float64(gf*(c.AN2+float64(ambient*w.inverseBN2[k]))) <= worst.Bar {
				continue
			}
			if over := p + q - limit(gf, c, p, q, ambient); over > worst.Bar {
				worst.Bar, worst.Compartment, worst.Minutes = over, k, float64(float64(j)*h)
			}
		}
		n2, he = nextN2, nextHe
	}
	return worst
}

// rungeKutta is one step of the classical fourth-order method for a tension p
// with k·h = x while the inspired pressure goes evenly from a to a + b. The four
// slopes are linear in p, a and b; written out they are
// p + (x - x²/2 + x³/6 - x⁴/24)(a - p) + (x/2 - x²/6 + x³/24) b.
type rungeKutta struct{ pull, lead float64 }

func step(x float64) rungeKutta {
	return rungeKutta{
		pull: float64(x * (1 - float64(x/2*(1-float64(x/3*(1-float64(x/4))))))),
		lead: float64(x * (0.5 - float64(x/6*(1-float64(x/4))))),
	}
}

func (s rungeKutta) apply(p, a, b float64) float64 {
	return p + float64(s.pull*(a-p)) + float64(s.lead*b)
}

// gfOf is the gradient factor in force at a depth of a stretch.
func gfOf(s *Settings, lastStop, depth float64, x *Stretch, d int) float64 {
	if x.Exempt>>d&1 == 1 {
		return s.GFHigh
	}
	return tissue.GradientFactor(s.GFLow, s.GFHigh, depth, math.Max(x.Anchor[d], lastStop))
}

// limit is the tension allowed to a compartment at an ambient pressure.
func limit(gf float64, c *tissue.Compartment, n2, he, ambient float64) float64 {
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
			if k, over := p.drifted(&state, x, d); over > travelSlack {
				list = append(list, Excess{Stretch: i, Diver: d, Compartment: k, Minutes: x.Minutes, Bar: over})
			}
		}
	}
	return list
}

// drifts tells whether there is a Drift of anybody at the end of the wait that is being logged.
func (p *Planner) drifts(x *Stretch) bool {
	for d := range p.team.Divers {
		if p.hasHelium[d] {
			if _, over := p.drifted(&p.state[d].Tissues, x, d); over > travelSlack {
				return true
			}
		}
	}
	return false
}

// drifted is by how much, beyond travelSlack, the compartment that is most above the limit of a
// place where a diver has waited is above it.
func (p *Planner) drifted(state *tissue.State, x *Stretch, d int) (compartment int, over float64) {
	over = travelSlack
	ambient, gf := p.set.Water.Pressure(x.To), gfOf(&p.set, p.lastStop, x.To, x, d)
	for k, allowed := range p.limits(ambient, gf) {
		if state.N2[k]+state.He[k]-allowed <= over {
			continue // as in rewalker.stretch
		}
		whole := p.model.Compartment(k)
		if bar := state.N2[k] + state.He[k] - limit(gf, &whole, state.N2[k], state.He[k], ambient); bar > over {
			over, compartment = bar, k
		}
	}
	return compartment, over
}
