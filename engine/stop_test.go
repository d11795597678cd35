package engine

import (
	"bytes"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
)

func mustBytes(t *testing.T, v any) []byte {
	t.Helper()
	b, err := Bytes(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Whoever is asked whether to stop and says no gets the same report; whoever says yes gets none, at whatever moment, and is not
// asked again: nothing is worked out for nobody.
func TestEvaluateUntil(t *testing.T) {
	three := enginetest.Expedition(10, 3, 50)
	entry := enginetest.Pair()
	entry.Moment = facts.AtEntry
	for name, in := range map[string]Input{"a pair": enginetest.Pair(), "at entry": entry, "with stops": enginetest.Expedition(2, 1, 10), "three with stops": three, "unfit": {}} {
		want := mustBytes(t, Evaluate(in))
		asked, work := 0, 0
		r, ok := EvaluateUntil(in, func(w int) bool { asked, work = asked+1, work+w; return false })
		if !ok || !bytes.Equal(mustBytes(t, r), want) {
			t.Errorf("%s: another report when asked whether to stop", name)
		}
		if name == "three with stops" && (work < 50_000 || work > 500_000) {
			t.Errorf("%s: %d of work", name, work)
		}
		for last, step := 1, max(1, asked/100); last <= asked; last += step {
			again := 0
			if r, ok := EvaluateUntil(in, func(int) bool { again++; return again == last }); ok || len(r.Findings) > 0 || again != last {
				t.Fatalf("%s: stopped when asked for the %d. time of %d: a report %v, asked %d times", name, last, asked, ok, again)
			}
		}
	}
}

// The report on one input is that on another where only the minute of judging differs, and not whether a reading can exist yet.
func TestSameReport(t *testing.T) {
	const morning, evening, onTheDay = "2026-06-12T06:00+02:00", "2026-06-12T23:59+02:00", "2026-06-13T00:00+02:00"
	at := func(minute string) Input {
		in := enginetest.Pair()
		in.Plan.Entry = enginetest.At("2026-06-13T09:00+02:00")
		in.Policy.Readings.DueAtEntry = true
		in.Site.Readings = nil
		in.DecidedAt = enginetest.At(minute)
		return in
	}
	same := func(a, b Input) bool {
		t.Helper()
		same, err := SameReport(a, b)
		if err != nil {
			t.Fatal(err)
		}
		if equal := bytes.Equal(mustBytes(t, Evaluate(a)), mustBytes(t, Evaluate(b))); same && !equal {
			t.Errorf("%v and %v: said to be the same, and are not", a.DecidedAt, b.DecidedAt)
		}
		return same
	}
	if !same(at(morning), at(evening)) {
		t.Error("another minute of the same day makes another report")
	}
	if same(at(evening), at(onTheDay)) {
		t.Error("the day of the entry is as the day before")
	}
	if bytes.Equal(mustBytes(t, Evaluate(at(evening))), mustBytes(t, Evaluate(at(onTheDay)))) {
		t.Error("the days are no example: their reports are the same")
	}
	for name, change := range map[string]func(*Input){
		"a version":  func(in *Input) { in.Divers[0].Version++ },
		"a pressure": func(in *Input) { in.Plan.Supplies[0].PlannedBar = new(150.0) },
		"the policy": func(in *Input) { in.PolicyVersion = "2" },
		"no minute":  func(in *Input) { in.DecidedAt = calendar.Instant{} },
	} {
		other := at(morning)
		change(&other)
		if same(at(morning), other) {
			t.Errorf("%s changed, and the report is said to be the same", name)
		}
	}
}
