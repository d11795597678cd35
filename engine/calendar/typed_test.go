package calendar

import (
	"strings"
	"testing"
)

var bounds = TypedRules{EarliestYear: 1900, EarliestTwoDigitYear: 1950}

// Rows beside those of the handbook's table: T6 and T8 on forms and centuries.
func TestTypedDates(t *testing.T) {
	for _, c := range []struct {
		text string
		form Form
		use  Use
		made string
		want string // date or refusal
	}{
		{"2026-03-04", FormDMY, UseExam, "", "2026-03-04"}, // ISO whatever is declared
		{" 2026-03-04 ", FormISO, UseExam, "", "2026-03-04"},
		{"2026/03/04", FormYMD, UseExam, "", "2026-03-04"},
		{"2026/03/04", FormISO, UseExam, "", string(FormNotDeclared)},
		{"2026/03/04", FormDMY, UseExam, "", string(FormNotDeclared)},
		{"31/12/2025", FormISO, UseExam, "", string(FormNotDeclared)}, // only one reading, refused all the same
		{"2026-3-4", FormISO, UseExam, "", string(FormNotDeclared)},
		{"4 3 2026", FormDMY, UseExam, "", "2026-03-04"},
		{"03/04.2026", FormDMY, UseExam, "", string(FormNotDeclared)},
		{"13/12/2026", FormMDY, UseExam, "", string(NoSuchDate)},
		{"31.04.2026", FormDMY, UseExam, "", string(NoSuchDate)},
		{"2026-13", FormISO, UseMark, "", string(NoSuchDate)},
		{"2026-02-00", FormISO, UseMark, "", string(NoSuchDate)},
		{"1899-12-31", FormISO, UseBirth, "", string(NoSuchDate)},
		{"1900-01-01", FormISO, UseBirth, "", "1900-01-01"},
		{"04/03", FormISO, UseExam, "", string(YearMissing)},
		{"04 03", FormMDY, UseExam, "", string(YearMissing)},
		{"05/2021", FormMY, UseMark, "", "2021-05"},
		{"05/2021", FormMY, UseExam, "", string(DayMissing)},
		{"2021/05", FormYM, UseMark, "", "2021-05"},
		{"05/2021", FormYM, UseMark, "", string(FormNotDeclared)},
		{"2026", FormISO, UseMark, "", string(MonthMissing)},
		{"", FormISO, UseMark, "", string(FormNotDeclared)},
		{"4 March 2026", FormDMY, UseExam, "", string(FormNotDeclared)},
		{"06/50", FormMY, UseMark, "", "1950-06"},
		{"06/49", FormMY, UseMark, "", string(TwoDigitYear)}, // 1949 too old, 2049 not yet
		{"29.02.21", FormDMY, UseMark, "", string(NoSuchDate)},
		{"29.02.24", FormDMY, UseMark, "", "2024-02-29"},
		{"11/26", FormMY, UseMark, "2026-11-20", "2026-11"},
		{"06/75", FormMY, UseMark, "1975-06-30", "1975-06"},
		{"12/27", FormMY, UseExpiry, "", string(DayMissing)},
		{"2026-12-01", FormISO, UseIssue, "", string(Future)},
		{"2026-11-26", FormISO, UseBirth, "", string(Future)},
		{"2026-11-26", FormISO, UseExpiry, "", "2026-11-26"},
		{"2019-06-19", FormISO, UseMark, "2019-06-20", string(BeforeManufacture)},
		{"2019-06-20", FormISO, UseMark, "2019-06-20", "2019-06-20"},
	} {
		in := TypedDate{Text: c.text, Form: c.form, Use: c.use, Today: day(t, "2026-11-25"), Rules: bounds}
		if c.made != "" {
			in.Made = mark(t, c.made)
		}
		got := ReadTypedDate(in)
		if got.Date.String()+string(got.Refused) != c.want {
			t.Errorf("%q as %s for %s: %+v, expected %s", c.text, c.form, c.use, got, c.want)
		}
	}
}

// Two centuries that are both possible are refused, not guessed.
func TestTwoCandidatesAreRefused(t *testing.T) {
	in := TypedDate{Text: "06/60", Form: FormMY, Use: UseMark, Today: day(t, "2061-01-01"), Rules: bounds}
	if got := ReadTypedDate(in); got.Refused != TwoDigitYear {
		t.Errorf("1960 or 2060: %+v", got)
	}
	in.Made = mark(t, "2059-01")
	if got := ReadTypedDate(in); got.Date.String() != "2060-06" || !got.Echo {
		t.Errorf("made in 2059: %+v", got)
	}
}

