package rules

import (
	"slices"
	"strconv"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/training"
)

// Standing is what one diver counts as on this dive, and why.
type Standing struct {
	Known        bool   // false: cannot tell which level counts
	Counts       string // level the diver counts as, lapse and step included; empty = none
	DepthM       *float64
	Endorsed     []string // endorsements that count
	Ends         []Ending // of these, until when each counts
	TrainingOnly bool     // no level is left but in training with an instructor

	CardLevel  string             // level of the best card that counts, lapse included, before any step
	CardIssued calendar.Day       // of that card
	Currency   *training.Currency // at CardLevel; nil = not asked of it, or cannot be told
	FirstVisit bool               // never dived here before, where that makes the dive easier
	Causes     []string           // of the step

	Card   finding.Finding   // answer of diver.card
	Lapsed []finding.Finding // endorsements that do not count, and why
	Uses   []Use             // endorsements that are held, as recorded dives used them
}

// Ending is until when an endorsement counts if nothing is done: the earlier of its card's last day and that of the use that is needed.
type Ending struct {
	Endorsement string
	LastDay     calendar.Day // none: it does not end
	Lapses      bool         // too few uses are left after that day (T26); else its card ends
	Uses        int          // that count on the day asked
}

// Use is how often an endorsement was used lately (T26).
type Use struct {
	Endorsement string
	Asked       bool // the club asks for uses
	Answer      training.Endorsement
	Tally       training.Tally
}

// Holds tells whether the endorsement counts on this dive.
func (s Standing) Holds(endorsement string) bool { return slices.Contains(s.Endorsed, endorsement) }

// Limits is the row of the ladder that holds for this diver; nil where it
// cannot be told or the diver counts as nothing. On a training dive it is the
// level taught.
func (m Member) Limits(c *Case) *policy.Level {
	if c.taught() != nil {
		return c.taught()
	}
	if !m.Known {
		return nil
	}
	return c.Policy.Level(m.Counts)
}

// standings works out every member's standing from the cards, over the whole span.
func (c *Case) standings() {
	for i := range c.Team {
		m := &c.Team[i]
		c.cards(m)
		c.endorsements(m)
	}
	for i := range c.Team {
		c.uses(&c.Team[i])
	}
	c.steps()
}

// judgeCard tells what a card counts as on the days; ok is false where the
// card was taken back or states no level of the ladder and no endorsement.
func (c *Case) judgeCard(holder string, card facts.Card, days calendar.Days) (answer training.CardAnswer, ok bool) {
	if !card.Revoked.IsZero() {
		return answer, false
	}
	if !c.Policy.People.CardSeenByOther {
		holder = ""
	}
	tc := training.Card{Level: training.Level(card.Endorsement), Issued: card.Issued, LastDay: card.Expires, Holder: holder, SeenBy: card.SeenBy, SeenAt: card.SeenAt}
	tc.LapseMonths = firstAidMonths(c.Policy, card.Endorsement)
	if card.Endorsement == "" {
		l := c.Policy.Level(card.Level)
		if l == nil {
			return answer, false
		}
		tc.Level, tc.LapsesTo = training.Level(card.Level), training.Level(l.LapsesTo)
		if l.LapseMonths != nil {
			tc.LapseMonths = *l.LapseMonths
		}
	}
	return training.JudgeCard(training.CardQuestion{Card: tc, Days: days, Entry: c.Span.Entry, SeenDay: c.seenDay(card.SeenAt)}), true
}

// seenDay is the site-local day on which a card was seen; of two zones the
// earlier, for it must not be before the day of issue in either (T1).
func (c *Case) seenDay(at calendar.Instant) calendar.Day {
	return calendar.EarliestDay(at, c.In.Site.Zones...)
}

