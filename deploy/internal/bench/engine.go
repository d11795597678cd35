package bench

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"testing"
	"text/tabwriter"
	"time"

	"lastlight/engine"
	"lastlight/engine/enginetest"
	"lastlight/engine/floats"
	"lastlight/engine/route"
	"lastlight/engine/rules"
)

// mostExps is how many times one exp call a full evaluation may take.
const mostExps = 1e6

// ballast is what a server holds beside its calls (ballast of server/internal/app), bytes, so that the collector runs here as
// often as there.
const ballast = 128 << 20

// Engine measures the engine alone, without a server: one full evaluation of a
// large plan against the time of one exp call, how it grows, and the set-up of
// a circuit. Times are the best of several, for a machine that does other things too.
func Engine(out io.Writer) error {
	held := make([]byte, ballast)
	defer runtime.KeepAlive(held)
	exp := math.Min(perCall(func(x float64) float64 { return math.Exp(x) }), perCall(floats.Exp))
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "\tms\texp calls\tper move and diver, µs\tallocations\t")
	row := func(name string, in engine.Input) float64 {
		allocs := engineAllocs(in)
		ns := best(func() { engine.Evaluate(in) })
		each := ns / 1000 / float64(len(in.Route.Route.Moves)*len(in.Plan.Team))
		fmt.Fprintf(w, "%s\t%.2f\t%.0f\t%.1f\t%.0f\t\n", name, ns/1e6, ns/exp, each, allocs)
		return ns
	}
	full := row("one full evaluation: 60 moves, 3 divers, trimix, 2 deco gases, stages", enginetest.Expedition(60, 3, 50))
	for _, n := range []int{10, 30, 100, 300} {
		row(fmt.Sprintf("%d moves", n), enginetest.Expedition(n, 3, 50))
	}
	for _, n := range []int{2, 3, 4, 5, 6} {
		row(fmt.Sprintf("%d divers", n), enginetest.Expedition(60, n, 50))
	}
	for _, n := range []int{50, 500, 5000} {
		in := enginetest.Expedition(60, 3, n)
		row(fmt.Sprintf("%d stations", n), in)
		if err := input(w, in); err != nil {
			return err
		}
	}
	without, with := ring(false), ring(true)
	setUp := best(func() { route.Evaluate(with) }) - best(func() { route.Evaluate(without) })
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(out, "\nOne exp call takes %.2f ns, the faster of two. A full evaluation takes %.0f %% of the %.0f it may.\nPlanning the set-up dives of a circuit on 500 stations takes %.2f ms.\n",
		exp, 100*full/(mostExps*exp), mostExps, setUp/1e6)
	return err
}

// input measures what is done with an input beside judging it.
func input(w io.Writer, in engine.Input) error {
	text, err := engine.Bytes(in)
	if err != nil {
		return err
	}
	report := engine.Evaluate(in)
	decode := best(func() {
		var x engine.Input
		err = errors.Join(err, json.Unmarshal(text, &x))
	}) / 1e6
	hash := best(func() {
		_, failed := engine.Hash(in, report)
		err = errors.Join(err, failed)
	}) / 1e6
	fmt.Fprintf(w, "    its input: decoded\t%.2f\t\t\t\t\n    input and findings: hashed\t%.2f\t\t\t\t\n", decode, hash)
	return err
}

// perCall is the time of one call, ns.
func perCall(f func(float64) float64) float64 {
	var list [1000]float64 // made before: a division costs half an exp
	for i := range list {
		list[i] = -float64(i+1) / 300
	}
	return best(func() {
		sum := 0.0
		for _, x := range list {
			sum += f(x)
		}
		runtime.KeepAlive(sum)
	}) / float64(len(list))
}

// best is the least time that f took, ns, over a second at least.
func best(f func()) float64 {
	least := time.Duration(math.MaxInt64)
	for from, n := time.Now(), 0; n < 5 || time.Since(from) < time.Second; n++ {
		start := time.Now()
		f()
		least = min(least, time.Since(start))
	}
	return float64(least)
}

func engineAllocs(in engine.Input) float64 {
	return testing.AllocsPerRun(1, func() { engine.Evaluate(in) })
}

// ring is a passage of 30 stations in a site of 500, closed to a circuit, as the
// route model sees it.
func ring(judged bool) route.Input {
	in := enginetest.Expedition(60, 3, 500)
	in.Route.Legs = append(in.Route.Legs, route.Leg{ID: "close", From: "S30", To: "S1", LengthM: 200, Lined: true, Restriction: route.RestrictionNone})
	out := rules.Open(&in).RouteInput
	if judged {
		c := route.Circuit{ID: "ring", Start: "S0", Approach: []string{"L1"}, MarkerHoldMin: 2}
		for i := 2; i <= 30; i++ {
			c.Legs = append(c.Legs, fmt.Sprint("L", i))
		}
		c.Legs = append(c.Legs, "close")
		out.Loops = []route.Circuit{c}
	}
	return out
}
