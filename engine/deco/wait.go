package deco

import (
	"math"
	"math/bits"

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
	worst := &Margin{}
	breaks := p.breaksPossible()
	if breaks || !p.guess(j) {
		var refused bool
		if refused, worst = p.testAll(j, r, false); !refused {
			p.permitted(j)
			return t, true
		}
	}
	b := &p.bounds[j]
	s := &p.subs[j]
	stop := another(&r.Stops)
	*stop = Stop{}
	stop.Depth, stop.Arrival, stop.Piece, stop.Along = b.depth, t, int(s.piece), float64(s.share(&path.Pieces[s.piece])*path.Pieces[s.piece].Metres)
	for d := range p.team.Divers {
		stop.Breathing[d] = uint8(p.now[d].breathing)
	}
	if breaks {
		stop.NeededBy = *worst
		return p.waitWithBreaks(j, t, r)
	}
	if !p.Plain {
		stop.NeededBy = *worst
	}
	minute := p.steps.at(1, p.helium)
	at := p.set.Water.Pressure(b.depth)
	p.followWait(minute, at)
	for n := 1; ; n++ {
		if n > LongestStop {
			p.catchUp(minute, at, 0)
			stop.Minutes = LongestStop
			p.log(Stopped, b.depth, b.depth, LongestStop, r)
			return t + LongestStop, false
		}
		if p.alonePossible() {
			// One diver, one part of the way: the minutes pass in one loop.
			m, known := p.followAlone(LongestStop - n + 1)
			n += m - 1
			if known {
				continue
			}
		} else if p.waitMinute(minute, at) {
			continue
		}
		// Somebody may be permitted now. The minute before is judged in full, for
		// the report; then this one decides.
		if !p.Plain && p.anyBehind() { // else the minute before was tested in full
			p.catchUp(minute, at, 1)
			_, worst = p.testAll(j, r, true)
			stop.NeededBy = *worst
		}
		p.catchUp(minute, at, 0)
		var refused bool
		if refused, worst = p.testAll(j, r, false); refused {
			if !p.Plain {
				stop.NeededBy = *worst
			}
			p.followWait(minute, at)
			continue
		}
		stop.Minutes, stop.LeavesWith = n, *worst
		break
	}
	p.log(Stopped, b.depth, b.depth, float64(stop.Minutes), r)
	p.permitted(j)
	return t + float64(stop.Minutes), true
}

// guess tells whether everybody is refused at bound j already by the compartment
// that refused them last, in which case the full test is put off. It needs an
// anchor at or below j, so that the refusal changes no limit.
func (p *Planner) guess(j int) bool {
	for d := range p.team.Divers {
		f, c := &p.tracked[d], &p.state[d]
		if f.compartment < 0 || !c.Refused || c.Anchor < p.bounds[j].depth {
			return false
		}
		k := f.compartment
		p.follow(d, k)
		if !p.alone(d, k, c.Tissues.N2[k], c.Tissues.He[k]) {
			return false
		}
	}
	for d := range p.team.Divers {
		f, c := &p.tracked[d], &p.state[d]
		f.on, f.untested, f.behind = true, true, 0
		f.n2, f.he = c.Tissues.N2[f.compartment], c.Tissues.He[f.compartment]
		p.exempt[d], p.byHigh[d] = -1, false
	}
	return true
}

// followWait prepares what a minute at a place does to the followed compartments.
func (p *Planner) followWait(minute *tissue.Step, at float64) {
	for d := range p.team.Divers {
		f := &p.tracked[d]
		if !f.on {
			continue
		}
		n2, he := p.model.Inspired(p.mixes[p.now[d].breathing], at)
		q := minute.N2[f.compartment].Q
		f.waiting = follower{n2a: n2 - float64(n2*q), n2q: q}
		if p.hasHelium[d] {
			q = minute.He[f.compartment].Q
			f.waiting.hea, f.waiting.heq = he-float64(he*q), q
		}
	}
}

// testAll tests every diver whose state is up to date; past asks for the margins
// of a minute whose refusal is already known, without consequences. worst is the
// least margin among the divers who are not exempt, until the next test.
func (p *Planner) testAll(j int, r *Result, past bool) (refused bool, worst *Margin) {
	worst = &noMargin
	for d := range p.team.Divers {
		o := &p.outcome[d]
		if !past || p.tracked[d].on {
			p.test(d, j, o, r)
		}
		if !o.exempt && o.margin.Bar < worst.Bar-tissue.Tie {
			worst = &o.margin
		}
		if past {
			continue
		}
		p.exempt[d], p.byHigh[d] = -1, o.exempt
		if o.exempt {
			p.exempt[d] = p.travel[len(p.travel)-1].bound
		}
		f := &p.tracked[d]
		f.on, f.untested = o.refused, false
		if o.refused {
			refused = true
			c := &p.state[d]
			c.Refused = true
			c.Anchor = max(c.Anchor, p.bounds[j].depth)
			r.NoStop = false
			k := o.margin.Compartment
			f.compartment, f.n2, f.he, f.behind = k, c.Tissues.N2[k], c.Tissues.He[k], 0
			p.follow(d, k)
		}
	}
	return refused, worst
}

