package decide

import (
	"context"
	"errors"
	"runtime"

	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// Engine runs one evaluation, and gives up when stop says yes.
type Engine func(in engine.Input, stop func(work int) bool) (r engine.Report, ok bool)

const (
	// atOnce is the work, as the engine counts it, that is done while others wait for it: some 30 ms on the processors of 2026,
	// enough for 60 moves of three divers.
	atOnce = 500_000

	// unlocked is how often a long evaluation is made without locks, before the facts that change each time meanwhile are held.
	unlocked = 3
)

// NewDesk makes the desk of a server. Long evaluations run on half of the processors at most: what a few large plans take is not
// taken from everybody.
func NewDesk(s *store.Store, zones facts.ZoneLoader, run Engine) *Desk {
	return &Desk{Store: s, Zones: zones, run: run, turns: turns{long: make(chan struct{}, max(1, runtime.GOMAXPROCS(0)/2))}}
}

// judge gives the report on an input.
type judge func(ctx context.Context, in engine.Input) (engine.Report, error)

// errLong is the error of an evaluation that takes more work than was asked for.
var errLong = errors.New("a long evaluation")

// evaluated runs the engine for as long as somebody waits for the report, and no further than so much work; 0: to the end.
func (d *Desk) evaluated(ctx context.Context, in engine.Input, most int) (engine.Report, error) {
	done := 0
	r, ok := d.run(in, func(work int) bool {
		done += work
		return ctx.Err() != nil || most > 0 && done > most
	})
	switch {
	case ok:
		return r, nil
	case ctx.Err() != nil:
		return r, outOfTime(ctx, "time ran out while the plan was judged: nothing was done, ask again")
	}
	return r, errLong
}

func outOfTime(ctx context.Context, message string) error {
	return (&fault.Error{Kind: fault.DeadlineExceeded, Reason: "DEADLINE", Message: message}).Because(ctx.Err())
}

// toTheEnd judges for whoever has a turn.
func (d *Desk) toTheEnd(ctx context.Context, in engine.Input) (engine.Report, error) {
	return d.evaluated(ctx, in, 0)
}

// inTurn judges when its turn has come.
func (d *Desk) inTurn(ctx context.Context, in engine.Input) (engine.Report, error) {
	end, err := d.turns.take(ctx)
	if err != nil {
		return engine.Report{}, err
	}
	defer end()
	return d.toTheEnd(ctx, in)
}

// unhurried judges where no record is locked and no connection held.
func (d *Desk) unhurried(ctx context.Context, in engine.Input) (engine.Report, error) {
	r, err := d.evaluated(ctx, in, atOnce)
	if errors.Is(err, errLong) {
		return d.inTurn(ctx, in)
	}
	return r, err
}

// tooLong ends a transaction whose plan is to be judged first.
type tooLong struct{ in engine.Input }

func (e *tooLong) Error() string { return "plan " + e.in.Plan.ID + " takes long to judge" }

// decided carries out a decision that asks the engine, once for the request id, in one transaction. What it rests on is locked and
// read in there, so a long evaluation would keep everybody from writing to everything that the plan names: it is made between two
// transactions. The second locks and reads again, and takes the report if it is the one on what stands now, which the engine would
// give once more; if it is not, all is done again. Facts that change each time are at last held while the engine runs.
func decided[M proto.Message](ctx context.Context, d *Desk, m store.Mutation, decision func(context.Context, *store.Tx, judge) (M, error)) (M, error) {
	var none M
	var judged *engine.Input // on which known is the report
	var known engine.Report
	attempt := func(most int) (M, error) {
		under := func(ctx context.Context, in engine.Input) (engine.Report, error) {
			if judged != nil {
				if same, err := engine.SameReport(*judged, in); same || err != nil {
					return known, err
				}
			}
			r, err := d.evaluated(ctx, in, most)
			if errors.Is(err, errLong) {
				err = &tooLong{in}
			}
			return r, err
		}
		return again(ctx, func(ctx context.Context) (M, error) {
			return store.Mutate(ctx, d.Store, m, func(ctx context.Context, tx *store.Tx) (M, error) { return decision(ctx, tx, under) })
		})
	}
	for range unlocked {
		out, err := attempt(atOnce)
		long, ok := errors.AsType[*tooLong](err)
		if !ok {
			return out, err
		}
		if known, err = d.inTurn(ctx, long.in); err != nil {
			return none, err
		}
		judged = &long.in
	}
	end, err := d.turns.take(ctx)
	if err != nil {
		return none, err
	}
	defer end()
	return attempt(0)
}
