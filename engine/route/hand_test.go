package route

import (
	"math"
	"testing"

	"lastlight/engine/gas"
)

// policyOfVectors is the policy of the worked scenarios (routes.json): no
// stress, no floor, no delay.
func policyOfVectors() Policy {
	return Policy{
		ShareFraction: 1. / 3, Rounding: Rounding{RoundDropFloor, 5}, StressFactor: 1, PlannedReserveBar: 40,
		VerifiedCounts: VerifiedAfterMarker, VerificationDays: 7, AscentMMin: 9, DescentMMin: 18, CountOpenWaterAscent: true,
		MinProgressMMin: 6, SlowExitFactor: 1, ThreeDonor: DonorSingle, WaitingGas: WaitingOwn, StageRule: StageFraction, StageFraction: 1. / 3,
	}
}

func pair(volume, bar, rmv float64) []Diver {
	main := []Cylinder{{VolumeL: volume, StartBar: bar}}
	return []Diver{{Name: "Oda", RMVLMin: rmv, Mains: main}, {Name: "Keth", RMVLMin: rmv, Mains: main}}
}

func handInput(swim float64, stations []Station, legs []Leg, team []Diver, start string, moves ...Move) Input {
	return Input{
		Water: Water{1, 0.1}, GasModel: gas.Ideal, Policy: policyOfVectors(), Speeds: Speeds{swim, swim},
		Stations: stations, Legs: legs, Team: team, Route: Route{Start: start, Moves: moves},
	}
}

func evaluated(t *testing.T, in Input) Result {
	t.Helper()
	r, problems := Evaluate(in)
	if len(problems) > 0 || len(r.Refused) > 0 {
		t.Fatalf("problems %v, refused %v", problems, r.Refused)
	}
	return r
}

func wantNear(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v ± %v", what, got, want, within)
	}
}

