package rpc

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

// Violations lists what is wrong with a message by the rules of the published interface, one problem a field. The error is for a
// rule that could not be run, which is not the caller's doing.
func Violations(v protovalidate.Validator, m proto.Message) ([]fault.Problem, error) {
	err := v.Validate(m)
	if err == nil {
		return unreadable(m), nil
	}
	found, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		return nil, fmt.Errorf("validate %s: %w", m.ProtoReflect().Descriptor().FullName(), err)
	}
	problems := make([]fault.Problem, 0, len(found.Violations))
	named := map[string]bool{}
	for _, one := range found.Violations {
		p := problem(one, m)
		if !named[p.Field] { // not a number is out of range as well: once is enough
			named[p.Field] = true
			problems = append(problems, p)
		}
	}
	for _, p := range unreadable(m) {
		if !named[p.Field] {
			problems = append(problems, p)
		}
	}
	return problems, nil
}

func problem(v *protovalidate.Violation, m proto.Message) fault.Problem {
	path := protovalidate.FieldPathString(v.Proto.GetField())
	p := fault.Problem{Field: path, Read: read(v)}
	p.Message, p.Expected = words(v, m)
	if u := unit(path); u != "" {
		switch p.Expected {
		case "":
		case "a value", "a number":
			p.Expected += " in " + u
		default:
			p.Expected += " " + u
		}
	}
	if p.Read != "" && hidden(v, m) {
		p.Read = "(not repeated: a restricted field)"
	}
	return p
}

// forms are the patterns of the published interface in words.
var forms = map[string]string{
	`^[a-z0-9][a-z0-9-]{0,62}$`:    "a key of small letters, digits and hyphens, 63 at most",
	`^([a-z0-9][a-z0-9-]{0,62})?$`: "a key of small letters, digits and hyphens, 63 at most",
	`^\d{4}-\d{2}-\d{2}$`:          "a day, YYYY-MM-DD",
	`^(\d{4}-\d{2}-\d{2})?$`:       "a day, YYYY-MM-DD, or nothing",
	`^\d{4}-\d{2}(-\d{2})?$`:       "a month or a day, YYYY-MM or YYYY-MM-DD",
	`^(\d{4}-\d{2}(-\d{2})?)?$`:    "a month or a day, YYYY-MM or YYYY-MM-DD, or nothing",
	`^(\d{2}:\d{2})?$`:             "a time of day, HH:MM, or nothing",
	`^\d{1,3}(\.\d{1,2})?$`:        "a number as the analyser shows it, e.g. 32.4",
	`^(\d{1,2}(\.\d{1,2})?)?$`:     "a number as the analyser shows it, e.g. 20.9, or nothing",
	`^(1/[1-9][0-9]?)?$`:           "a share such as 1/3, or nothing",
}

var (
	between = regexp.MustCompile(`^must be (greater than or equal to|greater than) (\S+) and (less than or equal to|less than) (\S+)$`)
	listed  = regexp.MustCompile(`^must be in list \[(.*)\]$`)
)

// words says what is wrong and what is expected instead.
func words(v *protovalidate.Violation, m proto.Message) (wrong, expected string) {
	text := strings.TrimPrefix(v.Proto.GetMessage(), "value ")
	switch rule := v.Proto.GetRuleId(); {
	case rule == "required" && v.FieldDescriptor == nil:
		return "one of these must be given", oneofFields(v, m)
	case rule == "required":
		return "missing", "a value"
	case rule == "string.pattern":
		if form, ok := forms[v.RuleValue.String()]; ok {
			return "not in the form expected", form
		}
		return "not in the form expected", v.RuleValue.String()
	case rule == "repeated.unique":
		return "an entry is in the list twice", "each of them once"
	case rule == "string.min_len" && v.FieldValue.IsValid() && v.FieldValue.String() == "":
		return "missing", "a value"
	case strings.HasPrefix(rule, "string.uuid"):
		return "not a UUID", "a new UUID for each new call"
	case strings.HasSuffix(rule, ".finite"):
		return "not a number", "a number"
	}
	if b := between.FindStringSubmatch(text); b != nil {
		least, most := b[2], b[4]
		if b[1] == "greater than" {
			least = "more than " + least
		}
		if b[3] == "less than" {
			most = "less than " + most
		}
		return "out of range", least + " to " + most
	}
	if l := listed.FindStringSubmatch(text); l != nil {
		list := strings.Split(l[1], ", ")
		if list[0] == "" {
			return "not one of the words allowed", strings.Join(list[1:], ", ") + ", or nothing"
		}
		return "not one of the words allowed", strings.Join(list, ", ")
	}
	if v.RuleDescriptor == nil { // a rule of our own, with a sentence of our own
		return text, ""
	}
	return text, strings.TrimPrefix(text, "must be ")
}

// oneofFields lists the fields of a oneof of which none was set.
func oneofFields(v *protovalidate.Violation, m proto.Message) string {
	at := m.ProtoReflect().Descriptor()
	elements := v.Proto.GetField().GetElements()
	for i, element := range elements {
		if i == len(elements)-1 {
			if oneof := at.Oneofs().ByName(protoreflect.Name(element.GetFieldName())); oneof != nil {
				var fields []string
				for j := range oneof.Fields().Len() {
					fields = append(fields, string(oneof.Fields().Get(j).Name()))
				}
				return strings.Join(fields, ", ")
			}
			break
		}
		field := at.Fields().ByNumber(protoreflect.FieldNumber(element.GetFieldNumber()))
		if field == nil || field.Message() == nil {
			break
		}
		at = field.Message()
	}
	return "one of them"
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
