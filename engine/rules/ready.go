package rules

import (
	"cmp"
	"slices"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gear"
	"lastlight/engine/policy"
)

// ReadyInput is a person's question for one day, without a plan.
type ReadyInput struct {
	PolicyVersion string           `json:"policy_version"`
	Policy        policy.Policy    `json:"policy"`
	Zones         []calendar.Zone  `json:"zones"` // of the site asked about, else the club's
	Day           calendar.Day     `json:"day"`   // in the first zone
	Diver         facts.Diver      `json:"diver"`
	SiteID        string           `json:"site_id"`   // empty: no site asked about
	SiteName      string           `json:"site_name"` // empty: no site asked about
	SiteGrade     *int             `json:"site_grade"`
	Cylinders     []facts.Cylinder `json:"cylinders"` // the person's own
	Items         []facts.Item     `json:"items"`     // the person's own
}

// Sign is how a line of the answer is meant.
type Sign string

// Stop means not on this day; Ended, that something is over which by itself stops
// nobody; Soon, that either will be so; OK, nothing to do.
const (
	Stop  Sign = "STOP"
	Ended Sign = "ENDED"
	Soon  Sign = "SOON"
	OK    Sign = "OK"
)

// ReadyLine is one thing looked at.
type ReadyLine struct {
	Sign      Sign            `json:"sign"`
	Finding   finding.Finding `json:"finding"`
	Says      string          `json:"says"`
	ToDo      string          `json:"to_do,omitempty"`
	ChangesOn calendar.Day    `json:"changes_on"` // day on which the line changes by itself; none where it does not
}

// ReadyReport is the answer: yes where nothing stops.
type ReadyReport struct {
	Day      calendar.Day `json:"day"`
	Yes      bool         `json:"yes"`
	CountsAs string       `json:"counts_as"` // level as it counts on the day; empty = not known or none
	Because  string       `json:"because"`
	Lines    []ReadyLine  `json:"lines"` // STOP first
}

// scope is how much of a person is asked without a plan.
type scope struct {
	brief  bool // without the days on which things change
	papers bool // without what rests on recorded dives
}

// personCase opens the case of one person on one day, without a plan. The day
// is asked to its end: a card seen this afternoon counts.
func personCase(in ReadyInput, within scope) *Case {
	c := &Case{
		asked: true, scope: within,
		In: &facts.Input{
			Moment: facts.Planning, Policy: in.Policy, PolicyVersion: in.PolicyVersion, Divers: []facts.Diver{in.Diver}, Cylinders: in.Cylinders,
			Plan: facts.Plan{Team: []facts.Member{{Diver: in.Diver.ID, Apparatus: facts.OpenCircuit}}},
			Site: facts.Site{ID: in.SiteID, Name: in.SiteName, Zones: in.Zones, Grade: in.SiteGrade},
		},
		Least: -1,
	}
	c.Policy = &c.In.Policy
	c.members()
	if !in.Day.IsZero() && len(in.Zones) > 0 {
		if end, err := in.Zones[0].EarliestReading(endOf(in.Day)); err == nil {
			c.Days = calendar.On(in.Day)
			c.Span.Entry, c.Span.EnterBy, c.Span.Surfacing = end, end, end
		}
	}
	c.standings()
	return c
}

