package dive

import (
	"math"
	"slices"

	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// Kinds of Case (method handbook, section 6).
const (
	CaseDelay            = "delay"                 // minutes at the far point, nothing lost
	CaseTouchContact     = "touch_contact"         // out by touch, nothing lost
	CaseTouchSharing     = "touch_contact_sharing" // the same while sharing
	CaseLostCylinder     = "lost_cylinder"         // a waiting cylinder or gas for decompression gone: what the others breathe meanwhile
	CaseScooterLost      = "scooter_lost"          // swum out from the far point
	CaseWorstConsumption = "worst_consumption"     // the whole dive at a diver's recorded worst
	CaseNoHelp           = "helpful_outflow"       // sharing, without the flow that helps
	CaseFarSide          = "far_side_shut"         // D37: on to the last metre known by verification alone, back, and out the way in
)

// Case is one row of the table of failures for one diver, or one donor and victim.
type Case struct {
	Kind     string  `json:"kind"`
	Diver    string  `json:"diver"`  // whose gas it is
	Victim   string  `json:"victim"` // who breathes it too, having lost everything
	Lost     string  `json:"lost"`   // cylinder
	Place    string  `json:"place"`
	Cylinder string  `json:"cylinder"` // whose margin is least; empty: mains and what counts with them
	LeftL    float64 `json:"left_l"`
	NeedL    float64 `json:"need_l"` // the reserve included
	NoWay    bool    `json:"no_way"` // no way out, or none that can be scheduled; then no figures
	StopMin  int     `json:"stop_min"`
	OutMin   float64 `json:"out_min"` // to the surface, from the place

	Parts *route.PlaceParts `json:"-"` // what led to the figures; nil where there are none
}

// Holds tells whether the gas suffices.
func (c *Case) Holds() bool { return !c.NoWay && c.LeftL-c.NeedL >= -litreTolerance }

// cases works out what check does not. Slower ways out, and those without the flow
// that helps, are looked at wherever they can be dearest.
func (w *Work) cases() []Case {
	list := w.worstConsumption()
	if len(w.worst) == 0 {
		return list
	}
	turn := w.turning()
	list = append(list, w.everybody(w.normal, turn, CaseDelay, w.q.DelayMin)...)
	if m := w.q.SwimOutMMin; m > 0 {
		list = append(list, w.everybody(w.slower(m), turn, CaseScooterLost, w.q.Route.Policy.DelayMin)...)
	}
	var until *place
	if turn != w.commitment { // the team turns there
		until = turn
	}
	if w.q.TouchFactor > 0 {
		rows, _ := w.everywhere(w.slower(float64(w.q.TouchFactor*w.q.Route.Speeds.SwimMMin)), until, CaseTouchContact, CaseTouchSharing)
		list = append(list, rows...)
	}
	if w.helped() {
		rows, dearest := w.everywhere(&network{w.route.WithoutHelp()}, until, "", CaseNoHelp)
		list, w.unhelped = append(list, rows...), dearest
	}
	list = append(list, w.farSide()...)
	return append(list, w.othersWait()...)
}

// farSide is D37 with its stops: at every place whose way out relies on legs known
// by verification alone, the far side is shut at the last metre.
func (w *Work) farSide() []Case {
	var places []*place
	for _, p := range w.places {
		pieces, relied := w.normal.path.FarShut(p.spot)
		if !relied {
			continue
		}
		q := &place{spot: p.spot, at: p.at, swim: p.swim, moment: p.moment, content: p.content, waiting: p.waiting, asked: true}
		if len(pieces) > 0 {
			q.out = &way{at: q, pieces: pieces, kept: new(led), major: slices.ContainsFunc(pieces, major)}
			w.planner.Spent += pieceWork * len(pieces)
			w.lead(q.out.kept, pieces, q)
		}
		q.alike = w.alike(q)
		places = append(places, q)
	}
	if len(places) == 0 {
		return nil
	}
	w.rarer = append(w.rarer, places...)
	var list []Case
	for d := range w.team.Divers {
		at := func(p *place) *margin {
			if p.out == nil {
				return &margin{fails: true}
			}
			return w.wayBack(p, d)
		}
		var best worst
		for _, p := range places {
			best.take(at(p), p)
		}
		if !best.m.fails {
			w.farShut = append(w.farShut, route.FarSide{Diver: w.team.Divers[d].Name, Place: best.at.at, MarginL: best.m.spare()})
		}
		list = append(list, w.caseOf(CaseFarSide, &failure{homeward, []int{d}, d, -1}, &best, at))
	}
	return list
}

// slower is the network with ways out swum no faster than a speed, m/min.
func (w *Work) slower(speed float64) *network { return &network{w.route.Slower(speed)} }

// helped tells whether some way out is swum with the flow.
func (w *Work) helped() bool {
	return slices.ContainsFunc(w.q.Result.Checks, func(c route.Check) bool { return c.Name == route.CheckHelpfulOutflow && c.Applies })
}

// turning is where the team turns as it will dive: the commitment point of the
// route, or the turn at the latest where the team turns there.
func (w *Work) turning() *place {
	if w.q.TurnedThere && w.reach != nil && w.reach.spot.Before(w.commitment.spot) {
		if p := w.at(w.reach.spot); len(p) > 0 { // with the tissues, which the search leaves out
			return p[0]
		}
	}
	return w.commitment
}

// farthest is where the way out without its stops is dearest, up to the turn. The
// commitment point alone is not enough: that of an unverified traverse is its far
// opening, of an unverified ring where it closes.
func (w *Work) farthest() *place {
	far := w.turning()
	if far != w.commitment {
		return far
	}
	most, _ := w.normal.path.Cost(far.spot)
	for _, i := range w.peaks(w.normal) {
		if p := w.places[i]; p.spot.Before(w.commitment.spot) {
			if cost, _ := w.normal.path.Cost(p.spot); cost > most+1e-9 {
				far, most = p, cost
			}
		}
	}
	return far
}

// everywhere tells one diver out alone, and out while sharing, under a network, at
// whichever place of the dive leaves least; an empty kind is not asked for. dearest is
// the sharing that leaves least.
func (w *Work) everywhere(n *network, until *place, alone, shared string) (list []Case, dearest sharingAt) {
	var fs []*failure
	for d := range w.team.Divers {
		if alone != "" {
			fs = append(fs, &failure{homeward, []int{d}, d, -1})
		}
	}
	for i := range w.failures {
		if w.failures[i].kind == sharing {
			fs = append(fs, &w.failures[i])
		}
	}
	at := func(p *place, f *failure) *margin {
		if f.kind == sharing {
			return w.outOf(p, f, w.q.Route.Policy.DelayMin)
		}
		return w.outOf(p, f, 0)
	}
	var first []int
	for i := range w.worst {
		if w.worst[i].found {
			first = append(first, w.indexOf(w.worst[i].at))
		}
	}
	first = append(first, w.peaks(n)...)
	for k, b := range w.leastOf(fs, w.q.Route.Policy.DelayMin, first, until, func(p *place) *place { return w.under(n, p) }, at) {
		kind := alone
		if fs[k].kind == sharing {
			kind = shared
			if dearest.of == nil || b.m.spare() < dearest.m.spare()-litreTolerance {
				dearest = sharingAt{fs[k], b}
			}
		}
		list = append(list, w.caseOf(kind, fs[k], &b, func(p *place) *margin { return at(p, fs[k]) }))
	}
	return list, dearest
}

// sharingAt is a sharing exit at the place that leaves least; of is nil where none was looked at.
type sharingAt struct {
	of *failure
	worst
}

// under is the same place with the ways out of a network. It is a place of its
// own: whether stops are needed is not told by rarer failures.
func (w *Work) under(n *network, p *place) *place {
	q := &place{spot: p.spot, at: p.at, swim: p.swim, moment: p.moment, content: p.content, waiting: p.waiting, asked: true}
	if n.path != nil {
		q.out = w.cheapest(w.lay(n, p), q)
	}
	q.alike = w.alike(q)
	w.rarer = append(w.rarer, q)
	return q
}

// everybody is each diver's way out alone under a network, of whichever place up to the
// turn leaves least: minutes lost where the passage is deep can cost more than at its far end.
func (w *Work) everybody(n *network, turn *place, kind string, delay float64) (list []Case) {
	var fs []*failure
	for d := range w.team.Divers {
		fs = append(fs, &failure{homeward, []int{d}, d, -1})
	}
	at := func(p *place, f *failure) *margin { return w.outOf(p, f, delay) }
	for k, b := range w.leastOf(fs, delay, w.peaks(n), turn, func(p *place) *place { return w.under(n, p) }, at) {
		list = append(list, w.caseOf(kind, fs[k], &b, func(p *place) *margin { return at(p, fs[k]) }))
	}
	return list
}

// outOf is the way out of a place, alone or while sharing. Nothing lost is still a
// failure: consumption is that after one (D36), and what must be left is the
// sharing reserve.
func (w *Work) outOf(p *place, f *failure, delay float64) *margin {
	switch {
	case w.way(p) == nil:
		return &margin{fails: true}
	case f.kind == sharing:
		return w.share(p, f, delay)
	}
	d := f.victim
	return w.alone(p, d, w.goOut(p, -1, 0, -1, delay), -1, w.rates[d].after)
}

// caseOf tells the worst of a failure; at works the margin of a place out.
func (w *Work) caseOf(kind string, f *failure, b *worst, at func(*place) *margin) Case {
	c := Case{Kind: kind, Place: placeText(b.at), NoWay: b.m.fails}
	for i, d := range f.donors {
		if i > 0 {
			c.Diver += "+"
		}
		c.Diver += w.team.Divers[d].Name
	}
	if f.kind == sharing {
		c.Victim = w.team.Divers[f.victim].Name
	}
	if f.lost >= 0 {
		c.Lost = w.supplies[f.lost].ID
	}
	if b.m.fails {
		return c
	}
	g := b.m.tightest()
	if g.cylinder >= 0 {
		c.Cylinder = w.team.Cylinders[g.cylinder].ID
	}
	c.LeftL, c.NeedL = finding.Round9(g.left), finding.Round9(g.need)
	c.StopMin, c.OutMin = b.m.out.stops, finding.Round9(b.m.out.minutes)
	c.Parts = w.placeParts(b.at, kind, -1, func() *margin { return at(b.at) })
	return c
}

// othersWait is what the others breathe while one diver makes longer stops, a
// cylinder being lost. The owner's own gas is among the failures of check, which is
// content with what is certain to hold: where it holds, the least is found here.
func (w *Work) othersWait() []Case {
	var list []Case
	for i := range w.failures {
		lost := &w.failures[i]
		if lost.kind != lostWaiting {
			continue
		}
		bits := uint64(1) << w.cylinder(lost.lost)
		at := func(p *place, f *failure) *margin {
			if w.way(p) == nil || w.waitingAt(p)[w.cylinder(lost.lost)] == "" && !w.supplies[lost.lost].Deco {
				return nil // refused already, or not concerned
			}
			o := w.goOut(p, lost.victim, bits, -1, w.q.Route.Policy.DelayMin)
			if o.noSchedule {
				return nil // refused for its owner
			}
			return w.alone(p, f.victim, o, -1, w.rates[f.victim].after)
		}
		var fs []*failure
		for d := range w.team.Divers {
			if d != lost.victim {
				fs = append(fs, &failure{lostWaiting, []int{d}, d, lost.lost})
			}
		}
		own := w.worst[i].found && w.worst[i].m.holds()
		if own {
			fs = append(fs, lost)
		}
		for k, b := range w.leastOf(fs, w.q.Route.Policy.DelayMin, w.judgedPlaces(), nil, func(p *place) *place { return p }, at) {
			switch {
			case !b.found:
			case own && k == len(fs)-1:
				w.worst[i].take(b.m, b.at)
			default:
				list = append(list, w.caseOf(CaseLostCylinder, fs[k], &b, func(p *place) *margin { return at(p, fs[k]) }))
			}
		}
	}
	return list
}

// worstConsumption is the dive as planned with one diver at the recorded worst:
// nothing is lost, so that diver comes up with the planned reserve (D24).
func (w *Work) worstConsumption() []Case {
	var list []Case
	for d := range w.team.Divers {
		if d >= len(w.q.WorstLMin) || !(w.q.WorstLMin[d] > 0) {
			continue
		}
		planned := w.rates[d].planned
		w.rates[d].planned = math.Max(planned, w.q.WorstLMin[d])
		end := w.atTheEnd()
		w.rates[d].planned = planned
		c := Case{Kind: CaseWorstConsumption, Diver: w.team.Divers[d].Name, Place: "at the surface", NoWay: true, StopMin: w.result.TotalStop()}
		least := math.Inf(1)
		for k := range w.supplies {
			s := &w.supplies[k]
			if spare := end[k] - s.PlannedL; s.Diver == d && w.reliedOn(k, end) && spare < least-litreTolerance {
				least, c.Cylinder, c.LeftL, c.NeedL = spare, s.ID, finding.Round9(end[k]), finding.Round9(s.PlannedL)
				c.NoWay = w.result.NoSchedule // else no supply of the diver was looked at
			}
		}
		if !c.NoWay {
			c.Parts = w.worstParts(d, c.Cylinder, end)
		}
		list = append(list, c)
	}
	return list
}

// worstParts is what a diver's supply holds at the surface after a whole dive at
// the recorded worst rate.
func (w *Work) worstParts(d int, id string, end []float64) *route.PlaceParts {
	for k := range w.supplies {
		s := &w.supplies[k]
		if s.Diver != d || s.ID != id {
			continue
		}
		worst := math.Max(w.rates[d].planned, w.q.WorstLMin[d])
		l := route.LeftParts{Cylinder: k, LeftL: end[k], ReserveL: s.PlannedL}
		l.Breathed = w.breathedOf(&w.result, w.factors, w.named, k, math.Inf(1), func(int) float64 { return worst })
		return &route.PlaceParts{Check: CaseWorstConsumption, Left: []route.LeftParts{l}, LeftL: end[k], NeedL: s.PlannedL, ReserveL: s.PlannedL, MarginL: end[k] - s.PlannedL}
	}
	return nil
}