func checkNamed(t *testing.T, r Result, name string) Check {
	t.Helper()
	for _, c := range r.Checks {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no check %s", name)
	return Check{}
}

// R01 of the hand-worked scenarios (method handbook, routes-by-hand):
// in 67.7 bar·min × 18 = 1218.6 L, out 48.357 × 36 = 1740.86 L, left over 2080.54 L.
func TestHandR01(t *testing.T) {
	r := evaluated(t, handInput(12,
		[]Station{{Name: "basin", Opening: true}, {Name: "mouth", DepthM: 9}, {Name: "hall", DepthM: 14}, {Name: "bend", DepthM: 18}},
		[]Leg{
			{ID: "q1", From: "basin", To: "mouth", LengthM: 20, FlowMMin: -2, Lined: true},
			{ID: "q2", From: "mouth", To: "hall", LengthM: 120, FlowMMin: -2, Lined: true},
			{ID: "q3", From: "hall", To: "bend", LengthM: 150, FlowMMin: -2, Lined: true},
		},
		pair(24, 210, 18), "basin",
		Move{To: "mouth"}, Move{To: "hall"}, Move{To: "bend"}, Move{To: "hall"}, Move{To: "mouth"}, Move{To: "basin"}))
	wantNear(t, "penetration gas", r.Divers[0].PenetrationL, 1218.6, 1e-9)
	wantNear(t, "way out", r.Moves[2].WayOutArriving.BarMin, 48.357142857, 1e-8)
	wantNear(t, "worst sharing", r.WorstSharing.MarginL, 2080.542857, 1e-5)
	if r.Verdict != Pass || !r.Reach.WholeRoute {
		t.Errorf("verdict %s, reach %+v", r.Verdict, r.Reach)
	}
}

// R02: the siphon on which thirds are kept and two do not get out; short 98.69 L
// at the bend, reach 173.72 m past the ledge.
func siphonR02() Input {
	return handInput(12,
		[]Station{{Name: "sink", Opening: true}, {Name: "throat", DepthM: 8}, {Name: "ledge", DepthM: 16}, {Name: "bend", DepthM: 19}},
		[]Leg{
			{ID: "s1", From: "sink", To: "throat", LengthM: 24, FlowMMin: 2, Lined: true},
			{ID: "s2", From: "throat", To: "ledge", LengthM: 190, FlowMMin: 2, Lined: true},
			{ID: "s3", From: "ledge", To: "bend", LengthM: 180, FlowMMin: 2, Lined: true},
		},
		pair(24, 210, 20), "sink",
		Move{To: "throat"}, Move{To: "ledge"}, Move{To: "bend"}, Move{To: "ledge"}, Move{To: "throat"}, Move{To: "sink"})
}

func TestHandR02(t *testing.T) {
	r := evaluated(t, siphonR02())
	wantNear(t, "worst sharing", r.WorstSharing.MarginL, -98.69, 0.01)
	wantNear(t, "reach", r.Reach.Place.MetresPast, 173.72, 0.005)
	if r.Verdict != Fail || !checkNamed(t, r, CheckShareRule).Passed || r.Governs != BindSharing {
		t.Errorf("verdict %s, governs %s", r.Verdict, r.Governs)
	}
	// The legs are inflow (D38): 2 m/min against the way out.
	if len(r.Siphon.InflowLegs) != 3 || r.Siphon.Applied {
		t.Errorf("siphon %+v", r.Siphon)
	}
	in := siphonR02()
	in.Policy.SiphonRow, in.Policy.SiphonFraction = SiphonFraction, 0.25
	if r = evaluated(t, in); !r.Siphon.Applied || math.Abs(r.Divers[0].PermittedL-1260) > 1e-9 || checkNamed(t, r, CheckShareRule).Passed {
		t.Errorf("siphon row not applied: %+v", r.Siphon)
	}
	in.Policy.SiphonRow = SiphonRefuse
	if r = evaluated(t, in); checkNamed(t, r, CheckSiphon).Passed {
		t.Error("siphon row refuses, the plan stands")
	}
}

// R05c: the place inside a slope, at no depth point and no tie, 48.27 m past the
// perch: -11.74 L on the way home.
func TestHandR05c(t *testing.T) {
	in := handInput(12,
		[]Station{{Name: "pool", Opening: true}, {Name: "lip", DepthM: 6}, {Name: "perch", DepthM: 8}},
		[]Leg{
			{ID: "c1", From: "pool", To: "lip", LengthM: 15, Lined: true},
			{ID: "c2", From: "lip", To: "perch", LengthM: 113, Lined: true, DepthPoints: []DepthPoint{{40, 30}}},
		},
		pair(24, 114, 18), "pool", Move{To: "lip"}, Move{To: "perch"}, Move{To: "lip"}, Move{To: "pool"})
	in.Policy.StressFactor, in.Policy.DelayMin = 1.5, 6
	in.Policy.PlannedReserveBar = 35
	r := evaluated(t, in)
	wantNear(t, "worst sharing", r.WorstSharing.MarginL, -11.74, 0.005)
	wantNear(t, "where", r.WorstSharing.Place.MetresPast, 48.2727, 0.0001)
	wantNear(t, "ambient pressure there", 1+r.WorstSharing.Place.DepthM/10, 3.25479, 0.00001)
	if c := checkNamed(t, r, CheckSharingLegEnds); !c.Passed {
		t.Errorf("leg ends alone already fail: %+v", c)
	}
}

// P6 of the practitioner's reference, 4.4: 20 m, 3 bar throughout, RMV 20, 4800 L,
// thirds. Spring: 26.67 min in, 320 m, margin +1067 L; siphon: 480 m, short 1600 L.
// The ascent is left out as in the example.
func TestPracticeP6(t *testing.T) {
	for _, c := range []struct{ flow, metres, margin, x float64 }{{-3, 320, 1066.667, 0.428571}, {3, 480, -1600, 0.25}} {
		in := handInput(15, []Station{{Name: "a", DepthM: 20, Opening: true}, {Name: "b", DepthM: 20}},
			[]Leg{{ID: "l", From: "a", To: "b", LengthM: c.metres, FlowMMin: c.flow, Lined: true}},
			pair(24, 200, 20), "a", Move{To: "b"}, Move{To: "a"})
		in.Policy.CountOpenWaterAscent = false
		r := evaluated(t, in)
		wantNear(t, "margin", r.WorstSharing.MarginL, c.margin, 0.01)
		if r.Siphon.UniformFraction == nil {
			t.Fatal("one depth and one ratio, no fraction")
		}
		wantNear(t, "x", *r.Siphon.UniformFraction, c.x, 1e-6)
	}
}

// Real contents: a 300 bar cylinder holds less than pressure × volume, and a
// third of it is less pressure than a third of the gauge; the turn printed is
// never below what the pressures alone give (4.1).
func TestRealGasTurn(t *testing.T) {
	in := siphonR02()
	in.GasModel = gas.Real
	for i := range in.Team {
		in.Team[i].Mains = []Cylinder{{VolumeL: 24, StartBar: 300}}
	}
	r := evaluated(t, in)
	if u := r.Divers[0].UsableL; u > 24*300*0.95 || u < 24*300*0.85 {
		t.Errorf("usable %v L of air at 300 bar; model V has Z = 1.11 there", u)
	}
	if turn := r.Divers[0].ShareTurnBar; turn < 200-1e-9 {
		t.Errorf("share turn %v bar, pressures alone give 200", turn)
	}
	found := false
	for _, c := range r.Cautions {
		found = found || c.Kind == CautionTemperature
	}
	if !found {
		t.Error("no caution that no temperature was entered")
	}
}

// Two independent cylinders (D24): either alone must bring the diver out, and
// they are breathed within 35 bar (practice 4.11).
func TestIndependentMains(t *testing.T) {
	mains := []Cylinder{{ID: "left", VolumeL: 12, StartBar: 200}, {ID: "right", VolumeL: 12, StartBar: 200}}
	in := handInput(12, []Station{{Name: "pool", Opening: true}, {Name: "end", DepthM: 20}},
		[]Leg{{ID: "l", From: "pool", To: "end", LengthM: 240, Lined: true}},
		[]Diver{{Name: "Oda", RMVLMin: 20, Mains: mains}, {Name: "Keth", RMVLMin: 20, Mains: mains}}, "pool",
		Move{To: "end"}, Move{To: "pool"})
	in.Policy.StressFactor, in.Policy.DelayMin = 1.5, 2
	r := evaluated(t, in)
	// In 20 min × 2 bar × 20 = 800 L, half from each; left in the other 2400 - 400;
	// out 40 bar·min × 30 and 2 min × 3 bar × 30.
	c := checkNamed(t, r, CheckIndependent)
	if !c.Applies || !c.Passed {
		t.Fatalf("check %+v", c)
	}
	wantNear(t, "margin", c.Margin, 2000-1200-180, 1e-9)
	if s := checkNamed(t, r, CheckSpread); !s.Applies || !s.Passed {
		t.Errorf("spread %+v", s)
	}
	if len(r.Divers[0].Mains) != 2 || r.Divers[0].Mains[1].TurnBar <= 0 {
		t.Errorf("a turn for each cylinder: %+v", r.Divers[0].Mains)
	}
	left := "left"
	in.Route.StartActions = []Action{{Action: ActSwitchTo, Diver: "Oda", Cylinder: &left}}
	r = evaluated(t, in)
	if s := checkNamed(t, r, CheckSpread); s.Passed || s.Who != "Oda" {
		t.Errorf("breathed from one alone: %+v", s)
	}
	// 35 bar × 12 L = 420 L = 21 bar·min at 20 L/min; 20 m deep after 20 min, so
	// t + t²/20 = 21: t = √520 - 10.
	wantNear(t, "reach", r.Reach.Place.ElapsedMin, math.Sqrt(520)-10, 1e-6)
}

// D11: where the way out holds a major restriction two cannot share.
func TestMajorRestriction(t *testing.T) {
	in := siphonR02()
	for i := range in.Team {
		in.Team[i].Mains = []Cylinder{{VolumeL: 40, StartBar: 230}}
	}
	in.Legs[1].Restriction = RestrictionMajor
	r := evaluated(t, in)
	c := checkNamed(t, r, CheckShareHere)
	if c.Passed || c.Verdict != MeansRefuse || r.Reach.WholeRoute || r.Reach.Place.Station != "throat" || r.Verdict != Fail {
		t.Errorf("check %+v, reach %+v", c, r.Reach)
	}
	for i := range in.Team {
		in.Team[i].Mains = []Cylinder{{ID: "a", VolumeL: 20, StartBar: 230}, {ID: "b", VolumeL: 20, StartBar: 230}}
	}
	if c = checkNamed(t, evaluated(t, in), CheckShareHere); c.Passed || c.Verdict != MeansWaiver {
		t.Errorf("independent supplies need a waiver: %+v", c)
	}
}

// D11 at leg ends only: a squeeze from one opening to another that both have passed both ways. Inside it every way out holds the
// restriction; at its ends the way out is straight up and holds none.
func TestMajorRestrictionBetweenLegEnds(t *testing.T) {
	in := handInput(12, []Station{{Name: "east", DepthM: 3, Opening: true}, {Name: "west", DepthM: 3, Opening: true}},
		[]Leg{{ID: "squeeze", From: "east", To: "west", LengthM: 60, Lined: true, Restriction: RestrictionMajor}},
		pair(24, 200, 18), "east", Move{To: "west"})
	in.Policy.VerifiedCounts = VerifiedFromStart
	in.Verified = []Verification{{Legs: []string{"squeeze"}, PassedBy: []string{"Oda", "Keth"}, DaysAgo: 1, Directions: []string{"from_to", "to_from"}}}
	r := evaluated(t, in)
	if checkNamed(t, r, CheckSharing).Passed || checkNamed(t, r, CheckShareHere).Passed || r.Verdict != Fail {
		t.Errorf("inside the squeeze two cannot share: %s, %+v", r.Verdict, r.Checks)
	}
	if c := checkNamed(t, r, CheckSharingLegEnds); !c.Passed {
		t.Errorf("at its ends they can: %+v", c)
	}
	in.Verified = nil
	if c := checkNamed(t, evaluated(t, in), CheckSharingLegEnds); c.Passed {
		t.Errorf("over a squeeze that nobody has passed the way out leads back: %+v", c)
	}
}

// D9: in declared open water the way out is straight up from every place.
func TestOpenWaterLeg(t *testing.T) {
	free := false
	in := handInput(12, []Station{{Name: "a", DepthM: 10, Opening: true}, {Name: "b", DepthM: 20, Opening: true}},
		[]Leg{{ID: "l", From: "a", To: "b", LengthM: 60, Lined: true, Overhead: &free}}, pair(24, 200, 20), "a", Move{To: "b"})
	r := evaluated(t, in)
	wantNear(t, "way out at the end", r.Moves[0].WayOutArriving.BarMin, 20./9*2, 1e-9)
	if r.Zones[0].Zone != ZoneOpenWater || r.Moves[0].WayOutArriving.Metres != 0 {
		t.Errorf("zone %+v, way out %+v", r.Zones[0], r.Moves[0].WayOutArriving)
	}
	in.Legs[0].Overhead = nil // nothing declared: overhead
	r = evaluated(t, in)
	if r.Zones[0].Zone == ZoneOpenWater || r.Moves[0].WayOutArriving.Metres != 60 {
		t.Errorf("undeclared: zone %+v, way out %+v", r.Zones[0], r.Moves[0].WayOutArriving)
	}
}

// Minimum gas (method handbook, practice 4.8): the turn pressure is the highest of all, and no step of the gauge brings it below.
// R01 turns at thirds, 140 bar of 210; a minimum of 152 bar comes first, on the gauge 155 (drops by steps of 5, D26).
func TestMinimumGasComesFirst(t *testing.T) {
	for _, x := range []struct {
		minimum, turn, rounded float64
		governs                string
	}{{0, 140, 140, "share"}, {139, 140, 140, "share"}, {152, 152, 155, "minimum"}} {
		in := siphonR02()
		for i := range in.Legs {
			in.Legs[i].FlowMMin = -2
		}
		in.Policy.MinimumGasBar = x.minimum
		g := evaluated(t, in).Divers[0]
		wantNear(t, "turn", g.TurnBar, x.turn, 1e-9)
		wantNear(t, "turn on the gauge", g.TurnRoundedBar, x.rounded, 1e-9)
		if g.TurnGovernedBy != x.governs {
			t.Errorf("minimum %g bar: governed by %s, want %s", x.minimum, g.TurnGovernedBy, x.governs)
		}
	}
}

// Gas for stops is nobody's way out (D18): a cylinder of it that waits on the line, breathed by nobody, changes neither what two
// need nor where they turn. The dearest place of the way home lies beyond it, in the dip of R05c.
func TestStopGasThatWaitsIsNotCounted(t *testing.T) {
	plan := func(deco bool) Result {
		team := pair(24, 116, 18)
		there, back := Move{To: "perch"}, Move{To: "perch"}
		if deco {
			id := "stops"
			for d := range team {
				team[d].Stages = []Cylinder{{ID: id, VolumeL: 7, StartBar: 200, Deco: true}}
				there.Actions = append(there.Actions, Action{Action: ActDrop, Diver: team[d].Name, Cylinder: &id})
				back.Actions = append(back.Actions, Action{Action: ActPickUp, Diver: team[d].Name, Cylinder: &id})
			}
		}
		in := handInput(12,
			[]Station{{Name: "pool", Opening: true}, {Name: "lip", DepthM: 6}, {Name: "perch", DepthM: 8}, {Name: "end", DepthM: 8}},
			[]Leg{
				{ID: "c1", From: "pool", To: "lip", LengthM: 15, Lined: true},
				{ID: "c2", From: "lip", To: "perch", LengthM: 113, Lined: true, DepthPoints: []DepthPoint{{40, 30}}},
				{ID: "c3", From: "perch", To: "end", LengthM: 400, Lined: true},
			},
			team, "pool", Move{To: "lip"}, there, Move{To: "end"}, back, Move{To: "lip"}, Move{To: "pool"})
		in.Policy.StressFactor, in.Policy.DelayMin = 1.5, 6
		in.Policy.ShareFraction, in.Policy.PlannedReserveBar = 1, 0 // what two need binds, nothing else
		return evaluated(t, in)
	}
	with, without := plan(true), plan(false)
	if without.Reach.WholeRoute || without.Reach.Place.Move != 3 {
		t.Fatalf("the reach %+v is not beyond the perch", without.Reach.Place)
	}
	wantNear(t, "reach", with.Reach.Place.MetresPast, without.Reach.Place.MetresPast, 1e-6)
	wantNear(t, "worst sharing", with.WorstSharing.MarginL, without.WorstSharing.MarginL, 1e-6)
}

// A cylinder that waits on the line may be gone (D19, D24): its owner alone then needs the mains for the whole way home. Level at
// 20 m, 3 bar, 12 m/min, 20 L/min, half as much again after a failure. In: 1000 L of the stage over 200 m, then 1500 L of the mains
// over 300 m; left 3300 L. Home: 500 m at 90 L/min, 3750 L: short 450 L. While it is there, two out on Keth's 2300 L need 3750 L for
// Keth, 2250 L for Oda to the stage, and beyond it what its 1200 L less the reserve of 40 bar do not cover of 1500 L, 740 L.
func TestTheWaitingCylinderIsGone(t *testing.T) {
	stage := "stage"
	act := func(action string) []Action { return []Action{{Action: action, Diver: "Oda", Cylinder: &stage}} }
	team := pair(24, 200, 20)
	team[0].Stages = []Cylinder{{ID: stage, VolumeL: 11, StartBar: 200}}
	in := handInput(12,
		[]Station{{Name: "a", DepthM: 20, Opening: true}, {Name: "s", DepthM: 20}, {Name: "end", DepthM: 20}},
		[]Leg{{ID: "one", From: "a", To: "s", LengthM: 200, Lined: true}, {ID: "two", From: "s", To: "end", LengthM: 300, Lined: true}},
		team, "a",
		Move{To: "s", Actions: append(act(ActDrop), Action{Action: ActSwitchTo, Diver: "Oda"})}, Move{To: "end"},
		Move{To: "s", Actions: append(act(ActPickUp), act(ActSwitchTo)...)}, Move{To: "a"})
	in.Route.StartActions = act(ActSwitchTo)
	in.Policy.CountOpenWaterAscent, in.Policy.StressFactor = false, 1.5
	r := evaluated(t, in)
	wantNear(t, "two out at the end", r.WorstSharing.MarginL, 2300-3750-2250-740, 1e-6)
	c := checkNamed(t, r, CheckLostCylinder)
	if c.Passed {
		t.Error("without the stage Oda gets out")
	}
	wantNear(t, "left over", c.Margin, -450, 1e-6)
}

// Where the way out cannot be swum at contingency speed two do not get out, whatever gas they have (D16).
func TestNoWayOutFailsTheSharing(t *testing.T) {
	in := handInput(14, []Station{{Name: "a", DepthM: 5, Opening: true}, {Name: "b", DepthM: 5}},
		[]Leg{{ID: "one", From: "a", To: "b", LengthM: 20, FlowMMin: 8, Lined: true}},
		pair(24, 230, 15), "a", Move{To: "b"}, Move{To: "a"})
	if r := evaluated(t, in); r.Verdict != Pass {
		t.Fatalf("at 14 m/min against 8: %s", r.Verdict)
	}
	in.Speeds.ContingencyMMin = 7
	r := evaluated(t, in)
	c := checkNamed(t, r, CheckSharing)
	if r.Verdict != Fail || c.Passed || c.Place == nil || c.Place.Station != "a" {
		t.Errorf("at 7 m/min against 8: %s, %+v", r.Verdict, c)
	}
}

// Whoever breathes a stage brings it up with the reserve, as the mains (D24): there and back 200 m at 3 bar, 12 m/min and 20 L/min
// are 1000 L, of 11 L 90.9 bar; of 150 bar 59 are left, of 120 bar 29, and 40 are asked for.
func TestStageThatWasBreathedKeepsTheReserve(t *testing.T) {
	stage := "stage"
	for bar, passes := range map[float64]bool{150: true, 120: false} {
		team := pair(24, 200, 20)
		team[0].Stages = []Cylinder{{ID: stage, VolumeL: 11, StartBar: bar}}
		in := handInput(12, []Station{{Name: "a", DepthM: 20, Opening: true}, {Name: "b", DepthM: 20}},
			[]Leg{{ID: "one", From: "a", To: "b", LengthM: 100, Lined: true}}, team, "a", Move{To: "b"}, Move{To: "a"})
		in.Route.StartActions = []Action{{Action: ActSwitchTo, Diver: "Oda", Cylinder: &stage}}
		in.Policy.CountOpenWaterAscent = false
		c := checkNamed(t, evaluated(t, in), CheckPlannedExit)
		if c.Passed != passes || c.Who != "Oda stage" {
			t.Errorf("from %g bar: %+v", bar, c)
		}
		wantNear(t, "left", c.Measured, bar-1000./11, 1e-6)
	}
}

// The turn looks up to the reach, that place included, and not beyond it (D25, D27): 120 m down to 10 m at 12 m/min and 20 L/min are
// 10 min × 1.5 bar × 20 = 300 L, breathed from a stage of 2000 L. At the depot two need no mains: 40 × 15 = 600 L of 1700 + 250 L.
// Once the stages stand there, two do not get out on the mains, 10 L at 25 bar: the depot is the reach, and the turn is
// the 25 bar they have there. The 60 bar that two would need behind it is no turn, least of all of a cylinder that starts at 25.
func TestTurnLooksNoFurtherThanTheReach(t *testing.T) {
	team := pair(10, 25, 20)
	var start, drop, pickUp []Action
	for i, stage := range []string{"stage O", "stage K"} {
		team[i].Stages = []Cylinder{{ID: stage, VolumeL: 10, StartBar: 200}}
		start = append(start, Action{Action: ActSwitchTo, Diver: team[i].Name, Cylinder: &stage})
		drop = append(drop, Action{Action: ActDrop, Diver: team[i].Name, Cylinder: &stage})
		pickUp = append(pickUp, Action{Action: ActPickUp, Diver: team[i].Name, Cylinder: &stage})
	}
	in := handInput(12,
		[]Station{{Name: "pool", Opening: true}, {Name: "depot", DepthM: 10}, {Name: "end", DepthM: 10}},
		[]Leg{{ID: "one", From: "pool", To: "depot", LengthM: 120, Lined: true}, {ID: "two", From: "depot", To: "end", LengthM: 12, Lined: true}},
		team, "pool", Move{To: "depot", Actions: drop}, Move{To: "end"}, Move{To: "depot", Actions: pickUp}, Move{To: "pool"})
	in.Route.StartActions = start
	in.Policy.ShareFraction, in.Policy.WaitingGas, in.Policy.PlannedReserveBar = 0.6, WaitingNone, 0
	r := evaluated(t, in)
	if r.Reach.WholeRoute || r.Reach.Place.Station != "depot" || r.Reach.Place.DistanceM != 120 {
		t.Fatalf("reach %+v", r.Reach)
	}
	g := r.Divers[0]
	wantNear(t, "two out", g.TwoOutBar, 0, 1e-9)
	wantNear(t, "turn", g.TurnBar, 25, 1e-9)
	if g.TurnGovernedBy != "reach" {
		t.Errorf("governed by %s", g.TurnGovernedBy)
	}
}
