package dive

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The search for the place that leaves least leaves none out that does not hold:
// every place two minutes apart is tried, with nothing skipped.
func TestNoPlaceIsDearer(t *testing.T) {
	holds, fails := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		in := expedition(rapid.IntRange(4, 16).Draw(t, "legs"))
		for d := range in.Team {
			in.Team[d].RMVLMin = rapid.Float64Range(12, 30).Draw(t, "rate")
			in.Team[d].Mains[0].VolumeL = rapid.Float64Range(30, 150).Draw(t, "volume")
			in.Team[d].Stages[1].VolumeL = rapid.Float64Range(8, 24).Draw(t, "rich")
		}
		for i := range in.Legs {
			in.Legs[i].LengthM = rapid.Float64Range(12, 60).Draw(t, "length")
			in.Legs[i].DepthPoints[0].AtM = in.Legs[i].LengthM / 2
			in.Legs[i].FlowMMin = rapid.Float64Range(-2, 2).Draw(t, "flow")
		}
		q := question(t, in)
		q.TouchFactor = 0.5
		w, err := Open(q)
		if err != nil {
			t.Fatal(err)
		}
		a := w.Answer()
		least := func(n *network, f *failure, delay float64) float64 {
			worst := math.Inf(1)
			for _, p := range w.places {
				if x := p; n == w.normal {
					if w.waitingAt(x)[w.cylinder(f.lost)] == "" && !w.supplies[f.lost].Deco {
						continue
					}
					if o := w.goOut(x, w.supplies[f.lost].Diver, 1<<w.cylinder(f.lost), -1, delay); !o.noSchedule {
						worst = math.Min(worst, w.alone(x, f.victim, o, -1, w.rates[f.victim].after).spare())
					}
					continue
				}
				worst = math.Min(worst, w.outOf(w.under(n, p), f, delay).spare())
			}
			return worst
		}
		for i := range w.failures {
			f := &w.failures[i]
			if f.kind != lostWaiting || !w.worst[i].found || !w.worst[i].m.holds() {
				continue
			}
			got, want := w.worst[i].m.spare(), math.Inf(1)
			for _, p := range w.places {
				if m := w.margin(p, f, q.Route.Policy.DelayMin); m != nil {
					want = math.Min(want, m.spare())
				}
			}
			if want < got-1e-6 {
				t.Fatalf("%s lost: %v L to spare at %s, elsewhere %v", w.who(f), got, placeText(w.worst[i].at), want)
			}
		}
		slow := w.slower(0.5 * in.Speeds.SwimMMin)
		for _, c := range a.Cases {
			f := &failure{homeward, nil, w.diver(c.Diver), -1}
			n, delay := slow, 0.0
			switch c.Kind {
			case CaseTouchContact:
			case CaseTouchSharing:
				f, delay = &failure{sharing, []int{w.diver(c.Diver)}, w.diver(c.Victim), -1}, q.Route.Policy.DelayMin
			case CaseLostCylinder:
				n, delay = w.normal, q.Route.Policy.DelayMin
				for k := range w.supplies {
					if w.supplies[k].ID == c.Lost {
						f.lost = k
					}
				}
			default:
				continue
			}
			want, got := least(n, f, delay), c.LeftL-c.NeedL
			if c.NoWay {
				got = math.Inf(-1)
			}
			if c.Holds() {
				holds++
			} else {
				fails++
			}
			// Where it does not hold the shortfall may be a little more elsewhere; the verdict is the same.
			if c.Holds() && (want < -litreTolerance || got > want+0.02*c.NeedL) {
				t.Fatalf("%s of %s with %q, lost %q: %v L to spare at %s, elsewhere %v", c.Kind, c.Diver, c.Victim, c.Lost, got, c.Place, want)
			}
		}
	})
	if holds < 20 || fails < 20 {
		t.Errorf("%d cases hold and %d do not: the caves decide nothing", holds, fails)
	}
}

func (w *Work) diver(name string) int {
	for d := range w.team.Divers {
		if w.team.Divers[d].Name == name {
			return d
		}
	}
	return -1
}
