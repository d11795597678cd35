package tables

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

func init() { Register("schedules", readSchedules) }

type scheduleRow struct {
	Name       string
	Variant    tissue.Variant
	First      string  `json:"first_compartment"`
	Surface    float64 `json:"Ps"`
	PerMetre   float64 `json:"bar_per_m"`
	Vapour     float64 `json:"pw"`
	Depth      float64
	BottomTime float64 `json:"bottom_time"`
	Descent    float64 `json:"desc_rate"`
	Ascent     float64 `json:"asc_rate"`
	Gases      [][2]any
	GFLow      float64 `json:"gf_low"`
	GFHigh     float64 `json:"gf_high"`
	LastStop   float64 `json:"last_stop"`
	Step       float64
	Result     *struct {
		NoStop bool     `json:"no_stop"`
		First  *float64 `json:"first_stop"`
		Stops  []struct {
			Depth       float64
			Minutes     int
			O2          *float64 `json:"fO2"`
			He          *float64 `json:"fHe"`
			GF          *float64 `json:"gf_used_to_leave"`
			Controlling *string
			Margin      *float64 `json:"margin_bar"`
		}
		Total   *int `json:"total_stop"`
		TTS     *float64
		Runtime *float64
		Least   *float64 `json:"min_abs_margin"`
	}
	Sensitivity map[string]struct {
		First *float64 `json:"first_stop"`
		TTS   float64
		Stops [][2]float64
	}
}

// readSchedules checks open-water schedules by convention R1, exact to the
// minute, margins to the file's last place (1e-6 bar). R1's table rows bypass the
// oxygen checks: two of them start hypoxic.
func readSchedules(content []byte) (*Result, error) {
	rows, err := decode[[]scheduleRow](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for _, row := range rows {
		if row.Result == nil {
			r.Skipped = append(r.Skipped, row.Name+": no result given")
			continue
		}
		r.Rows++
		got, model, team, err := row.schedule(row.First, row.Vapour)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", row.Name, err)
		}
		row.compare(r, got, model, team)
		for _, what := range slices.Sorted(maps.Keys(row.Sensitivity)) {
			first, vapour := row.First, row.Vapour
			switch what {
			case "first_compartment_1":
				first = "1"
			case "pw_0.0493":
				vapour = 0.0493
			case "pw_0.0567":
				vapour = 0.0567
			default: // another convention (the anchor from the ceiling): a note, not ours
				continue
			}
			got, _, _, err := row.schedule(first, vapour)
			if err != nil {
				return nil, fmt.Errorf("%s %s: %w", row.Name, what, err)
			}
			name, want := row.Name+" "+what, row.Sensitivity[what]
			r.Number(name, "tts", got.End.Minutes-got.Turn, want.TTS, 0, 1e-6)
			r.Exact(name, "stops", depthsAndMinutes(got), append([][2]float64{}, want.Stops...))
		}
	}
	return r, nil
}

func depthsAndMinutes(s *deco.Result) [][2]float64 {
	list := [][2]float64{}
	for _, stop := range s.Stops {
		list = append(list, [2]float64{stop.Depth, float64(stop.Minutes)})
	}
	return list
}

// schedule makes the dive of a row and plans it.
func (row *scheduleRow) schedule(first string, vapour float64) (*deco.Result, *tissue.Model, *deco.Team, error) {
	model, err := tissue.New(row.Variant, first, vapour)
	if err != nil {
		return nil, nil, nil, err
	}
	column := water.Column{Surface: row.Surface, PerMetre: row.PerMetre}
	planner, err := deco.NewPlanner(deco.Settings{
		Model: model, Water: column, GFLow: row.GFLow, GFHigh: row.GFHigh, Grid: row.Step,
		LastStop: row.LastStop, Ascent: row.Ascent, LimitDeco: 3, LimitBottom: 3, FlowLimit: 9,
	})
	if err != nil {
		return nil, nil, nil, err
	}
	team := &deco.Team{Divers: []deco.Diver{{Name: row.Name}}}
	for i, g := range row.Gases {
		name, _ := g[0].(string)
		mix, err := mixNamed(name)
		if err != nil {
			return nil, nil, nil, err
		}
		c := deco.Cylinder{ID: name, Mix: mix}
		if i > 0 {
			depth, _ := g[1].(float64)
			c.Kind, c.SwitchDepth = deco.Deco, depth
			team.Divers[0].Stages = append(team.Divers[0].Stages, i)
		}
		team.Cylinders = append(team.Cylinders, c)
	}
	path := &deco.Path{
		Nodes: []deco.Node{{}, {Hold: row.BottomTime - row.Depth/row.Descent, Turn: true}, {}},
		Pieces: []deco.Piece{
			{From: 0, To: row.Depth, Minutes: row.Depth / row.Descent, OpenWater: true},
			{From: row.Depth, To: 0, Minutes: row.Depth / row.Ascent, OpenWater: true},
		},
	}
	start := deco.Begin(team, []tissue.State{model.Saturated(row.Surface)})
	result := &deco.Result{}
	return result, model, team, planner.Schedule(team, path, &start, nil, result)
}

func (row *scheduleRow) compare(r *Result, got *deco.Result, model *tissue.Model, team *deco.Team) {
	want := row.Result
	r.Exact(row.Name, "no_stop", got.NoStop, want.NoStop)
	r.Exact(row.Name, "number of stops", len(got.Stops), len(want.Stops))
	for i := range min(len(got.Stops), len(want.Stops)) {
		g, w := got.Stops[i], want.Stops[i]
		name := fmt.Sprintf("%s stop %d", row.Name, i+1)
		r.Number(name, "depth", g.Depth, w.Depth, 0, 1e-9)
		r.Exact(name, "minutes", g.Minutes, w.Minutes)
		mix := team.Cylinders[g.Breathing[0]].Mix
		if w.O2 != nil {
			r.Number(name, "fO2", mix.O2, *w.O2, 0, 1e-9)
		}
		if w.He != nil {
			r.Number(name, "fHe", mix.He, *w.He, 0, 1e-9)
		}
		if w.GF != nil {
			r.Number(name, "gf_used_to_leave", g.LeavesWith.GF, *w.GF, 0, 1e-6)
		}
		if w.Controlling != nil {
			r.Exact(name, "controlling", model.Compartment(g.LeavesWith.Compartment).ID, *w.Controlling)
		}
		if w.Margin != nil {
			r.Number(name, "margin_bar", g.LeavesWith.Bar, *w.Margin, 0, 1.5e-6)
		}
	}
	if want.First != nil && len(got.Stops) > 0 {
		r.Number(row.Name, "first_stop", got.Stops[0].Depth, *want.First, 0, 1e-9)
	}
	if want.Total != nil {
		r.Exact(row.Name, "total_stop", got.TotalStop(), *want.Total)
	}
	if want.TTS != nil {
		r.Number(row.Name, "tts", got.End.Minutes-got.Turn, *want.TTS, 0, 1e-6)
	}
	if want.Runtime != nil {
		r.Number(row.Name, "runtime", got.End.Minutes, *want.Runtime, 0, 1e-6)
	}
	if want.Least != nil {
		least := got.Tests // the refused direct ascent does not count (physics section 11)
		if got.NoStop {
			least = math.Min(least, got.Questions)
		}
		r.Number(row.Name, "min_abs_margin", least, *want.Least, 0, 1.5e-6)
	}
}
