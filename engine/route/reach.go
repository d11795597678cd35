package route

import "math"

// candidate is a requirement that fails first in a segment at x.
type candidate struct {
	x     float64
	check string
	who   string
}

// first gathers, in one segment, the requirements that fail first.
type first struct{ list []candidate }

// need wants q ≥ 0 on [from, to] of the segment.
func (f *first) need(q quad, from, to float64, check string, who func() string) {
	if from > 0 {
		q = q.shift(from)
	}
	if x, fails := q.firstFailure(to - from); fails {
		f.fail(from+x, check, who())
	}
}

func (f *first) fail(x float64, check, who string) {
	const near = 1e-7 // metres or minutes: about 1e-6 L
	if len(f.list) > 0 {
		if x > f.list[0].x+near {
			return
		}
		if x < f.list[0].x-near {
			f.list = f.list[:0]
		}
	}
	for i := range f.list {
		if f.list[i].check == check && f.list[i].who == who {
			return
		}
	}
	f.list = append(f.list, candidate{x, check, who})
}

// turnAtTheLatest is D27: the last place such that for it and every place
// before it the plan "route so far, then the cheapest known way out" passes.
func (j *judge) turnAtTheLatest() {
	late := 0
	for i := range j.segs {
		s := &j.segs[i]
		var f first
		j.conditions(i, s, &f)
		if len(f.list) == 0 {
			for ; late < len(j.lateMarkers) && j.lateMarkers[late].at.seg == i; late++ {
				f.fail(s.length, CheckMarkerMet, j.divers[j.lateMarkers[late].diver].name)
			}
		}
		if len(f.list) == 0 {
			continue
		}
		j.reachCase = j.caseOf(f.list[0])
		j.reached, j.reach = true, spot{i, math.Max(0, math.Min(f.list[0].x, s.length))}
		for _, c := range f.list {
			j.binds = append(j.binds, Bind{c.check, c.who})
		}
		return
	}
	j.reach = j.end
}

// caseOf finds the failure case that a candidate is; -1 where it is another requirement.
func (j *judge) caseOf(f candidate) int {
	if f.check != BindSharing && f.check != CheckLostCylinder && f.check != CheckIndependent {
		return -1
	}
	for c := range j.cases {
		kind := j.cases[c].kind
		same := kind.sharing() && f.check == BindSharing || kind == lostWaiting && f.check == CheckLostCylinder || kind == lostMain && f.check == CheckIndependent
		if same && j.who(&j.cases[c]) == f.who {
			return c
		}
	}
	return -1
}

// conditions lists everything the cut plan must pass when it is cut in this segment.
func (j *judge) conditions(i int, s *segment, f *first) {
	j.shares(s, f)
	if s.mode == noWay {
		for c := range j.cases {
			if j.cases[c].kind.sharing() {
				f.fail(0, BindSharing, j.who(&j.cases[c]))
			}
		}
		f.fail(0, BindNoWayOut, "")
		return
	}
	cannotShare := j.major(s) && !j.alone
	for c := range j.cases {
		x := &j.cases[c]
		if !s.gear.active[c] {
			continue
		}
		check, home := BindSharing, BindSharingGoingHome
		switch x.kind {
		case lostWaiting:
			check, home = CheckLostCylinder, CheckLostCylinder
		case lostMain:
			check, home = CheckIndependent, CheckIndependent
		}
		name := func() string { return j.who(x) }
		if x.kind.sharing() && cannotShare {
			f.fail(0, check, name())
		}
		f.need(j.margin(c, s), 0, s.length, check, name)
		if s.high == nil {
			continue
		}
		start := quad{a: j.left(s.gear, x, s.content) - s.gear.reserve[c]}.
			plusTimes(-s.gear.rate[c], s.used).plusTimes(-x.home, s.out)
		f.need(start.constant(-s.high[c]), 0, s.length, home, name)
		j.onThisPiece(c, s, start, f, home, name)
	}
	j.plannedExit(s, f)
	for k := range s.gear.lying {
		if y := &s.gear.lying[k]; !j.passes(s, y.node) {
			f.fail(0, CheckOnTheWayOut, j.cyls[y.cyl].id)
		}
	}
	j.keepWithin(i, s, f)
}

