package facts

import (
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

func (c converter) site(zones []calendar.Zone) facts.Site {
	s := c.r.Site
	grade := int(s.Grade)
	density := s.WaterDensity
	out := facts.Site{
		ID: s.Id, Name: s.Title, Version: s.Version, Zones: zones, Grade: &grade, DensityKgM3: &density,
		WaterC: s.WaterTemperatureC, PermitRequired: s.PermitRequired,
	}
	switch p := s.SurfacePressure.(type) {
	case *lastlightv1.Site_AltitudeM:
		out.AltitudeM = &p.AltitudeM
	case *lastlightv1.Site_BarometerBar:
		out.BarometerBar = &p.BarometerBar
	}
	if e := s.Emergency; e != nil {
		out.WalkMin, out.CoordinatorWithoutWalk = e.WalkToSignalMin, e.CoordinatorReachedAtWater
		for _, o := range e.Oxygen {
			out.Oxygen = append(out.Oxygen, facts.OxygenCylinder{VolumeL: o.GetWaterVolume().GetLitres(), Bar: o.GetPressure().GetBar()})
		}
	}
	if c.r.Plan.WalkToSignalMin != nil {
		out.WalkMin = c.r.Plan.WalkToSignalMin
	}
	for _, l := range c.r.Survey.Legs {
		if l.Bottom != "" {
			out.Bottoms = append(out.Bottoms, facts.Bottom{Leg: l.Id, Class: l.Bottom})
		}
	}
	if t := s.Thresholds; t != nil {
		out.Thresholds = facts.Thresholds{MaxLevelM: t.LevelMaxM, MinLevelM: t.LevelMinM, MaxFlow: t.FlowMax, MinVisibilityM: t.VisibilityMinM}
	}
	for _, cl := range s.Closures {
		out.Closures = append(out.Closures, facts.Closure{FromDay: day(cl.FromDay), ToDay: day(orElse(cl.ToDay, "9999-12-31")), Reason: cl.Reason})
	}
	for _, p := range c.r.Permits {
		out.Permits = append(out.Permits, facts.Permit{ID: p.Id, From: day(p.FromDay), To: day(p.ToDay), DailyFrom: p.DailyFrom, DailyTo: p.DailyTo})
	}
	for _, r := range c.r.Readings {
		out.Readings = append(out.Readings, facts.Reading{
			ID: r.Id, At: stamp(r.ReadAt), LevelM: r.LevelM, Level: c.levelClass(r.LevelM), Flow: r.Flow,
			VisibilityM: r.VisibilityM, Visibility: c.visibilityClass(r.VisibilityM), By: c.pseudonym(r.ReadBy),
		})
		for _, o := range r.OpeningsSeenOpen {
			out.Openings = append(out.Openings, facts.Sighting{Station: o, At: stamp(r.ReadAt), By: c.pseudonym(r.ReadBy)})
		}
	}
	for _, p := range c.r.Penetrations {
		on := calendar.EarliestDay(instant(p.EnteredAt), zones...)
		out.Penetrations = append(out.Penetrations, facts.Penetration{Dive: p.Dive, Day: on, Metres: p.Metres})
	}
	for _, d := range c.r.SiteDives {
		for _, o := range d.OpeningsSeenOpen {
			out.Openings = append(out.Openings, facts.Sighting{Station: o, At: stamp(d.OutAt), By: c.pseudonym(d.RecordedBy)})
		}
		out.Verifications = append(out.Verifications, c.verifications(d)...)
	}
	slices.SortStableFunc(out.Openings, func(a, b facts.Sighting) int { return a.At.Compare(b.At) })
	return out
}

// levelClass says on which side of the site's own limits the water stands;
// without limits every level is of one class. No level read: not known.
func (c converter) levelClass(level *float64) string {
	t := c.r.Site.Thresholds
	switch {
	case level == nil:
		return ""
	case t != nil && t.LevelMaxM != nil && *level > *t.LevelMaxM:
		return "above"
	case t != nil && t.LevelMinM != nil && *level < *t.LevelMinM:
		return "below"
	}
	return "within"
}

// visibilityClass is the band between the visibilities that the policy's
// levels ask for: better or worse water within a band changes nobody's rules.
func (c converter) visibilityClass(visibility *float64) string {
	if visibility == nil {
		return ""
	}
	bounds := []float64{c.r.Policy.Cavern.MinVisibilityM}
	for _, l := range c.r.Policy.Ladder {
		bounds = append(bounds, l.MinVisibilityM)
	}
	sort.Float64s(bounds)
	bounds = slices.Compact(bounds)
	class := "below " + metres(bounds[0])
	for _, b := range bounds {
		if *visibility >= b {
			class = "from " + metres(b)
		}
	}
	return class
}

// verifications reads what a recorded dive shows about the line (D34): one for
// each group of the team that passed the same legs. Nobody types this in.
func (c converter) verifications(d *lastlightv1.Dive) []facts.Verification {
	type group struct {
		legs, directions []string
	}
	groups := map[string]*group{}
	var order []string
	for _, l := range d.Legs {
		team := c.teamIn(d, l.People)
		if len(team) == 0 {
			continue
		}
		key := strings.Join(team, "\x00")
		g := groups[key]
		if g == nil {
			g = &group{}
			groups[key] = g
			order = append(order, key)
		}
		if !slices.Contains(g.legs, l.Leg) {
			g.legs = append(g.legs, l.Leg)
		}
		if !slices.Contains(g.directions, l.Direction) {
			g.directions = append(g.directions, l.Direction)
		}
	}
	var out []facts.Verification
	for _, key := range order {
		g := groups[key]
		v := facts.Verification{
			Dive: d.Id, Legs: g.legs, Marker: d.MarkerStation, MarkerAt: stamp(d.MarkerReachedAt), Entry: stamp(d.EnteredAt),
			LevelThen: c.levelClass(d.LevelMetM), FlowThen: d.FlowMet, SightThen: c.visibilityClass(d.VisibilityMetM),
			DoubtSince: c.doubtSince(d, g.legs), Directions: g.directions,
		}
		for _, person := range strings.Split(key, "\x00") {
			v.PassedBy = append(v.PassedBy, c.pseudonym(person))
		}
		out = append(out, v)
	}
	return out
}

// doubtSince: line damage on one of these legs, or another survey, came since.
func (c converter) doubtSince(d *lastlightv1.Dive, legs []string) bool {
	entered := d.EnteredAt.AsTime()
	for _, damage := range c.r.Damages {
		if !damage.SeenAt.AsTime().Before(entered) && slices.ContainsFunc(damage.Legs, func(l string) bool { return slices.Contains(legs, l) }) {
			return true
		}
	}
	surveyed := time.Time{}
	if c.r.Survey.RecordedAt != nil {
		surveyed = c.r.Survey.RecordedAt.AsTime()
	}
	return d.Survey != c.r.Survey.Number && surveyed.After(entered)
}

func day(text string) calendar.Day {
	d, err := calendar.ParseDay(text)
	if err != nil { // the register refuses what is not a day; empty is no day
		return calendar.Day{}
	}
	return d
}

func mark(text string) calendar.Mark {
	m, err := calendar.ParseMark(text)
	if err != nil {
		return calendar.Mark{}
	}
	return m
}

func metres(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) + " m" }
