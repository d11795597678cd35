package rpc

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/brief"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/decide"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// Plans serves PlanService: plans are records like others; what is decided about them goes through the desk.
type Plans struct {
	lastlightv1.UnimplementedPlanServiceServer
	Store *store.Store
	Desk  *decide.Desk
}

const planService = "/lastlight.v1.PlanService/"

// planSubject is what ties the caller to a plan.
func planSubject(c *access.Caller, p *lastlightv1.Plan) access.Subject {
	s := access.Subject{Expeditions: expeditions(p.Expedition)}
	if p.VersionBy == c.Person {
		s.Relation |= access.Self
	}
	if p.Leader == c.Person {
		s.Relation |= access.Leads
	}
	if p.Cover == c.Person {
		s.Relation |= access.Covers
	}
	for _, d := range p.Team {
		if d.Person == c.Person {
			s.Relation |= access.InTeam
		}
	}
	for _, person := range p.Standby {
		if person == c.Person {
			s.Relation |= access.InTeam
		}
	}
	if p.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER {
		s.Relation |= access.WatchRuns
	}
	return s
}

func expeditions(id string) []string {
	if id == "" {
		return nil
	}
	return []string{id}
}

// plan reads a plan for a method: not found is the answer for what is hidden,
// "not allowed" only to those who may read it.
func (h *Plans) plan(ctx context.Context, method, id string, version int32) (*lastlightv1.Plan, access.Subject, error) {
	c := access.CallerFrom(ctx)
	p, err := h.Store.GetPlan(ctx, id, version)
	if err != nil {
		return nil, access.Subject{}, err
	}
	s := planSubject(c, p)
	if access.May(c, planService+method, s) {
		return p, s, nil
	}
	if !access.May(c, planService+"GetPlan", s) {
		return nil, s, fault.NoSuch("plan", id)
	}
	return nil, s, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "none of your roles allows this for plan " + id}
}

func mutation(ctx context.Context, method, requestID string, body proto.Message) store.Mutation {
	return store.Mutation{RequestID: requestID, Caller: access.CallerFrom(ctx).Person, Method: method, Body: body}
}

// shown masks what the caller may not see of a plan.
func (h *Plans) shown(ctx context.Context, p *lastlightv1.Plan) *lastlightv1.Plan {
	if p == nil { // the call failed
		return nil
	}
	c := access.CallerFrom(ctx)
	s := planSubject(c, p)
	// Who is away is the board's to tell: an empty house and a parked car.
	if p.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER {
		if c.Sees(access.Board, s) {
			p.StateReasons = store.Stopped(p.StateReasons)
		} else {
			p.State, p.StateReasons = store.Unentered(p, h.Store.Now())
		}
	}
	p.Waivers = access.MaskWaivers(c, s, p.Waivers)
	if !c.Sees(access.WaiverFact, s) {
		for i, why := range p.StateReasons {
			if store.AboutWaiver(why) {
				p.StateReasons[i] = "something that was decided about it stands no longer"
			}
		}
	}
	if err := h.Desk.NameWaivers(ctx, p.Waivers); err != nil {
		for _, w := range p.Waivers { // rather without words than with somebody's pseudonym
			w.Said = ""
		}
	}
	return p
}

// CreatePlan adds a draft.
func (h *Plans) CreatePlan(ctx context.Context, r *lastlightv1.CreatePlanRequest) (*lastlightv1.Plan, error) {
	c := access.CallerFrom(ctx)
	if !access.May(c, planService+"CreatePlan", access.Subject{Expeditions: expeditions(r.Plan.Expedition)}) {
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "a leader or a coordinator of the expedition makes its plans"}
	}
	if r.Plan.Id == "" {
		r.Plan.Id = store.NewID("plan", r.RequestId)
	}
	if err := plan.Check(r.Plan, "plan."); err != nil {
		return nil, err
	}
	p, err := store.Mutate(ctx, h.Store, mutation(ctx, planService+"CreatePlan", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Plan, error) {
		put, err := tx.PutPlan(ctx, r.Plan, store.Expect{New: true})
		return put.Record, fault.Under("plan.", err)
	})
	return h.shown(ctx, p), err
}

// GetPlan reads a plan at a version.
func (h *Plans) GetPlan(ctx context.Context, r *lastlightv1.GetPlanRequest) (*lastlightv1.Plan, error) {
	p, s, err := h.plan(ctx, "GetPlan", r.Id, r.Version)
	if err != nil {
		return nil, err
	}
	p.NotYours = notYours(access.CallerFrom(ctx), s)
	return h.shown(ctx, p), nil
}

