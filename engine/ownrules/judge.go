package ownrules

import (
	"errors"
	"fmt"
	"reflect"
	"strings"

	"cel.dev/cel-go/cel"

	"lastlight/engine/policy"
)

// Outcome is what an expression came to.
type Outcome int

// The three outcomes.
const (
	Unknown Outcome = iota // an error, a value that is not on record, or too much work: it blocks
	Holds
	Broken
)

// Answer is what one rule says of one subject.
type Answer struct {
	Rule    policy.OwnRule
	Index   int // of the subject in its list of the view; 0 for the plan and the site
	Outcome Outcome
	Why     string    // of Unknown
	Missing []string  // values read that are not on record
	Read    []Reading // what the expression read, each once
}

// Judge asks every rule about each of its subjects, in the order of the document and of the lists. A rule about divers, supplies
// or items gives no answer where there are none.
func Judge(rules []policy.OwnRule, v View) []Answer {
	var out []Answer
	spent := uint64(0)
	for _, r := range compile(rules) {
		n := 1
		switch r.rule.About {
		case policy.AboutDiver:
			n = len(v.Team)
		case policy.AboutSupply:
			n = len(v.Supplies)
		case policy.AboutCylinder:
			n = len(v.Cylinders)
		case policy.AboutItem:
			n = len(v.Items)
		}
		for i := range n {
			a, used := r.ask(&v, i, spent)
			spent += used
			out = append(out, a)
		}
	}
	return out
}

// ask evaluates the rule about its ith subject and tells what that cost.
func (r compiled) ask(v *View, i int, spent uint64) (Answer, uint64) {
	a := Answer{Rule: r.rule, Index: i}
	switch {
	case r.program == nil && len(r.faults) == 0:
		a.Why = "the expression cannot be used"
		return a, 0
	case r.program == nil:
		a.Why = "the expression cannot be used: " + r.faults[0].Text
		return a, 0
	case spent >= maxTotal:
		a.Why = "the club's own rules together take too much work"
		return a, 0
	}
	read := &readings{seen: map[string]bool{}}
	whole := read.object(reflect.ValueOf(v).Elem(), "")
	value, details, err := r.program.Eval(&activation{whole, r.rule.About, i})
	a.Read, a.Missing = read.list, read.missing
	used := uint64(0)
	if details != nil && details.ActualCost() != nil {
		used = *details.ActualCost()
	}
	switch {
	case err != nil:
		a.Why = because(err, read.missing)
	case value == nil:
		a.Why = "the expression gave no answer"
	default:
		switch value.Value() {
		case true:
			a.Outcome = Holds
		case false:
			a.Outcome = Broken
		default:
			a.Why = "the expression gave no answer"
		}
	}
	return a, used
}

func because(err error, missing []string) string {
	if errors.Is(err, errMissing) || len(missing) > 0 && strings.Contains(err.Error(), errMissing.Error()) {
		return strings.Join(missing, " and ") + " " + errMissing.Error()
	}
	return oneLine(err.Error())
}

// activation gives the variables of an expression when it asks for them, so that only what it reads is noted.
type activation struct {
	whole *object
	about policy.About
	i     int
}

func (a *activation) ResolveName(name string) (any, bool) {
	if f, ok := a.whole.of.field(name); ok {
		v, err := a.whole.get(f)
		return v, err == nil
	}
	list := map[string]string{"diver": "team", "supply": "supplies", "cylinder": "cylinders", "item": "items"}[name]
	if own, _, _ := subject(a.about); list == "" || own != name {
		return nil, false
	}
	f, _ := a.whole.of.field(list)
	return a.whole.read.object(a.whole.at.Field(f.index).Index(a.i), fmt.Sprintf("%s[%d]", list, a.i)), true
}

func (a *activation) Parent() cel.Activation { return nil }
