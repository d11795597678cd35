package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"lastlight/client/exit"
	"lastlight/client/table"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

func mix(g *pb.GasMix) string { return units.Mix(g) }

// Verdict is a report's worst status in words.
func Verdict(status string) string {
	switch status {
	case "refuse":
		return "REFUSED"
	case "indeterminate":
		return "BLOCKED: something is not known"
	case "needs_waiver":
		return "BLOCKED: needs a waiver"
	case "caution":
		return "PASSES, with cautions"
	case "note", "pass", "not_applicable":
		return "PASSES"
	default:
		return "UNKNOWN"
	}
}

// Blocks tells whether the server's verdict keeps the plan from being
// approved as it stands. A word that is not known blocks.
func Blocks(status string) bool {
	return !strings.HasPrefix(Verdict(status), "PASSES")
}

// reportVerdict is the verdict of a report with what was waived.
func reportVerdict(r *pb.Report) string {
	if r.GetWaived() {
		return "PASSES, with what was waived"
	}
	return Verdict(r.GetVerdict())
}

// Outcome is the exit code of a verdict.
func Outcome(r *pb.Report) error {
	if Blocks(r.GetVerdict()) && !r.GetWaived() {
		return exit.Silent(exit.Refused)
	}
	return nil
}

var statusWord = map[string]string{
	"refuse": "REFUSED", "indeterminate": "NOT KNOWN", "needs_waiver": "NEEDS WAIVER", "caution": "CAUTION", "note": "NOTE",
	"pass": "PASS", "not_applicable": "DOES NOT APPLY",
}

// ReportOptions add to a report what is left out of it at first.
type ReportOptions struct {
	// Passes and rules that do not apply as well.
	All bool
	// The arithmetic of each finding.
	Steps bool
	// The site, in whose zone times are shown.
	Site string
}

// Report shows an evaluation: the verdict and how many reasons; each reason,
// worst first; what to do; how many checks passed; versions; the caution.
func (w View) Report(r *pb.Report, o ReportOptions) error {
	if !w.Page {
		return w.findings(r, o)
	}
	p := &page{w: w}
	p.headline(fmt.Sprintf("%s  plan %s, version %d", reportVerdict(r), r.GetPlan(), r.GetPlanVersion()))
	c := r.GetCounts()
	p.line("%s, %s, %s; %s passed.", count(c.GetRefuse(), "reason to refuse", "reasons to refuse"),
		count(c.GetIndeterminate(), "unknown", "unknowns"), count(c.GetNeedsWaiver(), "needs a waiver", "need a waiver"),
		count(c.GetPass(), "check", "checks"))
	w.reasons(p, r, o)
	p.toDo(r)
	w.otherWay(p, r.GetDive())
	p.stops(r.GetDive().GetDecompression())
	w.flights(p, r.GetDive().GetDivers(), o.Site)
	p.line("%s passed, %s.", count(c.GetPass(), "check", "checks"), count(c.GetNotApplicable(), "does not apply", "do not apply"))
	p.label(0, "Rules", r.GetPolicy())
	p.label(0, "Survey", r.GetSurvey())
	p.label(0, "Engine", r.GetEngineVersion())
	p.label(0, "Evaluated", strings.TrimSpace(w.Time(r.GetEvaluatedAt(), o.Site)+", for "+r.GetMoment()))
	p.label(0, "Report", r.GetHash())
	p.line("%s", w.Units.Note())
	p.line("%s", Cautions[2])
	return p.err
}

// reasons lists the findings in the order of the server. What blocks stands
// in full; cautions and notes are a line each unless all is asked for.
func (w View) reasons(p *page, r *pb.Report, o ReportOptions) {
	shown, brief := false, false
	findings := r.GetFindings()
	said := make([]bool, len(findings))
	for i, f := range findings {
		if said[i] {
			continue
		}
		n := i + 1 // the number that `plan explain` takes
		switch status := f.GetStatus(); {
		case o.All || o.Steps && !passes(status) || !passes(status) && status != "caution" && status != "note":
			shown = true
			p.blank()
			same := alike(findings, i, o.Steps)
			for _, k := range same {
				said[k] = true
			}
			w.finding(p, n, r.GetPlan(), findings, same, o)
		case status == "caution" || status == "note":
			if !brief {
				p.blank()
			}
			brief = true
			p.label(0, fmt.Sprintf("%2d. %s", n, statusWord[status]), f.GetMessage())
		}
	}
	if shown || brief {
		p.blank()
	}
}

