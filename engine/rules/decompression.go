package rules

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"lastlight/engine/deco"
	"lastlight/engine/dive"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/oxygen"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	"lastlight/engine/tissue"
)

// decompressionRules are about the schedule: whether there is one, where its
// stops are made, and what the oxygen comes to.
func decompressionRules() []Rule {
	remarks := map[string]Words{
		"ok":                 {Says: "{subject}: nothing to say about the stops"},
		"no_stops":           {Says: "{subject}: no stop"},
		deco.FlagRestriction: {Says: "{subject}: stop of {observed} at {depth} in a restriction{at}", Remedy: "plan so that no stop is needed there: shorter, shallower, or another gas"},
		deco.FlagStrongFlow:  {Says: "{subject}: stop at {depth} in a flow of {observed}, at most {limit}{at}", Remedy: "plan so that no stop is needed there: shorter, shallower, or another gas"},
		deco.FlagWayIn:       {Says: "{subject}: stop of {observed} at {depth} on the way in{at}", Remedy: "go no deeper before that rise, or another route"},
		deco.FlagAboveLast:   {Says: "{subject}: stop of {observed} at {depth}, above the last stop{at}", Remedy: "make the stops at the last stop, or let no cylinder wait up there"},
		deco.FlagSaddle:      {Says: "{subject}: a saddle: after the first stop the way falls {observed} again{at}", Remedy: "plan so that no stop is needed before the saddle: shorter, shallower, or another gas"},
		deco.FlagOxygenHigh:  {Says: "{subject}: {cylinder} breathed at {observed} of oxygen, at most {limit}, at {depth}{at}", Remedy: "a leaner gas, or stay shallower on it"},
		deco.FlagOxygenLow:   {Says: "{subject}: {cylinder} breathed at {observed} of oxygen, at least {limit}, at {depth}{at}", Remedy: "another gas for the shallow part"},
		deco.FlagNoGas:       {Says: "{subject}: before a fall of the way nobody's gas at hand may be breathed at its bottom{at}", Remedy: "keep a gas for the depth, or another route"},
		deco.FlagNoBreak:     {Says: "{subject}: an air break is due and no gas below 80 % oxygen at hand may be breathed there{at}", Remedy: "keep a gas at hand for the breaks"},
		deco.FlagOverdrawn:   {Says: "{subject}: {cylinder} would need {observed} more than it holds", Remedy: "more gas, or a shorter dive"},
		deco.FlagNoSchedule:  {Says: "{subject}: no schedule: more than {observed} at {depth}{at}", Remedy: "shorter, shallower, or a gas with less inert gas for the stops"},
		dive.RemarkDrift:     {Says: "{subject}: while the team waits at {depth}, {cylinder} loads a compartment {observed} above the limit of that place{at}", Remedy: "another gas for that stop"},
	}
	const earlier = "plan so that no stop is needed there: turn earlier, shorter, shallower, or another gas"
	waysOut := map[string]Words{
		"ok":                 {Says: "{subject}: nothing to say about the stops of any way out"},
		"no_stops":           {Says: "{subject}: no stop on any way out"},
		deco.FlagRestriction: {Says: "{subject}: the way out from {place} has a stop in a restriction", Remedy: earlier},
		deco.FlagStrongFlow:  {Says: "{subject}: the way out from {place} has a stop in more flow than the policy allows", Remedy: earlier},
		deco.FlagWayIn:       {Says: "{subject}: the way out from {place} has a stop on the way in", Remedy: earlier},
		deco.FlagAboveLast:   {Says: "{subject}: the way out from {place} has a stop above the last stop", Remedy: earlier},
		deco.FlagSaddle:      {Says: "{subject}: a saddle: the way out from {place} falls {observed} again after its first stop", Remedy: earlier},
		deco.FlagOxygenHigh:  {Says: "{subject}: on the way out from {place} a gas is breathed with too much oxygen", Remedy: "a leaner gas, or stay shallower on it"},
		deco.FlagOxygenLow:   {Says: "{subject}: on the way out from {place} a gas is breathed with too little oxygen", Remedy: "another gas for the shallow part"},
		deco.FlagNoGas:       {Says: "{subject}: on the way out from {place} no gas at hand may be breathed at the bottom of a fall", Remedy: "keep a gas for the depth, or another route"},
		deco.FlagOverdrawn:   {Says: "{subject}: on the way out from {place} a cylinder would need more than it holds", Remedy: "more gas, or a shorter dive"},
		deco.FlagNoSchedule:  {Says: "{subject}: the way out from {place} has no schedule", Remedy: "shorter, shallower, or a gas with less inert gas for the stops"},
		dive.RemarkDrift:     {Says: "{subject}: on the way out from {place} a gas loads a compartment above the limit of the place while the team waits", Remedy: "another gas for that stop"},
	}
	return []Rule{
		{
			ID: "decompression.computed", Version: 2, Title: "Decompression is computed", Citation: handbook("passage decompression", "D40 to D55"), Cell: "decompression",
			Words: map[string]Words{
				"ok":     {Says: "{subject}: no stop on the route, nor on any known way out"},
				"start":  {Says: "{subject}: cannot tell, what earlier dives or the arrival at altitude left is not known", Remedy: "complete the earlier dives and the arrival"},
				"stops":  {Says: "{subject}: stops computed from what earlier dives left: {observed} as planned, {longest} on the way out with the most{at}"},
				"failed": {Says: "{subject}: decompression cannot be computed: {observed}", Remedy: "{remedy}"},
			},
			Check: computed,
		},
		{
			ID: "decompression.gradient", Version: 1, Title: "Gradient factors no looser than the policy", Citation: handbook("physics", "1"), Cell: "decompression.gf_high",
			Words: map[string]Words{
				"ok":     {Says: "{subject}: gradient factors {observed}, the policy's {limit}"},
				"looser": {Says: "{subject}: gradient factors {observed} are looser than the policy's {limit}", Remedy: "plan at most {limit}"},
			},
			Check: gradient,
		},
		{
			ID: "decompression.schedule", Version: 1, Title: "The stops as planned", Citation: handbook("passage decompression", "D47, D48"), Words: remarks,
			Check: func(c *Case) []finding.Finding {
				if c.Dive == nil {
					return one(c.diveUnknown(c.plan()))
				}
				return c.remarks(c.Dive.Schedule.Remarks, c.Dive.Schedule.StopMin)
			},
		},
		{
			ID: "decompression.stops", Version: 1, Title: "Why each stop is made, and for so long", Citation: handbook("passage decompression", "D41, D42, D47"),
			Words: map[string]Words{
				"ok":       {Says: "{subject}: {observed} at {depth}{at}, from {arrival} on"},
				"no_stops": {Says: "{subject}: no stop"},
			},
			Check: plannedStops,
		},
		{
			ID: "decompression.ways_out", Version: 1, Title: "The stops of every way out", Citation: handbook("passage decompression", "D44, D48, D55"), Words: waysOut,
			Check: func(c *Case) []finding.Finding {
				if c.Dive == nil {
					return one(c.diveUnknown(c.plan()))
				}
				stops := 0
				if c.Dive.Longest != nil {
					stops = c.Dive.Longest.StopMin
				}
				return c.remarksOut(c.Dive.WaysOut, stops)
			},
		},
		{
			ID: "failure.deeper_longer", Version: 1, Title: "Deeper, longer, both", Citation: handbook("route method", "6"), Cell: "failures.deeper_longer",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: {deeper} deeper and {longer} longer the gas holds"},
				"short": {Says: "{subject}: {deeper} deeper and {longer} longer {cylinder} ends with {observed}, the reserve is {limit}: {shortfall} short", Remedy: "more gas, or a shorter dive"},
				"none":  {Says: "{subject}: no schedule {deeper} deeper and {longer} longer", Remedy: "shorter, shallower, or a gas with less inert gas for the stops"},
			},
			Check: deeperLonger,
		},
		{
			ID: "oxygen.exposure", Version: 1, Title: "Oxygen exposure", Citation: handbook("physics", "3"), Cell: "oxygen.cns_refuse_percent",
			Words: map[string]Words{
				"ok":    {Says: "{subject}: CNS {observed} of {limit}, {otu} OTU in 24 h"},
				"much":  {Says: "{subject}: CNS {observed}, advised at most {limit}; {otu} OTU in 24 h", Remedy: "less oxygen, or a longer interval"},
				"over":  {Says: "{subject}: CNS {observed}, at most {limit}", Remedy: "less oxygen, or a longer interval"},
				"day":   {Says: "{subject}: {observed} of the 24-hour limit of oxygen, at most {limit}", Remedy: "less oxygen, or dive tomorrow"},
				"lungs": {Says: "{subject}: {observed} in 24 h, at most {limit}", Remedy: "less oxygen, or dive tomorrow"},
				"days":  {Says: "{subject}: {observed} in {days}, at most {limit}", Remedy: "less oxygen, or a day without diving"},
			},
			Check: exposure,
		},
		{
			ID: "oxygen.ways_out", Version: 1, Title: "Oxygen exposure of every way out", Citation: handbook("route method", "6"), Cell: "oxygen.cns_refuse_percent",
			Words: map[string]Words{
				"ok":   {Says: "{subject}: CNS at most {observed} of {limit} on any way out after a loss or delay, or by touch{at}"},
				"none": {Says: "{subject}: no way out was scheduled"},
				"over": {Says: "{subject}: CNS up to {observed}, at most {limit}, on a way out after a loss or delay, or by touch{at}", Remedy: "less oxygen on the dive, or a shorter one: then an emergency has some left"},
			},
			Check: exposureOut,
		},
	}
}

