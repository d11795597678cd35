package tables

import (
	"lastlight/engine/calendar"
	"lastlight/engine/training"
)

// The numbers the rows rely on, as the method handbook's "Dates and deadlines"
// gives them; its rows have no grace after the card's issue ("Decided", 1).
var (
	currencyRules     = training.CurrencyRules{Dives: 6, WithinMonths: 12, EasierAfterDays: 90, RefresherMonths: 12, ReassessMonths: 24}       // T25
	firstVisitRules   = training.FirstVisitRules{LeaderDives: 2, LeaderMonths: 24, ShareNum: 1, ShareDen: 2, MedianMonths: 24, MedianLeast: 5} // T28
	endorsementUses   = 4                                                                                                                      // T26
	endorsementMonths = 12                                                                                                                     // T26
	neutralLadder     = []training.Level{"OW", "CAV", "INT", "APP", "FULL"}                                                                    // practice 2
	cavernLevel       = training.Level("CAV")                                                                                                  // practice 2
)

func init() {
	dateKinds["currency"] = answer(currency)
	dateKinds["endorsement"] = answer(endorsement)
	dateKinds["step_down"] = answer(stepDown)
	dateKinds["first_visit"] = answer(firstVisit)
}

// ladder is the file's, or the neutral one where the head has none.
func (f *datesFile) ladder() []training.Level {
	if len(f.Ladder) > 0 {
		return f.Ladder
	}
	return neutralLadder
}

func currency(f *datesFile, in struct {
	asked
	Level  training.Level `json:"level"`
	Issued calendar.Day   `json:"card_issued"`
	Dives  []struct {
		training.Dive
		Entry calendar.Instant `json:"entry"`
		Zone  string           `json:"zone"`
	} `json:"dives"`
	Reassessed []calendar.Day `json:"reassessed"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	q := training.CurrencyQuestion{
		Level: in.Level, Ladder: f.ladder(), Cavern: cavernLevel,
		Issued: in.Issued, Reassessed: in.Reassessed, On: days.Last,
	}
	for _, d := range in.Dives {
		if !d.Entry.IsZero() { // the dive has the site-local day of its entry
			zone, err := f.zone(d.Zone)
			if err != nil {
				return nil, err
			}
			if d.Day, err = zone.Day(d.Entry); err != nil {
				return nil, err
			}
		}
		q.Dives = append(q.Dives, d.Dive)
	}
	out, known := training.CurrencyOn(q, currencyRules)
	if !known {
		return map[string]string{"state": training.CannotTell}, nil
	}
	return out, nil
}

func endorsement(f *datesFile, in struct {
	asked
	Uses []calendar.Day `json:"uses"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	return training.EndorsementOn(in.Uses, days.Last, endorsementUses, endorsementMonths), nil
}

func stepDown(f *datesFile, in struct {
	Team []training.Member `json:"team"`
},
) (any, error) {
	return training.StepDown(in.Team, f.ladder(), cavernLevel), nil
}

func firstVisit(f *datesFile, in struct {
	asked
	Team         []training.Visitor     `json:"team"`
	Leader       string                 `json:"leader"`
	PlannedM     float64                `json:"planned_m"`
	Penetrations []training.Penetration `json:"penetrations"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	q := training.VisitQuestion{Team: in.Team, Leader: in.Leader, On: days.Last, PlannedM: in.PlannedM, Penetrations: in.Penetrations}
	return training.JudgeFirstVisit(q, firstVisitRules), nil
}
