package analysis

import (
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
)

// The rules are the method handbook's, "Dates and deadlines", T29 and T30; its own
// rows run through the table reader. These are the boundaries beside them.

func fixed(t *testing.T, offset int) calendar.Zone {
	return calendar.Zone{Name: "fixed", Version: "test", From: enginetest.At("2026-01-01T00:00Z"), Until: enginetest.At("2027-01-01T00:00Z"), Base: offset}
}

func TestHolds(t *testing.T) {
	kathmandu, newfoundland := fixed(t, 345), fixed(t, -150)
	base := Question{AnalysedAt: enginetest.At("2026-06-01T12:00Z"), HoldsDays: 14}
	for name, c := range map[string]struct {
		entry, out string
		events     []Event
		zones      []calendar.Zone
		why        []string
	}{
		"23:59 of the 15th, east":  {"2026-06-15T17:00Z", "2026-06-15T18:14Z", nil, []calendar.Zone{kathmandu}, nil},
		"00:00 of the 16th, east":  {"2026-06-15T17:00Z", "2026-06-15T18:15Z", nil, []calendar.Zone{kathmandu}, []string{"older_than_14_days"}},
		"23:59 of the 15th, west":  {"2026-06-16T01:00Z", "2026-06-16T02:29Z", nil, []calendar.Zone{newfoundland}, nil},
		"00:00 of the 16th, west":  {"2026-06-16T01:00Z", "2026-06-16T02:30Z", nil, []calendar.Zone{newfoundland}, []string{"older_than_14_days"}},
		"both zones":               {"2026-06-15T17:00Z", "2026-06-15T18:15Z", nil, []calendar.Zone{newfoundland, kathmandu}, []string{"older_than_14_days"}},
		"at the entry":             {"2026-06-01T12:00Z", "2026-06-01T13:00Z", nil, []calendar.Zone{kathmandu}, nil},
		"a minute after the entry": {"2026-06-01T11:59Z", "2026-06-01T13:00Z", nil, []calendar.Zone{kathmandu}, []string{AnalysedAfterEntry}},
		"valve removed":            {"2026-06-02T12:00Z", "2026-06-02T13:00Z", []Event{{ValveRemoved, enginetest.At("2026-06-01T12:01Z")}}, []calendar.Zone{kathmandu}, []string{"ended_by_valve_removal"}},
		"the first of two": {"2026-06-02T12:00Z", "2026-06-02T13:00Z", []Event{
			{Fill, enginetest.At("2026-06-02T10:00Z")}, {CustodyBreak, enginetest.At("2026-06-01T14:00Z")},
		}, []calendar.Zone{kathmandu}, []string{"ended_by_custody_break"}},
		"filled after the dive": {"2026-06-02T12:00Z", "2026-06-02T13:00Z", []Event{{Fill, enginetest.At("2026-06-02T13:01Z")}}, []calendar.Zone{kathmandu}, nil},
		"old and topped up":     {"2026-06-20T12:00Z", "2026-06-20T13:00Z", []Event{{TopUp, enginetest.At("2026-06-02T13:01Z")}}, []calendar.Zone{kathmandu}, []string{"ended_by_top_up", "older_than_14_days"}},
		"an unknown event ends": {"2026-06-02T12:00Z", "2026-06-02T13:00Z", []Event{{"dropped", enginetest.At("2026-06-02T10:00Z")}}, []calendar.Zone{kathmandu}, []string{"ended_by_dropped"}},
	} {
		q := base
		q.Dive, q.Events = calendar.Span{Entry: enginetest.At(c.entry), Out: enginetest.At(c.out)}, c.events
		got, err := Judge(q, c.zones...)
		if err != nil || !slices.Equal(got.Why, append([]string{}, c.why...)) || (got.Verdict == Passes) != (len(c.why) == 0) {
			t.Errorf("%s: %+v, %v, expected %v", name, got, err, c.why)
		}
	}
	none := base
	none.AnalysedAt = calendar.Instant{}
	if got, err := Judge(none, kathmandu); err != nil || got.Verdict != Blocked || !slices.Equal(got.Why, []string{NotAnalysed}) {
		t.Errorf("never analysed: %+v, %v", got, err)
	}
	if _, err := Judge(base, kathmandu); err == nil {
		t.Error("an analysis is judged without a dive")
	}
	base.Dive = calendar.Span{Entry: enginetest.At("2026-06-02T12:00Z"), Out: enginetest.At("2026-06-02T13:00Z")}
	if _, err := Judge(base); err == nil {
		t.Error("an analysis is judged without a zone")
	}
}

