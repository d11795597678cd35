package decide

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"

	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
)

// Whoever asks for many long evaluations at once does not keep others from theirs.
func TestTurnsGoRound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		q := turns{long: make(chan struct{}, 1)}
		as := func(who string) context.Context {
			return access.WithCaller(t.Context(), access.NewCaller(who, access.Token{Person: who}, nil))
		}
		end, err := q.take(as("many"))
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		inTurn := make(chan string, 10)
		ask := func(who string) {
			go func() {
				end, err := q.take(as(who))
				if err != nil {
					t.Error(err)
					return
				}
				inTurn <- who
				end()
			}()
			synctest.Wait()
		}
		for range 4 {
			ask("many")
		}
		ask("one")
		gone, give := context.WithCancel(as("many"))
		left := make(chan error, 1)
		go func() {
			_, err := q.take(gone)
			left <- err
		}()
		synctest.Wait()
		give()
		if err := <-left; !fault.Is(err, fault.DeadlineExceeded) {
			t.Errorf("given up: %v", err)
		}
		end()
		for range 5 {
			got = append(got, <-inTurn)
		}
		if !slices.Equal(got, []string{"one", "many", "many", "many", "many"}) {
			t.Errorf("in turn came %v", got)
		}
		synctest.Wait()
		if len(q.own) > 0 || len(q.long) > 0 {
			t.Errorf("left behind: %v, %d", q.own, len(q.long))
		}
	})
}
