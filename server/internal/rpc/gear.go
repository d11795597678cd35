package rpc

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/gear"
	"lastlight/server/internal/store"
)

// Gear serves GearService.
type Gear struct {
	lastlightv1.UnimplementedGearServiceServer
	Store *store.Store
	Zones facts.ZoneLoader
}

const gearService = "/lastlight.v1.GearService/"

func (h *Gear) subjects(ctx context.Context, q store.Querier, ids ...string) (store.Subjects, error) {
	return h.Store.ItemSubjects(ctx, q, access.CallerFrom(ctx), ids)
}

// may judges a method on items; it is enough that one of them, such as one cylinder of a set, ties the caller to it.
func (h *Gear) may(ctx context.Context, method, read, kind, id string, items ...string) (access.Subject, error) {
	all, err := h.subjects(ctx, nil, items...)
	if err != nil {
		return access.Subject{}, err
	}
	var s access.Subject
	for _, item := range items {
		s.Relation |= all[item].Relation
	}
	return s, allowed(ctx, gearService+method, gearService+read, s, kind, id)
}

// mayCreate judges the creation of gear by its owner: one's own, or any by those who keep the register.
func mayCreate(ctx context.Context, method, owner string) error {
	c := access.CallerFrom(ctx)
	var s access.Subject
	if owner != "" && owner == c.Person {
		s.Relation |= access.Self
	}
	if access.May(c, gearService+method, s) {
		return nil
	}
	return denied("you enter your own gear; that of others is entered by those who keep the register")
}

// guardCylinder keeps test dates from those who do not see them.
func guardCylinder(c *access.Caller, s access.Subject, noted *[]string) store.Guard[*lastlightv1.Cylinder] {
	return func(before, next *lastlightv1.Cylinder) error {
		p := fault.Collect("")
		if s := ownerSubject(c, s, before.GetOwner()); !c.Sees(access.GearDates, s) {
			unseen{p, noted}.keep("", before, next, "first_service_day", "risk_assessment_day")
		}
		return p.Err()
	}
}

func ownerSubject(c *access.Caller, s access.Subject, owner string) access.Subject {
	if owner != "" && owner == c.Person {
		s.Relation |= access.Self
	}
	return s
}

// due is how gear stands today, by the policy in force.
func (h *Gear) due(ctx context.Context) (facts.Due, *policy.Policy, error) {
	inForce, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return facts.Due{}, nil, err
	}
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return facts.Due{}, nil, err
	}
	due, err := facts.NewDue(inForce, zone, h.Store.Now(), h.Zones)
	return due, inForce, err
}

// dated gathers what the dates of items rest on, and what the policy in force makes of it.
func (h *Gear) dated(ctx context.Context, ids []string) (due facts.Due, cylinders []facts.Cylinder, equipment []facts.Equipment, err error) {
	due, inForce, err := h.due(ctx)
	if err != nil {
		return due, nil, nil, err
	}
	cylinders, equipment, err = h.Store.GatherItems(ctx, inForce, ids)
	return due, cylinders, equipment, err
}

// shown adds to cylinders how they stand today, and masks.
func (h *Gear) shown(ctx context.Context, s access.Subject, list ...*lastlightv1.Cylinder) error {
	due, states, _, err := h.dated(ctx, idsOf(list))
	if err != nil {
		return err
	}
	by := map[string]facts.Cylinder{}
	for _, state := range states {
		by[state.Record.Id] = state
	}
	for _, m := range list {
		if state, ok := by[m.Id]; ok {
			m.Due = due.Cylinder(state)
		}
		access.MaskCylinder(access.CallerFrom(ctx), s, m)
	}
	return nil
}

// shownSets adds to sets when they fall due, for those who see the dates of every member.
func (h *Gear) shownSets(ctx context.Context, list ...*lastlightv1.CylinderSet) error {
	var ids []string
	for _, m := range list {
		ids = append(ids, m.Cylinders...)
	}
	due, states, _, err := h.dated(ctx, ids)
	if err != nil {
		return err
	}
	subjects, err := h.subjects(ctx, nil, ids...)
	if err != nil {
		return err
	}
	c := access.CallerFrom(ctx)
	sees := map[string]bool{}
	var cylinders []*lastlightv1.Cylinder
	for _, state := range states {
		m := state.Record
		sees[m.Id] = c.Sees(access.GearDates, ownerSubject(c, subjects[m.Id], m.Owner))
		cylinders = append(cylinders, m)
	}
	for _, m := range list {
		if !slices.ContainsFunc(m.Cylinders, func(id string) bool { return !sees[id] }) {
			m.Due = due.Set(m, cylinders)
		}
	}
	return nil
}

// shownEquipment adds when each piece falls due.
func (h *Gear) shownEquipment(ctx context.Context, list ...*lastlightv1.Equipment) error {
	due, _, states, err := h.dated(ctx, idsOf(list))
	if err != nil {
		return err
	}
	by := map[string]facts.Equipment{}
	for _, state := range states {
		by[state.Record.Id] = state
	}
	for _, m := range list {
		if state, ok := by[m.Id]; ok {
			m.Due = due.Equipment(state)
		}
	}
	return nil
}

