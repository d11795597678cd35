package facts

import (
	"time"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/policy"
	"lastlight/engine/rules"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// CylinderDue tells when a cylinder's tests run out, as seen today in the zone,
// by the same reading of the policy's table as the rules use. Nil where the
// policy has no table for it.
func CylinderDue(p *policy.Policy, m *lastlightv1.Cylinder, zone calendar.Zone, now time.Time) *lastlightv1.DueSummary {
	today, err := zone.Day(calendar.FromUnix(now.Unix()))
	if err != nil {
		return nil
	}
	bare := Cylinder{Record: m}
	c := converter{r: &Records{}}
	fact := c.cylinder(bare, zone)
	cylinder, table, ok := rules.DueCylinder(p, &fact, today)
	if !ok {
		return nil
	}
	d := due.DueOn(cylinder, today, table)
	out := &lastlightv1.DueSummary{Status: string(d.Status)}
	if !d.Hydro.IsZero() {
		out.HydroLastDay = d.Hydro.String()
	}
	if !d.Visual.IsZero() {
		out.VisualLastDay = d.Visual.String()
	}
	if d.Next != nil {
		out.Next = string(d.Next.Event)
	}
	return out
}
