// Package store holds all SQL: one file per aggregate. A write is one
// transaction that claims its request id, changes rows, and writes what
// happened to the event log; driver errors leave it as kinds of package fault.
package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

// Store gives access to the records. Now is the one clock of the server.
type Store struct {
	pool *pgxpool.Pool
	now  func() time.Time
}

// New makes a store over the pool; now is the clock.
func New(pool *pgxpool.Pool, now func() time.Time) *Store {
	return &Store{pool: pool, now: now}
}

// Pool is for health checks and tests.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Now is the server's clock, in UTC.
func (s *Store) Now() time.Time { return s.now().UTC() }

// Querier is what reads need: the pool, or the transaction they belong to.
// Never start a query while the rows of another are open: on a busy pool that hangs.
type Querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// Mutation names a call whose effect happens once, however often it is sent.
type Mutation struct {
	RequestID string // UUID made by the caller
	Caller    string // person id
	Method    string // full method name
	Body      proto.Message
}

// bodyHash is over the deterministic encoding: same binary, same bytes.
func (m Mutation) bodyHash() ([]byte, error) {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m.Body)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b)
	return sum[:], nil
}

// Tx is an open transaction on one connection. What is queued with Later is
// sent together with the commit: a write costs two round trips, not seven.
type Tx struct {
	conn     *pgxpool.Conn
	later    pgx.Batch
	Mutation Mutation
	now      time.Time
	raised   map[string]bool               // roots whose version this transaction has raised, by table and id
	atEnd    []func(context.Context) error // what must hold once everything is written
}

// Now is the one instant of this transaction, by the server's clock.
func (tx *Tx) Now() time.Time { return tx.now }

// Query runs a query in the transaction.
func (tx *Tx) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	return tx.conn.Query(ctx, sql, args...)
}

// QueryRow runs a query for one row in the transaction.
func (tx *Tx) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	return tx.conn.QueryRow(ctx, sql, args...)
}

// Exec runs a statement in the transaction at once.
func (tx *Tx) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	return tx.conn.Exec(ctx, sql, args...)
}

// Later queues a statement whose result nobody waits for. Its failure fails
// the transaction at commit.
func (tx *Tx) Later(sql string, args ...any) {
	tx.later.Queue(sql, args...)
}

