package decide

import (
	"context"
	"math"
	"slices"

	"lastlight/engine"
	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/brief"
	"lastlight/server/internal/report"
)

// lowerStarts works out what the entry would answer if one diver started with
// less than planned: the rows that replace the server where there is no signal.
// What blocks at entry even with the planned starts (a reading still to be
// taken) stands on the page as a condition and is not repeated here.
func lowerStarts(ctx context.Context, by judge, figures *lastlightv1.DiveFigures, in engine.Input, names report.Names, units brief.Units) error {
	in = atEntryAsPlanned(in)
	asPlanned, err := by(ctx, in)
	if err != nil {
		return err
	}
	known := map[string]bool{}
	for _, f := range engine.EntryBlocking(&asPlanned) {
		known[f.Key()] = true
	}
	// entry answers for one diver's start; an empty noDive means go.
	entry := func(diver string, bar float64) (rep engine.Report, noDive string, err error) {
		rep, err = by(ctx, withStart(in, diver, bar))
		if err != nil {
			return rep, "", err
		}
		for _, f := range engine.EntryBlocking(&rep) {
			if !known[f.Key()] {
				return rep, report.Public(f, names), nil
			}
		}
		return rep, "", nil
	}
	for _, row := range figures.Divers {
		diver, planned := plannedStart(&in, row.Person, names)
		if planned <= 0 {
			continue
		}
		// Less gas never makes a dive that was none: halve down to the lowest mark that goes.
		grain, why := units.Mark(), ""
		goes := int(math.Ceil(planned/grain - 1e-6))
		for low := 0; goes-low > 1; {
			middle := (low + goes) / 2
			_, noDive, err := entry(diver, float64(middle)*grain)
			if err != nil {
				return err
			}
			if noDive == "" {
				goes = middle
			} else {
				low, why = middle, noDive
			}
		}
		lowest := math.Min(float64(goes)*grain, planned)
		for _, start := range units.LowerStarts(planned) {
			if start < lowest {
				break
			}
			rep, noDive, err := entry(diver, start)
			if err != nil {
				return err
			}
			if noDive != "" {
				break
			}
			shown := report.Show(&rep, names)
			l := &lastlightv1.LowerStart{StartBar: start, TurnAtTheLatest: brief.Place(shown.Dive.TurnAtTheLatest), TurnPlace: shown.Dive.TurnAtTheLatest}
			for _, x := range shown.Dive.Divers {
				for _, t := range x.Turns {
					t.Person = x.Person
					l.Turns = append(l.Turns, t)
				}
			}
			row.LowerStarts = append(row.LowerStarts, l)
		}
		row.LowerStarts = append(row.LowerStarts, &lastlightv1.LowerStart{StartBar: lowest, NoDive: "no dive below: " + why})
	}
	return nil
}

// atEntryAsPlanned is the input as at entry, every planned pressure measured.
func atEntryAsPlanned(in engine.Input) engine.Input {
	in.Moment = facts.AtEntry
	in.Plan.Supplies = slices.Clone(in.Plan.Supplies)
	for i := range in.Plan.Supplies {
		if bar := in.Plan.Supplies[i].PlannedBar; bar != nil {
			v := *bar
			in.Plan.Supplies[i].MeasuredBar = &v
		}
	}
	return in
}

// plannedStart gives a person's pseudonym and the planned start of the mains, 0 where there is none.
func plannedStart(in *engine.Input, person string, names report.Names) (diver string, bar float64) {
	for _, s := range in.Plan.Supplies {
		if s.Role == facts.Main && names.ID(s.Diver) == person && s.PlannedBar != nil {
			return s.Diver, *s.PlannedBar
		}
	}
	return "", 0
}

// withStart is the input with another measured start of one diver's mains.
func withStart(in engine.Input, diver string, bar float64) engine.Input {
	in.Plan.Supplies = slices.Clone(in.Plan.Supplies)
	for i := range in.Plan.Supplies {
		if s := &in.Plan.Supplies[i]; s.Role == facts.Main && s.Diver == diver {
			s.MeasuredBar = &bar
		}
	}
	return in
}
