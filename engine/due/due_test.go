package due

import (
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
)

// The rules are the method handbook's, "Dates and deadlines"; its own rows run
// through the table reader. These are the boundaries beside them.

var rules = CylinderRules{DueWithinDays: 60, EddyCurrentAlloys: []string{"6351"}, PlusSpecs: []string{"3A", "3AA"}, PlusPercent: 10}

func monthly(hydro, visual int) Regime {
	return Regime{Name: "x", HydroMonths: hydro, VisualMonths: visual, Count: CountMonth, Base: BaseMark, CarryPastDue: "refused"}
}

func tested(t *testing.T, regime Regime, hydro string) Cylinder {
	return Cylinder{Regime: regime, Events: []Event{{Type: EventHydro, Date: enginetest.Mark(hydro)}}}
}

func TestRegimeOn(t *testing.T) {
	table := []Regime{
		{Name: "au", HydroMonths: 24, To: enginetest.Day("2019-12-31")},
		{Name: "au", HydroMonths: 12, From: enginetest.Day("2020-01-01")},
		{Name: Unknown, HydroMonths: 60},
	}
	for _, c := range []struct {
		name, on string
		want     int
	}{{"au", "2019-12-31", 24}, {"au", "2020-01-01", 12}, {"xx", "2020-01-01", 60}} {
		if got, ok := RegimeOn(table, c.name, enginetest.Day(c.on)); !ok || got.HydroMonths != c.want {
			t.Errorf("%s on %s: %d months, expected %d", c.name, c.on, got.HydroMonths, c.want)
		}
	}
	if _, ok := RegimeOn(table[:2], "xx", enginetest.Day("2020-01-01")); ok {
		t.Error("a regime that nobody knows is found")
	}
}

// T12: for a day asked, later events do not exist; a month alone counts inside
// its month only from the day it was recorded.
func TestLaterEventsDoNotExist(t *testing.T) {
	c := Cylinder{Regime: monthly(60, 30), Events: []Event{
		{Type: EventHydro, Date: enginetest.Mark("2021-05-14")},
		{Type: EventHydro, Date: enginetest.Mark("2026-05"), Recorded: enginetest.Day("2026-05-20")},
	}}
	for on, want := range map[string]string{
		"2021-05-13": "", "2021-05-14": "2026-05-31", "2026-05-19": "2026-05-31", "2026-05-20": "2031-05-31",
	} {
		if got := DueOn(c, enginetest.Day(on), rules).Hydro.String(); got != want {
			t.Errorf("on %s: hydro to %q, expected %q", on, got, want)
		}
	}
	c.Events[1].Recorded = enginetest.Day("2026-06-02") // recorded later: the month's end
	for on, want := range map[string]string{"2026-05-30": "2026-05-31", "2026-05-31": "2031-05-31"} {
		if got := DueOn(c, enginetest.Day(on), rules).Hydro.String(); got != want {
			t.Errorf("on %s: hydro to %q, expected %q", on, got, want)
		}
	}
}

// T10: the visual counts from the last of visual and hydro alone, and what is
// stamped on that one ends it. Of two of one day the earlier last good day holds.
func TestOnlyTheLastEventCounts(t *testing.T) {
	event := func(kind EventType, date, stamped string) Event {
		e := Event{Type: kind, Date: enginetest.Mark(date)}
		if stamped != "" {
			e.NextDue = enginetest.Mark(stamped)
		}
		return e
	}
	exact := Regime{HydroMonths: 24, VisualMonths: 6, Count: CountExact, Base: BaseMark}
	for _, c := range []struct {
		regime        Regime
		events        []Event
		on            string
		hydro, visual string
	}{
		{monthly(60, 30), []Event{event(EventHydro, "2023-01", ""), event(EventVisual, "2023-06", ""), event(EventVisual, "2024-01", "2024-12")}, "2024-06-01", "2028-01-31", "2024-12-31"},
		{monthly(60, 30), []Event{event(EventHydro, "2023-06", ""), event(EventVisual, "2024-01", "2024-12")}, "2024-06-01", "2028-06-30", "2024-12-31"},
		{monthly(60, 30), []Event{event(EventVisual, "2023-06", "2023-12"), event(EventVisual, "2024-01", "")}, "2024-06-01", "", "2026-07-31"},
		{exact, []Event{event(EventHydro, "2023-02-28", ""), event(EventVisual, "2023-02", "")}, "2023-08-01", "2025-02-28", "2023-08-28"},
		{exact, []Event{event(EventHydro, "2023-02-28", ""), event(EventHydro, "2023-02", "")}, "2023-08-01", "2025-02-28", "2023-08-28"},
	} {
		for range 2 {
			got := DueOn(Cylinder{Regime: c.regime, Events: c.events}, enginetest.Day(c.on), rules)
			if got.Hydro.String() != c.hydro || got.Visual.String() != c.visual {
				t.Errorf("%+v on %s: hydro %q, visual %q, expected %q, %q", c.events, c.on, got.Hydro, got.Visual, c.hydro, c.visual)
			}
			slices.Reverse(c.events) // the order in which they are listed says nothing
		}
	}
}

