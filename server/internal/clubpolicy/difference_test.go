package clubpolicy

import (
	"slices"
	"testing"

	"lastlight/engine/policy"
)

func TestDifferences(t *testing.T) {
	t.Parallel()
	before, after := policy.Default(), policy.Default()
	if d, err := Differences(&before, &after); err != nil || len(d) > 0 {
		t.Fatalf("equal policies differ: %v, %v", d, err)
	}
	after.Ladder[2].MaxDepthM = 28
	after.Gas.StressFactor = 2.5
	after.Ladder[3].LapseMonths = nil
	after.Retention = slices.Clone(after.Retention)
	slices.Reverse(after.Retention[:2])
	after.Endorsements = append(slices.Clone(after.Endorsements), "ICE")
	got, err := Differences(&before, &after)
	if err != nil {
		t.Fatal(err)
	}
	byPath := map[string]Difference{}
	for _, d := range got {
		byPath[d.Path] = d
		if !d.Citation.Complete() {
			t.Errorf("%s without its clause", d.Path)
		}
	}
	if d := byPath["ladder[INT].max_depth_m"]; d.Before != "30" || d.After != "28" || d.Citation.Section != "2.2" {
		t.Errorf("depth: %+v", d)
	}
	if d := byPath["ladder[APP].lapse_months"]; d.Before != "12" || d.After != "null" {
		t.Errorf("lapse: %+v", d)
	}
	for _, path := range []string{"gas.stress_factor", "retention", "endorsements"} {
		if _, ok := byPath[path]; !ok {
			t.Errorf("%s is not among %v", path, got)
		}
	}
	if len(got) != 5 {
		t.Errorf("%d differences, 5 made: %v", len(got), got)
	}
}

// A level that is new is shown cell by cell: there was none of them.
func TestDifferencesOfANewRow(t *testing.T) {
	t.Parallel()
	before, after := policy.Default(), policy.Default()
	level := after.Ladder[4]
	level.Name = "EXP"
	after.Ladder = append(slices.Clone(after.Ladder), level)
	got, err := Differences(&before, &after)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range got {
		if d.Path != "ladder" && d.Before != "" {
			t.Errorf("%+v", d)
		}
	}
	if len(got) < 20 {
		t.Errorf("only %d cells of a new level", len(got))
	}
}
