package engine

import (
	"slices"
	"testing"

	"lastlight/engine/dive"
)

// More minutes of stops, a deeper stop, a minute more to the surface or no schedule at all is told of every schedule on the page;
// less, or the same, of none.
func TestLongerStopsAreTold(t *testing.T) {
	schedule := func(out float64, stops ...dive.Stop) dive.Schedule {
		s := dive.Schedule{Stops: stops, ToSurfaceMin: out}
		for _, x := range stops {
			s.StopMin += x.Minutes
		}
		return s
	}
	at := func(depth float64, minutes int) dive.Stop { return dive.Stop{DepthM: depth, Minutes: minutes} }
	was := schedule(18, at(6, 3), at(3, 6))
	for _, c := range []struct {
		name string
		is   dive.Schedule
		more bool
	}{
		{"the same", was, false},
		{"less", schedule(12, at(6, 1), at(3, 4)), false},
		{"more minutes", schedule(18.9, at(6, 3), at(3, 7)), true},
		{"a deeper stop", schedule(18, at(9, 1), at(6, 2), at(3, 6)), true},
		{"half a minute more to the surface", schedule(18.5, at(6, 3), at(3, 6)), false},
		{"a minute more to the surface", schedule(19, at(6, 3), at(3, 6)), true},
		{"no schedule", dive.Schedule{NoSchedule: true}, true},
	} {
		for i, of := range []string{"the dive as planned", "the dive 3 m deeper", "the dive 3 m deeper and 5 min longer", "the way out from the end after the loss of stage-4", "the way out from the end after the loss of all that Ben carries"} {
			answer := func(s dive.Schedule) *dive.Answer {
				a := &dive.Answer{
					Schedule: was, Variants: []dive.Variant{{DeeperM: 3, Schedule: was}, {DeeperM: 3, LongerMin: 5, Schedule: was}},
				}
				for _, l := range []dive.LostGas{{Diver: "Ada"}, {Diver: "Ben"}, {Lost: "stage-3", Diver: "Ada"}, {Lost: "stage-4", Diver: "Ben"}} {
					l.Place, l.Schedule = "the end", was
					a.LostGas = append(a.LostGas, l)
				}
				*[]*dive.Schedule{&a.Schedule, &a.Variants[0].Schedule, &a.Variants[1].Schedule, &a.LostGas[3].Schedule, &a.LostGas[1].Schedule}[i] = s
				return a
			}
			var want []string
			if c.more {
				want = []string{"stops of " + of + ", were 6 m 3 min, 3 m 6 min (18 min to the surface), now " + written(&c.is)}
			}
			if got := longerStops(answer(was), answer(c.is)); !slices.Equal(got, want) {
				t.Errorf("%s, of %s: %q, want %q", c.name, of, got, want)
			}
		}
	}

	// What was not there was not approved; without stops it asks for nothing.
	none := schedule(9)
	for _, c := range []struct {
		was, is *dive.Answer
		want    int
	}{
		{nil, nil, 0},
		{&dive.Answer{Schedule: was}, nil, 0}, // blocks by itself
		{nil, &dive.Answer{Schedule: none}, 0},
		{nil, &dive.Answer{Schedule: was}, 1},
		{&dive.Answer{Schedule: was}, &dive.Answer{Schedule: was, LostGas: []dive.LostGas{{Lost: "stage-4", Schedule: was}, {Lost: "stage-3", Schedule: none}}}, 1},
		{&dive.Answer{Schedule: was}, &dive.Answer{Schedule: was, LostGas: []dive.LostGas{{Diver: "Ada", Schedule: was}}}, 0}, // an engine before 15 told nothing of it
		{&dive.Answer{Schedule: dive.Schedule{NoSchedule: true}}, &dive.Answer{Schedule: was}, 0},
	} {
		if got := longerStops(c.was, c.is); len(got) != c.want {
			t.Errorf("from %+v to %+v: %q, want %d", c.was, c.is, got, c.want)
		}
	}
}
