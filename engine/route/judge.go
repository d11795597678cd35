package route

import (
	"math"
	"slices"
)

// judge is what the walk comes to: the whole plan's checks, and the turn at the
// latest.
type judge struct {
	*walk
	fraction  float64   // of the share rule, after the siphon row
	permitted []float64 // per diver, from the mains
	ideal     []float64 // the same by pressure × volume
	allowed   []float64 // per cylinder: stages
	spread    float64   // bar, of independent mains
	alone     bool      // every diver has independent supplies (D11)

	commitment spot
	end        spot

	worst, worstEnds  worst
	shareHere         *spot // first place whose way out holds a major restriction
	shareHereAtEnds   bool  // some leg end or hold is such a place
	stranded          *spot // first place with no known way out
	others            []lowest
	offTheWay         []lowest // per cylinder dropped
	spreadWorst       []lowest // per diver
	reached           bool     // something binds
	reach             spot
	binds             []Bind
	twoOut            []float64 // litres, per diver
	twoOutAt          []worstAt // and where; case -1: nowhere
	shareOf           []ShareParts
	home              []HomeParts
	reachCase         int // the case that binds first at the reach, -1 where no case does
	penetrationMetres float64
	penetrationAt     spot
	jumpDepth         int
	lateMarkers       []late
	markersCounted    bool
	deepestM          float64
}

// lowest is the least margin of one case, with its place.
type lowest struct {
	found  bool
	margin float64
	at     spot
}

func (l *lowest) take(margin float64, at spot) {
	if !l.found || margin < l.margin-litreTolerance {
		*l = lowest{true, margin, at}
	}
}

// late is a marker met with too much gas used (D30).
type late struct {
	at     spot
	diver  int
	margin float64
}

func newJudge(w *walk) *judge {
	j := &judge{walk: w, spread: w.in.Policy.IndependentSpreadBar, alone: true}
	if j.spread == 0 {
		j.spread = 35
	}
	for d := range w.divers {
		j.alone = j.alone && len(w.divers[d].mains) == 2
	}
	last := len(w.segs) - 1
	j.end = spot{last, w.segs[last].length}
	j.commitment = w.begin(j.end)
	j.limits()
	j.everywhere()
	j.markersMet()
	j.turnAtTheLatest()
	j.dearest()
	return j
}

// limits is the share rule (D17, D23) and the rule on stages (4.5).
func (j *judge) limits() {
	pol := &j.in.Policy
	j.fraction = float64(pol.ShareFraction)
	if len(j.inflow) > 0 && pol.SiphonRow == SiphonFraction {
		j.fraction = math.Min(j.fraction, float64(pol.SiphonFraction))
	}
	least, leastIdeal := math.Inf(1), math.Inf(1)
	for d := range j.divers {
		least = math.Min(least, j.divers[d].usable)
		leastIdeal = math.Min(leastIdeal, j.divers[d].atIdeal)
	}
	j.allowed = make([]float64, len(j.cyls))
	for d := range j.divers {
		extra, extraIdeal := 0.0, 0.0
		for _, k := range j.divers[d].stages {
			c := &j.cyls[k]
			if c.deco {
				continue
			}
			j.allowed[k] = float64(float64(pol.StageFraction) * c.start)
			half := float64(c.bar / 2)
			if pol.StageRule == StageHalfPlus15 {
				j.allowed[k] = c.start - c.filling.Litres(c.volume, half+15)
				extra += math.Max(0, j.allowed[k]-c.start/3)
				extraIdeal += math.Max(0, float64(c.volume*(half-15-float64(c.bar/3))))
			}
		}
		j.shareOf = append(j.shareOf, ShareParts{Fraction: j.fraction, LeastL: least, ExtraL: extra})
		j.permitted = append(j.permitted, float64(j.fraction*least)-extra)
		j.ideal = append(j.ideal, float64(j.fraction*leastIdeal)-extraIdeal)
	}
}

// usedMains is what a diver has breathed from the mains.
func (j *judge) usedMains(d int, at spot) float64 {
	sum := j.divers[d].usable
	for _, k := range j.divers[d].mains {
		sum -= j.held(k, at)
	}
	return sum
}

