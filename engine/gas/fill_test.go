package gas

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Method handbook, physics section 6, rows 6.30 and 6.31: filling to the ideal
// pressures gives 17.1466/48.0697 and 20.3588/37.7235, not 18/45 and 21/35.
func TestIdealPressuresMissTheMix(t *testing.T) {
	for _, r := range []struct {
		target Mix
		to     float64
		o2, he float64
	}{{tx1845, 200, 0.171466, 0.480697}, {Mix{O2: 0.21, He: 0.35}, 220, 0.203588, 0.377235}, {ean32, 200, 0.323785, 0}} {
		s, err := (Blend{Volume: 12, Kelvin: 293.15, Now: Air, Target: r.target, ToBar: r.to, TopUp: Air}).Sheet()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "oxygen", s.IdealGives.O2, r.o2, 1e-5)
		if math.Abs(s.IdealGives.He-r.he) > 1e-5 {
			t.Errorf("helium %v, want %v", s.IdealGives.He, r.he)
		}
	}
}

// A sheet followed by an independent integration, the gauge driven up in small
// steps of gas until it shows what the sheet says, makes the mix; and no gas is
// lost: what was there and what was added is what is there. Common practice for
// the tolerance of an analyser: 0.1 points.
func TestFollowingTheSheetMakesTheMix(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b := Blend{
			Volume: rapid.Float64Range(3, 40).Draw(r, "litres"), Kelvin: rapid.Float64Range(278, 308).Draw(r, "kelvin"), Surface: rapid.Float64Range(0.8, 1.05).Draw(r, "surface"),
			NowBar: rapid.Float64Range(0, 100).Draw(r, "now"), Now: Mix{O2: rapid.Float64Range(0.1, 0.4).Draw(r, "o2"), He: rapid.Float64Range(0, 0.5).Draw(r, "he")},
			Target: Mix{O2: rapid.Float64Range(0.12, 0.4).Draw(r, "to o2"), He: rapid.Float64Range(0, 0.55).Draw(r, "to he")}, ToBar: rapid.Float64Range(150, 250).Draw(r, "to"),
			TopUp: Air, Order: rapid.SampledFrom([][]Ingredient{nil, {AddOxygen, AddHelium, AddTopUp}, {AddTopUp, AddHelium, AddOxygen}}).Draw(r, "order"),
		}
		s, err := b.Sheet()
		var cannot *CannotReach
		if errors.As(err, &cannot) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		density := func(m Mix, gauge float64) float64 {
			v, err := NewVirial(Composition{N2: m.N2(), O2: m.O2, He: m.He}, b.Kelvin)
			if err != nil {
				t.Fatal(err)
			}
			return v.Density(gauge+b.Surface) * b.Volume
		}
		start := density(b.Now, b.NowBar)
		n := [3]float64{start * b.Now.N2(), start * b.Now.O2, start * b.Now.He}
		grams := 0.0
		for _, step := range s.Steps {
			m := b.mixOf(step.Add)
			grams += step.Grams
			if step.Moles == 0 {
				continue
			}
			const parts = 4000
			for range 2 * parts {
				total := n[0] + n[1] + n[2]
				v, err := NewVirial(Composition{N2: n[0] / total, O2: n[1] / total, He: n[2] / total}, b.Kelvin)
				if err != nil {
					t.Fatal(err)
				}
				if v.Pressure(total/b.Volume)-b.Surface >= step.ToBar {
					break
				}
				add := step.Moles / parts
				n[0], n[1], n[2] = n[0]+m.N2()*add, n[1]+m.O2*add, n[2]+m.He*add
			}
		}
		total := n[0] + n[1] + n[2]
		if o2, he := n[1]/total, n[2]/total; math.Abs(o2-b.Target.O2) > 0.001 || math.Abs(he-b.Target.He) > 0.001 {
			t.Fatalf("%+v: made %.2f/%.2f", b, 100*o2, 100*he)
		}
		// Mass balance, by weight.
		before, after := start*b.Now.MolarMass(), density(b.Target, b.ToBar)*b.Target.MolarMass()
		near(t, "grams", before+grams, after, 1e-6)
	})
}

