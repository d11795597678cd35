package rules

import (
	"iter"
	"math"
	"strconv"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/training"
)

// currencyRules are about what recorded dives let a diver count as: at the
// level, and at a site that is new to somebody of the team.
func currencyRules() []Rule {
	return []Rule{
		{
			ID: "diver.currency", Version: 1, Title: "Current at the level", Citation: handbook("dates and deadlines", "T25"), Cell: "currency",
			Words: map[string]Words{
				"ok":          {Says: "{subject}: current at {level}, {observed} that count in {within}, {limit} asked, last on {last}"},
				"easier":      {Says: "{subject}: at {level} {why}"},
				"refresher":   {Says: "{subject}: at {level} nothing that counts for more than {limit} after {observed}: refresher, training dives only", Remedy: "a training dive at {level} with an instructor"},
				"reassess":    {Says: "{subject}: at {level} nothing that counts for more than {limit} after {observed}: re-assessment, training dives only", Remedy: "have the re-assessment done and recorded"},
				"no_overhead": {Says: "{subject}: {level} dives no overhead, currency is not asked"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.currency) },
		},
		{
			ID: "diver.step_down", Version: 1, Title: "One step easier, never two", Citation: handbook("dates and deadlines", "T27"), Cell: "first_visit.one_step_easier",
			Words: map[string]Words{
				"ok":       {Says: "{subject}: counts as {counts_as}, no step easier"},
				"easier":   {Says: "{subject}: counts as {counts_as} here, one step below {level}: {why}", Remedy: "plan the dive as {counts_as} may"},
				"no_step":  {Says: "{subject}: {why}, and below {level} no step is left: training dives with an instructor only", Remedy: "a training dive with an instructor"},
				"training": {Says: "{subject}: {why}; dives in training"},
				"currency": {Says: "{subject}: currency leaves training dives only"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.stepDown) },
		},
		{
			ID: "team.first_visit", Version: 1, Title: "First visit to the site", Citation: handbook("dates and deadlines", "T28"), Cell: "first_visit",
			Words: map[string]Words{
				"ok":       {Says: "{subject}: first visit by {new}: the leader has {dives} here, planned penetration {observed}, at most {limit}"},
				"nobody":   {Says: "{subject}: everybody has dived here before"},
				"opening":  {Says: "{subject}: the dive opens the site"},
				"leader":   {Says: "{subject}: leads a first visit by {new} with {observed} here in {within}, at least {limit}: {shortfall} short", Remedy: "a leader with {limit} here in {within}"},
				"too_far":  {Says: "{subject}: first visit by {new}, planned penetration {observed} > {limit}, {share} of the usual {usual}: {shortfall} too far", Remedy: "plan a penetration of at most {limit}"},
				"no_usual": {Says: "{subject}: first visit by {new}: {observed} recorded here in {within}, {limit} needed to tell the usual penetration: that rule is not applicable"},
			},
			Check: firstVisit,
		},
	}
}

func (c *Case) ladder() []training.Level {
	out := make([]training.Level, len(c.Policy.Ladder))
	for i, l := range c.Policy.Ladder {
		out[i] = training.Level(l.Name)
	}
	return out
}

// lowestOverhead is the first level of the ladder that dives overhead at all;
// below it no step is left. Empty where the ladder has none.
func (c *Case) lowestOverhead() training.Level {
	for _, l := range c.Policy.Ladder {
		if l.Overhead != policy.OverheadNone {
			return training.Level(l.Name)
		}
	}
	return ""
}

// past goes through the diver's recorded dives that were closed before this one begins. A log is gone through for
// every day and site of a matrix: nothing of it is copied.
func (c *Case) past(d *facts.Diver) iter.Seq[*facts.PastDive] {
	return func(yield func(*facts.PastDive) bool) {
		for i := range d.Dives {
			p := &d.Dives[i]
			if !p.Open && !p.SignedOut.IsZero() && !p.SignedOut.After(c.Span.Entry) && !yield(p) {
				return
			}
		}
	}
}

// beenAt tells whether the diver has dived at a site before this dive.
func (c *Case) beenAt(d *facts.Diver, site string) bool {
	for p := range c.past(d) {
		if p.Site == site {
			return true
		}
	}
	return false
}

