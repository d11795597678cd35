package tables

import (
	"encoding/json"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
)

// TestRoutesNoticesEveryChange alters each expectation of the routes table in
// turn: the reader must fail on it. Which of the two values of D14 is meant is
// left out: where they tie either is right. So are the reasons of a zone, which
// are told apart by their words.
func TestRoutesNoticesEveryChange(t *testing.T) {
	content, err := os.ReadFile("../../../testdata/tables/routes.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Format    string `json:"format"`
		Scenarios []struct {
			ID       string          `json:"id"`
			Input    json.RawMessage `json:"input"`
			Expected any             `json:"expected"`
		} `json:"scenarios"`
	}
	if err := json.Unmarshal(content, &file); err != nil {
		t.Fatal(err)
	}
	changed := 0
	for _, s := range file.Scenarios {
		one := file
		var alter func(v any, path string, set func(any))
		alter = func(v any, path string, set func(any)) {
			switch x := v.(type) {
			case map[string]any:
				for _, k := range slices.Sorted(maps.Keys(x)) {
					y := x[k]
					alter(y, path+"."+k, func(n any) { x[k] = n })
				}
				return
			case []any:
				for i, y := range x {
					alter(y, path, func(n any) { x[i] = n })
				}
				return
			case float64:
				set(x*1.0001 + 2e-6)
			case bool:
				set(!x)
			case string:
				set(x + "x")
			default:
				return
			}
			defer set(v)
			if strings.HasSuffix(path, ".arriving") || strings.HasSuffix(path, ".why") {
				return
			}
			changed++
			if changed%2 != 0 { // every change would take a while, and neighbours are alike
				return
			}
			one.Scenarios = file.Scenarios[:0:0]
			one.Scenarios = append(one.Scenarios, s)
			b, err := json.Marshal(one)
			if err != nil {
				t.Fatal(err)
			}
			if r, err := routes(b); err != nil || len(r.Failures) == 0 {
				t.Errorf("%s: a change of %s from %v is not noticed (%v)", s.ID, path, v, err)
			}
		}
		alter(s.Expected, "", func(any) {})
	}
	if changed < 500 {
		t.Errorf("only %d expectations found", changed)
	}
}
