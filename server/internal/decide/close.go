package decide

import (
	"context"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/dive"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/plan"
	"lastlight/server/internal/store"
)

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