func idsOf[M interface{ GetId() string }](list []M) []string {
	ids := make([]string, len(list))
	for i, m := range list {
		ids[i] = m.GetId()
	}
	return ids
}

func (h *Gear) putCylinder(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Cylinder, expect store.Expect) (*lastlightv1.Cylinder, error) {
	g, err := readGround(ctx, h.Store, nil)
	if err != nil {
		return nil, err
	}
	if err := g.checked("cylinder.", m); err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Cylinder, error) {
		all, err := h.subjects(ctx, tx, m.Id)
		if err != nil {
			return nil, err
		}
		put, err := tx.PutCylinder(ctx, m, expect, guardCylinder(c, all[m.Id], nil))
		access.MaskCylinder(c, all[m.Id], put.Record)
		return put.Record, fault.Under("cylinder.", err)
	})
}

// CreateCylinder registers a cylinder.
func (h *Gear) CreateCylinder(ctx context.Context, r *lastlightv1.CreateCylinderRequest) (*lastlightv1.Cylinder, error) {
	if err := mayCreate(ctx, "CreateCylinder", r.Cylinder.Owner); err != nil {
		return nil, err
	}
	m := proto.CloneOf(r.Cylinder)
	if m.Id == "" {
		m.Id = store.NewID("cylinder", r.RequestId)
	}
	return h.putCylinder(ctx, "CreateCylinder", r.RequestId, r, m, store.Expect{New: true})
}

// GetCylinder reads a cylinder.
func (h *Gear) GetCylinder(ctx context.Context, r *lastlightv1.GetCylinderRequest) (*lastlightv1.Cylinder, error) {
	s, err := h.may(ctx, "GetCylinder", "GetCylinder", "cylinder", r.Id, r.Id)
	if err != nil {
		return nil, err
	}
	m, err := h.Store.GetCylinder(ctx, r.Id)
	if err != nil {
		return nil, err
	}
	return m, h.shown(ctx, s, m)
}

// ListCylinders lists cylinders.
func (h *Gear) ListCylinders(ctx context.Context, r *lastlightv1.ListCylindersRequest) (*lastlightv1.ListCylindersResponse, error) {
	list, next, err := h.Store.ListCylinders(ctx, r)
	if err != nil {
		return nil, err
	}
	return &lastlightv1.ListCylindersResponse{Cylinders: list, NextPageToken: next}, h.shown(ctx, access.Subject{}, list...)
}

// UpdateCylinder changes a cylinder's record.
func (h *Gear) UpdateCylinder(ctx context.Context, r *lastlightv1.UpdateCylinderRequest) (*lastlightv1.Cylinder, error) {
	if err := h.mayOwn(ctx, "UpdateCylinder", "GetCylinder", "cylinder", r.Cylinder.Id); err != nil {
		return nil, err
	}
	return h.putCylinder(ctx, "UpdateCylinder", r.RequestId, r, proto.CloneOf(r.Cylinder), store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// mayOwn is may for a method that being in a team does not open.
func (h *Gear) mayOwn(ctx context.Context, method, read, kind, id string) error {
	_, err := h.may(ctx, method, read, kind, id, id)
	return err
}

// ArchiveCylinder hides a cylinder from lists.
func (h *Gear) ArchiveCylinder(ctx context.Context, r *lastlightv1.ArchiveCylinderRequest) (*lastlightv1.Cylinder, error) {
	s, err := h.may(ctx, "ArchiveCylinder", "GetCylinder", "cylinder", r.Id, r.Id)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"ArchiveCylinder", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Cylinder, error) {
		m, err := tx.ArchiveCylinder(ctx, r.Id)
		access.MaskCylinder(access.CallerFrom(ctx), s, m)
		return m, err
	})
}

func (h *Gear) putSet(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.CylinderSet, expect store.Expect) (*lastlightv1.CylinderSet, error) {
	p := fault.Collect("set.")
	gear.CheckSet(p, m)
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.CylinderSet, error) {
		put, err := tx.PutCylinderSet(ctx, m, expect)
		return put.Record, fault.Under("set.", err)
	})
}

// CreateCylinderSet makes a set of cylinders.
func (h *Gear) CreateCylinderSet(ctx context.Context, r *lastlightv1.CreateCylinderSetRequest) (*lastlightv1.CylinderSet, error) {
	if err := mayCreate(ctx, "CreateCylinderSet", r.Set.Owner); err != nil {
		return nil, err
	}
	m := proto.CloneOf(r.Set)
	if m.Id == "" {
		m.Id = store.NewID("set", r.RequestId)
	}
	return h.putSet(ctx, "CreateCylinderSet", r.RequestId, r, m, store.Expect{New: true})
}

