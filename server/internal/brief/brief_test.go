package brief

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/quantity"
)

func bar(b float64) *lastlightv1.Pressure {
	return &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Bar{Bar: b}}
}

// page is a team of n divers on a route of so many moves, as approved, with so many lower starts for each.
func page(n, moves, rows int) *Page {
	day := time.Date(2026, 6, 8, 7, 0, 0, 0, time.UTC)
	at := func(min int) *timestamppb.Timestamp {
		return timestamppb.New(day.Add(time.Duration(min) * time.Minute))
	}
	p := &Page{
		Plan: &lastlightv1.Plan{
			Id: "loop", Version: 3, State: lastlightv1.PlanState_PLAN_STATE_APPROVED, CodeWord: "birch lamp", Goal: "to the rose and back", Cover: "cover",
			Route: &lastlightv1.Route{Start: "pool"},
		},
		Site: &lastlightv1.Site{Title: "Invented Spring", Emergency: &lastlightv1.EmergencySheet{
			EmergencyNumber: "112", RescueService: "ask for cave rescue", SignalPoint: "the gravel car park above the mill",
			Chambers: []*lastlightv1.Chamber{
				{Title: "Far Chamber", Telephone: "+00 555 0198", TravelMin: number64(95), OpenDayAndNight: true},
				{Title: "Near Chamber", Telephone: "+00 555 0199", TravelMin: number64(54.2)},
			},
			Oxygen: []*lastlightv1.OxygenCylinder{{WaterVolume: &lastlightv1.WaterVolume{Unit: &lastlightv1.WaterVolume_Litres{Litres: 5}}, Pressure: bar(180)}},
		}},
		Location: time.FixedZone("", 7200), Names: map[string]string{"cover": "Grete"}, Conditions: []string{"no reading on 2026-06-08 yet: read level, flow and visibility before the entry"},
		MOD: map[string]float64{}, Lines: map[string][]string{}, Coordinator: Officer{Name: "Cora Lind", Telephone: "+00 555 0101"},
		Report: &lastlightv1.Report{Policy: "spring-2026", Survey: "invented/1", EngineVersion: "1", Hash: "9881045ed317aa", Dive: &lastlightv1.DiveFigures{
			Entry: at(0), EnterBy: at(60), MaxDepthM: 17.2, RuntimeMin: 62, PenetrationM: 350, TurnMinute: 31.4,
			TurnAtTheLatest: &lastlightv1.TurnPlace{Station: "niche", MetresPast: 42.7, Towards: "rose", Binds: []string{"sharing exit, Diver1 for Diver2"}},
			WorstSharing:    &lastlightv1.WorstSharing{Donor: "Diver1", Receiver: "Diver2", Place: "rose", MarginL: 283.9},
			Watch:           &lastlightv1.WatchTimes{Eto: at(62), Look: at(80), Coordinator: at(98), Dial: at(134), Walk: at(128)},
		}},
	}
	for i := range n {
		id, name := fmt.Sprintf("d%d", i+1), fmt.Sprintf("Diver%d", i+1)
		p.Names[id] = name
		p.Plan.Team = append(p.Plan.Team, &lastlightv1.PlanDiver{Person: id, Mains: id + "-twin", Gas: &lastlightv1.GasMix{OxygenPercent: 32}, Equipment: []string{id + "-reel"}})
		p.MOD[id+"-twin"], p.Lines[id] = 33, []string{id + "-reel", id + "-spool"}
		f := &lastlightv1.DiverFigures{Person: id, Name: name, Turns: []*lastlightv1.SupplyTurn{{Supply: id + "-twin", StartBar: 182.7, TurnBar: 137.7, Person: id}}}
		for k := range rows {
			l := &lastlightv1.LowerStart{StartBar: 172.7 - 10*float64(k), TurnPlace: &lastlightv1.TurnPlace{Station: "niche", MetresPast: 40.9, Towards: "rose"}}
			for j := range n {
				l.Turns = append(l.Turns, &lastlightv1.SupplyTurn{Person: fmt.Sprintf("d%d", j+1), TurnBar: 137.7})
			}
			f.LowerStarts = append(f.LowerStarts, l)
		}
		f.LowerStarts = append(f.LowerStarts, &lastlightv1.LowerStart{StartBar: 120, NoDive: "no dive below: short"})
		p.Report.Dive.Divers = append(p.Report.Dive.Divers, f)
	}
	for i := range moves {
		m := &lastlightv1.RouteMove{Leg: fmt.Sprintf("leg-%d", i), To: fmt.Sprintf("station-%d", i), Turn: i == moves/2}
		if i%4 == 3 {
			m.RunLine, m.Reel = true, "d1-reel"
		}
		p.Plan.Route.Moves = append(p.Plan.Route.Moves, m)
		p.Report.Dive.Route = append(p.Report.Dive.Route, &lastlightv1.RouteLine{Move: int32(i + 1), Leg: m.Leg, To: m.To, ArriveMin: float64(3 * i)})
	}
	return p
}

