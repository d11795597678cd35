package consumption

import (
	"math"
	"slices"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/gas"
	"lastlight/engine/water"
)

var (
	air    = gas.Mix{O2: 0.21}
	ean50  = gas.Mix{O2: 0.5}
	byHand = water.Column{Surface: 1, PerMetre: 0.1} // the handbook's 1 bar + depth/10
)

func day(t *testing.T, text string) calendar.Day {
	t.Helper()
	d, err := calendar.ParseDay(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// square is a dive to 20 m by hand, ideal gas:
//
//	mains 24 L, 200 to 110 bar: 24 × 90           = 2160 L
//	down  2 min × (1 + 3)/2 bar                   =    4 bar min
//	there 40 min × 3 bar                          =  120 bar min
//	up    2 min × (3 + 1)/2 bar                   =    4 bar min
//	rate  2160 / 128                              = 16.875 L/min
func square() Dive {
	return Dive{
		ID: "d-1", Water: &byHand, Gases: []gas.Mix{air}, Minutes: 50,
		Cylinders: []Cylinder{{ID: "twelves", Way: Swimming, Mix: &air, VolumeL: 24, StartBar: new(200.0), EndBar: new(110.0), StartC: new(20.0), EndC: new(20.0)}},
		Samples:   []Sample{{0, 0, 0}, {120, 20, 0}, {2520, 20, 0}, {2640, 0, 0}},
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.6f, want %.6f ± %g", what, got, want, tolerance)
	}
}

// read expects one rate and nothing refused.
func read(t *testing.T, d Dive, m gas.Model) Rate {
	t.Helper()
	rates, refused := Read(d, m)
	if len(rates) != 1 || len(refused) != 0 {
		t.Fatalf("%d rates, refused %+v", len(rates), refused)
	}
	return rates[0]
}

func TestByHand(t *testing.T) {
	r := read(t, square(), gas.Ideal)
	near(t, "litres", r.Litres, 2160, 1e-9)
	near(t, "bar minutes", r.BarMin, 128, 1e-9)
	near(t, "minutes", r.Minutes, 44, 1e-9)
	near(t, "mean pressure", r.MeanBar(), 128.0/44, 1e-9)
	near(t, "rate", r.LMin, 16.875, 1e-9)
	if len(r.Remarks) != 0 {
		t.Errorf("remarks %v", r.Remarks)
	}
}

// The handbook's rows, physics 7, from what was breathed back to the rate.
func TestHandbookRows(t *testing.T) {
	for _, c := range []struct {
		row    string
		column water.Column
		points [][2]float64 // minutes since the start, metres
		litres float64
		want   float64
		within float64 // the row gives the litres to six digits
	}{
		{"7.1", byHand, [][2]float64{{0, 0}, {1.5, 30}, {20, 30}, {22.5, 5}, {25.5, 5}, {26, 0}}, 1615.5, 18, 1e-9},
		{"7.2", water.Fresh, [][2]float64{{0, 0}, {2, 40}, {30, 40}, {32.2, 18}}, 3052.81, 20, 1e-4},
	} {
		d := square()
		d.Water, d.Samples = &c.column, nil
		for _, p := range c.points {
			d.Samples = append(d.Samples, Sample{Second: int(math.Round(p[0] * 60)), DepthM: p[1]})
		}
		d.Cylinders[0].EndBar = new(200 - c.litres/24)
		near(t, c.row, read(t, d, gas.Ideal).LMin, c.want, c.within)
	}
	// 7.4, published: 10 L, 20 bar in 2.5 min at 30 m is 20 L/min.
	d := square()
	d.Samples, d.Gases, d.Minutes, d.MeanM = nil, nil, 2.5, new(30.0)
	d.Cylinders[0].VolumeL, d.Cylinders[0].EndBar = 10, new(180.0)
	r := read(t, d, gas.Ideal)
	near(t, "7.4", r.LMin, 20, 1e-9)
	if !slices.Equal(r.Remarks, []Remark{MeanDepth}) {
		t.Errorf("a dive without a profile is not marked: %v", r.Remarks)
	}
}

// Real gas by the compressibility factors of physics 6 (GERG-2008 reference),
// litres = V × 293.15 / T × (p/Z - p'/Z'), to the 0.16 % of model V:
//
//	both at 288.15 K: 24 × 1.017352 × (200/1.0211 - 50/0.9856)  = 3543.7 L
//	both at 293.15 K: 24 × (200/1.0259 - 50/0.9878)             = 3464.0 L
//	warm, then cold:  24 × (200/1.0259 - 1.017352 × 50/0.9856)  = 3440.2 L
func TestRealGas(t *testing.T) {
	for _, c := range []struct {
		name       string
		start, end *float64
		litres     float64
		remarks    []Remark
	}{
		{"cold", new(15.0), new(15.0), 3543.7, nil},
		{"warm, then cold", new(20.0), new(15.0), 3440.2, nil},
		{"none recorded", nil, nil, 3464.0, []Remark{NoTemperature}},
		{"start alone", new(15.0), nil, 3543.7, []Remark{OneTemperature}},
		{"end alone", nil, new(15.0), 3543.7, []Remark{OneTemperature}},
	} {
		d := square()
		d.Water = &water.Fresh
		x := &d.Cylinders[0]
		x.StartBar, x.EndBar, x.StartC, x.EndC = new(200-water.SeaLevelBar), new(50-water.SeaLevelBar), c.start, c.end
		r := read(t, d, gas.Real)
		near(t, c.name, r.Litres, c.litres, 0.002*c.litres)
		if !slices.Equal(r.Remarks, c.remarks) {
			t.Errorf("%s: remarks %v, want %v", c.name, r.Remarks, c.remarks)
		}
	}
}

// A stage of the mains' gas and half an hour on decompression gas, by hand:
//
//	profile 0-20 m in 2 min, 20 m to minute 32, up to 6 m by minute 34, there on
//	EAN50 to minute 54, up to the surface by minute 55
//	air    2 × (1+3)/2 + 30 × 3 + 2 × (3+1.6)/2     = 98.6 bar min
//	EAN50  20 × 1.6 + 1 × (1.6+1)/2                 = 33.3 bar min
//	air    mains 24 × 60 + stage 11 × 40 = 1880 L   → 19.066937 L/min
//	EAN50  7 × 57 = 399 L                           → 11.981982 L/min
func TestSeveralCylinders(t *testing.T) {
	d := square()
	d.Gases = []gas.Mix{air, ean50}
	d.Stops = new(true)
	d.Samples = []Sample{{0, 0, 0}, {120, 20, 0}, {1920, 20, 0}, {2040, 6, 1}, {3240, 6, 1}, {3300, 0, 1}}
	d.Cylinders[0].EndBar = new(140.0)
	d.Cylinders = append(d.Cylinders,
		Cylinder{ID: "stage", Way: Swimming, Mix: &air, VolumeL: 11, StartBar: new(200.0), EndBar: new(160.0), StartC: new(20.0), EndC: new(20.0)},
		Cylinder{ID: "deco", Way: Decompression, Mix: &ean50, VolumeL: 7, StartBar: new(200.0), EndBar: new(143.0), StartC: new(20.0), EndC: new(20.0)},
	)
	rates, refused := Read(d, gas.Ideal)
	if len(rates) != 2 || len(refused) != 0 {
		t.Fatalf("rates %+v, refused %+v", rates, refused)
	}
	near(t, "bottom", rates[0].LMin, 1880/98.6, 1e-9)
	near(t, "decompression", rates[1].LMin, 399/33.3, 1e-9)
	if rates[0].Way != Swimming || rates[1].Way != Decompression || !slices.Equal(rates[0].Cylinders, []string{"twelves", "stage"}) {
		t.Errorf("rates %+v", rates)
	}
	// The stage was breathed on the scooter: on one gas the two cannot be told apart, the decompression still can.
	d.Cylinders[1].Way = Scooter
	rates, refused = Read(d, gas.Ideal)
	if len(rates) != 1 || rates[0].Way != Decompression || len(refused) != 1 || !slices.Equal(refused[0].Why, []Reason{NotApart}) {
		t.Errorf("rates %+v, refused %+v", rates, refused)
	}
	// On a gas of its own it can: of the two bottom gases each has its way.
	ean32 := gas.Mix{O2: 0.32}
	d.Cylinders[1].Mix, d.Gases = &ean32, []gas.Mix{air, ean50, ean32}
	d.Samples[1].Gas = 2               // the time at 20 m: 90 bar min
	d.Cylinders[0].EndBar = new(194.0) // 144 L in 8.6 bar min
	d.Cylinders[1].EndBar = new(80.0)  // 1320 L
	rates, refused = Read(d, gas.Ideal)
	if len(rates) != 3 || len(refused) != 0 {
		t.Fatalf("rates %+v, refused %+v", rates, refused)
	}
	near(t, "swum", rates[0].LMin, 144/8.6, 1e-9)
	near(t, "on the scooter", rates[1].LMin, 1320.0/90, 1e-9)
}

// One dive counts once for a way, whatever it was breathed from.
func TestOneDiveOneRate(t *testing.T) {
	ean32 := gas.Mix{O2: 0.32}
	d := square()
	d.Gases = []gas.Mix{air, ean32}
	d.Samples[1].Gas = 1
	d.Cylinders[0].EndBar = new(194.0) // 144 L in 8 bar min: 18
	d.Cylinders = append(d.Cylinders, Cylinder{ID: "stage", Way: Swimming, Mix: &ean32, VolumeL: 12, StartBar: new(200.0), EndBar: new(20.0)})
	r := read(t, d, gas.Ideal) // 2160 L in 120 bar min: 18
	near(t, "rate", r.LMin, 18, 1e-9)
	near(t, "litres", r.Litres, 2304, 1e-9)
	if !slices.Equal(r.Remarks, []Remark{NoTemperature}) {
		t.Errorf("remarks %v", r.Remarks)
	}
}

func TestDoesNotCount(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Dive)
		why    []Reason
	}{
		{"shared", func(d *Dive) { d.Aside = []Reason{Shared} }, []Reason{Shared}},
		{"leak", func(d *Dive) { d.Aside = []Reason{Lost} }, []Reason{Lost}},
		{"filled", func(d *Dive) { d.Aside = []Reason{Filled} }, []Reason{Filled}},
		{"incident", func(d *Dive) { d.Aside = []Reason{SetAside} }, []Reason{SetAside}},
		{"all at once", func(d *Dive) { d.Aside, d.Water, d.Samples, d.Cylinders[0].EndBar = []Reason{Shared}, nil, nil, nil }, []Reason{Shared, NoWater, NoDepth, NoPressure}},
		{"no start", func(d *Dive) { d.Cylinders[0].StartBar = nil }, []Reason{NoPressure}},
		{"no gas", func(d *Dive) { d.Cylinders[0].Mix, d.Gases = nil, nil }, []Reason{NoGas}},
		{"no volume", func(d *Dive) { d.Cylinders[0].VolumeL = 0 }, []Reason{NoVolume}},
		{"no water", func(d *Dive) { d.Water = nil }, []Reason{NoWater}},
		{"no profile, no mean depth", func(d *Dive) { d.Samples = nil }, []Reason{NoDepth}},
		{"two gases, no profile", func(d *Dive) { d.Samples, d.MeanM, d.Gases = nil, new(18.0), []gas.Mix{air, ean50} }, []Reason{NotApart}},
		{"mixed ways", func(d *Dive) { d.Cylinders[0].Way = "" }, []Reason{NotApart}},
		{"stops on the mains", func(d *Dive) { d.Stops = new(true) }, []Reason{StopsToo}},
		{"profile of another gas", func(d *Dive) { d.Gases = []gas.Mix{ean50} }, []Reason{NotOut}},
		{"at the surface", func(d *Dive) { d.Samples = []Sample{{0, 0, 0}, {600, 1, 0}} }, []Reason{NotOut}},
		{"nothing breathed", func(d *Dive) { d.Cylinders[0].EndBar = d.Cylinders[0].StartBar }, []Reason{NotOut}},
		{"hardly breathed", func(d *Dive) { d.Cylinders[0].EndBar = new(180.0) }, []Reason{Implausible}}, // 480/128 = 3.75
		{"like nobody", func(d *Dive) { d.Cylinders[0].VolumeL = 100; d.Cylinders[0].EndBar = new(60.0) }, []Reason{Implausible}},
		{"451 bar", func(d *Dive) { d.Cylinders[0].StartBar = new(451.0) }, []Reason{OutOfRange}},
		{"no number", func(d *Dive) { d.Cylinders[0].EndBar = new(math.NaN()) }, []Reason{OutOfRange}},
		{"clock back", func(d *Dive) { d.Samples[2].Second = 60 }, []Reason{OutOfRange}},
		{"no such gas", func(d *Dive) { d.Samples[1].Gas = 4 }, []Reason{OutOfRange}},
	} {
		d := square()
		c.change(&d)
		rates, refused := Read(d, gas.Real)
		if len(rates) != 0 || len(refused) != 1 || !slices.Equal(refused[0].Why, c.why) {
			t.Errorf("%s: rates %+v, refused %+v, want %v", c.name, rates, refused, c.why)
		}
	}
	// Stops that were breathed from their own gas leave the mains alone; unknown stops too.
	d := square()
	d.Stops = new(false)
	read(t, d, gas.Ideal)
}

