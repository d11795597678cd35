package decide

import (
	"context"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/clubpolicy"
	"lastlight/server/internal/facts"
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

// ComparePolicies evaluates every open plan at the same moment under two policies,
// each plan on the same records; before is the one in force where none is named.
// Nothing is stored. No connection is held while a plan is judged.
func (d *Desk) ComparePolicies(ctx context.Context, before, after string) (*Comparison, error) {
	out := &Comparison{At: d.Store.Now()}
	var plans []string
	err := d.Store.Read(ctx, func(ctx context.Context, q store.Querier) error {
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
		plans, err = store.OpenPlans(ctx, q)
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, id := range plans {
		p, err := d.comparePlan(ctx, id, out.Before, out.After, out.At)
		if err != nil {
			return nil, err
		}
		out.Plans = append(out.Plans, p)
	}
	return out, nil
}

func (d *Desk) comparePlan(ctx context.Context, id, before, after string, now time.Time) (ComparedPlan, error) {
	var out ComparedPlan
	var records [2]*facts.Records
	err := d.Store.Read(ctx, func(ctx context.Context, q store.Querier) (err error) {
		for i, policy := range []string{before, after} {
			if records[i], err = store.GatherRecordsUnder(ctx, q, policy, id, 0, time.Time{}, now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return out, err
	}
	out.Plan = records[0].Plan
	var runs [2]*run
	for i := range runs {
		// One plan with broken records must not hide what the policy does to the others.
		runs[i], err = d.judged(ctx, d.unhurried, records[i], nil, now)
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
