package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

const erasureRow = `
SELECT e.id::text, e.person, CASE WHEN e.done_at IS NOT NULL THEN 'carried_out' WHEN e.withdrawn_at IS NOT NULL THEN 'withdrawn' ELSE 'requested' END,
  COALESCE(e.requested_by, ''), e.requested_at, COALESCE(e.written_day::text, ''), e.withdrawn_at, COALESCE(e.done_by, ''), e.done_at,
  CASE WHEN e.done_at IS NOT NULL THEN p.pseudonym ELSE '' END, COALESCE(e.withdrawn_by, '')
FROM erasure e JOIN person p ON p.id = e.person`

func scanErasure(row pgx.CollectableRow) (*lastlightv1.Erasure, error) {
	m := &lastlightv1.Erasure{}
	var requested time.Time
	var withdrawn, done *time.Time
	err := row.Scan(&m.Id, &m.Person, &m.State, &m.RequestedBy, &requested, &m.WrittenDay, &withdrawn, &m.ConfirmedBy, &done, &m.Pseudonym, &m.WithdrawnBy)
	m.RequestedAt, m.WithdrawnAt, m.CarriedOutAt = stampOrNil(&requested), stampOrNil(withdrawn), stampOrNil(done)
	return m, err
}

// openErasure is the request that stands for a person, locked; nil where none does.
func openErasure(ctx context.Context, q Querier, person string) (*lastlightv1.Erasure, error) {
	rows, err := q.Query(ctx, erasureRow+` WHERE e.person = $1 AND e.done_at IS NULL AND e.withdrawn_at IS NULL FOR UPDATE OF e`, person)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanErasure)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	return m, err
}

// RequestErasure records that somebody asks for it; one that stands already is given back as it is.
func (tx *Tx) RequestErasure(ctx context.Context, person, writtenDay string) (*lastlightv1.Erasure, error) {
	if err := tx.lockPerson(ctx, person); err != nil {
		return nil, err
	}
	if stands, err := openErasure(ctx, tx, person); err != nil || stands != nil {
		return stands, err
	}
	if _, err := tx.Exec(ctx, `INSERT INTO erasure (person, requested_by, requested_at, written_day) VALUES ($1, $2, $3, $4::text::date)`,
		person, nullIfEmpty(tx.granter()), tx.Now(), nullIfEmpty(writtenDay)); err != nil {
		return nil, err
	}
	m, err := openErasure(ctx, tx, person)
	if err == nil {
		tx.Event("erasure.request", "person", person, nil, nil)
	}
	return m, err
}

// lockPerson takes the root of a person who is on record and not erased.
func (tx *Tx) lockPerson(ctx context.Context, person string) error {
	found, err := lockRow(ctx, tx, `SELECT version FROM person p WHERE id = $1
  AND NOT EXISTS (SELECT FROM erasure e WHERE e.person = p.id AND e.done_at IS NOT NULL) FOR UPDATE`, person)
	if err == nil && !found {
		err = fault.NoSuch("person", person)
	}
	return err
}

// noErasure is the answer where nobody asked.
func noErasure(person string) error {
	return &fault.Error{Kind: fault.WrongState, Reason: "NOT_REQUESTED", Message: "nobody has asked for the erasure of " + person + ": request it first"}
}

// WithdrawErasure takes back the request that stands.
func (tx *Tx) WithdrawErasure(ctx context.Context, person string) (*lastlightv1.Erasure, error) {
	if err := tx.lockPerson(ctx, person); err != nil {
		return nil, err
	}
	m, err := openErasure(ctx, tx, person)
	if err == nil && m == nil {
		err = noErasure(person)
	}
	if err != nil {
		return nil, err
	}
	if _, err := tx.Exec(ctx, `UPDATE erasure SET withdrawn_by = $2, withdrawn_at = $3 WHERE id::text = $1`, m.Id, tx.Mutation.Caller, tx.Now()); err != nil {
		return nil, err
	}
	now := tx.Now()
	m.State, m.WithdrawnAt, m.WithdrawnBy = "withdrawn", stampOrNil(&now), tx.Mutation.Caller
	tx.Event("erasure.withdraw", "person", person, nil, nil)
	return m, nil
}

// CheckErasure says what an erasure would do, by doing it and rolling it back.
func (s *Store) CheckErasure(ctx context.Context, person string) (out *lastlightv1.ErasurePreview, err error) {
	err = s.Try(ctx, "server", func(ctx context.Context, tx *Tx) error {
		if err := tx.yield(ctx); err != nil {
			return err
		}
		if err := tx.lockPerson(ctx, person); err != nil {
			return err
		}
		codes, err := hindered(ctx, tx, person)
		if err != nil {
			return err
		}
		var e *eraser
		if out, e, err = tx.erase(ctx, person, len(codes) > 0); err != nil {
			return err
		}
		for _, c := range codes {
			out.Hindrances = append(out.Hindrances, &lastlightv1.ErasureHindrance{Code: c})
		}
		out.Hash, err = previewHash(out, e.version)
		now := tx.Now()
		out.AsOf = stampOrNil(&now)
		return err
	})
	return out, err
}