// T11: what counts before the first test.
func TestBaseBeforeTheFirstTest(t *testing.T) {
	exact := Regime{HydroMonths: 24, VisualMonths: 12, Count: CountExact, Base: BaseFirstService}
	c := Cylinder{Regime: exact, Made: enginetest.Mark("2024-01-10"), FirstService: enginetest.Mark("2024-06-17")}
	for _, want := range []struct {
		on, hydro string
		caution   []string
	}{
		{"2024-06-16", "2026-01-10", []string{FromManufacture}}, // not in service yet
		{"2024-06-17", "2026-06-17", nil},
	} {
		got := DueOn(c, enginetest.Day(want.on), rules)
		if got.Hydro.String() != want.hydro || !slices.Equal(got.Caution, want.caution) {
			t.Errorf("on %s: hydro to %s, %v, expected %s, %v", want.on, got.Hydro, got.Caution, want.hydro, want.caution)
		}
	}
	c.Events = []Event{{Type: EventHydro, Date: enginetest.Mark("2026-01-05")}} // after a test, from the test
	if got := DueOn(c, enginetest.Day("2026-02-01"), rules); got.Hydro.String() != "2028-01-05" {
		t.Errorf("tested early: hydro to %s", got.Hydro)
	}
	if got := DueOn(Cylinder{Regime: exact}, enginetest.Day("2026-02-01"), rules); got.Status != calendar.CannotTell || got.Next != nil {
		t.Errorf("no date at all: %+v", got)
	}
}

// T13: an uncounted hydro leaves an earlier one, or the manufacture, in force.
func TestHydroWithoutEddyCurrent(t *testing.T) {
	c := Cylinder{Regime: monthly(60, 12), Alloy: "6351", Events: []Event{
		{Type: EventHydro, Date: enginetest.Mark("2020-03"), Eddy: true}, {Type: EventHydro, Date: enginetest.Mark("2024-03")},
	}}
	got := DueOn(c, enginetest.Day("2024-09-01"), rules)
	if got.Hydro.String() != "2025-03-31" || got.Visual.String() != "2021-03-31" || !slices.Equal(got.Caution, []string{HydroNotCounted}) {
		t.Errorf("%+v", got)
	}
	if may := MayFill(Cylinder{Regime: monthly(60, 12), Alloy: "6351", Events: c.Events[1:]}, enginetest.Day("2024-09-01"), rules); may.Answer != CannotTell ||
		!slices.Equal(may.Why, []string{HydroUnknown, NoEddyCurrent, VisualUnknown}) {
		t.Errorf("%+v", may)
	}
	c.Alloy = "6061"
	if got := DueOn(c, enginetest.Day("2024-09-01"), rules); got.Hydro.String() != "2029-03-31" || len(got.Caution) != 0 {
		t.Errorf("another alloy: %+v", got)
	}
}

// T14: a known no beats cannot tell, and everything found is listed.
func TestFillListsEverything(t *testing.T) {
	c := tested(t, monthly(60, 30), "2021-05")
	c.Regime.AlloyRefusedFrom = map[string]calendar.Day{"x": enginetest.Day("2026-06-01")}
	c.Alloy = "x"
	c.Events = append(c.Events, Event{Type: EventDamage, ID: "d", Date: enginetest.Mark("2026-06")})
	got := MayFill(c, enginetest.Day("2026-06-02"), rules)
	if got.Answer != No || !slices.Equal(got.Why, []string{AlloyRefused, HydroOverdue, InspectionNeeded, VisualOverdue}) {
		t.Errorf("%+v", got)
	}
	empty := Cylinder{Regime: monthly(60, 30), Events: []Event{{Type: EventDamage, ID: "d", Date: enginetest.Mark("2026-05-31")}}}
	got = MayFill(empty, enginetest.Day("2026-06-02"), rules)
	if got.Answer != No || !slices.Equal(got.Why, []string{HydroUnknown, InspectionNeeded, VisualUnknown}) {
		t.Errorf("damaged and never tested: %+v", got)
	}
}

