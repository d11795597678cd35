package route

import "testing"

// Worked examples of the practitioner's reference (sections 1, 4 and 5), each
// computed there by hand with 1 bar + depth/10 and pressure × volume. P6 stands in
// hand_test.go; P8, unequal lungs, among the engine's stories; P11, P13 and P19
// with the gases.

// level is a team at rest of anything but its gas: one short leg there and back.
func level(team []Diver) Input {
	in := handInput(15, []Station{{Name: "a", Opening: true}, {Name: "b"}}, []Leg{{ID: "l", From: "a", To: "b", LengthM: 15, Lined: true}},
		team, "a", Move{To: "b"}, Move{To: "a"})
	in.Policy.CountOpenWaterAscent = false
	return in
}

func mains(litres, bar float64) []Cylinder { return []Cylinder{{VolumeL: litres, StartBar: bar}} }

// P1: entrance at 12 m and 25 m in are 37 m, within 40; 20 m and 22 m are 42 m, not
// within 40 but within 60.
func TestPracticeP1(t *testing.T) {
	for _, c := range []struct {
		depth, in, limit float64
		zone             string
	}{{12, 25, 40, ZoneCavern}, {20, 22, 40, ZoneCave}, {20, 22, 60, ZoneCavern}} {
		x := handInput(15, []Station{{Name: "a", DepthM: c.depth, Opening: true, Daylight: true}, {Name: "b", DepthM: c.depth, Daylight: true}},
			[]Leg{{ID: "l", From: "a", To: "b", LengthM: c.in, Lined: true, Overhead: new(true)}}, pair(24, 200, 20), "a", Move{To: "b"}, Move{To: "a"})
		x.CavernLimits, x.VisibilityM = &CavernLimits{DistanceM: c.limit, DepthM: 21, VisibilityM: 10}, new(20.0)
		if r := evaluated(t, x); len(r.Zones) != 1 || r.Zones[0].Zone != c.zone {
			t.Errorf("%g m deep, %g m in, limit %g m: %+v, want %s", c.depth, c.in, c.limit, r.Zones, c.zone)
		}
	}
}

// P2: 200 bar, thirds: exact turn 133.33, in steps of 5 bar 135, of 10 bar 140.
func TestPracticeP2(t *testing.T) {
	for step, rounded := range map[float64]float64{5: 135, 10: 140} {
		in := level(pair(24, 200, 20))
		in.Policy.Rounding.StepBar = step
		d := evaluated(t, in).Divers[0]
		wantNear(t, "exact", d.ShareTurnBar, 133.33, 0.005)
		wantNear(t, "rounded", d.ShareTurnRoundedBar, rounded, 1e-9)
	}
}

// P3: identical doubles, starts 210, 195 and 185. The reference rounds the least
// start down to 180 first, drop 60; here the drop is a third of 185, floored to 5 bar
// (D26 holds, route method section 8): 60 as well, turns 150, 135, 125.
func TestPracticeP3(t *testing.T) {
	r := evaluated(t, level([]Diver{
		{Name: "A", RMVLMin: 20, Mains: mains(24, 210)}, {Name: "B", RMVLMin: 20, Mains: mains(24, 195)}, {Name: "C", RMVLMin: 20, Mains: mains(24, 185)},
	}))
	for i, turn := range []float64{150, 135, 125} {
		wantNear(t, r.Divers[i].Name, r.Divers[i].ShareTurnRoundedBar, turn, 1e-9)
	}
}

// P4: 2 × 7 L at 230, 2 × 12 at 200, 2 × 8.5 at 210: a third of the smallest supply is
// 1073.3 L; drops 76.67, 44.72, 63.14 bar; exact turns 153.33, 155.28, 146.86, in steps
// of 5 bar 155, 160, 150.
func TestPracticeP4(t *testing.T) {
	r := evaluated(t, level([]Diver{
		{Name: "A", RMVLMin: 20, Mains: mains(14, 230)}, {Name: "B", RMVLMin: 20, Mains: mains(24, 200)}, {Name: "C", RMVLMin: 20, Mains: mains(17, 210)},
	}))
	for i, want := range []struct{ exact, rounded float64 }{{153.33, 155}, {155.28, 160}, {146.86, 150}} {
		d := r.Divers[i]
		wantNear(t, d.Name+" permitted", d.PermittedL, 1073.3, 0.05)
		wantNear(t, d.Name+" exact", d.ShareTurnBar, want.exact, 0.005)
		wantNear(t, d.Name+" rounded", d.ShareTurnRoundedBar, want.rounded, 1e-9)
	}
}

