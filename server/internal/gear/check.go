// Package gear says what must hold of cylinders, sets, equipment, service
// events, fills and analyses beyond the bounds of each field.
package gear

import (
	"fmt"
	"slices"
	"strings"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// CheckCylinder notes what is wrong with a cylinder in SI units. today is the day in the club's zone.
func CheckCylinder(p *fault.Problems, m *lastlightv1.Cylinder, inForce *policy.Policy, today calendar.Day) {
	if l := m.WaterVolume.GetLitres(); l <= 0 || l > 100 {
		p.Add("water_volume", fmt.Sprintf("%.3g L", l), "more than 0, at most 100 L", "no cylinder of this size is dived with")
	}
	if b := m.WorkingPressure.GetBar(); b <= 0 || b > 450 {
		p.Add("working_pressure", fmt.Sprintf("%g bar", b), "more than 0, at most 450 bar", "not a working pressure")
	}
	if strings.TrimSpace(m.Serial) != m.Serial {
		p.Add("serial", m.Serial, "no blanks at either end", "blanks hide twin serials")
	}
	if strings.TrimSpace(m.Maker) != m.Maker {
		p.Add("maker", m.Maker, "no blanks at either end", "blanks hide twin serials")
	}
	if inForce.Regime(m.Jurisdiction) == nil {
		p.Add("jurisdiction", m.Jurisdiction, "one of "+strings.Join(regimes(inForce), ", "), "the policy has no table for it")
	}
	made := dates.Mark(p, "manufactured", m.Manufactured, today)
	first := dates.Past(p, "first_service_day", m.FirstServiceDay, today)
	dates.Past(p, "risk_assessment_day", m.RiskAssessmentDay, today)
	if !first.IsZero() && !made.IsZero() && first.Mark().CompareCoarse(made) < 0 {
		p.Add("first_service_day", m.FirstServiceDay, "manufactured ("+m.Manufactured+") or later", "in service before it was made")
	}
	checkEvents(p, m.ServiceEvents, made, today)
}

func regimes(p *policy.Policy) []string {
	var names []string
	for _, r := range p.Cylinders.Regimes {
		if !slices.Contains(names, r.Name) {
			names = append(names, r.Name)
		}
	}
	return names
}

// CheckEquipment notes what is wrong with other equipment.
func CheckEquipment(p *fault.Problems, m *lastlightv1.Equipment, today calendar.Day) {
	checkEvents(p, m.ServiceEvents, dates.Mark(p, "manufactured", m.Manufactured, today), today)
}

func checkEvents(p *fault.Problems, events []*lastlightv1.ServiceEvent, made calendar.Mark, today calendar.Day) {
	seen := map[string]bool{}
	for i, e := range events {
		if e.Id != "" && seen[e.Id] {
			p.Addf(e.Id, "each event once", "this event is in the list already", "service_events[%d].id", i)
		}
		seen[e.Id] = true
		CheckService(p, fmt.Sprintf("service_events[%d].", i), e, made, today)
	}
}

// damages are the words for what happened to a cylinder (T18).
var damages = []string{"dropped", "heated", "wet_inside", "emptied_under_water", "corroded"}

// CheckService notes what is wrong with a service event at the prefix; made is the mark of manufacture, if known.
func CheckService(p *fault.Problems, prefix string, m *lastlightv1.ServiceEvent, made calendar.Mark, today calendar.Day) {
	date := dates.Mark(p, prefix+"date", m.Date, today)
	dates.Due(p, prefix+"next_due", m.NextDue)
	if !date.IsZero() && !made.IsZero() && date.CompareCoarse(made) < 0 {
		p.Add(prefix+"date", m.Date, "the month of manufacture ("+made.String()+") or later", "done before the item was made")
	}
	if m.Kind == "damage" && !slices.Contains(damages, m.What) {
		p.Add(prefix+"what", m.What, "one of "+strings.Join(damages, ", "), "a damage must say what happened")
	}
	if m.Clears != "" && m.Kind != "inspection" && m.Kind != "visual" && m.Kind != "hydro" {
		p.Add(prefix+"clears", m.Clears, "only with kind inspection, visual or hydro", "only an inspection clears a damage")
	}
	if m.Corrects != "" && m.Corrects == m.Id {
		p.Add(prefix+"corrects", m.Corrects, "an earlier event", "an event cannot correct itself")
	}
}

// members is how many cylinders each kind of set has.
var members = map[string][2]int{"twinset": {2, 2}, "sidemount": {2, 2}, "single": {1, 1}, "stage": {1, 1}, "deco": {1, 1}}

// CheckSet notes what is wrong with a set of cylinders.
func CheckSet(p *fault.Problems, m *lastlightv1.CylinderSet) {
	if want, known := members[m.Kind]; known && (len(m.Cylinders) < want[0] || len(m.Cylinders) > want[1]) {
		p.Add("cylinders", fmt.Sprintf("%d cylinders", len(m.Cylinders)), fmt.Sprintf("%d in a %s", want[0], m.Kind), "the number of cylinders does not fit the kind of set")
	}
	if m.DualOutlet && m.Kind != "single" {
		p.Add("dual_outlet", "true", "only with kind single", "two outlets are a matter of a single cylinder")
	}
}
