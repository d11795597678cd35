package engine

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// filledIn are the parts of the route's input that the engine makes from other
// facts whatever stands there (facts.Input.Route).
var filledIn = []string{
	"route.water", "route.gas_model", "route.policy", "route.speeds", "route.team", "route.verified", "route.cavern_limits", "route.visibility_m", "route.legs[0].slow_exit_factor",
}

// full is an input in which every list has an entry and every pointer a value:
// the large plan, and zeroes where it has nothing.
func full(t *testing.T) Input {
	t.Helper()
	b, err := json.Marshal(enginetest.Expedition(4, 2, 6))
	if err != nil {
		t.Fatal(err)
	}
	var in Input
	if err := json.Unmarshal(b, &in); err != nil {
		t.Fatal(err)
	}
	fill(reflect.ValueOf(&in).Elem())
	return in
}

func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		fill(v.Elem())
	case reflect.Slice:
		if v.Len() == 0 {
			v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		}
		fill(v.Index(0))
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fill(v.Field(i))
			}
		}
	}
}

// places visits every number, text and list of the input, of each list the first
// entry, with its place as a problem names it.
func places(in *Input, visit func(place string, v reflect.Value)) {
	var walk func(v reflect.Value, place string)
	walk = func(v reflect.Value, place string) {
		if slices.ContainsFunc(filledIn, func(p string) bool { return place == p }) {
			return
		}
		switch v.Kind() {
		case reflect.Float64, reflect.Int, reflect.Int64, reflect.String:
			visit(place, v)
		case reflect.Pointer:
			if !v.IsNil() {
				walk(v.Elem(), place)
			}
		case reflect.Slice:
			visit(place, v)
			if v.Len() > 0 {
				walk(v.Index(0), place+"[0]")
			}
		case reflect.Struct:
			for i := range v.NumField() {
				f := v.Type().Field(i)
				if !f.IsExported() {
					continue
				}
				name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
				if v.Type() == reflect.TypeFor[policy.Fraction]() {
					visit(place, v.Field(i))
					continue
				}
				walk(v.Field(i), strings.TrimPrefix(place+"."+name, "."))
			}
		}
	}
	walk(reflect.ValueOf(in).Elem(), "")
}

// told wants the place among the problems. A cell of the policy is named by the
// names on the way to it, so there the last word is compared.
func told(t *testing.T, ps []facts.Problem, place, what string) {
	t.Helper()
	for _, p := range ps {
		if p.Place == place || strings.HasPrefix(p.Place, place+".") || strings.HasPrefix(p.Place, place+"[") {
			return
		}
		if strings.HasPrefix(place, "policy.") && strings.HasPrefix(p.Place, "policy.") && last(p.Place) == last(place) {
			return
		}
	}
	t.Errorf("%s %s: not told", place, what)
}

func last(place string) string { return place[strings.LastIndexByte(place, '.')+1:] }

// Every number of the message, whatever it is: none, without end, far below and
// far above any dive. All but the route's that are merely out of range, which the
// route model tells, are told by place before anything is computed.
func TestEveryNumberHasItsBounds(t *testing.T) {
	t.Parallel()
	in := full(t)
	base := in.Problems()
	places(&in, func(place string, v reflect.Value) {
		if v.Kind() == reflect.String || v.Kind() == reflect.Slice {
			return
		}
		try := func(what string) {
			t.Helper()
			if !strings.HasSuffix(place, "version") { // counted, and never reckoned with
				told(t, added(in.Problems(), base), place, what)
			}
			r := Evaluate(in)
			finite(t, reflect.ValueOf(r), "report")
			if !r.Verdict.Blocks() {
				t.Errorf("%s %s: passes", place, what)
			}
		}
		if v.Kind() == reflect.Float64 {
			was := v.Float()
			for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e9, 1e9, 1e300} {
				if strings.HasPrefix(place, "route.") && !math.IsNaN(x) && !math.IsInf(x, 0) {
					continue
				}
				v.SetFloat(x)
				try(fmt.Sprint(x))
			}
			v.SetFloat(was)
			return
		}
		was := v.Int()
		for _, x := range []int64{math.MinInt64, -1e9, 1e9, math.MaxInt64} {
			v.SetInt(x)
			try(strconv.FormatInt(x, 10))
		}
		v.SetInt(was)
	})
}

