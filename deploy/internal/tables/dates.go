package tables

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/training"
	"lastlight/server/zones"
)

func init() { Register("dates", readDates) }

// datesHead is what a file of date rows may say before its rows. A file lacks
// the tables that its rows do not need.
type datesHead struct {
	Regimes      map[string]due.Regime              `json:"regimes"`
	KitMonths    map[string]map[string]int          `json:"kit_months"`
	Ladder       []training.Level                   `json:"ladder"`
	Policy       map[training.Level]training.Limits `json:"policy"`
	MedicalBands []band                             `json:"medical_bands"`
	Rows         []dateRow                          `json:"rows"`
}

type dateRow struct {
	ID       string                     `json:"id"`
	Kind     string                     `json:"kind"`
	Input    json.RawMessage            `json:"input"`
	Expected map[string]json.RawMessage `json:"expected"`
}

// dateKind asks the engine one row's question. What it returns is compared key
// by key; instants in it are already site-local text.
type dateKind func(f *datesFile, input json.RawMessage) (any, error)

// datesFile answers the rows of one file.
type datesFile struct {
	datesHead
	zones map[string]calendar.Zone
}

var dateKinds = map[string]dateKind{}

func readDates(content []byte) (*Result, error) {
	f := &datesFile{zones: map[string]calendar.Zone{}}
	if err := json.Unmarshal(content, &f.datesHead); err != nil {
		return nil, err
	}
	if len(f.Rows) == 0 {
		return nil, errors.New("no rows")
	}
	for name, r := range f.Regimes {
		r.Name = name
		f.Regimes[name] = r
	}
	out := &Result{}
	for _, row := range f.Rows {
		ask, ok := dateKinds[row.Kind]
		if !ok {
			out.Skipped = append(out.Skipped, row.ID+": kind "+row.Kind)
			continue
		}
		out.Rows++
		got, err := ask(f, row.Input)
		if err != nil {
			out.Fail(row.ID, "error", err, "an answer")
			continue
		}
		tree, err := plain(got)
		if err != nil {
			out.Fail(row.ID, "error", err, "an answer")
			continue
		}
		for _, key := range sortedKeys(row.Expected) {
			var want any
			if err := json.Unmarshal(row.Expected[key], &want); err != nil {
				return nil, fmt.Errorf("row %s: %w", row.ID, err)
			}
			compareDates(out, row.ID, key, tree[key], want)
		}
	}
	return out, nil
}

// setKeys name lists whose order says nothing.
var setKeys = []string{"why", "causes", "caution"}

// compareDates compares what is expected; a key that is not expected is not compared.
func compareDates(out *Result, row, path string, got, want any) {
	if slices.Contains(setKeys, path[strings.LastIndex(path, ".")+1:]) {
		out.Exact(row, path, asSet(got), asSet(want))
		return
	}
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			out.Fail(row, path, got, want)
			return
		}
		for _, key := range sortedKeys(w) {
			compareDates(out, row, path+"."+key, g[key], w[key])
		}
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			out.Fail(row, path, got, want)
			return
		}
		for i := range w {
			compareDates(out, row, path, g[i], w[i])
		}
	case float64:
		g, ok := got.(float64)
		if !ok {
			out.Fail(row, path, got, want)
			return
		}
		// Shown decimals are compared as shown, so only binary noise may differ.
		out.Number(row, path, g, w, 0, 1e-9*math.Max(1, math.Abs(w)))
	default:
		out.Exact(row, path, got, want)
	}
}

func asSet(v any) []string {
	set := []string{}
	switch v := v.(type) {
	case string:
		set = append(set, v)
	case []any:
		for _, x := range v {
			set = append(set, fmt.Sprint(x))
		}
	}
	slices.Sort(set)
	return slices.Compact(set)
}

// plain turns an answer into the tree its JSON has.
func plain(v any) (map[string]any, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, err
	}
	tree := map[string]any{}
	err = json.Unmarshal(text, &tree)
	return tree, err
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// answer reads a row's input into In, asks, and returns what was asked.
func answer[In any](ask func(f *datesFile, in In) (any, error)) dateKind {
	return func(f *datesFile, input json.RawMessage) (any, error) {
		var in In
		if err := json.Unmarshal(input, &in); err != nil {
			return nil, err
		}
		return ask(f, in)
	}
}

// firstZoneYear and lastZoneYear bound the zone values the rows are asked with.
const firstZoneYear, lastZoneYear = 1975, 2125

func (f *datesFile) zone(name string) (calendar.Zone, error) {
	if z, ok := f.zones[name]; ok {
		return z, nil
	}
	z, err := zones.Load(name, firstZoneYear, lastZoneYear)
	if err == nil {
		f.zones[name] = z
	}
	return z, err
}

// asked is when a row asks: one day, or a dive with its zone or zones.
type asked struct {
	On    calendar.Day     `json:"on"`
	Entry calendar.Instant `json:"entry"`
	Out   calendar.Instant `json:"out"`
	Zone  string           `json:"zone"`
	Zones []string         `json:"zones"`
}

func (f *datesFile) zonesOf(a asked) ([]calendar.Zone, error) {
	names := a.Zones
	if len(names) == 0 {
		names = []string{a.Zone}
	}
	all := make([]calendar.Zone, 0, len(names))
	for _, name := range names {
		z, err := f.zone(name)
		if err != nil {
			return nil, err
		}
		all = append(all, z)
	}
	return all, nil
}

func (a asked) span() calendar.Span { return calendar.Span{Entry: a.Entry, Out: a.Out} }

func (f *datesFile) days(a asked) (calendar.Days, error) {
	if !a.On.IsZero() {
		return calendar.On(a.On), nil
	}
	if a.Entry.IsZero() {
		return calendar.Days{}, nil
	}
	all, err := f.zonesOf(a)
	if err != nil {
		return calendar.Days{}, err
	}
	return a.span().Days(all...)
}

// local returns the answer as a tree whose named instants are written in the zone.
func local(v any, zone calendar.Zone, instants map[string]calendar.Instant) (any, error) {
	tree, err := plain(v)
	if err != nil {
		return nil, err
	}
	for _, key := range sortedKeys(instants) {
		tree[key] = nil
		if t := instants[key]; !t.IsZero() {
			if tree[key], err = zone.Format(t); err != nil {
				return nil, err
			}
		}
	}
	return tree, nil
}

// dayOrInstant is a date, or an instant with its offset.
type dayOrInstant struct {
	day calendar.Day
	at  calendar.Instant
}

func (d *dayOrInstant) UnmarshalText(text []byte) error {
	if len(text) > 10 {
		return d.at.UnmarshalText(text)
	}
	return d.day.UnmarshalText(text)
}
