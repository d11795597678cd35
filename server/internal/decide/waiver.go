package decide

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/finding"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/store"
)

// measure is what a waiver of the finding speaks for: what was observed, and how far from the limit that is. nil: the rule
// compares no numbers, and what was observed has to be the same.
func measure(f *finding.Finding) (observed string, shortfall *float64) {
	if f.Observed != nil {
		observed = f.Observed.String()
	}
	switch {
	case f.Shortfall != nil && f.Shortfall.Number != nil:
		return observed, f.Shortfall.Number
	case f.Observed != nil && f.Observed.Number != nil && f.Limit != nil && f.Limit.Number != nil:
		away := math.Abs(*f.Observed.Number - *f.Limit.Number)
		return observed, &away
	}
	return observed, nil
}

// covers tells whether a waiver lets this finding pass at an instant: of this finding, with its second approver, not withdrawn,
// not run out, and the finding no worse than it was when it was waived.
func covers(w *lastlightv1.Waiver, f *finding.Finding, at time.Time) bool {
	second := w.NeedsSecondApprover || f.Waiver != nil && f.Waiver.SecondApprover // the policy may ask for more than it did then
	if w.Finding != f.Key() || second && w.SecondApprover == "" || w.WithdrawnAt != nil || w.ExpiresAt != nil && !at.Before(w.ExpiresAt.AsTime()) {
		return false
	}
	if w.Said == "" { // recorded before the measure was
		return true
	}
	observed, shortfall := measure(f)
	if shortfall != nil && w.Shortfall != nil {
		return *shortfall <= *w.Shortfall+1e-6
	}
	return shortfall == nil && w.Shortfall == nil && observed == w.Observed
}

// waivedBy is the waiver that covers a finding; nil: none does.
func waivedBy(f *finding.Finding, waivers []*lastlightv1.Waiver, at time.Time) *lastlightv1.Waiver {
	i := slices.IndexFunc(waivers, func(w *lastlightv1.Waiver) bool { return covers(w, f, at) })
	if i < 0 || !f.Waivable() {
		return nil
	}
	return waivers[i]
}

// waivedUntil is when the first of the waivers runs out that let a finding pass; zero: none does.
func waivedUntil(findings []finding.Finding, waivers []*lastlightv1.Waiver, at time.Time) time.Time {
	var first time.Time
	for i := range findings {
		if w := waivedBy(&findings[i], waivers, at); w.GetExpiresAt() != nil {
			if t := w.ExpiresAt.AsTime(); first.IsZero() || t.Before(first) {
				first = t
			}
		}
	}
	return first
}

// goesIn is the instant for which a waiver has to stand: the planned entry, or now where that is past.
func goesIn(planned, now time.Time) time.Time {
	if planned.After(now) {
		return planned
	}
	return now
}

