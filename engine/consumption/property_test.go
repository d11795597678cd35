package consumption

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/calendar"
	"lastlight/engine/gas"
	"lastlight/engine/water"
)

// anyDive is a dive that counts: one twinset, one gas, a few points down and up,
// a rate between the bounds.
func anyDive(t *rapid.T, id string) (Dive, float64) {
	w := water.Of(rapid.Float64Range(0.7, 1.05).Draw(t, "surface"), rapid.Float64Range(990, 1030).Draw(t, "density"))
	d := Dive{ID: id, Water: &w, Gases: []gas.Mix{air}, Day: calendar.Day{}}
	second := 0
	for range rapid.IntRange(1, 6).Draw(t, "points") {
		d.Samples = append(d.Samples, Sample{Second: second, DepthM: rapid.Float64Range(2, 45).Draw(t, "depth")})
		second += rapid.IntRange(60, 1200).Draw(t, "seconds")
	}
	d.Samples = append([]Sample{{-60, 0, 0}}, append(d.Samples, Sample{second, 0, 0})...)
	for i := range d.Samples {
		d.Samples[i].Second += 60
	}
	barMin := 0.0
	for i, s := range d.Samples[1:] {
		from := d.Samples[i]
		barMin += float64(s.Second-from.Second) / 60 * (2*w.Surface + (from.DepthM+s.DepthM)*w.PerMetre) / 2
	}
	// Well within the bounds of what counts, for a gauge in psi and a real gas move a rate: and not down to the last bar.
	rate := rapid.Float64Range(8, 60).Draw(t, "rate")
	volume := math.Max(10, rate*barMin/190)
	start := rapid.Float64Range(200, 300).Draw(t, "start")
	d.Cylinders = []Cylinder{{ID: "mains", Way: Swimming, Mix: &air, VolumeL: volume, StartBar: &start, EndBar: new(start - rate*barMin/volume)}}
	return d, rate
}

// What was breathed at a rate says that rate, however the dive went.
func TestRateComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, want := anyDive(t, "d")
		rates, refused := Read(d, gas.Ideal)
		if len(rates) != 1 || math.Abs(rates[0].LMin-want) > 1e-6*want {
			t.Fatalf("%+v %+v, want %v", rates, refused, want)
		}
	})
}

// Pressures typed in whole psi say the same rate to what a psi is worth.
func TestPsiAndBarAgree(t *testing.T) {
	const barPerPsi = 0.06894757293168
	rapid.Check(t, func(t *rapid.T) {
		d, _ := anyDive(t, "d")
		metric, _ := Read(d, gas.Real)
		x := &d.Cylinders[0]
		whole := func(bar float64) *float64 { return new(math.Round(bar/barPerPsi) * barPerPsi) }
		x.StartBar, x.EndBar = whole(*x.StartBar), whole(*x.EndBar)
		imperial, _ := Read(d, gas.Real)
		if len(metric) != len(imperial) {
			t.Fatalf("%+v, %+v", metric, imperial)
		}
		for i := range metric {
			if by := math.Abs(metric[i].LMin - imperial[i].LMin); by > 1.15*x.VolumeL*barPerPsi/metric[i].BarMin {
				t.Fatalf("%v L/min in bar, %v in psi", metric[i].LMin, imperial[i].LMin)
			}
		}
	})
}

// The order of dives does not matter, a dive that does not count changes nothing,
// the worst tenth is a rate that was breathed and never below the median, and no
// more than a tenth of the dives lie above it.
func TestFiguresOfAnyLog(t *testing.T) {
	on, err := calendar.NewDay(2026, 6, 30)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		var dives []Dive
		for i := range rapid.IntRange(1, 25).Draw(t, "dives") {
			d, _ := anyDive(t, fmt.Sprint("d-", i))
			d.Day = on.Add(-rapid.IntRange(0, 900).Draw(t, "days"))
			dives = append(dives, d)
		}
		figures := func(dives []Dive) []Figure {
			var rates []Rate
			for _, d := range dives {
				of, _ := Read(d, gas.Real)
				rates = append(rates, of...)
			}
			return Figures(rates, on, Rules{Dives: 5, Months: 24})
		}
		want := figures(dives)
		other := rapid.Permutation(dives).Draw(t, "order")
		spoilt, _ := anyDive(t, "spoilt")
		spoilt.Day = on
		spoilt.Aside = []Reason{rapid.SampledFrom([]Reason{Shared, Lost, Filled, SetAside}).Draw(t, "why")}
		if got := figures(append(slices.Clone(other), spoilt)); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%v in another order, %v", got, want)
		}
		for _, f := range want {
			above := 0
			breathed := false
			for _, d := range dives {
				of, _ := Read(d, gas.Real)
				for _, r := range of {
					if !slices.Contains(f.Dives, r.Dive) {
						continue
					}
					breathed = breathed || r.LMin == f.Worst
					if r.LMin > f.Worst {
						above++
					}
				}
			}
			if !breathed || f.Worst < f.Median || 10*above > f.N() {
				t.Fatalf("%+v: %d of %d above the worst tenth, breathed %v", f, above, f.N(), breathed)
			}
		}
	})
}

// Whatever a record holds, there is a rate between the bounds or a reason.
func TestAnyRecordIsAnswered(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), -1, 0}))
	rapid.Check(t, func(t *rapid.T) {
		d, _ := anyDive(t, "d")
		x := &d.Cylinders[0]
		for _, p := range []**float64{&x.StartBar, &x.EndBar, &x.StartC, &x.EndC, &d.MeanM} {
			if rapid.Bool().Draw(t, "change") {
				*p = nil
				if rapid.Bool().Draw(t, "to a number") {
					*p = new(number.Draw(t, "number"))
				}
			}
		}
		d.Minutes = number.Draw(t, "minutes")
		if rapid.Bool().Draw(t, "no profile") {
			d.Samples = nil
		}
		d.Samples = slices.Clone(d.Samples)
		for i := range d.Samples {
			if rapid.IntRange(0, 3).Draw(t, "bend") == 0 {
				d.Samples[i] = Sample{rapid.Int().Draw(t, "second"), number.Draw(t, "depth"), rapid.IntRange(-2, 3).Draw(t, "gas")}
			}
		}
		rates, refused := Read(d, gas.Real)
		if len(rates)+len(refused) != 1 {
			t.Fatalf("%+v %+v", rates, refused)
		}
		for _, r := range rates {
			if !(r.LMin >= LeastLMin && r.LMin <= MostLMin && r.MeanBar() > 0) {
				t.Fatalf("%+v", r)
			}
		}
		for _, r := range refused {
			if len(r.Why) == 0 {
				t.Fatalf("%+v without a reason", r)
			}
		}
	})
}
