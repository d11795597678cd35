package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
)

const fillRow = `id, cylinder, filled_at, doc, filled_by`

func scanFill(row pgx.CollectableRow) (*lastlightv1.Fill, error) {
	m := &lastlightv1.Fill{}
	var id, cylinder, by string
	var at time.Time
	var doc []byte
	if err := row.Scan(&id, &cylinder, &at, &doc, &by); err != nil {
		return nil, err
	}
	err := unmarshalDocument(doc, m)
	m.Id, m.Cylinder, m.FilledAt, m.FilledBy = id, cylinder, timestamppb.New(at), by
	return m, err
}

// FillGuard judges a fill inside its transaction, with the cylinder as it stands.
type FillGuard func(*lastlightv1.Fill, facts.Cylinder) error

// RecordFill adds a fill that the guard lets pass; it ends the analyses before it.
func (tx *Tx) RecordFill(ctx context.Context, m *lastlightv1.Fill, guard FillGuard) (*lastlightv1.Fill, error) {
	if err := tx.bumpCylinder(ctx, m.Cylinder, "cylinder"); err != nil {
		return nil, err
	}
	g := gatherer{q: tx, r: &facts.Records{}, at: m.FilledAt.AsTime(), now: tx.Now()}
	if err := g.items(ctx, []string{m.Cylinder}); err != nil {
		return nil, err
	}
	if err := guard(m, g.r.Cylinders[0]); err != nil {
		return nil, err
	}
	m = proto.CloneOf(m)
	m.FilledAt, m.FilledBy = toMicrosecond(m.FilledAt), tx.Mutation.Caller
	if _, err := tx.Exec(ctx, `INSERT INTO fill (id, cylinder, filled_at, pressure_bar, doc, filled_by, recorded_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		m.Id, m.Cylinder, m.FilledAt.AsTime(), m.Pressure.GetBar(), stored(m), m.FilledBy, tx.Now()); err != nil {
		return nil, err
	}
	tx.Event("fill.record", "fill", m.Id, nil, m)
	return m, tx.MarkStale(ctx, "item", m.Cylinder, "a cylinder was filled")
}

// bumpCylinder is bumpItem for what must be a cylinder; field is where it was named.
func (tx *Tx) bumpCylinder(ctx context.Context, id, field string) error {
	kind, err := tx.bumpItem(ctx, id)
	if fault.Is(err, fault.NotFound) || err == nil && kind != "cylinder" {
		return fault.Wrong([]fault.Problem{{Field: field, Read: id, Expected: "the id of a cylinder on record", Message: fmt.Sprintf("there is no cylinder %q", id)}})
	}
	return err
}

// PutFill records a fill of a file unless it is on record.
func (tx *Tx) PutFill(ctx context.Context, m *lastlightv1.Fill, guard FillGuard) (Put[*lastlightv1.Fill], error) {
	m = proto.CloneOf(m)
	m.FilledAt = toMicrosecond(m.FilledAt)
	rows, err := tx.Query(ctx, `SELECT `+fillRow+` FROM fill WHERE id = $1 OR ($1 = '' AND cylinder = $2 AND filled_at = $3) ORDER BY id LIMIT 1`, m.Id, m.Cylinder, m.FilledAt.AsTime())
	if err != nil {
		return Put[*lastlightv1.Fill]{}, err
	}
	return putFact(tx, rows, scanFill, m, "fill", factKey(m.Cylinder, m.FilledAt), func() (*lastlightv1.Fill, error) { return tx.RecordFill(ctx, m, guard) })
}

// ListFills gives a page, latest first, of one cylinder or of all.
func (s *Store) ListFills(ctx context.Context, r *lastlightv1.ListFillsRequest) ([]*lastlightv1.Fill, string, error) {
	return listFacts(ctx, s, "fills", "cylinder", r.Cylinder, r.PageToken, r.PageSize, scanFill, `SELECT `+fillRow+` FROM fill`, "filled_at",
		func(m *lastlightv1.Fill) *timestamppb.Timestamp { return m.FilledAt })
}

// listFacts gives a page of facts about items, latest first: of one, which the
// column of says, or of all. of, from and column are constants of this package.
func listFacts[M Resource](ctx context.Context, s *Store, name, of, item, pageToken string, pageSize int32, scan pgx.RowToFunc[M], from, column string, at func(M) *timestamppb.Timestamp) ([]M, string, error) {
	args := []any{item}
	after, err := ReadToken(name, args, pageToken, 2)
	if err != nil {
		return nil, "", err
	}
	last, id, err := readInstant(after, pageToken)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(pageSize)
	values := []any{last, id, size + 1}
	where := ` WHERE (` + column + ` < $1 OR (` + column + ` = $1 AND id > $2))`
	if item != "" {
		where += ` AND ` + of + ` = $4`
		values = append(values, item)
	}
	rows, err := s.pool.Query(ctx, from+where+` ORDER BY `+column+` DESC, id LIMIT $3`, values...)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scan)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, name, args, func(m M) []string { return instantKey(at(m).AsTime(), m.GetId()) })
	return list, next, nil
}

const analysisRow = `id, cylinder, analysed_at, doc, analysed_by`

func scanAnalysis(row pgx.CollectableRow) (*lastlightv1.Analysis, error) {
	m := &lastlightv1.Analysis{}
	var id, cylinder, by string
	var at time.Time
	var doc []byte
	if err := row.Scan(&id, &cylinder, &at, &doc, &by); err != nil {
		return nil, err
	}
	err := unmarshalDocument(doc, m)
	m.Id, m.Cylinder, m.AnalysedAt, m.AnalysedBy = id, cylinder, timestamppb.New(at), by
	return m, err
}

// NameCylinder puts the id of the one cylinder that an analysis names in place of a bare serial.
func (tx *Tx) NameCylinder(ctx context.Context, m *lastlightv1.Analysis) error {
	found, err := CylindersNamed(ctx, tx, m.Cylinder)
	if err != nil {
		return err
	}
	switch len(found) {
	case 1:
		m.Cylinder = found[0].Id
		return nil
	case 0:
		return fault.Wrong([]fault.Problem{{Field: "cylinder", Read: m.Cylinder, Expected: "the id or serial of a cylinder on record", Message: "there is no such cylinder"}})
	}
	p := fault.Collect("")
	for _, c := range found {
		owner := c.Owner
		if owner == "" {
			owner = "the club"
		}
		p.Add("cylinder", m.Cylinder, "the id of one cylinder",
			fmt.Sprintf("this serial is also that of %s: %g L, maker %s, owner %s", c.Id, c.WaterVolume.GetLitres(), c.Maker, owner))
	}
	return &fault.Error{Kind: fault.Invalid, Reason: "SERIAL_NAMES_SEVERAL", Message: fmt.Sprintf("serial %q names %d cylinders", m.Cylinder, len(found)), Problems: p.List()}
}

// RecordAnalysis adds an analysis of the cylinder that m names by id.
func (tx *Tx) RecordAnalysis(ctx context.Context, m *lastlightv1.Analysis) (*lastlightv1.Analysis, error) {
	if err := tx.bumpCylinder(ctx, m.Cylinder, "cylinder"); err != nil {
		return nil, err
	}
	m = proto.CloneOf(m)
	m.AnalysedAt = toMicrosecond(m.AnalysedAt)
	if m.AnalysedBy == "" {
		m.AnalysedBy = tx.Mutation.Caller
	}
	helium := m.HeliumPercent
	if helium == "" {
		helium = "0"
	}
	if _, err := tx.Exec(ctx, `
INSERT INTO analysis (id, cylinder, analysed_at, oxygen, helium, doc, analysed_by, recorded_at) VALUES ($1, $2, $3, $4::text::numeric, $5::text::numeric, $6, $7, $8)`,
		m.Id, m.Cylinder, m.AnalysedAt.AsTime(), m.OxygenPercent, helium, stored(m), m.AnalysedBy, tx.Now()); err != nil {
		return nil, err
	}
	tx.Event("analysis.record", "analysis", m.Id, nil, m)
	return m, tx.MarkStale(ctx, "item", m.Cylinder, "a cylinder was analysed")
}

// PutAnalysis records an analysis of a file unless it is on record.
func (tx *Tx) PutAnalysis(ctx context.Context, m *lastlightv1.Analysis) (Put[*lastlightv1.Analysis], error) {
	m = proto.CloneOf(m)
	m.AnalysedAt = toMicrosecond(m.AnalysedAt)
	if err := tx.NameCylinder(ctx, m); err != nil {
		return Put[*lastlightv1.Analysis]{}, err
	}
	rows, err := tx.Query(ctx, `SELECT `+analysisRow+` FROM analysis WHERE id = $1 OR ($1 = '' AND cylinder = $2 AND analysed_at = $3) ORDER BY id LIMIT 1`, m.Id, m.Cylinder, m.AnalysedAt.AsTime())
	if err != nil {
		return Put[*lastlightv1.Analysis]{}, err
	}
	scan := func(row pgx.CollectableRow) (*lastlightv1.Analysis, error) {
		stands, err := scanAnalysis(row)
		if err == nil && m.AnalysedBy == "" {
			m.AnalysedBy = stands.AnalysedBy
		}
		return stands, err
	}
	return putFact(tx, rows, scan, m, "analysis", factKey(m.Cylinder, m.AnalysedAt), func() (*lastlightv1.Analysis, error) { return tx.RecordAnalysis(ctx, m) })
}

// ListAnalyses gives a page, latest first, of one cylinder or of all, with what ended each.
func (s *Store) ListAnalyses(ctx context.Context, r *lastlightv1.ListAnalysesRequest) ([]*lastlightv1.Analysis, string, error) {
	list, next, err := listFacts(ctx, s, "analyses", "cylinder", r.Cylinder, r.PageToken, r.PageSize, scanAnalysis, `SELECT `+analysisRow+` FROM analysis`, "analysed_at",
		func(m *lastlightv1.Analysis) *timestamppb.Timestamp { return m.AnalysedAt })
	if err != nil {
		return nil, "", err
	}
	return list, next, translate(endAnalyses(ctx, s.pool, list))
}

// endAnalyses fills in the first event at or after each analysis that ended it (T29).
func endAnalyses(ctx context.Context, q Querier, list []*lastlightv1.Analysis) error {
	ids := make([]string, 0, len(list))
	of := map[string]*lastlightv1.Analysis{}
	for _, m := range list {
		ids = append(ids, m.Id)
		of[m.Id] = m
	}
	rows, err := q.Query(ctx, `
SELECT a.id, e.kind, e.at FROM analysis a CROSS JOIN LATERAL (
  SELECT kind, at FROM (
    SELECT CASE WHEN (f.doc ->> 'top_up')::boolean THEN 'top_up' ELSE 'fill' END AS kind, f.filled_at AS at FROM fill f WHERE f.cylinder = a.cylinder
    UNION ALL SELECT CASE c.kind WHEN 'valve_removed' THEN 'valve_removal' ELSE 'custody_break' END, c.at FROM custody_event c
      WHERE c.item = a.cylinder AND c.kind IN ('valve_removed', 'left_unattended', 'lost')) x
  WHERE x.at >= date_trunc('minute', a.analysed_at) ORDER BY x.at LIMIT 1) e
WHERE a.id = ANY ($1)`, ids)
	if err != nil {
		return err
	}
	var id, kind string
	var at time.Time
	_, err = pgx.ForEachRow(rows, []any{&id, &kind, &at}, func() error {
		of[id].EndedBy, of[id].EndedAt = kind, timestamppb.New(at)
		return nil
	})
	return err
}
