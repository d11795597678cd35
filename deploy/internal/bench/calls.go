package bench

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	v1 "lastlight/proto/lastlight/v1"
)

// reading records a reading at the caller's own site.
func (c *club) reading(ctx context.Context, caller, n int) error {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	level := float64(n%100) / 100
	_, err := c.sites.RecordReading(ctx, &v1.RecordReadingRequest{
		Reading:   &v1.Reading{Site: c.siteIDs[caller], ReadAt: timestamppb.Now(), LevelM: &level, Flow: "low"},
		RequestId: newRequest(),
	}, c.as[caller])
	return err
}

// page lists whole dives, as the API gives them.
func (c *club) page(ctx context.Context, caller, _ int) error { return c.list(ctx, caller, false) }

// lines lists of each dive what the command line shows.
func (c *club) lines(ctx context.Context, caller, _ int) error { return c.list(ctx, caller, true) }

func (c *club) list(ctx context.Context, caller int, lines bool) error {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	found, err := c.dives.ListDives(ctx, &v1.ListDivesRequest{PageSize: rowsListed, Lines: lines}, c.as[caller])
	if err == nil && len(found.GetDives()) != rowsListed {
		err = fmt.Errorf("a page of %d dives, not %d", len(found.GetDives()), rowsListed)
	}
	return err
}

// decidedPlans are the demo's plans that were approved at some time, the largest first: by the number of findings.
func (c *club) decidedPlans(ctx context.Context) ([]*v1.Plan, error) {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	found, err := c.plans.ListPlans(ctx, &v1.ListPlansRequest{PageSize: 200, States: []v1.PlanState{
		v1.PlanState_PLAN_STATE_APPROVED, v1.PlanState_PLAN_STATE_STALE, v1.PlanState_PLAN_STATE_IN_WATER, v1.PlanState_PLAN_STATE_CLOSED,
	}}, c.who)
	if err != nil {
		return nil, fmt.Errorf("list plans: %w", err)
	}
	if len(found.GetPlans()) == 0 {
		return nil, errors.New("the demo leaves no plan that was approved")
	}
	size := map[string]int{}
	for _, p := range found.GetPlans() {
		report, err := c.plans.GetReport(ctx, &v1.GetReportRequest{Id: p.GetId(), OfDecision: true}, c.who)
		if err != nil {
			return nil, fmt.Errorf("report of %s: %w", p.GetId(), err)
		}
		size[p.GetId()] = len(report.GetFindings())
	}
	slices.SortFunc(found.GetPlans(), func(a, b *v1.Plan) int {
		return cmp.Or(cmp.Compare(size[b.GetId()], size[a.GetId()]), cmp.Compare(a.GetId(), b.GetId()))
	})
	return found.GetPlans(), nil
}

