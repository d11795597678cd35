package recordfile

import (
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strings"
	"time"

	"buf.build/go/protovalidate"
	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "lastlight/proto/lastlight/v1"
)

// Source is a file as bytes.
type Source struct {
	Name string
	Data []byte
}

// Open reads a file of at most MaxFileBytes; "-" is stdin. A larger one is
// refused by its size, or after MaxFileBytes where the size is not known.
func Open(path string, stdin io.Reader) (Source, error) {
	in, name := stdin, "stdin"
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return Source{}, Problems{{Place: Place{File: path}, Message: "cannot be read: " + unwrapPath(err)}}
		}
		defer f.Close()
		in, name = f, path
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() && info.Size() > MaxFileBytes {
			return Source{}, tooLarge(name, fmt.Sprintf("%d bytes", info.Size()))
		}
	}
	data, err := io.ReadAll(io.LimitReader(in, MaxFileBytes+1))
	if err != nil {
		return Source{}, Problems{{Place: Place{File: name}, Message: "cannot be read: " + unwrapPath(err)}}
	}
	if len(data) > MaxFileBytes {
		return Source{}, tooLarge(name, fmt.Sprintf("more than %d bytes", MaxFileBytes))
	}
	return Source{name, data}, nil
}

func tooLarge(name, read string) Problems {
	return Problems{{Place: Place{File: name}, Read: read, Expected: fmt.Sprintf("at most %d bytes (8 MiB)", MaxFileBytes), Message: "too large, not read"}}
}