// P5, the imperial twin: 71.2 ft³ at 2475 psi and 83 ft³ at 2640 psi. From 2400
// psi (the reference rounds 2500 down to it) a third is 800 psi = 23.01 ft³, for the
// other diver 732 psi: from 3600 psi turn 2868, in steps of 100 psi 2900.
func TestPracticeP5(t *testing.T) {
	const psi, foot = 1 / 14.504, 28.317 // bar, L: the reference's conversions
	a, b := 71.2*foot/(2475*psi), 83*foot/(2640*psi)
	in := level([]Diver{{Name: "A", RMVLMin: 20, Mains: mains(a, 2400*psi)}, {Name: "B", RMVLMin: 20, Mains: mains(b, 3600*psi)}})
	in.Policy.Rounding.StepBar = 100 * psi
	r := evaluated(t, in)
	wantNear(t, "a third, ft³", r.Divers[0].PermittedL/foot, 23.01, 0.01)
	wantNear(t, "A turns at psi", r.Divers[0].ShareTurnBar/psi, 1600, 1e-6)
	wantNear(t, "B turns at psi", r.Divers[1].ShareTurnBar/psi, 2868, 0.5)
	wantNear(t, "B rounded, psi", r.Divers[1].ShareTurnRoundedBar/psi, 2900, 1e-6)
}

// thirds is a level passage at 20 m (3 bar) as long as thirds of 24 L at 200 bar
// reach at 20 L/min: 1600 L are 26.67 min.
func thirds(swim float64, team []Diver) Input {
	in := handInput(swim, []Station{{Name: "a", DepthM: 20, Opening: true}, {Name: "b", DepthM: 20}},
		[]Leg{{ID: "l", From: "a", To: "b", LengthM: swim * 1600 / 60, Lined: true}}, team, "a", Move{To: "b"}, Move{To: "a"})
	in.Policy.CountOpenWaterAscent = false
	return in
}

func three() []Diver {
	return append(pair(24, 200, 20), Diver{Name: "Ruun", RMVLMin: 20, Mains: mains(24, 200)})
}

// P7: an exit 1.5 times as slow (zero visibility) leaves 0.25 for a pair and 0.3077
// for three who take turns as donor.
func TestPracticeP7(t *testing.T) {
	for _, c := range []struct {
		team []Diver
		x    float64
	}{{pair(24, 200, 20), 0.25}, {three(), 0.3077}} {
		in := thirds(15, c.team)
		in.Policy.SlowExitFactor, in.Policy.ThreeDonor = 1.5, DonorPooled
		r := evaluated(t, in)
		if r.Siphon.UniformFraction == nil {
			t.Fatal("one depth and one ratio, no fraction")
		}
		wantNear(t, "x", *r.Siphon.UniformFraction, c.x, 5e-5)
	}
}

// P9: sixths of 24 L at 210 bar: drop 35.0, turn 175.0, 840 L on the way in.
func TestPracticeP9(t *testing.T) {
	in := level(pair(24, 210, 20))
	in.Policy.ShareFraction = 1. / 6
	d := evaluated(t, in).Divers[0]
	wantNear(t, "permitted", d.PermittedL, 840, 1e-9)
	wantNear(t, "turn", d.ShareTurnBar, 175, 1e-9)
	wantNear(t, "rounded", d.ShareTurnRoundedBar, 175, 1e-9)
}

