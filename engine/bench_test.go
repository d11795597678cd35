package engine

import (
	"fmt"
	"testing"

	"lastlight/engine/enginetest"
)

func BenchmarkEvaluate(b *testing.B) {
	for _, c := range []struct{ moves, divers, stations int }{{10, 3, 50}, {60, 3, 50}, {60, 6, 50}, {300, 3, 50}, {60, 3, 5000}} {
		in := enginetest.Expedition(c.moves, c.divers, c.stations)
		b.Run(fmt.Sprintf("moves=%d/divers=%d/stations=%d", c.moves, c.divers, c.stations), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Evaluate(in)
			}
		})
	}
}
