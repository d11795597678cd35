// Package recordfile reads and writes the club's YAML files: the API's own
// messages, each value with the place in the file it was read from.
package recordfile

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "lastlight/proto/lastlight/v1"
)

// Limits on what is read at all. They hold before anything is built from it.
const (
	// MaxFileBytes is the largest file read, 8 MiB.
	MaxFileBytes = 8 << 20
	// MaxDepth is the deepest nesting of lists and blocks.
	MaxDepth = 32
	// MaxRecords is the most records of one apply, as the API allows.
	MaxRecords = 20000
)

// Place is where something stands. Line and Column count from 1; 0: the file as a whole.
// In a sheet they are row and column, and Cell says them as a spreadsheet does.
type Place struct {
	File         string
	Line, Column int
	Cell         string
}

func (p Place) String() string {
	if p.Cell != "" {
		return p.File + ": " + p.Cell
	}
	if p.Line == 0 {
		return p.File
	}
	if p.Column == 0 {
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// Problem is one thing wrong: where, what was read, what is expected.
type Problem struct {
	Place
	// Field path, e.g. records[3].cylinder.working_pressure.bar.
	Field string
	// What was read; empty: nothing.
	Read string
	// What is expected, with range and unit; may be empty where Message says it.
	Expected string
	Message  string
}

func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.Place.String())
	if p.Field != "" {
		b.WriteString(": " + p.Field)
	}
	if p.Message != "" {
		b.WriteString(": " + p.Message)
	}
	if p.Read != "" || p.Expected != "" {
		read := "nothing"
		if p.Read != "" {
			read = short(p.Read)
		}
		b.WriteString("\n    read:     " + read)
	}
	if p.Expected != "" {
		b.WriteString("\n    expected: " + p.Expected)
	}
	return b.String()
}

// short keeps a value on one line.
func short(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 60 {
		return string(r[:59]) + "…"
	}
	return s
}

// Problems is everything that is wrong, in the order of the files.
type Problems []Problem

func (ps Problems) Error() string {
	var b strings.Builder
	for _, p := range ps {
		b.WriteString(p.String() + "\n")
	}
	if len(ps) == 1 {
		b.WriteString("1 problem; nothing was stored")
	} else {
		fmt.Fprintf(&b, "%d problems; nothing was stored", len(ps))
	}
	return b.String()
}

// Sort orders by place; files keep the order in which they were given.
func (ps Problems) Sort(files []string) {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		return cmp.Or(
			cmp.Compare(slices.Index(files, a.File), slices.Index(files, b.File)),
			cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Field, b.Field))
	})
}

// start is where the first character of a text stands. Line 0: its lines are not those of the file. The lines of a block are;
// of any other text only the first is.
type start struct {
	Line, Column int
	block        bool
}

// mark is where a field path stands and what was read there.
type mark struct {
	Place
	read  string
	start start
}

// Places finds field paths in what was read.
type Places struct {
	marks map[string]mark
	// Paths whose text could not be read.
	broken []string
	// Ids of records of which not even the kind could be read: others may name them.
	lost map[string]bool
	// Files of which columns could not be tied to fields: what stands nowhere in them may stand in those.
	partial map[string]bool
	first   Place
}

// NewPlaces is for a reader of another form of file; what stands nowhere is told to be at first.
func NewPlaces(first Place) *Places { return &Places{marks: map[string]mark{}, first: first} }

// Mark notes where a field path stands and what was read there.
func (ps *Places) Mark(path string, at Place, read string) {
	ps.marks[path] = mark{Place: at, read: read}
}

// Break notes that the text of a field path could not be read.
func (ps *Places) Break(path string) { ps.broken = append(ps.broken, path) }

// Find gives the place of a field path, or of the nearest thing around it
// that stands in the file.
func (ps *Places) Find(path string) (Place, string) {
	for at := path; at != ""; at = parent(at) {
		if m, ok := ps.marks[at]; ok {
			if at != path {
				return m.Place, ""
			}
			return m.Place, m.read
		}
	}
	return ps.first, ""
}

// FromServer turns the server's problem into one with a place.
func (ps *Places) FromServer(p *pb.Problem) Problem {
	place, read := ps.Find(p.GetField())
	if p.GetRead() != "" {
		read = p.GetRead()
	}
	if start := ps.marks[p.GetField()].start; p.GetLine() > 0 && start.Line > 0 && (p.GetLine() == 1 || start.block) {
		place.Line, place.Column = start.Line+int(p.GetLine())-1, start.Column+int(p.GetColumn())-1
	}
	return Problem{Place: place, Field: p.GetField(), Read: read, Expected: p.GetExpected(), Message: p.GetMessage()}
}

// Partial notes that not all of a file could be tied to fields.
func (ps *Places) Partial(file string) {
	if ps.partial == nil {
		ps.partial = map[string]bool{}
	}
	ps.partial[file] = true
}

// Broken tells whether the text at or under path, or around it, could not be
// read, so that whatever else is said about it follows from that.
func (ps *Places) Broken(path string) bool {
	if _, stands := ps.marks[path]; !stands {
		if place, _ := ps.Find(path); ps.partial[place.File] {
			return true
		}
	}
	for _, b := range ps.broken {
		if Within(path, b) || Within(b, path) {
			return true
		}
	}
	return false
}

// Within tells whether a field path is another one or lies below it.
func Within(inner, outer string) bool {
	rest, ok := strings.CutPrefix(inner, outer)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}

// lose notes the id of a record whose kind is not known.
func (ps *Places) lose(record *yaml.Node) {
	if id := child(record, "id"); id != nil && id.Value != "" {
		if ps.lost == nil {
			ps.lost = map[string]bool{}
		}
		ps.lost[id.Value] = true
	}
}

// aRecord is the path of a record as a whole.
var aRecord = regexp.MustCompile(`^records\[\d+\]\.([a-z_]+)$`)

// Follows tells whether what the server says follows from what could not be
// read here: it is about that, or about a record that is named there.
func (ps *Places) Follows(p *pb.Problem) bool {
	at := p.GetField()
	if part := aRecord.FindStringSubmatch(at); part != nil && recordFields.ByName(protoreflect.Name(part[1])) != nil {
		// Of the record as a whole: a fault of one field is no reason for it.
		return slices.ContainsFunc(ps.broken, func(b string) bool { return Within(at, b) })
	}
	return ps.lost[strings.Trim(p.GetRead(), `"`)] || ps.Broken(at)
}

// parent cuts the last step off a field path.
func parent(path string) string {
	i := strings.LastIndexAny(path, ".[")
	if i < 0 {
		return ""
	}
	return path[:i]
}