// everywhere tests the whole route, way home included (D16).
func (j *judge) everywhere() {
	j.others = make([]lowest, len(j.cases))
	j.offTheWay = make([]lowest, len(j.cyls))
	j.spreadWorst = make([]lowest, len(j.divers))
	for i := range j.segs {
		s := &j.segs[i]
		for _, x := range [2]float64{0, s.length} {
			j.deepestM = math.Max(j.deepestM, (s.pressure.at(x)-j.in.Water.SurfaceBar)/j.in.Water.BarPerM)
			j.spreads(s, spot{i, x})
		}
		if s.mode == noWay {
			if j.stranded == nil {
				j.stranded = &spot{i, 0}
			}
			continue
		}
		if s.home != nil {
			j.penetration(i, s)
			if j.major(s) {
				if j.shareHere == nil {
					j.shareHere = &spot{i, 0}
				}
				// Whoever arrives and goes on has the leg behind.
				if s.hold || j.segs[i+1].hold && (s.mode == back || s.home.major) {
					j.shareHereAtEnds = true
				}
			}
		}
		for c := range j.cases {
			if !s.gear.active[c] {
				continue
			}
			m := j.margin(c, s)
			x, v := m.lowest(s.length)
			if !j.cases[c].kind.sharing() {
				j.others[c].take(v, spot{i, x})
				continue
			}
			j.worst.take(c, spot{i, x}, v)
			if s.hold {
				j.worstEnds.take(c, spot{i, 0}, m.a)
				if s.length > 0 {
					j.worstEnds.take(c, spot{i, s.length}, m.at(s.length))
				}
			} else if j.segs[i+1].hold {
				j.worstEnds.take(c, spot{i, s.length}, m.at(s.length))
			}
		}
		for k := range s.gear.lying {
			y := &s.gear.lying[k]
			if !j.passes(s, y.node) {
				j.offTheWay[y.cyl].take(-1, spot{i, 0})
			} else {
				j.offTheWay[y.cyl].take(1, spot{i, 0})
			}
		}
	}
}

// major tells whether the way out of a segment holds a major restriction (D11).
func (j *judge) major(s *segment) bool {
	return s.home != nil && s.home.major || !s.hold && s.mode != upward && j.legs[s.leg].major
}

// passes tells whether the way out of a segment passes a station (D39).
func (j *judge) passes(s *segment, node int) bool {
	for y := s.home; y != nil; y = y.next {
		if y.node == node {
			return true
		}
	}
	return false
}

func (j *judge) penetration(i int, s *segment) {
	opening := j.nodes[s.home.opening].depth
	jumps := s.home.jumps
	for _, x := range [2]float64{0, s.length} {
		metres := s.metres
		if !s.hold && s.mode == back {
			metres += x
		} else if !s.hold {
			metres -= x
		}
		if metres+opening > j.penetrationMetres+1e-9 {
			j.penetrationMetres, j.penetrationAt = metres+opening, spot{i, x}
		}
	}
	if !s.hold && j.legs[s.leg].jump {
		jumps++
	}
	j.jumpDepth = max(j.jumpDepth, jumps)
}

// spreads watches independent mains: within the spread of each other (D24).
func (j *judge) spreads(s *segment, at spot) {
	for d := range j.divers {
		if len(j.divers[d].mains) != 2 {
			continue
		}
		j.spreadWorst[d].take(j.spread-j.apart(d, at), at)
	}
}

func (j *judge) apart(d int, at spot) float64 {
	m := j.divers[d].mains
	return math.Abs(j.cyls[m[0]].gauge(j.held(m[0], at)) - j.cyls[m[1]].gauge(j.held(m[1], at)))
}

// markersMet is D30.
func (j *judge) markersMet() {
	j.markersCounted = len(j.in.Verified) > 0 && j.in.Policy.VerifiedCounts == VerifiedAfterMarker
	for _, m := range j.met {
		at := spot{m.seg, j.segs[m.seg].length}
		for d := range j.divers {
			margin := j.permitted[d] - j.usedMains(d, j.begin(at))
			if margin <= litreTolerance {
				j.lateMarkers = append(j.lateMarkers, late{at, d, margin})
			}
		}
	}
}

// dearest is, per diver, the mains that two need at the dearest place up to the
// commitment point or reach (D25), L.
func (j *judge) dearest() {
	j.twoOut, j.twoOutAt = make([]float64, len(j.divers)), make([]worstAt, len(j.divers))
	for d := range j.twoOutAt {
		j.twoOutAt[d].c = -1
	}
	until := j.commitment
	if j.reached && (j.reach.seg < until.seg || j.reach.seg == until.seg && j.reach.x < until.x) {
		until = j.reach
		// What fails as soon as a cylinder is dropped lies beyond the last place that passes.
		if until.x == 0 && until.seg > 0 && j.segs[until.seg].hold {
			until = spot{until.seg - 1, j.segs[until.seg-1].length}
		}
	}
	for i := 0; i <= until.seg; i++ {
		s := &j.segs[i]
		end := s.length
		if i == until.seg {
			end = until.x
		}
		if s.mode == noWay {
			continue
		}
		for c := range j.cases {
			if x := &j.cases[c]; x.kind == sharePair {
				d := x.donors[0]
				if at, most := j.mains(d, s).plusTimes(-1, j.margin(c, s)).highestAt(end); most > j.twoOut[d] {
					j.twoOut[d], j.twoOutAt[d] = most, worstAt{c, spot{i, at}}
				}
			}
		}
	}
}

