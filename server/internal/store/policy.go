package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/clubpolicy"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

// clubToday is the day in the club's zone at $1.
const clubToday = `($1::timestamptz AT TIME ZONE COALESCE((SELECT time_zone FROM club), 'UTC'))::date`

// policyRow has the state as it is on the day: superseded by a later one that is in force.
const policyRow = `SELECT p.id, p.number, p.doc, CASE
    WHEN p.adopted_at IS NULL THEN 'draft'
    WHEN EXISTS (SELECT FROM policy o WHERE o.adopted_at IS NOT NULL AND o.in_force_from <= ` + clubToday + `
      AND (o.in_force_from, o.adopted_at, o.number) > (p.in_force_from, p.adopted_at, p.number)) THEN 'superseded'
    ELSE 'adopted' END,
  COALESCE(p.in_force_from::text, ''), COALESCE(p.adopted_by, ''), p.created_at
FROM policy p`

func scanPolicy(row pgx.CollectableRow) (*lastlightv1.Policy, error) {
	m := &lastlightv1.Policy{}
	var id, state, from, by string
	var number int32
	var doc []byte
	var created time.Time
	if err := row.Scan(&id, &number, &doc, &state, &from, &by, &created); err != nil {
		return nil, err
	}
	err := unmarshalDocument(doc, m)
	m.Id, m.Number, m.State, m.InForceFrom, m.AdoptedBy, m.CreatedAt = id, number, state, from, by, timestamppb.New(created)
	return m, err
}

// GetPolicy reads a policy; empty: the one in force today.
func (s *Store) GetPolicy(ctx context.Context, id string) (*lastlightv1.Policy, error) {
	if id == "" {
		in, _, err := policyInForce(ctx, s.pool, s.Now(), "")
		if err != nil {
			return nil, translate(err)
		}
		id = in
	}
	m, err := getPolicy(ctx, s.pool, id, s.Now())
	return m, translate(err)
}

func getPolicy(ctx context.Context, q Querier, id string, now time.Time) (*lastlightv1.Policy, error) {
	rows, err := q.Query(ctx, policyRow+` WHERE p.id = $2`, now, id)
	if err != nil {
		return nil, err
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanPolicy)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, fault.NoSuch("policy", id)
	}
	return m, err
}

// PolicyInForce reads the policy that governs today.
func PolicyInForce(ctx context.Context, q Querier, now time.Time) (*policy.Policy, error) {
	_, p, err := policyNamed(ctx, q, "", now)
	return p, translate(err)
}

// PolicyNamed reads a policy, a draft too, as the rules read it; empty: the one in force today.
func PolicyNamed(ctx context.Context, q Querier, id string, now time.Time) (string, *policy.Policy, error) {
	id, p, err := policyNamed(ctx, q, id, now)
	return id, p, translate(err)
}

func policyNamed(ctx context.Context, q Querier, id string, now time.Time) (string, *policy.Policy, error) {
	var document []byte
	var err error
	if id == "" {
		id, document, err = policyInForce(ctx, q, now, "")
	} else {
		id, document, err = policyDocument(ctx, q, id)
	}
	if err != nil {
		return "", nil, err
	}
	p, err := readPolicy(id, document)
	return id, p, err
}

// policyDocument reads a policy by its key, a draft too.
func policyDocument(ctx context.Context, q Querier, id string) (_ string, document []byte, err error) {
	err = q.QueryRow(ctx, `SELECT doc -> 'document' FROM policy WHERE id = $1`, id).Scan(&document)
	if errors.Is(err, pgx.ErrNoRows) {
		err = fault.NoSuch("policy", id)
	}
	return id, document, err
}

func readPolicy(id string, document []byte) (*policy.Policy, error) {
	p := &policy.Policy{}
	if err := json.Unmarshal(document, p); err != nil {
		return nil, fmt.Errorf("policy %s: %w", id, err)
	}
	return p, nil
}

// PolicyInForce reads the policy that governs today.
func (s *Store) PolicyInForce(ctx context.Context) (*policy.Policy, error) {
	return PolicyInForce(ctx, s.pool, s.Now())
}