// T15: the fill is judged on its own day, and is not after the entry's day.
func TestUseAsksTheFill(t *testing.T) {
	c := Cylinder{Regime: monthly(60, 30), Events: []Event{{Type: EventHydro, Date: enginetest.Mark("2021-05")}, {Type: EventVisual, Date: enginetest.Mark("2025-02")}}}
	span := calendar.Days{First: enginetest.Day("2026-05-30"), Last: enginetest.Day("2026-05-31")}
	for _, want := range []struct {
		filled string
		answer Answer
		why    []string
	}{
		{"2026-05-30", Yes, []string{LastDay}},
		{"2026-05-31", No, []string{FilledOutOfDate}}, // after the entry's day
		{"2021-05-01", CannotTell, []string{HydroUnknown, VisualUnknown}},
	} {
		got := May(CylinderUse{Cylinder: c, Days: span, FilledOn: enginetest.Day(want.filled)}, rules).Use
		if got.Answer != want.answer || !slices.Equal(got.Why, want.why) {
			t.Errorf("filled on %s: %+v, expected %s %v", want.filled, got, want.answer, want.why)
		}
	}
	// A later inspection does not mend a fill made while the damage was open.
	c.Events = append(c.Events,
		Event{Type: EventDamage, ID: "d", Date: enginetest.Mark("2026-05-01")},
		Event{Type: EventVisual, Date: enginetest.Mark("2026-05-20"), Clears: "d"})
	got := May(CylinderUse{Cylinder: c, Days: span, FilledOn: enginetest.Day("2026-05-10")}, rules)
	if got.Use.Answer != No || got.Fill.Answer != Yes {
		t.Errorf("filled while damaged: %+v", got)
	}
}

// T16: full carriage past the date, where the table allows what was filled in date.
func TestCarryPastTheDate(t *testing.T) {
	no := false
	us := Regime{HydroMonths: 60, VisualMonths: 12, Count: CountMonth, Base: BaseMark, CarryPastDue: FilledInDate, VisualBindsCarriage: &no}
	c := tested(t, us, "2021-05") // hydro to 31 May 2026, the customary visual long over
	on := calendar.On(enginetest.Day("2026-06-02"))
	for filled, want := range map[string]Answer{"2026-05-31": Yes, "2026-06-01": No, "": CannotTell} {
		in := CylinderUse{Cylinder: c, Days: on}
		if filled != "" {
			in.FilledOn = enginetest.Day(filled)
		}
		if got := May(in, rules).Carry; got.Answer != want || !slices.Contains(got.Why, HydroOverdue) || slices.Contains(got.Why, VisualOverdue) {
			t.Errorf("filled on %q: %+v, expected %s", filled, got, want)
		}
	}
	silent := c
	silent.Regime.CarryPastDue = ""
	if got := May(CylinderUse{Cylinder: silent, Days: on, FilledOn: enginetest.Day("2026-05-20")}, rules).Carry; got.Answer != No {
		t.Errorf("a table that says nothing: %+v", got)
	}
	law := c
	law.Regime.VisualBindsCarriage = nil
	if got := May(CylinderUse{Cylinder: law, Days: calendar.On(enginetest.Day("2026-05-01")), FilledOn: enginetest.Day("2026-04-20")}, rules).Carry; got.Answer != No {
		t.Errorf("a visual that binds: %+v", got)
	}
}

