package dive

import (
	"math"
	"math/bits"
	"slices"
	"sort"

	"lastlight/engine/deco"
	"lastlight/engine/passage"
	"lastlight/engine/route"
)

// place is a spot of the planned dive with the team's state there.
type place struct {
	spot    route.Spot
	at      route.Place
	swim    bool // inside a leg or arriving at its end, not yet after the actions there
	told    bool // of the plan's own network: what its ways out say of stops and oxygen is reported
	probe   deco.Probe
	moment  *deco.Moment
	content []float64 // litres per supply
	waiting []string  // station where each cylinder waits; nil: as planned

	out    *way // the known way out that costs least with its stops; nil: none
	asked  bool // it is worked out
	alike  bool // every diver is in the same state with the same gases
	outs   []*outcome
	tested []*margin // per failure; nil: not worked out, or it does not concern the place
	judged bool      // tested and binds are worked out
	binds  []route.Bind
	looked bool // fixedBinds are worked out
	home   homecoming

	fixedBinds []route.Bind
	homeBinds  []route.Bind // what the way home from it breaks (D20)
}

// homecoming is what is known of the way home from a place.
type homecoming int

const (
	unknown homecoming = iota
	reached
	stuck
)

// way is a way out of a place. Its pieces and its path are large: they are made
// again where they are asked for.
type way struct {
	at    *place
	major bool // holds a major restriction (D11)
	only  bool // no other is known

	of   *network
	spot route.Spot
	nth  int

	pieces []route.Piece // or they are kept, where it is none of a network
	kept   *led
}

// led is a way out as a path, with what its owners pick up on it.
type led struct {
	path    deco.Path
	factors []float64
}

// led is the path of a way out, good until that of another is asked for.
func (w *Work) led(x *way) *led {
	switch {
	case x.kept != nil:
		return x.kept
	case w.latest != x:
		w.latest = x
		w.lead(&w.path, w.piecesOf(x), x.at)
	}
	return &w.path
}

// outcome is a way out scheduled after a loss.
type outcome struct {
	lost       uint64
	donor      int
	delay      float64
	divers     int       // that were scheduled
	alike      bool      // they are the first of a team whose divers are alike, and stand for all
	use        []float64 // bar·minutes by diver and cylinder of the team, the delay included
	minutes    float64   // to the surface
	stops      int       // minutes
	noSchedule bool
	changes    bool       // somebody changes gas, which takes the team its minutes (D45)
	walked     *stretches // of the schedule, where it was asked for

	cns []float64 // per cent at most, per diver scheduled, of the way out alone

	// Where the place is told:
	flags []deco.Flag
	drift bool // D55
}

func (w *Work) placeOf(s route.Spot) *place {
	p := &place{spot: s, at: w.normal.path.Place(s)}
	metres, swim := w.normal.path.Metres(s)
	p.swim = swim
	switch {
	case swim:
		p.probe = deco.Probe{Node: -1, Piece: w.swims[p.at.Move], Share: 0}
		last := w.node[p.at.Move] - 1
		for i := w.swims[p.at.Move]; i <= last; i++ {
			q := &w.laid.Pieces[i]
			if metres <= q.Past+q.Metres+1e-9 || i == last {
				p.probe.Piece, p.probe.Share = i, math.Min(1, math.Max(0, (metres-q.Past)/q.Metres))
				break
			}
		}
	case p.at.InHold:
		p.probe = deco.Probe{Node: w.node[p.at.Move], Hold: p.at.AfterHoldMin}
	default:
		p.probe = deco.Probe{Node: w.node[0]}
	}
	return p
}

// waitingAt is where each cylinder waits at a place.
func (w *Work) waitingAt(p *place) []string {
	switch {
	case p.waiting != nil:
		return p.waiting
	case p.swim:
		return w.waiting[p.at.Move-1]
	case p.at.InHold:
		return w.waiting[p.at.Move]
	}
	return w.waiting[0]
}

func (w *Work) pressure(depth float64) float64 { return w.q.Settings.Water.Pressure(depth) }

// breatheAll works out what every supply holds where each stretch of the schedule
// as planned begins, and at the surface.
func (w *Work) breatheAll() {
	n := len(w.supplies)
	all := make([]float64, (len(w.result.Stretches)+1)*n)
	now := w.full()
	for k := range w.result.Stretches {
		x := &w.result.Stretches[k]
		w.begins = append(w.begins, begin{minutes: w.endMin, content: all[k*n : (k+1)*n : (k+1)*n]})
		copy(w.begins[k].content, now)
		w.breathe(now, x)
		w.endMin += x.Minutes
	}
	w.end = now
}

