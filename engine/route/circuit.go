package route

import "math"

// closability judges the two set-up dives of a loop or traverse (D28) and where
// its halves are (D29).
func (j *judge) closability(c *Circuit, loop bool) Closability {
	r := Closability{ID: c.ID, Kind: "traverse"}
	startForward, startBackward := c.StartA, c.StartB
	if loop {
		r.Kind, startForward, startBackward = "loop", c.Start, c.Start
	}
	for _, id := range c.Legs {
		r.LengthM += j.in.Legs[j.names.legs[id]].LengthM
	}
	forward := j.setUp(c, startForward, c.Legs)
	backward := j.setUp(c, startBackward, reversed(c.Legs))
	r.ReachForwardM, r.BindsForward, r.GaugeForward = forward.reach, forward.binds, forward.gauge
	r.ReachBackwardM, r.BindsBackward, r.GaugeBackward = backward.reach, backward.binds, backward.gauge
	// 1e-6 L is about a ten-thousandth of a millimetre; equality closes (D31).
	r.Closes = r.ReachForwardM+r.ReachBackwardM >= r.LengthM-1e-7
	if r.Closes {
		from := math.Max(0, r.LengthM-r.ReachBackwardM)
		r.MarkerInterval = []float64{from, r.ReachForwardM}
		if c.MarkerAtM != nil {
			legal := *c.MarkerAtM >= from-1e-7 && *c.MarkerAtM <= r.ReachForwardM+1e-7
			r.MarkerLegal = &legal
		}
	}
	if forward.plan != nil {
		forward.plan.halves(&r, forward.legs, !loop)
	}
	return r
}

func reversed(list []string) []string {
	out := make([]string, len(list))
	for i := range list {
		out[len(list)-1-i] = list[i]
	}
	return out
}

type setUp struct {
	reach float64
	binds []Bind
	gauge []GaugeBar
	plan  *plan
	legs  []resolved // of the circuit, in order, indices of plan
}

// setUp is one set-up dive: an ordinary plan with the way in as only way out
// and the minutes to place the marker spent at the far point. Its reach is in
// metres from the junction or entrance. Stages are left at home: nothing says
// how they would be used on it.
func (j *judge) setUp(c *Circuit, start string, legs []string) setUp {
	in := *j.in
	in.Verified, in.Loops, in.Traverses, in.Markers = nil, nil, nil, nil
	in.Team = append([]Diver(nil), in.Team...)
	for i := range in.Team {
		in.Team[i].Stages = nil
	}
	in.Route = Route{Start: start}
	var moves []resolved
	at, approach, slow := start, 0.0, math.Inf(1)
	swum := 0.0
	for i, id := range append(append([]string(nil), c.Approach...), legs...) {
		if i == len(c.Approach) {
			approach = swum
		}
		n := j.names.legs[id]
		l := &in.Legs[n]
		m := Move{Leg: id, To: l.To, RunLine: !l.Lined}
		dir := 0
		if l.To == at {
			m.To, dir = l.From, 1
		}
		least := j.in.Policy.MinProgressMMin
		if l.PullAndGlideMMin == nil && j.in.Policy.PullAndGlideMMin == nil &&
			in.Speeds.SwimMMin-math.Abs(l.FlowMMin) < least-1e-9 && swum < slow {
			slow = swum
		}
		at = m.To
		swum += l.LengthM
		moves = append(moves, resolved{n, dir})
		in.Route.Moves = append(in.Route.Moves, m)
	}
	p, problems := compile(&in, j.names, moves, false)
	if len(problems) > 0 {
		return setUp{}
	}
	w := newWalk(p)
	w.wayInOnly = true
	w.run()
	w.flows()
	k := &judge{walk: w, spread: j.spread, alone: j.alone}
	k.limits()
	r := setUp{plan: p}
	for _, m := range p.moves[len(c.Approach):] {
		r.legs = append(r.legs, resolved{m.leg, m.dir})
	}
	total := swum - approach
	r.reach = total
	found := spot{len(w.segs) - 1, w.segs[len(w.segs)-1].length}
	for i := range w.segs {
		s := w.segs[i] // a copy: the minutes at the far point are breathed wherever it is
		if s.hold && !s.first {
			continue
		}
		var f first
		if s.metre >= slow-1e-9 && !s.hold {
			f.fail(0, BindProgress, w.legs[s.leg].in.ID)
		} else {
			s.used = s.used.plusTimes(c.MarkerHoldMin, s.pressure)
			s.run = spot{-1, 0}
			k.conditions(i, &s, &f)
		}
		if len(f.list) == 0 {
			continue
		}
		found = spot{i, math.Max(0, math.Min(f.list[0].x, s.length))}
		r.reach = math.Min(total, math.Max(0, s.metre+found.x-approach))
		if s.hold {
			r.reach = 0
		}
		for _, b := range f.list {
			r.binds = append(r.binds, Bind{b.check, b.who})
		}
		break
	}
	for d := range k.divers {
		for _, n := range k.divers[d].mains {
			r.gauge = append(r.gauge, k.gaugeAt(d, n, found))
		}
	}
	return r
}