// Ranks by nearest rank, from the definition: the whole number at or above 0.9 n.
func TestWorstTenth(t *testing.T) {
	for n, rank := range map[int]int{1: 1, 2: 2, 5: 5, 9: 9, 10: 9, 11: 10, 19: 18, 20: 18, 21: 19, 30: 27, 100: 90} {
		var values []float64
		for i := n; i >= 1; i-- { // not in order
			values = append(values, float64(i))
		}
		if got := WorstTenth(values); got != float64(rank) {
			t.Errorf("of %d dives: rank %v, want %d", n, got, rank)
		}
	}
	near(t, "median of 3", Median([]float64{30, 10, 14}), 14, 0)
	near(t, "median of 4", Median([]float64{30, 10, 14, 18}), 16, 0)
	if !math.IsNaN(Median(nil)) || !math.IsNaN(WorstTenth(nil)) {
		t.Error("nothing has a median")
	}
}

func TestFigures(t *testing.T) {
	rules := Rules{Dives: 3, Months: 24}
	on := day(t, "2026-06-30")
	rates := []Rate{
		{Dive: "c", Day: day(t, "2026-06-30"), Way: Swimming, LMin: 20},     // the day itself counts
		{Dive: "a", Day: day(t, "2024-06-30"), Way: Swimming, LMin: 16},     // to the day
		{Dive: "old", Day: day(t, "2024-06-29"), Way: Swimming, LMin: 40},   // a day too old
		{Dive: "later", Day: day(t, "2026-07-01"), Way: Swimming, LMin: 40}, // not dived yet
		{Dive: "b", Day: day(t, "2025-01-01"), Way: Swimming, LMin: 17},
		{Dive: "b", Day: day(t, "2025-01-01"), Way: Decompression, LMin: 12},
	}
	got := Figures(rates, on, rules)
	if len(got) != 2 || got[0].Way != Swimming || got[1].Way != Decompression {
		t.Fatalf("figures %+v", got)
	}
	f := got[0]
	if !slices.Equal(f.Dives, []string{"a", "b", "c"}) || f.First.String() != "2024-06-30" || f.Last.String() != "2026-06-30" || f.Median != 17 || f.Worst != 20 {
		t.Errorf("swimming %+v", f)
	}
	if !rules.Counts(f.N()) || rules.Counts(got[1].N()) || (Rules{}).Counts(1000) {
		t.Error("from three dives on a figure counts; where the club asks none, none does")
	}
	near(t, "up", Up(16.8750001), 16.88, 1e-12)
	near(t, "up", Up(16.88), 16.88, 1e-12)
}
