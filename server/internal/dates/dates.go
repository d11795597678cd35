// Package dates checks the days that people write into records: that the day
// exists and that what was done does not lie in the future of its zone (T6–T8
// of the method's "Dates and deadlines").
package dates

import (
	"time"

	"lastlight/engine/calendar"
	"lastlight/server/internal/fault"
)

// earliestYear: what is older is a slip of the pen (T6).
const earliestYear = 1900

// Today is the day at this instant in the zone. An unknown zone gives the
// earliest day anywhere on earth, so that nothing of the future passes.
func Today(now time.Time, zone string) calendar.Day {
	loc, err := time.LoadLocation(zone)
	if err != nil || !Zone(zone) {
		loc = time.FixedZone("", -12*3600)
	}
	y, m, d := now.In(loc).Date()
	day, err := calendar.NewDay(y, int(m), d)
	if err != nil { // the server's clock is outside the years 1 to 9999
		return calendar.Day{}
	}
	return day
}

// Zone tells whether it is an IANA zone. The server's own zone ("Local", "") is none.
func Zone(name string) bool {
	if name == "" || name == "Local" {
		return false
	}
	_, err := time.LoadLocation(name)
	return err == nil
}

// Day reads a day of a calendar that may lie in the future; the zero day for
// empty text or one that does not exist, which is noted.
func Day(p *fault.Problems, field, text string) calendar.Day {
	if text == "" {
		return calendar.Day{}
	}
	day, err := calendar.ParseDay(text)
	if err != nil {
		p.Add(field, text, "a day that exists, YYYY-MM-DD", "there is no such day")
		return calendar.Day{}
	}
	if y, _, _ := day.Date(); y < earliestYear {
		p.Add(field, text, "1900 or later", "the year is before 1900")
		return calendar.Day{}
	}
	return day
}

// Past is Day for what was done: today in the zone at the latest.
func Past(p *fault.Problems, field, text string, today calendar.Day) calendar.Day {
	day := Day(p, field, text)
	if !day.IsZero() && day.After(today) {
		p.Add(field, text, "today ("+today.String()+") or earlier", "the day lies in the future")
	}
	return day
}

// Coming is Day for what can begin no earlier than today in the zone.
func Coming(p *fault.Problems, field, text string, today calendar.Day) calendar.Day {
	day := Day(p, field, text)
	if !day.IsZero() && day.Before(today) {
		p.Add(field, text, "today ("+today.String()+") or later", "the day is past")
	}
	return day
}

// Mark is Past for a mark on gear, whose day may not be known: this month at the latest.
func Mark(p *fault.Problems, field, text string, today calendar.Day) calendar.Mark {
	if text == "" {
		return calendar.Mark{}
	}
	mark, err := calendar.ParseMark(text)
	if err != nil {
		p.Add(field, text, "a day or month that exists, YYYY-MM-DD or YYYY-MM", "there is no such day or month")
		return calendar.Mark{}
	}
	if y, _, _ := mark.First().Date(); y < earliestYear {
		p.Add(field, text, "1900 or later", "the year is before 1900")
		return calendar.Mark{}
	}
	if mark.First().After(today) {
		p.Add(field, text, "today ("+today.String()+") or earlier", "the mark lies in the future")
	}
	return mark
}

// Due reads a mark that may lie in the future, such as a stamped next test.
func Due(p *fault.Problems, field, text string) {
	if text == "" {
		return
	}
	mark, err := calendar.ParseMark(text)
	if err != nil {
		p.Add(field, text, "a day or month that exists, YYYY-MM-DD or YYYY-MM", "there is no such day or month")
		return
	}
	if y, _, _ := mark.First().Date(); y < earliestYear {
		p.Add(field, text, "1900 or later", "the year is before 1900")
	}
}

// Instant notes an instant that is later than now, or before 1900.
func Instant(p *fault.Problems, field string, at, now time.Time) {
	Year(p, field, at)
	if at.After(now) {
		p.Add(field, at.UTC().Format(time.RFC3339), "now ("+now.UTC().Format(time.RFC3339)+") or earlier", "the time lies in the future")
	}
}

// Year notes an instant before 1900: a slip of the pen (T6).
func Year(p *fault.Problems, field string, at time.Time) {
	if at.UTC().Year() < earliestYear {
		p.Add(field, at.UTC().Format(time.RFC3339), "1900 or later", "the year is before 1900")
	}
}
