package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/gear"
	"lastlight/server/internal/quantity"
	"lastlight/server/internal/store"
)

// RecordService adds what was done to an item.
func (h *Gear) RecordService(ctx context.Context, r *lastlightv1.RecordServiceRequest) (*lastlightv1.ServiceEvent, error) {
	item, err := h.Store.GetItem(ctx, r.Item)
	if err != nil {
		return nil, err
	}
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	var made calendar.Mark
	if text := item.GetCylinder().GetManufactured() + item.GetEquipment().GetManufactured(); text != "" {
		if made, err = calendar.ParseMark(text); err != nil {
			return nil, err
		}
	}
	p := fault.Collect("")
	gear.CheckService(p, "event.", r.Event, made, dates.Today(h.Store.Now(), zone))
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"RecordService", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.ServiceEvent, error) {
		return tx.RecordService(ctx, r.Item, r.Event)
	})
}

// Quarantine takes an item out of use.
func (h *Gear) Quarantine(ctx context.Context, r *lastlightv1.QuarantineRequest) (*lastlightv1.Item, error) {
	return h.quarantine(ctx, "Quarantine", r.Item, r.RequestId, r, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Item, error) {
		return tx.QuarantineItem(ctx, r.Item, r.Reason)
	})
}

// Release brings an item back into use.
func (h *Gear) Release(ctx context.Context, r *lastlightv1.ReleaseRequest) (*lastlightv1.Item, error) {
	return h.quarantine(ctx, "Release", r.Item, r.RequestId, r, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Item, error) {
		return tx.ReleaseItem(ctx, r.Item, r.Reason)
	})
}

func (h *Gear) quarantine(ctx context.Context, method, item, requestID string, body proto.Message, fn func(context.Context, *store.Tx) (*lastlightv1.Item, error)) (*lastlightv1.Item, error) {
	s, err := h.may(ctx, method, "GetCylinder", "item", item, item)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Item, error) {
		m, err := fn(ctx, tx)
		access.MaskCylinder(access.CallerFrom(ctx), s, m.GetCylinder())
		return m, err
	})
}

// RecordFill records a fill.
func (h *Gear) RecordFill(ctx context.Context, r *lastlightv1.RecordFillRequest) (*lastlightv1.Fill, error) {
	m := proto.CloneOf(r.Fill)
	p := fault.Collect("fill.")
	quantity.ToSI(m, p)
	gear.CheckFill(p, m, h.Store.Now())
	if err := p.Err(); err != nil {
		return nil, err
	}
	if m.Id == "" {
		m.Id = store.NewID("fill", r.RequestId)
	}
	due, inForce, err := h.due(ctx)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"RecordFill", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Fill, error) {
		out, err := tx.RecordFill(ctx, m, fillGuard(inForce, due))
		return out, fault.Under("fill.", err)
	})
}

// fillGuard judges a fill by the cylinder as it stood on the day of the fill.
func fillGuard(inForce *policy.Policy, due facts.Due) store.FillGuard {
	return func(m *lastlightv1.Fill, c facts.Cylinder) error {
		on, err := due.On(m.FilledAt.AsTime(), m.TimeZone)
		if err != nil {
			return err
		}
		fact := due.Fact(c)
		p := fault.Collect("")
		gear.CheckFilling(p, inForce, &fact, m, on)
		return p.Err()
	}
}

// ListFills lists fills of one cylinder, or of all for those who keep the register.
func (h *Gear) ListFills(ctx context.Context, r *lastlightv1.ListFillsRequest) (*lastlightv1.ListFillsResponse, error) {
	if err := h.mayListGas(ctx, "ListFills", r.Cylinder); err != nil {
		return nil, err
	}
	list, next, err := h.Store.ListFills(ctx, r)
	return &lastlightv1.ListFillsResponse{Fills: list, NextPageToken: next}, err
}

func (h *Gear) mayListGas(ctx context.Context, method, cylinder string) error {
	if cylinder == "" {
		if access.May(access.CallerFrom(ctx), gearService+method, access.Subject{}) {
			return nil
		}
		return denied("name a cylinder of yours or of your team")
	}
	_, err := h.may(ctx, method, "GetCylinder", "cylinder", cylinder, cylinder)
	return err
}

// RecordAnalysis records an analysis. A bare serial is refused where it names two cylinders.
func (h *Gear) RecordAnalysis(ctx context.Context, r *lastlightv1.RecordAnalysisRequest) (*lastlightv1.Analysis, error) {
	m := proto.CloneOf(r.Analysis)
	p := fault.Collect("analysis.")
	quantity.ToSI(m, p)
	gear.CheckAnalysis(p, m, h.Store.Now())
	if err := p.Err(); err != nil {
		return nil, err
	}
	if m.Id == "" {
		m.Id = store.NewID("analysis", r.RequestId)
	}
	inForce, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, gearService+"RecordAnalysis", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Analysis, error) {
		if err := tx.NameCylinder(ctx, m); err != nil {
			return nil, fault.Under("analysis.", err)
		}
		out, err := tx.RecordAnalysis(ctx, m)
		return labelled(inForce, out), fault.Under("analysis.", err)
	})
}

func labelled(p *policy.Policy, m *lastlightv1.Analysis) *lastlightv1.Analysis {
	if m != nil {
		m.Label = gear.Label(p, m)
	}
	return m
}

// ListAnalyses lists analyses with what ended each.
func (h *Gear) ListAnalyses(ctx context.Context, r *lastlightv1.ListAnalysesRequest) (*lastlightv1.ListAnalysesResponse, error) {
	if err := h.mayListGas(ctx, "ListAnalyses", r.Cylinder); err != nil {
		return nil, err
	}
	inForce, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	list, next, err := h.Store.ListAnalyses(ctx, r)
	for _, m := range list {
		labelled(inForce, m)
	}
	return &lastlightv1.ListAnalysesResponse{Analyses: list, NextPageToken: next}, err
}
