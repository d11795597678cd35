package route

import (
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// fields lists everything that can be set in a value.
func fields(v reflect.Value, out []reflect.Value) []reflect.Value {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			out = fields(v.Field(i), out)
		}
	case reflect.Slice:
		for i := range v.Len() {
			out = fields(v.Index(i), out)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			out = fields(v.Elem(), out)
		}
	case reflect.Float64, reflect.String, reflect.Bool:
		out = append(out, v)
	}
	return out
}

// Sound inputs with a few values gone wild: never a panic, never a number that
// is not finite.
func TestWildValues(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := clone(caves{stages: true, verified: true, holds: true, lines: true}.draw(rt))
		if rapid.Bool().Draw(rt, "real") {
			in.GasModel = "real"
		}
		for _, c := range in.Legs {
			in.Loops = append(in.Loops, Circuit{ID: c.ID, Start: in.Route.Start, Legs: []string{c.ID}})
			in.Traverses = append(in.Traverses, Circuit{ID: c.ID, StartA: c.From, StartB: c.To, Legs: []string{c.ID}})
			break
		}
		if rapid.Bool().Draw(rt, "circuits") {
			in.Loops, in.Traverses = nil, nil
		}
		list := fields(reflect.ValueOf(&in).Elem(), nil)
		for range rapid.IntRange(0, 3).Draw(rt, "changes") {
			f := rapid.SampledFrom(list).Draw(rt, "field")
			switch f.Kind() {
			case reflect.Float64:
				f.SetFloat(rapid.SampledFrom([]float64{0, -1, 0.1, 1, 1e-3, 1e-9, 3, 5.999999, 6, 12, 90, 150, 400, 1e6, 1e300, math.NaN(), math.Inf(1), math.Inf(-1)}).Draw(rt, "value"))
			case reflect.String:
				f.SetString(rapid.SampledFrom([]string{"", "s0", "s1", "s2", "l0", "l1", "d0", "d1", "stage", "mains", "none", "major", "minor", "pick_up", "drop", "switch_to"}).Draw(rt, "word"))
			case reflect.Bool:
				f.SetBool(!f.Bool())
			}
		}
		r, problems := Evaluate(in)
		if (len(problems) > 0) == (r.Verdict != "") {
			rt.Fatalf("verdict %q and problems %v", r.Verdict, problems)
		}
		finite(t, reflect.ValueOf(r), "result")
		if path, _, _ := Trace(in); path != nil {
			for i := range in.Route.Moves {
				out, _ := path.WayOut(Place{Move: i + 1, Arriving: true})
				finite(t, reflect.ValueOf(out), "way out")
			}
		}
	})
}