// PutPolicy adds a draft, or leaves an equal one of its key alone. Policies never change.
func (tx *Tx) PutPolicy(ctx context.Context, m *lastlightv1.Policy, expect Expect) (Put[*lastlightv1.Policy], error) {
	var none Put[*lastlightv1.Policy]
	m = message.AsGiven(m)
	if _, err := tx.Exec(ctx, `SELECT version FROM policy_in_force FOR UPDATE`); err != nil {
		return none, err
	}
	p := fault.Collect("")
	if err := tx.completePolicy(ctx, p, m); err != nil {
		return none, err
	}
	zone, err := ClubZone(ctx, tx)
	if err != nil {
		return none, err
	}
	DecodePolicy(p, m, dates.Today(tx.Now(), zone))
	if err := p.Err(); err != nil {
		return none, err
	}
	stands, err := getPolicy(ctx, tx, m.Id, tx.Now())
	switch {
	case err != nil && !fault.Is(err, fault.NotFound):
		return none, err
	case err == nil && expect.New:
		return none, fault.Taken("policy", m.Id)
	case err == nil:
		if m.Reason != stands.Reason || m.BasedOn != stands.BasedOn || !sameDocument(m, stands) {
			return none, fault.Wrong([]fault.Problem{{Field: "document", Expected: "as recorded, or another id", Message: "policy " + m.Id + " is on record with another content; policies never change, an edit is a new one"}})
		}
		return Put[*lastlightv1.Policy]{Record: stands, Outcome: Unchanged}, nil
	}
	if err := tx.insertPolicy(ctx, m); err != nil {
		return none, err
	}
	tx.Event("policy.create", "policy", m.Id, nil, m)
	after, err := getPolicy(ctx, tx, m.Id, tx.Now())
	return Put[*lastlightv1.Policy]{Record: after, Outcome: Created}, err
}

// completePolicy takes over what the document leaves out from the policy it is based on.
func (tx *Tx) completePolicy(ctx context.Context, p *fault.Problems, m *lastlightv1.Policy) error {
	if m.BasedOn == "" {
		return nil
	}
	base, err := getPolicy(ctx, tx, m.BasedOn, tx.Now())
	if fault.Is(err, fault.NotFound) {
		p.Add("based_on", m.BasedOn, "a policy on record", "no such policy")
		return p.Err()
	}
	if err != nil {
		return err
	}
	m.Document = overlaid(base.Document, m.Document)
	return nil
}

// overlaid is a document with the cells of another laid over it, group by group. A list is one cell: rows have no order of their own
// by which those of two documents could be told to be the same.
func overlaid(base, over *structpb.Struct) *structpb.Struct {
	out := proto.CloneOf(base)
	for name, cell := range over.GetFields() {
		group, below := cell.GetStructValue(), out.GetFields()[name].GetStructValue()
		if group != nil && below != nil {
			cell = structpb.NewStructValue(overlaid(below, group))
		}
		out.Fields[name] = cell
	}
	return out
}

func (tx *Tx) insertPolicy(ctx context.Context, m *lastlightv1.Policy) error {
	_, err := tx.Exec(ctx, `
INSERT INTO policy (id, number, doc, reason, created_at, created_by) SELECT $1, COALESCE(max(number), 0) + 1, $2, $3, $4, $5 FROM policy`,
		m.Id, stored(m), m.Reason, tx.Now(), nullIfEmpty(tx.granter()))
	return err
}

// sameDocument compares two documents cell by cell, however they are typed.
func sameDocument(a, b *lastlightv1.Policy) bool {
	x, errX := clubpolicy.Canonical(DecodePolicy(fault.Collect(""), a, calendar.Day{}))
	y, errY := clubpolicy.Canonical(DecodePolicy(fault.Collect(""), b, calendar.Day{}))
	return errX == nil && errY == nil && string(x) == string(y)
}

