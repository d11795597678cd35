package route

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The closed forms against stepping.
func TestQuadAgainstStepping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		coefficient := rapid.Float64Range(-50, 50)
		q := quad{coefficient.Draw(t, "a"), coefficient.Draw(t, "b"), coefficient.Draw(t, "c")}
		if rapid.Bool().Draw(t, "linear") {
			q.c = 0
		}
		end := rapid.Float64Range(0.01, 20).Draw(t, "end")
		low, first, failed := math.Inf(1), end, false
		const steps = 2000
		for i := 0; i <= steps; i++ {
			x := end * float64(i) / steps
			v := q.at(x)
			low = math.Min(low, v)
			if !failed && v < -1e-3 {
				failed, first = true, x
			}
		}
		at, got := q.lowest(end)
		if got > low+1e-9 || math.Abs(q.at(at)-got) > 1e-9 {
			t.Fatalf("lowest %v at %v, stepping finds %v", got, at, low)
		}
		x, ok := q.firstFailure(end)
		if failed && (!ok || x > first+1e-9) {
			t.Fatalf("first failure %v %v, stepping finds %v", x, ok, first)
		}
		if ok && x > 0 && math.Abs(q.at(x)) > 1e-6*(1+math.Abs(q.a)+math.Abs(q.b*end)+math.Abs(q.c*end*end)) {
			t.Fatalf("at the first failure %v the value is %v", x, q.at(x))
		}
		if ok && q.a >= 0 {
			if s := q.shift(x); math.Abs(s.at(1)-q.at(x+1)) > 1e-6 {
				t.Fatalf("shifted %v, want %v", s.at(1), q.at(x+1))
			}
			for i := range 100 {
				if v := q.at(x * float64(i) / 100); v < -1e-5 {
					t.Fatalf("fails already before %v: %v", x, v)
				}
			}
		}
	})
}
