package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// The loaders here read many records at once, whole: a page, a plan's team.
// Restricted fields are included; whoever shows them masks them first.

// loadPeople reads people by id, sorted by id, with cards, medical status and contacts.
func loadPeople(ctx context.Context, q Querier, ids []string) ([]*lastlightv1.Person, error) {
	ids = sortedSet(ids)
	rows, err := q.Query(ctx, `SELECT id, doc, telephone, version, archived FROM person WHERE id = ANY ($1) ORDER BY id`, ids)
	if err != nil {
		return nil, err
	}
	people, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Person, error) {
		m := &lastlightv1.Person{}
		var id string
		var doc []byte
		var telephone *string
		var version int64
		var archived bool
		if err := row.Scan(&id, &doc, &telephone, &version, &archived); err != nil {
			return nil, err
		}
		if err := unmarshalDocument(doc, m); err != nil {
			return nil, err
		}
		m.Id, m.Telephone, m.Cards = id, telephone, nil
		setRoot(m, version, archived)
		return m, nil
	})
	if err != nil {
		return nil, err
	}
	of := map[string]*lastlightv1.Person{}
	for _, p := range people {
		of[p.Id] = p
	}
	if err := loadCards(ctx, q, ids, of); err != nil {
		return nil, err
	}
	if err := loadMedical(ctx, q, ids, of); err != nil {
		return nil, err
	}
	return people, loadContacts(ctx, q, ids, of)
}

func loadCards(ctx context.Context, q Querier, ids []string, of map[string]*lastlightv1.Person) error {
	rows, err := q.Query(ctx, `
SELECT person, id, level, endorsement, issued_day::text, COALESCE(expires_day::text, ''), number, issuing_body, depth_limit_m,
       COALESCE(seen_by, ''), seen_at, revoked_at, revoked_reason
FROM card WHERE person = ANY ($1) AND NOT archived ORDER BY person, id`, ids)
	if err != nil {
		return err
	}
	var person string
	var c lastlightv1.Card
	var seen, revoked *time.Time
	_, err = pgx.ForEachRow(rows, []any{
		&person, &c.Id, &c.Level, &c.Endorsement, &c.IssuedDay, &c.ExpiresDay, &c.Number, &c.IssuingBody, &c.DepthLimitM,
		&c.SeenBy, &seen, &revoked, &c.RevokedReason,
	}, func() error {
		if p := of[person]; p != nil {
			p.Cards = append(p.Cards, &lastlightv1.Card{
				Id: c.Id, Level: c.Level, Endorsement: c.Endorsement, IssuedDay: c.IssuedDay, ExpiresDay: c.ExpiresDay, Number: c.Number,
				IssuingBody: c.IssuingBody, DepthLimitM: c.DepthLimitM, SeenBy: c.SeenBy, SeenAt: stampOrNil(seen), RevokedAt: stampOrNil(revoked), RevokedReason: c.RevokedReason,
			})
		}
		return nil
	})
	return err
}

func loadMedical(ctx context.Context, q Querier, ids []string, of map[string]*lastlightv1.Person) error {
	rows, err := q.Query(ctx, `
SELECT person, COALESCE(examined_day::text, ''), COALESCE(doctor_until::text, ''), COALESCE(declared_day::text, ''),
       restriction_code, depth_limit_m, suspended_at, cleared_at, cleared_by_roles
FROM medical_status WHERE person = ANY ($1)`, ids)
	if err != nil {
		return err
	}
	var person string
	var m lastlightv1.MedicalStatus
	var suspended, cleared *time.Time
	var roles []string
	_, err = pgx.ForEachRow(rows, []any{&person, &m.ExaminedDay, &m.DoctorUntil, &m.DeclaredDay, &m.RestrictionCode, &m.DepthLimitM, &suspended, &cleared, &roles}, func() error {
		if p := of[person]; p != nil {
			p.Medical = &lastlightv1.MedicalStatus{
				ExaminedDay: m.ExaminedDay, DoctorUntil: m.DoctorUntil, DeclaredDay: m.DeclaredDay, RestrictionCode: m.RestrictionCode,
				DepthLimitM: m.DepthLimitM, SuspendedAt: stampOrNil(suspended), ClearedAt: stampOrNil(cleared), ClearedByRoles: append([]string(nil), roles...),
			}
		}
		return nil
	})
	return err
}

