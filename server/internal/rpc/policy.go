package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// Policies serves PolicyService.
type Policies struct {
	lastlightv1.UnimplementedPolicyServiceServer
	Store *store.Store
}

const policyService = "/lastlight.v1.PolicyService/"

// CreatePolicy adds a draft.
func (h *Policies) CreatePolicy(ctx context.Context, r *lastlightv1.CreatePolicyRequest) (*lastlightv1.Policy, error) {
	p := fault.Collect("policy.")
	store.DecodePolicy(p, r.Policy)
	if err := p.Err(); err != nil {
		return nil, err
	}
	m := proto.CloneOf(r.Policy)
	if m.Id == "" {
		m.Id = store.NewID("policy", r.RequestId)
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, policyService+"CreatePolicy", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Policy, error) {
		put, err := tx.PutPolicy(ctx, m, store.Expect{New: true})
		return put.Record, fault.Under("policy.", err)
	})
}

// GetPolicy reads a policy; empty: the one in force today.
func (h *Policies) GetPolicy(ctx context.Context, r *lastlightv1.GetPolicyRequest) (*lastlightv1.Policy, error) {
	return h.Store.GetPolicy(ctx, r.Id)
}

// ListPolicies lists policies without their documents, the newest first.
func (h *Policies) ListPolicies(ctx context.Context, r *lastlightv1.ListPoliciesRequest) (*lastlightv1.ListPoliciesResponse, error) {
	list, next, err := h.Store.ListPolicies(ctx, r)
	return &lastlightv1.ListPoliciesResponse{Policies: list, NextPageToken: next}, err
}

// AdoptPolicy puts a draft in force. Decisions already taken keep the policy they were taken under.
func (h *Policies) AdoptPolicy(ctx context.Context, r *lastlightv1.AdoptPolicyRequest) (*lastlightv1.Policy, error) {
	p := fault.Collect("")
	dates.Day(p, "in_force_from", r.InForceFrom)
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, policyService+"AdoptPolicy", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Policy, error) {
		return tx.AdoptPolicy(ctx, r.Id, r.InForceFrom)
	})
}
