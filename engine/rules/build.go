package rules

import (
	"strconv"

	"lastlight/engine/analysis"
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	"lastlight/engine/watch"
)

// buildRoute fills the parts of the route model's input that follow from the
// facts and the policy. What is not known is listed in RouteMissing, and then
// the route is not evaluated: a guess would read as a pass.
func (c *Case) buildRoute(share policy.Fraction, level *policy.Level) route.Input {
	in := c.In.Route
	c.RouteMissing = nil
	p := c.Policy
	if c.Water == nil {
		c.RouteMissing = append(c.RouteMissing, unknown(c.site(), "the water", "site"))
	} else {
		in.Water = route.Water{SurfaceBar: c.Water.Surface, BarPerM: c.Water.PerMetre}
	}
	in.GasModel = gas.Model(p.Gas.Model)
	in.Speeds = route.Speeds{SwimMMin: p.Speeds.Swim, ContingencyMMin: p.Speeds.ContingencySwim}
	if c.In.Plan.SwimMMin > 0 {
		in.Speeds.SwimMMin = c.In.Plan.SwimMMin
	}
	if c.In.Plan.ContingencySwimMMin > 0 {
		in.Speeds.ContingencyMMin = c.In.Plan.ContingencySwimMMin
	}
	in.Policy = c.routePolicy(share, level)
	in.Legs = c.slowLegs(in.Legs)
	in.Team = c.routeTeam()
	in.Verified = c.verified()
	in.CavernLimits = &route.CavernLimits{DistanceM: p.Cavern.MaxLinearM, DepthM: p.Cavern.MaxDepthM, VisibilityM: p.Cavern.MinVisibilityM}
	// Night not told: no leg is cavern zone, the stricter of the two.
	in.Night = c.In.Plan.Night == nil || *c.In.Plan.Night
	in.VisibilityM = c.visibilityForZones()
	return in
}

func (c *Case) routePolicy(share policy.Fraction, level *policy.Level) route.Policy {
	g, s, v := c.Policy.Gas, c.Policy.Speeds, c.Policy.Verification
	out := route.Policy{
		ShareFraction: route.Fraction(share.Value()),
		Rounding:      route.Rounding{Mode: route.RoundDropFloor, StepBar: g.StepBar},
		StressFactor:  g.StressFactor, ContingencyFloorLMin: g.ConsumptionFloorLMin, DelayMin: g.DelayMin,
		SharingReserveBar: g.SharingReserveBar, PlannedReserveBar: g.PlannedReserveBar, MinimumGasBar: g.MinimumGasBar,
		VerifiedCounts: v.Counts, VerificationDays: float64(v.Hours) / 24,
		AscentMMin: s.Ascent, DescentMMin: s.Descent, CountOpenWaterAscent: g.CountOpenWaterAscent,
		PullAndGlideMMin: s.PullAndGlide, PullAndGlideGasFactor: s.PullAndGlideRMV, MinProgressMMin: s.MinProgress, SlowProgressMMin: s.ContingencyCaution,
		SlowExitFactor: max(1, c.In.Plan.SlowExitFactor), SlowExitMinorRestrict: c.Policy.SlowExit.ZeroVisibility,
		ThreeDonor: g.ThreeDonor, WaitingGas: g.WaitingGas,
		StageRule: g.StageRule, StageFraction: route.Fraction(g.StageFraction.Value()),
		DecoGasReserveFactor: g.DecoReserveFactor, IndependentSpreadBar: g.IndependentWithinBar,
		HelpfulOutflow: string(g.HelpfulOutflowGone), HalvesWarn: route.Fraction(v.HalvesWarnShare),
	}
	if level != nil {
		switch level.Inflow.Kind {
		case policy.GasFraction:
			out.SiphonRow, out.SiphonFraction = route.SiphonFraction, route.Fraction(level.Inflow.Fraction.Value())
		case policy.GasNotAllowed:
			out.SiphonRow = route.SiphonRefuse
		}
	}
	return out
}

// slowLegs gives each leg the slow-exit factor of its bottom.
func (c *Case) slowLegs(legs []route.Leg) []route.Leg {
	class := make(map[string]string, len(c.In.Site.Bottoms))
	for _, b := range c.In.Site.Bottoms {
		class[b.Leg] = b.Class
	}
	s := c.Policy.SlowExit
	factor := map[string]float64{"clear": s.Clear, "some_silt": s.SomeSilt, "silt_likely": s.SiltLikely, "zero_visibility": s.ZeroVisibility}
	used := map[string]bool{}
	for _, w := range c.Network.walk {
		used[w.leg.ID] = true
	}
	out := append([]route.Leg(nil), legs...)
	for i := range out {
		f, ok := factor[class[out[i].ID]]
		if !ok {
			f = s.ZeroVisibility // the strictest, so that a leg not on the route lends no cheap way out
			if used[out[i].ID] {
				c.missing(finding.Subject{Kind: finding.KindLeg, ID: out[i].ID, Name: "leg " + out[i].ID}, "the bottom of the leg", "site.bottoms")
			}
		}
		out[i].SlowExitFactor = f
	}
	return out
}