func passes(status string) bool { return status == "pass" || status == "not_applicable" }

// alike gives the numbers of the findings that are told together with the one at i, itself first: those right after it that say
// the same of the same thing under other rules, for one missing card leaves many rules unanswered; and of what hangs on one
// thing to be mended first, whatever it leaves unanswered, wherever it stands. Where the steps are shown, only what has none.
func alike(fs []*pb.Finding, i int, steps bool) []int {
	same := []int{i}
	if !plain(fs[i], steps) {
		return same
	}
	a := fs[i]
	for k := i + 1; k < len(fs); k++ {
		b := fs[k]
		switch {
		case slices.Contains(upstream, a.GetCode()):
			if b.GetCode() != a.GetCode() || !plain(b, steps) {
				continue
			}
		case !plain(b, steps) || a.GetStatus() != b.GetStatus() || a.GetMessage() != b.GetMessage() || a.GetRemedy() != b.GetRemedy() ||
			subject(a) != subject(b) || a.GetPlace() != b.GetPlace() || a.GetDueAt() != b.GetDueAt():
			return same
		}
		same = append(same, k)
	}
	return same
}

// upstream are the codes of what cannot be told before one other thing is mended: the route, or the cards that say which level counts.
var upstream = []string{"route_unknown", "level_unknown"}

// plain tells whether a finding says nothing beyond its message and remedy; its steps only count where they are shown.
func plain(f *pb.Finding, steps bool) bool {
	return f.GetObserved() == nil && f.GetLimit() == nil && f.GetShortfall() == nil && len(f.GetFigures()) == 0 &&
		len(f.GetWaivableBy()) == 0 && f.GetWaivedBy() == "" && (!steps || len(f.GetSteps()) == 0)
}

// sameFor names what was told together: the rule, and what it is about where that differs.
func sameFor(fs []*pb.Finding, same []int) string {
	var rules []string
	about := map[string][]string{}
	first := subject(fs[same[0]])
	for _, k := range same[1:] {
		rule := fs[k].GetRule()
		if !slices.Contains(rules, rule) {
			rules = append(rules, rule)
		}
		if who := subject(fs[k]); who != first {
			about[rule] = append(about[rule], who)
		}
	}
	for i, rule := range rules {
		if len(about[rule]) > 0 {
			rules[i] += " (" + strings.Join(about[rule], "; ") + ")"
		}
	}
	return strings.Join(rules, ", ")
}

