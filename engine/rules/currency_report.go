package rules

import (
	"cmp"
	"slices"
	"strconv"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/training"
)

// CurrencyFigure is one count of recorded dives and what it decides.
type CurrencyFigure struct {
	About     string         `json:"about"` // level | endorsement | site | depth
	Name      string         `json:"name"`  // the level, endorsement, site id, or metres
	Tally     training.Tally `json:"tally"`
	Asked     int            `json:"asked"`      // how many the club asks; 0 = none asked
	Months    int            `json:"months"`     // how long each counts
	State     string         `json:"state"`      // level: the state; endorsement: counts | does_not_count; else empty
	ChangesOn calendar.Day   `json:"changes_on"` // next day on which State changes with no new dive; none = never
	ChangesTo string         `json:"changes_to"`
}

// CurrencyReport is what a person's recorded dives make of their cards on a day.
type CurrencyReport struct {
	Day      calendar.Day     `json:"day"`
	CountsAs string           `json:"counts_as"`
	Because  string           `json:"because"`
	Figures  []CurrencyFigure `json:"figures"`
}

// States of an endorsement.
const (
	useCounts = "counts"
	useNot    = "does_not_count"
)

// depthStep is the width of a depth band in metres: a reader's convenience, no limit.
const depthStep = 10

// CurrencyOf tells, for any day, how current a person is: at the level, in each
// endorsement, at each site, to each depth. Nothing in it is typed: every count
// is of recorded, closed dives, and names them. The day is asked to its end.
func CurrencyOf(in ReadyInput) CurrencyReport {
	c := personCase(in, scope{})
	m := c.Team[0]
	out := CurrencyReport{Day: in.Day, CountsAs: m.Counts, Because: c.Because(m)}
	k := c.Policy.Currency
	if a := m.Currency; a != nil {
		f := CurrencyFigure{About: "level", Name: m.CardLevel, Tally: a.Tally, Asked: k.Dives, Months: k.WithinMonths, State: string(a.State), ChangesOn: a.ChangesOn, ChangesTo: string(a.ChangesTo)}
		f.Tally.Last = a.Last
		out.Figures = append(out.Figures, f)
	}
	for _, u := range m.Uses {
		f := CurrencyFigure{About: "endorsement", Name: u.Endorsement, Tally: u.Tally, Months: k.EndorsementMonths, State: useCounts}
		if u.Asked {
			f.Asked = k.EndorsementUses
			if !u.Answer.Current {
				f.State = useNot
			} else if !u.Answer.LastDay.IsZero() {
				f.ChangesOn, f.ChangesTo = u.Answer.LastDay.Add(1), useNot
			}
		}
		out.Figures = append(out.Figures, f)
	}
	past := slices.Collect(c.past(&c.In.Divers[0]))
	out.Figures = append(out.Figures, c.bySite(past)...)
	out.Figures = append(out.Figures, c.byDepth(past)...)
	return out
}

// bySite counts the dives at each site as long as they let a diver lead a first visit there.
func (c *Case) bySite(past []*facts.PastDive) []CurrencyFigure {
	v := c.Policy.FirstVisit
	done := map[string][]training.Done{}
	var sites []string
	for _, p := range past {
		if done[p.Site] == nil {
			sites = append(sites, p.Site)
		}
		done[p.Site] = append(done[p.Site], training.Done{ID: p.ID, Day: p.EntryDay})
	}
	slices.Sort(sites)
	var out []CurrencyFigure
	for _, s := range sites {
		out = append(out, CurrencyFigure{About: "site", Name: s, Tally: training.TallyOn(done[s], c.Days.Last, v.LeaderMonths), Asked: v.LeaderDives, Months: v.LeaderMonths})
	}
	return out
}

// byDepth counts the dives of the currency's months that went at least so deep.
func (c *Case) byDepth(past []*facts.PastDive) []CurrencyFigure {
	months := c.Policy.Currency.WithinMonths
	past = slices.DeleteFunc(slices.Clone(past), func(p *facts.PastDive) bool { return p.MaxDepthM == nil })
	if len(past) == 0 {
		return nil
	}
	deepest := slices.MaxFunc(past, func(a, b *facts.PastDive) int { return cmp.Compare(*a.MaxDepthM, *b.MaxDepthM) })
	var out []CurrencyFigure
	for metres := depthStep; float64(metres) <= *deepest.MaxDepthM; metres += depthStep {
		var done []training.Done
		for _, p := range past {
			if *p.MaxDepthM >= float64(metres) {
				done = append(done, training.Done{ID: p.ID, Day: p.EntryDay})
			}
		}
		out = append(out, CurrencyFigure{About: "depth", Name: strconv.Itoa(metres), Tally: training.TallyOn(done, c.Days.Last, months), Months: months})
	}
	return out
}
