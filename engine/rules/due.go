package rules

import (
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// paperRules are those whose answer ends on a day that the log does not move.
var paperRules = []string{"diver.card", "diver.minimum_age", "diver.guardian_consent", "diver.medical", "diver.not_diving"}

// Due is what of a person and their kit stops diving on the day, or ends some day after it: the lines of Ready that do, by the same
// rules, those that stop first. What is said beside (how a diver counts, when they may fly) is left out.
func Due(in ReadyInput) []ReadyLine {
	return ending(ready(in, readyRules, scope{}))
}

// PapersDue is Due less what rests on the log, for a question about the whole club: whoever is current is asked of a person.
func PapersDue(in ReadyInput) []ReadyLine {
	return ending(ready(in, paperRules, scope{papers: true}))
}

// ItemsDue is Due of cylinders and other kit alone.
func ItemsDue(p *policy.Policy, cylinders []facts.Cylinder, items []facts.Item, on calendar.Day) []ReadyLine {
	c := &Case{asked: true, In: &facts.Input{}, Policy: p, Least: -1, Days: calendar.On(on)}
	var lines []ReadyLine
	for i := range cylinders {
		lines = append(lines, c.readyCylinder(&cylinders[i], on))
	}
	for i := range items {
		if l, ok := c.readyItem(&items[i], on); ok {
			lines = append(lines, l)
		}
	}
	return ending(lines)
}

func ending(lines []ReadyLine) []ReadyLine {
	return slices.DeleteFunc(lines, func(l ReadyLine) bool {
		switch l.Finding.Rule {
		case "diver.flight", "diver.step_down":
			return true
		}
		return l.Sign == OK && l.ChangesOn.IsZero()
	})
}

// LastDay is the last day on which the line holds; none where it holds no longer, or where nobody can tell.
func (l ReadyLine) LastDay() calendar.Day {
	if l.Sign == Stop || l.Sign == Ended || l.ChangesOn.IsZero() {
		return calendar.Day{}
	}
	return l.ChangesOn.Add(-1)
}

// StopsDiver tells whether the line is about the person and not about a thing that can be left at home.
func (l ReadyLine) StopsDiver() bool {
	return l.Finding.Subject.Kind != finding.KindCylinder && l.Finding.Subject.Kind != finding.KindItem
}
