package engine

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"lastlight/engine/dive"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// turnedEarlier are the rules whose breach on the whole planned route is mended
// by turning at the turn at the latest: by its definition (D27) the plan cut
// there, with the way home from there, passes every one of them.
var turnedEarlier = []string{
	"route.share_rule", "route.stage_share", "route.sharing_exit", "route.planned_exit", "route.lost_cylinder",
	"route.independent_main", "route.marker_in_time", "route.cylinder_on_way_out",
}

// EntryBlocking lists what stops an entry, worst first. A gas check that only
// the far part of the planned route breaks does not: the team turns at the turn
// at the latest, which the report states with its pressures. Where no dive is
// left before it, every breach stops the entry.
func EntryBlocking(r *Report) []finding.Finding {
	left := diveLeft(r)
	var out []finding.Finding
	for _, f := range r.Findings {
		if !f.Blocks() || left && f.Status == finding.Refuse && slices.Contains(turnedEarlier, f.Rule) {
			continue
		}
		out = append(out, f)
	}
	return out
}

// diveLeft tells whether any dive is left: the turn at the latest lies beyond
// the start, and nobody's turn pressure is at or above the start pressure.
func diveLeft(r *Report) bool {
	if r.Route == nil || r.Route.Verdict == route.Refused || !(r.Route.Reach.Place.DistanceM > 0) {
		return false
	}
	for _, d := range r.Route.Divers {
		for _, m := range d.Mains {
			if m.TurnRoundedBar >= m.StartBar {
				return false
			}
		}
	}
	return true
}

// Inside says in words how the dive judged now goes beyond the dive approved:
// the same people, apparatus, cylinders and gases, the same way, no depth or
// minute beyond it, and no schedule of it that asks for more. Empty: it is inside.
// Input and report are those of Bytes. Persons and cylinders are named by their ids.
// The error is for bytes that are no input or report of this engine.
func Inside(approvedInput, approvedReport, input, report []byte) ([]string, error) {
	var a, b Input
	var ra, rb Report
	for _, x := range []struct {
		what  string
		bytes []byte
		into  any
	}{{"approved input", approvedInput, &a}, {"approved report", approvedReport, &ra}, {"input", input, &b}, {"report", report, &rb}} {
		if err := json.Unmarshal(x.bytes, x.into); err != nil {
			return nil, fmt.Errorf("%s: %w", x.what, err)
		}
	}
	out := beyond(&a, &b)
	if ra.Route != nil && rb.Route != nil {
		more := func(what string, was, is float64, unit string) {
			if is > was+1e-6 {
				out = append(out, fmt.Sprintf("%s %s %s, approved %s %s", what, finding.Decimal(is, 1), unit, finding.Decimal(was, 1), unit))
			}
		}
		more("runtime", ra.RuntimeMin, rb.RuntimeMin, "min")
		more("greatest depth", ra.Route.Summary.MaxDepthM, rb.Route.Summary.MaxDepthM, "m")
		more("penetration", ra.Route.Summary.PenetrationM, rb.Route.Summary.PenetrationM, "m")
	}
	return append(out, longerStops(ra.Dive, rb.Dive)...), nil
}

// aMinuteMore is how much longer a way to the surface has to take to be another one, minutes.
const aMinuteMore = 1

// longerStops lists the schedules on the page that ask for more than the same
// ones approved: minutes of stops, a deeper stop, or a minute to the surface. They do
// where the divers bring more with them than was known then, as after a dive since.
// A schedule that was not there was not approved; without stops it asks for nothing.
func longerStops(was, is *dive.Answer) []string {
	if is == nil {
		return nil // it cannot be told, which blocks by itself
	}
	var planned *dive.Schedule
	if was == nil {
		was = &dive.Answer{}
	} else {
		planned = &was.Schedule
	}
	var out []string
	compare := func(of string, a, b *dive.Schedule) {
		if a == nil && b.StopMin == 0 && !b.NoSchedule {
			return
		}
		if a == nil || asksMore(a, b) {
			out = append(out, fmt.Sprintf("stops of %s, were %s, now %s", of, written(a), written(b)))
		}
	}
	compare("the dive as planned", planned, &is.Schedule)
	for i := range is.Variants {
		v := &is.Variants[i]
		var before *dive.Schedule
		for k := range was.Variants {
			if x := &was.Variants[k]; x.DeeperM == v.DeeperM && x.LongerMin == v.LongerMin {
				before = &x.Schedule
			}
		}
		var how []string
		if v.DeeperM > 0 {
			how = append(how, finding.Decimal(v.DeeperM, 1)+" m deeper")
		}
		if v.LongerMin > 0 {
			how = append(how, finding.Decimal(v.LongerMin, 1)+" min longer")
		}
		compare("the dive "+strings.Join(how, " and "), before, &v.Schedule)
	}
	for i := range is.LostGas {
		l := &is.LostGas[i]
		lost := l.Lost
		var before *dive.Schedule
		switch x := was.LostGasOf(l.Lost, l.Diver); {
		case x != nil:
			before = &x.Schedule
		case lost == "":
			continue // approved before engine 15, which tells of it
		}
		if lost == "" {
			lost = "all that " + l.Diver + " carries"
		}
		compare("the way out from "+l.Place+" after the loss of "+lost, before, &l.Schedule)
	}
	return out
}

