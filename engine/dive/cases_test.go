package dive

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/route"
)

// level is 150 m at 10 m from an opening there and back, with a flow towards it
// on the way out if any: everything of it can be worked by hand.
func level(flow float64) route.Input {
	in := route.Input{
		Water: route.Water{SurfaceBar: column.Surface, BarPerM: column.PerMetre}, GasModel: "ideal", Policy: policy(),
		Speeds:   route.Speeds{SwimMMin: 15, ContingencyMMin: 15},
		Stations: []route.Station{{Name: "pool", DepthM: 10, Opening: true, Daylight: true}, {Name: "end", DepthM: 10}},
		Legs:     []route.Leg{{ID: "level", From: "pool", To: "end", LengthM: 150, Lined: true, Restriction: "none", FlowMMin: -flow}},
		Route:    route.Route{Start: "pool", Moves: []route.Move{{Leg: "level", To: "end"}, {Leg: "level", To: "pool"}}},
	}
	temp := 20.0
	for _, n := range []string{"Ada", "Ben"} {
		in.Team = append(in.Team, route.Diver{Name: n, RMVLMin: 20, Mains: []route.Cylinder{{ID: n, VolumeL: 24, StartBar: 230, TempC: &temp}}})
	}
	return in
}

func caseOf(t *testing.T, a *Answer, kind, diver string) Case {
	t.Helper()
	for _, c := range a.Cases {
		if c.Kind == kind && c.Diver == diver {
			return c
		}
	}
	t.Fatalf("no case %s of %s in %+v", kind, diver, a.Cases)
	return Case{}
}

// Worked by hand from the route method: consumption after a failure 30 L/min
// (D36), P at 10 m 1.993915 bar, ascent 10/9 min at the mean of that and the
// surface's, reserve 24 L × 10 bar, left at the far end 5520 - 20 × (10 P + the
// descent, 10/18 min at the mean).
func TestCasesWorkedByHand(t *testing.T) {
	in := level(0)
	q := question(t, in)
	q.DelayMin, q.TouchFactor, q.SwimOutMMin, q.WorstLMin = 10, 0.5, 5, []float64{0, 40}
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	a := w.Answer()
	p := column.Surface + 10*column.PerMetre
	mean := (p + column.Surface) / 2
	left := 5520 - 20*(10*p+mean*10/18)
	up := mean * 10 / 9
	for _, x := range []struct {
		kind       string
		left, need float64
	}{
		{CaseDelay, left, 30*(10*p+10*p+up) + 240},
		{CaseTouchContact, left, 30*(20*p+up) + 240},
		{CaseTouchSharing, left, 60*(2*p+20*p+up) + 240},
		{CaseScooterLost, left, 30*(2*p+30*p+up) + 240},
	} {
		c := caseOf(t, a, x.kind, "Ada")
		if math.Abs(c.LeftL-x.left) > 1e-4 || math.Abs(c.NeedL-x.need) > 1e-4 {
			t.Errorf("%s: %v left, %v needed; by hand %v and %v: %+v", x.kind, c.LeftL, c.NeedL, x.left, x.need, c)
		}
	}
	c := caseOf(t, a, CaseWorstConsumption, "Ben")
	if end := 5520 - 40*(20*p+mean*10/18+up); math.Abs(c.LeftL-end) > 1e-4 || math.Abs(c.NeedL-480) > 1e-6 {
		t.Errorf("worst consumption: %v of %v left, by hand %v of 480", c.LeftL, c.NeedL, end)
	}
}

// Without the flow that helps the way out is swum at the bare speed, as with no flow (4.6).
func TestHelpfulFlowGone(t *testing.T) {
	_, a := answer(t, level(5))
	c := caseOf(t, a, CaseNoHelp, "Ada")
	p := column.Surface + 10*column.PerMetre
	if need := 60*(12*p+(p+column.Surface)/2*10/9) + 240; math.Abs(c.NeedL-need) > 1e-4 {
		t.Errorf("%v needed without the flow, by hand %v", c.NeedL, need)
	}
}

// While one makes longer stops, what the others breathe is looked at.
func TestOthersWaitForALostCylinder(t *testing.T) {
	w, a := answer(t, expedition(12))
	n := 0
	for _, c := range a.Cases {
		if c.Kind != CaseLostCylinder {
			continue
		}
		n++
		if c.Lost == "" || c.Diver == "" || c.NeedL <= 0 {
			t.Errorf("incomplete: %+v", c)
		}
	}
	if want := 9 * 2; n != want || len(w.team.Divers) != 3 {
		t.Errorf("%d findings for 9 cylinders and two others each, want %d", n, want)
	}
}

// With stops the check of the route says of the flow that helps what the rows say.
func TestHelpfulFlowGoneInTheRoute(t *testing.T) {
	passed, failed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		q, a := answered(t, drawnDive(t))
		least, rows, holds := math.Inf(1), 0, true
		for i := range a.Cases {
			if c := &a.Cases[i]; c.Kind == CaseNoHelp {
				rows++
				least, holds = math.Min(least, c.LeftL-c.NeedL), holds && c.Holds()
			}
		}
		if !a.Stops || rows == 0 {
			return
		}
		i := slices.IndexFunc(q.Result.Checks, func(c route.Check) bool { return c.Name == route.CheckHelpfulOutflow })
		c, cautioned := &q.Result.Checks[i], slices.ContainsFunc(q.Result.Cautions, func(c route.Caution) bool { return c.Kind == route.CautionHelpfulOutflow })
		if c.Passed != holds || cautioned == holds {
			t.Fatalf("the rows hold: %v, the check passed: %v, cautioned: %v", holds, c.Passed, cautioned)
		}
		if h := q.Result.Helpful; !near(c.Margin, h.MarginL, 1e-9) || holds && math.Abs(c.Margin-least) > 1e-3 {
			t.Fatalf("%v L in the check, %v in the result, %v in the rows", c.Margin, h.MarginL, least)
		}
		if holds {
			passed++
		} else {
			failed++
		}
	})
	if passed < 1 || failed < 2 {
		t.Errorf("%d hold and %d do not: the dives decide nothing", passed, failed)
	}
}
