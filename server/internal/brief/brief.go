// Package brief writes the page for the water's edge: everything a team needs
// when there is no signal, in 80 columns, black and white, as text. It computes
// nothing: all figures come from the decision's stored report.
package brief

import (
	"fmt"
	"math"
	"strings"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Width of the page in columns.
const Width = 80

// Page is what stands on it.
type Page struct {
	Plan     *lastlightv1.Plan
	Site     *lastlightv1.Site
	Report   *lastlightv1.Report // of the decision; lower starts filled in
	Names    map[string]string   // person id → name
	Location *time.Location      // the site's clock
	// Conditions that the approval left for entry.
	Conditions []string
}

// Valid tells whether the page may be dived on: approved, or in the water.
func (p *Page) Valid() bool {
	return p.Report != nil && (p.Plan.State == lastlightv1.PlanState_PLAN_STATE_APPROVED || p.Plan.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER)
}

// Text writes the page.
func Text(p *Page) string {
	w := &writer{p: p}
	w.head()
	if !p.Valid() {
		w.notValid()
		return w.String()
	}
	w.turn()
	w.lower()
	w.way()
	w.gasAndLines()
	w.watch()
	w.voids()
	w.checklist()
	w.caution()
	return w.String()
}

type writer struct {
	strings.Builder
	p *Page
}

func (w *writer) line(format string, args ...any) {
	for _, l := range wrap(fmt.Sprintf(format, args...), Width) {
		w.WriteString(strings.TrimRight(l, " "))
		w.WriteByte('\n')
	}
}

func (w *writer) title(text string) {
	w.WriteByte('\n')
	w.line("%s", strings.ToUpper(text))
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
	for _, c := range w.p.Conditions {
		w.line("ONLY IF    %s", c)
	}
	w.title("turn at the first of pressure, place, minute; any diver may turn the dive")
	w.line("  %-16s %-20s %10s %12s", "diver", "supply", "start bar", "TURN bar")
	for _, x := range d.Divers {
		for i, t := range x.Turns {
			name := x.Name
			if i > 0 {
				name = ""
			}
			w.line("  %-16s %-20s %10s %12s", short(name, 16), short(t.Supply, 20), number(t.StartBar, 0), up(t.TurnBar))
		}
	}
	if t := d.TurnAtTheLatest; t != nil {
		if t.WholeRoute {
			w.line("  place   as planned: the gas allows the whole route")
		} else {
			w.line("  place   %s (%s)", Place(t), strings.Join(t.Binds, "; "))
		}
	}
	w.line("  minute  %s after entry", minutes(math.Floor(d.TurnMinute)))
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
	w.title("if one diver starts lower (the others as planned)")
	for _, x := range d.Divers {
		for _, l := range x.LowerStarts {
			if l.NoDive != "" {
				w.line("  %-14s below %s: NO DIVE", short(x.Name, 14), number(l.StartBar, 0))
				continue
			}
			turns := w.turnsOf(l.Turns)
			place := ""
			if l.TurnAtTheLatest != "as planned" {
				place = "; no farther than " + l.TurnAtTheLatest
			}
			w.line("  %-14s %s: turn %s%s", short(x.Name, 14), up(l.StartBar), strings.Join(turns, ", "), place)
		}
	}
	w.line("  start not in a row, or two lower: sign in for new turns; no link: NO DIVE")
}

// turnsOf names each diver once; several cylinders with one turn are said together.
func (w *writer) turnsOf(all []*lastlightv1.SupplyTurn) []string {
	var out []string
	for i := 0; i < len(all); {
		t, end, alike := all[i], i, true
		for end < len(all) && all[end].Person == t.Person {
			alike = alike && up(all[end].TurnBar) == up(t.TurnBar)
			end++
		}
		name := short(w.name(t.Person), 12)
		switch {
		case end == i+1:
			out = append(out, name+" "+up(t.TurnBar))
		case alike:
			out = append(out, name+" each "+up(t.TurnBar))
		default:
			var each []string
			for _, x := range all[i:end] {
				each = append(each, x.Supply+" "+up(x.TurnBar))
			}
			out = append(out, name+" ("+strings.Join(each, ", ")+")")
		}
		i = end
	}
	return out
}

func (w *writer) way() {
	w.title("the way")
	p, d := w.p.Plan, w.p.Report.Dive
	w.line("  min  station and what is done there")
	w.line("    0  %s: descend", p.Route.Start)
	for _, r := range d.Route {
		text := fmt.Sprintf("  %3s  %s, by %s", minutes(math.Floor(r.ArriveMin)), r.To, r.Leg)
		if r.Zone == "cavern" {
			text += " (daylight zone)"
		}
		if int(r.Move) <= len(p.Route.Moves) && r.Move > 0 {
			text += w.tasks(p.Route.Moves[r.Move-1])
		}
		w.line("%s", text)
	}
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
	if placed+removed > 0 {
		w.line("  markers: %d placed, %d to be counted back", placed, removed)
	}
	for _, l := range p.Route.Left {
		w.line("  left on purpose: %s %s", l.Kind, l.Item)
	}
}

func (w *writer) tasks(m *lastlightv1.RouteMove) string {
	var t []string
	if m.RunLine {
		text := "run line"
		if m.Reel != "" {
			text += " from " + m.Reel + w.carrier(m.Reel)
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

func (w *writer) gasAndLines() {
	w.title("gas, stops and trouble")
	d := w.p.Report.Dive
	for _, m := range w.p.Plan.Team {
		gas := gasText(m.Gas)
		for _, s := range m.Stages {
			gas += ", " + s.Kind + " " + s.Cylinder + " " + gasText(s.Gas)
		}
		w.line("  %-16s %s", short(w.name(m.Person), 16), gas)
	}
	w.stops(d.Decompression)
	if s := d.WorstSharing; s != nil {
		w.line("  sharing is tightest at %s: %s for %s, %s L above what is needed", s.Place, s.Donor, s.Receiver, number(math.Floor(s.MarginL), 0))
	}
	w.line("  lost gas: share at once, out by the known way; lost line: stop, light down, search from a fixed spool; " +
		"lost diver: within your own gas only; light: on any primary failure all go out")
	for _, x := range w.p.Plan.Waivers {
		w.line("  waived: %s, by %s", x.Rule, w.name(x.WaivedBy))
	}
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
	default:
		w.line("  stops as planned: %d min, %s min from the turn to the surface", d.StopMin, number(math.Ceil(d.ToSurfaceMin), 0))
	}
	for _, s := range d.Stops {
		w.line("   %3s m %3d min  from minute %-4s %s; on %s", number(s.DepthM, 1), s.Minutes, minutes(math.Floor(s.ArriveMin)), s.Place, strings.Join(s.Breathing, ", "))
	}
	for _, c := range d.Changes {
		w.line("  change to %s (%s) at %s m, minute %s", c.Cylinder, w.name(c.Person), number(c.DepthM, 1), minutes(math.Floor(c.Minute)))
	}
	if l := d.Longest; l != nil {
		w.line("  longest way out after a loss: from %s, %d min of stops, %s min to the surface", l.Place, l.StopMin, number(math.Ceil(l.ToSurfaceMin), 0))
	}
}

func gasText(g *lastlightv1.GasMix) string {
	if g.GetHeliumPercent() > 0 {
		return fmt.Sprintf("%s/%s", number(g.OxygenPercent, 1), number(g.HeliumPercent, 1))
	}
	return fmt.Sprintf("%s %% O2", number(g.GetOxygenPercent(), 1))
}

func (w *writer) watch() {
	w.title("who misses us")
	t := w.p.Report.Dive.Watch
	if t == nil {
		w.line("  the times cannot be told: no dive")
		return
	}
	if cover := w.p.Plan.Cover; cover != "" {
		w.line("  cover %s, dry, with this page", w.name(cover))
	}
	w.line("  for entry at %s; entering later, cover writes the times from the board:", w.clock(w.p.Report.Dive.Entry))
	w.line("  out (ETO) %s   look at the entrance %s", w.clock(t.Eto), w.clock(t.Look))
	w.line("  tell the coordinator %s   DIAL %s", w.clock(t.Coordinator), w.clock(t.Dial))
	if t.Walk != nil {
		w.line("  start walking to the signal at %s", w.clock(t.Walk))
	}
	e := w.p.Site.Emergency
	switch {
	case e.GetEmergencyNumber() == "":
		w.line("  NUMBER: none on record for this site")
	case e.GetRescueService() != "":
		w.line("  NUMBER %s: %s", e.EmergencyNumber, e.RescueService)
	default:
		w.line("  NUMBER %s", e.EmergencyNumber)
	}
	if e.GetSignalPoint() != "" {
		w.line("  signal: %s", e.SignalPoint)
	}
	w.line("  cover ends the alarm for each diver by seeing that diver out; each diver signs out")
	w.line("  nothing here rings by itself: whoever has the watch looks, tells and dials")
}

func (w *writer) voids() {
	w.title("this page is void if")
	w.line("  anybody or any gas changes; a pressure is below the rows above; level, flow or visibility " +
		"is outside the site's limits today; it is past the enter-by time; the code word differs from the board")
}

func (w *writer) checklist() {
	w.title("read aloud and ticked")
	items := []string{
		"goal, route, order in and out", "max depth and time", "turn pressures, who controls", "gas analysed, labelled, MOD read",
		"lights tested", "two cutting tools each", "spare mask", "reels, spools, markers counted", "sharing drill, bubble check",
		"valves open, gauges read aloud", "flow and visibility as planned", "signals", "lost line, diver, light, gas",
		"cover repeats dial time", "oxygen and chamber known", "anybody may end any dive",
	}
	for i := 0; i < len(items); i += 2 {
		right := ""
		if i+1 < len(items) {
			right = "[ ] " + items[i+1]
		}
		w.line("  [ ] %-36s%s", items[i], right)
	}
}

func (w *writer) caution() {
	r := w.p.Report
	w.WriteByte('\n')
	w.line("policy %s, survey %s, engine %s, report %.12s", r.Policy, r.Survey, r.EngineVersion, r.Hash)
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

// up writes whole bar, never fewer: a turn is never printed later than it is.
func up(bar float64) string { return number(math.Ceil(bar-1e-6), 0) }

func minutes(x float64) string { return fmt.Sprintf("%.0f", x) }
