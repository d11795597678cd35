package decide

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/consumption"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// How far an entry may lie from the minute it is typed: a register is kept by
// hand, and a clock may be a little ahead.
const (
	entryAhead  = 5 * time.Minute
	entryBehind = 12 * time.Hour
)

// SignIn enters a team with what was measured at the water. The engine judges
// again; inside the approved dive it goes, with the new turn pressures. What
// stands against it is said to a reader of the training of those whom
// seesTrainingOf names.
func (d *Desk) SignIn(ctx context.Context, m store.Mutation, req *lastlightv1.SignInRequest, seesTrainingOf func(person string) bool) (*lastlightv1.SignInResponse, error) {
	said := d.Store.Now() // the minute of an entry without one: of the call, however often it is judged
	return decided(ctx, d, m, func(ctx context.Context, tx *store.Tx, by judge) (*lastlightv1.SignInResponse, error) {
		return d.signIn(ctx, tx, by, req, said, seesTrainingOf)
	})
}

func (d *Desk) signIn(ctx context.Context, tx *store.Tx, by judge, req *lastlightv1.SignInRequest, said time.Time, seesTrainingOf func(person string) bool) (*lastlightv1.SignInResponse, error) {
	s, err := d.lock(ctx, tx, req.Plan, req.Version)
	if err != nil {
		return nil, err
	}
	if s.State != plan.Expired {
		if err := guard(s, plan.Enter); err != nil {
			return nil, err
		}
	}
	p, err := tx.Plan(ctx, req.Plan)
	if err != nil {
		return nil, err
	}
	measured, err := readAtTheWater(p, req, said)
	if err != nil {
		return nil, err
	}
	r, err := d.evaluate(ctx, tx, by, req.Plan, s.Version, measured, tx.Now())
	if err != nil {
		return nil, err
	}
	approved, err := tx.ApprovedEvaluation(ctx, req.Plan, s.Version)
	if err != nil {
		return nil, err
	}
	if approved == nil {
		return nil, fmt.Errorf("plan %s is %s without a stored approval", req.Plan, s.State)
	}
	waivers, err := tx.Waivers(ctx, req.Plan, s.Version)
	if err != nil {
		return nil, err
	}
	answer := &lastlightv1.SignInResponse{Report: r.show(waivers)}
	answer.Changed, err = d.against(s, approved, r, waivers, measured, seesTrainingOf)
	if err != nil {
		return nil, err
	}
	if len(answer.Changed) > 0 {
		answer.WhoMustApprove = "a coordinator who is not diver, standby or cover of this plan"
		return answer, nil
	}
	answer.Go = true
	if req.CheckOnly {
		return answer, nil
	}
	dive, err := d.enter(ctx, tx, s, r, p, measured, answer.Report)
	if err != nil {
		return nil, err
	}
	row, err := tx.Watch(ctx, dive.Id)
	if err != nil {
		return nil, err
	}
	answer.Watch = ShowWatch(row, tx.Now())
	return answer, nil
}

