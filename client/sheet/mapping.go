package sheet

import (
	"fmt"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"

	"lastlight/client/recordfile"
	"lastlight/engine/calendar"
)

// Mapping ties the headings of a club's own spreadsheet to the fields of a
// record. It is a small YAML file, written once.
type Mapping struct {
	// Kind of record: person, cylinder, equipment, dive …
	Kind string `yaml:"kind"`
	// Fields by path, each a text in which {Heading} stands for the cell under
	// that heading: id: "log-{No}", entered_at: "{Date} {In}", kind: normal.
	Fields map[string]string `yaml:"fields"`
	// Keys are the paths whose text is turned into a key: small letters, digits
	// and hyphens. "Holm, Ane" becomes "holm-ane".
	Keys []string `yaml:"keys"`
	// Words translates texts, by path: material: {Stahl: steel}.
	Words map[string]map[string]string `yaml:"words"`
	// Dates is the order of typed dates: ISO, DMY, MDY, YMD, MY or YM. ISO dates are always read.
	Dates calendar.Form `yaml:"dates"`
	// Zone in which times without an offset are meant, and in which "today" is; empty: the club's.
	Zone string `yaml:"zone"`
	// Decimal is the sign in numbers: point (also empty) or comma.
	Decimal string `yaml:"decimal"`
	// Separator between cells: ",", ";" or a tab; empty: as the row of headings shows.
	Separator string `yaml:"separator"`
	// Encoding of the file: utf-8 (also empty), windows-1252 or iso-8859-1.
	Encoding string `yaml:"encoding"`
}

var encodings = map[string]encoding.Encoding{
	"": nil, "utf-8": nil, "windows-1252": charmap.Windows1252, "iso-8859-1": charmap.ISO8859_1,
}

var forms = []calendar.Form{calendar.FormISO, calendar.FormDMY, calendar.FormMDY, calendar.FormYMD, calendar.FormMY, calendar.FormYM}

// parts are the fields of a mapping file and what each takes.
func (m *Mapping) parts() []part {
	return []part{
		{"kind", &m.Kind, "a kind of record: person, dive …"},
		{"fields", &m.Fields, `a block, each line a field's path and its text: full_name: "{Name}"`},
		{"keys", &m.Keys, "a list of paths, [id, owner]"},
		{"words", &m.Words, "a block of paths, each with a block of words: material: {Stahl: steel}"},
		{"dates", &m.Dates, "ISO, DMY, MDY, YMD, MY or YM"},
		{"zone", &m.Zone, "a time zone as Europe/Oslo"},
		{"decimal", &m.Decimal, "point or comma"},
		{"separator", &m.Separator, `",", ";" or a tab ("\t")`},
		{"encoding", &m.Encoding, "utf-8, windows-1252 or iso-8859-1"},
	}
}

type part struct {
	name     string
	into     any
	expected string
}

// mappingReader collects what is wrong with a mapping file.
type mappingReader struct {
	file     string
	nodes    map[string]*yaml.Node // by name, and by "fields path"
	problems recordfile.Problems
}

func (r *mappingReader) wrong(at, read, expected, message string) {
	p := recordfile.Problem{Place: recordfile.Place{File: r.file}, Field: at, Read: read, Expected: expected, Message: message}
	if n := r.nodes[at]; n != nil {
		p.Line, p.Column = n.Line, n.Column
	}
	r.problems = append(r.problems, p)
}

// read fills the mapping from its document.
func (r *mappingReader) read(doc *yaml.Node, m *Mapping) {
	if doc.Kind != yaml.MappingNode {
		r.wrong("", doc.Value, "kind: and fields:, as `lastlight sheet in --help` shows", "no mapping")
		return
	}
	parts := m.parts()
	var names []string
	for _, p := range parts {
		names = append(names, p.name)
	}
	for i := 0; i+1 < len(doc.Content); i += 2 {
		key, value := doc.Content[i], doc.Content[i+1]
		name := key.Value
		n := slices.Index(names, name)
		if n < 0 {
			meant, expected := recordfile.Near(name, names)
			r.nodes[name] = key
			r.wrong(name, name, expected, "no part of a mapping")
			if n = slices.Index(names, meant); n < 0 || r.nodes[meant] != nil {
				continue
			}
			name = meant
		}
		if r.nodes[name] != nil {
			r.wrong(name, name, "each part once", fmt.Sprintf("written twice, first in line %d", r.nodes[name].Line))
			twice := &r.problems[len(r.problems)-1]
			twice.Line, twice.Column = key.Line, key.Column
			continue
		}
		r.nodes[name] = key
		if value.Decode(parts[n].into) != nil {
			r.wrong(name, value.Value, parts[n].expected, "")
			continue
		}
		for k := 0; value.Kind == yaml.MappingNode && k+1 < len(value.Content); k += 2 {
			r.nodes[name+" "+value.Content[k].Value] = value.Content[k]
		}
	}
}

