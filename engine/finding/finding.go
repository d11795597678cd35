// Package finding defines what a check says about a plan: one Finding for each
// thing looked at, passes included, with everything a coordinator needs to
// judge it: who, where, what was measured, against which limit, by how much it
// misses, which clause says so, what would pass instead and who may decide
// otherwise.
//
// Findings are values: no clock, no record access. Two evaluations of equal
// input give equal findings in the same order.
package finding

import (
	"cmp"
	"slices"
)

// Status is the answer of one check.
type Status string

// The closed set of answers. A missing input is Indeterminate, never Pass.
const (
	Pass          Status = "pass"
	NotApplicable Status = "not_applicable"
	Note          Status = "note"
	Caution       Status = "caution"
	NeedsWaiver   Status = "needs_waiver"
	Indeterminate Status = "indeterminate"
	Refuse        Status = "refuse"
)

// Statuses lists every status, worst first.
var Statuses = []Status{Refuse, Indeterminate, NeedsWaiver, Caution, Note, Pass, NotApplicable}

// Rank orders statuses: 0 is the worst. An unknown status ranks before all
// others, so that it can never be overlooked.
func (s Status) Rank() int {
	switch s {
	case Refuse:
		return 0
	case Indeterminate:
		return 1
	case NeedsWaiver:
		return 2
	case Caution:
		return 3
	case Note:
		return 4
	case Pass:
		return 5
	case NotApplicable:
		return 6
	}
	return -1
}

// Blocks tells whether a plan with such a finding may not be dived as it
// stands: refuse and indeterminate always, needs_waiver until it is waived.
// A status outside the closed set blocks.
func (s Status) Blocks() bool {
	return s.Rank() <= NeedsWaiver.Rank()
}

// Kind is the kind of thing a finding is about.
type Kind string

// The kinds of subject.
const (
	KindPlan     Kind = "plan"
	KindSite     Kind = "site"
	KindDiver    Kind = "diver"
	KindCover    Kind = "cover"
	KindCylinder Kind = "cylinder"
	KindItem     Kind = "item"
	KindStation  Kind = "station"
	KindLeg      Kind = "leg"
	KindMove     Kind = "move"
)

var kinds = []Kind{KindPlan, KindSite, KindDiver, KindCover, KindCylinder, KindItem, KindStation, KindLeg, KindMove}

// Subject is what a finding is about. ID is the stable id within the input
// (a pseudonym for persons); Name is what the reader is shown.
type Subject struct {
	Kind Kind   `json:"kind"`
	ID   string `json:"id,omitempty"`
	Name string `json:"name,omitempty"`
}

// Label is the name to print: the display name, else the id, else the kind.
func (s Subject) Label() string {
	if s.Name != "" {
		return s.Name
	}
	if s.ID != "" {
		return s.ID
	}
	return string(s.Kind)
}

// Figure is one named quantity. Text is always set and is what is printed
// (already rounded for the reader, without the unit); Number is the value it
// stands for where it is a number, rounded to nine significant digits so that
// processors that fuse products and sums agree.
//
// In a Step, From says where the value stands: a path of the input, a cell of
// the policy, or "above" for the result of an earlier step; Of is the person in
// whose own records (training, consumption) it stands, several joined by +, so
// that it is shown only to who may read those.
type Figure struct {
	Name   string   `json:"name,omitempty"`
	Number *float64 `json:"number,omitempty"`
	Text   string   `json:"text"`
	Unit   string   `json:"unit,omitempty"`
	From   string   `json:"from,omitempty"`
	Of     string   `json:"of,omitempty"`
}

// Citation names the clause a rule or a policy cell rests on.
type Citation struct {
	Document string `json:"document"`
	Edition  string `json:"edition"`
	Section  string `json:"section"`
	DateRead string `json:"date_read"` // ISO date on which the clause was read
}

// Complete tells whether all four parts are there; a rule without a complete
// citation is refused by a test.
func (c Citation) Complete() bool {
	return c.Document != "" && c.Edition != "" && c.Section != "" && c.DateRead != ""
}

// Waiver says who may decide that a needs_waiver finding does not stop the
// dive. Roles are the roles of which the decider must hold one; a nil Waiver on
// a finding means nobody may.
type Waiver struct {
	Roles          []string `json:"roles"`
	SecondApprover bool     `json:"second_approver"`
}

// Evidence names a record the finding relied on. Version is never part of the
// report's hash: an unrelated edit of the record must not fail an approval.
type Evidence struct {
	Kind    string `json:"kind"`
	ID      string `json:"id"`
	Version int64  `json:"version"`
}

// AtEntry is the DueAt of a finding that is a condition to be met at entry.
const AtEntry = "entry"