// Air wanted where EAN50 was, with nothing but air to fill: the bar that stays in
// an open cylinder makes it 21.15 % (1 of 201 bar, by hand), within a point.
func TestEmptiedIsNearEnough(t *testing.T) {
	b := Blend{Volume: 12, Kelvin: 293.15, Surface: 1, Now: Mix{O2: 0.5}, NowBar: 60, Target: Air, ToBar: 200, TopUp: Air}
	_, err := b.Sheet()
	cannot, ok := errors.AsType[*CannotReach](err)
	if !ok || cannot.DrainTo >= 0 {
		t.Fatalf("without a tolerance: %v", err)
	}
	b.Tolerance = Mix{O2: 0.01, He: 0.02}
	if cannot, ok = errors.AsType[*CannotReach](second(b.Sheet())); !ok || cannot.DrainTo != 0 {
		t.Fatalf("bleed down to %v", cannot)
	}
	b.NowBar = 0
	s, err := b.Sheet()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "oxygen", s.Makes.O2, 0.2115, 0.002)
}

// A mix without nitrogen into an open cylinder of air: what stays in, 0.79 bar of
// nitrogen of 201 bar (by hand, ideal), leaves 99.6 % of oxygen, within a point;
// as much oxygen goes in as the pressure wanted has room for.
func TestPureGasIntoAnEmptiedCylinder(t *testing.T) {
	for _, r := range []struct {
		now, target Mix
		bar, o2, he float64
	}{
		{Air, Oxygen, 0, 0.996, 0}, {Mix{O2: 0.5}, Oxygen, 60, 0.9975, 0}, {Air, Mix{O2: 0.3, He: 0.7}, 0, 0.299, 0.697}, {Oxygen, Mix{He: 1}, 0, 0.005, 0.995},
	} {
		b := Blend{Volume: 7, Kelvin: 293.15, Surface: 1, Now: r.now, NowBar: r.bar, Target: r.target, ToBar: 200, TopUp: Air, Tolerance: Mix{O2: 0.01, He: 0.02}}
		if r.bar > 0 {
			cannot, ok := errors.AsType[*CannotReach](second(b.Sheet()))
			if !ok || cannot.DrainTo != 0 {
				t.Fatalf("%v into %v: bleed down to %v", r.target, r.now, cannot)
			}
			b.NowBar = 0
		}
		s, err := b.Sheet()
		if err != nil {
			t.Fatalf("%v into %v: %v", r.target, r.now, err)
		}
		if math.Abs(s.Makes.O2-r.o2) > 0.001 || math.Abs(s.Makes.He-r.he) > 0.001 {
			t.Errorf("%v into %v makes %v", r.target, r.now, s.Makes)
		}
		near(t, "filled to", s.Steps[2].ToBar, 200, 1e-6)
		if s.Steps[2].Moles != 0 {
			t.Errorf("%v into %v is topped up with %v mol", r.target, r.now, s.Steps[2].Moles)
		}
	}
}

// More in the cylinder than is wanted, of the mix that is wanted and topped up
// with: it is bled to the pressure wanted, no further, and needs no gas.
func TestMoreInItThanWanted(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := rapid.SampledFrom([]Mix{Air, ean32, {O2: 0.209}, tx1845, {O2: 0.5}}).Draw(r, "mix")
		to := rapid.Float64Range(10, 300).Draw(r, "to")
		b := Blend{
			Volume: rapid.Float64Range(3, 50).Draw(r, "litres"), Kelvin: rapid.Float64Range(268, 318).Draw(r, "kelvin"), Surface: rapid.Float64Range(0.7, 1.05).Draw(r, "surface"),
			Now: m, NowBar: to + rapid.Float64Range(0.1, 100).Draw(r, "more"), Target: m, ToBar: to, TopUp: rapid.SampledFrom([]Mix{m, Air}).Draw(r, "top-up"),
		}
		cannot, ok := errors.AsType[*CannotReach](second(b.Sheet()))
		if !ok {
			t.Fatal("more than wanted is in it")
		}
		near(t, "bleed down to", cannot.DrainTo, to, 1e-9)
		b.NowBar = to
		s, err := b.Sheet()
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range s.Steps {
			if step.Moles != 0 {
				t.Fatalf("%+v: %+v", b, step)
			}
		}
	})
}