// Ready answers "am I good to go?" by the same rules as a plan is judged by.
func Ready(in ReadyInput) ReadyReport {
	c := personCase(in, scope{})
	m := c.Team[0]
	out := ReadyReport{Day: in.Day, CountsAs: m.Counts, Because: c.Because(m)}
	out.Lines = c.personLines(readyRules)
	for i := range out.Lines {
		if l := &out.Lines[i]; l.Finding.Rule == "diver.medical" && l.Finding.Code == "not_available" {
			l.ToDo = c.fitAgain(m)
		}
	}
	if l, ok := c.readyGrade(m, in); ok {
		out.Lines = append(out.Lines, l)
	}
	for i := range in.Cylinders {
		out.Lines = append(out.Lines, c.readyCylinder(&in.Cylinders[i], in.Day))
	}
	for i := range in.Items {
		if l, ok := c.readyItem(&in.Items[i], in.Day); ok {
			out.Lines = append(out.Lines, l)
		}
	}
	rank := map[Sign]int{Stop: 0, Ended: 1, Soon: 2, OK: 3}
	slices.SortStableFunc(out.Lines, func(a, b ReadyLine) int {
		return cmp.Or(cmp.Compare(rank[a.Sign], rank[b.Sign]), finding.Compare(a.Finding, b.Finding))
	})
	// A thing is left at home; only what is about the person stops the person.
	out.Yes = !slices.ContainsFunc(out.Lines, func(l ReadyLine) bool {
		return l.Sign == Stop && l.Finding.Subject.Kind != finding.KindCylinder && l.Finding.Subject.Kind != finding.KindItem
	})
	return out
}

// fitAgain is what makes a person fit again, in days only: the line is for them and for whoever may read their medical status. A plan
// and a letter are read by others, and do not say it.
func (c *Case) fitAgain(m Member) string {
	a, _ := c.medicalDue(m)
	switch {
	case m.Record.Medical.NotFit || a.Verdict != due.MedicalEnded || a.LastDay.IsZero():
		return "ask the medical officer what is needed"
	case a.Governs == due.GovernsDeclaration:
		return "the declaration held until " + a.LastDay.String() + ": make it again"
	case a.Governs == due.GovernsDoctor:
		return "the doctor's date was " + a.LastDay.String() + ": see the doctor again"
	}
	return "the examination held until " + a.LastDay.String() + ": have the next one, and its day entered"
}

// ready gives the lines of some rules and of the person's kit.
func ready(in ReadyInput, asked []string, within scope) []ReadyLine {
	c := personCase(in, within)
	lines := c.personLines(asked)
	for i := range in.Cylinders {
		lines = append(lines, c.readyCylinder(&in.Cylinders[i], in.Day))
	}
	for i := range in.Items {
		if l, ok := c.readyItem(&in.Items[i], in.Day); ok {
			lines = append(lines, l)
		}
	}
	return lines
}

func (c *Case) personLines(asked []string) []ReadyLine {
	var lines []ReadyLine
	for i := range table {
		r := &table[i]
		if !slices.Contains(asked, r.ID) || c.noCardCounts() && slices.Contains(restOnTheCard, r.ID) {
			continue
		}
		for _, f := range r.judge(c) {
			// A card that does not count is said by the rule of the cards; what follows from it is not said again.
			follows := r.ID != "diver.card" && f.Code == "unknown" && f.Observed.Text == aCardThatCounts && slices.Contains(asked, "diver.card")
			if f.Status != finding.NotApplicable && !follows {
				lines = append(lines, c.readyLine(f))
			}
		}
		if r.ID == "diver.card" {
			lines = append(lines, c.endorsementLines(r)...)
		}
	}
	return lines
}

// restOnTheCard are rules that, where no card counts, say so once more: diver.card has said it and stops the diver.
var restOnTheCard = []string{"diver.currency", "diver.step_down"}

// noCardCounts tells whether nothing is known that the person asked about counts as by a card.
func (c *Case) noCardCounts() bool { return !c.Team[0].Known || c.Team[0].CardLevel == "" }

// endorsementLines say of each endorsement that counts until when it does, if it ends.
func (c *Case) endorsementLines(r *Rule) []ReadyLine {
	var lines []ReadyLine
	m, k := c.Team[0], c.Policy.Currency
	for _, e := range m.Ends {
		if e.LastDay.IsZero() {
			continue
		}
		f := measured(answer(finding.Pass, "endorsement_ends", m.subject()), finding.Word("", e.Endorsement), finding.Word("", e.LastDay.String()))
		if e.Lapses {
			f.Code, f.Figures = "endorsement_lapses", []finding.Figure{finding.CountOf("uses", e.Uses, "uses"), finding.CountOf("within", k.EndorsementMonths, "months"), finding.CountOf("asked", k.EndorsementUses, "")}
		}
		r.finish(c, &f, r.cited(c))
		lines = append(lines, c.readyLine(f))
	}
	return lines
}

