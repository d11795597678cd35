package dive

import (
	"math"
	"testing"

	"lastlight/engine/route"
	"lastlight/engine/tissue"
)

// A second program for a few rows of the table of failures with stops: it shares
// nothing with the planner but the table of half-times and coefficients. Tissues go
// by midpoint steps of 0.6 s, stops by trying minute after minute;
// the gradient factor is one value, so that no anchor enters.

const (
	smallStep = 1.0 / 100 // min
	onlyGF    = 0.7
)

var table = func() (c [tissue.Count]tissue.Compartment) {
	for k := range c {
		c[k] = tissue.Default().Compartment(k)
	}
	return c
}()

type hand struct {
	n2       []*[tissue.Count]float64 // per diver
	rich     []bool                   // per diver: has EAN50 at hand
	on       []float64                // nitrogen breathed
	backBar  []float64                // bar·minutes of back gas, and of EAN50
	richBar  []float64
	minutes  float64
	stops    int
	switched bool
}

func newHand(rich ...bool) *hand {
	h := &hand{rich: rich}
	for range rich {
		t := new([tissue.Count]float64)
		for k := range t {
			t[k] = 0.79 * (1.01325 - 0.0627)
		}
		h.n2, h.on = append(h.n2, t), append(h.on, 0.79)
		h.backBar, h.richBar = append(h.backBar, 0), append(h.richBar, 0)
	}
	return h
}

func barAt(depth float64) float64 { return 1.01325 + 0.0980665*depth }

// swim moves the team, or leaves it where it is.
func (h *hand) swim(from, to, minutes float64) {
	n := max(1, int(math.Ceil(minutes/smallStep)))
	dt := minutes / float64(n)
	for i := range n {
		p := barAt(from + (to-from)*(float64(i)+0.5)/float64(n))
		for d, t := range h.n2 {
			inspired := h.on[d] * (p - 0.0627)
			for k := range t {
				rate := math.Ln2 / table[k].HalfN2
				mid := t[k] + rate*(inspired-t[k])*dt/2
				t[k] += rate * (inspired - mid) * dt
			}
			if h.on[d] == 0.5 {
				h.richBar[d] += p * dt
			} else {
				h.backBar[d] += p * dt
			}
		}
	}
	h.minutes += minutes
}

func (h *hand) copy() *hand {
	c := *h
	c.n2 = nil
	for _, t := range h.n2 {
		x := *t
		c.n2 = append(c.n2, &x)
	}
	c.on = append([]float64(nil), h.on...)
	c.backBar, c.richBar = append([]float64(nil), h.backBar...), append([]float64(nil), h.richBar...)
	return &c
}

func (h *hand) within(depth float64) bool {
	p := barAt(depth)
	for _, t := range h.n2 {
		for k := range t {
			c := &table[k]
			if t[k] > p+onlyGF*(c.AN2+p/c.BN2-p) {
				return false
			}
		}
	}
	return true
}

// up is the straight way up from a grid depth or the bottom in open water, 9 m/min,
// stops at multiples of 3 m, the last at 6 m, EAN50 from 21 m with a minute's change.
func (h *hand) up(from float64) {
	for depth := from; depth > 0; {
		next := 3 * math.Ceil(depth/3-1)
		if next < 6 {
			next = 0
		}
		for {
			c := h.copy()
			c.swim(depth, next, (depth-next)/9)
			if c.within(next) {
				*h = *c
				break
			}
			h.swim(depth, depth, 1)
			h.stops++
		}
		depth = next
		if depth > 21 || depth == 0 || h.switched {
			continue
		}
		h.switched = true
		for d, rich := range h.rich {
			if rich {
				h.on[d] = 0.5
			}
		}
		if h.on[0] == 0.5 || h.on[len(h.on)-1] == 0.5 {
			h.swim(depth, depth, 1)
		}
	}
}

// shaft is a pair at 33 m: 150 m of level from the foot of an open shaft, 15 min of
// work at its end; air, 24 L at 230 bar, and, if asked for, 11 L of EAN50 at 200 bar each.
func shaft(rich bool) route.Input {
	in := level(0)
	for i := range in.Stations {
		in.Stations[i].DepthM = 33
	}
	in.Route.Moves[0].HoldMin, in.Route.Moves[0].HoldTask = 15, "survey"
	temp := 20.0
	for d := range in.Team {
		in.Team[d].Mains[0].Gas = route.Gas{O2: 0.21}
		if rich {
			in.Team[d].Stages = []route.Cylinder{{ID: in.Team[d].Name + "-50", VolumeL: 11, StartBar: 200, Gas: route.Gas{O2: 0.5}, Deco: true, TempC: &temp}}
		}
	}
	return in
}