var zoneClasses = map[string]training.ZoneClass{"cavern": training.ZoneCavern, "cave": training.ZoneDark}

// currencyQuestion asks about a level as the dive's last day sees it.
func (c *Case) currencyQuestion(d *facts.Diver, level string, issued calendar.Day) (training.CurrencyQuestion, training.CurrencyRules) {
	q := training.CurrencyQuestion{
		Level: training.Level(level), Ladder: c.ladder(), Cavern: c.lowestOverhead(), Issued: issued, Reassessed: d.Reassessed, On: c.Days.Last,
	}
	q.Dives = make([]training.Dive, 0, len(d.Dives))
	for p := range c.past(d) {
		as := p.CountedAs
		if as == "" {
			as = c.cardOn(d, p.EntryDay)
		}
		q.Dives = append(q.Dives, training.Dive{ID: p.ID, Day: p.EntryDay, CountedAs: training.Level(as), Zone: zoneClasses[p.Zone], TrainingAs: training.Level(p.TrainingAs)})
	}
	k := c.Policy.Currency
	return q, training.CurrencyRules{
		Dives: k.Dives, WithinMonths: k.WithinMonths, EasierAfterDays: k.EasierAfterDays,
		RefresherMonths: k.RefresherMonths, ReassessMonths: k.ReassessMonths, GraceMonths: k.GraceMonths,
	}
}

// cardOn is what the diver's cards, as known for this dive, gave on an earlier
// day: for dives recorded without the level the diver counted as.
func (c *Case) cardOn(d *facts.Diver, day calendar.Day) string {
	best := -1
	for _, card := range d.Cards {
		if a, ok := c.judgeCard(d.ID, card, calendar.On(day)); ok {
			best = max(best, c.Policy.Rung(string(a.CountsAs)))
		}
	}
	if best < 0 {
		return ""
	}
	return c.Policy.Ladder[best].Name
}

// steps works out what each member counts as from the card, currency and the
// visits of all (T25, T27). A step comes on top of a lapsed card.
func (c *Case) steps() {
	kind := c.In.Plan.Kind
	// A site opening has limits of its own instead of the step; on a training
	// dive the level taught limits the team.
	firstCounts := c.Policy.FirstVisit.OneStepEasier && c.In.Site.ID != "" && kind != facts.SiteOpening && !c.trainingWithInstructor()
	team := make([]training.Member, len(c.Team))
	for i := range c.Team {
		m := &c.Team[i]
		m.CardLevel = m.Counts
		if m.Record == nil || !m.Known {
			continue
		}
		m.FirstVisit = firstCounts && !c.beenAt(m.Record, c.In.Site.ID)
		team[i] = training.Member{Card: training.Level(m.CardLevel), FirstVisit: m.FirstVisit}
		if m.CardLevel == "" || c.Policy.Rung(m.CardLevel) < c.Policy.Rung(string(c.lowestOverhead())) {
			continue
		}
		if m.Currency == nil {
			c.askCurrency(m)
		}
		if a := m.Currency; a != nil {
			team[i].Causes, team[i].TrainingOnly = a.Causes, a.State.TrainingOnly()
		}
	}
	for i, s := range training.StepDown(team, c.ladder(), c.lowestOverhead()).Members {
		m := &c.Team[i]
		if m.Record == nil || !m.Known {
			continue
		}
		m.Counts, m.Causes, m.TrainingOnly = string(s.CountsAs), s.Causes, s.Kind == training.KindTraining
	}
}

// askCurrency works out how current a member is; it stays unknown where the card
// does not say when it was issued.
func (c *Case) askCurrency(m *Member) {
	q, numbers := c.currencyQuestion(m.Record, m.CardLevel, m.CardIssued)
	ask := training.CurrencyOn
	if c.brief {
		ask = training.StateOn
	}
	if a, ok := ask(q, numbers); ok {
		m.Currency = &a
	}
}

// trainingWithInstructor tells whether this is a training dive at a level of
// the ladder with an instructor in the team.
func (c *Case) trainingWithInstructor() bool { return c.taught() != nil && c.instructorInTeam() }