// set reads a set for a method; the owner of the set, or whoever is tied to its cylinders.
func (h *Gear) set(ctx context.Context, method, id string) (*lastlightv1.CylinderSet, error) {
	m, err := h.Store.GetCylinderSet(ctx, id)
	if err != nil {
		return nil, err
	}
	all, err := h.subjects(ctx, nil, m.Cylinders...)
	if err != nil {
		return nil, err
	}
	var s access.Subject
	for _, x := range all {
		s.Relation |= x.Relation &^ access.Self // owning a cylinder is not owning the set
	}
	s = ownerSubject(access.CallerFrom(ctx), s, m.Owner)
	return m, allowed(ctx, gearService+method, gearService+"GetCylinderSet", s, "cylinder set", id)
}

// GetCylinderSet reads a set.
func (h *Gear) GetCylinderSet(ctx context.Context, r *lastlightv1.GetCylinderSetRequest) (*lastlightv1.CylinderSet, error) {
	m, err := h.set(ctx, "GetCylinderSet", r.Id)
	if err != nil {
		return nil, err
	}
	return m, h.shownSets(ctx, m)
}

// ListCylinderSets lists sets.
func (h *Gear) ListCylinderSets(ctx context.Context, r *lastlightv1.ListCylinderSetsRequest) (*lastlightv1.ListCylinderSetsResponse, error) {
	list, next, err := h.Store.ListCylinderSets(ctx, r)
	if err != nil {
		return nil, err
	}
	return &lastlightv1.ListCylinderSetsResponse{Sets: list, NextPageToken: next}, h.shownSets(ctx, list...)
}

// UpdateCylinderSet changes a set.
func (h *Gear) UpdateCylinderSet(ctx context.Context, r *lastlightv1.UpdateCylinderSetRequest) (*lastlightv1.CylinderSet, error) {
	if _, err := h.set(ctx, "UpdateCylinderSet", r.Set.Id); err != nil {
		return nil, err
	}
	return h.putSet(ctx, "UpdateCylinderSet", r.RequestId, r, r.Set, store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ArchiveCylinderSet hides a set from lists.
func (h *Gear) ArchiveCylinderSet(ctx context.Context, r *lastlightv1.ArchiveCylinderSetRequest) (*lastlightv1.CylinderSet, error) {
	if _, err := h.set(ctx, "ArchiveCylinderSet", r.Id); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"ArchiveCylinderSet", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.CylinderSet, error) {
		return tx.ArchiveCylinderSet(ctx, r.Id)
	})
}

func (h *Gear) putEquipment(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Equipment, expect store.Expect) (*lastlightv1.Equipment, error) {
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	p := fault.Collect("equipment.")
	gear.CheckEquipment(p, m, dates.Today(h.Store.Now(), zone))
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Equipment, error) {
		put, err := tx.PutEquipment(ctx, m, expect)
		return put.Record, fault.Under("equipment.", err)
	})
}

// CreateEquipment registers a piece of equipment.
func (h *Gear) CreateEquipment(ctx context.Context, r *lastlightv1.CreateEquipmentRequest) (*lastlightv1.Equipment, error) {
	if err := mayCreate(ctx, "CreateEquipment", r.Equipment.Owner); err != nil {
		return nil, err
	}
	m := proto.CloneOf(r.Equipment)
	if m.Id == "" {
		m.Id = store.NewID("equipment", r.RequestId)
	}
	return h.putEquipment(ctx, "CreateEquipment", r.RequestId, r, m, store.Expect{New: true})
}

// GetEquipment reads a piece of equipment.
func (h *Gear) GetEquipment(ctx context.Context, r *lastlightv1.GetEquipmentRequest) (*lastlightv1.Equipment, error) {
	if err := h.mayOwn(ctx, "GetEquipment", "GetEquipment", "equipment", r.Id); err != nil {
		return nil, err
	}
	m, err := h.Store.GetEquipment(ctx, r.Id)
	if err != nil {
		return nil, err
	}
	return m, h.shownEquipment(ctx, m)
}

// ListEquipment lists equipment.
func (h *Gear) ListEquipment(ctx context.Context, r *lastlightv1.ListEquipmentRequest) (*lastlightv1.ListEquipmentResponse, error) {
	list, next, err := h.Store.ListEquipment(ctx, r)
	if err != nil {
		return nil, err
	}
	return &lastlightv1.ListEquipmentResponse{Equipment: list, NextPageToken: next}, h.shownEquipment(ctx, list...)
}

// UpdateEquipment changes a piece of equipment's record.
func (h *Gear) UpdateEquipment(ctx context.Context, r *lastlightv1.UpdateEquipmentRequest) (*lastlightv1.Equipment, error) {
	if err := h.mayOwn(ctx, "UpdateEquipment", "GetEquipment", "equipment", r.Equipment.Id); err != nil {
		return nil, err
	}
	return h.putEquipment(ctx, "UpdateEquipment", r.RequestId, r, r.Equipment, store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ArchiveEquipment hides a piece of equipment from lists.
func (h *Gear) ArchiveEquipment(ctx context.Context, r *lastlightv1.ArchiveEquipmentRequest) (*lastlightv1.Equipment, error) {
	if err := h.mayOwn(ctx, "ArchiveEquipment", "GetEquipment", "equipment", r.Id); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"ArchiveEquipment", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Equipment, error) {
		return tx.ArchiveEquipment(ctx, r.Id)
	})
}
