package rules

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/dive"
	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// steps gathers the lines of one explanation.
type steps struct {
	c      *Case
	list   []finding.Step
	source string
	key    string // of the finding explained; empty: its lines are told to no other
}

func (c *Case) explaining(source string) *steps {
	s := &steps{c: c, list: c.lines[:0], source: "method handbook, " + source}
	c.lines = nil // lent
	return s
}

// lines are the lines gathered, with some more.
func (s *steps) lines(more ...finding.Step) []finding.Step {
	s.list = append(s.list, more...)
	s.c.lines = s.list
	return slices.Clip(append([]finding.Step(nil), s.list...))
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

// contentKey is all that a line of content shows.
type contentKey struct {
	what, cylinder, pressureAt string
	filled                     route.FilledParts
}

// content is the litres in a cylinder at a gauge pressure; many findings tell the same.
func (s *steps) content(what string, p route.CylinderParts, f route.FilledParts, pressureAt string) {
	k := contentKey{what, p.Cylinder, pressureAt, f}
	line := s.c.contentLines[k]
	if line == nil {
		line = s.c.contentLine(what, p, f, pressureAt)
		if s.c.contentLines == nil {
			s.c.contentLines = map[contentKey]*finding.Step{}
		}
		s.c.contentLines[k] = line
	}
	s.again(line, what)
}

// again adds a line that was made before, under a name.
func (s *steps) again(line *finding.Step, what string) {
	s.list = append(s.list, *line)
	last := &s.list[len(s.list)-1]
	last.What, last.Source = what, s.source
}

func (c *Case) contentLine(what string, p route.CylinderParts, f route.FilledParts, pressureAt string) *finding.Step {
	volume, pressure := finding.Number("volume", f.VolumeL, 3, "L").At("cylinders"), gauge("pressure", f.Bar).At(pressureAt)
	line := &finding.Step{What: what, Result: litres("content", f.Litres)}
	switch {
	case f.Ideal:
		line.Formula, line.Inputs = "volume × pressure", []finding.Figure{volume, pressure}
	case f.Bar <= 0:
		line.Formula, line.Inputs = "volume × pressure × slope", []finding.Figure{volume, pressure, ratio("slope", f.Slope)}
	default:
		line.Formula = "volume × 293.15 / temperature × ((pressure + surface) / Z - surface / surface Z)"
		line.Inputs = []finding.Figure{
			volume, finding.Number("temperature", f.Kelvin, 2, "K").At(c.supplyPath(p.Cylinder) + ".temperature_c"), pressure,
			ambient("surface", f.SurfaceBar).At(c.surfaceAt()), ratio("Z", f.Z).At("physics, 6"), ratio("surface Z", f.SurfaceZ).At("physics, 6"),
		}
	}
	return line
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
	if l.Uncounted {
		s.add(s.c.cylinderName(p)+" "+where, finding.Recorded, litres("left", 0), finding.Word("", "what waits counts for nobody").At("policy.gas.waiting_gas"))
		return
	}
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

// afterFailure is the consumption of some divers after a failure, and its sum.
func (s *steps) afterFailure(which []int, sum float64) {
	var in []finding.Figure
	var all []string
	for _, d := range which {
		s.after(d)
		r := s.c.Route.Parts.Rates[d]
		in = append(in, rate(s.c.nameOf(r.Diver).Label(), r.AfterL).At(finding.Above).Own(r.Diver))
		all = append(all, r.Diver)
	}
	s.add("consumption of all who breathe it", finding.Sum, rate("all rates", sum).Own(strings.Join(all, "+")), in...)
}

// after is what one diver breathes after a failure.
func (s *steps) after(d int) {
	r := s.c.Route.Parts.Rates[d]
	s.add("consumption of "+s.c.nameOf(r.Diver).Label()+" after a failure (D36)", "the greatest of (stress × own rate, floor)", rate("after", r.AfterL).Own(r.Diver),
		finding.Number("stress", r.Stress, 3, "").At("policy.gas.stress_factor"), s.c.ownRate(rate("own rate", r.OwnLMin), r.Diver),
		rate("floor", r.FloorLMin).At("policy.gas.consumption_floor_l_min"))
}

// stretchKey is all that the arithmetic of a stretch shows.
type stretchKey struct {
	hold                                             bool
	metres, minutes, fromBar, toBar, factor, barMins float64
}

// toldStretch is the arithmetic of stretches that have it in common. The dive as
// planned, its variants and the ways out share most of theirs.
type toldStretch struct {
	of      stretchKey
	line    *finding.Step
	outward []*outwardLine // those of ways out
}

// toldStretch makes it once.
func (c *Case) toldStretch(x *route.Stretch) *toldStretch {
	k := stretchKey{x.Hold, x.Metres, x.Minutes, x.FromBar, x.ToBar, x.Factor, x.BarMin}
	for _, t := range c.stretches[x.BarMin] {
		if t.of == k {
			return t
		}
	}
	t := &toldStretch{of: k, line: stretchLine(x)}
	if c.stretches == nil {
		c.stretches = map[float64][]*toldStretch{}
	}
	c.stretches[x.BarMin] = append(c.stretches[x.BarMin], t)
	return t
}

// stretch is the bar minutes of one straight piece, or of a time at a station.
func (s *steps) stretch(what string, x *route.Stretch) { s.again(s.c.toldStretch(x).line, what) }

func stretchLine(x *route.Stretch) *finding.Step {
	line := &finding.Step{Formula: "minutes × pressure", Result: barMin("bar minutes", x.BarMin)}
	if x.Hold {
		line.Inputs = []finding.Figure{minutes("minutes", x.Minutes), ambient("pressure", x.FromBar)}
		return line
	}
	line.Formula = "metres / speed × (pressure from + pressure to) / 2"
	line.Inputs = append(make([]finding.Figure, 0, 4), metres("metres", x.Metres), finding.Number("speed", x.Metres/x.Minutes, 6, "m/min"),
		ambient("pressure from", x.FromBar), ambient("pressure to", x.ToBar))
	if x.Factor != 1 {
		from := "policy.speeds.pull_and_glide_rmv_factor"
		if x.Factor == 0 {
			from = "policy.gas.count_open_water_ascent"
		}
		line.Formula += " × gas factor"
		line.Inputs = append(line.Inputs, finding.Number("gas factor", x.Factor, 3, "").At(from))
	}
	return line
}

// atPlace says "at" unless the place does.
func atPlace(p *route.Place) string {
	text := placeText(p)
	if strings.HasPrefix(text, "arriving at ") {
		return text
	}
	return "at " + text
}

// stretchName is a stretch in words, with something before it.
func stretchName(before string, x *route.Stretch) string {
	switch {
	case x.What != "":
		return before + x.What
	case x.Hold:
		return before + "at " + x.From
	case x.From == "":
		return before + "descent to " + x.To
	case x.To == "":
		return before + "ascent from " + x.From
	}
	return before + x.From + " to " + x.To + ", leg " + x.Leg
}

// outwardLine is the line of one stretch of a way out, and its figure in a sum.
type outwardLine struct {
	leg, from, to, what string
	step                finding.Step
	figure              finding.Figure
}

// outwardLine makes the line of a stretch once: many findings tell the same way out.
func (c *Case) outwardLine(x *route.Stretch) *outwardLine {
	t := c.toldStretch(x)
	for _, o := range t.outward {
		if o.leg == x.Leg && o.from == x.From && o.to == x.To && o.what == x.What {
			return o
		}
	}
	const before = "way out: "
	o := &outwardLine{leg: x.Leg, from: x.From, to: x.To, what: x.What, step: *t.line}
	o.step.What = stretchName(before, x)
	o.figure = o.step.Result.Called(o.step.What[len(before):])
	t.outward = append(t.outward, o)
	return o
}

// outward adds the line of one stretch of a way out.
func (s *steps) outward(x *route.Stretch) *outwardLine {
	line := s.c.outwardLine(x)
	s.list = append(s.list, line.step)
	s.list[len(s.list)-1].Source = s.source
	return line
}

// wayOut is the way out from a place, piece by piece, and its sum.
func (s *steps) wayOut(way []route.Stretch, sum float64) {
	in := make([]finding.Figure, 0, len(way))
	s.list = slices.Grow(s.list, len(way)+1)
	for i := range way {
		in = append(in, s.outward(&way[i]).figure.At(finding.Above))
	}
	if len(in) > 0 {
		s.add("the whole way out", finding.Sum, barMin("way out", sum), in...)
	}
}

// place is the check of a failure at one place: what is left against what is needed.
func (s *steps) place(p *route.PlaceParts) {
	if p.Check == dive.CaseWorstConsumption {
		s.atWorst(p)
		return
	}
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
	formula, in := "", []finding.Figure{}
	if len(p.Consumers) == 0 {
		formula, in = s.drawn(p)
	} else {
		s.afterFailure(p.Consumers, p.RateLMin)
		s.wayOut(p.Way, p.WayBarMin)
	}
	for _, l := range p.Left {
		x := parts.Cylinders[l.Cylinder]
		if l.ReserveL == 0 && x.SharingReserve.Litres != 0 {
			kept = append(kept, litres("nothing is kept in "+s.c.cylinderName(x), 0))
			continue
		}
		if l.ReserveL == x.PlannedReserve.Litres && l.ReserveL != x.SharingReserve.Litres {
			s.content("planned reserve of "+s.c.cylinderName(x), x, x.PlannedReserve, "policy.gas.planned_reserve_bar")
		} else {
			s.content("sharing reserve of "+s.c.cylinderName(x), x, x.SharingReserve, "policy.gas.sharing_reserve_bar")
		}
		kept = append(kept, litres(s.c.cylinderName(x), l.ReserveL).At(finding.Above))
	}
	if len(kept) > 1 {
		s.add("reserve kept", finding.Sum, litres("reserve", p.ReserveL), kept...)
	}
	if len(p.Consumers) == 0 {
		s.add("needed "+where, formula, litres("need", p.NeedL), append(in, litres("reserve", p.ReserveL).At(finding.Above))...)
		s.add("to spare "+where, "left - need", litres("margin", p.MarginL), litres("left", p.LeftL).At(finding.Above), litres("need", p.NeedL).At(finding.Above))
		return
	}
	formula = "all rates × (way out + delay × pressure here) + reserve"
	in = []finding.Figure{
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

// drawn are the lines of a way out with its stops: the stretches on which this gas
// is breathed, by whom, and the formula of what they take.
func (s *steps) drawn(p *route.PlaceParts) (formula string, in []finding.Figure) {
	parts := s.c.Route.Parts
	said := map[int]bool{}
	for _, d := range p.Drawn {
		if r := parts.Rates[d.Rate]; d.RateLMin == r.AfterL && !said[d.Rate] {
			said[d.Rate] = true
			s.after(d.Rate)
		}
	}
	shown := make([]bool, len(p.Way))
	for _, d := range p.Drawn {
		for _, i := range d.On {
			shown[i] = true
		}
	}
	at := finding.Above
	way, ok := s.c.told[s.wayOf(p)]
	if ok {
		at = "lines of " + way.key
	} else {
		way.lines = make([]*outwardLine, len(p.Way))
		for i := range p.Way {
			if shown[i] {
				way.lines[i] = s.outward(&p.Way[i])
			}
		}
	}
	for i, d := range p.Drawn {
		r := parts.Rates[d.Rate]
		n, m, share := "rate", "bar minutes", "part"
		if len(p.Drawn) > 1 {
			n, m, share = fmt.Sprint("rate ", i+1), fmt.Sprint("bar minutes ", i+1), fmt.Sprint("part ", i+1)
		}
		sumAt := finding.Above
		if t, ok := s.c.told[s.sumOf(p, d)]; ok {
			sumAt = "lines of " + t.key
		} else {
			sum := make([]finding.Figure, 0, len(d.On))
			for _, k := range d.On {
				if way.lines[k] == nil { // whoever told the way did not breathe there
					way.lines[k] = s.c.outwardLine(&p.Way[k])
				}
				sum = append(sum, way.lines[k].figure.At(at))
			}
			name := s.c.nameOf(r.Diver).Label()
			s.add(name+" breathes "+s.c.cylinderName(route.CylinderParts{Diver: parts.Rates[d.Owner].Diver, Cylinder: d.Cylinder}), finding.Sum, barMin(m, d.BarMin), sum...)
		}
		if formula != "" {
			formula += " + "
		}
		formula += n + " × " + m
		from := rate(n, d.RateLMin).At(finding.Above).Own(r.Diver)
		if d.RateLMin != r.AfterL {
			from = s.c.ownRate(rate(n, d.RateLMin), r.Diver)
		}
		in = append(in, from, barMin(m, d.BarMin).At(sumAt))
		if d.Share != 1 {
			formula += " × " + share
			in = append(in, ratio(share, d.Share).At("this cylinder's volume in all mains"))
		}
	}
	if s.key != "" && len(p.Way) > 0 {
		s.c.tell(s.wayOf(p), told{s.key, way.lines})
		for _, d := range p.Drawn {
			s.c.tell(s.sumOf(p, d), told{key: s.key})
		}
	}
	if formula != "" {
		formula += " + "
	}
	formula += "reserve"
	if p.BesidesL != 0 {
		formula += " + besides"
		in = append(in, litres("besides", p.BesidesL).At("the reserve factor of gas for decompression, or what a stage cannot give"))
	}
	return formula, in
}

// toldKey is a way out, or what is breathed on it from one gas, that a finding of a
// rule has told: the rule's other findings name that one.
type toldKey struct {
	rule   string
	way    *route.Stretch
	first  int // of the stretches summed; -1: the way itself
	barMin float64
}

// told is where it was told, by the finding's key, and the lines of every stretch.
type told struct {
	key   string
	lines []*outwardLine
}

func (s *steps) wayOf(p *route.PlaceParts) toldKey {
	k := toldKey{rule: ruleOf(s.key), first: -1}
	if len(p.Way) > 0 {
		k.way = &p.Way[0]
	}
	return k
}

func (s *steps) sumOf(p *route.PlaceParts, d route.DrawnParts) toldKey {
	k := s.wayOf(p)
	k.first, k.barMin = d.On[0], d.BarMin
	return k
}

func ruleOf(key string) string {
	rule, _, _ := strings.Cut(key, "/")
	return rule
}

func (c *Case) tell(k toldKey, by told) {
	if c.told == nil {
		c.told = map[toldKey]told{}
	}
	if _, ok := c.told[k]; !ok {
		c.told[k] = by
	}
}

// caseSteps are the lines behind one row of the table of failures.
func (c *Case) caseSteps(x *dive.Case, key string) []finding.Step {
	s := c.explaining("route method, 6")
	s.key = key
	if x.Parts == nil {
		s.add("to spare", "left - need", litres("margin", x.LeftL-x.NeedL), litres("left", x.LeftL), litres("need", x.NeedL))
	} else {
		s.place(x.Parts)
	}
	return s.lines()
}

// atWorst is what a supply holds at the surface after the whole dive at a diver's
// recorded worst consumption.
func (s *steps) atWorst(p *route.PlaceParts) {
	l := p.Left[0]
	x := s.c.Route.Parts.Cylinders[l.Cylinder]
	s.start(x)
	formula, in := "start", []finding.Figure{litres("start", x.Start.Litres).At(finding.Above)}
	for i, b := range l.Breathed {
		r, m := fmt.Sprint("rate ", i+1), fmt.Sprint("bar minutes ", i+1)
		formula += " - " + r + " × " + m
		in = append(in, rate(r, b.RateLMin).At(s.c.worstAt(x.Diver)).Own(x.Diver), barMin(m, b.BarMin).At("lines of route.planned_exit"))
	}
	s.add(s.c.cylinderName(x)+" at the surface", formula, litres("left", l.LeftL), in...)
	s.content("planned reserve of "+s.c.cylinderName(x), x, x.PlannedReserve, "policy.gas.planned_reserve_bar")
	s.add("to spare", "left - need", litres("margin", p.MarginL), litres("left", l.LeftL).At(finding.Above), litres("need", l.ReserveL).At(finding.Above))
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
	in := make([]finding.Figure, 0, len(p.Stretches))
	for i := range p.Stretches {
		x, move := &p.Stretches[i], ""
		if x.Move > 0 && x.Move <= len(s.c.Route.Moves) {
			move = "move " + strconv.Itoa(x.Move) + ": "
		}
		name := stretchName(move, x)
		s.stretch(name, x)
		in = append(in, s.list[len(s.list)-1].Result.Called(name).At(finding.Above))
	}
	s.add("bar minutes of the whole dive", finding.Sum, barMin("whole dive", p.Swum), in...)
}