func number64(x float64) *float64 { return &x }

// One page of 66 lines and 80 columns in either unit.
func TestOnePage(t *testing.T) {
	for _, c := range []struct{ divers, moves, rows int }{{2, 2, 4}, {3, 8, 8}, {3, 16, 9}, {4, 12, 10}, {5, 8, 10}} {
		for _, units := range []Units{Metric, Imperial} {
			p := page(c.divers, c.moves, c.rows)
			p.Units = units
			lines := strings.Split(strings.TrimRight(Text(p), "\n"), "\n")
			if len(lines) > Height {
				t.Errorf("%d divers, %d moves, %d rows, %s: %d lines\n%s", c.divers, c.moves, c.rows, units, len(lines), Text(p))
			}
			for _, l := range lines {
				if n := utf8.RuneCountInString(l); n > Width {
					t.Errorf("%d columns: %s", n, l)
				}
			}
		}
	}
}

// What is too long for one sheet says so at the top.
func TestTwoSheets(t *testing.T) {
	if text := Text(page(8, 40, 10)); !strings.Contains(text, "\nTWO SHEETS: take both\n") {
		t.Errorf("nothing says that there are two sheets:\n%s", text)
	}
}

// What a team and its cover look for without a signal stands on the page.
func TestWhatStandsOnThePage(t *testing.T) {
	for units, want := range map[Units][]string{
		Metric: {
			"start bar", "TURN bar", " 140\n", "172.7: 140/140/140 niche+40 m", "below 120: NO DIVE", "283 L above", "5 L at 180 bar",
			"minute 31 after entry; place 42 m past niche towards rose",
			"32 % O2      33 m", "tell the coordinator 10:38 (+02:00): Cora Lind, +00 555 0101", "NUMBER 112, ask for cave rescue", "Near Chamber, +00 555 0199, 55 min, not day\n    and night",
			"run line from d1-reel (Diver1)", "Diver2 d2-reel d2-spool", "seen out by cover ends the alarm", "ONLY IF    no reading on 2026-06-08 yet",
		},
		// 182.7 bar = 2649.8 psi, 137.7 bar = 1997.2 psi, 120 bar = 1740.4 psi, 180 bar = 2610.7 psi (6894.757 Pa per psi, NIST SP 811).
		Imperial: {"start psi", "TURN psi", " 2650 ", " 2000\n", "2550: 2000/2000/2000", "below 1750: NO DIVE", "10 ft³ above", "5 L at 2610 psi"},
	} {
		p := page(3, 8, 2)
		p.Units = units
		text := Text(p)
		for _, words := range want {
			if !strings.Contains(text, words) {
				t.Errorf("%s: %q is missing:\n%s", units, words, text)
			}
		}
		if units == Imperial && strings.Contains(text, " bar") {
			t.Errorf("bar on a page in psi:\n%s", text)
		}
	}
	p := page(2, 2, 2)
	p.Coordinator = Officer{Name: "Cora Lind"}
	p.Site.Emergency.Chambers, p.Site.Emergency.Oxygen = nil, nil
	for _, words := range []string{"Cora Lind, no number on record", "oxygen: none on record; chamber: none on record"} {
		if !strings.Contains(Text(p), words) {
			t.Errorf("%q is missing:\n%s", words, Text(p))
		}
	}
	p.Plan.State = lastlightv1.PlanState_PLAN_STATE_STALE
	if text := Text(p); !strings.HasPrefix(strings.Split(text, "\n")[3], "NOT TO BE DIVED ON.") || strings.Contains(text, "140") {
		t.Errorf("a page of a stale plan:\n%s", text)
	}
}

