package decide

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/dive"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// A flight waits as after stops unless it is certain that there were none (T38).
func TestRequiredStops(t *testing.T) {
	said := func(b *bool) string {
		switch {
		case b == nil:
			return "unknown"
		case *b:
			return "yes"
		}
		return "no"
	}
	for _, c := range []struct {
		a    *dive.Answer
		want string
	}{
		{nil, "unknown"},
		{&dive.Answer{}, "no"},
		{&dive.Answer{Stops: true}, "unknown"}, // only on a way out
		{&dive.Answer{Stops: true, Schedule: dive.Schedule{StopMin: 1}}, "yes"},
	} {
		if got := said(requiredStops(c.a)); got != c.want {
			t.Errorf("%+v: %s, want %s", c.a, got, c.want)
		}
	}
}

func TestInsideReport(t *testing.T) {
	in := time.Date(2026, 6, 8, 8, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		depth   float64
		minutes int
		want    bool
	}{{20.5, 65, true}, {20.6, 60, false}, {20, 66, false}} {
		m := &lastlightv1.Dive{EnteredAt: timestamppb.New(in), OutAt: timestamppb.New(in.Add(time.Duration(c.minutes) * time.Minute)), MaxDepthM: &c.depth}
		if got := insideReport(m, &lastlightv1.DiveFigures{MaxDepthM: 20, RuntimeMin: 60}); got != c.want {
			t.Errorf("%v m, %d min: %v", c.depth, c.minutes, got)
		}
	}
}
