package route

import (
	"fmt"
	"math"

	"lastlight/engine/gas"
)

// problems gathers everything wrong with an Input, up to a bound.
type problems struct {
	list []Problem
	names
}

// names finds stations and legs of the survey by their names.
type names struct {
	stations map[string]int
	legs     map[string]int
}

const maxProblems = 200

func (p *problems) add(text string, args []any, field string, at ...any) {
	if len(p.list) < maxProblems {
		p.list = append(p.list, Problem{fmt.Sprintf(field, at...), fmt.Sprintf(text, args...)})
	}
}

// within wants low ≤ v ≤ high; NaN never is.
func (p *problems) within(v, low, high float64, unit, field string, at ...any) {
	if !(v >= low && v <= high) {
		if !isNumber(v) {
			p.add("is not a number, must be %v to %v %s", []any{low, high, unit}, field, at...)
			return
		}
		p.add("%v %s, must be %v to %v %s", []any{v, unit, low, high, unit}, field, at...)
	}
}

func (p *problems) count(n, most int, field string) {
	if n > most {
		p.add("%d entries, at most %d are allowed", []any{n, most}, "%s", field)
	}
}

func (p *problems) word(v, field string, allowed ...string) {
	for _, a := range allowed {
		if v == a {
			return
		}
	}
	p.add("%q, must be one of %q", []any{v, allowed}, "%s", field)
}

const (
	slowestMMin = 0.1 // a swim slower than this is a mistaken unit
	fastestMMin = 200
	shortestM   = 0.001
)

// check tells what is wrong with the values of the input, with their places.
// What is wrong with the plan itself is a Refusal, found later.
func (in *Input) check() (names, []Problem) {
	var p problems
	in.checkSizes(&p)
	if len(p.list) > 0 {
		return p.names, p.list // too large to go through
	}
	p.within(in.Water.SurfaceBar, 0.3, 1.2, "bar", "water.surface_bar")
	p.within(in.Water.BarPerM, 0.09, 0.13, "bar per metre", "water.bar_per_m")
	p.word(string(in.GasModel), "gas_model", string(gas.Ideal), string(gas.Real))
	in.Policy.check(&p)
	p.within(in.Speeds.SwimMMin, slowestMMin, fastestMMin, "m/min", "speeds.swim_m_min")
	p.within(in.Speeds.ContingencyMMin, slowestMMin, fastestMMin, "m/min", "speeds.contingency_swim_m_min")
	in.checkSurvey(&p)
	in.checkTeam(&p)
	in.checkRoute(&p)
	if in.VisibilityM != nil {
		p.within(*in.VisibilityM, 0, 1000, "m", "visibility_m")
	}
	if l := in.CavernLimits; l != nil {
		p.within(l.DistanceM, 0, 1000, "m", "cavern_limits.distance_m")
		p.within(l.DepthM, 0, MaxDepthM, "m", "cavern_limits.depth_m")
		p.within(l.VisibilityM, 0, 1000, "m", "cavern_limits.visibility_m")
	}
	for i, id := range in.LeftLines {
		if _, ok := p.legs[id]; !ok {
			p.add("no leg %q", []any{id}, "left_lines[%d]", i)
		}
	}
	p.word(in.ClaimedZone, "claimed_zone", "", ClaimCavern, ZoneCave)
	return p.names, p.list
}

