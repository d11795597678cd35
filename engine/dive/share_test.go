package dive

import (
	"testing"

	"lastlight/engine/route"
)

// By definition (practice 2.2, cavern): a dive of T minutes is within 80 % of the
// no-stop limit if one of T/0.8 minutes still needs no stop, the difference spent
// at its deepest. Both are scheduled here as dives of their own.
func TestShareOfTheNoStopLimitByDefinition(t *testing.T) {
	within, beyond := 0, 0
	for hold := 0.0; hold <= 90; hold += 5 {
		dive := func(at float64) route.Input {
			in := level(0)
			for i := range in.Stations {
				in.Stations[i].DepthM = 15
			}
			in.Team = in.Team[:2]
			in.Route.Moves = append([]route.Move(nil), in.Route.Moves...)
			in.Route.Moves[0].HoldMin, in.Route.Moves[0].HoldTask = at, "survey"
			return in
		}
		q := question(t, dive(hold))
		q.NoStopShare = 0.8
		w, err := Open(q)
		if err != nil {
			t.Fatal(err)
		}
		got := w.Answer().Share
		whole := w.result.End.Minutes
		_, longer := answer(t, dive(hold+whole/0.8-whole))
		want := longer.Schedule.NoStop && longer.Schedule.StopMin == 0
		if got == nil || got.Holds != want {
			t.Errorf("hold %v min, %v in all: %+v; a dive of %v min is without stop: %v", hold, whole, got, whole/0.8, want)
		}
		if want {
			within++
		} else {
			beyond++
		}
	}
	if within == 0 || beyond == 0 {
		t.Errorf("%d dives within, %d beyond: the limit was not crossed", within, beyond)
	}
}
