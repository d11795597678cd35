package recordfile

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lastlight/proto/lastlight/v1"
)

// decoder fills messages from YAML nodes by the message's own descriptor. It
// goes on after a problem, so that all are found in one run.
type decoder struct {
	file     string
	lines    []string // of the file
	places   *Places
	problems Problems
}

func (d *decoder) at(n *yaml.Node) Place { return Place{File: d.file, Line: n.Line, Column: n.Column} }

// mark notes where a value stands and, of a text, where its first character does.
func (d *decoder) mark(n *yaml.Node) mark {
	m := mark{Place: d.at(n), read: text(n)}
	switch {
	case n.Kind != yaml.ScalarNode || n.Line < 1 || n.Line > len(d.lines) || n.Style&yaml.FoldedStyle != 0:
	case n.Style&yaml.LiteralStyle != 0:
		for i := n.Line; i < len(d.lines); i++ { // the line after the one with the bar
			if text := strings.TrimLeft(d.lines[i], " "); strings.TrimSpace(text) != "" {
				m.start = start{Line: n.Line + 1, Column: len(d.lines[i]) - len(text) + 1, block: true}
				break
			}
		}
	case n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0:
		m.start = start{Line: n.Line, Column: n.Column + 1}
	default:
		m.start = start{Line: n.Line, Column: n.Column}
	}
	return m
}

func (d *decoder) problem(n *yaml.Node, path, read, expected, message string) {
	d.problems = append(d.problems, Problem{Place: d.at(n), Field: path, Read: read, Expected: expected, Message: message})
	d.places.broken = append(d.places.broken, path)
}

// plain refuses what a record file has no need of, before anything is built:
// anchors and aliases (a few of them can stand for gigabytes), explicit tags,
// nesting past MaxDepth.
func (d *decoder) plain(n *yaml.Node, depth int) bool {
	switch {
	case depth > MaxDepth:
		d.problem(n, "", "", "", fmt.Sprintf("nested deeper than %d", MaxDepth))
		return false
	case n.Kind == yaml.AliasNode:
		d.problem(n, "", "*"+n.Value, "the value itself", "aliases are not taken")
		return false
	case n.Anchor != "":
		d.problem(n, "", "&"+n.Anchor, "the value without it", "anchors are not taken")
		return false
	case n.Style&yaml.TaggedStyle != 0:
		d.problem(n, "", n.Tag, "the value without it", "tags are not taken")
		return false
	}
	ok := true
	for _, c := range n.Content {
		ok = d.plain(c, depth+1) && ok
	}
	return ok
}

// message fills m from a mapping.
func (d *decoder) message(n *yaml.Node, m protoreflect.Message, path string) {
	if n.Kind != yaml.MappingNode {
		d.problem(n, path, text(n), expectBlock(m.Descriptor()), "")
		return
	}
	fields := m.Descriptor().Fields()
	seen := map[string]int{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if key.Kind != yaml.ScalarNode {
			d.problem(key, path, text(key), "the name of a field", "")
			continue
		}
		name := key.Value
		p := join(path, name)
		fd := fields.ByName(protoreflect.Name(name))
		if fd == nil && i > 0 && null(value) && decimal.MatchString(name) { // {length_m: 12,5, ...}
			former := join(path, n.Content[i-2].Value)
			d.problem(n.Content[i-1], former, n.Content[i-1].Value+","+name, "", "a decimal comma: write a point")
			continue
		}
		if fd == nil {
			best, expected := near(name, fields)
			d.problem(key, p, name, expected, "unknown field")
			switch {
			case m.Descriptor() == recordFields.Get(0).ContainingMessage():
				d.places.lose(value)
			case best != nil && child(n, string(best.Name())) == nil && seen[string(best.Name())] == 0:
				// Read as what was surely meant, so that its own faults are told as well, and nobody asks for it.
				seen[string(best.Name())] = key.Line
				d.field(value, m, best, join(path, string(best.Name())))
			}
			continue
		}
		if line, dup := seen[name]; dup {
			d.problem(key, p, name, "each field once", fmt.Sprintf("written twice, first in line %d", line))
			// The first one was read, and is judged like any other.
			d.places.broken = d.places.broken[:len(d.places.broken)-1]
			continue
		}
		seen[name] = key.Line
		if o := fd.ContainingOneof(); o != nil && !o.IsSynthetic() {
			if other := m.WhichOneof(o); other != nil {
				d.problem(key, p, name, "only one of them", fmt.Sprintf("stands beside %s", other.Name()))
				continue
			}
		}
		d.field(value, m, fd, p)
	}
}

func (d *decoder) field(n *yaml.Node, m protoreflect.Message, fd protoreflect.FieldDescriptor, path string) {
	d.places.marks[path] = d.mark(n)
	if null(n) {
		d.problem(n, path, "", Expect(fd), "nothing is written here: leave the line out, or give a value")
		return
	}
	if !fd.IsList() {
		if v, ok := d.value(n, fd, m.NewField, path); ok {
			m.Set(fd, v)
		}
		return
	}
	if n.Kind != yaml.SequenceNode {
		d.problem(n, path, text(n), Expect(fd), "")
		return
	}
	list := m.Mutable(fd).List()
	for i, item := range n.Content {
		p := fmt.Sprintf("%s[%d]", path, i)
		d.places.marks[p] = d.mark(item)
		if null(item) {
			d.problem(item, p, "", "a value", "empty item of a list")
			continue
		}
		v, ok := d.value(item, fd, func(protoreflect.FieldDescriptor) protoreflect.Value { return list.NewElement() }, p)
		if !ok && fd.Message() != nil {
			// The place stays taken, so that the server counts as the file does.
			v, ok = list.NewElement(), true
		}
		if ok {
			list.Append(v)
		}
	}
}

