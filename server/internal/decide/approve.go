package decide

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// Why nothing was decided.
const (
	blocked       = "blocked"
	reportChanged = "report_changed"
	notYours      = "not_yours"
)

// Evaluate runs the engine on what stands now; nothing is stored.
func (d *Desk) Evaluate(ctx context.Context, id string, version int32) (*lastlightv1.Report, error) {
	now := d.Store.Now()
	var records *facts.Records
	var waivers []*lastlightv1.Waiver
	err := d.Store.Read(ctx, func(ctx context.Context, q store.Querier) (err error) {
		if records, err = store.GatherRecords(ctx, q, id, version, time.Time{}, now); err != nil {
			return err
		}
		waivers, err = store.ListPlanWaivers(ctx, q, id, records.Plan.Version, now)
		return err
	})
	if err != nil {
		return nil, err
	}
	r, err := d.judged(ctx, d.unhurried, records, nil, now)
	if err != nil {
		return nil, err
	}
	return r.show(waivers), nil
}

// Submit evaluates the plan's latest version and stores the report.
func (d *Desk) Submit(ctx context.Context, m store.Mutation, req *lastlightv1.SubmitPlanRequest) (*lastlightv1.SubmitPlanResponse, error) {
	return decided(ctx, d, m, func(ctx context.Context, tx *store.Tx, by judge) (*lastlightv1.SubmitPlanResponse, error) {
		s, err := tx.PlanState(ctx, req.Id)
		if err != nil {
			return nil, err
		}
		if req.ExpectedVersion != 0 && s.Version != req.ExpectedVersion {
			return nil, fault.Moved("plan", req.Id, int64(s.Version), int64(req.ExpectedVersion))
		}
		if s, err = d.lock(ctx, tx, req.Id, s.Version); err != nil {
			return nil, err
		}
		if err := guard(s, plan.Submit); err != nil {
			return nil, err
		}
		r, err := d.evaluate(ctx, tx, by, req.Id, s.Version, nil, tx.Now())
		if err != nil {
			return nil, err
		}
		if err := tx.AddEvaluation(ctx, r.evaluation); err != nil {
			return nil, err
		}
		if s.State == plan.Stale {
			if err := tx.Release(ctx, req.Id, "", "", tx.Now()); err != nil {
				return nil, err
			}
		}
		if err := tx.MovePlan(ctx, s, plan.Submit, enterBy(r), nil); err != nil {
			return nil, err
		}
		tx.Event("plan.submit", "plan", req.Id, nil, nil)
		waivers, err := tx.Waivers(ctx, req.Id, s.Version)
		if err != nil {
			return nil, err
		}
		p, err := tx.Plan(ctx, req.Id)
		return &lastlightv1.SubmitPlanResponse{Plan: p, Report: r.show(waivers)}, err
	})
}

// enterBy is the engine's, or the planned entry where the engine could not tell.
func enterBy(r *run) time.Time {
	if t := at(r.report.EnterBy); !t.IsZero() {
		return t
	}
	return r.records.Plan.PlannedEntry.AsTime()
}

