package fault

import (
	"strings"
	"testing"
)

// What a person reads is in words; programs read the state as it is kept.
func TestWordsOfAFault(t *testing.T) {
	e := NotInState("plan", "loop", "in_water", "draft", "stale")
	if want := `plan "loop" is in the water; this is allowed when it is draft or stale`; e.Message != want || e.Metadata["state"] != "in_water" {
		t.Errorf("%q, %v; want %q", e.Message, e.Metadata, want)
	}
	if Wrong(nil) != nil {
		t.Error("nothing wrong is an error")
	}
	for n, want := range map[int]string{1: "one thing is wrong", 3: "3 things are wrong"} {
		if err := Wrong(make([]Problem, n)); !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%d problems: %v", n, err)
		}
	}
}
