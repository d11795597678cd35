package rules

import (
	"math"
	"slices"
	"strconv"

	"lastlight/engine/consumption"
	"lastlight/engine/dive"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// The origins of a rate.
const (
	RateMeasured = "measured"
	RateStated   = "stated"
	RateDefault  = "policy_default"
)

// Rate is what a member is reckoned to breathe on this dive, in L/min at the
// surface, and where it comes from. 0 is not known.
type Rate struct {
	LMin      float64
	WorstLMin float64
	Origin    string // empty: not known

	Governs    *facts.LearnedRate // the measured figure that counts; nil unless measured
	StatedLMin float64            // by hand; 0 = not stated
	Beside     *facts.LearnedRate // the swum figure that was measured and does not govern: lower than what was stated, or of too few dives
	Enough     bool               // Beside rests on as many dives as the club asks

	from, worstFrom string // where they stand in the input
}

// RateOf chooses between what a member's dives say, what was stated by hand and
// the policy's default. What was measured counts from the policy's number of
// dives on; of it and a stated rate the higher. The default stands only where
// nobody knows. A way of moving that this dive adds to swimming raises the rate,
// never lowers it: whoever pulls, rides or decompresses may have to swim out.
func (c *Case) RateOf(m Member) Rate {
	out := Rate{LMin: c.Policy.Gas.DefaultRMVLMin, Origin: RateDefault, from: "policy.gas.default_rmv_l_min"}
	if !(out.LMin > 0) {
		out.LMin, out.Origin = 0, ""
	}
	if m.Record == nil || m.Record.Consumption == nil {
		return out
	}
	k := m.Record.Consumption
	at := path("divers", c.indexOf(m.Diver), "consumption")
	out.WorstLMin, out.worstFrom = k.WorstLMin, at+".worst_l_min"
	if k.RMVLMin > 0 {
		out.LMin, out.Origin, out.StatedLMin, out.from = k.RMVLMin, RateStated, k.RMVLMin, at+".rmv_l_min"
		if k.Origin == RateMeasured {
			out.Origin = RateMeasured
		}
	}
	rules := consumption.Rules{Dives: c.Policy.Consumption.Dives, Months: c.Policy.Consumption.WithinMonths}
	for i := range k.Learned {
		l := &k.Learned[i]
		way := consumption.Way(l.Way)
		factor, used := c.wayFactor(m, way)
		if !used {
			continue
		}
		enough := rules.Counts(len(l.Dives))
		if !enough {
			if way == consumption.Swimming {
				out.Beside = l
			}
			continue
		}
		learned := at + ".learned[" + strconv.Itoa(i) + "]"
		// What another way was at worst says nothing of swimming.
		if worst := l.WorstLMin / factor; worst > out.WorstLMin && (way == consumption.Swimming || out.WorstLMin > 0) {
			out.WorstLMin, out.worstFrom = worst, learned+".worst_l_min"
			if factor != 1 {
				out.worstFrom += " / policy.speeds.pull_and_glide_rmv_factor"
			}
		}
		rate := l.MedianLMin / factor
		switch {
		case rate >= out.LMin || way == consumption.Swimming && out.StatedLMin == 0:
			out.LMin, out.Origin, out.Governs = rate, RateMeasured, l
			out.from = learned + ".median_l_min"
			if factor != 1 {
				out.from = "lines of diver.consumption"
			}
		case way == consumption.Swimming:
			out.Beside, out.Enough = l, true
		}
	}
	return out
}

// SwumRate is what a plan of swimmers takes for somebody of whom this is known.
func SwumRate(k *facts.Consumption, p *policy.Policy) Rate {
	c := &Case{In: &facts.Input{Policy: *p}, Policy: p}
	return c.RateOf(Member{Record: &facts.Diver{Consumption: k}})
}

// wayFactor tells whether this dive is dived in a way at all, and what the route
// model multiplies the rate by where it is (D5).
func (c *Case) wayFactor(m Member, way consumption.Way) (factor float64, used bool) {
	switch way {
	case consumption.Swimming:
		return 1, true
	case consumption.PullAndGlide:
		return math.Max(1, c.Policy.Speeds.PullAndGlideRMV), c.pulls()
	case consumption.Scooter:
		return 1, m.Scooter
	case consumption.Decompression:
		return 1, len(c.supplies(m.Diver, facts.Deco)) > 0
	}
	return 1, false
}

// pulls tells whether a leg of the route may be pulled along.
func (c *Case) pulls() bool {
	if c.Policy.Speeds.PullAndGlide != nil {
		return true
	}
	for _, w := range c.Network.walk {
		if w.leg.PullAndGlideMMin != nil {
			return true
		}
	}
	return false
}

// rateAt is where the rate of a diver of the team stands.
func (c *Case) rateAt(diver string) string {
	if at, ok := c.ratesAt[diver]; ok {
		return at
	}
	at := "policy.gas.default_rmv_l_min"
	if i := slices.IndexFunc(c.Team, func(m Member) bool { return m.Diver == diver }); i >= 0 {
		at = c.RateOf(c.Team[i]).from
	}
	if c.ratesAt == nil {
		c.ratesAt = map[string]string{}
	}
	c.ratesAt[diver] = at
	return at
}

// worstAt is where the worst rate of a diver of the team stands.
func (c *Case) worstAt(diver string) string {
	for _, m := range c.Team {
		if m.Diver == diver {
			return c.RateOf(m).worstFrom
		}
	}
	return "divers"
}

func consumptionRule() Rule {
	mend := "record dives with their pressures and a profile, or state the higher rate"
	return Rule{
		ID: "diver.consumption", Version: 2, Title: "Consumption and its origin", Citation: handbook("route method", "4"), Cell: "consumption",
		Words: map[string]Words{
			"ok":            {Says: "{subject}: {observed}, measured over {dives}{period}{way}"},
			"above_stated":  {Says: "{subject}: {observed}, measured over {dives}{period}{way}; {stated} is stated, the higher counts"},
			"stated_higher": {Says: "{subject}: {observed}, stated by hand; measured is {median} over {dives}{period}, the higher counts"},
			"declared":      {Says: "{subject}: {observed}, declared and not measured"},
			"declared_few":  {Says: "{subject}: {observed}, declared and not measured: {dives} of {asked} asked"},
			"default":       {Says: "{subject}: {observed}, the policy's default: nothing measured"},
			"default_few":   {Says: "{subject}: {observed}, the policy's default: {dives} measured of {asked} asked"},
			"few_higher":    {Says: "{subject}: {observed}, {origin}; {dives} measured of {asked} asked, and they say more: {median}", Remedy: mend},
			"none":          {Says: "{subject}: cannot tell, no consumption on record and no default", Remedy: "record the consumption"},
		},
		Check: func(c *Case) []finding.Finding { return c.each(c.rate) },
	}
}

func (c *Case) rate(m Member) []finding.Finding {
	s := m.subject()
	if m.Record == nil {
		return one(unknown(s, "the person's record", m.Path))
	}
	r := c.RateOf(m)
	f := pass(s)
	observed := finding.Number("", r.LMin, 1, "L/min")
	f.Observed = &observed
	if r.Origin == "" {
		f.Status, f.Code, f.Path = finding.Indeterminate, "none", path("divers", c.indexOf(m.Diver), "consumption")
		return one(f)
	}
	learned := r.Governs
	if learned == nil {
		learned = r.Beside
	}
	f.Figures = []finding.Figure{finding.CountOf("asked", c.Policy.Consumption.Dives, ""), finding.Word("origin", r.Origin)}
	if learned != nil {
		f.Figures = append(f.Figures, finding.CountOf("dives", len(learned.Dives), "dives"), finding.Number("median", learned.MedianLMin, 1, "L/min"),
			finding.Word("period", ", "+learned.First.String()+" to "+learned.Last.String()), finding.Word("way", inWay(learned.Way)))
		for _, id := range learned.Dives {
			f.Evidence = append(f.Evidence, finding.Evidence{Kind: "dive", ID: id})
		}
	} else if k := m.Record.Consumption; k != nil && r.Origin == RateMeasured {
		f.Figures = append(f.Figures, finding.CountOf("dives", k.Dives, "dives"), finding.Word("period", ""), finding.Word("way", ""))
	}
	if r.StatedLMin > 0 {
		f.Figures = append(f.Figures, finding.Number("stated", r.StatedLMin, 1, "L/min"))
	}
	few := r.Beside != nil && !r.Enough && r.Governs == nil
	switch {
	case few && r.Beside.MedianLMin > r.LMin:
		f.Status, f.Code = finding.Caution, "few_higher"
		f.Figures[1].Text = map[string]string{RateStated: "declared and not measured", RateDefault: "the policy's default", RateMeasured: "as measured elsewhere"}[r.Origin]
	case r.Origin == RateDefault && few:
		f.Status, f.Code = finding.Note, "default_few"
	case r.Origin == RateDefault:
		f.Status, f.Code = finding.Note, "default"
	case r.Origin == RateMeasured && r.Governs != nil && r.StatedLMin > 0:
		f.Status, f.Code = finding.Note, "above_stated"
	case r.Origin == RateMeasured:
	case few:
		f.Status, f.Code = finding.Note, "declared_few"
	case r.Beside != nil:
		f.Status, f.Code = finding.Note, "stated_higher"
	default:
		f.Status, f.Code = finding.Note, "declared"
	}
	f.Steps = c.rateSteps(m, r)
	return one(f)
}

// inWay says of which way a figure is, where it is not swimming.
func inWay(way string) string {
	return map[string]string{"pull_and_glide": ", pulling and gliding", "scooter": ", on the scooter", "decompression": ", decompressing"}[way]
}

// rateSteps shows what a member's rate was chosen from.
func (c *Case) rateSteps(m Member, r Rate) []finding.Step {
	e := c.explaining("physics, 7; route method, 4")
	at := path("divers", c.indexOf(m.Diver), "consumption")
	own := func(f finding.Figure) finding.Figure { return f.Own(m.Diver) }
	var from []finding.Figure
	if k := m.Record.Consumption; k != nil {
		if k.RMVLMin > 0 {
			from = append(from, own(rate("stated", k.RMVLMin).At(at+".rmv_l_min")))
		}
		for i, l := range k.Learned {
			factor, used := c.wayFactor(m, consumption.Way(l.Way))
			rules := consumption.Rules{Dives: c.Policy.Consumption.Dives}
			if !used || !rules.Counts(len(l.Dives)) {
				continue
			}
			name := "median " + words(l.Way)
			median := own(rate(name, l.MedianLMin).At(at + ".learned[" + strconv.Itoa(i) + "].median_l_min"))
			if factor != 1 {
				e.add("swum at what pulling takes", name+" / gas factor", own(rate("as swum", l.MedianLMin/factor)), median,
					ratio("gas factor", factor).At("policy.speeds.pull_and_glide_rmv_factor"))
				median = own(rate("as swum", l.MedianLMin/factor).At(finding.Above))
			}
			from = append(from, median)
		}
	}
	if r.Origin == RateDefault || r.StatedLMin == 0 && (r.Governs == nil || r.Governs.Way != string(consumption.Swimming)) && !c.swumMeasured(m) {
		if d := c.Policy.Gas.DefaultRMVLMin; d > 0 {
			from = append(from, rate("default", d).At("policy.gas.default_rmv_l_min"))
		}
	}
	e.add("consumption of "+m.subject().Label()+" that counts", finding.Greatest, own(rate("rate", r.LMin)), from...)
	return e.lines()
}

// swumMeasured tells whether enough dives say how much a member breathes swimming.
func (c *Case) swumMeasured(m Member) bool {
	rules := consumption.Rules{Dives: c.Policy.Consumption.Dives}
	for _, l := range m.Record.Consumption.Learned {
		if l.Way == string(consumption.Swimming) && rules.Counts(len(l.Dives)) {
			return true
		}
	}
	return false
}

// worstConsumption names who has no worst consumption on record beside the
// cases of those who have: nobody is passed over in silence.
func worstConsumption(c *Case) []finding.Finding {
	if c.Dive == nil {
		return one(c.diveUnknown(c.plan()))
	}
	out := c.failure("failure.worst_consumption", dive.CaseWorstConsumption, c.Policy.Failures.WorstConsumption.Status())
	if out[0].Code == "absent" { // nobody's: each is named below
		out = nil
	}
	for _, m := range c.Team {
		if !(c.RateOf(m).WorstLMin > 0) {
			f := answer(finding.Note, "absent", m.subject())
			out = append(out, f)
		}
	}
	return out
}
