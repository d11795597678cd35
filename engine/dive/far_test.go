package dive

import (
	"math"
	"testing"

	"lastlight/engine/route"
)

// twoWays is a tee between two openings, the western side verified by a set-up dive
// whose marker lies at the tee; levels at one depth, a pocket 110 m beyond the tee.
func twoWays(depth float64, hold float64) route.Input {
	in := level(0)
	in.Stations = nil
	for _, name := range []string{"east", "tee", "pocket", "mid", "west"} {
		in.Stations = append(in.Stations, route.Station{Name: name, DepthM: depth, Opening: name == "east" || name == "west"})
	}
	leg := func(id, from, to string, metres float64) route.Leg {
		return route.Leg{ID: id, From: from, To: to, LengthM: metres, Lined: true, Restriction: "none"}
	}
	in.Legs = []route.Leg{leg("e1", "east", "tee", 240), leg("p1", "tee", "pocket", 60), leg("w1", "tee", "mid", 90), leg("w2", "mid", "west", 90)}
	in.Route = route.Route{Start: "east", Moves: []route.Move{{To: "tee"}, {To: "pocket", HoldMin: hold, HoldTask: "survey"}, {To: "tee"}, {To: "mid"}, {To: "west"}}}
	in.Policy.VerifiedCounts, in.Policy.VerificationDays = route.VerifiedAfterMarker, 7
	in.Verified = []route.Verification{{ID: "set-up 1", Legs: []string{"w1", "w2"}, PassedBy: []string{"Ada", "Ben"}, DaysAgo: 3, MarkerStation: "tee"}}
	return in
}

// Without stops the margins are those of the route model (D37).
func TestFarSideShutWithoutStops(t *testing.T) {
	in := twoWays(10, 5)
	q := question(t, in)
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	a := w.Answer()
	if a.Stops || len(q.Result.FarSide) != 2 {
		t.Fatalf("stops %v, far side %+v", a.Stops, q.Result.FarSide)
	}
	for _, f := range q.Result.FarSide {
		c := caseOf(t, a, CaseFarSide, f.Diver)
		if c.NoWay || math.Abs(c.LeftL-c.NeedL-f.MarginL) > 1e-5 {
			t.Errorf("%+v, the route model says %+v", c, f)
		}
	}
}

// With stops: from the pocket 60 m to the tee, 180 m west, shut, 180 m back, 60 m to
// the pocket, and the 300 m that were swum in; then up the eastern shaft with what
// the second program stops. At the own rate, down to nothing.
func TestFarSideShutWithStops(t *testing.T) {
	for _, x := range []struct {
		volume, bar float64
		holds       bool
	}{{24, 230, false}, {60, 328, false}, {60, 330, true}} {
		in := twoWays(33, 15)
		for d := range in.Team {
			in.Team[d].Mains[0].VolumeL, in.Team[d].Mains[0].StartBar, in.Team[d].Mains[0].Gas = x.volume, x.bar, route.Gas{O2: 0.21}
		}
		q := question(t, in)
		q.Settings.GFLow, q.Settings.GFHigh = onlyGF, onlyGF
		w, err := Open(q)
		if err != nil {
			t.Fatal(err)
		}
		a := w.Answer()
		h := newHand(false)
		h.swim(0, 33, 33.0/18)
		h.swim(33, 33, 20+15)
		so := h.backBar[0]
		h.swim(33, 33, (60+180+180+60+300)/15.0)
		h.up(33)
		c := caseOf(t, a, CaseFarSide, "Ada")
		left, need := x.volume*x.bar-20*so, 20*(h.backBar[0]-so)
		if c.Place != "15 min into the hold at pocket" || c.StopMin != h.stops || math.Abs(c.LeftL-left) > 0.02 || math.Abs(c.NeedL-need) > 0.05 {
			t.Errorf("%v L at %v bar: %+v; the second program has %.3f left, %.3f needed, %d min of stops", x.volume, x.bar, c, left, need, h.stops)
		}
		if c.Holds() != x.holds || (left >= need) != x.holds {
			t.Errorf("%v bar: holds %v, left %.0f of %.0f", x.bar, c.Holds(), left, need)
		}
		// The result of the route model says the same, and does not warn of it without its stops.
		if f := q.Result.FarSide; len(f) != 2 || f[0].Diver != "Ada" || math.Abs(f[0].MarginL-(c.LeftL-c.NeedL)) > 1e-3 {
			t.Errorf("%v bar: far side %+v, the case %+v", x.bar, f, c)
		}
		for _, k := range q.Result.Cautions {
			if k.Kind == route.CautionFarSideShut {
				t.Errorf("%v bar: %q is said without its stops", x.bar, k.Phrase)
			}
		}
	}
}
