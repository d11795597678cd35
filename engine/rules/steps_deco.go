package rules

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/dive"
	"lastlight/engine/finding"
	"lastlight/engine/oxygen"
	"lastlight/engine/route"
	"lastlight/engine/tissue"
)

func percent(name string, x float64) finding.Figure  { return finding.Number(name, x, 5, "%") }
func doses(name string, x float64) finding.Figure    { return finding.Number(name, x, 4, "OTU") }
func partial(name string, x float64) finding.Figure  { return finding.Number(name, x, 6, "bar") }
func constant(name string, x float64) finding.Figure { return finding.Number(name, x, 9, "") }

// tension keeps its last zeros: small differences of tensions decide a stop.
func tension(name string, x float64) finding.Figure {
	const decimals = 6
	f := finding.Number(name, x, decimals, "bar")
	whole, part, _ := strings.Cut(f.Text, ".")
	if f.Number != nil {
		f.Text = whole + "." + part + strings.Repeat("0", decimals-len(part))
	}
	return f
}

const (
	tableAt  = "physics, 1: table of the model"
	limitsAt = "physics, 3: line of the table at this pressure"
)

// stopSteps are why a stop is made, and why for so many minutes: what refuses a
// minute before, and what permits it.
func (c *Case) stopSteps(x *dive.Stop) []finding.Step {
	s := c.explaining("passage decompression, D41, D42, D47; physics, 1")
	if x.NeededBy.Diver != "" {
		s.margin(fmt.Sprint("after ", x.Minutes-1, " min"), &x.NeededBy)
	}
	if x.LeavesWith.Diver != "" {
		s.margin(fmt.Sprint("after ", x.Minutes, " min"), &x.LeavesWith)
	}
	return s.lines()
}

// margin is the test of a travel: the compartment with least to spare, on arriving.
func (s *steps) margin(when string, m *dive.Margin) {
	p := &m.Parts
	what := fmt.Sprintf("%s: %s, compartment %s, arriving at %s m: ", when, s.c.nameOf(m.Diver).Label(), p.Compartment.ID, finding.Decimal(p.DepthM, 2))
	w := s.c.Water
	pressure := tension("pressure", p.AmbientBar)
	s.add(what+"ambient pressure", "surface + metre × depth", pressure,
		tension("surface", w.Surface).At(s.c.surfaceAt()), constant("metre", w.PerMetre).At("site.density_kg_m3, bar per metre"), finding.Number("depth", p.DepthM, 6, "m").At("the schedule"))
	gf := finding.Number("gf", m.GF, 8, "")
	if exact := tissue.GradientFactor(p.GFLow, p.GFHigh, p.DepthM, p.AnchorM); math.Abs(exact-m.GF) < 1e-8 {
		s.add(what+"gradient factor", "high + (low - high) × the least of (1, depth / anchor)", gf,
			ratio("high", p.GFHigh).At("policy.decompression.gf_high, or plan.gf_high"), ratio("low", p.GFLow).At("policy.decompression.gf_low, or plan.gf_low"),
			finding.Number("depth", p.DepthM, 6, "m"), finding.Number("anchor", p.AnchorM, 6, "m").At("deepest place that refused this diver, at least the last stop"))
	}
	s.allowed(what, p.Compartment, p.N2, p.He, "the profile so far, physics 1", pressure.At(finding.Above), gf.At(finding.Above), m.Bar)
}

// allowed compares a compartment's tension with what is allowed at a pressure.
func (s *steps) allowed(what string, k tissue.Compartment, n2, he float64, from string, pressure, gf finding.Figure, margin float64) {
	a, b := k.AN2, k.BN2
	fa, fb := constant("a", a).At(tableAt), constant("b", b).At(tableAt)
	held := tension("tension", n2).At(from)
	if he > 0 {
		a, b = (k.AN2*n2+k.AHe*he)/(n2+he), (k.BN2*n2+k.BHe*he)/(n2+he)
		nitrogen, helium := tension("nitrogen", n2).At(from), tension("helium", he).At(from)
		fa, fb = constant("a", a), constant("b", b)
		for _, x := range []struct {
			name      string
			ofN, ofHe float64
			result    finding.Figure
		}{{"a", k.AN2, k.AHe, fa}, {"b", k.BN2, k.BHe, fb}} {
			s.add(what+x.name+" of both gases", "(of nitrogen × nitrogen + of helium × helium) / (nitrogen + helium)", x.result,
				constant("of nitrogen", x.ofN).At(tableAt), nitrogen, constant("of helium", x.ofHe).At(tableAt), helium)
		}
		fa, fb = fa.At(finding.Above), fb.At(finding.Above)
		held = tension("tension", n2+he)
		s.add(what+"tension", "nitrogen + helium", held, nitrogen, helium)
		held = held.At(finding.Above)
	}
	p, g := *pressure.Number, *gf.Number
	limit := tension("allowed", p+g*(a+p/b-p))
	s.add(what+"allowed", "pressure + gf × (a + pressure / b - pressure)", limit, pressure, gf, fa, fb)
	s.add(what+"to spare", "allowed - tension", tension("margin", margin), limit.At(finding.Above), held)
}

