// Package rpc holds the gRPC handlers: they check what was sent, ask the store,
// mask what the caller may not see. This file is the only home of gRPC codes.
package rpc

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"unicode/utf8"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"lastlight/server/internal/fault"
)

// errorDomain stands in every ErrorInfo.
const errorDomain = "lastlight"

// Error details travel in headers: past about 8 KiB clients see UNAVAILABLE
// and retry, so an error's details stay below this many bytes.
const maxDetailBytes = 4096

func code(k fault.Kind) codes.Code {
	switch k {
	case fault.NotFound:
		return codes.NotFound
	case fault.Invalid:
		return codes.InvalidArgument
	case fault.Changed:
		return codes.Aborted
	case fault.WrongState:
		return codes.FailedPrecondition
	case fault.Exists:
		return codes.AlreadyExists
	case fault.Denied:
		return codes.PermissionDenied
	case fault.Unauthenticated:
		return codes.Unauthenticated
	case fault.TooLarge:
		return codes.ResourceExhausted
	case fault.Unavailable:
		return codes.Unavailable
	case fault.DeadlineExceeded:
		return codes.DeadlineExceeded
	case fault.Internal:
		return codes.Internal
	}
	return codes.Internal
}

// ToStatus turns an error into what the caller sees. Whatever is not a fault
// is logged in full under an incident id, of which the caller gets only the id.
func ToStatus(ctx context.Context, log *slog.Logger, err error) error {
	if err == nil {
		return nil
	}
	f, ok := fault.As(err)
	if !ok || f.Kind == fault.Internal {
		if st, isStatus := status.FromError(err); isStatus && !ok { // from the transport itself
			return st.Err()
		}
		if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
			return status.Error(codes.DeadlineExceeded, "time ran out; the outcome is unknown, ask again with the same request id")
		}
		id := incidentID()
		log.ErrorContext(ctx, "unforeseen", "incident", id, "error", err.Error())
		return withInfo(codes.Internal, "something unforeseen happened; the server's log has it under "+id, "INTERNAL", map[string]string{"incident": id}, nil)
	}
	if cause := errors.Unwrap(f); cause != nil {
		log.WarnContext(ctx, "fault", "reason", f.Reason, "error", cause.Error())
	}
	return withInfo(code(f.Kind), f.Message, f.Reason, f.Metadata, f.Problems)
}

func withInfo(c codes.Code, text, reason string, metadata map[string]string, problems []fault.Problem) error {
	st := status.New(c, clip(text, 500))
	details := []*errdetails.BadRequest_FieldViolation{}
	size := 0
	for _, p := range problems {
		text := p.Message
		if p.Read != "" {
			text += "; read: " + clip(strings.Join(strings.Fields(p.Read), " "), 80)
		}
		if p.Expected != "" {
			text += "; expected: " + p.Expected
		}
		v := &errdetails.BadRequest_FieldViolation{Field: clip(p.Field, 120), Description: clip(text, 300)}
		if p.Line > 0 { // for a client that knows where the text stands in a file
			v.Reason = fmt.Sprintf("LINE_%d_COLUMN_%d", p.Line, p.Column)
		}
		if size += len(v.Field) + len(v.Description) + 8; size > maxDetailBytes-700 {
			details = append(details, &errdetails.BadRequest_FieldViolation{Field: "…", Description: "more problems than fit here: send the record with a dry run of apply to see all"})
			break
		}
		details = append(details, v)
	}
	info := &errdetails.ErrorInfo{Reason: reason, Domain: errorDomain, Metadata: metadata}
	var full *status.Status
	var err error
	if len(details) > 0 {
		full, err = st.WithDetails(info, &errdetails.BadRequest{FieldViolations: details})
	} else {
		full, err = st.WithDetails(info)
	}
	if err != nil { // these two messages always marshal
		return st.Err()
	}
	return full.Err()
}

// clip shortens at a rune's edge.
func clip(s string, n int) string {
	if len(s) <= n {
		return strings.ToValidUTF8(s, "�")
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return strings.ToValidUTF8(s[:n], "�") + "…"
}

func incidentID() string {
	var b [6]byte
	_, _ = rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}
