package dive

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

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
		in.Legs = append(in.Legs, route.Leg{
			ID: fmt.Sprintf("L%d", i), From: fmt.Sprintf("S%d", i-1), To: name, LengthM: 12, Lined: true, Restriction: "none",
			DepthPoints: []route.DepthPoint{{AtM: 6, DepthM: (depth(i-1) + depth(i)) / 2}},
		})
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

func question(t interface{ Fatal(...any) }, in route.Input) *Question {
	res, problems := route.Evaluate(in)
	if len(problems) > 0 || res.Verdict == route.Refused {
		t.Fatal(problems, res.Refused)
	}
	laid, _ := route.Lay(in)
	q := &Question{Route: in, Laid: laid, Result: &res, Settings: settings(), DeeperM: 3, LongerMin: 3, SwitchDepth: func(*route.Cylinder) float64 { return deco.MaxDepth }}
	for range in.Team {
		q.Tissues = append(q.Tissues, q.Settings.Model.Saturated(column.Surface))
		q.Carried = append(q.Carried, oxygen.Carried{Days: 1, LeastDays: 1})
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

// swumAt is a plan without a cave and a team yet, with ideal gas and one speed, m/min.
func swumAt(speed float64) route.Input {
	return route.Input{
		Water: route.Water{SurfaceBar: column.Surface, BarPerM: column.PerMetre}, GasModel: "ideal", Policy: policy(),
		Speeds: route.Speeds{SwimMMin: speed, ContingencyMMin: speed},
	}
}

// pit is a dive worked by hand in the method handbook (passage decompression,
// edge cases): air, GF 30/70, last stop 3 m, 20 m of entrance leg from an opening
// at 0 m to a level at 9 m, 20 m long, then a pit of 40 m down to 40 m, 20 min
// there, home the same way at 12 / 9 / 18 m/min: 3 min at 9 m at the far end of
// the level, and others shallower; 41.8 min from the turn to the surface.
func pit(names ...string) route.Input {
	in := route.Input{
		Water: route.Water{SurfaceBar: column.Surface, BarPerM: column.PerMetre}, GasModel: "ideal", Policy: policy(),
		Speeds: route.Speeds{SwimMMin: 12, ContingencyMMin: 12},
		Stations: []route.Station{
			{Name: "pool", Opening: true, Daylight: true},
			{Name: "lip", DepthM: 9},
			{Name: "edge", DepthM: 9},
			{Name: "foot", DepthM: 40},
		},
		Legs: []route.Leg{
			{ID: "entrance", From: "pool", To: "lip", LengthM: 20, Lined: true, Restriction: "none"},
			{ID: "level", From: "lip", To: "edge", LengthM: 20, Lined: true, Restriction: "none"},
			{ID: "pit", From: "edge", To: "foot", LengthM: 40, Lined: true, Restriction: "none"},
		},
		Route: route.Route{Start: "pool", Moves: []route.Move{
			{To: "lip"}, {To: "edge"}, {To: "foot", HoldMin: 20, HoldTask: "survey"}, {To: "edge"}, {To: "lip"}, {To: "pool"},
		}},
	}
	temp := 20.0
	for _, n := range names {
		in.Team = append(in.Team, route.Diver{Name: n, RMVLMin: 15, Mains: []route.Cylinder{{ID: n, VolumeL: 60, StartBar: 230, TempC: &temp}}})
	}
	in.Policy.ShareFraction = 0.9
	return in
}

func atThree(q *Question) *Question {
	q.Settings.LastStop, q.Settings.SwitchMinutes = 3, 0
	return q
}

// The gas of the worked dive, by hand. Bar·minutes are the mean pressure of each
// piece times its minutes; p(d) = 1.01325 + 0.0980665 d: p(9) = 1.8958485,
// p(40) = 4.93591.
//
//	entrance   0 to  9 m: 20/12 min x (1.01325 + 1.8958485)/2      =  2.424248
//	level           9 m: 20/12 min x 1.8958485                     =  3.159748
//	pit        9 to 40 m: 40/12 min x (1.8958485 + 4.93591)/2      = 11.386264
//	hold           40 m: 20 min x 4.93591                          = 98.718200
//	pit home            31 m of rise at 9 m/min would be 3.444 min = 11.765806
//	stop at 9 m: 3 min x 1.8958485                                 =  5.687546
//	level and entrance home: 3.159748 + 2.424248                   =  5.583996
//
// The level lies 2 min from its near end, so the swim there counts as it should;
// the stops at 6 and 3 m are m6 x 1.601649 and m3 x 1.3074495 (minutes as scheduled).
func TestTheGasOfAWorkedDive(t *testing.T) {
	w, err := Open(atThree(question(t, pit("Ada", "Ben"))))
	if err != nil {
		t.Fatal(err)
	}
	a := w.Answer()
	i := slices.IndexFunc(a.Schedule.Stops, func(s Stop) bool { return s.DepthM == 9 })
	if s := a.Schedule.Stops[i]; s.Minutes != 3 || s.Place != "at lip" || s.Leg != "entrance" {
		t.Errorf("stop %+v, want 3 min at 9 m at the lip", s)
	}
	if math.Abs(a.Schedule.ToSurfaceMin-41.8) > 0.0501 {
		t.Errorf("%v min to the surface, want 41.8", a.Schedule.ToSurfaceMin)
	}
	// Deeper, longer and both each need more stops; the gas is ample.
	for i, v := range a.Variants {
		if v.Schedule.StopMin <= a.Schedule.StopMin || len(v.Short) > 0 || v.Schedule.StopMin > a.Variants[2].Schedule.StopMin {
			t.Errorf("variant %d: %d min of stops, %d as planned, short %v", i, v.Schedule.StopMin, a.Schedule.StopMin, v.Short)
		}
	}
	barMin := 2.424248 + 3.159748 + 11.386264 + 98.718200 + 11.765806 + 5.583996
	for _, s := range a.Schedule.Stops {
		barMin += float64(s.Minutes) * (1.01325 + 0.0980665*s.DepthM)
	}
	used := a.Schedule.Divers[0].Supplies[0].UsedL
	if math.Abs(used-15*barMin) > 0.01 {
		t.Errorf("Ada breathes %v L, by hand %v L", used, 15*barMin)
	}
	// Two on one supply from the foot, after 20 min there: each at 30 L/min (the
	// floor), 2 min of delay at 40 m, and the stops of a way out after that delay.
	sharing := w.q.Result.WorstSharing
	if sharing.Place.Station != "foot" || sharing.Place.AfterHoldMin != 20 {
		t.Fatalf("sharing is tightest at %+v, want at the end of the hold", sharing.Place)
	}
	left := 60*230 - 15*(2.424248+3.159748+11.386264+98.718200)
	if math.Abs(sharing.LeftL-left) > 0.01 {
		t.Errorf("%v L left, by hand %v L", sharing.LeftL, left)
	}
	var m *margin
	for _, p := range w.places {
		if p.at.Station == "foot" && p.at.AfterHoldMin == 20 {
			m = p.tested[0]
			if other := p.tested[1].need(); math.Abs(other-m.need()) > 1e-6 {
				t.Errorf("Ada for Ben needs %v L, Ben for Ada %v L: they are alike", m.need(), other)
			}
		}
	}
	stops := (m.need() - 60*10 - 60*(2*4.93591+11.765806+5.583996)) / 60 // bar·minutes of the stops
	if m.out.stops < a.Schedule.StopMin || stops < float64(m.out.stops)*1.3 || stops > float64(m.out.stops)*1.9 {
		t.Errorf("stops of the way out: %d min, %v bar·minutes", m.out.stops, stops)
	}
}

func (m *margin) need() float64 { return m.gases[0].need }

// A dive without stops keeps the route model's result byte for byte.
func TestNoStopLeavesTheRouteAlone(t *testing.T) {
	in := pit("Ada", "Ben")
	in.Stations[3].DepthM = 12
	in.Route.Moves[2].HoldMin = 0
	before, _ := route.Evaluate(in)
	q := question(t, in)
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	if a := w.Answer(); a.Stops || len(a.Schedule.Stops) > 0 {
		t.Fatalf("stops on a short dive: %+v", a.Schedule.Stops)
	}
	x, _ := json.Marshal(before)
	y, _ := json.Marshal(q.Result)
	if string(x) != string(y) {
		t.Error("the route's result changed")
	}
}

// The turn at the latest is that of its definition (D27): at every place looked at
// before it the plan cut there passes, at every place after it something does not.
func TestTurnAtTheLatestByDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := pit("Ada", "Ben")
		in.Stations[3].DepthM = float64(rapid.IntRange(20, 40).Draw(t, "depth"))
		in.Route.Moves[2].HoldMin = float64(rapid.IntRange(5, 25).Draw(t, "hold"))
		volume := float64(rapid.IntRange(24, 60).Draw(t, "volume"))
		for d := range in.Team {
			in.Team[d].Mains[0].VolumeL = volume
		}
		w := open(t, in)
		w.Answer()
		for i, p := range w.places {
			w.judge(p)
			passes := len(p.binds) == 0
			before := w.reach == nil || !w.reach.spot.Before(p.spot)
			switch {
			case before && (!passes || w.reach != nil && !w.getsHome(p)) && p != w.reach:
				t.Fatalf("place %d (%s) lies before the turn and breaks %v", i, placeText(p), p.broken())
			case !before && passes && w.getsHome(p) && w.places[i-1].spot.Before(w.reach.spot):
				t.Fatalf("the place after the turn (%s) passes", placeText(p))
			}
		}
	})
}

