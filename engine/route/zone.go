package route

import (
	"math"
	"slices"
)

// Zones tells the zone of every leg of the survey (D2), in its order. The input
// must be one that Evaluate accepts; else nothing is returned.
func Zones(in Input) []Zone {
	names, problems := in.check()
	if len(problems) > 0 {
		return nil
	}
	all := make([]int, len(in.Legs))
	for i := range all {
		all[i] = i
	}
	return zones(&in, names, all)
}

// reachOut is the shortest lined way of a station to the surface, in metres of
// line and depth of the opening.
type reachOut struct {
	metres  float64
	reached bool
	settled bool
	unfit   unfit // anything on the way
}

// unfit is what no leg on the way of a cavern zone may have.
type unfit struct{ noLine, restriction, inward bool }

func zones(in *Input, names names, legs []int) []Zone {
	if len(legs) == 0 {
		return nil
	}
	wanted := make([]bool, len(in.Stations))
	for _, i := range legs {
		wanted[names.stations[in.Legs[i].From]], wanted[names.stations[in.Legs[i].To]] = true, true
	}
	out := distances(in, names, wanted)
	list := make([]Zone, 0, len(legs))
	for _, i := range legs {
		list = append(list, in.zone(i, names, out))
	}
	return list
}

// distances goes outward from all openings at once over lined legs, until every
// wanted station is reached; what lies beyond is left out.
func distances(in *Input, names names, wanted []bool) []reachOut {
	missing := 0
	for _, w := range wanted {
		if w {
			missing++
		}
	}
	out := make([]reachOut, len(in.Stations))
	ends := make([][2]int32, len(in.Legs))
	first := make([]int32, len(in.Stations)+1) // legs of a station, as a packed list
	for i := range in.Legs {
		ends[i] = [2]int32{int32(names.stations[in.Legs[i].From]), int32(names.stations[in.Legs[i].To])}
		if in.Legs[i].Lined {
			first[ends[i][0]+1]++
			first[ends[i][1]+1]++
		}
	}
	for s := range in.Stations {
		first[s+1] += first[s]
	}
	packed := make([]int32, first[len(in.Stations)])
	fill := slices.Clone(first)
	for i := range in.Legs {
		if in.Legs[i].Lined {
			for _, s := range ends[i] {
				packed[fill[s]] = int32(i)
				fill[s]++
			}
		}
	}
	q := queue{less: func(a, b int) bool { return out[a].metres < out[b].metres }}
	for s := range in.Stations {
		if in.Stations[s].exit() {
			out[s] = reachOut{metres: in.Stations[s].DepthM, reached: true}
			q.push(s)
		}
	}
	for len(q.heap) > 0 && missing > 0 {
		s := q.pop()
		if out[s].settled {
			continue
		}
		out[s].settled = true
		if wanted[s] {
			missing--
		}
		for _, i := range packed[first[s]:first[s+1]] {
			other := int(ends[i][0] + ends[i][1] - int32(s))
			if d := out[s].metres + in.Legs[i].LengthM; !out[other].reached || d < out[other].metres-1e-9 {
				dir := 0 // outward: away from the opening
				if int(ends[i][0]) != s {
					dir = 1
				}
				out[other] = reachOut{metres: d, reached: true, unfit: out[s].unfit.or(in.Legs[i].unfit(dir))}
				q.push(other)
			}
		}
	}
	return out
}

func (in *Input) zone(i int, names names, out []reachOut) Zone {
	l := &in.Legs[i]
	a, b := names.stations[l.From], names.stations[l.To]
	z := Zone{Leg: l.ID, Zone: ZoneCave}
	da, db := math.Inf(1), math.Inf(1)
	if out[a].reached {
		da = out[a].metres
	}
	if out[b].reached {
		db = out[b].metres
	}
	da, db = math.Min(da, db+l.LengthM), math.Min(db, da+l.LengthM)
	if !math.IsInf(da, 0) {
		far := (da + db + l.LengthM) / 2
		z.DistanceM = &far
	}
	if l.Overhead != nil && !*l.Overhead && in.Stations[a].exit() && in.Stations[b].exit() {
		z.Zone = ZoneOpenWater
		return z
	}
	why := map[string]bool{}
	lim := in.CavernLimits
	if lim == nil {
		why["no limits set"] = true
	} else {
		deepest := math.Max(in.Stations[a].DepthM, in.Stations[b].DepthM)
		for _, d := range l.DepthPoints {
			deepest = math.Max(deepest, d.DepthM)
		}
		why["depth"] = deepest > lim.DepthM+1e-9
		why["distance"] = z.DistanceM == nil || *z.DistanceM > lim.DistanceM+1e-9
		why["visibility"] = in.VisibilityM == nil || *in.VisibilityM < lim.VisibilityM-1e-9
	}
	why["night"] = in.Night
	why["not in daylight"] = !in.Stations[a].Daylight || !in.Stations[b].Daylight
	// The leg itself, seen from its nearer end, and the legs from there out.
	near, dir := a, 0
	if db < da-1e-9 {
		near, dir = b, 1
	}
	u := l.unfit(dir)
	if out[near].reached {
		u = u.or(out[near].unfit)
	}
	why["no line"], why["restriction"], why["flow inward"] = u.noLine, u.restriction, u.inward
	// order: sorted below.
	for reason, holds := range why {
		if holds {
			z.Why = append(z.Why, reason)
		}
	}
	slices.Sort(z.Why)
	if len(z.Why) == 0 {
		z.Zone = ZoneCavern
	}
	return z
}

// unfit tells what a leg has that it must not; dir is the direction away from the opening.
func (l *Leg) unfit(dir int) unfit {
	flow := l.FlowMMin
	if dir == 1 {
		flow = -flow
	}
	return unfit{!l.Lined, l.Restriction != "" && l.Restriction != RestrictionNone, flow > 1e-9}
}

func (u unfit) or(v unfit) unfit {
	return unfit{u.noLine || v.noLine, u.restriction || v.restriction, u.inward || v.inward}
}

// queue is a binary heap of indices.
type queue struct {
	heap []int
	less func(a, b int) bool
}

func (q *queue) push(n int) {
	h := append(q.heap, n)
	i := len(h) - 1
	for i > 0 {
		up := (i - 1) / 2
		if !q.less(h[i], h[up]) {
			break
		}
		h[up], h[i] = h[i], h[up]
		i = up
	}
	q.heap = h
}

func (q *queue) pop() int {
	h := q.heap
	top := h[0]
	last := len(h) - 1
	h[0] = h[last]
	h = h[:last]
	for i := 0; ; {
		c := 2*i + 1
		if c >= last {
			break
		}
		if c+1 < last && q.less(h[c+1], h[c]) {
			c++
		}
		if !q.less(h[c], h[i]) {
			break
		}
		h[i], h[c] = h[c], h[i]
		i = c
	}
	q.heap = h
	return top
}
