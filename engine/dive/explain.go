package dive

import (
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// entry is one term of a margin, written down where the margin is to be explained.
type entry struct {
	gas     int     // index into margin.gases
	diver   int     // who breathes; -1: no consumption
	from    int     // cylinder of the team that is breathed
	supply  int     // that holds, or keeps a reserve; -1: none
	rate    float64 // L/min
	barMin  float64
	share   float64 // of what is breathed that this gas gives
	held    float64 // litres
	kept    float64 // litres
	besides float64 // litres needed for another reason
}

// note writes a term down while somebody asks for it.
func (w *Work) note(e entry) {
	if w.notes != nil {
		*w.notes = append(*w.notes, e)
	}
}

// drawn is what a diver breathes from a cylinder of the team on a way out, litres.
func (w *Work) drawn(m *margin, gas, d, c int, rate float64) float64 {
	barMin := m.out.breathed(w, d, c)
	w.note(entry{gas: gas, diver: d, from: c, supply: -1, rate: rate, barMin: barMin, share: 1})
	return float64(rate * barMin)
}

// holds notes what a supply holds, and what of it is kept.
func (w *Work) holds(gas, k int, held, kept float64) {
	w.note(entry{gas: gas, diver: -1, supply: k, held: held, kept: kept})
}

// placeParts takes the margin of one gas (-1: the tightest) at a place to pieces:
// again works the same margin out once more, on schedules that are kept, and
// tells its terms; the way out is walked again for its stretches.
func (w *Work) placeParts(p *place, check string, gas int, again func() *margin) *route.PlaceParts {
	terms := w.terms[:0]
	w.notes = &terms
	m := again()
	w.notes, w.terms = nil, terms
	if m == nil || m.fails {
		return nil
	}
	if gas < 0 {
		gas = m.tightestIndex()
	}
	g := m.gases[gas]
	out := &route.PlaceParts{
		Check: check, Place: p.at, AtBar: w.pressure(p.at.DepthM), LeftL: g.left, NeedL: g.need, MarginL: g.left - g.need,
	}
	x := w.wayWalked(p, m.out.outcome)
	out.Way = x.list
	for i := range x.list {
		out.WayBarMin += x.list[i].BarMin
	}
	for _, e := range terms {
		switch {
		case e.gas != gas:
		case e.supply >= 0:
			left := w.leftParts(e.supply, p.moment.Minutes, e.held)
			left.ReserveL, left.Uncounted = e.kept, e.held == 0 && p.content[e.supply] > 0
			out.ReserveL += e.kept
			out.Left = append(out.Left, left)
		case e.diver < 0:
			out.BesidesL += e.besides
		case e.barMin > 0:
			d := route.DrawnParts{Rate: e.diver, RateLMin: e.rate, BarMin: e.barMin, Share: e.share, Cylinder: w.cylinderName(e.from), Owner: w.supplies[w.first[e.from]].Diver}
			if d.On = x.breathed(m.out.scheduled(w, e.diver, e.from)); len(d.On) > 0 { // else breathed on no stretch that is told, see lastMetre
				out.Drawn = append(out.Drawn, d)
			}
		}
	}
	return out
}

// stretches are a schedule as a reader follows it, with what each diver breathes.
type stretches struct {
	list      []route.Stretch
	breathing [][deco.MaxDivers]uint8
}

// breathed are the stretches on which a diver of the schedule breathes one of some cylinders.
func (x *stretches) breathed(diver int, cylinders uint64) []int {
	on := make([]int, 0, len(x.list))
	for i := range x.list {
		if cylinders>>x.breathing[i][diver]&1 == 1 {
			on = append(on, i)
		}
	}
	return on
}

// wayWalked is a way out stretch by stretch: the schedule of an outcome, walked
// once more, as only its sums were kept.
func (w *Work) wayWalked(p *place, o *outcome) *stretches {
	if o.walked == nil {
		o.walked = &stretches{}
		x := w.way(p)
		if path := w.walkOut(x, p, o, true, &w.again); path != nil {
			*o.walked = w.walked(w.piecesOf(x), w.led(x).factors, path, &w.again, o.divers)
		}
	}
	return o.walked
}

// walked are the stretches of a schedule as a reader follows them: what the
// planner cuts at its grid is put together again where nothing changes.
func (w *Work) walked(pieces []route.Piece, factors []float64, path *deco.Path, r *deco.Result, divers int) (out stretches) {
	stop, t := -1, r.Begun()
	told := -1 // the last stretch that is in the list
	out.list, out.breathing = w.told[:0], make([][deco.MaxDivers]uint8, 0, len(r.Stretches))
	for i := range r.Stretches {
		s := &r.Stretches[i]
		for stop+1 < len(r.Stops) && r.Stops[stop+1].Arrival <= t+1e-6 {
			stop++
		}
		t += s.Minutes
		if s.Minutes < 1e-6 {
			continue // see lastMetre
		}
		bar := w.barMinutes(s, factors)
		before := told
		told = i
		if before >= 0 && s.Kind == deco.Travel && s.Piece == r.Stretches[before].Piece && s.Breathing == r.Stretches[before].Breathing && r.Stretches[before].Kind == deco.Travel {
			x := &out.list[len(out.list)-1]
			x.Minutes += s.Minutes
			x.BarMin += bar
			x.ToBar = w.pressure(s.To)
			x.Metres = metresOf(&path.Pieces[s.Piece], x.Minutes)
			continue
		}
		x := route.Stretch{Minutes: s.Minutes, FromBar: w.pressure(s.From), ToBar: w.pressure(s.To), Factor: factorOf(factors, s), BarMin: bar}
		if s.Kind == deco.Travel {
			q := &pieces[s.Piece]
			x.Move, x.Leg, x.From, x.To, x.Metres = q.Move, q.Leg, q.Station, q.Towards, metresOf(&path.Pieces[s.Piece], s.Minutes)
		} else {
			x.Hold = true
			x.From = stationOf(pieces, path, s.Piece)
			switch s.Kind {
			case deco.Stopped:
				if stop >= 0 {
					at := w.stopOf(path, &r.Stops[stop])
					x.What = "stop at " + finding.Decimal(at.DepthM, 1) + " m, " + at.Place
				}
			case deco.Switching:
				x.What = "change of gas at " + finding.Decimal(s.From, 1) + " m"
			case deco.Delayed:
				x.What = "delay at the place"
			}
		}
		out.list, out.breathing = append(out.list, x), append(out.breathing, s.Breathing)
	}
	w.told, out.list = out.list, slices.Clone(out.list)
	oxygen := make([]float64, 0, len(out.list)*divers)
	for i := range out.list {
		for d := range divers {
			oxygen = append(oxygen, w.team.Cylinders[out.breathing[i][d]].Mix.O2)
		}
		out.list[i].O2 = oxygen[len(oxygen)-divers : len(oxygen) : len(oxygen)]
	}
	return out
}

// metresOf is how far a piece is travelled in some minutes of it: along the line, or straight up and down.
func metresOf(q *deco.Piece, minutes float64) float64 {
	metres := q.Metres
	if q.OpenWater || metres == 0 {
		metres = math.Abs(q.From - q.To)
	}
	if !(q.Minutes > 0) {
		return 0
	}
	return float64(metres * (minutes / q.Minutes))
}

// stationOf is where a team waits before a piece.
func stationOf(pieces []route.Piece, path *deco.Path, piece int) string {
	if piece < len(path.Pieces) {
		return path.Pieces[piece].Station
	}
	if n := len(pieces); n > 0 {
		return pieces[n-1].Station
	}
	return ""
}

// laidPieces are the route's pieces that the laid path is made of, holds left out.
func (w *Work) laidPieces() []route.Piece {
	if w.unheld == nil {
		w.unheld = make([]route.Piece, 0, len(w.laid.Pieces))
		for i := range w.normal.path.Pieces {
			if x := &w.normal.path.Pieces[i]; x.Kind != route.PieceHold {
				w.unheld = append(w.unheld, *x)
			}
		}
	}
	return w.unheld
}

// leftParts is what a supply holds at a minute of the dive as planned, and what
// was breathed out of it.
func (w *Work) leftParts(k int, until, litres float64) route.LeftParts {
	return route.LeftParts{Cylinder: k, LeftL: litres, Breathed: w.breathedOf(&w.result, w.factors, w.named, k, until, func(d int) float64 { return w.rates[d].planned })}
}

// breathedOf lists what a diver breathes out of a supply up to a minute of a schedule of the whole dive.
func (w *Work) breathedOf(r *deco.Result, factors []float64, named [][]int8, k int, until float64, rateOf func(d int) float64) []route.BreathedParts {
	var list []route.BreathedParts
	s := &w.supplies[k]
	c := w.cylinder(k)
	t := 0.0
	for i := range r.Stretches {
		whole, begun := &r.Stretches[i], t
		t += whole.Minutes
		if t-whole.Minutes >= until {
			break
		}
		if int(whole.Breathing[s.Diver]) != c {
			continue
		}
		x := cut(whole, until-begun)
		share := 1.0
		if s.Main {
			share = s.Share
			if len(named) > 0 {
				switch m := named[min(x.Piece, len(named)-1)][s.Diver]; {
				case m < 0:
				case w.first[c]+int(m) == k:
					share = 1
				default:
					share = 0
				}
			}
		}
		rate, bar := float64(rateOf(s.Diver)*share), w.barMinutes(&x, factors)
		if n := len(list); n > 0 && list[n-1].RateLMin == rate {
			list[n-1].BarMin += bar
		} else if rate > 0 && bar > 0 {
			list = append(list, route.BreathedParts{RateLMin: rate, BarMin: bar})
		}
	}
	return list
}

// parts puts what stops change into the parts of the route model's answer.
func (w *Work) parts(r *route.Result, a *Answer) *route.Parts {
	old := r.Parts
	if old == nil {
		return nil
	}
	p := *old
	p.Stretches, p.Swum, p.End, p.Share, p.Home, p.Turns = a.Stretches, 0, nil, nil, nil, nil
	p.Sharing, p.Lost, p.LostMain, p.Helpful, p.Reach = nil, nil, nil, nil, nil
	for _, x := range p.Stretches {
		p.Swum += x.BarMin
	}
	whole := w.result.End.Minutes
	for k := range w.supplies {
		l := w.leftParts(k, math.Inf(1), w.end[k])
		l.ReserveL = w.supplies[k].PlannedL
		p.End = append(p.End, l)
	}
	turned := w.commitment.moment.Minutes
	p.Stages = nil
	for k := range w.supplies {
		if !w.supplies[k].Main {
			p.Stages = append(p.Stages, w.leftParts(k, turned, w.commitment.content[k]))
		}
	}
	for d := range w.team.Divers {
		s := old.Share[d]
		s.UsedL, s.Left = w.usedMains(d, w.commitment.content), nil
		for k := range w.supplies {
			if x := &w.supplies[k]; x.Diver == d && x.Main {
				s.Left = append(s.Left, w.leftParts(k, turned, w.commitment.content[k]))
			}
		}
		p.Share = append(p.Share, s)
		home := route.HomeParts{Minutes: whole - turned}
		home.BarMin = w.barMinFrom(turned)
		if home.Minutes > 1e-9 {
			home.MeanBar = home.BarMin / home.Minutes
		} else {
			home = old.Home[d]
		}
		p.Home = append(p.Home, home)
	}
	dearest := func(k kind, check string) *route.PlaceParts {
		i, b := w.dearest(k)
		if b == nil {
			return nil
		}
		return w.failureParts(b.at, &w.failures[i], check, -1)
	}
	p.Sharing = dearest(sharing, route.BindSharing)
	p.Lost, p.LostMain = dearest(lostWaiting, route.CheckLostCylinder), dearest(lostMain, route.CheckIndependent)
	if w.reach != nil && len(w.binds) > 0 {
		p.Reach = w.reachParts()
	}
	for d := range w.team.Divers {
		p.Turns = append(p.Turns, w.turnParts(d, old.Turns[d], p.Cylinders))
	}
	return &p
}

// failureParts takes one failure at a place to pieces.
func (w *Work) failureParts(p *place, f *failure, check string, gas int) *route.PlaceParts {
	return w.placeParts(p, check, gas, func() *margin { return w.margin(p, f, w.q.Route.Policy.DelayMin) })
}

// reachParts is what binds first at the turn at the latest, as it stands there;
// where the turn was found between two places looked at, at the first of them.
func (w *Work) reachParts() *route.PlaceParts {
	b := w.binds[0]
	for i := range w.failures {
		f := &w.failures[i]
		if checkOfKind[f.kind] != b.Check || w.who(f) != b.Who {
			continue
		}
		p := w.reach
		if p.tested == nil {
			p = w.before
		}
		if p == nil || p.tested == nil {
			return nil
		}
		return w.failureParts(p, f, b.Check, -1)
	}
	return nil
}

// barMinFrom is the bar·minutes of the dive as planned from a minute on.
func (w *Work) barMinFrom(minute float64) float64 {
	sum, t := 0.0, 0.0
	for i := range w.result.Stretches {
		s := &w.result.Stretches[i]
		if t+s.Minutes > minute {
			sum += w.barMinutes(s, w.factors)
			if t < minute {
				part := cut(s, minute-t)
				sum -= w.barMinutes(&part, w.factors)
			}
		}
		t += s.Minutes
	}
	return sum
}

func (w *Work) turnParts(d int, old []route.TurnParts, cylinders []route.CylinderParts) []route.TurnParts {
	two := w.two[d]
	var dearest *route.PlaceParts
	if two.at != nil {
		dearest = w.failureParts(two.at, two.of, route.BindSharing, 0)
	}
	var list []route.TurnParts
	i := 0
	for k := range w.supplies {
		s := &w.supplies[k]
		if s.Diver != d || !s.Main {
			continue
		}
		t := old[i]
		share := float64(two.litres * s.Share)
		t.TwoOutL, t.TwoOutAt, t.TwoOut = two.litres, dearest, route.Filled(cylinders[k], w.normal.path.Gauge(k, share), share)
		t.Reach, t.ReachLeft = nil, nil
		if w.reach != nil {
			l := w.leftParts(k, w.reach.moment.Minutes, w.reach.content[k])
			filled := route.Filled(cylinders[k], w.normal.path.Gauge(k, l.LeftL), l.LeftL)
			t.Reach, t.ReachLeft = &filled, &l
		}
		list = append(list, t)
		i++
	}
	return list
}
