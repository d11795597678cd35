package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

const custodyRow = `id, item, kind, at, doc, recorded_by`

func scanCustody(row pgx.CollectableRow) (*lastlightv1.CustodyEvent, error) {
	m := &lastlightv1.CustodyEvent{}
	var id, item, kind, by string
	var at time.Time
	var doc []byte
	if err := row.Scan(&id, &item, &kind, &at, &doc, &by); err != nil {
		return nil, err
	}
	err := unmarshalDocument(doc, m)
	m.Id, m.Item, m.Kind, m.At, m.RecordedBy = id, item, kind, timestamppb.New(at), by
	return m, err
}

// given are the events after which somebody has the item again.
var given = []string{"handed_over", "back", "found"}

// staleCustody says why a plan that relies on the item is stale; a hand-over changes no judgement.
var staleCustody = map[string]string{
	"left_unattended": "an item was out of custody", "valve_removed": "a valve was removed", "lost": "an item is lost",
	"waiting_in_cave": "an item lies in a cave", "back": "an item is back", "found": "an item was found",
}

// RecordCustody adds one event for each of the items, all or none, in the order
// given. What lies in a cave is also in the ledger of what was left, until
// somebody has it again.
func (tx *Tx) RecordCustody(ctx context.Context, items []string, m *lastlightv1.CustodyEvent) ([]*lastlightv1.CustodyEvent, error) {
	m = proto.CloneOf(m)
	m.At = toMicrosecond(m.At)
	if err := tx.keepKeys(ctx, "event.holder", m.Holder); err != nil {
		return nil, err
	}
	if err := tx.lockForCustody(ctx, items, m.Site); err != nil {
		return nil, err
	}
	var problems []fault.Problem
	out := make([]*lastlightv1.CustodyEvent, len(items))
	for i, item := range items {
		before, err := holdings(ctx, tx, `item = $1`, item)
		if err != nil {
			return nil, err
		}
		if p := fits(before[0], m); p != nil {
			p.Field = fmt.Sprintf("items[%d]", i)
			problems = append(problems, *p)
			continue
		}
		e := proto.CloneOf(m)
		e.Item = item
		if e.Id == "" || len(items) > 1 {
			e.Id = NewID("custody", tx.Mutation.RequestID+"/"+item)
		}
		if out[i], err = tx.addCustody(ctx, before[0], e); err != nil {
			return nil, err
		}
	}
	if len(problems) > 0 {
		return nil, fault.Wrong(problems)
	}
	return out, nil
}

// lockForCustody bumps the sites and then the items, in the order of decisions.
func (tx *Tx) lockForCustody(ctx context.Context, items []string, site string) error {
	sites, err := collectIDs(ctx, tx, `SELECT DISTINCT site FROM left_item WHERE item = ANY ($1) AND recovered_at IS NULL`, items)
	if err != nil {
		return err
	}
	if site != "" {
		sites = append(sites, site)
	}
	for _, s := range sortedSet(sites) {
		if err := tx.bumpSite(ctx, s); err != nil {
			return err
		}
	}
	for _, item := range sortedSet(items) {
		if _, err := tx.bumpItem(ctx, item); err != nil {
			if fault.Is(err, fault.NotFound) {
				return fault.Wrong([]fault.Problem{{Field: fmt.Sprintf("items[%d]", slices.Index(items, item)), Read: item, Expected: "a cylinder or equipment on record", Message: "there is no such item"}})
			}
			return err
		}
	}
	return nil
}

// fits refuses what cannot follow on where the item is now.
func fits(now *lastlightv1.Holding, m *lastlightv1.CustodyEvent) *fault.Problem {
	wrong := func(expected, message string) *fault.Problem {
		return &fault.Problem{Read: now.Item + ": " + now.State, Expected: expected, Message: message}
	}
	switch {
	case now.Since != nil && m.At.AsTime().Before(now.Since.AsTime()):
		return wrong(now.Since.AsTime().Format(time.RFC3339)+" or later", "before what is on record of this item")
	case m.Kind == "found" && now.State != "lost":
		return wrong("an item that is lost", "it is not lost")
	case m.Kind == "back" && now.State == "held":
		return wrong("an item that waits in a cave, was left or is unattended", "somebody has it: hand it over")
	case now.State == "lost" && m.Kind != "found":
		return wrong("found first", "it is lost")
	}
	return nil
}