// Unreadable lists what makes the survey and the way unfit to be gone through,
// up to a bound: lists that are too long, texts longer than MaxText, numbers
// that are none. It does not look at what the caller of Lay works out from other
// facts (water, policy, speeds, team, verified legs, cavern limits, visibility).
func (in *Input) Unreadable() []Problem {
	var p problems
	in.checkSizes(&p)
	if len(p.list) > 0 {
		return p.list
	}
	text := func(s, field string, at ...any) {
		if len(s) > MaxText {
			p.add("%d bytes, at most %d are allowed", []any{len(s), MaxText}, field, at...)
		}
	}
	texts := func(list []string, field string) {
		for i, s := range list {
			text(s, "%s[%d]", field, i)
		}
	}
	number := func(x float64, field string, at ...any) {
		if !isNumber(x) {
			p.add("is not a number", nil, field, at...)
		}
	}
	// A site may have thousands of them: what is in order costs a comparison.
	for i := range in.Stations {
		s := &in.Stations[i]
		if len(s.Name) > MaxText {
			text(s.Name, "stations[%d].name", i)
		}
		if !isNumber(s.DepthM) {
			number(s.DepthM, "stations[%d].depth_m", i)
		}
	}
	for i := range in.Legs {
		l := &in.Legs[i]
		if max(len(l.ID), len(l.From), len(l.To), len(l.Restriction)) > MaxText {
			text(l.ID, "legs[%d].id", i)
			text(l.From, "legs[%d].from", i)
			text(l.To, "legs[%d].to", i)
			text(l.Restriction, "legs[%d].restriction", i)
		}
		if !isNumber(l.LengthM) || !isNumber(l.FlowMMin) {
			number(l.LengthM, "legs[%d].length_m", i)
			number(l.FlowMMin, "legs[%d].flow_m_min", i)
		}
		if l.PullAndGlideMMin != nil {
			number(*l.PullAndGlideMMin, "legs[%d].pull_and_glide_m_min", i)
		}
		for k, d := range l.DepthPoints {
			if !isNumber(d.AtM) || !isNumber(d.DepthM) {
				number(d.AtM, "legs[%d].depth_points[%d].at_m", i, k)
				number(d.DepthM, "legs[%d].depth_points[%d].depth_m", i, k)
			}
		}
	}
	actions := func(list []Action, field string) {
		for i := range list {
			text(list[i].Action, "%s[%d].action", field, i)
			text(list[i].Diver, "%s[%d].diver", field, i)
			text(list[i].Marker, "%s[%d].marker", field, i)
			if list[i].Cylinder != nil {
				text(*list[i].Cylinder, "%s[%d].cylinder", field, i)
			}
		}
	}
	text(in.Route.Start, "route.start")
	actions(in.Route.StartActions, "route.start_actions")
	texts(in.Route.LeftDeclared, "route.left_declared")
	for i := range in.Route.Moves {
		m := &in.Route.Moves[i]
		text(m.Leg, "route.moves[%d].leg", i)
		text(m.To, "route.moves[%d].to", i)
		text(m.HoldTask, "route.moves[%d].hold_task", i)
		number(m.SwimMMin, "route.moves[%d].swim_m_min", i)
		number(m.HoldMin, "route.moves[%d].hold_min", i)
		if len(m.Actions) > 0 {
			actions(m.Actions, fmt.Sprintf("route.moves[%d].actions", i))
		}
	}
	texts(in.LeftLines, "left_lines")
	for i := range in.Markers {
		text(in.Markers[i].Marker, "markers[%d].marker", i)
		text(in.Markers[i].Station, "markers[%d].station", i)
	}
	circuits := func(list []Circuit, field string) {
		for i := range list {
			c := &list[i]
			text(c.ID, "%s[%d].id", field, i)
			text(c.Start, "%s[%d].start", field, i)
			text(c.StartA, "%s[%d].start_a", field, i)
			text(c.StartB, "%s[%d].start_b", field, i)
			texts(c.Approach, fmt.Sprintf("%s[%d].approach", field, i))
			texts(c.Legs, fmt.Sprintf("%s[%d].legs", field, i))
			number(c.MarkerHoldMin, "%s[%d].marker_hold_min", field, i)
			if c.MarkerAtM != nil {
				number(*c.MarkerAtM, "%s[%d].marker_at_m", field, i)
			}
		}
	}
	circuits(in.Loops, "loops")
	circuits(in.Traverses, "traverses")
	text(in.ClaimedZone, "claimed_zone")
	return p.list
}

func isNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func (in *Input) checkSizes(p *problems) {
	p.count(len(in.Stations), MaxStations, "stations")
	p.count(len(in.Legs), MaxLegs, "legs")
	p.count(len(in.Team), MaxDivers, "team")
	p.count(len(in.Route.Moves), MaxMoves, "route.moves")
	p.count(len(in.Route.StartActions), MaxActions, "route.start_actions")
	p.count(len(in.Route.LeftDeclared), MaxMoves, "route.left_declared")
	p.count(len(in.LeftLines), MaxMoves, "left_lines")
	p.count(len(in.Markers), MaxMoves, "markers")
	p.count(len(in.Verified), MaxVerified, "verified")
	p.count(len(in.Loops), MaxVerified, "loops")
	p.count(len(in.Traverses), MaxVerified, "traverses")
	for i := range in.Legs {
		if n := len(in.Legs[i].DepthPoints); n > MaxDepthPoints {
			p.count(n, MaxDepthPoints, fmt.Sprintf("legs[%d].depth_points", i))
		}
	}
	for i := range in.Team {
		if n := len(in.Team[i].Stages); n > MaxStages {
			p.count(n, MaxStages, fmt.Sprintf("team[%d].stages", i))
		}
	}
	for i := range in.Route.Moves {
		if n := len(in.Route.Moves[i].Actions); n > MaxActions {
			p.count(n, MaxActions, fmt.Sprintf("route.moves[%d].actions", i))
		}
	}
	listed := 0
	for i := range in.Verified {
		listed += len(in.Verified[i].Legs)
		if n := len(in.Verified[i].Legs) + len(in.Verified[i].PassedBy) + len(in.Verified[i].Directions); n > MaxMoves {
			p.count(n, MaxMoves, fmt.Sprintf("verified[%d]", i))
		}
	}
	p.count(listed, MaxListed, "verified[].legs")
	listed = 0
	circuits := func(list []Circuit, field string) {
		for i := range list {
			c := &list[i]
			listed += len(c.Legs) + len(c.Approach)
			if n := len(c.Approach); n > MaxMoves {
				p.count(n, MaxMoves, fmt.Sprintf("%s[%d].approach", field, i))
			} else if n += len(c.Legs); n > MaxMoves { // a dive swims both
				p.count(n, MaxMoves, fmt.Sprintf("%s[%d].legs", field, i))
			}
		}
	}
	circuits(in.Loops, "loops")
	circuits(in.Traverses, "traverses")
	p.count(listed, MaxListed, "loops[] and traverses[].legs")
}

func (l *Policy) check(p *problems) {
	p.within(float64(l.ShareFraction), 0, 1, "", "policy.share_fraction")
	p.within(float64(l.StageFraction), 0, 1, "", "policy.stage_fraction")
	p.within(float64(l.SiphonFraction), 0, 1, "", "policy.siphon_fraction")
	p.within(float64(l.HalvesWarn), 0, 10, "", "policy.halves_warn")
	p.word(l.Rounding.Mode, "policy.rounding.mode", RoundDropFloor)
	p.within(l.Rounding.StepBar, 0.1, 50, "bar", "policy.rounding.step_bar")
	p.within(l.StressFactor, 1, 10, "", "policy.stress_factor")
	p.within(l.ContingencyFloorLMin, 0, 200, "L/min", "policy.contingency_rmv_floor_l_min")
	p.within(l.DelayMin, 0, 60, "min", "policy.delay_min")
	p.within(l.SharingReserveBar, 0, 300, "bar", "policy.sharing_reserve_bar")
	p.within(l.PlannedReserveBar, 0, 300, "bar", "policy.planned_reserve_bar")
	p.within(l.MinimumGasBar, 0, 300, "bar", "policy.minimum_gas_bar")
	p.word(l.VerifiedCounts, "policy.verified_counts", VerifiedAfterMarker, VerifiedFromStart, VerifiedNever)
	p.within(l.VerificationDays, 0, 366, "days", "policy.verification_days")
	p.within(l.AscentMMin, 1, 60, "m/min", "policy.ascent_m_min")
	p.within(l.DescentMMin, 1, 100, "m/min", "policy.descent_m_min")
	if l.PullAndGlideMMin != nil {
		p.within(*l.PullAndGlideMMin, slowestMMin, fastestMMin, "m/min", "policy.pull_and_glide_m_min")
	}
	zeroOr(p, l.PullAndGlideGasFactor, 1, 10, "", "policy.pull_and_glide_gas_factor")
	p.within(l.MinProgressMMin, 0, 50, "m/min", "policy.min_progress_m_min")
	p.within(l.SlowProgressMMin, 0, 60, "m/min", "policy.slow_progress_m_min")
	zeroOr(p, l.SlowExitFactor, 1, 10, "", "policy.slow_exit_factor")
	zeroOr(p, l.SlowExitMinorRestrict, 1, 10, "", "policy.slow_exit_minor_restriction")
	p.word(l.ThreeDonor, "policy.three_donor", DonorSingle, DonorPooled)
	p.word(l.WaitingGas, "policy.waiting_gas", WaitingOwn, WaitingNone)
	p.word(l.StageRule, "policy.stage_rule", StageFraction, StageHalfPlus15)
	zeroOr(p, l.DecoGasReserveFactor, 1, 10, "", "policy.deco_gas_reserve_factor")
	p.within(l.IndependentSpreadBar, 0, 300, "bar", "policy.independent_spread_bar")
	p.word(l.SiphonRow, "policy.siphon_row", SiphonNoRow, SiphonRefuse, SiphonFraction)
	p.word(l.HelpfulOutflow, "policy.helpful_outflow", "", HelpfulCaution, HelpfulRefuse)
}

