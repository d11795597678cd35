package route

import (
	"fmt"
	"slices"
)

// refusals walks the route without any arithmetic and gathers everything for
// which a plan is refused outright (D33). Where something is refused the walk
// goes on as if the plan had said what it meant, so that all is told at once.
type refusals struct {
	in    *Input
	names names
	list  []Refusal

	moves   []resolved
	at      string // station
	run     []int  // legs whose line this team runs, in order
	left    map[int]bool
	markers []PlacedMarker
	placed  []PlacedMarker // by this dive
	where   map[gearID]string
	joins   map[[2]string][]int // made when a leg is not named
}

type gearID struct{ diver, id string }

// resolved is a move with its leg found.
type resolved struct{ leg, dir int }

func (r *refusals) add(at string, move int, kind, object, detail, phrase string, args ...any) {
	text := fmt.Sprintf(phrase, args...)
	switch at {
	case AtMove:
		text = fmt.Sprintf("move %d: %s", move, text)
	case AtStart, AtEnd:
		text = at + ": " + text
	default:
		text = fmt.Sprintf("%s %s: %s", at, object, text)
	}
	r.list = append(r.list, Refusal{at, move, kind, object, detail, text})
}

func refuse(in *Input, names names) *refusals {
	r := &refusals{in: in, names: names, at: in.Route.Start, left: map[int]bool{}, where: map[gearID]string{}}
	r.survey()
	r.stages()
	if s, ok := names.stations[r.at]; !ok || !in.Stations[s].exit() {
		r.add(AtStart, 0, RefuseStart, r.at, "", "%s is not an opening", r.at)
	}
	for _, id := range in.LeftLines {
		if l, ok := names.legs[id]; ok {
			r.left[l] = true
		}
	}
	r.markers = slices.Clone(in.Markers)
	r.actions(AtStart, 0, in.Route.StartActions)
	r.moves = make([]resolved, len(in.Route.Moves))
	for i := range in.Route.Moves {
		m := &in.Route.Moves[i]
		r.moves[i] = r.leg(i+1, m)
		if r.moves[i].leg >= 0 {
			r.swim(i+1, m, r.moves[i])
		}
		r.at = m.To
		r.actions(AtMove, i+1, m.Actions)
	}
	if s, ok := names.stations[r.at]; !ok || !in.Stations[s].exit() {
		r.add(AtMove, len(in.Route.Moves), RefuseEnd, r.at, "", "%s: the route does not end at an opening", r.at)
	}
	r.leftBehind()
	return r
}

// survey refuses legs that cannot be: D1 and D4.
func (r *refusals) survey() {
	for i := range r.in.Legs {
		l := &r.in.Legs[i]
		if l.From == l.To {
			r.add(AtLeg, 0, RefuseSelfLeg, l.ID, "", "joins a station to itself")
			continue
		}
		at, depth := 0.0, r.in.Stations[r.names.stations[l.From]].DepthM
		end := DepthPoint{l.LengthM, r.in.Stations[r.names.stations[l.To]].DepthM}
		short := false
		for k := range len(l.DepthPoints) + 1 {
			next := end
			if k < len(l.DepthPoints) {
				next = l.DepthPoints[k]
			}
			d := next.DepthM - depth
			short = short || max(d, -d) > next.AtM-at+1e-9
			at, depth = next.AtM, next.DepthM
		}
		if short {
			r.add(AtLeg, 0, RefuseShortLeg, l.ID, "", "a piece is shorter than its depth difference")
		}
	}
}

// stages refuses half + 15 bar where it allows less than a third (4.5).
func (r *refusals) stages() {
	if r.in.Policy.StageRule != StageHalfPlus15 {
		return
	}
	for i := range r.in.Team {
		d := &r.in.Team[i]
		for k := range d.Stages {
			if s := &d.Stages[k]; !s.Deco && s.StartBar < 90-1e-6 {
				r.add(AtStage, 0, RefuseHalfPlus15, s.ID, d.Name, "half + 15 bar on a stage that starts below 90 bar (%v bar)", s.StartBar)
			}
		}
	}
}

// leg finds the leg of a move.
func (r *refusals) leg(n int, m *Move) resolved {
	none := resolved{-1, 0}
	if m.Leg != "" {
		l, ok := r.names.legs[m.Leg]
		switch {
		case ok && r.in.Legs[l].From == r.at && r.in.Legs[l].To == m.To:
			return resolved{l, 0}
		case ok && r.in.Legs[l].To == r.at && r.in.Legs[l].From == m.To:
			return resolved{l, 1}
		}
		r.add(AtMove, n, RefuseNoLeg, m.Leg, "", "no leg joins %s and %s by the name %s", r.at, m.To, m.Leg)
		return none
	}
	if r.joins == nil {
		r.joins = map[[2]string][]int{}
		for i := range r.in.Legs {
			l := &r.in.Legs[i]
			r.joins[[2]string{l.From, l.To}] = append(r.joins[[2]string{l.From, l.To}], i)
		}
	}
	there, back := r.joins[[2]string{r.at, m.To}], r.joins[[2]string{m.To, r.at}]
	switch {
	case r.at == m.To || len(there)+len(back) == 0:
		r.add(AtMove, n, RefuseNoLeg, m.To, "", "no leg joins %s and %s", r.at, m.To)
		return none
	case len(there)+len(back) > 1:
		r.add(AtMove, n, RefuseNameLeg, m.To, "", "several legs join %s and %s: name the leg", r.at, m.To)
		return none
	case len(there) == 1:
		return resolved{there[0], 0}
	}
	return resolved{back[0], 1}
}