func (tx *Tx) addCustody(ctx context.Context, before *lastlightv1.Holding, m *lastlightv1.CustodyEvent) (*lastlightv1.CustodyEvent, error) {
	if m.Holder == "" && (m.Kind == "back" || m.Kind == "found") {
		m.Holder = tx.Mutation.Caller
	}
	if _, err := tx.Exec(ctx, `INSERT INTO custody_event (id, item, kind, at, doc, recorded_by, recorded_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		m.Id, m.Item, m.Kind, m.At.AsTime(), marshalDocument(m), tx.Mutation.Caller, tx.Now()); err != nil {
		return nil, err
	}
	m.RecordedBy = tx.Mutation.Caller
	tx.Event("custody."+m.Kind, "item", m.Item, nil, m)
	if m.Dive == "" { // a dive keeps its own ledger
		if err := tx.keepLedger(ctx, before, m); err != nil {
			return nil, err
		}
	}
	if why, ok := staleCustody[m.Kind]; ok {
		return m, tx.MarkStale(ctx, "item", m.Item, why)
	}
	return m, nil
}

// keepLedger enters what now lies in a cave among what was left, and takes out what somebody has again.
func (tx *Tx) keepLedger(ctx context.Context, before *lastlightv1.Holding, m *lastlightv1.CustodyEvent) error {
	if slices.Contains(given, m.Kind) || m.Kind == "waiting_in_cave" {
		if _, err := tx.Exec(ctx, `UPDATE left_item SET recovered_at = $2, recovered_by = $3 WHERE item = $1 AND kind IN ('cylinder', 'equipment') AND recovered_at IS NULL AND left_at <= $2`,
			m.Item, m.At.AsTime(), tx.Mutation.Caller); err != nil {
			return err
		}
	}
	if m.Kind != "waiting_in_cave" {
		return nil
	}
	kind := "equipment"
	if before.Kind == "cylinder" {
		kind = before.Kind
	}
	// Of the club's own, whoever put it there answers for it.
	owner := before.Owner
	if owner == "" {
		owner = tx.Mutation.Caller
	}
	_, err := tx.Exec(ctx, `INSERT INTO left_item (id, site, kind, place, item, owner, left_at, remove_by) VALUES ($1, $2, $3, $4, $5, $6, $7, $8::text::date)`,
		m.Id, m.Site, kind, m.Place, m.Item, owner, m.At.AsTime(), nullIfEmpty(m.RemoveBy))
	return err
}

// leftByDive notes for a cylinder that a dive left or brought back where it is
// now; the ledger has it already. An item that is not on record has no custody.
func (tx *Tx) leftByDive(ctx context.Context, m *lastlightv1.CustodyEvent) error {
	list, err := holdings(ctx, tx, `item = $1`, m.Item)
	if err != nil || len(list) == 0 {
		return err
	}
	m.Id, m.At = NewID("custody", m.Dive+"/"+m.Kind+"/"+m.Item), toMicrosecond(m.At)
	_, err = tx.Exec(ctx, `INSERT INTO custody_event (id, item, kind, at, doc, recorded_by, recorded_at) VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT DO NOTHING`,
		m.Id, m.Item, m.Kind, m.At.AsTime(), marshalDocument(m), tx.Mutation.Caller, tx.Now())
	tx.Later(`UPDATE item SET version = version + 1 WHERE id = $1`, m.Item)
	return err
}

// PutCustody records an event of a file unless it is on record.
func (tx *Tx) PutCustody(ctx context.Context, m *lastlightv1.CustodyEvent) (Put[*lastlightv1.CustodyEvent], error) {
	m = proto.CloneOf(m)
	m.At = toMicrosecond(m.At)
	rows, err := tx.Query(ctx, `SELECT `+custodyRow+` FROM custody_event WHERE id = $1 OR ($1 = '' AND item = $2 AND kind = $3 AND at = $4) ORDER BY id LIMIT 1`, m.Id, m.Item, m.Kind, m.At.AsTime())
	if err != nil {
		return Put[*lastlightv1.CustodyEvent]{}, err
	}
	scan := func(row pgx.CollectableRow) (*lastlightv1.CustodyEvent, error) {
		stands, err := scanCustody(row)
		if err == nil && m.Holder == "" {
			m.Holder = stands.Holder
		}
		return stands, err
	}
	return putFact(tx, rows, scan, m, "custody", factKey(m.Item+"/"+m.Kind, m.At), func() (*lastlightv1.CustodyEvent, error) {
		list, err := tx.RecordCustody(ctx, []string{m.Item}, m)
		if f, ok := fault.As(err); ok {
			for i := range f.Problems {
				if at, told := strings.CutPrefix(f.Problems[i].Field, "event."); told {
					f.Problems[i].Field = at
				} else {
					f.Problems[i].Field = "item"
				}
			}
		}
		if err != nil {
			return nil, err
		}
		return list[0], nil
	})
}

// ListCustody gives a page of what became of an item, or of all, latest first.
func (s *Store) ListCustody(ctx context.Context, r *lastlightv1.ListCustodyRequest) ([]*lastlightv1.CustodyEvent, string, error) {
	return listFacts(ctx, s, "custody", "item", r.Item, r.PageToken, r.PageSize, scanCustody, `SELECT `+custodyRow+` FROM custody_event`, "at",
		func(m *lastlightv1.CustodyEvent) *timestamppb.Timestamp { return m.At })
}

// holdings reads where items are now; condition is a constant of this package.
func holdings(ctx context.Context, q Querier, condition string, args ...any) ([]*lastlightv1.Holding, error) {
	rows, err := q.Query(ctx, `SELECT item, kind, owner, state, holder, since, site, place, remove_by FROM holding WHERE `+condition, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Holding, error) {
		m := &lastlightv1.Holding{}
		var since *time.Time
		err := row.Scan(&m.Item, &m.Kind, &m.Owner, &m.State, &m.Holder, &since, &m.Site, &m.Place, &m.RemoveBy)
		m.Since = stampOrNil(since)
		return m, err
	})
}

// ListHoldings gives a page by item of who has what now and what lies where.
func (s *Store) ListHoldings(ctx context.Context, r *lastlightv1.ListHoldingsRequest) ([]*lastlightv1.Holding, string, error) {
	args := []any{r.Holder, r.Site, r.State}
	after, err := ReadToken("holdings", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	list, err := holdings(ctx, s.pool, `item > $1 AND NOT archived AND ($3 = '' OR holder = $3) AND ($4 = '' OR site = $4) AND ($5 = '' OR state = $5)
ORDER BY item LIMIT $2`, append([]any{first(after), size + 1}, args...)...)
	if err != nil {
		return nil, "", translate(err)
	}
	list, next := cut(list, size, "holdings", args, func(m *lastlightv1.Holding) []string { return []string{m.Item} })
	return list, next, nil
}
