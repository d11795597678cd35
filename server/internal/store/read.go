package store

import (
	"context"
	"path"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
)

// sameRead is how long a further read of the same is the same read: a board
// that renews itself every few seconds would bury the others.
const sameRead = 10 * time.Minute

// RecordReads writes down what a call showed, in one statement. A record that
// is not there (its id was only asked for) leaves no row.
func (s *Store) RecordReads(ctx context.Context, caller, method, call string, shown []access.Reading) error {
	var fields, ids []string
	var places []bool
	for _, r := range shown {
		fields, ids, places = append(fields, r.Fields), append(ids, r.Of), append(places, r.Place)
	}
	now := s.Now()
	_, err := s.pool.Exec(ctx, `
INSERT INTO data_read (at, who, asked, fields, person, site, call)
SELECT $1, $2, $3, x.fields, p.id, t.id, $4
FROM unnest($5::text[], $6::text[], $7::boolean[]) AS x (fields, of, place)
LEFT JOIN person p ON p.id = x.of AND NOT x.place
LEFT JOIN site t ON t.id = x.of AND x.place
WHERE num_nonnulls(p.id, t.id) = 1 AND NOT EXISTS (
  SELECT FROM data_read d WHERE d.who = $2 AND d.at > $8 AND d.asked = $3 AND d.fields = x.fields
    AND d.person IS NOT DISTINCT FROM p.id AND d.site IS NOT DISTINCT FROM t.id)`,
		now, caller, path.Base(method), nullIfEmpty(call), fields, ids, places, now.Add(-sameRead))
	return translate(err)
}

// ListReads gives a page of who was shown something of a person, or of a site; the latest first.
func (s *Store) ListReads(ctx context.Context, r *lastlightv1.ListReadsRequest, away bool) ([]*lastlightv1.DataRead, string, error) {
	args := []any{r.Person, r.Site, away}
	after, err := ReadToken("reads", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	var before int64
	if len(after) > 0 {
		if before, err = strconv.ParseInt(after[0], 10, 64); err != nil {
			return nil, "", badToken(r.PageToken)
		}
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT id, at, who, asked, fields, COALESCE(person, ''), COALESCE(site, ''), COALESCE(call::text, '') FROM data_read
WHERE ($1 = 0 OR id < $1) AND ($2 = '' OR person = $2) AND ($3 = '' OR site = $3)
  AND ($5 OR NOT EXISTS (SELECT FROM dive d JOIN dive_diver x ON x.dive = d.id
    WHERE d.state <> 'closed' AND data_read.at >= d.entered_at AND (x.person = data_read.person OR d.site = data_read.site)))
ORDER BY id DESC LIMIT $4`, before, r.Person, r.Site, size+1, away)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.DataRead, error) {
		m := &lastlightv1.DataRead{}
		var id int64
		var at time.Time
		err := row.Scan(&id, &at, &m.Who, &m.Asked, &m.Fields, &m.Person, &m.Site, &m.Call)
		m.Id, m.At = strconv.FormatInt(id, 10), stampOrNil(&at)
		return m, err
	})
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "reads", args, func(m *lastlightv1.DataRead) []string { return []string{m.Id} })
	return list, next, nil
}