// begin is where a stretch of the schedule as planned begins.
type begin struct {
	minutes float64
	content []float64 // litres per supply
}

// contents works out what every supply holds at a place of the dive.
func (w *Work) contents(p *place) {
	at := p.moment.Minutes
	p.at.ElapsedMin = at
	// The first stretch that ends behind it.
	k := sort.Search(len(w.begins), func(k int) bool { return at < w.endOf(k)-1e-9 })
	if k == len(w.begins) {
		p.content = append(p.content[:0], w.end...)
		return
	}
	p.content = append(p.content[:0], w.begins[k].content...)
	part := cut(&w.result.Stretches[k], at-w.begins[k].minutes)
	w.breathe(p.content, &part)
}

// endOf is when a stretch ends.
func (w *Work) endOf(k int) float64 {
	if k+1 < len(w.begins) {
		return w.begins[k+1].minutes
	}
	return w.endMin
}

func (w *Work) full() []float64 {
	now := make([]float64, len(w.supplies))
	for k := range now {
		now[k] = w.supplies[k].StartL
	}
	return now
}

// atTheEnd is what every supply holds at the surface.
func (w *Work) atTheEnd() []float64 {
	now := w.full()
	for k := range w.result.Stretches {
		w.breathe(now, &w.result.Stretches[k])
	}
	return now
}

// breathe takes out what the team breathes on a stretch of the planned dive.
func (w *Work) breathe(content []float64, x *deco.Stretch) {
	bar := w.barMinutes(x, w.factors)
	for d := range w.team.Divers {
		named := int8(-1)
		if len(w.named) > 0 {
			named = w.named[min(x.Piece, len(w.named)-1)][d]
		}
		w.take(content, int(x.Breathing[d]), float64(w.rates[d].planned*bar), named)
	}
}

// factorOf is the gas factor of a stretch: pulling raises consumption, waiting does not.
func factorOf(factors []float64, x *deco.Stretch) float64 {
	if x.Kind != deco.Travel {
		return 1
	}
	return factors[x.Piece]
}

// take takes litres out of a cylinder of the team: mains by their share, or one
// that is named.
func (w *Work) take(content []float64, c int, litres float64, named int8) {
	k := w.first[c]
	if w.team.Cylinders[c].Kind != deco.Back {
		content[k] -= litres
		return
	}
	d := w.supplies[k].Diver
	for m := 0; w.isMain(k+m, d); m++ {
		switch {
		case named < 0:
			content[k+m] -= float64(litres * w.supplies[k+m].Share)
		case m == int(named):
			content[k+m] -= litres
		}
	}
}

// pieceWork is what laying a piece takes, as deco.Planner.Spent counts it.
const pieceWork = 4

// lay makes the paths of the ways out of a place under a network, picking up
// what waits on them.
func (w *Work) lay(n *network, p *place) []*way {
	var list []*way
	if w.TooMuch() {
		return nil
	}
	spot, found := w.spotIn(n, p)
	if !found {
		return nil
	}
	for k := 0; ; k++ {
		x := &way{at: p, of: n, spot: spot, nth: k}
		pieces, ok := w.laidAgain(x)
		if !ok {
			return list
		}
		w.planner.Spent += pieceWork * max(1, len(pieces))
		x.major = slices.ContainsFunc(pieces, major)
		list = append(list, x)
	}
}

// spotIn is where a place is in a network.
func (w *Work) spotIn(n *network, p *place) (route.Spot, bool) {
	if n == w.normal || p.at.Move == 0 { // at the start it is the same
		return p.spot, true
	}
	return n.path.Find(p.at)
}

func major(q route.Piece) bool { return q.Restriction == route.RestrictionMajor }

// laidAgain are the pieces of a way out of a network, in memory that the next uses
// again; false where there is no such way, and then those of the last one stay.
func (w *Work) laidAgain(x *way) ([]route.Piece, bool) {
	if w.laidLast != x {
		pieces, ok := x.of.path.WayFrom(append(w.pieces[:0], route.Piece{}), x.spot, x.nth)
		if !ok {
			return nil, false
		}
		w.pieces, w.laidLast = pieces, x
	}
	p, pieces := x.at, w.pieces
	if p.at.Arriving && p.swim && len(pieces) > 1 && pieces[1].Leg != p.at.Leg {
		pieces[0] = w.lastMetre(p)
		return pieces, true
	}
	return pieces[1:], true
}