// Waive decides that one finding does not stop the plan. A refusal and an
// unknown are never waived, nor does anybody of the plan waive.
func (d *Desk) Waive(ctx context.Context, m store.Mutation, req *lastlightv1.WaiveFindingRequest) (*lastlightv1.DecideResponse, error) {
	return decided(ctx, d, m, func(ctx context.Context, tx *store.Tx, by judge) (*lastlightv1.DecideResponse, error) {
		s, err := d.lock(ctx, tx, req.Id, req.Version)
		if err != nil {
			return nil, err
		}
		if err := guard(s, plan.Waive); err != nil {
			return nil, err
		}
		r, err := d.evaluate(ctx, tx, by, req.Id, s.Version, nil, tx.Now())
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(r.report.Findings, func(f finding.Finding) bool { return f.Key() == req.Finding })
		if i < 0 {
			return nil, fault.NoSuch("finding", req.Finding)
		}
		f := &r.report.Findings[i]
		if err := checkExpiry(req, r.records.Plan.PlannedEntry.AsTime(), tx.Now(), r.records.Site.TimeZone); err != nil {
			return nil, err
		}
		waivers, err := tx.Waivers(ctx, req.Id, s.Version)
		if err != nil {
			return nil, err
		}
		answer := &lastlightv1.DecideResponse{Plan: r.records.Plan, Report: r.show(waivers)}
		switch {
		case !f.Blocks():
			answer.NotDecided, answer.Explanation = blocked, "this does not stop the plan, so there is nothing to waive: "+r.names.In(f.Message)
			return answer, nil
		case !f.Waivable():
			answer.NotDecided, answer.Explanation = blocked, "nobody may waive this: "+r.names.In(f.Message)
			return answer, nil
		}
		if answer.Explanation, err = d.mayDecide(ctx, tx, r.records.Plan, rolesOf(f.Waiver.Roles)); err != nil || answer.Explanation != "" {
			answer.NotDecided = notYours
			return answer, err
		}
		if waivedBy(f, waivers, goesIn(r.records.Plan.PlannedEntry.AsTime(), tx.Now())) != nil {
			answer.NotDecided, answer.Explanation = blocked, "this finding is waived already"
			return answer, nil
		}
		observed, shortfall := measure(f)
		w := &lastlightv1.Waiver{
			Plan: req.Id, PlanVersion: s.Version, Finding: req.Finding, Rule: f.Rule, Reason: req.Reason, Conditions: req.Conditions,
			WaivedBy: tx.Mutation.Caller, ExpiresAt: req.ExpiresAt, NeedsSecondApprover: f.Waiver.SecondApprover,
			Said: f.Message, Observed: observed, Shortfall: shortfall,
		}
		if err := tx.AddWaiver(ctx, w); err != nil {
			return nil, err
		}
		if answer.Decision, err = tx.AddDecision(ctx, store.Decision{Plan: req.Id, Version: s.Version, Decision: "waived", By: tx.Mutation.Caller, Reason: req.Reason}); err != nil {
			return nil, err
		}
		answer.Decided = true
		answer.Report = r.show(append(waivers, w))
		answer.Plan, err = tx.Plan(ctx, req.Id)
		return answer, err
	})
}

// checkExpiry: a waiver that has run out before the team goes in would be none. Times are told on the site's clock.
func checkExpiry(req *lastlightv1.WaiveFindingRequest, entry, now time.Time, zone string) error {
	if req.ExpiresAt == nil {
		return nil
	}
	at := req.ExpiresAt.AsTime()
	if at.After(now) && at.After(entry) {
		return nil
	}
	site, err := time.LoadLocation(zone)
	if err != nil {
		return fmt.Errorf("zone of the plan's site: %w", err)
	}
	return fault.Wrong([]fault.Problem{{
		Field: "expires_at", Read: at.In(site).Format(time.RFC3339),
		Expected: "after the planned entry, " + entry.In(site).Format(time.RFC3339) + ", and after now", Message: "the waiver would have run out before the dive",
	}})
}

// Countersign is the second approver's word on a waiver: of one who may waive that rule now, and while the waiver still speaks
// for the finding as it is measured now.
func (d *Desk) Countersign(ctx context.Context, m store.Mutation, req *lastlightv1.CountersignWaiverRequest) (*lastlightv1.DecideResponse, error) {
	return d.onWaiver(ctx, m, req.Id, plan.Countersign, func(ctx context.Context, tx *store.Tx, by judge, p *lastlightv1.Plan) (access.Roles, string, error) {
		r, err := d.evaluate(ctx, tx, by, p.Id, p.Version, nil, tx.Now())
		if err != nil {
			return 0, "", err
		}
		i := slices.IndexFunc(p.Waivers, func(w *lastlightv1.Waiver) bool { return w.Id == req.Waiver && w.WithdrawnAt == nil })
		if i < 0 {
			return 0, "", fault.NoSuch("waiver of this version that was not withdrawn", req.Waiver)
		}
		signed := proto.CloneOf(p.Waivers[i])
		signed.SecondApprover = tx.Mutation.Caller
		in := goesIn(p.PlannedEntry.AsTime(), tx.Now())
		for k := range r.report.Findings {
			f := &r.report.Findings[k]
			if f.Key() != signed.Finding || !f.Waivable() {
				continue
			}
			if !covers(signed, f, in) {
				return rolesOf(f.Waiver.Roles), "this waiver speaks for the finding no longer: it has run out, or the finding is worse than it was then; it has to be waived anew", nil
			}
			return rolesOf(f.Waiver.Roles), "", nil
		}
		return access.Coordinator | access.Committee | access.SafetyOfficer, "there is nothing to sign: the finding is gone, or nobody may waive it any more", nil
	}, func(ctx context.Context, tx *store.Tx, p *lastlightv1.Plan) (store.Decision, error) {
		return store.Decision{Decision: "countersigned", Reason: "waiver " + req.Waiver}, tx.Countersign(ctx, p.Id, p.Version, req.Waiver, tx.Mutation.Caller)
	})
}

