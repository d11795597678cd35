package gear_test

import (
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/gear"
	"lastlight/engine/policy"
)

func hydro(on string) facts.CylinderEvent {
	return facts.CylinderEvent{ID: "h" + on, Kind: "hydro", On: enginetest.Mark(on)}
}

func visual(on string) facts.CylinderEvent {
	return facts.CylinderEvent{ID: "v" + on, Kind: "visual", On: enginetest.Mark(on)}
}

// Every row of the handbook's table, practice 9.1, with the shipped policy: what
// a hydro of 14 May 2021 and nothing else is good for, and the conditions of
// the row. By hand: the months of the row added to the mark, to the month's end
// where the row counts months.
func TestEveryRegimeOfTheHandbook(t *testing.T) {
	p := policy.Default()
	for _, row := range []struct {
		source, regime, hydro, visual string
		change                        func(*facts.Cylinder)
	}{
		{"49 CFR 180.209 Table 1: 5 y; 12 months, trade custom", "us", "2026-05-31", "2022-05-31", nil},
		{"49 CFR 180.209 Table 1: 3HT 3 y", "us_3ht", "2024-05-31", "2022-05-31", nil},
		{"ISO 18119:2018: 5 y, yearly", "iso_uk", "2026-05-31", "2022-05-31", nil},
		{"ISO 18119:2018: up to 2.5 y with risk assessment", "iso_uk", "2026-05-31", "2023-11-30", func(c *facts.Cylinder) { c.RiskAssessment = enginetest.Mark("2021-06-01") }},
		{"BetrSichV Anh. 2 Abschn. 4 Nr 7.6 b: 60, 30 months", "de", "2026-05-31", "2023-11-30", nil},
		{"Switzerland: 5 y, 2.5 y", "ch", "2026-05-31", "2023-11-30", nil},
		{"arrêté 20 Nov 2017 art. 18: 2 y, 12 months, exact", "fr", "2023-05-14", "2022-05-14", nil},
		{"arrêté 20 Nov 2017 art. 18: 6 y in a club register", "fr_register", "2027-05-14", "2022-05-14", nil},
		{"AS 2030.1 / AS 2337: 12 months", "au", "2022-05-31", "2022-05-31", nil},
		{"New Zealand: 2 y, 12 months", "nz", "2023-05-31", "2022-05-31", nil},
		{"New Zealand: heavy use 4 months", "nz", "2023-05-31", "2021-09-30", func(c *facts.Cylinder) { c.HeavyUse = true }},
		{"CSA B339/B340: 60 months, 12, last day of the month", "ca", "2026-05-31", "2022-05-31", nil},
		{"Unknown: 5 y, 12 months", "", "2026-05-31", "2022-05-31", nil},
		{"a country the policy does not know: as unknown", "xx", "2026-05-31", "2022-05-31", nil},
	} {
		c := facts.Cylinder{Regime: row.regime, Events: []facts.CylinderEvent{hydro("2021-05-14")}}
		if row.change != nil {
			row.change(&c)
		}
		got := gear.CylinderOn(&p, &c, enginetest.Day("2021-07-01"))
		if got.Due.Hydro.String() != row.hydro || got.Due.Visual.String() != row.visual {
			t.Errorf("%s: hydro to %s, visual to %s; expected %s, %s", row.source, got.Due.Hydro, got.Due.Visual, row.hydro, row.visual)
		}
		if !got.Fill.Clause.Complete() || !got.Carry.Clause.Complete() || got.Fill.Answer != due.Yes {
			t.Errorf("%s: fill %+v, carry %+v", row.source, got.Fill, got.Carry)
		}
	}
}

