// Package consumption reads off recorded dives how much a diver breathes: from
// what the cylinders lost, the time and the pressure it was breathed at, a rate
// in litres a minute at the surface; of many dives the median and the worst
// tenth, for each way of moving by itself.
//
// A rate is litres (at 1 bar and 20 °C, by the gas model) for each bar and
// minute of ambient pressure (physics, 7): the rate that plans multiply with
// their bar minutes. What cannot be told is never a number: a dive that says
// nothing of a rate is refused with its reason.
package consumption

import (
	"cmp"
	"math"
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/gas"
	"lastlight/engine/water"
)

// Way is what a diver was doing while a cylinder was breathed.
type Way string

// The ways. Decompression is the gas that was carried for it, not stops made on
// the bottom's gas.
const (
	Swimming      Way = "swimming"
	PullAndGlide  Way = "pull_and_glide"
	Scooter       Way = "scooter"
	Decompression Way = "decompression"
)

// Ways lists them in the order in which they are shown.
var Ways = []Way{Swimming, PullAndGlide, Scooter, Decompression}

// Dive is one recorded dive of one diver.
type Dive struct {
	ID  string
	Day calendar.Day // of the entry, at the site

	Water     *water.Column // nil: surface pressure or density of the site not known
	Cylinders []Cylinder    // the mains first; those that were breathed
	Gases     []gas.Mix     // of the samples, the mains' first; empty: not recorded
	Samples   []Sample      // in order of time; empty: no profile

	Minutes float64  // from in to out by the register
	MeanM   *float64 // mean depth as the diver's gauge showed it; nil: not recorded
	Stops   *bool    // required stops; nil: not known

	Aside []Reason // what sets the dive aside before anything is computed
}

// Cylinder is one supply that was breathed: a twinset or a pair is one.
type Cylinder struct {
	ID      string
	Way     Way
	Mix     *gas.Mix // nil: not recorded
	VolumeL float64  // litres of water; 0: not known
	// Gauge bar and °C when it was read; nil: not recorded.
	StartBar, EndBar *float64
	StartC, EndC     *float64
}

// Sample is one point of a profile; the depth changes evenly to the next, and
// Gas (an index of Gases) is breathed from here on.
type Sample struct {
	Second int
	DepthM float64
	Gas    int
}

// Reason is why a dive says nothing of a rate.
type Reason string

// The reasons. The first four are told by the record; SetAside stands for
// whatever else took place, a report of an incident included: which, is not said.
const (
	Shared      Reason = "shared"        // gas was given or taken
	Lost        Reason = "lost"          // a leak, a free flow, gas let out
	Filled      Reason = "filled"        // filled between the two readings
	SetAside    Reason = "set_aside"     // not typical
	NoPressure  Reason = "no_pressure"   // start or end not read
	NoGas       Reason = "no_gas"        // the mix not recorded
	NoVolume    Reason = "no_volume"     // the cylinder's volume not known
	NoWater     Reason = "no_water"      // surface pressure or density of the site
	NoDepth     Reason = "no_depth"      // neither a profile nor a mean depth
	NotApart    Reason = "not_apart"     // two ways, or two gases, that cannot be told apart
	StopsToo    Reason = "stops_too"     // required stops breathed from the same gas
	NotOut      Reason = "not_breathed"  // nothing was breathed, or not by this profile
	Implausible Reason = "not_plausible" // outside of what anybody breathes
	OutOfRange  Reason = "out_of_range"  // a value that no gauge shows
)

// Rates outside of these are a mistyped pressure or time: less than anybody at
// rest (8 to 10 L/min), more than apparatus is tested at (90 L/min; physics, 7).
const (
	LeastLMin = 5.0
	MostLMin  = 100.0
)

// SurfaceM is the depth down to which a stretch of a profile counts as spent at
// the surface, where the air is breathed: a shorter time makes the rate higher.
const SurfaceM = 1.0

// Remark is what a rate rests on besides what was read.
type Remark string

// The remarks.
const (
	NoTemperature  Remark = "no_temperature"  // 20 °C taken for both readings
	OneTemperature Remark = "one_temperature" // the one recorded taken for both
	MeanDepth      Remark = "mean_depth"      // mean depth as recorded and the register's time, no profile
)

// Rate is what one dive says of one way.
type Rate struct {
	Dive      string
	Day       calendar.Day
	Way       Way
	LMin      float64
	Litres    float64 // breathed
	BarMin    float64 // ambient bar × minutes it was breathed for
	Minutes   float64
	Cylinders []string
	Remarks   []Remark
}

// MeanBar is the mean ambient pressure the gas was breathed at.
func (r Rate) MeanBar() float64 { return r.BarMin / r.Minutes }

// Refusal is a dive, or one way of it, that does not count.
type Refusal struct {
	Dive string
	Day  calendar.Day
	Way  Way // empty: the whole dive
	Why  []Reason
	// Cylinders concerned; empty where the dive is.
	Cylinders []string
}

