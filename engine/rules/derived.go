package rules

import (
	"slices"
	"strings"

	"lastlight/engine/finding"
)

// derived are the things that are worked out, and from what. Nobody records
// them: "record the times of the watch" would send people to look for a record
// that is none, so what is missing behind them is named instead.
var derived = map[string][]need{
	"the days of the dive":             {needEntry, needZone},
	"the day of entry":                 {needEntry, needZone},
	"the times of the watch":           {needEntry, needZone, needRoute},
	"the dial time that ends the duty": {needEntry, needZone, needRoute},
	"how long the gas left lasts":      {needEntry, needZone, needRoute},
	"how long the route takes":         {needRoute},
	"how far the route goes":           {needRoute},
	"how deep the dive goes":           {needRoute},
	"the flow against the way out":     {needRoute},
	"the route":                        {needRoute},
	aCardThatCounts:                    {needCard},
	"a set-up dive of this team":       {needSetUp},
	"which cylinders are dived":        {needSupply},
	"which gas is dived":               {needSupply},
}

const aCardThatCounts = "a training card that counts"

// lack is one thing that is missing, for whom, and what to do about it.
type lack struct{ says, remedy, path string }

// need names what is missing for something that is worked out; none: nothing is.
type need func(c *Case, f *finding.Finding) []lack

func needEntry(c *Case, _ *finding.Finding) []lack {
	if !c.Span.Entry.IsZero() {
		return nil
	}
	return []lack{{"the plan has no planned entry", "give the plan its entry", "plan.entry"}}
}

func needZone(c *Case, _ *finding.Finding) []lack {
	if len(c.In.Site.Zones) > 0 {
		return nil
	}
	return []lack{{c.site().Label() + " has no time zone on record", "enter the site's time zone", "site.zones"}}
}

// needRoute names what the route cannot be computed without.
func needRoute(c *Case, _ *finding.Finding) []lack {
	switch {
	case c.computed():
		return nil
	case len(c.RouteMissing) == 0:
		return []lack{{"the route has faults", "mend the route first", "route.route.moves"}}
	}
	var out []lack
	for _, m := range c.RouteMissing {
		l := lack{"the route cannot be computed without " + m.Observed.Text + " of " + m.Subject.Label(), "enter " + m.Observed.Text + " of " + m.Subject.Label(), m.Path}
		if !slices.Contains(out, l) {
			out = append(out, l)
		}
	}
	return out
}

// needCard tells a diver without a card from one whose cards do not count yet.
func needCard(c *Case, f *finding.Finding) []lack {
	for _, m := range c.Team {
		if m.subject() != f.Subject {
			continue
		}
		if m.Card.Code != "unknown" {
			return []lack{{"no training card counts yet", "see what is said of the card itself", m.Card.Path}}
		}
		if m.Record != nil && !c.Days.First.IsZero() {
			return []lack{{"no training card is on record", "enter the card, and have somebody else record having seen it", f.Path}}
		}
	}
	return []lack{{"no training card counts yet", "see what is said of the card itself", f.Path}}
}

func needSetUp(_ *Case, f *finding.Finding) []lack {
	return []lack{{"no set-up dive of this team is on record that verifies the route", "dive the set-up first, and record the dive", f.Path}}
}

func needSupply(*Case, *finding.Finding) []lack {
	return []lack{{"the plan names no cylinders", "give every diver of the plan their cylinders", "plan.supplies"}}
}

// derive says what is missing behind a derived thing and what to do about it, and lets the finding point at the first of it. ok
// false: the finding is about something that is recorded.
func (c *Case) derive(f *finding.Finding) (message, remedy string, ok bool) {
	if f.Code != "unknown" && f.Code != "no_time" || f.Observed == nil {
		return "", "", false
	}
	what := f.Observed.Text
	var lacks []lack
	for _, need := range derived[what] {
		lacks = append(lacks, need(c, f)...)
	}
	if len(lacks) == 0 {
		return "", "", false
	}
	f.Path = lacks[0].path
	const most = 3
	var says, remedies []string
	for _, l := range lacks[:min(most, len(lacks))] {
		says, remedies = append(says, l.says), append(remedies, l.remedy)
	}
	if more := len(lacks) - most; more > 0 {
		says, remedies = append(says, number(float64(more))+" more"), append(remedies, "and so on, as the other findings say")
	}
	message = f.Subject.Label() + ": cannot tell " + what + ": " + strings.Join(says, "; ")
	if what == aCardThatCounts {
		message = f.Subject.Label() + ": cannot tell, " + strings.Join(says, "; ")
	}
	return message, strings.Join(remedies, "; "), true
}
