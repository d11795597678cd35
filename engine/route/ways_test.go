package route

import (
	"testing"

	"pgregory.net/rapid"
)

// Every way out is a path (D15): it swims no leg twice, so it does not come back past
// the place, and it is none of those before it.
func TestWaysOutArePaths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := caves{verified: true, holds: true, lines: true}.draw(t)
		path, _, _ := Trace(in)
		if path == nil {
			return
		}
		for _, at := range path.Spots(5) {
			before := map[string]bool{}
			for k := 0; ; k++ {
				way, ok := path.WayFrom(nil, at, k)
				if !ok {
					break
				}
				swum := map[string]bool{}
				for i := range way {
					x := &way[i]
					if x.Kind != PieceSwim || i > 0 && way[i-1].Leg == x.Leg && way[i-1].Towards == x.Towards {
						continue
					}
					if swum[x.Leg] {
						t.Fatalf("from %+v way %d swims leg %s twice", path.Place(at), k, x.Leg)
					}
					swum[x.Leg] = true
				}
				legs := ""
				for i := range way {
					legs += " " + way[i].Leg + ">" + way[i].Towards
				}
				if before[legs] {
					t.Fatalf("from %+v way %d is one of those before:%s", path.Place(at), k, legs)
				}
				before[legs] = true
			}
		}
	})
}
