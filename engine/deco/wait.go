package deco

import (
	"math"

	"lastlight/engine/tissue"
)

// leave tests the travel from bound j and waits there in whole minutes until
// every diver's test permits it (D41, D46). ok is false if that takes longer
// than LongestStop (D53).
func (p *Planner) leave(path *Path, j int, turned bool, t float64, r *Result) (after float64, ok bool) {
	p.lookAhead(path, j, turned)
	if len(p.travel) == 0 {
		return t, true // no arrival ahead: nothing to judge
	}
	refused, worst := p.testAll(j, r, false)
	if !refused {
		p.permitted(j)
		return t, true
	}
	b := &p.bounds[j]
	s := &p.subs[j]
	q := &path.Pieces[s.piece]
	r.Stops = append(r.Stops, Stop{Depth: b.depth, Arrival: t, Piece: int(s.piece), Along: float64(s.share * q.Metres)})
	stop := &r.Stops[len(r.Stops)-1]
	for d := range p.team.Divers {
		stop.Breathing[d] = uint8(p.now[d].breathing)
	}
	minute := p.steps.at(1, p.helium)
	at := p.set.Water.Pressure(b.depth)
	var leaves Margin
	for n := 1; ; n++ {
		if n > LongestStop {
			p.catchUp(minute, at, 0)
			stop.Minutes, stop.NeededBy = LongestStop, worst
			p.log(Stopped, b.depth, b.depth, LongestStop, len(p.bounds), r)
			return t + LongestStop, false
		}
		if p.waitMinute(minute, at) {
			continue
		}
		// Somebody may be permitted now. The minute before is judged in full, for
		// the report; then this one decides.
		if p.anyBehind() { // else the minute before was tested in full
			p.catchUp(minute, at, 1)
			_, worst = p.testAll(j, r, true)
		}
		p.catchUp(minute, at, 0)
		before := worst
		if refused, worst = p.testAll(j, r, false); refused {
			continue
		}
		stop.Minutes, stop.NeededBy = n, before
		leaves = worst
		break
	}
	stop.LeavesWith = leaves
	p.log(Stopped, b.depth, b.depth, float64(stop.Minutes), len(p.bounds), r)
	p.permitted(j)
	return t + float64(stop.Minutes), true
}

// testAll tests every diver whose state is up to date; past asks for the margins
// of a minute whose refusal is already known, without consequences. worst is the
// least margin among the divers who are not exempt.
func (p *Planner) testAll(j int, r *Result, past bool) (refused bool, worst Margin) {
	worst.Bar = math.Inf(1)
	for d := range p.team.Divers {
		var o tested
		if past && !p.tracked[d].on {
			o = p.outcome[d]
		} else {
			o = p.test(d, j, r)
			p.outcome[d] = o
		}
		if !o.exempt && o.margin.Bar < worst.Bar-tissue.Tie {
			worst = o.margin
		}
		if past {
			continue
		}
		p.exempt[d] = -1
		if o.exempt {
			p.exempt[d] = p.travel[len(p.travel)-1].bound
		}
		p.tracked[d].on = o.refused
		if o.refused {
			refused = true
			c := &p.state[d]
			c.Refused = true
			c.Anchor = max(c.Anchor, p.bounds[j].depth)
			r.NoStop = false
			k := o.margin.Compartment
			p.tracked[d] = tracked{on: true, compartment: k, n2: c.Tissues.N2[k], he: c.Tissues.He[k]}
			p.follow(d, k)
		}
	}
	return refused, worst
}

// waitMinute lets a minute pass. A refused diver is followed by the compartment
// that refused; the others are moved whole. It tells whether this minute's test
// is known: everybody's followed compartment still refuses.
func (p *Planner) waitMinute(minute *tissue.Step, at float64) (known bool) {
	known = true
	for d := range p.team.Divers {
		mix := p.mixes[p.now[d].breathing]
		f := &p.tracked[d]
		if !f.on {
			p.model.Apply(&p.state[d].Tissues, minute, mix, at, at, p.hasHelium[d])
			known = false
			continue
		}
		n2, he := p.model.Inspired(mix, at)
		k := f.compartment
		f.n2 = n2 + float64((f.n2-n2)*minute.N2[k].Q)
		if p.hasHelium[d] {
			f.he = he + float64((f.he-he)*minute.He[k].Q)
		}
		f.behind++
		known = p.alone(d, k, f.n2, f.he) && known
	}
	return known
}

// anyBehind tells whether somebody's last full test lies more than a minute back.
func (p *Planner) anyBehind() bool {
	for d := range p.team.Divers {
		if p.tracked[d].on && p.tracked[d].behind > 1 {
			return true
		}
	}
	return false
}

// catchUp moves the whole states of followed divers until so many minutes are missing.
func (p *Planner) catchUp(minute *tissue.Step, at float64, missing int) {
	for d := range p.team.Divers {
		f := &p.tracked[d]
		if !f.on || f.behind <= missing {
			continue
		}
		n2, he := p.model.Inspired(p.mixes[p.now[d].breathing], at)
		s := &p.state[d].Tissues
		minutes := f.behind - missing
		f.behind = missing
		for i := range s.N2 {
			s.N2[i] = n2 + float64((s.N2[i]-n2)*power(minute.N2[i].Q, minutes))
		}
		if p.hasHelium[d] {
			for i := range s.He {
				s.He[i] = he + float64((s.He[i]-he)*power(minute.He[i].Q, minutes))
			}
		}
	}
}

// power is q to the n, n ≥ 1, by squaring: a minute's factor over n minutes,
// where calling exp for every length of stop would cost more.
func power(q float64, n int) float64 {
	r := 1.0
	for ; n > 1; n >>= 1 {
		if n&1 == 1 {
			r = float64(r * q)
		}
		q = float64(q * q)
	}
	return float64(r * q)
}

// permitted keeps the simulated states where the travel is the next sub alone.
func (p *Planner) permitted(j int) {
	p.simEnd = -1
	if len(p.travel) == 1 && p.travel[0].bound == j+1 {
		p.simEnd = j + 1
	}
}