// zeroOr lets 0 stand for the value that changes nothing.
func zeroOr(p *problems, v, low, high float64, unit, field string, at ...any) {
	if v != 0 {
		p.within(v, low, high, unit, field, at...)
	}
}

func (in *Input) checkSurvey(p *problems) {
	stations := make(map[string]int, len(in.Stations))
	for i := range in.Stations {
		s := &in.Stations[i]
		if s.Name == "" {
			p.add("has no name", nil, "stations[%d].name", i)
		} else if j, twice := stations[s.Name]; twice {
			p.add("%q is also stations[%d]", []any{s.Name, j}, "stations[%d].name", i)
		}
		stations[s.Name] = i
		if !(s.DepthM >= 0 && s.DepthM <= MaxDepthM) {
			p.within(s.DepthM, 0, MaxDepthM, "m", "stations[%d].depth_m", i)
		}
	}
	legs := make(map[string]int, len(in.Legs))
	p.names = names{stations, legs}
	for i := range in.Legs {
		l := &in.Legs[i]
		if l.ID == "" {
			p.add("has no identifier", nil, "legs[%d].id", i)
		} else if j, twice := legs[l.ID]; twice {
			p.add("%q is also legs[%d]", []any{l.ID, j}, "legs[%d].id", i)
		}
		legs[l.ID] = i
		if _, ok := stations[l.From]; !ok {
			p.add("no station %q", []any{l.From}, "legs[%d].from", i)
		}
		if _, ok := stations[l.To]; !ok {
			p.add("no station %q", []any{l.To}, "legs[%d].to", i)
		}
		l.check(p, i)
	}
}

