package rules

import (
	"slices"
	"strings"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// about are the lines that name a word in what they observe, or are of a rule.
func about(lines []ReadyLine, name string) []ReadyLine {
	return slices.DeleteFunc(slices.Clone(lines), func(l ReadyLine) bool {
		return l.Finding.Rule != name && (l.Finding.Observed == nil || l.Finding.Observed.Text != name)
	})
}

func only(t *testing.T, lines []ReadyLine, name string) ReadyLine {
	t.Helper()
	found := about(lines, name)
	if len(found) != 1 {
		t.Fatalf("%d lines about %s: %+v", len(found), name, found)
	}
	return found[0]
}

// T26: four uses within twelve months, the last day is that of the fourth latest use; it is told before it comes, with its day.
func TestDueTellsWhenAnEndorsementLapses(t *testing.T) {
	in := readyInput(t, "2026-06-12")
	in.Policy.Cylinders.DueSoonDays = 30
	in.Diver.Cards = append(slices.Clone(in.Diver.Cards),
		facts.Card{Endorsement: "STAGE", Issued: mustDay(t, "2020-05-01"), SeenBy: "Ben", SeenAt: enginetest.At("2020-06-01T10:00+02:00")})
	in.Diver.Dives = slices.Clone(in.Diver.Dives)
	for n := range in.Diver.Dives {
		in.Diver.Dives[n].Uses = nil
	}
	for _, n := range []int{0, 2, 3, 5, 7} { // 2025-10-04, 2026-01-10, 02-14, 04-11, 05-16
		in.Diver.Dives[n].Uses = []string{"STAGE"}
	}
	for _, c := range []struct {
		day  string
		sign Sign
		last string
		says string
		todo string
	}{
		{"2026-06-12", OK, "2027-01-10", "STAGE counts until 2027-01-10: 5 uses in 12 months, at least 4", ""},
		{"2026-12-11", Soon, "2027-01-10", "STAGE counts until 2027-01-10: 4 uses in 12 months, at least 4", "use it on a dive by 2027-01-10"},
		{"2027-01-10", Soon, "2027-01-10", "STAGE counts until 2027-01-10", "use it on a dive by 2027-01-10"},
		{"2027-01-11", Ended, "", "STAGE does not count any more, 3 uses in 12 months, 4 asked", "use it in training"},
	} {
		in.Day = mustDay(t, c.day)
		for what, lines := range map[string][]ReadyLine{"due": Due(in), "ready": Ready(in).Lines} {
			l := only(t, lines, "STAGE")
			if l.Sign != c.sign || l.LastDay().String() != c.last || !strings.Contains(l.Says, c.says) || !strings.Contains(l.ToDo, c.todo) || c.todo == "" && l.ToDo != "" {
				t.Errorf("%s %s: %s, last day %q, %q, to do %q", c.day, what, l.Sign, l.LastDay(), l.Says, l.ToDo)
			}
		}
	}
	// Held for less long than uses are asked for, it has not ended: it does not count yet.
	fresh := in
	fresh.Diver.Cards = slices.Clone(in.Diver.Cards)
	last := &fresh.Diver.Cards[len(fresh.Diver.Cards)-1]
	for issued, sign := range map[string]Sign{"2026-01-11": Soon, "2026-01-10": Ended} {
		last.Issued, last.SeenAt = mustDay(t, issued), enginetest.At("2026-06-01T10:00+02:00")
		if l := only(t, Due(fresh), "STAGE"); l.Sign != sign {
			t.Errorf("issued %s: %s %s", issued, l.Sign, l.Says)
		}
	}
	// The club's list reads no log: neither that it lapses nor that it has is told of a log nobody read.
	for _, day := range []string{"2026-06-12", "2027-01-11"} {
		in.Day = mustDay(t, day)
		if got := about(PapersDue(in), "STAGE"); len(got) != 0 {
			t.Errorf("of papers alone on %s: %+v", day, got)
		}
	}
}

// T23: a card counts to its last day. The earlier of it and the uses is told; of several cards for one the one that holds longest.
func TestDueTellsWhenAnEndorsementsCardEnds(t *testing.T) {
	in := readyInput(t, "2026-06-12")
	seen := enginetest.At("2020-06-01T10:00+02:00")
	of := func(name, expires string) facts.Card {
		c := facts.Card{Endorsement: name, Issued: mustDay(t, "2020-05-01"), SeenBy: "Ben", SeenAt: seen}
		if expires != "" {
			c.Expires = mustDay(t, expires)
		}
		return c
	}
	in.Diver.Cards = append(slices.Clone(in.Diver.Cards[:1]),
		of("DECO", "2026-06-20"), of("STAGE", "2026-06-30"), of("DPV", "2026-05-31"), of("SURVEY", "2026-05-31"), of("SURVEY", "2026-08-01"), of("SURVEY", "2026-07-01"),
		of("TRIMIX", ""), of("TRIMIX", "2026-07-01"), of("REBREATHER", "2026-05-31"), of("REBREATHER", "2026-06-11"))
	in.Diver.Dives = slices.Clone(in.Diver.Dives)
	for n := range in.Diver.Dives {
		in.Diver.Dives[n].Uses = []string{"STAGE"}
	}
	for _, list := range [][]ReadyLine{Due(in), PapersDue(in)} {
		for name, want := range map[string]struct {
			sign Sign
			last string
		}{
			"DECO": {Soon, "2026-06-20"}, "STAGE": {Soon, "2026-06-30"}, "DPV": {Ended, ""}, "SURVEY": {Soon, "2026-08-01"}, "REBREATHER": {Ended, ""},
		} {
			if name == "SURVEY" && in.Policy.Cylinders.DueSoonDays < 50 {
				want.sign = OK
			}
			l := only(t, list, name)
			if l.Sign != want.sign || l.LastDay().String() != want.last {
				t.Errorf("%s: %s, last day %q: %s", name, l.Sign, l.LastDay(), l.Says)
			}
		}
		if l := only(t, list, "REBREATHER"); !strings.Contains(l.Says, "2026-06-11") {
			t.Errorf("ended, and says not when: %s", l.Says)
		}
		if got := about(list, "TRIMIX"); len(got) != 0 {
			t.Errorf("one without an end is told: %+v", got)
		}
	}
}

// T23: what has ended reads as ended, and not as something that will. On its last day it has not.
func TestDueOfACardThatHasEnded(t *testing.T) {
	in := readyInput(t, "2026-06-14")
	card := in.Diver.Cards[0]
	card.Level, card.Expires, card.Issued, card.SeenAt = "APP", calendar.Day{}, mustDay(t, "2025-06-14"), enginetest.At("2025-07-01T10:00+02:00")
	in.Diver.Cards = []facts.Card{card}
	if l := only(t, Due(in), "diver.card"); l.Sign != Soon || l.LastDay() != in.Day {
		t.Errorf("on its last day: %+v", l)
	}
	in.Day = mustDay(t, "2026-06-15")
	for _, lines := range [][]ReadyLine{Due(in), PapersDue(in), Ready(in).Lines} {
		l := only(t, lines, "diver.card")
		if l.Sign != Ended || !l.LastDay().IsZero() || !strings.Contains(l.Says, "the APP card ended on 2026-06-14, counts as INT") || l.ToDo == "" {
			t.Errorf("the day after: %s, last day %s, %q, to do %q", l.Sign, l.LastDay(), l.Says, l.ToDo)
		}
	}
	if r := Ready(in); r.CountsAs != "INT" || slices.ContainsFunc(about(r.Lines, "diver.card"), func(l ReadyLine) bool { return l.Sign == Stop }) {
		t.Errorf("a lapsed card stops: %+v", r)
	}
	// One that lapses to nothing stops, and says its last day although none is printed.
	in.Policy.Ladder = slices.Clone(in.Policy.Ladder)
	for i := range in.Policy.Ladder {
		in.Policy.Ladder[i].LapsesTo = ""
	}
	if l := only(t, Due(in), "diver.card"); l.Sign != Stop || !strings.Contains(l.Says, "last day 2026-06-14") {
		t.Errorf("without a level to lapse to: %s %s", l.Sign, l.Says)
	}
}

// Practice 9.3, reels and lines: 12 months, a caution. What only cautions is over all the same the day after; without a date
// nobody can tell that it is.
func TestDueOfKitThatOnlyCautions(t *testing.T) {
	p := policy.Default()
	checked := facts.Item{ID: "r-1", Name: "Reel 1", Kind: "reel", Events: []facts.ItemEvent{{Kind: "check", On: enginetest.Mark("2025-06-12")}}}
	for _, c := range []struct {
		item      facts.Item
		day, code string
		sign      Sign
		last      string
	}{
		{checked, "2026-06-12", "due", Soon, "2026-06-12"},
		{checked, "2026-06-13", "overdue", Ended, ""},
		{facts.Item{ID: "r-2", Name: "Reel 2", Kind: "reel"}, "2026-06-13", "cannot_tell", Soon, ""},
	} {
		lines := ItemsDue(&p, nil, []facts.Item{c.item}, mustDay(t, c.day))
		if len(lines) != 1 || lines[0].Finding.Code != c.code || lines[0].Sign != c.sign || lines[0].LastDay().String() != c.last {
			t.Errorf("%s on %s: %+v", c.item.Name, c.day, lines)
		}
	}
}

// A card that is missing is told once, by whoever asks: by the rule of cards.
func TestAMissingCardIsToldOnce(t *testing.T) {
	in := readyInput(t, "2026-06-12")
	held := in.Diver.Cards[0]
	ended := held
	ended.Expires = mustDay(t, "2026-01-31")
	unseen := held
	unseen.SeenBy, unseen.SeenAt = "", calendar.Instant{}
	for name, cards := range map[string][]facts.Card{"no card": nil, "ended": {ended}, "not seen": {unseen}} {
		in.Diver.Cards = cards
		for what, lines := range map[string][]ReadyLine{"due": Due(in), "ready": Ready(in).Lines, "papers": PapersDue(in)} {
			if l := only(t, lines, "diver.card"); l.Sign != Stop {
				t.Errorf("%s, %s: %+v", name, what, l)
			}
			for _, l := range lines {
				if l.Finding.Rule != "diver.card" && (strings.Contains(l.Says, "card") || strings.Contains(l.Says, "level") || l.Finding.Status == finding.Indeterminate) {
					t.Errorf("%s, %s: once more: %s %s", name, what, l.Finding.Rule, l.Says)
				}
			}
		}
		if Ready(in).Yes {
			t.Errorf("%s: good to go", name)
		}
	}
}
