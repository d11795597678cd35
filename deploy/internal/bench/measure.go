// Package bench measures a running server against the floor below it: what a bare call and a bare transaction cost on the same
// machine at the same time.
package bench

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// operation does one thing; n counts this caller's.
type operation func(ctx context.Context, caller, n int) error

// rate is calls a second, with the mean time of one.
type rate struct {
	perSecond float64
	mean      time.Duration
	calls     int
}

// sustain runs an operation with some callers for a time, each as fast as it can, after a short warming up.
func sustain(ctx context.Context, callers int, warm, span time.Duration, op operation) (rate, error) {
	return drive(ctx, callers, func(ctx context.Context, caller int, count func()) error {
		begin := time.Now()
		for n := 0; ; n++ {
			now := time.Since(begin)
			if now >= warm+span {
				return nil
			}
			if err := op(ctx, caller, n); err != nil {
				return err
			}
			if now >= warm {
				count()
			}
		}
	}, span)
}

// line is one operation of the table, the line that it is a share of, and what was measured.
type line struct {
	name, floor string
	op          operation
	rate        rate
}

// turns is how often each line is measured: what else the machine does meanwhile falls on a call and on its floor alike.
const turns = 6

// sustainInTurns measures each line for a span, a part of it in every turn.
func sustainInTurns(ctx context.Context, callers int, span time.Duration, lines []line) error {
	part := span / turns
	for range turns {
		for i := range lines {
			l := &lines[i]
			r, err := sustain(ctx, callers, part/5, part, l.op)
			if err != nil {
				return fmt.Errorf("%s, %d callers: %w", l.name, callers, err)
			}
			l.rate.calls += r.calls
		}
	}
	for i := range lines {
		r := &lines[i].rate
		r.perSecond, r.mean = float64(r.calls)/(turns*part).Seconds(), turns*part*time.Duration(callers)/time.Duration(r.calls)
	}
	return nil
}

// exhaust runs an operation a fixed number of times for each caller.
func exhaust(ctx context.Context, callers, each int, op operation) (rate, error) {
	return drive(ctx, callers, func(ctx context.Context, caller int, count func()) error {
		for n := range each {
			if err := op(ctx, caller, n); err != nil {
				return err
			}
			count()
		}
		return nil
	}, 0)
}

// drive runs the callers; span 0 means the time it took.
func drive(ctx context.Context, callers int, call func(context.Context, int, func()) error, span time.Duration) (rate, error) {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	counts := make([]int, callers)
	begin := time.Now()
	var all sync.WaitGroup
	for caller := range callers {
		all.Go(func() {
			if err := call(ctx, caller, func() { counts[caller]++ }); err != nil {
				stop(err)
			}
		})
	}
	all.Wait()
	if err := context.Cause(ctx); err != nil {
		return rate{}, err
	}
	if span == 0 {
		span = time.Since(begin)
	}
	total := 0
	for _, c := range counts {
		total += c
	}
	if total == 0 {
		return rate{}, errors.New("not one call ended in the time given")
	}
	return rate{float64(total) / span.Seconds(), span * time.Duration(callers) / time.Duration(total), total}, nil
}
