package route

import (
	"slices"
	"testing"
)

// A T with two exits, after the hand-worked scenario R07 (routes-by-hand): from
// the tee east 240 m against 10 m/min net costs 40.8 bar·min, west 39.467.
func twoExits() Input {
	in := handInput(15,
		[]Station{{Name: "east", Opening: true}, {Name: "tee", DepthM: 14}, {Name: "pocket", DepthM: 17}, {Name: "mid", DepthM: 12}, {Name: "west", Opening: true}},
		[]Leg{
			{ID: "e1", From: "east", To: "tee", LengthM: 240, FlowMMin: 5, Lined: true},
			{ID: "p1", From: "tee", To: "pocket", LengthM: 110, Lined: true},
			{ID: "w1", From: "tee", To: "mid", LengthM: 160, Lined: true},
			{ID: "w2", From: "mid", To: "west", LengthM: 140, Lined: true},
		},
		pair(24, 210, 18), "east", Move{To: "tee"}, Move{To: "pocket"}, Move{To: "tee"}, Move{To: "mid"}, Move{To: "west"})
	in.Verified = []Verification{{ID: "set-up 1", Legs: []string{"w1", "w2"}, PassedBy: []string{"Oda", "Keth"}, DaysAgo: 3, MarkerStation: "tee"}}
	return in
}

func TestVerifiedFarSide(t *testing.T) {
	r := evaluated(t, twoExits())
	m := r.Moves[0]
	wantNear(t, "arriving at the tee", m.WayOutArriving.BarMin, 40.8, 1e-9)
	wantNear(t, "after arrival", m.WayOutAfterArrival.BarMin, 39.4666667, 1e-6)
	if v := r.Verified; v == nil || !slices.Equal(v.Verifications, []string{"set-up 1"}) || !slices.Equal(v.FarOpenings, []string{"west"}) {
		t.Fatalf("reliance %+v", r.Verified)
	}
	// It is relied on from the tee (12 min) until both legs are swum.
	wantNear(t, "relied on from", r.Verified.FirstMin, 12, 1e-9)
	wantNear(t, "relied on until", r.Verified.LastMin, r.Moves[4].ElapsedArrivalMin, 1e-9)
	// D37 at the pocket: in 39.1 bar·min, out west 18.7 + 39.467, back to the
	// pocket as much, then east 18.7 + 40.8; at 18 L/min from 5040 L.
	wantNear(t, "far side shut", r.FarSide[0].MarginL, 5040-18*(39.1+2*(18.7+39.4666667)+18.7+40.8), 1e-3)
	if r.FarSide[0].Place.Station != "pocket" {
		t.Errorf("dearest place %+v", r.FarSide[0].Place)
	}
}

// What does not count: too long ago, doubt, one diver alone, no marker, a chain
// that is broken before the leg (D34, D12, D13), policy never.
func TestWhatDoesNotCount(t *testing.T) {
	for name, change := range map[string]func(*Input){
		"eight days": func(in *Input) { in.Verified[0].DaysAgo = 8 },
		"doubt":      func(in *Input) { in.Verified[0].DoubtSince = true },
		"one alone":  func(in *Input) { in.Verified[0].PassedBy = []string{"Oda", "Tivek"} },
		"no marker":  func(in *Input) { in.Verified[0].MarkerStation = "" },
		"broken":     func(in *Input) { in.Verified[0].Legs = []string{"w2"} },
		"never":      func(in *Input) { in.Policy.VerifiedCounts = VerifiedNever },
		"no line": func(in *Input) {
			in.Legs[3].Lined, in.Route.Moves[4].RunLine, in.Route.LeftDeclared = false, true, []string{"w2"}
		},
		"major, a third has not passed": func(in *Input) {
			in.Legs[3].Restriction, in.Verified[0].Directions = RestrictionMajor, []string{"from_to"}
			third := in.Team[0]
			third.Name = "Tivek"
			in.Team = append(in.Team, third)
		},
		"major, direction not recorded": func(in *Input) { in.Legs[3].Restriction = RestrictionMajor },
	} {
		in := twoExits()
		change(&in)
		if r := evaluated(t, in); r.Verified != nil || r.Moves[2].WayOutAfterArrival.BarMin < 40.8-1e-6 {
			t.Errorf("%s: counts", name)
		}
	}
	in := twoExits()
	in.Legs[3].Restriction = RestrictionMajor
	in.Verified[0].Directions = []string{"from_to"}
	if r := evaluated(t, in); r.Verified == nil {
		t.Error("a major restriction that all passed in this direction counts (D11)")
	}
}

// D30: the marker is met in time only with strictly less than the permitted gas used.
func TestMarkerMetLate(t *testing.T) {
	in := twoExits()
	in.Policy.ShareFraction = Fraction(20.4 * 18 / 5040) // exactly what the way to the tee takes
	r := evaluated(t, in)
	if c := checkNamed(t, r, CheckMarkerMet); c.Passed || !checkNamed(t, r, CheckMarkerMet).Applies {
		t.Errorf("met at equality: %+v", c)
	}
	if r.Reach.WholeRoute || r.Reach.Place.Station != "tee" || !slices.Contains(r.Reach.Binds, Bind{CheckMarkerMet, "Oda"}) {
		t.Errorf("reach %+v", r.Reach)
	}
}

// D35: a line left by this team's set-up counts; recovered it lies ahead only.
func TestLeftLine(t *testing.T) {
	in := twoExits()
	in.Verified = nil
	in.Legs[1].Lined = false
	in.LeftLines = []string{"p1"}
	in.Route.Moves = []Move{{To: "tee"}, {To: "pocket"}, {To: "tee", RecoverLine: true}, {To: "east"}}
	r := evaluated(t, in)
	wantNear(t, "while it is recovered the way out leads on", r.Moves[1].WayOutAfterArrival.BarMin, 18.7+40.8, 1e-9)
	if r.Summary.Jumps != 1 || len(r.Summary.LinesRun) != 0 {
		t.Errorf("summary %+v", r.Summary)
	}
}

// The path and the way out as pieces add up to what the report says.
func TestTraceAddsUp(t *testing.T) {
	in := twoExits()
	in.Route.Moves[1].HoldMin, in.Route.Moves[1].HoldTask = 3, "survey"
	r := evaluated(t, in)
	path, _, _ := Trace(in)
	minutes := 0.0
	for _, p := range path.Pieces {
		minutes += p.Minutes
	}
	wantNear(t, "runtime", minutes, r.Summary.RuntimeMin, 1e-9)
	out, ok := path.WayOut(Place{Move: 2, Arriving: true})
	if !ok {
		t.Fatal("no way out of the pocket")
	}
	minutes, metres := 0.0, 0.0
	for _, p := range out {
		minutes += p.Minutes
		metres += p.Metres
	}
	wantNear(t, "way out, min", minutes, r.Moves[1].WayOutArriving.Minutes, 1e-9)
	wantNear(t, "way out, m", metres, r.Moves[1].WayOutArriving.Metres, 1e-9)
}