// halves is D29, at contingency speed from the junction, or from the entrances
// with the ascent at both openings.
func (p *plan) halves(r *Closability, legs []resolved, ascents bool) {
	r.DistanceHalfwayM = r.LengthM / 2
	backMin, backGas, onMin, onGas := 0.0, 0.0, 0.0, 0.0
	if ascents {
		first, last := legs[0], legs[len(legs)-1]
		backMin, backGas = p.straight(p.nodes[p.legs[first.leg].ends[first.dir]].depth, p.in.Policy.AscentMMin)
		onMin, onGas = p.straight(p.nodes[p.legs[last.leg].ends[1-last.dir]].depth, p.in.Policy.AscentMMin)
	}
	for _, l := range legs {
		t := &p.legs[l.leg].travel[l.dir]
		if !t.passes || !p.legs[l.leg].travel[1-l.dir].passes {
			r.HalvesWarning = true // one way round cannot be swum: there are no halves
			return
		}
		onMin += t.min
		onGas += t.barMin
	}
	metres := 0.0
	time, gas := math.Inf(1), math.Inf(1)
	for _, l := range legs {
		t, u := &p.legs[l.leg].travel[l.dir], &p.legs[l.leg].travel[1-l.dir]
		for k := range t.pieces {
			x, y := &t.pieces[k], &u.pieces[len(u.pieces)-1-k]
			in := x.integral()
			dTime := quad{onMin - backMin, -x.tc - y.tc, 0}
			dGas := quad{a: onGas - backGas}.plusTimes(-x.cost-y.cost, in)
			if at, ok := dTime.root(x.length); ok && metres+at < time {
				time = metres + at
			}
			if at, ok := dGas.root(x.length); ok && metres+at < gas {
				gas = metres + at
			}
			metres += x.length
			onMin -= float64(x.tc * x.length)
			backMin += float64(y.tc * x.length)
			onGas -= float64(x.cost * in.at(x.length))
			backGas += float64(y.cost * in.at(x.length))
		}
	}
	// One way shorter than the ascent alone: the half is at that end.
	end := func(v, on, back float64) float64 {
		if !math.IsInf(v, 0) {
			return v
		}
		if on >= back {
			return r.LengthM
		}
		return 0
	}
	r.TimeHalfwayM, r.GasHalfwayM = end(time, onMin, backMin), end(gas, onGas, backGas)
	r.HalvesDiffer = math.Max(math.Abs(r.TimeHalfwayM-r.DistanceHalfwayM), math.Abs(r.GasHalfwayM-r.DistanceHalfwayM)) / r.DistanceHalfwayM
	r.HalvesWarning = r.HalvesDiffer > p.in.Policy.halvesWarn()+1e-9
}

// halvesWarn is the share of the distance half by which the others may differ (D29).
func (l *Policy) halvesWarn() float64 {
	if l.HalvesWarn == 0 {
		return 0.1
	}
	return float64(l.HalvesWarn)
}
