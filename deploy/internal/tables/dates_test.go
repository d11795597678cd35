package tables

import (
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
