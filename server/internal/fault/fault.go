// Package fault holds the ways in which a call can fail to be carried out. An
// error gets its kind where the fact is known; package rpc alone turns kinds
// into gRPC codes. A plan that is refused is not a fault: it is an answer.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Kind is the sort of failure.
type Kind int

// The closed set of kinds.
const (
	// Internal is what nobody foresaw: full text to the log, an incident id to the caller.
	Internal Kind = iota
	// NotFound is also the answer for what exists but is hidden from the caller.
	NotFound
	// Invalid input: Problems says all that is wrong.
	Invalid
	// Changed meanwhile: read again, then decide again.
	Changed
	// WrongState: the operation is not allowed in the record's state.
	WrongState
	// Exists: a record of that key, or one that must be unique, is there already.
	Exists
	// Denied: none of the caller's roles may do this anywhere.
	Denied
	// Unauthenticated: no token, or one that is unknown, expired or revoked.
	Unauthenticated
	// TooLarge or too much at once.
	TooLarge
	// Unavailable: outcome unknown, ask again with the same request id.
	Unavailable
	// DeadlineExceeded: the caller's time ran out; the outcome is unknown.
	DeadlineExceeded
	kindEnd
)

// Kinds lists every kind, for tests that must cover all of them.
func Kinds() []Kind {
	var all []Kind
	for k := Internal; k < kindEnd; k++ {
		all = append(all, k)
	}
	return all
}

// Problem is one thing wrong with what was sent.
type Problem struct {
	Field    string // path in the request, e.g. "site.legs[2].length_m"
	Read     string // what was read, as text
	Expected string // range and unit, or the words allowed
	Message  string // a sentence for a person

	Line, Column int // within the text of the field, from 1; 0: the text as a whole
}

// Error is a failure with its kind. Message is safe to show to the caller.
type Error struct {
	Kind     Kind
	Reason   string // stable word for programs, e.g. "CYLINDER_SERIAL_TAKEN"
	Message  string
	Problems []Problem
	Metadata map[string]string
	cause    error
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Message)
	for _, p := range e.Problems {
		fmt.Fprintf(&b, "; %s: %s", p.Field, p.Message)
	}
	if e.cause != nil {
		fmt.Fprintf(&b, " (%v)", e.cause)
	}
	return b.String()
}

// Unwrap gives the cause, which is logged and never shown.
func (e *Error) Unwrap() error { return e.cause }

// Because adds the cause.
func (e *Error) Because(cause error) *Error {
	e.cause = cause
	return e
}

// With adds one metadata entry.
func (e *Error) With(key, value string) *Error {
	if e.Metadata == nil {
		e.Metadata = map[string]string{}
	}
	e.Metadata[key] = value
	return e
}

// As finds the Error in err's chain.
func As(err error) (*Error, bool) {
	return errors.AsType[*Error](err)
}

// Is tells whether err is a fault of that kind.
func Is(err error, kind Kind) bool {
	e, ok := As(err)
	return ok && e.Kind == kind
}

// NoSuch is the answer for a record that is not there, or hidden.
func NoSuch(kind, id string) *Error {
	return &Error{Kind: NotFound, Reason: "NOT_FOUND", Message: fmt.Sprintf("no %s %q", kind, id)}
}

// Wrong is invalid input with all its problems; nil when there are none.
func Wrong(problems []Problem) error {
	if len(problems) == 0 {
		return nil
	}
	message := "one thing is wrong with the input"
	if len(problems) > 1 {
		message = fmt.Sprintf("%d things are wrong with the input", len(problems))
	}
	return &Error{Kind: Invalid, Reason: "INVALID_INPUT", Message: message, Problems: problems}
}

// Moved says that the record was changed since the caller read it.
func Moved(kind, id string, have, expected int64) *Error {
	return (&Error{
		Kind: Changed, Reason: "CHANGED_MEANWHILE",
		Message: fmt.Sprintf("%s %q was changed meanwhile: it is at version %d, you started from %d; read it again", kind, id, have, expected),
	}).
		With("version", fmt.Sprint(have))
}

// Taken says that the key is in use.
func Taken(kind, id string) *Error {
	return &Error{Kind: Exists, Reason: "EXISTS", Message: fmt.Sprintf("there is a %s %q already", kind, id)}
}

// NotInState says that the operation is not allowed as the record stands, and what is.
func NotInState(kind, id, state string, allowed ...string) *Error {
	return (&Error{
		Kind: WrongState, Reason: "WRONG_STATE",
		Message: fmt.Sprintf("%s %q is %s; this is allowed when it is %s", kind, id, inWords(state), inWords(strings.Join(allowed, " or "))),
	}).
		With("state", state)
}

// inWords writes the words of states for a reader; programs have them in the metadata.
func inWords(state string) string {
	return strings.ReplaceAll(strings.ReplaceAll(state, "in_water", "in the water"), "_", " ")
}

// Under puts prefix, e.g. "records[3].site.", before the field of every problem
// of err. Other errors come back as they are.
func Under(prefix string, err error) error {
	e, ok := As(err)
	if !ok || len(e.Problems) == 0 {
		return err
	}
	moved := *e
	moved.Problems = make([]Problem, len(e.Problems))
	for i, p := range e.Problems {
		p.Field = prefix + p.Field
		moved.Problems[i] = p
	}
	return &moved
}
