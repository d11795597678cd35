package decide

import (
	"context"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/clubpolicy"
	"lastlight/server/internal/store"
)

// Comparison is what one policy would change against another.
type Comparison struct {
	Before, After string // policies
	At            time.Time
	Cells         []clubpolicy.Difference
	Plans         []ComparedPlan // every open plan, changed or not
}

// ComparedPlan is an open plan under both policies, unmasked.
type ComparedPlan struct {
	Plan          *lastlightv1.Plan
	Before, After *lastlightv1.Report
	Standings     []*lastlightv1.StandingChange // of divers that would count as something else
	NotEvaluated  string                        // why not; the reports are nil then
}

// ComparePolicies evaluates every open plan on the same records and at the same
// moment under two policies; before is the one in force where none is named.
// Nothing is stored.
func (d *Desk) ComparePolicies(ctx context.Context, before, after string) (*Comparison, error) {
	end, err := d.turns.take(ctx)
	if err != nil {
		return nil, err
	}
	defer end()
	out := &Comparison{At: d.Store.Now()}
	err = d.Store.Read(ctx, func(ctx context.Context, q store.Querier) error {
		was, old, err := store.PolicyNamed(ctx, q, before, out.At)
		if err != nil {
			return err
		}
		is, next, err := store.PolicyNamed(ctx, q, after, out.At)
		if err != nil {
			return err
		}
		out.Before, out.After = was, is
		if out.Cells, err = clubpolicy.Differences(old, next); err != nil {
			return err
		}
		plans, err := store.OpenPlans(ctx, q)
		if err != nil {
			return err
		}
		for _, id := range plans {
			p, err := d.comparePlan(ctx, q, id, was, is, out.At)
			if err != nil {
				return err
			}
			out.Plans = append(out.Plans, p)
		}
		return nil
	})
	return out, err
}

func (d *Desk) comparePlan(ctx context.Context, q store.Querier, id, before, after string, now time.Time) (ComparedPlan, error) {
	var out ComparedPlan
	var runs [2]*run
	for i, policy := range []string{before, after} {
		records, err := store.GatherRecordsUnder(ctx, q, policy, id, 0, time.Time{}, now)
		if err != nil {
			return out, err
		}
		out.Plan = records.Plan
		// One plan with broken records must not hide what the policy does to the others.
		runs[i], err = d.judged(ctx, d.toTheEnd, records, nil, now)
		if err != nil && ctx.Err() != nil {
			return out, err
		}
		if err != nil {
			out.NotEvaluated = err.Error()
			return out, nil
		}
	}
	out.Before, out.After = runs[0].show(nil), runs[1].show(nil)
	out.Standings = standingChanges(&runs[0].report, &runs[1].report, runs[1].names)
	return out, nil
}
