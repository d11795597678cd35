package brief

import (
	"fmt"
	"math"
	"slices"
	"strings"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

func (w *writer) turn() {
	p, d := w.p.Plan, w.p.Report.Dive
	w.line("CODE WORD  %s   must match the board", strings.ToUpper(p.CodeWord))
	w.line("GO         %s, enter by %s; later this page is void", d.Entry.AsTime().In(w.p.Location).Format("Mon 2 Jan 2006"), w.clock(d.EnterBy))
	w.line("DEPTH      %s m at most    RUNTIME %s min    WAY OUT at the farthest %s m", number(d.MaxDepthM, 1), minutes(d.RuntimeMin), number(d.PenetrationM, 0))
	if w.tight && len(w.p.Conditions) > 0 {
		w.line("ONLY IF    %s", strings.Join(w.p.Conditions, "; "))
	} else {
		for _, c := range w.p.Conditions {
			w.line("ONLY IF    %s", c)
		}
	}
	unit := w.p.Units.pressure()
	w.title("TURN AT THE FIRST OF PRESSURE, PLACE, MINUTE; ANY DIVER MAY TURN THE DIVE")
	row := func(name, supply, gas, mod, start, turn string) {
		w.line("  %-14s %-18s %-10s %6s %11s %11s", short(name, 14), short(supply, 18), gas, mod, start, turn)
	}
	row("diver", "supply", "gas", "MOD", "start "+unit, "TURN "+unit)
	for _, x := range d.Divers {
		m := w.member(x.Person)
		for i, t := range x.Turns {
			name := x.Name
			if i > 0 {
				name = ""
			}
			row(name, t.Supply, gasText(m.GetGas()), w.mod(t.Supply), w.p.Units.start(t.StartBar), w.p.Units.turn(t.TurnBar))
		}
		if stages := m.GetStages(); w.tight && len(stages) > 1 {
			var each []string
			for _, s := range stages {
				each = append(each, fmt.Sprintf("%s %s %s, MOD %s, %s", s.Kind, s.Cylinder, gasText(s.Gas), w.mod(s.Cylinder), w.p.Units.start(w.stageStart(s))))
			}
			w.line("    %s", strings.Join(each, "; "))
			continue
		}
		for _, s := range m.GetStages() {
			row("", s.Kind+" "+s.Cylinder, gasText(s.Gas), w.mod(s.Cylinder), w.p.Units.start(w.stageStart(s)), "-")
		}
	}
	if t := d.TurnAtTheLatest; t != nil {
		if t.WholeRoute {
			w.line("  minute %s after entry; place as planned: the gas allows the whole route", minutes(math.Floor(d.TurnMinute)))
		} else {
			binds := " (" + strings.Join(t.Binds, "; ") + ")"
			if w.tight {
				binds = ""
			}
			w.line("  minute %s after entry; place %s%s", minutes(math.Floor(d.TurnMinute)), Place(t), binds)
		}
	}
}

// stageStart is what a stage or deco cylinder holds: as read at the water, else as planned.
func (w *writer) stageStart(s *lastlightv1.PlanStage) float64 {
	if bar, read := w.p.Measured[s.Cylinder]; read {
		return bar
	}
	return s.StartPressure.GetBar()
}

// turnsOf gives the turn of each diver; cylinders that differ are said one by one.
func (w *writer) turnsOf(all []*lastlightv1.SupplyTurn) []string {
	var out []string
	for i := 0; i < len(all); {
		var each []string
		person := all[i].Person
		for ; i < len(all) && all[i].Person == person; i++ {
			if t := w.p.Units.turn(all[i].TurnBar); !slices.Contains(each, t) {
				each = append(each, t)
			}
		}
		out = append(out, strings.Join(each, "+"))
	}
	return out
}

// lower prints the rows worked out for lower starts: what holds without a signal.
func (w *writer) lower() {
	d := w.p.Report.Dive
	any := false
	for _, x := range d.Divers {
		any = any || len(x.LowerStarts) > 0
	}
	if !any {
		return
	}
	var order []string
	for _, x := range d.Divers {
		order = append(order, x.Name)
	}
	w.title("IF ONE STARTS LOWER, others as planned: TURN " + w.p.Units.pressure() + " of " + strings.Join(order, "/") + ", place")
	var first, indent string
	for _, x := range d.Divers {
		first = fmt.Sprintf("  %-8s ", short(x.Name, 8))
		indent = strings.Repeat(" ", len(first))
		var entries []string
		n := 0
		for _, l := range x.LowerStarts {
			if l.NoDive != "" {
				entries = append(entries, "below "+w.p.Units.turn(l.StartBar)+": NO DIVE")
				continue
			}
			if n++; (n-1)%w.every != 0 {
				continue
			}
			entry := w.p.Units.rowStart(l.StartBar) + ": " + strings.Join(w.turnsOf(l.Turns), "/")
			if l.TurnPlace != nil && !l.TurnPlace.WholeRoute {
				entry += " " + w.shortPlace(l.TurnPlace)
			}
			entries = append(entries, entry)
		}
		w.columns(first, indent, entries)
	}
	w.line("  start not in a row, or two lower: sign in for new turns; no link: NO DIVE")
}

func (w *writer) mod(supply string) string {
	if m, ok := w.p.MOD[supply]; ok {
		return number(m, 0) + " m"
	}
	return "?"
}

// Place says a place on the line in words, metres rounded down: never farther.
func Place(t *lastlightv1.TurnPlace) string {
	switch {
	case t == nil:
		return "not known"
	case t.WholeRoute:
		return "as planned"
	case t.HoldMin > 0:
		return fmt.Sprintf("%s, %s min into the hold", t.Station, number(t.HoldMin, 0))
	case t.Towards != "" && t.MetresPast > 0:
		return fmt.Sprintf("%s m past %s towards %s", number(math.Floor(t.MetresPast), 0), t.Station, t.Towards)
	}
	return t.Station
}

// shortPlace is Place for a row: the station and how far past it on the planned
// way, with the next station only where the way passes the first one twice.
func (w *writer) shortPlace(t *lastlightv1.TurnPlace) string {
	switch {
	case t.HoldMin > 0:
		return fmt.Sprintf("%s %s min", t.Station, number(math.Floor(t.HoldMin), 0))
	case t.MetresPast <= 0:
		return t.Station
	}
	text := fmt.Sprintf("%s+%s m", t.Station, number(math.Floor(t.MetresPast), 0))
	passed := 0
	for _, m := range w.p.Plan.Route.Moves {
		if m.To == t.Station {
			passed++
		}
	}
	if passed > 1 {
		text += ">" + t.Towards
	}
	return text
}

func gasText(g *lastlightv1.GasMix) string {
	if g.GetHeliumPercent() > 0 {
		return fmt.Sprintf("%s/%s", number(g.OxygenPercent, 1), number(g.HeliumPercent, 1))
	}
	return fmt.Sprintf("%s %% O2", number(g.GetOxygenPercent(), 1))
}
