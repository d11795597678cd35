package clubpolicy

import (
	"encoding/json"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	"lastlight/server/internal/fault"
)

// FuzzDocument: a policy document is good and stays the same through its
// canonical form, or every fault is noted; never both, never a panic.
func FuzzDocument(f *testing.F) {
	b, err := json.Marshal(policy.Default())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte(`{"ladder": [1], "team": null}`))
	f.Add([]byte(`[`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var problems fault.Problems
		p := Decode(&problems, b, calendar.Day{})
		if len(problems.List()) > 0 {
			return
		}
		written, err := Canonical(p)
		if err != nil {
			t.Fatal(err)
		}
		var again fault.Problems
		Decode(&again, written, calendar.Day{})
		if len(again.List()) > 0 {
			t.Fatalf("the canonical form has faults: %v", again.List())
		}
	})
}
