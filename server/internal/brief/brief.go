// Package brief writes the page for the water's edge: everything a team needs
// when there is no signal, in 80 columns and 66 lines, black and white, as text.
// It computes nothing: all figures come from the decision's stored report.
package brief

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/plan"
)

// Width of the page in columns, and its height in lines.
const (
	Width  = 80
	Height = 66
)

// Page is what stands on it.
type Page struct {
	Plan     *lastlightv1.Plan
	Site     *lastlightv1.Site
	Report   *lastlightv1.Report // of the decision; lower starts filled in
	Names    map[string]string   // person id → name
	Location *time.Location      // the site's clock
	// Conditions that the approval left for entry.
	Conditions []string
	Units      Units
	// Why all dives were stopped since the team went in: the page is for those who wait for it alone.
	Stopped []string
	// Depth in metres to which the gas of a supply may be breathed, by the supply's id.
	MOD map[string]float64
	// Person id → reels and spools that this person carries.
	Lines map[string][]string
	// Who approved the dive, and is told when the team is missed.
	Coordinator Officer
}

// Officer is somebody to ring.
type Officer struct{ Name, Telephone string }

// Valid tells whether the page has a dive on it: approved, or in the water.
func (p *Page) Valid() bool {
	return p.Report != nil && (p.Plan.State == lastlightv1.PlanState_PLAN_STATE_APPROVED || p.Plan.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER)
}

// Text writes the page. Where it would not fit on one, blank lines go first,
// then every second row of the lower starts (a start without a row is no dive),
// then tasks share lines, and at last words go that nobody needs. What is longer still says that it has two sheets.
func Text(p *Page) string {
	text := ""
	for _, fit := range []writer{{blanks: true, every: 1}, {every: 1}, {every: 2}, {every: 4}, {every: 2, dense: true}, {every: 4, dense: true}, {every: 8, dense: true}, {every: 4, dense: true, tight: true}, {every: 8, dense: true, tight: true}, {every: 16, dense: true, tight: true}, {every: 1, long: true}} {
		w := &writer{p: p, blanks: fit.blanks, every: fit.every, dense: fit.dense, tight: fit.tight, long: fit.long}
		w.page()
		if text = w.String(); strings.Count(text, "\n") <= Height {
			break
		}
	}
	return text
}

type writer struct {
	strings.Builder
	p      *Page
	blanks bool // before each title
	every  int  // how many of the lower starts are printed: each first of so many
	dense  bool // tasks on the way share lines
	tight  bool // no words but those that are needed
	long   bool // more than one sheet
}

func (w *writer) page() {
	w.head()
	if !w.p.Valid() {
		w.notValid()
		return
	}
	w.turn()
	w.lower()
	w.way()
	w.trouble()
	w.watch()
	w.voids()
	w.checklist()
	w.caution()
}

func (w *writer) line(format string, args ...any) {
	for _, l := range wrap(fmt.Sprintf(format, args...), Width) {
		w.WriteString(strings.TrimRight(l, " "))
		w.WriteByte('\n')
	}
}

func (w *writer) title(text string) {
	if w.blanks {
		w.WriteByte('\n')
	}
	w.line("%s", text)
}

// columns packs entries into lines, in three columns, two or one as their length allows.
func (w *writer) columns(first, indent string, entries []string) {
	grid, line := 1, first
	for _, e := range entries {
		grid = max(grid, runes(e)+2)
	}
	grid = max(grid, (Width-runes(first))/3)
	if w.tight {
		grid = 0
	}
	for _, e := range entries {
		if runes(line)+runes(e) > Width && line != indent {
			w.line("%s", strings.TrimRight(line, " "))
			line = indent
		}
		line += e + strings.Repeat(" ", max(2, grid-runes(e)))
	}
	w.line("%s", strings.TrimRight(line, " "))
}