// P18 of the handbook: hydro 05/2021, 60 months: last day 31 May 2026, or 14 May
// where the day is exact. Visual 30 months: 30 Nov 2023. A visual done late in
// 05/2025 is itself good to 30 Nov 2027, the hydro still ends 31 May 2026.
func TestLateVisualDoesNotMoveTheHydro(t *testing.T) {
	p := policy.Default()
	c := facts.Cylinder{Regime: "de", Events: []facts.CylinderEvent{hydro("2021-05")}}
	if got := gear.CylinderOn(&p, &c, enginetest.Day("2023-11-30")); got.Due.Hydro.String() != "2026-05-31" || got.Due.Visual.String() != "2023-11-30" || got.Due.Next.Event != due.EventVisual {
		t.Errorf("%+v", got.Due)
	}
	c.Events = append(c.Events, visual("2025-05"))
	if got := gear.CylinderOn(&p, &c, enginetest.Day("2025-06-01")); got.Due.Hydro.String() != "2026-05-31" || got.Due.Visual.String() != "2027-11-30" || got.Due.Next.Event != due.EventHydro {
		t.Errorf("%+v", got.Due)
	}
	exact := policy.Default()
	for i := range exact.Cylinders.Regimes {
		exact.Cylinders.Regimes[i].Count = "exact"
	}
	c.Events = []facts.CylinderEvent{hydro("2021-05-14")}
	if got := gear.CylinderOn(&exact, &c, enginetest.Day("2021-06-01")); got.Due.Hydro.String() != "2026-05-14" {
		t.Errorf("%+v", got.Due)
	}
}

// Practice 9.2 D4 and T14–T16: three answers that differ, each with its date and
// clause; what falls first. Filled 30 May 2026, hydro to the end of that month.
func TestThreeAnswers(t *testing.T) {
	p := policy.Default()
	of := func(regime string) *facts.Cylinder {
		return &facts.Cylinder{Regime: regime, FilledOn: enginetest.Day("2026-05-30"), Events: []facts.CylinderEvent{hydro("2021-05"), visual("2026-01")}}
	}
	before := gear.CylinderOn(&p, of("de"), enginetest.Day("2026-05-30"))
	for what, got := range map[string]string{
		"filled to 2026-05-31": "filled to " + before.Fill.Until.String(), "used to 2028-07-31": "used to " + before.Use.Until.String(),
		"carried to 2026-05-31": "carried to " + before.Carry.Until.String(), "fill first": before.FallsFirst + " first", "2026-05-31": before.LastDay.String(),
	} {
		if what != got {
			t.Errorf("%s, expected %s", got, what)
		}
	}
	de := gear.CylinderOn(&p, of("de"), enginetest.Day("2026-06-02"))
	if de.Fill.Answer != due.No || de.Use.Answer != due.Notice || de.Carry.Answer != due.No || de.MaxFillBar != 0 || de.Fill.Clause.Document != "BetrSichV" {
		t.Errorf("Germany, two days after: %+v", de)
	}
	us := gear.CylinderOn(&p, of("us"), enginetest.Day("2026-06-02"))
	if us.Fill.Answer != due.No || us.Carry.Answer != due.Yes || !slices.Contains(us.Carry.Why, due.HydroOverdue) {
		t.Errorf("US, two days after: %+v", us)
	}
	p.Cylinders.StrictOutOfTest = true
	if got := gear.CylinderOn(&p, of("de"), enginetest.Day("2026-06-02")); got.Use.Answer != due.No {
		t.Errorf("a strict club: %+v", got.Use)
	}
}

// Practice 9.1: 6351 alloy refused in Australia from 31 October 2017 on, included;
// it needs the eddy current examination everywhere.
func TestAlloyBan(t *testing.T) {
	p := policy.Default()
	h := hydro("2017-03")
	h.Eddy = true
	c := facts.Cylinder{Regime: "au", Alloy: "6351", FilledOn: enginetest.Day("2017-10-01"), Events: []facts.CylinderEvent{h}}
	if got := gear.CylinderOn(&p, &c, enginetest.Day("2017-10-30")); got.Fill.Answer != due.Yes || got.Fill.Until.String() != "2017-10-30" {
		t.Errorf("the day before: %+v", got.Fill)
	}
	got := gear.CylinderOn(&p, &c, enginetest.Day("2017-10-31"))
	for _, m := range []gear.May{got.Fill, got.Use, got.Carry} {
		if m.Answer != due.No || !slices.Contains(m.Why, due.AlloyRefused) {
			t.Errorf("the day: %+v", m)
		}
	}
	c.Regime, c.Events[0].Eddy = "us", false
	if got := gear.CylinderOn(&p, &c, enginetest.Day("2017-10-30")); got.Fill.Answer != due.CannotTell || !slices.Contains(got.Fill.Why, due.NoEddyCurrent) {
		t.Errorf("no eddy current on record: %+v", got.Fill)
	}
}

