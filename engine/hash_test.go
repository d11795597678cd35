package engine

import (
	"bytes"
	"encoding/json"
	"reflect"
	"testing"

	"lastlight/engine/enginetest"
)

func hashOf(t *testing.T, in Input) string {
	t.Helper()
	h, err := Hash(in, Evaluate(in))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func TestHashCoversValuesAndNotVersions(t *testing.T) {
	base := hashOf(t, enginetest.Pair())
	same := enginetest.Pair()
	same.Divers[1].Version, same.Cylinders[0].Version, same.Site.Version, same.Plan.Version = 9, 9, 9, 9
	same.Divers[1].Cards[0].Version, same.Cylinders[0].Analyses[0].Version = 9, 9
	same.PolicyVersion, same.DecidedAt = "7", enginetest.At("2026-06-14T07:00+02:00")
	if hashOf(t, same) != base {
		t.Error("an unrelated edit, or a later minute of the same day, changes the hash")
	}
	for name, change := range map[string]func(*Input){
		"a card's last day":  func(in *Input) { in.Divers[1].Cards[0].Expires = enginetest.Day("2027-01-01") },
		"a reading":          func(in *Input) { *in.Site.Readings[0].VisibilityM = 19 },
		"a start pressure":   func(in *Input) { *in.Plan.Supplies[0].PlannedBar = 201 },
		"a policy cell":      func(in *Input) { in.Policy.Gas.DelayMin = 1 },
		"a leg of the route": func(in *Input) { in.Route.Legs[0].LengthM = 121 },
	} {
		in := enginetest.Pair()
		change(&in)
		if hashOf(t, in) == base {
			t.Errorf("%s changes and the hash does not", name)
		}
	}
}

// An input written and read back gives the same report, byte for byte.
func TestReplay(t *testing.T) {
	in := enginetest.Pair()
	stored, err := Bytes(in)
	if err != nil {
		t.Fatal(err)
	}
	var back Input
	if err := json.Unmarshal(stored, &back); err != nil {
		t.Fatal(err)
	}
	first, err1 := Bytes(Evaluate(in))
	second, err2 := Bytes(Evaluate(back))
	if err1 != nil || err2 != nil || !bytes.Equal(first, second) {
		t.Errorf("replayed report differs (%v, %v)", err1, err2)
	}
	var r Report
	if err := json.Unmarshal(first, &r); err != nil {
		t.Fatal(err)
	}
	if again, err := Bytes(r); err != nil || !bytes.Equal(first, again) {
		t.Errorf("the report does not survive being stored (%v)", err)
	}
}

// Evaluate does not write to its input.
func TestInputIsLeftAlone(t *testing.T) {
	in, untouched := enginetest.Pair(), enginetest.Pair()
	Evaluate(in)
	if !reflect.DeepEqual(in, untouched) {
		t.Error("the input was changed")
	}
}

// Leaving out members on the text is what leaving them out of the decoded value is.
func TestHashedTextIsTheValueWithoutVersions(t *testing.T) {
	in := enginetest.Pair()
	for _, v := range []any{in, Evaluate(in), map[string]any{"version": map[string]any{"a": []int{1, 2}}, "x": "a\"version\":1,", "y": []any{map[string]any{"version": 1}, map[string]any{"b": 1, "version": "x"}}}} {
		text, err := Bytes(v)
		if err != nil {
			t.Fatal(err)
		}
		var want, got any
		if err := json.Unmarshal(text, &want); err != nil {
			t.Fatal(err)
		}
		drop(want)
		if err := json.Unmarshal(appendHashed(nil, text), &got); err != nil {
			t.Fatalf("%T: %v", v, err)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%T: something else was left out than the unhashed members", v)
		}
	}
}

func drop(v any) {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if unhashed[k] {
				delete(v, k)
			} else {
				drop(x)
			}
		}
	case []any:
		for _, x := range v {
			drop(x)
		}
	}
}
