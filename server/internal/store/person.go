package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

var people = aggregate[*lastlightv1.Person]{
	kind:   "person",
	load:   loadPerson,
	insert: insertPerson,
	update: updatePerson,
	settle: settlePerson,
	remark: remarkPerson,
}

func loadPerson(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Person, bool, error) {
	if lock {
		if found, err := lockRow(ctx, q, `SELECT version FROM person WHERE id = $1 FOR UPDATE`, id); !found || err != nil {
			return nil, false, err
		}
	}
	list, err := loadPeople(ctx, q, []string{id})
	if err != nil || len(list) == 0 {
		return nil, false, err
	}
	return list[0], true, nil
}

// lockRow runs a statement that locks one row by id.
func lockRow(ctx context.Context, q Querier, sql, id string) (bool, error) {
	var version int64
	err := q.QueryRow(ctx, sql, id).Scan(&version)
	if errors.Is(err, pgx.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}

// keepKeys holds the keys of people whom a document names and no foreign key does, until the end: who is erased at that moment is
// erased before, and then not found here, or after, and then found in the document.
func (tx *Tx) keepKeys(ctx context.Context, field string, people ...string) error {
	people = slices.DeleteFunc(sortedSet(people), func(p string) bool { return p == "" })
	if len(people) == 0 {
		return nil
	}
	rows, err := tx.Query(ctx, `SELECT id FROM person WHERE id = ANY ($1) ORDER BY id FOR KEY SHARE`, people)
	if err != nil {
		return err
	}
	kept, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	var problems []fault.Problem
	for _, p := range people {
		if !slices.Contains(kept, p) {
			problems = append(problems, fault.Problem{Field: field, Read: p, Expected: "a person on record", Message: "there is no such person"})
		}
	}
	if len(problems) > 0 {
		return fault.Wrong(problems)
	}
	return nil
}

// settlePerson sorts cards as they are read back and cuts instants to what a column holds.
func settlePerson(_, m *lastlightv1.Person) error {
	slices.SortStableFunc(m.Cards, func(a, b *lastlightv1.Card) int { return strings.Compare(a.Id, b.Id) })
	if s := m.Medical; s != nil {
		s.SuspendedAt, s.ClearedAt = toMicrosecond(s.SuspendedAt), toMicrosecond(s.ClearedAt)
	}
	return nil
}

func toMicrosecond(t *timestamppb.Timestamp) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(t.AsTime().Truncate(time.Microsecond))
}

// personDocument leaves out what has tables of its own.
func personDocument(m *lastlightv1.Person) []byte {
	c := proto.CloneOf(m)
	c.Cards = nil
	return stored(c)
}

func insertPerson(ctx context.Context, tx *Tx, m *lastlightv1.Person) error {
	if err := refuseErased(ctx, tx, m.Id); err != nil {
		return err
	}
	tx.keepAssessors(m)
	var b pgx.Batch
	b.Queue(`
INSERT INTO person (id, pseudonym, full_name, guest, birth_day, guardian, telephone, doc, created_at, updated_at)
VALUES ($1, $2, $3, $4, $5::text::date, $6, $7, $8, $9, $9)`,
		m.Id, NewPseudonym(), m.FullName, m.Guest, m.BirthDay, nullIfEmpty(m.Guardian), m.Telephone, personDocument(m), tx.Now())
	putPersonChildren(&b, tx, nil, m)
	return tx.send(ctx, &b)
}

func updatePerson(ctx context.Context, tx *Tx, before, m *lastlightv1.Person) error {
	if before.Archived {
		if err := refuseErasedChange(ctx, tx, before); err != nil {
			return err
		}
	}
	tx.keepAssessors(m)
	var b pgx.Batch
	b.Queue(`
UPDATE person SET full_name = $2, guest = $3, birth_day = $4::text::date, guardian = $5, telephone = $6, doc = $7, version = version + 1, updated_at = $8
WHERE id = $1`, m.Id, m.FullName, m.Guest, m.BirthDay, nullIfEmpty(m.Guardian), m.Telephone, personDocument(m), tx.Now())
	putPersonChildren(&b, tx, before, m)
	return tx.send(ctx, &b)
}