func (l *Leg) check(p *problems, i int) {
	if !(l.LengthM >= shortestM && l.LengthM <= MaxLengthM) {
		p.within(l.LengthM, shortestM, MaxLengthM, "m", "legs[%d].length_m", i)
	}
	if !(l.FlowMMin >= -fastestMMin && l.FlowMMin <= fastestMMin) {
		p.within(l.FlowMMin, -fastestMMin, fastestMMin, "m/min", "legs[%d].flow_m_min", i)
	}
	switch l.Restriction {
	case "", RestrictionNone, RestrictionMinor, RestrictionMajor:
	default:
		p.add("%q, must be none, minor or major", []any{l.Restriction}, "legs[%d].restriction", i)
	}
	last := 0.0
	for k, d := range l.DepthPoints {
		if !(d.AtM >= last && d.AtM <= l.LengthM) {
			p.add("%v m, must be in order along the leg, 0 to %v m", []any{d.AtM, l.LengthM}, "legs[%d].depth_points[%d].at_m", i, k)
		} else {
			last = d.AtM
		}
		if !(d.DepthM >= 0 && d.DepthM <= MaxDepthM) {
			p.within(d.DepthM, 0, MaxDepthM, "m", "legs[%d].depth_points[%d].depth_m", i, k)
		}
	}
	if l.PullAndGlideMMin != nil {
		p.within(*l.PullAndGlideMMin, slowestMMin, fastestMMin, "m/min", "legs[%d].pull_and_glide_m_min", i)
	}
	if l.SlowExitFactor != 0 {
		p.within(l.SlowExitFactor, 1, 10, "", "legs[%d].slow_exit_factor", i)
	}
}

func (in *Input) checkTeam(p *problems) {
	if len(in.Team) == 0 {
		p.add("no diver", nil, "team")
	}
	names := map[string]bool{}
	for i := range in.Team {
		d := &in.Team[i]
		if d.Name == "" || names[d.Name] {
			p.add("%q, must be a name of its own", []any{d.Name}, "team[%d].name", i)
		}
		names[d.Name] = true
		p.within(d.RMVLMin, 1, 200, "L/min", "team[%d].rmv_l_min", i)
		if n := len(d.Mains); n < 1 || n > 2 {
			p.add("%d main cylinders, must be 1 (a manifolded set counts as one) or 2 independent ones", []any{n}, "team[%d].mains", i)
		}
		ids := map[string]bool{}
		for k := range d.Mains {
			d.Mains[k].check(p, in.GasModel, fmt.Sprintf("team[%d].mains[%d]", i, k))
			if id := d.Mains[k].ID; len(d.Mains) == 2 && (id == "" || ids[id]) {
				p.add("%q, two independent cylinders each need an id of their own", []any{id}, "team[%d].mains[%d].id", i, k)
			}
			if d.Mains[k].ID != "" {
				ids[d.Mains[k].ID] = true
			}
		}
		for k := range d.Stages {
			d.Stages[k].check(p, in.GasModel, fmt.Sprintf("team[%d].stages[%d]", i, k))
			if id := d.Stages[k].ID; id == "" || ids[id] {
				p.add("%q, must be an id that no other cylinder of the diver has", []any{id}, "team[%d].stages[%d].id", i, k)
			}
			ids[d.Stages[k].ID] = true
		}
	}
}

func (c *Cylinder) check(p *problems, model gas.Model, field string) {
	p.within(c.VolumeL, 0.1, 200, "L", "%s.volume_l", field)
	p.within(c.StartBar, 0, 400, "bar", "%s.start_bar", field)
	if err := c.mix().Check(); err != nil {
		p.add("%v", []any{err}, "%s.gas", field)
	}
	if c.TempC != nil {
		p.within(*c.TempC, gas.MinKelvin-273.15, gas.MaxKelvin-273.15, "°C", "%s.temp_c", field)
	}
}

func (c *Cylinder) mix() gas.Mix {
	if c.Gas.O2 == 0 && c.Gas.He == 0 {
		return gas.Air
	}
	return gas.Mix{O2: c.Gas.O2, He: c.Gas.He}
}

func (c *Cylinder) kelvin() float64 {
	if c.TempC == nil {
		return gas.ReferenceKelvin
	}
	return *c.TempC + 273.15
}

