package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/recordfile"
)

// table is a file as cells, and what its columns stand for.
type table struct {
	file    string
	m       *Mapping
	kind    protoreflect.FieldDescriptor
	headers []string
	columns []column
	lists   []list // of the innermost column; all others lie on the way to it
	rows    []row
	unused  []string            // headings that no field uses
	long    recordfile.Problems // rows with more cells than headings; what lies under a heading is read all the same
}

// column is one field and the text it is made of.
type column struct {
	path
	template string
	slots    []int // of headers, in order of the template's braces
}

// row is one row of cells; number counts from 1, the heading row included.
type row struct {
	number int
	cells  []string
}

// at is the place of a column's first cell in a row.
func (t *table) at(r row, c column) recordfile.Place {
	p := recordfile.Place{File: t.file, Line: r.number, Cell: fmt.Sprintf("row %d", r.number)}
	if len(c.slots) > 0 {
		n := c.slots[0]
		p.Column = n + 1
		p.Cell = fmt.Sprintf("row %d, column %s (%s)", r.number, letters(n), t.headers[n])
	}
	return p
}

// letters names a column as spreadsheets do: A to Z, AA …
func letters(n int) string {
	out := ""
	for n++; n > 0; n = (n - 1) / 26 {
		out = string(rune('A'+(n-1)%26)) + out
	}
	return out
}

// typed is what a row says for a column, before it is translated; blank where every cell it needs is.
func (c column) typed(r row) string {
	if len(c.slots) == 0 {
		return c.template
	}
	n, found := 0, false
	text := slot.ReplaceAllStringFunc(c.template, func(string) string {
		cell := ""
		if at := c.slots[n]; at < len(r.cells) {
			cell = strings.TrimSpace(plain(r.cells[at]))
		}
		n++
		found = found || cell != ""
		return cell
	})
	if !found {
		return ""
	}
	return strings.TrimSpace(text)
}

// readTable reads a file. m nil: its headings are field paths.
func readTable(src recordfile.Source, m *Mapping) (*table, recordfile.Problems) {
	t := &table{file: src.Name, m: m}
	whole := recordfile.Place{File: src.Name}
	data := bytes.TrimPrefix(src.Data, []byte("\ufeff"))
	if word := workbook(data); word != "" {
		return nil, recordfile.Problems{{Place: whole, Read: word, Expected: "CSV: in the spreadsheet, save it as CSV (UTF-8)", Message: "is no CSV file"}}
	}
	if m != nil && encodings[m.Encoding] != nil {
		decoded, err := encodings[m.Encoding].NewDecoder().Bytes(data)
		if err != nil {
			return nil, recordfile.Problems{{Place: whole, Message: "is not " + m.Encoding}}
		}
		data = decoded
	}
	if !utf8.Valid(data) {
		return nil, recordfile.Problems{{Place: whole, Expected: "utf-8, or a mapping with encoding: windows-1252 or iso-8859-1", Message: "is not utf-8"}}
	}
	separator := shown(data)
	if m != nil && m.Separator != "" {
		separator = rune(m.Separator[0])
	}
	headers, rows, problem := cells(src.Name, data, separator)
	if problem != nil {
		return nil, recordfile.Problems{*problem}
	}
	if len(headers) == 0 {
		return nil, recordfile.Problems{{Place: whole, Expected: "a row of headings", Message: "is empty"}}
	}
	t.headers, t.rows = headers, rows
	if m == nil {
		var err error
		if t.m, err = mappingFor(src.Name, headers); err != nil {
			return nil, recordfile.Problems{{Place: whole, Message: err.Error()}}
		}
	}
	return t, t.bind()
}

// workbook names the form of a spreadsheet's own file; empty: it is none.
func workbook(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return "a workbook (xlsx, ods)"
	case bytes.HasPrefix(data, []byte{0xd0, 0xcf, 0x11, 0xe0}):
		return "a workbook (xls)"
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}), bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		return "a text in UTF-16"
	}
	return ""
}

// shown is the separator that the row of headings shows, the one that stands in it most often: where numbers have a decimal comma,
// a spreadsheet puts semicolons, and a heading may hold a comma.
func shown(data []byte) rune {
	headings, _, _ := bytes.Cut(data, []byte("\n"))
	best, most := ',', 0
	for _, r := range ",;\t" {
		if n := bytes.Count(headings, []byte(string(r))); n > most {
			best, most = r, n
		}
	}
	return best
}

// cells takes the text apart. The rows are those with anything in them.
func cells(file string, data []byte, separator rune) ([]string, []row, *recordfile.Problem) {
	in := csv.NewReader(bytes.NewReader(data))
	in.Comma, in.FieldsPerRecord = separator, -1
	var headers []string
	var rows []row
	number, before := 0, int64(0)
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			return headers, rows, nil
		}
		var wrong *csv.ParseError
		if errors.As(err, &wrong) {
			return nil, nil, &recordfile.Problem{
				Place:    recordfile.Place{File: file, Line: wrong.Line, Column: wrong.Column},
				Expected: `cells between quotes, with "" for a quote within`, Message: wrong.Err.Error(),
			}
		}
		if err != nil {
			return nil, nil, &recordfile.Problem{Place: recordfile.Place{File: file}, Message: err.Error()}
		}
		// Empty lines are no records to the reader, but rows to whoever looks at them.
		for _, c := range data[before:in.InputOffset()] {
			if c == '\n' {
				number++
			} else if c != '\r' {
				break
			}
		}
		number, before = number+1, in.InputOffset()
		switch {
		case headers == nil:
			for _, h := range record {
				headers = append(headers, strings.TrimSpace(plain(h)))
			}
		case slices.ContainsFunc(record, func(s string) bool { return strings.TrimSpace(s) != "" }):
			rows = append(rows, row{number, record})
		}
	}
}

