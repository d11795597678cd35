// Package site says what must hold of sites, surveys, readings and permits
// beyond the bounds of each field.
package site

import (
	"fmt"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// Check notes what is wrong with a site.
func Check(p *fault.Problems, m *lastlightv1.Site, now time.Time) {
	zone(p, "time_zone", m.TimeZone)
	if t := m.Thresholds; t != nil && t.LevelMinM != nil && t.LevelMaxM != nil && *t.LevelMinM > *t.LevelMaxM {
		p.Add("thresholds.level_max_m", fmt.Sprintf("%g m", *t.LevelMaxM), fmt.Sprintf("level_min_m (%g m) or more", *t.LevelMinM), "the highest level is below the lowest")
	}
	for i, c := range m.Closures {
		from := dates.Day(p, fmt.Sprintf("closures[%d].from_day", i), c.FromDay)
		to := dates.Day(p, fmt.Sprintf("closures[%d].to_day", i), c.ToDay)
		if !from.IsZero() && !to.IsZero() && to.Before(from) {
			p.Addf(c.ToDay, "from_day ("+c.FromDay+") or later, or empty", "the closure ends before it begins", "closures[%d].to_day", i)
		}
	}
	if e := m.Emergency; e != nil {
		today := dates.Today(now, m.TimeZone)
		dates.Past(p, "emergency.confirmed_day", e.ConfirmedDay, today)
		for i, c := range e.Chambers {
			dates.Past(p, fmt.Sprintf("emergency.chambers[%d].confirmed_day", i), c.ConfirmedDay, today)
		}
	}
}

func zone(p *fault.Problems, field, name string) {
	if !dates.Zone(name) {
		p.Add(field, name, "an IANA zone such as Europe/Zurich", "there is no such time zone")
	}
}

// CheckPermit notes what is wrong with a permit.
func CheckPermit(p *fault.Problems, m *lastlightv1.Permit) {
	from := dates.Day(p, "from_day", m.FromDay)
	to := dates.Day(p, "to_day", m.ToDay)
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		p.Add("to_day", m.ToDay, "from_day ("+m.FromDay+") or later", "the permit ends before it begins")
	}
	if (m.DailyFrom == "") != (m.DailyTo == "") {
		p.Add("daily_to", m.DailyTo, "both hours or none", "one of the daily hours is missing")
	}
	clock(p, "daily_from", m.DailyFrom)
	clock(p, "daily_to", m.DailyTo)
}

func clock(p *fault.Problems, field, text string) {
	if text == "" {
		return
	}
	if _, err := time.Parse("15:04", text); err != nil {
		p.Add(field, text, "00:00 to 23:59", "there is no such time of day")
	}
}

// CheckReading notes what is wrong with a reading.
func CheckReading(p *fault.Problems, m *lastlightv1.Reading, now time.Time) {
	dates.Instant(p, "read_at", m.ReadAt.AsTime(), now)
	if m.LevelM == nil && m.Flow == "" && m.VisibilityM == nil && len(m.OpeningsSeenOpen) == 0 {
		p.Add("", "", "at least one of level_m, flow, visibility_m, openings_seen_open", "nothing was read")
	}
}