// cards finds the highest level any card of the diver gives for the whole dive.
func (c *Case) cards(m *Member) {
	s := m.subject()
	if m.Record == nil {
		m.Card = unknown(s, "the person's record", m.Path)
		return
	}
	if c.Days.First.IsZero() {
		m.Card = unknown(s, "the days of the dive", "plan.entry")
		return
	}
	var best training.CardAnswer
	bestRung, bestAt, unseen, ended := -1, -1, -1, -1
	var unseenWhy, over string
	for i, card := range m.Record.Cards {
		if card.Endorsement != "" {
			continue
		}
		a, ok := c.judgeCard(m.Diver, card, c.Days)
		if !ok {
			continue
		}
		switch rung := c.Policy.Rung(string(a.CountsAs)); {
		case a.Verdict == training.CannotTell:
			unseen, unseenWhy = i, a.Why[len(a.Why)-1]
		case a.CountsAs == "":
			ended, over = i, "not yet issued"
			if slices.Contains(a.Why, training.CardEnds) {
				over = a.LastDay.String()
			}
		case rung > bestRung:
			best, bestRung, bestAt = a, rung, i
		}
	}
	at := func(f finding.Finding, i int) finding.Finding {
		card := m.Record.Cards[i]
		f.Path = path("divers", c.indexOf(m.Diver), path("cards", i, ""))
		f.Evidence = record("card", card.ID, card.Version)
		f.Figures = append(f.Figures, finding.Word("card", card.Level))
		return f
	}
	switch {
	case bestAt >= 0:
		card := m.Record.Cards[bestAt]
		m.Known, m.Counts, m.DepthM, m.CardIssued = true, string(best.CountsAs), card.DepthM, card.Issued
		f := measured(pass(s), finding.Word("", c.Days.Last.String()), finding.Word("", dayOr(best.LastDay, "no end")))
		switch {
		case slices.Contains(best.Why, training.CardEnds):
			f.Status, f.Code = finding.Caution, "card_ends"
		case slices.Contains(best.Caution, training.LastDay):
			f.Status, f.Code = finding.Caution, "last_day"
		}
		f.Figures = append(f.Figures, finding.Word("counts_as", m.Counts))
		m.Card = at(f, bestAt)
	case unseen >= 0:
		m.Card = at(answer(finding.Indeterminate, unseenWhy, s), unseen)
	case ended >= 0:
		m.Known = true
		f := measured(answer(finding.Refuse, "card_ended", s), finding.Word("", c.Days.Last.String()), finding.Word("", over))
		m.Card = at(f, ended)
	default:
		m.Card = unknown(s, aCardThatCounts, path("divers", c.indexOf(m.Diver), "cards"))
	}
}

func dayOr(d calendar.Day, other string) string {
	if d.IsZero() {
		return other
	}
	return d.String()
}

func (c *Case) indexOf(diver string) int {
	for i := range c.In.Divers {
		if c.In.Divers[i].ID == diver {
			return i
		}
	}
	return -1
}

// endorsements lists those that count: a card seen by another, in date over the
// whole span. Of several cards for one the card that holds longest is asked.
func (c *Case) endorsements(m *Member) {
	if m.Record == nil || c.Days.First.IsZero() {
		return
	}
	for i, card := range m.Record.Cards {
		name := card.Endorsement
		if name == "" || slices.ContainsFunc(m.Record.Cards[:i], func(x facts.Card) bool { return x.Endorsement == name }) {
			continue
		}
		best, at := training.CardAnswer{}, -1
		for k := i; k < len(m.Record.Cards); k++ {
			if m.Record.Cards[k].Endorsement != name {
				continue
			}
			if a, ok := c.judgeCard(m.Diver, m.Record.Cards[k], c.Days); ok && (at < 0 || holdsLonger(a, best)) {
				best, at = a, k
			}
		}
		switch {
		case at < 0: // taken back
		case best.CountsAs != "":
			m.Endorsed, m.Ends = append(m.Endorsed, name), append(m.Ends, Ending{Endorsement: name, LastDay: best.LastDay})
		case policy.IsFirstAid(name) && !c.asked: // of a plan diver.first_aid tells it
		default:
			held := m.Record.Cards[at]
			f := measured(answer(finding.Note, "endorsement_not_counted", m.subject()), finding.Word("", name), finding.Word("", words(best.Why[0])))
			f.Evidence = record("card", held.ID, held.Version)
			if slices.Contains(best.Why, training.CardEnds) {
				f.Code, f.Limit.Text = "endorsement_ended", "the last day of its card is "+best.LastDay.String()
			}
			m.Lapsed = append(m.Lapsed, f)
		}
	}
}

