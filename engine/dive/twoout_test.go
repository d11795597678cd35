package dive

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The turn pressure rests on the dearest place (D25): every place up to the commitment
// point or the turn at the latest is tried, with nothing skipped.
func TestTwoOutIsTheDearestPlace(t *testing.T) {
	whole, turned, compared := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		in := drawnDive(t)
		larger := rapid.Float64Range(1, 3).Draw(t, "larger")
		for d := range in.Team {
			in.Team[d].Mains[0].VolumeL = min(200, in.Team[d].Mains[0].VolumeL*larger)
		}
		w := open(t, in)
		if !w.Answer().Stops {
			return
		}
		until := w.commitment
		if w.reach != nil && w.reach.spot.Before(until.spot) {
			until = w.reach
			turned++
		} else {
			whole++
		}
		for d := range w.team.Divers {
			dearest := 0.0
			for _, p := range append(w.places, w.atReach...) {
				for i := range w.failures {
					f := &w.failures[i]
					if f.kind != sharing || f.donors[0] != d || until.spot.Before(p.spot) {
						continue
					}
					if m := w.margin(p, f, w.q.Route.Policy.DelayMin); !m.fails {
						dearest = math.Max(dearest, w.startMains(d)-w.usedMains(d, p.content)-m.gases[0].left+m.gases[0].need)
					}
				}
			}
			if w.two[d].at == nil { // a way out without a schedule
				continue
			}
			if compared++; math.Abs(dearest-w.two[d].litres) > 1e-6 {
				t.Fatalf("%s: two need %v L, at the dearest place %v", w.team.Divers[d].Name, w.two[d].litres, dearest)
			}
		}
	})
	if whole < 2 || turned < 2 || compared < 20 {
		t.Errorf("%d whole routes and %d turns, %d compared: the caves decide nothing", whole, turned, compared)
	}
}
