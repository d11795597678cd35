package rpc

import (
	"fmt"
	"slices"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/server/internal/fault"
)

// proseFrom is the length that a field must be allowed to have, in characters, for its text to have several lines: a name with a
// line break could write a line of its own on a brief.
const proseFrom = 500

// unreadable lists the texts that hold what no reader sees: control characters, and marks that turn the direction of writing. On a
// terminal, a board or a brief they make a text pass for another.
func unreadable(m proto.Message) []fault.Problem {
	var problems []fault.Problem
	inTexts(m.ProtoReflect(), nil, func(place *spot, f protoreflect.FieldDescriptor, text string) {
		at := strings.IndexFunc(text, func(r rune) bool {
			switch {
			case r == '\n' || r == '\r':
				return oneLine(f)
			case r == '\t':
				return false
			}
			return r < ' ' || r >= 0x7f && r < 0xa0 || r == 0x2028 || r == 0x2029 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
		})
		if at < 0 {
			return
		}
		message := fmt.Sprintf("character %U is not text", []rune(text[at:])[0])
		if text[at] == '\n' || text[at] == '\r' {
			message = "a line break does not belong here"
		}
		problems = append(problems, fault.Problem{Field: place.path(), Expected: "characters that can be read, on one line where it is a name", Message: message})
	})
	return problems
}

// spot is where in a message a text stands. It is put into words for a problem alone: of a message that is nested thousands of
// times the words are long.
type spot struct {
	in    *spot
	name  protoreflect.Name
	index int // of the value in a list; -1: it is in none
}

func (s *spot) path() string {
	var parts []string
	for ; s != nil; s = s.in {
		part := string(s.name)
		if s.index >= 0 {
			part += fmt.Sprintf("[%d]", s.index)
		}
		parts = append(parts, part)
	}
	slices.Reverse(parts)
	return strings.Join(parts, ".")
}

// inTexts calls fn for every text in a message.
func inTexts(m protoreflect.Message, in *spot, fn func(place *spot, f protoreflect.FieldDescriptor, text string)) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		place := &spot{in, f.Name(), -1}
		one := func(place *spot, kind protoreflect.FieldDescriptor, v protoreflect.Value) {
			switch {
			case kind.Kind() == protoreflect.StringKind:
				fn(place, f, v.String())
			case kind.Message() != nil:
				inTexts(v.Message(), place, fn)
			}
		}
		switch {
		case f.IsList():
			if f.Kind() != protoreflect.StringKind && f.Message() == nil {
				return true
			}
			for i := range v.List().Len() {
				one(&spot{in, f.Name(), i}, f, v.List().Get(i))
			}
		case f.IsMap():
			v.Map().Range(func(key protoreflect.MapKey, value protoreflect.Value) bool {
				fn(place, f, key.String())
				one(place, f.MapValue(), value)
				return true
			})
		default:
			one(place, f, v)
		}
		return true
	})
}

// oneLine tells whether a field is a name and the like. What is not limited in length is a document.
func oneLine(f protoreflect.FieldDescriptor) bool {
	rules, err := protovalidate.ResolveFieldRules(f)
	if err != nil || rules == nil {
		return false
	}
	text := rules.GetString()
	if f.IsList() {
		text = rules.GetRepeated().GetItems().GetString()
	}
	return text.HasMaxLen() && text.GetMaxLen() < proseFrom
}