// Practice 9.1, US plus, and T13: 10 % over the marked 2400 psi, 2640 psi, only
// with 3A or 3AA steel, the + after the latest date and the disc on record.
func TestPlusInBar(t *testing.T) {
	p := policy.Default()
	const psi = 14.503773773020921
	h := hydro("2024-05")
	h.Plus = true
	c := facts.Cylinder{Regime: "us", RatedBar: 2400 / psi, Spec: "3AA", Disc: true, Events: []facts.CylinderEvent{h, visual("2026-01")}}
	on := enginetest.Day("2026-06-01")
	near := func(a, b float64) bool { return a-b < 1e-6 && b-a < 1e-6 }
	if got := gear.MaxFillBar(&p, &c, on); !near(got, 2640/psi) {
		t.Errorf("%g psi, expected 2640", got*psi)
	}
	for name, change := range map[string]func(*facts.Cylinder){
		"no disc": func(c *facts.Cylinder) { c.Disc = false }, "another steel": func(c *facts.Cylinder) { c.Spec = "3AL" },
		"no plus": func(c *facts.Cylinder) { c.Events = []facts.CylinderEvent{hydro("2024-05"), visual("2026-01")} },
	} {
		d := c
		change(&d)
		if got := gear.MaxFillBar(&p, &d, on); !near(got, 2400/psi) {
			t.Errorf("%s: %g psi, expected 2400", name, got*psi)
		}
	}
	if got := gear.MaxFillBar(&p, &c, enginetest.Day("2027-02-01")); got != 0 {
		t.Errorf("visual over: %g bar, expected none", got)
	}
}

// T18 and quarantine: no filling, no use; how it may be carried is the law's to say.
func TestQuarantine(t *testing.T) {
	p := policy.Default()
	c := facts.Cylinder{Regime: "de", FilledOn: enginetest.Day("2026-05-30"), Events: []facts.CylinderEvent{hydro("2024-05")}, Quarantined: &facts.Quarantine{Reason: "dropped"}}
	got := gear.CylinderOn(&p, &c, enginetest.Day("2026-06-02"))
	if got.Fill.Answer != due.No || got.Use.Answer != due.No || got.Carry.Answer != due.Yes || got.MaxFillBar != 0 {
		t.Errorf("%+v", got)
	}
}

// T19: a set has the date of its worst member; one that is not on record, and it cannot be told.
func TestSet(t *testing.T) {
	p := policy.Default()
	good, worse := &facts.Cylinder{Regime: "de", Events: []facts.CylinderEvent{hydro("2024-05")}}, &facts.Cylinder{Regime: "de", Events: []facts.CylinderEvent{hydro("2023-12")}}
	on := enginetest.Day("2026-06-01")
	if got := gear.SetOn(&p, []*facts.Cylinder{good, worse}, on); got.Member != 1 || got.LastDay.String() != "2026-06-30" || got.Status != calendar.Due {
		t.Errorf("%+v", got)
	}
	if got := gear.SetOn(&p, []*facts.Cylinder{good, nil}, on); got.Status != calendar.CannotTell || got.Member != 1 {
		t.Errorf("%+v", got)
	}
}

