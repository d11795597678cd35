package rpc

import (
	"context"
	"strings"

	"lastlight/engine"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// GetCurrency tells what a person's recorded dives make of their cards on a day, past or future.
func (h *Roster) GetCurrency(ctx context.Context, r *lastlightv1.GetCurrencyRequest) (*lastlightv1.Currency, error) {
	q, err := h.personQuestion(ctx, "GetCurrency", r.Person, r.Day, r.Site, true)
	if err != nil {
		return nil, err
	}
	answer := engine.CurrencyOf(q.in)
	out := &lastlightv1.Currency{
		Person: q.person, Day: answer.Day.String(), Site: r.Site, CountsAs: answer.CountsAs, CountsBecause: q.names.In(answer.Because),
		Policy: q.in.PolicyVersion, EngineVersion: engine.Version,
	}
	for _, f := range answer.Figures {
		out.Figures = append(out.Figures, &lastlightv1.CurrencyFigure{
			About: f.About, Name: f.Name, Count: int32(len(f.Tally.Counted)), Asked: int32(f.Asked), WithinMonths: int32(f.Months),
			State: strings.ReplaceAll(f.State, "_", " "), LastDay: f.Tally.Last.String(), FallsOn: f.Tally.FallsOn.String(),
			ChangesOn: f.ChangesOn.String(), ChangesTo: strings.ReplaceAll(f.ChangesTo, "_", " "), Dives: f.Tally.Counted,
		})
	}
	return out, nil
}
