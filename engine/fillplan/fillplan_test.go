package fillplan

import (
	"math"
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/gas"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, within)
	}
}

func station() Station {
	return Station{Kelvin: 293.15, Surface: 1, TopUp: gas.Air, CompressorMin: 250, Tolerance: gas.Mix{O2: 0.01, He: 0.02}}
}

// The size of a real one (the club's description of the job, worked by hand with
// pressure × volume): 12 divers × 2 dives × 60 % of 24 L at 210 bar = 72,576 L a
// day; a 250 L/min compressor runs 4 h 50 min for it.
func TestSizeOfARealExpedition(t *testing.T) {
	var d Day
	for range 24 {
		d.Fills = append(d.Fills, Fill{Volume: 24, Now: gas.Air, NowBar: 0.4 * 210, Target: gas.Air, ToBar: 210})
	}
	s := station()
	s.Model = gas.Ideal
	out, err := Of([]Day{d}, s)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "litres", out[0].TopUpL, 72576, 1e-6)
	near(t, "minutes", out[0].CompressorMin, 4*60+50, 0.5)
	// By the real gas it is a few per cent less, never more than a few.
	s.Model = gas.Real
	real, err := Of([]Day{d}, s)
	if err != nil {
		t.Fatal(err)
	}
	if share := real[0].TopUpL / out[0].TopUpL; share < 0.93 || share > 1.01 {
		t.Errorf("real gas: %v of it", share)
	}
	s.DayMinutes = 240
	if out, _ = Of([]Day{d}, s); !(out[0].ShortMin > 0) {
		t.Error("four hours are enough")
	}
}

func TestStockGoesOnFromDayToDay(t *testing.T) {
	fill := Fill{Volume: 12, Now: gas.Mix{O2: 0.18, He: 0.45}, NowBar: 80, Target: gas.Mix{O2: 0.18, He: 0.45}, ToBar: 220, Clean: "clean"}
	s := station()
	s.HeliumL = new(1000.0)
	days := []Day{{Day: calendar.Day{}, Fills: []Fill{fill}}, {Fills: []Fill{fill}}}
	out, err := Of(days, s)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "left after the first", *out[0].HeliumLeftL, 1000-out[0].HeliumL, 1e-9)
	near(t, "left after the second", *out[1].HeliumLeftL, 1000-2*out[0].HeliumL, 1e-9)
	if !(*out[1].HeliumLeftL < 0) || out[0].OxygenLeftL != nil {
		t.Errorf("helium left %v, oxygen %v", *out[1].HeliumLeftL, out[0].OxygenLeftL)
	}
}

func TestBankSparesTheCompressorDuringTheDay(t *testing.T) {
	s := station()
	s.Bank = []gas.Bottle{{Volume: 50, Bar: 230}, {Volume: 50, Bar: 230}}
	fill := Fill{Volume: 12, Now: gas.Air, NowBar: 60, Target: gas.Air, ToBar: 200}
	out, err := Of([]Day{{Fills: []Fill{fill, fill}}}, s)
	if err != nil {
		t.Fatal(err)
	}
	b := out[0]
	if !(b.FromBankL > 0 && b.FromBankL <= b.TopUpL) || !(b.Bank[0].Bar < 230) || b.Fills[0].BankToBar <= 60 {
		t.Errorf("%+v", b)
	}
	near(t, "what goes in and back", b.CompressorL+b.RefillL, b.TopUpL, 1e-6)
}

func TestProblemsAreSaid(t *testing.T) {
	out, err := Of([]Day{{Fills: []Fill{
		{Volume: 12, Now: gas.Mix{O2: 0.5}, NowBar: 150, Target: gas.Air, ToBar: 200},
		{Volume: 12, Now: gas.Air, Target: gas.Mix{O2: 0.1}, ToBar: 200},
		{Volume: 12, Now: gas.Air, Target: gas.Mix{O2: 0.32}, ToBar: 200, Clean: "not_clean"},
		{Volume: 12, Now: gas.Air, Target: gas.Mix{O2: 0.32}, ToBar: 200},
		{Volume: 12, Now: gas.Air, Target: gas.Air, ToBar: 240, MostBar: 232, Barred: []string{"hydro_overdue"}},
		{Volume: math.NaN(), Now: gas.Air, Target: gas.Air, ToBar: 240},
	}}}, station())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{Drained, Unreachable, NotClean, NoClean, OverRating, Impossible} {
		if !slices.Contains(out[0].Fills[i].Problems, want) {
			t.Errorf("fill %d: %v, want %s", i, out[0].Fills[i].Problems, want)
		}
	}
	if !slices.Contains(out[0].Fills[4].Problems, "hydro_overdue") {
		t.Error("the cylinder out of test is filled")
	}
	if _, err := Of(nil, Station{CompressorMin: math.Inf(1)}); err == nil {
		t.Error("a station of nothing is accepted")
	}
}

// More than is wanted of the mix that is wanted: it is bled to the pressure wanted;
// no gas goes in, so nothing has to be clean.
func TestMoreThanWantedIsBledOnly(t *testing.T) {
	for _, m := range []gas.Mix{gas.Air, {O2: 0.32}, {O2: 0.18, He: 0.45}} {
		for _, top := range []gas.Mix{gas.Air, m} {
			s := station()
			s.TopUp = top
			out, err := Of([]Day{{Fills: []Fill{{Volume: 12, Now: m, NowBar: 220.5, Target: m, ToBar: 210, Clean: "not_clean", CleanAbove: 0.4}}}}, s)
			if err != nil {
				t.Fatal(err)
			}
			f := out[0].Fills[0]
			if f.DrainToBar != 210 || !slices.Equal(f.Problems, []string{Drained}) || f.TopUpL+f.OxygenL+f.HeliumL != 0 {
				t.Errorf("%v topped up with %v: %+v", m, top, f)
			}
		}
	}
}