// previewHash stands for what a preview says goes and stays and what hinders it, and for the version of the person, which every change of their own record
// raises, told or not. The log of the club's doings and the answers kept grow by the very asking and reading, so how much of them
// there is does not count.
func previewHash(p *lastlightv1.ErasurePreview, version int64) (string, error) {
	c := &lastlightv1.ErasurePreview{Person: p.Person, Pseudonym: p.Pseudonym, Policy: p.Policy, Hindrances: p.Hindrances}
	lines := func(list []*lastlightv1.ErasureLine) (out []*lastlightv1.ErasureLine) {
		for _, l := range list {
			switch l.Kind {
			case "log", "read", "answer", "event", "text":
			default:
				out = append(out, l)
			}
		}
		return out
	}
	c.Goes, c.Stays = lines(p.Goes), lines(p.Stays)
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(c)
	sum := sha256.Sum256(strconv.AppendInt(b, version, 10))
	return hex.EncodeToString(sum[:]), err
}

// Hindered is the answer where an erasure cannot be carried out now: the codes of all reasons stand in it.
type Hindered struct{ Codes []string }

func (h *Hindered) Error() string { return "cannot be erased now: " + strings.Join(h.Codes, ", ") }

// ConfirmErasure carries out the request that stands, once the caller, who did not ask for it and is somebody else, has read what
// it does.
func (tx *Tx) ConfirmErasure(ctx context.Context, person, hash string) (*lastlightv1.Erasure, error) {
	if err := tx.lockForErasure(ctx, person); err != nil {
		return nil, err
	}
	m, err := openErasure(ctx, tx, person)
	switch {
	case err != nil:
		return nil, err
	case m == nil:
		return nil, noErasure(person)
	case person == tx.Mutation.Caller || m.RequestedBy == tx.Mutation.Caller:
		return nil, &fault.Error{Kind: fault.Denied, Reason: "SECOND_LOOK", Message: "another member of the committee confirms it: neither the person nor whoever asked for it"}
	}
	return tx.carryOut(ctx, m, hash)
}

// yield lets an erasure, and a question about one, give up where it waits for a lock: it takes locks of every kind, and where that
// ends in a circle with an entry, an exit or the report of an incident, it is not these that fail. The database looks for circles
// after a second.
func (tx *Tx) yield(ctx context.Context) error {
	_, err := tx.Exec(ctx, `SET LOCAL lock_timeout = '500ms'`)
	return err
}

// lockForErasure takes the person first, as everybody does, and then keeps incidents from being opened.
func (tx *Tx) lockForErasure(ctx context.Context, person string) error {
	if err := tx.yield(ctx); err != nil {
		return err
	}
	if err := tx.lockPerson(ctx, person); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `LOCK TABLE incident IN SHARE ROW EXCLUSIVE MODE`)
	return err
}

// carryOut erases the person of a request; hash, if not empty, is of the preview that was read.
func (tx *Tx) carryOut(ctx context.Context, m *lastlightv1.Erasure, hash string) (*lastlightv1.Erasure, error) {
	key := m.Person
	codes, err := hindered(ctx, tx, key)
	if err != nil {
		return nil, err
	}
	if len(codes) > 0 {
		return nil, &Hindered{Codes: codes}
	}
	out, e, err := tx.erase(ctx, key, false)
	if err != nil {
		return nil, err
	}
	if out.Hash, err = previewHash(out, e.version); err != nil {
		return nil, err
	}
	if hash != "" && hash != out.Hash {
		return nil, &fault.Error{Kind: fault.Changed, Reason: "READ_ANOTHER", Message: "what would go or stay has changed since you read it: read it again"}
	}
	salt := make([]byte, 16)
	_, _ = rand.Read(salt) // never fails
	if _, err := tx.Exec(ctx, `UPDATE erasure SET done_by = $2, done_at = $3, key_salt = $4, key_hash = $5 WHERE id::text = $1`,
		m.Id, nullIfEmpty(tx.granter()), tx.Now(), salt, keyHash(salt, key)); err != nil {
		return nil, err
	}
	now := tx.Now()
	out.AsOf, out.Person = stampOrNil(&now), e.next
	if m.RequestedBy == key {
		m.RequestedBy = e.next
	}
	m.Person, m.State, m.ConfirmedBy, m.CarriedOutAt, m.Pseudonym, m.Outcome = e.next, "carried_out", tx.granter(), stampOrNil(&now), e.pseudonym, out
	tx.Event("erasure.carry_out", "person", e.next, nil, nil)
	return m, nil
}

