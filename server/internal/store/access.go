package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
)

// CallerOf finds whose token the secret is of, and the roles that stand. It is asked at every call, so that a revoked token or
// role ends with the call before. Unauthenticated is the answer where no token stands. ahead, if not nil, is read in the same
// round trip, after the token and whatever is found of it: it is for the caller alone who is answered here.
func (s *Store) CallerOf(ctx context.Context, secret access.Secret, ahead *DivePage) (*access.Caller, error) {
	hash := secret.Hash()
	// The roles are one value of the one row: joined, the rest of it would come once for each of them.
	const lookUp = `
SELECT t.id::text, t.person, t.device, t.issued_at, t.expires_at, t.revoked_at, t.last_used_at, t.lent, p.full_name, p.archived,
       ARRAY(SELECT ARRAY[g.role, COALESCE(g.expedition, ''), COALESCE(g.of_person, '')] FROM role_grant g WHERE g.person = t.person AND g.revoked_at IS NULL)
FROM token t JOIN person p ON p.id = t.person WHERE t.hash = $1`
	var (
		t             access.Token
		name          string
		archived      bool
		revoked, used *time.Time
		roles         pgtype.FlatArray[string]
	)
	var batch pgx.Batch
	batch.Queue(lookUp, hash[:]).QueryRow(func(row pgx.Row) error {
		err := row.Scan(&t.ID, &t.Person, &t.Device, &t.IssuedAt, &t.ExpiresAt, &revoked, &used, &t.Lent, &name, &archived, &roles)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil // the token's id stays empty
		}
		return err
	})
	if ahead != nil {
		ahead.queueFor(&batch, hash[:], s.Now())
	}
	if err := s.pool.SendBatch(ctx, &batch).Close(); err != nil {
		return nil, translate(err)
	}
	t.RevokedAt, t.LastUsedAt = orZero(revoked), orZero(used)
	now := s.Now()
	switch {
	case t.ID == "":
		return nil, &fault.Error{Kind: fault.Unauthenticated, Reason: "BAD_TOKEN", Message: "what was sent as a token is none"}
	case !t.RevokedAt.IsZero() || archived:
		return nil, &fault.Error{Kind: fault.Unauthenticated, Reason: "TOKEN_REVOKED", Message: "this device's token was revoked: ask a coordinator for a new one"}
	case !t.Stands(now):
		return nil, &fault.Error{Kind: fault.Unauthenticated, Reason: "TOKEN_EXPIRED", Message: "this device's token has expired: ask a coordinator for a new one"}
	}
	if now.Sub(t.LastUsedAt) >= access.UseNoted {
		// Of many calls at once the first notes it and the others find it noted.
		_, err := s.pool.Exec(ctx, `UPDATE token SET last_used_at = $2 WHERE id = $1 AND (last_used_at IS NULL OR last_used_at <= $3)`,
			t.ID, now, now.Add(-access.UseNoted))
		if err != nil {
			return nil, translate(err)
		}
		t.LastUsedAt = now
	}
	var grants []access.Grant
	for of := range slices.Chunk(roles, 3) {
		role, err := access.ParseRole(of[0])
		if err != nil {
			return nil, err
		}
		grants = append(grants, access.Grant{Role: role, Expedition: of[1], OfPerson: of[2]})
	}
	return access.NewCaller(name, t, grants), nil
}

func orZero(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.UTC()
}

// ExpeditionsOf lists the expeditions that a person takes part in or holds a role for: a coordinator of one of them may act on
// the person.
func (s *Store) ExpeditionsOf(ctx context.Context, person string) ([]string, error) {
	list, err := collectIDs(ctx, s.pool, `
SELECT expedition FROM expedition_participant WHERE person = $1
UNION SELECT expedition FROM role_grant WHERE person = $1 AND expedition IS NOT NULL AND revoked_at IS NULL ORDER BY 1`, person)
	return list, translate(err)
}

// Club gives the club's name and the zone in which dates without a site are read.
func (s *Store) Club(ctx context.Context) (title, zone string, err error) {
	err = s.pool.QueryRow(ctx, `SELECT title, time_zone FROM club`).Scan(&title, &zone)
	return title, zone, translate(err)
}

const tokenColumns = `id::text, person, device, issued_at, expires_at, revoked_at, last_used_at, lent`

func scanToken(row pgx.CollectableRow) (*lastlightv1.Token, error) {
	m := &lastlightv1.Token{}
	var issued, expires, revoked, used *time.Time
	if err := row.Scan(&m.Id, &m.Person, &m.Device, &issued, &expires, &revoked, &used, &m.Lent); err != nil {
		return nil, err
	}
	m.IssuedAt, m.ExpiresAt, m.RevokedAt, m.LastUsedAt = stampOrNil(issued), stampOrNil(expires), stampOrNil(revoked), stampOrNil(used)
	return m, nil
}

// AddToken stores a new device's token by the hash of its secret; lent: see access.Token.
func (tx *Tx) AddToken(ctx context.Context, person, device string, hash [sha256.Size]byte, life time.Duration, lent bool) (*lastlightv1.Token, error) {
	rows, err := tx.Query(ctx, `
INSERT INTO token (person, device, hash, issued_at, expires_at, lent)
SELECT id, $2, $3, $4, $5, $6 FROM person WHERE id = $1 AND NOT archived RETURNING `+tokenColumns,
		person, device, hash[:], tx.Now(), tx.Now().Add(life), lent)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanToken)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("person", person)
	}
	if err != nil {
		return nil, err
	}
	tx.Event("token.issue", "token", m.Id, nil, m)
	return m, nil
}