func (d *decoder) value(n *yaml.Node, fd protoreflect.FieldDescriptor, fresh func(protoreflect.FieldDescriptor) protoreflect.Value, path string) (protoreflect.Value, bool) {
	if fd.Message() == nil {
		return d.scalar(n, fd, path)
	}
	switch fd.Message().FullName() {
	case "google.protobuf.Timestamp":
		if n.Kind == yaml.ScalarNode {
			if t, err := ParseInstant(n.Value); err == nil {
				return protoreflect.ValueOfMessage((&timestamppb.Timestamp{Seconds: t.Seconds, Nanos: t.Nanos}).ProtoReflect()), true
			}
		}
		d.problem(n, path, text(n), Expect(fd), "")
		return protoreflect.Value{}, false
	case "google.protobuf.Struct":
		if n.Kind != yaml.MappingNode {
			d.problem(n, path, text(n), Expect(fd), "")
			return protoreflect.Value{}, false
		}
		return protoreflect.ValueOfMessage(d.document(n, path).GetStructValue().ProtoReflect()), true
	}
	v := fresh(fd)
	d.message(n, v.Message(), path)
	return v, true
}

func (d *decoder) scalar(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	if n.Kind == yaml.ScalarNode {
		// A quoted number is a text; 64-bit numbers alone are written so, as JSON does.
		quoted := n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0
		if k := fd.Kind(); !quoted || k == protoreflect.StringKind || k == protoreflect.Int64Kind || k == protoreflect.EnumKind {
			if v, ok := ParseScalar(fd, n.Value); ok {
				return v, true
			}
		}
	}
	d.problem(n, path, text(n), Expect(fd), hint(n, fd))
	return protoreflect.Value{}, false
}

// document reads a free block, as a policy's: blocks, lists, texts, numbers,
// true and false. It has no descriptor; the server knows its fields.
func (d *decoder) document(n *yaml.Node, path string) *structpb.Value {
	d.places.marks[path] = d.mark(n)
	switch n.Kind {
	case yaml.MappingNode:
		s := &structpb.Struct{Fields: map[string]*structpb.Value{}}
		lines := map[string]int{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			key := n.Content[i]
			p := join(path, key.Value)
			if key.Kind != yaml.ScalarNode || key.Value == "" {
				d.problem(key, path, text(key), "the name of a field", "")
				continue
			}
			if line, dup := lines[key.Value]; dup {
				d.problem(key, p, key.Value, "each field once", fmt.Sprintf("written twice, first in line %d", line))
				continue
			}
			lines[key.Value] = key.Line
			s.Fields[key.Value] = d.document(n.Content[i+1], p)
		}
		return structpb.NewStructValue(s)
	case yaml.SequenceNode:
		l := &structpb.ListValue{}
		for i, item := range n.Content {
			l.Values = append(l.Values, d.document(item, fmt.Sprintf("%s[%d]", path, i)))
		}
		return structpb.NewListValue(l)
	}
	switch n.Tag {
	case "!!null":
		return structpb.NewNullValue()
	case "!!bool":
		return structpb.NewBoolValue(strings.EqualFold(n.Value, "true"))
	case "!!int", "!!float":
		v, ok := ParseScalar(numberField, n.Value)
		if !ok {
			d.problem(n, path, n.Value, "a finite decimal number", "")
			return structpb.NewNullValue()
		}
		return structpb.NewNumberValue(v.Float())
	default:
		return structpb.NewStringValue(n.Value)
	}
}

var numberField = (&structpb.Value{}).ProtoReflect().Descriptor().Fields().ByName("number_value")

func null(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Tag == "!!null"
}

// text is what was read, for a problem: a scalar as it stands, else its kind.
func text(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a block"
	case yaml.SequenceNode:
		return "a list"
	case yaml.ScalarNode:
		if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
			return `"` + n.Value + `"`
		}
		return n.Value
	default:
		return ""
	}
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// near finds the field that is likeliest meant, nil where none is close, and names those that may be written, it first.
func near(name string, fields protoreflect.FieldDescriptors) (best protoreflect.FieldDescriptor, expected string) {
	var all []string
	for i := range fields.Len() {
		if fd := fields.Get(i); !proto.GetExtension(fd.Options(), pb.E_OutputOnly).(bool) { // the server writes these
			all = append(all, string(fd.Name()))
		}
	}
	meant, expected := Near(name, all)
	return fields.ByName(protoreflect.Name(meant)), expected
}

// Near finds the word of a list that is likeliest meant by one that is not in it, empty where none is close, and says what is
// expected: that one first, then all.
func Near(word string, words []string) (meant, expected string) {
	flat := func(s string) string {
		return strings.ToLower(strings.NewReplacer("_", "", "-", "", " ", "").Replace(s))
	}
	distance := min(4, len(flat(word))/2+1)
	for _, w := range words {
		if n := edits(flat(word), flat(w)); n < distance {
			meant, distance = w, n
		}
	}
	expected = "one of " + strings.Join(words, ", ")
	if meant != "" {
		expected = "perhaps " + meant + "; " + expected
	}
	return meant, expected
}

// edits counts the letters to change between two words (Levenshtein).
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