// Read works out what a dive says of each way, in the order of Ways, and what of
// it says nothing, with every reason. model is the club's.
func Read(d Dive, model gas.Model) (rates []Rate, refused []Refusal) {
	whole := slices.Clone(d.Aside)
	if d.Water == nil || d.Water.Check() != nil {
		whole = append(whole, NoWater)
	}
	if len(d.Samples) < 2 && (d.MeanM == nil || !(d.Minutes > 0)) {
		whole = append(whole, NoDepth)
	}
	if !slices.ContainsFunc(d.Cylinders, func(c Cylinder) bool { return c.StartBar != nil && c.EndBar != nil }) {
		whole = append(whole, NoPressure)
	}
	if len(whole) > 0 {
		return nil, []Refusal{{Dive: d.ID, Day: d.Day, Why: whole}}
	}
	for _, g := range groups(d.Cylinders) {
		if r, why := d.rate(g, model); len(why) > 0 {
			refused = append(refused, Refusal{Dive: d.ID, Day: d.Day, Way: g[0].Way, Why: why, Cylinders: ids(g)})
		} else {
			rates = append(rates, r)
		}
	}
	return eachWayOnce(rates), refused
}

// eachWayOnce joins the gases that were breathed in one way, so that a dive
// counts once for it, in the order of Ways.
func eachWayOnce(rates []Rate) (out []Rate) {
	for _, way := range Ways {
		var sum *Rate
		for _, r := range rates {
			switch {
			case r.Way != way:
			case sum == nil:
				out = append(out, r)
				sum = &out[len(out)-1]
			default:
				sum.Litres += r.Litres
				sum.BarMin += r.BarMin
				sum.Minutes += r.Minutes
				sum.LMin = sum.Litres / sum.BarMin
				sum.Cylinders = append(sum.Cylinders, r.Cylinders...)
				for _, m := range r.Remarks {
					if !slices.Contains(sum.Remarks, m) {
						sum.Remarks = append(sum.Remarks, m)
					}
				}
			}
		}
	}
	return out
}

// groups puts cylinders of one mix together: a profile says which gas was
// breathed, not out of which of them. One without a mix stands alone.
func groups(all []Cylinder) (out [][]Cylinder) {
	for _, c := range all {
		i := slices.IndexFunc(out, func(g []Cylinder) bool { return c.Mix != nil && g[0].Mix != nil && *g[0].Mix == *c.Mix })
		if i < 0 {
			out = append(out, []Cylinder{c})
		} else {
			out[i] = append(out[i], c)
		}
	}
	return out
}

func ids(g []Cylinder) (out []string) {
	for _, c := range g {
		out = append(out, c.ID)
	}
	return out
}

// rate is what the cylinders of one gas say, or every reason why nothing.
func (d *Dive) rate(g []Cylinder, model gas.Model) (Rate, []Reason) {
	out := Rate{Dive: d.ID, Day: d.Day, Way: g[0].Way, Cylinders: ids(g)}
	var why []Reason
	no := func(r Reason) {
		if !slices.Contains(why, r) {
			why = append(why, r)
		}
	}
	for _, c := range g {
		if c.Way != out.Way || !slices.Contains(Ways, c.Way) {
			no(NotApart)
		}
		out.Litres += d.breathed(c, model, &out, no)
	}
	if g[0].Mix != nil {
		d.time(*g[0].Mix, &out, no)
	}
	if len(why) > 0 {
		return out, why
	}
	if !(out.Litres > 0) || !(out.BarMin > 0) {
		return out, []Reason{NotOut}
	}
	if out.LMin = out.Litres / out.BarMin; !(out.LMin >= LeastLMin && out.LMin <= MostLMin) {
		return out, []Reason{Implausible}
	}
	return out, nil
}

// breathed is the litres one cylinder lost.
func (d *Dive) breathed(c Cylinder, model gas.Model, out *Rate, no func(Reason)) float64 {
	if c.StartBar == nil || c.EndBar == nil {
		no(NoPressure)
	}
	if c.Mix == nil {
		no(NoGas)
	}
	if !(c.VolumeL > 0) {
		no(NoVolume)
	}
	if c.StartBar == nil || c.EndBar == nil || c.Mix == nil || !(c.VolumeL > 0) {
		return 0
	}
	start, end := c.StartC, c.EndC
	remark := func(r Remark) {
		if !slices.Contains(out.Remarks, r) {
			out.Remarks = append(out.Remarks, r)
		}
	}
	switch {
	case start == nil && end == nil:
		remark(NoTemperature)
		taken := gas.ReferenceKelvin - zeroC
		start, end = &taken, &taken
	case start == nil:
		remark(OneTemperature)
		start = end
	case end == nil:
		remark(OneTemperature)
		end = start
	}
	held := func(bar, c float64, volume float64, mix gas.Mix) float64 {
		f, err := gas.NewFilling(model, mix, c+zeroC, d.Water.Surface)
		if err != nil || !(bar >= 0 && bar <= 450) {
			no(OutOfRange)
			return 0
		}
		return f.Litres(volume, bar)
	}
	return held(*c.StartBar, *start, c.VolumeL, *c.Mix) - held(*c.EndBar, *end, c.VolumeL, *c.Mix)
}

