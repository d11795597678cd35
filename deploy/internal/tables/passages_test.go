package tables

import (
	"encoding/json"
	"os"
	"slices"
	"testing"
)

// A dive that no schedule exists for (D53) has that for its only flag, however much
// gas was breathed until it was given up: P10a, which has back gas alone, with 15 h at
// the far end and a GF of 30/35.
func TestNoScheduleIsTheOnlyFlag(t *testing.T) {
	content, err := os.ReadFile("../../../testdata/tables/passages.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Scenarios []map[string]any `json:"scenarios"`
	}
	if err := json.Unmarshal(content, &file); err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(file.Scenarios, func(s map[string]any) bool { return s["id"] == "P10a" })
	row := file.Scenarios[i]
	in := row["input"].(map[string]any)
	moves := in["route"].(map[string]any)["moves"].([]any)
	moves[3].(map[string]any)["hold_min"] = 900
	in["decompression"].(map[string]any)["gf_high"] = 0.35
	in["ways_out_from"] = []any{}
	none := map[string]any{"flag": "no_schedule"}
	over := map[string]any{"flag": "cylinder_overdrawn", "cylinder": "main:Oda"}
	for _, x := range []struct {
		flags    []any
		failures int
	}{{[]any{none}, 0}, {[]any{over, none}, 1}, {[]any{}, 1}} {
		row["expected"] = map[string]any{"flags": x.flags}
		file.Scenarios = []map[string]any{row}
		content, err := json.Marshal(file)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Check(For("passages.json"), content)
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Failures) != x.failures {
			t.Errorf("flags %v expected: failures %v, want %d", x.flags, r.Failures, x.failures)
		}
	}
}
