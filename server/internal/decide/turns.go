package decide

import (
	"context"
	"sync"

	"lastlight/server/internal/access"
)

// turns are those of long evaluations. Each caller waits for one at a time: whoever asks for many keeps themselves waiting, and
// takes from others no more than every other turn.
type turns struct {
	long chan struct{} // a place for each long evaluation that may run at once

	sync.Mutex
	own map[string]*ownTurn // by caller
}

// ownTurn is the one place of a caller in the queue.
type ownTurn struct {
	place chan struct{}
	asked int // calls that have it or wait for it
}

// take waits until one evaluation more may be long. Nobody waits here with a connection to the database: those who have a turn may
// need one.
func (t *turns) take(ctx context.Context) (end func(), err error) {
	const late = "time ran out while other large plans were judged: nothing was done, ask again"
	caller := access.CallerFrom(ctx).Person
	own := t.ask(caller)
	select {
	case own.place <- struct{}{}:
	case <-ctx.Done():
		t.leave(caller, own)
		return nil, outOfTime(ctx, late)
	}
	select {
	case t.long <- struct{}{}:
		return func() {
			<-t.long
			<-own.place
			t.leave(caller, own)
		}, nil
	case <-ctx.Done():
		<-own.place
		t.leave(caller, own)
		return nil, outOfTime(ctx, late)
	}
}

func (t *turns) ask(caller string) *ownTurn {
	t.Lock()
	defer t.Unlock()
	if t.own == nil {
		t.own = map[string]*ownTurn{}
	}
	own := t.own[caller]
	if own == nil {
		own = &ownTurn{place: make(chan struct{}, 1)}
		t.own[caller] = own
	}
	own.asked++
	return own
}

func (t *turns) leave(caller string, own *ownTurn) {
	t.Lock()
	defer t.Unlock()
	if own.asked--; own.asked == 0 {
		delete(t.own, caller)
	}
}
