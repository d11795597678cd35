package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/expedition"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// Expeditions serves ExpeditionService.
type Expeditions struct {
	lastlightv1.UnimplementedExpeditionServiceServer
	Store *store.Store
	Zones facts.ZoneLoader
}

const expeditionService = "/lastlight.v1.ExpeditionService/"

func (h *Expeditions) put(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Expedition, expect store.Expect) (*lastlightv1.Expedition, error) {
	p := fault.Collect("expedition.")
	expedition.Check(p, m)
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, expeditionService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Expedition, error) {
		put, err := tx.PutExpedition(ctx, m, expect)
		return put.Record, fault.Under("expedition.", err)
	})
}

func (h *Expeditions) may(ctx context.Context, method, id string) error {
	return allowed(ctx, expeditionService+method, expeditionService+"GetExpedition", access.Subject{Expeditions: expeditions(id)}, "expedition", id)
}

// CreateExpedition adds an expedition.
func (h *Expeditions) CreateExpedition(ctx context.Context, r *lastlightv1.CreateExpeditionRequest) (*lastlightv1.Expedition, error) {
	m := proto.CloneOf(r.Expedition)
	if m.Id == "" {
		m.Id = store.NewID("expedition", r.RequestId)
	}
	return h.put(ctx, "CreateExpedition", r.RequestId, r, m, store.Expect{New: true})
}

// GetExpedition reads an expedition.
func (h *Expeditions) GetExpedition(ctx context.Context, r *lastlightv1.GetExpeditionRequest) (*lastlightv1.Expedition, error) {
	return h.Store.GetExpedition(ctx, r.Id)
}

// ListExpeditions lists expeditions.
func (h *Expeditions) ListExpeditions(ctx context.Context, r *lastlightv1.ListExpeditionsRequest) (*lastlightv1.ListExpeditionsResponse, error) {
	list, next, err := h.Store.ListExpeditions(ctx, r)
	return &lastlightv1.ListExpeditionsResponse{Expeditions: list, NextPageToken: next}, err
}

// UpdateExpedition changes an expedition.
func (h *Expeditions) UpdateExpedition(ctx context.Context, r *lastlightv1.UpdateExpeditionRequest) (*lastlightv1.Expedition, error) {
	if err := h.may(ctx, "UpdateExpedition", r.Expedition.Id); err != nil {
		return nil, err
	}
	if err := takesIn(ctx, h.Store, r.Expedition.Id, participants(r.Expedition)...); err != nil {
		return nil, err
	}
	return h.put(ctx, "UpdateExpedition", r.RequestId, r, r.Expedition, store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ArchiveExpedition hides an expedition from lists.
func (h *Expeditions) ArchiveExpedition(ctx context.Context, r *lastlightv1.ArchiveExpeditionRequest) (*lastlightv1.Expedition, error) {
	if err := h.may(ctx, "ArchiveExpedition", r.Id); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, expeditionService+"ArchiveExpedition", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Expedition, error) {
		return tx.ArchiveExpedition(ctx, r.Id)
	})
}

// participants are the people that an expedition names.
func participants(m *lastlightv1.Expedition) []string {
	people := make([]string, len(m.Participants))
	for i, p := range m.Participants {
		people[i] = p.Person
	}
	return people
}
