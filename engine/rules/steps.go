package rules

import (
	"fmt"
	"strings"

	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// steps gathers the lines of one explanation.
type steps struct {
	c      *Case
	list   []finding.Step
	source string
}

func (c *Case) explaining(source string) *steps {
	return &steps{c: c, source: "method handbook, " + source}
}

func (s *steps) add(what, formula string, result finding.Figure, inputs ...finding.Figure) {
	s.list = append(s.list, finding.Step{What: what, Formula: formula, Inputs: inputs, Result: result, Source: s.source})
}

// Figures of the steps, with digits enough for a pocket calculator.
func litres(name string, x float64) finding.Figure { return finding.Number(name, x, 2, "L") }
func gauge(name string, x float64) finding.Figure  { return finding.Number(name, x, 3, "bar") }
func ambient(name string, x float64) finding.Figure {
	return finding.Number(name, x, 5, "bar")
}
func minutes(name string, x float64) finding.Figure { return finding.Number(name, x, 4, "min") }
func barMin(name string, x float64) finding.Figure  { return finding.Number(name, x, 3, "bar min") }
func metres(name string, x float64) finding.Figure  { return finding.Number(name, x, 3, "m") }
func rate(name string, x float64) finding.Figure    { return finding.Number(name, x, 4, "L/min") }
func ratio(name string, x float64) finding.Figure   { return finding.Number(name, x, 6, "") }

// cylinderName is a supply of the route model for a reader.
func (c *Case) cylinderName(p route.CylinderParts) string {
	s, _ := c.who(p.Cylinder)
	if p.Cylinder == "" {
		s = c.nameOf(p.Diver)
	}
	return s.Label()
}

// supplyPath is where a supply stands in the input.
func (c *Case) supplyPath(id string) string {
	for i := range c.In.Plan.Supplies {
		if c.In.Plan.Supplies[i].ID == id {
			return path("plan.supplies", i, "")
		}
	}
	return "plan.supplies"
}

// startAt is the field that startBar reads.
func (c *Case) startAt(id string) string {
	if c.In.Moment == "entry" {
		return c.supplyPath(id) + ".measured_bar"
	}
	return c.supplyPath(id) + ".planned_bar"
}

func (c *Case) surfaceAt() string {
	if c.In.Site.BarometerBar != nil {
		return "site.barometer_bar"
	}
	return "site.altitude_m, standard atmosphere"
}

// content is the litres in a cylinder at a gauge pressure.
func (s *steps) content(what string, p route.CylinderParts, f route.FilledParts, pressureAt string) {
	volume, pressure := finding.Number("volume", f.VolumeL, 3, "L").At("cylinders"), gauge("pressure", f.Bar).At(pressureAt)
	result := litres("content", f.Litres)
	switch {
	case f.Ideal:
		s.add(what, "volume × pressure", result, volume, pressure)
	case f.Bar <= 0:
		s.add(what, "volume × pressure × slope", result, volume, pressure, ratio("slope", f.Slope))
	default:
		s.add(what, "volume × 293.15 / temperature × ((pressure + surface) / Z - surface / surface Z)", result,
			volume, finding.Number("temperature", f.Kelvin, 2, "K").At(s.c.supplyPath(p.Cylinder)+".temperature_c"), pressure,
			ambient("surface", f.SurfaceBar).At(s.c.surfaceAt()), ratio("Z", f.Z).At("physics, 6"), ratio("surface Z", f.SurfaceZ).At("physics, 6"))
	}
}

// shows is the gauge pressure at which a cylinder holds so many litres.
func (s *steps) shows(what string, p route.CylinderParts, f route.FilledParts) {
	volume, held := finding.Number("volume", f.VolumeL, 3, "L").At("cylinders"), litres("litres", f.Litres).At(finding.Above)
	result := gauge("shows", f.Bar)
	switch {
	case f.Ideal:
		s.add(what, "litres / volume", result, held, volume)
	case f.Bar <= 0:
		s.add(what, "litres / (volume × slope)", result, held, volume, ratio("slope", f.Slope))
	default:
		s.add(what, "(litres / volume × temperature / 293.15 + surface / surface Z) × Z - surface", result,
			held, volume, finding.Number("temperature", f.Kelvin, 2, "K").At(s.c.supplyPath(p.Cylinder)+".temperature_c"),
			ambient("surface", f.SurfaceBar).At(s.c.surfaceAt()), ratio("surface Z", f.SurfaceZ).At("physics, 6"), ratio("Z", f.Z).At("physics, 6"))
	}
}

// start is the content of a cylinder at the start.
func (s *steps) start(p route.CylinderParts) {
	s.content(s.c.cylinderName(p)+" at the start", p, p.Start, s.c.startAt(p.Cylinder))
}

// left is what a cylinder holds at a place, after what was breathed out of it.
func (s *steps) left(l route.LeftParts, where string) {
	p := s.c.Route.Parts.Cylinders[l.Cylinder]
	formula := "start"
	in := []finding.Figure{litres("start", p.Start.Litres).At(finding.Above)}
	for i, b := range l.Breathed {
		r, m := "rate", "bar minutes"
		if len(l.Breathed) > 1 {
			r, m = fmt.Sprint("rate ", i+1), fmt.Sprint("bar minutes ", i+1)
		}
		formula += " - " + r + " × " + m
		in = append(in, s.c.ownRate(rate(r, b.RateLMin), p.Diver), barMin(m, b.BarMin).At("lines of route.planned_exit"))
	}
	s.add(s.c.cylinderName(p)+" "+where, formula, litres("left", l.LeftL), in...)
}

// ownRate marks a consumption: where it is recorded, and whose it is.
func (c *Case) ownRate(f finding.Figure, diver string) finding.Figure {
	return f.At(c.rateAt(diver)).Own(diver)
}

func (c *Case) rateAt(diver string) string {
	if d := c.In.Diver(diver); d != nil && d.Consumption != nil && d.Consumption.RMVLMin > 0 {
		return path("divers", c.indexOf(diver), "consumption.rmv_l_min")
	}
	return "policy.gas.default_rmv_l_min"
}

// afterFailure is the consumption of some divers after a failure, and its sum.
func (s *steps) afterFailure(which []int, sum float64) {
	var in []finding.Figure
	var all []string
	for _, d := range which {
		r := s.c.Route.Parts.Rates[d]
		name := s.c.nameOf(r.Diver).Label()
		s.add("consumption of "+name+" after a failure (D36)", "the greatest of (stress × own rate, floor)", rate("after", r.AfterL).Own(r.Diver),
			finding.Number("stress", r.Stress, 3, "").At("policy.gas.stress_factor"), s.c.ownRate(rate("own rate", r.OwnLMin), r.Diver),
			rate("floor", r.FloorLMin).At("policy.gas.consumption_floor_l_min"))
		in = append(in, rate(name, r.AfterL).At(finding.Above).Own(r.Diver))
		all = append(all, r.Diver)
	}
	s.add("consumption of all who breathe it", finding.Sum, rate("all rates", sum).Own(strings.Join(all, "+")), in...)
}

// stretch is the bar minutes of one straight piece, or of a time at a station.
func (s *steps) stretch(what string, x route.Stretch) {
	result := barMin("bar minutes", x.BarMin)
	if x.Hold {
		s.add(what, "minutes × pressure", result, minutes("minutes", x.Minutes), ambient("pressure", x.FromBar))
		return
	}
	formula := "metres / speed × (pressure from + pressure to) / 2"
	in := []finding.Figure{
		metres("metres", x.Metres), finding.Number("speed", x.Metres/x.Minutes, 6, "m/min"),
		ambient("pressure from", x.FromBar), ambient("pressure to", x.ToBar),
	}
	if x.Factor != 1 {
		formula += " × gas factor"
		in = append(in, finding.Number("gas factor", x.Factor, 3, "").At("policy.speeds.pull_and_glide_rmv"))
	}
	s.add(what, formula, result, in...)
}

// atPlace says "at" unless the place does.
func atPlace(p *route.Place) string {
	text := placeText(p)
	if strings.HasPrefix(text, "arriving at ") {
		return text
	}
	return "at " + text
}

func stretchName(x route.Stretch) string {
	switch {
	case x.Hold:
		return "at " + x.From
	case x.From == "":
		return "descent to " + x.To
	case x.To == "":
		return "ascent from " + x.From
	}
	return x.From + " to " + x.To + ", leg " + x.Leg
}

// wayOut is the way out from a place, piece by piece, and its sum.
func (s *steps) wayOut(way []route.Stretch, sum float64) {
	var in []finding.Figure
	for _, x := range way {
		s.stretch("way out: "+stretchName(x), x)
		in = append(in, barMin(stretchName(x), x.BarMin).At(finding.Above))
	}
	if len(in) > 0 {
		s.add("the whole way out", finding.Sum, barMin("way out", sum), in...)
	}
}

// place is the check of a failure at one place: what is left against what is needed.
func (s *steps) place(p *route.PlaceParts) {
	parts := s.c.Route.Parts
	where := atPlace(&p.Place)
	var left, kept []finding.Figure
	for _, l := range p.Left {
		x := parts.Cylinders[l.Cylinder]
		s.start(x)
		s.left(l, where)
		left = append(left, litres(s.c.cylinderName(x), l.LeftL).At(finding.Above))
	}
	if len(left) != 1 {
		if len(left) == 0 {
			left = append(left, litres("nothing counts", 0))
		}
		s.add("left "+where, finding.Sum, litres("left", p.LeftL), left...)
	}
	s.afterFailure(p.Consumers, p.RateLMin)
	s.wayOut(p.Way, p.WayBarMin)
	for _, l := range p.Left {
		x := parts.Cylinders[l.Cylinder]
		s.content("sharing reserve of "+s.c.cylinderName(x), x, x.SharingReserve, "policy.gas.sharing_reserve_bar")
		kept = append(kept, litres(s.c.cylinderName(x), l.ReserveL).At(finding.Above))
	}
	if len(kept) > 1 {
		s.add("sharing reserve", finding.Sum, litres("reserve", p.ReserveL), kept...)
	}
	formula := "all rates × (way out + delay × pressure here) + reserve"
	in := []finding.Figure{
		rate("all rates", p.RateLMin).At(finding.Above).Own(s.people(p.Consumers)), barMin("way out", p.WayBarMin).At(finding.Above),
		minutes("delay", p.DelayMin).At("policy.gas.delay_min"), ambient("pressure here", p.AtBar), litres("reserve", p.ReserveL).At(finding.Above),
	}
	if len(p.Waiting) > 0 {
		s.waiting(p)
		formula += " - waiting gas"
		in = append(in, litres("waiting gas", p.WaitingL).At(finding.Above))
	}
	s.add("needed "+where, formula, litres("need", p.NeedL), in...)
	s.add("to spare "+where, "left - need", litres("margin", p.MarginL), litres("left", p.LeftL).At(finding.Above), litres("need", p.NeedL).At(finding.Above))
}

// waiting is what the consumers' own cylinders on the way out lend (D19): what
// is above the planned reserve, and of each no more than is needed from there on.
func (s *steps) waiting(p *route.PlaceParts) {
	var in []finding.Figure
	sum := 0.0
	for _, w := range p.Waiting {
		in = append(in, litres(s.c.cylinderName(s.c.Route.Parts.Cylinders[w.Cylinder]), w.LeftL))
		sum += w.LeftL
	}
	formula := finding.Sum
	if sum > p.WaitingL+1e-6 {
		formula = finding.Needed
	}
	s.add("waiting gas above its reserve on the way out (D19)", formula, litres("waiting gas", p.WaitingL), in...)
}

func (s *steps) people(which []int) string {
	var all []string
	for _, d := range which {
		all = append(all, s.c.Route.Parts.Rates[d].Diver)
	}
	return strings.Join(all, "+")
}

// swum lists the dive move by move: bar minutes of every stretch, and their sum.
func (s *steps) swum() {
	p := s.c.Route.Parts
	var in []finding.Figure
	for _, x := range p.Stretches {
		name := stretchName(x)
		if x.Move > 0 && x.Move <= len(s.c.Route.Moves) {
			name = fmt.Sprint("move ", x.Move, ": ", name)
		}
		s.stretch(name, x)
		in = append(in, barMin(name, x.BarMin).At(finding.Above))
	}
	s.add("bar minutes of the whole dive", finding.Sum, barMin("whole dive", p.Swum), in...)
}
