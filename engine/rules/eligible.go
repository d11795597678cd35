package rules

import (
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// EligibleInput is an expedition's question: who can dive where on which day.
type EligibleInput struct {
	PolicyVersion string
	Policy        policy.Policy
	Divers        []facts.Diver // with their recorded dives, read once
	Sites         []facts.Site  // each with its zone, grade, closures and permits
	First, Last   calendar.Day  // both included, in each site's own zone
}

// EligibleCell is one diver at one site on one day. A site that is closed or
// without a permit stops everybody; else the first rule that stops the diver.
type EligibleCell struct {
	Diver    string
	Site     string
	Day      calendar.Day
	May      bool
	CountsAs string           // level as it counts there on that day
	Stopped  *finding.Finding // nil where May
}

// Eligible answers by the rules that plans are judged by, in the order of
// sites, days, divers. What only a plan can tell (gas, team, route) is not in
// it. What does not depend on the site is worked out once for each zone.
func Eligible(in EligibleInput) []EligibleCell {
	var person, here []Rule
	for _, r := range table {
		switch {
		case r.ID == "diver.step_down":
			here = append(here, r)
		case slices.Contains(readyRules, r.ID):
			person = append(person, r)
		}
	}
	here = append(here, siteGrade())
	type when struct {
		diver int
		day   calendar.Day
		zone  string
	}
	known := map[when]*personDay{}
	var out []EligibleCell
	for s := range in.Sites {
		site := &in.Sites[s]
		for day := in.First; !day.After(in.Last); day = day.Add(1) {
			closed := siteOn(in, site, day)
			for d := range in.Divers {
				key := when{d, day, ""}
				if len(site.Zones) > 0 {
					key.zone = site.Zones[0].Name
				}
				p := known[key]
				if p == nil {
					p = in.personDay(person, &in.Divers[d], day, site)
					known[key] = p
				}
				out = append(out, p.at(site, day, closed, here))
			}
		}
	}
	return out
}

// personDay is one diver on one day of a zone, before any site is asked about.
type personDay struct {
	c       *Case
	stopped *finding.Finding
}

func (in *EligibleInput) personDay(asked []Rule, diver *facts.Diver, day calendar.Day, site *facts.Site) *personDay {
	c := personCase(ReadyInput{PolicyVersion: in.PolicyVersion, Policy: in.Policy, Zones: site.Zones, Day: day, Diver: *diver}, scope{brief: true})
	return &personDay{c: c, stopped: firstStop(c, asked)}
}

// firstStop is the first finding that stops, in the order of the rules.
func firstStop(c *Case, asked []Rule) *finding.Finding {
	for _, r := range asked {
		for _, f := range r.said(c) {
			if f.Blocks() { // of thousands of findings those alone are put into words that are shown
				r.finish(c, &f, r.cited(c))
				return &f
			}
		}
	}
	return nil
}

// at asks about one site: whether it is a first visit, and its grade. The input is the day's own: it is told the site
// and not copied for each.
func (p *personDay) at(site *facts.Site, day calendar.Day, closed *finding.Finding, here []Rule) EligibleCell {
	c := *p.c
	c.In.Site.ID, c.In.Site.Name, c.In.Site.Grade = site.ID, site.Name, site.Grade
	c.Team = slices.Clone(p.c.Team)
	m := &c.Team[0]
	m.Counts = m.CardLevel
	c.steps()
	cell := EligibleCell{Diver: m.Diver, Site: site.ID, Day: day, CountsAs: m.Counts, Stopped: closed}
	if cell.Stopped == nil {
		cell.Stopped = p.stopped
	}
	if cell.Stopped == nil {
		c.Level, c.Least = m.Limits(&c), 0
		if c.Level != nil {
			c.LevelName = c.Level.Name
		}
		cell.Stopped = firstStop(&c, here)
	}
	cell.May = cell.Stopped == nil
	return cell
}

// siteOn tells what stops everybody at a site on a day: the noon of the day
// stands for it, and a permit's daily hours are a plan's to keep.
func siteOn(in EligibleInput, site *facts.Site, day calendar.Day) *finding.Finding {
	c := &Case{In: &facts.Input{Moment: facts.Planning, Policy: in.Policy, PolicyVersion: in.PolicyVersion, Site: *site}, Least: -1}
	c.Policy = &c.In.Policy
	c.In.Site.Permits = nil
	for _, p := range site.Permits {
		p.DailyFrom, p.DailyTo = "", ""
		c.In.Site.Permits = append(c.In.Site.Permits, p)
	}
	if len(site.Zones) > 0 {
		if noon, err := site.Zones[0].EarliestReading(calendar.Wall{Day: day, Minute: 12 * 60}); err == nil {
			c.Days = calendar.On(day)
			c.Span = Span{Entry: noon, EnterBy: noon, Surfacing: noon, RuntimeMin: 1, Dial: noon}
		}
	}
	for _, r := range siteRules() {
		if r.ID != "site.open" && r.ID != "site.permit" {
			continue
		}
		for _, f := range r.judge(c) {
			if f.Blocks() {
				return &f
			}
		}
	}
	return nil
}
