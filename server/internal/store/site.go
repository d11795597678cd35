package store

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

var sites = aggregate[*lastlightv1.Site]{
	kind:   "site",
	load:   loadSite,
	insert: insertSite,
	update: updateSite,
	remark: remarkSite,
}

// siteReasons says, for each field that a judgement rests on, why a plan is stale when it changes.
var siteReasons = map[string]string{
	"time_zone": "the site's time zone has changed", "closures": "the site's closures have changed", "archived": "the site is no longer kept",
	"thresholds": "the site's limits of the day have changed", "permit_required": "whether the owner asks for a permit has changed",
	"water_density": staleSite, "altitude_m": staleSite, "barometer_bar": staleSite, "water_temperature_c": staleSite, "grade": staleSite,
	"emergency": "the site's emergency sheet has changed",
}

const staleSite = "the site's water or grade has changed"

func remarkSite(ctx context.Context, tx *Tx, _, m *lastlightv1.Site, changes []string) error {
	return tx.markStaleFor(ctx, "site", m.Id, changes, siteReasons)
}

// The restricted columns come with every load of one site: the handler masks
// them by who asks. Lists never read them.
func loadSite(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Site, bool, error) {
	sql := `
SELECT s.doc, s.version, s.archived, COALESCE((SELECT max(number) FROM survey WHERE site = s.id), 0),
       r.site IS NOT NULL, r.latitude, r.longitude, r.access_notes, r.gate_code
FROM site s LEFT JOIN site_restricted r ON r.site = s.id WHERE s.id = $1`
	if lock {
		sql += ` FOR UPDATE OF s`
	}
	var (
		doc                 []byte
		version             int64
		archived, onRecord  bool
		latitude, longitude *float64
		latest              int32
		m                   = &lastlightv1.Site{}
	)
	err := q.QueryRow(ctx, sql, id).Scan(&doc, &version, &archived, &latest, &onRecord, &latitude, &longitude, &m.AccessNotes, &m.GateCode)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	restricted := proto.CloneOf(m)
	if err := unmarshalDocument(doc, m); err != nil {
		return nil, false, err
	}
	m.AccessNotes, m.GateCode = restricted.AccessNotes, restricted.GateCode
	if latitude != nil && longitude != nil {
		m.ExactPosition = &lastlightv1.Position{Latitude: *latitude, Longitude: *longitude}
	}
	setRoot(m, version, archived)
	m.LatestSurvey, m.RestrictedOnRecord = latest, onRecord
	return m, true, nil
}

func insertSite(ctx context.Context, tx *Tx, m *lastlightv1.Site) error {
	_, err := tx.Exec(ctx, `INSERT INTO site (id, title, time_zone, doc, created_at, updated_at) VALUES ($1, $2, $3, $4, $5, $5)`,
		m.Id, m.Title, m.TimeZone, stored(m), tx.Now())
	if err != nil {
		return err
	}
	return putSiteRestricted(ctx, tx, m)
}

func updateSite(ctx context.Context, tx *Tx, _, m *lastlightv1.Site) error {
	_, err := tx.Exec(ctx, `UPDATE site SET title = $2, time_zone = $3, doc = $4, version = version + 1, updated_at = $5 WHERE id = $1`,
		m.Id, m.Title, m.TimeZone, stored(m), tx.Now())
	if err != nil {
		return err
	}
	return putSiteRestricted(ctx, tx, m)
}

func putSiteRestricted(ctx context.Context, tx *Tx, m *lastlightv1.Site) error {
	if m.ExactPosition == nil && m.AccessNotes == nil && m.GateCode == nil {
		return nil
	}
	var latitude, longitude *float64
	if p := m.ExactPosition; p != nil {
		latitude, longitude = &p.Latitude, &p.Longitude
	}
	_, err := tx.Exec(ctx, `
INSERT INTO site_restricted (site, latitude, longitude, access_notes, gate_code) VALUES ($1, $2, $3, $4, $5)
ON CONFLICT (site) DO UPDATE SET latitude = EXCLUDED.latitude, longitude = EXCLUDED.longitude,
  access_notes = EXCLUDED.access_notes, gate_code = EXCLUDED.gate_code`,
		m.Id, latitude, longitude, m.AccessNotes, m.GateCode)
	return err
}

// GetSite reads one site, restricted fields included: mask before showing.
func (s *Store) GetSite(ctx context.Context, id string) (*lastlightv1.Site, error) {
	return sites.get(ctx, s.pool, id)
}

// PutSite creates or changes a site.
func (tx *Tx) PutSite(ctx context.Context, m *lastlightv1.Site, expect Expect, guards ...Guard[*lastlightv1.Site]) (Put[*lastlightv1.Site], error) {
	return sites.put(ctx, tx, m, expect, guards...)
}

// ArchiveSite hides a site from lists.
func (tx *Tx) ArchiveSite(ctx context.Context, id string) (*lastlightv1.Site, error) {
	return sites.archive(ctx, tx, "site", id)
}

// ListSites gives a page without restricted fields, by id.
func (s *Store) ListSites(ctx context.Context, r *lastlightv1.ListSitesRequest) ([]*lastlightv1.Site, string, error) {
	args := []any{r.ShowArchived, r.Search}
	after, err := ReadToken("sites", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT s.doc, s.version, s.archived, COALESCE((SELECT max(number) FROM survey WHERE site = s.id), 0),
       EXISTS (SELECT FROM site_restricted r WHERE r.site = s.id)
FROM site s
WHERE s.id > $1 AND (NOT s.archived OR $2)
  AND ($3 = '' OR position(lower($3) IN lower(s.id || ' ' || s.title || ' ' || COALESCE(s.doc ->> 'coarse_position', ''))) > 0)
ORDER BY s.id LIMIT $4`, first(after), r.ShowArchived, r.Search, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Site, error) {
		var doc []byte
		var version int64
		var archived, onRecord bool
		var latest int32
		if err := row.Scan(&doc, &version, &archived, &latest, &onRecord); err != nil {
			return nil, err
		}
		m := &lastlightv1.Site{}
		if err := unmarshalDocument(doc, m); err != nil {
			return nil, err
		}
		setRoot(m, version, archived)
		m.LatestSurvey, m.RestrictedOnRecord = latest, onRecord
		return m, nil
	})
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "sites", args, func(m *lastlightv1.Site) []string { return []string{m.Id} })
	return list, next, nil
}

// first is the key value after which a page by one key begins.
func first(after []string) string {
	if len(after) == 0 {
		return ""
	}
	return after[0]
}

// cut keeps size entries and makes the next token if there was one more.
func cut[M any](list []M, size int, name string, args []any, key func(M) []string) ([]M, string) {
	if len(list) <= size {
		return list, ""
	}
	list = list[:size]
	return list, NextToken(name, args, key(list[size-1])...)
}

// bumpSite locks the site's root and raises its version: every writer of a
// fact below a site does this first.
func (tx *Tx) bumpSite(ctx context.Context, site string) error {
	tag, err := tx.Exec(ctx, `UPDATE site SET version = version + 1, updated_at = $2 WHERE id = $1`, site, tx.Now())
	if err == nil && tag.RowsAffected() == 0 {
		err = fault.NoSuch("site", site)
	}
	return err
}
