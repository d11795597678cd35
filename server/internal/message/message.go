// Package message reads the marks of the API's fields (restricted, output
// only) and compares messages, by reflection, so that each mark is said once:
// in the .proto file.
package message

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Restricted tells whether a field is in no export, no event and no log.
func Restricted(field protoreflect.FieldDescriptor) bool {
	return proto.GetExtension(field.Options(), lastlightv1.E_Restricted).(bool)
}

// OutputOnly tells whether a field is written by the server alone.
func OutputOnly(field protoreflect.FieldDescriptor) bool {
	return proto.GetExtension(field.Options(), lastlightv1.E_OutputOnly).(bool)
}

// Strip clears every field, at any depth, for which drop is true.
func Strip(m proto.Message, drop func(protoreflect.FieldDescriptor) bool) {
	strip(m.ProtoReflect(), drop)
}

func strip(m protoreflect.Message, drop func(protoreflect.FieldDescriptor) bool) {
	m.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		switch {
		case drop(field):
			m.Clear(field)
		case field.IsMap() || field.Message() == nil:
		case field.IsList():
			for i := range value.List().Len() {
				strip(value.List().Get(i).Message(), drop)
			}
		default:
			strip(value.Message(), drop)
		}
		return true
	})
}

// ForFile gives a copy without what is restricted or written by the server:
// the record as the file it could have come from.
func ForFile[M proto.Message](m M) M {
	c := proto.CloneOf(m)
	Strip(c, func(f protoreflect.FieldDescriptor) bool { return Restricted(f) || OutputOnly(f) })
	return c
}

// ForEvent gives a copy without what is restricted.
func ForEvent[M proto.Message](m M) M {
	c := proto.CloneOf(m)
	Strip(c, Restricted)
	return c
}

// AsGiven gives a copy without what the server writes.
func AsGiven[M proto.Message](m M) M {
	c := proto.CloneOf(m)
	Strip(c, OutputOnly)
	return c
}

// KeepRestricted copies into next every restricted field of former that next
// leaves out: an update that does not mention them leaves them untouched.
// It looks at the fields of the message itself and, in lists of messages with
// an `id`, at the entry of the same id.
func KeepRestricted(next, former proto.Message) {
	if next == nil || former == nil {
		return
	}
	keepRestricted(next.ProtoReflect(), former.ProtoReflect())
}

func keepRestricted(next, former protoreflect.Message) {
	former.Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		if Restricted(field) {
			if !next.Has(field) {
				next.Set(field, value)
			}
			return true
		}
		if field.IsList() && field.Message() != nil && field.Message().Fields().ByName("id") != nil {
			id := field.Message().Fields().ByName("id")
			byID := map[string]protoreflect.Message{}
			for i := range value.List().Len() {
				entry := value.List().Get(i).Message()
				byID[entry.Get(id).String()] = entry
			}
			list := next.Get(field).List()
			for i := range list.Len() {
				if old, ok := byID[list.Get(i).Message().Get(id).String()]; ok {
					keepRestricted(list.Get(i).Message(), old)
				}
			}
		}
		return true
	})
}

// Changes lists the paths in which b differs from a, output-only fields left
// aside. Empty: equal.
func Changes(a, b proto.Message) []string {
	var paths []string
	changes(a.ProtoReflect(), b.ProtoReflect(), "", &paths)
	return paths
}

func changes(a, b protoreflect.Message, prefix string, paths *[]string) {
	fields := a.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if OutputOnly(field) {
			continue
		}
		path := prefix + string(field.Name())
		if a.Has(field) != b.Has(field) {
			*paths = append(*paths, path)
			continue
		}
		if !a.Has(field) {
			continue
		}
		va, vb := a.Get(field), b.Get(field)
		switch {
		case field.IsList() && field.Message() != nil:
			la, lb := va.List(), vb.List()
			if la.Len() != lb.Len() {
				*paths = append(*paths, path)
				continue
			}
			for j := range la.Len() {
				changes(la.Get(j).Message(), lb.Get(j).Message(), fmt.Sprintf("%s[%d].", path, j), paths)
			}
		case field.Message() != nil && !field.IsMap() && field.Message().ParentFile().Package() == a.Descriptor().ParentFile().Package():
			changes(va.Message(), vb.Message(), path+".", paths)
		case !va.Equal(vb):
			*paths = append(*paths, path)
		}
	}
}