// swim looks at line and progress of one move.
func (r *refusals) swim(n int, m *Move, to resolved) {
	l := &r.in.Legs[to.leg]
	own := slices.Contains(r.run, to.leg)
	lined := l.Lined || own || r.left[to.leg]
	switch {
	case m.RunLine && lined:
		r.add(AtMove, n, RefuseRunOverLine, l.ID, "", "line run over leg %s, which is lined", l.ID)
	case m.RunLine:
		r.run = append(r.run, to.leg)
	case !lined:
		r.add(AtMove, n, RefuseNoLine, l.ID, "", "leg %s has no line", l.ID)
	}
	if m.RecoverLine {
		switch {
		case own:
			r.run = slices.DeleteFunc(r.run, func(x int) bool { return x == to.leg })
		case r.left[to.leg]:
			delete(r.left, to.leg)
		default:
			r.add(AtMove, n, RefuseRecover, l.ID, "", "line recovered on %s that was not run", l.ID)
		}
	}
	if l.PullAndGlideMMin != nil || r.in.Policy.PullAndGlideMMin != nil {
		return
	}
	least := r.in.Policy.MinProgressMMin
	for dir, flow := range [2]float64{l.FlowMMin, -l.FlowMMin} {
		if r.in.Speeds.SwimMMin+flow < least-1e-9 {
			r.add(AtMove, n, RefuseProgress, l.ID, directionName[dir], "leg %s %s below %v m/min over ground", l.ID, directionArrow[dir], least)
		}
	}
	flow := l.FlowMMin
	if to.dir == 1 {
		flow = -flow
	}
	if m.SwimMMin != 0 && r.in.Speeds.SwimMMin+flow >= least-1e-9 && m.SwimMMin+flow < slowestMMin {
		r.add(AtMove, n, RefuseMoveProgress, l.ID, directionName[to.dir], "leg %s cannot be swum at %v m/min against %v m/min", l.ID, m.SwimMMin, -flow)
	}
}

var (
	directionName  = [2]string{"from_to", "to_from"}
	directionArrow = [2]string{"from->to", "to->from"}
)

// actions follows cylinders and markers.
func (r *refusals) actions(at string, n int, actions []Action) {
	for i := range actions {
		a := &actions[i]
		switch a.Action {
		case ActPlaceMarker:
			r.markers = append(r.markers, PlacedMarker{a.Marker, r.at})
			r.placed = append(r.placed, PlacedMarker{a.Marker, r.at})
			continue
		case ActRemoveMarker:
			k := slices.Index(r.markers, PlacedMarker{a.Marker, r.at})
			if k < 0 {
				r.add(at, n, RefuseMarker, a.Marker, "", "marker %s removed that is not there", a.Marker)
				continue
			}
			r.markers = slices.Delete(r.markers, k, k+1)
			if k = slices.Index(r.placed, PlacedMarker{a.Marker, r.at}); k >= 0 {
				r.placed = slices.Delete(r.placed, k, k+1)
			}
			continue
		}
		if a.Cylinder == nil || r.isMain(a.Diver, *a.Cylinder) && a.Action == ActSwitchTo {
			continue
		}
		id := gearID{a.Diver, *a.Cylinder}
		lies, dropped := r.where[id]
		carried := r.owns(id) && !dropped
		switch {
		case a.Action == ActSwitchTo && !carried:
			r.add(at, n, RefuseSwitch, id.id, id.diver, "%s switches to %s, not carried", id.diver, id.id)
		case a.Action == ActDrop && !carried:
			r.add(at, n, RefuseDrop, id.id, id.diver, "%s drops %s, not carried", id.diver, id.id)
		case a.Action == ActDrop:
			r.where[id] = r.at
		case a.Action == ActPickUp && (!dropped || lies != r.at):
			r.add(at, n, RefusePickUp, id.id, id.diver, "%s: %s picked up that was not dropped there", id.diver, id.id)
		case a.Action == ActPickUp:
			delete(r.where, id)
		}
	}
}

func (r *refusals) isMain(diver, id string) bool { return r.has(diver, id, true) }
func (r *refusals) owns(g gearID) bool           { return r.has(g.diver, g.id, false) }

func (r *refusals) has(diver, id string, main bool) bool {
	for i := range r.in.Team {
		if r.in.Team[i].Name != diver {
			continue
		}
		list := r.in.Team[i].Stages
		if main {
			list = r.in.Team[i].Mains
		}
		for k := range list {
			if list[k].ID == id && id != "" {
				return true
			}
		}
	}
	return false
}

// leftBehind refuses what stays in the cave without being declared.
func (r *refusals) leftBehind() {
	declared := func(what string) bool { return slices.Contains(r.in.Route.LeftDeclared, what) }
	for _, l := range r.run {
		if id := r.in.Legs[l].ID; !declared(id) {
			r.add(AtEnd, 0, RefuseLineLeft, id, "", "line on %s stays behind and is not declared as left", id)
		}
	}
	for _, m := range r.placed {
		if !declared(m.Marker) {
			r.add(AtEnd, 0, RefuseMarkerLeft, m.Marker, "", "marker %s stays behind and is not declared as left", m.Marker)
		}
	}
	for i := range r.in.Team {
		d := &r.in.Team[i]
		for k := range d.Stages {
			id := d.Stages[k].ID
			if _, lies := r.where[gearID{d.Name, id}]; lies && !declared(id) {
				r.add(AtEnd, 0, RefuseCylinderLeft, id, d.Name, "cylinder %s of %s stays behind and is not declared as left", id, d.Name)
			}
		}
	}
}