// whys says each cause in words and numbers, joined.
func (c *Case) whys(m Member) string {
	var out []string
	k := c.Policy.Currency
	for _, cause := range m.Causes {
		switch {
		case cause == training.CauseDives && m.Currency != nil:
			out = append(out, strconv.Itoa(m.Currency.Count)+" of "+finding.CountOf("", k.Dives, "dives").String()+" that count in "+finding.CountOf("", k.WithinMonths, "months").String())
		case cause == training.CauseDaysSince && m.Currency != nil:
			out = append(out, finding.CountOf("", m.Currency.DaysSince, "days").String()+" since the last that counts, "+m.Currency.Last.String()+", at most "+strconv.Itoa(k.EasierAfterDays))
		case cause == training.CauseFirstVisit:
			out = append(out, "first visit here by "+c.newcomers())
		case cause == training.CauseTrainingOnly && m.Currency != nil:
			months := k.RefresherMonths
			if m.Currency.State == training.StateReassessment {
				months = k.ReassessMonths
			}
			out = append(out, words(string(m.Currency.State))+" due: a gap of more than "+finding.CountOf("", months, "months").String()+" after "+m.Currency.Since.String())
		}
	}
	return strings.Join(out, "; ")
}

func (c *Case) newcomers() string {
	var names []string
	for _, m := range c.Team {
		if m.FirstVisit {
			names = append(names, m.subject().Label())
		}
	}
	return strings.Join(names, ", ")
}

func (c *Case) currency(m Member) []finding.Finding {
	s := m.subject()
	at := path("divers", c.indexOf(m.Diver), "dives")
	switch {
	case !m.Known || m.CardLevel == "":
		f := unknown(s, aCardThatCounts, path("divers", c.indexOf(m.Diver), "cards"))
		return one(f)
	case m.Currency == nil && c.Policy.Rung(m.CardLevel) < c.Policy.Rung(string(c.lowestOverhead())):
		f := answer(finding.NotApplicable, "no_overhead", s)
		f.Figures = []finding.Figure{finding.Word("level", m.CardLevel)}
		return one(f)
	case m.Currency == nil:
		return one(unknown(s, "how current the diver is at "+m.CardLevel, at))
	}
	a, k := m.Currency, c.Policy.Currency
	f := measured(pass(s), finding.CountOf("", a.Count, "dives"), finding.CountOf("", k.Dives, ""))
	f.Figures = []finding.Figure{
		finding.Word("level", m.CardLevel), finding.Word("last", a.Last.String()), finding.CountOf("within", k.WithinMonths, "months"), finding.Word("day", c.Days.Last.String()),
	}
	if !a.ChangesOn.IsZero() {
		f.Figures = append(f.Figures, finding.Word("changes_on", a.ChangesOn.String()), finding.Word("changes_to", words(string(a.ChangesTo))))
	}
	for _, id := range a.Tally.Counted {
		f.Evidence = append(f.Evidence, finding.Evidence{Kind: "dive", ID: id})
	}
	gone := func(code string, months int) {
		f = measured(f, finding.Word("", a.Since.String()), finding.CountOf("", months, "months"))
		f.Status, f.Code, f.Path = finding.Refuse, code, at
		if c.trainingWithInstructor() {
			f.Status = finding.Note
		}
	}
	switch a.State {
	case training.StateCurrent:
	case training.StateOneStepEasier:
		f.Status, f.Code = finding.Note, "easier"
		own := m
		own.Causes = a.Causes
		f.Figures = append(f.Figures, finding.Word("why", c.whys(own)))
	case training.StateRefresher:
		gone("refresher", k.RefresherMonths)
	default:
		gone("reassess", k.ReassessMonths)
	}
	return one(f)
}

