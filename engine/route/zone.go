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
	by      int // leg towards it, -1 at the opening itself or where there is none
	reached bool
}

func zones(in *Input, names names, legs []int) []Zone {
	if len(legs) == 0 {
		return nil
	}
	out := distances(in, names)
	list := make([]Zone, 0, len(legs))
	for _, i := range legs {
		list = append(list, in.zone(i, names, out))
	}
	return list
}

// distances goes outward from all openings at once over lined legs.
func distances(in *Input, names names) []reachOut {
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
		out[s].by = -1
		if in.Stations[s].exit() {
			out[s] = reachOut{in.Stations[s].DepthM, -1, true}
			q.push(s)
		}
	}
	for len(q.heap) > 0 {
		s := q.pop()
		for _, i := range packed[first[s]:first[s+1]] {
			other := int(ends[i][0] + ends[i][1] - int32(s))
			if d := out[s].metres + in.Legs[i].LengthM; !out[other].reached || d < out[other].metres-1e-9 {
				out[other] = reachOut{d, int(i), true}
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
	in.unfit(why, l, dir)
	for s := near; out[s].reached && out[s].by >= 0; {
		x := &in.Legs[out[s].by]
		from := names.stations[x.From]
		if from == s {
			s = names.stations[x.To]
			in.unfit(why, x, 1) // inward is against from → to
		} else {
			s = from
			in.unfit(why, x, 0)
		}
	}
	for reason, true_ := range why {
		if true_ {
			z.Why = append(z.Why, reason)
		}
	}
	slices.Sort(z.Why)
	if len(z.Why) == 0 {
		z.Zone = ZoneCavern
	}
	return z
}

// unfit notes what a leg must not have; dir is the direction away from the opening.
func (in *Input) unfit(why map[string]bool, l *Leg, dir int) {
	flow := l.FlowMMin
	if dir == 1 {
		flow = -flow
	}
	why["no line"] = why["no line"] || !l.Lined
	why["restriction"] = why["restriction"] || l.Restriction != "" && l.Restriction != RestrictionNone
	why["flow inward"] = why["flow inward"] || flow > 1e-9
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