// P10: a stage of 11.1 L at 200 bar beside 24 L at 210. Thirds: stage to 133.3, mains to
// 140. Half + 15: the stage to 115 takes 203.5 L more than a third, so the mains turn at
// 148.48, in steps of 5 bar 150: 2420 L in both ways.
func TestPracticeP10(t *testing.T) {
	for _, c := range []struct {
		rule         string
		stage        float64 // L
		turn, within float64
	}{{StageFraction, 740, 140, 1e-9}, {StageHalfPlus15, 943.5, 148.48, 0.005}} {
		team := pair(24, 210, 20)
		team[0].Stages = []Cylinder{{ID: "stage", VolumeL: 11.1, StartBar: 200}}
		in := level(team)
		in.Policy.StageRule = c.rule
		r := evaluated(t, in)
		d := r.Divers[0]
		wantNear(t, c.rule+": stage", d.Stages[0].PermittedL, c.stage, 1e-6)
		wantNear(t, c.rule+": mains", d.ShareTurnBar, c.turn, c.within)
		wantNear(t, c.rule+": litres in", d.PermittedL+d.Stages[0].PermittedL, 2420, 1e-6)
		if want := map[string]float64{StageFraction: 140, StageHalfPlus15: 150}[c.rule]; d.ShareTurnRoundedBar != want {
			t.Errorf("%s: rounded %v, want %v", c.rule, d.ShareTurnRoundedBar, want)
		}
	}
}

// P12: thirds leave a pair nothing for an exit slower than the way in, three who take
// turns as donor an exit 1.33 times as slow.
func TestPracticeP12(t *testing.T) {
	for _, c := range []struct {
		team []Diver
		slow float64
	}{{pair(24, 200, 20), 1}, {three(), 4. / 3}} {
		for _, more := range []float64{0, 0.01} {
			in := thirds(15, c.team)
			in.Policy.SlowExitFactor, in.Policy.ThreeDonor = c.slow+more, DonorPooled
			r := evaluated(t, in)
			if more == 0 {
				wantNear(t, "nothing over", r.WorstSharing.MarginL, 0, 1e-6)
			} else if r.WorstSharing.MarginL > -1 {
				t.Errorf("%d divers, exit %v times as slow: %v L over", len(c.team), c.slow+more, r.WorstSharing.MarginL)
			}
		}
	}
}

// P14: approach 100 m, gas for 400 m from the surface each way: a loop of 600 m closes, one
// of 640 m does not.
func TestPracticeP14(t *testing.T) {
	for length, closes := range map[float64]bool{600: true, 640: false} {
		in := handInput(15, []Station{{Name: "a", DepthM: 20, Opening: true}, {Name: "j", DepthM: 20}, {Name: "far", DepthM: 20}},
			[]Leg{
				{ID: "in", From: "a", To: "j", LengthM: 100, Lined: true},
				{ID: "one", From: "j", To: "far", LengthM: length / 2, Lined: true},
				{ID: "other", From: "far", To: "j", LengthM: length / 2, Lined: true},
			}, pair(24, 200, 20), "a", Move{To: "j"}, Move{To: "a"})
		in.Policy.CountOpenWaterAscent = false
		in.Loops = []Circuit{{ID: "ring", Start: "a", Approach: []string{"in"}, Legs: []string{"one", "other"}}}
		c := evaluated(t, in).Closability[0]
		wantNear(t, "reach", c.ReachForwardM, 300, 1e-6)
		if c.Closes != closes {
			t.Errorf("a loop of %g m: %+v", length, c)
		}
	}
}

// P15: a traverse of 900 m, each end reaches 480 m: it passes, the marker belongs at 420 to
// 480 m from the first end.
func TestPracticeP15(t *testing.T) {
	in := handInput(18, []Station{{Name: "a", DepthM: 20, Opening: true}, {Name: "mid", DepthM: 20}, {Name: "b", DepthM: 20, Opening: true}},
		[]Leg{{ID: "one", From: "a", To: "mid", LengthM: 450, Lined: true}, {ID: "two", From: "mid", To: "b", LengthM: 450, Lined: true}},
		pair(24, 200, 20), "a", Move{To: "mid"}, Move{To: "a"})
	in.Policy.CountOpenWaterAscent = false
	in.Traverses = []Circuit{{ID: "through", StartA: "a", StartB: "b", Legs: []string{"one", "two"}}}
	c := evaluated(t, in).Closability[0]
	if !c.Closes || len(c.MarkerInterval) != 2 {
		t.Fatalf("%+v", c)
	}
	wantNear(t, "from", c.MarkerInterval[0], 420, 1e-6)
	wantNear(t, "to", c.MarkerInterval[1], 480, 1e-6)
}
