package recordfile

import (
	"bytes"
	"errors"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lastlight/proto/lastlight/v1"
)

// Longest block that is written on one line, in letters.
const oneLine = 76

// Writer writes records as a file that Read reads, in the order of the
// message's fields; the same records give the same bytes.
type Writer struct {
	// Zone in which the times of a site are written; nil or a nil answer: UTC.
	Zone  func(site string) *time.Location
	began bool
}

// Write adds records to the file.
func (w *Writer) Write(out io.Writer, records []*pb.Record) error {
	if !w.began && len(records) > 0 {
		if _, err := io.WriteString(out, "records:\n"); err != nil {
			return err
		}
		w.began = true
	}
	for _, r := range records {
		var text bytes.Buffer
		enc := yaml.NewEncoder(&text)
		enc.SetIndent(2)
		item := &yaml.Node{Kind: yaml.SequenceNode, Content: []*yaml.Node{w.block(r.ProtoReflect(), time.UTC)}}
		if err := errors.Join(enc.Encode(item), enc.Close()); err != nil {
			return err
		}
		for line := range strings.Lines(text.String()) {
			// Blank lines stand in long texts only, which take them as they are.
			if line != "\n" {
				line = "  " + line
			}
			if _, err := io.WriteString(out, line); err != nil {
				return err
			}
		}
	}
	return nil
}

// Close ends the file: one without records is an empty list.
func (w *Writer) Close(out io.Writer) error {
	if w.began {
		return nil
	}
	_, err := io.WriteString(out, "records: []\n")
	return err
}

func (w *Writer) block(m protoreflect.Message, zone *time.Location) *yaml.Node {
	fields := m.Descriptor().Fields()
	if fd := fields.ByName("site"); fd != nil && fd.Kind() == protoreflect.StringKind && w.Zone != nil {
		if z := w.Zone(m.Get(fd).String()); z != nil {
			zone = z
		}
	}
	n := &yaml.Node{Kind: yaml.MappingNode}
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !m.Has(fd) {
			continue
		}
		key := &yaml.Node{Kind: yaml.ScalarNode, Value: string(fd.Name())}
		if !fd.IsList() {
			n.Content = append(n.Content, key, w.value(fd, m.Get(fd), zone))
			continue
		}
		list := m.Get(fd).List()
		seq := &yaml.Node{Kind: yaml.SequenceNode}
		for j := range list.Len() {
			seq.Content = append(seq.Content, w.value(fd, list.Get(j), zone))
		}
		if fd.Message() == nil && width(seq) <= oneLine {
			seq.Style = yaml.FlowStyle
		}
		n.Content = append(n.Content, key, seq)
	}
	return n
}

func (w *Writer) value(fd protoreflect.FieldDescriptor, v protoreflect.Value, zone *time.Location) *yaml.Node {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		switch m := v.Message().Interface().(type) {
		case *timestamppb.Timestamp:
			return plainScalar(m.AsTime().In(zone).Format(time.RFC3339Nano))
		case *structpb.Struct:
			n := document(structpb.NewStructValue(m))
			cite(n)
			return n
		}
		n := w.block(v.Message(), zone)
		if scalars(n) && width(n) <= oneLine && fd.ContainingMessage().Name() != "Record" {
			n.Style = yaml.FlowStyle
		}
		return n
	case protoreflect.DoubleKind:
		return plainScalar(strconv.FormatFloat(v.Float(), 'f', -1, 64))
	case protoreflect.EnumKind:
		if ev := fd.Enum().Values().ByNumber(v.Enum()); ev != nil {
			return plainScalar(EnumWord(ev))
		}
		return plainScalar(strconv.Itoa(int(v.Enum())))
	case protoreflect.StringKind:
		return textScalar(v.String())
	default:
		return plainScalar(v.String())
	}
}

func document(v *structpb.Value) *yaml.Node {
	switch k := v.GetKind().(type) {
	case *structpb.Value_StructValue:
		n := &yaml.Node{Kind: yaml.MappingNode}
		for _, key := range slices.Sorted(maps.Keys(k.StructValue.GetFields())) {
			n.Content = append(n.Content, textScalar(key), document(k.StructValue.GetFields()[key]))
		}
		if scalars(n) && width(n) <= oneLine {
			n.Style = yaml.FlowStyle
		}
		return n
	case *structpb.Value_ListValue:
		n := &yaml.Node{Kind: yaml.SequenceNode}
		for _, item := range k.ListValue.GetValues() {
			n.Content = append(n.Content, document(item))
		}
		if scalars(n) && width(n) <= oneLine {
			n.Style = yaml.FlowStyle
		}
		return n
	case *structpb.Value_NumberValue:
		return plainScalar(strconv.FormatFloat(k.NumberValue, 'f', -1, 64))
	case *structpb.Value_BoolValue:
		return plainScalar(strconv.FormatBool(k.BoolValue))
	case *structpb.Value_StringValue:
		return textScalar(k.StringValue)
	default:
		return plainScalar("null")
	}
}

func plainScalar(s string) *yaml.Node { return &yaml.Node{Kind: yaml.ScalarNode, Value: s} }

var dayOrMonth = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)

// textScalar quotes what another reader of YAML would take for a number, a
// truth or nothing. Days stay plain, as a person writes them.
func textScalar(s string) *yaml.Node {
	n := plainScalar(s)
	if !dayOrMonth.MatchString(s) {
		n.Tag = "!!str"
	}
	return n
}

func scalars(n *yaml.Node) bool {
	for _, c := range n.Content {
		if c.Kind != yaml.ScalarNode && c.Style&yaml.FlowStyle == 0 {
			return false
		}
	}
	return true
}

func width(n *yaml.Node) int {
	w := len(n.Value) + 2
	for _, c := range n.Content {
		w += width(c)
	}
	return w
}
