package route

// place names a spot on the dive.
func (w *walk) place(at spot) Place {
	s := &w.segs[at.seg]
	p := Place{
		Move: s.move + 1, ElapsedMin: s.elapsed + float64(s.minutes*at.x), DistanceM: s.metre,
		DepthM: (s.pressure.at(at.x) - w.in.Water.SurfaceBar) / w.in.Water.BarPerM,
	}
	if s.first {
		p.Move, p.Station, p.DepthM = 1, w.nodes[w.start].name, w.nodes[w.start].depth
		p.Leg = w.legs[w.moves[0].leg].in.ID
		return p
	}
	l := &w.legs[s.leg]
	p.Leg = l.in.ID
	from, to := w.nodes[l.ends[s.dir]].name, w.nodes[l.ends[1-s.dir]].name
	if s.hold {
		p.Station, p.AfterHoldMin, p.InHold = to, at.x, true
		return p
	}
	metres := s.at + at.x
	p.DistanceM += at.x
	switch {
	case metres > l.in.LengthM-1e-9:
		p.Station, p.Arriving = to, true
	case metres < 1e-9:
		p.Station = from
	default:
		p.Station, p.MetresPast, p.Towards = from, metres, to
	}
	return p
}

// wayOut tells the way out of a station: at the end of a swim the arriving
// value (D14), else that of a hold.
func (w *walk) wayOut(seg int, x float64) *WayOut {
	s := &w.segs[seg]
	if s.mode == noWay {
		return nil
	}
	out := &WayOut{BarMin: s.out.at(x)}
	if s.home != nil {
		out.Stations = make([]WayOutStation, 0, s.home.count+2)
	}
	at := w.nodes[w.legs[s.leg].ends[1-s.dir]]
	out.Stations = append(out.Stations, WayOutStation{at.name, 0})
	if s.mode == upward {
		out.Minutes, _ = w.straight(at.depth, w.in.Policy.AscentMMin)
		return out
	}
	since := 0.0
	if s.mode == back && !s.hold {
		t := &w.legs[s.leg].travel[1-s.dir]
		since = t.min
		out.Metres = w.legs[s.leg].in.LengthM
		out.Stations = append(out.Stations, WayOutStation{w.nodes[s.home.node].name, since})
	}
	out.Minutes, out.Metres = since+s.home.min, out.Metres+s.home.metres
	for y := s.home; y.leg >= 0; y = y.next {
		since += w.legs[y.leg].travel[y.dir].min
		out.Stations = append(out.Stations, WayOutStation{w.nodes[y.next.node].name, since})
	}
	return out
}

// who names a case: donor and victim, or the cylinder lost.
func (w *walk) who(c *lossCase) string {
	if c.kind.sharing() {
		return w.donor(c) + "->" + w.divers[c.victim].name
	}
	if id := w.cyls[c.lost].id; id != "" {
		return id
	}
	return w.divers[c.donors[0]].name
}

func (w *walk) donor(c *lossCase) string {
	name := ""
	for i, d := range c.donors {
		if i > 0 {
			name += "+"
		}
		name += w.divers[d].name
	}
	return name
}

// sharing makes the report of one case at one place.
func (w *walk) sharing(c int, at spot) Sharing {
	s := &w.segs[at.seg]
	x := &w.cases[c]
	r := Sharing{
		Place: w.place(at), Donor: w.donor(x), Victim: w.divers[x.victim].name,
		NeedL: w.need(c, s).at(at.x), MarginL: w.margin(c, s).at(at.x),
	}
	r.LeftL = r.NeedL + r.MarginL
	if x.kind == sharePair {
		volume := 0.0
		for _, k := range w.divers[x.donors[0]].mains {
			volume += w.cyls[k].volume
		}
		bar := r.MarginL / volume
		r.MarginBar = &bar
	}
	return r
}

// worst gathers the least margin of the sharing cases, with what ties.
type worst struct {
	found  bool
	margin float64
	at     []worstAt
}

type worstAt struct {
	c  int
	at spot
}

const mostTies = 40

func (b *worst) take(c int, at spot, margin float64) {
	switch {
	case !b.found || margin < b.margin-litreTolerance:
		b.found, b.margin, b.at = true, margin, append(b.at[:0], worstAt{c, at})
	case margin <= b.margin+litreTolerance && len(b.at) < mostTies:
		b.at = append(b.at, worstAt{c, at})
	}
}

func (w *walk) worstSharing(b *worst) *Sharing {
	if !b.found {
		return nil
	}
	r := w.sharing(b.at[0].c, b.at[0].at)
	if n := len(b.at) - 1; n > 0 {
		r.AlsoAtTies = make([]Sharing, 0, n)
	}
	for _, a := range b.at[1:] {
		r.AlsoAtTies = append(r.AlsoAtTies, w.sharing(a.c, a.at))
	}
	return &r
}

// sharingAt is the worst pair at one place.
func (w *walk) sharingAt(at spot) *Sharing {
	s := &w.segs[at.seg]
	if s.mode == noWay {
		return nil
	}
	var room [mostTies]worstAt
	b := worst{at: room[:0]}
	for c := range w.cases {
		if w.cases[c].kind.sharing() {
			b.take(c, at, w.margin(c, s).at(at.x))
		}
	}
	return w.worstSharing(&b)
}

// times is the table of the moves.
func (w *walk) times() []MoveTimes {
	list := make([]MoveTimes, 0, len(w.steps))
	for i := range w.steps {
		s := &w.steps[i]
		h := &w.segs[s.hold]
		m := MoveTimes{
			Move: i + 1, Leg: w.legs[w.moves[i].leg].in.ID, From: w.nodes[s.from].name, To: w.nodes[s.to].name,
			Minutes: s.minutes, BarMin: s.barMin, DistanceM: w.legs[w.moves[i].leg].in.LengthM, HoldMin: w.moves[i].hold,
			ElapsedArrivalMin: h.elapsed, ElapsedDepartureMin: h.elapsed + h.length, CumDistanceM: h.metre,
			CumBarMinArrival: h.barMin, CumBarMinDeparture: h.barMin + h.used.at(h.length), LegKnownBefore: s.known,
			WayOutArriving: s.arriving, WayOutAfterArrival: s.after,
		}
		list = append(list, m)
	}
	return list
}

// ShareAtStations adds to a result of Judge the sharing exit at every station. Judge
// leaves it out, as it holds for a dive without stops alone.
func (l *Laid) ShareAtStations(r *Result) {
	if r.shared {
		return
	}
	r.shared = true
	w := l.walk
	for i := range r.Moves {
		last, hold := w.steps[i].hold-1, w.steps[i].hold
		r.Moves[i].SharingArriving = w.sharingAt(spot{last, w.segs[last].length})
		r.Moves[i].SharingDeparting = w.sharingAt(spot{hold, w.segs[hold].length})
	}
}
