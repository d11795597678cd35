package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

// validated refuses a message that breaks the rules written beside its fields in the published interface, with everything that
// is wrong at once.
func (c Chain) validated(ctx context.Context, request any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if m, ok := request.(proto.Message); ok {
		problems, err := Violations(c.Valid, m)
		if err != nil {
			return nil, err
		}
		if err := fault.Wrong(problems); err != nil {
			return nil, err
		}
	}
	return handler(ctx, request)
}

// Violations lists what is wrong with a message by the rules of the published interface. The error is for a rule that could not
// be run, which is not the caller's doing.
func Violations(v protovalidate.Validator, m proto.Message) ([]fault.Problem, error) {
	err := v.Validate(m)
	if err == nil {
		return nil, nil
	}
	found, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		return nil, fmt.Errorf("validate %s: %w", m.ProtoReflect().Descriptor().FullName(), err)
	}
	problems := make([]fault.Problem, 0, len(found.Violations))
	for _, one := range found.Violations {
		problems = append(problems, problem(one, m))
	}
	return problems, nil
}

func problem(v *protovalidate.Violation, m proto.Message) fault.Problem {
	path := protovalidate.FieldPathString(v.Proto.GetField())
	p := fault.Problem{Field: path, Message: v.Proto.GetMessage()}
	if hidden(v, m) {
		p.Read = "(not repeated: a restricted field)"
	} else {
		p.Read = read(v)
	}
	p.Expected = strings.TrimPrefix(strings.TrimPrefix(p.Message, "value "), "must be ")
	if u := unit(path); u != "" {
		p.Expected += ", in " + u
	}
	return p
}

// hidden tells whether any field on the way to the violation is restricted: its value is then not repeated in an error, which
// may end in somebody's log.
func hidden(v *protovalidate.Violation, m proto.Message) bool {
	at := m.ProtoReflect().Descriptor()
	for _, element := range v.Proto.GetField().GetElements() {
		if at == nil {
			return false
		}
		field := at.Fields().ByNumber(protoreflect.FieldNumber(element.GetFieldNumber()))
		if field == nil {
			return false
		}
		if message.Restricted(field) {
			return true
		}
		at = field.Message()
	}
	return false
}

// read is the value as text, for values that are one: a message or a list is not repeated.
func read(v *protovalidate.Violation) string {
	if !v.FieldValue.IsValid() {
		return ""
	}
	switch value := v.FieldValue.Interface().(type) {
	case protoreflect.Message, protoreflect.List, protoreflect.Map, []byte:
		return ""
	case string:
		return fmt.Sprintf("%q", value)
	default:
		return fmt.Sprint(value)
	}
}

// units are what the last words of a field's name say about its unit, longest first.
var units = []struct{ suffix, unit string }{
	{"_m_min", "m/min"},
	{"litres_per_minute", "L/min"},
	{"cubic_feet_per_minute", "ft³/min"},
	{"cubic_feet_of_gas_at_working_pressure", "ft³ of gas"},
	{"cubic_feet", "ft³"},
	{"litres", "L"},
	{"_percent", "%"},
	{"water_density", "kg/m³"},
	{"_bar", "bar"},
	{".bar", "bar"},
	{".psi", "psi"},
	{"latitude", "degrees"},
	{"longitude", "degrees"},
	{"_min", "min"},
	{"_c", "°C"},
	{"_m", "m"},
}

func unit(path string) string {
	for _, u := range units {
		if strings.HasSuffix(path, u.suffix) {
			return u.unit
		}
	}
	return ""
}