func keyHash(salt []byte, key string) []byte {
	sum := sha256.Sum256(append(append([]byte{}, salt...), key...))
	return sum[:]
}

// refuseErased refuses a new person under the key of an erased one: an old file would bring them back unseen.
func refuseErased(ctx context.Context, q Querier, key string) error {
	rows, err := q.Query(ctx, `SELECT key_salt, key_hash, done_at FROM erasure WHERE done_at IS NOT NULL`)
	if err != nil {
		return err
	}
	var salt, hash []byte
	var done, when time.Time
	_, err = pgx.ForEachRow(rows, []any{&salt, &hash, &done}, func() error {
		if string(keyHash(salt, key)) == string(hash) {
			when = done
		}
		return nil
	})
	if err != nil || when.IsZero() {
		return err
	}
	return &fault.Error{
		Kind: fault.WrongState, Reason: "KEY_ERASED",
		Message:  "a person of this key was erased on " + when.UTC().Format(time.DateOnly) + "; a file from before does not bring them back. Somebody new, or the same person come back, gets another key",
		Problems: []fault.Problem{{Field: "id", Read: key, Expected: "a key that was not an erased person's", Message: "a person of this key was erased"}},
	}
}

// refuseErasedChange keeps the row of an erased person as the erasure left it.
func refuseErasedChange(ctx context.Context, q Querier, m *lastlightv1.Person) error {
	var erased bool
	err := q.QueryRow(ctx, `SELECT EXISTS (SELECT FROM erasure WHERE person = $1 AND done_at IS NOT NULL)`, m.Id).Scan(&erased)
	if err == nil && erased {
		err = &fault.Error{Kind: fault.WrongState, Reason: "ERASED", Message: m.Id + " stands for somebody who was erased; nothing is added to it"}
	}
	return err
}

// ListErasures gives a page of requests, the latest first; of, if not nil, leaves those about these people.
func (s *Store) ListErasures(ctx context.Context, r *lastlightv1.ListErasuresRequest, of []string) ([]*lastlightv1.Erasure, string, error) {
	args := []any{r.Open, of}
	after, err := ReadToken("erasures", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	at, id, err := readInstant(after, r.PageToken)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, erasureRow+`
WHERE (e.requested_at < $1 OR (e.requested_at = $1 AND e.id::text > $2)) AND (NOT $4 OR (e.done_at IS NULL AND e.withdrawn_at IS NULL))
  AND ($5::text[] IS NULL OR e.person = ANY ($5)) ORDER BY e.requested_at DESC, e.id::text LIMIT $3`, at, id, size+1, r.Open, of)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanErasure)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "erasures", args, func(m *lastlightv1.Erasure) []string { return instantKey(m.RequestedAt.AsTime(), m.Id) })
	return list, next, nil
}

// Erased is one person who was erased: no name and no key, so that the list can lie beside a backup.
type Erased struct {
	Pseudonym string
	On        time.Time
}

// ErasedPeople lists everybody who was erased, the earliest first.
func (s *Store) ErasedPeople(ctx context.Context) ([]Erased, error) {
	rows, err := s.pool.Query(ctx, `SELECT p.pseudonym, e.done_at FROM erasure e JOIN person p ON p.id = e.person WHERE e.done_at IS NOT NULL ORDER BY e.done_at, p.pseudonym`)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (e Erased, err error) {
		err = row.Scan(&e.Pseudonym, &e.On)
		return e, err
	})
	return list, translate(err)
}

// EraseAgain carries out an erasure that a restored backup knows nothing of. done is false for a pseudonym that is erased already
// or that the backup does not have: made after it.
func (s *Store) EraseAgain(ctx context.Context, pseudonym string) (done bool, err error) {
	err = s.serverWrite(ctx, func(ctx context.Context, tx *Tx) error {
		var person string
		err := tx.QueryRow(ctx, `SELECT id FROM person p WHERE pseudonym = $1 AND NOT EXISTS (SELECT FROM erasure e WHERE e.person = p.id AND e.done_at IS NOT NULL)`, pseudonym).Scan(&person)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := tx.lockForErasure(ctx, person); err != nil {
			return err
		}
		m, err := tx.RequestErasure(ctx, person, "")
		if err != nil {
			return err
		}
		if err := tx.Flush(ctx); err != nil { // the event of the request says the key: it is to be there when the key goes
			return err
		}
		_, err = tx.carryOut(ctx, m, "")
		done = err == nil
		return err
	})
	return done, err
}