// diveUnknown is what every rule about the schedule says where there is none.
func (c *Case) diveUnknown(s finding.Subject) finding.Finding {
	f := c.routeUnknown(s)
	if c.computed() {
		f.Code = "not_computed"
	}
	return f
}

func computed(c *Case) []finding.Finding {
	var out []finding.Finding
	for i, m := range c.Team {
		s := m.subject()
		switch {
		case m.Record == nil:
			out = append(out, unknown(s, "earlier dives", m.Path))
		case i >= len(c.Starts) || len(c.Starts[i].Problems) > 0:
			f := answer(finding.Indeterminate, "start", s)
			f.Path = m.Path
			out = append(out, f)
		case c.DiveFault != "":
			f := answer(finding.Indeterminate, "failed", s)
			w := finding.Word("", c.DiveFault)
			f.Observed, f.Path = &w, "plan.supplies"
			remedy := "mend what is named; if nothing of the plan is, report it"
			switch {
			case strings.HasPrefix(c.DiveFault, tooMuch):
				f.Path = "route.route.moves"
			case strings.HasPrefix(c.DiveFault, stillLoaded):
				f.Path, remedy = "plan.entry", "enter later, or record those dives as they were, with their profiles"
			}
			f.Figures = []finding.Figure{finding.Word("remedy", remedy)}
			out = append(out, f)
		case c.Dive == nil:
			out = append(out, c.diveUnknown(s))
		case c.Dive.Stops:
			f := answer(finding.Pass, "stops", s)
			n := finding.CountOf("", c.Dive.Schedule.StopMin, "min")
			longest := finding.CountOf("longest", c.Dive.Schedule.StopMin, "min")
			if l := c.Dive.Longest; l != nil {
				longest = finding.CountOf("longest", l.StopMin, "min")
				f.Place = l.Place
			}
			f.Observed, f.Figures, f.Steps = &n, []finding.Figure{longest}, c.plannedStops()
			out = append(out, at(f))
		default:
			out = append(out, pass(s))
		}
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

// factors are the gradient factors of the plan in per cent: the policy's, or
// lower ones that the plan asks for.
func (c *Case) factors() (low, high float64) {
	d := c.Policy.Decompression
	low, high = d.GFLow, d.GFHigh
	if x := c.In.Plan.GFHigh; x != nil {
		high = math.Min(high, *x)
	}
	if x := c.In.Plan.GFLow; x != nil {
		low = math.Min(low, *x)
	}
	return math.Min(low, high), high
}

func gradient(c *Case) []finding.Finding {
	if c.In.Plan.GFLow == nil && c.In.Plan.GFHigh == nil {
		return one(notAsked(c.plan()))
	}
	d := c.Policy.Decompression
	text := func(low, high float64) finding.Figure {
		return finding.Word("", finding.Decimal(low, 1)+"/"+finding.Decimal(high, 1))
	}
	low, high := d.GFLow, d.GFHigh
	if x := c.In.Plan.GFLow; x != nil {
		low = *x
	}
	if x := c.In.Plan.GFHigh; x != nil {
		high = *x
	}
	f := measured(pass(c.plan()), text(low, high), text(d.GFLow, d.GFHigh))
	if low > d.GFLow+1e-9 || high > d.GFHigh+1e-9 {
		f.Status, f.Code, f.Path = finding.Refuse, "looser", "plan.gf_high"
	}
	return one(f)
}

// decoSettings are those of the schedule: the policy's, with the plan's gradient factors.
func (c *Case) decoSettings(model *tissue.Model) deco.Settings {
	d, mix := c.Policy.Decompression, c.Policy.Mix
	low, high := c.factors()
	return deco.Settings{
		Model: model, Water: *c.Water, GFLow: low / 100, GFHigh: high / 100, Grid: d.StopStepM, LastStop: d.LastStopM,
		Ascent: c.Policy.Speeds.Ascent, SwitchMinutes: d.SwitchMin, LimitDeco: mix.PO2RestingBar, LimitBottom: mix.PO2WorkingBar,
		Tolerance: gas.OxygenSlack, Least: mix.PO2FloorBar, FlowLimit: c.Policy.Flow.HoldStopMMin,
		BreakEvery: c.Policy.Oxygen.AirBreakEveryMin, BreakMinutes: int(c.Policy.Oxygen.AirBreakMin),
	}
}

// decompress answers the dive with its stops, where the route, the water and
// what everybody brings to the entry are known.
func (c *Case) decompress() {
	c.Dive, c.DiveFault = nil, ""
	if c.computed() {
		c.Dive, c.DiveFault = c.dived(c.RouteInput, c.laid, c.Route, c.In.Plan.TurnMove)
		if c.Dive == nil || !c.Dive.Counted {
			c.laid.ShareAtStations(c.Route)
		}
	}
}

// tooMuch begins what is said of a dive that was given up, stillLoaded what is said of
// divers whom earlier dives left above the limit.
const (
	tooMuch     = "too much to compute"
	stillLoaded = "earlier dives leave "
)

// dived answers a dive that the route model judged; nil with why, where nothing is
// merely missing.
func (c *Case) dived(in route.Input, laid *route.Laid, result *route.Result, turn int) (*dive.Answer, string) {
	if c.Water == nil || len(c.Starts) != len(c.Team) || c.Stopped() {
		return nil, ""
	}
	model := c.model()
	if model == nil {
		return nil, ""
	}
	q := dive.Question{
		Route: in, Laid: laid, Result: result, Settings: c.decoSettings(model),
		SwitchDepth: c.switchDepth, DeeperM: c.Policy.Failures.DeeperM, LongerMin: c.Policy.Failures.LongerMin,
		DelayMin: c.Policy.Failures.DelayMin, TouchFactor: c.touchFactor(), TurnedThere: c.In.Moment == facts.AtEntry, SwimOutMMin: c.swimOut(), WorstLMin: c.worstRates(),
		Stop: c.stopAfter,
	}
	if c.Level != nil && c.Level.NoStopShare != nil {
		q.NoStopShare = *c.Level.NoStopShare
	}
	if turn <= len(in.Route.Moves) {
		q.TurnMove = turn
	}
	var loaded []string
	for i := range c.Starts {
		if len(c.Starts[i].Problems) > 0 {
			return nil, ""
		}
		q.Tissues = append(q.Tissues, c.Starts[i].Tissues)
		q.Carried = append(q.Carried, c.Starts[i].Oxygen)
		// The schedule cannot mend that: no stop lies above the surface.
		if bar, k := model.Margin(&c.Starts[i].Tissues, c.Water.Surface, q.Settings.GFHigh); bar < -1e-6 {
			loaded = append(loaded, c.nameOf(c.Team[i].Diver).Label()+" at the surface "+finding.Decimal(-bar, 3)+" bar above the limit in compartment "+model.Compartment(k).ID)
		}
	}
	if len(loaded) > 0 {
		return nil, stillLoaded + strings.Join(loaded, ", ")
	}
	w, err := dive.Open(&q)
	if err != nil {
		return nil, c.named(err.Error())
	}
	a := w.Answer()
	if w.TooMuch() {
		return nil, fmt.Sprintf(tooMuch+" with %d moves, %d divers and %.0f min: fewer moves, a shorter dive or a smaller team", len(in.Route.Moves), len(c.Team), w.Planned().End.Minutes)
	}
	if fault := w.Fault(); fault != "" {
		return nil, fault
	}
	return a, ""
}

// switchDepth is as deep as the plan breathes a stage; else its oxygen alone says.
func (c *Case) switchDepth(s *route.Cylinder) float64 {
	for _, x := range c.In.Plan.Supplies {
		if x.ID == s.ID {
			if d, told := c.declaredDepth(x); told {
				return d
			}
		}
	}
	return deco.MaxDepth
}

// declaredDepth is how deep a supply is breathed at most: as the plan says; a
// gas for decompression of which it says nothing is breathed from the deepest
// stop-grid depth at which its planned oxygen is within the limit for stops, and
// no deeper than the MOD on its label: at altitude the water alone allows more.
func (c *Case) declaredDepth(s facts.Supply) (float64, bool) {
	if s.DeepestM != nil {
		return *s.DeepestM, true
	}
	mix, ok := c.mixOf(s)
	grid, last := c.Policy.Decompression.StopStepM, c.Policy.Decompression.LastStopM
	if s.Role != facts.Deco || !ok || c.Water == nil || !(mix.O2 > 0) || !(grid > 0) {
		return 0, false
	}
	deepest := math.Min(c.Water.Depth((c.Policy.Mix.PO2RestingBar+gas.OxygenSlack)/mix.O2), c.labelMOD(s, mix))
	if deepest < last {
		return max(0, deepest), true
	}
	return last + grid*math.Floor((deepest-last)/grid+1e-9), true
}

// remarkStatus is what a flag of a schedule means by the club's policy.
func (c *Case) remarkStatus(kind string) finding.Status {
	d := c.Policy.Decompression
	switch kind {
	case deco.FlagRestriction:
		return d.HoldStopInRestriction.Status()
	case deco.FlagStrongFlow:
		return d.StopInFlow.Status()
	case deco.FlagWayIn:
		return d.StopOnWayIn.Status()
	case deco.FlagAboveLast:
		return d.StopAboveLast.Status()
	case deco.FlagSaddle:
		return d.Saddle.Status()
	}
	return policy.DecideRefuse.Status()
}

// remarksOut tells what is said about ways out: of each kind the first place from which it holds.
func (c *Case) remarksOut(list []dive.Remark, stops int) []finding.Finding {
	if len(list) == 0 {
		return c.remarks(list, stops)
	}
	var out []finding.Finding
	for i := range list {
		m := &list[i]
		f := answer(c.remarkStatus(m.Kind), m.Kind, c.plan())
		f.Place, f.Path = m.Place, "route.route.moves"
		f.Figures = []finding.Figure{finding.Number("depth", m.DepthM, 1, "m")}
		if m.Kind == deco.FlagSaddle {
			fall := finding.Number("", m.Metres, 1, "m")
			f.Observed = &fall
		}
		out = append(out, f)
	}
	return out
}

// remarks tells what is said about schedules with so many minutes of stops.
func (c *Case) remarks(list []dive.Remark, stops int) []finding.Finding {
	var out []finding.Finding
	for i := range list {
		m := &list[i]
		s := c.plan()
		if m.Diver != "" {
			s = c.nameOf(m.Diver)
		}
		f := answer(c.remarkStatus(m.Kind), m.Kind, s)
		f.Place, f.Path = m.Place, "route.route.moves"
		observed := finding.Number("", m.Minutes, 0, "min")
		switch m.Kind {
		case deco.FlagStrongFlow:
			observed = finding.Number("", m.Value, 1, "m/min")
		case deco.FlagSaddle:
			observed = finding.Number("", m.Metres, 1, "m")
		case deco.FlagOxygenHigh, deco.FlagOxygenLow:
			observed = finding.Number("", m.Value, 2, "bar")
		case deco.FlagOverdrawn:
			observed, f.Path = finding.Number("", math.Ceil(m.Value), 0, "L"), "plan.supplies"
			f.Steps = c.overdrawnSteps(m)
		case dive.RemarkDrift:
			observed = finding.Number("", m.Value, 3, "bar")
		}
		f.Observed = &observed
		if m.Limit != 0 {
			limit := finding.Number("", m.Limit, 2, observed.Unit)
			f.Limit = &limit
		}
		cylinder, _ := c.who(m.Cylinder)
		if m.Kind != deco.FlagSaddle { // a saddle has its place and no depth of its own
			f.Figures = []finding.Figure{finding.Number("depth", m.DepthM, 1, "m"), finding.Word("cylinder", cylinder.Label())}
		}
		out = append(out, at(f))
	}
	if len(out) == 0 {
		f := pass(c.plan())
		if stops == 0 {
			f.Status, f.Code = finding.NotApplicable, "no_stops"
		}
		out = one(f)
	}
	return out
}

// plannedStops tells each stop of the dive as planned.
func plannedStops(c *Case) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	list := c.Dive.Schedule.Stops
	if len(list) == 0 {
		return one(answer(finding.NotApplicable, "no_stops", c.plan()))
	}
	var out []finding.Finding
	for i := range list {
		x := &list[i]
		n := strconv.Itoa(i + 1)
		f := pass(finding.Subject{Kind: finding.KindStation, ID: "stop-" + n, Name: "stop " + n + " of " + strconv.Itoa(len(list))})
		minutes := finding.CountOf("", x.Minutes, "min")
		f.Observed, f.Place, f.Steps = &minutes, x.Place, c.stopSteps(x)
		f.Figures = []finding.Figure{finding.Number("depth", x.DepthM, 1, "m"), finding.Number("arrival", x.ArrivalMin, 1, "min")}
		out = append(out, at(f))
	}
	return out
}

// exposure compares every diver's oxygen account, earlier dives included, with
// the limits of the policy, of 24 hours and of the lungs.
func exposure(c *Case) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	o := c.Policy.Oxygen
	var out []finding.Finding
	for i := range c.Dive.Schedule.Divers {
		d := &c.Dive.Schedule.Divers[i]
		s := c.nameOf(d.Name)
		f := measured(pass(s), finding.Number("", d.CNSAll, 1, "%"), finding.Number("", o.CNSRefusePercent, 0, "%"))
		f.Figures = []finding.Figure{finding.Number("otu", d.OTUDay, 0, ""), finding.Number("whole", d.CNSWhole, 1, "%")}
		over := func(code string, observed, limit float64, decimals int, unit string) {
			g := measured(answer(finding.Refuse, code, s), finding.Number("", observed, decimals, unit), finding.Number("", limit, decimals, unit))
			short := finding.Number("", observed-limit, decimals, unit)
			g.Shortfall, g.Path, g.Rule = &short, "plan.supplies", "oxygen.exposure"
			g.Steps = c.exposureSteps(i, &g)
			out = append(out, g)
		}
		refused := len(out)
		if d.CNSAll > o.CNSRefusePercent+1e-9 {
			over("over", d.CNSAll, o.CNSRefusePercent, 1, "%")
		}
		if d.DailyAll > 100+1e-9 {
			over("day", d.DailyAll, 100, 1, "%")
		}
		if limit := math.Min(o.OTUDaily, oxygen.RepexDaily(c.Starts[i].Oxygen.Days)); d.OTUDay > limit+1e-9 {
			over("lungs", d.OTUDay, limit, 0, "OTU")
		}
		if limit := oxygen.RepexTotal(c.Starts[i].Oxygen.LeastDays); d.OTUAll > limit+1e-9 {
			over("days", d.OTUAll, limit, 0, "OTU")
			out[len(out)-1].Figures = []finding.Figure{finding.CountOf("days", c.Starts[i].Oxygen.LeastDays, "days")}
		}
		if len(out) > refused {
			continue
		}
		if d.CNSAll > o.CNSCautionPercent+1e-9 {
			limit := finding.Number("", o.CNSCautionPercent, 0, "%")
			f.Status, f.Code, f.Limit = finding.Caution, "much", &limit
		}
		f.Rule = "oxygen.exposure"
		f.Steps = c.exposureSteps(i, &f)
		out = append(out, f)
	}
	return out
}

