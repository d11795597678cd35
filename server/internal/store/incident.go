package store

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/incident"
)

var incidents = aggregate[*lastlightv1.Incident]{
	kind:   "incident",
	load:   loadIncident,
	insert: insertIncident,
	update: updateIncident,
	// Who was in it stands in a table of its own and nowhere else.
	forEvent: withoutPeople,
}

func withoutPeople(m *lastlightv1.Incident) *lastlightv1.Incident {
	m = proto.CloneOf(m)
	m.People = nil
	return m
}

// incidentRow has the people in the order of their ordinals.
const incidentRow = `
SELECT i.id, i.doc, i.state, COALESCE(i.reviewed_narrative, ''), COALESCE(i.reviewed_by, ''), i.reported_by, i.reported_at, i.version,
  ARRAY (SELECT person FROM incident_person p WHERE p.incident = i.id ORDER BY ordinal), ` + incidentDay + `
FROM incident i`

// incidentDay is the day of incident i at its site, or on the club's calendar where it has none.
const incidentDay = `to_char(i.happened_at AT TIME ZONE COALESCE((SELECT s.time_zone FROM site s WHERE s.id = i.site), ` + clubZone + `), 'YYYY-MM-DD')`

func scanIncident(row pgx.CollectableRow) (*lastlightv1.Incident, error) {
	m := &lastlightv1.Incident{}
	var id, state, narrative, reviewer, reporter, day string
	var doc []byte
	var at time.Time
	var version int64
	var people []string
	if err := row.Scan(&id, &doc, &state, &narrative, &reviewer, &reporter, &at, &version, &people, &day); err != nil {
		return nil, err
	}
	err := unmarshalDocument(doc, m)
	m.Id, m.State, m.ReviewedNarrative, m.ReviewedBy, m.ReportedBy, m.ReportedAt, m.Version = id, state, narrative, reviewer, reporter, timestamppb.New(at), version
	m.HappenedDay = day
	if len(people) > 0 {
		m.People = people
	}
	return m, err
}

func loadIncident(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Incident, bool, error) {
	sql := incidentRow + ` WHERE i.id = $1`
	if lock {
		sql += ` FOR UPDATE OF i`
	}
	return loadOne(ctx, q, scanIncident, sql, id)
}

func incidentDocument(m *lastlightv1.Incident) []byte {
	return stored(withoutPeople(m))
}