// readyRules are those a person can be asked about without a plan. Whose
// consumption a plan uses stops nobody; who leads a first visit is the plan's.
var readyRules = []string{"diver.card", "diver.minimum_age", "diver.guardian_consent", "diver.medical", "diver.not_diving", "diver.currency", "diver.step_down", "diver.flight"}

// endOf is the day's last minute on the wall.
func endOf(d calendar.Day) calendar.Wall { return calendar.Wall{Day: d, Minute: 24*60 - 1} }

// Because says in words why a diver counts as they do.
func (c *Case) Because(m Member) string {
	switch {
	case !m.Known && m.Card.Code == "unknown" && m.Record != nil && !c.Days.First.IsZero():
		return "no training card is on record"
	case !m.Known && m.Card.Code == "unknown":
		return "cannot tell: " + m.Card.Observed.Text + " is not recorded"
	case !m.Known:
		return "cannot tell: " + words(m.Card.Code)
	}
	if m.CardLevel == "" {
		return "no card counts"
	}
	why := "by the card"
	if m.Card.Code == "card_ends" {
		why = "the card has lapsed to " + m.CardLevel
	}
	switch {
	case len(m.Causes) == 0:
		return why
	case m.TrainingOnly:
		return "training dives only at " + m.CardLevel + " (" + why + "): " + c.whys(m)
	}
	return "one step below " + m.CardLevel + " (" + why + "): " + c.whys(m)
}

// readyLine turns a finding into a line; a last good day within the policy's
// days makes it SOON.
func (c *Case) readyLine(f finding.Finding) ReadyLine {
	l := ReadyLine{Sign: OK, Finding: f, Says: f.Message, ToDo: f.Remedy}
	last := c.lastGood(f)
	switch {
	case f.Blocks():
		l.Sign = Stop
		if reached := figureDay(f, "reached"); !reached.IsZero() {
			l.ChangesOn = reached
		}
		if l.ToDo == "" {
			l.ToDo = "ask the coordinator"
		}
	case f.Status == finding.Caution || f.Status == finding.Note:
		l.Sign = Soon
		if slices.Contains([]string{"card_ends", "endorsement_ended", "endorsement_lapsed"}, f.Code) {
			l.Sign = Ended
		}
		if f.Code == "card_ends" { // no dive is asked about
			l.Says = f.Subject.Label() + ": the " + figure(f, "card") + " card ended on " + f.Limit.Text + ", counts as " + figure(f, "counts_as")
			l.ToDo = "renew the card and have it seen"
		}
		if l.ToDo == "" && strings.HasPrefix(f.Code, "endorsement_") {
			l.ToDo = "have the card seen or renewed, use it in training, or leave out what needs it"
		}
		if l.ToDo == "" && f.Rule == "diver.currency" {
			l.ToDo = "dive more at the level, or a training dive with an instructor"
			l.ChangesOn = figureDay(f, "changes_on")
		}
	}
	if !last.IsZero() && !f.Blocks() {
		l.ChangesOn = last.Add(1)
		if last.Sub(c.Days.Last) <= c.Policy.Cylinders.DueSoonDays {
			l.Sign = Soon
			switch {
			case l.ToDo != "":
			case f.Rule == "diver.currency":
				l.ToDo = "dive at the level by " + last.String()
			case f.Code == "endorsement_lapses":
				l.ToDo = "use it on a dive by " + last.String()
			default:
				l.ToDo = "renew it by " + last.String()
			}
		}
		if f.Rule == "diver.medical" {
			l.Says = f.Subject.Label() + ": fit until " + last.String()
		}
	}
	return l
}

