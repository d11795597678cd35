package calendar

import "testing"

// FuzzStored: the forms in which dates and times are stored are read as what
// is written again, or not at all.
func FuzzStored(f *testing.F) {
	for _, s := range []string{"2026-06-14", "2026-06", "2026-06-14T09:00+02:00", "2026-06-14T09:00Z", "24:00", "0001-01-01", "9999-12-31T23:59-12:00", "0001-01-01T00:00+14:00", "9999-12-31T23:59Z", "2026-02-29", "null", "\u0661"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if d, err := ParseDay(text); err == nil {
			if again, err := ParseDay(d.String()); err != nil || again != d {
				t.Fatalf("day %q is written %q: %v", text, d, err)
			}
		}
		if m, err := ParseMark(text); err == nil {
			if again, err := ParseMark(m.String()); err != nil || again != m {
				t.Fatalf("mark %q is written %q: %v", text, m, err)
			}
		}
		if at, err := ParseInstant(text); err == nil && !at.IsZero() {
			if again, err := ParseInstant(at.String()); err != nil || again != at {
				t.Fatalf("instant %q is written %q: %v", text, at, err)
			}
		}
		if m, err := ParseClock(text); err == nil && (m < 0 || m > 24*60) {
			t.Fatalf("clock %q is %d", text, m)
		}
		_, _ = ParseWall(text)
		_, _ = ParseOffset(text)
		for _, into := range []interface{ UnmarshalJSON([]byte) error }{&Day{}, &Mark{}, &Instant{}} {
			_ = into.UnmarshalJSON([]byte(text))
		}
	})
}