const zeroC = 273.15 // kelvin

// time adds the minutes and bar minutes for which a mix was breathed.
func (d *Dive) time(mix gas.Mix, out *Rate, no func(Reason)) {
	if len(d.Samples) < 2 {
		// How long each of several gases was breathed, nobody recorded.
		if len(d.Gases) > 1 || slices.ContainsFunc(d.Cylinders, func(c Cylinder) bool { return c.Mix == nil || *c.Mix != mix }) {
			no(NotApart)
			return
		}
		if !(*d.MeanM >= 0) {
			no(OutOfRange)
			return
		}
		d.stopsToo(false, out.Way, no)
		out.Minutes = d.Minutes
		out.BarMin = float64(d.Minutes * d.Water.Pressure(*d.MeanM))
		out.Remarks = append(out.Remarks, MeanDepth)
		return
	}
	if len(d.Gases) == 0 {
		no(NoGas)
		return
	}
	others := false
	for i, s := range d.Samples[1:] {
		from := d.Samples[i]
		minutes := float64(s.Second-from.Second) / 60
		if minutes < 0 || from.Gas < 0 || from.Gas >= len(d.Gases) || !(from.DepthM >= 0 && s.DepthM >= 0) {
			no(OutOfRange)
			return
		}
		if from.DepthM <= SurfaceM && s.DepthM <= SurfaceM {
			continue
		}
		if d.Gases[from.Gas] != mix {
			others = true
			continue
		}
		out.Minutes += minutes
		out.BarMin += gas.Consumed(1, *d.Water, from.DepthM, s.DepthM, minutes)
	}
	d.stopsToo(others, out.Way, no)
}

// stopsToo refuses a bottom's gas that the required stops were breathed from as
// well: at rest a diver breathes less, and the rate would be too low.
func (d *Dive) stopsToo(others bool, way Way, no func(Reason)) {
	if d.Stops != nil && *d.Stops && !others && way != Decompression {
		no(StopsToo)
	}
}

// Rules are the club's.
type Rules struct {
	Dives  int // a figure counts from so many dives on; 0: none does
	Months int // dives count through their day and so many months
}

// Within tells whether a dive of a day counts on another.
func (r Rules) Within(done, on calendar.Day) bool {
	return !done.IsZero() && !done.After(on) && !on.After(done.AddMonths(r.Months))
}

// Figure is what a diver's dives say of one way.
type Figure struct {
	Way    Way
	Dives  []string // that count, oldest first
	First  calendar.Day
	Last   calendar.Day
	Median float64 // L/min
	Worst  float64 // L/min, worst tenth
}

// N is how many dives the figure rests on.
func (f Figure) N() int { return len(f.Dives) }

// Counts tells whether the figure rests on as many dives as the club asks.
func (r Rules) Counts(n int) bool { return r.Dives > 0 && n >= r.Dives }

// Figures are the median and worst tenth of each way that has a rate, in the
// order of Ways, from the rates of all dives of the last months before a day;
// their order does not matter.
func Figures(rates []Rate, on calendar.Day, r Rules) (out []Figure) {
	for _, way := range Ways {
		var of []Rate
		for _, x := range rates {
			if x.Way == way && r.Within(x.Day, on) {
				of = append(of, x)
			}
		}
		if len(of) == 0 {
			continue
		}
		slices.SortFunc(of, func(a, b Rate) int {
			return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Dive, b.Dive))
		})
		f := Figure{Way: way, First: of[0].Day, Last: of[len(of)-1].Day}
		var values []float64
		for _, x := range of {
			f.Dives = append(f.Dives, x.Dive)
			values = append(values, x.LMin)
		}
		f.Median, f.Worst = Median(values), WorstTenth(values)
		out = append(out, f)
	}
	return out
}

// Median is the middle value, or the mean of the two middle ones; NaN of none.
func Median(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(values))
	return (s[(n-1)/2] + s[n/2]) / 2
}

// WorstTenth is the 90th percentile by nearest rank: of n values in order the
// one at the whole rank at or above 0.9 n (definition 1 of R. J. Hyndman and
// Y. Fan, Sample Quantiles in Statistical Packages, The American Statistician
// 50 (1996), 361-365). Always a rate that was breathed; of fewer than ten dives
// the highest. NaN of none.
func WorstTenth(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(values))
	return s[(9*n+9)/10-1]
}

// Up rounds a rate to the hundredth at or above it: a plan's gas is never
// reckoned on less than was measured.
func Up(lMin float64) float64 { return math.Ceil(float64(lMin*100)-1e-6) / 100 }
