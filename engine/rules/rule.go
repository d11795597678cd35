// Package rules judges a plan: each rule is data (id, version, citation,
// effective dates, words) and one pure function. All rules always run, in the
// order of the table; every one answers, passes and not-applicable included.
//
// Date questions are answered by the packages calendar, due, training, analysis
// and watch; gas and route questions by route. Rules call them and never copy
// their arithmetic.
package rules

import (
	"slices"
	"strings"

	"lastlight/engine/finding"
)

// Words are the sentences of one code. Placeholders in braces are replaced by
// the finding's own fields: {subject} {other} {observed} {limit} {shortfall}
// {place} and the names of its figures.
type Words struct {
	Says   string
	Remedy string // what would pass instead
}

// Rule is one rule.
type Rule struct {
	ID       string
	Version  int
	Title    string
	Citation finding.Citation
	Cell     string // policy cell the limit comes from; its citation is the club's
	From, To string // ISO days on which the rule is in force; empty = always, still
	Words    map[string]Words

	// Check looks at the case and returns at least one finding. It fills status,
	// code, subject and figures; the rest is filled by Judge.
	Check func(c *Case) []finding.Finding
}

// handbook cites a section of the project's own method handbook.
func handbook(part, section string) finding.Citation {
	return finding.Citation{Document: "method handbook, " + part, Edition: "2026", Section: section, DateRead: "2026-11-25"}
}

// table is built once: the words of a rule are maps that never change.
var table = allRules()

// Table lists every rule in the order in which they run.
func Table() []Rule { return table }

func allRules() []Rule {
	var all []Rule
	for _, group := range [][]Rule{
		planRules(), siteRules(), peopleRules(), firstAidRules(), currencyRules(), teamRules(), levelRules(), cylinderRules(), gasRules(), instrumentRules(), kitRules(), serviceRules(), routeRules(), historyRules(), decompressionRules(), failureRules(), flightRules(), watchRules(),
	} {
		all = append(all, group...)
	}
	return all
}

// Judge runs every rule of the table, then the club's own rules, and returns all findings, worst first. Those of a case that was
// stopped meanwhile are not whole.
func Judge(c *Case) []finding.Finding {
	if len(c.Faults) > 0 {
		i := slices.IndexFunc(table, func(r Rule) bool { return r.ID == inputRule })
		fs := table[i].judge(c)
		all := make([]*finding.Finding, 0, len(fs))
		for k := range fs {
			all = append(all, &fs[k])
		}
		return finding.Sorted(all)
	}
	lists := make([][]finding.Finding, len(table))
	n := 0
	for i := range table {
		if c.Stopped() {
			return nil
		}
		lists[i] = table[i].judge(c)
		n += len(lists[i])
	}
	all := make([]*finding.Finding, 0, n)
	for _, list := range lists {
		for i := range list {
			all = append(all, &list[i])
		}
	}
	if len(c.Policy.OwnRules) == 0 {
		return finding.Sorted(all)
	}
	builtIn := finding.Sorted(all)
	all = all[:0]
	for i := range builtIn {
		all = append(all, &builtIn[i])
	}
	own := ownFindings(c, builtIn)
	for i := range own {
		all = append(all, &own[i])
	}
	return finding.Sorted(all)
}

func (r *Rule) judge(c *Case) []finding.Finding {
	fs := r.said(c)
	by := r.cited(c)
	for i := range fs {
		r.finish(c, &fs[i], by)
	}
	return fs
}

// said is what the rule says before it is put into words.
func (r *Rule) said(c *Case) []finding.Finding {
	if !r.inForce(c) {
		return []finding.Finding{{Status: finding.NotApplicable, Code: "not_in_force", Subject: c.plan()}}
	}
	fs := r.Check(c)
	if len(fs) == 0 {
		// A rule that says nothing has not looked: that must never read as a pass.
		fs = []finding.Finding{{Status: finding.Indeterminate, Code: "no_answer", Subject: c.plan()}}
	}
	return fs
}

// inForce compares the dive's last day with the rule's effective dates. Where
// the day is unknown the rule runs: another rule says what is missing.
func (r *Rule) inForce(c *Case) bool {
	if c.Days.Last.IsZero() {
		return true
	}
	day := c.Days.Last.String()
	return (r.From == "" || day >= r.From) && (r.To == "" || day <= r.To)
}

// common are the words every rule shares.
var common = map[string]Words{
	"ok":             {Says: "{subject}: in order"},
	"not_asked":      {Says: "{subject}: the plan does not ask for it"},
	"not_in_force":   {Says: "the rule is not in force on the day of the dive"},
	"no_answer":      {Says: "{subject}: cannot tell", Remedy: "report this: a rule gave no answer"},
	"unknown":        {Says: "{subject}: cannot tell, {observed} is not recorded", Remedy: "record {observed}"},
	"route_unknown":  {Says: "{subject}: cannot tell, the route has faults", Remedy: "mend the route first"},
	"not_computed":   {Says: "{subject}: cannot tell, the decompression is not computed", Remedy: "see why it cannot be computed"},
	"level_unknown":  {Says: "{subject}: cannot tell, nobody can say which level counts", Remedy: "have the cards of the team seen and recorded"},
	"no_level":       {Says: "{subject}: not judged, {who} counts as no level"},
	"cannot_compute": {Says: "{subject}: cannot tell, {observed}", Remedy: "enter what is missing"},
}