// EndToken revokes a token now; fresh is false for one that was revoked before and stays as it is.
func (tx *Tx) EndToken(ctx context.Context, id string) (m *lastlightv1.Token, fresh bool, err error) {
	before, err := getToken(ctx, tx, id, true)
	if err != nil || before.RevokedAt != nil {
		return before, false, err
	}
	if _, err := tx.Exec(ctx, `UPDATE token SET revoked_at = $2 WHERE id = $1`, id, tx.Now()); err != nil {
		return nil, false, err
	}
	now := tx.Now()
	after := proto.CloneOf(before)
	after.RevokedAt = stampOrNil(&now)
	tx.Event("token.revoke", "token", id, before, after)
	return after, true, nil
}

// GetToken reads a token, never its hash.
func (s *Store) GetToken(ctx context.Context, id string) (*lastlightv1.Token, error) {
	m, err := getToken(ctx, s.pool, id, false)
	return m, translate(err)
}

func getToken(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Token, error) {
	// Compared as text: what is not a UUID is a token that is not there.
	sql := `SELECT ` + tokenColumns + ` FROM token WHERE id::text = $1`
	if lock {
		sql += ` FOR UPDATE`
	}
	rows, err := q.Query(ctx, sql, id)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanToken)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("token", id)
	}
	return m, err
}

// ListTokens gives a page of a person's tokens, the newest first.
func (s *Store) ListTokens(ctx context.Context, r *lastlightv1.ListTokensRequest) ([]*lastlightv1.Token, string, error) {
	args := []any{r.Person}
	after, err := ReadToken("tokens", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT `+tokenColumns+` FROM token
WHERE person = $1 AND ($2 = '' OR (issued_at, id::text) < (NULLIF($2, '')::timestamptz, $3))
ORDER BY issued_at DESC, id::text DESC LIMIT $4`, r.Person, first(after), second(after), size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanToken)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "tokens", args, func(m *lastlightv1.Token) []string {
		return []string{m.IssuedAt.AsTime().Format(time.RFC3339Nano), m.Id}
	})
	return list, next, nil
}

func second(after []string) string {
	if len(after) < 2 {
		return ""
	}
	return after[1]
}

// First says who is to be the first member of the committee, or one more when nobody is left who can get in.
type First struct {
	Person   string
	FullName string // for a person who is not on record yet
	Device   string
	Hash     [sha256.Size]byte
	Life     time.Duration
	Recover  bool // although there is a committee
}

// FirstToken gives a person the role of committee, and a device of theirs a token. With a committee there already it does so
// only to recover, and the event says that. It is for a command on the server's own machine: no caller is asked for.
func (s *Store) FirstToken(ctx context.Context, f First) (*lastlightv1.Token, error) {
	var token *lastlightv1.Token
	err := s.serverWrite(ctx, func(ctx context.Context, tx *Tx) error {
		// Two of these commands at once take turns.
		if _, err := tx.Exec(ctx, `SELECT FROM club FOR UPDATE`); err != nil {
			return err
		}
		committee, err := tx.lockCommittee(ctx)
		if err != nil {
			return err
		}
		if len(committee) > 0 && !f.Recover {
			return &fault.Error{
				Kind: fault.WrongState, Reason: "COMMITTEE_EXISTS",
				Message: "there is a committee: its members give roles and tokens; if none of them can get in any more, say so with --recover, which is recorded",
			}
		}
		_, found, err := loadPerson(ctx, tx, f.Person, true)
		if err != nil {
			return err
		}
		if !found {
			m := &lastlightv1.Person{Id: f.Person, FullName: f.FullName}
			if err := insertPerson(ctx, tx, m); err != nil {
				return err
			}
			tx.Event("person.create", "person", f.Person, nil, m)
		}
		if _, _, err := tx.GrantRole(ctx, &lastlightv1.RoleGrant{Person: f.Person, Role: "committee"}); err != nil {
			return err
		}
		if token, err = tx.AddToken(ctx, f.Person, f.Device, f.Hash, f.Life, false); err != nil {
			return err
		}
		what := "committee.first"
		if len(committee) > 0 {
			what = "committee.recover"
		}
		tx.Event(what, "person", f.Person, nil, token)
		return nil
	})
	return token, err
}

// KeepClub writes the club's name and zone, where not empty, and gives what stands then. A club of which nothing was said yet is
// "the club", with dates in UTC.
func (s *Store) KeepClub(ctx context.Context, title, zone string) (keptTitle, keptZone string, err error) {
	err = s.pool.QueryRow(ctx, `
INSERT INTO club (title, time_zone) VALUES (COALESCE(NULLIF($1, ''), 'the club'), COALESCE(NULLIF($2, ''), 'UTC'))
ON CONFLICT (only_one) DO UPDATE SET title = COALESCE(NULLIF($1, ''), club.title), time_zone = COALESCE(NULLIF($2, ''), club.time_zone)
RETURNING title, time_zone`, title, zone).Scan(&keptTitle, &keptZone)
	return keptTitle, keptZone, translate(err)
}