// models are the demo's largest plan, and the largest whose copies can be approved by themselves: one that needs another dive
// before it cannot.
func (c *club) models(ctx context.Context) (largest, copyable *v1.Plan, err error) {
	plans, err := c.decidedPlans(ctx)
	if err != nil {
		return nil, nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	var blocked []string
	for _, p := range plans {
		draft, err := c.draftPlan(ctx, p, 0, "probe-"+p.GetId())
		if err != nil {
			return nil, nil, err
		}
		report, err := c.plans.EvaluatePlan(ctx, &v1.EvaluatePlanRequest{Id: draft.GetId()}, c.who)
		if err != nil {
			return nil, nil, fmt.Errorf("evaluate a copy of %s: %w", p.GetId(), err)
		}
		i := slices.IndexFunc(report.GetFindings(), func(f *v1.Finding) bool {
			return slices.Contains([]string{"refuse", "indeterminate", "needs_waiver"}, f.GetStatus())
		})
		if i < 0 {
			return plans[0], p, nil
		}
		blocked = append(blocked, fmt.Sprintf("%s: %s", p.GetId(), report.GetFindings()[i].GetMessage()))
	}
	return nil, nil, fmt.Errorf("no copy of the demo's plans passes: %s", strings.Join(blocked, "; "))
}

// ahead is how far ahead plans are made: on a later day, for which a reading at the site is due at entry but not yet at approval.
const ahead = 72 * time.Hour

// draftPlans makes copies of a plan, some for each caller, with the caller's own team, gear and site. Drafts may overlap.
func (c *club) draftPlans(ctx context.Context, model *v1.Plan, callers, each int) ([][]*v1.Plan, error) {
	plans := make([][]*v1.Plan, callers)
	for caller := range callers {
		for n := range each {
			made, err := c.draftPlan(ctx, model, caller, fmt.Sprintf("bench-%d-%d-%d", callers, caller, n))
			if err != nil {
				return nil, err
			}
			plans[caller] = append(plans[caller], made)
		}
	}
	return plans, nil
}

// draftPlan makes one copy of a plan for a caller.
func (c *club) draftPlan(ctx context.Context, model *v1.Plan, caller int, id string) (*v1.Plan, error) {
	p := proto.CloneOf(model)
	c.rename(p, caller)
	p.Id = id + "-" + c.suffix
	p.Version, p.State, p.StateReasons, p.CodeWord, p.VersionAt, p.VersionBy, p.Waivers = 0, 0, nil, "", nil, "", nil
	at := c.begin.Add(ahead).Truncate(time.Minute)
	p.PlannedEntry, p.EnterBy, p.Expedition = timestamppb.New(at), nil, ""
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	made, err := c.plans.CreatePlan(ctx, &v1.CreatePlanRequest{Plan: p, RequestId: newRequest()}, c.as[caller])
	if err != nil {
		return nil, fmt.Errorf("copy plan %s: %w", model.GetId(), err)
	}
	return made, nil
}

// submit submits the callers' drafts and keeps the answers for approving.
func (c *club) submit(plans [][]*v1.Plan) operation {
	c.submitted = make([][]*v1.SubmitPlanResponse, len(plans))
	return func(ctx context.Context, caller, n int) error {
		answer, err := c.submitOne(ctx, caller, plans[caller][n])
		if err == nil {
			c.submitted[caller] = append(c.submitted[caller], answer)
		}
		return err
	}
}

func (c *club) submitOne(ctx context.Context, caller int, p *v1.Plan) (*v1.SubmitPlanResponse, error) {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	answer, err := c.plans.SubmitPlan(ctx, &v1.SubmitPlanRequest{Id: p.GetId(), ExpectedVersion: p.GetVersion(), RequestId: newRequest()}, c.as[caller])
	if err != nil {
		return nil, fmt.Errorf("submit %s: %w", p.GetId(), err)
	}
	return answer, nil
}

// approve approves a submitted plan and adds the time it took to spent; it then withdraws it, so that the next one is free.
func (c *club) approve(spent []time.Duration) operation {
	return func(ctx context.Context, caller, n int) error {
		took, err := c.approveAndWithdraw(ctx, caller, c.submitted[caller][n])
		spent[caller] += took
		return err
	}
}

// approveAndWithdraw returns how long the approval took.
func (c *club) approveAndWithdraw(ctx context.Context, caller int, s *v1.SubmitPlanResponse) (time.Duration, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*deadline)
	defer cancel()
	begin, id := time.Now(), s.GetPlan().GetId()
	_, err := c.plans.ApprovePlan(ctx, &v1.ApprovePlanRequest{
		Id: id, Version: s.GetPlan().GetVersion(), ReportHash: s.GetReport().GetHash(), RequestId: newRequest(),
	}, c.as[caller])
	took := time.Since(begin)
	if err != nil {
		return took, fmt.Errorf("approve %s: %w", id, err)
	}
	if _, err := c.plans.WithdrawPlan(ctx, &v1.WithdrawPlanRequest{Id: id, Reason: "bench", RequestId: newRequest()}, c.as[caller]); err != nil {
		return took, fmt.Errorf("withdraw %s: %w", id, err)
	}
	return took, nil
}

// evaluation measures the engine alone, on the input that the server gathered for a plan.
func (c *club) evaluation(ctx context.Context, p *v1.Plan) (testing.BenchmarkResult, error) {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	evidence, err := c.plans.GetEvidence(ctx, &v1.GetEvidenceRequest{Id: p.GetId(), Version: p.GetVersion()}, c.who)
	if err != nil {
		return testing.BenchmarkResult{}, fmt.Errorf("evidence of %s: %w", p.GetId(), err)
	}
	var in engine.Input
	if err := json.Unmarshal(evidence.GetInput(), &in); err != nil {
		return testing.BenchmarkResult{}, fmt.Errorf("the engine's input for %s: %w", p.GetId(), err)
	}
	findings := 0
	result := testing.Benchmark(func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			findings = len(engine.Evaluate(in).Findings)
		}
	})
	if findings == 0 {
		return result, fmt.Errorf("the engine found nothing about %s", p.GetId())
	}
	return result, nil
}