func shaftAnswer(t *testing.T, rich bool) *Answer {
	t.Helper()
	q := question(t, shaft(rich))
	q.Settings.GFLow, q.Settings.GFHigh = onlyGF, onlyGF
	q.DelayMin, q.TouchFactor, q.SwimOutMMin = 10, 0.5, 5
	w, err := Open(q)
	if err != nil {
		t.Fatal(err)
	}
	return w.Answer()
}

// endOfLevel is the second program's pair at the end of the level, its work done.
func endOfLevel(rich ...bool) *hand {
	h := newHand(rich...)
	h.swim(0, 33, 33.0/18)
	h.swim(33, 33, 10+15)
	return h
}

// Rows with stops against the second program. Left at the far end: 24 L × 230 bar
// less 20 L/min × the bar·minutes so far; needed: 30 L/min after a failure (D36) ×
// those of the way out, and the sharing reserve of 24 L × 10 bar.
func TestRowsWithStopsAgainstASecondProgram(t *testing.T) {
	a := shaftAnswer(t, false)
	so := endOfLevel(false, false)
	left := 24*230 - 20*so.backBar[0]
	for _, x := range []struct {
		kind    string
		delay   float64
		way     float64 // minutes of the level, out
		breathe float64 // divers on this gas
	}{
		{CaseDelay, 10, 10, 1}, {CaseTouchContact, 0, 20, 1}, {CaseTouchSharing, 2, 20, 2}, {CaseScooterLost, 2, 30, 1},
	} {
		h := endOfLevel(false, false)
		before, stopped := h.backBar[0], h.minutes
		h.swim(33, 33, x.delay+x.way)
		h.up(33)
		need := 30*x.breathe*(h.backBar[0]-before) + 240
		c := caseOf(t, a, x.kind, "Ada")
		if c.Place != "15 min into the hold at end" || c.StopMin != h.stops || h.stops == 0 {
			t.Errorf("%s: %d min of stops from %s; the second program has %d", x.kind, c.StopMin, c.Place, h.stops)
		}
		if math.Abs(c.LeftL-left) > 0.01 || math.Abs(c.NeedL-need) > 0.02 || math.Abs(c.OutMin-(h.minutes-stopped)) > 1e-6 {
			t.Errorf("%s: %.3f L left, %.3f needed in %.3f min; the second program has %.3f, %.3f, %.3f", x.kind, c.LeftL, c.NeedL, c.OutMin, left, need, h.minutes-stopped)
		}
		if c.Parts == nil || len(c.Parts.Way) < 4 {
			t.Errorf("%s: the way out is not told: %+v", x.kind, c.Parts)
		}
	}
}

// Ben has lost the EAN50 at the far end. Ada still has hers: it lasts for the whole
// of his stops on air, which she waits for; he needs his back gas for them.
func TestLostGasAgainstASecondProgram(t *testing.T) {
	a := shaftAnswer(t, true)
	h := endOfLevel(true, false) // Ada, Ben
	before := h.backBar[1]
	h.swim(33, 33, 2+10)
	h.up(33)
	c := caseOf(t, a, CaseLostCylinder, "Ada")
	if c.Lost != "Ben-50" {
		t.Fatalf("%+v", c)
	}
	if need := 30*h.richBar[0] + 110; c.Cylinder == "Ada-50" && (math.Abs(c.NeedL-need) > 0.02 || c.StopMin != h.stops) {
		t.Errorf("%.3f L needed of Ada's EAN50 and %d min of stops; the second program has %.3f and %d", c.NeedL, c.StopMin, need, h.stops)
	} else if c.Cylinder != "Ada-50" {
		t.Errorf("the tightest is %q", c.Cylinder)
	}
	b := a.LostGasOf("Ben-50", "Ben")
	if b == nil {
		t.Fatal("no schedule with Ben's EAN50 lost")
	}
	if b.Schedule.StopMin != h.stops || math.Abs(b.Schedule.ToSurfaceMin-(h.minutes-endOfLevel(true, false).minutes)) > 1e-6 {
		t.Errorf("Ben's schedule %+v; the second program has %d min of stops", b.Schedule.Stops, h.stops)
	}
	if got := b.Schedule.Divers[1].Supplies[0].UsedL; math.Abs(got-30*(h.backBar[1]-before)) > 0.02 {
		t.Errorf("Ben breathes %.3f L of back gas, the second program has %.3f", got, 30*(h.backBar[1]-before))
	}
}