// plannedStops adds up the stops of the dive as planned.
func (c *Case) plannedStops() []finding.Step {
	s := c.explaining("passage decompression, D41")
	var in []finding.Figure
	for i := range c.Dive.Schedule.Stops {
		x := &c.Dive.Schedule.Stops[i]
		in = append(in, finding.CountOf(finding.Decimal(x.DepthM, 1)+" m, "+x.Place, x.Minutes, "min").At("lines of decompression.stops"))
	}
	if len(in) > 0 {
		s.add("minutes of all stops", finding.Sum, finding.CountOf("stops", c.Dive.Schedule.StopMin, "min"), in...)
	}
	return s.lines()
}

// exposureSteps are one diver's account of oxygen: percent of a limit, or OTU.
func (c *Case) exposureSteps(i int, f *finding.Finding) []finding.Step {
	s := c.explaining("physics, 3")
	d, carried := &c.Dive.Schedule.Divers[i], c.Starts[i].Oxygen
	const decayed = "earlier dives (diver.history), halved every 90 min at the surface"
	switch f.Code {
	case "day":
		s.account(i, f.Key(), "24-hour limit used by this dive", d.DailyAll-carried.Daily, percent, func(x *route.Stretch) float64 { return s.limitUsed(x, i, true) })
		s.withEarlier("of the 24-hour limit, all dives of 24 hours", percent, d.DailyAll, carried.Daily, "earlier dives of the last 24 hours (diver.history)")
	case "lungs", "days":
		s.account(i, f.Key(), "OTU of this dive", d.OTU, doses, func(x *route.Stretch) float64 { return s.otu(x, i) })
		if f.Code == "lungs" {
			s.withEarlier("OTU in 24 hours", doses, d.OTUDay, carried.OTUDay, "earlier dives of the last 24 hours (diver.history)")
		} else {
			s.withEarlier("OTU of all dives", doses, d.OTUAll, carried.OTUAll, "earlier dives (diver.history)")
		}
	default:
		s.account(i, f.Key(), "CNS of this dive", d.CNS, percent, func(x *route.Stretch) float64 { return s.limitUsed(x, i, false) })
		s.withEarlier("CNS with what earlier dives left", percent, d.CNSAll, carried.CNS, decayed)
		if f.Code == "ok" || f.Code == "much" {
			s.account(i, f.Key(), "OTU of this dive", d.OTU, doses, func(x *route.Stretch) float64 { return s.otu(x, i) })
			s.withEarlier("OTU in 24 hours", doses, d.OTUDay, carried.OTUDay, "earlier dives of the last 24 hours (diver.history)")
		}
	}
	return s.lines()
}

// withEarlier adds what earlier dives left.
func (s *steps) withEarlier(what string, figure func(string, float64) finding.Figure, all, earlier float64, from string) {
	s.add(what, "this dive + earlier", figure("all", all), figure("this dive", all-earlier).At(finding.Above), figure("earlier", earlier).At(from))
}

// account adds up something of every stretch of the dive as planned that has any. A
// diver who breathes what another breathed throughout has that one's lines.
func (s *steps) account(i int, key, what string, sum float64, figure func(string, float64) finding.Figure, of func(*route.Stretch) float64) {
	list := s.c.Dive.Stretches
	name := s.c.nameOf(s.c.Dive.Schedule.Divers[i].Name).Label()
	for j := range i {
		if t, ok := s.c.told[toldKey{rule: what, first: j}]; ok && !slices.ContainsFunc(list, func(x route.Stretch) bool { return x.O2[i] != x.O2[j] }) {
			s.add(what+", "+name, finding.Recorded, figure("this dive", sum), figure("as "+s.c.nameOf(s.c.Dive.Schedule.Divers[j].Name).Label()+", who breathes the same", sum).At("lines of "+t.key))
			return
		}
	}
	in := make([]finding.Figure, 0, len(list))
	for i := range list {
		if v := of(&list[i]); v > 0 {
			in = append(in, figure(stretchName("", &list[i]), v).At(finding.Above))
		}
	}
	if len(in) == 0 {
		in = append(in, figure("no oxygen above 0.5 bar", 0))
	}
	s.add(what+", "+name, finding.Sum, figure("this dive", sum), in...)
	s.c.tell(toldKey{rule: what, first: i}, told{key: key})
}

