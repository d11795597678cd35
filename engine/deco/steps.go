package deco

import (
	"math"

	"lastlight/engine/tissue"
)

// stepTable keeps the factors of every length of time met, so that exp is called
// once for each: a schedule uses few lengths (the grid's steps, a minute), and
// the ways out of one plan share most of theirs.
type stepTable struct {
	model  *tissue.Model
	slots  []int32 // open addressing into pages; 0: empty, else index + 1
	pages  []*[stepPage]tissue.Step
	helium []bool // by index: helium's factors are filled
	used   int
	recent [2]*tissue.Step // asked for last, with what is needed of them filled: mostly the grid's step and a minute
	turn   int
}

const stepPage = 64

// maxSteps bounds the table between schedules: 4096 lengths are 2 MB.
const maxSteps = 4096

// reset forgets every length; the memory stays.
func (t *stepTable) reset() {
	clear(t.slots)
	t.used = 0
	t.helium = t.helium[:0]
	t.recent = [2]*tissue.Step{}
}

// at returns the factors for a length of time. The pointer stays good until
// reset. Between two resets of recent helium must not change from false to true.
func (t *stepTable) at(minutes float64, helium bool) *tissue.Step {
	for _, st := range t.recent {
		if st != nil && st.Minutes == minutes {
			return st
		}
	}
	st := t.find(minutes, helium)
	t.recent[t.turn] = st
	t.turn ^= 1
	return st
}

func (t *stepTable) find(minutes float64, helium bool) *tissue.Step {
	if len(t.slots) < 2*(t.used+1) {
		t.grow()
	}
	mask := uint64(len(t.slots) - 1)
	h := math.Float64bits(minutes) * 0x9E3779B97F4A7C15
	for i := (h >> 32) & mask; ; i = (i + 1) & mask {
		k := t.slots[i]
		if k == 0 {
			t.slots[i] = int32(t.used + 1)
			return t.fill(t.used, minutes, helium, true)
		}
		st := &t.pages[(k-1)/stepPage][(k-1)%stepPage]
		if st.Minutes == minutes {
			if helium && !t.helium[k-1] {
				return t.fill(int(k-1), minutes, true, false)
			}
			return st
		}
	}
}

func (t *stepTable) fill(k int, minutes float64, helium, fresh bool) *tissue.Step {
	if fresh {
		if k/stepPage == len(t.pages) {
			t.pages = append(t.pages, new([stepPage]tissue.Step))
		}
		t.helium = append(t.helium, false)
		t.used++
	}
	st := &t.pages[k/stepPage][k%stepPage]
	t.model.Fill(st, minutes, helium)
	t.helium[k] = helium
	return st
}

func (t *stepTable) grow() {
	t.slots = make([]int32, max(64, 2*len(t.slots)))
	mask := uint64(len(t.slots) - 1)
	for k := range t.used {
		h := math.Float64bits(t.pages[k/stepPage][k%stepPage].Minutes) * 0x9E3779B97F4A7C15
		i := (h >> 32) & mask
		for t.slots[i] != 0 {
			i = (i + 1) & mask
		}
		t.slots[i] = int32(k + 1)
	}
}

func floor(x float64) float64 { return math.Floor(x) }
