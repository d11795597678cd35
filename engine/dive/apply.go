package dive

import (
	"math"
	"slices"

	"lastlight/engine/route"
)

// Apply puts into a result of the route model what stops change: times, gas,
// turn pressures, the turn at the latest and the checks of gas. What the network
// alone decides (zones, cavern, siphon, markers, set-up) stays as it is.
func (w *Work) Apply(r *route.Result, a *Answer) {
	if w.result.NoSchedule { // moves that it does not reach stay as they are without stops
		w.q.Laid.ShareAtStations(r)
	}
	w.times(r)
	r.Commitment = w.commitment.at
	r.Summary.TurnMin = w.commitment.at.ElapsedMin
	r.Reach = w.reachOf()
	for d := range r.Divers {
		w.gasOf(d, &r.Divers[d])
	}
	r.WorstSharingAtLegEnds = nil
	if i, b := w.dearest(sharing); b != nil {
		r.WorstSharing = w.sharingOf(sharingAt{&w.failures[i], *b})
	} else {
		r.WorstSharing = nil
	}
	for i := range r.Checks {
		if c, ok := w.checkOf(r, r.Checks[i].Name); ok {
			if !c.Passed && c.WhatPass == "" && w.reach != nil {
				c.WhatPass = w.reach.at.Earlier()
			}
			r.Checks[i] = c
		}
	}
	r.FarSide = w.farShut
	r.Cautions = slices.DeleteFunc(r.Cautions, func(c route.Caution) bool {
		return c.Kind == route.CautionFarSideShut // without its stops; the cases tell it with
	})
	r.Parts = w.parts(r, a)
	r.Conclude()
}

func (w *Work) times(r *route.Result) {
	cum, t := 0.0, 0.0
	k := 0
	barMin := func(until float64) float64 {
		for ; k < len(w.result.Stretches) && t < until-1e-9; k++ {
			cum += w.barMinutes(&w.result.Stretches[k], w.factors)
			t += w.result.Stretches[k].Minutes
		}
		return cum
	}
	left := r.Start.ElapsedMin
	for i := range r.Moves {
		m := &r.Moves[i]
		n := w.node[i+1]
		if n >= len(w.result.Arrival) || n >= len(w.result.Departure) {
			break
		}
		m.Minutes, m.ElapsedArrivalMin, m.ElapsedDepartureMin = w.result.Arrival[n]-left, w.result.Arrival[n], w.result.Departure[n]
		left = m.ElapsedDepartureMin
		before := r.Start.BarMin
		m.CumBarMinArrival = barMin(m.ElapsedArrivalMin)
		m.CumBarMinDeparture = barMin(m.ElapsedDepartureMin)
		if i > 0 {
			before = r.Moves[i-1].CumBarMinDeparture
		}
		m.BarMin = m.CumBarMinArrival - before
		m.SharingArriving, m.SharingDeparting = nil, nil
	}
	r.End.ElapsedMin, r.End.BarMin = w.result.End.Minutes, barMin(math.Inf(1))
	r.Summary.RuntimeMin = w.result.End.Minutes
}

func (w *Work) reachOf() route.Reach {
	if w.reach == nil {
		last := w.places[len(w.places)-1]
		return route.Reach{WholeRoute: true, Place: last.at}
	}
	out := route.Reach{Place: w.reach.at, Binds: w.binds}
	for k := range w.supplies {
		if s := &w.supplies[k]; s.Main {
			bar := w.normal.path.Gauge(k, w.reach.content[k])
			out.GaugeBar = append(out.GaugeBar, route.GaugeBar{
				Diver: w.team.Divers[s.Diver].Name, Cylinder: s.ID, Bar: bar, Rounded: w.q.Route.Policy.Rounding.Turn(s.StartBar, bar),
			})
		}
	}
	return out
}

