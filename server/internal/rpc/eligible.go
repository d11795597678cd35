package rpc

import (
	"cmp"
	"context"
	"slices"

	"lastlight/engine"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/report"
)

// GetEligibility tells who of an expedition can dive where on which day.
func (h *Expeditions) GetEligibility(ctx context.Context, r *lastlightv1.GetEligibilityRequest) (*lastlightv1.Eligibility, error) {
	if err := h.may(ctx, "GetEligibility", r.Id); err != nil {
		return nil, err
	}
	now := h.Store.Now()
	records, err := h.Store.GatherExpedition(ctx, r.Id, now)
	if err != nil {
		return nil, err
	}
	inputs, err := facts.Eligible(records, now, h.Zones)
	if err != nil {
		return nil, err
	}
	ids, shown := map[string]string{}, map[string]string{}
	for _, p := range records.People {
		pseudonym := records.Pseudonyms[p.Record.Id]
		ids[pseudonym], shown[pseudonym] = p.Record.Id, p.Record.ShortName
		if p.Record.ShortName == "" {
			shown[pseudonym] = p.Record.FullName
		}
	}
	names := report.NewNames(ids, shown)
	out := &lastlightv1.Eligibility{Expedition: r.Id, Policy: records.Policies[0].ID, EngineVersion: engine.Version}
	var cells []engine.EligibleCell
	for i, in := range inputs {
		cells = append(cells, engine.Eligible(in)...)
		out.Policies = append(out.Policies, &lastlightv1.EligibilityPolicy{Policy: records.Policies[i].ID, FromDay: in.First.String()})
	}
	at := map[string]int{} // of an expedition's sites, each once
	for i, s := range records.Sites {
		at[s.Id] = i
	}
	slices.SortStableFunc(cells, func(a, b engine.EligibleCell) int { return cmp.Compare(at[a.Site], at[b.Site]) })
	for _, c := range cells {
		cell := &lastlightv1.EligibilityCell{Person: names.ID(c.Diver), Site: c.Site, Day: c.Day.String(), May: c.May, CountsAs: c.CountsAs}
		if c.Stopped != nil {
			cell.Rule, cell.Reason = c.Stopped.Rule, report.Public(*c.Stopped, names) // about health: not available, never why
			if report.AboutHealth(c.Stopped.Rule, c.Stopped.Path) {
				cell.Rule = "diver.not_available"
			}
		}
		out.Cells = append(out.Cells, cell)
	}
	return out, nil
}
