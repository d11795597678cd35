// Package clubpolicy reads policy documents strictly: a cell that is unknown
// or left out is named, never guessed.
package clubpolicy

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"lastlight/engine/ownrules"
	"lastlight/engine/policy"
	"lastlight/server/internal/fault"
)

// Decode reads a document as JSON and notes everything that is wrong with it.
// The policy is good only where nothing was noted.
func Decode(p *fault.Problems, document []byte) policy.Policy {
	var out policy.Policy
	var raw any
	if err := json.Unmarshal(document, &raw); err != nil {
		p.Add("document", "", "a document like the shipped default", "not a document")
		return out
	}
	before := len(p.List())
	compare(p, "document", raw, reflect.TypeFor[policy.Policy]())
	decoder := json.NewDecoder(bytes.NewReader(document))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&out); err != nil && len(p.List()) == before {
		p.Add("document", clip(err.Error()), "cells as in the shipped default", "a cell cannot be read")
	}
	if len(p.List()) > before {
		return out
	}
	for _, f := range out.Validate() {
		p.Add("document."+f.Path, f.Got, strings.TrimPrefix(f.Message, "expected "), "the policy cannot be used like this")
	}
	for _, f := range ownrules.Check(out.OwnRules) {
		message := f.Text
		if f.Line > 0 {
			message = fmt.Sprintf("line %d, column %d of the expression: %s", f.Line, f.Column, f.Text)
		}
		p.AddAt(f.Line, f.Column, fmt.Sprintf("document.own_rules[%d].holds", f.Rule), clip(out.OwnRules[f.Rule].Holds), "an expression in CEL that is true where all is in order", message)
	}
	return out
}

func clip(s string) string {
	return s[:min(len(s), 200)]
}

var textual = reflect.TypeFor[interface{ UnmarshalText([]byte) error }]()

// compare walks document and type together: keys that the type lacks, cells
// that the document lacks, values of another sort.
func compare(p *fault.Problems, path string, value any, t reflect.Type) {
	if value == nil {
		if t.Kind() != reflect.Pointer && t.Kind() != reflect.Slice && t.Kind() != reflect.Map {
			p.Add(path, "null", sort(t), "the cell is empty")
		}
		return
	}
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	wrong := func() { p.Add(path, clip(fmt.Sprint(value)), sort(t), "another sort of value is needed") }
	if reflect.PointerTo(t).Implements(textual) {
		if _, ok := value.(string); !ok {
			wrong()
		}
		return
	}
	switch t.Kind() {
	case reflect.Struct:
		cells, ok := value.(map[string]any)
		if !ok {
			wrong()
			return
		}
		known := map[string]bool{}
		for i := range t.NumField() {
			name, options, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			known[name] = true
			cell, there := cells[name]
			switch {
			case there:
				compare(p, path+"."+name, cell, t.Field(i).Type)
			case !strings.Contains(options, "omitempty") && !strings.Contains(options, "omitzero"):
				p.Add(path+"."+name, "", sort(t.Field(i).Type), "the cell is missing: a policy is always whole")
			}
		}
		for _, name := range sortedKeys(cells) {
			if !known[name] {
				p.Add(path+"."+name, name, "a cell of the shipped default", "there is no such cell")
			}
		}
	case reflect.Slice:
		list, ok := value.([]any)
		if !ok {
			wrong()
			return
		}
		for i, entry := range list {
			compare(p, fmt.Sprintf("%s[%d]", path, i), entry, t.Elem())
		}
	case reflect.Map:
		cells, ok := value.(map[string]any)
		if !ok {
			wrong()
			return
		}
		for _, name := range sortedKeys(cells) {
			compare(p, path+"."+name, cells[name], t.Elem())
		}
	case reflect.String:
		if _, ok := value.(string); !ok {
			wrong()
		}
	case reflect.Bool:
		if _, ok := value.(bool); !ok {
			wrong()
		}
	case reflect.Int, reflect.Int64:
		if n, ok := value.(float64); !ok || n != float64(int64(n)) {
			wrong()
		}
	case reflect.Float64:
		if _, ok := value.(float64); !ok {
			wrong()
		}
	}
}

func sort(t reflect.Type) string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Struct:
		if reflect.PointerTo(t).Implements(textual) {
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
