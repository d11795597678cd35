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

// cases works out what check does not. Slower ways out are looked at from the
// commitment point and from every place that is the dearest of some failure.
func (w *Work) cases() []Case {
	list := w.worstConsumption()
	if len(w.worst) == 0 {
		return list
	}
	turn := w.farthest()
	far := []*place{turn}
	for d := range w.team.Divers {
		list = append(list, w.dearestCase(CaseDelay, w.normal, far, &failure{homeward, []int{d}, d, -1}, w.q.DelayMin))
	}
	if m := w.q.SwimOutMMin; m > 0 {
		slow := w.slower(m)
		for d := range w.team.Divers {
			list = append(list, w.dearestCase(CaseScooterLost, slow, far, &failure{homeward, []int{d}, d, -1}, w.q.Route.Policy.DelayMin))
		}
	}
	places := w.dearPlaces(turn)
	if w.q.TouchFactor > 0 {
		slow := w.slower(float64(w.q.TouchFactor * w.q.Route.Speeds.SwimMMin))
		at := w.under(slow, places)
		for d := range w.team.Divers {
			list = append(list, w.dearestAt(CaseTouchContact, at, &failure{homeward, []int{d}, d, -1}, 0))
		}
		list = append(list, w.sharingCases(CaseTouchSharing, at)...)
	}
	if w.helped() {
		list = append(list, w.sharingCases(CaseNoHelp, w.under(&network{w.route.WithoutHelp()}, places))...)
	}
	return append(list, w.othersWait()...)
}

// slower is the network with ways out swum no faster than a speed, m/min.
func (w *Work) slower(speed float64) *network { return &network{w.route.Slower(speed)} }

// helped tells whether some way out is swum with the flow.
func (w *Work) helped() bool {
	return slices.ContainsFunc(w.q.Result.Checks, func(c route.Check) bool { return c.Name == route.CheckHelpfulOutflow && c.Applies })
}

// farthest is where the team is farthest out as it will dive: the commitment
// point of the route, or the turn at the latest where the team turns there.
func (w *Work) farthest() *place {
	if w.q.TurnedThere && w.reach != nil && w.reach.spot.Before(w.commitment.spot) {
		if p := w.at(w.reach.spot); p != nil { // with the tissues, which the search leaves out
			return p
		}
	}
	return w.commitment
}

// dearPlaces are the farthest place and the dearest place of every failure,
// where the team comes to it.
func (w *Work) dearPlaces(far *place) []*place {
	list := []*place{far}
	for i := range w.worst {
		p := w.worst[i].at
		if far != w.commitment && p != nil && far.spot.Before(p.spot) {
			continue
		}
		if w.worst[i].found && !slices.Contains(list, p) {
			list = append(list, p)
		}
	}
	return list
}

// under are the same places with the ways out of a network. They are places of
// their own: whether stops are needed is not told by rarer failures.
func (w *Work) under(n *network, places []*place) []*place {
	var list []*place
	for _, p := range places {
		q := &place{spot: p.spot, at: p.at, swim: p.swim, moment: p.moment, content: p.content, waiting: p.waiting, asked: true}
		if n.path != nil {
			q.ways = w.cheapest(w.lay(n, p), q)
		}
		q.alike = w.alike(q)
		list = append(list, q)
	}
	return list
}

func (w *Work) dearestCase(kind string, n *network, places []*place, f *failure, delay float64) Case {
	return w.dearestAt(kind, w.under(n, places), f, delay)
}

// dearestAt is a case at whichever place leaves least to spare. Nothing lost is
// still a failure: consumption is that after one (D36), and what must be left is
// the sharing reserve.
func (w *Work) dearestAt(kind string, places []*place, f *failure, delay float64) Case {
	at := func(p *place) *margin {
		switch {
		case w.way(p) == nil:
			return &margin{fails: true}
		case f.kind == sharing:
			return w.share(p, f, delay)
		}
		d := f.victim
		return w.alone(p, d, w.goOut(p, -1, 0, -1, delay), -1, w.rates[d].after)
	}
	var best worst
	for _, p := range places {
		best.take(at(p), p)
	}
	return w.caseOf(kind, f, &best, at)
}

func (w *Work) sharingCases(kind string, places []*place) []Case {
	var list []Case
	for i := range w.failures {
		if f := &w.failures[i]; f.kind == sharing {
			list = append(list, w.dearestAt(kind, places, f, w.q.Route.Policy.DelayMin))
		}
	}
	return list
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
// cylinder being lost: the owner's own gas is among the failures of check.
func (w *Work) othersWait() []Case {
	var list []Case
	for i := range w.failures {
		lost := &w.failures[i]
		if lost.kind != lostWaiting {
			continue
		}
		for d := range w.team.Divers {
			if d == lost.victim {
				continue
			}
			at := func(p *place) *margin {
				o := w.goOut(p, lost.victim, 1<<w.cylinder(lost.lost), -1, w.q.Route.Policy.DelayMin)
				return w.alone(p, d, o, -1, w.rates[d].after)
			}
			var best worst
			for _, p := range w.places {
				if len(p.tested) == 0 || p.tested[i] == nil || p.tested[i].fails {
					continue // not looked at, not concerned, or refused there already
				}
				best.take(at(p), p)
			}
			if best.found {
				list = append(list, w.caseOf(CaseLostCylinder, &failure{lostWaiting, []int{d}, d, lost.lost}, &best, at))
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