// Every row of the handbook's table of other equipment, practice 9.3 (T20, T21):
// done on 15 January 2026, the last good day of the clock that governs.
func TestEveryKitIntervalOfTheHandbook(t *testing.T) {
	p := policy.Default()
	events := func(kinds ...string) (list []facts.ItemEvent) {
		for _, k := range kinds {
			list = append(list, facts.ItemEvent{Kind: k, On: enginetest.Mark("2026-01-15")})
		}
		return list
	}
	for _, row := range []struct {
		source    string
		item      facts.Item
		last      string
		clock     string
		ifOverdue policy.Decide
	}{
		{"AAUS: regulator 12 months", facts.Item{Kind: "regulator", Events: events("service"), DivesSince: new(0)}, "2027-01-15", "service", policy.DecideRefuse},
		{"AAUS: gauges 12 months", facts.Item{Kind: "gauge", Events: events("check")}, "2027-01-15", "check", policy.DecideRefuse},
		{"AAUS: cylinder valve function 12 months; service 24", facts.Item{Kind: "valve", Events: events("function", "service")}, "2027-01-15", "function", policy.DecideRefuse},
		{"AAUS: buoyancy device 12 months", facts.Item{Kind: "buoyancy", Events: events("service")}, "2027-01-15", "service", policy.DecideRefuse},
		{"common practice: drysuit 12 months look, 24 service", facts.Item{Kind: "drysuit", Events: events("look", "service")}, "2027-01-15", "look", policy.DecideCaution},
		{"common practice: light burn test 6 months, battery 36", facts.Item{Kind: facts.PrimaryLight, Events: events("burn", "battery")}, "2026-07-15", "burn", policy.DecideRefuse},
		{"the same for a backup", facts.Item{Kind: facts.BackupLight, Events: events("burn", "battery")}, "2026-07-15", "burn", policy.DecideRefuse},
		{"common practice: oxygen cleaning 12 months", facts.Item{Kind: "oxygen_clean", Events: events("clean")}, "2027-01-15", "clean", policy.DecideCaution},
		{"common practice: analyser cell 12 months", facts.Item{Kind: facts.Analyser, Events: events("cell")}, "2027-01-15", "cell", policy.DecideRefuse},
		{"trade press: rebreather cells 12 from first use", facts.Item{Kind: "oxygen_cell", Made: enginetest.Mark("2026-01"), Events: events("fitting")}, "2027-01-15", "fitting", policy.DecideRefuse},
		{"trade press: rebreather cells 18 from manufacture, earliest wins", facts.Item{Kind: "oxygen_cell", Made: enginetest.Mark("2025-03"), Events: events("fitting")}, "2026-09-30", "manufacture", policy.DecideRefuse},
		{"a cell not fitted: the first clock alone", facts.Item{Kind: "oxygen_cell", Made: enginetest.Mark("2025-12")}, "2027-06-30", "manufacture", policy.DecideRefuse},
		{"common practice: reels and lines 12 months", facts.Item{Kind: facts.Reel, Events: events("check")}, "2027-01-15", "check", policy.DecideCaution},
		{"the same for a spool", facts.Item{Kind: facts.Spool, Events: events("check")}, "2027-01-15", "check", policy.DecideCaution},
		{"EN 12021: compressor air 3 months", facts.Item{Kind: facts.Compressor, Events: events("test")}, "2026-04-15", "test", policy.DecideRefuse},
		{"common practice: first-aid oxygen 12 months", facts.Item{Kind: "first_aid_oxygen", Events: events("service")}, "2027-01-15", "service", policy.DecideRefuse},
	} {
		got := gear.ItemOn(&p, &row.item, calendar.Days{}, enginetest.Day("2026-02-01"))
		i := slices.IndexFunc(got.Clocks, func(k gear.Clock) bool { return k.Clock == row.clock })
		if got.LastDay.String() != row.last || got.Clock != row.clock || i < 0 || got.Clocks[i].Overdue != row.ifOverdue || !got.Clocks[i].Clause.Complete() {
			t.Errorf("%s: %s to %s, %+v; expected %s to %s", row.source, got.Clock, got.LastDay, got.Clocks, row.clock, row.last)
		}
		bare := facts.Item{Kind: row.item.Kind}
		if got := gear.ItemOn(&p, &bare, calendar.Days{}, enginetest.Day("2026-02-01")); got.Status != calendar.CannotTell {
			t.Errorf("%s: nothing on record reads %s", row.source, got.Status)
		}
	}
	if got := gear.ItemOn(&p, &facts.Item{Kind: facts.Marker}, calendar.Days{}, enginetest.Day("2026-02-01")); len(got.Clocks) != 0 || got.Status != calendar.Current {
		t.Errorf("a marker: %+v", got)
	}
}

