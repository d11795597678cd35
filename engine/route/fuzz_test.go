package route

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
)

// finite fails on any number in a value that is not finite.
func finite(t *testing.T, v reflect.Value, path string) {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			t.Fatalf("%s is %v", path, f)
		}
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			finite(t, v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			finite(t, v.Index(i), path+"[]")
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				finite(t, v.Field(i), path+"."+v.Type().Field(i).Name)
			}
		}
	}
}

// FuzzEvaluate: any input gives a result or problems, never both, never a
// panic, and only finite numbers; its path can be traced and left from anywhere.
func FuzzEvaluate(f *testing.F) {
	independent := siphonR02()
	independent.Team[0].Mains = []Cylinder{{ID: "a", VolumeL: 12, StartBar: 200}, {ID: "b", VolumeL: 10, StartBar: 190}}
	stage := siphonR02()
	id := "st"
	stage.GasModel = "real"
	stage.Team[0].Stages = []Cylinder{{ID: id, VolumeL: 11, StartBar: 200}}
	stage.Route.StartActions = []Action{{Action: ActSwitchTo, Diver: "Oda", Cylinder: &id}}
	stage.Route.Moves[0].Actions = []Action{{Action: ActDrop, Diver: "Oda", Cylinder: &id}, {Action: ActPlaceMarker, Marker: "m"}}
	stage.Route.LeftDeclared = []string{"st", "m"}
	stage.Verified = []Verification{{Legs: []string{"s2", "s3"}, PassedBy: []string{"Oda", "Keth"}, MarkerStation: "throat"}}
	stage.Loops = []Circuit{{ID: "x", Start: "sink", Approach: []string{"s1"}, Legs: []string{"s2", "s2"}}}
	stage.Policy.DelayMin = 2
	for _, in := range []Input{siphonR02(), independent, stage, {}} {
		b, err := json.Marshal(in)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var in Input
		if json.Unmarshal(b, &in) != nil {
			return
		}
		r, problems := Evaluate(in)
		if len(problems) > 0 {
			if r.Verdict != "" {
				t.Fatal("problems and a verdict")
			}
			return
		}
		if r.Verdict != Pass && r.Verdict != Fail && r.Verdict != Refused {
			t.Fatalf("verdict %q", r.Verdict)
		}
		finite(t, reflect.ValueOf(r), "result")
		if _, err := json.Marshal(r); err != nil {
			t.Fatal(err)
		}
		Zones(in)
		path, refused, _ := Trace(in)
		if path == nil {
			if len(refused) == 0 {
				t.Fatal("no path, no refusal")
			}
			return
		}
		finite(t, reflect.ValueOf(path.Pieces), "pieces")
		for i := range r.Moves {
			for _, at := range []Place{{Move: i + 1}, {Move: i + 1, MetresPast: r.Moves[i].DistanceM / 3}, {Move: i + 1, Arriving: true}, {Move: i + 1, InHold: true}} {
				out, _ := path.WayOut(at)
				finite(t, reflect.ValueOf(out), "way out")
			}
		}
	})
}
