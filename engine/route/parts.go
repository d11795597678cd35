package route

import "slices"

// Parts are the numbers of the computation that led to a Result, handed out so
// that a coordinator can follow it line by line. They are what the engine used,
// not computed again; units as everywhere in this package.
type Parts struct {
	SurfaceBar, BarPerM float64
	Cylinders           []CylinderParts // of the team, mains of a diver before the stages
	Rates               []RateParts     // in team order
	Stretches           []Stretch       // of the whole dive, in time order; none of no length
	Swum                float64         // bar·minutes of the whole dive
	End                 []LeftParts     // at the surface, per cylinder as in Cylinders

	Share    []ShareParts  // in team order
	Stages   []LeftParts   // at the commitment point, all that are no mains
	Home     []HomeParts   // in team order
	Sharing  *PlaceParts   // at the dearest place; nil for one diver
	Lost     *PlaceParts   // the worst lost waiting cylinder; nil where none waits
	LostMain *PlaceParts   // the worst lost independent main
	Helpful  *PlaceParts   // at the dearest place without the flow that helps; nil where none does
	Reach    *PlaceParts   // of the first check that binds at the turn at the latest, where it is of this kind
	Turns    [][]TurnParts // per diver, per main
}

// CylinderParts is what a cylinder holds and why.
type CylinderParts struct {
	Diver, Cylinder  string
	Main, Deco       bool
	VolumeL          float64
	Start            FilledParts
	SharingReserve   FilledParts
	PlannedReserve   FilledParts
	SharingReserveAt float64 // bar, the policy's
	PlannedReserveAt float64
	cylinder         *cylinder
}

// FilledParts is one conversion between gauge pressure and litres. Z is 0 for
// the ideal model, and below gauge 0, where Slope holds: litres per bar and litre.
type FilledParts struct {
	Ideal       bool
	VolumeL     float64
	Bar, Litres float64
	Kelvin      float64
	SurfaceBar  float64
	Z, SurfaceZ float64
	Slope       float64
}

// RateParts is a consumption.
type RateParts struct {
	Diver                              string
	OwnLMin, Stress, FloorLMin, AfterL float64
}

// Stretch is a straight piece of the dive, or a time at a station.
type Stretch struct {
	Move           int // from 1; 0 on the descent, one more than the last on the last ascent
	Hold           bool
	Leg            string
	From, To       string  // stations; of a hold the same
	Metres         float64 // 0 on a hold
	Minutes        float64
	FromBar, ToBar float64 // ambient
	Factor         float64 // on gas: pull-and-glide
	BarMin         float64
	What           string    // of a schedule: what the team waits for; empty: a planned hold, or travel
	O2             []float64 // of a schedule: fraction each diver breathes
}

// LeftParts is what is left in one cylinder at a place.
type LeftParts struct {
	Cylinder int // in Parts.Cylinders
	Breathed []BreathedParts
	LeftL    float64
	ReserveL float64 // of the check it is for

	Uncounted bool // a waiting cylinder of which the club counts nothing: LeftL is 0
}

// BreathedParts is a time on which the share of a diver's rate that came out of
// a cylinder did not change.
type BreathedParts struct{ RateLMin, BarMin float64 }

// ShareParts is the share rule of one diver.
type ShareParts struct {
	Fraction, LeastL, ExtraL, PermittedL float64
	UsableL                              float64 // U of this diver
	UsedL                                float64 // at the commitment point
	Left                                 []LeftParts
	BarMin                               float64 // up to the commitment point
}

// HomeParts is the way home as planned, from the commitment point to the surface.
type HomeParts struct {
	BarMin, Minutes float64
	MeanBar         float64 // that of the greatest depth where the way home takes no time
}

