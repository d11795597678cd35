package facts

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// PersonRecords is everything that "am I good to go?" rests on.
type PersonRecords struct {
	PolicyID   string
	Policy     policy.Policy
	Person     *lastlightv1.Person
	Dives      []PastDive
	Cylinders  []Cylinder        // the person's own
	Equipment  []Equipment       // the person's own
	Site       *lastlightv1.Site // nil: no site asked about
	ClubZone   string
	Pseudonyms map[string]string
}

// Ready makes the engine's input for a person's question. day is in the site's
// zone, or the club's where no site is named; empty: today.
func Ready(r *PersonRecords, day string, now time.Time, load ZoneLoader) (engine.ReadyInput, error) {
	name := r.ClubZone
	in := engine.ReadyInput{PolicyVersion: r.PolicyID, Policy: r.Policy}
	if r.Site != nil {
		grade := int(r.Site.Grade)
		name, in.SiteID, in.SiteName, in.SiteGrade = r.Site.TimeZone, r.Site.Id, r.Site.Title, &grade
	}
	c := converter{
		r:    &Records{Policy: r.Policy, Plan: &lastlightv1.Plan{PlannedEntry: timestamppb.New(now)}, Pseudonyms: r.Pseudonyms},
		zone: load, decidedAt: now,
	}
	zone, err := c.loadZone(name)
	if err != nil {
		return in, err
	}
	in.Zones = []calendar.Zone{zone}
	if day == "" {
		if in.Day, err = zone.Day(instant(now)); err != nil {
			return in, err
		}
	} else if in.Day, err = calendar.ParseDay(day); err != nil {
		return in, err
	}
	if in.Diver, err = c.diver(Person{Record: r.Person, Dives: r.Dives}, in.Zones); err != nil {
		return in, err
	}
	for _, cyl := range r.Cylinders {
		in.Cylinders = append(in.Cylinders, c.cylinder(cyl, zone))
	}
	for _, e := range r.Equipment {
		in.Items = append(in.Items, c.item(e, zone))
	}
	return in, nil
}
