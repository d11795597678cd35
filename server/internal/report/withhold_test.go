package report

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	"lastlight/engine"
	"lastlight/engine/enginetest"
)

// Somebody's consumption stands in the lines of many findings: who may not read
// it is shown it by none of them.
func TestConsumptionIsWithheldInSteps(t *testing.T) {
	t.Parallel()
	in := enginetest.Pair()
	for i := range in.Divers {
		if in.Divers[i].ID == "d-Ben" {
			in.Divers[i].Consumption.RMVLMin = 17.375
		}
	}
	r := engine.Evaluate(in)
	names := NewNames(map[string]string{"d-Ada": "ada", "d-Ben": "ben"}, map[string]string{"d-Ada": "Ada", "d-Ben": "Ben"})
	shown := Show(&r, names)
	if text := protojson.Format(shown); !strings.Contains(text, "17.375") {
		t.Fatal("the lines do not show the consumption to who may read it")
	}
	MaskTraining(shown, func(person string) bool { return person == "ada" })
	withheld := 0
	for _, f := range shown.Findings {
		for _, s := range f.Steps {
			if s.Withheld {
				withheld++
			}
			if s.Withheld && len(s.Inputs) > 0 {
				t.Errorf("%s, %s: withheld and shown", f.Key, s.What)
			}
		}
	}
	if text := protojson.Format(shown); withheld == 0 || strings.Contains(text, "17.375") {
		t.Errorf("%d lines withheld, and the consumption is still in the report", withheld)
	}
}