func (in *Input) checkRoute(p *problems) {
	r := &in.Route
	if len(r.Moves) == 0 {
		p.add("no move", nil, "route.moves")
	}
	in.checkActions(p, r.StartActions, "route.start_actions")
	for i := range r.Moves {
		m := &r.Moves[i]
		if m.SwimMMin != 0 {
			p.within(m.SwimMMin, slowestMMin, fastestMMin, "m/min", "route.moves[%d].swim_m_min", i)
		}
		p.within(m.HoldMin, 0, MaxHours*60, "min", "route.moves[%d].hold_min", i)
		if m.RunLine && m.RecoverLine {
			p.add("a line is run or recovered, not both", nil, "route.moves[%d].run_line", i)
		}
		if len(m.Actions) > 0 {
			in.checkActions(p, m.Actions, fmt.Sprintf("route.moves[%d].actions", i))
		}
	}
	for i := range in.Verified {
		v := &in.Verified[i]
		p.within(v.DaysAgo, 0, 36600, "days", "verified[%d].days_ago", i)
		for _, d := range v.Directions {
			if d != "from_to" && d != "to_from" {
				p.add("%q, must be from_to or to_from", []any{d}, "verified[%d].directions", i)
			}
		}
	}
	for i := range in.Loops {
		in.checkCircuit(p, &in.Loops[i], true, fmt.Sprintf("loops[%d]", i))
	}
	for i := range in.Traverses {
		in.checkCircuit(p, &in.Traverses[i], false, fmt.Sprintf("traverses[%d]", i))
	}
}

func (in *Input) checkActions(p *problems, actions []Action, field string) {
	for i := range actions {
		a := &actions[i]
		switch a.Action {
		case ActDrop, ActPickUp, ActSwitchTo:
			found := false
			for k := range in.Team {
				found = found || in.Team[k].Name == a.Diver
			}
			if !found {
				p.add("no diver %q in the team", []any{a.Diver}, "%s[%d].diver", field, i)
			}
			if a.Cylinder == nil && a.Action != ActSwitchTo {
				p.add("no cylinder named; the mains cannot be dropped or picked up", nil, "%s[%d].cylinder", field, i)
			}
		case ActPlaceMarker, ActRemoveMarker:
			if a.Marker == "" {
				p.add("no marker named", nil, "%s[%d].marker", field, i)
			}
		default:
			p.add("%q is no action", []any{a.Action}, "%s[%d].action", field, i)
		}
	}
}

// checkCircuit follows the legs of a loop or traverse: each must join the
// station where the one before it ended.
func (in *Input) checkCircuit(p *problems, c *Circuit, loop bool, field string) {
	p.within(c.MarkerHoldMin, 0, 600, "min", "%s.marker_hold_min", field)
	if m := c.MarkerAtM; m != nil {
		p.within(*m, 0, 1e6, "m", "%s.marker_at_m", field)
	}
	follow := func(at string, ids []string, what string) string {
		for i, id := range ids {
			l, ok := p.legs[id]
			switch {
			case !ok:
				p.add("no leg %q", []any{id}, "%s.%s[%d]", field, what, i)
				return ""
			case in.Legs[l].From == at:
				at = in.Legs[l].To
			case in.Legs[l].To == at:
				at = in.Legs[l].From
			default:
				p.add("leg %q does not join %q", []any{id, at}, "%s.%s[%d]", field, what, i)
				return ""
			}
		}
		return at
	}
	opening := func(name, what string) {
		if s, ok := p.stations[name]; !ok || !in.Stations[s].exit() {
			p.add("%q is not an opening", []any{name}, "%s.%s", field, what)
		}
	}
	if len(c.Legs) == 0 {
		p.add("no leg", nil, "%s.legs", field)
		return
	}
	if !loop {
		opening(c.StartA, "start_a")
		opening(c.StartB, "start_b")
		if end := follow(c.StartA, c.Legs, "legs"); end != "" && end != c.StartB {
			p.add("ends at %q, not at start_b %q", []any{end, c.StartB}, "%s.legs", field)
		}
		return
	}
	opening(c.Start, "start")
	if junction := follow(c.Start, c.Approach, "approach"); junction != "" {
		if end := follow(junction, c.Legs, "legs"); end != "" && end != junction {
			p.add("ends at %q, not at the junction %q", []any{end, junction}, "%s.legs", field)
		}
	}
}

// exit tells whether a diver can ascend to the surface at the station.
func (s *Station) exit() bool { return s.Opening && !s.AirBell }