// Approve decides for a plan, if the engine run of this very moment allows it
// and gives the report that the approver saw.
func (d *Desk) Approve(ctx context.Context, m store.Mutation, req *lastlightv1.ApprovePlanRequest) (*lastlightv1.DecideResponse, error) {
	return decided(ctx, d, m, func(ctx context.Context, tx *store.Tx, by judge) (*lastlightv1.DecideResponse, error) {
		s, err := d.lock(ctx, tx, req.Id, req.Version)
		if err != nil {
			return nil, err
		}
		if err := guard(s, plan.Approve); err != nil {
			return nil, err
		}
		r, err := d.evaluate(ctx, tx, by, req.Id, s.Version, nil, tx.Now())
		if err != nil {
			return nil, err
		}
		waivers, err := tx.Waivers(ctx, req.Id, s.Version)
		if err != nil {
			return nil, err
		}
		answer := &lastlightv1.DecideResponse{Report: r.show(waivers)}
		if answer.Explanation, err = d.mayDecide(ctx, tx, r.records.Plan, access.Coordinator); err != nil {
			return nil, err
		}
		in := goesIn(r.records.Plan.PlannedEntry.AsTime(), tx.Now())
		stop := blocking(r.report.Findings, waivers, in)
		switch {
		case answer.Explanation != "":
			answer.NotDecided = notYours
		case s.Stopped: // the report that was read may be older than the stop, and equal to one of now
			answer.NotDecided = reportChanged
			answer.Explanation = "all dives were stopped since this plan was approved; submit it again, read the new report, then decide"
		case enterBy(r).Before(tx.Now()):
			answer.NotDecided, answer.Explanation = blocked, "the latest entry of this plan is past; move it to another time"
		case r.evaluation.Hash != req.ReportHash:
			answer.NotDecided = reportChanged
			answer.Explanation = "what this plan rests on has changed since you read its report"
			if r.records.Stops > 0 {
				answer.Explanation += ", or all dives were stopped since"
			}
			answer.Explanation += "; read the new one, then decide"
			if len(stop) > 0 {
				answer.Explanation += "; it is now stopped by: " + report.Worst(answer.Report, 3)
			}
		case len(stop) > 0:
			answer.NotDecided, answer.Explanation = blocked, report.Worst(answer.Report, 3)
		}
		if answer.NotDecided != "" {
			if err := tx.AddEvaluation(ctx, r.evaluation); err != nil {
				return nil, err
			}
			answer.Plan, err = tx.Plan(ctx, req.Id)
			return answer, err
		}
		if err := tx.AddEvaluation(ctx, r.evaluation); err != nil {
			return nil, err
		}
		if err := tx.MovePlan(ctx, s, plan.Approve, enterBy(r), nil); err != nil {
			return nil, err
		}
		if err := tx.WaivedUntil(ctx, req.Id, waivedUntil(r.report.Findings, waivers, in)); err != nil {
			return nil, err
		}
		if err := tx.Book(ctx, req.Id, r.bindings(false)); err != nil {
			return nil, err
		}
		if answer.Decision, err = tx.AddDecision(ctx, store.Decision{
			Plan: req.Id, Version: s.Version, Decision: "approved",
			By: tx.Mutation.Caller, Reason: req.Note, Conditions: r.conditions(), Evaluation: r.evaluation,
		}); err != nil {
			return nil, err
		}
		answer.Decided = true
		answer.Plan, err = tx.Plan(ctx, req.Id)
		return answer, err
	})
}

// Acknowledge notes that somebody of the plan has read its version: no other than the one that stands, for another is another dive.
func (d *Desk) Acknowledge(ctx context.Context, m store.Mutation, req *lastlightv1.AcknowledgePlanRequest) (*lastlightv1.Plan, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Plan, error) {
		s, err := d.lock(ctx, tx, req.Id, req.Version)
		if err != nil {
			return nil, err
		}
		if err := guard(s, plan.Acknowledge); err != nil {
			return nil, err
		}
		if err := tx.Acknowledge(ctx, req.Id, s.Version, tx.Mutation.Caller); err != nil {
			return nil, err
		}
		return tx.Plan(ctx, req.Id)
	})
}