// Finding is the answer of one rule about one subject.
type Finding struct {
	Rule        string   `json:"rule"`
	RuleVersion int      `json:"rule_version"`
	Status      Status   `json:"status"`
	Code        string   `json:"code"` // stable word for what was found, e.g. card_ends
	Subject     Subject  `json:"subject"`
	Other       *Subject `json:"other,omitempty"` // the second party, e.g. the diver gas is shared with
	Path        string   `json:"path,omitempty"`  // path of the input that would have to change, e.g. divers[2].card
	Place       string   `json:"place,omitempty"` // place on the line, e.g. "5 m past B, towards C"

	Observed  *Figure  `json:"observed,omitempty"`
	Limit     *Figure  `json:"limit,omitempty"`
	Shortfall *Figure  `json:"shortfall,omitempty"`
	Unit      string   `json:"unit,omitempty"`
	Figures   []Figure `json:"figures,omitempty"` // further figures, e.g. the shortfall in bar of the donor

	Citation Citation   `json:"citation"`
	Message  string     `json:"message"` // built only from the fields above
	Remedy   string     `json:"remedy,omitempty"`
	Waiver   *Waiver    `json:"waiver,omitempty"`
	DueAt    string     `json:"due_at,omitempty"` // "entry": a condition the evaluation at entry will ask for
	Evidence []Evidence `json:"evidence,omitempty"`
	Steps    []Step     `json:"steps,omitempty"`
}

// Blocks tells whether this finding stops the plan as it stands.
func (f Finding) Blocks() bool { return f.Status.Blocks() }

// Waivable tells whether somebody may decide otherwise. A refusal, an unknown
// input and a finding that nobody may waive are never waivable.
func (f Finding) Waivable() bool {
	return f.Status == NeedsWaiver && f.Waiver != nil && len(f.Waiver.Roles) > 0
}

// Key identifies the finding within its report: a waiver names it by this.
func (f Finding) Key() string {
	k := f.Rule + "/" + string(f.Subject.Kind) + ":" + f.Subject.ID
	if f.Other != nil {
		k += ">" + f.Other.ID
	}
	return k + "/" + f.Code + "/" + f.Path
}

// Compare is the total order of findings in a report: worst status first, then
// rule, subject, code, place, path and message. Only findings equal in all of
// them compare as 0.
func Compare(a, b Finding) int { return compare(&a, &b) }

func compare(a, b *Finding) int {
	if c := cmp.Compare(a.Status.Rank(), b.Status.Rank()); c != 0 {
		return c
	}
	if c := cmp.Compare(a.Rule, b.Rule); c != 0 {
		return c
	}
	other := func(f *Finding) string {
		if f.Other == nil {
			return ""
		}
		return f.Other.ID
	}
	if a.Subject.Kind != b.Subject.Kind {
		if c := cmp.Compare(slices.Index(kinds, a.Subject.Kind), slices.Index(kinds, b.Subject.Kind)); c != 0 {
			return c
		}
	}
	if c := cmp.Compare(a.Subject.ID, b.Subject.ID); c != 0 {
		return c
	}
	return cmp.Or(
		cmp.Compare(other(a), other(b)),
		cmp.Compare(a.Code, b.Code),
		cmp.Compare(a.Path, b.Path),
		cmp.Compare(a.Place, b.Place),
		cmp.Compare(a.Message, b.Message),
	)
}

// Sorted is a list of findings in the order of Compare, equal ones as they came. A
// finding is large, so what is moved about while sorting is where each stands; fs
// is sorted too.
func Sorted(fs []*Finding) []Finding {
	slices.SortStableFunc(fs, compare)
	list := make([]Finding, len(fs))
	for i, f := range fs {
		list[i] = *f
	}
	return list
}

// Counts is how many findings have each status.
type Counts struct {
	Refuse        int `json:"refuse"`
	Indeterminate int `json:"indeterminate"`
	NeedsWaiver   int `json:"needs_waiver"`
	Caution       int `json:"caution"`
	Note          int `json:"note"`
	Pass          int `json:"pass"`
	NotApplicable int `json:"not_applicable"`
}

// Count counts findings by status.
func Count(fs []Finding) Counts {
	var c Counts
	for _, f := range fs {
		switch f.Status {
		case Refuse:
			c.Refuse++
		case NeedsWaiver:
			c.NeedsWaiver++
		case Caution:
			c.Caution++
		case Note:
			c.Note++
		case Pass:
			c.Pass++
		case NotApplicable:
			c.NotApplicable++
		default: // a status outside the set counts as unknown, which blocks
			c.Indeterminate++
		}
	}
	return c
}

// Worst is the status of the whole: the worst of all findings; Indeterminate
// when there are none, because nothing looked at is nothing known.
func Worst(fs []Finding) Status {
	if len(fs) == 0 {
		return Indeterminate
	}
	w := fs[0].Status
	for _, f := range fs[1:] {
		if f.Status.Rank() < w.Rank() {
			w = f.Status
		}
	}
	return w
}