func (c *Case) stepDown(m Member) []finding.Finding {
	s := m.subject()
	if !m.Known || m.CardLevel == "" {
		return one(unknown(s, aCardThatCounts, path("divers", c.indexOf(m.Diver), "cards")))
	}
	f := pass(s)
	f.Figures = []finding.Figure{finding.Word("level", m.CardLevel), finding.Word("counts_as", nameOr(m.Counts, "nothing"))}
	if len(m.Causes) == 0 {
		return one(f)
	}
	f.Figures = append(f.Figures, finding.Word("why", c.whys(m)))
	f.Status, f.Code = finding.Caution, "easier"
	switch {
	case m.Currency != nil && m.Currency.State.TrainingOnly():
		f.Status, f.Code = finding.NotApplicable, "currency" // which refuses and says why
	case m.TrainingOnly:
		f.Status, f.Code, f.Path = finding.Refuse, "no_step", path("divers", c.indexOf(m.Diver), "dives")
		if c.trainingWithInstructor() {
			f.Status, f.Code, f.Path = finding.Note, "training", ""
		}
	}
	return one(f)
}

func firstVisit(c *Case) []finding.Finding {
	s := c.plan()
	if c.In.Plan.Kind == facts.SiteOpening {
		return one(answer(finding.NotApplicable, "opening", s))
	}
	if c.Days.Last.IsZero() || len(c.Team) == 0 {
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	v := c.Policy.FirstVisit
	q := training.VisitQuestion{On: c.Days.Last}
	lead := s
	for _, m := range c.Team {
		visitor := training.Visitor{ID: m.subject().Label()}
		if m.Leader {
			q.Leader, lead = visitor.ID, m.subject()
		}
		if m.Record == nil {
			return one(unknown(m.subject(), "the person's record", m.Path))
		}
		for p := range c.past(m.Record) {
			if p.Site == c.In.Site.ID {
				visitor.Visits = append(visitor.Visits, p.EntryDay)
			}
		}
		q.Team = append(q.Team, visitor)
	}
	for _, p := range c.In.Site.Penetrations {
		q.Penetrations = append(q.Penetrations, training.Penetration{Day: p.Day, Metres: p.Metres})
	}
	if c.Route != nil {
		q.PlannedM = c.Route.Summary.PenetrationM
	}
	a := training.JudgeFirstVisit(q, training.FirstVisitRules{
		LeaderDives: v.LeaderDives, LeaderMonths: v.LeaderMonths, ShareNum: v.PenetrationShare.Num, ShareDen: v.PenetrationShare.Den,
		MedianMonths: v.MedianMonths, MedianLeast: v.MedianLeast,
	})
	if !a.FirstVisit {
		return one(answer(finding.Pass, "nobody", s))
	}
	said := finding.Word("new", strings.Join(a.Newcomers, ", "))
	led := finding.CountOf("", a.LeaderDives, "dives")
	var out []finding.Finding
	if !a.LeaderMay {
		short := finding.CountOf("", v.LeaderDives-a.LeaderDives, "dives")
		f := measured(answer(finding.Refuse, "leader", lead), led, finding.CountOf("", v.LeaderDives, "dives"))
		f.Shortfall, f.Path = &short, "plan.team"
		f.Figures = []finding.Figure{said, finding.CountOf("within", v.LeaderMonths, "months")}
		out = append(out, f)
	}
	led.Name = "dives"
	switch {
	case a.ShareOfUsual == nil:
		f := measured(answer(finding.Note, "no_usual", s), finding.CountOf("", a.Recorded, "penetrations"), finding.CountOf("", v.MedianLeast, ""))
		f.Figures = []finding.Figure{said, finding.CountOf("within", v.MedianMonths, "months")}
		out = append(out, f)
	case c.Route == nil:
		out = append(out, c.routeUnknown(s))
	default:
		f := measured(pass(s), finding.Number("", q.PlannedM, 1, "m"), finding.Number("", math.Floor(*a.ShareOfUsual*10+1e-6)/10, 1, "m"))
		f.Figures = []finding.Figure{said, led, finding.Number("usual", *a.Usual, 1, "m"), finding.Word("share", v.PenetrationShare.String())}
		if a.Penetration == training.Refused {
			short := finding.Number("", q.PlannedM-*a.ShareOfUsual, 1, "m")
			f.Status, f.Code, f.Shortfall, f.Path = finding.Refuse, "too_far", &short, "route.route.moves"
		}
		if f.Status != finding.Pass || a.LeaderMay {
			out = append(out, f)
		}
	}
	return out
}
