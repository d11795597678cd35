package engine

import (
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/policy"
	"lastlight/engine/rules"
)

// A person's question for one day, without a plan, and its answer.
type (
	ReadyInput  = rules.ReadyInput
	ReadyReport = rules.ReadyReport
	ReadyLine   = rules.ReadyLine
	Sign        = rules.Sign

	CurrencyReport = rules.CurrencyReport
	EligibleInput  = rules.EligibleInput
	EligibleCell   = rules.EligibleCell
)

// The signs of a line.
const (
	ReadyStop  = rules.Stop
	ReadyEnded = rules.Ended
	ReadySoon  = rules.Soon
	ReadyOK    = rules.OK
)

// Ready answers "am I good to go?" by the same rules as a plan is judged by.
func Ready(in ReadyInput) ReadyReport { return rules.Ready(in) }

// Due tells what of a person stops diving or ends, PapersDue the same without the log.
func Due(in ReadyInput) []ReadyLine { return rules.Due(in) }

// PapersDue is Due less what rests on the log.
func PapersDue(in ReadyInput) []ReadyLine { return rules.PapersDue(in) }

// ItemsDue is Due of things alone.
func ItemsDue(p *policy.Policy, cylinders []facts.Cylinder, items []facts.Item, on calendar.Day) []ReadyLine {
	return rules.ItemsDue(p, cylinders, items, on)
}

// CurrencyOf tells how current a person is on a day, past or future.
func CurrencyOf(in ReadyInput) CurrencyReport { return rules.CurrencyOf(in) }

// Eligible tells who can dive where on which day.
func Eligible(in EligibleInput) []EligibleCell { return rules.Eligible(in) }
