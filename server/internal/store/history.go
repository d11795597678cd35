package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// SiteHistory is what happened at a site. Incidents counts them whole: who may
// not see a small number is told so by the handler.
type SiteHistory struct {
	Dives, PeopleDives, Incidents int32
	Entries                       []*lastlightv1.SiteHistoryEntry
	Left                          []*lastlightv1.LeftItem
	Next                          string
}

// historyEntries are the kinds of entry; each is cut to the page by its own
// index before they are merged.
const historyEntries = `
SELECT at, kind, id, summary, day FROM (
  (SELECT entered_at AS at, 'dive' AS kind, id, replace(kind, '_', ' ') || ' dive, ' || (SELECT count(*) FROM dive_diver x WHERE x.dive = d.id) || ' divers' || COALESCE(', ' || max_depth_m || ' m', '') AS summary, '' AS day
   FROM dive d WHERE site = $1 AND NOT archived AND state <> 'in_water' AND entered_at <= $2 AND (entered_at, 'dive', id) < ($2, $3, $4) ORDER BY entered_at DESC, id DESC LIMIT $5)
  UNION ALL
  (SELECT i.at, 'incident', i.id, 'incident of level ' || i.level, i.day
   FROM (SELECT i.id, i.level, CASE WHEN $6 OR i.reviewed_narrative <> '' THEN i.happened_at ELSE ` + incidentDay + `::timestamp AT TIME ZONE s.time_zone END AS at,
                CASE WHEN $6 OR i.reviewed_narrative <> '' THEN '' ELSE ` + incidentDay + ` END AS day
         FROM incident i JOIN site s ON s.id = i.site WHERE i.site = $1 AND (SELECT count(*) FROM incident WHERE site = $1) >= $7) i
   WHERE (i.at, 'incident', i.id) < ($2, $3, $4) ORDER BY i.at DESC, i.id DESC LIMIT $5)
  UNION ALL
  (SELECT read_at, 'reading', id, 'reading' || COALESCE(', level ' || level_m || ' m', '') || CASE WHEN flow <> '' THEN ', flow ' || flow ELSE '' END || COALESCE(', visibility ' || visibility_m || ' m', ''), ''
   FROM reading WHERE site = $1 AND read_at <= $2 AND (read_at, 'reading', id) < ($2, $3, $4) ORDER BY read_at DESC, id DESC LIMIT $5)
  UNION ALL
  (SELECT left_at, 'left', id, kind || ' left at ' || place, '' FROM left_item WHERE site = $1 AND left_at <= $2 AND (left_at, 'left', id) < ($2, $3, $4) ORDER BY left_at DESC, id DESC LIMIT $5)
  UNION ALL
  (SELECT recovered_at, 'recovered', id, kind || ' recovered from ' || place, '' FROM left_item WHERE site = $1 AND recovered_at <= $2 AND (recovered_at, 'recovered', id) < ($2, $3, $4) ORDER BY recovered_at DESC, id DESC LIMIT $5)
  UNION ALL
  (SELECT seen_at, 'damage', id, 'line damage on ' || array_to_string(legs, ', ') || ': ' || what, '' FROM line_damage WHERE site = $1 AND seen_at <= $2 AND (seen_at, 'damage', id) < ($2, $3, $4) ORDER BY seen_at DESC, id DESC LIMIT $5)
  UNION ALL
  (SELECT recorded_at, 'survey', number::text, 'survey ' || number || ' of ' || surveyed_day, '' FROM survey WHERE site = $1 AND recorded_at <= $2 AND (recorded_at, 'survey', number::text) < ($2, $3, $4) ORDER BY recorded_at DESC, number::text DESC LIMIT $5)
  UNION ALL
  SELECT (c ->> 'from_day')::date::timestamp AT TIME ZONE s.time_zone, 'closure', c ->> 'from_day', 'closed' || COALESCE(' to ' || (c ->> 'to_day'), '') || ': ' || (c ->> 'reason'), ''
  FROM site s, jsonb_array_elements(s.doc -> 'closures') c WHERE s.id = $1
) e WHERE (at, kind, id) < ($2, $3, $4) ORDER BY at DESC, kind DESC, id DESC LIMIT $5`

// GetSiteHistory gives a page of the entries, latest first, and the counts. Incidents are among them where there are at least so
// many, and unless whole is true with no more than their day until they were reviewed: their place among the dives tells the rest.
func (s *Store) GetSiteHistory(ctx context.Context, r *lastlightv1.GetSiteHistoryRequest, whole bool, from int) (*SiteHistory, error) {
	args := []any{r.Site, whole, from}
	after, err := ReadToken("site_history", args, r.PageToken, 3)
	if err != nil {
		return nil, err
	}
	at, kind, id := time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), "", ""
	if after != nil {
		if at, err = time.Parse(time.RFC3339Nano, after[0]); err != nil {
			return nil, badToken(r.PageToken)
		}
		kind, id = after[1], after[2]
	}
	size := PageSize(r.PageSize)
	h := &SiteHistory{}
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		var there bool
		if err := q.QueryRow(ctx, `
SELECT EXISTS (SELECT FROM site WHERE id = $1), COALESCE(sum(dives), 0)::bigint, COALESCE(sum(people_dives), 0)::bigint, COALESCE(sum(incidents), 0)::bigint
FROM site_count WHERE site = $1`, r.Site).Scan(&there, &h.Dives, &h.PeopleDives, &h.Incidents); err != nil {
			return err
		}
		if !there {
			return fault.NoSuch("site", r.Site)
		}
		rows, err := q.Query(ctx, historyEntries, r.Site, at, kind, id, size+1, whole, from)
		if err != nil {
			return err
		}
		type placed struct {
			entry *lastlightv1.SiteHistoryEntry
			at    time.Time
		}
		list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (p placed, err error) {
			p.entry = &lastlightv1.SiteHistoryEntry{}
			err = row.Scan(&p.at, &p.entry.Kind, &p.entry.Id, &p.entry.Summary, &p.entry.Day)
			if p.entry.Day == "" {
				p.entry.At = timestamppb.New(p.at)
			}
			return p, err
		})
		if err != nil {
			return err
		}
		list, h.Next = cut(list, size, "site_history", args, func(p placed) []string {
			return []string{p.at.UTC().Format(time.RFC3339Nano), p.entry.Kind, p.entry.Id}
		})
		for _, p := range list {
			h.Entries = append(h.Entries, p.entry)
		}
		if rows, err = q.Query(ctx, leftRow+` WHERE site = $1 AND recovered_at IS NULL ORDER BY left_at DESC, id LIMIT 200`, r.Site); err != nil {
			return err
		}
		h.Left, err = pgx.CollectRows(rows, scanLeft)
		return err
	})
	return h, err
}
