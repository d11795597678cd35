package engine

import "lastlight/engine/rules"

// A person's question for one day, without a plan, and its answer.
type (
	ReadyInput  = rules.ReadyInput
	ReadyReport = rules.ReadyReport
	ReadyLine   = rules.ReadyLine

	CurrencyReport = rules.CurrencyReport
	EligibleInput  = rules.EligibleInput
	EligibleCell   = rules.EligibleCell
)

// The signs of a line.
const (
	ReadyStop = rules.Stop
	ReadySoon = rules.Soon
	ReadyOK   = rules.OK
)

// Ready answers "am I good to go?" by the same rules as a plan is judged by.
func Ready(in ReadyInput) ReadyReport { return rules.Ready(in) }

// CurrencyOf tells how current a person is on a day, past or future.
func CurrencyOf(in ReadyInput) CurrencyReport { return rules.CurrencyOf(in) }

// Eligible tells who can dive where on which day.
func Eligible(in EligibleInput) []EligibleCell { return rules.Eligible(in) }
