package deco

import "math"

// StretchKind is what a team was doing in a stretch of the finished path.
type StretchKind uint8

const (
	Travel    StretchKind = iota
	Holding               // a planned hold
	Stopped               // a stop
	Switching             // the minutes of a gas switch
	Delayed               // the delay at the place of a loss
)

// Stretch is a straight part of the finished path, with what each diver breathed.
type Stretch struct {
	Kind      StretchKind
	Piece     int     // of Path: the one travelled, or the next from where the team waits; one past the last at its end
	From, To  float64 // metres of depth
	Minutes   float64
	Breathing [MaxDivers]uint8   // index into Team.Cylinders
	Anchor    [MaxDivers]float64 // in force during it (D42)
	Exempt    uint32             // bit = diver: exempt by D43 since the last test
}

// Stop is a wait for decompression (D41, D47).
type Stop struct {
	Depth      float64
	Minutes    int
	Arrival    float64 // when the wait began: after a switch or hold there
	Piece      int     // of Path, the one that rises from here
	Along      float64 // metres along that piece
	Breathing  [MaxDivers]uint8
	NeededBy   Margin // of the last refused test: Bar is negative
	LeavesWith Margin // of the permitted test
}

// room makes memory for so many moments in one piece.
func (r *Result) room(moments, divers int) {
	if moments <= cap(r.Moments) {
		return
	}
	r.Moments = make([]Moment, moments)
	all := make([]Condition, moments*divers)
	for i := range r.Moments {
		r.Moments[i].Divers = all[i*divers : i*divers : (i+1)*divers]
	}
	r.Moments = r.Moments[:0]
}

// Margin is the least margin of a test: allowed less tension.
type Margin struct {
	Diver       int
	Compartment int
	Bar         float64
	GF          float64 // in force where it was least
	Depth       float64 // metres, of the arrival where it was least
	Anchor      float64 // metres, D of D42
	N2, He      float64 // bar, tensions of the compartment on that arrival
}

// GasSwitch is a change of gas that D45 made.
type GasSwitch struct {
	Minutes  float64 // runtime, before the switch is spent
	Depth    float64
	Diver    int
	Cylinder int
}

// Result is a schedule. Its slices are used again by the next call with it.
type Result struct {
	Stops      []Stop
	Switches   []GasSwitch
	Stretches  []Stretch
	Arrival    []float64 // runtime at each node of the path
	Departure  []float64 // runtime when the next piece begins
	Moments    []Moment  // at the probes asked for, in their order
	End        Moment    // at the surface
	Turn       float64   // runtime at the end of the hold of the turn; -1: the path names none
	Tests      float64   // smallest amount of margin of all tests; +Inf: there was none
	Questions  float64   // smallest amount of margin of all answers to D43; +Inf: there was none
	LastStop   float64   // metres, in force (D40)
	NoStop     bool      // every answer of every diver to D43 was yes
	NoSchedule bool      // D53: more than LongestStop minutes at the last stop listed; the result ends there, End is the state there
	NoGas      bool      // D45 (c): somebody had no gas for a fall
	NoBreak    bool      // somebody had no gas for an air break that was due
	Drifts     bool      // D55: somebody was loaded above the limit of a place while the team waited there; Drift says who and where
}

// Closest is the smallest amount of margin of all decisions in bar, +Inf if
// there was none: within the accuracy of the tissues it would be in doubt. In the
// middle of a wait only the tests at its start and end are counted, between which
// a refusal's margin shrinks.
func (r *Result) Closest() float64 { return math.Min(r.Tests, r.Questions) }

// Begun is the runtime at which it begins.
func (r *Result) Begun() float64 {
	t := r.End.Minutes
	for i := range r.Stretches {
		t -= r.Stretches[i].Minutes
	}
	return t
}

// TotalStop is the sum of the stops' minutes.
func (r *Result) TotalStop() int {
	n := 0
	for i := range r.Stops {
		n += r.Stops[i].Minutes
	}
	return n
}

// Probe asks for the team's state at a place of the path: at a node, some
// minutes of its hold spent (after its actions and any switch on arrival, before
// any stop), or inside a piece.
type Probe struct {
	Node  int     // index into Path.Nodes; -1: inside a piece
	Hold  float64 // minutes of the node's hold already spent
	Piece int     // index into Path.Pieces
	Share float64 // of the piece already travelled, 0 to 1
}