func (w View) finding(p *page, n int, plan string, all []*pb.Finding, same []int, o ReportOptions) {
	f := all[same[0]]
	word := statusWord[f.GetStatus()]
	switch {
	case f.GetWaivedBy() != "":
		word = "WAIVED"
	case word == "":
		word = strings.ToUpper(f.GetStatus())
	}
	head := fmt.Sprintf("%2d. %s", n, word)
	if who := subject(f); who != "" {
		head += "  " + who
	}
	if place := f.GetPlace(); place != "" && place != subject(f) {
		// "arriving at fork" and "3 min into the hold at rose" say their own preposition.
		if !strings.Contains(" "+place, " at ") {
			place = "at " + place
		}
		head += ", " + place
	}
	p.headline(head)
	p.indented(4, f.GetMessage())
	if seen := w.Units.Figure(f.GetObserved(), false); !strings.HasSuffix(f.GetMessage(), seen) {
		p.label(4, "measured", seen)
	}
	p.label(4, "limit", w.Units.Figure(f.GetLimit(), false))
	p.label(4, "short by", w.Units.Figure(f.GetShortfall(), true))
	var more []string
	for _, x := range f.GetFigures() {
		// Figures without a number are words of the message.
		if x.Number == nil {
			continue
		}
		more = append(more, strings.TrimSpace(figureName(x.GetName())+" "+w.Units.Figure(x, strings.HasSuffix(x.GetName(), "_bar"))))
	}
	p.label(4, "also", strings.Join(more, "; "))
	p.label(4, "would pass", f.GetRemedy())
	p.label(4, "record with", recordWith(f, plan))
	switch {
	case f.GetWaivedBy() != "":
		p.label(4, "waived by", waivedBy(f))
	case f.GetStatus() == "pass" || f.GetStatus() == "not_applicable" || f.GetStatus() == "note" || f.GetStatus() == "caution":
	case len(f.GetWaivableBy()) == 0:
		p.label(4, "waiver", "nobody may waive this")
	default:
		who := strings.ReplaceAll(strings.Join(f.GetWaivableBy(), " or "), "_", " ")
		if f.GetSecondApprover() {
			who += ", with a second approver"
		}
		p.label(4, "waiver", who+"; finding "+f.GetKey())
	}
	if f.GetDueAt() != "" {
		p.label(4, "asked again at", f.GetDueAt())
	}
	p.label(4, "rule", fmt.Sprintf("%s (version %d)%s", f.GetRule(), f.GetRuleVersion(), cited(f.GetCitation())))
	p.label(4, "the same for", sameFor(all, same))
	if o.Steps {
		for _, s := range f.GetSteps() {
			text := s.GetFormula()
			var in []string
			for _, x := range s.GetInputs() {
				in = append(in, strings.TrimSpace(x.GetName()+" "+w.Units.Figure(x, false)))
			}
			if len(in) > 0 {
				text += "; " + strings.Join(in, ", ")
			}
			p.label(4, s.GetWhat(), strings.TrimSpace(text+" = "+w.Units.Figure(s.GetResult(), false)))
		}
	}
}

// waivedBy names everybody who signed a finding's waiver.
func waivedBy(f *pb.Finding) string {
	if f.GetWaiverSecondApprover() == "" {
		return f.GetWaivedBy()
	}
	return f.GetWaivedBy() + " and, as second approver, " + f.GetWaiverSecondApprover()
}

// figureName is a figure's name in words; its unit stands with its value.
func figureName(name string) string {
	switch name {
	case "short_bar":
		return "short by"
	case "need_bar":
		return "needed at the start"
	}
	return strings.ReplaceAll(strings.TrimSuffix(name, "_bar"), "_", " ")
}

func subject(f *pb.Finding) string {
	name := func(s *pb.FindingSubject) string {
		if s.GetName() != "" {
			return s.GetName()
		}
		return strings.TrimSpace(s.GetKind() + " " + s.GetId())
	}
	who := name(f.GetSubject())
	if f.GetOther() != nil {
		who += " and " + name(f.GetOther())
	}
	return who
}

func cited(c *pb.Citation) string {
	var words []string
	for _, s := range []string{c.GetDocument(), c.GetEdition(), c.GetSection()} {
		if s != "" {
			words = append(words, s)
		}
	}
	if len(words) == 0 {
		return ""
	}
	return ", " + strings.Join(words, ", ")
}

// toDo says what can be done about a verdict; the server has said what would pass.
func (p *page) toDo(r *pb.Report) {
	switch r.GetVerdict() {
	case "refuse":
		p.label(0, "What to do", "Change the plan as \"would pass\" says, then `lastlight plan submit "+r.GetPlan()+"`. A refusal cannot be waived.")
	case "indeterminate":
		p.label(0, "What to do", "Enter what is missing, then submit again. What is not known never passes.")
	case "needs_waiver":
		if r.GetWaived() {
			p.label(0, "What to do", "A coordinator who takes no part in the dive decides: `lastlight plan approve "+r.GetPlan()+"`.")
			return
		}
		p.label(0, "What to do", "Change the plan, or ask one who may: `lastlight plan waive "+r.GetPlan()+"`, with a reason.")
	default:
		p.label(0, "What to do", "A coordinator who takes no part in the dive decides: `lastlight plan approve "+r.GetPlan()+"`.")
	}
}

