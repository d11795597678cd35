// Package agenda writes what falls due as a calendar file (RFC 5545). A calendar is shown on phones and shared with others: no name,
// no place and nothing of health is in it, but a reference by which its owner finds the entry in Lastlight.
package agenda

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"time"

	"github.com/emersion/go-ical"

	pb "lastlight/proto/lastlight/v1"
)

// Ref is the reference of an entry: the same as long as it is the same date of the same thing, wherever it moves to.
func Ref(e *pb.DueEntry) string { return digest(e)[:8] }

func digest(e *pb.DueEntry) string {
	of := e.GetKind() + "\x00" + e.GetId() + "\x00" + e.GetRule()
	if e.GetOf() != "" {
		of += "\x00" + e.GetOf()
	}
	sum := sha256.Sum256([]byte(of))
	return hex.EncodeToString(sum[:])
}

var titles = map[string]string{
	"person": "a date of a person", "cylinder": "a date of a cylinder", "equipment": "a date of a piece of kit", "site": "a date of a site", "left_item": "something is to be brought back",
}

// Write writes an all-day event for each entry: on its last day, or, where it is not in order already, on the day asked about.
// Entries of one thing by one rule are one event, on the earliest day. now is the time of writing.
func Write(w io.Writer, r *pb.ListDueResponse, now time.Time) error {
	calendar := ical.NewCalendar()
	calendar.Props.SetText(ical.PropVersion, "2.0")
	calendar.Props.SetText(ical.PropProductID, "-//Lastlight//what falls due//EN")
	calendar.Props.SetText(ical.PropMethod, "PUBLISH")
	seen := map[string]bool{}
	for _, e := range r.GetEntries() {
		if seen[digest(e)] {
			continue
		}
		seen[digest(e)] = true
		day, over := e.GetLastDay(), e.GetStops() == "now" || e.GetStops() == "ended"
		if day == "" {
			day = r.GetDay()
		}
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return fmt.Errorf("the day of entry %s: %w", Ref(e), err)
		}
		title := titles[e.GetKind()]
		if title == "" {
			title = "a date"
		}
		title = "Lastlight: " + title
		if over {
			title += ", overdue"
		}
		event := ical.NewEvent()
		event.Props.SetText(ical.PropUID, digest(e)[:32]+"@lastlight")
		event.Props.SetDateTime(ical.PropDateTimeStamp, now.UTC())
		event.Props.SetDate(ical.PropDateTimeStart, at)
		event.Props.SetDate(ical.PropDateTimeEnd, at.AddDate(0, 0, 1)) // the end is not part of it
		event.Props.SetText(ical.PropSummary, title)
		event.Props.SetText(ical.PropDescription, "See it with: lastlight due, ref "+Ref(e))
		event.Props.SetText(ical.PropTransparency, "TRANSPARENT")
		event.Props.SetText(ical.PropClass, "PRIVATE")
		calendar.Children = append(calendar.Children, event.Component)
	}
	if len(calendar.Children) == 0 {
		// A calendar has at least one component (RFC 5545, 3.6); nothing is due: an empty file would be refused by readers.
		return fmt.Errorf("nothing is due: there is nothing to write")
	}
	return ical.NewEncoder(w).Encode(calendar)
}
