package tables

import (
	"encoding/json"
	"os"
	"testing"
)

// The rows are the method handbook's (testdata/tables/dates.json).
func TestDatesTable(t *testing.T) {
	content, err := os.ReadFile("../../../testdata/tables/dates.json")
	if err != nil {
		t.Fatal(err)
	}
	result, err := readDates(content)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range result.Failures {
		t.Error(f)
	}
	for _, s := range result.Skipped {
		t.Errorf("not covered: %s", s)
	}
	if result.Rows != 289 {
		t.Errorf("%d rows compared, the table has 289", result.Rows)
	}
}

// TestDatesNoticeAnyChange changes every value of every expectation, one at a
// time: a value that may be anything is a value that is not compared.
func TestDatesNoticeAnyChange(t *testing.T) {
	content, err := os.ReadFile("../../../testdata/tables/dates.json")
	if err != nil {
		t.Fatal(err)
	}
	var file map[string]any
	if err := json.Unmarshal(content, &file); err != nil {
		t.Fatal(err)
	}
	rows := file["rows"].([]any)
	changes := 0
	for _, r := range rows {
		row := r.(map[string]any)
		file["rows"] = []any{row}
		everyChange(row["expected"], func(undo func()) {
			defer undo()
			changes++
			text, err := json.Marshal(file)
			if err != nil {
				t.Fatal(err)
			}
			result, err := readDates(text)
			if err != nil {
				t.Fatal(err)
			}
			if len(result.Failures) == 0 {
				t.Errorf("%s passes with %v", row["id"], row["expected"])
			}
		})
	}
	if changes < 2*len(rows) {
		t.Errorf("only %d changes of %d rows", changes, len(rows))
	}
}

// everyChange changes each leaf of a tree, and the length of each list, in turn.
func everyChange(tree any, changed func(undo func())) {
	each := func(old any, set func(any)) {
		switch old := old.(type) {
		case string:
			set(old + "x")
		case float64:
			set(old + 0.001)
		case bool:
			set(!old)
		case nil:
			set("x")
		case []any:
			set(append(old[:len(old):len(old)], "x"))
		default:
			return
		}
		changed(func() { set(old) })
	}
	switch tree := tree.(type) {
	case map[string]any:
		for key, old := range tree {
			each(old, func(v any) { tree[key] = v })
			everyChange(old, changed)
		}
	case []any:
		for i, old := range tree {
			each(old, func(v any) { tree[i] = v })
			everyChange(old, changed)
		}
	}
}
