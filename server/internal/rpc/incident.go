package rpc

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/incident"
	"lastlight/server/internal/message"
	"lastlight/server/internal/store"
)

// Incidents serves IncidentService.
type Incidents struct {
	lastlightv1.UnimplementedIncidentServiceServer
	Store *store.Store
}

const incidentService = "/lastlight.v1.IncidentService/"

func incidentSubject(c *access.Caller, m *lastlightv1.Incident) access.Subject {
	var s access.Subject
	if m.GetReportedBy() != "" && m.ReportedBy == c.Person {
		s.Relation |= access.Self
	}
	return s
}

func shownIncident(c *access.Caller, m *lastlightv1.Incident) *lastlightv1.Incident {
	access.MaskIncident(c, incidentSubject(c, m), m)
	return m
}

// guardIncident puts back what the caller was not shown, and runs the checks that need it: who is in it.
func guardIncident(c *access.Caller, noted *[]string, check func(p *fault.Problems, m *lastlightv1.Incident)) store.Guard[*lastlightv1.Incident] {
	return func(before, next *lastlightv1.Incident) error {
		p := fault.Collect("")
		if before != nil {
			s := incidentSubject(c, before)
			if !c.Sees(access.Identities, s) {
				if slices.Equal(next.People, access.Pseudonyms(len(before.People))) { // as it was shown
					next.People = nil
				}
				unseen{p, noted}.keep("", before, next, "people")
			}
			if !c.Sees(access.Narrative, s) && next.Narrative == before.ReviewedNarrative { // as it was shown
				next.Narrative = ""
			}
			if !c.Sees(access.Narrative, s) {
				unseen{p, noted}.keep("", before, next, "narrative", "trigger", "harmful_action", "preceding_event", "outcome", "went_right", "lessons", "dive", "injured")
			}
			if before.State == "closed" && len(message.Changes(before, next)) > 0 {
				return fault.NotInState("incident", before.Id, "closed", "open")
			}
		}
		check(p, next)
		return p.Err()
	}
}

func (h *Incidents) put(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Incident, expect store.Expect) (*lastlightv1.Incident, error) {
	c := access.CallerFrom(ctx)
	return store.Mutate(ctx, h.Store, mutation(ctx, incidentService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Incident, error) {
		names, err := store.Names(ctx, tx)
		if err != nil {
			return nil, err
		}
		put, err := tx.PutIncident(ctx, m, expect, guardIncident(c, nil, func(p *fault.Problems, m *lastlightv1.Incident) { incident.Check(p, m, names, tx.Now()) }))
		if err != nil {
			return nil, fault.Under("incident.", err)
		}
		return shownIncident(c, put.Record), nil
	})
}

// ReportIncident reports an incident. It suspends nobody but the injured.
func (h *Incidents) ReportIncident(ctx context.Context, r *lastlightv1.ReportIncidentRequest) (*lastlightv1.Incident, error) {
	m := proto.CloneOf(r.Incident)
	if m.Id == "" {
		m.Id = store.NewID("incident", r.RequestId)
	}
	return h.put(ctx, "ReportIncident", r.RequestId, r, m, store.Expect{New: true})
}

// incident reads an incident for a method.
func (h *Incidents) incident(ctx context.Context, method, id string) (*lastlightv1.Incident, error) {
	m, err := h.Store.GetIncident(ctx, id)
	if err != nil {
		return nil, err
	}
	return m, allowed(ctx, incidentService+method, incidentService+"GetIncident", incidentSubject(access.CallerFrom(ctx), m), "incident", id)
}

// GetIncident reads an incident as far as the caller sees it.
func (h *Incidents) GetIncident(ctx context.Context, r *lastlightv1.GetIncidentRequest) (*lastlightv1.Incident, error) {
	m, err := h.incident(ctx, "GetIncident", r.Id)
	if err != nil {
		return nil, err
	}
	return shownIncident(access.CallerFrom(ctx), m), nil
}

// ListIncidents lists incidents, latest first. Words are looked for in what the caller may read.
func (h *Incidents) ListIncidents(ctx context.Context, r *lastlightv1.ListIncidentsRequest) (*lastlightv1.ListIncidentsResponse, error) {
	c := access.CallerFrom(ctx)
	list, next, err := h.Store.ListIncidents(ctx, r, c.Sees(access.Narrative, access.Subject{}), c.Person)
	for _, m := range list {
		shownIncident(c, m)
	}
	return &lastlightv1.ListIncidentsResponse{Incidents: list, NextPageToken: next}, err
}

// UpdateIncident makes a new version; the former one is kept.
func (h *Incidents) UpdateIncident(ctx context.Context, r *lastlightv1.UpdateIncidentRequest) (*lastlightv1.Incident, error) {
	if _, err := h.incident(ctx, "UpdateIncident", r.Incident.Id); err != nil {
		return nil, err
	}
	return h.put(ctx, "UpdateIncident", r.RequestId, r, proto.CloneOf(r.Incident), store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ReviewIncident stores the wording that the club may read.
func (h *Incidents) ReviewIncident(ctx context.Context, r *lastlightv1.ReviewIncidentRequest) (*lastlightv1.Incident, error) {
	c := access.CallerFrom(ctx)
	return store.Mutate(ctx, h.Store, mutation(ctx, incidentService+"ReviewIncident", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Incident, error) {
		names, err := store.Names(ctx, tx)
		if err != nil {
			return nil, err
		}
		m, err := tx.ReviewIncident(ctx, r.Id, r.ReviewedNarrative)
		if err != nil {
			return nil, err
		}
		involved := map[string]int{}
		for i, id := range m.People {
			involved[id] = i + 1
		}
		p := fault.Collect("")
		incident.CheckText(p, "reviewed_narrative", r.ReviewedNarrative, names, involved)
		if err := p.Err(); err != nil {
			return nil, err
		}
		return shownIncident(c, m), nil
	})
}

// CloseIncident ends the work on an incident.
func (h *Incidents) CloseIncident(ctx context.Context, r *lastlightv1.CloseIncidentRequest) (*lastlightv1.Incident, error) {
	c := access.CallerFrom(ctx)
	return store.Mutate(ctx, h.Store, mutation(ctx, incidentService+"CloseIncident", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Incident, error) {
		m, err := tx.CloseIncident(ctx, r.Id)
		if err != nil {
			return nil, err
		}
		return shownIncident(c, m), nil
	})
}
