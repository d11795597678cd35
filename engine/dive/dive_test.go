package dive

import (
	"encoding/json"
	"fmt"
	"testing"

	"lastlight/engine/deco"
	"lastlight/engine/oxygen"
	"lastlight/engine/route"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

var column = water.Column{Surface: 1.01325, PerMetre: 0.0980665}

func settings() deco.Settings {
	return deco.Settings{
		Model: tissue.Default(), Water: column, GFLow: .3, GFHigh: .7, Grid: 3, LastStop: 6, Ascent: 9, SwitchMinutes: 1,
		LimitDeco: 1.6, LimitBottom: 1.4, Tolerance: .02, Least: .18, FlowLimit: 9,
	}
}

func policy() route.Policy {
	return route.Policy{
		ShareFraction: 1.0 / 3, Rounding: route.Rounding{Mode: route.RoundDropFloor, StepBar: 5},
		StressFactor: 1.5, ContingencyFloorLMin: 30, DelayMin: 2, SharingReserveBar: 10, PlannedReserveBar: 20,
		VerifiedCounts: route.VerifiedNever, AscentMMin: 9, DescentMMin: 18, CountOpenWaterAscent: true, MinProgressMMin: 6,
		SlowExitFactor: 1, ThreeDonor: route.DonorSingle, WaitingGas: route.WaitingOwn, StageRule: route.StageFraction, StageFraction: 1.0 / 3,
		DecoGasReserveFactor: 1.5,
	}
}

// expedition is a large plan: three divers on trimix with a stage and two gases
// for decompression each, in through legs whose depth goes up and down, home the same way.
func expedition(legs int) route.Input {
	in := route.Input{
		Water: route.Water{SurfaceBar: column.Surface, BarPerM: column.PerMetre}, GasModel: "real", Policy: policy(),
		Speeds:   route.Speeds{SwimMMin: 15, ContingencyMMin: 15},
		Stations: []route.Station{{Name: "S0", DepthM: 6, Opening: true, Daylight: true}},
		Route:    route.Route{Start: "S0"},
	}
	temp := 20.0
	for _, name := range []string{"Ada", "Ben", "Cleo"} {
		in.Team = append(in.Team, route.Diver{
			Name: name, RMVLMin: 18,
			Mains: []route.Cylinder{{ID: name + "-twin", VolumeL: 36, StartBar: 230, Gas: route.Gas{O2: .21, He: .35}, TempC: &temp}},
			Stages: []route.Cylinder{
				{ID: name + "-s", VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: .21, He: .35}, TempC: &temp},
				{ID: name + "-50", VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: .5}, Deco: true, TempC: &temp},
				{ID: name + "-o2", VolumeL: 7, StartBar: 200, Gas: route.Gas{O2: 1}, Deco: true, TempC: &temp},
			},
		})
	}
	act := func(kind string, which ...string) []route.Action {
		var list []route.Action
		for _, d := range in.Team {
			for _, w := range which {
				id := d.Name + w
				list = append(list, route.Action{Action: kind, Diver: d.Name, Cylinder: &id})
			}
		}
		return list
	}
	depth := func(i int) float64 { return min(6+float64(i)*9, 45) + float64(i%2)*2 }
	for i := 1; i <= legs; i++ {
		name := fmt.Sprintf("S%d", i)
		in.Stations = append(in.Stations, route.Station{Name: name, DepthM: depth(i)})
		in.Legs = append(in.Legs, route.Leg{ID: fmt.Sprintf("L%d", i), From: fmt.Sprintf("S%d", i-1), To: name, LengthM: 12, Lined: true, Restriction: "none",
			DepthPoints: []route.DepthPoint{{AtM: 6, DepthM: (depth(i-1) + depth(i)) / 2}}})
		m := route.Move{Leg: fmt.Sprintf("L%d", i), To: name}
		switch i {
		case 2:
			m.Actions = act(route.ActDrop, "-50", "-o2")
		case legs / 3:
			m.Actions = act(route.ActDrop, "-s")
		case legs:
			m.HoldMin, m.HoldTask = 8, "survey"
		}
		in.Route.Moves = append(in.Route.Moves, m)
	}
	for i := legs - 1; i >= 0; i-- {
		m := route.Move{Leg: fmt.Sprintf("L%d", i+1), To: fmt.Sprintf("S%d", i)}
		switch i {
		case 2:
			m.Actions = act(route.ActPickUp, "-50", "-o2")
		case legs / 3:
			m.Actions = act(route.ActPickUp, "-s")
		}
		in.Route.Moves = append(in.Route.Moves, m)
	}
	return in
}

func question(t testing.TB, in route.Input) *Question {
	res, problems := route.Evaluate(in)
	if len(problems) > 0 || res.Verdict == route.Refused {
		t.Fatal(problems, res.Refused)
	}
	q := &Question{Route: in, Result: &res, Settings: settings(), SwitchDepth: func(*route.Cylinder) float64 { return deco.MaxDepth }}
	for range in.Team {
		q.Tissues = append(q.Tissues, q.Settings.Model.Saturated(column.Surface))
		q.Carried = append(q.Carried, oxygen.Carried{Days: 1})
	}
	return q
}

func answer(t testing.TB, in route.Input) (*Work, *Answer) {
	w, err := Open(question(t, in))
	if err != nil {
		t.Fatal(err)
	}
	return w, w.Answer()
}

func TestPrint(t *testing.T) {
	w, a := answer(t, expedition(30))
	b, _ := json.MarshalIndent(a, "", " ")
	t.Log(string(b))
	for _, c := range w.q.Result.Checks {
		t.Logf("%+v", c)
	}
	t.Log(w.q.Result.Reach, w.q.Result.Divers[0])
	n := 0
	for _, p := range w.places {
		n += len(p.outs)
	}
	t.Log(len(w.places), "places", n, "ways out")
}

func BenchmarkExpedition(b *testing.B) {
	in := expedition(30)
	for b.Loop() {
		q := question(b, in)
		w, err := Open(q)
		if err != nil {
			b.Fatal(err)
		}
		w.Answer()
	}
}