// keepAssessors holds the keys of who reassessed somebody, once everything is written: they may follow later in the same file.
func (tx *Tx) keepAssessors(m *lastlightv1.Person) {
	for i, a := range m.Reassessments {
		tx.atEnd = append(tx.atEnd, func(ctx context.Context) error {
			return tx.keepKeys(ctx, fmt.Sprintf("person.reassessments[%d].assessed_by", i), a.AssessedBy)
		})
	}
}

// putPersonChildren queues cards, medical status and contacts. A card that is
// no longer listed is put aside, never deleted; one whose statement changed
// must be seen again.
func putPersonChildren(b *pgx.Batch, tx *Tx, before, m *lastlightv1.Person) {
	ids := make([]string, 0, len(m.Cards))
	for _, c := range m.Cards {
		ids = append(ids, c.Id)
		b.Queue(`
INSERT INTO card (person, id, level, endorsement, issued_day, expires_day, number, issuing_body, depth_limit_m)
VALUES ($1, $2, $3, $4, $5::text::date, $6::text::date, $7, $8, $9)
ON CONFLICT (person, id) DO UPDATE SET level = EXCLUDED.level, endorsement = EXCLUDED.endorsement, issued_day = EXCLUDED.issued_day,
  expires_day = EXCLUDED.expires_day, number = EXCLUDED.number, issuing_body = EXCLUDED.issuing_body, depth_limit_m = EXCLUDED.depth_limit_m,
  archived = false,
  seen_by = CASE WHEN (card.level, card.endorsement, card.issued_day, card.expires_day, card.depth_limit_m) IS NOT DISTINCT FROM
    (EXCLUDED.level, EXCLUDED.endorsement, EXCLUDED.issued_day, EXCLUDED.expires_day, EXCLUDED.depth_limit_m) THEN card.seen_by END,
  seen_at = CASE WHEN (card.level, card.endorsement, card.issued_day, card.expires_day, card.depth_limit_m) IS NOT DISTINCT FROM
    (EXCLUDED.level, EXCLUDED.endorsement, EXCLUDED.issued_day, EXCLUDED.expires_day, EXCLUDED.depth_limit_m) THEN card.seen_at END`,
			m.Id, c.Id, c.Level, c.Endorsement, c.IssuedDay, nullIfEmpty(c.ExpiresDay), c.Number, c.IssuingBody, c.DepthLimitM)
	}
	if len(before.GetCards()) > 0 {
		b.Queue(`UPDATE card SET archived = true WHERE person = $1 AND NOT id = ANY ($2)`, m.Id, ids)
	}
	if m.Medical != nil && !proto.Equal(before.GetMedical(), m.Medical) {
		queueMedical(b, tx, m.Id, m.Medical)
	}
	if before != nil && len(m.EmergencyContacts) > 0 {
		b.Queue(`DELETE FROM emergency_contact WHERE person = $1`, m.Id)
	}
	for i, c := range m.EmergencyContacts {
		b.Queue(`INSERT INTO emergency_contact (person, position, full_name, telephone, relation) VALUES ($1, $2, $3, $4, $5)`,
			m.Id, i+1, c.FullName, c.Telephone, c.Relation)
	}
}

func queueMedical(b *pgx.Batch, tx *Tx, person string, m *lastlightv1.MedicalStatus) {
	b.Queue(`
INSERT INTO medical_status (person, examined_day, doctor_until, declared_day, restriction_code, depth_limit_m, suspended_at, cleared_at, cleared_by_roles, recorded_by, recorded_at)
VALUES ($1, $2::text::date, $3::text::date, $4::text::date, $5, $6, $7, $8, $9, $10, $11)
ON CONFLICT (person) DO UPDATE SET examined_day = EXCLUDED.examined_day, doctor_until = EXCLUDED.doctor_until, declared_day = EXCLUDED.declared_day,
  restriction_code = EXCLUDED.restriction_code, depth_limit_m = EXCLUDED.depth_limit_m, suspended_at = EXCLUDED.suspended_at,
  cleared_at = EXCLUDED.cleared_at, cleared_by_roles = EXCLUDED.cleared_by_roles, recorded_by = EXCLUDED.recorded_by, recorded_at = EXCLUDED.recorded_at`,
		person, nullIfEmpty(m.ExaminedDay), nullIfEmpty(m.DoctorUntil), nullIfEmpty(m.DeclaredDay), m.RestrictionCode, m.DepthLimitM,
		timeOrNil(m.SuspendedAt), timeOrNil(m.ClearedAt), nonNil(m.ClearedByRoles), tx.Mutation.Caller, tx.Now())
}