// open answers with the settings of the worked dive.
func open(t interface{ Fatal(...any) }, in route.Input) *Work {
	w, err := Open(atThree(question(t, in)))
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// More gas never makes a plan fail that passes; a higher consumption never lets
// the team turn later; a leg that nobody swims changes nothing.
func TestMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := pit("Ada", "Ben")
		in.Stations[3].DepthM = float64(rapid.IntRange(20, 40).Draw(t, "depth"))
		in.Route.Moves[2].HoldMin = float64(rapid.IntRange(5, 25).Draw(t, "hold"))
		for d := range in.Team {
			in.Team[d].Mains[0].VolumeL = float64(rapid.IntRange(24, 60).Draw(t, "volume"))
		}
		a := open(t, in)
		a.Answer()
		more := in
		more.Team = append([]route.Diver(nil), in.Team...)
		for d := range more.Team {
			more.Team[d].Mains = append([]route.Cylinder(nil), in.Team[d].Mains...)
			more.Team[d].Mains[0].VolumeL += 2
		}
		b := open(t, more)
		b.Answer()
		if a.q.Result.Verdict == route.Pass && b.q.Result.Verdict != route.Pass {
			t.Fatal("more gas makes the plan fail")
		}
		thirsty := in
		thirsty.Team = append([]route.Diver(nil), in.Team...)
		for d := range thirsty.Team {
			thirsty.Team[d].RMVLMin += float64(rapid.IntRange(1, 10).Draw(t, "more"))
		}
		c := open(t, thirsty)
		c.Answer()
		if x, y := a.q.Result.Reach, c.q.Result.Reach; !x.WholeRoute && (y.WholeRoute || y.Place.ElapsedMin > x.Place.ElapsedMin+0.01) {
			t.Fatalf("a higher consumption turns at %v min, not at %v", y.Place.ElapsedMin, x.Place.ElapsedMin)
		}
		unused := in
		unused.Stations = append(append([]route.Station(nil), in.Stations...), route.Station{Name: "side", DepthM: 30})
		unused.Legs = append(append([]route.Leg(nil), in.Legs...), route.Leg{ID: "side", From: "edge", To: "side", LengthM: 50, Lined: true, Restriction: "none"})
		d := open(t, unused)
		d.Answer()
		x, _ := json.Marshal(a.q.Result)
		y, _ := json.Marshal(d.q.Result)
		if string(x) != string(y) {
			t.Fatal("a leg that nobody swims changes the result")
		}
	})
}

