package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// PutDigest asks for a person's digest, or ends it where no address is given; letters not yet sent are dropped with it.
func (tx *Tx) PutDigest(ctx context.Context, m *lastlightv1.Digest) error {
	if m.Address == "" {
		if _, err := tx.Exec(ctx, `DELETE FROM digest WHERE person = $1`, m.Person); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `UPDATE letter SET state = 'given_up', why = 'no digest is asked for any more', done_at = $2 WHERE person = $1 AND state = 'queued'`, m.Person, tx.Now())
		tx.Event("digest.end", "person", m.Person, nil, nil)
		return err
	}
	_, err := tx.Exec(ctx, `
INSERT INTO digest (person, address, every, since) VALUES ($1, $2, $3, $4)
ON CONFLICT (person) DO UPDATE SET address = $2, every = $3`, m.Person, m.Address, m.Every, tx.Now())
	tx.Event("digest.ask", "person", m.Person, nil, nil) // the address is a contact: in no event
	return err
}

// Digest reads what a person has asked for; without address where nothing is.
func (s *Store) Digest(ctx context.Context, person string) (*lastlightv1.Digest, error) {
	m := &lastlightv1.Digest{Person: person}
	err := s.pool.QueryRow(ctx, `SELECT COALESCE(max(address), ''), COALESCE(max(every), '') FROM digest WHERE person = $1`, person).Scan(&m.Address, &m.Every)
	return m, translate(err)
}

// QueueLetters queues a letter for everybody whose period has none yet: day is the club's, monday that of its week.
func (s *Store) QueueLetters(ctx context.Context, day, monday string) (int64, error) {
	tag, err := s.pool.Exec(ctx, `
INSERT INTO letter (person, period, queued_at, next_try_at)
SELECT d.person, CASE d.every WHEN 'day' THEN $1::date ELSE $2::date END, $3, $3
FROM digest d JOIN person p ON p.id = d.person AND NOT p.archived
ON CONFLICT (person, period) DO NOTHING`, day, monday, s.Now())
	return tag.RowsAffected(), translate(err)
}

// Letter is one that this server may send until its lease ends.
type Letter struct {
	ID, Person, Address string
	Tries               int // this one included
}

// TakeLetters leases letters that are to be sent now. Several servers never take the same one at the same time.
func (s *Store) TakeLetters(ctx context.Context, most int, lease time.Duration) ([]Letter, error) {
	now := s.Now()
	rows, err := s.pool.Query(ctx, `
UPDATE letter l SET tries = l.tries + 1, next_try_at = $3
FROM (SELECT id FROM letter WHERE state = 'queued' AND next_try_at <= $1 ORDER BY next_try_at, id LIMIT $2 FOR UPDATE SKIP LOCKED) due, digest d
WHERE l.id = due.id AND d.person = l.person RETURNING l.id::text, l.person, d.address, l.tries`, now, most, now.Add(lease))
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (l Letter, err error) {
		err = row.Scan(&l.ID, &l.Person, &l.Address, &l.Tries)
		return l, err
	})
	return list, translate(err)
}

// FinishLetter says what became of a letter.
func (s *Store) FinishLetter(ctx context.Context, id, state, why string) error {
	_, err := s.pool.Exec(ctx, `UPDATE letter SET state = $2, why = $3, done_at = $4 WHERE id::text = $1 AND state = 'queued'`, id, state, why, s.Now())
	return translate(err)
}

// PostponeLetter lets a letter wait for its next try.
func (s *Store) PostponeLetter(ctx context.Context, id, why string, until time.Time) error {
	_, err := s.pool.Exec(ctx, `UPDATE letter SET why = $2, next_try_at = $3 WHERE id::text = $1 AND state = 'queued'`, id, why, until)
	return translate(err)
}

// ListLetters gives a page of letters, latest first; only, if not empty, leaves those of one person.
func (s *Store) ListLetters(ctx context.Context, r *lastlightv1.ListLettersRequest, only string) ([]*lastlightv1.Letter, string, error) {
	args := []any{r.Person, r.State, only}
	after, err := ReadToken("letters", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	at, id, err := readInstant(after, r.PageToken)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT id::text, person, period::text, state, queued_at, next_try_at, tries, done_at, why FROM letter
WHERE ($1 = '' OR person = $1) AND ($2 = '' OR state = $2) AND ($3 = '' OR person = $3) AND (queued_at < $4 OR (queued_at = $4 AND id::text > $5))
ORDER BY queued_at DESC, id LIMIT $6`, r.Person, r.State, only, at, id, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Letter, error) {
		m := &lastlightv1.Letter{}
		var queued, next time.Time
		var done *time.Time
		err := row.Scan(&m.Id, &m.Person, &m.Period, &m.State, &queued, &next, &m.Tries, &done, &m.Why)
		m.QueuedAt, m.DoneAt = timestamppb.New(queued), stampOrNil(done)
		if m.State == "queued" {
			m.NextTryAt = timestamppb.New(next)
		}
		return m, err
	})
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "letters", args, func(m *lastlightv1.Letter) []string { return instantKey(m.QueuedAt.AsTime(), m.Id) })
	return list, next, nil
}

// NameOf is a person's full name.
func (s *Store) NameOf(ctx context.Context, person string) (fullName string, err error) {
	err = s.pool.QueryRow(ctx, `SELECT full_name FROM person WHERE id = $1`, person).Scan(&fullName)
	return fullName, translate(err)
}