// lastGood is the last day on which a passing finding passes; none where it has no end.
func (c *Case) lastGood(f finding.Finding) calendar.Day {
	switch f.Rule {
	case "diver.card":
		if !slices.Contains([]string{"ok", "last_day", "endorsement_ends", "endorsement_lapses"}, f.Code) || f.Limit == nil {
			return calendar.Day{}
		}
		d, err := calendar.ParseDay(f.Limit.Text)
		if err != nil {
			return calendar.Day{}
		}
		return d
	case "diver.currency":
		if d := figureDay(f, "changes_on"); !d.IsZero() && f.Status == finding.Pass {
			return d.Add(-1)
		}
	case "diver.medical":
		if a, ok := c.medicalDue(c.Team[0]); ok && a.Verdict == due.MedicalValid {
			return a.LastDay
		}
	}
	return calendar.Day{}
}

func figure(f finding.Finding, name string) string {
	for _, x := range f.Figures {
		if x.Name == name {
			return x.Text
		}
	}
	return ""
}

// figureDay is a figure that is a day; none where there is no such figure or it is no day.
func figureDay(f finding.Finding, name string) calendar.Day {
	d, err := calendar.ParseDay(figure(f, name))
	if err != nil {
		return calendar.Day{}
	}
	return d
}

func siteGrade() Rule {
	return table[slices.IndexFunc(table, func(r Rule) bool { return r.ID == "level.site_grade" })]
}

// readyGrade compares the site's grade with what the diver counts as.
func (c *Case) readyGrade(m Member, in ReadyInput) (ReadyLine, bool) {
	if in.SiteName == "" || c.noCardCounts() {
		return ReadyLine{}, false
	}
	c.Level, c.Least = m.Limits(c), 0
	if c.Level != nil {
		c.LevelName = c.Level.Name
	}
	grade := siteGrade()
	fs := grade.judge(c)
	if len(fs) == 0 || fs[0].Status == finding.NotApplicable || fs[0].Code == "level_unknown" { // the card's own line says why
		return ReadyLine{}, false
	}
	return c.readyLine(fs[0]), true
}

// readyCylinder says until when one of the diver's own cylinders may be filled,
// used and carried full, and which of the three ends first.
func (c *Case) readyCylinder(cyl *facts.Cylinder, on calendar.Day) ReadyLine {
	s := finding.Subject{Kind: finding.KindCylinder, ID: cyl.ID, Name: cyl.Name}
	f := finding.Finding{Rule: "cylinder.due", RuleVersion: 1, Subject: s, Status: finding.Pass, Code: "ok"}
	a := gear.CylinderOn(c.Policy, cyl, on)
	f.Citation = a.Fill.Clause
	if a.Use.Answer.Blocks() && !a.Fill.Answer.Blocks() {
		f.Citation = a.Use.Clause
	}
	var said []string
	for _, q := range []struct {
		what string
		may  gear.May
	}{{"filled", a.Fill}, {"used", a.Use}, {"carried full", a.Carry}} {
		said = append(said, mayWords(q.what, q.may))
	}
	f.Message = s.Label() + ": " + strings.Join(said, "; ")
	l := ReadyLine{Sign: OK}
	switch {
	case a.Use.Answer == due.No || a.Fill.Answer == due.No:
		f.Status, f.Code, l.Sign, l.ToDo = finding.Refuse, "overdue", Stop, "take it to test or inspection; leave it at home till then"
		if slices.Contains(a.Use.Why, gear.InQuarantine) {
			f.Code, l.ToDo = "quarantine", "have it released by whoever keeps the gear"
		}
	case a.Fill.Answer == due.CannotTell:
		f.Status, f.Code, l.Sign, l.ToDo = finding.Indeterminate, "cannot_tell", Stop, "enter what was done and when"
	case a.Use.Answer == due.CannotTell:
		f.Status, f.Code, l.Sign, l.ToDo = finding.Indeterminate, "not_filled", Soon, "have the fill recorded before it is dived"
	case a.Due.Status == calendar.Due:
		f.Status, f.Code, l.Sign, l.ToDo = finding.Caution, "due", Soon, "book the "+string(a.Due.Next.Event)+" before "+a.Due.Next.LastDay.String()
	}
	if !a.LastDay.IsZero() && l.Sign != Stop {
		l.ChangesOn = a.LastDay.Add(1)
	}
	l.Finding, l.Says = f, f.Message
	return l
}

