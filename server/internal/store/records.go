package store

import (
	"context"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// tables of the records that others refer to, by kind.
var tables = map[string]string{
	"person": "person", "site": "site", "cylinder": "cylinder", "equipment": "equipment", "cylinder_set": "cylinder_set",
	"permit": "permit", "policy": "policy", "expedition": "expedition", "plan": "plan", "dive": "dive", "incident": "incident",
	"reading": "reading", "fill": "fill", "analysis": "analysis", "custody_event": "custody_event",
}

// On gives the ids among those asked that are on record, for each kind one query.
func On(ctx context.Context, q Querier, ids map[string][]string) (map[string]map[string]bool, error) {
	out := map[string]map[string]bool{}
	for kind, list := range ids {
		out[kind] = map[string]bool{}
		if len(list) == 0 || tables[kind] == "" {
			continue
		}
		found, err := collectIDs(ctx, q, `SELECT id FROM `+tables[kind]+` WHERE id = ANY ($1)`, list)
		if err != nil {
			return nil, translate(err)
		}
		for _, id := range found {
			out[kind][id] = true
		}
	}
	return out, nil
}

// SiteZones gives the zones of sites.
func SiteZones(ctx context.Context, q Querier, ids []string) (map[string]string, error) {
	rows, err := q.Query(ctx, `SELECT id, time_zone FROM site WHERE id = ANY ($1)`, ids)
	if err != nil {
		return nil, translate(err)
	}
	out := map[string]string{}
	var id, zone string
	_, err = pgx.ForEachRow(rows, []any{&id, &zone}, func() error {
		out[id] = zone
		return nil
	})
	return out, translate(err)
}

// LockAll takes the roots that a file of records will change, in the order of
// every decision, so that a file and an approval wait for each other.
func (tx *Tx) LockAll(ctx context.Context, people, sites, items []string) error {
	var b pgx.Batch
	b.Queue(`SELECT id FROM person WHERE id = ANY ($1) ORDER BY id FOR UPDATE`, sortedSet(people))
	b.Queue(`SELECT id FROM site WHERE id = ANY ($1) ORDER BY id FOR UPDATE`, sortedSet(sites))
	b.Queue(`SELECT id FROM item WHERE id = ANY ($1) ORDER BY id FOR UPDATE`, sortedSet(items))
	return tx.send(ctx, &b)
}

// Savepoint runs fn so that its failure undoes fn alone: a dry run goes on to
// the next record. What fn queued fails here, not at the commit.
func (tx *Tx) Savepoint(ctx context.Context, fn func() error) error {
	if _, err := tx.Exec(ctx, `SAVEPOINT one`); err != nil {
		return translate(err)
	}
	err := fn()
	if err == nil {
		err = tx.Flush(ctx)
	}
	end := `RELEASE SAVEPOINT one`
	if err != nil {
		tx.later = pgx.Batch{}
		tx.raised = nil // what was raised before the savepoint is raised once more; that harms nobody
		end = `ROLLBACK TO SAVEPOINT one`
	}
	if _, endErr := tx.Exec(ctx, end); endErr != nil && err == nil {
		err = endErr
	}
	return translate(err)
}

// AllSurveys gives surveys whole, the oldest of each site first, for an export.
func (s *Store) AllSurveys(ctx context.Context, pageToken string, size int32) ([]*lastlightv1.Survey, string, error) {
	after, err := ReadToken("all_surveys", nil, pageToken, 2)
	if err != nil {
		return nil, "", err
	}
	site, number := "", 0
	if after != nil {
		site = after[0]
		if number, err = strconv.Atoi(after[1]); err != nil {
			return nil, "", badToken(pageToken)
		}
	}
	rows, err := s.pool.Query(ctx, `
SELECT site, number, doc, recorded_at, recorded_by FROM survey WHERE (site, number) > ($1, $2) ORDER BY site, number LIMIT $3`, site, number, PageSize(size)+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanSurvey)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, PageSize(size), "all_surveys", nil, func(m *lastlightv1.Survey) []string { return []string{m.Site, strconv.Itoa(int(m.Number))} })
	return list, next, nil
}

// AllReadings gives readings by id, for an export.
func (s *Store) AllReadings(ctx context.Context, pageToken string, size int32) ([]*lastlightv1.Reading, string, error) {
	return listByID(ctx, s, "all_readings", nil, pageToken, size, scanReading, `SELECT `+readingRow+` FROM reading WHERE id > $1 ORDER BY id LIMIT $2`)
}

// AllPolicies gives policies with their documents by id, for an export.
func (s *Store) AllPolicies(ctx context.Context, pageToken string, size int32) ([]*lastlightv1.Policy, string, error) {
	return listByID(ctx, s, "all_policies", []any{"documents"}, pageToken, size, scanPolicy,
		strings.ReplaceAll(policyRow, `$1`, `now()`)+` WHERE p.id > $1 AND $3 = 'documents' ORDER BY p.id LIMIT $2`)
}

// factsByID reads facts of a kind by id, for an export of single records.
func factsByID[M any](ctx context.Context, s *Store, scan pgx.RowToFunc[M], from string, ids []string) ([]M, error) {
	rows, err := s.pool.Query(ctx, from+` WHERE id = ANY ($1) ORDER BY id`, ids)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, scan)
	return list, translate(err)
}

// ReadingsByID reads readings by id.
func (s *Store) ReadingsByID(ctx context.Context, ids []string) ([]*lastlightv1.Reading, error) {
	return factsByID(ctx, s, scanReading, `SELECT `+readingRow+` FROM reading`, ids)
}

// FillsByID reads fills by id.
func (s *Store) FillsByID(ctx context.Context, ids []string) ([]*lastlightv1.Fill, error) {
	return factsByID(ctx, s, scanFill, `SELECT `+fillRow+` FROM fill`, ids)
}

// AnalysesByID reads analyses by id.
func (s *Store) AnalysesByID(ctx context.Context, ids []string) ([]*lastlightv1.Analysis, error) {
	return factsByID(ctx, s, scanAnalysis, `SELECT `+analysisRow+` FROM analysis`, ids)
}

// CustodyByID reads custody events by id.
func (s *Store) CustodyByID(ctx context.Context, ids []string) ([]*lastlightv1.CustodyEvent, error) {
	return factsByID(ctx, s, scanCustody, `SELECT `+custodyRow+` FROM custody_event`, ids)
}
