package decide

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/consumption"
	"lastlight/engine/dive"
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
				wrong("measured", "", "the pressure of every stage and deco cylinder", "no pressure was read for cylinder "+st.Cylinder)
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

// SeenOut is cover's word that a diver is out; said twice it is said once.
func (d *Desk) SeenOut(ctx context.Context, m store.Mutation, req *lastlightv1.SeenOutRequest) (*lastlightv1.Watch, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Watch, error) {
		row, diver, err := d.register(ctx, tx, req.Dive, req.Person)
		if err != nil {
			return nil, err
		}
		when, err := minute("seen_at", req.SeenAt, diver.InAt, tx.Now())
		if err != nil {
			return nil, err
		}
		if !diver.SeenOutAt.IsZero() && req.SeenAt != nil && !when.Equal(diver.SeenOutAt) {
			return nil, fault.Wrong([]fault.Problem{{
				Field: "seen_at", Read: when.Format(time.RFC3339), Expected: diver.SeenOutAt.UTC().Format(time.RFC3339) + ", said before",
				Message: "not the minute at which this diver was seen out; correct that, with the reason",
			}})
		}
		if diver.SeenOutAt.IsZero() {
			if err := tx.AddWatchFact(ctx, store.WatchFact{Dive: req.Dive, Person: req.Person, What: "seen_out", At: when}); err != nil {
				return nil, err
			}
		}
		return d.settled(ctx, tx, row.Dive)
	})
}

// SignOut is the diver's own word.
func (d *Desk) SignOut(ctx context.Context, m store.Mutation, req *lastlightv1.SignOutRequest) (*lastlightv1.Watch, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Watch, error) {
		row, diver, err := d.register(ctx, tx, req.Dive, req.Person)
		if err != nil {
			return nil, err
		}
		if req.Symptoms == nil {
			return nil, fault.Wrong([]fault.Problem{{Field: "symptoms", Expected: "true or false", Message: "symptoms must be answered with yes or no"}})
		}
		when, err := minute("out_at", req.OutAt, diver.InAt, tx.Now())
		if err != nil {
			return nil, err
		}
		said, heard, err := heardAtSignOut(req, wentIn(row.Dive, req.Person), diver, when)
		if err != nil {
			return nil, err
		}
		if heard {
			out := when
			if !diver.SignedOutAt.IsZero() {
				out = diver.SignedOutAt
			}
			if err := tx.AddWatchFact(ctx, store.WatchFact{Dive: req.Dive, Person: req.Person, What: "signed_out", At: out, Said: said}); err != nil {
				return nil, err
			}
		}
		unwell := req.GetSymptoms() && (diver.SignedOutAt.IsZero() || !diver.SignedOut.GetSymptoms())
		if unwell {
			if err := tx.SuspendForSymptoms(ctx, req.Person, when); err != nil {
				return nil, err
			}
		}
		return d.settled(ctx, tx, row.Dive)
	})
}

