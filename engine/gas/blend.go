package gas

import (
	"errors"
	"fmt"
	"math"
)

// Ingredient is a gas added in a blend.
type Ingredient string

const (
	AddHelium Ingredient = "helium"
	AddOxygen Ingredient = "oxygen"
	AddTopUp  Ingredient = "top-up"
)

// Blend asks for a mix in a cylinder by partial pressures.
type Blend struct {
	Model   Model   // what pressure means in amounts; "": Real
	Volume  float64 // water volume, litres, above 0
	Kelvin  float64 // of the cylinder during the fill
	Surface float64 // bar
	Now     Mix     // what is in it
	NowBar  float64 // gauge
	Target  Mix
	ToBar   float64      // gauge
	MostBar float64      // gauge the cylinder is rated for; 0: not told, not checked
	TopUp   Mix          // from the compressor or bank: air, a nitrox, …
	Order   []Ingredient // each of the three once; nil: helium, oxygen, top-up
	ReadBar float64      // the gauge may be read wrong by this, 0 to 20 bar
	// How far from Target the mix may lie, as fractions, where what an emptied
	// cylinder keeps stands in the way of the mix itself; zero: not at all.
	Tolerance Mix
	// A difference from Target, as a fraction, that no analyser shows: for less than
	// it no pure gas is added and nothing is bled off. Zero: every bit of gas is.
	Unseen float64
}

// Unseen is what a label's one decimal of a per cent cannot show (method handbook,
// practice 10), as a fraction.
const Unseen = 0.001

// RatedKelvin is the temperature at which a cylinder's working pressure is
// stamped (15 °C; European practice, from memory): a colder cylinder filled to
// it is above it once it warms.
const RatedKelvin = 288.15

// BlendStep is one filling.
type BlendStep struct {
	Add        Ingredient
	ToBar      float64 // gauge to fill to, real gas
	AddedBar   float64 // rise of the gauge
	Moles      float64
	Grams      float64 // for a scale
	IdealToBar float64 // gauge the ideal gas law would give: for comparison, not for use
	After      Mix     // in the cylinder after it
}

// BlendSheet is how to make the mix.
type BlendSheet struct {
	Steps      []BlendStep
	Makes      Mix     // what is then in the cylinder
	SettlesBar float64 // gauge of it at RatedKelvin
	// Least and most of each gas, where every reading, that of the start too, is
	// off by ReadBar in the worst of all ways.
	Low, High  Mix
	IdealGives Mix // what filling to the ideal pressures would really make
}

// OxygenClean reports whether the fill asks for a cylinder cleaned for oxygen:
// pure oxygen goes in, or a gas richer than a fraction is or was in it.
func (s *BlendSheet) OxygenClean(b Blend, above float64) bool {
	for _, step := range s.Steps {
		if step.Add == AddOxygen && step.Moles > 0 {
			return true
		}
	}
	above += 1e-6 // rounding of what is exactly at the limit
	return s.Makes.O2 > above || b.TopUp.O2 > above || b.Now.O2 > above && b.NowBar+b.Surface > 0
}

// CannotReach says that the cylinder holds too much of something for the target.
type CannotReach struct {
	Of      string  // "oxygen", "helium" or "nitrogen"
	DrainTo float64 // gauge bar to bleed down to first; below 0: bleeding is of no use with this top-up gas
}

func (e *CannotReach) Error() string {
	if e.DrainTo < 0 {
		return fmt.Sprintf("too much %s in the gases given: this mix cannot be reached with them, however far the cylinder is bled down", e.Of)
	}
	return fmt.Sprintf("too much %s in the cylinder: bleed down to %.1f bar first", e.Of, e.DrainTo)
}

// amounts are moles of each gas in a cylinder.
type amounts struct{ n2, o2, he float64 }

func (a amounts) plus(m Mix, moles float64) amounts {
	return amounts{a.n2 + float64(m.N2()*moles), a.o2 + float64(m.O2*moles), a.he + float64(m.He*moles)}
}

func (a amounts) total() float64 { return a.n2 + a.o2 + a.he }

func (a amounts) mix() Mix {
	if t := a.total(); t > 0 {
		return Mix{O2: a.o2 / t, He: a.he / t}
	}
	return Air
}

// virial takes the composition of a blend as its fractions are, air included:
// the sums of a blend have to come out.
func (a amounts) virial(kelvin float64) (Virial, error) {
	t := a.total()
	if !(t > 0) {
		return NewVirial(Composition{N2: 1}, kelvin)
	}
	x := Composition{O2: a.o2 / t, He: a.he / t}
	x.N2 = math.Max(0, 1-x.O2-x.He)
	return NewVirial(x, kelvin)
}