// holdsLonger compares two cards of one kind: what counts before what does not, then by the last day.
func holdsLonger(a, b training.CardAnswer) bool {
	switch {
	case a.CountsAs != b.CountsAs:
		return a.CountsAs != ""
	case b.LastDay.IsZero():
		return false
	}
	return a.LastDay.IsZero() || a.LastDay.After(b.LastDay)
}

// uses drops the endorsements that too few recorded dives have used (T26). With
// an instructor on a training dive they count: that is how they come back. Asked
// of papers alone, nobody looks at dives.
func (c *Case) uses(m *Member) {
	if m.Record == nil || c.Days.First.IsZero() || c.papers {
		return
	}
	k := c.Policy.Currency
	kept, ends := []string{}, []Ending{}
	for i, name := range m.Endorsed {
		end := m.Ends[i]
		if policy.IsFirstAid(name) { // not used on a dive
			kept, ends = append(kept, name), append(ends, end)
			continue
		}
		u := Use{Endorsement: name, Asked: slices.Contains(k.CountedEndorsements, name)}
		var done []training.Done
		var days []calendar.Day
		for p := range c.past(m.Record) {
			if slices.Contains(p.Uses, name) {
				done, days = append(done, training.Done{ID: p.ID, Day: p.EntryDay}), append(days, p.EntryDay)
			}
		}
		u.Tally = training.TallyOn(done, c.Days.Last, k.EndorsementMonths)
		u.Answer = training.EndorsementOn(days, c.Days.Last, k.EndorsementUses, k.EndorsementMonths)
		m.Uses = append(m.Uses, u)
		if !u.Asked || u.Answer.Current || c.trainingWithInstructor() {
			if last := u.Answer.LastDay; u.Asked && u.Answer.Current && !last.IsZero() && calendar.Earliest(last, end.LastDay) == last && last != end.LastDay {
				end.LastDay, end.Lapses, end.Uses = last, true, u.Answer.Count
			}
			kept, ends = append(kept, name), append(ends, end)
			continue
		}
		f := answer(finding.Note, "endorsement_not_counted", m.subject())
		f = measured(f, finding.Word("", name), finding.Word("", finding.CountOf("", u.Answer.Count, "uses").String()+" in "+finding.CountOf("", k.EndorsementMonths, "months").String()+", "+strconv.Itoa(k.EndorsementUses)+" asked"))
		if since := m.heldSince(name); since.AddMonths(k.EndorsementMonths).Before(c.Days.Last) { // as long as uses are asked for; what was before is not read
			f.Code = "endorsement_lapsed"
		}
		m.Lapsed = append(m.Lapsed, f)
	}
	m.Endorsed, m.Ends = kept, ends
}

// heldSince is the first day of issue of a diver's cards for an endorsement.
func (m Member) heldSince(endorsement string) calendar.Day {
	var first calendar.Day
	for _, card := range m.Record.Cards {
		if card.Endorsement == endorsement && card.Revoked.IsZero() {
			first = calendar.Earliest(first, card.Issued)
		}
	}
	return first
}

// taught is the level of a training dive; nil on any other dive.
func (c *Case) taught() *policy.Level {
	if c.In.Plan.Kind == "training" && c.In.Plan.Taught != "" {
		return c.Policy.Level(c.In.Plan.Taught)
	}
	return nil
}
