package training

import (
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
)

// The rules are the method handbook's, "Dates and deadlines"; its own rows run
// through the table reader. These are the boundaries beside them.

var (
	ladder   = []Level{"OW", "CAV", "INT", "APP", "FULL"}
	currency = CurrencyRules{Dives: 6, WithinMonths: 12, EasierAfterDays: 90, RefresherMonths: 12, ReassessMonths: 24}
)

func days(t *testing.T, texts ...string) (all []calendar.Day) {
	for _, text := range texts {
		all = append(all, enginetest.Day(text))
	}
	return all
}

// T23.
func TestCard(t *testing.T) {
	seen := Card{Level: "APP", Issued: enginetest.Day("2025-06-14"), LastDay: enginetest.Day("2026-06-14"), LapsesTo: "INT", Holder: "d7", SeenBy: "c1", SeenAt: enginetest.At("2025-06-14T10:00Z")}
	entry := enginetest.At("2026-06-14T10:00Z")
	two, thirty := 2, 30.0
	limits := map[Level]Limits{"INT": {Jumps: new(int), DepthM: &thirty, Fraction: "1/6"}, "APP": {Jumps: &two, Fraction: "1/3"}, "FULL": {Fraction: "1/3"}}
	depth := 30.5
	for name, c := range map[string]struct {
		change   func(*CardQuestion)
		counts   Level
		verdict  string
		why      []string
		lastDay  string
		cautions int
	}{
		"its last day":           {func(*CardQuestion) {}, "APP", "", nil, "2026-06-14", 1},
		"lapse before the print": {func(q *CardQuestion) { q.Card.LastDay, q.Card.LapseMonths = enginetest.Day("2026-07-01"), 12 }, "APP", "", nil, "2026-06-14", 1},
		"print before the lapse": {func(q *CardQuestion) { q.Card.LastDay, q.Card.LapseMonths = enginetest.Day("2026-06-13"), 12 }, "INT", "", []string{CardEnds}, "2026-06-13", 0},
		"no end":                 {func(q *CardQuestion) { q.Card.LastDay = calendar.Day{} }, "APP", "", nil, "", 0},
		"day of issue": {func(q *CardQuestion) {
			q.Days = calendar.On(enginetest.Day("2025-06-14"))
			q.Entry = enginetest.At("2025-06-14T10:00Z")
		}, "APP", "", nil, "2026-06-14", 0},
		"issued during the dive": {func(q *CardQuestion) { q.Days.First = enginetest.Day("2025-06-13") }, "", Refused, []string{CardNotYetIssued}, "2026-06-14", 0},
		"seen at the entry":      {func(q *CardQuestion) { q.Card.SeenAt = entry }, "APP", "", nil, "2026-06-14", 1},
		"seen a minute later":    {func(q *CardQuestion) { q.Card.SeenAt = entry.Add(1) }, "", CannotTell, []string{CardNotSeen}, "2026-06-14", 0},
		"seen before its issue":  {func(q *CardQuestion) { q.SeenDay = enginetest.Day("2025-06-13") }, "", CannotTell, []string{CardNotSeen}, "2026-06-14", 0},
		"seen on its issue":      {func(q *CardQuestion) { q.SeenDay = enginetest.Day("2025-06-14") }, "APP", "", nil, "2026-06-14", 1},
		"ends, unseen":           {func(q *CardQuestion) { q.Days.Last = enginetest.Day("2026-06-15"); q.Card.SeenBy = "d7" }, "", CannotTell, []string{CardEnds, CardSeenByHolder}, "2026-06-14", 0},
		"ends, unseen, no lapse": {func(q *CardQuestion) {
			q.Days.Last, q.Card.LapsesTo, q.Card.SeenBy = enginetest.Day("2026-06-15"), "", "d7"
		}, "", Refused, []string{CardEnds, CardSeenByHolder}, "2026-06-14", 0},
		"issue unknown":            {func(q *CardQuestion) { q.Card.Issued = calendar.Day{} }, "", CannotTell, []string{"issue_unknown"}, "2026-06-14", 0},
		"just within":              {func(q *CardQuestion) { q.Asks = Asks{Jumps: &two, DepthM: &depth, Fraction: "2/6"} }, "APP", Passes, nil, "2026-06-14", 1},
		"a hair over":              {func(q *CardQuestion) { q.Asks = Asks{Fraction: "334/1000"} }, "APP", Refused, []string{"gas 334/1000 > 1/3"}, "2026-06-14", 1},
		"half a metre":             {func(q *CardQuestion) { q.Card.Level, q.Asks = "INT", Asks{DepthM: &depth} }, "INT", Refused, []string{"depth 30.5 > 30"}, "2026-06-14", 1},
		"no limits known":          {func(q *CardQuestion) { q.Card.Level, q.Asks = "OW", Asks{DepthM: &depth} }, "OW", CannotTell, []string{LimitsUnknown}, "2026-06-14", 1},
		"a share that is no share": {func(q *CardQuestion) { q.Asks = Asks{Fraction: "third"} }, "APP", CannotTell, []string{LimitsUnknown}, "2026-06-14", 1},
	} {
		q := CardQuestion{Card: seen, Days: calendar.On(enginetest.Day("2026-06-14")), Entry: entry, Limits: limits}
		c.change(&q)
		got := JudgeCard(q)
		if got.CountsAs != c.counts || got.Verdict != c.verdict || !slices.Equal(got.Why, append([]string{}, c.why...)) || got.LastDay.String() != c.lastDay || len(got.Caution) != c.cautions {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// T24: 1 March for a minimum age, in common years.
func TestAge(t *testing.T) {
	for _, c := range []struct {
		born, on string
		years    int
		reached  string
		age      int
		verdict  string
	}{
		{"2008-02-29", "2024-02-28", 16, "2024-02-29", 15, Refused},
		{"2008-02-29", "2024-02-29", 16, "2024-02-29", 16, Passes},
		{"2008-02-29", "2025-02-28", 17, "2025-03-01", 16, Refused},
		{"2008-02-29", "2025-03-01", 17, "2025-03-01", 17, Passes},
		{"2008-12-31", "2026-12-30", 18, "2026-12-31", 17, Refused},
		{"2008-12-31", "2026-12-31", 18, "2026-12-31", 18, Passes},
		{"2008-01-01", "2026-01-01", 18, "2026-01-01", 18, Passes},
	} {
		got := MinimumAge(enginetest.Day(c.born), c.years, calendar.On(enginetest.Day(c.on)))
		if got.ReachedOn.String() != c.reached || got.Age != c.age || got.Verdict != c.verdict {
			t.Errorf("born %s on %s: %+v", c.born, c.on, got)
		}
	}
	if got := MinimumAge(calendar.Day{}, 18, calendar.On(enginetest.Day("2026-01-01"))); got.Verdict != CannotTell {
		t.Errorf("no date of birth: %+v", got)
	}
}

func dark(t *testing.T, level Level, texts ...string) (all []Dive) {
	for _, d := range days(t, texts...) {
		all = append(all, Dive{Day: d, CountedAs: level, Zone: ZoneDark})
	}
	return all
}

func state(t *testing.T, q CurrencyQuestion, on string, rules CurrencyRules) Currency {
	t.Helper()
	q.On = enginetest.Day(on)
	if q.Ladder == nil {
		q.Ladder, q.Cavern = ladder, "CAV"
	}
	got, known := CurrencyOn(q, rules)
	if !known {
		t.Fatalf("on %s: nothing can be told", on)
	}
	return got
}

// T25: which dives count at a level.
func TestWhatCounts(t *testing.T) {
	for name, c := range map[string]struct {
		level Level
		dive  Dive
		want  int
	}{
		"higher":                  {"INT", Dive{CountedAs: "FULL", Zone: ZoneDark}, 1},
		"one step below":          {"APP", Dive{CountedAs: "INT", Zone: ZoneDark}, 1},
		"two steps below":         {"APP", Dive{CountedAs: "CAV", Zone: ZoneDark}, 0},
		"daylight":                {"INT", Dive{CountedAs: "INT", Zone: ZoneCavern}, 0},
		"daylight, cavern":        {"CAV", Dive{CountedAs: "CAV", Zone: ZoneCavern}, 1},
		"open water, cavern":      {"CAV", Dive{CountedAs: "CAV", Zone: "open"}, 0},
		"training":                {"FULL", Dive{Zone: ZoneDark, TrainingAs: "FULL"}, 1},
		"training at a lower one": {"FULL", Dive{Zone: ZoneDark, TrainingAs: "APP"}, 0},
		"training, one below":     {"FULL", Dive{CountedAs: "APP", Zone: ZoneDark, TrainingAs: "APP"}, 1},
		"counted as nothing":      {"CAV", Dive{Zone: ZoneDark}, 0},
		"a level nobody knows":    {"CAV", Dive{CountedAs: "GURU", Zone: ZoneDark}, 0},
		"planned":                 {"INT", Dive{Day: enginetest.Day("2026-06-02"), CountedAs: "INT", Zone: ZoneDark}, 0},
	} {
		if c.dive.Day.IsZero() {
			c.dive.Day = enginetest.Day("2026-05-01")
		}
		got := state(t, CurrencyQuestion{Level: c.level, Issued: enginetest.Day("2026-01-01"), Dives: []Dive{c.dive}}, "2026-06-01", currency)
		if got.Count != c.want {
			t.Errorf("%s: %d count, expected %d", name, got.Count, c.want)
		}
	}
}

// T25: gaps, what heals them, and the clock that runs while they are not healed.
func TestGaps(t *testing.T) {
	q := CurrencyQuestion{Level: "FULL", Issued: enginetest.Day("2023-01-10"), Dives: dark(t, "FULL", "2024-01-10")}
	for on, want := range map[string]State{
		"2024-04-09": StateOneStepEasier, "2025-01-10": StateOneStepEasier, "2025-01-11": StateRefresher,
		"2026-01-10": StateRefresher, "2026-01-11": StateReassessment,
	} {
		if got := state(t, q, on, currency); got.State != want {
			t.Errorf("on %s: %s, expected %s", on, got.State, want)
		}
	}
	// One ordinary dive a year does not put the re-assessment off.
	yearly := q
	yearly.Dives = append(dark(t, "FULL", "2025-02-01", "2026-01-20"), q.Dives...)
	if got := state(t, yearly, "2026-01-21", currency); got.State != StateReassessment || got.Last.String() != "2026-01-20" {
		t.Errorf("%+v", got)
	}
	// A training dive heals up to 24 months, not a day more; the same day's others count on from it.
	for training, want := range map[string]State{"2026-01-10": StateOneStepEasier, "2026-01-11": StateReassessment} {
		healed := q
		healed.Dives = append(dark(t, "FULL", training), q.Dives...)
		healed.Dives = append(healed.Dives, Dive{Day: enginetest.Day(training), Zone: ZoneDark, TrainingAs: "FULL"})
		if got := state(t, healed, "2026-01-12", currency); got.State != want {
			t.Errorf("training on %s: %+v, expected %s", training, got, want)
		}
	}
	again := q
	again.Reassessed = days(t, "2026-03-01", "2022-05-05")
	if got := state(t, again, "2026-03-01", currency); got.State != StateOneStepEasier || got.Last.String() != "2026-03-01" || got.Count != 0 {
		t.Errorf("re-assessed: %+v", got)
	}
}

// "Decided", 1: in the grace after issue the six are not asked, the 90 days are.
func TestGraceAfterIssue(t *testing.T) {
	rules := currency
	rules.GraceMonths = 6
	q := CurrencyQuestion{Level: "INT", Issued: enginetest.Day("2026-01-31"), Dives: dark(t, "INT", "2026-05-20")}
	got := state(t, q, "2026-07-31", rules)
	if got.State != StateCurrent || got.ChangesOn.String() != "2026-08-01" || got.ChangesTo != StateOneStepEasier {
		t.Errorf("last day of the grace: %+v", got)
	}
	if got := state(t, q, "2026-08-01", rules); !slices.Equal(got.Causes, []string{CauseDives}) {
		t.Errorf("day after the grace: %+v", got)
	}
	q.Dives = nil
	if got := state(t, q, "2026-05-02", rules); !slices.Equal(got.Causes, []string{CauseDaysSince}) {
		t.Errorf("91 days after issue: %+v", got)
	}
	if got := state(t, q, "2026-01-31", currency); !slices.Equal(got.Causes, []string{CauseDives}) {
		t.Errorf("no grace, day of issue: %+v", got)
	}
}

// The day that is told is the first on which the answer differs.
func TestChangesOnIsTheFirstDay(t *testing.T) {
	q := CurrencyQuestion{
		Level: "FULL", Ladder: ladder, Cavern: "CAV", Issued: enginetest.Day("2023-03-01"),
		Dives: dark(t, "FULL", "2023-06-30", "2023-08-31", "2024-02-29", "2024-03-31", "2024-04-30", "2024-05-31", "2024-06-01", "2024-06-02"),
	}
	for on := enginetest.Day("2024-06-02"); on.Before(enginetest.Day("2026-07-01")); on = on.Add(1) {
		q.On = on
		now, _ := CurrencyOn(q, currency)
		for next := on.Add(1); ; next = next.Add(1) {
			q.On = next
			then, _ := CurrencyOn(q, currency)
			if then.State != now.State || !slices.Equal(then.Causes, now.Causes) {
				if now.ChangesOn != next || now.ChangesTo != then.State {
					t.Fatalf("on %s: changes on %s to %s, expected %s to %s", on, now.ChangesOn, now.ChangesTo, next, then.State)
				}
				break
			}
			if next.Sub(on) > 800 {
				if !now.ChangesOn.IsZero() {
					t.Fatalf("on %s: changes on %s, expected never", on, now.ChangesOn)
				}
				break
			}
		}
	}
}

func TestNothingCanBeTold(t *testing.T) {
	for name, q := range map[string]CurrencyQuestion{
		"no issue": {Level: "INT", Ladder: ladder, On: enginetest.Day("2026-01-01")},
		"no day":   {Level: "INT", Ladder: ladder, Issued: enginetest.Day("2026-01-01")},
		"no level": {Ladder: ladder, Issued: enginetest.Day("2026-01-01"), On: enginetest.Day("2026-01-01")},
	} {
		if got, known := CurrencyOn(q, currency); known {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// T26: the fourth latest use sets the last day.
func TestEndorsement(t *testing.T) {
	uses := days(t, "2026-04-01", "2025-08-02", "2025-08-01", "2026-01-10", "2026-12-01")
	for on, want := range map[string]Endorsement{
		"2026-08-01": {4, true, enginetest.Day("2026-08-01")},
		"2026-08-02": {3, false, enginetest.Day("2026-08-01")},
		"2026-12-01": {3, false, enginetest.Day("2026-08-02")},
		"2026-01-10": {3, false, calendar.Day{}},
	} {
		if got := EndorsementOn(uses, enginetest.Day(on), 4, 12); got != want {
			t.Errorf("on %s: %+v, expected %+v", on, got, want)
		}
	}
	if got := EndorsementOn(nil, enginetest.Day("2026-01-01"), 0, 12); !got.Current {
		t.Errorf("none asked: %+v", got)
	}
}

// T27: never two steps; below the lowest level, training only.
func TestStepDown(t *testing.T) {
	got := StepDown([]Member{{Card: "OW"}, {Card: "CAV", FirstVisit: true}, {Card: "", Causes: nil}}, ladder, "CAV")
	want := []Step{
		{"", KindTraining, []string{CauseFirstVisit}}, {"", KindTraining, []string{CauseFirstVisit}}, {"", KindTraining, []string{CauseFirstVisit}},
	}
	for i, s := range got.Members {
		if s.CountsAs != want[i].CountsAs || s.Kind != want[i].Kind || !slices.Equal(s.Causes, want[i].Causes) {
			t.Errorf("member %d: %+v", i, s)
		}
	}
	if got.Dive != "" {
		t.Errorf("the dive counts as %s", got.Dive)
	}
	got = StepDown([]Member{{Card: "FULL", Causes: []string{"a", "b"}, FirstVisit: true}, {Card: "INT"}}, ladder, "CAV")
	if got.Members[0].CountsAs != "APP" || got.Members[1].CountsAs != "CAV" || got.Dive != "CAV" {
		t.Errorf("%+v", got)
	}
	if got := StepDown([]Member{{Card: "FULL"}, {Card: ""}}, ladder, "CAV"); got.Dive != "" || got.Members[1].Kind != KindAny {
		t.Errorf("a card that counts as nothing: %+v", got)
	}
	if got := StepDown(nil, ladder, "CAV"); got.Dive != "" {
		t.Errorf("a team of none: %+v", got)
	}
}

// T28: equality passes, even numbers take the mean of the middle two, fewer than
// five are not applicable.
func TestFirstVisit(t *testing.T) {
	r := FirstVisitRules{LeaderDives: 2, LeaderMonths: 24, ShareNum: 1, ShareDen: 2, MedianMonths: 24, MedianLeast: 5}
	on := enginetest.Day("2026-07-01")
	q := VisitQuestion{
		Team: []Visitor{{"a", days(t, "2024-07-01", "2026-06-30")}, {"b", days(t, "2026-07-02")}}, Leader: "a", On: on,
	}
	for _, m := range []float64{100.1, 300.3, 200.2, 500.4, 400.1, 600} {
		q.Penetrations = append(q.Penetrations, Penetration{on, m})
	}
	for planned, want := range map[float64]string{175.1: Passes, 175.11: Refused} { // half of (300.3+400.1)/2
		q.PlannedM = planned
		if got := JudgeFirstVisit(q, r); got.Penetration != want || got.Verdict != want || !got.LeaderMay || !slices.Equal(got.Newcomers, []string{"b"}) {
			t.Errorf("%g m: %+v, expected %s", planned, got, want)
		}
	}
	few := q
	few.Penetrations = q.Penetrations[:4]
	if got := JudgeFirstVisit(few, r); got.Penetration != NotApplicable || got.ShareOfUsual != nil || got.Verdict != Passes {
		t.Errorf("four penetrations: %+v", got)
	}
	few.Leader = "nobody"
	if got := JudgeFirstVisit(few, r); got.LeaderMay || got.Verdict != Refused {
		t.Errorf("a leader who is not in the team: %+v", got)
	}
	later := q
	later.On = on.Add(1)
	if got := JudgeFirstVisit(later, r); got.FirstVisit || got.Verdict != NotApplicable {
		t.Errorf("everybody has been there: %+v", got)
	}
}