// notYours is what the caller may not decide about a plan, for want of a role or for taking part in the dive.
func notYours(c *access.Caller, s access.Subject) []string {
	var out []string
	for _, x := range []struct{ method, what string }{{"ApprovePlan", "approve"}, {"RefusePlan", "refuse"}, {"WaiveFinding", "waive"}} {
		if !access.May(c, planService+x.method, s) || s.Relation&(access.InTeam|access.Covers) != 0 {
			out = append(out, x.what)
		}
	}
	return out
}

// ListPlans lists plans; guests see those they take part in.
func (h *Plans) ListPlans(ctx context.Context, r *lastlightv1.ListPlansRequest) (*lastlightv1.ListPlansResponse, error) {
	c := access.CallerFrom(ctx)
	restrictTo := ""
	if !c.Anywhere().Any(access.Members) {
		restrictTo = c.Person
	}
	list, next, err := h.Store.ListPlans(ctx, r, restrictTo, boardSight(c))
	if err != nil {
		return nil, err
	}
	for _, p := range list {
		h.shown(ctx, p)
	}
	return &lastlightv1.ListPlansResponse{Plans: list, NextPageToken: next}, nil
}

// mayMovePlan tells whether a plan may change as far as its expedition goes: who decides about it would be others.
func mayMovePlan(c *access.Caller, before, next *lastlightv1.Plan) bool {
	return before.Expedition == next.Expedition || access.May(c, planService+"CreatePlan", access.Subject{Expeditions: expeditions(next.Expedition)})
}

// UpdatePlan makes a new version.
func (h *Plans) UpdatePlan(ctx context.Context, r *lastlightv1.UpdatePlanRequest) (*lastlightv1.Plan, error) {
	before, _, err := h.plan(ctx, "UpdatePlan", r.Plan.Id, 0)
	if err != nil {
		return nil, err
	}
	if !mayMovePlan(access.CallerFrom(ctx), before, r.Plan) {
		return nil, denied("a leader or a coordinator of the expedition makes its plans: this plan stays in its own")
	}
	if err := plan.Check(r.Plan, "plan."); err != nil {
		return nil, err
	}
	p, err := store.Mutate(ctx, h.Store, mutation(ctx, planService+"UpdatePlan", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Plan, error) {
		put, err := tx.PutPlan(ctx, r.Plan, store.Expect{Existing: true, Version: int64(r.ExpectedVersion)})
		return put.Record, fault.Under("plan.", err)
	})
	return h.shown(ctx, p), err
}

// ArchivePlan hides a plan that is over.
func (h *Plans) ArchivePlan(ctx context.Context, r *lastlightv1.ArchivePlanRequest) (*lastlightv1.Plan, error) {
	if _, _, err := h.plan(ctx, "ArchivePlan", r.Id, 0); err != nil {
		return nil, err
	}
	p, err := store.Mutate(ctx, h.Store, mutation(ctx, planService+"ArchivePlan", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Plan, error) {
		return tx.ArchivePlan(ctx, r.Id)
	})
	return h.shown(ctx, p), err
}

// masked leaves out of a report what the reader may not know of others.
func masked(ctx context.Context, r *lastlightv1.Report, s access.Subject) *lastlightv1.Report {
	if r == nil {
		return nil
	}
	if !access.CallerFrom(ctx).Sees(access.WaiverFact, s) {
		for _, f := range r.Findings {
			f.WaivedBy, f.WaiverSecondApprover = "", ""
		}
		r.Waived = false
	}
	report.Mask(r, seesIn(ctx, s, access.Medical))
	report.MaskTraining(r, seesIn(ctx, s, access.Training))
	return r
}

// seesIn tells of whom in a plan the caller may read this group of fields.
func seesIn(ctx context.Context, s access.Subject, group access.Group) func(person string) bool {
	c := access.CallerFrom(ctx)
	return func(person string) bool { return c.Sees(group, subjectIn(c, s, person)) }
}

// subjectIn is one person of a plan.
func subjectIn(c *access.Caller, s access.Subject, person string) access.Subject {
	about := access.Subject{Expeditions: s.Expeditions, Relation: s.Relation & access.Leads, Of: person}
	if person == c.Person {
		about.Relation |= access.Self
	}
	return about
}

// EvaluatePlan says what the engine would say now.
func (h *Plans) EvaluatePlan(ctx context.Context, r *lastlightv1.EvaluatePlanRequest) (*lastlightv1.Report, error) {
	_, s, err := h.plan(ctx, "EvaluatePlan", r.Id, r.Version)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Evaluate(ctx, r.Id, r.Version)
	return masked(ctx, out, s), err
}

// SubmitPlan freezes and evaluates.
func (h *Plans) SubmitPlan(ctx context.Context, r *lastlightv1.SubmitPlanRequest) (*lastlightv1.SubmitPlanResponse, error) {
	_, s, err := h.plan(ctx, "SubmitPlan", r.Id, 0)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Submit(ctx, mutation(ctx, planService+"SubmitPlan", r.RequestId, r), r)
	if err != nil {
		return nil, err
	}
	out.Report, out.Plan = masked(ctx, out.Report, s), h.shown(ctx, out.Plan)
	return out, nil
}