// exposureOut looks at the way out that takes most oxygen. Beyond the limit it is
// a caution: in an emergency the gas is breathed all the same.
func exposureOut(c *Case) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	x, limit := c.Dive.Oxygen, c.Policy.Oxygen.CNSRefusePercent
	if x == nil {
		return one(answer(finding.NotApplicable, "none", c.plan()))
	}
	f := measured(pass(c.nameOf(x.Diver)), finding.Number("", math.Ceil(x.CNS*10-1e-6)/10, 1, "%"), finding.Number("", limit, 0, "%"))
	f.Place, f.Steps = x.Place, c.wayOutOxygen(x)
	if x.CNS > limit+1e-9 {
		f.Status, f.Code, f.Path = finding.Caution, "over", "plan.supplies"
	}
	return one(at(f))
}

// noStopShare holds a dive within a share of the no-stop limit (practice 1, 2.2).
func noStopShare(c *Case) []finding.Finding {
	s, ok, fs := c.levelReady()
	if !ok {
		return fs
	}
	if c.Level.NoStopShare == nil {
		return one(notAsked(s))
	}
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	share := finding.Number("", *c.Level.NoStopShare*100, 0, "%")
	f := pass(s)
	f.Limit = &share
	if *c.Level.NoStopShare >= 1 {
		return one(notAsked(s)) // the no-stop limit itself: level.decompression
	}
	x := c.Dive.Share
	if x == nil {
		return one(c.diveUnknown(c.plan()))
	}
	f.Figures = []finding.Figure{finding.Number("longer", x.LongerMin, 1, "min")}
	if !x.Holds {
		f.Status, f.Code, f.Path = finding.Refuse, "over", "route.route.moves"
	}
	return one(f)
}

