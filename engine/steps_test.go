package engine

import (
	"cmp"
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"lastlight/engine/enginetest"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
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
	if wide := printed.High - printed.Low; !strings.Contains(s.Formula, "whole") && wide > 0.02*math.Abs(result)+4*half {
		t.Errorf("%s, %s: the printed inputs leave %.4g open of a result of %s", key, s.What, wide, s.Result.Text)
	}
}

// inWords does the date rules again, by the calendar and by nothing else of the engine.
func inWords(t *testing.T, key string, s finding.Step) {
	t.Helper()
	input := map[string]finding.Figure{}
	var days []string
	for _, f := range s.Inputs {
		input[f.Name] = f
		days = append(days, f.Text)
	}
	slices.Sort(days)
	n := func(name string) int {
		x, err := strconv.Atoi(input[name].Text)
		if err != nil {
			t.Errorf("%s, %s: %q is %q", key, s.What, name, input[name].Text)
		}
		return x
	}
	day := func(layout string) time.Time {
		x, err := time.Parse(layout, input["date"].Text)
		if err != nil {
			t.Errorf("%s, %s: %v", key, s.What, err)
		}
		return x
	}
	want := s.Result.Text
	switch s.Formula {
	case finding.MonthEnd:
		layout := "2006-01-02"[:len(input["date"].Text)]
		d := day(layout)
		want = time.Date(d.Year(), d.Month()+time.Month(n("months"))+1, 0, 0, 0, 0, 0, time.UTC).Format("2006-01-02")
	case finding.SameDay:
		d := day("2006-01-02")
		x := time.Date(d.Year(), d.Month()+time.Month(n("months")), d.Day(), 0, 0, 0, 0, time.UTC)
		if x.Day() != d.Day() {
			x = x.AddDate(0, 0, -x.Day())
		}
		want = x.Format("2006-01-02")
	case finding.DaysOn:
		want = day("2006-01-02").AddDate(0, 0, n("days")).Format("2006-01-02")
	case finding.Earliest:
		want = days[0]
	case finding.Latest:
		want = days[len(days)-1]
	case finding.Minutes, finding.WallStep:
		const layout = "2006-01-02T15:04Z07:00"
		var at time.Time
		for _, f := range s.Inputs {
			if x, err := time.Parse(layout, f.Text); err == nil {
				at = x
			}
		}
		if s.Formula == finding.Minutes {
			at = at.Add(time.Duration(n("minutes")) * time.Minute)
		}
		for s.Formula == finding.WallStep && at.Minute()%n("step") != 0 {
			at = at.Add(time.Minute)
		}
		want = at.Format(layout)
	case finding.Compared:
		o, l := *input["observed"].Number, *input["limit"].Number
		want = map[int]string{-1: "below the limit", 0: "at the limit", 1: "above the limit"}[cmp.Compare(o, l)]
	}
	if want != s.Result.Text {
		t.Errorf("%s, %s: %s is %s, the report says %s", key, s.What, s.Formula, want, s.Result.Text)
	}
}

// recorded checks that what a line says to stand in the input does stand there.
func recorded(t *testing.T, in Input, r Report) {
	t.Helper()
	b, err := Bytes(in)
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(b, &tree); err != nil {
		t.Fatal(err)
	}
	for _, f := range r.Findings {
		for _, s := range f.Steps {
			for _, x := range s.Inputs {
				root, _, _ := strings.Cut(x.From, ",")
				if _, ok := stands(tree, root); !ok && strings.Contains(root, ".") && !strings.Contains(root, " ") {
					t.Errorf("%s, %s: %q is no path of the input", f.Key(), s.What, x.From)
				}
			}
		}
	}
}

// stands follows a path like divers[2].consumption.rmv_l_min; a word in
// brackets is a level's name.
func stands(tree any, path string) (any, bool) {
	at := tree
	for _, part := range strings.FieldsFunc(path, func(r rune) bool { return r == '.' || r == '[' || r == ']' }) {
		switch x := at.(type) {
		case map[string]any:
			next, ok := x[part]
			if !ok {
				return nil, false
			}
			at = next
		case []any:
			i, err := strconv.Atoi(part)
			if err != nil {
				i = slices.IndexFunc(x, func(e any) bool { m, _ := e.(map[string]any); return m["name"] == part })
			}
			if i < 0 || i >= len(x) {
				return nil, false
			}
			at = x[i]
		default:
			return nil, false
		}
	}
	return at, true
}

