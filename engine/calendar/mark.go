package calendar

import (
	"cmp"
	"fmt"
)

// Mark is a date whose day may be unknown, as stamped on a cylinder. The zero
// Mark means that there is none and is written as null.
type Mark struct{ year, month, day int }

// NewMark returns the mark; day 0 means that the day is unknown.
func NewMark(year, month, day int) (Mark, error) {
	if day == 0 {
		if year < 1 || year > 9999 || month < 1 || month > 12 {
			return Mark{}, fmt.Errorf("no such month: %04d-%02d", year, month)
		}
		return Mark{year, month, 0}, nil
	}
	d, err := NewDay(year, month, day)
	return d.Mark(), err
}

// ParseMark reads YYYY-MM-DD or YYYY-MM.
func ParseMark(text string) (Mark, error) {
	bad := fmt.Errorf("not a date: %q, expected YYYY-MM-DD or YYYY-MM", text)
	if len(text) != 7 && len(text) != 10 || text[4] != '-' || len(text) == 10 && text[7] != '-' {
		return Mark{}, bad
	}
	y, okY := digits(text[:4])
	m, okM := digits(text[5:7])
	if !okY || !okM {
		return Mark{}, bad
	}
	if len(text) == 7 {
		return NewMark(y, m, 0)
	}
	d, okD := digits(text[8:])
	if !okD {
		return Mark{}, bad
	}
	day, err := NewDay(y, m, d)
	return day.Mark(), err
}

// IsZero reports that there is no mark.
func (m Mark) IsZero() bool { return m == Mark{} }

// DayKnown reports that the mark names a day.
func (m Mark) DayKnown() bool { return m.day != 0 }

// Day returns the day named; no day when it is unknown.
func (m Mark) Day() Day {
	if m.day == 0 {
		return Day{}
	}
	return m.first().Add(m.day - 1)
}

// Last returns the latest day the mark can mean: the day itself, or the month's end.
func (m Mark) Last() Day {
	if m.day != 0 {
		return m.Day()
	}
	return m.first().MonthEnd()
}

// First returns the earliest day the mark can mean: the day itself, or the month's first.
func (m Mark) First() Day {
	if m.day != 0 {
		return m.Day()
	}
	return m.first()
}

func (m Mark) first() Day {
	if m.IsZero() {
		return Day{}
	}
	return Day{int32(dayNumber(m.year, m.month, 1))}
}

// SameMonth reports that the day lies in the mark's month.
func (m Mark) SameMonth(d Day) bool {
	y, mo, _ := d.Date()
	return !m.IsZero() && m.year == y && m.month == mo
}

// CompareCoarse compares two marks at the coarser of their grains: by day when
// both name one, else by month (T8).
func (m Mark) CompareCoarse(other Mark) int {
	c := cmp.Or(cmp.Compare(m.year, other.year), cmp.Compare(m.month, other.month))
	if c == 0 && m.day != 0 && other.day != 0 {
		c = cmp.Compare(m.day, other.day)
	}
	return c
}

// LastGood adds the months once, from the mark (T4). Month-counted, or with the
// day unknown, the last good day is the last day of the resulting month;
// otherwise it is the same day, or the month's last where that does not exist.
// assumed reports that a month's end was taken only because the day is unknown:
// whoever shows the date must say so. No mark gives no day.
func (m Mark) LastGood(months int, monthCounted bool) (last Day, assumed bool) {
	if m.IsZero() {
		return Day{}, false
	}
	if monthCounted || m.day == 0 {
		return m.first().AddMonths(months).MonthEnd(), !monthCounted
	}
	return m.Day().AddMonths(months), false
}

// String is YYYY-MM-DD, YYYY-MM when the day is unknown, or empty.
func (m Mark) String() string {
	switch {
	case m.IsZero():
		return ""
	case m.year < 0 || m.year > 9999: // no mark that is read
		return fmt.Sprintf("%04d-%02d-%02d", m.year, m.month, m.day)
	case m.day == 0:
		return string(twoDigits(append(twoDigits(twoDigits(nil, m.year/100), m.year%100), '-'), m.month))
	}
	return string(twoDigits(append(twoDigits(append(twoDigits(twoDigits(nil, m.year/100), m.year%100), '-'), m.month), '-'), m.day))
}

// twoDigits appends a number below 100.
func twoDigits(to []byte, n int) []byte { return append(to, byte('0'+n/10%10), byte('0'+n%10)) }

// MarshalText writes the mark as String does.
func (m Mark) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads YYYY-MM-DD or YYYY-MM; empty is no mark.
func (m *Mark) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*m = Mark{}
		return nil
	}
	v, err := ParseMark(string(text))
	if err == nil {
		*m = v
	}
	return err
}

// MarshalJSON writes a string, or null for no mark.
func (m Mark) MarshalJSON() ([]byte, error) { return quoteOrNull(m.String()), nil }

// UnmarshalJSON reads a string or null.
func (m *Mark) UnmarshalJSON(text []byte) error {
	s, err := unquote(text)
	if err != nil {
		return err
	}
	return m.UnmarshalText([]byte(s))
}

// digits reads a text that consists of digits only.
func digits(s string) (int, bool) {
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, len(s) > 0 && len(s) <= 9
}
