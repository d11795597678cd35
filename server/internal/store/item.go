package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/message"
)

// What cylinders and other equipment share: the root row with owner and
// quarantine, and the service events, which are added and never changed.

func queueItem(b *pgx.Batch, tx *Tx, id, kind, owner string) {
	b.Queue(`INSERT INTO item (id, kind, owner, created_at, updated_at) VALUES ($1, $2, $3, $4, $4)`, id, kind, nullIfEmpty(owner), tx.Now())
}

func queueItemUpdate(b *pgx.Batch, tx *Tx, id, owner string) {
	b.Queue(`UPDATE item SET owner = $2, version = version + 1, updated_at = $3 WHERE id = $1`, id, nullIfEmpty(owner), tx.Now())
}

// queueEvents adds the events that are not on record yet.
func queueEvents(b *pgx.Batch, tx *Tx, item string, before, after []*lastlightv1.ServiceEvent) {
	on := map[string]bool{}
	for _, e := range before {
		on[e.Id] = true
	}
	for _, e := range after {
		if on[e.Id] {
			continue
		}
		b.Queue(`INSERT INTO service_event (id, item, kind, date, corrects, doc, recorded_at, recorded_by) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
			e.Id, item, e.Kind, e.Date, nullIfEmpty(e.Corrects), stored(e), tx.Now(), tx.Mutation.Caller)
	}
}

// mergeEvents gives the events on record and those of the file that are new. An
// event of the file is on record if its id is, or, without an id, if an event of
// equal content is. One that differs from the record of its id is refused.
func mergeEvents(item string, before, given []*lastlightv1.ServiceEvent) ([]*lastlightv1.ServiceEvent, error) {
	p := fault.Collect("")
	all := make([]*lastlightv1.ServiceEvent, 0, len(before)+len(given))
	ids := map[string]bool{}
	for _, e := range before {
		all = append(all, e)
		ids[e.Id] = true
	}
	for i, e := range given {
		e = message.AsGiven(e)
		if e.Id != "" && ids[e.Id] {
			j := slices.IndexFunc(all, func(x *lastlightv1.ServiceEvent) bool { return x.Id == e.Id })
			for _, c := range message.Changes(all[j], e) {
				p.Addf("", "as recorded, or another id", "event "+e.Id+" is on record with another value; events never change, a later one corrects", "service_events[%d].%s", i, c)
			}
			continue
		}
		if e.Id == "" {
			if slices.ContainsFunc(all, func(x *lastlightv1.ServiceEvent) bool { return sameEvent(x, e) }) {
				continue
			}
			e.Id = eventID(item, e, ids)
		}
		ids[e.Id] = true
		all = append(all, e)
	}
	return all, p.Err()
}

// eventID follows from item, kind and date, so that it is the same in every file.
func eventID(item string, e *lastlightv1.ServiceEvent, taken map[string]bool) string {
	stem := strings.Trim(item[:min(len(item), 40)], "-") + "-" + e.Kind + "-" + e.Date
	for n, id := 2, stem; ; n++ {
		if !taken[id] {
			return id
		}
		id = fmt.Sprintf("%s-%d", stem, n)
	}
}

func sameEvent(a, b *lastlightv1.ServiceEvent) bool {
	a, b = message.AsGiven(a), message.AsGiven(b)
	a.Id, b.Id = "", ""
	return proto.Equal(a, b)
}

// bumpItem locks an item's root and raises its version: every writer of a fact
// below an item does this first.
func (tx *Tx) bumpItem(ctx context.Context, id string) (kind string, err error) {
	err = tx.QueryRow(ctx, `UPDATE item SET version = version + 1, updated_at = $2 WHERE id = $1 RETURNING kind`, id, tx.Now()).Scan(&kind)
	if errors.Is(err, pgx.ErrNoRows) {
		err = fault.NoSuch("cylinder or equipment", id)
	}
	return kind, err
}

// GetItem reads a cylinder or another piece of equipment.
func (s *Store) GetItem(ctx context.Context, id string) (*lastlightv1.Item, error) {
	m, err := loadItem(ctx, s.pool, id)
	return m, translate(err)
}

func loadItem(ctx context.Context, q Querier, id string) (*lastlightv1.Item, error) {
	c, found, err := loadCylinder(ctx, q, id, false)
	if err != nil {
		return nil, err
	}
	if found {
		return &lastlightv1.Item{Item: &lastlightv1.Item_Cylinder{Cylinder: c}}, nil
	}
	e, found, err := loadEquipment(ctx, q, id, false)
	if err == nil && !found {
		err = fault.NoSuch("cylinder or equipment", id)
	}
	return &lastlightv1.Item{Item: &lastlightv1.Item_Equipment{Equipment: e}}, err
}

// QuarantineItem takes an item out of use, with the reason.
func (tx *Tx) QuarantineItem(ctx context.Context, id, reason string) (*lastlightv1.Item, error) {
	return tx.setQuarantine(ctx, id, reason, "")
}

// ReleaseItem brings an item back into use. The reason stands in the event.
func (tx *Tx) ReleaseItem(ctx context.Context, id, reason string) (*lastlightv1.Item, error) {
	return tx.setQuarantine(ctx, id, "", reason)
}

func (tx *Tx) setQuarantine(ctx context.Context, id, reason, released string) (*lastlightv1.Item, error) {
	if _, err := tx.bumpItem(ctx, id); err != nil {
		return nil, err
	}
	before, err := loadItem(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	in := before.GetCylinder().GetQuarantined() + before.GetEquipment().GetQuarantined()
	what, stale := "item.quarantine", "an item is in quarantine"
	var at, by any = tx.Now(), tx.Mutation.Caller
	switch {
	case reason != "" && in != "":
		return nil, fault.NotInState("item", id, "in quarantine", "in use")
	case reason == "" && in == "":
		return nil, fault.NotInState("item", id, "in use", "in quarantine")
	case reason == "":
		what, stale, at, by = "item.release: "+released, "an item is back from quarantine", nil, nil
	}
	if _, err := tx.Exec(ctx, `UPDATE item SET quarantined_at = $2, quarantined_by = $3, quarantine_reason = $4 WHERE id = $1`, id, at, by, reason); err != nil {
		return nil, err
	}
	after, err := loadItem(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	tx.Event(what, "item", id, before, after)
	return after, tx.MarkStale(ctx, "item", id, stale)
}

// RecordService adds an event to an item.
func (tx *Tx) RecordService(ctx context.Context, item string, m *lastlightv1.ServiceEvent) (*lastlightv1.ServiceEvent, error) {
	if _, err := tx.bumpItem(ctx, item); err != nil {
		return nil, err
	}
	m = message.AsGiven(m)
	if m.Id == "" {
		m.Id = NewID("service", tx.Mutation.RequestID)
	}
	for field, other := range map[string]string{"corrects": m.Corrects, "clears": m.Clears} {
		if other == "" {
			continue
		}
		var there bool
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM service_event WHERE id = $1 AND item = $2)`, other, item).Scan(&there); err != nil {
			return nil, err
		}
		if !there {
			return nil, fault.Wrong([]fault.Problem{{Field: "event." + field, Read: other, Expected: "the id of an earlier event of this item", Message: "the item has no such event"}})
		}
	}
	var b pgx.Batch
	queueEvents(&b, tx, item, nil, []*lastlightv1.ServiceEvent{m})
	if err := tx.send(ctx, &b); err != nil {
		return nil, err
	}
	tx.Event("service.record", "item", item, nil, m)
	if err := tx.MarkStale(ctx, "item", item, staleService); err != nil {
		return nil, err
	}
	now := tx.Now()
	m.RecordedAt, m.RecordedBy = stampOrNil(&now), tx.Mutation.Caller
	return m, nil
}

const staleService = "an item has a new service event"