// added are the problems that were not there before.
func added(now, before []facts.Problem) []facts.Problem {
	var out []facts.Problem
	for _, p := range now {
		if !slices.Contains(before, p) {
			out = append(out, p)
		}
	}
	return out
}

// The route's numbers out of range are told by the route model, with place and unit.
func TestEveryNumberOfTheRouteHasItsBounds(t *testing.T) {
	t.Parallel()
	in := enginetest.Expedition(4, 2, 6)
	in.Route.Legs[0].PullAndGlideMMin = new(12.0)
	in.Route.Loops = []route.Circuit{{ID: "x", Start: "S0", Legs: []string{"L1", "L1"}, MarkerAtM: new(1.0)}}
	places(&in, func(place string, v reflect.Value) {
		if v.Kind() != reflect.Float64 || !strings.HasPrefix(place, "route.") {
			return
		}
		was := v.Float()
		for _, x := range []float64{-1e9, 1e9, 1e300} {
			v.SetFloat(x)
			found := false
			for _, f := range Evaluate(in).Findings {
				found = found || f.Rule == "route.faults" && f.Status == finding.Refuse && f.Path == place
			}
			if !found {
				t.Errorf("%s %v: not told", place, x)
			}
		}
		v.SetFloat(was)
	})
}

// Every list one over its bound, and a text of every field too long: told by
// place, nothing gone through, nothing computed.
func TestEveryListAndTextHasItsBound(t *testing.T) {
	t.Parallel()
	in := full(t)
	long := strings.Repeat("x", facts.MaxText+1)
	places(&in, func(place string, v reflect.Value) {
		was := reflect.ValueOf(v.Interface())
		switch v.Kind() {
		case reflect.String:
			v.SetString(long)
		case reflect.Slice:
			v.Set(reflect.MakeSlice(v.Type(), over(place), over(place)))
		default:
			return
		}
		told(t, in.Problems(), place, "too long")
		r := Evaluate(in)
		if b, err := Bytes(r); err != nil || len(b) > 200<<10 || !r.Verdict.Blocks() {
			t.Errorf("%s: verdict %s, %d bytes of report (%v)", place, r.Verdict, len(b), err)
		}
		v.Set(was)
	})
}

// over is one more than may stand in the list of a place.
func over(place string) int {
	if n := map[string]int{
		"route.stations": route.MaxStations, "route.legs": route.MaxLegs, "route.legs[0].depth_points": route.MaxDepthPoints, "route.route.start_actions": route.MaxActions,
		"route.route.moves[0].actions": route.MaxActions, "route.loops": route.MaxVerified, "route.traverses": route.MaxVerified,
	}[place]; n > 0 {
		return n + 1
	}
	if strings.HasPrefix(place, "route.") {
		return route.MaxMoves + 1
	}
	t := reflect.TypeFor[Input]()
	tag := ""
	for _, name := range strings.Split(strings.ReplaceAll(place, "[0]", ""), ".") {
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		for i := range t.NumField() {
			if key, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); key == name {
				tag, t = t.Field(i).Tag.Get("most"), t.Field(i).Type
				break
			}
		}
	}
	if n, err := strconv.Atoi(tag); err == nil {
		return n + 1
	}
	return facts.MaxList + 1
}