func timeOrNil(t *timestamppb.Timestamp) any {
	if t == nil {
		return nil
	}
	return t.AsTime()
}

// Words of staleness never tell why a person is not available.
const (
	staleAvailability = "a diver is not available as before"
	staleTraining     = "what a diver's cards count for has changed"
	stalePerson       = "a diver's record has changed"
)

// personReasons says, for each field that a judgement rests on, why a plan is stale when it changes.
var personReasons = map[string]string{
	"medical": staleAvailability, "unavailable": staleAvailability, "archived": staleAvailability,
	"cards":     staleTraining,
	"birth_day": stalePerson, "consumption": stalePerson, "worst_consumption": stalePerson, "guardian": stalePerson,
	"reassessments": staleTraining, "guardian_consent_to": stalePerson, "arrivals": stalePerson, "guest": stalePerson,
}

func remarkPerson(ctx context.Context, tx *Tx, _, m *lastlightv1.Person, changes []string) error {
	return tx.markStaleFor(ctx, "person", m.Id, changes, personReasons)
}

// markStaleFor marks plans once for each reason that the changed fields give.
func (tx *Tx) markStaleFor(ctx context.Context, kind, id string, changes []string, reasons map[string]string) error {
	var said []string
	for _, path := range changes {
		reason := reasons[fieldOf(path)]
		if reason == "" || slices.Contains(said, reason) {
			continue
		}
		said = append(said, reason)
		if err := tx.MarkStale(ctx, kind, id, reason); err != nil {
			return err
		}
	}
	return nil
}

// fieldOf is the field of a record that a path lies in.
func fieldOf(path string) string {
	if end := strings.IndexAny(path, ".["); end >= 0 {
		return path[:end]
	}
	return path
}

// GetPerson reads one person, restricted fields included: mask before showing.
func (s *Store) GetPerson(ctx context.Context, id string) (*lastlightv1.Person, error) {
	return people.get(ctx, s.pool, id)
}

// PutPerson creates or changes a person.
func (tx *Tx) PutPerson(ctx context.Context, m *lastlightv1.Person, expect Expect, guards ...Guard[*lastlightv1.Person]) (Put[*lastlightv1.Person], error) {
	return people.put(ctx, tx, m, expect, guards...)
}

// ArchivePerson hides a person from lists.
func (tx *Tx) ArchivePerson(ctx context.Context, id string) (*lastlightv1.Person, error) {
	return people.archive(ctx, tx, "person", id)
}

// ListPeople gives a page by id, restricted fields included: mask before showing.
func (s *Store) ListPeople(ctx context.Context, r *lastlightv1.ListPeopleRequest) (list []*lastlightv1.Person, next string, err error) {
	args := []any{r.ShowArchived, r.Search, r.Expedition}
	after, err := ReadToken("people", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		ids, err := collectIDs(ctx, q, `
SELECT p.id FROM person p
WHERE p.id > $1 AND (NOT p.archived OR $2)
  AND ($3 = '' OR position(lower($3) IN lower(p.id || ' ' || p.full_name || ' ' || COALESCE(p.doc ->> 'short_name', ''))) > 0)
  AND ($4 = '' OR EXISTS (SELECT FROM expedition_participant x WHERE x.expedition = $4 AND x.person = p.id))
ORDER BY p.id LIMIT $5`, first(after), r.ShowArchived, r.Search, r.Expedition, size+1)
		if err != nil {
			return err
		}
		ids, next = cut(ids, size, "people", args, func(id string) []string { return []string{id} })
		list, err = loadPeople(ctx, q, ids)
		return err
	})
	return list, next, err
}