// mayWords says one of the three answers: "filled until 2026-05-31", "used: no, hydro test overdue".
func mayWords(what string, m gear.May) string {
	switch {
	case m.Answer == due.CannotTell:
		return what + ": cannot tell, " + allWords(m.Why)
	case m.Answer.Blocks():
		return what + ": no, " + allWords(m.Why)
	}
	text := what + ": yes"
	if !m.Until.IsZero() {
		text = what + " until " + m.Until.String()
	}
	if m.Answer == due.Notice {
		text += " (" + allWords(m.Why) + ")"
	}
	return text
}

// readyItem says when a piece of the diver's own kit falls due; false where the
// policy asks nothing of its kind.
func (c *Case) readyItem(it *facts.Item, on calendar.Day) (ReadyLine, bool) {
	a := gear.ItemOn(c.Policy, it, calendar.Days{}, on)
	if len(a.Clocks) == 0 && it.Quarantined == nil {
		return ReadyLine{}, false
	}
	s := finding.Subject{Kind: finding.KindItem, ID: it.ID, Name: it.Name}
	f := finding.Finding{Rule: "kit.due", RuleVersion: 1, Subject: s, Status: finding.Pass, Code: "ok", Citation: handbook("practice", "9.3")}
	l := ReadyLine{Sign: OK}
	k := gear.Clock{Status: calendar.Current}
	if len(a.Clocks) > 0 {
		k = a.Clocks[0]
		f.Citation = k.Clause
	}
	switch {
	case it.Quarantined != nil:
		f.Status, f.Code, f.Message, l.Sign, l.ToDo = finding.Refuse, "quarantine", s.Label()+": in quarantine", Stop, "have it released by whoever keeps the gear"
	case k.Status == calendar.CannotTell:
		f.Status, f.Code, f.Message = finding.Indeterminate, "cannot_tell", s.Label()+": cannot tell when the "+words(k.Clock)+" is due: "+allWords(k.Why)
		l.Sign, l.ToDo = kitSign(k, Soon), "enter what was done and when"
	case k.Status == calendar.Overdue && k.LastDay.IsZero():
		f.Status, f.Code, f.Message, l.Sign, l.ToDo = finding.Refuse, "overdue", s.Label()+": "+words(k.Clock)+" overdue by the number of dives", kitSign(k, Ended), "have it done"
	case k.Status == calendar.Overdue:
		f.Status, f.Code, f.Message, l.Sign, l.ToDo = finding.Refuse, "overdue", s.Label()+": "+words(k.Clock)+" was due "+k.LastDay.String(), kitSign(k, Ended), "have it done"
	case k.Status == calendar.Due:
		f.Status, f.Code, f.Message, l.Sign, l.ToDo = finding.Caution, "due", s.Label()+": "+words(k.Clock)+" is due "+k.LastDay.String(), Soon, "have it done by "+k.LastDay.String()
	default:
		f.Message = s.Label() + ": in order"
		if !a.LastDay.IsZero() {
			f.Message = s.Label() + ": " + words(a.Clock) + " due " + a.LastDay.String()
		}
	}
	if !a.LastDay.IsZero() && l.Sign != Stop && l.Sign != Ended && a.Status != calendar.Overdue {
		l.ChangesOn = a.LastDay.Add(1)
	}
	l.Finding, l.Says = f, f.Message
	return l, true
}

// kitSign is how a clock reads that has run out or whose date is missing: what only cautions on a dive stops nobody.
func kitSign(k gear.Clock, cautions Sign) Sign {
	if k.Overdue == policy.DecideCaution {
		return cautions
	}
	return Stop
}