// PlaceParts is the check of a failure at one place (4.2 and D24).
type PlaceParts struct {
	Check     string
	Place     Place
	BarMin    float64 // breathed so far
	Left      []LeftParts
	LeftL     float64
	Consumers []int     // in Rates
	RateLMin  float64   // of all consumers, after the failure
	Way       []Stretch // at contingency speed, from the place, the ascent included
	WayBarMin float64
	DelayMin  float64
	AtBar     float64 // ambient, at the place
	ReserveL  float64
	WaitingL  float64     // what waits on the way and counts for the consumers
	Waiting   []LeftParts // those cylinders, above the planned reserve
	NeedL     float64
	MarginL   float64

	// Of a way out with its stops: who breathes what on it. The minutes at the
	// place and the stops are in Way; what of it counts for this gas is in Drawn.
	Drawn    []DrawnParts
	BesidesL float64 // needed besides: the factor of gas for decompression, or beyond a stage's reserve
}

// DrawnParts is what one diver breathes from one cylinder on a way out.
type DrawnParts struct {
	Rate     int // in Parts.Rates
	RateLMin float64
	Cylinder string // id, empty for a single main
	Owner    int    // of the cylinder, in team order
	On       []int  // in PlaceParts.Way
	BarMin   float64
	Share    float64 // of a main in all mains of its diver
}

// TurnParts are the candidates of a turn pressure (D25).
type TurnParts struct {
	Share      FilledParts // the permitted litres gone, by the gas model
	ShareL     float64     // permitted of this cylinder
	IdealL     float64     // the same by pressure × volume
	IdealBar   float64
	ShareBar   float64 // the higher of the two
	TwoOut     FilledParts
	TwoOutAt   *PlaceParts // where two need most; nil for one diver
	TwoOutL    float64     // of all mains
	Volume     float64     // of this main in all mains
	Reach      *FilledParts
	ReachLeft  *LeftParts
	MinimumBar float64
	StepBar    float64
}

// filled tells one conversion.
func (c *cylinder) filled(bar, litres float64) FilledParts {
	kelvin, surface, z, surfaceZ, slope := c.filling.Parts(bar)
	return FilledParts{
		Ideal: c.filling.Ideal(), VolumeL: c.volume, Bar: bar, Litres: litres, Kelvin: kelvin, SurfaceBar: surface, Z: z, SurfaceZ: surfaceZ, Slope: slope,
	}
}

// parts hands out the numbers of the judgement.
func (j *judge) parts() *Parts {
	pol := &j.in.Policy
	p := &Parts{SurfaceBar: j.in.Water.SurfaceBar, BarPerM: j.in.Water.BarPerM, Swum: j.barMin}
	for k := range j.cyls {
		c := &j.cyls[k]
		p.Cylinders = append(p.Cylinders, CylinderParts{
			Diver: j.divers[c.diver].name, Cylinder: c.id, Main: c.main, Deco: c.deco, VolumeL: c.volume,
			Start:          c.filled(c.bar, c.start),
			SharingReserve: c.filled(pol.SharingReserveBar, c.sharing), SharingReserveAt: pol.SharingReserveBar,
			PlannedReserve: c.filled(pol.PlannedReserveBar, c.planned), PlannedReserveAt: pol.PlannedReserveBar, cylinder: c,
		})
	}
	for d := range j.divers {
		v := &j.divers[d]
		p.Rates = append(p.Rates, RateParts{v.name, v.rmv, pol.StressFactor, pol.ContingencyFloorLMin, v.after})
	}
	p.Home = j.home
	p.Stretches = j.stretches()
	for k := range j.cyls {
		p.End = append(p.End, LeftParts{Cylinder: k, Breathed: j.breathed(k, len(j.segs)-1, j.barMin), LeftL: j.content[k], ReserveL: j.cyls[k].planned})
	}
	for d := range j.divers {
		s := j.shareOf[d]
		s.PermittedL, s.UsableL, s.UsedL = j.permitted[d], j.divers[d].usable, j.usedMains(d, j.commitment)
		s.BarMin = j.barMinAt(j.commitment)
		for _, k := range j.divers[d].mains {
			s.Left = append(s.Left, j.leftAt(k, j.commitment, 0))
		}
		p.Share = append(p.Share, s)
	}
	for k := range j.cyls {
		if !j.cyls[k].main {
			p.Stages = append(p.Stages, j.leftAt(k, j.commitment, 0))
		}
	}
	if j.worst.found {
		p.Sharing = j.placeParts(j.worst.at[0].c, j.worst.at[0].at, BindSharing)
	}
	p.Lost, p.LostMain = j.lostParts(lostWaiting, CheckLostCylinder), j.lostParts(lostMain, CheckIndependent)
	if j.reached && j.reachCase >= 0 {
		p.Reach = j.placeParts(j.reachCase, j.reach, j.binds[0].Check)
	}
	for d := range j.divers {
		var list []TurnParts
		for i, k := range j.divers[d].mains {
			list = append(list, j.turnParts(d, i, k))
		}
		p.Turns = append(p.Turns, list)
	}
	return p
}

