package facts

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// ExpeditionRecords is everything that "who can dive where on which day" rests on.
type ExpeditionRecords struct {
	PolicyID   string
	Policy     policy.Policy
	Expedition *lastlightv1.Expedition
	People     []Person // the participants
	Sites      []*lastlightv1.Site
	Permits    map[string][]*lastlightv1.Permit // by site
	Pseudonyms map[string]string
}

// Eligible makes the engine's input for an expedition, for all its days.
func Eligible(r *ExpeditionRecords, now time.Time, load ZoneLoader) (engine.EligibleInput, error) {
	in := engine.EligibleInput{PolicyVersion: r.PolicyID, Policy: r.Policy}
	var err error
	if in.First, err = calendar.ParseDay(r.Expedition.FromDay); err != nil {
		return in, err
	}
	if in.Last, err = calendar.ParseDay(r.Expedition.ToDay); err != nil {
		return in, err
	}
	var zone calendar.Zone
	for _, s := range r.Sites {
		c := converter{
			r: &Records{
				Policy: r.Policy, Site: s, Survey: &lastlightv1.Survey{}, Permits: r.Permits[s.Id], Pseudonyms: r.Pseudonyms,
				Plan: &lastlightv1.Plan{PlannedEntry: timestamppb.New(now)},
			},
			zone: load, decidedAt: now,
		}
		if zone, err = c.loadZone(s.TimeZone); err != nil {
			return in, err
		}
		site, err := c.site([]calendar.Zone{zone})
		if err != nil {
			return in, err
		}
		in.Sites = append(in.Sites, site)
	}
	if len(in.Sites) == 0 {
		return in, nil
	}
	c := converter{r: &Records{Policy: r.Policy, Pseudonyms: r.Pseudonyms, Plan: &lastlightv1.Plan{PlannedEntry: timestamppb.New(now)}}, zone: load, decidedAt: now}
	for _, p := range r.People {
		d, err := c.diver(p, []calendar.Zone{zone})
		if err != nil {
			return in, err
		}
		in.Divers = append(in.Divers, d)
	}
	return in, nil
}
