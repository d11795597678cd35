package clubpolicy

import (
	"encoding/json"
	"strings"
	"testing"

	"lastlight/engine/policy"
	"lastlight/server/internal/fault"
)

func shipped(t *testing.T) map[string]any {
	t.Helper()
	b, err := Canonical(policy.Default())
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func TestShippedDefaultReadsAsItself(t *testing.T) {
	t.Parallel()
	b, _ := json.Marshal(shipped(t))
	p := fault.Collect("")
	got := Decode(p, b)
	if len(p.List()) > 0 {
		t.Fatalf("problems in the shipped default: %v", p.List())
	}
	again, _ := Canonical(got)
	if want, _ := Canonical(policy.Default()); string(again) != string(want) {
		t.Error("the shipped default reads as another policy")
	}
}

func TestEveryFaultOfADocumentIsNamed(t *testing.T) {
	t.Parallel()
	m := shipped(t)
	m["colour"] = "red"
	delete(m, "watch")
	m["team"].(map[string]any)["solo"] = 3
	m["name"] = 4
	b, _ := json.Marshal(m)
	p := fault.Collect("policy.")
	Decode(p, b)
	var all []string
	for _, x := range p.List() {
		all = append(all, x.Field)
	}
	text := strings.Join(all, " ")
	for _, want := range []string{"policy.document.colour", "policy.document.watch", "policy.document.team.solo", "policy.document.name"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s is not named in %v", want, all)
		}
	}
}

// What the engine says of a cell stands under "expected:", and does not say that word again.
func TestExpectedIsSaidOnce(t *testing.T) {
	t.Parallel()
	m := shipped(t)
	m["people"].(map[string]any)["medical_bands"] = []any{}
	b, _ := json.Marshal(m)
	p := fault.Collect("policy.")
	Decode(p, b)
	if len(p.List()) == 0 {
		t.Fatal("a policy without medical bands is taken")
	}
	for _, x := range p.List() {
		if x.Expected == "" || strings.HasPrefix(x.Expected, "expected") {
			t.Errorf("%s: expected: %s", x.Field, x.Expected)
		}
	}
}
