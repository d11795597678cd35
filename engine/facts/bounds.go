package facts

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// Bounds of an Input. Those of single fields stand in their tags:
//
//	in:"0..450 bar"         a number, both ends allowed, and its unit
//	in:"0 or 0.1..200 L"    the same, and 0 where it means "not stated"
//	most:"60"               entries of a list
//	words:"main stage deco" what a word may be; empty is "not told" and left to the rules
//
// They are far above any real dive, never below what the server records, and
// keep the work bounded.
const (
	MaxText    = route.MaxText // bytes of any text
	MaxList    = 2000          // entries of a list without a bound of its own
	MaxSamples = 1_000_000     // points of all recorded profiles together
	mostNoted  = 200           // problems
)

// Problem is something in an input that cannot be.
type Problem struct {
	Place string // like plan.supplies[3].planned_bar
	Text  string // the value, what is allowed and its unit
}

// Problems lists what makes an input unfit to be computed on, all of it up to a
// bound, in the order of the input: lists that are too long, numbers that are
// none or out of range, cells of the policy that cannot be used. What is merely
// missing is no problem, and neither is an input without a policy: rules block
// on those. Of the route's numbers only those that are none are listed, for the
// route model lists what is out of range.
func (in *Input) Problems() []Problem {
	w := walker{}
	v := reflect.ValueOf(in).Elem()
	whole(v, &w)
	samples := 0
	for i := range in.Divers {
		for k := range in.Divers[i].Dives {
			samples += len(in.Divers[i].Dives[k].Profile)
		}
	}
	if samples > MaxSamples {
		w.note("divers[].dives[].profile", fmt.Sprintf("%d points in all, at most %d are allowed", samples, MaxSamples))
	}
	for _, p := range in.Route.Unreadable() {
		w.note("route."+p.Field, p.Text)
	}
	if len(in.Policy.Ladder) == 0 || slices.ContainsFunc(w.found, func(p Problem) bool { return strings.HasPrefix(p.Place, "policy.") }) {
		return w.found // no policy, or one with lists too long to go through
	}
	for _, p := range in.Policy.Validate() {
		w.note("policy."+p.Path, p.Message+", got "+p.Got)
	}
	return w.found
}

// Contradictions lists words that are none of those that may stand there,
// things named that the input does not hold, and what is named twice. The rules
// run all the same: each takes the stricter reading.
func (in *Input) Contradictions() []Problem {
	w := walker{}
	words(reflect.ValueOf(in).Elem(), &w)
	once := func(list, field string, n int, id func(int) string) map[string]bool {
		first := make(map[string]int, n)
		all := make(map[string]bool, n)
		for i := range n {
			if k, twice := first[id(i)]; twice && id(i) != "" {
				w.note(fmt.Sprintf("%s[%d].%s", list, i, field), fmt.Sprintf("%q is also %s[%d]", id(i), list, k))
			} else {
				first[id(i)] = i
			}
			all[id(i)] = true
		}
		return all
	}
	once("plan.team", "diver", len(in.Plan.Team), func(i int) string { return in.Plan.Team[i].Diver })
	once("plan.supplies", "id", len(in.Plan.Supplies), func(i int) string { return in.Plan.Supplies[i].ID })
	once("divers", "id", len(in.Divers), func(i int) string { return in.Divers[i].ID })
	once("cylinders", "id", len(in.Cylinders), func(i int) string { return in.Cylinders[i].ID })
	once("items", "id", len(in.Items), func(i int) string { return in.Items[i].ID })
	legs := make(map[string]bool, len(in.Route.Legs))
	for i := range in.Route.Legs {
		legs[in.Route.Legs[i].ID] = true
	}
	for i, c := range in.Plan.Carries {
		if c.For != "" && c.For != "primary" && !legs[c.For] {
			w.note(fmt.Sprintf("plan.carries[%d].for", i), fmt.Sprintf("no leg %q, must be a leg of the survey or primary", c.For))
		}
	}
	if n := len(in.Route.Route.Moves); in.Plan.TurnMove > n {
		w.note("plan.turn_move", fmt.Sprintf("%d, must be 0 to %d moves", in.Plan.TurnMove, n))
	}
	return w.found
}

// walker goes through a value and remembers where it is.
type walker struct {
	at    []step
	found []Problem
}

// step is one part of a place: a field, or an entry of a list where name is empty.
type step struct {
	name  string
	index int
}

func (w *walker) note(place, text string) {
	if len(w.found) < mostNoted {
		w.found = append(w.found, Problem{place, text})
	}
}

// here notes a problem of the value the walker stands at.
func (w *walker) here(format string, args ...any) {
	if len(w.found) >= mostNoted {
		return
	}
	var b strings.Builder
	for _, s := range w.at {
		switch {
		case s.name == "":
			b.WriteString("[" + strconv.Itoa(s.index) + "]")
		case b.Len() > 0:
			b.WriteString("." + s.name)
		default:
			b.WriteString(s.name)
		}
	}
	w.note(b.String(), fmt.Sprintf(format, args...))
}

// look is what is asked of a value of one type; nil asks nothing.
type look func(reflect.Value, *walker)

