package app

import (
	"bytes"
	"encoding"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"
)

// Bounds of a document that is read without a server: a few bytes of it can ask
// for much memory ({} is a dive).
const (
	largestHeld   = 256 << 20 // bytes that its entries take when read
	mostListed    = 100_000   // entries of a list without a bound of its own
	mostDeep      = 100       // lists and objects within each other: the place of each is as long as it is deep
	mostScanNoted = 100
)

// badFile marks a file that is not what a command reads: exit code 5.
type badFile struct{ error }

// scanner goes through a document and the type it is to be read into together
// and notes, each with its place, line and column, all that does not fit: fields
// the type lacks, values of another sort, lists that are too long. It holds
// nothing of the document.
type scanner struct {
	text  []byte
	d     *json.Decoder
	held  int
	deep  int
	notes []string
}

var errTooLarge = fmt.Errorf("read, it would take more than %d MiB", largestHeld>>20)

var errTooDeep = fmt.Errorf("more than %d lists and objects within each other", mostDeep)

// scan is nil where the text fits the type.
func scan(text []byte, t reflect.Type) error {
	s := scanner{text: text, d: json.NewDecoder(bytes.NewReader(text))}
	s.d.UseNumber()
	err := s.value(t, "", 0)
	if err == nil {
		if _, more := s.d.Token(); !errors.Is(more, io.EOF) {
			s.note("", "something follows after the document")
		}
	}
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	if syntax, ok := errors.AsType[*json.SyntaxError](err); ok {
		s.notes = append(s.notes, fmt.Sprintf("%s: %v", lineColumn(text, int(syntax.Offset)), err))
	} else if err != nil {
		s.note("", err.Error())
	}
	if len(s.notes) == 0 {
		return nil
	}
	return badFile{errors.New(strings.Join(s.notes, "\n"))}
}

func (s *scanner) note(place, text string) {
	if len(s.notes) >= mostScanNoted {
		return
	}
	if place != "" {
		text = place + ": " + text
	}
	s.notes = append(s.notes, lineColumn(s.text, int(s.d.InputOffset()))+": "+text)
}

func lineColumn(text []byte, offset int) string {
	before := text[:min(max(offset, 0), len(text))]
	line := bytes.Count(before, []byte("\n")) + 1
	return fmt.Sprintf("line %d, column %d", line, len(before)-bytes.LastIndexByte(before, '\n'))
}

var (
	textual = reflect.TypeFor[encoding.TextUnmarshaler]()
	reader  = reflect.TypeFor[json.Unmarshaler]()
)

// value goes through one value; a type of nil takes anything. Most is the bound
// of a list, 0 for none of its own.
func (s *scanner) value(t reflect.Type, place string, most int) error {
	for t != nil && t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	token, err := s.d.Token()
	if err != nil {
		return err
	}
	wrong := func(what string) {
		if t != nil {
			s.note(place, what+", expected "+sort(t))
		}
	}
	ownText := t != nil && reflect.PointerTo(t).Implements(textual)
	if t != nil && !ownText && reflect.PointerTo(t).Implements(reader) {
		t = nil // it reads numbers and texts by itself
	}
	switch v := token.(type) {
	case json.Delim:
		if s.deep++; s.deep > mostDeep {
			return errTooDeep
		}
		defer func() { s.deep-- }()
		if v == '{' {
			if t != nil && (t.Kind() != reflect.Struct || ownText) {
				wrong("an object")
				t = nil
			}
			return s.object(t, place)
		}
		if t != nil && t.Kind() != reflect.Slice {
			wrong("a list")
			t = nil
		}
		return s.list(t, place, most)
	case string:
		switch {
		case ownText:
			if into, ok := reflect.New(t).Interface().(encoding.TextUnmarshaler); ok {
				if err := into.UnmarshalText([]byte(v)); err != nil {
					s.note(place, err.Error())
				}
			}
		case t != nil && t.Kind() != reflect.String:
			wrong("a text")
		}
		s.held += len(v)
	case json.Number:
		switch {
		case t == nil:
		case t.Kind() == reflect.Float64:
			if _, err := v.Float64(); err != nil {
				s.note(place, string(v)+" is too large for a number")
			}
		case t.Kind() == reflect.Int || t.Kind() == reflect.Int64:
			if _, err := v.Int64(); err != nil {
				wrong(string(v))
			}
		default:
			wrong("a number")
		}
	case bool:
		if t != nil && t.Kind() != reflect.Bool {
			wrong(strconv.FormatBool(v))
		}
	}
	if s.held > largestHeld {
		return errTooLarge
	}
	return nil
}

func (s *scanner) object(t reflect.Type, place string) error {
	for s.d.More() {
		token, err := s.d.Token()
		if err != nil {
			return err
		}
		key, _ := token.(string)
		at := strings.TrimPrefix(place+"."+key, ".")
		field, known, most := fieldOf(t, key)
		if t != nil && !known {
			s.note(at, "no such field")
		}
		if err := s.value(field, at, most); err != nil {
			return err
		}
	}
	_, err := s.d.Token()
	return err
}

func (s *scanner) list(t reflect.Type, place string, most int) error {
	var entry reflect.Type
	if t != nil {
		entry = t.Elem()
	}
	if most == 0 {
		most = mostListed
	}
	for i := 0; s.d.More(); i++ {
		if entry != nil {
			if i == most {
				s.note(place, fmt.Sprintf("more than the %d entries allowed", most))
				entry = nil // the rest is only passed over
			} else if s.held += int(entry.Size()); s.held > largestHeld {
				return errTooLarge
			}
		}
		if err := s.value(entry, place+"["+strconv.Itoa(i)+"]", 0); err != nil {
			return err
		}
	}
	_, err := s.d.Token()
	return err
}

// fieldOf is the type of an object's field by its name, and the bound of its
// list, 0 for none. Names are compared as encoding/json does.
func fieldOf(t reflect.Type, key string) (field reflect.Type, known bool, most int) {
	if t == nil {
		return nil, false, 0
	}
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || name == "" || !strings.EqualFold(name, key) {
			continue
		}
		if f.Type == reflect.TypeFor[json.RawMessage]() {
			return nil, true, 0
		}
		if bound := f.Tag.Get("most"); bound != "" {
			most, _ = strconv.Atoi(bound)
		}
		return f.Type, true, most
	}
	return nil, false, 0
}

// sort says in words what a type takes.
func sort(t reflect.Type) string {
	switch {
	case reflect.PointerTo(t).Implements(textual):
		return "a text"
	case t.Kind() == reflect.Struct:
		return "an object"
	case t.Kind() == reflect.Slice:
		return "a list"
	case t.Kind() == reflect.Float64:
		return "a number"
	case t.Kind() == reflect.Int || t.Kind() == reflect.Int64:
		return "a whole number"
	case t.Kind() == reflect.Bool:
		return "true or false"
	}
	return "a text"
}