// Event queues an event: who did what to which record, before and after,
// less what is restricted. before or after may be nil.
func (tx *Tx) Event(what, kind, record string, before, after proto.Message) {
	tx.Later(`INSERT INTO event (who, what, kind, record, before, after, request_id) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		tx.Mutation.Caller, what, kind, record, eventDocument(before), eventDocument(after), nullIfEmpty(tx.Mutation.RequestID))
}

func eventDocument(m proto.Message) any {
	if m == nil || !m.ProtoReflect().IsValid() {
		return nil
	}
	return marshalDocument(message.ForEvent(m))
}

// Mutate runs fn once for the request id in one transaction and stores its
// answer; a repeated call gets that answer again. fn must not keep state
// across calls and does nothing outside the database.
func Mutate[M proto.Message](ctx context.Context, s *Store, m Mutation, fn func(ctx context.Context, tx *Tx) (M, error)) (M, error) {
	var none M
	hash, err := m.bodyHash()
	if err != nil {
		return none, err
	}
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return none, translate(err)
	}
	defer conn.Release() // a connection still in a transaction is closed, not reused
	tx := &Tx{conn: conn, Mutation: m, now: s.Now().Truncate(time.Microsecond)}

	var fresh bool
	var caller, method string
	var wasHash, response []byte
	var claim pgx.Batch
	claim.Queue(`BEGIN`)
	// "Already done" also writes: see the comment at table request.
	claim.Queue(`
INSERT INTO request (id, caller, method, body_hash, at) VALUES ($1, $2, $3, $4, $5)
ON CONFLICT (id) DO UPDATE SET answers = request.answers + 1
RETURNING xmax = 0, caller, method, body_hash, response`, m.RequestID, m.Caller, m.Method, hash, tx.now).
		QueryRow(func(row pgx.Row) error { return row.Scan(&fresh, &caller, &method, &wasHash, &response) })
	if err := conn.SendBatch(ctx, &claim).Close(); err != nil {
		tx.rollback(ctx)
		return none, translate(err)
	}

	if !fresh {
		if caller != m.Caller || method != m.Method || string(wasHash) != string(hash) {
			tx.rollback(ctx)
			return none, &fault.Error{
				Kind: fault.Invalid, Reason: "REQUEST_ID_REUSED",
				Message:  "this request id was used for another call",
				Problems: []fault.Problem{{Field: "request_id", Read: m.RequestID, Expected: "a new UUID for each new call", Message: "used before for another call or another body"}},
			}
		}
		if response == nil { // taken out by retention
			tx.rollback(ctx)
			return none, &fault.Error{Kind: fault.WrongState, Reason: "ANSWER_GONE", Message: "this call was carried out, and is not carried out again; its answer is kept no longer: read the record, if it is still there"}
		}
		answer := none.ProtoReflect().New().Interface().(M)
		if err := proto.Unmarshal(response, answer); err != nil {
			tx.rollback(ctx)
			return none, fmt.Errorf("stored answer of request %s: %w", m.RequestID, err)
		}
		return answer, tx.commit(ctx)
	}

	answer, err := fn(ctx, tx)
	if err != nil {
		tx.rollback(ctx)
		return none, translate(err)
	}
	response, err = proto.Marshal(answer)
	if err != nil {
		tx.rollback(ctx)
		return none, err
	}
	tx.Later(`UPDATE request SET response = $2 WHERE id = $1`, m.RequestID, response)
	if err := tx.commit(ctx); err != nil {
		return none, err
	}
	return answer, nil
}

// MutateBlind is Mutate for a write that needs to read nothing: fn only queues, with Later, and its answer follows from the
// call alone. Claim, effect and answer are then one round trip. A request id that is claimed already makes the claim fail, and
// the whole transaction with it; Mutate then says what became of it.
func MutateBlind[M proto.Message](ctx context.Context, s *Store, m Mutation, fn func(tx *Tx) M) (M, error) {
	var none M
	hash, err := m.bodyHash()
	if err != nil {
		return none, err
	}
	effect := &Tx{Mutation: m, now: s.Now().Truncate(time.Microsecond)}
	answer := fn(effect)
	response, err := proto.Marshal(answer)
	if err != nil {
		return none, err
	}
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return none, translate(err)
	}
	tx := &Tx{conn: conn}
	tx.Later(`BEGIN`)
	tx.Later(`INSERT INTO request (id, caller, method, body_hash, response, at) VALUES ($1, $2, $3, $4, $5, $6)`, m.RequestID, m.Caller, m.Method, hash, response, effect.now)
	tx.later.QueuedQueries = append(tx.later.QueuedQueries, effect.later.QueuedQueries...)
	err = tx.commit(ctx)
	conn.Release()
	if claimed, ok := errors.AsType[*pgconn.PgError](err); ok && claimed.ConstraintName == "request_pkey" {
		return Mutate(ctx, s, m, func(_ context.Context, tx *Tx) (M, error) { return fn(tx), nil })
	}
	if err != nil {
		return none, err
	}
	return answer, nil
}

// Read runs fn on one snapshot, so that a page and its children agree.
func (s *Store) Read(ctx context.Context, fn func(ctx context.Context, q Querier) error) error {
	return s.rolledBack(ctx, `BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY`, func(ctx context.Context, tx *Tx) error { return fn(ctx, tx) })
}

// Try runs fn like a write and rolls everything back: a dry run sees exactly
// what the real one would. caller and method stand in its events, which vanish too.
func (s *Store) Try(ctx context.Context, caller string, fn func(ctx context.Context, tx *Tx) error) error {
	return s.rolledBack(ctx, `BEGIN`, func(ctx context.Context, tx *Tx) error {
		tx.Mutation.Caller = caller
		if err := fn(ctx, tx); err != nil {
			return err
		}
		return tx.Flush(ctx) // so that what is only queued can fail here as it would there
	})
}

func (s *Store) rolledBack(ctx context.Context, begin string, fn func(context.Context, *Tx) error) error {
	conn, err := s.pool.Acquire(ctx)
	if err != nil {
		return translate(err)
	}
	defer conn.Release()
	tx := &Tx{conn: conn, now: s.Now().Truncate(time.Microsecond)}
	if _, err := conn.Exec(ctx, begin); err != nil {
		return translate(err)
	}
	err = fn(ctx, tx)
	tx.rollback(ctx)
	return translate(err)
}

// Flush sends what is queued so far, for a statement that must see it.
func (tx *Tx) Flush(ctx context.Context) error {
	if tx.later.Len() == 0 {
		return nil
	}
	batch := tx.later
	tx.later = pgx.Batch{}
	return translate(tx.conn.SendBatch(ctx, &batch).Close())
}

func (tx *Tx) commit(ctx context.Context) error {
	for _, holds := range tx.atEnd {
		if err := holds(ctx); err != nil {
			tx.rollback(ctx)
			return translate(err)
		}
	}
	tx.later.Queue(`COMMIT`)
	err := tx.conn.SendBatch(ctx, &tx.later).Close()
	if err != nil {
		tx.rollback(ctx)
	}
	return translate(err)
}

// rollback outlives a cancelled call: a connection left in a transaction would be thrown away.
func (tx *Tx) rollback(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	_, _ = tx.conn.Exec(ctx, `ROLLBACK`)
}

func nullIfEmpty(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// marshalDocument gives the JSON kept in a doc column: field names as in the
// .proto files, like the club's own files.
func marshalDocument(m proto.Message) []byte {
	b, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil { // only for a message that was not made by this program
		panic(fmt.Sprintf("store: %T cannot be written as JSON: %v", m, err))
	}
	return b
}

// unmarshalDocument reads a doc column. Fields that a newer server wrote are
// ignored: each release must run on the schema after the next migration.
func unmarshalDocument(doc []byte, into proto.Message) error {
	return protojson.UnmarshalOptions{DiscardUnknown: true}.Unmarshal(doc, into)
}

// send runs a batch now and waits for it.
func (tx *Tx) send(ctx context.Context, b *pgx.Batch) error {
	return tx.conn.SendBatch(ctx, b).Close()
}