// breathed is the oxygen a diver breathes at both ends of a stretch, bar.
func breathed(x *route.Stretch, i int) (from, to float64, at string) {
	return x.O2[i] * x.FromBar, x.O2[i] * x.ToBar, "oxygen " + finding.Decimal(x.O2[i], 6) + " × ambient pressure"
}

// limitUsed is the part of a limit that a stretch uses, per cent.
func (s *steps) limitUsed(x *route.Stretch, i int, perDay bool) float64 {
	from, to, at := breathed(x, i)
	sum := 0.0
	parts := oxygen.Portions(from, to, x.Minutes, perDay)
	var in []finding.Figure
	for n, p := range parts {
		sum += p.Percent
		what := stretchName("", x)
		if len(parts) > 1 {
			what += fmt.Sprint(", part ", n+1)
		}
		s.portion(what, p, at)
		in = append(in, percent(what, p.Percent).At(finding.Above))
	}
	if len(in) > 1 {
		s.add(stretchName("", x), finding.Sum, percent("used", sum), in...)
	}
	return sum
}

// portion is one line of a limit's table over a part of a stretch. Over a ramp the
// limit goes evenly from one value to another, hence the logarithm.
func (s *steps) portion(what string, p oxygen.Portion, at string) {
	result, time := percent("used", p.Percent), finding.Number("minutes", p.Minutes, 5, "min").At("the schedule")
	limit := finding.Number("constant", p.Constant, 0, "min").At(limitsAt)
	slope := finding.Number("slope", p.Slope, 0, "min/bar").At(limitsAt)
	switch {
	case p.Slope == 0:
		s.add(what, "100 × minutes / constant", result, time, limit)
	case p.High-p.Low < 1e-3:
		s.add(what, "100 × minutes / (constant - slope × oxygen)", result, time, limit, slope, partial("oxygen", (p.Low+p.High)/2).At(at))
	default:
		s.add(what, "100 × minutes / (slope × (high - low)) × the natural logarithm of ((constant - slope × low) / (constant - slope × high))", result,
			time, slope, partial("high", p.High).At(at), partial("low", p.Low).At(at), limit)
	}
}

// otu is the dose a stretch gives.
func (s *steps) otu(x *route.Stretch, i int) float64 {
	from, to, at := breathed(x, i)
	v := oxygen.OTU(from, to, x.Minutes)
	if !(v > 0) {
		return v
	}
	time := finding.Number("minutes", x.Minutes, 5, "min").At("the schedule")
	if math.Abs(to-from) < 1e-3 {
		s.add(stretchName("", x), "minutes × the power of ((oxygen - 0.5) / 0.5, 5 / 6)", doses("dose", v), time, partial("oxygen", (from+to)/2).At(at))
		return v
	}
	s.add(stretchName("", x), "3 × minutes / (11 × (high - low)) × (the power of (the greatest of (high - 0.5, 0) / 0.5, 11 / 6) - the power of (the greatest of (low - 0.5, 0) / 0.5, 11 / 6))",
		doses("dose", v), time, partial("high", max(from, to)).At(at), partial("low", min(from, to)).At(at))
	return v
}

