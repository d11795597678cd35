package decide

import (
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/store"
)

// Steps of a watch, in the order in which they come.
const (
	stepIn          = "in"          // before ETO
	stepOverdue     = "overdue"     // ETO is past
	stepLook        = "look"        // somebody looks at the entrance
	stepCoordinator = "coordinator" // the coordinator is told
	stepCall        = "call"        // the emergency number is dialled
	stepOut         = "out"         // all out
)

// ShowWatch makes the register's entry as it stands at this minute. All times
// are instants; whoever shows them shows the site's clock.
func ShowWatch(r *store.WatchRow, now time.Time) *lastlightv1.Watch {
	out := &lastlightv1.Watch{
		Dive: r.Dive.Id, Plan: r.Dive.Plan, PlanVersion: r.Dive.PlanVersion, Site: r.Dive.Site, TimeZone: r.TimeZone,
		EnteredAt: r.Dive.EnteredAt, Times: r.Times, Cover: r.Cover, CodeWord: r.CodeWord, Figures: r.Figures,
		TurnAtTheLatest: r.EnterReport.GetTurnAtTheLatest(),
		AllSeenOut:      true, AllSignedOut: true, EmergencyNumber: r.Emergency.GetEmergencyNumber(),
	}
	in, gone := 0, 0
	var signedOnly []string
	for _, d := range r.Divers {
		w := &lastlightv1.WatchDiver{
			Person: d.Person, Name: d.Name, InAt: stamp(d.InAt), SeenOutAt: stamp(d.SeenOutAt), SeenOutBy: d.SeenOutBy,
			SignedOutAt: stamp(d.SignedOutAt), SignedOutBy: d.SignedOutBy, Corrections: d.Corrections,
		}
		if d.SignedOut != nil && !d.SignedOutAt.IsZero() {
			w.Symptoms = d.SignedOut.Symptoms
		}
		seen, signed := !d.SeenOutAt.IsZero(), !d.SignedOutAt.IsZero()
		switch {
		case seen || signed:
			gone++
		default:
			in++
		}
		if signed && !seen {
			signedOnly = append(signedOnly, d.Name)
		}
		out.AllSeenOut = out.AllSeenOut && seen
		out.AllSignedOut = out.AllSignedOut && signed
		out.Divers = append(out.Divers, w)
	}
	out.Split = in > 0 && gone > 0
	if out.AllSeenOut {
		out.Step, out.NextStep = stepOut, "sign-out of everybody, then the record"
		if out.AllSignedOut {
			out.NextStep = "the record of the dive"
		}
		return out
	}
	out.Stopped = r.Stopped
	steps := []struct {
		name, next string
		at         *timestamppb.Timestamp
	}{
		{stepIn, "expected out (ETO)", r.Times.Eto},
		{stepOverdue, "look at the entrance", r.Times.Look},
		{stepLook, "tell the coordinator", r.Times.Coordinator},
		{stepCoordinator, "dial the emergency number", r.Times.Dial},
	}
	out.Step, out.NextStep = stepCall, "dial the emergency number now, if it has not been done"
	out.NextStepAt = r.Times.Dial
	for _, s := range steps {
		if now.Before(s.at.AsTime()) {
			out.Step, out.NextStep, out.NextStepAt = s.name, s.next, s.at
			break
		}
	}
	if in == 0 { // the divers' own word does not end the alarm
		out.NextStep = "see " + strings.Join(signedOnly, ", ") + " out (signed out, not seen out); else " + out.NextStep
	}
	return out
}

// Worse orders watches for the board: those nearest to the call first, split
// teams before whole ones, those who are out last.
func Worse(a, b *lastlightv1.Watch) int {
	order := map[string]int{stepCall: 0, stepCoordinator: 1, stepLook: 2, stepOverdue: 3, stepIn: 4, stepOut: 5}
	if d := order[a.Step] - order[b.Step]; d != 0 {
		return d
	}
	if a.Split != b.Split {
		if a.Split {
			return -1
		}
		return 1
	}
	if d := a.NextStepAt.AsTime().Compare(b.NextStepAt.AsTime()); d != 0 {
		return d
	}
	return compare(a.Dive, b.Dive)
}

func compare(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
