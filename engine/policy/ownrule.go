package policy

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/finding"
)

// OwnRule is a rule of the club's own: an expression in CEL over the view that package ownrules documents. It can only add
// findings: what the built-in rules say stands whatever it says.
type OwnRule struct {
	ID    string `json:"id"`    // own.something, once in the document
	Title string `json:"title"` // for lists
	About About  `json:"about"` // what it is asked of, each one by itself

	// Holds is a CEL expression of type bool: true where all is in order. What it reads and nobody has recorded makes the rule
	// indeterminate, and blocks; so does an error.
	Holds string `json:"holds"`

	Otherwise Decide `json:"otherwise"` // what it is where the expression is false
	Says      string `json:"says"`      // what is wrong then, e.g. "the blue room takes two teams a day at most"
	Remedy    string `json:"remedy"`    // what would pass

	WaivedBy       []string `json:"waived_by,omitempty"` // roles; only with needs_waiver
	SecondApprover bool     `json:"second_approver,omitempty"`

	From     string           `json:"from,omitempty"` // ISO days on which it is in force, both included; empty = always, still
	To       string           `json:"to,omitempty"`
	Citation finding.Citation `json:"citation"` // who decided it, and when
}

// About is what an own rule is asked of.
type About string

// The subjects of own rules.
const (
	AboutPlan     About = "plan"
	AboutSite     About = "site"
	AboutDiver    About = "diver"    // each diver of the team
	AboutSupply   About = "supply"   // each gas supply
	AboutCylinder About = "cylinder" // each cylinder of the supplies
	AboutItem     About = "item"     // each light, reel, scooter … carried
)

// Bounds of own rules.
const (
	MaxOwnRules   = 50
	MaxExpression = 2000 // bytes
	maxSentence   = 200  // characters
)

// isOwnID tells whether a word may name an own rule: no built-in rule begins like it.
func isOwnID(id string) bool {
	word, ok := strings.CutPrefix(id, "own.")
	return ok && word != "" && len(word) <= 41 && strings.Trim(word, "abcdefghijklmnopqrstuvwxyz0123456789_") == "" && word[0] >= 'a'
}

// waiverRoles are those whose holders decide about plans.
var waiverRoles = []string{"coordinator", "committee", "safety_officer", "medical_officer", "site_officer"}

func (p *Policy) validateOwnRules(c *checker) {
	if len(p.OwnRules) > MaxOwnRules {
		c.add("own_rules", strconv.Itoa(len(p.OwnRules)), fmt.Sprintf("expected at most %d rules", MaxOwnRules))
		return
	}
	seen := map[string]bool{}
	for i, r := range p.OwnRules {
		at := fmt.Sprintf("own_rules[%d].", i)
		switch {
		case !isOwnID(r.ID):
			c.add(at+"id", strconv.Quote(r.ID), "expected own. and a word of small letters, digits and _")
		case seen[r.ID]:
			c.add(at+"id", strconv.Quote(r.ID), "expected each rule once")
		}
		seen[r.ID] = true
		for _, s := range []struct {
			cell, text string
			empty      bool
		}{{"title", r.Title, false}, {"says", r.Says, false}, {"remedy", r.Remedy, false}} {
			if strings.TrimSpace(s.text) == "" || len([]rune(s.text)) > maxSentence || strings.ContainsAny(s.text, "\n\r{}") {
				c.add(at+s.cell, strconv.Quote(clipText(s.text)), fmt.Sprintf("expected one line of 1 to %d characters without braces", maxSentence))
			}
		}
		c.word(at+"about", string(r.About), string(AboutPlan), string(AboutSite), string(AboutDiver), string(AboutSupply), string(AboutCylinder), string(AboutItem))
		c.decide(at+"otherwise", r.Otherwise, DecideRefuse, DecideWaiver, DecideCaution)
		if strings.TrimSpace(r.Holds) == "" || len(r.Holds) > MaxExpression {
			c.add(at+"holds", fmt.Sprintf("%d bytes", len(r.Holds)), fmt.Sprintf("expected an expression of 1 to %d bytes", MaxExpression))
		}
		for k, role := range r.WaivedBy {
			if !slices.Contains(waiverRoles, role) {
				c.add(fmt.Sprintf("%swaived_by[%d]", at, k), strconv.Quote(role), "expected one of "+strings.Join(waiverRoles, ", "))
			}
		}
		switch {
		case r.Otherwise == DecideWaiver && len(r.WaivedBy) == 0:
			c.add(at+"waived_by", "empty", "expected at least one role; a rule that nobody waives is refuse")
		case r.Otherwise != DecideWaiver && (len(r.WaivedBy) > 0 || r.SecondApprover):
			c.add(at+"waived_by", strconv.Quote(strings.Join(r.WaivedBy, ", ")), "expected none: only what needs_waiver is waived")
		}
		c.ownDays(at, r)
		if !r.Citation.Complete() {
			c.add(at+"citation", strconv.Quote(r.Citation.Document), "expected a citation with document, edition, section and date read: who decided it, and when")
		}
	}
}

func (c *checker) ownDays(at string, r OwnRule) {
	good := true
	for _, d := range []struct{ cell, day string }{{"from", r.From}, {"to", r.To}} {
		if d.day == "" {
			continue
		}
		if _, err := calendar.ParseDay(d.day); err != nil {
			c.add(at+d.cell, strconv.Quote(d.day), "expected a day as in 2026-03-31")
			good = false
		}
	}
	if good && r.From != "" && r.To != "" && r.To < r.From {
		c.add(at+"to", strconv.Quote(r.To), "expected a day not before from")
	}
}

func clipText(s string) string {
	r := []rune(s)
	return string(r[:min(len(r), 60)])
}
