package route

import (
	"slices"
	"testing"
)

// All refusals of D33 at once, each with its move number.
func TestRefusalsAllAtOnce(t *testing.T) {
	id, other := "st", "none"
	in := siphonR02()
	in.Policy.StageRule = StageHalfPlus15
	in.Team[0].Stages = []Cylinder{{ID: id, VolumeL: 11, StartBar: 80}}
	in.Stations = append(in.Stations, Station{Name: "side", DepthM: 10})
	in.Legs = append(in.Legs,
		Leg{ID: "self", From: "bend", To: "bend", LengthM: 10, Lined: true},
		Leg{ID: "steep", From: "throat", To: "ledge", LengthM: 7, Lined: true},
		Leg{ID: "jump", From: "throat", To: "side", LengthM: 20})
	in.Legs[0].FlowMMin = 7
	in.Route.Moves = []Move{
		{Leg: "s1", To: "throat", RunLine: true, Actions: []Action{{Action: ActDrop, Diver: "Oda", Cylinder: &other}, {Action: ActPickUp, Diver: "Oda", Cylinder: &id}}},
		{To: "ledge"},
		{To: "throat"},
		{Leg: "jump", To: "side", Actions: []Action{{Action: ActRemoveMarker, Marker: "disc"}, {Action: ActDrop, Diver: "Oda", Cylinder: &id}}},
		{Leg: "jump", To: "throat", RecoverLine: true, Actions: []Action{{Action: ActSwitchTo, Diver: "Oda", Cylinder: &id}}},
		{Leg: "jump", To: "side", RunLine: true, Actions: []Action{{Action: ActPlaceMarker, Marker: "own"}}},
		{Leg: "s3", To: "bend"},
	}
	r, problems := Evaluate(in)
	if len(problems) > 0 || r.Verdict != Refused {
		t.Fatalf("problems %v, verdict %s", problems, r.Verdict)
	}
	want := []struct {
		kind, object string
		move         int
	}{
		{RefuseSelfLeg, "self", 0},
		{RefuseShortLeg, "steep", 0},
		{RefuseHalfPlus15, "st", 0},
		{RefuseRunOverLine, "s1", 1},
		{RefuseProgress, "s1", 1},
		{RefuseDrop, "none", 1},
		{RefusePickUp, "st", 1},
		{RefuseNameLeg, "ledge", 2},
		{RefuseNameLeg, "throat", 3},
		{RefuseNoLine, "jump", 4},
		{RefuseMarker, "disc", 4},
		{RefuseNoLine, "jump", 5},
		{RefuseRecover, "jump", 5},
		{RefuseSwitch, "st", 5},
		{RefuseNoLeg, "s3", 7},
		{RefuseEnd, "bend", 7},
		{RefuseLineLeft, "jump", 0},
		{RefuseMarkerLeft, "own", 0},
		{RefuseCylinderLeft, "st", 0},
	}
	got := slices.Clone(r.Refused)
	for _, w := range want {
		i := slices.IndexFunc(got, func(x Refusal) bool { return x.Kind == w.kind && x.Object == w.object && x.Move == w.move })
		if i < 0 {
			t.Errorf("missing %+v", w)
			continue
		}
		got = slices.Delete(got, i, i+1)
	}
	for _, x := range got {
		t.Errorf("not expected: %s", x.Phrase)
	}
}

func TestStartMustBeAnOpening(t *testing.T) {
	in := siphonR02()
	in.Stations[0].AirBell = true // breathable, rock-roofed: never an exit
	r, _ := Evaluate(in)
	if r.Verdict != Refused || r.Refused[0].Kind != RefuseStart {
		t.Errorf("an air bell as start: %+v", r.Refused)
	}
}
