package dive

import (
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/route"
)

// worst is the least margin of a failure with its place.
type worst struct {
	found bool
	m     *margin
	at    *place
}

func (b *worst) take(m *margin, p *place) {
	if m != nil && (!b.found || m.spare() < b.m.spare()-litreTolerance) {
		*b = worst{true, m, p}
	}
}

// longest is how many minutes may lie between two places looked at.
const longest = 5

// check works out every failure along the dive (D16) and the turn at the latest.
//
// Places are looked at where a cylinder is left or taken, where a hold ends, at
// the commitment point, at the peaks of the way out and at both ends. Between two of
// them the least that is left of each gas and the most that is needed of it at either
// bound the margin, with the minutes at the place as deep as the way goes between:
// need is nowhere more than at the dearer, but for those minutes. Where that bound does
// not settle it, or more than longest lies between, the next place is looked at half
// way, down to spacing, and where between two the way out begins to draw on other gases
// both sides of that place. Stops are whole minutes, so between the closest places looked
// at need may still be some litres more.
func (w *Work) check() {
	w.worst = make([]worst, len(w.failures))
	last := len(w.places) - 1
	from := 0
	w.judge(w.places[0])
	peaks := w.peaks(w.normal)
	for i := 1; i <= last; i++ {
		if w.marked(i) || slices.Contains(peaks, i) || i == last {
			w.judge(w.places[i])
			w.scan(from, i)
			from = i
		}
	}
	w.places = append(w.places, w.between...)
	slices.SortStableFunc(w.places, func(a, b *place) int {
		switch {
		case a.spot.Before(b.spot):
			return -1
		case b.spot.Before(a.spot):
			return 1
		}
		return 0
	})
	for i, p := range w.places {
		if !p.judged {
			p.binds = w.fixed(p)
		}
		if len(p.binds) > 0 {
			w.turnBefore(i)
			break
		}
	}
	if w.reach == nil && !w.getsHome(w.commitment) {
		w.turnBefore(w.indexOf(w.commitment))
	}
	w.homeFromAll()
	w.toTheMetre()
	if w.reach != nil {
		if w.atReach = w.at(w.reach.spot); len(w.atReach) > 0 {
			w.judge(w.atReach[0])
		}
	}
}

// homeFromAll turns before the first place looked at from which the team does not
// get home though it does from a later one: stops are whole minutes, so that the
// way home from an earlier place may take one more (D27).
func (w *Work) homeFromAll() {
	until, last := w.reach, -1
	if until == nil {
		until = w.commitment
	}
	for i, p := range w.places {
		switch {
		case !p.spot.Before(until.spot):
			return
		case !p.judged:
		case w.getsHome(p):
			last = i
		case last < 0:
			w.reach, w.beyond, w.before, w.binds = p, nil, nil, p.broken()
			return
		default:
			w.binds = p.broken()
			w.narrowBy(w.places[last], p, w.getsHome)
			return
		}
	}
}

// marked tells whether a place is looked at in any case.
func (w *Work) marked(i int) bool {
	p, before := w.places[i], w.places[i-1]
	if p == w.commitment || p.at.InHold && p.at.AfterHoldMin > 0 {
		return true
	}
	x, y := w.waitingAt(before), w.waitingAt(p)
	for c := range x {
		if x[c] != y[c] {
			w.judge(before)
			return true
		}
	}
	return false
}

// scan looks at places between two that are judged.
func (w *Work) scan(i, j int) {
	a, b := w.places[i], w.places[j]
	same, gases := w.sameWay(a, b), w.sameGases(a, b)
	if j-i < 2 {
		if w.lookBetween(a, b); !same {
			w.crossing(a, b, func(p *place) *place {
				w.judge(p)
				w.between = append(w.between, p)
				return p
			})
		}
		if !gases {
			w.changeover(a, b)
		}
		return
	}
	apart := b.moment.Minutes - a.moment.Minutes
	switch fails := len(b.binds) > 0; {
	case !same:
	case !gases && len(a.binds) == 0:
	case len(a.binds) == 0 && !fails && apart <= longest && !w.tight(a, b, w.any) && w.bound(i, j, w.any):
		return
	case len(a.binds) > 0 && apart <= 2*longest && !w.tight(a, b, w.open) && w.bound(i, j, w.open):
		return // the turn lies before; what is short is known, and nothing else is
	}
	mid := (i + j) / 2
	w.judge(w.places[mid])
	w.scan(i, mid)
	w.scan(mid, j)
}