// cited is the clause the rule rests on: that of its policy cell, where the policy names one.
func (r *Rule) cited(c *Case) finding.Citation {
	if r.Cell != "" {
		if own, ok := c.Policy.CitationFor(r.cell(c)); ok && own.Complete() {
			return own
		}
	}
	return r.Citation
}

func (r *Rule) finish(c *Case, f *finding.Finding, by finding.Citation) {
	f.Rule, f.RuleVersion, f.Citation = r.ID, r.Version, by
	if f.Unit == "" {
		switch {
		case f.Observed != nil && f.Observed.Unit != "":
			f.Unit = f.Observed.Unit
		case f.Limit != nil:
			f.Unit = f.Limit.Unit
		}
	}
	if f.Status == finding.NeedsWaiver && f.Waiver == nil {
		f.Waiver = c.Policy.Waivers.For(r.ID)
	}
	message, remedy, behind := c.derive(f)
	r.explain(c, f)
	w, ok := r.Words[f.Code]
	if !ok {
		w, ok = common[f.Code]
	}
	if !ok {
		w = Words{Says: "{subject}: " + strings.ReplaceAll(f.Code, "_", " ")}
	}
	f.Message = fill(w.Says, f)
	if f.Status.Blocks() || f.Status == finding.Caution || f.DueAt != "" {
		f.Remedy = fill(w.Remedy, f)
	}
	if behind {
		f.Message, f.Remedy = message, remedy
	}
}

// explain gives every finding that says more than "in order" the steps that led
// to it, and every step its source.
func (r *Rule) explain(c *Case, f *finding.Finding) {
	said := f.Status != finding.Pass && f.Status != finding.NotApplicable
	if len(f.Steps) == 0 && (said || f.Observed != nil && f.Limit != nil) {
		limitAt := ""
		if r.Cell != "" {
			limitAt = "policy." + r.cell(c)
		}
		f.Steps = []finding.Step{f.Given(f.Path, limitAt)}
	}
	source := ""
	for i := range f.Steps {
		if f.Steps[i].Source == "" {
			if source == "" {
				source = f.Citation.Document + ", " + f.Citation.Section
			}
			f.Steps[i].Source = source
		}
	}
}

// cell is the policy path of the rule with {level} replaced by the level judged.
func (r *Rule) cell(c *Case) string {
	return strings.ReplaceAll(r.Cell, "{level}", c.LevelName)
}

// fill builds a sentence from nothing but the finding's own fields. Braces with
// none of its names in them stay as they are.
func fill(template string, f *finding.Finding) string {
	before, rest, found := strings.Cut(template, "{")
	if !found {
		return template
	}
	var out strings.Builder
	out.Grow(2 * len(template))
	for ; found; before, rest, found = strings.Cut(rest, "{") {
		out.WriteString(before)
		if name, after, closed := strings.Cut(rest, "}"); closed {
			if text, unit, known := field(f, name); known {
				out.WriteString(text)
				if unit != "" {
					out.WriteByte(' ')
					out.WriteString(unit)
				}
				rest = after
				continue
			}
		}
		out.WriteByte('{')
	}
	out.WriteString(before)
	return out.String()
}

// field is the text of one of a finding's fields by its name in a sentence, with its unit.
func field(f *finding.Finding, name string) (text, unit string, known bool) {
	v := (*finding.Figure)(nil)
	switch name {
	case "subject":
		return f.Subject.Label(), "", true
	case "place":
		return f.Place, "", true
	case "other":
		if f.Other != nil {
			return f.Other.Label(), "", true
		}
	case "observed":
		v = f.Observed
	case "limit":
		v = f.Limit
	case "shortfall":
		v = f.Shortfall
	}
	for i := 0; v == nil && i < len(f.Figures); i++ {
		if f.Figures[i].Name == name {
			v = &f.Figures[i]
		}
	}
	if v == nil {
		return "", "", false
	}
	return v.Text, v.Unit, true
}

// Small makers of findings, so that a rule reads as its answer.

func answer(s finding.Status, code string, subject finding.Subject) finding.Finding {
	return finding.Finding{Status: s, Code: code, Subject: subject}
}

func pass(subject finding.Subject) finding.Finding { return answer(finding.Pass, "ok", subject) }

func notAsked(subject finding.Subject) finding.Finding {
	return answer(finding.NotApplicable, "not_asked", subject)
}

// unknown says which input is missing; it blocks.
func unknown(subject finding.Subject, what, path string) finding.Finding {
	f := answer(finding.Indeterminate, "unknown", subject)
	w := finding.Word("", what)
	f.Observed, f.Path = &w, path
	return f
}

// measured attaches what was seen and the limit it was compared with.
func measured(f finding.Finding, observed, limit finding.Figure) finding.Finding {
	f.Observed, f.Limit = &observed, &limit
	return f
}

func one(f finding.Finding) []finding.Finding { return []finding.Finding{f} }