// WithdrawWaiver takes a waiver back; a plan that was approved with it is stale from then on.
func (d *Desk) WithdrawWaiver(ctx context.Context, m store.Mutation, req *lastlightv1.WithdrawWaiverRequest) (*lastlightv1.DecideResponse, error) {
	return d.onWaiver(ctx, m, req.Id, plan.TakeBack, func(context.Context, *store.Tx, judge, *lastlightv1.Plan) (access.Roles, string, error) {
		return access.Coordinator | access.SafetyOfficer | access.Committee, "", nil
	}, func(ctx context.Context, tx *store.Tx, p *lastlightv1.Plan) (store.Decision, error) {
		rule, err := tx.WithdrawWaiver(ctx, p.Id, p.Version, req.Waiver, req.Reason)
		if err == nil {
			err = tx.MarkStale(ctx, "plan", p.Id, store.WaiverWithdrawn+rule)
		}
		return store.Decision{Decision: "waiver_withdrawn", Reason: req.Reason}, err
	})
}

// NameWaivers puts names in place of pseudonyms in what findings said when they were waived.
func (d *Desk) NameWaivers(ctx context.Context, waivers []*lastlightv1.Waiver) error {
	if len(waivers) == 0 {
		return nil
	}
	texts := make([][]byte, len(waivers))
	for i, w := range waivers {
		texts[i] = []byte(w.Said)
	}
	names, _, err := d.namesIn(ctx, texts...)
	if err != nil {
		return err
	}
	for _, w := range waivers {
		w.Said = names.In(w.Said)
	}
	return nil
}

// onWaiver does one thing to a waiver of a plan's version and writes it down, if the caller holds one of the roles that ask names
// for the plan, and ask has no reason against it.
func (d *Desk) onWaiver(ctx context.Context, m store.Mutation, id string, op plan.Operation,
	ask func(context.Context, *store.Tx, judge, *lastlightv1.Plan) (roles access.Roles, against string, err error),
	do func(context.Context, *store.Tx, *lastlightv1.Plan) (store.Decision, error),
) (*lastlightv1.DecideResponse, error) {
	return decided(ctx, d, m, func(ctx context.Context, tx *store.Tx, by judge) (*lastlightv1.DecideResponse, error) {
		s, err := tx.PlanState(ctx, id)
		if err != nil {
			return nil, err
		}
		if s, err = d.lock(ctx, tx, id, s.Version); err != nil {
			return nil, err
		}
		if err := guard(s, op); err != nil {
			return nil, err
		}
		p, err := tx.Plan(ctx, id)
		if err != nil {
			return nil, err
		}
		roles, against, err := ask(ctx, tx, by, p)
		if err != nil {
			return nil, err
		}
		answer := &lastlightv1.DecideResponse{Plan: p}
		if answer.Explanation, err = d.mayDecide(ctx, tx, p, roles); err != nil || answer.Explanation != "" {
			answer.NotDecided = notYours
			return answer, err
		}
		if against != "" {
			answer.NotDecided, answer.Explanation = blocked, against
			return answer, nil
		}
		decision, err := do(ctx, tx, p)
		if err != nil {
			return nil, err
		}
		decision.Plan, decision.Version, decision.By = id, s.Version, tx.Mutation.Caller
		if answer.Decision, err = tx.AddDecision(ctx, decision); err != nil {
			return nil, err
		}
		answer.Decided = true
		answer.Plan, err = tx.Plan(ctx, id)
		return answer, err
	})
}