func (j *judge) turnParts(d, i, k int) TurnParts {
	v, c, pol := &j.divers[d], &j.cyls[k], &j.in.Policy
	t := TurnParts{
		ShareL: float64(j.permitted[d] * v.share[i]), IdealL: float64(j.ideal[d] * v.share[i]),
		TwoOutL: j.twoOut[d], Volume: v.share[i], MinimumBar: pol.MinimumGasBar, StepBar: pol.Rounding.StepBar,
	}
	left := c.start - t.ShareL
	t.Share = c.filled(c.gauge(left), left)
	t.IdealBar = c.bar - t.IdealL/c.volume
	t.ShareBar = max(t.Share.Bar, t.IdealBar)
	two := float64(j.twoOut[d] * v.share[i])
	t.TwoOut = c.filled(c.gauge(two), two)
	if x := j.twoOutAt[d]; x.c >= 0 {
		t.TwoOutAt = j.placeParts(x.c, x.at, BindSharing)
	}
	if j.reached {
		l := j.leftAt(k, j.reach, 0)
		f := c.filled(c.gauge(l.LeftL), l.LeftL)
		t.Reach, t.ReachLeft = &f, &l
	}
	return t
}

// lostParts is the worst case of a kind of loss, as caseCheck finds it.
func (j *judge) lostParts(kind lossKind, check string) *PlaceParts {
	worst := -1
	for i := range j.cases {
		if l := &j.others[i]; j.cases[i].kind == kind && l.found && (worst < 0 || l.margin < j.others[worst].margin-litreTolerance) {
			worst = i
		}
	}
	if worst < 0 {
		return nil
	}
	return j.placeParts(worst, j.others[worst].at, check)
}

// placeParts takes one case at one place to pieces.
func (j *judge) placeParts(c int, at spot, check string) *PlaceParts {
	s, x := &j.segs[at.seg], &j.cases[c]
	if s.mode == noWay {
		return nil
	}
	p := &PlaceParts{
		Check: check, Place: j.place(at), BarMin: j.barMinAt(at), RateLMin: x.c, Consumers: x.consumers, DelayMin: j.in.Policy.DelayMin,
		WayBarMin: s.out.at(at.x), AtBar: s.pressure.at(at.x), ReserveL: s.gear.reserve[c],
		NeedL: j.need(c, s).at(at.x), MarginL: j.margin(c, s).at(at.x),
	}
	p.LeftL = p.NeedL + p.MarginL
	for _, d := range x.donors {
		for _, k := range j.divers[d].all {
			if j.counts(s.gear, x, k) {
				p.Left = append(p.Left, j.leftAt(k, at, j.cyls[k].sharing))
			}
		}
	}
	if s.home != nil && s.gear.waiting > 0 {
		p.WaitingL = float64(x.c*s.home.barMin) - j.memo(s.home, s.gear).base[c]
		for _, y := range s.gear.lying {
			if slices.Contains(x.consumers, y.diver) && y.cyl != x.lost && y.above > 0 && j.passes(s, y.node) && j.in.Policy.WaitingGas == WaitingOwn {
				p.Waiting = append(p.Waiting, LeftParts{Cylinder: y.cyl, LeftL: y.above})
			}
		}
	}
	path := Path{walk: j.walk}
	pieces, _ := path.WayOut(p.Place)
	p.Way = make([]Stretch, 0, len(pieces))
	for i := range pieces {
		q := &pieces[i]
		if q.Minutes == 0 {
			continue
		}
		w := Stretch{Leg: q.Leg, From: q.Station, To: q.Towards, Metres: q.Metres, Minutes: q.Minutes, Factor: q.GasFactor, FromBar: j.pressure(q.FromDepthM), ToBar: j.pressure(q.ToDepthM)}
		w.BarMin = float64(float64(w.Minutes*w.Factor)*(w.FromBar+w.ToBar)) / 2
		p.Way = append(p.Way, w)
	}
	return p
}