func (w View) findings(r *pb.Report, o ReportOptions) error {
	t := table.Table{}
	for _, title := range []string{"status", "who", "place", "measured", "limit", "short by", "would pass", "waivable by", "waived by", "message", "rule", "key", "second approver"} {
		t.Columns = append(t.Columns, table.Column{Title: title})
	}
	for _, f := range r.GetFindings() {
		if !o.All && (f.GetStatus() == "pass" || f.GetStatus() == "not_applicable") {
			continue
		}
		t.Rows = append(t.Rows, []string{
			f.GetStatus(), subject(f), f.GetPlace(), w.Units.Figure(f.GetObserved(), false), w.Units.Figure(f.GetLimit(), false),
			w.Units.Figure(f.GetShortfall(), true), f.GetRemedy(), strings.Join(f.GetWaivableBy(), ","), f.GetWaivedBy(), f.GetMessage(), f.GetRule(), f.GetKey(),
			f.GetWaiverSecondApprover(),
		})
	}
	return w.Table(t)
}

// flights says before when nobody flies after the dive as planned.
func (w View) flights(p *page, divers []*pb.DiverFigures, site string) {
	for _, d := range divers {
		if t := d.GetEarliestFlight(); t != nil {
			p.label(0, "No flight", d.GetName()+" before "+w.Time(t, site))
		}
	}
}

// stops shows the dive's stops with their places.
func (p *page) stops(d *pb.Decompression) {
	if !d.GetStopsNeeded() {
		return
	}
	p.label(0, "Stops", fmt.Sprintf("%d min as planned, %.0f min from the turn to the surface", d.GetStopMin(), math.Ceil(d.GetToSurfaceMin())))
	for _, s := range d.GetStops() {
		p.indented(2, fmt.Sprintf("%g m, %d min, from minute %.0f, %s, on %s", s.GetDepthM(), s.GetMinutes(), math.Floor(s.GetArriveMin()), s.GetPlace(), strings.Join(s.GetBreathing(), ", ")))
	}
	if l := d.GetLongest(); l != nil {
		p.indented(2, fmt.Sprintf("most stops on a way out, from %s: %d min, %.0f min to the surface", l.GetPlace(), l.GetStopMin(), math.Ceil(l.GetToSurfaceMin())))
	}
	for _, l := range d.GetLostGas() {
		lost := "lost " + strings.Join(l.GetLost(), " or ")
		if len(l.GetCarriedBy()) > 0 {
			lost = strings.Join(l.GetCarriedBy(), " or ") + " lost all carried"
		}
		text := lost + " at " + l.GetPlace() + ": "
		switch {
		case l.GetNoSchedule():
			text += "no schedule"
		default:
			text += fmt.Sprintf("%s, %.0f min to the surface", inShort(l.GetStops()), math.Ceil(l.GetToSurfaceMin()))
		}
		switch {
		case len(l.GetShort()) > 0:
			text += "; not enough " + strings.Join(l.GetShort(), ", ")
		case len(l.GetBreathes()) > 0:
			text += "; enough, on " + strings.Join(l.GetBreathes(), ", ")
		}
		p.indented(2, text)
	}
	p.blank()
}

// otherWay compares the circuit of the route with the other way round.
func (w View) otherWay(p *page, d *pb.DiveFigures) {
	o := d.GetOtherWay()
	if o == nil {
		return
	}
	text := "the circuit at " + o.GetStation() + ": "
	if o.RuntimeMin == nil {
		p.label(0, "Other way", text+"cannot be computed: "+strings.Join(o.GetWhy(), "; "))
		return
	}
	text += fmt.Sprintf("%.0f min (as planned %.0f), %s (as planned %s)", math.Ceil(o.GetRuntimeMin()), math.Ceil(d.GetRuntimeMin()), inShort(o.GetStops()), inShort(d.GetDecompression().GetStops()))
	if !o.GetHolds() {
		text += "; does not hold: " + strings.Join(o.GetWhy(), ", ")
	}
	p.label(0, "Other way", text)
}

// inShort is a schedule in a few words: depths and minutes.
func inShort(stops []*pb.DecompressionStop) string {
	var list []string
	for _, s := range stops {
		list = append(list, fmt.Sprintf("%g m %d", s.GetDepthM(), s.GetMinutes()))
	}
	if len(list) == 0 {
		return "no stop"
	}
	return "stops " + strings.Join(list, ", ")
}
