package ownrules

import (
	"fmt"
	"strings"
)

// Reference is the documentation of the view, made from the types themselves: Markdown, one table for each type.
func Reference() string {
	var b strings.Builder
	b.WriteString(`# What the club's own rules read

An expression is in CEL (github.com/google/cel-spec) and is true where all is in order. It may name the fields of View; one about
each diver, supply or item has that one besides, as ` + "`diver`, `supply` or `item`" + `. There are no times, no durations, no dyn.

*?* marks what may not be on record: reading it then is an error, and an error blocks. ` + "`has(plan.night)`" + ` asks whether it is there.
*own* marks what stands in a person's own records and is shown only to who may read those.

This page is written by a test from the types in view.go.
`)
	seen := map[string]bool{}
	var write func(t *typeOf)
	write = func(t *typeOf) {
		if seen[t.name] {
			return
		}
		seen[t.name] = true
		fmt.Fprintf(&b, "\n## %s\n\n| field | type | meaning |\n|---|---|---|\n", t.name)
		var below []*typeOf
		for _, f := range t.fields {
			marks := ""
			if f.optional {
				marks += " ?"
			}
			if f.own {
				marks += " own"
			}
			fmt.Fprintf(&b, "| %s | %s%s | %s |\n", f.name, f.celType, marks, f.doc)
			name := f.celType.String()
			if inner, ok := strings.CutPrefix(name, "list("); ok {
				name = strings.TrimSuffix(inner, ")")
			}
			if d, ok := byName[name]; ok {
				below = append(below, d)
			}
		}
		for _, d := range below {
			write(d)
		}
	}
	write(view)
	return b.String()
}