func (c *Case) routeTeam() []route.Diver {
	var team []route.Diver
	for _, m := range c.Team {
		d := route.Diver{Name: m.Diver, RMVLMin: c.RateOf(m).LMin}
		for _, s := range c.supplies(m.Diver, facts.Main) {
			d.Mains = append(d.Mains, c.routeCylinder(s))
		}
		for _, s := range c.supplies(m.Diver, facts.Stage, facts.Deco) {
			d.Stages = append(d.Stages, c.routeCylinder(s))
		}
		if len(d.Mains) == 0 {
			c.noRoute(m.subject(), "the main supply", m.Path)
		}
		if d.RMVLMin <= 0 {
			c.noRoute(m.subject(), "the consumption", "divers")
		}
		team = append(team, d)
	}
	if len(team) == 0 {
		c.noRoute(c.plan(), "the team", "plan.team")
	}
	return team
}

// noRoute notes an input without which the route model cannot run.
func (c *Case) noRoute(s finding.Subject, what, path string) {
	c.missing(s, what, path)
	c.RouteMissing = append(c.RouteMissing, unknown(s, what, path))
}

func (c *Case) routeCylinder(s facts.Supply) route.Cylinder {
	out := route.Cylinder{ID: s.ID, TempC: s.TemperatureC, Deco: s.Role == facts.Deco}
	for _, id := range s.Cylinders {
		cyl := c.In.Cylinder(id)
		if cyl == nil || cyl.VolumeL <= 0 {
			c.noRoute(c.cylinder(id), "the volume", "cylinders")
			continue
		}
		out.VolumeL += cyl.VolumeL
	}
	subject := c.supply(s)
	if len(s.Cylinders) == 0 {
		c.noRoute(subject, "which cylinders it is", "plan.supplies")
	}
	if bar := c.startBar(s); bar != nil {
		out.StartBar = *bar
	} else {
		c.noRoute(subject, "the start pressure", "plan.supplies")
	}
	mix, ok := c.mixOf(s)
	if !ok {
		c.noRoute(subject, "the planned mix", "plan.supplies")
	}
	out.Gas = route.Gas{O2: mix.O2, He: mix.He}
	return out
}

// supply names a supply by its cylinders.
func (c *Case) supply(s facts.Supply) finding.Subject {
	if len(s.Cylinders) == 1 {
		return c.cylinder(s.Cylinders[0])
	}
	name := ""
	for i, id := range s.Cylinders {
		if i > 0 {
			name += " + "
		}
		name += c.cylinder(id).Label()
	}
	return finding.Subject{Kind: finding.KindCylinder, ID: s.ID, Name: nameOr(name, s.ID)}
}

// startBar is the pressure that counts: the measured one at entry, the planned
// one before. At entry a pressure that was not read is not known.
func (c *Case) startBar(s facts.Supply) *float64 {
	if c.In.Moment == facts.AtEntry {
		return s.MeasuredBar
	}
	return s.PlannedBar
}

// mixOf is the planned mix of a supply as fractions.
func (c *Case) mixOf(s facts.Supply) (gas.Mix, bool) {
	o2, err := analysis.ParseDecimal(s.PlannedO2)
	if err != nil {
		return gas.Mix{}, false
	}
	var he analysis.Decimal
	if s.PlannedHe != "" {
		if he, err = analysis.ParseDecimal(s.PlannedHe); err != nil {
			return gas.Mix{}, false
		}
	}
	m := gas.Mix{O2: o2.Float() / 100, He: he.Float() / 100}
	return m, m.O2 > 0 && m.Check() == nil
}

// verified hands the recorded set-up dives to the route model. A verification
// in doubt, of other conditions than today's, or run out counts for nothing
// there; one that cannot be told for want of today's reading counts there and
// is blocked by the rule plan.verification, so that the other findings show
// what the dive would be.
func (c *Case) verified() []route.Verification {
	var out []route.Verification
	for _, v := range c.In.Site.Verifications {
		at := verifiedAt(v)
		days := 0.0
		if !at.IsZero() && !c.In.Plan.Entry.IsZero() {
			days = float64(c.In.Plan.Entry.Sub(at)) / (24 * 60)
		}
		doubt := v.DoubtSince || at.IsZero() || at.After(c.In.Plan.Entry)
		if then, now := conditionClass(v.LevelThen, v.FlowThen, v.SightThen), c.todaysClass(); then != "" && now != "" && then != now {
			doubt = true
		}
		out = append(out, route.Verification{
			ID: v.Dive, Legs: v.Legs, PassedBy: v.PassedBy, DaysAgo: days, MarkerStation: v.Marker, DoubtSince: doubt, Directions: v.Directions,
		})
	}
	return out
}

// verifiedAt is the minute the marker was reached, else that dive's entry (T31).
func verifiedAt(v facts.Verification) calendar.Instant {
	if v.MarkerAt.IsZero() {
		return v.Entry
	}
	return v.MarkerAt
}