// sameWay tells whether the way out of one of two places leads on as that of the other:
// over the same legs, but for those between them.
func (w *Work) sameWay(a, b *place) bool {
	x, y := w.way(a), w.way(b)
	if x == nil || y == nil || x.only && y.only {
		return true
	}
	long, short := w.legsOut(x), w.legsOut(y)
	if len(long) < len(short) {
		long, short = short, long
	}
	return slices.Equal(long[len(long)-len(short):], short)
}

// legsOut are the legs of a way out in their order.
func (w *Work) legsOut(x *way) []string {
	var list []string
	for _, q := range w.piecesOf(x) {
		if q.Leg != "" && (len(list) == 0 || list[len(list)-1] != q.Leg) {
			list = append(list, q.Leg)
		}
	}
	return list
}

// crossing looks at both sides of the place between two where with the stops one way out
// costs as much as the other (D15, D16 b): need goes up to it from either side. look
// works a place of the dive out, and gives it with its way out.
func (w *Work) crossing(a, b *place, look func(*place) *place) {
	w.halve(a, b, finest/10, func(p *place) bool {
		p = look(p)
		same := w.sameWay(a, p)
		if same {
			a = p
		}
		return same
	})
}

// halve looks half way between two places, and again between that and the one of them
// that it does not stand for, until they are so many minutes apart: like tells whether
// it stands for the first. The last two are given.
func (w *Work) halve(a, b *place, minutes float64, like func(mid *place) bool) (x, y *place) {
	for {
		spot, ok := w.normal.path.Between(a.spot, b.spot, 0.5, minutes)
		if !ok {
			return a, b
		}
		looked := w.at(spot)
		if len(looked) == 0 {
			return a, b
		}
		if mid := looked[0]; like(mid) {
			a = mid
		} else {
			b = mid
		}
	}
}

// sameGases tells whether two margins of a failure draw on the same gases. Where they
// do not, need may fall: who is exempt from stops (D43) breathes back gas all the way,
// and from the place on where stops are needed gas for decompression instead.
func sameGases(x, y *margin) bool {
	return x == nil || y == nil || x.fails || y.fails ||
		slices.EqualFunc(x.gases, y.gases, func(g, h amount) bool { return g.cylinder == h.cylinder })
}

// sameGases tells it of every failure that holds so far, at two places that are judged.
func (w *Work) sameGases(a, b *place) bool {
	for k := range w.failures {
		if !sameGases(a.tested[k], b.tested[k]) && w.open(k) {
			return false
		}
	}
	return true
}

// changeover looks at both sides of the place between two neighbours where the way
// out of a failure begins to draw on other gases.
func (w *Work) changeover(a, b *place) {
	if len(a.binds) > 0 {
		return // the turn lies before
	}
	for k := range w.failures {
		if sameGases(a.tested[k], b.tested[k]) || !w.open(k) {
			continue
		}
		w.halve(a, b, finest/10, func(p *place) bool {
			w.judge(p)
			w.between = append(w.between, p)
			return sameGases(a.tested[k], p.tested[k])
		})
	}
}

// any is every failure; open is one that no place looked at so far is short in.
func (w *Work) any(int) bool    { return true }
func (w *Work) open(k int) bool { return !w.worst[k].found || w.worst[k].m.holds() }

// tight tells whether a failure leaves so little at one of two places that a few
// minutes more of stops take it. Stops are whole minutes, and who is exempt from
// them at one place is not at the next: between two places that hold need may be
// that much more than at both.
func (w *Work) tight(a, b *place, of func(k int) bool) bool {
	for k := range w.failures {
		if !of(k) {
			continue
		}
		jump := w.jump(&w.failures[k])
		for _, m := range []*margin{a.tested[k], b.tested[k]} {
			if m != nil && m.holds() && m.spare() < jump {
				return true
			}
		}
	}
	return false
}

// jumpMin minutes more of stops at jumpAt metres are reckoned with between two places.
const (
	jumpMin = 3
	jumpAt  = 9
)

