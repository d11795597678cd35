package rules

import (
	"math"

	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/route"
	"lastlight/engine/tissue"
)

// decompressionRules say where decompression would have to be computed. Until
// the engine plans it, such a dive cannot be told, and what cannot be told blocks.
func decompressionRules() []Rule {
	return []Rule{{
		ID: "decompression.computed", Version: 1, Title: "No decompression beyond what is computed", Citation: handbook("physics", "1, 11"), Cell: "decompression",
		Words: map[string]Words{
			"ok":      {Says: "{subject}: no stop on the route, nor on any known way out from any of its stations"},
			"start":   {Says: "{subject}: cannot tell, what earlier dives or the arrival at altitude left is not known", Remedy: "complete the earlier dives and the arrival"},
			"ceiling": {Says: "{subject}: decompression not computed yet: a way out has a ceiling from {place}, {observed} into the dive", Remedy: "plan shorter or shallower, so that no way out has a ceiling"},
		},
		Check: decompression,
	}}
}

func decompression(c *Case) []finding.Finding {
	var out []finding.Finding
	for i, m := range c.Team {
		s := m.subject()
		if m.Record == nil {
			out = append(out, unknown(s, "earlier dives", m.Path))
			continue
		}
		if i >= len(c.Starts) || len(c.Starts[i].Problems) > 0 {
			f := answer(finding.Indeterminate, "start", s)
			f.Path = m.Path
			out = append(out, f)
			continue
		}
		if i >= len(c.Tissues) || !c.Tissues[i].known {
			out = append(out, unknown(s, "the tissues along the route", "route"))
			continue
		}
		t := c.Tissues[i]
		if t.stop {
			f := answer(finding.Indeterminate, "ceiling", s)
			at := finding.Number("", t.minute, 0, "min")
			f.Observed, f.Place, f.Path = &at, t.place, "route.route.moves"
			out = append(out, f)
			continue
		}
		out = append(out, pass(s))
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

// tissues is what one diver's tissues say about the route.
type tissues struct {
	known   bool
	stop    bool // somewhere a straight ascent is refused, on the route or on a way out
	onRoute bool // on the route as planned
	place   string
	minute  float64
}

// load follows every diver's tissues along the route, from what the diver brings
// to the entry, and asks at every depth point and station whether the way on
// and the cheapest known way out can be swum with no stop.
func (c *Case) load() {
	if !c.computed() || c.Water == nil || !c.Network.Known {
		return
	}
	model := c.model()
	if model == nil || len(c.Starts) == 0 {
		return
	}
	for i, m := range c.Team {
		c.Tissues = append(c.Tissues, c.loadOne(model, m, c.Starts[i].Tissues))
	}
}

func (c *Case) loadOne(model *tissue.Model, m Member, state tissue.State) tissues {
	in := &c.RouteInput
	if len(c.supplies(m.Diver, "main")) == 0 {
		return tissues{}
	}
	mix, ok := c.mixOf(c.supplies(m.Diver, "main")[0])
	if !ok {
		return tissues{}
	}
	mains, current := mix, mix
	act := func(actions []route.Action) {
		for _, a := range actions {
			if a.Diver != m.Diver {
				continue
			}
			switch a.Action {
			case route.ActSwitchTo:
				current = mains
				if a.Cylinder != nil {
					for _, s := range c.In.Plan.Supplies {
						if s.ID == *a.Cylinder {
							if g, ok := c.mixOf(s); ok {
								current = g
							}
						}
					}
				}
			case route.ActDrop:
				// Who drops the cylinder in use breathes the mains from then on.
				if a.Cylinder != nil {
					for _, s := range c.In.Plan.Supplies {
						if g, ok := c.mixOf(s); ok && s.ID == *a.Cylinder && g == current {
							current = mains
						}
					}
				}
			}
		}
	}
	ask := tissue.Way{Water: *c.Water, AscentRate: c.Policy.Speeds.Ascent, GFHigh: c.Policy.Decompression.GFHigh / 100}
	out := tissues{known: true}
	minute := 0.0
	refuse := func(onRoute bool, place string) {
		out.onRoute = out.onRoute || onRoute
		if !out.stop {
			out.stop, out.place, out.minute = true, place, minute
		}
	}
	test := func(s tissue.State, pieces []tissue.Piece, onRoute bool, place string) {
		w := ask
		w.Pieces = pieces
		if !model.NoStop(s, w).NoStop {
			refuse(onRoute, place)
		}
	}
	act(in.Route.StartActions)
	first, ok := stationDepth(in, in.Route.Start)
	if !ok {
		return tissues{}
	}
	down := tissue.Piece{To: first, Minutes: c.Route.Start.ElapsedMin, Mix: current}
	test(state, []tissue.Piece{down}, true, in.Route.Start)
	model.Advance(&state, *c.Water, down)
	minute = c.Route.Start.ElapsedMin
	ws, _, _ := follow(in)
	for i, w := range ws {
		if i >= len(c.Route.Moves) {
			return tissues{}
		}
		mv := c.Route.Moves[i]
		for _, p := range c.pieces(w.leg, w.reverse, mv.Minutes, current) {
			minute += p.Minutes
			test(state, []tissue.Piece{p}, true, "leg "+w.leg.ID)
			model.Advance(&state, *c.Water, p)
		}
		minute = mv.ElapsedArrivalMin
		wayOut := func(way *route.WayOut, place string) {
			if way != nil {
				test(state, c.wayPieces(in, w.to, way, current), false, place)
			}
		}
		wayOut(mv.WayOutArriving, w.to)
		act(in.Route.Moves[w.move].Actions)
		if mv.HoldMin > 0 {
			depth, _ := stationDepth(in, w.to)
			model.Advance(&state, *c.Water, tissue.Piece{From: depth, To: depth, Minutes: mv.HoldMin, Mix: current})
		}
		minute = mv.ElapsedDepartureMin
		wayOut(mv.WayOutAfterArrival, w.to)
	}
	return out
}

// pieces cuts a leg at its depth points and gives each straight piece its share
// of the leg's minutes: the longest of swimming, rising and sinking (D4), scaled
// to what the route model computed for the whole leg.
func (c *Case) pieces(l *route.Leg, reverse bool, minutes float64, mix gas.Mix) []tissue.Piece {
	from, _ := stationDepth(&c.RouteInput, l.From)
	to, _ := stationDepth(&c.RouteInput, l.To)
	type point struct{ at, depth float64 }
	pts := []point{{0, from}}
	for _, p := range l.DepthPoints {
		pts = append(pts, point{p.AtM, p.DepthM})
	}
	pts = append(pts, point{l.LengthM, to})
	if reverse {
		for i, j := 0, len(pts)-1; i < j; i, j = i+1, j-1 {
			pts[i], pts[j] = pts[j], pts[i]
		}
	}
	s := c.Policy.Speeds
	swim := c.RouteInput.Speeds.SwimMMin
	var out []tissue.Piece
	total := 0.0
	for i := 1; i < len(pts); i++ {
		a, b := pts[i-1], pts[i]
		t := math.Abs(b.at-a.at) / swim
		if b.depth > a.depth {
			t = max(t, (b.depth-a.depth)/s.Descent)
		} else {
			t = max(t, (a.depth-b.depth)/s.Ascent)
		}
		out = append(out, tissue.Piece{From: a.depth, To: b.depth, Minutes: t, Mix: mix})
		total += t
	}
	for i := range out {
		if total > 0 {
			out[i].Minutes *= minutes / total
		}
	}
	return out
}

// wayPieces are the straight pieces of a way out, station by station, with the
// minutes the route model gives it at contingency speed, and the last ascent.
func (c *Case) wayPieces(in *route.Input, from string, way *route.WayOut, mix gas.Mix) []tissue.Piece {
	var out []tissue.Piece
	at, minute := from, 0.0
	for _, st := range way.Stations {
		if st.Station == at {
			minute = st.Minutes
			continue
		}
		spent := st.Minutes - minute
		var best *route.Leg
		for i := range in.Legs {
			l := &in.Legs[i]
			if l.From == at && l.To == st.Station || l.To == at && l.From == st.Station {
				// Where several legs join the stations, the one whose length fits the minutes.
				speed := in.Speeds.ContingencyMMin
				if best == nil || math.Abs(l.LengthM/speed-spent) < math.Abs(best.LengthM/speed-spent) {
					best = l
				}
			}
		}
		if best != nil {
			out = append(out, c.pieces(best, best.From != at, spent, mix)...)
		}
		at, minute = st.Station, st.Minutes
	}
	depth, _ := stationDepth(in, at)
	return append(out, tissue.Piece{From: depth, Minutes: depth / c.Policy.Speeds.Ascent, Mix: mix})
}