// bind ties headings to fields.
func (t *table) bind() recordfile.Problems {
	var problems recordfile.Problems
	top := recordfile.Place{File: t.file, Line: 1, Cell: "row 1"}
	wrong := func(read, expected, format string, args ...any) {
		problems = append(problems, recordfile.Problem{Place: top, Read: read, Expected: expected, Message: fmt.Sprintf(format, args...)})
	}
	kind, err := kindOf(t.m.Kind)
	if err != nil {
		wrong(t.m.Kind, "", "%s", err)
		return problems
	}
	t.kind = kind
	index, used := map[string]int{}, map[string]bool{}
	for i, h := range t.headers {
		if _, twice := index[h]; twice && h != "" {
			wrong(h, "each heading once", "two columns have this heading")
		}
		index[h] = i
	}
	if n := len(t.headers); n == 1 && len(t.m.Fields) > 1 && strings.ContainsAny(t.headers[0], ",;\t") {
		wrong(t.headers[0], "a row of headings", "the cells are not separated as the mapping says (separator: %q)", t.m.Separator)
		return problems
	}
	for _, at := range slices.Sorted(maps.Keys(t.m.Fields)) {
		t.tie(kind, at, index, used, func(p recordfile.Problem) { problems = append(problems, p) })
	}
	for _, h := range t.headers {
		if h != "" && !used[h] {
			t.unused = append(t.unused, h)
		}
	}
	t.columns = slices.DeleteFunc(t.columns, func(c column) bool {
		for i, l := range c.lists {
			if i >= len(t.lists) || l.name() != t.lists[i].name() {
				wrong(c.text, "lists that lie within one another", "%s is in another list than %s: make a sheet for each", c.text, t.lists[len(t.lists)-1].name())
				return true
			}
		}
		return false
	})
	// Of fields with steps in common the outer one comes first.
	slices.SortStableFunc(t.columns, func(a, b column) int { return len(a.lists) - len(b.lists) })
	if len(problems) == 0 && t.key() == nil {
		want := place
		if keyOf(kind.Message()) != nil {
			want = "id"
		}
		wrong("", want, "nothing tells which record a row belongs to")
	}
	for r := range t.rows {
		if cells := t.rows[r].cells; len(cells) > len(t.headers) && strings.TrimSpace(strings.Join(cells[len(t.headers):], "")) != "" {
			t.long = append(t.long, recordfile.Problem{
				Place: recordfile.Place{File: t.file, Line: t.rows[r].number, Cell: fmt.Sprintf("row %d", t.rows[r].number)},
				Read:  fmt.Sprintf("%d cells", len(cells)), Expected: fmt.Sprintf("%d, as there are headings", len(t.headers)), Message: "more cells than headings",
			})
		}
	}
	return problems
}

// tie adds the column of a field path, if the sheet has the headings that its text needs. A path that is close to a field's is taken
// for it, so that what stands below is judged too and nobody asks for the field.
func (t *table) tie(kind protoreflect.FieldDescriptor, at string, index map[string]int, used map[string]bool, problem func(recordfile.Problem)) {
	template := t.m.Fields[at]
	var slotted []int
	for _, h := range slots(template) {
		if n, ok := index[h]; ok {
			slotted = append(slotted, n)
			used[h] = true
		}
	}
	here := t.at(row{number: 1}, column{slots: slotted})
	p, err := parsePath(kind.Message(), at)
	if err != nil {
		e := told(err)
		problem(recordfile.Problem{Place: here, Read: at, Expected: e.expected, Message: e.message})
		if _, there := t.m.Fields[e.meant]; e.meant == "" || there {
			return
		}
		if p, err = parsePath(kind.Message(), e.meant); err != nil {
			return
		}
	}
	for _, h := range slots(template) {
		if _, ok := index[h]; ok {
			continue
		}
		_, expected := recordfile.Near(h, slices.DeleteFunc(slices.Clone(t.headers), func(s string) bool { return s == "" }))
		problem(recordfile.Problem{
			Place: recordfile.Place{File: t.file, Line: 1, Cell: "row 1"}, Read: h, Expected: expected, Message: fmt.Sprintf("no column has this heading, which the mapping takes for %s", at),
		})
		return
	}
	t.columns = append(t.columns, column{path: p, template: template, slots: slotted})
	if len(p.lists) > len(t.lists) {
		t.lists = p.lists
	}
}

// key is the column that tells which record a row belongs to.
func (t *table) key() *column { return t.keyOf(0) }

// keyOf is the column that names a row at a level: the record at 0, an entry
// of the first list at 1. nil: there is none.
func (t *table) keyOf(level int) *column {
	md := t.kind.Message()
	if level > 0 {
		md = t.lists[level-1].field().Message()
	}
	key := keyOf(md)
	for i := range t.columns {
		c := &t.columns[i]
		if len(c.lists) != level {
			continue
		}
		if key != nil && len(c.steps) == 1 && c.steps[0] == key || key == nil && len(c.steps) == 0 {
			return c
		}
	}
	return nil
}