// Gas for decompression that is carried can be lost too: its owner then
// decompresses on back gas, which must last.
func TestLostDecompressionGas(t *testing.T) {
	in := pit("Ada", "Ben")
	temp := 20.0
	for d := range in.Team {
		in.Team[d].Stages = []route.Cylinder{{ID: in.Team[d].Name + "-50", VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: .5}, Deco: true, TempC: &temp}}
	}
	w := open(t, in)
	a := w.Answer()
	i, b := w.dearest(lostWaiting)
	if b == nil || w.supplies[w.failures[i].lost].ID != "Ada-50" && w.supplies[w.failures[i].lost].ID != "Ben-50" {
		t.Fatal("the loss of a carried gas for decompression is not looked at")
	}
	if b.m.out.stops <= a.Schedule.StopMin {
		t.Errorf("%d min of stops without it, %d as planned", b.m.out.stops, a.Schedule.StopMin)
	}
}

// A large plan is answered; in a team whose divers are alike one schedule serves all.
func TestExpedition(t *testing.T) {
	w, a := answer(t, expedition(30))
	if !a.Stops || a.Schedule.StopMin == 0 || len(a.Schedule.Switches) != 6 {
		t.Errorf("%d min of stops, switches %v; want stops and two changes of gas for each of three", a.Schedule.StopMin, a.Schedule.Switches)
	}
	for _, p := range w.places {
		if p.judged && !p.alike {
			t.Fatalf("%s: the team is not alike", placeText(p))
		}
		for d := range w.team.Divers[1:] {
			for k := range 4 {
				if p.content[k] != p.content[4*(d+1)+k] {
					t.Fatalf("%s: contents differ", placeText(p))
				}
			}
		}
	}
	if w.Fault() != "" {
		t.Error(w.Fault())
	}
	// Scheduled for everybody by name, every failure comes to the same.
	n := 0
	for _, p := range w.places {
		if !p.judged || n > 6 {
			continue
		}
		n++
		alone := *p
		alone.alike, alone.outs = false, nil
		for i := range w.failures {
			m := w.margin(&alone, &w.failures[i], w.q.Route.Policy.DelayMin)
			if x := p.tested[i]; (m == nil) != (x == nil) || m != nil && math.Abs(m.spare()-x.spare()) > 1e-6 {
				t.Fatalf("%s, %s: %v L to spare, %v L scheduled by name", placeText(p), w.who(&w.failures[i]), x.spare(), m.spare())
			}
		}
	}
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

// A schedule that breaks off on the way in, before the commitment point, is a
// plan to be refused like any other: a day at 40 m, up to 3 m and down again, with
// a limit at the surface that air at 6 m never reaches.
func TestNoScheduleOnTheWayIn(t *testing.T) {
	in := pit("Ada", "Ben")
	in.Stations[1].DepthM, in.Stations[2].DepthM = 3, 3
	in.Route.Moves[2].HoldMin = 1440
	in.Route.Moves = append(in.Route.Moves[:4:4], append([]route.Move{{To: "foot", HoldMin: 5, HoldTask: "survey"}}, in.Route.Moves[3:]...)...)
	q := question(t, in)
	q.Settings.GFHigh = q.Settings.GFLow
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	if a := w.Answer(); !a.Schedule.NoSchedule || !slices.ContainsFunc(a.Schedule.Remarks, func(m Remark) bool { return m.Kind == deco.FlagNoSchedule }) {
		t.Fatalf("a schedule after a day at 40 m: %+v", a.Schedule.Stops)
	}
	if r := w.q.Result; r.Verdict != route.Fail || r.Commitment.Move > 4 {
		t.Errorf("verdict %s, commitment point %+v, beyond where the schedule breaks off", r.Verdict, r.Commitment)
	}
}

// A dive that takes too much is given up: said so, and the route's result left alone.
func TestTooMuchIsGivenUp(t *testing.T) {
	q := question(t, pit("Ada", "Ben"))
	before, _ := json.Marshal(q.Result)
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	w.Answer()
	if w.TooMuch() {
		t.Fatalf("%d is too much for a pit of six moves", w.planner.Spent)
	}
	for _, most := range []int{1, w.planner.Spent / 100, w.planner.Spent / 2} {
		again := question(t, pit("Ada", "Ben"))
		w, err := Open(again)
		if err != nil {
			t.Fatal(err)
		}
		w.planner.Most = most
		w.Answer()
		after, _ := json.Marshal(again.Result)
		if !w.TooMuch() || string(after) != string(before) {
			t.Errorf("bound of %d: given up %v, result changed %v", most, w.TooMuch(), string(after) != string(before))
		}
	}
}

// The schedules handed on to the water's edge say who needs each stop; the many
// that are only compared do not.
func TestLostGasSaysWhoNeedsAStop(t *testing.T) {
	_, a := answer(t, expedition(30))
	stops := 0
	for _, l := range a.LostGas {
		for _, s := range l.Schedule.Stops {
			if stops++; !(s.NeededBy.Bar < 0) || s.NeededBy.Diver == "" {
				t.Errorf("%s lost, stop at %v m: needed by %+v", l.Lost, s.DepthM, s.NeededBy)
			}
		}
	}
	if stops == 0 {
		t.Error("no stop after any loss")
	}
}

// A way out that is not scheduled, being swum for as much as another takes with its
// stops, is not the cheapest: every way scheduled anyway says so.
func TestTheCheapestWayWithItsStops(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := pit("Ada", "Ben")
		in.Stations[3].DepthM = float64(rapid.IntRange(20, 40).Draw(t, "depth"))
		in.Route.Moves[2].HoldMin = float64(rapid.IntRange(5, 25).Draw(t, "hold"))
		in.Stations = append(in.Stations, route.Station{Name: "bend", DepthM: float64(rapid.IntRange(3, 30).Draw(t, "bend"))})
		length := float64(rapid.IntRange(40, 90).Draw(t, "length"))
		in.Legs = append(in.Legs, // another way from the foot to the pool
			route.Leg{ID: "there", From: "foot", To: "bend", LengthM: length, Lined: true, Restriction: "none"},
			route.Leg{ID: "out", From: "bend", To: "pool", LengthM: length, Lined: true, Restriction: "none"})
		in.Verified = []route.Verification{{ID: "v", Legs: []string{"there", "out"}, PassedBy: []string{"Ada", "Ben"}}}
		in.Policy.VerifiedCounts, in.Policy.VerificationDays = route.VerifiedFromStart, 7
		w := open(t, in)
		several := 0
		for _, p := range w.places {
			ways := w.lay(w.normal, p)
			if len(ways) < 2 {
				continue
			}
			several++
			first := w.cheapest(ways, p)
			cost := func(x *way) float64 {
				if w.planner.Schedule(w.team, &w.led(x).path, p.moment, nil, &w.out) != nil || w.out.NoSchedule {
					return math.Inf(1)
				}
				sum := 0.0
				for i := range w.out.Stretches {
					sum += w.barMinutes(&w.out.Stretches[i], w.led(x).factors)
				}
				if sum < w.swum(w.led(x))-1e-9 {
					t.Errorf("%v bar minutes with stops, %v without", sum, w.swum(w.led(x)))
				}
				return sum
			}
			least := cost(first)
			for _, x := range ways {
				if c := cost(x); c < least-1e-6 {
					t.Errorf("%s: a way of %v bar minutes beats the cheapest of %v", placeText(p), c, least)
				}
			}
		}
		if several == 0 {
			t.Error("no place with two ways out")
		}
	})
}
