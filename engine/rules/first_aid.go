package rules

import (
	"fmt"
	"slices"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/watch"
)

// firstAidRules ask what is there should somebody need help: who can give it, and
// the oxygen at the site. The handbook asks both to be kept current and known and
// names no refusal, so what is missing is a caution.
func firstAidRules() []Rule {
	return []Rule{
		{
			ID: "diver.first_aid", Version: 1, Title: "First aid, resuscitation and oxygen kept current", Citation: handbook("practice", "11"), Cell: "people.first_aid_months",
			Words: map[string]Words{
				"ok":          {Says: "{subject}: {observed} current, the first ends {limit}"},
				"last_day":    {Says: "{subject}: {observed} current, the first ends {limit}, the last day of the dive", Remedy: "renew it"},
				"not_current": {Says: "{subject}: {observed} not current on {day}: no card that somebody else has seen and that holds", Remedy: "renew it and have the card seen"},
				"not_set":     {Says: "{subject}: the club records no first aid"},
			},
			Check: func(c *Case) []finding.Finding { return c.each(c.firstAid) },
		},
		{
			ID: "site.first_aid_oxygen", Version: 1, Title: "First-aid oxygen at the site", Citation: handbook("dates and deadlines", "T39"), Cell: "first_aid_oxygen",
			Words: map[string]Words{
				"ok":      {Says: "{subject}: oxygen for {observed} for {casualties}"},
				"none":    {Says: "{subject}: no first-aid oxygen is on record", Remedy: "enter its cylinders in the site's emergency sheet, and bring it"},
				"empty":   {Says: "{subject}: the first-aid oxygen on record lasts {observed} for {casualties}", Remedy: "fill it, or bring more"},
				"not_set": {Says: "{subject}: the policy has no figures for first-aid oxygen"},
			},
			Check: func(c *Case) []finding.Finding { return one(c.firstAidOxygen()) },
		},
	}
}

// firstAidMonths is how long a card of first aid holds from its issue; 0: it is
// none, or the club does not ask.
func firstAidMonths(p *policy.Policy, endorsement string) int {
	switch endorsement {
	case policy.Resuscitation:
		return p.People.CprMonths
	case policy.FirstAid, policy.GivesOxygen:
		return p.People.FirstAidMonths
	}
	return 0
}

func (c *Case) firstAid(m Member) []finding.Finding {
	s := m.subject()
	var asked []string
	for _, e := range []string{policy.Resuscitation, policy.FirstAid, policy.GivesOxygen} {
		if slices.Contains(c.Policy.Endorsements, e) && firstAidMonths(c.Policy, e) > 0 {
			asked = append(asked, e)
		}
	}
	at := path("divers", c.indexOf(m.Diver), "cards")
	switch {
	case len(asked) == 0:
		return one(answer(finding.NotApplicable, "not_set", s))
	case m.Record == nil:
		return one(unknown(s, "the person's record", m.Path))
	case c.Days.First.IsZero():
		return one(unknown(s, "the days of the dive", "plan.entry"))
	}
	var missing []string
	var ends calendar.Day
	for _, e := range asked {
		var last calendar.Day
		held := false
		for _, card := range m.Record.Cards {
			if card.Endorsement != e {
				continue
			}
			if a, ok := c.judgeCard(m.Diver, card, c.Days); ok && a.CountsAs != "" {
				held = true
				if a.LastDay.After(last) {
					last = a.LastDay
				}
			}
		}
		if !held {
			missing = append(missing, e)
			continue
		}
		ends = calendar.Earliest(ends, last)
	}
	if len(missing) > 0 {
		f := answer(finding.Caution, "not_current", s)
		what := finding.Word("", strings.Join(missing, ", "))
		f.Observed, f.Path, f.Figures = &what, at, []finding.Figure{finding.Word("day", c.Days.Last.String())}
		return one(f)
	}
	f := measured(pass(s), finding.Word("", strings.Join(asked, ", ")), finding.Word("", ends.String()))
	f.Path = at
	if ends == c.Days.Last {
		f.Status, f.Code = finding.Caution, "last_day"
	}
	return one(f)
}

// firstAidOxygen is how long the cylinders of the emergency sheet last (T39).
func (c *Case) firstAidOxygen() finding.Finding {
	s, o := c.site(), c.Policy.FirstAidOxygen
	switch {
	case !(o.FlowLMin > 0) || o.Casualties < 1:
		return answer(finding.NotApplicable, "not_set", s)
	case len(c.In.Site.Oxygen) == 0:
		f := answer(finding.Caution, "none", s)
		f.Path = "site.oxygen"
		return f
	}
	rules := watch.OxygenRules{ReserveBar: o.DownToBar, LitresMin: o.FlowLMin, Casualties: o.Casualties}
	casualties := finding.CountOf("casualties", o.Casualties, "casualties")
	lines := c.explaining("dates and deadlines, T39")
	var cylinders []watch.OxygenCylinder
	var each []finding.Figure
	total := 0.0
	for i, x := range c.In.Site.Oxygen {
		cylinder := watch.OxygenCylinder{Litres: x.VolumeL, Bar: x.Bar}
		gas, name, at := cylinder.Gas(rules), fmt.Sprint("cylinder ", i+1), path("site.oxygen", i, "")
		lines.add("oxygen in "+name, "volume × the greatest of (pressure - down to, 0)", litres(name, gas),
			litres("volume", x.VolumeL).At(at), gauge("pressure", x.Bar).At(at), gauge("down to", o.DownToBar).At("policy.first_aid_oxygen.down_to_bar"))
		cylinders, each, total = append(cylinders, cylinder), append(each, litres(name, gas).At(finding.Above)), total+gas
	}
	minutes := watch.OxygenMinutes(cylinders, rules)
	f := pass(s)
	lasts := finding.CountOf("", minutes, "minutes")
	f.Observed, f.Path, f.Figures = &lasts, "site.oxygen", []finding.Figure{casualties}
	if minutes == 0 {
		f.Status, f.Code = finding.Caution, "empty"
	}
	lines.add("all of it", finding.Sum, litres("gas", total), each...)
	lines.add("minutes of first-aid oxygen", "down to whole (gas / (flow × casualties))", lasts,
		litres("gas", total).At(finding.Above), rate("flow", o.FlowLMin).At("policy.first_aid_oxygen.flow_l_min"), casualties.At("policy.first_aid_oxygen.casualties"))
	f.Steps = lines.lines()
	return f
}