// GetReport reads a stored report.
func (h *Plans) GetReport(ctx context.Context, r *lastlightv1.GetReportRequest) (*lastlightv1.Report, error) {
	_, s, err := h.plan(ctx, "GetReport", r.Id, r.Version)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Report(ctx, r)
	return masked(ctx, out, s), err
}

// inEvidence are the groups of facts of which an engine's input holds some.
var inEvidence = []access.Group{access.Medical, access.Training, access.Minor, access.GearDates}

// GetEvidence gives the bytes a decision rests on, under pseudonyms. Not a byte
// may be left out of them, so they go only to who sees all such facts of anybody.
func (h *Plans) GetEvidence(ctx context.Context, r *lastlightv1.GetEvidenceRequest) (*lastlightv1.Evidence, error) {
	p, s, err := h.plan(ctx, "GetEvidence", r.Id, r.Version)
	if err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	for _, group := range inEvidence {
		if !c.Writes(group, access.Subject{Expeditions: s.Expeditions}) {
			return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "the evidence holds facts about people and gear that none of your roles shows you; a coordinator reads it"}
		}
	}
	out, err := h.Desk.Evidence(ctx, p)
	if err == nil {
		for _, group := range inEvidence { // of every diver: nothing of it is left out
			for _, d := range p.Team {
				c.Sees(group, access.Subject{Expeditions: s.Expeditions, Of: d.Person})
			}
		}
	}
	return out, err
}

func (h *Plans) decided(ctx context.Context, out *lastlightv1.DecideResponse, s access.Subject, err error) (*lastlightv1.DecideResponse, error) {
	if err != nil {
		return nil, err
	}
	out.Report, out.Plan = masked(ctx, out.Report, s), h.shown(ctx, out.Plan)
	return out, nil
}

// ApprovePlan decides for a plan.
func (h *Plans) ApprovePlan(ctx context.Context, r *lastlightv1.ApprovePlanRequest) (*lastlightv1.DecideResponse, error) {
	_, s, err := h.plan(ctx, "ApprovePlan", r.Id, 0)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Approve(ctx, mutation(ctx, planService+"ApprovePlan", r.RequestId, r), r)
	return h.decided(ctx, out, s, err)
}

// RefusePlan decides against a plan.
func (h *Plans) RefusePlan(ctx context.Context, r *lastlightv1.RefusePlanRequest) (*lastlightv1.DecideResponse, error) {
	_, s, err := h.plan(ctx, "RefusePlan", r.Id, 0)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Refuse(ctx, mutation(ctx, planService+"RefusePlan", r.RequestId, r), r)
	return h.decided(ctx, out, s, err)
}

// WaiveFinding decides that a finding does not stop the plan.
func (h *Plans) WaiveFinding(ctx context.Context, r *lastlightv1.WaiveFindingRequest) (*lastlightv1.DecideResponse, error) {
	_, s, err := h.plan(ctx, "WaiveFinding", r.Id, 0)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Waive(ctx, mutation(ctx, planService+"WaiveFinding", r.RequestId, r), r)
	return h.decided(ctx, out, s, err)
}

// CountersignWaiver is the second approver's word.
func (h *Plans) CountersignWaiver(ctx context.Context, r *lastlightv1.CountersignWaiverRequest) (*lastlightv1.DecideResponse, error) {
	_, s, err := h.plan(ctx, "CountersignWaiver", r.Id, 0)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.Countersign(ctx, mutation(ctx, planService+"CountersignWaiver", r.RequestId, r), r)
	return h.decided(ctx, out, s, err)
}

// WithdrawWaiver takes a waiver back.
func (h *Plans) WithdrawWaiver(ctx context.Context, r *lastlightv1.WithdrawWaiverRequest) (*lastlightv1.DecideResponse, error) {
	_, s, err := h.plan(ctx, "WithdrawWaiver", r.Id, 0)
	if err != nil {
		return nil, err
	}
	out, err := h.Desk.WithdrawWaiver(ctx, mutation(ctx, planService+"WithdrawWaiver", r.RequestId, r), r)
	return h.decided(ctx, out, s, err)
}