// jump is what they take of the gas of a failure, litres; whoever goes home alone is
// donor and victim, and counts twice.
func (w *Work) jump(f *failure) float64 {
	rate := w.rates[f.victim].after
	for _, d := range f.donors {
		rate += w.rates[d].after
	}
	return float64(rate*w.pressure(jumpAt)) * jumpMin
}

// lookBetween looks at places between two neighbours that both hold, an eighth of
// their distance apart, where little is left; those that do not hold are kept.
func (w *Work) lookBetween(a, b *place) {
	if len(a.binds) > 0 || len(b.binds) > 0 || !w.tight(a, b, w.any) {
		return
	}
	if _, fails := w.eighths(a, b); fails != nil {
		w.between = append(w.between, fails)
	}
}

// eighths judges places an eighth of the distance of two apart, one after the
// other: the last that holds, the first of the two if none does, and the first that
// does not; nil: all hold.
func (w *Work) eighths(a, b *place) (holds, fails *place) {
	holds = a
	var spots []route.Spot
	for share := 0.125; share < 1; share += 0.125 {
		spot, ok := w.normal.path.Between(a.spot, b.spot, share, finest)
		if !ok {
			break
		}
		spots = append(spots, spot)
	}
	for _, p := range w.at(spots...) {
		if w.judge(p); len(p.binds) > 0 {
			return holds, p
		}
		holds = p
	}
	return holds, nil
}

// toTheMetre finds the turn between the last place that passes and the next,
// finest apart, where what binds is known there: what was breathed so far needs
// no schedule, and between equal stops a margin goes evenly from one to the other.
func (w *Work) toTheMetre() {
	a, b := w.reach, w.beyond
	if a == nil || b == nil || len(a.broken()) > 0 {
		return
	}
	share := 1.0
	for _, bind := range w.binds {
		switch bind.Check {
		case route.CheckShareRule, route.CheckStageShare:
			share = math.Min(share, w.shareUsed(a, b))
		case route.BindSharing, route.CheckLostCylinder, route.CheckIndependent:
			x, y := w.testedOf(a, bind), w.testedOf(b, bind)
			if x == nil || y == nil || x.fails || y.fails || x.out.stops != y.out.stops || x.tightest().cylinder != y.tightest().cylinder {
				return
			}
			share = math.Min(share, math.Max(0, x.spare())/(x.spare()-y.spare()))
		default:
			return
		}
	}
	if p := w.part(a, b, share); p != nil {
		w.reach, w.before = p, a
	}
}

// part is the place a share of the way from one place to the next, with what the
// supplies hold there; nil where they lie on no stretch together.
func (w *Work) part(a, b *place, share float64) *place {
	spot, ok := w.normal.path.Between(a.spot, b.spot, share, 1e-9)
	if !ok {
		return nil
	}
	p := w.placeOf(spot)
	p.moment = &deco.Moment{Minutes: minutesBetween(a, b, share)}
	w.contents(p)
	return p
}