// ReadMapping reads a mapping file; every problem is told at once.
func ReadMapping(src recordfile.Source) (*Mapping, error) {
	docs, problems := recordfile.Documents(src)
	if len(problems) > 0 {
		return nil, problems
	}
	m, r := &Mapping{}, &mappingReader{file: src.Name, nodes: map[string]*yaml.Node{}}
	if len(docs) == 1 {
		r.read(docs[0], m)
	} else {
		r.wrong("", fmt.Sprintf("%d documents", len(docs)), "one mapping", "")
	}
	r.check(m)
	if len(r.problems) > 0 {
		r.problems.Sort([]string{src.Name})
		return nil, r.problems
	}
	return m, nil
}

// check notes words that are none and paths that the kind of record has not.
func (r *mappingReader) check(m *Mapping) {
	if m.Dates != "" && !slices.Contains(forms, m.Dates) {
		r.wrong("dates", string(m.Dates), "ISO, DMY, MDY, YMD, MY or YM", "")
	}
	if m.Decimal != "" && m.Decimal != "point" && m.Decimal != "comma" {
		r.wrong("decimal", m.Decimal, "point or comma", "")
	}
	if !slices.Contains([]string{"", ",", ";", "\t"}, m.Separator) {
		r.wrong("separator", m.Separator, `",", ";" or a tab ("\t")`, "")
	}
	if _, ok := encodings[m.Encoding]; !ok {
		r.wrong("encoding", m.Encoding, "utf-8, windows-1252 or iso-8859-1", "")
	}
	if len(m.Fields) == 0 && r.nodes["fields"] == nil {
		r.wrong("fields", "", `each path with its text: full_name: "{Name}"`, "none")
	}
	fd, err := kindOf(m.Kind)
	if err != nil {
		_, expected := recordfile.Near(m.Kind, Kinds())
		r.wrong("kind", m.Kind, expected, "no kind of record")
		return // of what the paths are is not known
	}
	known := func(part, path, at string) {
		if _, err := parsePath(fd.Message(), path); err != nil {
			e := told(err)
			if r.nodes[at] == nil {
				r.nodes[at] = r.nodes[part]
			}
			r.wrong(at, path, e.expected, e.message)
		}
	}
	for _, at := range slices.Sorted(maps.Keys(m.Fields)) {
		known("fields", at, "fields "+at)
	}
	for _, at := range m.Keys {
		known("keys", at, "keys")
	}
	for _, at := range slices.Sorted(maps.Keys(m.Words)) {
		known("words", at, "words "+at)
	}
}

// mappingFor is the mapping of a sheet that names fields in its own headings:
// the kind is the first word of the file's name.
func mappingFor(file string, headings []string) (*Mapping, error) {
	kind, _, _ := strings.Cut(filepath.Base(file), ".")
	if _, err := kindOf(kind); err != nil {
		return nil, fmt.Errorf("which kind of record this is, neither a mapping (--map) nor the file's name says: %w", err)
	}
	m := &Mapping{Kind: kind, Fields: map[string]string{}}
	for _, h := range headings {
		if h != "" {
			m.Fields[h] = "{" + h + "}"
		}
	}
	return m, nil
}

var slot = regexp.MustCompile(`\{([^{}]*)\}`)

// slots are the headings a text stands for, in order.
func slots(template string) []string {
	var out []string
	for _, m := range slot.FindAllStringSubmatch(template, -1) {
		out = append(out, m[1])
	}
	return out
}