// ListWaivers lists what was waived, latest first: in the whole club, or in the expeditions in which the caller's role lets them know.
func (h *Plans) ListWaivers(ctx context.Context, r *lastlightv1.ListWaiversRequest) (*lastlightv1.ListWaiversResponse, error) {
	problems := &fault.Problems{}
	if r.Since != "" {
		dates.Day(problems, "since", r.Since)
	}
	if err := problems.Err(); err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	var within []string
	if !c.Sees(access.WaiverFact, access.Subject{}) {
		within = c.Where(access.Coordinator | access.Committee | access.SafetyOfficer)
	}
	list, next, err := h.Store.ListWaivers(ctx, r, within)
	if err != nil {
		return nil, err
	}
	return &lastlightv1.ListWaiversResponse{Waivers: list, NextPageToken: next}, h.Desk.NameWaivers(ctx, list)
}

// WithdrawPlan takes a plan back.
func (h *Plans) WithdrawPlan(ctx context.Context, r *lastlightv1.WithdrawPlanRequest) (*lastlightv1.Plan, error) {
	if _, _, err := h.plan(ctx, "WithdrawPlan", r.Id, 0); err != nil {
		return nil, err
	}
	p, err := h.Desk.Withdraw(ctx, mutation(ctx, planService+"WithdrawPlan", r.RequestId, r), r)
	return h.shown(ctx, p), err
}

// AcknowledgePlan notes that the caller, who is of the plan, has read a version and agrees to it.
func (h *Plans) AcknowledgePlan(ctx context.Context, r *lastlightv1.AcknowledgePlanRequest) (*lastlightv1.Plan, error) {
	if _, _, err := h.plan(ctx, "AcknowledgePlan", r.Id, 0); err != nil {
		return nil, err
	}
	p, err := h.Desk.Acknowledge(ctx, mutation(ctx, planService+"AcknowledgePlan", r.RequestId, r), r)
	return h.shown(ctx, p), err
}

// ListDecisions lists what was decided about a plan; of waivers only to those who may read of them.
func (h *Plans) ListDecisions(ctx context.Context, r *lastlightv1.ListDecisionsRequest) (*lastlightv1.ListDecisionsResponse, error) {
	p, s, err := h.plan(ctx, "ListDecisions", r.Plan, 0)
	if err != nil {
		return nil, err
	}
	list, next, err := h.Store.ListDecisions(ctx, r)
	if err != nil {
		return nil, err
	}
	if p.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER && !access.CallerFrom(ctx).Sees(access.Board, s) {
		list = slices.DeleteFunc(list, store.AboutEntry)
	}
	return &lastlightv1.ListDecisionsResponse{Decisions: shownDecisions(access.CallerFrom(ctx), s, list), NextPageToken: next}, nil
}

// shownDecisions leaves out what was decided about waivers where the caller may not know of them, and why where not why.
func shownDecisions(c *access.Caller, s access.Subject, list []*lastlightv1.Decision) []*lastlightv1.Decision {
	about := func(d *lastlightv1.Decision) bool {
		return slices.Contains([]string{"waived", "countersigned", "waiver_withdrawn"}, d.Decision) || d.Decision == "stale" && store.AboutWaiver(d.Reason)
	}
	if !c.Sees(access.WaiverFact, s) {
		return slices.DeleteFunc(list, about)
	}
	if !c.Sees(access.WaiverReason, s) {
		for _, d := range list {
			if about(d) && d.Decision != "stale" {
				d.Reason = ""
			}
		}
	}
	return list
}

// GetBrief gives the page for the water's edge.
func (h *Plans) GetBrief(ctx context.Context, r *lastlightv1.GetBriefRequest) (*lastlightv1.Brief, error) {
	p, s, err := h.plan(ctx, "GetBrief", r.Id, 0)
	if err != nil {
		return nil, err
	}
	if p.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER && !access.CallerFrom(ctx).Sees(access.Board, s) {
		p.State, p.StateReasons = store.Unentered(p, h.Store.Now())
	}
	page, err := h.Desk.Brief(ctx, p, brief.UnitsOf(r.Units))
	if err != nil {
		return nil, err
	}
	report.MaskTraining(page.Report, seesIn(ctx, s, access.Training))
	return &lastlightv1.Brief{Plan: p.Id, PlanVersion: p.Version, CodeWord: p.CodeWord, Valid: page.Valid() && len(page.Stopped) == 0, Text: brief.Text(page)}, nil
}

// StopAllDives makes every approved plan stale.
func (h *Plans) StopAllDives(ctx context.Context, r *lastlightv1.StopAllDivesRequest) (*lastlightv1.StopAllDivesResponse, error) {
	if !access.May(access.CallerFrom(ctx), planService+"StopAllDives", access.Subject{Expeditions: expeditions(r.Expedition)}) {
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: "the coordinator of the expedition, the safety officer or the committee stops dives"}
	}
	c := access.CallerFrom(ctx)
	return h.Desk.StopAll(ctx, mutation(ctx, planService+"StopAllDives", r.RequestId, r), r, func(p *lastlightv1.Plan) bool {
		return c.Sees(access.Board, planSubject(c, p))
	})
}
