// Package exit is the one place that knows the client's exit codes and how
// the server's status codes become them.
package exit

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Code is what the process ends with.
type Code int

// The codes are a contract with scripts: they are added to, never changed.
const (
	Done        Code = 0
	Refused     Code = 1
	Usage       Code = 2
	NotAllowed  Code = 3
	Unreachable Code = 4
	Invalid     Code = 5
	Conflict    Code = 6
	Internal    Code = 7
)

// Meanings lists every code with the words that `lastlight help exit-codes` prints.
var Meanings = []struct {
	Code Code
	Name string
	Text string
}{
	{Done, "done", "done, also where a list is empty"},
	{Refused, "refused", "refused by a rule: a plan, an approval, a sign-in, or \"not good to go\""},
	{Usage, "usage", "the command line or the settings are wrong"},
	{NotAllowed, "not allowed", "not allowed, not found, or no valid token (hidden things are \"not found\")"},
	{Unreachable, "unreachable", "no answer from the server, or not in time; a write may have been done: repeat it with --request-id"},
	{Invalid, "invalid", "invalid input: every problem is listed"},
	{Conflict, "conflict", "changed meanwhile, exists already, or not possible in this state"},
	{Internal, "internal", "an error of the server or of this program"},
}

// Error carries the code the process ends with. A nil Err prints nothing:
// the answer itself has said why.
type Error struct {
	Code Code
	Err  error
}

func (e *Error) Error() string {
	if e.Err == nil {
		return ""
	}
	return e.Err.Error()
}

func (e *Error) Unwrap() error { return e.Err }

// With gives err an exit code.
func With(code Code, err error) error { return &Error{Code: code, Err: err} }

// Errorf makes an error that ends the process with code.
func Errorf(code Code, format string, args ...any) error {
	return &Error{Code: code, Err: fmt.Errorf(format, args...)}
}

// Silent ends the process with code after the answer has been printed.
func Silent(code Code) error { return &Error{Code: code} }

// Of tells which code err ends the process with. Errors that carry neither an
// exit code nor a gRPC status are Internal.
func Of(err error) Code {
	if err == nil {
		return Done
	}
	var coded *Error
	if errors.As(err, &coded) {
		return coded.Code
	}
	if s, ok := status.FromError(err); ok {
		return OfStatus(s.Code())
	}
	return Internal
}

// OfStatus maps every gRPC code.
func OfStatus(c codes.Code) Code {
	switch c {
	case codes.OK:
		return Done
	case codes.InvalidArgument, codes.OutOfRange:
		return Invalid
	case codes.NotFound, codes.PermissionDenied, codes.Unauthenticated:
		return NotAllowed
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled, codes.ResourceExhausted:
		return Unreachable
	case codes.Aborted, codes.FailedPrecondition, codes.AlreadyExists:
		return Conflict
	case codes.Unknown, codes.Internal, codes.DataLoss, codes.Unimplemented:
		return Internal
	}
	return Internal
}

// Explain writes err for a person: what it is, every field violation, and
// what to do next. requestID is named where a write may have been done.
func Explain(err error, requestID string) string {
	if err == nil || err.Error() == "" {
		return ""
	}
	s, ok := status.FromError(err)
	var coded *Error
	if !ok || (errors.As(err, &coded) && coded.Err != nil && s.Code() == codes.Unknown) {
		return err.Error()
	}
	var b strings.Builder
	b.WriteString(heading(s.Code()))
	if m := s.Message(); m != "" {
		b.WriteString(": " + m)
	}
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				fmt.Fprintf(&b, "\n  %s: %s", v.GetField(), v.GetDescription())
			}
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				fmt.Fprintf(&b, "\n  %s: %s", v.GetSubject(), v.GetDescription())
			}
		case *errdetails.ErrorInfo:
			if d.GetReason() != "" {
				fmt.Fprintf(&b, "\n  reason: %s", d.GetReason())
			}
			for _, k := range slices.Sorted(maps.Keys(d.GetMetadata())) {
				fmt.Fprintf(&b, "\n  %s: %s", k, d.GetMetadata()[k])
			}
		}
	}
	if n := next(s.Code(), requestID); n != "" {
		b.WriteString("\n" + n)
	}
	return b.String()
}

func heading(c codes.Code) string {
	switch c {
	case codes.InvalidArgument, codes.OutOfRange:
		return "invalid input"
	case codes.NotFound:
		return "not found"
	case codes.PermissionDenied:
		return "not allowed"
	case codes.Unauthenticated:
		return "no valid token"
	case codes.Unavailable:
		return "the server does not answer"
	case codes.DeadlineExceeded:
		return "no answer in time"
	case codes.Canceled:
		return "stopped"
	case codes.ResourceExhausted:
		return "too much at once"
	case codes.Aborted:
		return "changed meanwhile"
	case codes.FailedPrecondition:
		return "not possible now"
	case codes.AlreadyExists:
		return "exists already"
	case codes.Unimplemented:
		return "this server does not know the call"
	default:
		return "error"
	}
}

func next(c codes.Code, requestID string) string {
	switch c {
	case codes.Unauthenticated:
		return "Store a token with `lastlight login`."
	case codes.Aborted:
		return "Look at it again and repeat."
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		if requestID != "" {
			return "It may have been done. Repeat the same command with --request-id " + requestID + ": it is done once only."
		}
		return "`lastlight config` shows which server is called."
	default:
		return ""
	}
}
