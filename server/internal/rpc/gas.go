package rpc

import (
	"context"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fillstation"
	"lastlight/server/internal/store"
)

// Gas serves GasService. Only the policy in force is read, for its limits; the fill plan alone reads records.
type Gas struct {
	lastlightv1.UnimplementedGasServiceServer
	Store *store.Store
	Zones facts.ZoneLoader
}

const gasService = "/lastlight.v1.GasService/"

// CheckMix tells where a mix may be breathed.
func (h *Gas) CheckMix(ctx context.Context, r *lastlightv1.CheckMixRequest) (*lastlightv1.MixCheck, error) {
	p, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	return fillstation.CheckMix(r, p)
}

// GetBestMix finds the mix for a depth.
func (h *Gas) GetBestMix(ctx context.Context, r *lastlightv1.GetBestMixRequest) (*lastlightv1.BestMix, error) {
	p, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	return fillstation.BestMix(r, p)
}

// CheckGasSwitch advises on a change of gas.
func (h *Gas) CheckGasSwitch(ctx context.Context, r *lastlightv1.CheckGasSwitchRequest) (*lastlightv1.GasSwitch, error) {
	p, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	return fillstation.CheckSwitch(r, p), nil
}

// GetContents tells what a cylinder holds.
func (h *Gas) GetContents(_ context.Context, r *lastlightv1.GetContentsRequest) (*lastlightv1.Contents, error) {
	return fillstation.Contents(r)
}

// GetSettledPressure tells what a closed cylinder shows at another temperature.
func (h *Gas) GetSettledPressure(_ context.Context, r *lastlightv1.GetSettledPressureRequest) (*lastlightv1.SettledPressure, error) {
	return fillstation.Settled(r)
}

// GetBlendSheet works out how to make a mix.
func (h *Gas) GetBlendSheet(ctx context.Context, r *lastlightv1.GetBlendSheetRequest) (*lastlightv1.BlendSheet, error) {
	p, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	return fillstation.Blend(r, p)
}

// GetCascade works out the order of a bank's bottles.
func (h *Gas) GetCascade(_ context.Context, r *lastlightv1.GetCascadeRequest) (*lastlightv1.Cascade, error) {
	return fillstation.Cascade(r)
}

// GetFillPlan works out the gas budget of an expedition's days.
func (h *Gas) GetFillPlan(ctx context.Context, r *lastlightv1.GetFillPlanRequest) (*lastlightv1.FillPlan, error) {
	if err := allowed(ctx, gasService+"GetFillPlan", expeditionService+"GetExpedition", access.Subject{Expeditions: expeditions(r.Expedition)}, "expedition", r.Expedition); err != nil {
		return nil, err
	}
	q, err := fillstation.Ask(r)
	if err != nil {
		return nil, err
	}
	var g fillstation.Ground
	if g.Expedition, err = h.Store.GetExpedition(ctx, r.Expedition); err != nil {
		return nil, err
	}
	if g.Policy, err = h.Store.PolicyInForce(ctx); err != nil {
		return nil, err
	}
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	if g.Due, err = facts.NewDue(g.Policy, zone, h.Store.Now(), h.Zones); err != nil {
		return nil, err
	}
	from, to := q.Span()
	if g.Gear, err = h.Store.GatherGear(ctx, r.Expedition, from, to); err != nil {
		return nil, err
	}
	return q.Plan(g)
}