// What makes a valid page depends on the state of the plan.
func TestWhatToDo(t *testing.T) {
	for state, want := range map[lastlightv1.PlanState]string{
		lastlightv1.PlanState_PLAN_STATE_DRAFT:     "What to do: submit it, have it decided, and print",
		lastlightv1.PlanState_PLAN_STATE_SUBMITTED: "What to do: have it decided, and print",
		lastlightv1.PlanState_PLAN_STATE_STALE:     "What to do: submit it again, have it decided, and print",
		lastlightv1.PlanState_PLAN_STATE_REFUSED:   "What to do: change it, submit it, have it decided, and print",
		lastlightv1.PlanState_PLAN_STATE_CLOSED:    "What to do: it has been dived",
	} {
		p := page(2, 2, 2)
		p.Plan.State = state
		if text := Text(p); !strings.Contains(text, want) {
			t.Errorf("%v: no %q:\n%s", state, want, text)
		}
	}
}

// Of a team that went in the page has the pressures read at the water, of stages too, and nothing about others.
func TestMeasuredStarts(t *testing.T) {
	p := page(2, 2, 0)
	for _, d := range p.Report.Dive.Divers {
		d.LowerStarts = nil
	}
	p.Plan.State = lastlightv1.PlanState_PLAN_STATE_IN_WATER
	p.Plan.Team[0].Stages = []*lastlightv1.PlanStage{{Cylinder: "s-1", Kind: "stage", Gas: &lastlightv1.GasMix{OxygenPercent: 32}, StartPressure: bar(200)}}
	p.Measured = map[string]float64{"d1-twin": 182.7, "d2-twin": 182.7, "s-1": 185}
	text := Text(p)
	if !strings.Contains(text, " 185 ") || strings.Contains(text, " 200 ") || strings.Contains(text, "rows") || !strings.Contains(text, "below the table above") {
		t.Errorf("other starts than those read:\n%s", text)
	}
}

// A turn is never printed lower than it is, and never a mark too high.
func TestTurnsAreRoundedUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		exact := rapid.Float64Range(0, 300).Draw(t, "bar")
		for units, perBar := range map[Units]float64{Metric: 1, Imperial: 1 / quantity.BarPerPsi} {
			var shown float64
			if _, err := fmt.Sscan(units.turn(exact), &shown); err != nil {
				t.Fatal(err)
			}
			if low, mark := exact*perBar-shown, units.Mark()*perBar; low > 1e-4 || -low >= mark || math.Mod(shown, math.Round(mark)) != 0 {
				t.Errorf("%v bar is printed %v %s", exact, shown, units.pressure())
			}
		}
	})
}

// Rows of lower starts lie below the planned one, none of them higher than its gauge mark says.
func TestLowerStarts(t *testing.T) {
	if got := Metric.LowerStarts(185); got[0] != 175 || got[len(got)-1] != 5 {
		t.Errorf("from 185 bar: %v", got)
	}
	for _, planned := range []float64{206.8, 210, 199.9} { // 3000, 3046 and 2900 psi as the register keeps them
		got := Imperial.LowerStarts(planned)
		for i, b := range got {
			psi := b / quantity.BarPerPsi
			if mark := Imperial.rowStart(b); b >= planned || mark != fmt.Sprint(math.Ceil(psi/100)*100) || i > 0 && b >= got[i-1] {
				t.Errorf("from %v bar: row %v bar = %v psi, printed %s", planned, b, psi, mark)
			}
		}
		if planned-got[0] > 100*quantity.BarPerPsi+0.2 {
			t.Errorf("from %v bar the first row is %v", planned, got[0])
		}
	}
}

