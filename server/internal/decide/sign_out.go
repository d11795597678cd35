package decide

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

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
