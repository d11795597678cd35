package rpc

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/decide"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/roster"
	"lastlight/server/internal/store"
)

// Roster serves RosterService.
type Roster struct {
	lastlightv1.UnimplementedRosterServiceServer
	Store *store.Store
	Desk  *decide.Desk
	Zones facts.ZoneLoader
}

const rosterService = "/lastlight.v1.RosterService/"

func (h *Roster) subject(ctx context.Context, q store.Querier, id string) (access.Subject, error) {
	all, err := h.Store.PersonSubjects(ctx, q, access.CallerFrom(ctx), []string{id})
	return all[id], err
}

// may judges a method on a person who need not exist.
func (h *Roster) may(ctx context.Context, method, id string) (access.Subject, error) {
	s, err := h.subject(ctx, nil, id)
	if err != nil {
		return s, err
	}
	return s, allowed(ctx, rosterService+method, rosterService+"GetPerson", s, "person", id)
}

// officers write what a person does not write about themselves.
const officers = access.Coordinator | access.Committee | access.WelfareOfficer

// guardPerson keeps from the caller what the caller does not see, and from
// everybody what they do not say about themselves: age, guardian, fitness.
func guardPerson(c *access.Caller, s access.Subject, noted *[]string) store.Guard[*lastlightv1.Person] {
	return func(before, next *lastlightv1.Person) error {
		p := fault.Collect("")
		hidden := unseen{p, noted}
		for group, fields := range unseenFields {
			if !c.Writes(group, s) {
				hidden.keep("", before, next, fields...)
			}
		}
		if before == nil {
			return p.Err()
		}
		if own := s.Relation&access.Self != 0; own && !c.In(s.Expeditions...).Any(officers) || !own && s.Relation&access.Ward != 0 && !c.In(s.Expeditions...).Any(officers) {
			keepOthers(p, before, next, "birth_day", "guardian")
			if before.Guest != next.Guest {
				p.Add("guest", "", "as it is", "a coordinator says who is a guest")
			}
			if own {
				keepOthers(p, before, next, "guardian_consent_to")
			}
		}
		if s.Relation&(access.Self|access.Ward) != 0 { // whatever their roles
			if next.Reassessments == nil {
				next.Reassessments = before.Reassessments
			}
			if !slices.EqualFunc(before.Reassessments, next.Reassessments, func(a, b *lastlightv1.Reassessment) bool { return proto.Equal(a, b) }) {
				p.Add("reassessments", "", "left out: it stays as it is", "nobody records their own re-assessment")
			}
		}
		if next.Medical != nil && c.Writes(access.Medical, s) {
			guardMedical(hidden, "medical.", c, s, before, next.Medical)
		}
		return p.Err()
	}
}

// guardMedical completes a new status from the one on record and refuses what
// this caller may not say. A suspension never vanishes: it is cleared, by
// somebody else.
func guardMedical(hidden unseen, prefix string, c *access.Caller, s access.Subject, before *lastlightv1.Person, next *lastlightv1.MedicalStatus) {
	p, was := hidden.problems, before.GetMedical()
	if !c.Writes(access.Restriction, s) {
		if next.RestrictionCode != "" {
			hidden.sent(prefix+"restriction_code", agreesCode)
		}
		next.RestrictionCode = was.GetRestrictionCode()
	}
	if next.SuspendedAt == nil {
		next.SuspendedAt, next.ClearedAt, next.ClearedByRoles = was.GetSuspendedAt(), was.GetClearedAt(), was.GetClearedByRoles()
	}
	officer := c.In(s.Expeditions...).Any(access.MedicalOfficer)
	if next.RestrictionCode != was.GetRestrictionCode() && !officer {
		p.Add(prefix+"restriction_code", "", "left out: it stays as it is", agreesCode)
	}
	if s.Relation&access.Self == 0 && (officer || c.In(s.Expeditions...).Any(access.Coordinator)) {
		return
	}
	if next.ClearedAt != nil && !proto.Equal(next.ClearedAt, was.GetClearedAt()) {
		p.Add(prefix+"cleared_at", "", "said by the medical officer or a coordinator", "nobody clears themselves")
	}
	if was.GetSuspendedAt() != nil && !proto.Equal(next.SuspendedAt, was.GetSuspendedAt()) {
		p.Add(prefix+"suspended_at", "", "as it is", "a suspension on record is changed by the medical officer or a coordinator")
	}
	if next.DepthLimitM == nil && was != nil {
		next.DepthLimitM = was.DepthLimitM
	}
	if next.GetDepthLimitM() != was.GetDepthLimitM() {
		p.Add(prefix+"depth_limit_m", "", "left out: it stays as it is", "the medical officer or a coordinator sets the limit")
	}
}