// piecesOf are the pieces of a way out of a place, for use at once.
func (w *Work) piecesOf(x *way) []route.Piece {
	pieces := x.pieces
	if x.of != nil {
		pieces, _ = w.laidAgain(x)
	}
	if len(pieces) == 0 { // at an opening at the surface already
		return w.surfaced(x.at)
	}
	return pieces
}

// lastMetre is what is left to swim on arriving at a station where the way out leads
// on: next to nothing, so that what waits there is reached, and gas changed there,
// as from every place before it.
func (w *Work) lastMetre(p *place) route.Piece {
	const metres = 1e-6
	q := &w.laid.Pieces[p.probe.Piece]
	part := metres / q.Metres
	return route.Piece{
		Kind: route.PieceSwim, Leg: p.at.Leg, Station: q.Station, Towards: p.at.Station, MetresPast: q.Past + q.Metres - metres, Metres: metres,
		FromDepthM: q.To + float64(part*(q.From-q.To)), ToDepthM: q.To, Minutes: float64(part * q.Minutes), GasFactor: 1,
	}
}

// surfaced is the way out of an opening at the surface: nothing is left of it but the
// station, where what waits is at hand.
func (w *Work) surfaced(p *place) []route.Piece {
	return []route.Piece{{Kind: route.PieceAscent, Station: p.at.Station, GasFactor: 1}}
}

// lead makes the path of a way out of a place over pieces, picking up what waits on it.
func (w *Work) lead(l *led, pieces []route.Piece, p *place) {
	_ = passage.Fill(&l.path, pieces, w.team, 0, true) // its errors are about actions, and ways out have none
	l.factors = l.factors[:0]
	for i := range pieces {
		l.factors = append(l.factors, w.gasFactor(&pieces[i]))
	}
	waiting := w.waitingAt(p)
	for c, station := range waiting {
		if station == "" {
			continue
		}
		for i := range l.path.Nodes {
			n := &l.path.Nodes[i]
			if i == 0 && p.swim || n.Station != station {
				continue // on arriving nothing is reached yet
			}
			n.Actions = append(slices.Grow(n.Actions, len(waiting)-c), deco.Action{Kind: deco.PickUp, Diver: w.supplies[w.first[c]].Diver, Cylinder: c})
			break
		}
	}
}

// passes tells whether a way leads by the station of a waiting cylinder (D39).
func (l *led) passes(station string) bool {
	return slices.ContainsFunc(l.path.Nodes, func(n deco.Node) bool { return n.Station == station })
}

// way is the known way out of a place that costs least with its stops (D15,
// D51); nil where there is none.
func (w *Work) way(p *place) *way {
	if !p.asked {
		p.asked = true
		p.out = w.cheapest(w.lay(w.normal, p), p)
		p.alike = w.alike(p)
	}
	return p.out
}

// cheapest is the way out that costs least bar·minutes with the stops
// made on the gases carried, nothing lost and nothing picked up. Stops and changes of
// gas only add to what swimming costs, so a way that is swum for as much as another
// takes with them is not scheduled; and divers who are alike stop as one of them does.
func (w *Work) cheapest(list []*way, p *place) *way {
	switch len(list) {
	case 0:
		return nil
	case 1:
		list[0].only = true
		return list[0]
	}
	team, from := w.team, p.moment
	if w.alike(p) {
		team, from = w.few(1), &deco.Moment{Minutes: p.moment.Minutes, Divers: p.moment.Divers[:1]}
	}
	best, least := 0, math.Inf(1)
	for i, x := range list {
		l := w.led(x)
		if w.swum(l) > least+1e-6 {
			continue
		}
		bare := l.path
		w.bare = append(w.bare[:0], bare.Nodes...)
		bare.Nodes = w.bare
		for k := range bare.Nodes {
			bare.Nodes[k].Actions = nil
		}
		if err := w.schedulePlain(team, &bare, from); err != nil || w.out.NoSchedule {
			continue
		}
		cost := 0.0
		for k := range w.out.Stretches {
			cost += w.barMinutes(&w.out.Stretches[k], l.factors)
		}
		if cost < least-1e-9 {
			best, least = i, cost
		}
	}
	return list[best]
}

// schedulePlain makes a schedule into w.out of which nobody asks who needed a stop.
func (w *Work) schedulePlain(team *deco.Team, path *deco.Path, from *deco.Moment) error {
	w.planner.Plain = true
	defer func() { w.planner.Plain = false }()
	return w.planner.Schedule(team, path, from, nil, &w.out)
}