// The two walks, made once from the types and their tags.
var (
	whole = looker(reflect.TypeFor[Input](), "", sound)
	words = looker(reflect.TypeFor[Input](), "", spelled)
)

// looker makes the look at a type. What is asked of a single field is made from
// its type and its tag; a list is gone through only where it is not too long.
func looker(t reflect.Type, tag reflect.StructTag, single func(reflect.Type, reflect.StructTag) look) look {
	switch {
	case t == reflect.TypeFor[route.Input]():
		return nil // Unreadable looks at it
	case t == reflect.TypeFor[policy.Fraction]():
		return single(t, tag)
	}
	switch t.Kind() {
	case reflect.Pointer:
		inner := looker(t.Elem(), tag, single)
		if inner == nil {
			return nil
		}
		return func(v reflect.Value, w *walker) {
			if !v.IsNil() {
				inner(v.Elem(), w)
			}
		}
	case reflect.Slice:
		inner, size := looker(t.Elem(), "", single), single(t, tag)
		return func(v reflect.Value, w *walker) {
			n := len(w.found)
			if size != nil {
				size(v, w)
			}
			if inner == nil || len(w.found) > n {
				return
			}
			w.at = append(w.at, step{})
			for i := range v.Len() {
				w.at[len(w.at)-1].index = i
				inner(v.Index(i), w)
			}
			w.at = w.at[:len(w.at)-1]
		}
	case reflect.Struct:
		return fields(t, single)
	}
	return single(t, tag)
}

func fields(t reflect.Type, single func(reflect.Type, reflect.StructTag) look) look {
	type field struct {
		index int
		name  string
		look  look
	}
	var all []field
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		if l := looker(f.Type, f.Tag, single); l != nil {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			all = append(all, field{i, name, l})
		}
	}
	if len(all) == 0 {
		return nil
	}
	return func(v reflect.Value, w *walker) {
		for _, f := range all {
			w.at = append(w.at, step{name: f.name})
			f.look(v.Field(f.index), w)
			w.at = w.at[:len(w.at)-1]
		}
	}
}

// sound asks that numbers are numbers and in their range, texts and lists within
// their bounds.
func sound(t reflect.Type, tag reflect.StructTag) look {
	if t == reflect.TypeFor[policy.Fraction]() {
		return func(v reflect.Value, w *walker) {
			f, _ := v.Interface().(policy.Fraction)
			if f != (policy.Fraction{}) && !(f.Num > 0 && f.Num <= f.Den && f.Den <= 1000) {
				w.here("%d/%d, must be a fraction above 0 and at most 1", f.Num, f.Den)
			}
		}
	}
	r := rangeOf(tag.Get("in"))
	switch t.Kind() {
	case reflect.String:
		return func(v reflect.Value, w *walker) {
			if n := v.Len(); n > MaxText {
				w.here("%d bytes, at most %d are allowed", n, MaxText)
			}
		}
	case reflect.Slice:
		most := MaxList
		if text := tag.Get("most"); text != "" {
			most = must(strconv.Atoi(text))
		}
		return func(v reflect.Value, w *walker) {
			if n := v.Len(); n > most {
				w.here("%d entries, at most %d are allowed", n, most)
			}
		}
	case reflect.Float64:
		return func(v reflect.Value, w *walker) {
			x := v.Float()
			switch {
			case math.IsNaN(x) || math.IsInf(x, 0):
				w.here("is not a number%s", r.must)
			case !r.holds(x):
				w.here("%v %s%s", x, r.unit, r.must)
			}
		}
	case reflect.Int, reflect.Int64:
		if r.must == "" {
			return nil
		}
		return func(v reflect.Value, w *walker) {
			if !r.holds(float64(v.Int())) {
				w.here("%d %s%s", v.Int(), r.unit, r.must)
			}
		}
	}
	return nil
}

// spelled asks that words are of those that may stand there.
func spelled(t reflect.Type, tag reflect.StructTag) look {
	allowed := strings.Fields(tag.Get("words"))
	if t.Kind() != reflect.String || len(allowed) == 0 {
		return nil
	}
	return func(v reflect.Value, w *walker) {
		if word := v.String(); word != "" && !slices.Contains(allowed, word) {
			w.here("%q, must be one of %s", word, strings.Join(allowed, ", "))
		}
	}
}

// span is a tag "in" read.
type span struct {
	low, high  float64
	zero       bool // 0 besides
	unit, must string
}

func rangeOf(tag string) span {
	if tag == "" {
		return span{low: -math.MaxFloat64, high: math.MaxFloat64}
	}
	var s span
	rest, zero := strings.CutPrefix(tag, "0 or ")
	ends, unit, _ := strings.Cut(rest, " ")
	low, high, _ := strings.Cut(ends, "..")
	s.low, s.high, s.zero, s.unit = must(strconv.ParseFloat(low, 64)), must(strconv.ParseFloat(high, 64)), zero, unit
	s.must = fmt.Sprintf(", must be %s to %s %s", low, high, unit)
	if zero {
		s.must = fmt.Sprintf(", must be 0 or %s to %s %s", low, high, unit)
	}
	return s
}

func (s *span) holds(x float64) bool { return x >= s.low && x <= s.high || s.zero && x == 0 }

// must is for constants: a tag that cannot be read stops every program at its start.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