// pressure in bar absolute of the amounts in a cylinder; the blend's temperature has been checked.
func (a amounts) pressure(b *Blend) float64 {
	if b.Model == Ideal {
		return float64(a.total()*float64(R*b.Kelvin)) / b.Volume
	}
	v, err := a.virial(b.Kelvin)
	if err != nil {
		return 0
	}
	return v.Pressure(a.total() / b.Volume)
}

// holding is what a mix amounts to at a gauge pressure.
func (b *Blend) holding(m Mix, gauge float64) amounts {
	if b.Model == Ideal {
		return amounts{}.plus(m, float64(math.Max(0, gauge+b.Surface)*b.Volume)/float64(R*b.Kelvin))
	}
	one := amounts{}.plus(m, 1)
	v, err := one.virial(b.Kelvin)
	if err != nil {
		return amounts{}
	}
	return amounts{}.plus(m, float64(v.Density(gauge+b.Surface)*b.Volume))
}

func (b *Blend) check() error {
	var errs []error
	in := func(name string, v, low, high float64, unit string) {
		if !(v >= low && v <= high) {
			errs = append(errs, fmt.Errorf("%s %v %s, must be %v to %v %s", name, v, unit, low, high, unit))
		}
	}
	in("water volume", b.Volume, 0.1, 1000, "L")
	in("temperature", b.Kelvin, MinKelvin, MaxKelvin, "K")
	in("surface pressure", b.Surface, 0, 1.2, "bar")
	in("pressure now", b.NowBar, -b.Surface, 450, "bar")
	in("pressure wanted", b.ToBar, 0, 450, "bar")
	in("error of reading", b.ReadBar, 0, 20, "bar")
	if b.MostBar != 0 {
		in("pressure the cylinder is rated for", b.MostBar, 1, 450, "bar")
		if b.ToBar > b.MostBar {
			errs = append(errs, fmt.Errorf("pressure wanted %.1f bar, the cylinder is rated for %.1f bar", b.ToBar, b.MostBar))
		}
	}
	if b.Model != "" && b.Model != Real && b.Model != Ideal {
		errs = append(errs, fmt.Errorf("gas model %q, must be %q or %q", b.Model, Real, Ideal))
	}
	for _, x := range []struct {
		name string
		m    Mix
	}{{"mix in the cylinder", b.Now}, {"mix wanted", b.Target}, {"top-up gas", b.TopUp}} {
		if err := x.m.Check(); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", x.name, err))
		}
	}
	if len(b.Order) == 0 {
		b.Order = []Ingredient{AddHelium, AddOxygen, AddTopUp}
	}
	seen := map[Ingredient]int{}
	for _, i := range b.Order {
		seen[i]++
	}
	if len(b.Order) != 3 || seen[AddHelium] != 1 || seen[AddOxygen] != 1 || seen[AddTopUp] != 1 {
		errs = append(errs, errors.New("order must name helium, oxygen and top-up once each"))
	}
	return errors.Join(errs...)
}

// Sheet works the blend out with model V. What is out of range is one error
// naming all of it; what cannot be reached is a *CannotReach.
func (b Blend) Sheet() (*BlendSheet, error) {
	if err := b.check(); err != nil {
		return nil, err
	}
	now := b.holding(b.Now, b.NowBar)
	if b.NowBar+b.Surface <= 0 {
		now = amounts{}
	}
	want := b.holding(b.Target, b.ToBar)
	added, err := b.solve(now, want)
	if err != nil {
		return nil, err
	}
	ideal := b.ideal()
	sheet := &BlendSheet{}
	have, before := now, b.NowBar
	pretend := now
	idealBar := b.NowBar
	for _, i := range b.Order {
		m := b.mixOf(i)
		n := added[i]
		have = have.plus(m, n)
		s := BlendStep{Add: i, Moles: n, Grams: float64(n * m.MolarMass())}
		s.ToBar = have.pressure(&b) - b.Surface
		if n == 0 {
			s.ToBar = before
		}
		s.AddedBar = s.ToBar - before
		before, s.After = s.ToBar, have.mix()
		idealBar += ideal[i]
		s.IdealToBar = idealBar
		pretend = b.fillTo(pretend, m, idealBar)
		sheet.Steps = append(sheet.Steps, s)
	}
	sheet.Makes, sheet.IdealGives = have.mix(), pretend.mix()
	sheet.SettlesBar = b.settled(have)
	if b.MostBar != 0 && sheet.SettlesBar > b.MostBar+ratedSlack {
		return nil, fmt.Errorf("pressure wanted %.1f bar at %.0f °C becomes %.1f bar at %.0f °C, the cylinder is rated for %.1f bar",
			b.ToBar, b.Kelvin-zeroCelsius, sheet.SettlesBar, RatedKelvin-zeroCelsius, b.MostBar)
	}
	sheet.Low, sheet.High = b.spread(sheet)
	return sheet, nil
}

