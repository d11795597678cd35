// Package calendar holds the two kinds of time the records know, as types that
// cannot be mixed: calendar days (Day, Mark) and instants (Instant, minutes of
// UTC). A Zone, handed in as a value, is the only bridge between them. The
// package reads no clock and no zone files.
//
// Rules: method handbook, "Dates and deadlines", T1–T8.
package calendar

import (
	"cmp"
	"fmt"
	"strconv"
)

// Day is a calendar day of the proleptic Gregorian calendar, 0001-01-01 to
// 9999-12-31. The zero Day means "no day" and is written as null.
type Day struct{ n int32 } // days since 0000-12-31

const lastDayNumber = 3652059 // 9999-12-31

// NewDay returns the day, or an error when it does not exist.
func NewDay(year, month, day int) (Day, error) {
	if year < 1 || year > 9999 || month < 1 || month > 12 || day < 1 || day > daysIn(year, month) {
		return Day{}, fmt.Errorf("no such date: %04d-%02d-%02d", year, month, day)
	}
	return Day{int32(dayNumber(year, month, day))}, nil
}

// ParseDay reads YYYY-MM-DD.
func ParseDay(text string) (Day, error) {
	m, err := ParseMark(text)
	if err != nil {
		return Day{}, err
	}
	if m.day == 0 {
		return Day{}, fmt.Errorf("a day is missing in %q, expected YYYY-MM-DD", text)
	}
	return m.Day(), nil
}

// Date gives year, month (1–12) and day of the month; three zeros for no day.
func (d Day) Date() (year, month, day int) {
	if d.IsZero() {
		return 0, 0, 0
	}
	return civil(int(d.n))
}

// IsZero reports that there is no day.
func (d Day) IsZero() bool { return d.n == 0 }

// Compare is -1, 0 or +1; no day comes before every day.
func (d Day) Compare(other Day) int { return cmp.Compare(d.n, other.n) }

// Before reports that d is an earlier day than other.
func (d Day) Before(other Day) bool { return d.n < other.n }

// After reports that d is a later day than other.
func (d Day) After(other Day) bool { return d.n > other.n }

// Add returns the day a number of days later (earlier when negative), held
// within the calendar's range; no day stays no day.
func (d Day) Add(days int) Day {
	if d.IsZero() {
		return d
	}
	return Day{int32(min(max(int64(d.n)+int64(days), 1), lastDayNumber))}
}

// Sub returns the days from other to d; both must be days.
func (d Day) Sub(other Day) int { return int(d.n) - int(other.n) }

// AddMonths adds months once; a day that does not exist becomes the month's
// last (T4). No day stays no day.
func (d Day) AddMonths(months int) Day {
	if d.IsZero() {
		return d
	}
	y, m, day := d.Date()
	y, m = shiftMonth(y, m, months)
	return Day{int32(dayNumber(y, m, min(day, daysIn(y, m))))}
}

// MonthEnd returns the last day of d's month.
func (d Day) MonthEnd() Day {
	if d.IsZero() {
		return d
	}
	y, m, _ := d.Date()
	return Day{int32(dayNumber(y, m, daysIn(y, m)))}
}

// Mark returns the day as a mark whose day is known.
func (d Day) Mark() Mark {
	y, m, day := d.Date()
	return Mark{y, m, day}
}

// String is YYYY-MM-DD, or empty for no day.
func (d Day) String() string { return d.Mark().String() }

// MarshalText writes YYYY-MM-DD.
func (d Day) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads YYYY-MM-DD; empty is no day.
func (d *Day) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Day{}
		return nil
	}
	v, err := ParseDay(string(text))
	if err == nil {
		*d = v
	}
	return err
}

// MarshalJSON writes a string, or null for no day.
func (d Day) MarshalJSON() ([]byte, error) { return quoteOrNull(d.String()), nil }

// UnmarshalJSON reads a string or null.
func (d *Day) UnmarshalJSON(text []byte) error {
	s, err := unquote(text)
	if err != nil {
		return err
	}
	return d.UnmarshalText([]byte(s))
}

// Earliest returns the earliest of the days that are given, skipping those that are none.
func Earliest(days ...Day) Day {
	var first Day
	for _, d := range days {
		if !d.IsZero() && (first.IsZero() || d.Before(first)) {
			first = d
		}
	}
	return first
}

func quoteOrNull(s string) []byte {
	if s == "" {
		return []byte("null")
	}
	return strconv.AppendQuote(nil, s)
}

func unquote(text []byte) (string, error) {
	if string(text) == "null" {
		return "", nil
	}
	s, err := strconv.Unquote(string(text))
	if err != nil || len(text) == 0 || text[0] != '"' {
		return "", fmt.Errorf("expected a date as a quoted string, read %s", text)
	}
	return s, nil
}

// dayNumber and civil count in years that start in March, so that the leap day
// is a year's last day and every month length is a linear function of its index.
func dayNumber(y, m, d int) int {
	if m <= 2 {
		y--
		m += 12
	}
	return 365*y + floorDiv(y, 4) - floorDiv(y, 100) + floorDiv(y, 400) + (153*(m-3)+2)/5 + d - 306
}

func civil(n int) (y, m, d int) {
	z := n + 305 // days since 0000-03-01
	era := floorDiv(z, 146097)
	doe := z - era*146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	d = doy - (153*mp+2)/5 + 1
	m = mp + 3
	y = yoe + era*400
	if m > 12 {
		m -= 12
		y++
	}
	return y, m, d
}

func daysIn(y, m int) int {
	switch m {
	case 2:
		if leap(y) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

func leap(y int) bool { return y%4 == 0 && (y%100 != 0 || y%400 == 0) }

// shiftMonth moves a month, held within the calendar's years.
func shiftMonth(y, m, months int) (int, int) {
	t := min(max(int64(y)*12+int64(m-1)+int64(months), 12), 9999*12+11)
	return int(t / 12), int(t%12) + 1
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