// onThisPiece is D20 for the dearest place of the sloping piece on which the
// team turns: on the way back only once it has been passed, on the way on only
// until then.
func (j *judge) onThisPiece(c int, s *segment, start quad, f *first, check string, who func() string) {
	if s.hold || s.mode == upward {
		return
	}
	base := j.memo(s.home, s.gear).base[c]
	dear := j.dear(&j.cases[c], s.pressure, s.out, s.home.barMin, base)
	x, inside := dear.peak(s.length)
	if !inside {
		return
	}
	margin := start.constant(-dear.at(x))
	if s.mode == back {
		f.need(margin, x, s.length, check, who)
	} else {
		f.need(margin, 0, x, check, who)
	}
}

// shares is the share rule and the rule on stages: what was breathed up to the
// commitment point of the cut plan, which is the place itself unless the way
// home began before.
func (j *judge) shares(s *segment, f *first) {
	held := func(k int) quad {
		if s.run.seg >= 0 {
			return quad{a: j.held(k, s.run)}
		}
		return j.heldQuad(k, s)
	}
	for d := range j.divers {
		v := &j.divers[d]
		name := func() string { return v.name }
		mains := quad{a: j.permitted[d] - v.usable}
		for _, k := range v.mains {
			mains = mains.plus(held(k))
		}
		f.need(mains, 0, s.length, CheckShareRule, name)
		for _, k := range v.stages {
			if c := &j.cyls[k]; !c.deco {
				f.need(held(k).constant(j.allowed[k]-c.start), 0, s.length, CheckStageShare, func() string { return c.id })
			}
		}
	}
}

// plannedExit wants every diver to surface with the planned reserve, each going
// on with the cylinder in use down to the reserve and then the mains, and
// breathing what waits on the way (D20).
func (j *judge) plannedExit(s *segment, f *first) {
	for d := range j.divers {
		v := &j.divers[d]
		name := func() string { return v.name }
		demand, beyond := s.out.times(v.rmv), 0.0
		if s.home != nil && s.gear.waiting > 0 {
			m := j.memo(s.home, s.gear)
			demand = demand.constant(-float64(v.rmv * s.home.barMin))
			if q := pool(s.gear, s.home.node, d, -1); q > 0 {
				beyond = math.Max(0, m.until[d]-q) + m.after[d]
			} else {
				demand, beyond = demand.constant(m.until[d]), m.after[d]
			}
		}
		mains := j.mains(d, s).constant(-beyond)
		for _, k := range v.mains {
			mains.a -= j.cyls[k].planned
		}
		use := s.gear.inUse[d]
		if use != mainsInUse && !j.cyls[use].main {
			stage := j.heldQuad(use, s).constant(-j.cyls[use].planned)
			f.need(stage, 0, s.length, CheckPlannedExit, name)
			f.need(mains, 0, s.length, CheckPlannedExit, name)
			mains = mains.plus(stage)
		}
		f.need(mains.plusTimes(-1, demand), 0, s.length, CheckPlannedExit, name)
		if len(v.mains) == 2 {
			for _, k := range v.mains {
				f.need(j.heldQuad(k, s).constant(-j.cyls[k].planned), 0, s.length, CheckPlannedExit, name)
			}
		}
	}
}

// keepWithin is the spread of independent mains (D24). The gauge is no
// quadratic with real gas; the difference only grows or shrinks on a segment,
// so its limit is found by halving.
func (j *judge) keepWithin(i int, s *segment, f *first) {
	for d := range j.divers {
		if len(j.divers[d].mains) != 2 || j.apart(d, spot{i, s.length}) <= j.spread+1e-6 {
			continue
		}
		low, high := 0.0, s.length
		if j.apart(d, spot{i, 0}) > j.spread+1e-6 {
			high = 0
		}
		for n := 0; n < 60 && high > low; n++ {
			if mid := (low + high) / 2; j.apart(d, spot{i, mid}) > j.spread {
				high = mid
			} else {
				low = mid
			}
		}
		f.fail(low, CheckSpread, j.divers[d].name)
	}
}
