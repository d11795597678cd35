package watch

import (
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
)

// The rules are the method handbook's, "Dates and deadlines"; its own rows run
// through the table reader. These are the boundaries beside them.

var rules = Rules{RoundToMin: 5, GraceShare: 0.5, GraceMin: 60, GraceMax: 90, GasFloorMin: 20, LookShare: 0.25, CoordinatorShare: 0.5}

// Clock changes as the IANA zone data (2025b) has them.
func zone(t *testing.T, name string) calendar.Zone {
	t.Helper()
	change := func(at string, offset int) calendar.Change {
		return calendar.Change{At: enginetest.At(at), Offset: offset}
	}
	z := calendar.Zone{Name: name, Version: "2025b", From: enginetest.At("2025-12-01T00:00Z"), Until: enginetest.At("2027-02-01T00:00Z")}
	switch name {
	case "Europe/Berlin":
		z.Base, z.Changes = 60, []calendar.Change{change("2026-03-29T01:00Z", 120), change("2026-10-25T01:00Z", 60)}
	case "Asia/Kathmandu":
		z.Base = 345
	case "America/St_Johns":
		z.Base, z.Changes = -210, []calendar.Change{change("2026-03-08T05:30Z", -150), change("2026-11-01T04:30Z", -210)}
	default:
		t.Fatalf("no zone %s here", name)
	}
	return z
}