func asksMore(was, is *dive.Schedule) bool {
	if was.NoSchedule || is.NoSchedule {
		return is.NoSchedule && !was.NoSchedule
	}
	deepest := func(s *dive.Schedule) (m float64) {
		for i := range s.Stops {
			m = max(m, s.Stops[i].DepthM)
		}
		return m
	}
	return is.StopMin > was.StopMin || deepest(is) > deepest(was)+1e-6 || is.ToSurfaceMin >= was.ToSurfaceMin+aMinuteMore-1e-6
}

// written is a schedule in one line: depths with their minutes, and minutes to the surface.
func written(s *dive.Schedule) string {
	switch {
	case s == nil:
		return "not in the report approved"
	case s.NoSchedule:
		return "no schedule at all"
	}
	var list []string
	for i := range s.Stops {
		list = append(list, fmt.Sprintf("%s m %d min", finding.Decimal(s.Stops[i].DepthM, 1), s.Stops[i].Minutes))
	}
	if len(list) == 0 {
		list = []string{"none"}
	}
	return fmt.Sprintf("%s (%s min to the surface)", strings.Join(list, ", "), finding.Decimal(s.ToSurfaceMin, 1))
}

// beyond lists what is not the same in two plans.
func beyond(a, b *Input) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	member := func(in *Input, id string) *facts.Member {
		for i := range in.Plan.Team {
			if in.Plan.Team[i].Diver == id {
				return &in.Plan.Team[i]
			}
		}
		return nil
	}
	for _, m := range a.Plan.Team {
		switch n := member(b, m.Diver); {
		case n == nil:
			add("%s was approved in the team and is not in it", m.Diver)
		case n.Apparatus != m.Apparatus:
			add("%s breathes from %s, approved %s", m.Diver, n.Apparatus, m.Apparatus)
		case n.Scooter && !m.Scooter:
			add("%s takes a scooter, approved without", m.Diver)
		}
	}
	for _, m := range b.Plan.Team {
		if member(a, m.Diver) == nil {
			add("%s is in the team and was not approved in it", m.Diver)
		}
	}
	supply := func(in *Input, id string) *facts.Supply {
		for i := range in.Plan.Supplies {
			if in.Plan.Supplies[i].ID == id {
				return &in.Plan.Supplies[i]
			}
		}
		return nil
	}
	for i := range a.Plan.Supplies {
		s := &a.Plan.Supplies[i]
		t := supply(b, s.ID)
		if t == nil {
			add("the %s supply %s of %s was approved and is not carried", s.Role, s.ID, s.Diver)
			continue
		}
		if t.Diver != s.Diver || t.Role != s.Role || !slices.Equal(t.Cylinders, s.Cylinders) {
			add("the supply %s is %s of %s with %v, approved %s of %s with %v", s.ID, t.Role, t.Diver, t.Cylinders, s.Role, s.Diver, s.Cylinders)
		}
		if t.PlannedO2 != s.PlannedO2 || t.PlannedHe != s.PlannedHe {
			add("the supply %s holds %s %% oxygen and %s %% helium, approved %s and %s", s.ID, t.PlannedO2, t.PlannedHe, s.PlannedO2, s.PlannedHe)
		}
	}
	for i := range b.Plan.Supplies {
		if t := &b.Plan.Supplies[i]; supply(a, t.ID) == nil {
			add("the %s supply %s of %s is carried and was not approved", t.Role, t.ID, t.Diver)
		}
	}
	// Both were read back from what was stored, so equal routes are written alike.
	was, errA := json.Marshal(a.Route.Route)
	is, errB := json.Marshal(b.Route.Route)
	if errA != nil || errB != nil || string(was) != string(is) {
		add("the route is not the one approved")
	}
	return out
}
