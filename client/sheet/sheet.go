// Package sheet reads and writes the club's records as spreadsheets: CSV files
// (RFC 4180) with one heading row. A sheet holds one kind of record, or one
// list within it: person.csv has a row for each person, person.cards.csv one
// for each card, with the person's id in front.
//
// A column is a field path of the record: full_name, consumption.bar,
// cards.issued_day. "#" is the place of a row among those of its record or list,
// counted from 1, where it has no key of its own: legs.#. The headings of a
// club's own spreadsheet are tied to such paths by a Mapping.
package sheet

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/client/recordfile"
	pb "lastlight/proto/lastlight/v1"
)

// place is the step of a path that counts rows.
const place = "#"

// extension of the files.
const extension = ".csv"

// path is a field path: levels of lists, from the record inwards, and in the
// last of them the steps to a value. "legs.depth_points.at_m" has the lists
// legs and depth_points and the value at_m.
type path struct {
	text  string
	lists []list
	steps []protoreflect.FieldDescriptor // empty: the place in the innermost list
}

// list is one level: the steps from the block above to a list of blocks.
type list []protoreflect.FieldDescriptor

func (l list) field() protoreflect.FieldDescriptor { return l[len(l)-1] }

// name is the path of the list within the block above.
func (l list) name() string {
	names := make([]string, len(l))
	for i, fd := range l {
		names[i] = string(fd.Name())
	}
	return strings.Join(names, ".")
}

// key is the field by which the rows of a list are known, nil where only their place tells them apart.
func (l list) key() protoreflect.FieldDescriptor { return keyOf(l.field().Message()) }

// keyOf is the field that names a block among its like.
func keyOf(md protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	for _, name := range []protoreflect.Name{"id", "person"} {
		if fd := md.Fields().ByName(name); fd != nil && fd.Kind() == protoreflect.StringKind && !fd.IsList() && !outputOnly(fd) {
			if name == "id" || md.Name() == "DiveDiver" || md.Name() == "PlanDiver" {
				return fd
			}
		}
	}
	return nil
}

// outputOnly tells whether the server alone writes a field: it is in no sheet.
func outputOnly(fd protoreflect.FieldDescriptor) bool {
	return proto.GetExtension(fd.Options(), pb.E_OutputOnly).(bool)
}

// value tells whether a field is one cell and not a block of further fields.
func value(fd protoreflect.FieldDescriptor) bool {
	if fd.Message() == nil {
		return true
	}
	switch fd.Message().FullName() {
	case "google.protobuf.Timestamp", "google.protobuf.Struct":
		return !fd.IsList()
	}
	return false
}

// parsePath reads a path of a kind of record.
func parsePath(md protoreflect.MessageDescriptor, text string) (path, error) {
	p := path{text: text}
	var steps []protoreflect.FieldDescriptor
	names := strings.Split(text, ".")
	for i, name := range names {
		last := i == len(names)-1
		if last && name == place && len(steps) == 0 {
			return p, nil
		}
		fd := md.Fields().ByName(protoreflect.Name(name))
		switch {
		case fd == nil:
			meant, expected := recordfile.Near(name, fieldNames(md))
			if meant != "" {
				meant = strings.Join(append(slices.Clone(names[:i]), append([]string{meant}, names[i+1:]...)...), ".")
			}
			return p, &noField{fmt.Sprintf("a %s has no field %q", recordfile.Words(md), name), expected, meant}
		case outputOnly(fd):
			return p, fmt.Errorf("%s is written by the server", text)
		case value(fd) != last:
			if last {
				return p, fmt.Errorf("%s is a block: add one of %s", text, strings.Join(fieldNames(fd.Message()), ", "))
			}
			return p, fmt.Errorf("%s is a value and has no fields", strings.Join(names[:i+1], "."))
		}
		steps = append(steps, fd)
		if last {
			p.steps = steps
			return p, nil
		}
		md = fd.Message()
		if fd.IsList() {
			p.lists = append(p.lists, list(steps))
			steps = nil
		}
	}
	return p, fmt.Errorf("%q is no field path", text)
}

// noField is a path with a name that is no field; meant is the path that was likely meant, empty where none is close.
type noField struct{ message, expected, meant string }

func (e *noField) Error() string { return e.message + ": " + e.expected }

// told is what parsePath says against a path, in the parts of a problem.
func told(err error) *noField {
	if e, ok := errors.AsType[*noField](err); ok {
		return e
	}
	return &noField{message: err.Error()}
}

func fieldNames(md protoreflect.MessageDescriptor) []string {
	var names []string
	for i := range md.Fields().Len() {
		if fd := md.Fields().Get(i); !outputOnly(fd) {
			names = append(names, string(fd.Name()))
		}
	}
	return names
}

// Kinds are the kinds of record a sheet can hold.
func Kinds() []string {
	fields := (&pb.Record{}).ProtoReflect().Descriptor().Fields()
	var out []string
	for i := range fields.Len() {
		out = append(out, string(fields.Get(i).Name()))
	}
	return out
}

// kindOf is the field of Record that holds the kind.
func kindOf(kind string) (protoreflect.FieldDescriptor, error) {
	fd := (&pb.Record{}).ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(kind))
	if fd == nil {
		return nil, fmt.Errorf("%q is no kind of record: one of %s", kind, strings.Join(Kinds(), ", "))
	}
	return fd, nil
}

// Column is a column a sheet of a kind can have.
type Column struct {
	Path  string
	Field protoreflect.FieldDescriptor // nil: the place of a row
}

// Columns lists every column of the sheets of a kind, in the order of the record's fields.
func Columns(kind string) ([]Column, error) {
	fd, err := kindOf(kind)
	if err != nil {
		return nil, err
	}
	return columns(fd.Message(), "", nil), nil
}

func columns(md protoreflect.MessageDescriptor, before string, above []protoreflect.MessageDescriptor) []Column {
	if slices.Contains(above, md) {
		return nil // a block within its like has no sheet
	}
	above = append(slices.Clone(above), md)
	var out []Column
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		at := before + string(fd.Name())
		switch {
		case outputOnly(fd):
		case value(fd):
			out = append(out, Column{at, fd})
		default:
			if fd.IsList() && (list{fd}).key() == nil {
				out = append(out, Column{Path: at + "." + place})
			}
			out = append(out, columns(fd.Message(), at+".", above)...)
		}
	}
	return out
}