func decimal(t *testing.T, text string) Decimal {
	t.Helper()
	d, err := ParseDecimal(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// T30: tolerances are compared on the typed decimals, equality passes; the
// floored MOD blocks.
func TestLabel(t *testing.T) {
	rules := LabelRules{OxygenTolerance: decimal(t, "1.0"), HeliumTolerance: decimal(t, "2.0"), HypoxicBar: decimal(t, "0.18")}
	for _, c := range []struct {
		planO2, planHe, o2, he, max, depth string
		mod, shallowest                    int
		verdict                            string
		why                                []string
	}{
		{"32", "0", "31", "0", "1.4", "35", 35, 0, Accept, nil},
		{"32", "0", "30.9", "0", "1.4", "35", 35, 0, RePlan, []string{OxygenOff}},
		{"0.3", "0", "1.3", "0", "1.4", "", 1066, 129, Accept, nil}, // 1.3 − 0.3 is not 1 in binary
		{"18", "45", "18", "47.1", "1.4", "", 67, 0, RePlan, []string{HeliumOff}},
		{"18", "45", "19.1", "47.1", "1.4", "70", 63, 0, Blocked, []string{OxygenOff, HeliumOff, DeeperThanMOD}},
		{"32", "0", "33", "0", "1.4", "32", 32, 0, Accept, nil},
		{"32", "0", "33", "0", "1.4", "32.1", 32, 0, Blocked, []string{DeeperThanMOD}}, // exact 32.42, the MOD is 32
		{"28", "0", "28", "0", "1.4", "40", 40, 0, Accept, nil},                        // exactly 40
		{"17.9", "0", "17.9", "0", "1.4", "", 68, 1, Accept, nil},
		{"100", "0", "100", "0", "1.6", "6", 6, 0, Accept, nil},
		{"100", "0", "100", "0", "0.9", "0", -1, 0, Blocked, []string{DeeperThanMOD}},
	} {
		l := Label{
			PlanOxygen: decimal(t, c.planO2), PlanHelium: decimal(t, c.planHe), MeasuredOxygen: decimal(t, c.o2), MeasuredHelium: decimal(t, c.he),
			MaxOxygenBar: decimal(t, c.max),
		}
		if c.depth != "" {
			d := decimal(t, c.depth)
			l.PlanDepthM = &d
		}
		got, err := JudgeLabel(l, rules)
		if err != nil || got.MODM != c.mod || got.ShallowestM != c.shallowest || got.Verdict != c.verdict || !slices.Equal(got.Why, append([]string{}, c.why...)) {
			t.Errorf("%+v: %+v, %v", c, got, err)
		}
	}
	for _, bad := range [][2]string{{"0", "0"}, {"-1", "0"}, {"20", "-1"}, {"60", "40.1"}, {"100.1", "0"}} {
		if got, err := JudgeLabel(Label{MeasuredOxygen: decimal(t, bad[0]), MeasuredHelium: decimal(t, bad[1])}, rules); err == nil {
			t.Errorf("oxygen %s and helium %s: %+v", bad[0], bad[1], got)
		}
	}
}

func TestDecimal(t *testing.T) {
	for text, want := range map[string]string{"32": "32", "32.0": "32", "0.000001": "0.000001", "-1.5": "-1.5", "999999.999999": "999999.999999"} {
		if got := decimal(t, text).String(); got != want {
			t.Errorf("%q is %s", text, got)
		}
	}
	for _, bad := range []string{"", ".", "1.", ".5", "1e3", "+1", "1,5", "NaN", "1234567", "0.1234567", "--1", "1.-5", " 1", "0x1"} {
		if got, err := ParseDecimal(bad); err == nil {
			t.Errorf("%q is read as %s", bad, got)
		}
	}
	if got, err := FromFloat(32.4); err != nil || got != decimal(t, "32.4") {
		t.Errorf("32.4 is %s, %v", got, err)
	}
}