// requiredStops compares the planned stops, and the gases carried for them, with
// what the level of the least qualified diver permits.
func requiredStops(c *Case) []finding.Finding {
	s, ok, fs := c.levelReady()
	if !ok {
		return fs
	}
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	if len(c.Network.Deco) == 0 {
		return one(notAsked(s))
	}
	out := c.permit(s, c.Level.Decompression, "dives with required stops", c.Network.Deco)
	over := func(code string, observed, limit, short finding.Figure, at string) {
		f := measured(answer(finding.Refuse, code, s), observed, limit)
		f.Shortfall, f.Path = &short, at
		out = append(out, f)
	}
	if most, n := c.Level.DecoMinutes, float64(c.Dive.Schedule.StopMin); most != nil && n > *most {
		over("long", finding.Number("", n, 0, "min"), finding.Number("", *most, 0, "min"), finding.Number("", n-*most, 0, "min"), "route.route.moves")
	}
	for _, m := range c.Team {
		mixes := map[string]bool{}
		for _, x := range c.supplies(m.Diver, facts.Deco) {
			mixes[x.PlannedO2+"/"+x.PlannedHe] = true
		}
		if most, n := c.Level.DecoGases, len(mixes); most != nil && n > *most {
			over("gases", finding.CountOf("", n, "gases"), finding.CountOf("", *most, "gases"), finding.CountOf("", n-*most, "gases"), "plan.supplies")
			out[len(out)-1].Other = new(m.subject())
		}
	}
	return out
}

