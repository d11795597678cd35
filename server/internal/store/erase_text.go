package store

import (
	"bytes"
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// eraser takes one person out of documents and texts: keys become the neutral one, names the pseudonym.
type eraser struct {
	key, next string // the former key, the neutral one
	fullName  string
	version   int64    // of the person's record
	pseudonym string   // in the place of a name
	full      []string // the words of the full name; at least two, else nil
	parts     []string // single words that mean the person in a record about them: the key, parts of the name
	numbers   []string // telephone, mail address, numbers of cards
}

// shortestNumber is how long a telephone number or a card's is that stands for one person in a text: shorter ones are everybody's.
const shortestNumber = 6

func newEraser(key, next, pseudonym, fullName, shortName string, numbers ...string) *eraser {
	e := &eraser{key: key, next: next, fullName: fullName, pseudonym: pseudonym, parts: []string{key}}
	for _, n := range numbers {
		if n = strings.TrimSpace(n); len(n) >= shortestNumber {
			e.numbers = append(e.numbers, n)
		}
	}
	words := wordsIn(fullName)
	if len(words) > 1 {
		e.full = words
	}
	for _, w := range slices.Concat(words, wordsIn(shortName), keyWord.FindAllString(fullName+" "+shortName, -1)) {
		// Particles and initials are words of every text.
		if utf8.RuneCountInString(w) >= 3 {
			e.parts = append(e.parts, w)
		}
	}
	return e
}

// needles are the texts of which at least one stands in whatever says something of the person.
func (e *eraser) needles() []string {
	var out []string
	for _, p := range slices.Concat(e.full[:min(1, len(e.full))], e.parts, e.numbers) {
		if !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out
}

// pattern is the needles as one expression of the database. It finds parts of words too: in a document as the database writes it, a
// word after a line break follows on an n.
func (e *eraser) pattern() string {
	var all []string
	for _, n := range e.needles() {
		all = append(all, regexp.QuoteMeta(n))
	}
	return strings.Join(all, "|")
}

// spellings are texts in the letters that a search which tells capitals from small letters has to look for.
func spellings(of ...string) []string {
	var out []string
	for _, n := range of {
		lower := strings.ToLower(n)
		first, size := utf8.DecodeRuneInString(lower)
		for _, s := range []string{n, lower, strings.ToUpper(n), string(unicode.ToUpper(first)) + lower[size:]} {
			if !slices.Contains(out, s) {
				out = append(out, s)
			}
		}
	}
	return out
}

// namesPerson tells whether a field of this name holds keys of people; where it may hold words too, as who did a service does, the
// full name in them goes as in any text. The names of the API's fields say so: a new one that does
// not fit is found by the test that looks through every column after an erasure.
func namesPerson(field string) bool {
	switch field {
	case "person", "people", "leader", "cover", "standby", "owner", "holder", "guardian", "of_person", "second_approver", "who":
		return true
	}
	return strings.HasSuffix(field, "_by")
}

// tellsOf are the texts in which single words of a name are looked for, in records about the person.
var tellsOf = map[string]bool{
	"notes": true, "reason": true, "narrative": true, "reviewed_narrative": true, "trigger": true, "harmful_action": true, "preceding_event": true, "outcome": true,
	"went_right": true, "lessons": true, "goal": true, "what": true, "conditions": true, "said": true, "observed": true, "state_reasons": true,
	"withdrawn_reason": true, "donor": true, "receiver": true, "quarantine_reason": true, "message": true, "revoked_reason": true, "title": true, "evidence": true,
}

// ownValues are what a dive says of one diver alone. That and how the person dived, with whom and where, stays: it is the dive of
// the others too.
var ownValues = []string{
	"start_pressure", "end_pressure", "mains", "gas", "symptoms", "max_depth_m", "other_gases", "profile", "disagrees", "counted_as", "used", "cylinders",
	"has_profile", "consumption_l_min", "consumption_origin", "counts_as", "counts_because",
}

// document rewrites a JSON document, or the value of the field in JSON. own: what it says of the person alone goes too. about: it is about the person, though it may
// not say so itself. changed is false where nothing in it is of the person.
func (e *eraser) document(doc []byte, field string, own, about bool) (out []byte, changed bool, err error) {
	d := json.NewDecoder(bytes.NewReader(doc))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, false, err
	}
	v, changed = e.value(v, field, own, about || e.in(v, field))
	if !changed {
		return doc, false, nil
	}
	out, err = json.Marshal(v)
	return out, true, err
}

// in tells whether a document names the person by key.
func (e *eraser) in(v any, field string) bool {
	switch v := v.(type) {
	case map[string]any:
		for k, x := range v {
			if e.in(x, k) {
				return true
			}
		}
	case []any:
		return slices.ContainsFunc(v, func(x any) bool { return e.in(x, field) })
	case string:
		return namesPerson(field) && (v == e.key || v == e.next)
	}
	return false
}

func (e *eraser) value(v any, field string, own, about bool) (any, bool) {
	changed := false
	switch v := v.(type) {
	case map[string]any:
		if of, ok := v["person"].(string); ok && (of == e.key || of == e.next) {
			if name, has := v["name"].(string); has && name != e.pseudonym { // as it was shown
				v["name"], changed = e.pseudonym, true
			}
			for _, k := range ownValues {
				if _, has := v[k]; has && own {
					delete(v, k)
					changed = true
				}
			}
		}
		for k, x := range v {
			if k == "person:"+e.key { // in an index of records
				delete(v, k)
				v["person:"+e.next] = x
				changed = true
				continue
			}
			if y, c := e.value(x, k, own, about); c {
				v[k], changed = y, true
			}
		}
		return v, changed
	case []any:
		for i, x := range v {
			if y, c := e.value(x, field, own, about); c {
				v[i], changed = y, true
			}
		}
		return v, changed
	case string:
		if namesPerson(field) {
			if v == e.key {
				return e.next, true
			}
			about = false // a key of somebody else is no text
		}
		out := e.text(v, about && tellsOf[field])
		return out, out != v
	}
	return v, false
}

var nameWord = regexp.MustCompile(`[\p{L}\p{N}]+`)

func wordsIn(s string) []string { return nameWord.FindAllString(s, -1) }

// keyWord is a word as a key is one: with hyphens inside.
var keyWord = regexp.MustCompile(`[\p{L}\p{N}]+(-[\p{L}\p{N}]+)*`)

// text puts the pseudonym in the place of the full name, whatever the blanks and letters; about: of single words of it too. A text
// about the person or with the full name loses the telephone and the other numbers as well; in others the same number may be
// somebody's who is to be rung.
func (e *eraser) text(s string, about bool) string {
	was := s
	if e.full != nil {
		s = e.sequence(s, e.full)
	}
	if about || s != was {
		for _, n := range e.numbers {
			s = replaceFold(s, n, e.pseudonym)
		}
	}
	if !about {
		return s
	}
	return keyWord.ReplaceAllStringFunc(s, func(w string) string {
		for _, p := range e.parts {
			if strings.EqualFold(w, p) {
				return e.pseudonym
			}
		}
		return w
	})
}

// replaceFold replaces old, in capitals or small letters, by next.
func replaceFold(s, old, next string) string {
	return regexp.MustCompile(`(?i)`+regexp.QuoteMeta(old)).ReplaceAllLiteralString(s, next)
}

// joins may stand between the words of a name. One of them at least is a blank: no key of a record has any, and keys stay.
const joins = " \t\r\n.-'’"

// sequence replaces words that follow one another as those of a name do.
func (e *eraser) sequence(s string, words []string) string {
	at := nameWord.FindAllStringIndex(s, -1)
	var out strings.Builder
	done := 0
	for i := 0; i+len(words) <= len(at); i++ {
		fits, blank := true, false
		for j, w := range words {
			x := at[i+j]
			fits = fits && strings.EqualFold(s[x[0]:x[1]], w)
			if j > 0 {
				between := s[at[i+j-1][1]:x[0]]
				fits = fits && strings.Trim(between, joins) == ""
				blank = blank || strings.ContainsAny(between, " \t\r\n")
			}
		}
		if fits && blank {
			out.WriteString(s[done:at[i][0]] + e.pseudonym)
			done = at[i+len(words)-1][1]
			i += len(words) - 1
		}
	}
	return out.String() + s[done:]
}
