package store

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

var permits = aggregate[*lastlightv1.Permit]{
	kind:   "permit",
	load:   loadPermit,
	insert: insertPermit,
	update: updatePermit,
	remark: func(ctx context.Context, tx *Tx, before, m *lastlightv1.Permit, _ []string) error {
		if err := tx.bumpSite(ctx, before.Site); err != nil {
			return err
		}
		if err := tx.MarkStale(ctx, "site", before.Site, "a permit of the site has changed"); err != nil || before.Site == m.Site {
			return err
		}
		return tx.MarkStale(ctx, "site", m.Site, "a permit of the site has changed")
	},
}

func loadPermit(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Permit, bool, error) {
	sql := `SELECT id, doc, version, archived FROM permit WHERE id = $1`
	if lock {
		sql += ` FOR UPDATE`
	}
	return loadOne(ctx, q, scanPermit, sql, id)
}

// loadOne reads the row of one record.
func loadOne[M Resource](ctx context.Context, q Querier, scan pgx.RowToFunc[M], sql string, args ...any) (M, bool, error) {
	var none M
	rows, err := q.Query(ctx, sql, args...)
	if err != nil {
		return none, false, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scan)
	if errors.Is(err, pgx.ErrNoRows) {
		return none, false, nil
	}
	return m, err == nil, err
}

func scanPermit(row pgx.CollectableRow) (*lastlightv1.Permit, error) {
	m := &lastlightv1.Permit{}
	return m, scanRoot(row, m)
}

// scanRoot reads id, doc, version and archived.
func scanRoot(row pgx.CollectableRow, m Resource) error {
	var id string
	var doc []byte
	var version int64
	var archived bool
	if err := row.Scan(&id, &doc, &version, &archived); err != nil {
		return err
	}
	if err := unmarshalDocument(doc, m); err != nil {
		return err
	}
	setID(m, id)
	setRoot(m, version, archived)
	return nil
}

func insertPermit(ctx context.Context, tx *Tx, m *lastlightv1.Permit) error {
	// The site first: decisions hold it while they read permits.
	if err := tx.bumpSite(ctx, m.Site); err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `INSERT INTO permit (id, site, from_day, to_day, doc, created_at, updated_at) VALUES ($1, $2, $3::text::date, $4::text::date, $5, $6, $6)`,
		m.Id, m.Site, m.FromDay, m.ToDay, stored(m), tx.Now()); err != nil {
		return err
	}
	return tx.MarkStale(ctx, "site", m.Site, "the site has a new permit")
}

func updatePermit(ctx context.Context, tx *Tx, _, m *lastlightv1.Permit) error {
	if err := tx.bumpSite(ctx, m.Site); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `UPDATE permit SET site = $2, from_day = $3::text::date, to_day = $4::text::date, doc = $5, version = version + 1, updated_at = $6 WHERE id = $1`,
		m.Id, m.Site, m.FromDay, m.ToDay, stored(m), tx.Now())
	return err
}

// GetPermit reads a permit.
func (s *Store) GetPermit(ctx context.Context, id string) (*lastlightv1.Permit, error) {
	return permits.get(ctx, s.pool, id)
}

// PutPermit creates or changes a permit.
func (tx *Tx) PutPermit(ctx context.Context, m *lastlightv1.Permit, expect Expect) (Put[*lastlightv1.Permit], error) {
	return permits.put(ctx, tx, m, expect)
}

// ArchivePermit takes a permit out of every judgement.
func (tx *Tx) ArchivePermit(ctx context.Context, id string) (*lastlightv1.Permit, error) {
	return permits.archive(ctx, tx, "permit", id)
}

// ListPermits gives a page by id, of one site or all.
func (s *Store) ListPermits(ctx context.Context, r *lastlightv1.ListPermitsRequest) ([]*lastlightv1.Permit, string, error) {
	args := []any{r.Site, r.ShowArchived}
	return listByID(ctx, s, "permits", args, r.PageToken, r.PageSize, scanPermit, `
SELECT id, doc, version, archived FROM permit WHERE id > $1 AND ($3 = '' OR site = $3) AND (NOT archived OR $4) ORDER BY id LIMIT $2`)
}

// listByID gives a page of a list whose key is the id: $1 is the last id seen,
// $2 the number of rows, and the arguments of the list follow.
func listByID[M Resource](ctx context.Context, s *Store, name string, args []any, pageToken string, pageSize int32, scan pgx.RowToFunc[M], sql string) ([]M, string, error) {
	after, err := ReadToken(name, args, pageToken, 1)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(pageSize)
	rows, err := s.pool.Query(ctx, sql, append([]any{first(after), size + 1}, args...)...)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scan)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, name, args, func(m M) []string { return []string{m.GetId()} })
	return list, next, nil
}