func insertIncident(ctx context.Context, tx *Tx, m *lastlightv1.Incident) error {
	// People before the rest: that is the order of locks everywhere.
	if err := suspendInjured(ctx, tx, nil, m); err != nil {
		return err
	}
	var b pgx.Batch
	b.Queue(`INSERT INTO incident (id, site, dive, happened_at, level, doc, reported_by, reported_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		m.Id, nullIfEmpty(m.Site), nullIfEmpty(m.Dive), m.HappenedAt.AsTime(), m.GetLevel(), incidentDocument(m), tx.Mutation.Caller, tx.Now())
	queueInvolved(&b, m)
	return tx.send(ctx, &b)
}

func updateIncident(ctx context.Context, tx *Tx, before, m *lastlightv1.Incident) error {
	if err := suspendInjured(ctx, tx, before, m); err != nil {
		return err
	}
	var b pgx.Batch
	queueFormer(&b, tx, before)
	b.Queue(`UPDATE incident SET site = $2, dive = $3, happened_at = $4, level = $5, doc = $6, version = version + 1 WHERE id = $1`,
		m.Id, nullIfEmpty(m.Site), nullIfEmpty(m.Dive), m.HappenedAt.AsTime(), m.GetLevel(), incidentDocument(m))
	b.Queue(`DELETE FROM incident_person WHERE incident = $1`, m.Id)
	queueInvolved(&b, m)
	return tx.send(ctx, &b)
}

func queueFormer(b *pgx.Batch, tx *Tx, before *lastlightv1.Incident) {
	b.Queue(`INSERT INTO incident_former (incident, version, doc, changed_at, changed_by) VALUES ($1, $2, $3, $4, $5)`,
		before.Id, before.Version, marshalDocument(withoutPeople(before)), tx.Now(), tx.Mutation.Caller)
}

func queueInvolved(b *pgx.Batch, m *lastlightv1.Incident) {
	injured := make([]bool, len(m.People))
	for _, n := range m.Injured {
		if n >= 1 && int(n) <= len(injured) {
			injured[n-1] = true
		}
	}
	b.Queue(`
INSERT INTO incident_person (incident, ordinal, person, injured)
SELECT $1, n, p, i FROM unnest($2::text[], $3::boolean[]) WITH ORDINALITY AS x (p, i, n)`, m.Id, nonNil(m.People), injured)
}

// suspendInjured keeps whoever was hurt out of the water until cleared; who
// reports is not concerned by reporting. Those who were injured in the record
// before are not suspended again: they may have been cleared since.
func suspendInjured(ctx context.Context, tx *Tx, before, m *lastlightv1.Incident) error {
	already := injuredPeople(before)
	people := injuredPeople(m)
	slices.Sort(people)
	for _, person := range people {
		if slices.Contains(already, person) {
			continue
		}
		if err := tx.SuspendForSymptoms(ctx, person, m.HappenedAt.AsTime()); err != nil {
			return err
		}
	}
	return nil
}

func injuredPeople(m *lastlightv1.Incident) []string {
	var list []string
	for _, n := range m.GetInjured() {
		if n >= 1 && int(n) <= len(m.People) {
			list = append(list, m.People[n-1])
		}
	}
	return list
}

// GetIncident reads an incident whole: mask before showing.
func (s *Store) GetIncident(ctx context.Context, id string) (*lastlightv1.Incident, error) {
	return incidents.get(ctx, s.pool, id)
}

// PutIncident reports an incident or makes a new version of it.
func (tx *Tx) PutIncident(ctx context.Context, m *lastlightv1.Incident, expect Expect, guards ...Guard[*lastlightv1.Incident]) (Put[*lastlightv1.Incident], error) {
	return incidents.put(ctx, tx, m, expect, guards...)
}

// ReviewIncident stores the wording that the club may read.
func (tx *Tx) ReviewIncident(ctx context.Context, id, narrative string) (*lastlightv1.Incident, error) {
	return tx.moveIncident(ctx, id, "review", `UPDATE incident SET reviewed_narrative = $2, reviewed_by = $3, version = version + 1 WHERE id = $1`, narrative, tx.Mutation.Caller)
}

// CloseIncident ends the work on an incident.
func (tx *Tx) CloseIncident(ctx context.Context, id string) (*lastlightv1.Incident, error) {
	return tx.moveIncident(ctx, id, "close", `UPDATE incident SET state = 'closed', version = version + 1 WHERE id = $1`)
}

func (tx *Tx) moveIncident(ctx context.Context, id, what, sql string, args ...any) (*lastlightv1.Incident, error) {
	before, found, err := loadIncident(ctx, tx, id, true)
	if err != nil || !found {
		return nil, orNoSuch(err, "incident", id)
	}
	if before.State == "closed" {
		return nil, fault.NotInState("incident", id, "closed", "open")
	}
	var b pgx.Batch
	queueFormer(&b, tx, before)
	b.Queue(sql, append([]any{id}, args...)...)
	if err := tx.send(ctx, &b); err != nil {
		return nil, err
	}
	after, _, err := loadIncident(ctx, tx, id, false)
	if err != nil {
		return nil, err
	}
	incidents.event(tx, what, id, before, after)
	return after, nil
}

// ListIncidents gives a page, latest day first, and within a day by the minute where the reader may know it: to whoever whole is
// true for, of what reader reported, and of what was reviewed; the place in a list and its token tell no more than the record.
// Words are searched in what the club may read, and everywhere where whole is true.
func (s *Store) ListIncidents(ctx context.Context, r *lastlightv1.ListIncidentsRequest, whole bool, reader string) ([]*lastlightv1.Incident, string, error) {
	args := []any{r.Site, r.Search, whole, reader}
	after, err := ReadToken("incidents", args, r.PageToken, 3)
	if err != nil {
		return nil, "", err
	}
	if after == nil {
		after = []string{"9999-12-31", "", ""}
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT x.* FROM (`+incidentRow+`) AS x (id, doc, state, reviewed, reviewer, reporter, reported_at, version, people, day)
JOIN incident i ON i.id = x.id
CROSS JOIN LATERAL (SELECT CASE WHEN $6 OR x.reporter = $7 OR x.reviewed <> '' THEN to_char(i.happened_at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US') ELSE '' END AS minute) m
WHERE (x.day < $1 OR x.day = $1 AND (m.minute < $2 OR m.minute = $2 AND x.id > $3)) AND ($4 = '' OR i.site = $4)
  AND ($5 = '' OR position(lower($5) IN lower(i.id || ' ' || COALESCE(i.doc ->> 'types', '') || ' ' || COALESCE(i.reviewed_narrative, '') || CASE WHEN $6 THEN ' ' || COALESCE(i.doc ->> 'narrative', '') ELSE '' END)) > 0)
ORDER BY x.day DESC, m.minute DESC, x.id LIMIT $8`, after[0], after[1], after[2], r.Site, r.Search, whole, reader, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanIncident)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "incidents", args, func(m *lastlightv1.Incident) []string {
		minute := ""
		if whole || m.ReportedBy == reader || m.ReviewedNarrative != "" {
			minute = m.HappenedAt.AsTime().Format("2006-01-02T15:04:05.000000")
		}
		return []string{m.HappenedDay, minute, m.Id}
	})
	return list, next, nil
}

// Names lists the club's people by name, for texts that must not carry one.
func Names(ctx context.Context, q Querier) ([]incident.Name, error) {
	rows, err := q.Query(ctx, `SELECT id, full_name, COALESCE(doc ->> 'short_name', '') FROM person ORDER BY id`)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (n incident.Name, err error) {
		err = row.Scan(&n.Person, &n.Full, &n.Short)
		return n, err
	})
}
