package brief

import (
	"fmt"
	"math"
	"strings"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

func (w *writer) way() {
	p, d := w.p.Plan, w.p.Report.Dive
	w.title("THE WAY, minute and station")
	// Stations where nothing is done share a line; a task has its own.
	line := "  0 " + p.Route.Start + ": descend"
	flush := func() {
		if line != "" {
			w.line("%s", line)
		}
		line = ""
	}
	for _, r := range d.Route {
		text := fmt.Sprintf("%s %s, by %s", minutes(math.Floor(r.ArriveMin)), r.To, r.Leg)
		if r.Zone == "cavern" {
			text += " (daylight)"
		}
		tasks := ""
		if int(r.Move) <= len(p.Route.Moves) && r.Move > 0 {
			tasks = w.tasks(p.Route.Moves[r.Move-1])
		}
		if w.dense {
			text, tasks = text+tasks, ""
		}
		switch {
		case tasks != "":
			flush()
			w.line("  %s%s", text, tasks)
		case line == "":
			line = "  " + text
		case runes(line)+3+runes(text) > Width:
			flush()
			line = "  " + text
		default:
			line += " > " + text
		}
	}
	flush()
	placed, removed := 0, 0
	for _, m := range p.Route.Moves {
		for _, a := range m.Actions {
			switch a.Action {
			case "place_marker":
				placed++
			case "remove_marker":
				removed++
			}
		}
	}
	var counted []string
	for _, m := range p.Team {
		if carried := w.p.Lines[m.Person]; len(carried) > 0 {
			counted = append(counted, w.name(m.Person)+" "+strings.Join(carried, " "))
		}
	}
	text := "reels and spools: " + strings.Join(counted, ", ")
	if len(counted) == 0 {
		text = "reels and spools: none in the plan"
	}
	if placed+removed > 0 {
		text += fmt.Sprintf("; markers: %d placed, %d to be counted back", placed, removed)
	}
	for _, l := range p.Route.Left {
		text += fmt.Sprintf("; left on purpose: %s %s", l.Kind, l.Item)
	}
	w.line("  %s", text)
}

func (w *writer) member(person string) *lastlightv1.PlanDiver {
	for _, m := range w.p.Plan.Team {
		if m.Person == person {
			return m
		}
	}
	return nil
}

func (w *writer) tasks(m *lastlightv1.RouteMove) string {
	var t []string
	if m.RunLine {
		text := "run line"
		if m.Reel != "" {
			text += " from " + m.Reel + w.carrier(m.Reel)
		} else {
			text += " (reel not named)"
		}
		t = append(t, text)
	}
	if m.RecoverLine {
		t = append(t, "recover line")
	}
	for _, a := range m.Actions {
		text := strings.ReplaceAll(a.Action, "_", " ")
		if a.Marker != "" {
			text += " " + a.Marker
		}
		if a.Cylinder != "" {
			text += " " + a.Cylinder
		}
		if a.Person != "" {
			text += " (" + w.name(a.Person) + ")"
		}
		t = append(t, text)
	}
	if m.HoldMin > 0 {
		t = append(t, fmt.Sprintf("%s min %s", number(m.HoldMin, 0), strings.ReplaceAll(m.HoldTask, "_", " ")))
	}
	if m.Turn {
		t = append(t, "TURN")
	}
	if len(t) == 0 {
		return ""
	}
	return ": " + strings.Join(t, ", ")
}

func (w *writer) carrier(item string) string {
	for _, d := range w.p.Plan.Team {
		for _, e := range d.Equipment {
			if e == item {
				return " (" + w.name(d.Person) + ")"
			}
		}
	}
	return ""
}

// otherWay says what the circuit comes to the other way round.
func (w *writer) otherWay() {
	o := w.p.Report.Dive.OtherWay
	switch {
	case o == nil:
	case o.RuntimeMin == nil:
		w.line("  circuit the other way round: cannot be computed: not this plan")
	case !o.Holds:
		w.line("  circuit the other way round: DOES NOT HOLD (%s)", strings.Join(o.Why, "; "))
	default:
		w.line("  circuit the other way round is another plan: %s min, %s", minutes(math.Ceil(*o.RuntimeMin)), inShort(o.Stops))
	}
}