// noMargin is the least margin of nobody.
var noMargin = Margin{Bar: math.Inf(1)}

// waitMinute lets a minute pass. A refused diver is followed by the compartment
// that refused; the others are moved whole. It tells whether this minute's test
// is known: everybody's followed compartment still refuses.
func (p *Planner) waitMinute(minute *tissue.Step, at float64) (known bool) {
	known = true
	for d := range p.team.Divers {
		f := &p.tracked[d]
		if !f.on {
			p.model.Apply(&p.state[d].Tissues, minute, p.mixes[p.now[d].breathing], at, at, p.hasHelium[d])
			known = false
			continue
		}
		f.n2 = f.waiting.n2a + float64(f.n2*f.waiting.n2q)
		f.he = f.waiting.hea + float64(f.he*f.waiting.heq)
		f.behind++
		known = p.alone(d, f.compartment, f.n2, f.he) && known
	}
	return known
}

// alonePossible tells whether followAlone covers the wait.
func (p *Planner) alonePossible() bool {
	return len(p.team.Divers) == 1 && p.tracked[0].on && len(p.followers[0]) == 1
}

// followAlone is waitMinute for the only diver, minute after minute until the
// followed compartment no longer refuses, at most so many; it gives the minutes
// passed and whether it still refused then. The division of the mixed
// coefficients is multiplied out.
func (p *Planner) followAlone(most int) (minutes int, refused bool) {
	f, w := &p.tracked[0], &p.followers[0][0]
	c := &p.coef[f.compartment]
	n2, he := f.n2, f.he
	base := w.ambient - float64(w.gf*w.ambient)
	for refused = true; refused && minutes < most; minutes++ {
		n2 = f.waiting.n2a + float64(n2*f.waiting.n2q)
		he = f.waiting.hea + float64(he*f.waiting.heq)
		x, y := w.n2a+float64(n2*w.n2q), w.hea+float64(he*w.heq)
		t := x + y
		num, den := c.aN2+float64(w.ambient*c.inverseBN2), 1.0
		if y != 0 {
			a := float64(c.aN2*x) + float64(c.aHe*y)
			b := float64(c.bN2*x) + float64(c.bHe*y)
			num, den = float64(a*b)+float64(w.ambient*float64(t*t)), float64(t*b)
		}
		refused = float64(w.gf*num) < float64((t-base-marginSlack)*den)
	}
	f.n2, f.he = n2, he
	f.behind += minutes
	return minutes, refused
}

// anyBehind tells whether somebody's last full test is not that of the minute before.
func (p *Planner) anyBehind() bool {
	for d := range p.team.Divers {
		if f := &p.tracked[d]; f.on && (f.behind > 1 || f.untested) {
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
		decay(&s.N2, &p.powersN2, &minute.N2, n2, minutes)
		if p.hasHelium[d] {
			decay(&s.He, &p.powersHe, &minute.He, he, minutes)
		}
	}
}

// powers are a minute's factors raised to 1, 2, 4, … minutes: calling exp for
// every length of stop would cost more.
type powers struct {
	bits int // filled
	q    [10][tissue.Count]float64
}

func (w *powers) upTo(bits int, minute *[tissue.Count]tissue.Factor) {
	if w.bits == 0 {
		for i := range minute {
			w.q[0][i] = minute[i].Q
		}
		w.bits = 1
	}
	for ; w.bits < bits; w.bits++ {
		from, to := &w.q[w.bits-1], &w.q[w.bits]
		for i := range to {
			to[i] = float64(from[i] * from[i])
		}
	}
}

// decay moves tensions towards an inspired pressure through whole minutes, at
// most LongestStop.
func decay(tension *[tissue.Count]float64, w *powers, minute *[tissue.Count]tissue.Factor, inspired float64, minutes int) {
	w.upTo(bits.Len(uint(minutes)), minute)
	k := bits.TrailingZeros(uint(minutes))
	q := &w.q[k]
	if rest := minutes >> (k + 1); rest > 0 {
		var product [tissue.Count]float64
		copy(product[:], q[:])
		for k++; rest > 0; k, rest = k+1, rest>>1 {
			if rest&1 == 0 {
				continue
			}
			more := &w.q[k]
			for i := range product {
				product[i] = float64(product[i] * more[i])
			}
		}
		q = &product
	}
	for i := range tension {
		tension[i] = inspired + float64((tension[i]-inspired)*q[i])
	}
}

// permitted keeps the simulated states where the travel is the next sub alone.
func (p *Planner) permitted(j int) {
	p.simEnd = -1
	if len(p.travel) == 1 && p.travel[0].bound == j+1 {
		p.simEnd = j + 1
	}
}