// heardAtSignOut gives what stands for the diver after this word, and whether
// it adds anything. A word said before is never replaced by another: it is
// corrected first, with a reason. Only symptoms are asked again hours after the
// dive: a later yes is heard and leaves the rest alone, a later no takes nothing
// back, for the roles of the policy alone clear a diver.
func heardAtSignOut(req *lastlightv1.SignOutRequest, in *lastlightv1.DiveDiver, diver store.WatchDiver, when time.Time) (said *lastlightv1.DiveDiver, heard bool, err error) {
	var problems []fault.Problem
	wrong := func(field, read, expected, message string) {
		problems = append(problems, fault.Problem{Field: field, Read: read, Expected: expected, Message: message})
	}
	risen := func(field string, end, start *lastlightv1.Pressure) {
		if start != nil && end.GetBar() > start.GetBar() {
			wrong(field, bar(end), "at most "+bar(start)+", read when "+req.Person+" went in", "more gas after the dive than before it")
		}
	}
	risen("end_pressure", req.EndPressure, in.StartPressure)
	said = &lastlightv1.DiveDiver{Person: req.Person, EndPressure: req.EndPressure, EndTemperatureC: req.TemperatureC, MaxDepthM: req.MaxDepthM, Symptoms: req.Symptoms}
	for i, c := range req.Cylinders {
		at := fmt.Sprintf("cylinders[%d].", i)
		carried := cylinderOf(in, c.Cylinder)
		if carried == nil || cylinderOf(said, c.Cylinder) != nil {
			wrong(at+"cylinder", c.Cylinder, "each stage and deco cylinder that was read when "+req.Person+" went in, once", "was not read at the entry, or is here twice")
			continue
		}
		risen(at+"pressure", c.Pressure, carried.StartPressure)
		said.Cylinders = append(said.Cylinders, &lastlightv1.BreathedCylinder{Cylinder: c.Cylinder, EndPressure: c.Pressure, EndTemperatureC: req.TemperatureC})
	}
	if diver.SignedOutAt.IsZero() || diver.SignedOut == nil {
		return said, true, fault.Wrong(problems)
	}
	before := diver.SignedOut
	other := func(field, read, stands string) {
		wrong(field, read, stands+", said before", "not what was said at the first sign-out; correct that first (the sign-out did not happen, with the reason), then sign out again")
	}
	if req.OutAt != nil && !when.Equal(diver.SignedOutAt) {
		other("out_at", when.Format(time.RFC3339), diver.SignedOutAt.UTC().Format(time.RFC3339))
	}
	if req.EndPressure != nil && before.EndPressure != nil && req.EndPressure.GetBar() != before.EndPressure.GetBar() {
		other("end_pressure", bar(req.EndPressure), bar(before.EndPressure))
	}
	if req.MaxDepthM != nil && before.MaxDepthM != nil && *req.MaxDepthM != *before.MaxDepthM {
		other("max_depth_m", metres(*req.MaxDepthM), metres(*before.MaxDepthM))
	}
	if req.TemperatureC != nil && before.EndTemperatureC != nil && *req.TemperatureC != *before.EndTemperatureC {
		other("temperature_c", fmt.Sprintf("%g °C", *req.TemperatureC), fmt.Sprintf("%g °C", *before.EndTemperatureC))
	}
	later := said.Cylinders
	said = proto.CloneOf(before)
	for i, c := range later {
		if was := cylinderOf(before, c.Cylinder); was == nil {
			said.Cylinders = append(said.Cylinders, c)
		} else if was.EndPressure.GetBar() != c.EndPressure.GetBar() {
			other(fmt.Sprintf("cylinders[%d].pressure", i), bar(c.EndPressure), bar(was.EndPressure))
		}
	}
	if len(problems) > 0 {
		return nil, false, fault.Wrong(problems)
	}
	if said.EndTemperatureC == nil {
		said.EndTemperatureC = req.TemperatureC
	}
	if said.EndPressure == nil {
		said.EndPressure = req.EndPressure
	}
	if said.MaxDepthM == nil {
		said.MaxDepthM = req.MaxDepthM
	}
	said.Symptoms = proto.Bool(before.GetSymptoms() || req.GetSymptoms())
	return said, !proto.Equal(said, before), nil
}

func bar(p *lastlightv1.Pressure) string {
	return strconv.FormatFloat(p.GetBar(), 'f', -1, 64) + " bar"
}

func metres(m float64) string { return strconv.FormatFloat(m, 'f', -1, 64) + " m" }

// cylinderOf finds a stage or deco cylinder of a diver; nil where there is none.
func cylinderOf(d *lastlightv1.DiveDiver, id string) *lastlightv1.BreathedCylinder {
	for _, c := range d.Cylinders {
		if c.Cylinder == id {
			return c
		}
	}
	return nil
}

// wentIn is what the register holds of a diver since the entry.
func wentIn(dive *lastlightv1.Dive, person string) *lastlightv1.DiveDiver {
	for _, d := range dive.Divers {
		if d.Person == person {
			return d
		}
	}
	return &lastlightv1.DiveDiver{}
}