func collectIDs(ctx context.Context, q Querier, sql string, args ...any) ([]string, error) {
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// cardOf locks the person and finds the card.
func (tx *Tx) cardOf(ctx context.Context, person, card string) (*lastlightv1.Person, *lastlightv1.Card, error) {
	m, found, err := loadPerson(ctx, tx, person, true)
	if err != nil {
		return nil, nil, err
	}
	if !found {
		return nil, nil, fault.NoSuch("person", person)
	}
	for _, c := range m.Cards {
		if c.Id == card {
			return m, c, nil
		}
	}
	return nil, nil, fault.NoSuch("card", card)
}

// personChanged bumps the root, writes the event and marks plans, after a fact below a person was queued in b.
func (tx *Tx) personChanged(ctx context.Context, b *pgx.Batch, before *lastlightv1.Person, what, reason string) (*lastlightv1.Person, error) {
	b.Queue(`UPDATE person SET version = version + 1, updated_at = $2 WHERE id = $1`, before.Id, tx.Now())
	if err := tx.send(ctx, b); err != nil {
		return nil, err
	}
	after, _, err := loadPerson(ctx, tx, before.Id, false)
	if err != nil {
		return nil, err
	}
	tx.Event(what, "person", before.Id, before, after)
	return after, tx.MarkStale(ctx, "person", before.Id, reason)
}

// RecordCardSeen notes that the caller has had the card in hand.
func (tx *Tx) RecordCardSeen(ctx context.Context, person, card string, at time.Time) (*lastlightv1.Person, error) {
	m, c, err := tx.cardOf(ctx, person, card)
	if err != nil {
		return nil, err
	}
	if c.RevokedAt != nil {
		return nil, fault.NotInState("card", card, "revoked", "standing")
	}
	var b pgx.Batch
	b.Queue(`UPDATE card SET seen_by = $3, seen_at = $4 WHERE person = $1 AND id = $2`, person, card, tx.Mutation.Caller, at)
	return tx.personChanged(ctx, &b, m, "person.card_seen", staleTraining)
}

// RevokeCard ends a card from this minute on.
func (tx *Tx) RevokeCard(ctx context.Context, person, card, reason string) (*lastlightv1.Person, error) {
	m, c, err := tx.cardOf(ctx, person, card)
	if err != nil {
		return nil, err
	}
	if c.RevokedAt != nil {
		return nil, fault.NotInState("card", card, "revoked", "standing")
	}
	var b pgx.Batch
	b.Queue(`UPDATE card SET revoked_by = $3, revoked_at = $4, revoked_reason = $5 WHERE person = $1 AND id = $2`, person, card, tx.Mutation.Caller, tx.Now(), reason)
	return tx.personChanged(ctx, &b, m, "person.card_revoked", staleTraining)
}

// SetMedicalStatus replaces the status. mend sees the person as it stands and may complete or refuse the new status.
func (tx *Tx) SetMedicalStatus(ctx context.Context, person string, status *lastlightv1.MedicalStatus, mend func(before *lastlightv1.Person, next *lastlightv1.MedicalStatus) error) (*lastlightv1.Person, error) {
	m, found, err := loadPerson(ctx, tx, person, true)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, fault.NoSuch("person", person)
	}
	if m.Archived {
		if err := refuseErasedChange(ctx, tx, m); err != nil {
			return nil, err
		}
	}
	status = proto.CloneOf(status)
	if err := mend(m, status); err != nil {
		return nil, err
	}
	var b pgx.Batch
	queueMedical(&b, tx, person, status)
	return tx.personChanged(ctx, &b, m, "person.availability", staleAvailability)
}

// SetAvailability adds days on which a person does not dive, or takes them away. No reason is kept.
func (tx *Tx) SetAvailability(ctx context.Context, person string, change func(days []*lastlightv1.Unavailability) []*lastlightv1.Unavailability) (*lastlightv1.Person, error) {
	m, found, err := loadPerson(ctx, tx, person, true)
	if err != nil {
		return nil, err
	}
	if !found {
		return nil, fault.NoSuch("person", person)
	}
	if m.Archived {
		if err := refuseErasedChange(ctx, tx, m); err != nil {
			return nil, err
		}
	}
	next := proto.CloneOf(m)
	next.Unavailable = change(next.Unavailable)
	if len(next.Unavailable) > 400 {
		return nil, fault.Wrong([]fault.Problem{{Field: "from_day", Read: fmt.Sprint(len(next.Unavailable)), Expected: "at most 400 spans of days", Message: "too many days away are on record"}})
	}
	var b pgx.Batch
	b.Queue(`UPDATE person SET doc = $2 WHERE id = $1`, person, personDocument(next))
	return tx.personChanged(ctx, &b, m, "person.availability", staleAvailability)
}
