// Package training judges people: cards, age, currency, endorsements, the step
// down, and first visits to a site. It answers from recorded facts handed in.
//
// Rules: method handbook, "Dates and deadlines", T23–T28. Every number is an argument.
package training

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/calendar"
)

// Level is a step of the club's ladder, such as APP; empty means that the
// diver counts as nothing.
type Level string

// MarshalJSON writes the level, or null for none.
func (l Level) MarshalJSON() ([]byte, error) {
	if l == "" {
		return []byte("null"), nil
	}
	return strconv.AppendQuote(nil, string(l)), nil
}

// Limits are what a level permits that a card's verdict compares.
type Limits struct {
	Jumps    *int     `json:"jumps"`    // nil = no limit
	DepthM   *float64 `json:"depth_m"`  // metres; nil = no limit
	Fraction string   `json:"fraction"` // share of the gas, such as 1/3; empty = no limit
}

// Asks are what a plan needs of the card; nil and empty ask nothing.
type Asks struct {
	Jumps    *int     `json:"jumps,omitempty"`
	DepthM   *float64 `json:"depth_m,omitempty"`
	Fraction string   `json:"fraction,omitempty"`
}

func (a Asks) nothing() bool { return a == Asks{} }

// Card is one training card as recorded.
type Card struct {
	Level       Level            `json:"level"`
	Issued      calendar.Day     `json:"issued"`
	LastDay     calendar.Day     `json:"last_day,omitzero"`      // printed; none = not printed
	LapseMonths int              `json:"lapse_months,omitempty"` // counts this long from issue; 0 = no lapse
	LapsesTo    Level            `json:"lapses_to,omitempty"`    // level it falls back to; none: not at all
	Holder      string           `json:"holder"`
	SeenBy      string           `json:"seen_by"`
	SeenAt      calendar.Instant `json:"seen_at"` // none = nobody has seen it
}

// CardQuestion asks what a card counts as on a dive.
type CardQuestion struct {
	Card    Card             `json:"card"`
	Days    calendar.Days    `json:"days"`     // the days the dive touches
	Entry   calendar.Instant `json:"entry"`    //
	SeenDay calendar.Day     `json:"seen_day"` // site-local day of Card.SeenAt; none = not compared with the issue
	Asks    Asks             `json:"asks"`
	Limits  map[Level]Limits `json:"limits"`
}

// CardAnswer is what the card counts as.
type CardAnswer struct {
	CountsAs Level        `json:"counts_as"` // for the whole dive; none: the card cannot count
	LastDay  calendar.Day `json:"last_day"`  // none = does not end
	Verdict  string       `json:"verdict,omitempty"`
	Why      []string     `json:"why"`
	Caution  []string     `json:"caution,omitempty"`
}

// Verdicts of this package.
const (
	Passes        = "passes"
	Refused       = "refused"
	CannotTell    = "cannot_tell"
	NotApplicable = "not_applicable"
)

// Reasons of a card's answer; excess is told as "jumps 2 > 0", "depth 36 > 30", "gas 1/3 > 1/6".
const (
	CardEnds         = "card_ends"
	CardNotSeen      = "card_not_seen"
	CardSeenByHolder = "card_seen_by_holder_only"
	CardNotYetIssued = "card_not_yet_issued"
	IssueUnknown     = "issue_unknown"
	LimitsUnknown    = "limits_unknown"
	LastDay          = "last_day"
)

// JudgeCard tells what the card counts as for the whole dive and, when the plan
// asks something or the card cannot count, the verdict (T2, T23).
func JudgeCard(q CardQuestion) CardAnswer {
	c := q.Card
	out := CardAnswer{LastDay: c.last(), Why: []string{}}
	if c.Issued.IsZero() {
		out.Verdict, out.Why = CannotTell, append(out.Why, IssueUnknown)
		return out
	}
	if q.Days.First.Before(c.Issued) {
		out.Verdict, out.Why = Refused, append(out.Why, CardNotYetIssued)
		return out
	}
	counts := c.Level
	ended := !out.LastDay.IsZero() && out.LastDay.Before(q.Days.Last)
	if ended {
		counts = c.LapsesTo
		out.Why = append(out.Why, CardEnds)
	}
	unseen := c.unseen(q)
	if unseen != "" {
		out.Why = append(out.Why, unseen)
	}
	switch {
	case counts == "":
		out.Verdict = Refused
		return out
	case unseen != "":
		out.Verdict = CannotTell
		return out
	}
	out.CountsAs = counts
	if !ended && out.LastDay == q.Days.Last {
		out.Caution = []string{LastDay}
	}
	if q.Asks.nothing() {
		return out
	}
	limits, known := q.Limits[counts]
	if !known {
		out.Verdict, out.Why = CannotTell, append(out.Why, LimitsUnknown)
		return out
	}
	excess, err := limits.excess(q.Asks)
	out.Why = append(out.Why, excess...)
	switch {
	case len(excess) > 0:
		out.Verdict = Refused
	case err != nil:
		out.Verdict, out.Why = CannotTell, append(out.Why, LimitsUnknown)
	default:
		out.Verdict = Passes
	}
	slices.Sort(out.Why)
	return out
}

// last is the earlier of the printed last day and the lapse.
func (c Card) last() calendar.Day {
	var lapse calendar.Day
	if c.LapseMonths > 0 {
		lapse = c.Issued.AddMonths(c.LapseMonths)
	}
	return calendar.Earliest(c.LastDay, lapse)
}

func (c Card) unseen(q CardQuestion) string {
	switch {
	case c.SeenAt.IsZero() || c.SeenBy == "":
		return CardNotSeen
	case c.SeenBy == c.Holder:
		return CardSeenByHolder
	case c.SeenAt.After(q.Entry), !q.SeenDay.IsZero() && q.SeenDay.Before(c.Issued):
		return CardNotSeen
	}
	return ""
}

func (l Limits) excess(a Asks) (why []string, err error) {
	if a.Jumps != nil && l.Jumps != nil && *a.Jumps > *l.Jumps {
		why = append(why, fmt.Sprintf("jumps %d > %d", *a.Jumps, *l.Jumps))
	}
	if a.DepthM != nil && l.DepthM != nil && *a.DepthM > *l.DepthM {
		why = append(why, fmt.Sprintf("depth %s > %s", number(*a.DepthM), number(*l.DepthM)))
	}
	if a.Fraction != "" && l.Fraction != "" {
		more, err := fractionMore(a.Fraction, l.Fraction)
		if err != nil {
			return why, err
		}
		if more {
			why = append(why, fmt.Sprintf("gas %s > %s", a.Fraction, l.Fraction))
		}
	}
	return why, nil
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// fractionMore compares two fractions such as 1/3 exactly.
func fractionMore(a, b string) (bool, error) {
	an, ad, errA := fraction(a)
	bn, bd, errB := fraction(b)
	if errA != nil {
		return false, errA
	}
	return an*bd > bn*ad, errB
}

func fraction(s string) (n, d int64, err error) {
	left, right, ok := strings.Cut(s, "/")
	if !ok {
		right = "1"
	}
	n, errN := strconv.ParseInt(left, 10, 32)
	d, errD := strconv.ParseInt(right, 10, 32)
	if errN != nil || errD != nil || n < 0 || d <= 0 {
		return 0, 0, fmt.Errorf("not a fraction: %q", s)
	}
	return n, d, nil
}
