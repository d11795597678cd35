package fault

import "fmt"

// Problems collects what is wrong with one record. Its prefix stands before every field.
type Problems struct {
	prefix string
	list   []Problem
}

// Collect makes a collector for the record at this place, e.g. "site." or "records[3].site.".
func Collect(prefix string) *Problems {
	return &Problems{prefix: prefix}
}

// Add notes one problem. An empty field is the record itself.
func (p *Problems) Add(field, read, expected, message string) {
	field = p.prefix + field
	if n := len(field); n > 0 && field[n-1] == '.' {
		field = field[:n-1]
	}
	p.list = append(p.list, Problem{Field: field, Read: read, Expected: expected, Message: message})
}

// AddAt is Add for a place within the text of the field: line and column from 1, 0 for the text as a whole.
func (p *Problems) AddAt(line, column int, field, read, expected, message string) {
	p.Add(field, read, expected, message)
	last := &p.list[len(p.list)-1]
	last.Line, last.Column = line, column
}

// Addf is Add for a field with indices.
func (p *Problems) Addf(read, expected, message, field string, args ...any) {
	p.Add(fmt.Sprintf(field, args...), read, expected, message)
}

// List gives what was noted, in order.
func (p *Problems) List() []Problem { return p.list }

// Err is Wrong of what was noted.
func (p *Problems) Err() error { return Wrong(p.list) }
