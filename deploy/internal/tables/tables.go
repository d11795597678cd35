// Package tables runs the engine against published tables: JSON files in the
// formats of the method handbook. Each reader recognises its files by the start
// of their name, so `routes-x.json` is read as `routes.json` is.
package tables

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
)

// Result is what one file gave.
type Result struct {
	Rows     int      // rows compared
	Failures []string // one line per difference: row, key, got, want
	Skipped  []string // rows this reader does not cover, each with its reason
	Largest  float64  // largest relative deviation seen among the numbers that passed or failed
	LargeAt  string   // row and key of Largest
}

// Reader checks one file's content.
type Reader func(content []byte) (*Result, error)

var readers = map[string]Reader{}

// Register adds the reader for files whose name starts with prefix. It panics
// on a prefix that is already taken: two readers for one file is a mistake in the program.
func Register(prefix string, r Reader) {
	if _, taken := readers[prefix]; taken {
		panic("tables: two readers for " + prefix)
	}
	readers[prefix] = r
}

// For returns the reader for the file name, the longest matching prefix
// winning, or nil. A prefix ends at ".", "-", "_" or the name's end.
func For(name string) Reader {
	base := strings.TrimSuffix(filepath.Base(name), ".json")
	best := ""
	for prefix := range readers {
		rest, ok := strings.CutPrefix(base, prefix)
		if ok && len(prefix) > len(best) && (rest == "" || strings.ContainsAny(rest[:1], ".-_")) {
			best = prefix
		}
	}
	return readers[best]
}

// Known lists the prefixes that have a reader, sorted.
func Known() []string {
	var names []string
	for prefix := range readers {
		names = append(names, prefix)
	}
	slices.Sort(names)
	return names
}

// Number compares got with want at the given relative or absolute accuracy,
// whichever is wider, and records the difference.
func (r *Result) Number(row, key string, got, want, relative, absolute float64) {
	d := math.Abs(got - want)
	rel := d / math.Max(math.Abs(want), 1e-300)
	if d <= absolute {
		rel = 0
	}
	if !(rel <= r.Largest) {
		r.Largest, r.LargeAt = rel, row+" "+key
	}
	if !(d <= absolute || rel <= relative) { // also true for NaN
		r.Fail(row, key, got, want)
	}
}

// Exact compares got with want for equality after formatting both as JSON.
func (r *Result) Exact(row, key string, got, want any) {
	g, errG := json.Marshal(got)
	w, errW := json.Marshal(want)
	if errG != nil || errW != nil || string(g) != string(w) {
		r.Fail(row, key, got, want)
	}
}

// Fail records a difference.
func (r *Result) Fail(row, key string, got, want any) {
	r.Failures = append(r.Failures, fmt.Sprintf("%s: %s: got %v, want %v", row, key, got, want))
}

// Check runs the reader; a panic inside the engine or the reader is an error
// of that file, not the end of the run.
func Check(reader Reader, content []byte) (result *Result, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return reader(content)
}