// deeperLonger is whether the gas holds for the dive deeper, longer and both.
func deeperLonger(c *Case) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	var out []finding.Finding
	told := func(f finding.Finding, v *dive.Variant) finding.Finding {
		f.Figures = append(f.Figures, finding.Number("deeper", v.DeeperM, 1, "m"), finding.Number("longer", v.LongerMin, 1, "min"))
		return f
	}
	for i := range c.Dive.Variants {
		v := &c.Dive.Variants[i]
		for _, s := range v.Short {
			cylinder, _ := c.who(s.Supply)
			f := measured(answer(c.Policy.Failures.DeeperLonger.Status(), "short", c.nameOf(s.Diver)), finding.Number("", s.LeftL, 1, "L"), finding.Number("", s.NeedL, 1, "L"))
			short := finding.Number("", s.NeedL-s.LeftL, 1, "L")
			f.Shortfall, f.Path = &short, "plan.supplies"
			f.Figures = []finding.Figure{finding.Word("cylinder", cylinder.Label())}
			f.Rule = "failure.deeper_longer"
			for k, p := range c.Route.Parts.Cylinders {
				if p.Diver == s.Diver && p.Cylinder == s.Supply {
					f.Steps = c.variantSteps(v, k, f.Key())
				}
			}
			out = append(out, told(f, v))
		}
		if v.Schedule.NoSchedule {
			f := answer(finding.Refuse, "none", c.plan())
			f.Path = "route.route.moves"
			out = append(out, told(f, v))
		}
	}
	if len(out) == 0 {
		f := pass(c.plan())
		v := &c.Dive.Variants[len(c.Dive.Variants)-1]
		f.Steps = c.variantSteps(v, tightestEnd(v), "")
		out = one(told(f, v))
	}
	return out
}