// variantSteps are what a supply holds at the surface after the dive deeper or longer.
func (c *Case) variantSteps(v *dive.Variant, supply int, key string) []finding.Step {
	s := c.explaining("route method, 6")
	s.key = key
	p := c.Route.Parts
	short := toldKey{rule: ruleOf(key), first: -1}
	for i := range v.Ends {
		l := v.Ends[i]
		if l.Cylinder != supply {
			continue
		}
		if len(v.Stretches) > 0 && key != "" {
			short.way = &v.Stretches[0]
			if t, ok := c.told[short]; ok {
				s.add("the dive as it would be", finding.Recorded, finding.Word("", "move by move"), finding.Word("bar minutes", "every stretch").At("lines of "+t.key))
			} else {
				for i := range v.Stretches {
					s.stretch(stretchName("", &v.Stretches[i]), &v.Stretches[i])
				}
				c.tell(short, told{key: key})
			}
		}
		x := p.Cylinders[l.Cylinder]
		s.start(x)
		s.left(l, "at the surface")
		s.content("sharing reserve of "+c.cylinderName(x), x, x.SharingReserve, "policy.gas.sharing_reserve_bar")
		s.add("to spare", "left - need", litres("margin", l.LeftL-l.ReserveL), litres("left", l.LeftL).At(finding.Above), litres("need", l.ReserveL).At(finding.Above))
	}
	return s.lines()
}

// tightestEnd is the supply with least above the sharing reserve at the end of a variant; -1: none counts.
func tightestEnd(v *dive.Variant) int {
	best, least := -1, math.Inf(1)
	for i := range v.Ends {
		if spare := v.Ends[i].LeftL - v.Ends[i].ReserveL; spare < least {
			best, least = v.Ends[i].Cylinder, spare
		}
	}
	return best
}

// modelFlight are the model's own wait for a flight.
func (s *steps) modelFlight(x *dive.Diver) {
	p, k := &x.Flight, x.Flight.Compartment
	what := fmt.Sprintf("compartment %s: ", k.ID)
	wait := finding.Number("wait", x.FlightMin, 0, "min").At("the model's own wait, in steps of 5 min")
	const surfacing = "the schedule, on surfacing"
	after := func(gas string, at, inspired, half, held float64) {
		s.add(what+gas+" after the wait", "inspired + (tension - inspired) × the power of (0.5, wait / half time)", tension(gas, held),
			tension("inspired", inspired).At("air at the surface less water vapour"), tension("tension", at).At(surfacing), wait, finding.Number("half time", half, 2, "min").At(tableAt))
	}
	after("nitrogen", p.N2, p.InspiredBar, k.HalfN2, p.AfterN2)
	if p.AfterHe > 0 {
		after("helium", p.He, 0, k.HalfHe, p.AfterHe)
	}
	s.allowed(what+"cabin, ", k, p.AfterN2, p.AfterHe, finding.Above, tension("pressure", p.CabinBar).At("an airliner's cabin, 8000 ft"), ratio("gf", p.GF).At("policy.decompression.gf_high, or plan.gf_high"), p.MarginBar)
}

// wayOutOxygen is the way out that takes most oxygen: what earlier dives left, the
// dive so far and the way out, sloping pieces at their greatest pressure.
func (c *Case) wayOutOxygen(x *dive.Oxygen) []finding.Step {
	s := c.explaining("physics, 3; route method, 6")
	sum := func(what string, list []dive.Breathing, total float64) finding.Figure {
		in := make([]finding.Figure, 0, len(list))
		for n, b := range list {
			used := percent("used", b.CNS)
			name := what + ", " + strconv.Itoa(n+1) + ": " + finding.Decimal(b.Minutes, 1) + " min at " + finding.Decimal(b.OxygenBar, 2) + " bar"
			s.add(name, "100 × minutes / limit", used, finding.Number("minutes", b.Minutes, 5, "min").At("the schedule"), finding.Number("limit", oxygen.SingleLimit(b.OxygenBar), 4, "min").At(limitsAt))
			in = append(in, used.Called(name).At(finding.Above))
		}
		all := percent(what, total)
		if len(in) == 0 {
			return all
		}
		s.add(what, finding.Sum, all, in...)
		return all.At(finding.Above)
	}
	so, out := sum("dive so far", x.SoFar, x.SoFarCNS), sum("way out", x.Out, x.OutCNS)
	s.add("all of it", "earlier + dive so far + way out", percent("CNS", x.CNS), percent("earlier", x.Earlier).At("earlier dives (diver.history), halved every 90 min at the surface"), so, out)
	return s.lines()
}

// overdrawnSteps are what a supply would hold at the end of the dive as planned.
func (c *Case) overdrawnSteps(m *dive.Remark) []finding.Step {
	s := c.explaining("passage decompression, D48; route method, 4.3")
	for _, l := range c.Route.Parts.End {
		if x := c.Route.Parts.Cylinders[l.Cylinder]; x.Diver == m.Diver && x.Cylinder == m.Cylinder {
			s.start(x)
			s.left(l, "at the surface")
		}
	}
	return s.lines()
}