func (w *Work) gasOf(d int, g *route.DiverGas) {
	two := w.two[d].litres
	g.PenetrationL = w.usedMains(d, w.commitment.content)
	g.SurfaceL = 0
	i, stage := 0, 0
	for k := range w.supplies {
		s := &w.supplies[k]
		if s.Diver != d {
			continue
		}
		gauge := func(litres float64) float64 { return w.normal.path.Gauge(k, litres) }
		if !s.Main {
			t := &g.Stages[stage]
			t.PenetrationL, t.EndBar = s.StartL-w.commitment.content[k], gauge(w.end[k])
			stage++
			if w.waiting[len(w.waiting)-1][w.cylinder(k)] == "" {
				g.SurfaceL += w.end[k]
			}
			continue
		}
		share := g.Mains[i].ShareBar // no stop changes it
		m := route.MainTurn{Cylinder: s.ID, StartBar: s.StartBar, TurnBar: share, SurfaceBar: gauge(w.end[k]), ShareBar: share}
		governs := "share"
		raise := func(bar float64, name string) {
			if bar > m.TurnBar+1e-9 {
				m.TurnBar, governs = bar, name
			}
		}
		raise(gauge(float64(two*s.Share)), "two_out")
		var atReach *float64
		if w.reach != nil {
			bar := gauge(w.reach.content[k])
			atReach = &bar
			raise(bar, "reach")
		}
		raise(w.q.Route.Policy.MinimumGasBar, "minimum")
		m.TurnRoundedBar = w.q.Route.Policy.Rounding.Turn(s.StartBar, m.TurnBar)
		if i == 0 {
			g.TwoOutBar, g.GaugeAtReachBar, g.TurnGovernedBy = gauge(float64(two*s.Share)), atReach, governs
			g.TurnBar, g.TurnRoundedBar, g.SurfaceBar = m.TurnBar, m.TurnRoundedBar, m.SurfaceBar
		}
		g.Mains[i] = m
		i++
		g.SurfaceL += w.end[k]
	}
	minutes := w.result.End.Minutes - w.commitment.moment.Minutes
	if minutes > 1e-9 {
		used := 0.0
		for k := range w.supplies {
			if w.supplies[k].Diver == d {
				used += w.commitment.content[k] - w.end[k]
			}
		}
		g.ExitRateLMin = float64(used/minutes) * (w.rates[d].after / w.rates[d].planned)
		g.ExitRateLasts = math.Max(0, g.SurfaceL) / g.ExitRateLMin
	}
}

// dearest is the failure of a kind with the least margin.
func (w *Work) dearest(k kind) (int, *worst) {
	best := -1
	for i := range w.failures {
		if w.failures[i].kind == k && w.worst[i].found && (best < 0 || w.worst[i].m.spare() < w.worst[best].m.spare()-litreTolerance) {
			best = i
		}
	}
	if best < 0 {
		return -1, nil
	}
	return best, &w.worst[best]
}

// sharingOf is a sharing exit as the route model tells it.
func (w *Work) sharingOf(b sharingAt) *route.Sharing {
	f := b.of
	donor := w.who(&failure{kind: sharing, donors: f.donors, victim: f.victim})
	donor = donor[:len(donor)-len("->")-len(w.team.Divers[f.victim].Name)]
	s := &route.Sharing{Place: b.at.at, Donor: donor, Victim: w.team.Divers[f.victim].Name}
	if !b.m.fails { // else no way out can be scheduled: there is nothing to measure
		g := b.m.tightest()
		s.LeftL, s.NeedL, s.MarginL = g.left, g.need, g.left-g.need
	}
	if len(f.donors) == 1 {
		volume := 0.0
		for k := range w.supplies {
			if x := &w.supplies[k]; x.Diver == f.donors[0] && x.Main {
				volume += x.VolumeL
			}
		}
		bar := s.MarginL / volume
		s.MarginBar = &bar
	}
	return s
}

// checkOf is a check of the route model with stops; false where stops change nothing of it.
func (w *Work) checkOf(r *route.Result, name string) (route.Check, bool) {
	c := route.Check{Name: name, Passed: true, Verdict: route.MeansRefuse}
	switch name {
	case route.CheckShareRule:
		c.Applies, c.Place, c.Unit, c.Reference, c.Margin = true, &r.Commitment, "L", "D17, D23", math.Inf(1)
		for d := range w.team.Divers {
			used := w.usedMains(d, w.commitment.content)
			if m := w.permitted[d] - used; m < c.Margin-litreTolerance {
				c.Who, c.Measured, c.Limit, c.Margin = w.team.Divers[d].Name, used, w.permitted[d], m
			}
		}
		c.Passed = c.Margin >= -litreTolerance
	case route.CheckStageShare:
		c.Place, c.Unit, c.Reference = &r.Commitment, "L", "4.5"
		for k := range w.supplies {
			s := &w.supplies[k]
			if s.Main || s.Deco {
				continue
			}
			used := s.StartL - w.commitment.content[k]
			if m := w.allowed[k] - used; !c.Applies || m < c.Margin-litreTolerance {
				c.Applies, c.Who, c.Measured, c.Limit, c.Margin = true, s.ID, used, w.allowed[k], m
			}
		}
		c.Passed = c.Margin >= -litreTolerance
	case route.CheckSharingLegEnds:
		c.Verdict, c.Unit, c.Reference = route.MeansNothing, "L", "for comparison"
	case route.CheckSharing:
		w.sharingCheck(r, &c)
	case route.CheckPlannedExit:
		w.plannedCheck(&c)
	case route.CheckLostCylinder:
		w.lossCheck(lostWaiting, "D24, D19", &c)
	case route.CheckIndependent:
		w.lossCheck(lostMain, "D24", &c)
	case route.CheckSpread:
		w.spreadCheck(&c)
	case route.CheckDecoGas:
		w.decoCheck(&c)
	case route.CheckHelpfulOutflow:
		if w.unhelped.of == nil {
			return c, false
		}
		var nowhere *route.Place
		if w.unhelped.m.fails {
			nowhere = &w.unhelped.at.at
		}
		c = r.WithoutHelp(&w.q.Route.Policy, w.sharingOf(w.unhelped), nowhere)
	default:
		return c, false
	}
	return c, true
}

