package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

var cylinders = aggregate[*lastlightv1.Cylinder]{
	kind:   "cylinder",
	load:   loadCylinder,
	insert: insertCylinder,
	update: updateCylinder,
	settle: func(before, m *lastlightv1.Cylinder) (err error) {
		m.ServiceEvents, err = mergeEvents(m.Id, before.GetServiceEvents(), m.ServiceEvents)
		return err
	},
	remark: func(ctx context.Context, tx *Tx, _, m *lastlightv1.Cylinder, changes []string) error {
		return tx.markStaleFor(ctx, "item", m.Id, changes, cylinderReasons)
	},
}

const staleCylinder = "a cylinder's record has changed"

// cylinderReasons says, for each field that a judgement rests on, why a plan is stale when it changes.
var cylinderReasons = map[string]string{
	"service_events": staleService, "archived": "a cylinder is no longer kept",
	"water_volume": staleCylinder, "working_pressure": staleCylinder, "material": staleCylinder, "alloy": staleCylinder,
	"specification": staleCylinder, "jurisdiction": staleCylinder, "manufactured": staleCylinder, "first_service_day": staleCylinder,
	"risk_assessment_day": staleCylinder, "heavy_use": staleCylinder, "plus_at_manufacture": staleCylinder, "burst_disc_on_record": staleCylinder, "oxygen_clean": staleCylinder,
}

func loadCylinder(ctx context.Context, q Querier, id string, lock bool) (*lastlightv1.Cylinder, bool, error) {
	if lock {
		if found, err := lockRow(ctx, q, `SELECT version FROM item WHERE id = $1 FOR UPDATE`, id); !found || err != nil {
			return nil, false, err
		}
	}
	list, err := loadCylinders(ctx, q, []string{id})
	if err != nil || len(list) == 0 {
		return nil, false, err
	}
	return list[0], true, nil
}

func cylinderDocument(m *lastlightv1.Cylinder) []byte {
	c := proto.CloneOf(m)
	c.ServiceEvents = nil
	return stored(c)
}

func insertCylinder(ctx context.Context, tx *Tx, m *lastlightv1.Cylinder) error {
	if err := refuseTwin(ctx, tx, m); err != nil {
		return err
	}
	var b pgx.Batch
	queueItem(&b, tx, m.Id, "cylinder", m.Owner)
	b.Queue(`INSERT INTO cylinder (id, serial, maker, water_volume_l, working_pressure_bar, doc) VALUES ($1, $2, $3, $4, $5, $6)`,
		m.Id, m.Serial, m.Maker, m.WaterVolume.GetLitres(), m.WorkingPressure.GetBar(), cylinderDocument(m))
	queueEvents(&b, tx, m.Id, nil, m.ServiceEvents)
	return tx.send(ctx, &b)
}

func updateCylinder(ctx context.Context, tx *Tx, before, m *lastlightv1.Cylinder) error {
	if before.Serial != m.Serial || before.Maker != m.Maker {
		if err := refuseTwin(ctx, tx, m); err != nil {
			return err
		}
	}
	var b pgx.Batch
	queueItemUpdate(&b, tx, m.Id, m.Owner)
	b.Queue(`UPDATE cylinder SET serial = $2, maker = $3, water_volume_l = $4, working_pressure_bar = $5, doc = $6 WHERE id = $1`,
		m.Id, m.Serial, m.Maker, m.WaterVolume.GetLitres(), m.WorkingPressure.GetBar(), cylinderDocument(m))
	queueEvents(&b, tx, m.Id, before.ServiceEvents, m.ServiceEvents)
	return tx.send(ctx, &b)
}

// refuseTwin names the cylinder that has this maker and serial already. The
// unique index stands behind it for two that come at once.
func refuseTwin(ctx context.Context, q Querier, m *lastlightv1.Cylinder) error {
	twins, err := collectIDs(ctx, q, `SELECT id FROM cylinder WHERE lower(maker) = lower($1) AND lower(serial) = lower($2) AND id <> $3`, m.Maker, m.Serial, m.Id)
	if err != nil || len(twins) == 0 {
		return err
	}
	return (&fault.Error{
		Kind: fault.Exists, Reason: "CYLINDER_SERIAL_TAKEN", Message: fmt.Sprintf("cylinders %q and %q would have the same maker and serial", m.Id, twins[0]),
		Problems: []fault.Problem{twinProblem(m, twins[0])},
	}).With("cylinder", twins[0])
}

func twinProblem(m *lastlightv1.Cylinder, twin string) fault.Problem {
	return fault.Problem{
		Field: "serial", Read: m.Maker + " " + m.Serial, Expected: "one cylinder per maker and serial",
		Message: fmt.Sprintf("cylinders %q and %q would have the same maker and serial", m.Id, twin),
	}
}

// GetCylinder reads a cylinder with its service events.
func (s *Store) GetCylinder(ctx context.Context, id string) (*lastlightv1.Cylinder, error) {
	return cylinders.get(ctx, s.pool, id)
}

// PutCylinder creates or changes a cylinder.
func (tx *Tx) PutCylinder(ctx context.Context, m *lastlightv1.Cylinder, expect Expect, guards ...Guard[*lastlightv1.Cylinder]) (Put[*lastlightv1.Cylinder], error) {
	return cylinders.put(ctx, tx, m, expect, guards...)
}

// ArchiveCylinder hides a cylinder from lists.
func (tx *Tx) ArchiveCylinder(ctx context.Context, id string) (*lastlightv1.Cylinder, error) {
	return cylinders.archive(ctx, tx, "item", id)
}

// ListCylinders gives a page by id.
func (s *Store) ListCylinders(ctx context.Context, r *lastlightv1.ListCylindersRequest) (list []*lastlightv1.Cylinder, next string, err error) {
	args := []any{r.ShowArchived, r.Search, r.Owner, r.Serial}
	after, err := ReadToken("cylinders", args, r.PageToken, 1)
	if err != nil {
		return nil, "", err
	}
	size := PageSize(r.PageSize)
	err = s.Read(ctx, func(ctx context.Context, q Querier) error {
		ids, err := collectIDs(ctx, q, `
SELECT c.id FROM cylinder c JOIN item i ON i.id = c.id
WHERE c.id > $1 AND (NOT i.archived OR $3)
  AND ($4 = '' OR position(lower($4) IN lower(c.id || ' ' || c.maker || ' ' || c.serial || ' ' || COALESCE(i.owner, ''))) > 0)
  AND ($5 = '' OR i.owner = $5) AND ($6 = '' OR lower(c.serial) = lower($6))
ORDER BY c.id LIMIT $2`, append([]any{first(after), size + 1}, args...)...)
		if err != nil {
			return err
		}
		ids, next = cut(ids, size, "cylinders", args, func(id string) []string { return []string{id} })
		list, err = loadCylinders(ctx, q, ids)
		return err
	})
	return list, next, err
}

// CylindersNamed finds the cylinder of this id or, where there is none, those of this serial.
func CylindersNamed(ctx context.Context, q Querier, name string) ([]*lastlightv1.Cylinder, error) {
	ids, err := collectIDs(ctx, q, `
SELECT id FROM cylinder WHERE id = $1
UNION ALL SELECT id FROM cylinder WHERE lower(serial) = lower($1) AND NOT EXISTS (SELECT FROM cylinder WHERE id = $1)`, name)
	if err != nil {
		return nil, err
	}
	return loadCylinders(ctx, q, ids)
}
