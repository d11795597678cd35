// Package decide takes the decisions about plans: submitted, approved, refused,
// waived, entered. Each is one transaction: the records relied on are locked and
// read again, the engine runs again on what was read, or its report on exactly
// that is at hand, and the decision is written with the bytes it rests on. Nothing
// but the database is called inside.
package decide

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/finding"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// Desk takes decisions over a store. Zones gives time zones as values.
type Desk struct {
	Store *store.Store
	Zones facts.ZoneLoader

	run   Engine
	turns turns
}

// run is one evaluation of a plan with the records it rests on.
type run struct {
	records    *facts.Records
	report     engine.Report
	names      report.Names
	evaluation *store.Evaluation
}

// evaluate gathers, has the plan judged and prepares the row; nothing is written yet.
func (d *Desk) evaluate(ctx context.Context, q store.Querier, by judge, id string, version int32, measured *facts.Measured, now time.Time) (*run, error) {
	at := time.Time{}
	if measured != nil {
		at = measured.EnteredAt
	}
	records, err := store.GatherRecords(ctx, q, id, version, at, now)
	if err != nil {
		return nil, err
	}
	return d.judged(ctx, by, records, measured, now)
}

// judged has the plan judged on records that were gathered.
func (d *Desk) judged(ctx context.Context, by judge, records *facts.Records, measured *facts.Measured, now time.Time) (*run, error) {
	id := records.Plan.Id
	in, err := facts.Input(records, now, measured, d.Zones)
	if err != nil {
		return nil, err
	}
	rep, err := by(ctx, in)
	if err != nil {
		return nil, err
	}
	input, err := engine.Bytes(in)
	if err != nil {
		return nil, fmt.Errorf("engine input of plan %s: %w", id, err)
	}
	bytes, err := engine.Bytes(rep)
	if err != nil {
		return nil, fmt.Errorf("engine report of plan %s: %w", id, err)
	}
	hash, err := engine.Hash(in, rep)
	if err != nil {
		return nil, fmt.Errorf("engine hash of plan %s: %w", id, err)
	}
	return &run{
		records: records, report: rep, names: namesOf(records),
		evaluation: &store.Evaluation{
			Plan: id, Version: records.Plan.Version, Moment: string(in.Moment), Verdict: string(rep.Verdict), Hash: hash,
			Input: input, Report: bytes, EngineVersion: rep.EngineVersion, Policy: records.PolicyID, Survey: records.Survey.Number,
			RecordVersions: records.Versions(), EvaluatedAt: now,
		},
	}, nil
}

func namesOf(r *facts.Records) report.Names {
	ids, shown := map[string]string{}, map[string]string{}
	for id, p := range r.Pseudonyms {
		ids[p], shown[p] = id, id
	}
	for _, p := range r.People {
		name := p.Record.ShortName
		if name == "" {
			name = p.Record.FullName
		}
		shown[r.Pseudonyms[p.Record.Id]] = name
	}
	return report.NewNames(ids, shown)
}

// show makes the API's report of the run, with what was waived marked.
func (r *run) show(waivers []*lastlightv1.Waiver) *lastlightv1.Report {
	out := report.Show(&r.report, r.names)
	dressed(out, &r.report, r.evaluation, waivers, goesIn(r.records.Plan.PlannedEntry.AsTime(), r.evaluation.EvaluatedAt))
	for _, l := range out.Dive.Route {
		for _, leg := range r.records.Survey.Legs {
			if leg.Id == l.Leg {
				l.AgainstSurvey = leg.From == l.To && leg.To == l.From
			}
		}
	}
	return out
}

// dressed adds what is beside the engine's report: version, hash, time, waivers.
func dressed(out *lastlightv1.Report, rep *engine.Report, e *store.Evaluation, waivers []*lastlightv1.Waiver, at time.Time) {
	out.Plan, out.PlanVersion, out.Hash, out.EvaluatedAt = e.Plan, e.Version, e.Hash, stamp(e.EvaluatedAt)
	by := map[string]*lastlightv1.Waiver{}
	for i := range rep.Findings {
		if w := waivedBy(&rep.Findings[i], waivers, at); w != nil {
			by[w.Finding] = w
		}
	}
	for _, f := range out.Findings {
		f.WaivedBy, f.WaiverSecondApprover = by[f.Key].GetWaivedBy(), by[f.Key].GetSecondApprover()
	}
	out.Waived = out.Verdict == string(finding.NeedsWaiver) && len(blocking(rep.Findings, waivers, at)) == 0
}

// blocking lists the findings that stop the plan as it stands: refusals and
// unknowns always, others unless a waiver of theirs stands.
func blocking(findings []finding.Finding, waivers []*lastlightv1.Waiver, now time.Time) []finding.Finding {
	var out []finding.Finding
	for i := range findings {
		if f := &findings[i]; f.Blocks() && waivedBy(f, waivers, now) == nil {
			out = append(out, *f)
		}
	}
	return out
}