// wrap breaks at spaces; lines after the first are indented like the first,
// two further.
func wrap(text string, width int) []string {
	if runes(text) <= width {
		return []string{text}
	}
	indent := strings.Repeat(" ", len(text)-len(strings.TrimLeft(text, " "))+2)
	var out []string
	line := ""
	for i, word := range strings.Split(text, " ") {
		if i > 0 && runes(line)+1+runes(word) > width && strings.TrimSpace(line) != "" {
			out = append(out, line)
			line = indent + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	return append(out, line)
}

func runes(s string) int { return len([]rune(s)) }

func (w *writer) head() {
	p := w.p.Plan
	left := "LASTLIGHT BRIEF  " + w.p.Site.Title
	right := fmt.Sprintf("plan %s  version %d", p.Id, p.Version)
	if gap := Width - runes(left) - runes(right); gap > 0 {
		w.line("%s", left+strings.Repeat(" ", gap)+right)
	} else {
		w.line("%s", left)
		w.line("%s", right)
	}
	w.line("%s", strings.Repeat("=", Width))
	if w.long {
		w.line("TWO SHEETS: take both")
	}
	for _, why := range w.p.Stopped {
		w.line("NOT TO BE DIVED ON: %s. For those alone who wait for the team in the water.", why)
	}
	if p.Goal != "" {
		w.line("%s", p.Goal)
	}
}

func (w *writer) notValid() {
	w.line("NOT TO BE DIVED ON.")
	w.line("This plan is %s.", strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(w.p.Plan.State.String(), "PLAN_STATE_"), "_", " ")))
	for _, r := range w.p.Plan.StateReasons {
		w.line("  - %s", r)
	}
	w.line("What to do: submit it, have it decided, and print the page again. Destroy older pages.")
}

// clock shows an instant on the site's clock, with its offset.
func (w *writer) clock(t interface{ AsTime() time.Time }) string {
	return t.AsTime().In(w.p.Location).Format("15:04 (-07:00)")
}