// Everything wrong is told at once, with its place, what may stand there and its unit.
func TestAllProblemsAtOnce(t *testing.T) {
	in := enginetest.Pair()
	in.Plan.RuntimeMin = -5
	in.Plan.Supplies[1].PlannedBar = new(math.NaN())
	in.Site.AltitudeM = new(9000.0)
	in.Divers[0].Name = strings.Repeat("x", 5000)
	want := []string{
		"plan.runtime_min: -5 min, must be 0 to 2880 min",
		"plan.supplies[1].planned_bar: is not a number, must be 0 to 450 bar",
		"site.altitude_m: 9000 m, must be -430 to 5500 m",
		"divers[0].name: 5000 bytes, at most 4096 are allowed",
	}
	var got []string
	for _, f := range Evaluate(in).Findings {
		if f.Rule != "plan.input" || f.Status != finding.Refuse {
			t.Errorf("%s %s: no rule may reckon with such an input", f.Status, f.Rule)
		}
		got = append(got, strings.TrimPrefix(f.Message, "Long Gallery: "))
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Samples of all dives together are bounded too: each list for itself may be long.
func TestSamplesOfAllDives(t *testing.T) {
	in := enginetest.Pair()
	profile := make([]facts.Sample, 20000)
	for range facts.MaxSamples/len(profile) + 1 {
		d := enginetest.PastDive("x", "2026-06-01")
		d.Profile = profile
		in.Divers[1].Dives = append(in.Divers[1].Dives, d)
	}
	told(t, in.Problems(), "divers[].dives[].profile", "too many in all")
}

// What contradicts itself is told beside everything else.
func TestContradictionsAreTold(t *testing.T) {
	for place, change := range map[string]func(*Input){
		"moment":                        func(in *Input) { in.Moment = "no-such" },
		"plan.supplies[0].role":         func(in *Input) { in.Plan.Supplies[0].Role = "no-such" },
		"plan.supplies[1].id":           func(in *Input) { in.Plan.Supplies[1].ID = in.Plan.Supplies[0].ID },
		"plan.team[1].diver":            func(in *Input) { in.Plan.Team[1].Diver = in.Plan.Team[0].Diver },
		"plan.carries[0].for":           func(in *Input) { in.Plan.Carries[0].For = "no-such" },
		"plan.turn_move":                func(in *Input) { in.Plan.TurnMove = 3 },
		"divers[2].id":                  func(in *Input) { in.Divers[2].ID = in.Divers[1].ID },
		"cylinders[1].id":               func(in *Input) { in.Cylinders[1].ID = in.Cylinders[0].ID },
		"items[1].id":                   func(in *Input) { in.Items[1].ID = in.Items[0].ID },
		"cylinders[0].handling[0].kind": func(in *Input) { in.Cylinders[0].Handling = []facts.Handling{{Kind: "no-such"}} },
		"divers[0].dives[1].zone":       func(in *Input) { in.Divers[0].Dives[1].Zone = "no-such" },
	} {
		in := enginetest.Pair()
		change(&in)
		r := Evaluate(in)
		if !slices.ContainsFunc(r.Findings, func(f finding.Finding) bool {
			return f.Rule == "plan.input" && f.Status == finding.Refuse && f.Path == place
		}) {
			t.Errorf("%s: not told", place)
		}
		if len(r.Findings) < 50 {
			t.Errorf("%s: the other rules are silent", place)
		}
	}
}

// An id of nothing the input holds never passes, wherever it stands.
func TestUnknownReferencesBlock(t *testing.T) {
	for name, change := range map[string]func(*Input){
		"team":          func(in *Input) { in.Plan.Team[0].Diver = "no-such" },
		"standby":       func(in *Input) { in.Plan.Standby = []string{"no-such"} },
		"cover":         func(in *Input) { in.Plan.Cover = []string{"no-such"} },
		"supply diver":  func(in *Input) { in.Plan.Supplies[0].Diver = "no-such" },
		"cylinder":      func(in *Input) { in.Plan.Supplies[0].Cylinders[0] = "no-such" },
		"carries diver": func(in *Input) { in.Plan.Carries[0].Diver = "no-such" },
		"carries item":  func(in *Input) { in.Plan.Carries[0].Item = "no-such" },
		"start":         func(in *Input) { in.Route.Route.Start = "no-such" },
		"station":       func(in *Input) { in.Route.Route.Moves[0].To = "no-such" },
		"leg":           func(in *Input) { in.Route.Route.Moves[0].Leg = "no-such" },
		"leg's end":     func(in *Input) { in.Route.Legs[0].From = "no-such" },
		"action diver":  func(in *Input) { in.Route.Route.StartActions = []route.Action{{Action: "switch_to", Diver: "no-such"}} },
		"action cylinder": func(in *Input) {
			in.Route.Route.StartActions = []route.Action{{Action: "drop", Diver: "d-Ada", Cylinder: new("no-such")}}
		},
		"left line": func(in *Input) { in.Route.LeftLines = []string{"no-such"} },
		"regime":    func(in *Input) { in.Cylinders[0].Regime = "no-such" },
		"level taught": func(in *Input) {
			in.Plan.Kind, in.Plan.Taught = facts.Training, "no-such"
		},
	} {
		in := enginetest.Pair()
		change(&in)
		if r := Evaluate(in); !r.Verdict.Blocks() {
			t.Errorf("%s: passes", name)
		}
	}
}
