package store

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"lastlight/server/internal/fault"
)

// translate turns a driver error into a fault. It runs after the transaction
// has ended, never inside its callback, and leaves faults as they are. No text
// of the database reaches the message.
func translate(err error) error {
	if err == nil {
		return nil
	}
	if _, ok := fault.As(err); ok {
		return err
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return (&fault.Error{Kind: fault.DeadlineExceeded, Reason: "DEADLINE", Message: "time ran out; the outcome is unknown, ask again with the same request id"}).Because(err)
	case errors.Is(err, context.Canceled):
		return (&fault.Error{Kind: fault.DeadlineExceeded, Reason: "CANCELLED", Message: "the call was given up; the outcome is unknown, ask again with the same request id"}).Because(err)
	case errors.Is(err, pgx.ErrNoRows):
		return fmt.Errorf("a row that must be there is not: %w", err)
	}
	pg, ok := errors.AsType[*pgconn.PgError](err)
	if !ok {
		if pgconn.SafeToRetry(err) || isConnectionLoss(err) {
			return unavailable(err)
		}
		return err
	}
	switch pg.Code {
	case "23505":
		return unique(pg).Because(err)
	case "23503":
		return foreignKey(pg)
	case "23514", "23P01", "22003", "22008", "22007":
		return (&fault.Error{
			Kind: fault.Invalid, Reason: "CONSTRAINT", Message: "the record contradicts a rule of the register",
			Problems: []fault.Problem{{Field: strings.TrimSuffix(pg.ConstraintName, "_check"), Expected: "see the field's documentation", Message: "not allowed by the register"}},
		}).Because(err)
	case "22021": // a page token made up by hand; texts of messages are read before
		return (&fault.Error{Kind: fault.Invalid, Reason: "NOT_TEXT", Message: "a text holds a character that cannot be kept"}).Because(err)
	case "40001", "40P01", "55P03":
		return (&fault.Error{Kind: fault.Changed, Reason: "CONCURRENT_CHANGE", Message: "something relied on was being changed at the same moment; ask again"}).Because(err)
	case "57014":
		return (&fault.Error{Kind: fault.DeadlineExceeded, Reason: "DEADLINE", Message: "the database took too long; the outcome is unknown, ask again with the same request id"}).Because(err)
	}
	if strings.HasPrefix(pg.Code, "08") || strings.HasPrefix(pg.Code, "57P") || strings.HasPrefix(pg.Code, "53") || pg.Code == "25006" {
		return unavailable(err)
	}
	return err
}

func unavailable(err error) error {
	return (&fault.Error{Kind: fault.Unavailable, Reason: "DATABASE_UNAVAILABLE", Message: "the database cannot be reached; the outcome is unknown, ask again with the same request id"}).Because(err)
}

func isConnectionLoss(err error) bool {
	text := err.Error()
	for _, part := range []string{"unexpected EOF", "connection reset", "broken pipe", "conn closed", "connection refused", "failed to connect"} {
		if strings.Contains(text, part) {
			return true
		}
	}
	return false
}

// takenID is how the database tells which id is taken; the caller typed it.
var takenID = regexp.MustCompile(`^Key \(id\)=\(([a-z0-9-]+)\) already exists\.$`)

func unique(pg *pgconn.PgError) *fault.Error {
	if pg.ConstraintName == "cylinder_maker_serial" {
		return &fault.Error{
			Kind: fault.Exists, Reason: "CYLINDER_SERIAL_TAKEN", Message: "a cylinder of this maker with this serial is on record already",
			Problems: []fault.Problem{{Field: "serial", Expected: "one cylinder per maker and serial", Message: "a cylinder of this maker with this serial is on record already"}},
		}
	}
	if m := takenID.FindStringSubmatch(pg.Detail); m != nil && pg.TableName == "service_event" {
		return &fault.Error{
			Kind: fault.Exists, Reason: "EXISTS", Message: "an event of this id is on record already",
			Problems: []fault.Problem{{Field: "service_events", Read: m[1], Expected: "an id that no other event has, of this item or another", Message: "an event of this id is on record already"}},
		}
	}
	return &fault.Error{Kind: fault.Exists, Reason: "EXISTS", Message: fmt.Sprintf("there is such a %s already", strings.ReplaceAll(pg.TableName, "_", " "))}
}

var foreignKeyName = regexp.MustCompile(`^(.+)_fkey$`)

// foreignKey names the field whose record does not exist: PostgreSQL names the
// constraint <table>_<column>_fkey.
func foreignKey(pg *pgconn.PgError) error {
	field := pg.ConstraintName
	if m := foreignKeyName.FindStringSubmatch(field); m != nil {
		field = strings.TrimPrefix(m[1], pg.TableName+"_")
	}
	return (&fault.Error{
		Kind: fault.Invalid, Reason: "NO_SUCH_REFERENCE", Message: "a record it refers to does not exist",
		Problems: []fault.Problem{{Field: field, Expected: "the id of an existing record", Message: "no such record"}},
	}).Because(pg)
}
