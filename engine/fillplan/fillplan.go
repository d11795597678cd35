// Package fillplan is the gas budget of an expedition: what the cylinders of
// each day ask of the compressor, the bank and the stock of oxygen and helium.
// Litres of gas are litres at 1 bar and 20 °C, pressures gauge bar.
package fillplan

import (
	"errors"
	"fmt"
	"math"

	"lastlight/engine/calendar"
	"lastlight/engine/gas"
)

// Fill is one cylinder to be filled.
type Fill struct {
	Cylinder string // what the reader is shown
	Plan     string // what it is filled for
	Volume   float64
	MostBar  float64 // what it is rated for; 0: not known
	Now      gas.Mix
	NowBar   float64
	Target   gas.Mix
	ToBar    float64
	// Barred: it may not be filled, and why (package due); the gas is budgeted
	// all the same, for another cylinder will be wanted in its place.
	Barred []string
	// Clean for oxygen: "clean", "not_clean", "unknown".
	Clean      string
	CleanAbove float64 // oxygen fraction above which it must be
}

// Day is the fills of one day, in the order in which they are made.
type Day struct {
	Day   calendar.Day
	Fills []Fill
}

// Station is what there is to fill with.
type Station struct {
	Model         gas.Model // "": real
	Kelvin        float64   // of cylinders and bank once settled
	Surface       float64   // bar
	TopUp         gas.Mix   // from compressor and bank
	CompressorMin float64   // L/min of free air, above 0
	DayMinutes    float64   // minutes the compressor may run a day; 0: not told
	Bank          []gas.Bottle
	OxygenL       *float64 // stock on the first morning; nil: not told
	HeliumL       *float64
	Tolerance     gas.Mix // of a mix, where an emptied cylinder keeps some of another
}

// Filled is a fill worked out.
type Filled struct {
	Fill
	TopUpL, OxygenL, HeliumL float64
	FromBankL                float64 // of TopUpL, what the bank gives
	BankToBar                float64 // gauge the bank brings it to with its last gas; 0: none from the bank
	NeedsClean               bool
	Problems                 []string
	DrainToBar               float64 // gauge to bleed down to first; the present pressure where no bleeding is needed
}

// Budget is a day worked out.
type Budget struct {
	Day           calendar.Day
	Fills         []Filled
	TopUpL        float64
	FromBankL     float64
	CompressorL   float64 // into cylinders; the bank is filled again by RefillL
	RefillL       float64
	CompressorMin float64 // for both
	ShortMin      float64 // minutes more than the compressor may run; 0: enough, or not told
	OxygenL       float64
	HeliumL       float64
	OxygenLeftL   *float64 // below 0: short by that much; nil: not told
	HeliumLeftL   *float64
	Bank          []gas.Bottle // before it is filled again
}

// Problems of a fill, as codes.
const (
	Unreachable = "unreachable" // with these gases, whatever is bled off
	Drained     = "drain_first"
	NotClean    = "not_clean"
	NoClean     = "clean_unknown"
	OverRating  = "over_rating"
	Impossible  = "impossible" // what was entered makes no fill
)

func (s Station) check() error {
	var errs []error
	in := func(name string, v, low, high float64, unit string) {
		if !(v >= low && v <= high) {
			errs = append(errs, fmt.Errorf("%s %v %s, must be %v to %v %s", name, v, unit, low, high, unit))
		}
	}
	in("compressor", s.CompressorMin, 1, 20000, "L/min")
	in("minutes a day", s.DayMinutes, 0, 1440, "min")
	in("temperature", s.Kelvin, gas.MinKelvin, gas.MaxKelvin, "K")
	in("surface pressure", s.Surface, 0.3, 1.2, "bar")
	if err := s.TopUp.Check(); err != nil {
		errs = append(errs, fmt.Errorf("top-up gas: %w", err))
	}
	return errors.Join(errs...)
}

const litresPerMole = gas.R * gas.ReferenceKelvin