// EAN28 to 200 bar out of 190 bar of air, with EAN32 to top up, absolute and ideal:
// 144 bar of nitrogen are wanted, so 144/0.79 = 182.28 bar of air may stay. Bled
// empty it could not be made, for EAN32 alone is too rich: at least 72.7 bar of air
// must stay (0.21 x + 0.32 (200 - x) = 56), and 50 bar are not enough.
func TestSomeOfWhatIsInItIsNeeded(t *testing.T) {
	b := Blend{Model: Ideal, Volume: 12, Kelvin: 293.15, Surface: 1, Now: Air, NowBar: 189, Target: Mix{O2: 0.28}, ToBar: 199, TopUp: ean32}
	cannot, ok := errors.AsType[*CannotReach](second(b.Sheet()))
	if !ok {
		t.Fatal("all of it may stay")
	}
	near(t, "bleed down to", cannot.DrainTo, 144/0.79-1, 1e-9)
	for _, bar := range []float64{cannot.DrainTo, 100, 71.8} {
		b.NowBar = bar
		if _, err := b.Sheet(); err != nil {
			t.Errorf("from %v bar: %v", bar, err)
		}
	}
	b.NowBar = 50
	if cannot, ok = errors.AsType[*CannotReach](second(b.Sheet())); !ok || cannot.DrainTo >= 0 || cannot.Of != "oxygen" {
		t.Errorf("from 50 bar: %v", cannot)
	}
}

func second[T any](_ T, err error) error { return err }

func TestReadingErrorSpreadsTheMix(t *testing.T) {
	b := Blend{Volume: 24, Kelvin: 293.15, Surface: 1, Now: tx1845, NowBar: 60, Target: tx1845, ToBar: 220, TopUp: Air, ReadBar: 1}
	s, err := b.Sheet()
	if err != nil {
		t.Fatal(err)
	}
	if !(s.Low.O2 < 0.18 && s.High.O2 > 0.18 && s.Low.He < 0.45 && s.High.He > 0.45) || s.High.O2-s.Low.O2 > 0.03 {
		t.Errorf("%v to %v", s.Low, s.High)
	}
	near(t, "oxygen made", s.Makes.O2, 0.18, 1e-9)
	b.ReadBar = 0
	if s, _ = b.Sheet(); s.Low != s.Makes || s.High != s.Makes {
		t.Error("a spread without an error of reading")
	}
}

func TestRatedPressureIsRespected(t *testing.T) {
	b := Blend{Volume: 12, Kelvin: 293.15, Surface: 1, Now: Air, NowBar: 0, Target: Air, ToBar: 240, MostBar: 232, TopUp: Air}
	if _, err := b.Sheet(); err == nil || !strings.Contains(err.Error(), "rated for 232.0 bar") {
		t.Errorf("filled above its rating: %v", err)
	}
	// In the cold: 232 bar at 0 °C are more at 15 °C.
	b.ToBar, b.Kelvin = 232, 273.15
	if _, err := b.Sheet(); err == nil || !strings.Contains(err.Error(), "at 15 °C") {
		t.Errorf("filled cold to its rating: %v", err)
	}
	b.Kelvin = 293.15
	if _, err := b.Sheet(); err != nil {
		t.Error(err)
	}
}

func TestOxygenClean(t *testing.T) {
	for _, r := range []struct {
		b    Blend
		want bool
	}{
		{Blend{Now: Air, Target: ean32, TopUp: Air}, true}, // pure oxygen goes in
		{Blend{Now: Air, Target: ean32, TopUp: ean32, NowBar: -1}, false},
		{Blend{Now: Air, Target: Mix{O2: 0.5}, TopUp: Mix{O2: 0.5}, NowBar: -1}, true},
		{Blend{Now: Air, Target: Air, TopUp: Air}, false},
		{Blend{Now: Mix{O2: 0.8}, NowBar: 10, Target: Mix{O2: 0.25}, TopUp: Air}, true},
	} {
		r.b.Volume, r.b.Kelvin, r.b.Surface, r.b.ToBar = 12, 293.15, 1, 200
		s, err := r.b.Sheet()
		var cannot *CannotReach
		if errors.As(err, &cannot) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		if got := s.OxygenClean(r.b, 0.4); got != r.want {
			t.Errorf("%v to %v: clean asked %v", r.b.Now, r.b.Target, got)
		}
	}
}

