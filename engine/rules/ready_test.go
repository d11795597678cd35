package rules

import (
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
)

func readyInput(t *testing.T, day string) ReadyInput {
	t.Helper()
	in := enginetest.Pair()
	d, err := calendar.ParseDay(day)
	if err != nil {
		t.Fatal(err)
	}
	return ReadyInput{Policy: in.Policy, Zones: in.Site.Zones, Day: d, Diver: in.Divers[0], SiteName: in.Site.Name, SiteGrade: in.Site.Grade, Cylinders: in.Cylinders[:1]}
}

func signs(r ReadyReport, rule string) []Sign {
	var out []Sign
	for _, l := range r.Lines {
		if l.Finding.Rule == rule {
			out = append(out, l.Sign)
		}
	}
	return out
}

func TestReadyOnAGoodDay(t *testing.T) {
	in := enginetest.Pair()
	day, err := in.Site.Zones[0].Day(in.Plan.Entry)
	if err != nil {
		t.Fatal(err)
	}
	r := Ready(readyInput(t, day.String()))
	if !r.Yes || r.CountsAs != in.Divers[0].Cards[0].Level {
		t.Errorf("yes %v, counts as %q; lines %+v", r.Yes, r.CountsAs, r.Lines)
	}
}

// Story 4 and T23: an apprentice card lapses after twelve months to introductory.
func TestReadyWithALapsedApprenticeCard(t *testing.T) {
	in := readyInput(t, "2026-06-15")
	card := in.Diver.Cards[0]
	card.Level, card.Expires = "APP", calendar.Day{}
	card.Issued, card.SeenAt = mustDay(t, "2025-06-14"), enginetest.At("2025-07-01T10:00+02:00")
	in.Diver.Cards = []facts.Card{card}
	r := Ready(in)
	if r.CountsAs != "INT" || r.Because != "the card has lapsed to INT" {
		t.Errorf("counts as %q because %q, want INT, lapsed", r.CountsAs, r.Because)
	}
	in.Day = mustDay(t, "2026-06-14")
	r = Ready(in)
	if r.CountsAs != "APP" {
		t.Errorf("on the last day counts as %q, want APP", r.CountsAs)
	}
	if got := signs(r, "diver.card"); !slices.Contains(got, Soon) {
		t.Errorf("on the last day the card is %v, want SOON", got)
	}
}

// Story 12 and T24: 17 on the 11th, 18 from 00:00 of the 12th; a claimed card is no card.
func TestReadyGuestOfSeventeen(t *testing.T) {
	in := readyInput(t, "2026-06-11")
	in.Diver.Birth = mustDay(t, "2008-06-12")
	if r := Ready(in); r.Yes || !slices.Contains(signs(r, "diver.minimum_age"), Stop) {
		t.Errorf("17 years old: %v", r.Lines)
	}
	in.Day = mustDay(t, "2026-06-13")
	in.Diver.Cards = slices.Clone(in.Diver.Cards)
	in.Diver.Cards[0].SeenBy, in.Diver.Cards[0].SeenAt = "", calendar.Instant{}
	r := Ready(in)
	if r.Yes || slices.Contains(signs(r, "diver.minimum_age"), Stop) || !slices.Contains(signs(r, "diver.card"), Stop) {
		t.Errorf("18, card not seen: %v", r.Lines)
	}
}

// An empty medical stops; what is not known never passes.
func TestReadyWithoutAMedical(t *testing.T) {
	in := readyInput(t, "2026-06-12")
	in.Diver.Medical = nil
	if r := Ready(in); r.Yes || !slices.Contains(signs(r, "diver.medical"), Stop) {
		t.Errorf("no medical: %v", r.Lines)
	}
}

// Whoever is not fit is told which day is over and what brings them back (the dates of T22 of the handbook's dates and deadlines).
func TestReadySaysWhatMakesFitAgain(t *testing.T) {
	for _, x := range []struct {
		name, want string
		medical    facts.Medical
	}{
		{"examination", "the examination held until 2026-03-10: have the next one, and its day entered", facts.Medical{Examined: enginetest.Day("2023-03-10"), Declared: enginetest.Day("2026-05-01")}},
		{"declaration", "the declaration held until 2026-04-01: make it again", facts.Medical{Examined: enginetest.Day("2025-05-01"), Declared: enginetest.Day("2025-04-01")}},
		{"doctor", "the doctor's date was 2026-02-01: see the doctor again", facts.Medical{Examined: enginetest.Day("2025-05-01"), Declared: enginetest.Day("2026-01-15"), DoctorUntil: enginetest.Day("2026-02-01")}},
		{"suspended", "ask the medical officer what is needed", facts.Medical{Examined: enginetest.Day("2025-05-01"), Declared: enginetest.Day("2026-01-15"), Suspended: enginetest.Day("2026-06-01")}},
		{"declared not fit", "ask the medical officer what is needed", facts.Medical{Examined: enginetest.Day("2020-05-01"), Declared: enginetest.Day("2026-01-15"), NotFit: true}},
	} {
		in := readyInput(t, "2026-06-12")
		in.Diver.Birth, in.Diver.Medical = enginetest.Day("1985-09-20"), &x.medical
		var got []string
		for _, l := range Ready(in).Lines {
			if l.Finding.Rule == "diver.medical" {
				got = append(got, l.ToDo)
			}
		}
		if !slices.Equal(got, []string{x.want}) {
			t.Errorf("%s: %q, want %q", x.name, got, x.want)
		}
		// What falls due is sent by mail, and shows none of it.
		for _, l := range Due(in) {
			if l.Finding.Rule == "diver.medical" && l.ToDo == x.want {
				t.Errorf("%s: what is due says %q", x.name, l.ToDo)
			}
		}
	}
}

func mustDay(t *testing.T, text string) calendar.Day {
	t.Helper()
	d, err := calendar.ParseDay(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// What follows from a card that nobody has seen, or from having none, is not said again for every rule that asks for one.
func TestReadySaysAMissingCardOnce(t *testing.T) {
	for name, c := range map[string]struct {
		change  func(*facts.Diver)
		because string
	}{
		"no card":  {func(d *facts.Diver) { d.Cards = nil }, "no training card is on record"},
		"not seen": {func(d *facts.Diver) { d.Cards[0].SeenBy = "" }, "cannot tell: nobody else has recorded having seen the card"},
	} {
		in := readyInput(t, "2026-06-14")
		in.Diver.Cards = slices.Clone(in.Diver.Cards[:1])
		c.change(&in.Diver)
		r := Ready(in)
		if r.Yes || r.Because != c.because {
			t.Errorf("%s: yes %v because %q, want %q", name, r.Yes, r.Because, c.because)
		}
		var stops []string
		for _, l := range r.Lines {
			if l.Sign == Stop {
				stops = append(stops, l.Finding.Rule+": "+l.Finding.Message)
			}
		}
		if len(stops) != 1 || signs(r, "diver.card")[0] != Stop {
			t.Errorf("%s: stopped by %q", name, stops)
		}
	}
}