// CorrectWatch puts a wrong fact right by a new one, with its reason.
func (d *Desk) CorrectWatch(ctx context.Context, m store.Mutation, req *lastlightv1.CorrectWatchRequest) (*lastlightv1.Watch, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Watch, error) {
		row, diver, err := d.register(ctx, tx, req.Dive, req.Person)
		if err != nil {
			return nil, err
		}
		var when time.Time
		if req.At != nil {
			from := diver.InAt
			if req.What == "in" {
				from = tx.Now().Add(-entryBehind)
			}
			if when, err = minute("at", req.At, from, tx.Now()); err != nil {
				return nil, err
			}
			if out := firstOut(diver); req.What == "in" && !out.IsZero() && !when.Before(out) {
				return nil, fault.Wrong([]fault.Problem{{
					Field: "at", Read: when.Format(time.RFC3339),
					Expected: "before " + out.Format(time.RFC3339), Message: "in after the diver was out; correct the minute of the out first",
				}})
			}
		} else if req.What == "in" {
			return nil, fault.Wrong([]fault.Problem{{Field: "at", Expected: "the right minute", Message: "whoever signed in by mistake is signed out; an entry itself can only be moved"}})
		}
		if err := tx.AddWatchFact(ctx, store.WatchFact{Dive: req.Dive, Person: req.Person, What: req.What, At: when, Correction: true, Reason: req.Reason}); err != nil {
			return nil, err
		}
		return d.settled(ctx, tx, row.Dive)
	})
}

// firstOut is the earlier of the minutes at which the diver was seen out and
// signed out; zero while neither stands.
func firstOut(d store.WatchDiver) time.Time {
	if d.SeenOutAt.IsZero() || !d.SignedOutAt.IsZero() && d.SignedOutAt.Before(d.SeenOutAt) {
		return d.SignedOutAt
	}
	return d.SeenOutAt
}

// register locks a running dive and finds the diver in it.
func (d *Desk) register(ctx context.Context, tx *store.Tx, dive, person string) (*store.WatchRow, store.WatchDiver, error) {
	if _, err := tx.LockDive(ctx, dive); err != nil {
		return nil, store.WatchDiver{}, err
	}
	row, err := tx.Watch(ctx, dive)
	if err != nil {
		return nil, store.WatchDiver{}, err
	}
	if row.Dive.State == "closed" {
		return nil, store.WatchDiver{}, fault.NotInState("dive", dive, "closed", "in the water", "out")
	}
	for _, x := range row.Divers {
		if x.Person == person {
			return row, x, nil
		}
	}
	return nil, store.WatchDiver{}, fault.NoSuch("diver of this dive", person)
}

func minute(field string, t *timestamppb.Timestamp, from, now time.Time) (time.Time, error) {
	if t == nil {
		return now, nil
	}
	when := t.AsTime()
	if !when.After(from) || when.After(now.Add(entryAhead)) {
		return when, fault.Wrong([]fault.Problem{{
			Field: field, Read: when.Format(time.RFC3339),
			Expected: "after " + from.Format(time.RFC3339) + ", up to now", Message: "not after the diver was in, or in the future",
		}})
	}
	return when, nil
}

// settled brings the dive's state and the bookings in line with the facts. Cover's
// word alone ends the alarm: a diver seen out is free after that minute, cover and
// standby after the last. Who only signed out is still looked for.
func (d *Desk) settled(ctx context.Context, tx *store.Tx, dive *lastlightv1.Dive) (*lastlightv1.Watch, error) {
	row, err := tx.Watch(ctx, dive.Id)
	if err != nil {
		return nil, err
	}
	all, first, last := true, time.Time{}, time.Time{}
	for _, x := range row.Divers {
		if first.IsZero() || x.InAt.Before(first) {
			first = x.InAt
		}
		out := x.SeenOutAt
		all = all && !out.IsZero()
		if out.After(last) {
			last = out
		}
		if !out.IsZero() && dive.Plan != "" {
			if err := tx.Release(ctx, dive.Plan, "person", x.Person, out); err != nil {
				return nil, err
			}
		}
		if out.IsZero() && dive.Plan != "" {
			if err := tx.BindAgain(ctx, dive.Plan, x.Person); err != nil {
				return nil, err
			}
		}
	}
	state := "in_water"
	if all {
		state = "out"
		if dive.Plan != "" {
			if err := tx.ReleaseRest(ctx, dive.Plan, last); err != nil {
				return nil, err
			}
		}
	} else {
		last = time.Time{}
	}
	if err := tx.SetDiveState(ctx, dive.Id, state, first, last); err != nil {
		return nil, err
	}
	if row, err = tx.Watch(ctx, dive.Id); err != nil {
		return nil, err
	}
	return ShowWatch(row, tx.Now()), nil
}

