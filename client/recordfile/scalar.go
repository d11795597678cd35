package recordfile

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"
)

var decimal = regexp.MustCompile(`^[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?$`)

// ParseScalar reads the text of one value of a field. ok false: the text is
// not of the field's type; Expect says what is.
func ParseScalar(fd protoreflect.FieldDescriptor, text string) (v protoreflect.Value, ok bool) {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(text), true
	case protoreflect.BoolKind:
		if text != "true" && text != "false" {
			return v, false
		}
		return protoreflect.ValueOfBool(text == "true"), true
	case protoreflect.Int32Kind:
		n, err := strconv.ParseInt(text, 10, 32)
		return protoreflect.ValueOfInt32(int32(n)), err == nil
	case protoreflect.Uint32Kind:
		n, err := strconv.ParseUint(text, 10, 32)
		return protoreflect.ValueOfUint32(uint32(n)), err == nil
	case protoreflect.Int64Kind:
		n, err := strconv.ParseInt(text, 10, 64)
		return protoreflect.ValueOfInt64(n), err == nil
	case protoreflect.DoubleKind:
		// The pattern keeps out NaN, infinities, hexadecimal and "12,5".
		if !decimal.MatchString(text) {
			return v, false
		}
		f, err := strconv.ParseFloat(text, 64)
		return protoreflect.ValueOfFloat64(f), err == nil && !math.IsInf(f, 0)
	case protoreflect.EnumKind:
		for i := range fd.Enum().Values().Len() {
			ev := fd.Enum().Values().Get(i)
			if ev.Number() != 0 && (text == string(ev.Name()) || text == EnumWord(ev)) {
				return protoreflect.ValueOfEnum(ev.Number()), true
			}
		}
		return v, false
	default:
		return v, false
	}
}

var (
	withUnit     = regexp.MustCompile(`^[-+]?\d+(\.\d+)?\s*[^\d\s.,eE:-][^\d]*\d?$`)
	commaDecimal = regexp.MustCompile(`^[-+]?\d+,\d+$`)
)

// hint says what is wrong with a text that looks like a number and is none.
func hint(n *yaml.Node, fd protoreflect.FieldDescriptor) string {
	switch fd.Kind() {
	case protoreflect.DoubleKind, protoreflect.Int32Kind, protoreflect.Int64Kind, protoreflect.Uint32Kind:
	default:
		return ""
	}
	quoted := n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0
	switch {
	case n.Kind != yaml.ScalarNode:
		return ""
	case commaDecimal.MatchString(n.Value):
		return "a decimal comma: write a point"
	case withUnit.MatchString(n.Value):
		return "the number alone: the field's name has the unit"
	case quoted && decimal.MatchString(n.Value):
		return "a number between quotes is a text"
	}
	return ""
}

// EnumWord is the word of an enum value as files and screens write it:
// PLAN_STATE_IN_WATER is "in_water".
func EnumWord(ev protoreflect.EnumValueDescriptor) string {
	var prefix strings.Builder
	for i, c := range string(ev.Parent().Name()) {
		if i > 0 && c >= 'A' && c <= 'Z' {
			prefix.WriteByte('_')
		}
		prefix.WriteString(strings.ToUpper(string(c)))
	}
	return strings.ToLower(strings.TrimPrefix(string(ev.Name()), prefix.String()+"_"))
}

var instantForms = []string{time.RFC3339Nano, "2006-01-02T15:04Z07:00", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04Z07:00", "2006-01-02 15:04 Z07:00"}

// ParseInstant reads a day and time with its offset; seconds may be left out.
func ParseInstant(text string) (*timestamppb.Timestamp, error) {
	for _, form := range instantForms {
		if t, err := time.Parse(form, text); err == nil {
			return timestamppb.New(t), nil
		}
	}
	return nil, fmt.Errorf("%q is not a time with its offset, e.g. 2026-06-01T08:10+02:00", text)
}
