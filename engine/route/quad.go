package route

import "math"

// litreTolerance is the amount within which limits pass and places tie (D31), litres.
const litreTolerance = 1e-6

// quad is a + b·x + c·x², the shape of everything along a straight piece.
// Products that are added up are converted one by one, so that no processor
// fuses them and every one gives the same bits.
type quad struct{ a, b, c float64 }

func (q quad) at(x float64) float64 {
	return q.a + float64(x*(q.b+float64(q.c*x)))
}

func (q quad) plus(r quad) quad { return quad{q.a + r.a, q.b + r.b, q.c + r.c} }

// times scales q.
func (q quad) times(k float64) quad {
	return quad{float64(q.a * k), float64(q.b * k), float64(q.c * k)}
}

// plusTimes is q + k·r.
func (q quad) plusTimes(k float64, r quad) quad {
	return quad{q.a + float64(k*r.a), q.b + float64(k*r.b), q.c + float64(k*r.c)}
}

// constant adds k.
func (q quad) constant(k float64) quad { return quad{q.a + k, q.b, q.c} }

// shift gives the quadratic of x in terms of x - by.
func (q quad) shift(by float64) quad {
	return quad{q.at(by), q.b + float64(2*float64(q.c*by)), q.c}
}

// lowest is the place and the value of the minimum on [0, end].
func (q quad) lowest(end float64) (x, value float64) {
	x, value = 0, q.a
	if v := q.at(end); v < value {
		x, value = end, v
	}
	if q.c > 0 {
		if t := -q.b / float64(2*q.c); t > 0 && t < end {
			if v := q.at(t); v < value {
				x, value = t, v
			}
		}
	}
	return x, value
}

// highest is the maximum on [0, end].
func (q quad) highest(end float64) float64 {
	_, v := q.highestAt(end)
	return v
}

// highestAt is the same with its place.
func (q quad) highestAt(end float64) (x, value float64) {
	x, v := q.times(-1).lowest(end)
	return x, -v
}

// peak is the place strictly inside (0, end) where q is largest, if it is not
// at an end.
func (q quad) peak(end float64) (float64, bool) {
	if q.c >= 0 {
		return 0, false
	}
	x := -q.b / float64(2*q.c)
	return x, x > 0 && x < end
}

// root is the smallest x in [0, end] where q passes from at or above 0 to below.
func (q quad) root(end float64) (float64, bool) {
	scale := math.Max(math.Abs(q.b), float64(math.Abs(q.c)*end))
	if scale == 0 {
		return 0, false
	}
	if math.Abs(float64(q.c*end)) < float64(1e-14*scale) {
		x := -q.a / q.b
		return x, q.b < 0 && x >= 0 && x <= end
	}
	d := float64(q.b*q.b) - float64(4*float64(q.a*q.c))
	if d < 0 {
		return 0, false
	}
	// The falling crossing is where the slope, b + 2 c x, is -sqrt(d).
	s := math.Sqrt(d)
	var x float64
	if q.b > 0 {
		x = (-q.b - s) / float64(2*q.c)
	} else {
		x = float64(2*q.a) / (s - q.b) // the same root without cancellation
	}
	return x, x >= 0 && x <= end
}

// firstFailure is the last x in [0, end] up to which q stays at or above 0
// within the tolerance, when it does not do so to the end.
func (q quad) firstFailure(end float64) (float64, bool) {
	if q.a < -litreTolerance {
		return 0, true
	}
	if _, v := q.lowest(end); v >= -litreTolerance {
		return 0, false
	}
	if x, ok := q.root(end); ok {
		return x, true
	}
	return 0, true // within the tolerance of 0 at the start, and falling
}
