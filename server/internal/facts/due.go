package facts

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gear"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Due tells what gear records show beside what was entered: when each falls
// due and what may be done with it today, by the same reading of the policy's
// tables as the rules use.
type Due struct {
	policy *policy.Policy
	zone   calendar.Zone
	load   ZoneLoader
	today  calendar.Day
	now    time.Time
}

// NewDue is for the day of now in the zone.
func NewDue(p *policy.Policy, name string, now time.Time, load ZoneLoader) (Due, error) {
	zone, err := load(name, now.Year()-yearsBack, now.Year()+yearsAhead)
	if err != nil {
		return Due{}, err
	}
	today, err := zone.Day(instant(now))
	return Due{policy: p, zone: zone, load: load, today: today, now: now}, err
}

func (d Due) converter() converter {
	return converter{r: &Records{Plan: &lastlightv1.Plan{PlannedEntry: timestamppb.New(d.now)}}, zone: d.load, decidedAt: d.now}
}

// Fact is the cylinder as the engine is told of it.
func (d Due) Fact(c Cylinder) facts.Cylinder { return d.converter().cylinder(c, d.zone) }

// On is the day that a time falls on: in the named zone, else in this one.
func (d Due) On(t time.Time, name string) (calendar.Day, error) {
	zone := d.zone
	if name != "" {
		var err error
		if zone, err = d.load(name, t.Year()-1, t.Year()+1); err != nil {
			return calendar.Day{}, err
		}
	}
	return zone.Day(instant(t))
}

// Cylinder tells how a cylinder stands today; its fill on record counts for its use.
func (d Due) Cylinder(c Cylinder) *lastlightv1.DueSummary {
	fact := d.Fact(c)
	a := gear.CylinderOn(d.policy, &fact, d.today)
	out := &lastlightv1.DueSummary{
		HydroLastDay: a.Due.Hydro.String(), VisualLastDay: a.Due.Visual.String(), Status: string(a.Due.Status),
		Fill: may(a.Fill), Use: may(a.Use), Carry: may(a.Carry), FallsFirst: a.FallsFirst, LastDay: a.LastDay.String(),
	}
	if a.Due.Next != nil {
		out.Next = string(a.Due.Next.Event)
	}
	if a.MaxFillBar > 0 {
		out.MaxFill = &lastlightv1.Pressure{Unit: &lastlightv1.Pressure_Bar{Bar: a.MaxFillBar}}
	}
	return out
}

func may(m gear.May) *lastlightv1.MayDo {
	return &lastlightv1.MayDo{Answer: string(m.Answer), Why: m.Why, Until: m.Until.String(), Clause: clause(m.Clause)}
}

func clause(c finding.Citation) string {
	text := c.Document
	for _, part := range []string{c.Edition, c.Section} {
		if part != "" {
			text += ", " + part
		}
	}
	return text
}

// Set tells when a set falls due: with its worst member.
func (d Due) Set(m *lastlightv1.CylinderSet, cylinders []*lastlightv1.Cylinder) *lastlightv1.NextDue {
	members := make([]*facts.Cylinder, len(m.Cylinders))
	for i, id := range m.Cylinders {
		if j := slices.IndexFunc(cylinders, func(c *lastlightv1.Cylinder) bool { return c.Id == id }); j >= 0 {
			fact := d.Fact(Cylinder{Record: cylinders[j]})
			members[i] = &fact
		}
	}
	s := gear.SetOn(d.policy, members, d.today)
	out := &lastlightv1.NextDue{LastDay: s.LastDay.String(), What: string(s.Event), Status: string(s.Status), Why: s.Why}
	if s.Member >= 0 {
		out.Cylinder = m.Cylinders[s.Member]
	}
	return out
}

// Equipment tells when a piece falls due; nil where the policy asks nothing of
// its kind. What is checked on each trip is not asked here.
func (d Due) Equipment(e Equipment) *lastlightv1.NextDue {
	item := d.converter().item(e, d.zone)
	a := gear.ItemOn(d.policy, &item, calendar.Days{}, d.today)
	if len(a.Clocks) == 0 {
		return nil
	}
	out := &lastlightv1.NextDue{LastDay: a.LastDay.String(), What: a.Clock, Status: string(a.Status), Why: a.Clocks[0].Why}
	for _, k := range a.Clocks {
		if k.Dives != nil {
			left := int32(*k.Dives)
			out.DivesLeft = &left
		}
	}
	return out
}

// Today is the day of now in the zone.
func (d Due) Today() calendar.Day { return d.today }

// Lines is what of gear stops diving on a day, or ends after it.
func (d Due) Lines(cylinders []Cylinder, equipment []Equipment, on calendar.Day) []engine.ReadyLine {
	c := d.converter()
	c.r.Policy = *d.policy
	var cyl []facts.Cylinder
	for _, x := range cylinders {
		cyl = append(cyl, c.cylinder(x, d.zone))
	}
	var items []facts.Item
	for _, x := range equipment {
		items = append(items, c.item(x, d.zone))
	}
	return engine.ItemsDue(d.policy, cyl, items, on)
}
