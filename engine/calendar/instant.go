package calendar

import (
	"cmp"
	"fmt"
)

// Instant is a minute of UTC. The zero Instant means "none" and is written as null.
type Instant struct{ n int64 } // minutes since 0000-12-31T00:00Z

const minutesPerDay = 1440

var unixEpoch = int64(dayNumber(1970, 1, 1)) * minutesPerDay

// FromUnix returns the whole minute at or before the seconds since 1970-01-01T00:00Z.
func FromUnix(seconds int64) Instant {
	q := seconds / 60
	if seconds%60 < 0 {
		q--
	}
	return Instant{q + unixEpoch}
}

// FromUnixUp returns the whole minute at or after the seconds since 1970-01-01T00:00Z.
func FromUnixUp(seconds int64) Instant { return FromUnix(seconds + 59) }

// Unix gives the seconds since 1970-01-01T00:00Z.
func (t Instant) Unix() int64 { return (t.n - unixEpoch) * 60 }

// ParseInstant reads an ISO 8601 minute with its offset, such as
// 2026-06-14T23:10+02:00 or 2026-06-14T21:10:00Z. Seconds, where written, must
// be zero: whoever holds seconds rounds them first, in the direction its rule needs.
func ParseInstant(text string) (Instant, error) {
	bad := fmt.Errorf("not an instant: %q, expected YYYY-MM-DDTHH:MM with an offset", text)
	if len(text) < 17 {
		return Instant{}, bad
	}
	wall, err := ParseWall(text[:16])
	if err != nil {
		return Instant{}, err
	}
	rest := text[16:]
	if len(rest) >= 3 && rest[0] == ':' {
		if rest[1:3] != "00" {
			return Instant{}, fmt.Errorf("not a whole minute: %q", text)
		}
		rest = rest[3:]
	}
	offset, err := ParseOffset(rest)
	if err != nil {
		return Instant{}, bad
	}
	t := wall.at(offset)
	if y, _, _ := t.wall(0).Day.Date(); t.wall(0).Day.IsZero() || y > 9999 {
		return Instant{}, fmt.Errorf("beyond the years 1 to 9999: %q", text) // it could not be written again
	}
	return t, nil
}

// IsZero reports that there is no instant.
func (t Instant) IsZero() bool { return t.n == 0 }

// Compare is -1, 0 or +1.
func (t Instant) Compare(other Instant) int { return cmp.Compare(t.n, other.n) }

// Before reports that t is earlier than other.
func (t Instant) Before(other Instant) bool { return t.n < other.n }

// After reports that t is later than other.
func (t Instant) After(other Instant) bool { return t.n > other.n }

// Add returns the instant a number of elapsed minutes later; none stays none.
func (t Instant) Add(minutes int) Instant {
	if t.IsZero() {
		return t
	}
	return Instant{t.n + int64(minutes)}
}

// Sub returns the elapsed minutes from other to t.
func (t Instant) Sub(other Instant) int { return int(t.n - other.n) }

// String is the minute in UTC, such as 2026-06-14T21:10+00:00; empty for none.
func (t Instant) String() string {
	if t.IsZero() {
		return ""
	}
	return t.wall(0).String() + FormatOffset(0)
}

// MarshalText writes the minute in UTC.
func (t Instant) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads what ParseInstant reads; empty is none.
func (t *Instant) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*t = Instant{}
		return nil
	}
	v, err := ParseInstant(string(text))
	if err == nil {
		*t = v
	}
	return err
}

// MarshalJSON writes a string, or null for none.
func (t Instant) MarshalJSON() ([]byte, error) { return quoteOrNull(t.String()), nil }

// UnmarshalJSON reads a string or null.
func (t *Instant) UnmarshalJSON(text []byte) error {
	s, err := unquote(text)
	if err != nil {
		return err
	}
	return t.UnmarshalText([]byte(s))
}

func (t Instant) wall(offset int) Wall {
	n := t.n + int64(offset)
	if n < 0 { // before the calendar's first day: no day
		return Wall{}
	}
	return Wall{Day{int32(n / minutesPerDay)}, int(n % minutesPerDay)}
}

// Wall is what a clock on a wall shows: a day and a minute of it, 0–1440
// (24:00 is the end of a day). Without a zone it is no instant.
type Wall struct {
	Day    Day
	Minute int
}

// ParseWall reads YYYY-MM-DDTHH:MM (a blank may stand for the T), 00:00–23:59.
func ParseWall(text string) (Wall, error) {
	if len(text) != 16 || text[10] != 'T' && text[10] != ' ' {
		return Wall{}, fmt.Errorf("not a wall-clock time: %q, expected YYYY-MM-DDTHH:MM", text)
	}
	d, err := ParseDay(text[:10])
	if err != nil {
		return Wall{}, err
	}
	m, err := ParseClock(text[11:])
	if err != nil {
		return Wall{}, err
	}
	if m == minutesPerDay {
		return Wall{}, fmt.Errorf("no such time: %q, write 00:00 of the next day", text)
	}
	return Wall{d, m}, nil
}

// ParseClock reads HH:MM, 00:00–24:00, into minutes of the day.
func ParseClock(text string) (int, error) {
	if len(text) == 5 && text[2] == ':' {
		h, okH := digits(text[:2])
		m, okM := digits(text[3:])
		if okH && okM && m < 60 && h*60+m <= minutesPerDay {
			return h*60 + m, nil
		}
	}
	return 0, fmt.Errorf("no such time: %q, expected HH:MM", text)
}

// String is YYYY-MM-DDTHH:MM.
func (w Wall) String() string {
	return fmt.Sprintf("%sT%02d:%02d", w.Day, w.Minute/60, w.Minute%60)
}

func (w Wall) at(offset int) Instant {
	return Instant{int64(w.Day.n)*minutesPerDay + int64(w.Minute) - int64(offset)}
}

// ParseOffset reads Z or ±HH:MM into minutes east of UTC, -24 h to +24 h exclusive.
func ParseOffset(text string) (int, error) {
	if text == "Z" || text == "z" {
		return 0, nil
	}
	if len(text) == 6 && (text[0] == '+' || text[0] == '-') {
		if m, err := ParseClock(text[1:]); err == nil && m < minutesPerDay {
			if text[0] == '-' {
				m = -m
			}
			return m, nil
		}
	}
	return 0, fmt.Errorf("not an offset: %q, expected ±HH:MM", text)
}

// FormatOffset writes minutes east of UTC as ±HH:MM.
func FormatOffset(minutes int) string {
	sign := '+'
	if minutes < 0 {
		sign, minutes = '-', -minutes
	}
	return fmt.Sprintf("%c%02d:%02d", sign, minutes/60, minutes%60)
}