// swum is what a way costs without stops, bar·minutes.
func (w *Work) swum(l *led) float64 {
	sum := 0.0
	for i := range l.path.Pieces {
		q := &l.path.Pieces[i]
		sum += float64(float64(0.5*q.Minutes)*(w.pressure(q.From)+w.pressure(q.To))) * l.factors[i]
	}
	return sum
}

// alike tells whether every diver is in the same state with the same gases, so
// that a loss of one comes to the same as that of any other.
func (w *Work) alike(p *place) bool {
	waiting := w.waitingAt(p)
	a := &w.team.Divers[0]
	for d := 1; d < len(w.team.Divers); d++ {
		b := &w.team.Divers[d]
		if len(a.Stages) != len(b.Stages) {
			return false
		}
		x, y := p.moment.Divers[0], p.moment.Divers[d]
		x.Breathing, y.Breathing = x.Breathing-a.Back, y.Breathing-b.Back
		x.AtHand, y.AtHand = x.AtHand>>a.Back, y.AtHand>>b.Back
		if x != y {
			return false
		}
		for k := 0; k <= len(a.Stages); k++ {
			c, e := w.team.Cylinders[a.Back+k], w.team.Cylinders[b.Back+k]
			if c.Mix != e.Mix || c.Kind != e.Kind || c.SwitchDepth != e.SwitchDepth || waiting[a.Back+k] != waiting[b.Back+k] {
				return false
			}
		}
	}
	return true
}

// loss is a way out after a loss, and whose it was.
type loss struct {
	*outcome
	loser int // the diver who lost something; -1: nobody

	// The outcome is that with nothing lost, and what the loser breathes there of these
	// cylinders of the schedule comes from the donor's back gas: see likeOwn.
	shared uint64
}

// breathed is what a diver breathes from a cylinder of the team, bar·minutes. In a
// team whose divers are alike the loser was scheduled first, any other second.
func (l loss) breathed(w *Work, d, c int) float64 {
	d, cylinders := l.scheduled(w, d, c)
	use := l.use[d*len(w.team.Cylinders):]
	sum := 0.0
	for ; cylinders != 0; cylinders &= cylinders - 1 {
		sum += use[bits.TrailingZeros64(cylinders)]
	}
	return sum
}

// scheduled are the diver and the cylinders of the schedule, as bits, that stand for
// those of the team.
func (l loss) scheduled(w *Work, d, c int) (int, uint64) {
	owner := w.supplies[w.first[c]].Diver
	switch {
	case l.shared != 0 && d == l.loser && owner != d:
		if l.alike {
			d = 0
		}
		return d, l.shared
	case !l.alike:
		return d, 1 << c
	}
	return l.as(d), 1 << (c - w.team.Divers[owner].Back + w.team.Divers[l.as(owner)].Back)
}

// as is the diver of the schedule who stands for a diver.
func (l loss) as(d int) int {
	if d == l.loser || l.divers == 1 {
		return 0
	}
	return 1
}

// goOut schedules the way out of a place after a loss of one diver, once for
// every loss. donor is the diver whose back gas the loser breathes after losing
// the own, -1: nobody.
func (w *Work) goOut(p *place, loser int, lost uint64, donor int, delay float64) loss {
	divers := len(w.team.Divers)
	of := loser // in the schedule
	if p.alike {
		divers = 1
		if lost != 0 {
			lost >>= w.team.Divers[loser].Back
			divers = min(2, len(w.team.Divers))
			of = 0
			donor = min(donor, 0)
			if donor == 0 {
				donor = 1
			}
		}
	}
	switch {
	case lost == 0:
	case donor < 0:
		if w.unbreathed(p, of, lost, delay) {
			return loss{w.goOut(p, -1, 0, -1, delay).outcome, -1, 0}
		}
	case w.likeOwn(p, of, lost, donor, delay):
		return loss{w.goOut(p, -1, 0, -1, delay).outcome, loser, lost}
	}
	for _, o := range p.outs {
		if o.lost == lost && o.donor == donor && o.delay == delay {
			return loss{o, loser, 0}
		}
	}
	o := w.scheduleOut(w.way(p), p, divers, lost, donor, delay)
	p.outs = append(p.outs, o)
	return loss{o, loser, 0}
}