// Close records a dive whose team is out: what was done, left behind and met.
// What the caller does not say is taken from the register and the plan; check
// judges the whole.
func (d *Desk) Close(ctx context.Context, m store.Mutation, req *lastlightv1.CloseDiveRequest, mayCloseForOthers bool, check func(*lastlightv1.Dive) error) (*lastlightv1.Dive, error) {
	return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.Dive, error) {
		before, err := tx.LockDive(ctx, req.Dive.Id)
		if err != nil {
			return nil, err
		}
		row, err := tx.Watch(ctx, before.Id)
		if err != nil {
			return nil, err
		}
		var missing, notSeen []string
		for _, x := range row.Divers {
			if x.SignedOutAt.IsZero() {
				missing = append(missing, x.Person)
			}
			if x.SeenOutAt.IsZero() {
				notSeen = append(notSeen, x.Person)
			}
		}
		if before.State == "in_water" && len(notSeen) > 0 {
			return nil, &fault.Error{Kind: fault.WrongState, Reason: "NOT_SEEN_OUT", Message: "not seen out yet by cover: " + strings.Join(notSeen, ", ") + "; the alarm goes on for them, and the dive cannot be closed"}
		}
		if before.State != "out" {
			return nil, fault.NotInState("dive", before.Id, before.State, "out")
		}
		if len(missing) > 0 && !mayCloseForOthers {
			return nil, &fault.Error{Kind: fault.WrongState, Reason: "NOT_SIGNED_OUT", Message: "not signed out yet: " + strings.Join(missing, ", ") + "; where a diver cannot sign, a coordinator closes the dive"}
		}
		p, err := tx.Plan(ctx, before.Plan)
		if err != nil {
			return nil, err
		}
		dive := complete(proto.CloneOf(req.Dive), before, p, row)
		if err := check(dive); err != nil {
			return nil, err
		}
		after, err := tx.CloseDive(ctx, before, dive)
		if err != nil {
			return nil, err
		}
		s, err := tx.PlanState(ctx, before.Plan)
		if err != nil {
			return nil, err
		}
		if err := tx.MovePlan(ctx, s, plan.Close, time.Time{}, nil); err != nil {
			return nil, err
		}
		return after, tx.Release(ctx, before.Plan, "", "", tx.Now())
	})
}

// complete fills what the caller left out. Times and divers are the register's.
func complete(m, before *lastlightv1.Dive, p *lastlightv1.Plan, row *store.WatchRow) *lastlightv1.Dive {
	m.Id, m.Site, m.Plan, m.PlanVersion, m.Expedition = before.Id, before.Site, before.Plan, before.PlanVersion, before.Expedition
	m.Kind, m.TaughtLevel, m.Cover, m.Survey = before.Kind, before.TaughtLevel, before.Cover, before.Survey
	m.EnteredAt, m.OutAt = before.EnteredAt, before.OutAt
	said := map[string]*lastlightv1.DiveDiver{}
	for _, d := range m.Divers {
		said[d.Person] = d
	}
	m.Divers = nil
	for i, d := range before.Divers {
		d = proto.CloneOf(d)
		for _, more := range []*lastlightv1.DiveDiver{row.Divers[i].SignedOut, said[d.Person]} {
			if more == nil {
				continue
			}
			if len(more.OtherGases) > 0 {
				d.OtherGases = nil // what was breathed, not what was carried
			}
			more = proto.CloneOf(more)
			readAfter(d, more.Cylinders)
			more.Cylinders = nil
			proto.Merge(d, more)
		}
		if d.MaxDepthM != nil {
			m.MaxDepthM = proto.Float64(max(m.GetMaxDepthM(), *d.MaxDepthM))
		}
		m.Divers = append(m.Divers, d)
	}
	f := row.EnterReport
	if m.MaxDepthM == nil {
		m.MaxDepthM = proto.Float64(f.GetMaxDepthM())
	}
	if m.RequiredStops == nil && insideReport(m, f) {
		m.RequiredStops = before.RequiredStops
	}
	for _, d := range m.Divers {
		depth := m.GetMaxDepthM()
		if d.MaxDepthM != nil {
			depth = *d.MaxDepthM
		}
		for _, g := range d.OtherGases { // carried for a greater depth than was dived
			if g.DeepestM != nil && said[d.Person].GetOtherGases() == nil {
				g.DeepestM = proto.Float64(min(depth, *g.DeepestM))
			}
		}
	}
	if m.PenetrationM == nil {
		m.PenetrationM = proto.Float64(f.GetPenetrationM())
	}
	if m.Zone == "" {
		m.Zone = hardestZone(f.GetRoute())
	}
	if len(m.Legs) == 0 {
		m.Legs = legsOfRoute(f.GetRoute())
	}
	if m.Left == nil {
		for _, l := range p.GetRoute().GetLeft() {
			owner := l.Owner
			if owner == "" {
				owner = p.Leader
			}
			place := l.Item
			if l.Kind != "line" {
				place = whereLeft(p, l)
			}
			m.Left = append(m.Left, &lastlightv1.LeftBehind{Kind: l.Kind, Place: place, Item: l.Item, Owner: owner, RemoveBy: l.RemoveBy})
		}
	}
	return m
}

