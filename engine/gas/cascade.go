package gas

import (
	"errors"
	"fmt"
	"math"
)

// Bottle is a storage bottle of a bank, or of a stock.
type Bottle struct {
	Volume float64 // water volume, litres, above 0
	Bar    float64 // gauge
}

// Cascade asks how to fill cylinders out of a bank by letting pressures even out.
type Cascade struct {
	Kelvin  float64 // of bank and cylinder once they have come to one temperature
	Surface float64 // bar
	Gas     Mix     // in the bank
	Bank    []Bottle
	Volume  float64 // of what is filled, water litres together
	Now     Mix     // what is in it
	NowBar  float64 // gauge
	ToBar   float64 // gauge
}

// CascadeStep is one bottle opened until pressures are even, or the pressure
// wanted is there.
type CascadeStep struct {
	Bottle      int     // index into the bank
	BottleBar   float64 // gauge of the bottle afterwards
	CylinderBar float64 // gauge of the cylinder afterwards
	Moles       float64
}

// CascadeResult is the order of the bottles and what comes of it.
type CascadeResult struct {
	Steps []CascadeStep
	Bar   float64  // gauge of the cylinder at the end
	Makes Mix      // what is then in it
	Bank  []Bottle // afterwards, in the order given
}

// even is the least difference in bar for which a bottle is opened: below it
// nothing is seen on a gauge.
const even = 0.1

func (q *Cascade) check() error {
	b := q.blend()
	errs := []error{b.check()}
	if err := q.Gas.Check(); err != nil {
		errs = append(errs, fmt.Errorf("gas of the bank: %w", err))
	}
	if len(q.Bank) == 0 {
		errs = append(errs, errors.New("the bank has no bottle"))
	}
	for i, x := range q.Bank {
		if !(x.Volume >= 0.1 && x.Volume <= 1000) || !(x.Bar >= 0 && x.Bar <= 450) {
			errs = append(errs, fmt.Errorf("bottle %d: %v L at %v bar, must be 0.1 to 1000 L and 0 to 450 bar", i+1, x.Volume, x.Bar))
		}
	}
	return errors.Join(errs...)
}

func (q *Cascade) blend() Blend {
	return Blend{Volume: q.Volume, Kelvin: q.Kelvin, Surface: q.Surface, Now: q.Now, NowBar: q.NowBar, Target: q.Now, ToBar: q.ToBar, TopUp: q.Gas}
}

// Fill works the cascade out by model V: the bottle with the least pressure
// that still gives is opened first, so that the fullest is kept for the end.
func (q Cascade) Fill() (*CascadeResult, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	cylinder := q.blend()
	have := cylinder.holding(q.Now, q.NowBar)
	out := &CascadeResult{Bar: q.NowBar, Bank: append([]Bottle(nil), q.Bank...)}
	used := make([]bool, len(q.Bank))
	for out.Bar < q.ToBar-1e-9 {
		next := -1
		for i, x := range out.Bank {
			if !used[i] && x.Bar > out.Bar+even && (next < 0 || x.Bar < out.Bank[next].Bar) {
				next = i
			}
		}
		if next < 0 {
			break
		}
		used[next] = true
		bottle := Blend{Volume: out.Bank[next].Volume, Kelvin: q.Kelvin, Surface: q.Surface}
		full := bottle.holding(q.Gas, out.Bank[next].Bar)
		// Gas passes until the two are even or the cylinder has what it should.
		low, high := 0.0, full.total()
		for range 100 {
			mid := float64(0.5 * (low + high))
			into, rest := have.plus(q.Gas, mid).pressure(&cylinder), full.plus(q.Gas, -mid).pressure(&bottle)
			if into < rest && into < q.ToBar+q.Surface {
				low = mid
			} else {
				high = mid
			}
		}
		have = have.plus(q.Gas, low)
		out.Bar = math.Min(have.pressure(&cylinder)-q.Surface, q.ToBar)
		out.Bank[next].Bar = full.plus(q.Gas, -low).pressure(&bottle) - q.Surface
		out.Steps = append(out.Steps, CascadeStep{Bottle: next, BottleBar: out.Bank[next].Bar, CylinderBar: out.Bar, Moles: low})
	}
	out.Makes = have.mix()
	return out, nil
}

// Stock is the litres a stock of one gas gives down to a gauge pressure at
// which its bottles are left.
func Stock(m Mix, bottles []Bottle, leaveBar, kelvin, surface float64) (float64, error) {
	f, err := NewFilling(Real, m, kelvin, surface)
	if err != nil {
		return 0, err
	}
	sum := 0.0
	for i, x := range bottles {
		if !(x.Volume > 0 && x.Volume <= 1000) || !(x.Bar >= 0 && x.Bar <= 450) || !(leaveBar >= 0 && leaveBar <= 450) {
			return 0, fmt.Errorf("bottle %d: %v L at %v bar left at %v bar: out of range", i+1, x.Volume, x.Bar, leaveBar)
		}
		sum += math.Max(0, f.Litres(x.Volume, x.Bar)-f.Litres(x.Volume, leaveBar))
	}
	return sum, nil
}
