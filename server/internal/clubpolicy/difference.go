package clubpolicy

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// Difference is a cell that two policies fill differently; "" where one of them has no such cell.
type Difference struct {
	Path          string
	Before, After string
	Citation      finding.Citation
}

// Differences lists the cells in which two policies differ, by path. The
// citation is that of the later policy, else of the earlier.
func Differences(before, after *policy.Policy) ([]Difference, error) {
	old, err := cells(before)
	if err != nil {
		return nil, err
	}
	next, err := cells(after)
	if err != nil {
		return nil, err
	}
	paths := sortedKeys(old)
	for _, path := range sortedKeys(next) {
		if _, ok := old[path]; !ok {
			paths = append(paths, path)
		}
	}
	slices.Sort(paths)
	var out []Difference
	for _, path := range paths {
		if old[path] == next[path] {
			continue
		}
		d := Difference{Path: path, Before: text(old[path]), After: text(next[path])}
		var ok bool
		if d.Citation, ok = after.CitationFor(path); !ok {
			d.Citation, _ = before.CitationFor(path)
		}
		out = append(out, d)
	}
	return out, nil
}

// text is a cell's value for a reader: JSON without the quotes of a plain word.
func text(raw string) string {
	var word string
	if json.Unmarshal([]byte(raw), &word) == nil && word != "" {
		return word
	}
	return raw
}

// cells flattens a policy to path → JSON value. Rows of a table are named as in
// problems, by the row's own name where every row has one of its own.
func cells(p *policy.Policy) (map[string]string, error) {
	b, err := Canonical(*p)
	if err != nil {
		return nil, err
	}
	decoder := json.NewDecoder(strings.NewReader(string(b)))
	decoder.UseNumber()
	var document any
	if err := decoder.Decode(&document); err != nil {
		return nil, err
	}
	out := map[string]string{}
	return out, flatten(out, "", document)
}

// rowNames are the cells that name a row of a table, the first that does.
var rowNames = []string{"name", "id", "item", "clock", "rule", "record", "path", "alloy"}

func flatten(out map[string]string, path string, value any) error {
	switch v := value.(type) {
	case map[string]any:
		for _, key := range sortedKeys(v) {
			if err := flatten(out, strings.TrimPrefix(path+"."+key, "."), v[key]); err != nil {
				return err
			}
		}
		return nil
	case []any:
		if names := namesOfRows(v); names != nil {
			b, err := json.Marshal(strings.Join(names, ", ")) // so that another order is seen
			if err != nil {
				return err
			}
			out[path] = string(b)
			for i, row := range v {
				if err := flatten(out, fmt.Sprintf("%s[%s]", path, names[i]), row); err != nil {
					return err
				}
			}
			return nil
		}
		if _, rows := first(v).(map[string]any); rows {
			for i, row := range v {
				if err := flatten(out, fmt.Sprintf("%s[%d]", path, i), row); err != nil {
					return err
				}
			}
			return nil
		}
	}
	b, err := json.Marshal(value)
	out[path] = string(b)
	return err
}

func first(list []any) any {
	if len(list) == 0 {
		return nil
	}
	return list[0]
}

// namesOfRows gives the name of each row; nil where a row has none or shares it.
func namesOfRows(list []any) []string {
	for _, key := range rowNames {
		var names []string
		for _, row := range list {
			cells, _ := row.(map[string]any)
			if name, _ := cells[key].(string); name != "" && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
		if len(names) > 0 && len(names) == len(list) {
			return names
		}
	}
	return nil
}