// readAfter adds what was read of cylinders to those of the register; one that was
// not carried in by the plan is a further one.
func readAfter(d *lastlightv1.DiveDiver, read []*lastlightv1.BreathedCylinder) {
	for _, c := range read {
		if was := cylinderOf(d, c.Cylinder); was != nil {
			proto.Merge(was, c)
		} else {
			d.Cylinders = append(d.Cylinders, c)
		}
	}
}

// requiredStops is whether the dive about to begin has required stops: no where
// neither the plan nor any way out has one, yes where the plan has; else nobody knows
// before the dive is over, and a flight waits as if it had.
func requiredStops(a *dive.Answer) *bool {
	switch {
	case a == nil:
		return nil
	case a.Schedule.StopMin > 0:
		return new(true)
	case !a.Stops:
		return new(false)
	}
	return nil
}

// Beyond these a dive was not the one that was judged at the water.
const (
	deeperM   = 0.5
	longerMin = 5
)

// insideReport tells whether a dive was no deeper and no longer than the dive
// judged at the water: what was said of its stops then still holds.
func insideReport(m *lastlightv1.Dive, f *lastlightv1.DiveFigures) bool {
	minutes := m.OutAt.AsTime().Sub(m.EnteredAt.AsTime()).Minutes()
	return m.GetMaxDepthM() <= f.GetMaxDepthM()+deeperM && minutes <= f.GetRuntimeMin()+longerMin
}

// carriedGases are the stage and decompression gases of a diver, which may have
// been breathed as deep as the plan lets them.
func carriedGases(m *lastlightv1.PlanDiver) []*lastlightv1.BreathedGas {
	var out []*lastlightv1.BreathedGas
	for _, s := range m.Stages {
		out = append(out, &lastlightv1.BreathedGas{Gas: s.Gas, DeepestM: s.SwitchDepthM})
	}
	return out
}

func hardestZone(route []*lastlightv1.RouteLine) string {
	hardest := "open_water"
	for _, l := range route {
		switch {
		case l.Zone == "cave":
			return "cave"
		case l.Zone == "cavern":
			hardest = "cavern"
		}
	}
	return hardest
}

func legsOfRoute(route []*lastlightv1.RouteLine) []*lastlightv1.LegPassed {
	var out []*lastlightv1.LegPassed
	for _, l := range route {
		direction := "from_to"
		if l.AgainstSurvey {
			direction = "to_from"
		}
		out = append(out, &lastlightv1.LegPassed{Leg: l.Leg, Direction: direction})
	}
	return out
}

// whereLeft is the station at which the plan places a marker or drops a cylinder.
func whereLeft(p *lastlightv1.Plan, l *lastlightv1.LeftOnPurpose) string {
	at := p.GetRoute().GetStart()
	for _, m := range p.GetRoute().GetMoves() {
		for _, a := range m.Actions {
			if (l.Kind == "marker" && a.Action == "place_marker" && a.Marker == l.Item) || (l.Kind == "cylinder" && a.Action == "drop" && a.Cylinder == l.Item) {
				at = m.To
			}
		}
	}
	return at
}