// conditionClass joins the classes that must agree; empty where one is missing.
func conditionClass(level, flow, sight string) string {
	if level == "" || flow == "" || sight == "" {
		return ""
	}
	return level + "/" + flow + "/" + sight
}

// todays is the reading that counts for the entry; nil where there is none.
func (c *Case) todays() *facts.Reading {
	if len(c.In.Site.Zones) == 0 || c.In.Plan.Entry.IsZero() {
		return nil
	}
	all := make([]watch.Reading, len(c.In.Site.Readings))
	for i, r := range c.In.Site.Readings {
		all[i] = watch.Reading{At: r.At, Class: conditionClass(r.Level, r.Flow, r.Visibility)}
	}
	got, err := watch.ReadingFor(all, c.In.Plan.Entry, c.In.Site.Zones...)
	if err != nil || got.Index < 0 {
		return nil
	}
	return &c.In.Site.Readings[got.Index]
}

func (c *Case) todaysClass() string {
	if r := c.todays(); r != nil {
		return conditionClass(r.Level, r.Flow, r.Visibility)
	}
	return ""
}

// visibilityForZones is today's visibility. On a decision taken on an earlier
// day it is what the cavern zone asks for, because level.visibility then makes
// it a condition of entry.
func (c *Case) visibilityForZones() *float64 {
	if r := c.todays(); r != nil {
		return r.VisibilityM
	}
	if OnEarlierDay(c.In) {
		v := c.Policy.Cavern.MinVisibilityM
		return &v
	}
	return nil
}

// fromResult reads zones and distances off the route model's answer.
func (c *Case) fromResult() {
	if c.Route == nil || !c.Network.Known {
		return
	}
	where := map[string]string{}
	for _, w := range c.Network.walk {
		if _, ok := where[w.leg.ID]; !ok {
			where[w.leg.ID] = w.from + "-" + w.to
		}
	}
	for _, z := range c.Route.Zones {
		spot := Spot{What: "leg " + z.Leg, Place: where[z.Leg]}
		switch z.Zone {
		case route.ZoneCave:
			c.Network.Overhead = append(c.Network.Overhead, spot)
		case route.ZoneCavern:
			c.Network.Cavern = append(c.Network.Cavern, spot)
		}
		if z.Zone != route.ZoneOpenWater && z.DistanceM != nil && (!c.Network.Linear.Known || *z.DistanceM > c.Network.Linear.Value) {
			c.Network.Linear = Reach{Known: true, Value: *z.DistanceM, Place: spot.Place}
		}
	}
	if len(c.Network.Overhead)+len(c.Network.Cavern) == 0 {
		c.Network.Linear = Reach{Known: true, Place: c.In.Route.Route.Start}
	}
	for _, s := range c.In.Plan.Supplies {
		if s.Role == facts.Stage {
			c.Network.Stages = append(c.Network.Stages, Spot{Diver: s.Diver, What: "stage " + s.ID})
		}
	}
	for _, m := range c.Team {
		if m.Scooter {
			c.Network.Scooters = append(c.Network.Scooters, Spot{Diver: m.Diver, What: "scooter"})
		}
	}
	if c.Dive != nil && len(c.Dive.Schedule.Stops) > 0 {
		for _, m := range c.Team {
			c.Network.Deco = append(c.Network.Deco, Spot{Diver: m.Diver, What: "a dive with required stops", Place: c.Dive.Schedule.Stops[0].Place})
		}
	}
	c.SetUpDone = c.Route.Verified != nil || len(c.In.Site.Verifications) > 0
}

// watch works out the surface watch for the planned entry, and the dial time
// that ends what binds cover and standby if the team enters at the last minute.
func (c *Case) watch() {
	if len(c.In.Site.Zones) == 0 || c.Span.Entry.IsZero() || c.Span.RuntimeMin <= 0 {
		return
	}
	w := c.Policy.Watch
	rules := watch.Rules{
		RoundToMin: w.RoundToMin, GraceShare: w.GraceShare.Value(), GraceMin: float64(w.GraceMin), GraceMax: float64(w.GraceMax),
		GasFloorMin: float64(w.GraceFloor), LookShare: w.LookShare.Value(), CoordinatorShare: w.CoordinatorShare.Value(),
	}
	q := watch.Question{Entry: c.Span.Entry, RuntimeMin: c.Span.RuntimeMin, WalkMin: c.In.Site.WalkMin, CoordinatorWithoutWalk: c.In.Site.CoordinatorWithoutWalk}
	if c.Route != nil {
		for _, d := range c.Route.Divers {
			q.GasLeftMin = append(q.GasLeftMin, d.ExitRateLasts)
		}
	}
	times, err := watch.Plan(q, rules, c.In.Site.Zones...)
	if err != nil {
		c.missing(c.site(), err.Error(), "site.zones")
		return
	}
	c.Watch = &times
	q.Entry = c.Span.EnterBy
	if late, err := watch.Plan(q, rules, c.In.Site.Zones...); err == nil {
		c.Span.Dial = late.Dial
	}
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
