package store

import (
	"context"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// EventFilter is what a reader of events may see beside what they did themselves.
type EventFilter struct {
	Self   string   // what this person did is always shown
	Kinds  []string // kinds of records shown whoever did it; nil with Others: all kinds
	Others bool     // false: nothing but what Self did
	Except []string // kinds never shown unless Self did it
	Away   bool     // also what tells that a team is in the water
	Plans  []string // plans of these expeditions alone; nil: of all
}

// ListEvents gives a page of what was done, the latest first, of what the filter lets through.
func (s *Store) ListEvents(ctx context.Context, r *lastlightv1.ListEventsRequest, f EventFilter) ([]*lastlightv1.Event, string, error) {
	args := []any{r.Kind, r.Record, r.Who, f.Self, f.Others, f.Away, f.Plans}
	after, err := ReadToken("events", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	var before int64
	if len(after) > 0 {
		if before, err = strconv.ParseInt(after[0], 10, 64); err != nil {
			return nil, "", fault.Wrong([]fault.Problem{{Field: "page_token", Read: r.PageToken, Expected: "a next_page_token of this very list", Message: "not a token of this list"}})
		}
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT id, at, who, what, kind, record, COALESCE(before::text, ''), COALESCE(after::text, ''), COALESCE(request_id::text, '')
FROM event
WHERE ($1 = 0 OR id < $1) AND ($2 = '' OR kind = $2) AND ($3 = '' OR record = $3) AND ($4 = '' OR who = $4)
  AND (who = $5 OR ($6 AND ($7::text[] IS NULL OR kind = ANY ($7)) AND NOT kind = ANY (COALESCE($8::text[], '{}'))
      AND ($10 OR NOT ((kind = 'dive' OR what = 'plan.entered') AND EXISTS (SELECT FROM dive d WHERE d.id = event.record AND d.state <> 'closed')))
      AND ($11::text[] IS NULL OR kind <> 'plan' OR EXISTS (SELECT FROM plan p WHERE p.id = event.record AND p.expedition = ANY ($11)))))
ORDER BY id DESC LIMIT $9`, before, r.Kind, r.Record, r.Who, f.Self, f.Others, f.Kinds, f.Except, size+1, f.Away, f.Plans)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Event, error) {
		m := &lastlightv1.Event{}
		var id int64
		var at time.Time
		if err := row.Scan(&id, &at, &m.Who, &m.What, &m.Kind, &m.Record, &m.Before, &m.After, &m.RequestId); err != nil {
			return nil, err
		}
		m.Id, m.At = strconv.FormatInt(id, 10), stampOrNil(&at)
		return m, nil
	})
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "events", args, func(m *lastlightv1.Event) []string { return []string{m.Id} })
	return list, next, nil
}
