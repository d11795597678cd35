// Package clubpolicy reads policy documents strictly: a cell that is unknown
// or left out is named, never guessed.
package clubpolicy

import (
	"encoding"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"

	"lastlight/engine/calendar"
	"lastlight/engine/ownrules"
	"lastlight/engine/policy"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// Decode reads a document as JSON and notes everything that is wrong with it, in one go: what is no policy, what cannot be used, and
// what is wrong with the club's own rules. today is the day in the club's zone after which nobody can have decided on a rule; the
// zero day where that is not asked. The policy is good only where nothing was noted.
func Decode(p *fault.Problems, document []byte, today calendar.Day) policy.Policy {
	var out policy.Policy
	var raw any
	if err := json.Unmarshal(document, &raw); err != nil {
		p.Add("document", "", "a document like the shipped default", "not a document")
		return out
	}
	r := reader{p: p, noted: map[string]bool{}}
	// A cell that cannot be read has its fault noted; the others are judged with what the shipped default says there.
	mended, err := json.Marshal(r.compare("document", raw, reflect.TypeFor[policy.Policy](), shippedDefault()))
	if err == nil {
		err = json.Unmarshal(mended, &out)
	}
	if err != nil {
		r.note("document", clip(err.Error()), "cells as in the shipped default", "a cell cannot be read")
		return out
	}
	for _, f := range out.Validate() {
		r.note("document."+numbered(&out, f.Path), f.Got, strings.TrimPrefix(f.Message, "expected "), "the policy cannot be used like this")
	}
	rules := slices.Clone(out.OwnRules)
	for i := range rules {
		at := fmt.Sprintf("document.own_rules[%d].", i)
		if read := at + "citation.date_read"; !r.said(read) && !today.IsZero() {
			dates.Past(p, read, rules[i].Citation.DateRead, today)
		}
		if r.said(at + "about") { // a word that names nothing has no view of its own
			rules[i].About = policy.AboutPlan
		}
	}
	for _, f := range ownrules.Check(rules) {
		at := fmt.Sprintf("document.own_rules[%d]", f.Rule)
		if r.said(at+".holds") || r.said(at+".about") { // of what it is asked is not known
			continue
		}
		message := f.Text
		if f.Line > 0 {
			message = fmt.Sprintf("line %d, column %d of the expression: %s", f.Line, f.Column, f.Text)
		}
		p.AddAt(f.Line, f.Column, at+".holds", clip(rules[f.Rule].Holds), "an expression in CEL that is true where all is in order", message)
	}
	return out
}

// shippedDefault is the document that a club begins with.
var shippedDefault = sync.OnceValue(func() any {
	b, err := Canonical(policy.Default())
	var document any
	if err == nil {
		err = json.Unmarshal(b, &document)
	}
	if err != nil {
		panic(err) // a constant of this program; the first test finds it
	}
	return document
})

// named is a row of a table by its name, as the engine tells it: ladder[INT].
var named = regexp.MustCompile(`^(ladder|cylinders\.regimes)\[([^\]]*)\]`)

// numbered tells a row by its place in the document, from 0, so that whoever has the document finds the line.
func numbered(out *policy.Policy, path string) string {
	part := named.FindStringSubmatch(path)
	if part == nil {
		return path
	}
	var n int
	if part[1] == "ladder" {
		n = slices.IndexFunc(out.Ladder, func(l policy.Level) bool { return l.Name == part[2] })
	} else {
		n = slices.IndexFunc(out.Cylinders.Regimes, func(r policy.Regime) bool { return r.Name == part[2] })
	}
	if n < 0 {
		return path
	}
	return fmt.Sprintf("%s[%d]%s", part[1], n, path[len(part[0]):])
}

func clip(s string) string {
	return s[:min(len(s), 200)]
}

var textual = reflect.TypeFor[encoding.TextUnmarshaler]()

// reader notes what is wrong with a document, each cell once.
type reader struct {
	p     *fault.Problems
	noted map[string]bool
}

func (r *reader) note(path, read, expected, message string) {
	if !r.said(path) {
		r.noted[path] = true
		r.p.Add(path, read, expected, message)
	}
}

// said tells whether something is noted of a cell, or of the group or table that it stands in.
func (r *reader) said(path string) bool {
	for at := path; at != ""; at = at[:max(0, strings.LastIndexAny(at, ".["))] {
		if r.noted[at] {
			return true
		}
	}
	return false
}

// compare walks document and type together: keys that the type lacks, cells
// that the document lacks, values of another sort. It gives the document with
// what the shipped default has in their place, so that the rest can be judged.
func (r *reader) compare(path string, value any, t reflect.Type, shipped any) any {
	if value == nil {
		if t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice || t.Kind() == reflect.Map {
			return nil
		}
		r.note(path, "null", sort(t), "the cell is empty")
		return instead(shipped, t)
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	wrong := func(message string) any {
		r.note(path, clip(fmt.Sprint(value)), sort(t), message)
		return instead(shipped, t)
	}
	if reflect.PointerTo(t).Implements(textual) {
		text, ok := value.(string)
		if !ok {
			return wrong(another)
		}
		if err := reflect.New(t).Interface().(encoding.TextUnmarshaler).UnmarshalText([]byte(text)); err != nil {
			return wrong("the cell cannot be read")
		}
		return value
	}
	ok := true
	switch t.Kind() {
	case reflect.Struct:
		cells, ok := value.(map[string]any)
		if !ok {
			return wrong(another)
		}
		return r.group(path, cells, t, shipped)
	case reflect.Slice:
		list, ok := value.([]any)
		if !ok {
			return wrong(another)
		}
		out := make([]any, len(list))
		for i, entry := range list { // rows have no place of their own by which to find the default's
			out[i] = r.compare(fmt.Sprintf("%s[%d]", path, i), entry, t.Elem(), nil)
		}
		return out
	case reflect.Map:
		cells, ok := value.(map[string]any)
		if !ok {
			return wrong(another)
		}
		out := map[string]any{}
		for _, name := range sortedKeys(cells) {
			out[name] = r.compare(path+"."+name, cells[name], t.Elem(), nil)
		}
		return out
	case reflect.String:
		_, ok = value.(string)
	case reflect.Bool:
		_, ok = value.(bool)
	case reflect.Int, reflect.Int64:
		var n float64
		n, ok = value.(float64)
		ok = ok && n == float64(int64(n))
	case reflect.Float64:
		_, ok = value.(float64)
	}
	if !ok {
		return wrong(another)
	}
	return value
}

const another = "another sort of value is needed"

// group is compare of a group of cells.
func (r *reader) group(path string, cells map[string]any, t reflect.Type, shipped any) any {
	usual, _ := shipped.(map[string]any)
	out := map[string]any{}
	var known []string
	for i := range t.NumField() {
		name, options, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		known = append(known, name)
		cell, there := cells[name]
		switch {
		case there:
			out[name] = r.compare(path+"."+name, cell, t.Field(i).Type, usual[name])
		case !strings.Contains(options, "omitempty") && !strings.Contains(options, "omitzero"):
			r.note(path+"."+name, "", sort(t.Field(i).Type), "the cell is missing: a policy is always whole")
			out[name] = instead(usual[name], t.Field(i).Type)
		}
	}
	for _, name := range sortedKeys(cells) {
		if !slices.Contains(known, name) {
			r.note(path+"."+name, name, "one of "+strings.Join(known, ", "), "there is no such cell")
		}
	}
	return out
}

// instead is what a cell is judged with that cannot be read: the shipped default's, or nothing of its type.
func instead(shipped any, t reflect.Type) any {
	if shipped != nil {
		return shipped
	}
	b, err := json.Marshal(reflect.Zero(t).Interface())
	var nothing any
	if err != nil || json.Unmarshal(b, &nothing) != nil {
		return nil
	}
	return nothing
}

func sort(t reflect.Type) string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Struct:
		switch {
		case t == reflect.TypeFor[policy.Fraction]():
			return "a fraction above 0 and at most 1, as 1/3"
		case reflect.PointerTo(t).Implements(textual):
			return "text"
		}
		return "a group of cells"
	case reflect.Slice:
		return "a list"
	case reflect.Map:
		return "a table"
	case reflect.String:
		return "text"
	case reflect.Bool:
		return "true or false"
	case reflect.Int, reflect.Int64:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	}
	return t.String()
}

func sortedKeys[V any](m map[string]V) []string {
	return slices.Sorted(maps.Keys(m))
}

// Canonical writes a policy the one way in which two documents are compared.
func Canonical(p policy.Policy) ([]byte, error) {
	return json.Marshal(p)
}
