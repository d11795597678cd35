package store

import (
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
	"lastlight/server/internal/quantity"
)

// putFact records m unless the rows hold it already. A fact that differs from
// the one on record is refused: facts never change, a later one corrects. Where
// m has no id it takes that of the record, or a new one that follows from the
// request and the fact's own key.
func putFact[M Resource](tx *Tx, rows pgx.Rows, scan pgx.RowToFunc[M], m M, kind, key string, record func() (M, error)) (Put[M], error) {
	list, err := pgx.CollectRows(rows, scan)
	if err != nil {
		return Put[M]{}, err
	}
	if len(list) == 0 {
		if m.GetId() == "" {
			setID(m, NewID(kind, tx.Mutation.RequestID+"/"+key))
		}
		recorded, err := record()
		return Put[M]{Record: recorded, Outcome: Created}, err
	}
	stands := list[0]
	if m.GetId() == "" {
		setID(m, stands.GetId())
	}
	quantity.KeepSame(m, stands)
	if changes := message.Changes(stands, m); len(changes) > 0 {
		problems := make([]fault.Problem, len(changes))
		for i, c := range changes {
			problems[i] = fault.Problem{Field: c, Expected: "as recorded, or another id", Message: kind + " " + stands.GetId() + " is on record with another value; facts never change, a later one corrects"}
		}
		return Put[M]{}, fault.Wrong(problems)
	}
	return Put[M]{Record: stands, Outcome: Unchanged}, nil
}

func setID(m Resource, id string) {
	r := m.ProtoReflect()
	r.Set(r.Descriptor().Fields().ByName("id"), protoreflect.ValueOfString(id))
}

// factKey is what tells two facts of a kind apart: of what, and when.
func factKey(of string, at *timestamppb.Timestamp) string {
	return of + "@" + at.AsTime().Format(time.RFC3339Nano)
}
