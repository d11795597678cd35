package engine

import (
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/finding"
)

func TestPairPasses(t *testing.T) {
	r := Evaluate(enginetest.Pair())
	for _, f := range r.Findings {
		if f.Blocks() {
			t.Errorf("%s %s %s: %s (path %s)", f.Status, f.Rule, f.Code, f.Message, f.Path)
		}
	}
	if r.Verdict.Blocks() || r.Counts.Pass == 0 {
		t.Errorf("verdict %s, counts %+v", r.Verdict, r.Counts)
	}
	if testing.Verbose() {
		for _, f := range r.Findings {
			t.Logf("%-14s %-28s %s", f.Status, f.Rule, f.Message)
		}
		t.Log(r.Turns, r.Watch, r.JudgedAs)
	}
	_ = finding.Pass
}
