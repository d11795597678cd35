package training

import (
	"slices"

	"lastlight/engine/calendar"
)

// CauseFirstVisit is a cause for every member; TrainingOnly the one of a member
// whose currency leaves only training dives.
const (
	CauseFirstVisit   = "first_visit_in_team"
	CauseTrainingOnly = "training_only"
)

// The kinds of dive left to a member.
const (
	KindAny      = "any"
	KindTraining = "training" // with an instructor only
)

// Member is one diver of a team, as far as the step down asks.
type Member struct {
	Card         Level    `json:"card"`          // what the card counts as; none = not at all
	Causes       []string `json:"causes"`        // of Currency and of others
	FirstVisit   bool     `json:"first_visit"`   // at this site
	TrainingOnly bool     `json:"training_only"` // State.TrainingOnly
}

// Step is what one member counts as.
type Step struct {
	CountsAs Level    `json:"counts_as"` // none: training dives only, or no card that counts
	Kind     string   `json:"kind"`      // KindAny or KindTraining
	Causes   []string `json:"causes"`    // sorted
}

// TeamSteps is what the members count as, and the dive.
type TeamSteps struct {
	Members []Step `json:"members"`
	Dive    Level  `json:"dive"` // the least of the members; none when one counts as nothing
}

// StepDown lets every member with any cause count one step below the card,
// never two (T27). A first visit by one member is a cause for all. Below lowest
// (CAV) no step is left: training dives only.
func StepDown(team []Member, ladder []Level, lowest Level) TeamSteps {
	first := slices.ContainsFunc(team, func(m Member) bool { return m.FirstVisit })
	floor := slices.Index(ladder, lowest)
	out := TeamSteps{Members: []Step{}}
	least := len(ladder)
	for _, m := range team {
		s := Step{CountsAs: m.Card, Kind: KindAny, Causes: append([]string{}, m.Causes...)}
		if first {
			s.Causes = append(s.Causes, CauseFirstVisit)
		}
		if m.TrainingOnly {
			s.Causes = append(s.Causes, CauseTrainingOnly)
		}
		slices.Sort(s.Causes)
		s.Causes = slices.Compact(s.Causes)
		at := slices.Index(ladder, m.Card)
		if len(s.Causes) > 0 {
			at--
			if m.TrainingOnly || at < floor {
				at, s.Kind = -1, KindTraining
			}
		}
		if s.CountsAs = ""; at >= 0 {
			s.CountsAs = ladder[at]
		}
		least = min(least, at)
		out.Members = append(out.Members, s)
	}
	if least >= 0 && least < len(ladder) {
		out.Dive = ladder[least]
	}
	return out
}

// FirstVisitRules are the club's numbers for a first visit (T28).
type FirstVisitRules struct {
	LeaderDives  int `json:"leader_dives"`  // 2 at the site
	LeaderMonths int `json:"leader_months"` // 24: a dive counts through its day and this
	ShareNum     int `json:"share_num"`     // 1/2 of the usual penetration
	ShareDen     int `json:"share_den"`
	MedianMonths int `json:"median_months"` // 24
	MedianLeast  int `json:"median_least"`  // 5 penetrations, else not applicable
}

// Visitor is one member with the days of the dives at the site that were closed before entry.
type Visitor struct {
	ID     string         `json:"id"`
	Visits []calendar.Day `json:"visits"`
}

// Penetration is how far a recorded dive at the site went.
type Penetration struct {
	Day    calendar.Day `json:"date"`
	Metres float64      `json:"m"`
}

// VisitQuestion asks about a dive at a site.
type VisitQuestion struct {
	Team         []Visitor     `json:"team"`
	Leader       string        `json:"leader"`
	On           calendar.Day  `json:"on"`
	PlannedM     float64       `json:"planned_m"`
	Penetrations []Penetration `json:"penetrations"`
}

// Visit is what a first visit asks, and whether it is given.
type Visit struct {
	Newcomers    []string `json:"newcomers"`
	FirstVisit   bool     `json:"first_visit"`
	LeaderDives  int      `json:"leader_dives_24_months"`
	LeaderMay    bool     `json:"leader_may_lead"` // asked only of a first visit; else true
	Recorded     int      `json:"-"`               // recorded penetrations of that time
	Usual        *float64 `json:"usual_m"`         // median of the recorded penetrations; nil = too few
	ShareOfUsual *float64 `json:"half_usual_m"`    // the share of it that is allowed
	Penetration  string   `json:"penetration"`     // Passes, Refused or NotApplicable
	Verdict      string   `json:"verdict"`         // Passes, Refused; NotApplicable where nobody is new
}

// JudgeFirstVisit asks of a team with a newcomer that its leader knows the site
// and that it goes no further than the club's share of the usual (T28); equality passes.
func JudgeFirstVisit(q VisitQuestion, rules FirstVisitRules) Visit {
	out := Visit{Newcomers: []string{}, Penetration: NotApplicable, Verdict: NotApplicable, LeaderMay: true}
	past := func(d calendar.Day) bool { return !d.IsZero() && !d.After(q.On) }
	for _, m := range q.Team {
		if !slices.ContainsFunc(m.Visits, past) {
			out.Newcomers = append(out.Newcomers, m.ID)
		}
		if m.ID != q.Leader {
			continue
		}
		for _, d := range m.Visits {
			if Counts(d, q.On, rules.LeaderMonths) {
				out.LeaderDives++
			}
		}
	}
	out.FirstVisit = len(out.Newcomers) > 0
	var metres []float64
	for _, p := range q.Penetrations {
		if Counts(p.Day, q.On, rules.MedianMonths) {
			metres = append(metres, p.Metres)
		}
	}
	out.Recorded = len(metres)
	if len(metres) >= max(1, rules.MedianLeast) && rules.ShareDen > 0 {
		slices.Sort(metres)
		n := len(metres)
		// Twice the median, so that the mean of two needs no division.
		twice := metres[n/2] + metres[(n-1)/2]
		usual := twice / 2
		share := twice * float64(rules.ShareNum) / float64(2*rules.ShareDen)
		out.Usual, out.ShareOfUsual = &usual, &share
	}
	if !out.FirstVisit {
		return out
	}
	out.LeaderMay = out.LeaderDives >= rules.LeaderDives
	out.Verdict = Passes
	if out.ShareOfUsual != nil {
		out.Penetration = Passes
		// Recorded metres are decimals: a millionth of a metre is no excess.
		if q.PlannedM > *out.ShareOfUsual+1e-6 {
			out.Penetration, out.Verdict = Refused, Refused
		}
	}
	if !out.LeaderMay {
		out.Verdict = Refused
	}
	return out
}
