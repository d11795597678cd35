package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Decided is a plan on record and the run that its last decision rests on, or its last run where nobody decided.
type Decided struct {
	Plan *lastlightv1.Plan // at the version of the run
	Run  *Evaluation
}

// decidedPage bounds a page: each row is evaluated twice while the caller waits.
const decidedPage = 25

// ListDecided gives a page of plans that have a stored run, the latest planned entry first. Plans in the water are left out:
// what becomes of them is the watch's.
func (s *Store) ListDecided(ctx context.Context, r *lastlightv1.CompareDecidedPlansRequest) ([]Decided, string, error) {
	args := []any{r.Id, r.FromDay, r.ToDay, r.Site}
	after, err := ReadToken("decided", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	afterEntry, afterID := "infinity", ""
	if after != nil {
		afterEntry, afterID = after[0], after[1]
	}
	size := min(PageSize(r.PageSize), decidedPage)
	var out []Decided
	var next string
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		rows, err := q.Query(ctx, `
SELECT p.id, p.planned_entry, last.run FROM plan p CROSS JOIN LATERAL (SELECT COALESCE(
  (SELECT d.evaluation FROM decision d WHERE d.plan = p.id AND d.evaluation IS NOT NULL ORDER BY d.id DESC LIMIT 1),
  (SELECT max(e.id) FROM evaluation e WHERE e.plan = p.id)) AS run) last
WHERE (p.planned_entry, p.id) < ($1::timestamptz, CASE WHEN $2 = '' THEN chr(1114111) ELSE $2 END)
  AND last.run IS NOT NULL AND p.state <> 'in_water'
  AND ($3 = '' OR p.planned_entry >= NULLIF($3, '')::timestamp AT TIME ZONE `+clubZone+`)
  AND ($4 = '' OR p.planned_entry < (NULLIF($4, '')::timestamp + interval '1 day') AT TIME ZONE `+clubZone+`)
  AND ($5 = '' OR p.site = $5)
ORDER BY p.planned_entry DESC, p.id DESC LIMIT $6`, afterEntry, afterID, r.FromDay, r.ToDay, r.Site, size+1)
		if err != nil {
			return err
		}
		type key struct {
			ID    string
			Entry time.Time
			Run   int64
		}
		keys, err := pgx.CollectRows(rows, pgx.RowToStructByPos[key])
		if err != nil {
			return err
		}
		keys, next = cut(keys, size, "decided", args, func(k key) []string { return []string{k.Entry.Format(time.RFC3339Nano), k.ID} })
		for _, k := range keys {
			rows, err := q.Query(ctx, `SELECT `+evaluationRow+` FROM evaluation e WHERE e.id = $1`, k.Run)
			if err != nil {
				return err
			}
			e, err := pgx.CollectExactlyOneRow(rows, scanEvaluation)
			if err != nil {
				return err
			}
			p, err := getPlan(ctx, q, k.ID, e.Version, s.Now())
			if err != nil {
				return err
			}
			out = append(out, Decided{p, e})
		}
		return nil
	})
	return out, next, err
}

const clubZone = `COALESCE((SELECT time_zone FROM club), 'UTC')`

// ReadsFurther tells whether records gathered under one policy reach less far back than another policy reads.
func ReadsFurther(then, tried *policy.Policy) bool {
	return readsShorter(then, tried) || divesWhole(tried) > divesWhole(then) || tried.FirstVisit.MedianMonths > then.FirstVisit.MedianMonths
}
