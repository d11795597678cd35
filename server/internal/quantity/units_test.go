package quantity_test

import (
	"bytes"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine"
	"lastlight/engine/enginetest"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/quantity"
)

// A plan whose gauges were read in psi is judged as the same plan read in bar: the
// pressures go through the conversion of every call, and the report is the same, byte
// for byte, as from a gauge in bar read to 0.1 (1 psi = 0.0689475729 bar, NIST SP 811).
func TestPsiAndBarAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in, same := enginetest.Pair(), enginetest.Pair()
		if rapid.Bool().Draw(t, "real gas") {
			in.Policy, same.Policy = policy.Default(), policy.Default()
		}
		hold := rapid.Float64Range(0, 25).Draw(t, "hold")
		for i := range in.Plan.Supplies {
			psi := float64(rapid.IntRange(600, 4000).Draw(t, "psi"))
			p := &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Psi{Psi: psi}}
			quantity.ToBar(p)
			converted := p.GetBar()
			typed, err := strconv.ParseFloat(strconv.FormatFloat(psi*0.0689475729, 'f', 1, 64), 64)
			if err != nil || converted != typed {
				t.Fatalf("%v psi is kept as %v bar, a gauge in bar reads %v", psi, converted, typed)
			}
			in.Plan.Supplies[i].PlannedBar, same.Plan.Supplies[i].PlannedBar = &converted, &typed
		}
		for _, x := range []*engine.Input{&in, &same} {
			for i := range x.Route.Stations {
				x.Route.Stations[i].DepthM = 30
			}
			x.Route.Route.Moves[0].HoldMin, x.Route.Route.Moves[0].HoldTask = hold, "survey"
		}
		a, err := engine.Bytes(engine.Evaluate(in))
		if err != nil {
			t.Fatal(err)
		}
		if b, err := engine.Bytes(engine.Evaluate(same)); err != nil || !bytes.Equal(a, b) {
			t.Fatalf("another report from psi than from bar: %v", err)
		}
	})
}

// What is lost on the way is less than a gauge shows: half of 0.1 bar.
func TestPsiKeepsWithinTheGauge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		psi := rapid.Float64Range(0, 6000).Draw(t, "psi")
		p := &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Psi{Psi: psi}}
		quantity.ToBar(p)
		if math.Abs(p.GetBar()-psi*0.0689475729) > 0.05+1e-6 {
			t.Fatalf("%v psi is kept as %v bar", psi, p.GetBar())
		}
	})
}
