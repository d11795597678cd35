package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
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
	// Separator between cells: "," (also empty), ";" or a tab.
	Separator string `yaml:"separator"`
	// Encoding of the file: utf-8 (also empty), windows-1252 or iso-8859-1.
	Encoding string `yaml:"encoding"`
}

var encodings = map[string]encoding.Encoding{
	"": nil, "utf-8": nil, "windows-1252": charmap.Windows1252, "iso-8859-1": charmap.ISO8859_1,
}

var forms = []calendar.Form{calendar.FormISO, calendar.FormDMY, calendar.FormMDY, calendar.FormYMD, calendar.FormMY, calendar.FormYM}

// ReadMapping reads a mapping file; every problem is told at once.
func ReadMapping(src recordfile.Source) (*Mapping, error) {
	m := &Mapping{}
	dec := yaml.NewDecoder(bytes.NewReader(src.Data))
	dec.KnownFields(true)
	problem := func(format string, args ...any) recordfile.Problem {
		return recordfile.Problem{Place: recordfile.Place{File: src.Name}, Message: fmt.Sprintf(format, args...)}
	}
	if err := dec.Decode(m); err != nil && !errors.Is(err, io.EOF) {
		var wrong *yaml.TypeError
		if !errors.As(err, &wrong) {
			return nil, recordfile.Problems{problem("%s", strings.TrimPrefix(err.Error(), "yaml: "))}
		}
		var out recordfile.Problems
		for _, e := range wrong.Errors {
			out = append(out, problem("%s", strings.ReplaceAll(e, " not found in type sheet.Mapping", " is no part of a mapping")))
		}
		return nil, out
	}
	var out recordfile.Problems
	fd, err := kindOf(m.Kind)
	if err != nil {
		return nil, append(out, problem("kind: %s", err))
	}
	if len(m.Fields) == 0 {
		out = append(out, problem(`fields: none; write each as path: "{Heading}"`))
	}
	known := func(where, text string) {
		if _, err := parsePath(fd.Message(), text); err != nil {
			out = append(out, problem("%s: %s", where, err))
		}
	}
	for _, at := range slices.Sorted(maps.Keys(m.Fields)) {
		known("fields", at)
	}
	for _, at := range m.Keys {
		known("keys", at)
	}
	for _, at := range slices.Sorted(maps.Keys(m.Words)) {
		known("words", at)
	}
	if m.Dates != "" && !slices.Contains(forms, m.Dates) {
		out = append(out, problem("dates: %q, expected ISO, DMY, MDY, YMD, MY or YM", m.Dates))
	}
	if m.Decimal != "" && m.Decimal != "point" && m.Decimal != "comma" {
		out = append(out, problem("decimal: %q, expected point or comma", m.Decimal))
	}
	if !slices.Contains([]string{"", ",", ";", "\t"}, m.Separator) {
		out = append(out, problem(`separator: %q, expected ",", ";" or a tab ("\t")`, m.Separator))
	}
	if _, ok := encodings[m.Encoding]; !ok {
		out = append(out, problem("encoding: %q, expected utf-8, windows-1252 or iso-8859-1", m.Encoding))
	}
	if len(out) > 0 {
		return nil, out
	}
	return m, nil
}

// mappingFor is the mapping of a sheet that names fields in its own headings:
// the kind is the first word of the file's name.
func mappingFor(file string, headings []string) (*Mapping, error) {
	kind, _, _ := strings.Cut(filepath.Base(file), ".")
	if _, err := kindOf(kind); err != nil {
		return nil, fmt.Errorf("which kind of record this is, neither a mapping nor the file's name says: %w", err)
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
