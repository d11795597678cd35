package rules

import (
	"cmp"
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// ReadyInput is a person's question for one day, without a plan.
type ReadyInput struct {
	PolicyVersion string           `json:"policy_version"`
	Policy        policy.Policy    `json:"policy"`
	Zones         []calendar.Zone  `json:"zones"` // of the site asked about, else the club's
	Day           calendar.Day     `json:"day"`   // in the first zone
	Diver         facts.Diver      `json:"diver"`
	SiteName      string           `json:"site_name"` // empty: no site asked about
	SiteGrade     *int             `json:"site_grade"`
	Cylinders     []facts.Cylinder `json:"cylinders"` // the person's own
}

// Sign is how a line of the answer is meant.
type Sign string

// Stop means not on this day; Soon, that it will be so; OK, nothing to do.
const (
	Stop Sign = "STOP"
	Soon Sign = "SOON"
	OK   Sign = "OK"
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

// Ready answers "am I good to go?" by the same rules as a plan is judged by. The
// day is asked to its end: a card seen this afternoon counts.
func Ready(in ReadyInput) ReadyReport {
	c := &Case{
		In: &facts.Input{
			Moment: facts.Planning, Policy: in.Policy, PolicyVersion: in.PolicyVersion, Divers: []facts.Diver{in.Diver}, Cylinders: in.Cylinders,
			Plan: facts.Plan{Team: []facts.Member{{Diver: in.Diver.ID, Apparatus: facts.OpenCircuit}}},
			Site: facts.Site{Name: in.SiteName, Zones: in.Zones, Grade: in.SiteGrade},
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

	m := c.Team[0]
	out := ReadyReport{Day: in.Day, CountsAs: m.Counts, Because: m.Because()}
	for _, r := range peopleRules() {
		if r.ID == "diver.consumption" {
			continue // a plan says whose figure it uses; it stops nobody
		}
		for _, f := range r.judge(c) {
			out.Lines = append(out.Lines, c.readyLine(f))
		}
	}
	if l, ok := c.readyGrade(m, in); ok {
		out.Lines = append(out.Lines, l)
	}
	for i := range in.Cylinders {
		out.Lines = append(out.Lines, c.readyCylinder(&in.Cylinders[i], in.Day))
	}
	rank := map[Sign]int{Stop: 0, Soon: 1, OK: 2}
	slices.SortStableFunc(out.Lines, func(a, b ReadyLine) int {
		return cmp.Or(cmp.Compare(rank[a.Sign], rank[b.Sign]), finding.Compare(a.Finding, b.Finding))
	})
	// A cylinder is left at home; only what is about the person stops the person.
	out.Yes = !slices.ContainsFunc(out.Lines, func(l ReadyLine) bool { return l.Sign == Stop && l.Finding.Subject.Kind != finding.KindCylinder })
	return out
}

// endOf is the day's last minute on the wall.
func endOf(d calendar.Day) calendar.Wall { return calendar.Wall{Day: d, Minute: 24*60 - 1} }

// Because says in words why a diver counts as they do.
func (m Member) Because() string {
	switch {
	case !m.Known:
		return "cannot tell: " + words(m.Card.Code)
	case m.Counts == "":
		return "no card counts"
	case m.Card.Code == "card_ends":
		return "the card has lapsed to it"
	}
	return "by the card"
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
		if l.ToDo == "" && f.Code == "endorsement_not_counted" {
			l.ToDo = "have the card seen by somebody else, or leave out what needs it"
		}
	}
	if !last.IsZero() && !f.Blocks() {
		l.ChangesOn = last.Add(1)
		if last.Sub(c.Days.Last) <= c.Policy.Cylinders.DueSoonDays {
			l.Sign = Soon
			if l.ToDo == "" {
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
		if f.Code != "ok" && f.Code != "last_day" || f.Limit == nil {
			return calendar.Day{}
		}
		d, err := calendar.ParseDay(f.Limit.Text)
		if err != nil {
			return calendar.Day{}
		}
		return d
	case "diver.medical":
		if a, ok := c.medicalDue(c.Team[0]); ok && a.Verdict == due.MedicalValid {
			return a.LastDay
		}
	}
	return calendar.Day{}
}

func figureDay(f finding.Finding, name string) calendar.Day {
	for _, x := range f.Figures {
		if x.Name == name {
			if d, err := calendar.ParseDay(x.Text); err == nil {
				return d
			}
		}
	}
	return calendar.Day{}
}

// readyGrade compares the site's grade with what the diver counts as.
func (c *Case) readyGrade(m Member, in ReadyInput) (ReadyLine, bool) {
	if in.SiteName == "" {
		return ReadyLine{}, false
	}
	i := slices.IndexFunc(table, func(r Rule) bool { return r.ID == "level.site_grade" })
	rule := table[i]
	c.Level = m.Limits(c)
	if c.Level != nil {
		c.LevelName, c.Least = c.Level.Name, 0
	}
	fs := rule.judge(c)
	if len(fs) == 0 {
		return ReadyLine{}, false
	}
	return c.readyLine(fs[0]), true
}

// readyCylinder says until when one of the diver's own cylinders may be filled and used.
func (c *Case) readyCylinder(cyl *facts.Cylinder, on calendar.Day) ReadyLine {
	s := finding.Subject{Kind: finding.KindCylinder, ID: cyl.ID, Name: cyl.Name}
	f := finding.Finding{Rule: "cylinder.due", RuleVersion: 1, Subject: s, Status: finding.Pass, Code: "ok", Citation: handbook("dates and deadlines", "T9-T12")}
	l := ReadyLine{Sign: OK}
	d, rules, ok := DueCylinder(c.Policy, cyl, on)
	if !ok {
		f.Status, f.Code, f.Message = finding.Indeterminate, "no_regime", s.Label()+": cannot tell when it is due, no rule of its country holds"
		return ReadyLine{Sign: Stop, Finding: f, Says: f.Message, ToDo: "enter its country"}
	}
	a := due.DueOn(d, on, rules)
	if a.Next == nil {
		f.Status, f.Code = finding.Indeterminate, "cannot_tell"
		f.Message = s.Label() + ": cannot tell when it is due: " + allWords(a.Why)
		return ReadyLine{Sign: Stop, Finding: f, Says: f.Message, ToDo: "enter what was done and when"}
	}
	event, last := string(a.Next.Event), a.Next.LastDay.String()
	switch a.Status {
	case calendar.Overdue:
		f.Status, f.Code, f.Message = finding.Refuse, "overdue", s.Label()+": "+event+" was due "+last
		l = ReadyLine{Sign: Stop, ToDo: "take it to test; it is not filled"}
	case calendar.Due:
		f.Status, f.Code, f.Message = finding.Caution, "due", s.Label()+": "+event+" is due "+last
		l = ReadyLine{Sign: Soon, ToDo: "book the " + event + " before " + last, ChangesOn: a.Next.LastDay.Add(1)}
	default:
		f.Message, l.ChangesOn = s.Label()+": in test, "+event+" due "+last, a.Next.LastDay.Add(1)
	}
	l.Finding, l.Says = f, f.Message
	return l
}