func TestEveryFindingIsExplained(t *testing.T) {
	sidemount := enginetest.Pair()
	for i := range sidemount.Plan.Supplies {
		s := &sidemount.Plan.Supplies[i]
		other := *s
		other.ID, other.Cylinders = s.ID+"-2", s.Cylinders[1:]
		s.Cylinders = s.Cylinders[:1]
		sidemount.Plan.Supplies = append(sidemount.Plan.Supplies, other)
	}
	real := enginetest.Pair()
	real.Policy = policy.Default()
	real.Plan.RuntimeMin = 5
	real.Cylinders[0].Events[0].On = enginetest.Mark("2019-01")
	real.Divers[1].Medical.Declared = enginetest.Day("2025-06-14")
	short := enginetest.Pair()
	*short.Plan.Supplies[0].PlannedBar = 60
	for name, in := range map[string]Input{
		"pair": enginetest.Pair(), "sidemount": sidemount, "real": real, "short": short, "empty": {},
		"expedition": enginetest.Expedition(10, 3, 20), "two": enginetest.Expedition(12, 2, 20), "pit": pit(20), "long pit": pit(90),
	} {
		t.Run(name, func(t *testing.T) {
			r := Evaluate(in)
			explained(t, r)
			recorded(t, in, r)
		})
	}
}

// pit is two divers at 33 m for so many minutes, 120 m from the opening: with stops.
func pit(minutes float64) Input {
	in := enginetest.Pair()
	for i := range in.Route.Stations {
		in.Route.Stations[i].DepthM = 33
	}
	in.Route.Route.Moves[0].HoldMin, in.Route.Route.Moves[0].HoldTask = minutes, "survey"
	return in
}

// onRecord are rules whose figures of a plan with stops are compared as they stand:
// counted, measured or recorded, nothing of them is computed.
var onRecord = []string{
	"cylinder.", "decompression.altitude", "diver.", "gas.", "kit.", "level.", "plan.speeds", "team.", "service.", "site.", "route.cautions", "route.cylinder_on_way_out", "analyser.",
}

// Every figure that the engine computes of a plan with stops has its own lines, not
// only what was compared with what.
func TestFiguresWithStopsHaveTheirLines(t *testing.T) {
	for name, in := range map[string]Input{"pit": pit(20), "long pit": pit(90), "expedition": enginetest.Expedition(10, 3, 20), "two": enginetest.Expedition(12, 2, 20)} {
		r := Evaluate(in)
		if r.Dive == nil || !r.Dive.Stops || r.Route.Parts == nil || len(r.Dive.Schedule.Stops) == 0 {
			t.Fatalf("%s: no stops, or no parts", name)
		}
		stops := 0
		for _, f := range r.Findings {
			if strings.Contains(f.Message+f.Remedy, "{") {
				t.Errorf("%s: placeholder left in %q, %q", name, f.Message, f.Remedy)
			}
			if f.Rule == "decompression.stops" {
				stops++
			}
			computed := f.Observed != nil && f.Observed.Number != nil && f.Limit != nil || f.Rule == "decompression.stops" || f.Rule == "diver.flight"
			if !computed || slices.ContainsFunc(onRecord, func(p string) bool { return strings.HasPrefix(f.Rule, p) && f.Rule != "diver.flight" }) {
				continue
			}
			if n := len(f.Steps); n > 0 && f.Observed != nil && f.Observed.Unit == "L" && (strings.HasPrefix(f.Rule, "failure.") || f.Rule == "route.sharing_exit") {
				last := f.Steps[n-1]
				if last.Formula != "left - need" || math.Abs(*last.Inputs[0].Number-*f.Observed.Number) > 1e-5 || math.Abs(*last.Inputs[1].Number-*f.Limit.Number) > 1e-5 {
					t.Errorf("%s: the lines of %s end with %+v, the finding says %s of %s", name, f.Key(), last, f.Observed, f.Limit)
				}
			}
			if len(f.Steps) < 2 {
				t.Errorf("%s: %s has %d lines: %s", name, f.Key(), len(f.Steps), f.Message)
			}
		}
		if stops != len(r.Dive.Schedule.Stops) {
			t.Errorf("%s: %d of %d stops are explained", name, stops, len(r.Dive.Schedule.Stops))
		}
	}
}
