package gas

import (
	"errors"
	"math"
	"math/rand"
	"testing"

	"lastlight/engine/water"
)

// Method handbook, physics section 6, row 6.30: 18/45 to 200 bar from vacuum at
// 293.15 K (absolute pressures); its order and the sum of what is added.
func TestBlendFromVacuum(t *testing.T) {
	b := Blend{Volume: 24, Kelvin: 293.15, Now: Air, Target: tx1845, ToBar: 200, TopUp: Air}
	s, err := b.Sheet()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "helium to", s.Steps[0].ToBar, 84.2173, 1e-6)
	near(t, "oxygen to", s.Steps[1].ToBar, 100.9837, 1e-6)
	near(t, "air to", s.Steps[2].ToBar, 200, 1e-9)
	near(t, "helium by ideal gas", s.Steps[0].IdealToBar, 90, 1e-12)
	near(t, "grams of helium", s.Steps[0].Grams, s.Steps[0].Moles*4.002602, 1e-12)
}

// Whatever the start, order and top-up gas: what is added makes the mix, and the
// gauge readings are those of what is then in the cylinder.
func TestBlendAddsUp(t *testing.T) {
	rng := rand.New(rand.NewSource(11))
	orders := [][]Ingredient{nil, {AddOxygen, AddHelium, AddTopUp}, {AddTopUp, AddOxygen, AddHelium}, {AddHelium, AddTopUp, AddOxygen}}
	made, refused := 0, 0
	for range 400 {
		b := Blend{
			Volume: 5 + 20*rng.Float64(), Kelvin: 280 + 25*rng.Float64(), Surface: 1, NowBar: 120 * rng.Float64(),
			Now: Mix{O2: .1 + .3*rng.Float64(), He: .5 * rng.Float64()}, Target: Mix{O2: .15 + .3*rng.Float64(), He: .5 * rng.Float64()},
			ToBar: 180 + 50*rng.Float64(), TopUp: Mix{O2: .2 + .15*rng.Float64()}, Order: orders[rng.Intn(len(orders))],
		}
		s, err := b.Sheet()
		var cannot *CannotReach
		if errors.As(err, &cannot) {
			refused++
			if cannot.DrainTo >= 0 {
				// Drained to that, or to a bar less for rounding, it can be made.
				b.NowBar = math.Max(-b.Surface, cannot.DrainTo-1)
				if _, err := b.Sheet(); err != nil {
					t.Fatalf("%+v: drained to %v bar: %v", b, b.NowBar, err)
				}
			}
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		made++
		have := b.holding(b.Now, b.NowBar)
		for _, step := range s.Steps {
			if step.Moles < 0 || step.AddedBar < -1e-9 {
				t.Fatalf("%+v: %+v takes gas out", b, step)
			}
			have = have.plus(b.mixOf(step.Add), step.Moles)
			near(t, "gauge", step.ToBar, have.pressure(&b)-b.Surface, 1e-9)
		}
		near(t, "oxygen", have.mix().O2, b.Target.O2, 1e-9)
		if d := have.mix().He - b.Target.He; math.Abs(d) > 1e-9 {
			t.Fatalf("helium off by %v", d)
		}
		near(t, "pressure", s.Steps[2].ToBar, b.ToBar, 1e-9)
	}
	if made < 50 || refused < 50 {
		t.Errorf("%d made, %d refused: the cases are one-sided", made, refused)
	}
}

func TestBlendOutOfRange(t *testing.T) {
	if _, err := (Blend{Volume: math.NaN(), Kelvin: 20, ToBar: 2100, Target: Mix{O2: 2}, Order: []Ingredient{"argon"}}).Sheet(); err == nil {
		t.Error("accepted")
	}
}

// Method handbook, physics section 4: EAN32 at 1.4 bar 33.75 m, oxygen at 1.6 bar
// 6 m (1 bar, 10 m per bar); section 0: oxygen at 1.6 in fresh water 5.98 m.
func TestOperatingDepths(t *testing.T) {
	hand := water.Column{Surface: 1, PerMetre: 0.1}
	near(t, "EAN32", MOD(ean32, 1.4, hand), 33.75, 1e-12)
	near(t, "oxygen", MOD(Oxygen, 1.6, hand), 6, 1e-12)
	near(t, "oxygen, fresh water", MOD(Oxygen, 1.6, water.Fresh), 5.98, 1e-3)
	if d := RoundDown(MOD(Oxygen, 1.6, water.Fresh)); d != 5.9 {
		t.Errorf("shown as %v, never up", d)
	}
	if d := RoundDown(33.2); d != 33.2 {
		t.Errorf("33.2 is shown as %v", d)
	}
	if !math.IsInf(MOD(Mix{He: 1}, 1.4, hand), 1) {
		t.Error("helium has an oxygen limit")
	}
}

// Method handbook, practice P19: EAN32 measured 32.4 % -> 33.21 m, 33.2 % -> 32.17 m
// (1 bar, 10 m per bar, 1.4 bar).
func TestAnalysedMixes(t *testing.T) {
	hand := water.Column{Surface: 1, PerMetre: 0.1}
	near(t, "32.4 %", MOD(Mix{O2: 0.324}, 1.4, hand), 33.21, 2e-4)
	near(t, "33.2 %", MOD(Mix{O2: 0.332}, 1.4, hand), 32.17, 2e-4)
}

// Method handbook, physics section 8, the rule of fifths: 18/45 -> EAN50 +0.13 > 0.09
// warns, 21/35 -> EAN50 +0.06 <= 0.07 passes, 10/70 -> 21/35 +0.24 > 0.07 warns.
func TestCounterdiffusion(t *testing.T) {
	for _, r := range []struct {
		from, to    Mix
		rise, fifth float64
	}{
		{tx1845, Mix{O2: .5}, .13, .09},
		{Mix{O2: .21, He: .35}, Mix{O2: .5}, .06, .07},
		{Mix{O2: .10, He: .70}, Mix{O2: .21, He: .35}, .24, .07},
	} {
		rise, fifth, note := Counterdiffusion(r.from, r.to, 1.0/5)
		near(t, "rise", rise, r.rise, 1e-9)
		near(t, "fifth", fifth, r.fifth, 1e-9)
		if note != (r.rise > r.fifth) {
			t.Errorf("%v to %v: noted %v", r.from, r.to, note)
		}
	}
}

// Method handbook, practice P11 and P13: reserve for two on 25 m of penetration is
// route's; here P13's way up, 63.8 bar·min, and physics row 7.6's 1010 L.
func TestReserve(t *testing.T) {
	hand := water.Column{Surface: 1, PerMetre: 0.1}
	near(t, "7.6", Reserve(Straight{Depth: 30, Problem: 1, Ascent: 9, Stops: []StopTime{{5, 3}}}, 30, 2, hand), 1010, 1e-9)
	sum := 0.0
	for _, s := range []StopTime{{21, 2}, {18, 2}, {15, 3}, {12, 4}, {9, 7}, {6, 14}} {
		sum += Consumed(1, hand, s.Depth, s.Depth, s.Minutes)
	}
	near(t, "P13", sum, 63.8, 1e-3)
	near(t, "P13 litres", 16*sum, 1020.8, 1e-3)
}

// Physics section 7: turning 210 bar of air at 140 uses 31.0 % of the real gas
// (288.15 K), less than a third: the turn by pressure alone is the earlier one.
func TestTurnByPressureIsEarly(t *testing.T) {
	f, err := NewFilling(Real, Air, 288.15, 1)
	if err != nil {
		t.Fatal(err)
	}
	used := 1 - f.Litres(1, 140)/f.Litres(1, 210)
	near(t, "share used", used, 0.310, 5e-3)
	if turn := f.EqualAmountTurn(210, 1.0/3); !(turn < 140) {
		t.Errorf("equal amount at %v bar", turn)
	}
}

// Method handbook, practice P11: two divers at 30 L/min, 2 min at 25 m, 200 m of
// exit at 12 m/min and mean 20 m, ascent at 9 m/min, 3 min at 5 m: 420 + 3000 +
// 266.7 + 270 = 3956.7 L = 164.9 bar on 24 L.
func TestReserveAlongAPassage(t *testing.T) {
	hand := water.Column{Surface: 1, PerMetre: 0.1}
	problem, exit := Consumed(60, hand, 25, 25, 2), Consumed(60, hand, 20, 20, 200.0/12)
	ascent, stop := Consumed(60, hand, 20, 0, 20.0/9), Consumed(60, hand, 5, 5, 3)
	near(t, "problem", problem, 420, 1e-9)
	near(t, "exit", exit, 3000, 1e-9)
	near(t, "ascent", ascent, 266.7, 2e-4)
	near(t, "stop", stop, 270, 1e-9)
	sum := problem + exit + ascent + stop
	near(t, "sum", sum, 3956.7, 1e-5)
	near(t, "bar", sum/24, 164.9, 5e-4)
}