// Of works out the budget day by day: the stock goes on from day to day, the
// bank is full again each morning.
func Of(days []Day, s Station) ([]Budget, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	oxygen, helium := s.OxygenL, s.HeliumL
	var out []Budget
	for _, d := range days {
		b := Budget{Day: d.Day, Bank: append([]gas.Bottle(nil), s.Bank...)}
		for _, f := range d.Fills {
			b.add(s, f)
		}
		b.CompressorL = b.TopUpL - b.FromBankL
		b.RefillL = b.FromBankL
		b.CompressorMin = (b.CompressorL + b.RefillL) / s.CompressorMin
		if s.DayMinutes > 0 {
			b.ShortMin = math.Max(0, b.CompressorMin-s.DayMinutes)
		}
		b.OxygenLeftL, b.HeliumLeftL = less(oxygen, b.OxygenL), less(helium, b.HeliumL)
		oxygen, helium = b.OxygenLeftL, b.HeliumLeftL
		out = append(out, b)
	}
	return out, nil
}

func less(stock *float64, used float64) *float64 {
	if stock == nil {
		return nil
	}
	left := *stock - used
	return &left
}

func (b *Budget) add(s Station, f Fill) {
	out := Filled{Fill: f, DrainToBar: f.NowBar}
	q := gas.Blend{
		Model: s.Model, Volume: f.Volume, Kelvin: s.Kelvin, Surface: s.Surface, Now: f.Now, NowBar: f.NowBar,
		Target: f.Target, ToBar: f.ToBar, TopUp: s.TopUp, Tolerance: s.Tolerance, Unseen: gas.Unseen,
	}
	sheet, err := q.Sheet()
	if cannot, ok := errors.AsType[*gas.CannotReach](err); ok && cannot.DrainTo >= 0 {
		// Bled to the tenth of a bar, downward: more than enough is bled off. What is at
		// a tenth but for rounding is there.
		out.Problems = append(out.Problems, Drained)
		out.DrainToBar = math.Floor(float64(cannot.DrainTo*10)+1e-9) / 10
		q.NowBar = out.DrainToBar
		sheet, err = q.Sheet()
	}
	switch _, unreachable := errors.AsType[*gas.CannotReach](err); {
	case unreachable:
		out.Problems = append(out.Problems, Unreachable)
	case err != nil:
		out.Problems = append(out.Problems, Impossible)
	default:
		out.amounts(b, s, q, sheet)
	}
	if f.MostBar > 0 && (f.ToBar > f.MostBar || sheet != nil && sheet.SettlesBar > f.MostBar+0.05) {
		out.Problems = append(out.Problems, OverRating)
	}
	if out.NeedsClean && f.Clean != "clean" {
		if f.Clean == "not_clean" {
			out.Problems = append(out.Problems, NotClean)
		} else {
			out.Problems = append(out.Problems, NoClean)
		}
	}
	out.Problems = append(out.Problems, f.Barred...)
	b.Fills = append(b.Fills, out)
}

func (f *Filled) amounts(b *Budget, s Station, q gas.Blend, sheet *gas.BlendSheet) {
	f.NeedsClean = sheet.OxygenClean(q, f.CleanAbove)
	before, have := q.NowBar, q.Now
	for _, step := range sheet.Steps {
		litres := float64(step.Moles * litresPerMole)
		switch step.Add {
		case gas.AddOxygen:
			f.OxygenL = litres
		case gas.AddHelium:
			f.HeliumL = litres
		case gas.AddTopUp:
			f.TopUpL = litres
			f.fromBank(b, s, q, have, before, step.ToBar)
		}
		have, before = step.After, step.ToBar
	}
	b.TopUpL += f.TopUpL
	b.OxygenL += f.OxygenL
	b.HeliumL += f.HeliumL
	b.FromBankL += f.FromBankL
}

// fromBank tops up out of the bank as far as its pressures go.
func (f *Filled) fromBank(b *Budget, s Station, q gas.Blend, have gas.Mix, fromBar, toBar float64) {
	if len(b.Bank) == 0 || toBar <= fromBar {
		return
	}
	c := gas.Cascade{Kelvin: s.Kelvin, Surface: s.Surface, Gas: s.TopUp, Bank: b.Bank, Volume: q.Volume, Now: have, NowBar: math.Max(fromBar, -s.Surface), ToBar: toBar}
	result, err := c.Fill()
	if err != nil || len(result.Steps) == 0 {
		return
	}
	moles := 0.0
	for _, step := range result.Steps {
		moles += step.Moles
	}
	b.Bank = result.Bank
	f.FromBankL = math.Min(f.TopUpL, float64(moles*litresPerMole))
	f.BankToBar = result.Bar
}
