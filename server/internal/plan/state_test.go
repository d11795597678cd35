package plan

import (
	"slices"
	"strings"
	"testing"

	"lastlight/server/internal/fault"
)

// The table written out again, as the design's list of states has it
// (draft → submitted → approved | refused | withdrawn; approved → stale →
// re-checked; approved → in water → closed; a change makes a draft).
var allowed = map[State]string{
	Draft:     "edit archive submit withdraw",
	Submitted: "edit submit approve refuse waive countersign withdraw_a_waiver withdraw acknowledge",
	Approved:  "edit refuse withdraw_a_waiver withdraw go_stale expire acknowledge enter",
	Refused:   "edit archive submit withdraw",
	Withdrawn: "edit archive",
	Stale:     "edit submit approve refuse waive countersign withdraw_a_waiver withdraw go_stale expire acknowledge enter",
	Expired:   "edit archive",
	InWater:   "close",
	Closed:    "archive",
}

func TestEveryOperationInEveryState(t *testing.T) {
	for _, s := range States() {
		for _, op := range Operations() {
			want := slices.Contains(strings.Fields(allowed[s]), strings.ReplaceAll(string(op), " ", "_"))
			_, err := Next("p", s, op)
			if got := err == nil; got != want {
				t.Errorf("%s in %s: allowed %v, want %v", op, s, got, want)
			}
			if err != nil && !fault.Is(err, fault.WrongState) {
				t.Errorf("%s in %s: %v is no WrongState", op, s, err)
			}
		}
	}
	if _, err := Next("p", Draft, "teleport"); err == nil {
		t.Error("an unknown operation was allowed")
	}
}
