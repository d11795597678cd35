package facts

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// PolicyFrom is a policy from a day on, as each site counts days.
type PolicyFrom struct {
	ID     string
	From   string
	Policy policy.Policy
}

// ExpeditionRecords is everything that "who can dive where on which day" rests on.
type ExpeditionRecords struct {
	Policies   []PolicyFrom // those that count on its days, the first first
	Expedition *lastlightv1.Expedition
	People     []Person // the participants
	Sites      []*lastlightv1.Site
	Permits    map[string][]*lastlightv1.Permit // by site
	Pseudonyms map[string]string
}

// Eligible makes the engine's input for an expedition: one for the days of each policy that counts on them, in their order.
func Eligible(r *ExpeditionRecords, now time.Time, load ZoneLoader) ([]engine.EligibleInput, error) {
	first, err := calendar.ParseDay(r.Expedition.FromDay)
	if err != nil {
		return nil, err
	}
	last, err := calendar.ParseDay(r.Expedition.ToDay)
	if err != nil {
		return nil, err
	}
	var out []engine.EligibleInput
	for i := range r.Policies {
		in, err := eligibleUnder(r, &r.Policies[i], now, load)
		if err != nil {
			return nil, err
		}
		in.First, in.Last = first, last
		if i > 0 {
			if in.First, err = calendar.ParseDay(r.Policies[i].From); err != nil {
				return nil, err
			}
			out[i-1].Last = in.First.Add(-1)
		}
		out = append(out, in)
	}
	return out, nil
}

// eligibleUnder is the input but for its days.
func eligibleUnder(r *ExpeditionRecords, p *PolicyFrom, now time.Time, load ZoneLoader) (engine.EligibleInput, error) {
	in := engine.EligibleInput{PolicyVersion: p.ID, Policy: p.Policy}
	var zones []calendar.Zone
	for _, s := range r.Sites {
		c := converter{
			r: &Records{
				Policy: p.Policy, Site: s, Survey: &lastlightv1.Survey{}, Permits: r.Permits[s.Id], Pseudonyms: r.Pseudonyms,
				Plan: &lastlightv1.Plan{PlannedEntry: timestamppb.New(now)},
			},
			zone: load, decidedAt: now,
		}
		zone, err := c.loadZone(s.TimeZone)
		if err != nil {
			return in, err
		}
		zones = append(zones, zone)
		in.Sites = append(in.Sites, c.site([]calendar.Zone{zone}))
	}
	if len(in.Sites) == 0 {
		return in, nil
	}
	c := converter{r: &Records{Policy: p.Policy, Pseudonyms: r.Pseudonyms, Plan: &lastlightv1.Plan{PlannedEntry: timestamppb.New(now)}}, zone: load, decidedAt: now}
	for _, person := range r.People {
		d, err := c.diver(person, zones)
		if err != nil {
			return in, err
		}
		in.Divers = append(in.Divers, d)
	}
	return in, nil
}