const (
	zeroCelsius = 273.15 // K
	ratedSlack  = 0.05   // bar: no gauge at a fill station shows less
)

// settled is the gauge the content shows at the temperature pressures are rated at.
func (b *Blend) settled(a amounts) float64 {
	at := *b
	at.Kelvin = RatedKelvin
	return a.pressure(&at) - b.Surface
}

// spread follows the sheet with every reading off by ReadBar, up or down, in
// all combinations.
func (b *Blend) spread(s *BlendSheet) (low, high Mix) {
	low, high = s.Makes, s.Makes
	if b.ReadBar == 0 {
		return low, high
	}
	for signs := range 1 << (len(s.Steps) + 1) {
		off := func(i int) float64 {
			if signs>>i&1 == 1 {
				return b.ReadBar
			}
			return -b.ReadBar
		}
		a := b.holding(b.Now, b.NowBar+off(0))
		if b.NowBar+b.Surface <= 0 {
			a = amounts{}
		}
		for i, step := range s.Steps {
			if step.Moles > 0 {
				a = b.fillTo(a, b.mixOf(step.Add), step.ToBar+off(i+1))
			}
		}
		m := a.mix()
		low = Mix{O2: math.Min(low.O2, m.O2), He: math.Min(low.He, m.He)}
		high = Mix{O2: math.Max(high.O2, m.O2), He: math.Max(high.He, m.He)}
	}
	return low, high
}

func (b *Blend) mixOf(i Ingredient) Mix {
	switch i {
	case AddHelium:
		return Mix{He: 1}
	case AddOxygen:
		return Oxygen
	}
	return b.TopUp
}

// solve finds the amounts to add: the top-up gas brings all the nitrogen, what
// it does not bring of the others comes pure.
func (b *Blend) solve(now, want amounts) (map[Ingredient]float64, error) {
	top, he, o2 := b.parts(now, want)
	const slack = 1e-9 // moles per mole wanted: rounding of an exact match
	least := -slack * want.total()
	if top >= least && he >= least && o2 >= least {
		added := map[Ingredient]float64{}
		for _, part := range []struct {
			of    Ingredient
			moles float64
		}{{AddTopUp, top}, {AddHelium, he}, {AddOxygen, o2}} {
			if part.moles > -least { // less is rounding, not gas: no valve is opened for it
				added[part.of] = part.moles
			}
		}
		return b.seen(now, added), nil
	}
	if near, ok := b.near(now, want, Mix{O2: b.Unseen, He: b.Unseen}); ok && b.Unseen > 0 {
		return near, nil
	}
	if b.NowBar <= 0 {
		if near, ok := b.near(now, want, b.Tolerance); ok {
			return near, nil
		}
	}
	worst := &CannotReach{Of: "nitrogen", DrainTo: -1}
	if low := math.Min(he, o2); low < top {
		worst.Of = "helium"
		if o2 < he {
			worst.Of = "oxygen"
		}
	}
	// Each part is linear in what is left of the present content: find the largest
	// share that will do. Of a lean rest some may be needed, beside a rich top-up gas.
	top0, he0, o20 := b.parts(amounts{}, want)
	low, share := 0.0, 1.0
	for _, p := range [][2]float64{{top0, top}, {he0, he}, {o20, o2}} {
		switch {
		case p[0] < least && p[1] < least:
			low = math.Inf(1)
		case p[1] < least:
			share = math.Min(share, math.Max(0, p[0])/(math.Max(0, p[0])-p[1]))
		case p[0] < least:
			low = math.Max(low, p[0]/(p[0]-math.Max(0, p[1])))
		}
	}
	if low > share+slack {
		return nil, b.emptied(worst, want)
	}
	left := amounts{float64(now.n2 * share), float64(now.o2 * share), float64(now.he * share)}
	// What stays in an open cylinder cannot be bled off.
	if gauge := left.pressure(b) - b.Surface; gauge >= 0 {
		worst.DrainTo = gauge
		return nil, worst
	}
	return nil, b.emptied(worst, want)
}