// lock takes the roots of a plan version and the caller's, then reads the plan's row.
func (d *Desk) lock(ctx context.Context, tx *store.Tx, id string, version int32) (store.PlanState, error) {
	roots, err := tx.PlanRoots(ctx, id, version)
	if err != nil {
		return store.PlanState{}, err
	}
	roots.People = append(roots.People, tx.Mutation.Caller)
	if err := tx.LockRoots(ctx, roots); err != nil {
		return store.PlanState{}, err
	}
	s, err := tx.PlanState(ctx, id)
	if err == nil && s.Version != version {
		err = fault.Moved("plan", id, int64(s.Version), int64(version))
	}
	return s, err
}

// part is what the caller has to do with a plan: "" for nothing.
func part(p *lastlightv1.Plan, person string) string {
	switch {
	case slices.ContainsFunc(p.Team, func(d *lastlightv1.PlanDiver) bool { return d.Person == person }):
		return "diver"
	case slices.Contains(p.Standby, person):
		return "standby"
	case p.Cover == person:
		return "cover"
	}
	return ""
}

// mayDecide tells whether the caller may decide about this plan now, roles read
// again inside the transaction. explanation is empty if so, and names who may
// if not.
func (d *Desk) mayDecide(ctx context.Context, tx *store.Tx, p *lastlightv1.Plan, roles access.Roles) (explanation string, err error) {
	holders, err := tx.RoleHolders(ctx, p.Expedition, words(roles))
	if err != nil {
		return "", err
	}
	me := tx.Mutation.Caller
	who := ""
	for _, h := range holders {
		if part(p, h) == "" {
			if who != "" {
				who += ", "
			}
			who += h
		}
	}
	if who == "" {
		who = "nobody at the moment: the committee must name somebody outside the plan"
	}
	switch duty := part(p, me); {
	case duty != "":
		return fmt.Sprintf("you are %s of this plan, and nobody decides about a plan they take part in; who may: %s", duty, who), nil
	case !slices.Contains(holders, me):
		return "your role for this plan does not stand any more; who may: " + who, nil
	}
	return "", nil
}

func words(roles access.Roles) []string {
	var out []string
	for r := range roles.Each() {
		out = append(out, r.String())
	}
	return out
}

// again runs a decision once more when it met another at the same moment: the
// engine then sees what the other did and says so.
func again[T any](ctx context.Context, fn func(context.Context) (T, error)) (T, error) {
	var out T
	var err error
	for range 4 {
		out, err = fn(ctx)
		if !errors.Is(err, store.ErrBooked) && !isConcurrent(err) {
			return out, err
		}
	}
	if errors.Is(err, store.ErrBooked) {
		err = (&fault.Error{Kind: fault.Changed, Reason: "BOUND_ELSEWHERE", Message: "a person or cylinder of this plan was bound by another plan at the same moment; ask again"}).Because(err)
	}
	return out, err
}

func isConcurrent(err error) bool {
	f, ok := fault.As(err)
	return ok && f.Reason == "CONCURRENT_CHANGE"
}

// bindings are whom an approved plan binds: divers and cylinders over [entry,
// latest surfacing], standby and cover over [entry, dial] (T34).
func (r *run) bindings(open bool) []store.Binding {
	from, surfacing := at(r.report.Entry), at(r.report.LatestSurfacing)
	dial := surfacing
	if w := r.report.Watch; w != nil {
		dial = at(w.LatestDial)
	}
	if open {
		surfacing, dial = time.Time{}, time.Time{}
	}
	var out []store.Binding
	for _, m := range r.records.Plan.Team {
		out = append(out, store.Binding{Kind: "person", Subject: m.Person, Duty: "diver", From: from, Until: surfacing})
	}
	for _, p := range r.records.Plan.Standby {
		out = append(out, store.Binding{Kind: "person", Subject: p, Duty: "standby", From: from, Until: dial})
	}
	if p := r.records.Plan.Cover; p != "" {
		out = append(out, store.Binding{Kind: "person", Subject: p, Duty: "cover", From: from, Until: dial})
	}
	for _, c := range r.records.Cylinders {
		out = append(out, store.Binding{Kind: "cylinder", Subject: c.Record.Id, Duty: "carried", From: from, Until: surfacing})
	}
	return out
}

func at(t calendar.Instant) time.Time {
	if t.IsZero() {
		return time.Time{}
	}
	return time.Unix(t.Unix(), 0).UTC()
}

// conditions are what the approval leaves to be met at entry, in words.
func (r *run) conditions() []string {
	var out []string
	for _, f := range r.report.Findings {
		if slices.Contains(r.report.Conditions, f.Key()) || f.DueAt == finding.AtEntry {
			out = append(out, r.names.In(f.Message))
		}
	}
	return out
}

// guard is the operation's state check with the plan's own words.
func guard(s store.PlanState, op plan.Operation) error {
	_, err := plan.Next(s.ID, s.State, op)
	return err
}
