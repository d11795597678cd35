package passage

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"lastlight/engine/deco"
	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// edgeCase is a row of the method handbook's table "Edge cases" (decompression
// along the passage). Set-up there: air, GF 30/70, entrance leg 20 m from an
// opening at 0 m, the level as stated, a pit leg 40 m long down to 40 m, hold
// 20 min, home the same way; 12 / 9 / 18 m/min, sea level, fresh water, last stop
// 3 m. With the opening at 4 m there is no entrance leg.
type edgeCase struct {
	name          string
	opening       float64
	level, length float64 // length 0: none
	lastStop      float64
	stops         string
	toSurface     float64
}

func TestEdgeCases(t *testing.T) {
	for _, e := range []edgeCase{
		{"level at 9.0 m, 20 m long", 0, 9, 20, 3, "9:3", 41.8},
		{"level at 9.0 m, 240 m long", 0, 9, 240, 3, "", 59.1},
		{"level at 8.9 m", 0, 8.9, 20, 3, "9:1 8.9:2", 41.8},
		{"level at 9.1 m", 0, 9.1, 20, 3, "9:3", 41.8},
		{"start of a rise off the grid", 0, 7.4, 10, 3, "9:2 7.4:1 6:7 3:20", math.NaN()},
		{"last stop 6, opening at 4 m", 4, 0, 0, 6, "6:38", 50.4},
		{"the same with a level of 30 m", 4, 4, 30, 6, "6:35", 49.9},
	} {
		n := &Network{Rates: Rates{Swim: 12, Contingency: 12, Ascent: 9, Descent: 18, CountAscent: true}}
		add := func(name string, depth, length float64) {
			n.Stations = append(n.Stations, Station{Name: name, Depth: depth, Opening: len(n.Stations) == 0})
			if k := len(n.Stations) - 1; k > 0 {
				n.Legs = append(n.Legs, Leg{ID: name, From: k - 1, To: k, Length: length, Lined: true})
			}
		}
		add("opening", e.opening, 0)
		if e.opening == 0 {
			add("entrance", e.level, 20)
		}
		if e.length > 0 {
			add("level", e.level, e.length)
		}
		add("pit", 40, 40)
		d := &Dive{}
		for i := range n.Legs {
			d.Moves = append(d.Moves, Move{Leg: i})
		}
		d.Moves[len(d.Moves)-1].Hold = 20
		d.TurnAfter = len(d.Moves)
		for i := len(n.Legs) - 1; i >= 0; i-- {
			d.Moves = append(d.Moves, Move{Leg: i, Dir: 1})
		}
		laid, err := n.Lay(d)
		if err != nil {
			t.Fatal(err)
		}
		m := tissue.Default()
		p, err := deco.NewPlanner(deco.Settings{
			Model: m, Water: water.Fresh, GFLow: .3, GFHigh: .7, Grid: 3, LastStop: e.lastStop, Ascent: 9,
			LimitDeco: 1.6, LimitBottom: 1.4, Tolerance: .02, Least: .18, FlowLimit: 9,
		})
		if err != nil {
			t.Fatal(err)
		}
		team := &deco.Team{Cylinders: []deco.Cylinder{{ID: "back", Mix: gas.Air}}, Divers: []deco.Diver{{Name: "A"}}}
		start := deco.Begin(team, []tissue.State{m.Saturated(water.Fresh.Surface)})
		var r deco.Result
		if err := p.Schedule(team, &laid.Path, &start, nil, &r); err != nil {
			t.Fatal(err)
		}
		var stops []string
		for _, s := range r.Stops {
			stops = append(stops, fmt.Sprintf("%g:%d", s.Depth, s.Minutes))
		}
		// The table lists the stops its case is about, deeper and shallower ones left out.
		if got := strings.Join(stops, " "); !strings.Contains(" "+got+" ", " "+e.stops+" ") && e.stops != "" {
			t.Errorf("%s: stops %s, want %s", e.name, got, e.stops)
		}
		if tts := r.End.Minutes - r.Turn; !math.IsNaN(e.toSurface) && math.Abs(tts-e.toSurface) > 0.0501 {
			t.Errorf("%s: %v min to the surface, want %v (stops %v)", e.name, tts, e.toSurface, stops)
		}
		if e.stops == "" {
			for _, s := range r.Stops {
				if s.Depth == 9 || s.Depth == 6 {
					t.Errorf("%s: stop at %v m, want none at 9 or 6", e.name, s.Depth)
				}
			}
		}
	}
}
