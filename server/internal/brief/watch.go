package brief

import (
	"fmt"
	"math"
	"slices"
	"strings"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/plan"
)

func (w *writer) watch() {
	t := w.p.Report.Dive.Watch
	if t == nil {
		w.title("WHO MISSES US: the times cannot be told: NO DIVE")
		return
	}
	w.title("WHO MISSES US, entering at " + w.clock(w.p.Report.Dive.Entry) + "; later: write the board's times here")
	cover := "no cover"
	if w.p.Plan.Cover != "" {
		cover = "cover " + w.name(w.p.Plan.Cover) + ", dry"
	}
	walk := ""
	if t.Walk != nil {
		walk = "; start walking there " + w.clock(t.Walk)
	}
	w.line("  %s   out (ETO) %s   look there %s", cover, w.clock(t.Eto), w.clock(t.Look))
	who := w.p.Coordinator
	switch {
	case who.Name == "":
		who.Name, who.Telephone = "not known", "write the number here ____________"
	case who.Telephone == "":
		who.Telephone = "no number on record: write it here ____________"
	}
	w.line("  tell the coordinator %s: %s, %s", w.clock(t.Coordinator), who.Name, who.Telephone)
	e := w.p.Site.Emergency
	number := e.GetEmergencyNumber()
	switch {
	case number == "":
		number = "none on record for this site"
	case e.GetRescueService() != "":
		number += ", " + e.RescueService
	}
	w.line("  DIAL %s   NUMBER %s", w.clock(t.Dial), number)
	signal := e.GetSignalPoint()
	if signal == "" {
		signal = "not on record"
	}
	if w.tight {
		w.line("  signal: %s%s; oxygen: %s; chamber: %s", signal, walk, w.oxygen(e), chamber(e))
	} else {
		w.line("  signal: %s%s", signal, walk)
		w.line("  oxygen: %s; chamber: %s", w.oxygen(e), chamber(e))
	}
	w.flights()
	if w.tight {
		w.line("  only seen out by cover ends an alarm; each signs out too; nothing here rings")
		return
	}
	w.line("  seen out by cover ends the alarm for that diver, and nothing else does; each")
	w.line("  diver also signs out; nothing here rings by itself: look, tell and dial")
}

// flights says before when nobody flies, if the dive goes as planned.
func (w *writer) flights() {
	var each []string
	for _, d := range w.p.Report.Dive.Divers {
		if t := d.EarliestFlight; t != nil {
			each = append(each, d.Name+" "+t.AsTime().In(w.p.Location).Format("2 Jan 15:04 (-07:00)"))
		}
	}
	if len(each) > 0 {
		w.line("  no flight before: %s; symptoms: not until cleared", strings.Join(each, ", "))
	}
}

// chamber is the nearest one on the site's sheet.
func chamber(e *lastlightv1.EmergencySheet) string {
	var best *lastlightv1.Chamber
	for _, c := range e.GetChambers() {
		if best == nil || c.TravelMin != nil && (best.TravelMin == nil || *c.TravelMin < *best.TravelMin) {
			best = c
		}
	}
	if best == nil {
		return "none on record"
	}
	text := best.Title
	if best.Telephone != "" {
		text += ", " + best.Telephone
	}
	if best.TravelMin != nil {
		text += ", " + number(math.Ceil(*best.TravelMin), 0) + " min"
	}
	if !best.OpenDayAndNight {
		text += ", not day and night"
	}
	return text
}

func (w *writer) oxygen(e *lastlightv1.EmergencySheet) string {
	var all []string
	for _, o := range e.GetOxygen() {
		all = append(all, w.p.Units.cylinder(o))
	}
	if len(all) == 0 {
		return "none on record"
	}
	return strings.Join(all, ", ")
}

func (w *writer) voids() {
	w.title("THIS PAGE IS VOID IF")
	rows := "the rows"
	if w.p.Measured != nil {
		rows = "the table"
	}
	if w.tight {
		w.line("  anybody or any gas changes; a start below %s; level, flow or visibility "+
			"outside the site's limits; past the enter-by time; another code word", rows)
		return
	}
	w.line("  anybody or any gas changes; a start is below %s above; level, flow or "+
		"visibility is outside the site's limits today; it is past the enter-by time; the code word differs from the board", rows)
}

// checklist is short enough for three columns.
var checklist = []string{
	"goal, route, order", "max depth and time", "turns, who controls",
	"gas, label, MOD read", "lights tested", "two cutting tools",
	"spare mask", "reels, spools, markers", "drill, bubble check",
	"valves open", "gauges read aloud", "flow and visibility",
	"signals", "lost line diver light", "lost gas",
	"cover repeats dial", "oxygen and chamber", "anybody may end it",
}

func (w *writer) checklist() {
	boxes, have := w.acknowledged()
	if w.tight {
		w.title("READ ALOUD AND TICKED; this version agreed to by " + have)
	} else {
		w.title("READ ALOUD AND TICKED")
		w.line("  agreed to this version: %s", strings.Join(boxes, "  "))
	}
	for i := 0; i < len(checklist); i += 3 {
		w.line("  [ ] %-22s [ ] %-22s [ ] %s", checklist[i], checklist[i+1], checklist[i+2])
	}
}

// acknowledged lists everybody of the plan with a box, ticked where they have agreed to this version; and how many have of how many.
func (w *writer) acknowledged() (boxes []string, have string) {
	p := w.p.Plan
	people := plan.People(p)
	n := 0
	for _, person := range people {
		box := "[ ]"
		if slices.ContainsFunc(p.Acknowledgements, func(a *lastlightv1.Acknowledgement) bool { return a.Person == person }) {
			n++
			box = "[x]"
		}
		boxes = append(boxes, box+" "+w.name(person))
	}
	return boxes, fmt.Sprintf("%d of %d", n, len(people))
}