func (w *writer) name(person string) string {
	if n, ok := w.p.Names[person]; ok {
		return n
	}
	return person
}

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
				each = append(each, fmt.Sprintf("%s %s %s, MOD %s, %s", s.Kind, s.Cylinder, gasText(s.Gas), w.mod(s.Cylinder), w.p.Units.start(s.StartPressure.GetBar())))
			}
			w.line("    %s", strings.Join(each, "; "))
			continue
		}
		for _, s := range m.GetStages() {
			row("", s.Kind+" "+s.Cylinder, gasText(s.Gas), w.mod(s.Cylinder), w.p.Units.start(s.StartPressure.GetBar()), "-")
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

func (w *writer) member(person string) *lastlightv1.PlanDiver {
	for _, m := range w.p.Plan.Team {
		if m.Person == person {
			return m
		}
	}
	return nil
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

func (w *writer) trouble() {
	w.title("STOPS AND TROUBLE")
	w.stops(w.p.Report.Dive.Decompression)
	w.otherWay()
	w.rates()
	if s := w.p.Report.Dive.WorstSharing; s != nil {
		if w.tight {
			w.line("  sharing is tightest: %s for %s, %s above, %s", s.Donor, s.Receiver, w.p.Units.spare(s.MarginL), s.Place)
		} else {
			w.line("  sharing is tightest at %s: %s for %s, %s above what is needed", s.Place, s.Donor, s.Receiver, w.p.Units.spare(s.MarginL))
		}
	}
	if w.tight {
		w.line("  lost gas: share at once, out; lost line: stop, light down, search from a fixed " +
			"spool; lost diver: within your own gas; light: any primary fails, all go out")
	} else {
		w.line("  lost gas: share at once, out by the known way; lost line: stop, light down, " +
			"search from a fixed spool; lost diver: within your own gas only; light: on any primary failure all go out")
	}
	for _, x := range w.p.Plan.Waivers {
		w.waiver(x)
	}
}

// waiver prints what was waived, by whom and on what conditions; one that does not stand is not on the page.
func (w *writer) waiver(x *lastlightv1.Waiver) {
	if x.State != "standing" {
		return
	}
	by := w.name(x.WaivedBy)
	if x.SecondApprover != "" {
		by += " and " + w.name(x.SecondApprover)
	}
	if x.ExpiresAt != nil {
		by += ", until " + x.ExpiresAt.AsTime().In(w.p.Location).Format("2 Jan 15:04 (-07:00)")
	}
	if x.Said != "" {
		by += ": " + x.Said
	}
	w.line("  waived: %s, by %s", x.Rule, by)
	for _, c := range x.Conditions {
		w.line("    [ ] on condition: %s", c)
	}
}

// rates says whose consumption the gas was reckoned with was measured, as far as
// the reader sees it, and at whose worst nothing was reckoned.
func (w *writer) rates() {
	var of, without []string
	for _, d := range w.p.Report.Dive.Divers {
		var said string
		switch d.ConsumptionOrigin {
		case "measured":
			said = fmt.Sprintf("measured over %d dives to %s", d.ConsumptionDives, d.ConsumptionTo)
		case "stated":
			said = "as stated"
		case "policy_default":
			said = "the policy's default"
		default:
			continue
		}
		of = append(of, fmt.Sprintf("%s %s %s", d.Name, w.p.Units.rate(d.ConsumptionLMin), said))
		if d.WorstConsumptionLMin == 0 {
			without = append(without, d.Name)
		}
	}
	if len(of) == 0 {
		return
	}
	if len(without) > 0 {
		of = append(of, "no worst recorded of "+strings.Join(without, ", "))
	}
	w.line("  consumption: %s", strings.Join(of, "; "))
}

// stops prints the schedule with the place of every stop, and how long the
// longest way out takes.
func (w *writer) stops(d *lastlightv1.Decompression) {
	switch {
	case d == nil:
		w.line("  stops: not computed: NO DIVE")
		return
	case !d.StopsNeeded:
		w.line("  stops: none needed as planned or on any known way out, as computed")
		return
	case len(d.Stops) == 0:
		w.line("  stops: none as planned")
	case !w.dense:
		w.line("  stops as planned: %d min, %s min from the turn to the surface", d.StopMin, number(math.Ceil(d.ToSurfaceMin), 0))
	}
	w.planned(d)
	w.otherSchedules(d)
	if l := d.Longest; l != nil {
		w.line("  longest way out: %d min of stops, %s min, from %s", l.StopMin, number(math.Ceil(l.ToSurfaceMin), 0), l.Place)
	}
}

// planned prints every stop with its place and what is breathed there, where that
// changes, and the changes of gas that are made elsewhere.
func (w *writer) planned(d *lastlightv1.Decompression) {
	var list []string
	on := ""
	for _, s := range d.Stops {
		text := fmt.Sprintf("%s m %d min from minute %s, %s", number(s.DepthM, 1), s.Minutes, minutes(math.Floor(s.ArriveMin)), s.Place)
		if now := strings.Join(s.Breathing, ", "); now != on {
			on = now
			text += ", on " + now
		}
		list = append(list, text)
	}
	if w.dense && len(list) > 0 {
		list[0] = fmt.Sprintf("stops, %d min, %s min from the turn to the surface: ", d.StopMin, number(math.Ceil(d.ToSurfaceMin), 0)) + list[0]
	}
	for i, c := range d.Changes {
		text := c.Cylinder + " (" + w.name(c.Person) + ")"
		if i > 0 && d.Changes[i-1].DepthM == c.DepthM && d.Changes[i-1].Minute == c.Minute {
			list[len(list)-1] += ", " + text
			continue
		}
		list = append(list, fmt.Sprintf("change at %s m, minute %s, to %s", number(c.DepthM, 1), minutes(math.Floor(c.Minute)), text))
	}
	w.entries(list)
}

// entries have a line each, or share lines where the page is dense.
func (w *writer) entries(list []string) {
	if w.dense && len(list) > 0 {
		w.line("  %s", strings.Join(list, "; "))
		return
	}
	for _, text := range list {
		w.line("   %s", text)
	}
}

// otherSchedules prints, in minutes for each depth, the dive deeper and longer and
// the whole schedule after each gas that can be lost, from the farthest place, with
// whether the gas for it is there and whose it is.
func (w *writer) otherSchedules(d *lastlightv1.Decompression) {
	type row struct {
		label, gas string
		stops      []*lastlightv1.DecompressionStop
		total      float64
	}
	var rows []row
	for _, v := range d.Variants {
		label := ""
		if v.DeeperM > 0 {
			label = "+" + number(v.DeeperM, 1) + " m "
		}
		if v.LongerMin > 0 {
			label += "+" + number(v.LongerMin, 0) + " min"
		}
		rows = append(rows, row{strings.TrimSpace(label), gasHolds(v.Short, nil), v.Stops, v.ToSurfaceMin})
	}
	place := ""
	for _, l := range d.LostGas {
		label := "lost " + strings.Join(l.Lost, " or ")
		if l.NoSchedule {
			w.line("  %s at %s: NO SCHEDULE", label, l.Place)
			continue
		}
		place = l.Place
		rows = append(rows, row{label, gasHolds(l.Short, l.Breathes), l.Stops, l.ToSurfaceMin})
	}
	var depths []float64
	for _, r := range rows {
		for _, s := range r.stops {
			if !slices.Contains(depths, s.DepthM) {
				depths = append(depths, s.DepthM)
			}
		}
	}
	if len(rows) == 0 {
		return
	}
	slices.SortFunc(depths, func(a, b float64) int { return cmp.Compare(b, a) })
	widest := 12
	for _, r := range rows {
		widest = max(widest, min(runes(r.label), 30))
	}
	head := fmt.Sprintf("  %-*s", widest, "stop min at m")
	for _, x := range depths {
		head += fmt.Sprintf("%5s", number(x, 1))
	}
	head += "   out"
	if place != "" {
		if at := "  (lost: at " + place + ")"; runes(head)+runes(at) <= Width {
			head += at
		} else {
			w.line("  lost: at %s", place)
		}
	}
	w.line("%s", head)
	for _, r := range rows {
		text := fmt.Sprintf("  %-*s", widest, r.label)
		for _, x := range depths {
			n := int32(0)
			for _, s := range r.stops {
				if s.DepthM == x {
					n += s.Minutes
				}
			}
			cell := "-"
			if n > 0 {
				cell = fmt.Sprint(n)
			}
			text += fmt.Sprintf("%5s", cell)
		}
		w.line("%s%6s  %s", text, minutes(math.Ceil(r.total)), r.gas)
	}
}

// inShort is a schedule in one line: depths and minutes.
func inShort(stops []*lastlightv1.DecompressionStop) string {
	var list []string
	for _, s := range stops {
		list = append(list, fmt.Sprintf("%s m %d", number(s.DepthM, 1), s.Minutes))
	}
	if len(list) == 0 {
		return "no stop"
	}
	return strings.Join(list, ", ")
}

// gasHolds says whether the gas for a schedule is there, and whose.
func gasHolds(short, breathes []string) string {
	switch {
	case len(short) > 0:
		return "NOT ENOUGH " + strings.Join(short, ", ")
	case len(breathes) > 0: // whoever lost it breathes what else is that diver's own
		return "enough, of the own"
	}
	return "gas enough"
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

func gasText(g *lastlightv1.GasMix) string {
	if g.GetHeliumPercent() > 0 {
		return fmt.Sprintf("%s/%s", number(g.OxygenPercent, 1), number(g.HeliumPercent, 1))
	}
	return fmt.Sprintf("%s %% O2", number(g.GetOxygenPercent(), 1))
}

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
	if w.tight {
		w.line("  anybody or any gas changes; a start below the rows; level, flow or visibility " +
			"outside the site's limits; past the enter-by time; another code word")
		return
	}
	w.line("  anybody or any gas changes; a start is below the rows above; level, flow or " +
		"visibility is outside the site's limits today; it is past the enter-by time; the code word differs from the board")
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

func (w *writer) caution() {
	r := w.p.Report
	w.line("policy %s, survey %s, engine %s, report %.12s", r.Policy, r.Survey, r.EngineVersion, r.Hash)
	if w.tight {
		w.line("A planning aid: replaces no training, doctor, owner's rule or law; no promise.")
		return
	}
	w.line("A planning aid on what was entered. It does not replace training, a doctor, the owner's rules or the law, and an approval is no promise of safety.")
}

func short(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "."
}

func number(x float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, x)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func minutes(x float64) string { return fmt.Sprintf("%.0f", x) }