// T18: the inspection names the event and is not dated before it.
func TestDamageUntilAnInspectionNamesIt(t *testing.T) {
	base := tested(t, monthly(60, 30), "2025-05")
	damage := Event{Type: EventDamage, ID: "d1", Date: enginetest.Mark("2026-06-10")}
	for _, c := range []struct {
		inspection Event
		on         string
		open       bool
	}{
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06-10"), Clears: "d1"}, "2026-06-10", false},
		{Event{Type: EventHydro, Date: enginetest.Mark("2026-06-12"), Clears: "d1"}, "2026-06-12", false},
		{Event{Type: EventHydro, Date: enginetest.Mark("2026-06-12"), Clears: "d1"}, "2026-06-11", true},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06-09"), Clears: "d1"}, "2026-06-12", true},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06-12"), Clears: "d2"}, "2026-06-12", true},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06")}, "2026-06-30", true},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06"), Clears: "d1"}, "2026-06-29", true},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06"), Clears: "d1"}, "2026-06-30", false},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06"), Recorded: enginetest.Day("2026-06-05"), Clears: "d1"}, "2026-06-30", true},
		{Event{Type: EventVisual, Date: enginetest.Mark("2026-06"), Recorded: enginetest.Day("2026-06-11"), Clears: "d1"}, "2026-06-11", false},
		{Event{Type: EventDamage, ID: "d1", Date: enginetest.Mark("2026-06-12"), Clears: "d1"}, "2026-06-12", true},
	} {
		cyl := base
		cyl.Events = append(slices.Clone(base.Events), damage, c.inspection)
		got := MayFill(cyl, enginetest.Day(c.on), rules)
		if open := slices.Contains(got.Why, InspectionNeeded); open != c.open {
			t.Errorf("%+v on %s: open %v, expected %v", c.inspection, c.on, open, c.open)
		}
	}
	nameless := base
	nameless.Events = append(slices.Clone(base.Events), Event{Type: EventDamage, Date: enginetest.Mark("2026-06-10")}, Event{Type: EventVisual, Date: enginetest.Mark("2026-06-12")})
	if got := MayFill(nameless, enginetest.Day("2026-07-01"), rules); got.Answer != No {
		t.Errorf("damage without a name cannot be cleared by an inspection without one: %+v", got)
	}
}

// T13: ten per cent over, floored, only while everything stands.
func TestPlus(t *testing.T) {
	c := tested(t, monthly(60, 60), "2024-05")
	c.Spec, c.Events[0].Plus = "3A", true
	on := enginetest.Day("2026-06-01")
	if got := PlusRating(c, on, 2015, true, rules); got.MaxPsi != 2216 || got.Fill != Yes { // 2216.5
		t.Errorf("%+v", got)
	}
	if got := PlusRating(c, on, 2015, false, rules); got.MaxPsi != 2015 || !slices.Equal(got.Why, []string{DiscNotRecorded}) {
		t.Errorf("no disc: %+v", got)
	}
	c.Events = append(c.Events, Event{Type: EventHydro, Date: enginetest.Mark("2024-05")})
	if got := PlusRating(c, on, 2015, true, rules); got.MaxPsi != 2015 || !slices.Equal(got.Why, []string{NoPlus}) {
		t.Errorf("two tests of one month, one without the plus: %+v", got)
	}
	if got := PlusRating(Cylinder{Regime: monthly(60, 60), Spec: "3A", MadePlus: true}, on, 2015, true, rules); got.MaxPsi != 0 || got.Fill != CannotTell {
		t.Errorf("never tested: %+v", got)
	}
}

// T17 and T19.
func TestExpeditionAndSet(t *testing.T) {
	c := tested(t, monthly(60, 60), "2021-05")
	if got := DuringExpedition(c, calendar.Days{First: enginetest.Day("2026-05-31"), Last: enginetest.Day("2026-06-01")}, rules); got.Verdict != WarnCrossing || got.NoFillFrom.String() != "2026-06-01" {
		t.Errorf("%+v", got)
	}
	if got := DuringExpedition(Cylinder{Regime: monthly(60, 60)}, calendar.On(enginetest.Day("2026-05-31")), rules); got.Verdict != "cannot_tell" || len(got.Why) == 0 {
		t.Errorf("%+v", got)
	}
	set := SetDueOn([]Cylinder{c, c, tested(t, monthly(60, 60), "2021-06")}, enginetest.Day("2026-04-01"), rules)
	if set.Member != 0 || set.Status != calendar.Due || set.LastDay.String() != "2026-05-31" {
		t.Errorf("%+v", set)
	}
	if got := SetDueOn(nil, enginetest.Day("2026-04-01"), rules); got.Status != calendar.CannotTell || got.Member != -1 {
		t.Errorf("a set of none: %+v", got)
	}
}

