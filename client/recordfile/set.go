package recordfile

import (
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// FieldAt finds a field of a message by its path, e.g. "thresholds.level_max_m".
func FieldAt(md protoreflect.MessageDescriptor, path string) (protoreflect.FieldDescriptor, error) {
	name, rest, more := strings.Cut(path, ".")
	fd := md.Fields().ByName(protoreflect.Name(name))
	if fd == nil {
		return nil, fmt.Errorf("%s has no field %q", md.Name(), name)
	}
	if !more {
		return fd, nil
	}
	if fd.Message() == nil || fd.IsList() {
		return nil, fmt.Errorf("%s.%s is no block", md.Name(), name)
	}
	return FieldAt(fd.Message(), rest)
}

// Set puts text, as a flag gives it, into the field at path. Lists get it added.
func Set(m proto.Message, path, text string) error {
	r := m.ProtoReflect()
	for {
		name, rest, more := strings.Cut(path, ".")
		fd := r.Descriptor().Fields().ByName(protoreflect.Name(name))
		if fd == nil {
			return fmt.Errorf("%s has no field %q", r.Descriptor().Name(), name)
		}
		if more {
			r, path = r.Mutable(fd).Message(), rest
			continue
		}
		if fd.Message() != nil && fd.Message().FullName() == "google.protobuf.Timestamp" {
			t, err := ParseInstant(text)
			if err != nil {
				return err
			}
			r.Set(fd, protoreflect.ValueOfMessage(t.ProtoReflect()))
			return nil
		}
		v, ok := ParseScalar(fd, text)
		if !ok {
			return fmt.Errorf("read %q, expected %s", text, Expect(fd))
		}
		if fd.IsList() {
			r.Mutable(fd).List().Append(v)
		} else {
			r.Set(fd, v)
		}
		return nil
	}
}

// Check validates a message that was put together from flags: every problem
// with its field and what was given, no place in a file.
func Check(m proto.Message) Problems {
	problems := schema(m, "", NewPlaces(Place{}))
	for i, p := range problems {
		problems[i].Read = readAt(m.ProtoReflect(), p.Field)
	}
	return problems
}

// readAt is the value at a path, as text; "" where there is none or it is a block.
func readAt(m protoreflect.Message, path string) string {
	name, rest, more := strings.Cut(path, ".")
	name, entry, inList := strings.Cut(strings.TrimSuffix(name, "]"), "[")
	fd := m.Descriptor().Fields().ByName(protoreflect.Name(name))
	switch {
	case fd == nil || fd.IsList() != inList || !m.Has(fd):
		return ""
	case inList:
		n, err := strconv.Atoi(entry)
		if err != nil || n < 0 || n >= m.Get(fd).List().Len() {
			return ""
		}
		if v := m.Get(fd).List().Get(n); fd.Message() == nil {
			return v.String()
		} else if more {
			return readAt(v.Message(), rest)
		}
		return ""
	case more && fd.Message() != nil:
		return readAt(m.Get(fd).Message(), rest)
	case fd.Message() != nil:
		return ""
	default:
		return m.Get(fd).String()
	}
}
