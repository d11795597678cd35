package gear

import (
	"slices"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// CheckCustody notes what is wrong with a custody event.
func CheckCustody(p *fault.Problems, m *lastlightv1.CustodyEvent, now time.Time) {
	dates.Instant(p, "at", m.At.AsTime(), now)
	given := slices.Contains([]string{"handed_over", "back", "found"}, m.Kind)
	switch {
	case m.Kind == "handed_over" && m.Holder == "":
		p.Add("holder", "", "the person who has it from then on", "a hand-over names who takes it")
	case !given && m.Holder != "":
		p.Add("holder", m.Holder, "only with handed_over, back or found", "after this nobody has it")
	}
	if m.Kind == "waiting_in_cave" {
		if m.Site == "" {
			p.Add("site", "", "the site where it waits", "what waits in a cave has a place")
		}
		if m.Place == "" {
			p.Add("place", "", "the station where it waits", "what waits in a cave has a place")
		}
	}
	if m.RemoveBy != "" {
		by := dates.Day(p, "remove_by", m.RemoveBy)
		if m.Kind != "waiting_in_cave" {
			p.Add("remove_by", m.RemoveBy, "only with waiting_in_cave", "only what lies in a cave is to be taken out")
		} else if left, err := time.Parse(time.DateOnly, m.RemoveBy); !by.IsZero() && err == nil && left.AddDate(0, 0, 1).Before(m.At.AsTime().AddDate(0, 0, -1)) {
			p.Add("remove_by", m.RemoveBy, "the day it was left, or later", "to be out before it was left")
		}
	}
	if given && (m.Site != "" || m.Place != "") && m.Kind == "handed_over" {
		p.Add("site", m.Site, "empty with handed_over", "who has it is told, not where")
	}
}
