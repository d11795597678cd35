package tissue

import (
	"lastlight/engine/gas"
	"lastlight/engine/water"
)

// Way is a way to the surface with what judges it.
type Way struct {
	Water      water.Column
	Pieces     []Piece // from the place to the surface, in order
	AscentRate float64 // m/min, of the straight ascent asked for at each place; above 0
	GFHigh     float64 // 0 to 1
}

// NoStopAnswer tells where a way first calls for decompression.
type NoStopAnswer struct {
	NoStop      bool
	Piece       int     // the piece at whose end the question was answered no; -1: before the first. Of the least margin if NoStop
	Margin      float64 // bar, at the surface, after a straight ascent from there
	Compartment int
}

// NoStop tells whether a way can be swum with no stop: whether at its start and
// at the end of each of its pieces a straight ascent from there, on the gas then
// breathed, would reach the surface within GFhigh. This is the question of the
// method handbook's D43, put at every piece's end whether the path rises there
// or not, so it is never yes where the schedule along the passage has a stop;
// it may be no where the schedule has none. Margins down to -1e-9 bar pass (D52).
// The state is a copy; Pieces is not changed.
func (m *Model) NoStop(s State, w Way) NoStopAnswer {
	best := NoStopAnswer{NoStop: true, Piece: -1}
	first := true
	ask := func(piece int, depth float64, mix gas.Mix) bool {
		up := s
		m.Linear(&up, mix, w.Water.Pressure(depth), w.Water.Surface, depth/w.AscentRate)
		margin, c := m.Margin(&up, w.Water.Surface, w.GFHigh)
		if first || margin < best.Margin {
			best.Piece, best.Margin, best.Compartment = piece, margin, c
			first = false
		}
		best.NoStop = margin >= -Tie
		return best.NoStop
	}
	for i, p := range w.Pieces {
		if i == 0 && !ask(-1, p.From, p.Mix) {
			return best
		}
		m.Advance(&s, w.Water, p)
		if !ask(i, p.To, p.Mix) {
			return best
		}
	}
	return best
}