// readAtTheWater checks that every diver and every stage was read, once.
func readAtTheWater(p *lastlightv1.Plan, req *lastlightv1.SignInRequest, now time.Time) (*facts.Measured, error) {
	m := &facts.Measured{EnteredAt: now, MainsBar: map[string]float64{}, StageBar: map[string]float64{}, TemperatureC: map[string]*float64{}}
	var problems []fault.Problem
	wrong := func(field, read, expected, message string) {
		problems = append(problems, fault.Problem{Field: field, Read: read, Expected: expected, Message: message})
	}
	if req.EnteredAt != nil {
		m.EnteredAt = req.EnteredAt.AsTime()
		if m.EnteredAt.After(now.Add(entryAhead)) || m.EnteredAt.Before(now.Add(-entryBehind)) {
			wrong("entered_at", m.EnteredAt.Format(time.RFC3339), "not in the future and not more than 12 hours ago", "not a minute at which this team can have entered")
		}
	}
	carries := map[string]string{} // stage → diver
	team := map[string]bool{}
	for _, d := range p.Team {
		team[d.Person] = true
		for _, st := range d.Stages {
			carries[st.Cylinder] = d.Person
		}
	}
	readAt := map[string]string{} // person → where in the request
	for i, x := range req.Measured {
		at := fmt.Sprintf("measured[%d].", i)
		switch _, twice := m.MainsBar[x.Person]; {
		case !team[x.Person]:
			wrong(at+"person", x.Person, "a diver of the plan's team", "not in this team")
			continue
		case twice:
			wrong(at+"person", x.Person, "each diver once", "read twice")
			continue
		}
		readAt[x.Person] = at
		m.MainsBar[x.Person], m.TemperatureC[x.Person] = x.StartPressure.GetBar(), x.TemperatureC
		for j, c := range x.Cylinders {
			if carries[c.Cylinder] != x.Person {
				wrong(fmt.Sprintf("%scylinders[%d].cylinder", at, j), c.Cylinder, "a stage or deco cylinder that this diver carries in the plan", "not carried by this diver")
				continue
			}
			m.StageBar[c.Cylinder] = c.Pressure.GetBar()
		}
	}
	for _, d := range p.Team {
		if _, ok := m.MainsBar[d.Person]; !ok {
			wrong("measured", "", "the start pressure of every diver", "no pressure was read for "+d.Person)
		}
		for _, st := range d.Stages {
			if _, ok := m.StageBar[st.Cylinder]; !ok {
				wrong(cmp.Or(readAt[d.Person], "measured.")+"cylinders", "", "the pressure of every stage and deco cylinder", fmt.Sprintf("no pressure was read for cylinder %s of %s", st.Cylinder, d.Person))
			}
		}
	}
	return m, fault.Wrong(problems)
}

// against says in words why the team may not enter on its approval. Empty: go.
func (d *Desk) against(s store.PlanState, approved *store.Evaluation, r *run, waivers []*lastlightv1.Waiver, measured *facts.Measured, seesTrainingOf func(person string) bool) ([]string, error) {
	var out []string
	if s.State == plan.Expired || measured.EnteredAt.After(s.EnterBy) {
		out = append(out, fmt.Sprintf("the approval ended at its enter-by time, %s", s.EnterBy.Format(time.RFC3339)))
	}
	if s.Stopped {
		out = append(out, s.Reasons...)
	}
	outside, err := engine.Inside(approved.Input, approved.Report, r.evaluation.Input, r.evaluation.Report)
	if err != nil {
		return nil, err
	}
	for _, text := range outside {
		out = append(out, r.names.In(text))
	}
	for _, f := range engine.EntryBlocking(&r.report) {
		if waivedBy(&f, waivers, measured.EnteredAt) != nil {
			continue
		}
		text := report.Told(f, r.names, seesTrainingOf)
		if slices.ContainsFunc(waivers, func(w *lastlightv1.Waiver) bool { return w.Finding == f.Key() }) {
			text += " (it was waived, and the waiver speaks for this no longer: run out, withdrawn, or worse than it was then)"
		}
		if !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return out, nil
}

// enter writes everything that makes the team "in the water".
func (d *Desk) enter(ctx context.Context, tx *store.Tx, s store.PlanState, r *run, p *lastlightv1.Plan, measured *facts.Measured, shown *lastlightv1.Report) (*lastlightv1.Dive, error) {
	if err := tx.AddEvaluation(ctx, r.evaluation); err != nil {
		return nil, err
	}
	if _, err := tx.AddDecision(ctx, store.Decision{Plan: p.Id, Version: s.Version, Decision: "entered", By: tx.Mutation.Caller, Evaluation: r.evaluation}); err != nil {
		return nil, err
	}
	if err := tx.MovePlan(ctx, s, plan.Enter, time.Time{}, nil); err != nil {
		return nil, err
	}
	if err := tx.Book(ctx, p.Id, r.bindings(true)); err != nil {
		return nil, err
	}
	dive := &lastlightv1.Dive{
		Id: p.Id, Site: p.Site, Plan: p.Id, PlanVersion: s.Version, Expedition: p.Expedition, Kind: p.Kind, TaughtLevel: p.TaughtLevel,
		EnteredAt: timestamppb.New(measured.EnteredAt), Cover: p.Cover, Survey: r.records.Survey.Number, RequiredStops: requiredStops(r.report.Dive),
	}
	standing := map[string]string{}
	for _, f := range shown.Dive.Divers {
		standing[f.Person] = f.CountsAs
	}
	for _, m := range p.Team {
		start := measured.MainsBar[m.Person]
		dive.Divers = append(dive.Divers, &lastlightv1.DiveDiver{
			Person: m.Person, Mains: m.Mains, Gas: m.Gas, OtherGases: carriedGases(m), CountedAs: standing[m.Person], Used: used(m, r.records), Instructor: r.instructs(p, m.Person),
			StartPressure: &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Bar{Bar: start}}, StartTemperatureC: measured.TemperatureC[m.Person],
			Way: r.way(p), Cylinders: carriedCylinders(m, measured),
		})
	}
	times := shown.Dive.Watch
	if times == nil {
		return nil, fault.NotInState("watch", p.Id, "without deadlines", "a dive whose ETO can be told")
	}
	return dive, tx.OpenWatch(ctx, dive, times, shown.Dive)
}