const agreesCode = "the medical officer agrees the code"

// unseenFields are the fields of each group in a person's record.
var unseenFields = map[access.Group][]protoreflect.Name{
	access.Reach:    {"telephone", "unavailable", "arrivals"},
	access.Medical:  {"medical"},
	access.Contacts: {"emergency_contacts"},
	access.Training: {"cards", "consumption", "worst_consumption", "reassessments"},
	access.Minor:    {"birth_day", "guardian", "guardian_consent_to"},
}

func (h *Roster) put(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Person, expect store.Expect) (*lastlightv1.Person, error) {
	c := access.CallerFrom(ctx)
	g, err := readGround(ctx, h.Store, nil)
	if err != nil {
		return nil, err
	}
	if err := g.checked("person.", m); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, rosterService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Person, error) {
		s, err := h.subject(ctx, tx, m.Id)
		if err != nil {
			return nil, err
		}
		put, err := tx.PutPerson(ctx, m, expect, guardPerson(c, s, nil))
		return maskedPerson(c, s, put.Record), fault.Under("person.", err)
	})
}

func maskedPerson(c *access.Caller, s access.Subject, m *lastlightv1.Person) *lastlightv1.Person {
	if m == nil || !access.MaskPerson(c, s, m) {
		return &lastlightv1.Person{Id: m.GetId(), Version: m.GetVersion()}
	}
	return m
}

// CreatePerson adds a person.
func (h *Roster) CreatePerson(ctx context.Context, r *lastlightv1.CreatePersonRequest) (*lastlightv1.Person, error) {
	m := proto.CloneOf(r.Person)
	if m.Id == "" {
		m.Id = store.NewID("person", r.RequestId)
	}
	return h.put(ctx, "CreatePerson", r.RequestId, r, m, store.Expect{New: true})
}

// GetPerson reads a person, as far as the caller sees them.
func (h *Roster) GetPerson(ctx context.Context, r *lastlightv1.GetPersonRequest) (*lastlightv1.Person, error) {
	s, err := h.may(ctx, "GetPerson", r.Id)
	if err != nil {
		return nil, err
	}
	m, err := h.Store.GetPerson(ctx, r.Id)
	if err != nil {
		return nil, err
	}
	if !access.MaskPerson(access.CallerFrom(ctx), s, m) {
		return nil, fault.NoSuch("person", r.Id)
	}
	return m, nil
}

// ListPeople lists people, each as far as the caller sees them.
func (h *Roster) ListPeople(ctx context.Context, r *lastlightv1.ListPeopleRequest) (*lastlightv1.ListPeopleResponse, error) {
	list, next, err := h.Store.ListPeople(ctx, r)
	if err != nil {
		return nil, err
	}
	out := &lastlightv1.ListPeopleResponse{NextPageToken: next}
	out.People, err = maskPeople(ctx, h.Store, list)
	return out, err
}

// maskPeople masks a page with one set of queries.
func maskPeople(ctx context.Context, st *store.Store, list []*lastlightv1.Person) ([]*lastlightv1.Person, error) {
	c := access.CallerFrom(ctx)
	ids := make([]string, 0, len(list))
	for _, m := range list {
		ids = append(ids, m.Id)
	}
	subjects, err := st.PersonSubjects(ctx, nil, c, ids)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(list, func(m *lastlightv1.Person) bool { return !access.MaskPerson(c, subjects[m.Id], m) }), nil
}