// Practice P17: in at 10:20, runtime 95 min: ETO 11:55, check 12:10, coordinator 12:25, call
// 12:55, the grace being the greater of 60 and 47.5 min.
func TestPracticeP17(t *testing.T) {
	got, err := Plan(Question{Entry: enginetest.At("2026-06-14T10:20+02:00"), RuntimeMin: 95, GasLeftMin: []float64{200}}, rules, zone(t, "Europe/Berlin"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what string
		at   calendar.Instant
		want string
	}{{"ETO", got.ETO, "11:55"}, {"look", got.Look, "12:10"}, {"coordinator", got.Coordinator, "12:25"}, {"dial", got.Dial, "12:55"}} {
		if c.at != enginetest.At("2026-06-14T"+c.want+"+02:00") {
			t.Errorf("%s at %v, want %s", c.what, c.at, c.want)
		}
	}
}

// T36 and T37: fractions of a minute, the gas clause, the walk.
func TestWatch(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	walk := func(x float64) *float64 { return &x }
	for name, c := range map[string]struct {
		zone                         calendar.Zone
		q                            Question
		eto, look, coordinator, dial string
		clause                       GasClause
		tooLate                      bool
	}{
		"a fraction over":      {berlin, Question{RuntimeMin: 100.01}, "12:05", "12:20", "12:35", "13:05", GasUnknown, false},
		"just five":            {berlin, Question{RuntimeMin: 100}, "12:00", "12:15", "12:30", "13:00", GasUnknown, false},
		"gas just above":       {berlin, Question{RuntimeMin: 100, GasLeftMin: []float64{60.5}}, "12:00", "12:15", "12:30", "13:00", GasNotBinding, false},
		"gas just below":       {berlin, Question{RuntimeMin: 100, GasLeftMin: []float64{59.9, 80}}, "12:00", "12:14", "12:29", "12:59", GasBinding, false},
		"gas for 20":           {berlin, Question{RuntimeMin: 100, GasLeftMin: []float64{20}}, "12:00", "12:05", "12:10", "12:20", GasBinding, false},
		"gas for less than 20": {berlin, Question{RuntimeMin: 100, GasLeftMin: []float64{19.9}}, "12:00", "12:05", "12:10", "12:20", GasBinding, true},
		"no gas":               {berlin, Question{RuntimeMin: 100, GasLeftMin: []float64{0}}, "12:00", "12:05", "12:10", "12:20", GasBinding, true},
		"grace of 89.5":        {berlin, Question{RuntimeMin: 179}, "13:20", "13:42", "14:04", "14:49", GasUnknown, false},
		"quarter hours":        {zone(t, "Asia/Kathmandu"), Question{RuntimeMin: 61}, "15:10", "15:25", "15:40", "16:10", GasUnknown, false},
	} {
		c.q.Entry = enginetest.At("2026-06-08T08:20Z")
		got, err := Plan(c.q, rules, c.zone)
		if err != nil {
			t.Fatal(err)
		}
		for what, pair := range map[string][2]string{
			"eto": {clock(t, c.zone, got.ETO), c.eto}, "look": {clock(t, c.zone, got.Look), c.look},
			"coordinator": {clock(t, c.zone, got.Coordinator), c.coordinator}, "dial": {clock(t, c.zone, got.Dial), c.dial},
			"gas clause": {string(got.GasClause), string(c.clause)},
		} {
			if pair[0] != pair[1] {
				t.Errorf("%s: %s is %s, expected %s", name, what, pair[0], pair[1])
			}
		}
		if got.CannotHelpInTime != c.tooLate {
			t.Errorf("%s: cannot help in time %v", name, got.CannotHelpInTime)
		}
	}
	for minutes, enough := range map[float64]bool{15: true, 15.01: false} { // look 12:15, coordinator 12:30
		got, err := Plan(Question{Entry: enginetest.At("2026-06-08T08:20Z"), RuntimeMin: 100, WalkMin: walk(minutes)}, rules, berlin)
		if err != nil || *got.OnePersonEnough != enough {
			t.Errorf("a walk of %g min: one person enough %v, %v", minutes, *got.OnePersonEnough, err)
		}
	}
	if _, err := Plan(Question{Entry: enginetest.At("2027-01-31T23:00Z"), RuntimeMin: 100}, rules, berlin); err == nil {
		t.Error("a watch beyond what the zone knows")
	}
}

func clock(t *testing.T, z calendar.Zone, at calendar.Instant) string {
	t.Helper()
	s, err := z.Format(at)
	if err != nil {
		t.Fatal(err)
	}
	return s[11:16]
}

// T34.
func TestOverlap(t *testing.T) {
	base := Duty{Plan: "p1", Role: RoleDiver, State: StateApproved, Entry: enginetest.At("2026-06-08T09:00Z"), Out: enginetest.At("2026-06-08T11:00Z"), Dial: enginetest.At("2026-06-08T12:00Z")}
	other := Duty{Plan: "p2", Role: RoleDiver, State: StateApproved, Entry: enginetest.At("2026-06-08T11:30Z"), Out: enginetest.At("2026-06-08T13:00Z"), Dial: enginetest.At("2026-06-08T14:00Z")}
	for name, c := range map[string]struct {
		change func(a, b *Duty)
		buffer int
		want   bool
	}{
		"apart":                       {func(a, b *Duty) {}, 0, false},
		"buffer short of it":          {func(a, b *Duty) {}, 29, false},
		"buffer to the minute":        {func(a, b *Duty) {}, 30, true},
		"cover":                       {func(a, b *Duty) { a.Role = RoleCover }, 0, true},
		"cover with cover":            {func(a, b *Duty) { a.Role, b.Role = RoleCover, RoleCover }, 0, true},
		"cover of a refused plan":     {func(a, b *Duty) { a.Role, a.State = RoleCover, "refused" }, 0, false},
		"submitted":                   {func(a, b *Duty) { b.Entry, b.State = a.Entry, "submitted" }, 0, false},
		"stale both":                  {func(a, b *Duty) { b.Entry, a.State, b.State = a.Out, StateStale, StateStale }, 0, true},
		"in water, days later":        {func(a, b *Duty) { a.State = StateInWater; b.Entry, b.Out = b.Entry.Add(9999), b.Out.Add(9999) }, 0, true},
		"in water, earlier":           {func(a, b *Duty) { b.State = StateInWater; a.Out = enginetest.At("2026-06-08T11:29Z") }, 0, false},
		"this diver seen out":         {func(a, b *Duty) { a.State, a.SeenOut = StateInWater, enginetest.At("2026-06-08T11:29Z") }, 0, false},
		"seen out in the same minute": {func(a, b *Duty) { a.State, a.SeenOut = StateInWater, b.Entry }, 0, true},
		"cover, not all seen out": {func(a, b *Duty) {
			a.Role, a.State, a.SeenOut = RoleCover, StateInWater, enginetest.At("2026-06-08T10:00Z")
		}, 0, true},
		"cover, all seen out": {func(a, b *Duty) {
			a.Role, a.State, a.SeenOut, a.AllSeenOut = RoleCover, StateInWater, enginetest.At("2026-06-08T10:00Z"), true
		}, 0, false},
		"cylinder, not all seen out": {func(a, b *Duty) {
			a.Role, b.Role, a.State, a.SeenOut = RoleCylinder, RoleCylinder, StateInWater, a.Entry
		}, 0, true},
		"standby without a dial time": {func(a, b *Duty) { a.Role, a.Dial = RoleStandby, calendar.Instant{} }, 0, true},
		"seen out late": {func(a, b *Duty) {
			a.State, a.AllSeenOut, a.SeenOut = StateInWater, true, enginetest.At("2026-06-08T11:45Z")
		}, 0, true},
	} {
		a, b := base, other
		c.change(&a, &b)
		if got := Conflict(a, b, c.buffer); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
		if got := Conflict(b, a, c.buffer); got != c.want {
			t.Errorf("%s, the other way round: %v", name, got)
		}
	}
}

// T35.
func TestPermit(t *testing.T) {
	june := func(start, end int) *Permit {
		return &Permit{From: enginetest.Day("2026-06-01"), To: enginetest.Day("2026-06-14"), Daily: &Daily{Start: start, End: end}}
	}
	const night, morning = 22 * 60, 150
	for name, c := range map[string]struct {
		entry, out string
		permit     *Permit
		zone       string
		why        []string
	}{
		"whole nights":                      {"2026-06-01T23:00+02:00", "2026-06-02T02:30+02:00", june(night, morning), "Europe/Berlin", nil},
		"a minute over":                     {"2026-06-01T23:00+02:00", "2026-06-02T02:31+02:00", june(night, morning), "Europe/Berlin", []string{OutsideHours}},
		"before the first window":           {"2026-06-01T00:30+02:00", "2026-06-01T01:30+02:00", june(night, morning), "Europe/Berlin", []string{OutsideHours}},
		"last night runs out of the permit": {"2026-06-14T23:00+02:00", "2026-06-15T00:30+02:00", june(night, morning), "Europe/Berlin", []string{OutsideDates}},
		"last night until midnight":         {"2026-06-14T22:00+02:00", "2026-06-14T23:59+02:00", june(night, morning), "Europe/Berlin", nil},
		"outside both":                      {"2026-06-20T12:00+02:00", "2026-06-20T13:00+02:00", june(night, morning), "Europe/Berlin", []string{OutsideDates, OutsideHours}},
		"all day":                           {"2026-06-01T23:00+02:00", "2026-06-02T00:30+02:00", june(0, 24*60), "Europe/Berlin", nil},
		"all day, to the minute before":     {"2026-06-01T23:00+02:00", "2026-06-02T00:30+02:00", june(0, 24*60-1), "Europe/Berlin", []string{OutsideHours}},
		"round the clock":                   {"2026-06-02T07:00+02:00", "2026-06-02T09:00+02:00", june(8*60, 8*60), "Europe/Berlin", nil},
		"half hours east":                   {"2026-06-02T08:00+05:45", "2026-06-02T18:00+05:45", june(8*60, 18*60), "Asia/Kathmandu", nil},
		"half hours west":                   {"2026-06-02T08:00-02:30", "2026-06-02T18:01-02:30", june(8*60, 18*60), "America/St_Johns", []string{OutsideHours}},
		"before it opens":                   {"2026-06-02T07:59+02:00", "2026-06-02T10:00+02:00", june(8*60, 18*60), "Europe/Berlin", []string{OutsideHours}},
		"between two windows":               {"2026-06-02T17:00+02:00", "2026-06-03T09:00+02:00", june(8*60, 18*60), "Europe/Berlin", []string{OutsideHours}},
		"from here on":                      {"2026-08-02T17:00+02:00", "2026-08-03T09:00+02:00", &Permit{From: enginetest.Day("2026-06-01")}, "Europe/Berlin", nil},
		"a permit is not needed":            {"2026-06-20T12:00+02:00", "2026-06-20T13:00+02:00", nil, "Europe/Berlin", nil},
		"swallowed by the change":           {"2026-03-29T03:00+02:00", "2026-03-29T03:10+02:00", &Permit{From: enginetest.Day("2026-03-01"), To: enginetest.Day("2026-03-31"), Daily: &Daily{130, 170}}, "Europe/Berlin", []string{OutsideHours}},
	} {
		got, err := JudgeAccess(calendar.Span{Entry: enginetest.At(c.entry), Out: enginetest.At(c.out)}, c.permit, nil, zone(t, c.zone))
		if err != nil || !slices.Equal(got.Why, append([]string{}, c.why...)) || (got.Verdict == Passes) != (len(c.why) == 0) {
			t.Errorf("%s: %+v, %v, expected %v", name, got, err, c.why)
		}
	}
}

func TestClosures(t *testing.T) {
	dive := calendar.Span{Entry: enginetest.At("2026-06-10T10:00+02:00"), Out: enginetest.At("2026-06-10T12:00+02:00")}
	for name, c := range map[string]struct {
		closure Closure
		closed  bool
	}{
		"ends as the dive begins": {Closure{From: enginetest.At("2026-06-10T08:00+02:00"), To: enginetest.At("2026-06-10T10:00+02:00")}, true},
		"ends a minute before":    {Closure{From: enginetest.At("2026-06-10T08:00+02:00"), To: enginetest.At("2026-06-10T09:59+02:00")}, false},
		"from the last minute on": {Closure{From: enginetest.At("2026-06-10T12:00+02:00")}, true},
		"until then":              {Closure{To: enginetest.At("2026-06-10T09:59+02:00")}, false},
		"the day":                 {Closure{FromDay: enginetest.Day("2026-06-10"), ToDay: enginetest.Day("2026-06-10")}, true},
		"the day before":          {Closure{FromDay: enginetest.Day("2026-06-01"), ToDay: enginetest.Day("2026-06-09")}, false},
		"from the next day on":    {Closure{FromDay: enginetest.Day("2026-06-11")}, false},
		"from long ago":           {Closure{FromDay: enginetest.Day("2026-01-01")}, true},
		"a closure of nothing":    {Closure{}, false},
	} {
		got, err := JudgeAccess(dive, nil, []Closure{c.closure}, zone(t, "Europe/Berlin"))
		if err != nil || (got.Verdict == Refused) != c.closed || slices.Contains(got.Why, Closed) != c.closed {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	if _, err := JudgeAccess(dive, nil, nil); err == nil {
		t.Error("a dive without a zone is judged")
	}
}

// T33.
func TestReading(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	readings := []Reading{
		{enginetest.At("2026-06-08T10:00+02:00"), "low"},
		{enginetest.At("2026-06-08T00:00+02:00"), "moderate"},
		{enginetest.At("2026-06-08T10:00+02:00"), "high"},
		{enginetest.At("2026-06-07T23:59+02:00"), "flood"},
	}
	for entry, want := range map[string]int{
		"2026-06-08T10:00+02:00": 2, "2026-06-08T09:59+02:00": 1, "2026-06-08T00:00+02:00": 1, "2026-06-07T23:59+02:00": 3,
		"2026-06-07T23:58+02:00": -1, "2026-06-09T00:00+02:00": -1,
	} {
		got, err := ReadingFor(readings, enginetest.At(entry), berlin)
		if err != nil || got.Index != want || (got.Verdict == Known) != (want >= 0) {
			t.Errorf("entry %s: %+v, %v, expected %d", entry, got, err, want)
		}
	}
}

// T31 and T32.
func TestVerificationAndFarOpening(t *testing.T) {
	berlin := zone(t, "Europe/Berlin")
	good := Verification{
		VerifiedAt: []calendar.Instant{enginetest.At("2026-06-01T14:00+02:00")}, ReliedUntil: enginetest.At("2026-06-08T14:00+02:00"),
		Entry: enginetest.At("2026-06-08T13:00+02:00"), ClassThen: "low", HoldsForMin: 168 * 60,
		Readings: []Reading{{enginetest.At("2026-06-08T08:00+02:00"), "low"}},
	}
	for name, c := range map[string]struct {
		change func(*Verification)
		want   string
	}{
		"to the minute":               {func(*Verification) {}, Counts},
		"nothing on record":           {func(v *Verification) { v.VerifiedAt = nil }, CannotTell},
		"a minute not on record":      {func(v *Verification) { v.VerifiedAt = append(v.VerifiedAt, calendar.Instant{}) }, CannotTell},
		"verified after the entry":    {func(v *Verification) { v.VerifiedAt = []calendar.Instant{v.Entry.Add(1)} }, CannotTell},
		"class of then unknown":       {func(v *Verification) { v.ClassThen = "" }, CannotTell},
		"no reading":                  {func(v *Verification) { v.Readings = nil }, CannotTell},
		"expired and no reading":      {func(v *Verification) { v.Readings, v.ReliedUntil = nil, v.ReliedUntil.Add(1) }, Expired},
		"expired and other flow":      {func(v *Verification) { v.ClassThen, v.ReliedUntil = "high", v.ReliedUntil.Add(1) }, Expired},
		"less flow than then as well": {func(v *Verification) { v.ClassThen = "high" }, ConditionsDiffer},
	} {
		v := good
		c.change(&v)
		if got, err := JudgeVerification(v, berlin); err != nil || got.Verdict != c.want {
			t.Errorf("%s: %+v, %v, expected %s", name, got, err, c.want)
		}
	}
	dive := calendar.Span{Entry: enginetest.At("2026-06-07T10:30Z"), Out: enginetest.At("2026-06-07T12:00Z")}
	for seen, want := range map[string]string{"2026-06-05T12:00Z": Passes, "2026-06-05T11:59Z": CannotTell, "2026-06-07T10:31Z": CannotTell} {
		if got := JudgeFarOpening(enginetest.At(seen), dive, 48*60); got.Verdict != want {
			t.Errorf("seen open %s: %+v", seen, got)
		}
	}
	if got := JudgeFarOpening(calendar.Instant{}, dive, 48*60); got.Verdict != CannotTell {
		t.Errorf("never seen open: %+v", got)
	}
}

// T38.
func TestFlight(t *testing.T) {
	r := FlightRules{SingleHours: 12, SeriesHours: 18, StopsHours: 24, SeriesGapMin: 48 * 60, CabinBelowM: 600}
	yes, no := true, false
	dive := func(entry, out string, stops *bool) SeriesDive {
		return SeriesDive{enginetest.At(entry), enginetest.At(out), stops}
	}
	last := dive("2026-06-08T10:00Z", "2026-06-08T11:00Z", &no)
	low := 599.9
	for name, c := range map[string]struct {
		q      FlightQuestion
		hours  int
		series int
	}{
		"stops not recorded":     {FlightQuestion{Dives: []SeriesDive{dive("2026-06-08T10:00Z", "2026-06-08T11:00Z", nil)}}, 24, 1},
		"a chain":                {FlightQuestion{Dives: []SeriesDive{last, dive("2026-06-06T09:00Z", "2026-06-06T10:00Z", &no), dive("2026-06-04T08:00Z", "2026-06-04T09:00Z", &yes)}}, 24, 3},
		"the chain is broken":    {FlightQuestion{Dives: []SeriesDive{last, dive("2026-06-06T09:00Z", "2026-06-06T10:00Z", &no), dive("2026-06-04T07:00Z", "2026-06-04T08:59Z", &yes)}}, 18, 2},
		"low cabin":              {FlightQuestion{Dives: []SeriesDive{dive("2026-06-08T10:00Z", "2026-06-08T11:00Z", &yes)}, CabinM: &low}, 0, 1},
		"the model says later":   {FlightQuestion{Dives: []SeriesDive{last}, ModelEarliest: enginetest.At("2026-06-09T11:00Z")}, 12, 1},
		"the model says earlier": {FlightQuestion{Dives: []SeriesDive{last}, ModelEarliest: enginetest.At("2026-06-08T12:00Z")}, 12, 1},
	} {
		got := JudgeFlight(c.q, r)
		want := enginetest.At("2026-06-08T11:00Z").Add(60 * c.hours)
		if c.q.ModelEarliest.After(want) {
			want = c.q.ModelEarliest
		}
		if got.Hours == nil || *got.Hours != c.hours || got.Series != c.series || got.Earliest != want {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got := JudgeFlight(FlightQuestion{Dives: []SeriesDive{last}, Symptoms: true, CabinM: &low}, r); got.Verdict != NotUntilCleared || got.Hours != nil {
		t.Errorf("symptoms in a low cabin: %+v", got)
	}
}

// T39.
func TestOxygenMinutes(t *testing.T) {
	r := OxygenRules{ReserveBar: 20, LitresMin: 15, Casualties: 2}
	for _, c := range []struct {
		litres, bar float64
		want        int
	}{{10, 50, 10}, {10, 49.9, 9}, {10.1, 200, 60}, {10, 0, 0}, {0.3, 120, 1}} {
		if got := OxygenMinutes([]OxygenCylinder{{c.litres, c.bar}, {50, 10}}, r); got != c.want {
			t.Errorf("%g l at %g bar: %d min, expected %d", c.litres, c.bar, got, c.want)
		}
	}
	r.Casualties = 0
	if got := OxygenMinutes([]OxygenCylinder{{10, 200}}, r); got != 0 {
		t.Errorf("for nobody: %d min", got)
	}
}

// T1 with T33, T31 and T36, of a traverse whose openings lie in two zones: what counts as of today is of today in both. Kathmandu
// is 3 h 45 min ahead of Berlin's summer: its day begins at 20:15 there.
func TestTwoZones(t *testing.T) {
	berlin, kathmandu := zone(t, "Europe/Berlin"), zone(t, "Asia/Kathmandu")
	at := func(clock string) calendar.Instant { return enginetest.At("2026-06-08T" + clock + "+02:00") }
	for _, c := range []struct {
		read, entry string
		counts      bool // in both zones
	}{
		{"20:14", "20:14", true},
		{"20:15", "20:15", true},
		{"20:14", "20:15", false}, // yesterday's in Kathmandu
		{"09:00", "20:14", true},
		{"09:00", "21:00", false},
		{"20:15", "23:59", true},
	} {
		readings := []Reading{{at(c.read), "low"}}
		one, err := ReadingFor(readings, at(c.entry), berlin)
		if err != nil || one.Verdict != Known {
			t.Errorf("read %s, entry %s, one zone: %+v, %v", c.read, c.entry, one, err)
		}
		want := map[bool]string{true: Known, false: CannotTell}[c.counts]
		for _, zones := range [][]calendar.Zone{{berlin, kathmandu}, {kathmandu, berlin}} {
			if got, err := ReadingFor(readings, at(c.entry), zones...); err != nil || got.Verdict != want {
				t.Errorf("read %s, entry %s, two zones: %+v, %v, want %s", c.read, c.entry, got, err, want)
			}
		}
		v := Verification{
			VerifiedAt: []calendar.Instant{at("08:00")}, ReliedUntil: at("23:59"), Entry: at(c.entry), ClassThen: "low", HoldsForMin: 168 * 60, Readings: readings,
		}
		want = map[bool]string{true: Counts, false: CannotTell}[c.counts]
		if got, err := JudgeVerification(v, berlin, kathmandu); err != nil || got.Verdict != want {
			t.Errorf("read %s, entry %s, verified legs: %+v, %v, want %s", c.read, c.entry, got, err, want)
		}
	}
	// Over midnight of the first zone alone: 23:50 in Berlin is 03:35 of the next day in Kathmandu, and so is 00:10.
	if got, err := ReadingFor([]Reading{{at("23:50"), "low"}}, at("23:50").Add(20), kathmandu, berlin); err != nil || got.Verdict != CannotTell {
		t.Errorf("over midnight in Berlin: %+v, %v", got, err)
	}
	// Clocks a minute apart round to two ETOs; the earlier alarm holds in both.
	odd := calendar.Zone{Name: "Test/Odd", Version: "test", From: berlin.From, Until: berlin.Until, Base: 119}
	q := Question{Entry: at("10:00"), RuntimeMin: 61}
	for _, zones := range [][]calendar.Zone{{berlin, odd}, {odd, berlin}} {
		if got, err := Plan(q, rules, zones...); err != nil || got.ETO != at("11:01") {
			t.Errorf("ETO %v, %v, want 11:01 (11:00 by the odd clock)", got.ETO, err)
		}
	}
	if _, err := Plan(q, rules); err == nil {
		t.Error("a watch without a zone is planned")
	}
}