// floorDrop rounds a turn pressure: the drop from the start is floored to the
// step; values within 1e-6 of a step are on it (D26).
func (j *judge) floorDrop(start, exact float64) float64 {
	return j.in.Policy.Rounding.Turn(start, exact)
}

// Turn floors the drop from the start to an exact turn (D26), bar.
func (r Rounding) Turn(start, exact float64) float64 {
	return start - float64(math.Floor((start-exact)/r.StepBar+1e-6)*r.StepBar)
}

// gaugeAt is what a main cylinder shows at a place, exact and with the drop floored.
func (j *judge) gaugeAt(d, k int, at spot) GaugeBar {
	c := &j.cyls[k]
	bar := c.gauge(j.held(k, at))
	return GaugeBar{j.divers[d].name, c.id, bar, j.floorDrop(c.bar, bar)}
}

func (j *judge) gas() []DiverGas {
	list := make([]DiverGas, 0, len(j.divers))
	for d := range j.divers {
		v := &j.divers[d]
		g := DiverGas{
			Name: v.name, UsableL: v.usable, PermittedL: j.permitted[d],
			PenetrationL: j.usedMains(d, j.commitment), MinimumGasBar: j.in.Policy.MinimumGasBar,
		}
		for i, k := range v.mains {
			c := &j.cyls[k]
			share := math.Max(c.gauge(c.start-float64(j.permitted[d]*v.share[i])), c.bar-float64(j.ideal[d]*v.share[i])/c.volume)
			two := c.gauge(float64(j.twoOut[d] * v.share[i]))
			m := MainTurn{Cylinder: c.id, StartBar: c.bar, TurnBar: share, SurfaceBar: c.gauge(j.content[k]), ShareBar: share}
			governs := "share"
			raise := func(bar float64, name string) {
				if bar > m.TurnBar+1e-9 {
					m.TurnBar, governs = bar, name
				}
			}
			raise(two, "two_out")
			var atReach *float64
			if j.reached {
				bar := c.gauge(j.held(k, j.reach))
				atReach = &bar
				raise(bar, "reach")
			}
			raise(j.in.Policy.MinimumGasBar, "minimum")
			m.TurnRoundedBar = j.floorDrop(c.bar, m.TurnBar)
			g.Mains = append(g.Mains, m)
			if i == 0 {
				g.ShareTurnBar, g.ShareTurnRoundedBar = share, j.floorDrop(c.bar, share)
				g.TwoOutBar, g.GaugeAtReachBar, g.TurnGovernedBy = two, atReach, governs
				g.TurnBar, g.TurnRoundedBar, g.SurfaceBar = m.TurnBar, m.TurnRoundedBar, m.SurfaceBar
			}
			g.SurfaceL += j.content[k]
		}
		for _, k := range v.stages {
			c := &j.cyls[k]
			t := StageTurn{
				Cylinder: c.id, Deco: c.deco, PermittedL: j.allowed[k], DropAtBar: c.gauge(c.start - j.allowed[k]),
				PenetrationL: c.start - j.held(k, j.commitment), EndBar: c.gauge(j.content[k]),
			}
			if c.deco {
				t.DropAtBar = 0
			}
			g.Stages = append(g.Stages, t)
			if j.gear.where[k] < 0 {
				g.SurfaceL += j.content[k]
			}
		}
		j.exitRate(&g, d)
		list = append(list, g)
	}
	return list
}

// exitRate is the mean consumption on the way home at the rate after a failure.
func (j *judge) exitRate(g *DiverGas, d int) {
	s := &j.segs[j.commitment.seg]
	minutes := j.elapsed + j.endMin - (s.elapsed + float64(s.minutes*j.commitment.x))
	barMin := j.barMin - s.barMin - s.used.at(j.commitment.x)
	rate := j.pressure(j.deepestM)
	if minutes > 1e-9 {
		rate = barMin / minutes
	}
	j.home = append(j.home, HomeParts{BarMin: barMin, Minutes: minutes, MeanBar: rate})
	g.ExitRateLMin = float64(j.divers[d].after * rate)
	g.ExitRateLasts = math.Max(0, g.SurfaceL) / g.ExitRateLMin
}

// relied tells the cylinders that must come up with the planned reserve: mains,
// and stages that were breathed.
func (j *judge) relied(k int) bool {
	return j.cyls[k].main || j.content[k] < j.cyls[k].start-litreTolerance
}

func (j *judge) legNames(list []int) []string {
	var names []string
	for _, l := range list {
		names = append(names, j.legs[l].in.ID)
	}
	slices.Sort(names)
	return names
}
