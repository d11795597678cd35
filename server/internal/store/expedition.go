package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

var trips = aggregate[*lastlightv1.Expedition]{
	kind:   "expedition",
	load:   loadExpedition,
	insert: insertExpedition,
	update: updateExpedition,
}

const expeditionRow = `SELECT id, doc, version, archived FROM expedition`

func scanExpedition(row pgx.CollectableRow) (*lastlightv1.Expedition, error) {
	m := &lastlightv1.Expedition{}
	return m, scanRoot(row, m)
}

func loadExpedition(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Expedition, bool, error) {
	sql := expeditionRow + ` WHERE id = $1`
	if lock {
		sql += ` FOR UPDATE`
	}
	return loadOne(ctx, q, scanExpedition, sql, id)
}

func insertExpedition(ctx context.Context, tx *Tx, m *lastlightv1.Expedition) error {
	var b pgx.Batch
	b.Queue(`INSERT INTO expedition (id, title, from_day, to_day, doc, created_at, updated_at) VALUES ($1, $2, $3::text::date, $4::text::date, $5, $6, $6)`,
		m.Id, m.Title, m.FromDay, m.ToDay, stored(m), tx.Now())
	queueParts(&b, m)
	return tx.send(ctx, &b)
}

func updateExpedition(ctx context.Context, tx *Tx, _, m *lastlightv1.Expedition) error {
	var b pgx.Batch
	b.Queue(`UPDATE expedition SET title = $2, from_day = $3::text::date, to_day = $4::text::date, doc = $5, version = version + 1, updated_at = $6 WHERE id = $1`,
		m.Id, m.Title, m.FromDay, m.ToDay, stored(m), tx.Now())
	b.Queue(`DELETE FROM expedition_site WHERE expedition = $1`, m.Id)
	b.Queue(`DELETE FROM expedition_participant WHERE expedition = $1`, m.Id)
	queueParts(&b, m)
	return tx.send(ctx, &b)
}

func queueParts(b *pgx.Batch, m *lastlightv1.Expedition) {
	people := make([]string, 0, len(m.Participants))
	for _, p := range m.Participants {
		people = append(people, p.Person)
	}
	b.Queue(`INSERT INTO expedition_site (expedition, site) SELECT $1, x FROM unnest($2::text[]) x`, m.Id, nonNil(m.Sites))
	b.Queue(`INSERT INTO expedition_participant (expedition, person) SELECT $1, x FROM unnest($2::text[]) x`, m.Id, people)
}

// GetExpedition reads an expedition.
func (s *Store) GetExpedition(ctx context.Context, id string) (*lastlightv1.Expedition, error) {
	return trips.get(ctx, s.pool, id)
}

// PutExpedition creates or changes an expedition.
func (tx *Tx) PutExpedition(ctx context.Context, m *lastlightv1.Expedition, expect Expect) (Put[*lastlightv1.Expedition], error) {
	return trips.put(ctx, tx, m, expect)
}

// ArchiveExpedition hides an expedition from lists.
func (tx *Tx) ArchiveExpedition(ctx context.Context, id string) (*lastlightv1.Expedition, error) {
	return trips.archive(ctx, tx, "expedition", id)
}

// ListExpeditions gives a page by id.
func (s *Store) ListExpeditions(ctx context.Context, r *lastlightv1.ListExpeditionsRequest) ([]*lastlightv1.Expedition, string, error) {
	return listByID(ctx, s, "expeditions", []any{r.ShowArchived, r.Search}, r.PageToken, r.PageSize, scanExpedition, expeditionRow+`
WHERE id > $1 AND (NOT archived OR $3) AND ($4 = '' OR position(lower($4) IN lower(id || ' ' || title)) > 0) ORDER BY id LIMIT $2`)
}
