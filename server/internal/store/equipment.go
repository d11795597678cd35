package store

import (
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

var equipment = aggregate[*lastlightv1.Equipment]{
	kind:   "equipment",
	load:   loadEquipment,
	insert: insertEquipment,
	update: updateEquipment,
	settle: func(before, m *lastlightv1.Equipment) (err error) {
		m.ServiceEvents, err = mergeEvents(m.Id, before.GetServiceEvents(), m.ServiceEvents)
		return err
	},
	remark: func(ctx context.Context, tx *Tx, _, m *lastlightv1.Equipment, changes []string) error {
		return tx.markStaleFor(ctx, "item", m.Id, changes, equipmentReasons)
	},
}

const staleEquipment = "a piece of equipment has changed"

// equipmentReasons says, for each field that a judgement rests on, why a plan is stale when it changes.
var equipmentReasons = map[string]string{
	"service_events": staleService, "archived": "a piece of equipment is no longer kept",
	"kind": staleEquipment, "burn_min": staleEquipment, "line_m": staleEquipment, "manufactured": staleEquipment, "scooter_speed_m_min": staleEquipment,
}

func loadEquipment(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Equipment, bool, error) {
	if lock {
		if found, err := lockRow(ctx, q, `SELECT version FROM item WHERE id = $1 FOR UPDATE`, id); !found || err != nil {
			return nil, false, err
		}
	}
	list, err := loadEquipmentList(ctx, q, []string{id})
	if err != nil || len(list) == 0 {
		return nil, false, err
	}
	return list[0], true, nil
}

func equipmentDocument(m *lastlightv1.Equipment) []byte {
	c := proto.CloneOf(m)
	c.ServiceEvents = nil
	return stored(c)
}

func insertEquipment(ctx context.Context, tx *Tx, m *lastlightv1.Equipment) error {
	var b pgx.Batch
	queueItem(&b, tx, m.Id, "equipment", m.Owner)
	b.Queue(`INSERT INTO equipment (id, sort, doc) VALUES ($1, $2, $3)`, m.Id, m.Kind, equipmentDocument(m))
	queueEvents(&b, tx, m.Id, nil, m.ServiceEvents)
	return tx.send(ctx, &b)
}

func updateEquipment(ctx context.Context, tx *Tx, before, m *lastlightv1.Equipment) error {
	var b pgx.Batch
	queueItemUpdate(&b, tx, m.Id, m.Owner)
	b.Queue(`UPDATE equipment SET sort = $2, doc = $3 WHERE id = $1`, m.Id, m.Kind, equipmentDocument(m))
	queueEvents(&b, tx, m.Id, before.ServiceEvents, m.ServiceEvents)
	return tx.send(ctx, &b)
}

// GetEquipment reads a piece of equipment with its service events.
func (s *Store) GetEquipment(ctx context.Context, id string) (*lastlightv1.Equipment, error) {
	return equipment.get(ctx, s.pool, id)
}

// PutEquipment creates or changes a piece of equipment.
func (tx *Tx) PutEquipment(ctx context.Context, m *lastlightv1.Equipment, expect Expect, guards ...Guard[*lastlightv1.Equipment]) (Put[*lastlightv1.Equipment], error) {
	return equipment.put(ctx, tx, m, expect, guards...)
}

// ArchiveEquipment hides a piece of equipment from lists.
func (tx *Tx) ArchiveEquipment(ctx context.Context, id string) (*lastlightv1.Equipment, error) {
	return equipment.archive(ctx, tx, "item", id)
}

// ListEquipment gives a page by id.
func (s *Store) ListEquipment(ctx context.Context, r *lastlightv1.ListEquipmentRequest) (list []*lastlightv1.Equipment, next string, err error) {
	args := []any{r.ShowArchived, r.Search, r.Owner, r.Kind}
	after, err := ReadToken("equipment", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		ids, err := collectIDs(ctx, q, `
SELECT e.id FROM equipment e JOIN item i ON i.id = e.id
WHERE e.id > $1 AND (NOT i.archived OR $3)
  AND ($4 = '' OR position(lower($4) IN lower(e.id || ' ' || e.sort || ' ' || COALESCE(e.doc ->> 'maker', '') || ' ' || COALESCE(e.doc ->> 'serial', '') || ' ' || COALESCE(i.owner, ''))) > 0)
  AND ($5 = '' OR i.owner = $5) AND ($6 = '' OR e.sort = $6)
ORDER BY e.id LIMIT $2`, append([]any{first(after), size + 1}, args...)...)
		if err != nil {
			return err
		}
		ids, next = cut(ids, size, "equipment", args, func(id string) []string { return []string{id} })
		list, err = loadEquipmentList(ctx, q, ids)
		return err
	})
	return list, next, err
}