// way is how the team moves by the plan: along every leg by pulling, along some, or
// as is taken where nothing is said.
func (r *run) way(p *lastlightv1.Plan) string {
	pulled := 0
	for _, m := range p.GetRoute().GetMoves() {
		if slices.ContainsFunc(r.records.Survey.Legs, func(l *lastlightv1.Leg) bool { return l.Id == m.Leg && l.PullAndGlideMMin != nil }) {
			pulled++
		}
	}
	switch pulled {
	case 0:
		return ""
	case len(p.GetRoute().GetMoves()):
		return string(consumption.PullAndGlide)
	}
	return "mixed"
}

// carriedCylinders are a diver's stages and deco cylinders as they were read at the water.
func carriedCylinders(m *lastlightv1.PlanDiver, measured *facts.Measured) (out []*lastlightv1.BreathedCylinder) {
	for _, s := range m.Stages {
		out = append(out, &lastlightv1.BreathedCylinder{
			Cylinder: s.Cylinder, Kind: s.Kind, Gas: s.Gas, StartPressure: &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Bar{Bar: measured.StageBar[s.Cylinder]}},
			StartTemperatureC: measured.TemperatureC[m.Person],
		})
	}
	return out
}

// used are the endorsements a diver uses on the dive as planned: what counts
// for them later is what was carried, not what was typed.
func used(m *lastlightv1.PlanDiver, r *facts.Records) []string {
	var out []string
	if slices.ContainsFunc(m.Stages, func(s *lastlightv1.PlanStage) bool { return s.Kind != "deco" }) {
		out = append(out, "STAGE")
	}
	for _, e := range r.Equipment {
		if e.Record.Kind == "scooter" && slices.Contains(m.Equipment, e.Record.Id) {
			out = append(out, "DPV")
			break
		}
	}
	if m.Rebreather {
		out = append(out, "REBREATHER")
	}
	return out
}

// instructs tells whether the person acts as instructor: on a training dive,
// whoever's INSTRUCTOR endorsement counts.
func (r *run) instructs(p *lastlightv1.Plan, person string) bool {
	if p.Kind != "training" {
		return false
	}
	return slices.ContainsFunc(r.report.Standings, func(s engine.Standing) bool {
		return r.names.ID(s.Diver) == person && slices.Contains(s.Endorsed, "INSTRUCTOR")
	})
}