func unwrapPath(err error) string {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

// File is what record files hold: the records in order and where each field stands.
type File struct {
	Records []*pb.Record
	Places  *Places
	Names   []string
	// A source was not YAML to its end: what others name may stand in what could not be read.
	Partial bool
}

// Read reads record files: YAML documents, each `records: [...]`. All problems
// of text and schema are returned at once, in order; the File holds what could
// be read, every record in its place.
func Read(sources ...Source) (*File, Problems) {
	f := &File{Places: NewPlaces(Place{})}
	var problems Problems
	for _, src := range sources {
		f.Names = append(f.Names, src.Name)
		if f.Places.first.File == "" {
			f.Places.first = Place{File: src.Name}
		}
		docs, ps, whole := documents(src)
		problems = append(problems, ps...)
		f.Partial = f.Partial || !whole
		d := &decoder{file: src.Name, lines: strings.Split(string(src.Data), "\n"), places: f.Places}
		for _, doc := range docs {
			if d.plain(doc, 0) {
				f.records(d, doc)
			}
		}
		problems = append(problems, d.problems...)
	}
	if len(problems) == 0 && len(f.Records) == 0 {
		problems = append(problems, Problem{Place: f.Places.first, Expected: "records: with at least one record", Message: "no records"})
	}
	if len(f.Records) > MaxRecords {
		problems = append(problems, Problem{Place: f.Places.first, Read: fmt.Sprintf("%d records", len(f.Records)), Expected: fmt.Sprintf("at most %d at once", MaxRecords)})
		return f, problems
	}
	problems = append(problems, f.Validate()...)
	problems.Sort(f.Names)
	return f, problems
}

// Validate finds what breaks the rules beside each field.
func (f *File) Validate() Problems {
	var problems Problems
	for i, r := range f.Records {
		problems = append(problems, schema(r, fmt.Sprintf("records[%d]", i), f.Places)...)
	}
	return problems
}

// records takes one document's list on to the others'.
func (f *File) records(d *decoder, doc *yaml.Node) {
	if child(doc, "records") == nil {
		message, expected := otherKind(doc)
		d.problem(doc, "", begins(doc), expected, message)
		return
	}
	found := false
	for i := 0; i+1 < len(doc.Content); i += 2 {
		key, value := doc.Content[i], doc.Content[i+1]
		switch {
		case key.Value != "records":
			d.problem(key, key.Value, key.Value, "records", "unknown field")
		case found:
			d.problem(key, "records", "records", "each field once", "written twice")
		case value.Kind != yaml.SequenceNode:
			found = true
			d.problem(value, "records", text(value), "a list of records, each beginning with \"- site:\", \"- person:\" …", "")
		default:
			found = true
			for _, item := range value.Content {
				path := fmt.Sprintf("records[%d]", len(f.Records))
				f.Places.marks[path] = d.mark(item)
				r := &pb.Record{}
				d.message(item, r.ProtoReflect(), path)
				f.Records = append(f.Records, r)
			}
		}
	}
}

// begins is how a document begins: its first field, or its text.
func begins(doc *yaml.Node) string {
	if names := keys(doc); len(names) > 0 {
		return names[0] + ":"
	}
	return text(doc)
}

// ReadMessage reads a file with one message, as create and update take it.
func ReadMessage(src Source, m proto.Message) (*Places, Problems) {
	places := NewPlaces(Place{File: src.Name})
	docs, problems, _ := documents(src)
	if len(problems) == 0 && len(docs) != 1 {
		problems = append(problems, Problem{Place: places.first, Read: fmt.Sprintf("%d documents", len(docs)), Expected: "one document"})
	}
	if len(problems) > 0 {
		return places, problems
	}
	d := &decoder{file: src.Name, lines: strings.Split(string(src.Data), "\n"), places: places}
	if message, expected, ok := otherMessage(docs[0], m.ProtoReflect().Descriptor()); !ok {
		d.problem(docs[0], "", begins(docs[0]), expected, message)
		return places, d.problems
	}
	if d.plain(docs[0], 0) {
		d.message(docs[0], m.ProtoReflect(), "")
	}
	problems = append(d.problems, schema(m, "", places)...)
	problems.Sort([]string{src.Name})
	return places, problems
}

// schema checks m against the API's own rules and against the calendar.
// What could not be read is left out: that has been said.
func schema(m proto.Message, path string, places *Places) Problems {
	var problems Problems
	var verr *protovalidate.ValidationError
	if err := protovalidate.Validate(m); errors.As(err, &verr) {
		for _, v := range verr.Violations {
			field := join(path, protovalidate.FieldPathString(v.Proto.GetField()))
			if f := protovalidate.FieldPathString(v.Proto.GetField()); f == "" {
				field = path
			}
			around := field
			if v.FieldDescriptor == nil && v.Proto.GetRuleId() == "required" {
				// "One of them is required", where one stood there and could not be read.
				around = parent(field)
			}
			if places.Broken(around) {
				places.broken = append(places.broken, field) // the server will say it too
				continue
			}
			p := Problem{Field: field, Message: v.Proto.GetMessage()}
			p.Place, p.Read = places.Find(field)
			if fd := v.FieldDescriptor; fd != nil {
				if len(v.Proto.GetRule().GetElements()) > 0 {
					p.Expected, p.Message = Expect(fd), ""
				}
				switch v.Proto.GetRuleId() {
				case "required":
					p.Message = "is missing"
				case "repeated.unique":
					again := namedTwice(v.FieldValue.List())
					p.Place, _ = places.Find(fmt.Sprintf("%s[%d]", field, again))
					p.Read, p.Message, p.Expected = v.FieldValue.List().Get(again).String(), "is in the list already", "each of them once"
				}
			}
			problems = append(problems, p)
		}
	} else if err != nil {
		problems = append(problems, Problem{Place: places.first, Field: path, Message: err.Error()})
	}
	return append(problems, calendar(m.ProtoReflect(), path, places)...)
}

// namedTwice is the place of the first entry of a list that stands in it before.
func namedTwice(list protoreflect.List) int {
	seen := map[any]bool{}
	for i := range list.Len() {
		if v := list.Get(i).Interface(); seen[v] {
			return i
		} else if _, block := v.(protoreflect.Message); !block {
			seen[v] = true
		}
	}
	return 0
}

var day = regexp.MustCompile(`^\d{4}-\d{2}(-\d{2})?$`)

// calendar finds days that do not exist, as 2026-02-30: the patterns of the
// API cannot.
func calendar(m protoreflect.Message, path string, places *Places) Problems {
	var problems Problems
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !m.Has(fd) || fd.IsMap() {
			continue
		}
		p := join(path, string(fd.Name()))
		switch {
		case fd.Message() != nil && fd.IsList():
			for j := range m.Get(fd).List().Len() {
				problems = append(problems, calendar(m.Get(fd).List().Get(j).Message(), fmt.Sprintf("%s[%d]", p, j), places)...)
			}
		case fd.Message() != nil:
			problems = append(problems, calendar(m.Get(fd).Message(), p, places)...)
		case fd.Kind() == protoreflect.StringKind && !fd.IsList():
			s := m.Get(fd).String()
			if e := Expect(fd); !day.MatchString(s) || len(e) < 5 || e[:5] != "a day" {
				continue
			}
			form := "2006-01-02"
			if len(s) == len("2006-01") {
				form = "2006-01"
			}
			if _, err := time.Parse(form, s); err != nil {
				place, _ := places.Find(p)
				problems = append(problems, Problem{Place: place, Field: p, Read: s, Expected: Expect(fd), Message: "there is no such day"})
			}
		}
	}
	return problems
}
