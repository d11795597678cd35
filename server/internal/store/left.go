package store

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

const leftRow = `
SELECT id, site, COALESCE(dive, ''), kind, place, item, owner, left_at, COALESCE(remove_by::text, ''), confirmed_at, recovered_at, COALESCE(recovered_in_dive, '') FROM left_item`

func scanLeft(row pgx.CollectableRow) (*lastlightv1.LeftItem, error) {
	m := &lastlightv1.LeftItem{}
	var left time.Time
	var confirmed, recovered *time.Time
	err := row.Scan(&m.Id, &m.Site, &m.Dive, &m.Kind, &m.Place, &m.Item, &m.Owner, &left, &m.RemoveBy, &confirmed, &recovered, &m.RecoveredInDive)
	m.LeftAt, m.ConfirmedAt, m.RecoveredAt = timestamppb.New(left), stampOrNil(confirmed), stampOrNil(recovered)
	return m, err
}

// ListLeftItems gives a page of what dives left, latest first.
func (s *Store) ListLeftItems(ctx context.Context, r *lastlightv1.ListLeftItemsRequest) ([]*lastlightv1.LeftItem, string, error) {
	args := []any{r.Site, r.IncludeRecovered}
	after, err := ReadToken("left_items", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	at, id, err := readInstant(after, r.PageToken)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, leftRow+`
WHERE (left_at < $1 OR (left_at = $1 AND id > $2)) AND ($4 = '' OR site = $4) AND ($5 OR recovered_at IS NULL)
ORDER BY left_at DESC, id LIMIT $3`, append([]any{at, id, size + 1}, args...)...)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanLeft)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "left_items", args, func(m *lastlightv1.LeftItem) []string { return instantKey(m.LeftAt.AsTime(), m.Id) })
	return list, next, nil
}

// GetLeftItem reads what a dive left.
func (s *Store) GetLeftItem(ctx context.Context, id string) (*lastlightv1.LeftItem, error) {
	m, err := getLeft(ctx, s.pool, id)
	return m, translate(err)
}

func getLeft(ctx context.Context, q Querier, id string) (*lastlightv1.LeftItem, error) {
	rows, err := q.Query(ctx, leftRow+` WHERE id = $1`, id)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanLeft)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("left item", id)
	}
	return m, err
}

// RecoverLeftItem notes that it is out of the cave.
func (tx *Tx) RecoverLeftItem(ctx context.Context, id string, at time.Time, dive string) (*lastlightv1.LeftItem, error) {
	m, err := tx.changeLeft(ctx, id, at, "recovered_at", "left_item.recover", "what was left in the cave was taken out",
		`UPDATE left_item SET recovered_at = $2, recovered_by = $3, recovered_in_dive = $4 WHERE id = $1`, tx.Mutation.Caller, nullIfEmpty(dive))
	if err != nil || m.Kind != "cylinder" && m.Kind != "equipment" {
		return m, err
	}
	return m, tx.leftByDive(ctx, &lastlightv1.CustodyEvent{Item: m.Item, Kind: "back", At: m.RecoveredAt, Holder: tx.Mutation.Caller, Dive: dive})
}

// ConfirmLeftItem notes that it was seen in place and sound.
func (tx *Tx) ConfirmLeftItem(ctx context.Context, id string, at time.Time) (*lastlightv1.LeftItem, error) {
	return tx.changeLeft(ctx, id, at, "seen_at", "left_item.confirm", "what was left in the cave was looked at",
		`UPDATE left_item SET confirmed_at = $2, confirmed_by = $3 WHERE id = $1`, tx.Mutation.Caller)
}

func (tx *Tx) changeLeft(ctx context.Context, id string, at time.Time, field, what, stale, sql string, args ...any) (*lastlightv1.LeftItem, error) {
	before, err := getLeft(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	if err := tx.bumpSite(ctx, before.Site); err != nil { // also what two of these at once wait for
		return nil, err
	}
	if before, err = getLeft(ctx, tx, id); err != nil {
		return nil, err
	}
	if before.RecoveredAt != nil {
		return nil, fault.NotInState("left item", id, "recovered", "in the cave")
	}
	if at.Before(before.LeftAt.AsTime()) {
		return nil, fault.Wrong([]fault.Problem{{Field: field, Read: at.Format(time.RFC3339), Expected: before.LeftAt.AsTime().Format(time.RFC3339) + " or later, when it was left", Message: "before it was left there"}})
	}
	if _, err := tx.Exec(ctx, sql, append([]any{id, at}, args...)...); err != nil {
		return nil, err
	}
	after, err := getLeft(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	tx.Event(what, "left_item", id, before, after)
	return after, tx.MarkStale(ctx, "site", before.Site, stale)
}

// ReportLineDamage adds a damage seen; it ends the verifications of these legs.
func (tx *Tx) ReportLineDamage(ctx context.Context, m *lastlightv1.LineDamage) (*lastlightv1.LineDamage, error) {
	if err := tx.bumpSite(ctx, m.Site); err != nil {
		return nil, err
	}
	survey, err := getSurvey(ctx, tx, m.Site, 0)
	if err != nil {
		return nil, err
	}
	legs := map[string]bool{}
	for _, l := range survey.Legs {
		legs[l.Id] = true
	}
	p := fault.Collect("damage.")
	for i, l := range m.Legs {
		if !legs[l] {
			p.Addf(l, "a leg of the latest survey of the site", "the survey has no leg \""+l+"\"", "legs[%d]", i)
		}
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	m = proto.CloneOf(m)
	m.Id, m.ReportedBy, m.SeenAt = NewID("damage", tx.Mutation.RequestID), tx.Mutation.Caller, toMicrosecond(m.SeenAt)
	if _, err := tx.Exec(ctx, `INSERT INTO line_damage (id, site, legs, seen_at, what, reported_by, recorded_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		m.Id, m.Site, m.Legs, m.SeenAt.AsTime(), m.What, m.ReportedBy, tx.Now()); err != nil {
		return nil, err
	}
	tx.Event("line_damage.report", "line_damage", m.Id, nil, m)
	return m, tx.MarkStale(ctx, "site", m.Site, "damage of a line was reported")
}
