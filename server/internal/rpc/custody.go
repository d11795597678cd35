package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/gear"
	"lastlight/server/internal/store"
)

// RecordCustody records what became of items: one event for each, all or none.
func (h *Gear) RecordCustody(ctx context.Context, r *lastlightv1.RecordCustodyRequest) (*lastlightv1.RecordCustodyResponse, error) {
	subjects, err := h.subjects(ctx, nil, r.Items...)
	if err != nil {
		return nil, err
	}
	for _, item := range r.Items {
		if err := allowed(ctx, gearService+"RecordCustody", gearService+"GetCylinder", subjects[item], "item", item); err != nil {
			return nil, err
		}
	}
	p := fault.Collect("event.")
	if r.Event.Item != "" {
		p.Add("item", r.Event.Item, "empty; the items are named beside the event", "named twice")
	}
	gear.CheckCustody(p, r.Event, h.Store.Now())
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"RecordCustody", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.RecordCustodyResponse, error) {
		list, err := tx.RecordCustody(ctx, r.Items, proto.CloneOf(r.Event))
		return &lastlightv1.RecordCustodyResponse{Events: list}, err
	})
}

// ListCustody lists what became of an item, or of all for those who keep the register.
func (h *Gear) ListCustody(ctx context.Context, r *lastlightv1.ListCustodyRequest) (*lastlightv1.ListCustodyResponse, error) {
	if err := h.mayListGas(ctx, "ListCustody", r.Item); err != nil {
		return nil, err
	}
	list, next, err := h.Store.ListCustody(ctx, r)
	return &lastlightv1.ListCustodyResponse{Events: list, NextPageToken: next}, err
}

// ListHoldings lists who has what now and what lies where. What one has oneself
// everybody may ask, and what lies in a cave every member; who has what else is
// for those who keep the register.
func (h *Gear) ListHoldings(ctx context.Context, r *lastlightv1.ListHoldingsRequest) (*lastlightv1.ListHoldingsResponse, error) {
	c := access.CallerFrom(ctx)
	var s access.Subject
	if r.Holder == c.Person {
		s.Relation |= access.Self
	}
	inCave := r.State == "waiting_in_cave" && c.Anywhere().Any(access.Members) // as for what is left at a site
	if !access.May(c, gearService+"ListHoldings", s) && !inCave {
		return nil, denied("ask for what you have yourself, or for what waits in the cave; who has what is for those who keep the register")
	}
	list, next, err := h.Store.ListHoldings(ctx, r)
	return &lastlightv1.ListHoldingsResponse{Holdings: list, NextPageToken: next}, err
}