// Two bottles of 50 L at 100 and 200 bar into 12 L, ideal arithmetic by hand:
// 50·100/62 = 80.65 bar, then (50·200 + 12·80.65)/62 = 176.9 bar. Air differs from
// it by a few per cent; what leaves the bank is what arrives.
func TestCascade(t *testing.T) {
	q := Cascade{Kelvin: 293.15, Surface: 1, Gas: Air, Bank: []Bottle{{50, 200}, {50, 100}}, Volume: 12, Now: Air, NowBar: 0, ToBar: 232}
	out, err := q.Fill()
	if err != nil {
		t.Fatal(err)
	}
	if len(out.Steps) != 2 || out.Steps[0].Bottle != 1 || out.Steps[1].Bottle != 0 {
		t.Fatalf("order %+v", out.Steps)
	}
	near(t, "first", out.Steps[0].CylinderBar, 80.65, 0.02)
	near(t, "even", out.Steps[0].BottleBar, out.Steps[0].CylinderBar, 1e-9)
	near(t, "second", out.Bar, 176.9, 0.02)
	full := q
	full.ToBar = 150
	part, err := full.Fill()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "stops at what is wanted", part.Bar, 150, 1e-9)
	if part.Bank[0].Bar <= 150 {
		t.Errorf("the bottle is at %v bar", part.Bank[0].Bar)
	}
	if _, err := (Cascade{Bank: []Bottle{{-1, math.NaN()}}}).Fill(); err == nil || !strings.Contains(err.Error(), "bottle 1") {
		t.Errorf("accepted: %v", err)
	}
}

func TestCascadeLosesNothing(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		q := Cascade{
			Kelvin: rapid.Float64Range(278, 308).Draw(r, "kelvin"), Surface: 1, Gas: rapid.SampledFrom([]Mix{Air, ean32, tx1845, Oxygen}).Draw(r, "bank"), Now: ean32,
			Volume: rapid.Float64Range(3, 48).Draw(r, "litres"), NowBar: rapid.Float64Range(0, 100).Draw(r, "now"), ToBar: rapid.Float64Range(100, 250).Draw(r, "to"),
		}
		for range rapid.IntRange(1, 5).Draw(r, "bottles") {
			q.Bank = append(q.Bank, Bottle{50, rapid.Float64Range(0, 300).Draw(r, "bar")})
		}
		out, err := q.Fill()
		if err != nil {
			t.Fatal(err)
		}
		amount := func(volume float64, m Mix, gauge float64) float64 {
			one := Blend{Volume: volume, Kelvin: q.Kelvin, Surface: q.Surface}
			return one.holding(m, gauge).total()
		}
		before, after := amount(q.Volume, q.Now, q.NowBar), amount(q.Volume, out.Makes, out.Bar)
		for i := range q.Bank {
			before += amount(q.Bank[i].Volume, q.Gas, q.Bank[i].Bar)
			after += amount(out.Bank[i].Volume, q.Gas, out.Bank[i].Bar)
		}
		near(t, "moles", after, before, 1e-9)
		last := math.Inf(-1)
		for _, s := range out.Steps {
			if q.Bank[s.Bottle].Bar < last || s.BottleBar < s.CylinderBar-1e-6 {
				t.Fatalf("order or pressures: %+v", out.Steps)
			}
			last = q.Bank[s.Bottle].Bar
		}
	})
}

// What no analyser shows is not done: whatever the start, order and top-up gas, the
// mix with Unseen is within it of the mix without, and never takes more gases.
func TestUnseenGasIsLeftOut(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		mixes := []Mix{Air, {O2: 0.209}, ean32, {O2: 0.321}, {O2: 0.5}, Oxygen, tx1845, {O2: 0.18, He: 0.449}}
		b := Blend{
			Volume: 12, Kelvin: rapid.Float64Range(268, 318).Draw(r, "kelvin"), Surface: 1, Now: rapid.SampledFrom(mixes).Draw(r, "now"), NowBar: rapid.Float64Range(0, 200).Draw(r, "bar"),
			Target: rapid.SampledFrom(mixes).Draw(r, "target"), ToBar: rapid.Float64Range(20, 300).Draw(r, "to"), TopUp: rapid.SampledFrom(mixes).Draw(r, "top-up"),
		}
		exact, err := b.Sheet()
		b.Unseen = Unseen
		s, err2 := b.Sheet()
		if err2 != nil {
			if err == nil {
				t.Fatal(err2)
			}
			return
		}
		if math.Abs(s.Makes.O2-b.Target.O2) > Unseen+1e-8 || math.Abs(s.Makes.He-b.Target.He) > Unseen+1e-8 {
			t.Fatalf("%+v makes %v", b, s.Makes)
		}
		near(t, "filled to", s.Steps[2].ToBar, b.ToBar, 0.051/b.ToBar)
		for i, step := range s.Steps {
			if exact != nil && step.Add != AddTopUp && step.Moles > exact.Steps[i].Moles+1e-9 {
				t.Fatalf("%+v: %v more of %s", b, step.Moles, step.Add)
			}
		}
	})
}