// UpdatePerson changes a person's record.
func (h *Roster) UpdatePerson(ctx context.Context, r *lastlightv1.UpdatePersonRequest) (*lastlightv1.Person, error) {
	if _, err := h.may(ctx, "UpdatePerson", r.Person.Id); err != nil {
		return nil, err
	}
	return h.put(ctx, "UpdatePerson", r.RequestId, r, proto.CloneOf(r.Person), store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ArchivePerson hides a person from lists.
func (h *Roster) ArchivePerson(ctx context.Context, r *lastlightv1.ArchivePersonRequest) (*lastlightv1.Person, error) {
	return h.change(ctx, "ArchivePerson", r.Id, r.RequestId, r, func(ctx context.Context, tx *store.Tx, _ access.Subject) (*lastlightv1.Person, error) {
		return tx.ArchivePerson(ctx, r.Id)
	})
}

// change is a write about one person: permitted on that person, masked in the answer.
func (h *Roster) change(ctx context.Context, method, person, requestID string, body proto.Message, fn func(context.Context, *store.Tx, access.Subject) (*lastlightv1.Person, error)) (*lastlightv1.Person, error) {
	s, err := h.may(ctx, method, person)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, rosterService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Person, error) {
		m, err := fn(ctx, tx, s)
		return maskedPerson(access.CallerFrom(ctx), s, m), err
	})
}

// RecordCardSeen notes that the caller has had the card in hand. Nobody sees their own.
func (h *Roster) RecordCardSeen(ctx context.Context, r *lastlightv1.RecordCardSeenRequest) (*lastlightv1.Person, error) {
	if r.Person == access.CallerFrom(ctx).Person {
		return nil, denied("nobody can have seen their own card: it needs another person")
	}
	if r.SeenAt != nil {
		if err := notFuture("seen_at", r.SeenAt, h.Store.Now()); err != nil {
			return nil, err
		}
	}
	return h.change(ctx, "RecordCardSeen", r.Person, r.RequestId, r, func(ctx context.Context, tx *store.Tx, _ access.Subject) (*lastlightv1.Person, error) {
		at := tx.Now()
		if r.SeenAt != nil {
			at = r.SeenAt.AsTime()
		}
		return tx.RecordCardSeen(ctx, r.Person, r.Card, at)
	})
}

// RevokeCard ends a card.
func (h *Roster) RevokeCard(ctx context.Context, r *lastlightv1.RevokeCardRequest) (*lastlightv1.Person, error) {
	return h.change(ctx, "RevokeCard", r.Person, r.RequestId, r, func(ctx context.Context, tx *store.Tx, _ access.Subject) (*lastlightv1.Person, error) {
		return tx.RevokeCard(ctx, r.Person, r.Card, r.Reason)
	})
}

// SetMedicalStatus replaces a person's status.
func (h *Roster) SetMedicalStatus(ctx context.Context, r *lastlightv1.SetMedicalStatusRequest) (*lastlightv1.Person, error) {
	c := access.CallerFrom(ctx)
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	p := fault.Collect("")
	roster.CheckMedical(p, "medical.", r.Medical, dates.Today(h.Store.Now(), zone), h.Store.Now())
	if err := p.Err(); err != nil {
		return nil, err
	}
	return h.change(ctx, "SetMedicalStatus", r.Person, r.RequestId, r, func(ctx context.Context, tx *store.Tx, s access.Subject) (*lastlightv1.Person, error) {
		return tx.SetMedicalStatus(ctx, r.Person, r.Medical, func(before *lastlightv1.Person, next *lastlightv1.MedicalStatus) error {
			p := fault.Collect("")
			guardMedical(unseen{problems: p}, "medical.", c, s, before, next)
			return p.Err()
		})
	})
}

// SetAvailability adds days of "not diving" or takes them away.
func (h *Roster) SetAvailability(ctx context.Context, r *lastlightv1.SetAvailabilityRequest) (*lastlightv1.Person, error) {
	p := fault.Collect("")
	roster.CheckDays(p, "", r.FromDay, r.ToDay)
	if err := p.Err(); err != nil {
		return nil, err
	}
	return h.change(ctx, "SetAvailability", r.Person, r.RequestId, r, func(ctx context.Context, tx *store.Tx, _ access.Subject) (*lastlightv1.Person, error) {
		return tx.SetAvailability(ctx, r.Person, func(days []*lastlightv1.Unavailability) []*lastlightv1.Unavailability {
			return roster.Available(days, r.FromDay, r.ToDay, !r.Unavailable)
		})
	})
}
