package store

import (
	"context"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
	"lastlight/server/internal/quantity"
)

// Resource is a record with a key of the club's own.
type Resource interface {
	proto.Message
	GetId() string
}

// Outcome is what a put did.
type Outcome string

// The three outcomes.
const (
	Created   Outcome = "created"
	Changed   Outcome = "changed"
	Unchanged Outcome = "unchanged"
)

// Expect says what a put relies on. The zero value takes whatever stands.
type Expect struct {
	New      bool  // the key must be free
	Existing bool  // the record must be there
	Version  int64 // and at this version; 0: at any
}

// Put is what a put did, and the record after it.
type Put[M Resource] struct {
	Record  M
	Outcome Outcome
	Changes []string // paths that differ, for Changed
}

// aggregate is how one kind of record with a version is kept. Create, update
// and apply are one routine over these four.
type aggregate[M Resource] struct {
	kind string
	// load reads the whole record, restricted fields and output-only ones
	// included, and locks its root if told to. found is false where there is none.
	load func(ctx context.Context, q Querier, id string, lock bool) (m M, found bool, err error)
	// insert writes a new record, root first.
	insert func(ctx context.Context, tx *Tx, m M) error
	// update writes a changed one and bumps the root's version by one.
	update func(ctx context.Context, tx *Tx, before, m M) error
	// settle brings the message into the order and form in which load gives it, so
	// that equal records compare equal; before is nil for a new one. May be nil.
	settle func(before, m M) error
	// forEvent gives what an event may carry, restricted fields aside; nil: all of it.
	forEvent func(m M) M
	// remark runs after a change, in the same transaction: what relied on the record becomes stale.
	remark func(ctx context.Context, tx *Tx, before, m M, changes []string) error
}

// Guard judges a put inside its transaction, with the record as it stands
// (nil for a new one) and as it would be; it may mend next.
type Guard[M Resource] func(before, next M) error

func (a aggregate[M]) event(tx *Tx, what, id string, before, after M) {
	if a.forEvent != nil {
		if before.ProtoReflect().IsValid() {
			before = a.forEvent(before)
		}
		if after.ProtoReflect().IsValid() {
			after = a.forEvent(after)
		}
	}
	tx.Event(a.kind+"."+what, a.kind, id, before, after)
}

// get answers "not found" where there is none.
func (a aggregate[M]) get(ctx context.Context, q Querier, id string) (M, error) {
	m, found, err := a.load(ctx, q, id, false)
	if err == nil && !found {
		err = fault.NoSuch(a.kind, id)
	}
	return m, translate(err)
}

// put creates, changes or leaves alone. m must be complete: what it leaves out
// is cleared, except restricted fields, which stay untouched.
func (a aggregate[M]) put(ctx context.Context, tx *Tx, m M, expect Expect, guards ...Guard[M]) (Put[M], error) {
	var none Put[M]
	m = message.AsGiven(m)
	before, found, err := a.load(ctx, tx, m.GetId(), true)
	switch {
	case err != nil:
		return none, err
	case found && expect.New:
		return none, fault.Taken(a.kind, m.GetId())
	case !found && expect.Existing:
		return none, fault.NoSuch(a.kind, m.GetId())
	}
	if found {
		if have := versionOf(before); expect.Version != 0 && have != expect.Version {
			return none, fault.Moved(a.kind, m.GetId(), have, expect.Version)
		}
	}
	for _, guard := range guards {
		if err := guard(before, m); err != nil {
			return none, err
		}
	}
	if a.settle != nil {
		if err := a.settle(before, m); err != nil {
			return none, err
		}
	}
	if !found {
		if err := a.insert(ctx, tx, m); err != nil {
			return none, err
		}
		a.event(tx, "create", m.GetId(), before, m)
		after, _, err := a.load(ctx, tx, m.GetId(), false)
		return Put[M]{Record: after, Outcome: Created}, err
	}
	message.KeepRestricted(m, before)
	quantity.KeepSame(m, before)
	paths := message.Changes(before, m)
	if len(paths) == 0 {
		return Put[M]{Record: before, Outcome: Unchanged}, nil
	}
	if err := a.update(ctx, tx, before, m); err != nil {
		return none, err
	}
	a.event(tx, "update", m.GetId(), before, m)
	if a.remark != nil {
		if err := a.remark(ctx, tx, before, m, paths); err != nil {
			return none, err
		}
	}
	after, _, err := a.load(ctx, tx, m.GetId(), false)
	return Put[M]{Record: after, Outcome: Changed, Changes: paths}, err
}

// archive hides the record from lists; nothing is ever deleted. One that is
// archived already is left as it is.
func (a aggregate[M]) archive(ctx context.Context, tx *Tx, table, id string) (M, error) {
	var none M
	before, found, err := a.load(ctx, tx, id, true)
	if err != nil {
		return none, err
	}
	if !found {
		return none, fault.NoSuch(a.kind, id)
	}
	if r := before.ProtoReflect(); r.Get(r.Descriptor().Fields().ByName("archived")).Bool() {
		return before, nil
	}
	// table is a constant of this package, never input.
	if _, err := tx.Exec(ctx, `UPDATE `+table+` SET archived = true, version = version + 1, updated_at = $2 WHERE id = $1`, id, tx.Now()); err != nil {
		return none, err
	}
	a.event(tx, "archive", id, before, none)
	if a.remark != nil {
		if err := a.remark(ctx, tx, before, before, []string{"archived"}); err != nil {
			return none, err
		}
	}
	after, _, err := a.load(ctx, tx, id, false)
	return after, err
}

func versionOf(m proto.Message) int64 {
	r := m.ProtoReflect()
	return r.Get(r.Descriptor().Fields().ByName("version")).Int()
}

// setRoot fills the two fields every root carries.
func setRoot(m proto.Message, version int64, archived bool) {
	r := m.ProtoReflect()
	fields := r.Descriptor().Fields()
	r.Set(fields.ByName("version"), protoreflect.ValueOfInt64(version))
	r.Set(fields.ByName("archived"), protoreflect.ValueOfBool(archived))
}

// stored gives what goes into the doc column: nothing restricted (that has a
// table of its own) and nothing the server writes.
func stored[M proto.Message](m M) []byte {
	return marshalDocument(message.ForFile(m))
}
