package engine

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/finding"
)

// explained checks what the report promises of its steps: whatever blocks,
// cautions or shows a figure has some, each names its source, and whoever does
// the arithmetic again from the printed inputs finds the printed result.
func explained(t *testing.T, r Report) {
	t.Helper()
	for _, f := range r.Findings {
		said := f.Blocks() || f.Status == finding.Caution || f.Status == finding.Note || f.Observed != nil && f.Limit != nil
		if said && len(f.Steps) == 0 {
			t.Errorf("%s has no steps: %s", f.Key(), f.Message)
		}
		for _, s := range f.Steps {
			if s.Source == "" || s.What == "" || s.Result.Text == "" {
				t.Errorf("%s: a step without source, subject or result: %+v", f.Key(), s)
			}
			recalculated(t, f.Key(), s)
		}
	}
}

func recalculated(t *testing.T, key string, s finding.Step) {
	t.Helper()
	printed, err := enginetest.Recalculate(s)
	if errors.Is(err, enginetest.ErrWords) {
		inWords(t, key, s)
		return
	}
	if err != nil {
		t.Errorf("%s, %s: %v", key, s.What, err)
		return
	}
	result, err := strconv.ParseFloat(s.Result.Text, 64)
	if err != nil || s.Result.Number == nil {
		t.Errorf("%s, %s: the result %q of %q is no number", key, s.What, s.Result.Text, s.Formula)
		return
	}
	half := enginetest.Half(s.Result) + 1e-8*math.Abs(result)
	if result < printed.Low-half || result > printed.High+half {
		t.Errorf("%s, %s: %s from what is printed is %.6g to %.6g, printed is %s", key, s.What, s.Formula, printed.Low, printed.High, s.Result.Text)
	}
	exact, err := enginetest.Exact(s)
	if err != nil {
		t.Errorf("%s, %s: %v", key, s.What, err)
		return
	}
	// Numbers leave the engine with nine digits; differences of large ones lose some.
	scale := math.Abs(exact)
	for _, f := range s.Inputs {
		scale = max(scale, math.Abs(*f.Number))
	}
	if math.Abs(exact-*s.Result.Number) > 1e-6*(1+scale) {
		t.Errorf("%s, %s: %s is %.9g, the report says %.9g", key, s.What, s.Formula, exact, *s.Result.Number)
	}
	// Printed digits that leave the result open would check nothing.
	if wide := printed.High - printed.Low; wide > 0.02*math.Abs(result)+4*half {
		t.Errorf("%s, %s: the printed inputs leave %.4g open of a result of %s", key, s.What, wide, s.Result.Text)
	}
}

// inWords checks the steps that are no arithmetic.
func inWords(t *testing.T, key string, s finding.Step) {
	t.Helper()
}

func TestEveryFindingIsExplained(t *testing.T) {
	explained(t, Evaluate(enginetest.Pair()))
	explained(t, Evaluate(enginetest.Expedition(10, 3, 20)))
}