func loadContacts(ctx context.Context, q Querier, ids []string, of map[string]*lastlightv1.Person) error {
	rows, err := q.Query(ctx, `SELECT person, full_name, telephone, relation FROM emergency_contact WHERE person = ANY ($1) ORDER BY person, position`, ids)
	if err != nil {
		return err
	}
	var person, name, telephone, relation string
	_, err = pgx.ForEachRow(rows, []any{&person, &name, &telephone, &relation}, func() error {
		if p := of[person]; p != nil {
			p.EmergencyContacts = append(p.EmergencyContacts, &lastlightv1.EmergencyContact{FullName: name, Telephone: telephone, Relation: relation})
		}
		return nil
	})
	return err
}

func stampOrNil(t *time.Time) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(*t)
}

// loadCylinders reads cylinders by id, sorted by id, with their service events;
// ids of other items are passed over.
func loadCylinders(ctx context.Context, q Querier, ids []string) ([]*lastlightv1.Cylinder, error) {
	ids = sortedSet(ids)
	rows, err := q.Query(ctx, `
SELECT c.id, c.doc, i.quarantine_reason, i.version, i.archived FROM cylinder c JOIN item i ON i.id = c.id WHERE c.id = ANY ($1) ORDER BY c.id`, ids)
	if err != nil {
		return nil, err
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Cylinder, error) {
		m := &lastlightv1.Cylinder{}
		id, reason, version, archived, err := scanItem(row, m)
		m.Id, m.Quarantined, m.ServiceEvents = id, reason, nil
		setRoot(m, version, archived)
		return m, err
	})
	if err != nil {
		return nil, err
	}
	of := map[string]*[]*lastlightv1.ServiceEvent{}
	for _, c := range list {
		of[c.Id] = &c.ServiceEvents
	}
	return list, loadServiceEvents(ctx, q, ids, of)
}

// loadEquipmentList is loadCylinders for other equipment.
func loadEquipmentList(ctx context.Context, q Querier, ids []string) ([]*lastlightv1.Equipment, error) {
	ids = sortedSet(ids)
	rows, err := q.Query(ctx, `
SELECT e.id, e.doc, i.quarantine_reason, i.version, i.archived FROM equipment e JOIN item i ON i.id = e.id WHERE e.id = ANY ($1) ORDER BY e.id`, ids)
	if err != nil {
		return nil, err
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (*lastlightv1.Equipment, error) {
		m := &lastlightv1.Equipment{}
		id, reason, version, archived, err := scanItem(row, m)
		m.Id, m.Quarantined, m.ServiceEvents = id, reason, nil
		setRoot(m, version, archived)
		return m, err
	})
	if err != nil {
		return nil, err
	}
	of := map[string]*[]*lastlightv1.ServiceEvent{}
	for _, e := range list {
		of[e.Id] = &e.ServiceEvents
	}
	return list, loadServiceEvents(ctx, q, ids, of)
}

func scanItem(row pgx.CollectableRow, into Resource) (id, reason string, version int64, archived bool, err error) {
	var doc []byte
	if err = row.Scan(&id, &doc, &reason, &version, &archived); err == nil {
		err = unmarshalDocument(doc, into)
	}
	return id, reason, version, archived, err
}

func loadServiceEvents(ctx context.Context, q Querier, ids []string, of map[string]*[]*lastlightv1.ServiceEvent) error {
	rows, err := q.Query(ctx, `
SELECT item, id, doc, recorded_at, recorded_by FROM service_event WHERE item = ANY ($1) ORDER BY item, date, recorded_at, id`, ids)
	if err != nil {
		return err
	}
	var item, id, by string
	var doc []byte
	var at time.Time
	_, err = pgx.ForEachRow(rows, []any{&item, &id, &doc, &at, &by}, func() error {
		m := &lastlightv1.ServiceEvent{}
		if err := unmarshalDocument(doc, m); err != nil {
			return err
		}
		m.Id, m.RecordedAt, m.RecordedBy = id, timestamppb.New(at), by
		if list := of[item]; list != nil {
			*list = append(*list, m)
		}
		return nil
	})
	return err
}
