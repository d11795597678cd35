package decide

import (
	"context"
	"encoding/json"

	"lastlight/engine"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// DecidedUnder is a plan on record, judged again as it was and under another policy; unmasked.
type DecidedUnder struct {
	store.Decided
	Before, After *lastlightv1.Report
	Standings     []*lastlightv1.StandingChange
	NotEvaluated  string // why not; the reports are nil then
	ReadsFurther  bool
}

// CompareDecided evaluates a page of stored inputs, each under the policy inside it and under the one asked for. The records are
// those of then, so what differs is the policy's doing alone. Nothing is stored.
func (d *Desk) CompareDecided(ctx context.Context, r *lastlightv1.CompareDecidedPlansRequest) (id string, list []DecidedUnder, next string, err error) {
	id, tried, err := store.PolicyNamed(ctx, d.Store.Pool(), r.Id, d.Store.Now())
	if err != nil {
		return "", nil, "", err
	}
	page, next, err := d.Store.ListDecided(ctx, r)
	if err != nil {
		return "", nil, "", err
	}
	for _, stored := range page {
		x, err := d.underAnother(ctx, stored, id, tried)
		if err != nil {
			return "", nil, "", err
		}
		list = append(list, x)
	}
	return id, list, next, nil
}

func (d *Desk) underAnother(ctx context.Context, stored store.Decided, id string, tried *policy.Policy) (DecidedUnder, error) {
	out := DecidedUnder{Decided: stored}
	var in engine.Input
	if err := json.Unmarshal(stored.Run.Input, &in); err != nil {
		// One input that cannot be read must not hide what the policy does to the others.
		out.NotEvaluated = "what is stored of it cannot be read by this engine" //nolint:nilerr // said to the reader
		return out, nil
	}
	names, _, err := d.namesIn(ctx, stored.Run.Input)
	if err != nil {
		return out, err
	}
	out.ReadsFurther = store.ReadsFurther(&in.Policy, tried)
	before, err := d.unhurried(ctx, in)
	if err != nil {
		return out, err
	}
	in.PolicyVersion, in.Policy = id, *tried
	after, err := d.unhurried(ctx, in)
	if err != nil {
		return out, err
	}
	out.Before, out.After = report.Show(&before, names), report.Show(&after, names)
	out.Standings = standingChanges(&before, &after, names)
	return out, nil
}

// standingChanges are the divers that count as something else in the later report.
func standingChanges(before, after *engine.Report, names report.Names) []*lastlightv1.StandingChange {
	counted := map[string]string{}
	for _, s := range before.Standings {
		counted[s.Diver] = s.CountsAs
	}
	var out []*lastlightv1.StandingChange
	for _, s := range after.Standings {
		if was := counted[s.Diver]; was != s.CountsAs {
			out = append(out, &lastlightv1.StandingChange{Person: names.ID(s.Diver), Before: was, After: s.CountsAs})
		}
	}
	return out
}
