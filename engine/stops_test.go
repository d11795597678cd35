package engine

import (
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
)

// A plan with stops is explained like any other, its runtime has the stops in it,
// and the same input gives the same bytes.
func TestPlanWithStops(t *testing.T) {
	make := func() facts.Input {
		in := enginetest.Pair()
		for i := range in.Route.Stations {
			in.Route.Stations[i].DepthM = 33
		}
		in.Route.Route.Moves[0].HoldMin, in.Route.Route.Moves[0].HoldTask = 20, "survey"
		return in
	}
	r := Evaluate(make())
	if r.Dive == nil || !r.Dive.Stops || len(r.Dive.Schedule.Stops) == 0 {
		t.Fatalf("no stops after 20 min at 33 m: %+v", r.Dive)
	}
	if r.RuntimeMin < r.Dive.Schedule.RuntimeMin-1e-6 || r.Route.Summary.RuntimeMin != r.Route.End.ElapsedMin {
		t.Errorf("runtime %v min, the schedule takes %v min", r.RuntimeMin, r.Dive.Schedule.RuntimeMin)
	}
	explained(t, r)
	a, err := Bytes(r)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Bytes(Evaluate(make()))
	if err != nil || string(a) != string(b) {
		t.Error("the same input gives other bytes")
	}
}