func TestTypedTimes(t *testing.T) {
	for _, c := range []struct {
		wall, offset string
		want         string
	}{
		{"2026-03-29T01:59", "", "2026-03-29T00:59+00:00"},
		{"2026-03-29T02:00", "", string(NoSuchTime)},
		{"2026-03-29T02:30", "+01:00", string(OffsetNotOfThisZone)},
		{"2026-10-25T02:30", "+02:00", "2026-10-25T00:30+00:00"},
		{"2026-06-01T12:00", "+02:00", "2026-06-01T10:00+00:00"},
		{"2026-06-01T12:00", "+01:00", string(OffsetNotOfThisZone)},
		{"2026-06-01T12:00", "2", string(OffsetNotOfThisZone)},
		{"2026-02-29T12:00", "", string(NoSuchDate)},
		{"2026-06-01T25:00", "", string(NoSuchTime)},
		{"2026-06-01T24:00", "", string(NoSuchTime)},
		{"noon", "", string(NoSuchTime)},
	} {
		got, err := ReadTypedTime(c.wall, c.offset, berlin(t))
		if err != nil || got.UTC.String()+string(got.Refused) != c.want {
			t.Errorf("%q %q: %+v, %v, expected %s", c.wall, c.offset, got, err, c.want)
		}
	}
	got, err := ReadTypedTime("2026-04-05T01:30", "", lordHowe(t))
	if err != nil || got.Refused != AmbiguousTime || len(got.Offsets) != 2 || got.Offsets[0] != 660 || got.Offsets[1] != 630 {
		t.Errorf("a time that comes twice: %+v, %v", got, err)
	}
	if _, err := ReadTypedTime("2030-01-01T00:00", "", berlin(t)); err == nil {
		t.Error("a time beyond the zone is read")
	}
}

// What is read exists, is within the bounds, and has its date in the text: a
// typed date is never completed or moved.
func FuzzTypedDate(f *testing.F) {
	for _, text := range []string{"2026-03-04", "03/04/2026", "04.03.", "05/21", "29.02.2023", "2026", "2026-02-30", "\u0660\u0661/02"} {
		for _, form := range []Form{FormISO, FormDMY, FormMDY, FormYMD, FormMY, FormYM} {
			f.Add(text, string(form), string(UseMark))
			f.Add(text, string(form), string(UseExam))
		}
	}
	today, _ := NewDay(2026, 11, 25)
	f.Fuzz(func(t *testing.T, text, form, use string) {
		got := ReadTypedDate(TypedDate{Text: text, Form: Form(form), Use: Use(use), Today: today, Rules: bounds})
		if got.Refused != "" {
			if !got.Date.IsZero() {
				t.Fatalf("%q is refused and read as %s", text, got.Date)
			}
			return
		}
		again, err := ParseMark(got.Date.String())
		if err != nil || again != got.Date {
			t.Fatalf("%q is read as %s: %v", text, got.Date, err)
		}
		y, _, _ := got.Date.First().Date()
		switch {
		case y < 1900, Use(use) != UseExpiry && got.Date.First().After(today):
			t.Fatalf("%q is read as %s", text, got.Date)
		case !got.Date.DayKnown() && Use(use) != UseMark:
			t.Fatalf("%q has no day and is read as %s for %s", text, got.Date, use)
		case !strings.Contains(text, got.Date.String()[2:4]):
			t.Fatalf("the year of %s is not in %q", got.Date, text)
		}
	})
}

// An instant that is read shows the typed time on the zone's clocks.
func FuzzTypedTime(f *testing.F) {
	for _, s := range []string{"2026-03-29T02:30", "2026-10-25T02:30", "2026-06-01T12:00", "2026-06-01 12:00", "x"} {
		f.Add(s, "")
		f.Add(s, "+01:00")
	}
	f.Fuzz(func(t *testing.T, text, offset string) {
		zone := berlin(t)
		got, err := ReadTypedTime(text, offset, zone)
		if err != nil || got.Refused != "" {
			return
		}
		shown, err := zone.Wall(got.UTC)
		if err != nil {
			t.Fatal(err)
		}
		if want := strings.Replace(strings.TrimSpace(text), " ", "T", 1); shown.String() != want {
			t.Fatalf("%q %q is read as %s, shown as %s", text, offset, got.UTC, shown)
		}
	})
}
