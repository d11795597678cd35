package rpc

import (
	"context"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/decide"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// Policies serves PolicyService.
type Policies struct {
	lastlightv1.UnimplementedPolicyServiceServer
	Store *store.Store
	Desk  *decide.Desk
}

const policyService = "/lastlight.v1.PolicyService/"

// CreatePolicy adds a draft.
func (h *Policies) CreatePolicy(ctx context.Context, r *lastlightv1.CreatePolicyRequest) (*lastlightv1.Policy, error) {
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

// ComparePolicy tells what a policy would change against another: cells, and every open plan that the caller may read.
func (h *Policies) ComparePolicy(ctx context.Context, r *lastlightv1.ComparePolicyRequest) (*lastlightv1.PolicyComparison, error) {
	found, err := h.Desk.ComparePolicies(ctx, r.Against, r.Id)
	if err != nil {
		return nil, err
	}
	out := &lastlightv1.PolicyComparison{
		Id: found.After, Against: found.Before, EngineVersion: engine.Version, EvaluatedAt: timestamppb.New(found.At),
		PlansCompared: int32(len(found.Plans)),
	}
	for _, c := range found.Cells {
		out.Cells = append(out.Cells, &lastlightv1.PolicyCellChange{
			Path: c.Path, Before: c.Before, After: c.After,
			Citation: report.Citation(c.Citation),
		})
	}
	for _, p := range found.Plans {
		s := planSubject(access.CallerFrom(ctx), p.Plan)
		if !readsAll(ctx, s, p.Plan) {
			out.Plans = append(out.Plans, &lastlightv1.PolicyPlanChange{
				Plan: p.Plan.Id, Version: p.Plan.Version, State: p.Plan.State, Site: p.Plan.Site, PlannedEntry: p.Plan.PlannedEntry, NotTold: true,
			})
			continue
		}
		change := &lastlightv1.PolicyPlanChange{
			Plan: p.Plan.Id, Version: p.Plan.Version, State: p.Plan.State, Site: p.Plan.Site, PlannedEntry: p.Plan.PlannedEntry,
			VerdictBefore: p.Before.GetVerdict(), VerdictAfter: p.After.GetVerdict(), NotEvaluated: p.NotEvaluated,
			Findings: report.Changes(masked(ctx, p.Before, s), masked(ctx, p.After, s)),
		}
		change.Standings = p.Standings
		if change.NotEvaluated != "" || change.VerdictBefore != change.VerdictAfter || len(change.Findings)+len(change.Standings) > 0 {
			out.Plans = append(out.Plans, change)
		}
	}
	return out, nil
}

// CompareDecidedPlans tells what a policy would have said of plans on record, as far as the caller may read their reports.
func (h *Policies) CompareDecidedPlans(ctx context.Context, r *lastlightv1.CompareDecidedPlansRequest) (*lastlightv1.CompareDecidedPlansResponse, error) {
	p := fault.Collect("")
	if r.FromDay != "" {
		dates.Day(p, "from_day", r.FromDay)
	}
	if r.ToDay != "" {
		dates.Day(p, "to_day", r.ToDay)
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	id, list, next, err := h.Desk.CompareDecided(ctx, r)
	if err != nil {
		return nil, err
	}
	out := &lastlightv1.CompareDecidedPlansResponse{Id: id, EngineVersion: engine.Version, NextPageToken: next}
	for _, x := range list {
		s := planSubject(access.CallerFrom(ctx), x.Plan)
		if !readsAll(ctx, s, x.Plan) {
			out.Plans = append(out.Plans, &lastlightv1.DecidedPlanChange{
				Plan: x.Plan.Id, Version: x.Run.Version, Site: x.Plan.Site, PlannedEntry: x.Plan.PlannedEntry,
				Moment: x.Run.Moment, EvaluatedAt: timestamppb.New(x.Run.EvaluatedAt),
				PolicyThen: x.Run.Policy, EngineThen: x.Run.EngineVersion, VerdictThen: x.Run.Verdict, NotTold: true,
			})
			continue
		}
		out.Plans = append(out.Plans, &lastlightv1.DecidedPlanChange{
			Plan: x.Plan.Id, Version: x.Run.Version, Site: x.Plan.Site, PlannedEntry: x.Plan.PlannedEntry,
			Moment: x.Run.Moment, EvaluatedAt: timestamppb.New(x.Run.EvaluatedAt),
			PolicyThen: x.Run.Policy, EngineThen: x.Run.EngineVersion, VerdictThen: x.Run.Verdict,
			VerdictBefore: x.Before.GetVerdict(), VerdictAfter: x.After.GetVerdict(),
			NotEvaluated: x.NotEvaluated, ReadsFurther: x.ReadsFurther,
			Findings:  report.Changes(masked(ctx, x.Before, s), masked(ctx, x.After, s)),
			Standings: x.Standings,
		})
	}
	return out, nil
}

// readsAll tells whether the caller may read whatever a policy judges of everybody in a plan: cards, consumption, age and whether
// they are fit. To others no verdict under a policy that nobody has adopted is told: a rule of their own, naming one value, would
// read it out of the verdict, whatever is masked beside it.
func readsAll(ctx context.Context, s access.Subject, p *lastlightv1.Plan) bool {
	c := access.CallerFrom(ctx)
	for _, person := range plan.People(p) {
		about := subjectIn(c, s, person)
		for _, g := range []access.Group{access.Training, access.Minor, access.Medical} {
			if !c.Writes(g, about) {
				return false
			}
		}
	}
	return true
}

// AdoptPolicy puts a draft in force, from today in the club's zone at the earliest: what was dived was dived under the policy of its
// day, and no adoption is ever undone. Decisions already taken keep the policy they were taken under.
func (h *Policies) AdoptPolicy(ctx context.Context, r *lastlightv1.AdoptPolicyRequest) (*lastlightv1.Policy, error) {
	_, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, policyService+"AdoptPolicy", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Policy, error) {
		p := fault.Collect("")
		dates.Coming(p, "in_force_from", r.InForceFrom, dates.Today(tx.Now(), zone))
		if err := p.Err(); err != nil {
			return nil, err
		}
		return tx.AdoptPolicy(ctx, r.Id, r.InForceFrom)
	})
}