// DecodePolicy reads a policy's document strictly and notes what is wrong with it; today as clubpolicy.Decode has it.
func DecodePolicy(p *fault.Problems, m *lastlightv1.Policy, today calendar.Day) policy.Policy {
	if m.Document == nil {
		p.Add("document", "", "a document like the shipped default", "the policy has no document")
		return policy.Policy{}
	}
	b, err := protojson.Marshal(m.Document)
	if err != nil { // NaN and infinities have no place in JSON
		p.Add("document", "", "finite numbers", "a cell is not a number")
		return policy.Policy{}
	}
	return clubpolicy.Decode(p, b, today)
}

// AdoptPolicy puts a draft in force from a day on; every approved plan for a dive that it governs is asked again.
func (tx *Tx) AdoptPolicy(ctx context.Context, id, from string) (*lastlightv1.Policy, error) {
	// The first lock of every decision.
	if _, err := tx.Exec(ctx, `UPDATE policy_in_force SET version = version + 1`); err != nil {
		return nil, err
	}
	before, err := getPolicy(ctx, tx, id, tx.Now())
	if err != nil {
		return nil, err
	}
	if before.State != "draft" {
		return nil, fault.NotInState("policy", id, before.State, "draft")
	}
	if _, err := tx.Exec(ctx, `UPDATE policy SET in_force_from = $2::text::date, adopted_by = $3, adopted_at = $4 WHERE id = $1`, id, from, nullIfEmpty(tx.granter()), tx.Now()); err != nil {
		return nil, err
	}
	after, err := getPolicy(ctx, tx, id, tx.Now())
	if err != nil {
		return nil, err
	}
	// The document stands in the event of its creation.
	tx.Event("policy.adopt", "policy", id, &lastlightv1.Policy{Id: id, State: before.State}, &lastlightv1.Policy{Id: id, State: after.State, InForceFrom: after.InForceFrom, AdoptedBy: after.AdoptedBy})
	return after, tx.MarkStale(ctx, "policy", id, "the club has adopted another policy: "+id)
}

// ListPolicies gives a page, the newest first, without documents.
func (s *Store) ListPolicies(ctx context.Context, r *lastlightv1.ListPoliciesRequest) ([]*lastlightv1.Policy, string, error) {
	after, err := ReadToken("policies", nil, r.PageToken, 1)
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
	rows, err := s.pool.Query(ctx, policyRow+` WHERE p.number < $2 ORDER BY p.number DESC LIMIT $3`, s.Now(), below, size+1)
	if err != nil {
		return nil, "", translate(err)
	}
	list, err := pgx.CollectRows(rows, scanPolicy)
	if err != nil {
		return nil, "", translate(err)
	}
	for _, m := range list {
		m.Document = nil
	}
	list, next := cut(list, size, "policies", nil, func(m *lastlightv1.Policy) []string { return []string{strconv.Itoa(int(m.Number))} })
	return list, next, nil
}

// DefaultPolicy is the key of the shipped default.
const DefaultPolicy = "shipped-default"

// EnsureDefaultPolicy stores the shipped default as the first policy, in force
// from before any dive, unless there is a policy already.
func (s *Store) EnsureDefaultPolicy(ctx context.Context) error {
	document := &structpb.Struct{}
	shipped, err := clubpolicy.Canonical(policy.Default())
	if err != nil {
		return err
	}
	if err := protojson.Unmarshal(shipped, document); err != nil {
		return err
	}
	return s.serverWrite(ctx, func(ctx context.Context, tx *Tx) error {
		var there bool
		if _, err := tx.Exec(ctx, `SELECT version FROM policy_in_force FOR UPDATE`); err != nil {
			return err
		}
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM policy)`).Scan(&there); err != nil || there {
			return err
		}
		m := &lastlightv1.Policy{Id: DefaultPolicy, Document: document, Reason: "as shipped"}
		if err := tx.insertPolicy(ctx, m); err != nil {
			return err
		}
		_, err := tx.AdoptPolicy(ctx, m.Id, "1970-01-01")
		return err
	})
}

// ClubZone is the zone in which days without a site are read.
func ClubZone(ctx context.Context, q Querier) (zone string, err error) {
	err = q.QueryRow(ctx, `SELECT COALESCE((SELECT time_zone FROM club), 'UTC')`).Scan(&zone)
	return zone, translate(err)
}