// unbreathed tells whether nothing of what is lost would be breathed anyway; then its loss
// changes nothing, unless it is the oxygen that a last stop is made for (D40): the
// team can still wait, and change gas, where it would have been picked up (D50).
func (w *Work) unbreathed(p *place, loser int, lost uint64, delay float64) bool {
	base := w.goOut(p, -1, 0, -1, delay)
	if base.noSchedule {
		return false
	}
	for c := range w.team.Cylinders {
		if lost>>c&1 == 1 && (w.team.Cylinders[c].Mix.O2 > 0.79 || base.breathed(w, loser, c) > 0) {
			return false
		}
	}
	return true
}

// likeOwn tells whether sharing comes to the same schedule as nothing lost: whatever of
// the loser's would be breathed on the way has the mix of the donor's back gas, which may
// be breathed wherever that may. Which of equal gases is breathed decides nothing (D45).
func (w *Work) likeOwn(p *place, loser int, lost uint64, donor int, delay float64) bool {
	mine, theirs := w.team.Divers[loser].Back, w.team.Divers[donor].Back
	mix := w.team.Cylinders[mine].Mix
	if lost>>mine&1 == 0 || lost>>theirs&1 == 1 || mix != w.team.Cylinders[theirs].Mix {
		return false
	}
	pieces := w.led(w.way(p)).path.Pieces
	if !w.planner.Allowed(mine, pieces[0].From) {
		return false // what is lost is left at once, the own gas would be breathed on
	}
	others := uint64(0) // of other mixes, or not to be breathed all along
	for c := range w.team.Cylinders {
		if lost>>c&1 == 0 || c == mine {
			continue
		}
		x := &w.team.Cylinders[c]
		if x.Mix != mix || mix.O2 > 0.79 || x.Kind != deco.Stage || slices.ContainsFunc(pieces, func(q deco.Piece) bool { return max(q.From, q.To) > x.SwitchDepth }) {
			others |= 1 << c
		}
	}
	return w.unbreathed(p, loser, others, delay)
}

func (w *Work) scheduleOut(x *way, p *place, divers int, lost uint64, donor int, delay float64) *outcome {
	o := &outcome{lost: lost, donor: donor, delay: delay, divers: divers, alike: p.alike, noSchedule: true}
	path := w.walkOut(x, p, o, true, &w.out)
	if path == nil {
		return o
	}
	o.noSchedule, o.changes = w.out.NoSchedule, len(w.out.Switches) > 0
	o.stops, o.minutes = w.out.TotalStop(), w.out.End.Minutes-p.moment.Minutes
	o.use = w.use(w.led(x).factors, &w.out, divers)
	o.cns = make([]float64, divers)
	for k := range w.out.Stretches {
		w.addCNS(o.cns, &w.out.Stretches[k])
	}
	if p.told {
		o.flags, o.drift = w.planner.Flags(path, &w.out), w.out.Drifts
	}
	return o
}

// walkOut schedules the way out of an outcome into a result, plain where nobody asks
// who needed a stop: the path walked; nil where it cannot be scheduled.
func (w *Work) walkOut(x *way, p *place, o *outcome, plain bool, into *deco.Result) *deco.Path {
	l := deco.Loss{Donor: o.donor, Cylinders: w.lost[:0]}
	for c := range w.team.Cylinders {
		if o.lost>>c&1 == 1 {
			l.Cylinders = append(l.Cylinders, c)
		}
	}
	team, path, moment := w.team, &w.led(x).path, p.moment
	if o.divers < len(w.team.Divers) {
		team = w.few(o.divers) // what the others pick up on the path is passed over
		moment = &deco.Moment{Minutes: p.moment.Minutes, Divers: p.moment.Divers[:o.divers]}
	}
	w.lost, path.Delay = l.Cylinders, o.delay
	w.planner.Plain = plain
	err := w.planner.WayOut(team, path, moment, l, into)
	w.planner.Plain = false
	if err != nil {
		return nil
	}
	return path
}

// few is the team's first divers alone.
func (w *Work) few(divers int) *deco.Team {
	if w.fewer[divers] == nil {
		w.fewer[divers] = &deco.Team{Cylinders: w.team.Cylinders, Divers: w.team.Divers[:divers]}
	}
	return w.fewer[divers]
}

// use is what each diver breathes from each cylinder of the team, bar·minutes.
func (w *Work) use(factors []float64, r *deco.Result, divers int) []float64 {
	n := len(w.team.Cylinders)
	list := make([]float64, divers*n)
	for k := range r.Stretches {
		s := &r.Stretches[k]
		bar := w.barMinutes(s, factors)
		for d := range divers {
			list[d*n+int(s.Breathing[d])] += bar
		}
	}
	return list
}