// withStops is a page of a dive with two gases for decompression: what job and
// schedule ask for, all of it, stands on one sheet.
func withStops(divers, moves, rows int) *Page {
	p := page(divers, moves, rows)
	stop := func(depth float64, minutes int32, arrive float64, place string, gas string) *lastlightv1.DecompressionStop {
		s := &lastlightv1.DecompressionStop{DepthM: depth, Minutes: minutes, ArriveMin: arrive, Place: place}
		for i := range divers {
			s.Breathing = append(s.Breathing, fmt.Sprintf("d%d-%s", i+1, gas))
		}
		return s
	}
	stops := []*lastlightv1.DecompressionStop{
		stop(18, 1, 61, "12.3 m past rose on leg rose-niche", "50"), stop(15, 2, 63, "18.3 m past rose on leg rose-niche", "50"), stop(12, 3, 66, "at niche", "50"),
		stop(9, 6, 71, "4.1 m past niche on leg niche-pool", "50"), stop(6, 22, 80, "open water above pool", "o2"),
	}
	d := &lastlightv1.Decompression{StopsNeeded: true, Stops: stops, StopMin: 34, ToSurfaceMin: 48.2}
	for _, v := range [][2]float64{{3, 0}, {0, 3}, {3, 3}} {
		d.Variants = append(d.Variants, &lastlightv1.DecompressionVariant{DeeperM: v[0], LongerMin: v[1], Stops: stops, ToSurfaceMin: 55})
	}
	for i := range divers {
		d.Changes = append(d.Changes, &lastlightv1.GasChange{Minute: 58, DepthM: 21, Person: fmt.Sprintf("d%d", i+1), Cylinder: fmt.Sprintf("d%d-50", i+1)})
	}
	for _, gas := range []string{"50", "o2"} {
		l := &lastlightv1.LostGasSchedule{Place: "rose", Stops: stops, ToSurfaceMin: 71.3}
		for i := range divers {
			l.Lost = append(l.Lost, fmt.Sprintf("d%d-%s", i+1, gas))
		}
		l.Breathes = []string{"d1-twin"}
		d.LostGas = append(d.LostGas, l)
	}
	d.LostGas[1].Short = []string{"back gas of Diver1"}
	d.Longest = &lastlightv1.LongestWayOut{Place: "rose", StopMin: 60, ToSurfaceMin: 75}
	p.Report.Dive.Decompression = d
	runtime := 71.5
	p.Report.Dive.OtherWay = &lastlightv1.OtherWay{Station: "niche", Holds: true, RuntimeMin: &runtime, Stops: stops[3:]}
	return p
}

func TestADiveWithStopsIsOnePage(t *testing.T) {
	for _, c := range []struct{ divers, moves, rows int }{{2, 4, 8}, {2, 12, 10}, {3, 8, 9}} {
		text := Text(withStops(c.divers, c.moves, c.rows))
		if n := strings.Count(text, "\n"); n > Height {
			t.Errorf("%+v: %d lines\n%s", c, n, text)
		}
		flat := strings.Join(strings.Fields(text), " ")
		for _, words := range []string{
			"18 m 1 min from minute 61, 12.3 m past rose on leg rose-niche, on d1-50, d2-50", "6 m 22 min from minute 80, open water above pool, on d1-o2",
			"change at 21 m, minute 58, to d1-50 (Diver1), d2-50 (Diver2)", "stop min at m 18 15 12 9 6 out (lost: at rose)", "+3 m +3 min 1 2 3 6 22 55 gas enough",
			"lost d1-50 or d2-50", "1 2 3 6 22 72 enough, of the own", "NOT ENOUGH back gas of Diver1", "most stops on a way out: 60 min, 75 min to the surface, from rose",
			"circuit the other way round is another plan: 72 min, 9 m 6, 6 m 22", "[ ] goal, route, order", "DIAL", "THIS PAGE IS VOID IF", "below 120: NO DIVE",
		} {
			if !strings.Contains(flat, words) {
				t.Errorf("%+v: %q is missing:\n%s", c, words, text)
			}
		}
		for _, l := range strings.Split(text, "\n") {
			if utf8.RuneCountInString(l) > Width {
				t.Errorf("%d columns: %s", utf8.RuneCountInString(l), l)
			}
		}
	}
}
