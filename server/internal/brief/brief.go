// Package brief writes the page for the water's edge: everything a team needs
// when there is no signal, in 80 columns and 66 lines, black and white, as text.
// It computes nothing: all figures come from the decision's stored report.
package brief

import (
	"fmt"
	"strings"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
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
	// Pressure in bar read at the water, by the supply's id; nil: nothing was read yet, and the starts are those planned.
	Measured map[string]float64
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
	w.line("What to do: %s. Destroy older pages.", toDo(w.p.Plan.State))
}

// toDo is what makes a page to dive on of a plan in this state.
func toDo(s lastlightv1.PlanState) string {
	const decided = "have it decided, and print the page again"
	switch s {
	case lastlightv1.PlanState_PLAN_STATE_SUBMITTED:
		return decided
	case lastlightv1.PlanState_PLAN_STATE_STALE:
		return "submit it again, " + decided
	case lastlightv1.PlanState_PLAN_STATE_REFUSED, lastlightv1.PlanState_PLAN_STATE_WITHDRAWN, lastlightv1.PlanState_PLAN_STATE_EXPIRED:
		return "change it, submit it, " + decided
	case lastlightv1.PlanState_PLAN_STATE_CLOSED:
		return "it has been dived; another dive is another plan"
	}
	return "submit it, " + decided
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
