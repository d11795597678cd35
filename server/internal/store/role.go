package store

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

const grantColumns = `id::text, person, role, COALESCE(expedition, ''), COALESCE(of_person, ''), granted_at, COALESCE(granted_by, ''), revoked_at`

func scanGrant(row pgx.CollectableRow) (*lastlightv1.RoleGrant, error) {
	m := &lastlightv1.RoleGrant{}
	var granted, revoked *time.Time
	if err := row.Scan(&m.Id, &m.Person, &m.Role, &m.Expedition, &m.OfPerson, &granted, &m.GrantedBy, &revoked); err != nil {
		return nil, err
	}
	m.GrantedAt, m.RevokedAt = stampOrNil(granted), stampOrNil(revoked)
	return m, nil
}

// bumpPerson locks the person's root and raises its version, as every writer of a fact below a person does first: an approval
// holds the approver's root, so a role ends either before it or after it.
func (tx *Tx) bumpPerson(ctx context.Context, person string) error {
	if err := refuseErasedChange(ctx, tx, &lastlightv1.Person{Id: person}); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `UPDATE person SET version = version + 1, updated_at = $2 WHERE id = $1`, person, tx.Now())
	if err == nil && tag.RowsAffected() == 0 {
		err = fault.NoSuch("person", person)
	}
	return err
}

// GrantRole gives a role; one that stands already is given back as it is, and Unchanged.
func (tx *Tx) GrantRole(ctx context.Context, g *lastlightv1.RoleGrant) (*lastlightv1.RoleGrant, Outcome, error) {
	stands, err := tx.standing(ctx, g)
	if err != nil || stands != nil {
		return stands, Unchanged, err
	}
	if err := tx.bumpPerson(ctx, g.Person); err != nil {
		return nil, "", err
	}
	// Another grant of the same may have come while this one waited for the person.
	if stands, err = tx.standing(ctx, g); err != nil || stands != nil {
		return stands, Unchanged, err
	}
	rows, err := tx.Query(ctx, `
INSERT INTO role_grant (person, role, expedition, of_person, granted_at, granted_by) VALUES ($1, $2, $3, $4, $5, $6) RETURNING `+grantColumns,
		g.Person, g.Role, nullIfEmpty(g.Expedition), nullIfEmpty(g.OfPerson), tx.Now(), nullIfEmpty(tx.granter()))
	if err != nil {
		return nil, "", err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanGrant)
	if err != nil {
		return nil, "", err
	}
	tx.Event("role.grant", "role", m.Id, nil, m)
	return m, Created, nil
}

// granter is the person who gives or ends a role; nobody where the server itself does.
func (tx *Tx) granter() string {
	if tx.Mutation.Method == "" {
		return ""
	}
	return tx.Mutation.Caller
}

func (tx *Tx) standing(ctx context.Context, g *lastlightv1.RoleGrant) (*lastlightv1.RoleGrant, error) {
	rows, err := tx.Query(ctx, `
SELECT `+grantColumns+` FROM role_grant
WHERE person = $1 AND role = $2 AND COALESCE(expedition, '') = $3 AND COALESCE(of_person, '') = $4 AND revoked_at IS NULL`,
		g.Person, g.Role, g.Expedition, g.OfPerson)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanGrant)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	return m, err
}

// RevokeRole ends a role now; one that has ended already stays as it is. The last role of committee is not revoked: nobody could
// give any role after that.
func (tx *Tx) RevokeRole(ctx context.Context, id string) (*lastlightv1.RoleGrant, error) {
	before, err := getGrant(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	if err := tx.bumpPerson(ctx, before.Person); err != nil {
		return nil, err
	}
	if before.Role == "committee" {
		others, err := tx.lockCommittee(ctx)
		if err != nil {
			return nil, err
		}
		if slices.Equal(others, []string{id}) {
			return nil, &fault.Error{
				Kind: fault.WrongState, Reason: "LAST_COMMITTEE_MEMBER",
				Message: "this is the last member of the committee: give the role to somebody else first",
			}
		}
	}
	if before, err = getGrant(ctx, tx, id); err != nil || before.RevokedAt != nil {
		return before, err
	}
	if _, err := tx.Exec(ctx, `UPDATE role_grant SET revoked_at = $2, revoked_by = $3 WHERE id = $1`, id, tx.Now(), nullIfEmpty(tx.granter())); err != nil {
		return nil, err
	}
	now := tx.Now()
	after := proto.CloneOf(before)
	after.RevokedAt = stampOrNil(&now)
	tx.Event("role.revoke", "role", id, before, after)
	return after, nil
}

// lockCommittee gives the standing grants of committee to people who are not archived, and keeps them until the transaction ends.
func (tx *Tx) lockCommittee(ctx context.Context) ([]string, error) {
	return collectIDs(ctx, tx, `
SELECT g.id::text FROM role_grant g JOIN person p ON p.id = g.person
WHERE g.role = 'committee' AND g.expedition IS NULL AND g.revoked_at IS NULL AND NOT p.archived ORDER BY g.id FOR UPDATE OF g`)
}

// GetGrant reads a role that was given.
func (s *Store) GetGrant(ctx context.Context, id string) (*lastlightv1.RoleGrant, error) {
	m, err := getGrant(ctx, s.pool, id)
	return m, translate(err)
}

func getGrant(ctx context.Context, q Querier, id string) (*lastlightv1.RoleGrant, error) {
	// Compared as text: what is not a UUID is a grant that is not there.
	rows, err := q.Query(ctx, `SELECT `+grantColumns+` FROM role_grant WHERE id::text = $1`, id)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanGrant)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("role", id)
	}
	return m, err
}

// StandingRoles lists the roles that a person holds now.
func (s *Store) StandingRoles(ctx context.Context, person string) ([]*lastlightv1.RoleGrant, error) {
	rows, err := s.pool.Query(ctx, `SELECT `+grantColumns+` FROM role_grant WHERE person = $1 AND revoked_at IS NULL ORDER BY granted_at, id`, person)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, scanGrant)
	return list, translate(err)
}

// ListRoles gives a page of roles, by person. onlyOf, if not empty, leaves out everybody else and whoever is not that person's ward.
func (s *Store) ListRoles(ctx context.Context, r *lastlightv1.ListRolesRequest, onlyOf string) ([]*lastlightv1.RoleGrant, string, error) {
	args := []any{r.Person, r.Expedition, r.ShowRevoked, onlyOf}
	after, err := ReadToken("roles", args, r.PageToken, 2)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	rows, err := s.pool.Query(ctx, `
SELECT `+grantColumns+` FROM role_grant
WHERE ($1 = '' OR person = $1) AND ($2 = '' OR expedition = $2) AND ($3 OR revoked_at IS NULL) AND ($4 = '' OR person = $4)
  AND ($5 = '' OR (person, id::text) > ($5, $6))
ORDER BY person, id::text LIMIT $7`, r.Person, r.Expedition, r.ShowRevoked, onlyOf, first(after), second(after), size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanGrant)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "roles", args, func(m *lastlightv1.RoleGrant) []string { return []string{m.Person, m.Id} })
	return list, next, nil
}