// T20 and T21.
func TestKit(t *testing.T) {
	rule := KitRule{Months: map[string]int{"burn": 6, "battery": 36}}
	done := map[string]calendar.Mark{"burn": enginetest.Mark("2025-08-31"), "battery": enginetest.Mark("2022-11")}
	got := KitDueOn(KitItem{Clocks: done}, rule, enginetest.Day("2025-11-30"), 60)
	if got.LastDay.String() != "2025-11-30" || got.Clock != "battery" || got.Status != calendar.Due || !slices.Equal(got.Caution, []string{MonthEndTaken}) {
		t.Errorf("%+v", got)
	}
	if got := KitDueOn(KitItem{Clocks: done}, rule, enginetest.Day("2025-08-30"), 60); got.Status != calendar.CannotTell {
		t.Errorf("the day before the burn test: %+v", got)
	}
	if got := KitDueOn(KitItem{Clocks: done}, KitRule{}, enginetest.Day("2025-08-30"), 60); got.Status != calendar.CannotTell {
		t.Errorf("an item without a rule: %+v", got)
	}
	limited := KitRule{Months: map[string]int{"service": 12}, DiveLimit: 100}
	service := map[string]calendar.Mark{"service": enginetest.Mark("2026-01-15")}
	if got := KitDueOn(KitItem{Clocks: service}, limited, enginetest.Day("2026-02-01"), 60); got.Status != calendar.CannotTell {
		t.Errorf("dives not counted: %+v", got)
	}
	n := 120
	if got := KitDueOn(KitItem{Clocks: service, DivesSince: &n}, limited, enginetest.Day("2027-02-01"), 60); got.Clock != ClockDives || *got.DivesLeft != 0 || !got.LastDay.IsZero() {
		t.Errorf("120 dives: %+v", got)
	}
	trip := calendar.Days{First: enginetest.Day("2026-06-01"), Last: enginetest.Day("2026-06-10")}
	for checked, want := range map[string]bool{"2026-05-31": false, "2026-06-01": true, "2026-06-05": true, "2026-06-06": false} {
		if got := TripCheckCounts(enginetest.Day(checked), trip, enginetest.Day("2026-06-05")); got != want {
			t.Errorf("checked on %s: %v", checked, got)
		}
	}
}

func TestCells(t *testing.T) {
	r := CellRules{MonthsFromManufacture: 18, MonthsFromFitting: 12, DueWithinDays: 60}
	for _, c := range []struct{ made, fitted, on, want, clock string }{
		{"2025-03-02", "2025-09-29", "2026-01-01", "2026-09-29", ClockFitting},
		{"2025-03-02", "2025-10-01", "2026-01-01", "2026-09-30", ClockManufacture},
		{"2025-03-02", "2025-03", "2026-01-01", "2026-03-31", ClockFitting},
		{"2025-03-02", "2025-04-10", "2025-04-09", "2026-09-30", ClockManufacture}, // not fitted yet
	} {
		got := CellDueOn(enginetest.Mark(c.made), enginetest.Mark(c.fitted), enginetest.Day(c.on), r)
		if got.LastDay.String() != c.want || got.Clock != c.clock {
			t.Errorf("%+v: %+v", c, got)
		}
	}
}

// T43.
func TestLights(t *testing.T) {
	r := LightRules{PrimaryFactor: 1.5, BackupFactor: 1}
	for runtime, want := range map[float64]LightMinutes{95: {143, 95} /* handbook P16 */, 90: {135, 90}, 90.1: {136, 91}, 100: {150, 100}} {
		if got := LightsFor(runtime, r); got != want {
			t.Errorf("%g minutes: %+v", runtime, got)
		}
	}
	if got := LightsFor(100, LightRules{PrimaryFactor: 1.1, BackupFactor: 1}); got.PrimaryMin != 110 {
		t.Errorf("1.1 times 100 minutes is %d", got.PrimaryMin)
	}
}

// Practice P20: exam 10 March 2023, born 20 September 1985. Lenient: 60 months, 10
// March 2028. Strict: the interval shrinks to 36 months at 40, 10 March 2026.
func TestPracticeP20(t *testing.T) {
	forty, sixty := 40, 60
	r := MedicalRules{Bands: []AgeBand{{&forty, 60}, {&sixty, 36}, {nil, 24}}}
	m := Medical{Exam: enginetest.Day("2023-03-10"), Born: enginetest.Day("1985-09-20")}
	if got := MedicalReach(m, r); got.ExamDue != enginetest.Day("2026-03-10") || got.Rule != "shrinks_at_40" {
		t.Errorf("strict: %+v", got)
	}
	r.Lenient = true
	if got := MedicalReach(m, r); got.ExamDue != enginetest.Day("2028-03-10") || got.Rule != IntervalAtExam {
		t.Errorf("lenient: %+v", got)
	}
}