// Practice 9.2 D3 and T17: on the last planned day; crossing inside warns, with the first day without filling.
func TestDuringAnExpedition(t *testing.T) {
	p := policy.Default()
	c := facts.Cylinder{Regime: "de", Events: []facts.CylinderEvent{hydro("2021-05"), visual("2026-01")}}
	for first, want := range map[string]string{"2026-05-28": due.WarnCrossing, "2026-06-01": due.OverdueAtStart} {
		got := gear.During(&p, &c, calendar.Days{First: enginetest.Day(first), Last: enginetest.Day("2026-06-04")})
		if got.Verdict != want || want == due.WarnCrossing && got.NoFillFrom.String() != "2026-06-01" {
			t.Errorf("from %s: %+v, expected %s", first, got, want)
		}
	}
}

// T20: an each-trip check counts if dated within the trip and not after the day asked.
func TestTripCheck(t *testing.T) {
	p := policy.Default()
	trip := calendar.Days{First: enginetest.Day("2026-06-01"), Last: enginetest.Day("2026-06-10")}
	for checked, want := range map[string]calendar.Status{"2026-05-31": calendar.Overdue, "2026-06-01": calendar.Current, "2026-06-05": calendar.Current, "2026-06-06": calendar.Overdue} {
		it := facts.Item{Kind: "first_aid_oxygen", Events: []facts.ItemEvent{{Kind: "check", On: enginetest.Mark(checked)}, {Kind: "service", On: enginetest.Mark("2026-01-15")}}}
		got := gear.ItemOn(&p, &it, trip, enginetest.Day("2026-06-05"))
		i := slices.IndexFunc(got.Clocks, func(k gear.Clock) bool { return k.EachTrip })
		if got.Clocks[i].Status != want {
			t.Errorf("checked %s: %s, expected %s", checked, got.Clocks[i].Status, want)
		}
	}
}

// T9: regimes have effective dates. The fill is judged by the law of its own day
// (T15), and what is looked ahead to by the law of that day. By hand: the hydro of
// June 2024 is good to 30 June 2026 at 24 months and to 30 June 2029 at 60.
func TestARegimeThatChanges(t *testing.T) {
	p := policy.Default()
	of := func(name string, hydroMonths int, from, to string) policy.Regime {
		return policy.Regime{Name: name, HydroMonths: hydroMonths, VisualMonths: 60, Count: "month", Base: "mark", CarryPastDue: due.FilledInDate, VisualBindsCarriage: true, EffectiveFrom: from, EffectiveTo: to}
	}
	p.Cylinders.Regimes = []policy.Regime{
		of("relaxed", 24, "", "2026-12-31"), of("relaxed", 60, "2027-01-01", ""),
		of("tightened", 60, "", "2026-12-31"), of("tightened", 36, "2027-01-01", ""), of("unknown", 60, "", ""),
	}
	for _, c := range []struct {
		regime, filled, on string
		use                due.Answer
		until              string
	}{
		{"relaxed", "2026-06-30", "2027-01-02", due.Yes, "2029-06-30"},
		{"relaxed", "2026-07-01", "2027-01-02", due.No, ""}, // out of date on the day of the fill
		{"relaxed", "2027-01-01", "2027-01-02", due.Yes, "2029-06-30"},
		{"tightened", "2026-07-01", "2026-07-01", due.Yes, "2027-06-30"},
	} {
		cyl := facts.Cylinder{Regime: c.regime, FilledOn: enginetest.Day(c.filled), Events: []facts.CylinderEvent{hydro("2024-06")}}
		p.Cylinders.StrictOutOfTest = true // else use is a notice after the hydro, without an end
		got := gear.CylinderOn(&p, &cyl, enginetest.Day(c.on)).Use
		if got.Answer != c.use || got.Until.String() != c.until {
			t.Errorf("%s, filled %s, on %s: %s %v until %q, expected %s until %q", c.regime, c.filled, c.on, got.Answer, got.Why, got.Until, c.use, c.until)
		}
	}
}
