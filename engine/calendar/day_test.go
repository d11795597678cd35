package calendar

import (
	"encoding/json"
	"testing"
)

func day(t *testing.T, text string) Day {
	t.Helper()
	d, err := ParseDay(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func mark(t *testing.T, text string) Mark {
	t.Helper()
	m, err := ParseMark(text)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func instant(t *testing.T, text string) Instant {
	t.Helper()
	i, err := ParseInstant(text)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// Every day of the calendar follows the one before it, and reads back.
func TestEveryDayInOrder(t *testing.T) {
	n := int32(0)
	for y := 1; y <= 9999; y++ {
		for m := 1; m <= 12; m++ {
			for d := 1; d <= 31; d++ {
				got, err := NewDay(y, m, d)
				if err != nil {
					continue
				}
				n++
				if got.n != n {
					t.Fatalf("%04d-%02d-%02d is day %d, expected %d", y, m, d, got.n, n)
				}
				if gy, gm, gd := got.Date(); gy != y || gm != m || gd != d {
					t.Fatalf("%04d-%02d-%02d reads back as %04d-%02d-%02d", y, m, d, gy, gm, gd)
				}
			}
		}
	}
	if n != lastDayNumber {
		t.Errorf("%d days, expected %d", n, lastDayNumber)
	}
}

// Days that do not exist in the Gregorian calendar (ISO 8601-1:2019, 4.2).
func TestDaysThatDoNotExist(t *testing.T) {
	for _, text := range []string{"2023-02-29", "1900-02-29", "2100-02-29", "2026-04-31", "2026-13-01", "2026-00-10", "2026-01-00", "0000-01-01", "2026-1-1", "20260101", "2026-01", "", "٢٠٢٦-01-01"} {
		if d, err := ParseDay(text); err == nil {
			t.Errorf("%q is read as %s", text, d)
		}
	}
	for _, text := range []string{"2024-02-29", "2000-02-29", "0001-01-01", "9999-12-31"} {
		if got := day(t, text).String(); got != text {
			t.Errorf("%q is read as %s", text, got)
		}
	}
}

// T4: months are added once, from the anchor.
func TestAddMonths(t *testing.T) {
	for _, c := range []struct {
		from   string
		months int
		want   string
	}{
		{"2021-08-31", 30, "2024-02-29"},
		{"2020-08-31", 30, "2023-02-28"},
		{"2024-02-29", 12, "2025-02-28"},
		{"2024-02-29", 48, "2028-02-29"},
		{"2023-02-28", 12, "2024-02-28"},
		{"2025-11-30", 3, "2026-02-28"},
		{"2025-12-31", 1, "2026-01-31"},
		{"2026-01-31", -1, "2025-12-31"},
		{"2026-03-31", -1, "2026-02-28"},
		{"2026-01-15", -13, "2024-12-15"},
		{"9999-12-31", 1, "9999-12-31"},
		{"0001-01-31", -1, "0001-01-31"},
	} {
		if got := day(t, c.from).AddMonths(c.months).String(); got != c.want {
			t.Errorf("%s and %d months: %s, expected %s", c.from, c.months, got, c.want)
		}
	}
}

// T4: what the day of a mark is worth, month-counted and exact.
func TestLastGood(t *testing.T) {
	for _, c := range []struct {
		mark    string
		months  int
		monthly bool
		want    string
		assumed bool
	}{
		{"2021-05", 60, true, "2026-05-31", false},
		{"2021-05-14", 60, true, "2026-05-31", false},
		{"2021-05-14", 60, false, "2026-05-14", false},
		{"2021-05", 60, false, "2026-05-31", true},
		{"2019-02", 60, true, "2024-02-29", false},
		{"2019-02-28", 60, false, "2024-02-28", false},
		{"2026-03", 0, true, "2026-03-31", false},
		{"2026-03-10", 0, false, "2026-03-10", false},
	} {
		got, assumed := mark(t, c.mark).LastGood(c.months, c.monthly)
		if got.String() != c.want || assumed != c.assumed {
			t.Errorf("%s and %d months, month-counted %v: %s (%v), expected %s (%v)", c.mark, c.months, c.monthly, got, assumed, c.want, c.assumed)
		}
	}
	if got, assumed := (Mark{}).LastGood(60, true); !got.IsZero() || assumed {
		t.Errorf("no mark is good to %s", got)
	}
}

// T8: two marks are compared at the coarser of their grains.
func TestCompareCoarse(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"2024-03", "2024-02-28", 1},
		{"2024-03", "2024-03-01", 0},
		{"2024-03-31", "2024-03", 0},
		{"2024-03", "2024-04-01", -1},
		{"2024-03-02", "2024-03-01", 1},
		{"2023-12", "2024-01", -1},
		{"2024-03-01", "2024-03-01", 0},
	} {
		if got := mark(t, c.a).CompareCoarse(mark(t, c.b)); got != c.want {
			t.Errorf("%s against %s: %d, expected %d", c.a, c.b, got, c.want)
		}
	}
}

// T3: due from 60 days before to the last good day itself.
func TestStatusOn(t *testing.T) {
	last := day(t, "2026-05-31")
	for on, want := range map[string]Status{
		"2026-03-31": Current, "2026-04-01": Due, "2026-05-31": Due, "2026-06-01": Overdue,
	} {
		if got := StatusOn(last, day(t, on), 60); got != want {
			t.Errorf("on %s: %s, expected %s", on, got, want)
		}
	}
	if got := StatusOn(Day{}, last, 60); got != CannotTell {
		t.Errorf("no last good day: %s", got)
	}
}

func TestNothingIsWrittenAsNull(t *testing.T) {
	type record struct {
		Day     Day
		Mark    Mark
		Instant Instant
	}
	text, err := json.Marshal(record{})
	if err != nil || string(text) != `{"Day":null,"Mark":null,"Instant":null}` {
		t.Errorf("%s, %v", text, err)
	}
	in := `{"Day":"2026-06-14","Mark":"2026-06","Instant":"2026-06-14T23:10:00+02:00"}`
	var got record
	if err := json.Unmarshal([]byte(in), &got); err != nil {
		t.Fatal(err)
	}
	text, err = json.Marshal(got)
	if err != nil || string(text) != `{"Day":"2026-06-14","Mark":"2026-06","Instant":"2026-06-14T21:10+00:00"}` {
		t.Errorf("%s, %v", text, err)
	}
	if err := json.Unmarshal([]byte(`{"Day":null,"Mark":null,"Instant":null}`), &got); err != nil || got != (record{}) {
		t.Errorf("null leaves %v, %v", got, err)
	}
	for _, bad := range []string{`{"Day":20260614}`, `{"Day":"2026-06"}`, `{"Mark":"2026"}`, `{"Instant":"2026-06-14T23:10:00"}`} {
		if err := json.Unmarshal([]byte(bad), &record{}); err == nil {
			t.Errorf("%s is read", bad)
		}
	}
}

func TestInstants(t *testing.T) {
	if got := instant(t, "1970-01-01T00:00Z").Unix(); got != 0 {
		t.Errorf("the epoch is second %d", got)
	}
	// Rounded down and up to the minute, before and after the epoch.
	for s, want := range map[int64][2]int64{0: {0, 0}, 1: {0, 60}, 59: {0, 60}, 60: {60, 60}, -1: {-60, 0}, -60: {-60, -60}, -61: {-120, -60}} {
		if got := [2]int64{FromUnix(s).Unix(), FromUnixUp(s).Unix()}; got != want {
			t.Errorf("second %d: %v, expected %v", s, got, want)
		}
	}
	if a, b := instant(t, "2026-06-14T23:10+05:45"), instant(t, "2026-06-14T13:55:00-03:30"); a != b {
		t.Errorf("%s is not %s", a, b)
	}
	for _, bad := range []string{"2026-06-14T23:10:30+02:00", "2026-06-14T23:10", "2026-06-14T24:00+00:00", "2026-06-14T23:60+00:00", "2026-06-14", "2026-06-14T23:10+2:00", "2026-06-14T23:10+25:00", ""} {
		if got, err := ParseInstant(bad); err == nil {
			t.Errorf("%q is read as %s", bad, got)
		}
	}
}