// Refuse decides against a plan, in words.
func (d *Desk) Refuse(ctx context.Context, m store.Mutation, req *lastlightv1.RefusePlanRequest) (*lastlightv1.DecideResponse, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.DecideResponse, error) {
		s, err := d.lock(ctx, tx, req.Id, req.Version)
		if err != nil {
			return nil, err
		}
		if err := guard(s, plan.Refuse); err != nil {
			return nil, err
		}
		p, err := tx.Plan(ctx, req.Id)
		if err != nil {
			return nil, err
		}
		answer := &lastlightv1.DecideResponse{Plan: p}
		if answer.Explanation, err = d.mayDecide(ctx, tx, p, access.Coordinator); err != nil || answer.Explanation != "" {
			answer.NotDecided = notYours
			return answer, err
		}
		last, err := store.LatestEvaluation(ctx, tx, req.Id, s.Version, false)
		if err != nil {
			return nil, err
		}
		if err := tx.MovePlan(ctx, s, plan.Refuse, time.Time{}, []string{req.Reason}); err != nil {
			return nil, err
		}
		if err := tx.Release(ctx, req.Id, "", "", tx.Now()); err != nil {
			return nil, err
		}
		if answer.Decision, err = tx.AddDecision(ctx, store.Decision{Plan: req.Id, Version: s.Version, Decision: "refused", By: tx.Mutation.Caller, Reason: req.Reason, Evaluation: last}); err != nil {
			return nil, err
		}
		answer.Decided = true
		answer.Plan, err = tx.Plan(ctx, req.Id)
		return answer, err
	})
}

// Withdraw takes a plan back.
func (d *Desk) Withdraw(ctx context.Context, m store.Mutation, req *lastlightv1.WithdrawPlanRequest) (*lastlightv1.Plan, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Plan, error) {
		s, err := tx.PlanState(ctx, req.Id)
		if err != nil {
			return nil, err
		}
		if s, err = d.lock(ctx, tx, req.Id, s.Version); err != nil {
			return nil, err
		}
		if err := tx.MovePlan(ctx, s, plan.Withdraw, time.Time{}, reasons(req.Reason)); err != nil {
			return nil, err
		}
		if err := tx.Release(ctx, req.Id, "", "", tx.Now()); err != nil {
			return nil, err
		}
		if _, err := tx.AddDecision(ctx, store.Decision{Plan: req.Id, Version: s.Version, Decision: "withdrawn", By: tx.Mutation.Caller, Reason: req.Reason}); err != nil {
			return nil, err
		}
		return tx.Plan(ctx, req.Id)
	})
}

// rolesOf reads the policy's role words; one that is no role gives nobody anything.
func rolesOf(words []string) access.Roles {
	var roles access.Roles
	for _, w := range words {
		if r, err := access.ParseRole(w); err == nil {
			roles |= r
		}
	}
	return roles
}

func reasons(text string) []string {
	if strings.TrimSpace(text) == "" {
		return nil
	}
	return []string{text}
}

// StopAll makes every approved plan stale at once. To whom seesAway does not let know that the team of a plan is in the water, that
// plan was made stale like the others: so it reads to them.
func (d *Desk) StopAll(ctx context.Context, m store.Mutation, req *lastlightv1.StopAllDivesRequest, seesAway func(*lastlightv1.Plan) bool) (*lastlightv1.StopAllDivesResponse, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.StopAllDivesResponse, error) {
		ids, away, err := tx.StopDives(ctx, req.Expedition, req.Reason)
		if err != nil {
			return nil, err
		}
		for _, id := range away {
			p, err := tx.Plan(ctx, id)
			if err != nil {
				return nil, err
			}
			if !seesAway(p) {
				ids = append(ids, id)
			}
		}
		slices.Sort(ids)
		return &lastlightv1.StopAllDivesResponse{PlansMadeStale: ids}, nil
	})
}

// Report is a stored report of a plan version, with names put in.
func (d *Desk) Report(ctx context.Context, req *lastlightv1.GetReportRequest) (*lastlightv1.Report, error) {
	p, err := d.Store.GetPlan(ctx, req.Id, req.Version)
	if err != nil {
		return nil, err
	}
	e, rep, names, err := d.stored(ctx, p, req.OfDecision)
	if err != nil {
		return nil, err
	}
	out := report.Show(rep, names)
	dressed(out, rep, e, p.Waivers, goesIn(p.PlannedEntry.AsTime(), d.Store.Now()))
	return out, nil
}

func (d *Desk) noReport(p *lastlightv1.Plan) error {
	return fault.NoSuch("report", fmt.Sprintf("%s version %d: submit it first", p.Id, p.Version))
}