// T22: what suspends, what ends, and in which order it is told.
func TestMedical(t *testing.T) {
	forty, sixty := 40, 60
	r := MedicalRules{Bands: []AgeBand{{&forty, 60}, {&sixty, 36}, {nil, 24}}, DeclarationMonths: 12}
	good := Medical{Exam: enginetest.Day("2026-02-01"), Born: enginetest.Day("1990-05-05")}
	at := func(text string) calendar.Instant {
		i, err := calendar.ParseInstant(text)
		if err != nil {
			t.Fatal(err)
		}
		return i
	}
	for name, c := range map[string]struct {
		change      func(*Medical)
		declaration bool
		on          string
		entry       calendar.Instant
		want        string
	}{
		"day before":          {func(*Medical) {}, false, "2026-01-31", calendar.Instant{}, MedicalNotYet},
		"its day":             {func(*Medical) {}, false, "2026-02-01", calendar.Instant{}, MedicalValid},
		"no exam":             {func(m *Medical) { m.Exam = calendar.Day{} }, false, "2026-02-01", calendar.Instant{}, "cannot_tell"},
		"no birth":            {func(m *Medical) { m.Born = calendar.Day{} }, false, "2026-02-01", calendar.Instant{}, "cannot_tell"},
		"declared later":      {func(m *Medical) { m.Declared = enginetest.Day("2026-06-02") }, true, "2026-06-01", calendar.Instant{}, "cannot_tell"},
		"declared":            {func(m *Medical) { m.Declared = enginetest.Day("2026-06-01") }, true, "2026-06-01", calendar.Instant{}, MedicalValid},
		"over, undeclared":    {func(*Medical) {}, true, "2040-01-01", calendar.Instant{}, MedicalEnded},
		"day before accident": {func(m *Medical) { m.Accident = enginetest.Day("2026-06-10") }, false, "2026-06-09", calendar.Instant{}, MedicalValid},
		"accident and over":   {func(m *Medical) { m.Accident = enginetest.Day("2026-06-10") }, false, "2040-01-01", calendar.Instant{}, MedicalSuspended},
		"cleared before it":   {func(m *Medical) { m.Accident, m.Cleared = enginetest.Day("2026-06-10"), enginetest.Day("2026-06-09") }, false, "2026-06-20", calendar.Instant{}, MedicalSuspended},
		"cleared tomorrow":    {func(m *Medical) { m.Accident, m.Cleared = enginetest.Day("2026-06-10"), enginetest.Day("2026-06-21") }, false, "2026-06-20", calendar.Instant{}, MedicalSuspended},
		"cleared after entry": {func(m *Medical) {
			m.Accident, m.Cleared, m.ClearedAt = enginetest.Day("2026-06-10"), enginetest.Day("2026-06-20"), at("2026-06-20T10:01Z")
		}, false, "2026-06-20", at("2026-06-20T10:00Z"), MedicalSuspended},
		"cleared at the entry": {func(m *Medical) {
			m.Accident, m.Cleared, m.ClearedAt = enginetest.Day("2026-06-10"), enginetest.Day("2026-06-20"), at("2026-06-20T10:00Z")
		}, false, "2026-06-20", at("2026-06-20T10:00Z"), MedicalValid},
	} {
		m := good
		c.change(&m)
		r.DeclarationRequired = c.declaration
		if got := MedicalOn(m, calendar.On(enginetest.Day(c.on)), c.entry, r); got.Verdict != c.want {
			t.Errorf("%s: %+v, expected %s", name, got, c.want)
		}
	}
	// Over midnight: declared on the second day, the first has no declaration.
	m := good
	m.Declared, r.DeclarationRequired = enginetest.Day("2026-06-02"), true
	if got := MedicalOn(m, calendar.Days{First: enginetest.Day("2026-06-01"), Last: enginetest.Day("2026-06-02")}, calendar.Instant{}, r); got.Verdict != "cannot_tell" {
		t.Errorf("declared after the first day: %+v", got)
	}
}