func (j *judge) barMinAt(at spot) float64 {
	s := &j.segs[at.seg]
	return s.barMin + s.used.at(at.x)
}

func (j *judge) leftAt(k int, at spot, reserve float64) LeftParts {
	return LeftParts{Cylinder: k, Breathed: j.breathed(k, at.seg, j.barMinAt(at)), LeftL: j.held(k, at), ReserveL: reserve}
}

// breathed lists what was breathed out of a cylinder up to so many bar·minutes,
// reached in a segment.
func (j *judge) breathed(k, last int, until float64) []BreathedParts {
	var out []BreathedParts
	from, rate := 0.0, 0.0
	add := func(to float64) {
		if rate > 0 && to > from {
			out = append(out, BreathedParts{rate, to - from})
		}
	}
	for i := 0; i <= last; i++ {
		s := &j.segs[i]
		now := float64(j.divers[j.cyls[k].diver].rmv * j.plan.breathe(s.gear, k))
		if i > 0 && now != rate {
			add(s.barMin)
			from = s.barMin
		}
		rate = now
	}
	add(until)
	return out
}

// stretches lists the dive piece by piece.
func (w *walk) stretches() []Stretch {
	out := make([]Stretch, 0, len(w.segs)+2)
	if w.startMin > 0 {
		out = append(out, Stretch{To: w.nodes[w.start].name, Metres: w.nodes[w.start].depth, Minutes: w.startMin, FromBar: w.in.Water.SurfaceBar, ToBar: w.pressure(w.nodes[w.start].depth), Factor: 1, BarMin: w.startBarMin})
	}
	for i := range w.segs {
		s := &w.segs[i]
		if s.length == 0 {
			continue
		}
		x := Stretch{
			Move: s.move + 1, Hold: s.hold, Minutes: float64(s.minutes * s.length), FromBar: s.pressure.at(0), ToBar: s.pressure.at(s.length), Factor: 1, BarMin: s.used.at(s.length),
		}
		l := &w.legs[s.leg]
		x.From, x.To = w.nodes[l.ends[s.dir]].name, w.nodes[l.ends[1-s.dir]].name
		if s.hold {
			x.From = x.To
		} else {
			x.Leg, x.Metres, x.Factor = l.in.ID, s.length, w.moves[s.move].factor
		}
		out = append(out, x)
	}
	if w.endMin > 0 {
		at := &w.nodes[w.moves[len(w.moves)-1].to]
		out = append(out, Stretch{Move: len(w.moves) + 1, From: at.name, Metres: at.depth, Minutes: w.endMin, FromBar: w.pressure(at.depth), ToBar: w.in.Water.SurfaceBar, Factor: 1, BarMin: w.endBarMin})
	}
	return out
}

// Filled tells a conversion of a cylinder at another pressure than those handed out.
func Filled(c CylinderParts, bar, litres float64) FilledParts { return c.cylinder.filled(bar, litres) }
