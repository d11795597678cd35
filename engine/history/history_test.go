package history

import (
	"math"
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/gas"
	"lastlight/engine/oxygen"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

var entry = enginetest.At("2026-06-14T10:00+02:00")

func settings(t *testing.T) Settings {
	t.Helper()
	m, err := tissue.New(tissue.C, "1b", tissue.WaterVapour)
	if err != nil {
		t.Fatal(err)
	}
	return Settings{Model: m, Descent: 20, Hours: 240, Altitude: 300, Richest: 1.62}
}

func sea() Place { return Place{Site: "spring", Surface: water.SeaLevelBar, Entry: entry} }

func ptr[T any](v T) *T { return &v }

// dive is a past dive that ended some minutes before the entry.
func dive(id string, endedAgo, minutes int, depth float64, o2 float64) facts.PastDive {
	out := entry.Add(-endedAgo)
	return facts.PastDive{
		ID: id, Site: "spring", Entry: out.Add(-minutes), Out: out, MaxDepthM: &depth, AltitudeM: ptr(0.0), DensityKgM3: ptr(1000.0),
		Gases: []facts.Breathed{{O2: o2}},
	}
}

func samples(points ...[3]float64) []facts.Sample {
	var out []facts.Sample
	for _, p := range points {
		out = append(out, facts.Sample{Second: int(math.Round(p[0] * 60)), DepthM: p[1], Gas: int(p[2])})
	}
	return out
}

// Tissue pressures after profiles T2, T4 and T5 of the method handbook, physics
// section 11 (computed there by numerical integration), read as recorded dives.
func TestProfilesAgainstTissueTables(t *testing.T) {
	s := settings(t)
	for _, c := range []struct {
		name   string
		dive   facts.PastDive
		place  Place
		n2     [tissue.Count]float64
		arrive bool
	}{
		{"T2", facts.PastDive{
			Out: entry, Entry: entry.Add(-39), MaxDepthM: ptr(40.0), BarometerBar: ptr(1.01325), DensityKgM3: ptr(1000.0),
			Gases:   []facts.Breathed{{O2: 32}, {O2: 50}, {O2: 100}},
			Profile: samples([3]float64{2, 40, 0}, [3]float64{20, 40, 0}, [3]float64{21.9, 21, 1}, [3]float64{26.9, 21, 1}, [3]float64{28.4, 6, 2}, [3]float64{38.4, 6, 2}, [3]float64{39, 0, 2}),
		}, sea(), [tissue.Count]float64{0.47114, 0.87538, 1.18292, 1.30973, 1.31501, 1.25625, 1.17156, 1.08395, 1.00597, 0.95092, 0.91209, 0.88015, 0.85414, 0.83286, 0.81585, 0.80231}, false},
		{"T4", facts.PastDive{
			Site: "tarn", Out: entry.Add(-120), Entry: entry.Add(-174), MaxDepthM: ptr(30.0), BarometerBar: ptr(0.79495), DensityKgM3: ptr(1000.0),
			Gases:   []facts.Breathed{{O2: 21}},
			Profile: samples([3]float64{2, 30, 0}, [3]float64{27, 30, 0}, [3]float64{29.4, 6, 0}, [3]float64{35.4, 6, 0}, [3]float64{35.7, 3, 0}, [3]float64{53.7, 3, 0}, [3]float64{54, 0, 0}),
		}, Place{Site: "tarn", Altitude: 2000, Surface: 0.79495, Entry: entry}, [tissue.Count]float64{0.57848, 0.57849, 0.57930, 0.58668, 0.61242, 0.65522, 0.70205, 0.73487, 0.74524, 0.73859, 0.72556, 0.70903, 0.69133, 0.67385, 0.65781, 0.64369}, true},
		{"T5", facts.PastDive{
			Out: entry, Entry: entry.Add(-37), MaxDepthM: ptr(33.0), BarometerBar: ptr(1.01325), DensityKgM3: ptr(1025.0),
			Gases:   []facts.Breathed{{O2: 21}},
			Profile: samples([3]float64{1, 12, 0}, [3]float64{2.6, 28, 0}, [3]float64{3.9, 15, 0}, [3]float64{5.7, 33, 0}, [3]float64{13.7, 33, 0}, [3]float64{16.2, 8, 0}, [3]float64{36.2, 8, 0}, [3]float64{37, 0, 0}),
		}, sea(), [tissue.Count]float64{1.42347, 1.52611, 1.56999, 1.52720, 1.42761, 1.31188, 1.19589, 1.09237, 1.00707, 0.94936, 0.90961, 0.87743, 0.85151, 0.83050, 0.81380, 0.80059}, false},
	} {
		d := facts.Diver{Dives: []facts.PastDive{c.dive}}
		if c.arrive {
			d.Arrivals = []facts.Arrival{{Site: "tarn", At: entry.Add(-60 * 24 * 60)}}
		}
		got := At(&d, c.place, s)
		if len(got.Problems) > 0 {
			t.Errorf("%s: %v", c.name, got.Problems)
		}
		for i, want := range c.n2 {
			if math.Abs(got.Tissues.N2[i]-want) > 2e-5 {
				t.Errorf("%s, compartment %d: %.5f bar, the table has %.5f", c.name, i, got.Tissues.N2[i], want)
			}
		}
	}
}

// Oxygen of a profile: 30 min at 1.4 bar are 20 % and 48.96 OTU, and CNS decays
// by half in 90 min (method handbook, physics section 3).
func TestOxygenOfAProfile(t *testing.T) {
	x := dive("a", 90, 30, 14, 100)
	x.BarometerBar, x.AltitudeM = ptr(1.0), nil
	depth := 0.4 / water.Of(1, 1000).PerMetre // 1.4 bar on oxygen
	x.MaxDepthM = &depth
	x.Profile = samples([3]float64{0, 0, 0}, [3]float64{1.0 / 60, depth, 0}, [3]float64{30, depth, 0}, [3]float64{30 + 1.0/60, 0, 0})
	got := At(&facts.Diver{Dives: []facts.PastDive{x}}, sea(), settings(t))
	if len(got.Problems) > 0 || math.Abs(got.Dives[0].CNS-20) > 0.02 || math.Abs(got.Dives[0].OTU-48.9608) > 0.06 {
		t.Errorf("%+v", got)
	}
	if o := got.Oxygen; math.Abs(o.CNS-o.CNSWhole/2) > 1e-9 || o.OTUDay != got.Dives[0].OTU || o.Days != 2 {
		t.Errorf("carried %+v", got.Oxygen)
	}
}

// A dive without profile counts as more than any profile that fits its record.
func TestSquareIsTheCarefulReading(t *testing.T) {
	s := settings(t)
	profiled := dive("a", 60, 50, 40, 18)
	profiled.Gases = []facts.Breathed{{O2: 18, He: 45}, {O2: 50, DeepestM: ptr(21.0)}}
	profiled.Profile = samples([3]float64{2, 40, 0}, [3]float64{25, 33, 0}, [3]float64{27, 21, 1}, [3]float64{35, 9, 1}, [3]float64{45, 6, 1}, [3]float64{50, 0, 1})
	bare := profiled
	bare.Profile = nil
	a, b := At(&facts.Diver{Dives: []facts.PastDive{profiled}}, sea(), s), At(&facts.Diver{Dives: []facts.PastDive{bare}}, sea(), s)
	if len(a.Problems)+len(b.Problems) > 0 {
		t.Fatal(a.Problems, b.Problems)
	}
	for i := range a.Tissues.N2 {
		if b.Tissues.N2[i] < a.Tissues.N2[i] || b.Tissues.He[i] < a.Tissues.He[i] {
			t.Errorf("compartment %d: square %v/%v below the profile's %v/%v", i, b.Tissues.N2[i], b.Tissues.He[i], a.Tissues.N2[i], a.Tissues.He[i])
		}
	}
	if b.Oxygen.CNS < a.Oxygen.CNS || b.Oxygen.OTUDay < a.Oxygen.OTUDay || b.Oxygen.Daily < a.Oxygen.Daily {
		t.Errorf("oxygen of the square %+v below the profile's %+v", b.Oxygen, a.Oxygen)
	}
	if a.Dives[0].Profile == b.Dives[0].Profile {
		t.Error("both read the same way")
	}
	// Minutes recorded for the rich gas leave it less oxygen, never less than the profile has.
	bare.Gases = []facts.Breathed{{O2: 18, He: 45}, {O2: 50, DeepestM: ptr(21.0), Minutes: ptr(23.0)}}
	if c := At(&facts.Diver{Dives: []facts.PastDive{bare}}, sea(), s); !(c.Oxygen.CNS < b.Oxygen.CNS && c.Oxygen.CNS >= a.Oxygen.CNS) {
		t.Errorf("CNS %v with minutes, %v without, %v from the profile", c.Oxygen.CNS, b.Oxygen.CNS, a.Oxygen.CNS)
	}
}

// The day's third dive starts with what the first two left, and each leaves more
// than the one before it alone.
func TestThirdDiveOfTheDay(t *testing.T) {
	s := settings(t)
	first, second := dive("a", 360, 45, 20, 21), dive("b", 120, 45, 20, 21)
	loads := func(dives ...facts.PastDive) tissue.State {
		got := At(&facts.Diver{Dives: dives}, sea(), s)
		if len(got.Problems) > 0 || len(got.Dives) != len(dives) {
			t.Fatal(got.Problems, got.Dives)
		}
		return got.Tissues
	}
	clean, one, two := loads(), loads(second), loads(first, second)
	for i := 5; i < tissue.Count; i++ { // the faster ones have forgotten the first dive
		if !(clean.N2[i] < one.N2[i] && one.N2[i] < two.N2[i]) {
			t.Errorf("compartment %d: %v, %v, %v bar after none, one, two dives", i, clean.N2[i], one.N2[i], two.N2[i])
		}
	}
	// Eleven days on nothing is left of a dive.
	if old := loads(); old != clean {
		t.Error("a clean diver is not saturated at the place")
	}
	late := At(&facts.Diver{Dives: []facts.PastDive{dive("z", 11*24*60, 45, 20, 21)}}, sea(), s)
	if len(late.Dives) != 0 || late.Tissues != clean {
		t.Error("a dive of eleven days ago counts")
	}
}

func TestWhatCannotBeTold(t *testing.T) {
	s := settings(t)
	for _, c := range []struct {
		name, code string
		change     func(d *facts.Diver)
	}{
		{"no gas", NoGas, func(d *facts.Diver) { d.Dives[1].Gases = nil }},
		{"more than all", NoGas, func(d *facts.Diver) { d.Dives[1].Gases[0].He = 90 }},
		{"no depth", NoDepth, func(d *facts.Diver) { d.Dives[1].MaxDepthM = nil }},
		{"no duration", NoTime, func(d *facts.Diver) { d.Dives[1].Out = d.Dives[1].Entry }},
		{"still open", Open, func(d *facts.Diver) { d.Dives[1].Open = true }},
		{"overlap", Overlap, func(d *facts.Diver) { d.Dives[1].Entry = d.Dives[0].Out.Add(-1) }},
		{"into this dive", Overlap, func(d *facts.Diver) { d.Dives[1].Out = entry.Add(1) }},
		{"order", Order, func(d *facts.Diver) { slices.Reverse(d.Dives) }},
		{"no altitude", NoPlace, func(d *facts.Diver) { d.Dives[1].AltitudeM = nil }},
		{"no density", NoPlace, func(d *facts.Diver) { d.Dives[1].DensityKgM3 = nil }},
		{"oxygen, how deep", GasDepth, func(d *facts.Diver) { d.Dives[1].Gases = append(d.Dives[1].Gases, facts.Breathed{O2: 100}) }},
		{"longer than the dive", NoTime, func(d *facts.Diver) {
			d.Dives[1].Gases = append(d.Dives[1].Gases, facts.Breathed{O2: 50, DeepestM: ptr(18.0), Minutes: ptr(46.0)})
		}},
		{"profile too deep", Profile, func(d *facts.Diver) {
			d.Dives[1].Profile = samples([3]float64{1, 22, 0}, [3]float64{40, 0, 0})
		}},
		{"profile too shallow", Profile, func(d *facts.Diver) { d.Dives[1].Profile = samples([3]float64{1, 18.9, 0}, [3]float64{40, 0, 0}) }},
		{"profile cut off", Profile, func(d *facts.Diver) { d.Dives[1].Profile = samples([3]float64{1, 20, 0}, [3]float64{40, 9, 0}) }},
		{"profile ends long before", Profile, func(d *facts.Diver) { d.Dives[1].Profile = samples([3]float64{1, 20, 0}, [3]float64{30, 0, 0}) }},
		{"profile too long", Profile, func(d *facts.Diver) { d.Dives[1].Profile = samples([3]float64{1, 20, 0}, [3]float64{48, 0, 0}) }},
		{"profile backward", Profile, func(d *facts.Diver) { d.Dives[1].Profile = samples([3]float64{2, 20, 0}, [3]float64{1, 0, 0}) }},
		{"profile on no gas", Profile, func(d *facts.Diver) { d.Dives[1].Profile = samples([3]float64{2, 20, 1}, [3]float64{40, 0, 0}) }},
	} {
		d := facts.Diver{Dives: []facts.PastDive{dive("a", 360, 45, 20, 21), dive("b", 120, 45, 20, 21)}}
		c.change(&d)
		if got := At(&d, sea(), s); len(got.Problems) == 0 || got.Problems[0].Code != c.code {
			t.Errorf("%s: %v, want %s", c.name, got.Problems, c.code)
		}
	}
}

// On arrival at altitude the tissues hold what they held below; at the pressure of
// the place it leaves, in the compartment of 8 min by half in 8 min (Haldane).
func TestArrivalAtAltitude(t *testing.T) {
	s := settings(t)
	surface, err := water.SurfacePressure(water.Geopotential(2000))
	if err != nil {
		t.Fatal(err)
	}
	tarn := Place{Site: "tarn", Altitude: 2000, Surface: surface, Entry: entry}
	state := func(d facts.Diver) Start { return At(&d, tarn, s) }
	arrived := func(ago int) facts.Diver {
		return facts.Diver{Arrivals: []facts.Arrival{{Site: "elsewhere", At: entry.Add(-1)}, {Site: "tarn", At: entry.Add(-ago)}}}
	}
	if got := state(facts.Diver{}); len(got.Problems) != 1 || got.Problems[0].Code != Arrival {
		t.Errorf("arrival not asked: %v", got.Problems)
	}
	if got := state(facts.Diver{Arrivals: []facts.Arrival{{Site: "tarn", At: entry.Add(1)}}}); len(got.Problems) != 1 {
		t.Error("an arrival after the entry counts")
	}
	below, here := s.Model.Saturated(water.SeaLevelBar), s.Model.Saturated(surface)
	if got := state(arrived(0)); got.Tissues != below || len(got.Problems) != 0 {
		t.Error("who has just arrived does not hold what the sea left")
	}
	got := state(arrived(8))
	if want := (below.N2[1] + here.N2[1]) / 2; math.Abs(got.Tissues.N2[1]-want) > 1e-12 {
		t.Errorf("8 min after arrival %v bar, want %v", got.Tissues.N2[1], want)
	}
	for i, p := range state(arrived(60 * 24 * 60)).Tissues.N2 {
		if math.Abs(p-here.N2[i]) > 1e-9 {
			t.Errorf("compartment %d not at the place's pressure after two months", i)
		}
	}
	// Up to 300 m nobody is asked.
	low := Place{Site: "low", Altitude: 300, Surface: 0.978, Entry: entry}
	if got := At(&facts.Diver{}, low, s); len(got.Problems) != 0 || got.Tissues != s.Model.Saturated(0.978) {
		t.Errorf("at 300 m: %v", got.Problems)
	}
}

// A dive in the valley and the next one in the mountains: until the arrival the
// valley's pressure holds, and without one until the entry (then it cannot be told).
func TestSurfaceIntervalAcrossAltitudes(t *testing.T) {
	s := settings(t)
	tarn := Place{Site: "tarn", Altitude: 2000, Surface: 0.795, Entry: entry}
	d := facts.Diver{Dives: []facts.PastDive{dive("valley", 600, 40, 18, 21)}, Arrivals: []facts.Arrival{{Site: "tarn", At: entry.Add(-300)}}}
	got := At(&d, tarn, s)
	want := At(&facts.Diver{Dives: d.Dives[:1]}, Place{Site: "spring", Surface: water.SeaLevelBar, Entry: entry.Add(-300)}, s).Tissues
	s.Model.Linear(&want, gas.Air, 0.795, 0.795, 300)
	for i := range want.N2 {
		if math.Abs(got.Tissues.N2[i]-want.N2[i]) > 1e-12 {
			t.Errorf("compartment %d: %v bar, want %v", i, got.Tissues.N2[i], want.N2[i])
		}
	}
	if len(got.Problems) != 0 || got.Arrived != entry.Add(-300) {
		t.Errorf("%v, arrived %v", got.Problems, got.Arrived)
	}
}

// Whatever the record says, the answer is finite or a problem.
func TestWildRecords(t *testing.T) {
	s := settings(t)
	wild := []float64{math.NaN(), math.Inf(1), -1, 0, 1e9}
	for _, depth := range wild {
		for _, o2 := range wild {
			x := dive("w", 10, 30, depth, o2)
			x.Profile = []facts.Sample{{Second: 0, DepthM: depth}, {Second: 60, DepthM: o2}}
			for _, profile := range []bool{true, false} {
				if !profile {
					x.Profile = nil
				}
				got := At(&facts.Diver{Dives: []facts.PastDive{x}}, sea(), s)
				if len(got.Problems) > 0 {
					continue
				}
				for i := range got.Tissues.N2 {
					if v := got.Tissues.N2[i] + got.Tissues.He[i]; math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("depth %v, oxygen %v: tension %v", depth, o2, v)
					}
				}
				if o := got.Oxygen; math.IsNaN(o.CNS) || math.IsNaN(o.OTUDay) {
					t.Fatalf("depth %v, oxygen %v: %+v", depth, o2, o)
				}
			}
		}
	}
	var none calendar.Instant
	if got := At(&facts.Diver{}, Place{Site: "x", Surface: 1, Entry: none}, s); got.Oxygen != (oxygen.Carried{Days: 1, LeastDays: 1}) {
		t.Errorf("no entry: %+v", got)
	}
}