func (w *Work) sharingCheck(r *route.Result, c *route.Check) {
	c.Applies, c.Unit, c.Reference = len(w.team.Divers) > 1, "L", "D18, D21, D16"
	if s := r.WorstSharing; s != nil {
		_, b := w.dearest(sharing)
		c.Who, c.Place = s.Donor+"->"+s.Victim, &s.Place
		c.Measured, c.Limit, c.Margin = s.LeftL, s.NeedL, s.MarginL
		c.Passed = b.m.spare() >= -litreTolerance
	}
	if c.Applies && w.nowhere != nil {
		c.Passed, c.Place = false, &w.nowhere.at
	}
	if c.Applies && w.major != nil && !w.independent() {
		c.Passed = false
	}
}

// spreadCheck tells how far apart the mains of a diver come, stops included (D24).
func (w *Work) spreadCheck(c *route.Check) {
	c.Unit, c.Reference, c.Limit = "bar", "D24", w.spread()
	look := func(at *route.Place, content []float64) {
		for d := range w.q.Route.Team {
			if len(w.q.Route.Team[d].Mains) < 2 {
				continue
			}
			if apart := w.apart(d, content); !c.Applies || apart > c.Measured+1e-9 {
				c.Applies, c.Who, c.Place, c.Measured, c.Margin = true, w.team.Divers[d].Name, at, apart, w.spread()-apart
			}
		}
	}
	for _, p := range w.places {
		look(&p.at, p.content)
	}
	look(&w.places[len(w.places)-1].at, w.end)
	c.Passed = c.Margin >= -1e-6
}

func (w *Work) plannedCheck(c *route.Check) {
	last := w.places[len(w.places)-1].at
	c.Applies, c.Place, c.Unit, c.Reference, c.Limit = true, &last, "bar", "D24", w.q.Route.Policy.PlannedReserveBar
	least := math.Inf(1)
	for k := range w.supplies {
		s := &w.supplies[k]
		if !w.reliedOn(k, w.end) {
			continue
		}
		if m := w.end[k] - s.PlannedL; m < least-litreTolerance {
			least = m
			c.Who, c.Measured = w.team.Divers[s.Diver].Name, w.normal.path.Gauge(k, w.end[k])
			if !s.Main || s.Share < 1 {
				c.Who += " " + s.ID
			}
		}
	}
	c.Margin = c.Measured - c.Limit
	c.Passed = least >= -litreTolerance && !w.result.NoSchedule
}

func (w *Work) lossCheck(k kind, reference string, c *route.Check) {
	c.Unit, c.Reference = "L", reference
	i, b := w.dearest(k)
	if b == nil {
		return
	}
	at := b.at.at
	c.Applies, c.Who, c.Place = true, w.who(&w.failures[i]), &at
	if !b.m.fails {
		g := b.m.tightest()
		c.Measured, c.Limit, c.Margin = g.left, g.need, g.left-g.need
	}
	c.Passed = b.m.spare() >= -litreTolerance
}

// decoCheck wants the content to be the policy's factor times the planned use.
func (w *Work) decoCheck(c *route.Check) {
	c.Unit, c.Reference = "L", "4.5"
	for k := range w.supplies {
		s := &w.supplies[k]
		used := s.StartL - w.end[k]
		if !s.Deco || used < litreTolerance {
			continue
		}
		limit := float64(w.decoFactor() * used)
		if m := s.StartL - limit; !c.Applies || m < c.Margin {
			c.Applies, c.Who, c.Measured, c.Limit, c.Margin = true, s.ID, s.StartL, limit, m
		}
	}
	if c.Passed = c.Margin >= -litreTolerance; !c.Passed {
		c.WhatPass = "more of this gas, or a shorter time on it"
	}
}