// emptied makes bleeding down to nothing the remedy where that comes within the tolerance.
func (b *Blend) emptied(e *CannotReach, want amounts) *CannotReach {
	if b.NowBar > 0 {
		if _, ok := b.near(b.holding(b.Now, 0), want, b.Tolerance); ok {
			e.DrainTo = 0
		}
	}
	return e
}

// seen leaves out pure gas without which the mix is the same to an analyser.
func (b *Blend) seen(now amounts, added map[Ingredient]float64) map[Ingredient]float64 {
	he, o2 := added[AddHelium], added[AddOxygen]
	for _, kept := range [][2]float64{{0, 0}, {he, 0}, {0, o2}} {
		if !(b.Unseen > 0) || kept == [2]float64{he, o2} {
			break
		}
		have := now.plus(Mix{He: 1}, kept[0]).plus(Oxygen, kept[1])
		full := b.fillTo(have, b.TopUp, b.ToBar)
		if b.within(full, Mix{O2: b.Unseen, He: b.Unseen}) {
			return map[Ingredient]float64{AddHelium: kept[0], AddOxygen: kept[1], AddTopUp: full.total() - have.total()}
		}
	}
	return added
}

// within tells whether what is in the cylinder is what is wanted, but for a tolerance.
func (b *Blend) within(a amounts, tolerance Mix) bool {
	m := a.mix()
	return math.Abs(m.O2-b.Target.O2) <= tolerance.O2+fractionSlack && math.Abs(m.He-b.Target.He) <= tolerance.He+fractionSlack &&
		math.Abs(a.pressure(b)-b.Surface-b.ToBar) <= ratedSlack
}

// near are the amounts that come closest to what is wanted where what would have to
// be taken out is left in. ok is false where the mix is then outside the tolerance.
func (b *Blend) near(now, want amounts, tolerance Mix) (map[Ingredient]float64, bool) {
	top, he, o2 := b.parts(now, want)
	if top < 0 { // too much nitrogen is in it: no top-up gas, which would not make up for less of the others
		he, o2 = want.he-now.he, want.o2-now.o2
	}
	he, o2 = math.Max(0, he), math.Max(0, o2)
	have := now.plus(Mix{He: 1}, he).plus(Oxygen, o2)
	if have.pressure(b) > b.ToBar+b.Surface { // what stays in takes some of the room
		low, high := 0.0, 1.0
		for range 100 {
			mid := float64(0.5 * (low + high))
			if now.plus(Mix{He: 1}, float64(he*mid)).plus(Oxygen, float64(o2*mid)).pressure(b) < b.ToBar+b.Surface {
				low = mid
			} else {
				high = mid
			}
		}
		he, o2 = float64(he*low), float64(o2*low)
		have = now.plus(Mix{He: 1}, he).plus(Oxygen, o2)
	}
	full := b.fillTo(have, b.TopUp, b.ToBar)
	more := full.total() - have.total()
	if more < float64(1e-9*want.total()) { // rounding, not gas
		more = 0
	}
	return map[Ingredient]float64{AddHelium: he, AddOxygen: o2, AddTopUp: more}, b.within(full, tolerance)
}

func (b *Blend) parts(now, want amounts) (top, he, o2 float64) {
	n := want.n2 - now.n2
	switch f := b.TopUp.N2(); {
	case f > 1e-9:
		top = n / f
	case math.Abs(n) > float64(1e-9*want.total()):
		top = -math.Abs(n) // no gas at hand brings or takes nitrogen
	}
	return top, want.he - now.he - float64(top*b.TopUp.He), want.o2 - now.o2 - float64(top*b.TopUp.O2)
}

// ideal is the pressure each ingredient would add if the gases were ideal.
func (b *Blend) ideal() map[Ingredient]float64 {
	now := amounts{}.plus(b.Now, b.NowBar+b.Surface)
	want := amounts{}.plus(b.Target, b.ToBar+b.Surface)
	top, he, o2 := b.parts(now, want)
	return map[Ingredient]float64{AddTopUp: math.Max(0, top), AddHelium: math.Max(0, he), AddOxygen: math.Max(0, o2)}
}

// fillTo adds a mix until the gauge shows a pressure.
func (b *Blend) fillTo(a amounts, m Mix, gauge float64) amounts {
	want := gauge + b.Surface
	if a.pressure(b) >= want {
		return a
	}
	low, high := 0.0, 1.0
	for a.plus(m, high).pressure(b) < want && high < 1e7 {
		high *= 2
	}
	for range 100 {
		mid := float64(0.5 * (low + high))
		if a.plus(m, mid).pressure(b) < want {
			low = mid
		} else {
			high = mid
		}
	}
	return a.plus(m, high)
}