// shareUsed is the share of the way between two places at which the share of
// mains or a stage is used up.
func (w *Work) shareUsed(a, b *place) float64 {
	p := w.part(a, b, 0.5)
	if p == nil {
		return 0
	}
	low, high := 0.0, 1.0
	for range 50 {
		mid := (low + high) / 2
		p.spot, _ = w.normal.path.Between(a.spot, b.spot, mid, 1e-9)
		p.moment.Minutes = minutesBetween(a, b, mid)
		if w.contents(p); len(w.sharesBroken(p)) == 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// minutesBetween is when a share of the way from one place to the next is reached.
func minutesBetween(a, b *place, share float64) float64 {
	return a.moment.Minutes + float64(share*(b.moment.Minutes-a.moment.Minutes))
}

func (w *Work) testedOf(p *place, b route.Bind) *margin {
	for i := range w.failures {
		f := &w.failures[i]
		if checkOfKind[f.kind] == b.Check && w.who(f) == b.Who && len(p.tested) > 0 {
			return p.tested[i]
		}
	}
	return nil
}

// checkOfKind is what binds where a failure of a kind does not hold.
var checkOfKind = [...]string{
	sharing: route.BindSharing, lostWaiting: route.CheckLostCylinder, lostMain: route.CheckIndependent, homeward: route.CheckPlannedExit,
}

func (w *Work) indexOf(p *place) int {
	for i := range w.places {
		if w.places[i] == p {
			return i
		}
	}
	return len(w.places) - 1
}

// begun tells whether the way home has begun at a place.
func (w *Work) begun(p *place) bool {
	return !p.spot.Before(w.commitment.spot)
}

// judge works out every failure at a place and what binds there.
func (w *Work) judge(p *place) {
	if p.judged {
		return
	}
	p.judged = true
	p.tested = make([]*margin, len(w.failures))
	x := w.way(p)
	p.binds = w.fixed(p)
	for i := range w.failures {
		f := &w.failures[i]
		m := w.margin(p, f, w.q.Route.Policy.DelayMin)
		p.tested[i] = m
		if x == nil || m == nil {
			continue
		}
		w.worst[i].take(m, p)
		if !m.holds() || f.kind == sharing && x.major && !w.independent() {
			p.binds = append(p.binds, w.bindOf(f, m))
		}
	}
}

// bindOf names what binds where a failure does not hold.
func (w *Work) bindOf(f *failure, m *margin) route.Bind {
	check := checkOfKind[f.kind]
	if f.kind == homeward && !m.fails {
		if c := m.tightest().cylinder; c >= 0 && w.team.Cylinders[c].Kind == deco.Deco {
			return route.Bind{Check: route.CheckDecoGas, Who: w.team.Cylinders[c].ID}
		}
	}
	return route.Bind{Check: check, Who: w.who(f)}
}

// bound tells whether every margin of some failures is certain to hold between two places.
func (w *Work) bound(i, j int, of func(k int) bool) bool {
	a, b := w.places[i], w.places[j]
	deepest := math.Max(a.at.DepthM, b.at.DepthM)
	for _, p := range w.places[i:j] {
		deepest = math.Max(deepest, p.at.DepthM)
	}
	deeper := w.pressure(deepest) - w.pressure(math.Min(a.at.DepthM, b.at.DepthM))
	for i := range w.failures {
		if x, y := a.tested[i], b.tested[i]; of(i) && x != nil && y != nil && !w.covers(x, y, float64(w.rateOf(&w.failures[i])*deeper), 0) {
			return false
		}
	}
	return true
}

// rateOf is what a failure's minutes at the place cost for each bar, litres.
func (w *Work) rateOf(f *failure) float64 {
	if f.kind == homeward {
		return 0
	}
	return float64(w.rateAfter(f) * w.q.Route.Policy.DelayMin)
}

// rateAfter is the consumption after a failure on the gas it is about, L/min.
func (w *Work) rateAfter(f *failure) float64 {
	rate := w.rates[f.victim].after
	if f.kind == sharing {
		for _, d := range f.donors {
			rate += w.rates[d].after
		}
	}
	return rate
}

// covers tells whether the less of what is left of every gas in two margins
// covers the more of what is needed of it.
func (w *Work) covers(x, y *margin, more, spare float64) bool {
	if x.fails || y.fails {
		return false
	}
	for k, g := range x.gases {
		left, need := g.left, g.need
		for n, h := range y.gases {
			if h.cylinder == g.cylinder && (g.cylinder >= 0 || n == k) {
				left, need = math.Min(left, h.left), math.Max(need, h.need)
			}
		}
		if left-need-more < spare-litreTolerance {
			return false
		}
	}
	for _, h := range y.gases {
		if h.left-h.need-more < spare-litreTolerance {
			return false
		}
	}
	return true
}

// at are places between those of the dive, in its order; those that its schedule
// does not reach are left out.
func (w *Work) at(spots ...route.Spot) []*place {
	var list []*place
	var probes []deco.Probe
	for _, s := range spots {
		p := w.placeOf(s)
		list, probes = append(list, p), append(probes, p.probe)
	}
	w.again.Moments = nil // those of earlier places are theirs
	if err := w.planner.Until(w.team, w.laid, &w.begin, probes, &w.again); err != nil {
		return nil
	}
	moments := w.again.Moments
	w.again.Moments = nil
	list = list[:len(moments)]
	for i, p := range list {
		p.moment = &moments[i]
		w.contents(p)
	}
	return list
}

// turnBefore finds the turn at the latest, the last place before place i up to
// which everything passes, the way home from it included.
func (w *Work) turnBefore(i int) {
	if i == 0 {
		w.reach, w.binds = w.places[0], w.places[0].binds
		return
	}
	w.narrow(w.places[i-1], w.places[i])
	if w.getsHome(w.reach) {
		return
	}
	// Farther in, more is breathed and more is taken up, so whoever does not get
	// home from one place does not from any later one: the first is searched by halving.
	low, high := -1, i
	for high-low > 1 {
		mid := (low + high) / 2
		if w.judge(w.places[mid]); w.getsHome(w.places[mid]) {
			low = mid
		} else {
			high = mid
		}
	}
	w.binds = w.places[high].broken()
	if low < 0 {
		w.reach = w.places[0]
		return
	}
	w.narrowBy(w.places[low], w.places[high], w.getsHome)
}

// narrow finds the turn between a place that passes and one that does not: eighths
// of the stretch are looked at one after the other, for need may be a minute's more
// before it is less again, and the one that does not pass is halved.
func (w *Work) narrow(a, b *place) {
	w.binds = b.binds
	holds, fails := w.eighths(a, b)
	if fails != nil {
		b, w.binds = fails, fails.binds
	}
	w.narrowBy(holds, b, func(p *place) bool { return len(p.binds) == 0 })
}

func (w *Work) narrowBy(a, b *place, passes func(*place) bool) {
	w.reach, w.beyond = w.halve(a, b, finest, func(mid *place) bool {
		if w.judge(mid); passes(mid) {
			return true
		}
		if list := mid.broken(); len(list) > 0 {
			w.binds = list
		}
		return false
	})
}

// broken is what a place or the way home from it breaks.
func (p *place) broken() []route.Bind {
	if len(p.binds) > 0 {
		return p.binds
	}
	return p.homeBinds
}

// fixed lists what the plan "the route so far, then the way out" breaks without
// any failure: shares, the mains kept alike, no way out, a cylinder off the way.
func (w *Work) fixed(p *place) []route.Bind {
	if p.looked {
		return p.fixedBinds
	}
	p.looked = true
	list := w.sharesBroken(p)
	bind := func(check, who string) { list = append(list, route.Bind{Check: check, Who: who}) }
	for d := range w.team.Divers {
		if w.apart(d, p.content) > w.spread()+1e-6 {
			bind(route.CheckSpread, w.team.Divers[d].Name)
		}
	}
	switch x := w.way(p); {
	case x == nil:
		bind(route.BindNoWayOut, "")
		if w.nowhere == nil {
			w.nowhere = p
		}
	default:
		if x.major && w.major == nil {
			w.major = p
		}
		for c, station := range w.waitingAt(p) {
			if station != "" && !w.led(x).passes(station) {
				bind(route.CheckOnTheWayOut, w.team.Cylinders[c].ID)
			}
		}
	}
	p.fixedBinds = list
	return list
}

// sharesBroken lists whose share of the mains or of a stage is used up on the
// way to a place (D23, 4.5).
func (w *Work) sharesBroken(p *place) []route.Bind {
	var list []route.Bind
	up := p
	if w.begun(p) {
		up = w.commitment
	}
	for d := range w.team.Divers {
		if w.usedMains(d, up.content) > w.permitted[d]+litreTolerance {
			list = append(list, route.Bind{Check: route.CheckShareRule, Who: w.team.Divers[d].Name})
		}
	}
	for k := range w.supplies {
		if s := &w.supplies[k]; !s.Main && !s.Deco && s.StartL-up.content[k] > w.allowed[k]+litreTolerance {
			list = append(list, route.Bind{Check: route.CheckStageShare, Who: s.ID})
		}
	}
	return list
}

func (w *Work) spread() float64 {
	if s := w.q.Route.Policy.IndependentSpreadBar; s > 0 {
		return s
	}
	return 35
}

// independent tells whether every diver has two mains (D11).
func (w *Work) independent() bool {
	for d := range w.q.Route.Team {
		if len(w.q.Route.Team[d].Mains) < 2 {
			return false
		}
	}
	return true
}

// who names a failure as the route model does.
func (w *Work) who(f *failure) string {
	if f.kind == homeward {
		return w.team.Divers[f.victim].Name
	}
	if f.kind != sharing {
		if id := w.supplies[f.lost].ID; id != "" {
			return id
		}
		return w.team.Divers[f.victim].Name
	}
	name := ""
	for i, d := range f.donors {
		if i > 0 {
			name += "+"
		}
		name += w.team.Divers[d].Name
	}
	return name + "->" + w.team.Divers[f.victim].Name
}
