package tables

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"lastlight/engine/deco"
	"lastlight/engine/oxygen"
	"lastlight/engine/passage"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

func init() { Register("passages", readPassages) }

// Accuracy of passages.json: 6 significant figures.
const (
	passageRelative = 1e-5
	passageAbsolute = 1e-6
)

// passageDive is a scenario made ready for the engine.
type passageDive struct {
	in       *passageInput
	model    *tissue.Model
	water    water.Column
	planner  *deco.Planner
	network  *passage.Network
	team     *deco.Team
	dive     *passage.Dive
	stations map[string]int
	legs     map[string]int
	cylinder map[string]int // stage id, or main:NAME
	history  []float64      // CNS percent left from before the dive
	start    deco.Moment
}

func readPassages(content []byte) (*Result, error) {
	f, err := decode[passageFile](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for i := range f.Scenarios {
		s := &f.Scenarios[i]
		r.Rows++
		if err := checkPassage(r, s); err != nil {
			r.Failures = append(r.Failures, fmt.Sprintf("%s: %v", s.ID, err))
		}
	}
	return r, nil
}

func checkPassage(r *Result, s *passageScenario) error {
	d, err := newPassageDive(&s.Input)
	if err != nil {
		return err
	}
	laid, err := d.network.Lay(d.dive)
	if err != nil {
		return err
	}
	// Probes have to be in the order of the path.
	type asked struct {
		out   *passageOut
		place passage.Place
		probe deco.Probe
	}
	var places []asked
	for i := range s.Input.Out {
		o := &s.Input.Out[i]
		place := passage.Place{Move: o.Move}
		switch {
		case o.Past != nil:
			place.Inside, place.Past = true, *o.Past
		case o.Hold != nil:
			place.Hold = *o.Hold
		}
		probe, err := d.network.Probe(d.dive, laid, place)
		if err != nil {
			return fmt.Errorf("%s: %w", o.ID, err)
		}
		places = append(places, asked{o, place, probe})
	}
	slices.SortStableFunc(places, func(a, b asked) int {
		key := func(p deco.Probe) [2]float64 {
			if p.Node >= 0 {
				return [2]float64{float64(p.Node), p.Hold}
			}
			return [2]float64{float64(p.Piece) + 0.5, p.Share}
		}
		return slices.Compare(ptr(key(a.probe)), ptr(key(b.probe)))
	})
	var probes []deco.Probe
	for _, p := range places {
		probes = append(probes, p.probe)
	}
	var result deco.Result
	if err := d.planner.Schedule(d.team, &laid.Path, &d.start, probes, &result); err != nil {
		return err
	}
	d.compareDive(r, s, laid, &result)
	for i, p := range places {
		want, ok := s.Expected.WaysOut[p.out.ID]
		if !ok {
			continue
		}
		name := s.ID + " " + p.out.ID
		if i >= len(result.Moments) {
			r.Fail(name, "way out", "no schedule to there", "a way out")
			continue
		}
		if err := d.compareOut(r, name, p.out, p.place, &result.Moments[i], want); err != nil {
			return fmt.Errorf("%s: %w", p.out.ID, err)
		}
	}
	return nil
}

func ptr(a [2]float64) []float64 { return a[:] }

func newPassageDive(in *passageInput) (*passageDive, error) {
	d := &passageDive{in: in, stations: map[string]int{}, legs: map[string]int{}, cylinder: map[string]int{}}
	var err error
	if d.model, err = tissue.New(in.Decompression.Model, in.Decompression.First, in.Decompression.Vapour); err != nil {
		return nil, err
	}
	d.water = water.Column{Surface: in.Water.Surface, PerMetre: in.Water.PerMetre}
	pol := &in.Policy
	d.planner, err = deco.NewPlanner(deco.Settings{
		Model: d.model, Water: d.water, GFLow: in.Decompression.GFLow, GFHigh: in.Decompression.GFHigh,
		Grid: in.Decompression.Grid, LastStop: in.Decompression.LastStop, Ascent: pol.Ascent, SwitchMinutes: pol.Switch,
		LimitDeco: pol.LimitDeco, LimitBottom: pol.LimitBottom, Tolerance: pol.Tolerance, Least: pol.Least, FlowLimit: pol.StopFlow,
	})
	if err != nil {
		return nil, err
	}
	d.network = &passage.Network{Rates: passage.Rates{
		Swim: in.Speeds.Swim, Contingency: in.Speeds.Contingency, Ascent: pol.Ascent,
		Descent: pol.Descent, SlowExit: pol.SlowExit, Delay: pol.Delay, CountAscent: pol.CountAscent,
	}}
	for _, name := range slices.Sorted(maps.Keys(in.Stations)) {
		d.stations[name] = len(d.network.Stations)
		s := in.Stations[name]
		d.network.Stations = append(d.network.Stations, passage.Station{Name: name, Depth: s.Depth, Opening: s.Opening && !s.AirBell})
	}
	for _, l := range in.Legs {
		d.legs[l.ID] = len(d.network.Legs)
		leg := passage.Leg{
			ID: l.ID, From: d.stations[l.From], To: d.stations[l.To], Length: l.Length, Flow: l.Flow, Lined: l.Lined,
			Restriction: l.Restriction != "" && l.Restriction != "none",
		}
		if pol.PullGlide != nil {
			leg.PullGlide = *pol.PullGlide
		}
		for _, p := range l.Points {
			leg.Points = append(leg.Points, passage.DepthPoint{At: p.At, Depth: p.Depth})
		}
		d.network.Legs = append(d.network.Legs, leg)
	}
	if err := d.readTeam(); err != nil {
		return nil, err
	}
	return d, d.readRoute()
}

func (d *passageDive) readTeam() error {
	d.team = &deco.Team{}
	var tissues []tissue.State
	add := func(c deco.Cylinder) int {
		i := len(d.team.Cylinders)
		d.cylinder[c.ID] = i
		d.team.Cylinders = append(d.team.Cylinders, c)
		return i
	}
	for _, t := range d.in.Team {
		diver := deco.Diver{Name: t.Name, Back: add(deco.Cylinder{ID: "main:" + t.Name, Mix: t.Main.mix()})}
		for _, s := range t.Stages {
			kind := deco.Stage
			if s.Kind == "deco" {
				kind = deco.Deco
			}
			diver.Stages = append(diver.Stages, add(deco.Cylinder{ID: s.ID, Mix: s.Gas.mix(), Kind: kind, SwitchDepth: s.Switch}))
		}
		d.team.Divers = append(d.team.Divers, diver)
		state, cns := d.before(t.History)
		tissues = append(tissues, state)
		d.history = append(d.history, cns)
	}
	d.start = deco.Begin(d.team, tissues)
	return nil
}

// before is the state after a history, and what is left of its CNS share.
func (d *passageDive) before(h *passageHistory) (tissue.State, float64) {
	if h == nil {
		return d.model.Saturated(d.water.Surface), 0
	}
	at := d.water.Surface
	if h.Saturated != nil {
		at = *h.Saturated
	}
	s := d.model.Saturated(at)
	depth, cns := 0.0, 0.0
	for _, seg := range h.Segments {
		mix := seg.Gas.mix()
		d.model.Advance(&s, d.water, tissue.Piece{From: depth, To: seg.To, Minutes: seg.Minutes, Mix: mix})
		cns += oxygen.CNS(mix.O2*d.water.Pressure(depth), mix.O2*d.water.Pressure(seg.To), seg.Minutes)
		depth = seg.To
	}
	d.model.Linear(&s, airMix, d.water.Surface, d.water.Surface, h.Interval)
	return s, oxygen.Decayed(cns, h.Interval)
}

func (d *passageDive) readRoute() error {
	route := &d.in.Route
	d.dive = &passage.Dive{Start: d.stations[route.Start], TurnAfter: route.TurnAfter, Verified: make([]bool, len(d.network.Legs))}
	for _, id := range d.in.Verified {
		d.dive.Verified[d.legs[id]] = true
	}
	var errs []error
	d.dive.StartActions = d.readActions(route.StartActions, &errs)
	at := route.Start
	for i, m := range route.Moves {
		leg, ok := d.legs[m.Leg]
		if !ok {
			errs = append(errs, fmt.Errorf("move %d: no leg %q", i+1, m.Leg))
			continue
		}
		move := passage.Move{Leg: leg, Swim: m.Swim, Hold: m.Hold, RunLine: m.RunLine, Recover: m.RecoverLine, Actions: d.readActions(m.Actions, &errs)}
		if d.in.Legs[leg].From != at {
			move.Dir = 1
		}
		d.dive.Moves = append(d.dive.Moves, move)
		at = m.To
	}
	return errors.Join(errs...)
}

func (d *passageDive) readActions(list []passageAction, errs *[]error) (actions []deco.Action) {
	for _, a := range list {
		kind, ok := map[string]deco.ActionKind{"drop": deco.Drop, "pick_up": deco.PickUp, "switch_to": deco.Switch}[a.Action]
		if !ok {
			continue // markers are no business of decompression
		}
		id := "main:" + a.Diver
		if a.Cylinder != nil {
			id = *a.Cylinder
		}
		c, ok := d.cylinder[id]
		diver := slices.IndexFunc(d.team.Divers, func(x deco.Diver) bool { return x.Name == a.Diver })
		if !ok || diver < 0 {
			*errs = append(*errs, fmt.Errorf("action %+v names no diver or cylinder", a))
			continue
		}
		actions = append(actions, deco.Action{Kind: kind, Diver: diver, Cylinder: c})
	}
	return actions
}

func (d *passageDive) number(r *Result, row, key string, got float64, want *float64) {
	if want != nil {
		r.Number(row, key, got, *want, passageRelative, passageAbsolute)
	}
}

func (d *passageDive) compareDive(r *Result, s *passageScenario, laid *passage.Laid, got *deco.Result) {
	want := &s.Expected
	flags := d.flags(&laid.Path, got, true)
	if want.Flags != nil {
		d.compareFlags(r, s.ID, flags, want.Flags)
	}
	if got.NoSchedule {
		if want.Stops != nil {
			r.Fail(s.ID, "schedule", "none", "one")
		}
		return
	}
	for i, m := range want.Moves {
		name := fmt.Sprintf("%s move %d", s.ID, i+1)
		if i >= len(laid.Node) {
			r.Fail(name, "move", "none", m.Move)
			continue
		}
		d.number(r, name, "arrival_min", got.Arrival[laid.Node[i]], m.Arrival)
		d.number(r, name, "departure_min", got.Departure[laid.Node[i]], m.Departure)
	}
	d.compareStops(r, s.ID, &laid.Path, got, want.Stops)
	if want.TotalStop != nil {
		r.Exact(s.ID, "total_stop_min", got.TotalStop(), *want.TotalStop)
	}
	d.compareSwitches(r, s.ID, got, want.Switches)
	if want.NoStop != nil {
		r.Exact(s.ID, "no_stop", got.NoStop, *want.NoStop)
	}
	d.number(r, s.ID, "runtime_min", got.End.Minutes, want.Runtime)
	d.number(r, s.ID, "turn_min", got.Turn, want.Turn)
	d.number(r, s.ID, "time_to_surface_min", got.End.Minutes-got.Turn, want.TTS)
	d.number(r, s.ID, "first_departure_min", got.Departure[laid.Start], want.FirstDeparture)
	d.compareClosest(r, s.ID, got, want.Closest)
	d.compareLoads(r, s.ID, got, want.Load)
	breathed := got.Breathed(d.team, d.water.Pressure)
	for i, t := range d.in.Team {
		for k, w := range want.Tissues[t.Name] {
			c := d.compartment(k)
			if c < 0 {
				r.Fail(s.ID, "compartment", "none", k)
				continue
			}
			state := &got.End.Divers[i].Tissues
			d.number(r, s.ID, t.Name+" n2 "+k, state.N2[c], w.N2)
			d.number(r, s.ID, t.Name+" he "+k, state.He[c], w.He)
		}
		if w, ok := want.Oxygen[t.Name]; ok {
			e := got.Oxygen(d.team, i, d.water.Pressure)
			d.number(r, s.ID, t.Name+" cns_pct_this_dive", e.CNS, w.CNS)
			d.number(r, s.ID, t.Name+" cns_pct_with_history", e.CNS+d.history[i], w.CNSWithHistory)
			d.number(r, s.ID, t.Name+" otu_this_dive", e.OTU, w.OTU)
		}
	}
	if want.Litres != nil {
		litres := map[string]float64{}
		for i, t := range d.in.Team {
			for c, bm := range breathed[i] {
				if bm > 0 {
					litres[d.team.Cylinders[c].ID] += bm * t.RMV
				}
			}
		}
		d.compareMap(r, s.ID, "litres_ideal", litres, want.Litres)
	}
}

func (d *passageDive) compartment(id string) int {
	for i := range tissue.Count {
		if d.model.Compartment(i).ID == id {
			return i
		}
	}
	return -1
}

func (d *passageDive) compareMap(r *Result, row, key string, got, want map[string]float64) {
	r.Exact(row, key, slices.Sorted(maps.Keys(got)), slices.Sorted(maps.Keys(want)))
	for k, w := range want {
		r.Number(row, key+" "+k, got[k], w, passageRelative, passageAbsolute)
	}
}

func (d *passageDive) compareClosest(r *Result, row string, got *deco.Result, want *float64) {
	switch {
	case want == nil && !math.IsInf(got.Closest(), 1):
		r.Fail(row, "closest_decision_bar", got.Closest(), "none")
	case want != nil:
		d.number(r, row, "closest_decision_bar", got.Closest(), want)
	}
}

func (d *passageDive) compareLoads(r *Result, row string, got *deco.Result, want map[string]passageLoad) {
	for i, t := range d.in.Team {
		w, ok := want[t.Name]
		if !ok {
			continue
		}
		load, c := d.model.SurfaceLoad(&got.End.Divers[i].Tissues, d.water.Surface)
		d.number(r, row, t.Name+" surface_gradient_factor", load, w.Value)
		r.Exact(row, t.Name+" surface_gradient_factor compartment", d.model.Compartment(c).ID, w.Compartment)
	}
}

func (d *passageDive) compareSwitches(r *Result, row string, got *deco.Result, want []passageSwitch) {
	r.Exact(row, "number of gas switches", len(got.Switches), len(want))
	for i := range min(len(got.Switches), len(want)) {
		g, w := &got.Switches[i], &want[i]
		name := fmt.Sprintf("%s switch %d", row, i+1)
		d.number(r, name, "time_min", g.Minutes, w.Time)
		d.number(r, name, "depth_m", g.Depth, w.Depth)
		r.Exact(name, "diver", d.team.Divers[g.Diver].Name, w.Diver)
		r.Exact(name, "to", d.team.Cylinders[g.Cylinder].ID, w.To)
	}
}

func (d *passageDive) compareStops(r *Result, row string, path *deco.Path, got *deco.Result, want []passageStop) {
	r.Exact(row, "stops", d.listGot(got), listWant(want))
	for i := range min(len(got.Stops), len(want)) {
		g, w := &got.Stops[i], &want[i]
		name := fmt.Sprintf("%s stop %d", row, i+1)
		q := &path.Pieces[g.Piece]
		d.number(r, name, "depth_m", g.Depth, w.Depth)
		past := q.Past + g.Along
		where := "leg"
		switch {
		case q.OpenWater:
			where, past = "open_water", 0
		case g.Along < 1e-9 && path.Nodes[g.Piece].Station != "":
			where = "station"
		}
		r.Exact(name, "where", where, w.Where)
		leg := ""
		if w.Leg != nil {
			leg = *w.Leg
		}
		r.Exact(name, "leg", q.Leg, leg)
		r.Exact(name, "station", q.Station, w.Station)
		d.number(r, name, "metres_past", past, w.Past)
		d.number(r, name, "arrival_min", g.Arrival, w.Arrival)
		if w.Move != nil {
			r.Exact(name, "move", q.Move, *w.Move)
		}
		if n := w.NeededBy; n != nil {
			r.Exact(name, "needed_by diver", d.team.Divers[g.NeededBy.Diver].Name, n.Diver)
			r.Exact(name, "needed_by compartment", d.model.Compartment(g.NeededBy.Compartment).ID, n.Compartment)
			d.number(r, name, "needed_by short_bar", -g.NeededBy.Bar, n.Short)
		}
		if l := w.LeavesWith; l != nil {
			r.Exact(name, "leaves_with diver", d.team.Divers[g.LeavesWith.Diver].Name, l.Diver)
			r.Exact(name, "leaves_with compartment", d.model.Compartment(g.LeavesWith.Compartment).ID, l.Compartment)
			d.number(r, name, "leaves_with margin_bar", g.LeavesWith.Bar, l.Margin)
			d.number(r, name, "leaves_with gf", g.LeavesWith.GF, l.GF)
		}
		for k, t := range d.in.Team {
			if id, ok := w.Gas[t.Name]; ok {
				r.Exact(name, "gas "+t.Name, d.team.Cylinders[g.Breathing[k]].ID, id)
			}
		}
	}
}

func (d *passageDive) listGot(got *deco.Result) (list []string) {
	for _, s := range got.Stops {
		list = append(list, fmt.Sprintf("%.5g:%d", s.Depth, s.Minutes))
	}
	return append([]string{}, list...)
}

func listWant(want []passageStop) []string {
	list := []string{}
	for _, s := range want {
		depth := 0.0
		if s.Depth != nil {
			depth = *s.Depth
		}
		list = append(list, fmt.Sprintf("%.5g:%d", depth, s.Minutes))
	}
	return list
}

// flags in the file's form, cylinders overdrawn added for the planned dive. Of a dive
// without a schedule (D53) nobody knows what it takes: that is its only flag.
func (d *passageDive) flags(path *deco.Path, got *deco.Result, planned bool) []passageFlag {
	list := []passageFlag{}
	for _, f := range d.planner.Flags(path, got) {
		x := passageFlag{Flag: f.Kind, Stop: f.Stop}
		switch f.Kind {
		case deco.FlagSaddle:
			x.Metres = f.Metres
		case deco.FlagOxygenHigh, deco.FlagOxygenLow:
			x.Diver, x.Cylinder = d.team.Divers[f.Diver].Name, d.team.Cylinders[f.Cylinder].ID
		}
		list = append(list, x)
	}
	if !planned || got.NoSchedule {
		return list
	}
	breathed := got.Breathed(d.team, d.water.Pressure)
	used := make([]float64, len(d.team.Cylinders))
	content := map[string]float64{}
	for i, t := range d.in.Team {
		content["main:"+t.Name] = t.Volume * t.Start
		for _, s := range t.Stages {
			content[s.ID] = s.Volume * s.Start
		}
		for c, bm := range breathed[i] {
			used[c] += bm * t.RMV
		}
	}
	var over []string
	for c := range used {
		if id := d.team.Cylinders[c].ID; used[c] > content[id]+1e-6 {
			over = append(over, id)
		}
	}
	slices.Sort(over)
	for _, id := range over {
		list = append(list, passageFlag{Flag: deco.FlagOverdrawn, Cylinder: id})
	}
	return list
}

func (d *passageDive) compareFlags(r *Result, row string, got, want []passageFlag) {
	key := func(list []passageFlag) (keys []string) {
		for _, f := range list {
			keys = append(keys, strings.TrimSpace(fmt.Sprintf("%s %d %s %s", f.Flag, f.Stop, f.Diver, f.Cylinder)))
		}
		return append([]string{}, keys...)
	}
	r.Exact(row, "flags", key(got), key(want))
	for i := range min(len(got), len(want)) {
		r.Number(row, got[i].Flag+" metres", got[i].Metres, want[i].Metres, passageRelative, passageAbsolute)
	}
}

func (d *passageDive) compareOut(r *Result, row string, o *passageOut, place passage.Place, at *deco.Moment, want *passageWayOut) error {
	l := deco.Loss{Donor: slices.IndexFunc(d.team.Divers, func(x deco.Diver) bool { return x.Name == o.Loss.Donor })}
	for _, id := range o.Loss.Cylinders {
		c, ok := d.cylinder[id]
		if !ok {
			return fmt.Errorf("no cylinder %q", id)
		}
		l.Cylinders = append(l.Cylinders, c)
	}
	way, err := d.network.WayOut(d.planner, d.team, d.dive, place, at, l, d.water.Pressure)
	if err != nil {
		return err
	}
	got := &way.Result
	var legs []string
	for _, leg := range way.Legs {
		legs = append(legs, d.network.Legs[leg].ID)
	}
	r.Exact(row, "legs", legs, want.Legs)
	r.Exact(row, "opening", d.network.Stations[way.Opening].Name, want.Opening)
	d.number(r, row, "metres", way.Metres, want.Metres)
	d.number(r, row, "started_min", at.Minutes, want.Started)
	d.number(r, row, "delay_min", way.Path.Delay, want.Delay)
	if want.Flags != nil {
		d.compareFlags(r, row, d.flags(&way.Path, got, false), want.Flags)
	}
	if got.NoSchedule {
		return nil
	}
	d.number(r, row, "minutes", got.End.Minutes-at.Minutes, want.Minutes)
	d.number(r, row, "bar_min_without_delay", got.BarMinutes(d.water.Pressure), want.BarMin)
	d.compareStops(r, row, &way.Path, got, want.Stops)
	if want.TotalStop != nil {
		r.Exact(row, "total_stop_min", got.TotalStop(), *want.TotalStop)
	}
	d.number(r, row, "stop_bar_min", got.StopBarMinutes(d.water.Pressure), want.StopBarMin)
	breathed := got.Breathed(d.team, d.water.Pressure)
	for i, t := range d.in.Team {
		if w, ok := want.Breathed[t.Name]; ok {
			used := map[string]float64{}
			for c, bm := range breathed[i] {
				if bm > 0 {
					used[d.team.Cylinders[c].ID] = bm
				}
			}
			d.compareMap(r, row, "bar_min "+t.Name, used, w)
		}
	}
	d.compareLoads(r, row, got, want.Load)
	d.compareClosest(r, row, got, want.Closest)
	return nil
}
