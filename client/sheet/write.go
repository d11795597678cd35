package sheet

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/recordfile"
	pb "lastlight/proto/lastlight/v1"
)

// Writer gathers records and writes them as sheets, one for each kind and one
// for each list within a kind. Sheets that Read reads back to the same records.
type Writer struct {
	sheets []*out
	counts map[string]int // records of each kind so far
}

// out is a sheet under way.
type out struct {
	name   string
	keys   []string // headings of what stands in front: the record's key, the entries on the way
	fields []field
	used   map[string]bool
	rows   [][]string // keys, then fields
}

// field is one value of a block.
type field struct {
	name  string
	steps []protoreflect.FieldDescriptor
}

// Add takes a record.
func (w *Writer) Add(r *pb.Record) {
	if w.counts == nil {
		w.counts = map[string]int{}
	}
	m := r.ProtoReflect()
	fd := m.WhichOneof(m.Descriptor().Oneofs().Get(0))
	if fd == nil {
		return
	}
	kind := string(fd.Name())
	w.counts[kind]++
	block := m.Get(fd).Message()
	if key := keyOf(block.Descriptor()); key != nil {
		w.block(kind, "", block, []string{string(key.Name())}, []string{block.Get(key).String()}, key)
	} else {
		w.block(kind, "", block, []string{place}, []string{strconv.Itoa(w.counts[kind])}, nil)
	}
}

// block adds a block as a row of its sheet, and the lists within it to theirs.
// prefix is the path of the block's fields, key the field that is among the keys already.
func (w *Writer) block(name, prefix string, m protoreflect.Message, keys, values []string, key protoreflect.FieldDescriptor) {
	s := w.sheet(name, prefix, m.Descriptor(), keys, key)
	cells := slices.Clone(values)
	for _, f := range s.fields {
		text := valueText(m, f.steps)
		if text != "" {
			s.used[f.name] = true
		}
		cells = append(cells, text)
	}
	s.rows = append(s.rows, cells)
	for _, l := range listsOf(m.Descriptor(), nil) {
		inner := m
		for _, fd := range l[:len(l)-1] {
			inner = inner.Get(fd).Message()
		}
		entries := inner.Get(l.field()).List()
		at := prefix + l.name() + "."
		sheet := strings.SplitN(name, ".", 2)[0] + "." + strings.TrimSuffix(at, ".")
		for i := range entries.Len() {
			entry := entries.Get(i).Message()
			if k := l.key(); k != nil {
				w.block(sheet, at, entry, append(slices.Clone(keys), at+string(k.Name())), append(slices.Clone(values), entry.Get(k).String()), k)
			} else {
				w.block(sheet, at, entry, append(slices.Clone(keys), at+place), append(slices.Clone(values), strconv.Itoa(i+1)), nil)
			}
		}
	}
}

func (w *Writer) sheet(name, prefix string, md protoreflect.MessageDescriptor, keys []string, key protoreflect.FieldDescriptor) *out {
	for _, s := range w.sheets {
		if s.name == name {
			return s
		}
	}
	s := &out{name: name, keys: keys, used: map[string]bool{}}
	for _, f := range fieldsOf(md, nil) {
		if len(f) == 1 && f[0] == key {
			continue
		}
		names := make([]string, len(f))
		for i, fd := range f {
			names[i] = string(fd.Name())
		}
		s.fields = append(s.fields, field{prefix + strings.Join(names, "."), f})
	}
	w.sheets = append(w.sheets, s)
	return s
}

// fieldsOf lists the values of a block, those of blocks within it included.
func fieldsOf(md protoreflect.MessageDescriptor, steps []protoreflect.FieldDescriptor) [][]protoreflect.FieldDescriptor {
	var all [][]protoreflect.FieldDescriptor
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		next := append(slices.Clone(steps), fd)
		switch {
		case outputOnly(fd):
		case value(fd):
			all = append(all, next)
		case !fd.IsList():
			all = append(all, fieldsOf(fd.Message(), next)...)
		}
	}
	return all
}

// listsOf lists the lists of blocks in a block, those of blocks within it included.
func listsOf(md protoreflect.MessageDescriptor, steps []protoreflect.FieldDescriptor) []list {
	var all []list
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		next := append(slices.Clone(steps), fd)
		switch {
		case outputOnly(fd) || value(fd):
		case fd.IsList():
			all = append(all, list(next))
		default:
			all = append(all, listsOf(fd.Message(), next)...)
		}
	}
	return all
}

// valueText is the cell of a value; empty where it is not there.
func valueText(m protoreflect.Message, steps []protoreflect.FieldDescriptor) string {
	for _, fd := range steps[:len(steps)-1] {
		m = m.Get(fd).Message()
	}
	fd := steps[len(steps)-1]
	if !m.Has(fd) {
		return ""
	}
	v := m.Get(fd)
	if !fd.IsList() {
		return cellText(fd, v)
	}
	parts := make([]string, v.List().Len())
	for i := range parts {
		parts[i] = cellText(fd, v.List().Get(i))
	}
	return join(parts)
}

func cellText(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	case protoreflect.EnumKind:
		if ev := fd.Enum().Values().ByNumber(v.Enum()); ev != nil {
			return recordfile.EnumWord(ev)
		}
	case protoreflect.MessageKind:
		switch m := v.Message().Interface().(type) {
		case *timestamppb.Timestamp:
			return m.AsTime().Format(time.RFC3339Nano)
		case *structpb.Struct:
			// A Struct that came over the wire is always JSON.
			text, _ := protojson.Marshal(m)
			return string(text)
		}
	}
	return v.String()
}

// Names lists the files, those of a kind after one another.
func (w *Writer) Names() []string {
	var names []string
	for _, s := range w.sheets {
		names = append(names, s.name+extension)
	}
	return names
}

// Rows is how many rows a file has beside its headings.
func (w *Writer) Rows(name string) int { return len(w.find(name).rows) }

func (w *Writer) find(name string) *out {
	for _, s := range w.sheets {
		if s.name+extension == name {
			return s
		}
	}
	return &out{}
}

// Write writes a file. Columns in which nothing stands are left out.
func (w *Writer) Write(to io.Writer, name string) error {
	s := w.find(name)
	csvOut := csv.NewWriter(to)
	csvOut.UseCRLF = true // RFC 4180
	var keep []int
	headings := slices.Clone(s.keys)
	for i, f := range s.fields {
		if s.used[f.name] {
			headings = append(headings, f.name)
			keep = append(keep, i)
		}
	}
	if err := csvOut.Write(headings); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	for _, r := range s.rows {
		cells := make([]string, 0, len(headings))
		for _, text := range r[:len(s.keys)] {
			cells = append(cells, safe(text))
		}
		for _, i := range keep {
			text := r[len(s.keys)+i]
			if fd := s.fields[i].steps[len(s.fields[i].steps)-1]; fd.IsList() || fd.Kind() != protoreflect.DoubleKind && !isWhole(fd) {
				text = safe(text) // a number with its sign is no formula
			}
			cells = append(cells, text)
		}
		if err := csvOut.Write(cells); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	csvOut.Flush()
	return csvOut.Error()
}

func isWhole(fd protoreflect.FieldDescriptor) bool {
	return fd.Kind() == protoreflect.Int32Kind || fd.Kind() == protoreflect.Int64Kind
}
