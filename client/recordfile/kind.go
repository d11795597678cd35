package recordfile

import (
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "lastlight/proto/lastlight/v1"
)

var recordFields = (&pb.Record{}).ProtoReflect().Descriptor().Fields()

// kindWord is a kind of record in words: "cylinder set".
func kindWord(fd protoreflect.FieldDescriptor) string {
	return strings.ReplaceAll(string(fd.Name()), "_", " ")
}

// keys are the names of a block's fields, as they stand.
func keys(n *yaml.Node) []string {
	var out []string
	for i := 0; n.Kind == yaml.MappingNode && i+1 < len(n.Content); i += 2 {
		out = append(out, n.Content[i].Value)
	}
	return out
}

// otherKind says what a file is that is no list of records.
func otherKind(doc *yaml.Node) (message, expected string) {
	const list = "records: and a list of records"
	if doc.Kind != yaml.MappingNode {
		if doc.Kind == yaml.ScalarNode {
			return "text, and no file of records", list + "; a CSV file is for `lastlight sheet in`"
		}
		return "no file of records", list
	}
	names := keys(doc)
	for _, name := range names {
		if recordFields.ByName(protoreflect.Name(name)) != nil && child(doc, name).Kind == yaml.MappingNode {
			return "a record by itself, and no list of records", "records: in the first line, and below it \"  - " + name + ":\""
		}
	}
	if child(doc, "kind") != nil && child(doc, "fields") != nil {
		return "a mapping of headings, and no file of records", list + "; a mapping is for `lastlight sheet in --map`"
	}
	if kind := kindOf(names); kind != nil {
		return "the fields of one " + kindWord(kind) + ", and no list of records",
			list + "; the fields of one record are for -f of a command such as create or update"
	}
	return "no file of records", list
}

// kindOf is the kind of record that has most of the names as fields; nil: none has two of them, or half.
func kindOf(names []string) protoreflect.FieldDescriptor {
	var best protoreflect.FieldDescriptor
	most := 0
	for i := range recordFields.Len() {
		fields, known := recordFields.Get(i).Message().Fields(), 0
		for _, name := range names {
			if fields.ByName(protoreflect.Name(name)) != nil {
				known++
			}
		}
		if known > most {
			best, most = recordFields.Get(i), known
		}
	}
	if most < 2 || most*2 < len(names) {
		return nil
	}
	return best
}

// otherMessage says what a file is that should have the fields of m; ok true: it may have them.
func otherMessage(doc *yaml.Node, m protoreflect.MessageDescriptor) (message, expected string, ok bool) {
	if doc.Kind != yaml.MappingNode {
		return "no block of fields", "the fields of one " + Words(m) + ": " + fieldNames(m), false
	}
	names := keys(doc)
	if child(doc, "records") != nil && m.Fields().ByName("records") == nil {
		return "a file of records", "the fields of one " + Words(m) + "; a file of records is for `lastlight apply -f`", false
	}
	if len(names) == 1 && recordFields.ByName(protoreflect.Name(names[0])) != nil && m.Fields().ByName(protoreflect.Name(names[0])) == nil {
		return "a record under its kind", "the fields of the " + Words(m) + " by themselves, without \"" + names[0] + ":\" around them", false
	}
	return "", "", true
}

// Words is a message's name in words: CylinderSet is "cylinder set".
func Words(m protoreflect.MessageDescriptor) string {
	var out strings.Builder
	for i, c := range string(m.Name()) {
		if i > 0 && c >= 'A' && c <= 'Z' {
			out.WriteByte(' ')
		}
		out.WriteRune(c)
	}
	return strings.ToLower(out.String())
}
