package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

// AddSurvey adds the next survey of a site; equal content to any survey on
// record adds nothing, so that a file of all surveys may be applied again.
func (tx *Tx) AddSurvey(ctx context.Context, m *lastlightv1.Survey) (*lastlightv1.Survey, Outcome, error) {
	m = message.AsGiven(m)
	content, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil, "", err
	}
	sum := sha256.Sum256(content)
	if found, err := lockRow(ctx, tx, `SELECT version FROM site WHERE id = $1 FOR UPDATE`, m.Site); err != nil || !found {
		return nil, "", orNoSuch(err, "site", m.Site)
	}
	var latest, same int32
	err = tx.QueryRow(ctx, `
SELECT COALESCE(max(number), 0), COALESCE(max(number) FILTER (WHERE content_hash = $2), 0) FROM survey WHERE site = $1`, m.Site, sum[:]).Scan(&latest, &same)
	if err != nil {
		return nil, "", err
	}
	if same > 0 {
		stands, err := getSurvey(ctx, tx, m.Site, same)
		return stands, Unchanged, err
	}
	number := latest + 1
	var b pgx.Batch
	b.Queue(`UPDATE site SET version = version + 1, updated_at = $2 WHERE id = $1`, m.Site, tx.Now())
	b.Queue(`
INSERT INTO survey (site, number, surveyed_day, doc, content_hash, recorded_at, recorded_by) VALUES ($1, $2, $3::text::date, $4, $5, $6, $7)`,
		m.Site, number, m.SurveyedDay, stored(m), sum[:], tx.Now(), tx.Mutation.Caller)
	if err := tx.send(ctx, &b); err != nil {
		return nil, "", err
	}
	tx.Event("survey.create", "survey", fmt.Sprintf("%s/%d", m.Site, number), nil, m)
	if err := tx.MarkStale(ctx, "site", m.Site, "the site has a new survey"); err != nil {
		return nil, "", err
	}
	added, err := getSurvey(ctx, tx, m.Site, number)
	return added, Created, err
}

// orNoSuch is err, or that there is no such record.
func orNoSuch(err error, kind, id string) error {
	if err != nil {
		return err
	}
	return fault.NoSuch(kind, id)
}

// GetSurvey reads a survey; number 0 is the latest.
func (s *Store) GetSurvey(ctx context.Context, site string, number int32) (*lastlightv1.Survey, error) {
	m, err := getSurvey(ctx, s.pool, site, number)
	return m, translate(err)
}

func getSurvey(ctx context.Context, q Querier, site string, number int32) (*lastlightv1.Survey, error) {
	rows, err := q.Query(ctx, `
SELECT site, number, doc, recorded_at, recorded_by FROM survey
WHERE site = $1 AND ($2 = 0 OR number = $2) ORDER BY number DESC LIMIT 1`, site, number)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanSurvey)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("survey", strings.TrimSuffix(fmt.Sprintf("%s/%d", site, number), "/0"))
	}
	return m, err
}

func scanSurvey(row pgx.CollectableRow) (*lastlightv1.Survey, error) {
	var doc []byte
	var at time.Time
	var site, by string
	var number int32
	if err := row.Scan(&site, &number, &doc, &at, &by); err != nil {
		return nil, err
	}
	m := &lastlightv1.Survey{}
	if err := unmarshalDocument(doc, m); err != nil {
		return nil, err
	}
	m.Site, m.Number, m.RecordedAt, m.RecordedBy = site, number, timestamppb.New(at), by
	return m, nil
}

// ListSurveys gives a page, latest first, without stations and legs.
func (s *Store) ListSurveys(ctx context.Context, r *lastlightv1.ListSurveysRequest) ([]*lastlightv1.Survey, string, error) {
	args := []any{r.Site}
	after, err := ReadToken("surveys", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	below := int64(math.MaxInt32)
	if after != nil {
		if below, err = strconv.ParseInt(after[0], 10, 32); err != nil {
			return nil, "", badToken(r.PageToken)
		}
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT site, number, doc - 'stations' - 'legs', recorded_at, recorded_by FROM survey
WHERE site = $1 AND number < $2 ORDER BY number DESC LIMIT $3`, r.Site, below, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanSurvey)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "surveys", args, func(m *lastlightv1.Survey) []string { return []string{strconv.Itoa(int(m.Number))} })
	return list, next, nil
}

func badToken(text string) error {
	return fault.Wrong([]fault.Problem{{Field: "page_token", Read: text, Expected: "a next_page_token of this very list with the same filters", Message: "not a token of this list"}})
}

// instantKey and readInstant carry an instant and an id through a page token.
func instantKey(at time.Time, id string) []string {
	return []string{at.UTC().Format(time.RFC3339Nano), id}
}

func readInstant(after []string, text string) (time.Time, string, error) {
	if after == nil {
		return time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC), "", nil
	}
	at, err := time.Parse(time.RFC3339Nano, after[0])
	if err != nil {
		return at, "", badToken(text)
	}
	return at, after[1], nil
}
