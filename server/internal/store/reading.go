package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// staleByReading: a reading speaks for its own day and for the two days in
// which an opening seen open counts. Plans of other days rest on other readings.
const staleByReading = `
WITH hit AS (
  UPDATE plan SET state = 'stale', updated_at = $3,
    state_reasons = CASE WHEN $4 = ANY (state_reasons) THEN state_reasons ELSE state_reasons || $4::text END
  WHERE site = $1 AND state IN ('approved', 'stale') AND planned_entry BETWEEN $2::timestamptz - interval '24 hours' AND $2::timestamptz + interval '48 hours'
  RETURNING id, version),
said AS (INSERT INTO decision (plan, version, decision, decided_at, reason) SELECT id, version, 'stale', $3, $4 FROM hit)
INSERT INTO event (who, what, kind, record) SELECT $5, 'plan.stale', 'plan', id FROM hit`

// RecordReading adds a reading. Nothing is read before the commit, so that the
// whole write can be one round trip.
func (tx *Tx) RecordReading(m *lastlightv1.Reading) *lastlightv1.Reading {
	m = proto.CloneOf(m)
	m.ReadBy = tx.Mutation.Caller
	tx.Later(`UPDATE site SET version = version + 1 WHERE id = $1`, m.Site)
	tx.Later(`
INSERT INTO reading (id, site, read_at, level_m, flow, visibility_m, openings_seen_open, notes, read_by, recorded_at)
VALUES ($1, $2, $3, $4, $5, $6, COALESCE($7::text[], '{}'), $8, $9, $10)`,
		m.Id, m.Site, m.ReadAt.AsTime(), m.LevelM, m.Flow, m.VisibilityM, m.OpeningsSeenOpen, m.Notes, m.ReadBy, tx.Now())
	tx.Later(staleByReading, m.Site, m.ReadAt.AsTime(), tx.Now(), "the site was read again", tx.Mutation.Caller)
	tx.Event("reading.record", "reading", m.Id, nil, m)
	return m
}

const readingRow = `id, site, read_at, level_m, flow, visibility_m, openings_seen_open, notes, read_by`

func scanReading(row pgx.CollectableRow) (*lastlightv1.Reading, error) {
	m := &lastlightv1.Reading{}
	var at time.Time
	err := row.Scan(&m.Id, &m.Site, &at, &m.LevelM, &m.Flow, &m.VisibilityM, &m.OpeningsSeenOpen, &m.Notes, &m.ReadBy)
	m.ReadAt = timestamppb.New(at)
	return m, err
}

// ListReadings gives a page of a site's readings, latest first.
func (s *Store) ListReadings(ctx context.Context, r *lastlightv1.ListReadingsRequest) ([]*lastlightv1.Reading, string, error) {
	args := []any{r.Site}
	after, err := ReadToken("readings", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	at, id, err := readInstant(after, r.PageToken)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT `+readingRow+` FROM reading WHERE site = $1 AND (read_at < $2 OR (read_at = $2 AND id > $3)) ORDER BY read_at DESC, id LIMIT $4`, r.Site, at, id, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanReading)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "readings", args, func(m *lastlightv1.Reading) []string { return instantKey(m.ReadAt.AsTime(), m.Id) })
	return list, next, nil
}

// PutReading records a reading of a file unless it is on record: by id, or where
// it has none by site and minute.
func (tx *Tx) PutReading(ctx context.Context, m *lastlightv1.Reading) (Put[*lastlightv1.Reading], error) {
	m = proto.CloneOf(m)
	m.ReadAt = toMicrosecond(m.ReadAt)
	rows, err := tx.Query(ctx, `SELECT `+readingRow+` FROM reading WHERE id = $1 OR ($1 = '' AND site = $2 AND read_at = $3) ORDER BY id LIMIT 1`, m.Id, m.Site, m.ReadAt.AsTime())
	if err != nil {
		return Put[*lastlightv1.Reading]{}, err
	}
	return putFact(tx, rows, scanReading, m, "reading", factKey(m.Site, m.ReadAt), func() (*lastlightv1.Reading, error) { return tx.RecordReading(m), nil })
}
