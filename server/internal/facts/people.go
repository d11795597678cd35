package facts

import (
	"fmt"
	"slices"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dive"
)

func (c converter) diver(p Person, zones []calendar.Zone) (facts.Diver, error) {
	r := p.Record
	d := facts.Diver{
		ID: c.pseudonym(r.Id), Version: r.Version, Birth: day(r.GetBirthDay()), Guest: r.Guest,
	}
	for _, card := range r.Cards {
		d.Cards = append(d.Cards, facts.Card{
			ID: card.Id, Level: card.Level, Endorsement: card.Endorsement, Issued: day(card.IssuedDay), Expires: day(card.ExpiresDay),
			DepthM: card.DepthLimitM, SeenBy: c.pseudonymOrNone(card.SeenBy), SeenAt: stamp(card.SeenAt), Revoked: stamp(card.RevokedAt),
		})
	}
	d.Medical = c.medical(r, zones)
	for _, a := range r.Reassessments {
		d.Reassessed = append(d.Reassessed, day(a.Day))
	}
	for _, u := range r.Unavailable {
		d.NotDiving = append(d.NotDiving, facts.Absence{From: day(u.FromDay), To: day(u.ToDay)})
	}
	var err error
	if d.Consumption, err = c.consumption(p, zones[0]); err != nil {
		return d, err
	}
	if r.GuardianConsentTo != nil {
		d.Consent = append(d.Consent, facts.Consent{From: day(r.GetBirthDay()), To: day(*r.GuardianConsentTo), By: c.pseudonymOrNone(r.Guardian)})
	}
	for _, a := range r.Arrivals {
		d.Arrivals = append(d.Arrivals, facts.Arrival{Site: a.Site, At: stampUp(a.ArrivedAt)})
	}
	for _, dive := range p.Dives {
		past, err := c.pastDive(dive, r.Id)
		if err != nil {
			return d, err
		}
		d.Dives = append(d.Dives, past)
	}
	return d, nil
}

func (c converter) pseudonymOrNone(person string) string {
	if person == "" {
		return ""
	}
	return c.pseudonym(person)
}

// medical is nil where no status is on record: not known, which blocks. A
// suspension is of the earliest of the days that its minute is of, over the zones.
func (c converter) medical(r *lastlightv1.Person, zones []calendar.Zone) *facts.Medical {
	m := r.Medical
	if m == nil {
		return nil
	}
	out := &facts.Medical{Examined: day(m.ExaminedDay), DoctorUntil: day(m.DoctorUntil), Declared: day(m.DeclaredDay), DepthLimitM: m.DepthLimitM}
	if m.SuspendedAt != nil {
		out.Suspended = calendar.EarliestDay(stamp(m.SuspendedAt), zones...)
		// Cleared only by all the roles that the policy names.
		cleared := true
		for _, role := range c.r.Policy.People.SuspensionClearedBy {
			cleared = cleared && slices.Contains(m.ClearedByRoles, role)
		}
		if cleared {
			out.Cleared = stamp(m.ClearedAt)
		}
	}
	return out
}

func (c converter) pastDive(d PastDive, person string) (facts.PastDive, error) {
	// The zone as it was that year: a log goes further back than a plan's zones do.
	year := d.EnteredAt.UTC().Year()
	zone, err := c.zone(d.TimeZone, year, year)
	if err != nil {
		return facts.PastDive{}, fmt.Errorf("dive %s: time zone %q: %w", d.ID, d.TimeZone, err)
	}
	entry := instant(d.EnteredAt)
	on, err := zone.Day(entry)
	if err != nil {
		return facts.PastDive{}, fmt.Errorf("dive %s: %w", d.ID, err)
	}
	out := facts.PastDive{
		ID: d.ID, Site: d.Site, Entry: entry, Out: instant(d.OutAt), EntryDay: on, Zone: zoneWords[d.Zone],
		CountedAs: d.CountedAs, Instructor: d.Instructor, Uses: d.Used, PenetrationM: d.PenetrationM, MaxDepthM: d.MaxDepthM, Open: !d.Closed, Version: d.Version,
	}
	if d.Record != nil {
		whole(&out, d, person)
	}
	if d.Closed {
		out.SignedOut = out.Out
	}
	// Who taught was not taught.
	if d.Kind == string(facts.Training) && d.Taught && !d.Instructor {
		out.TrainingAs = d.TaughtLevel
	}
	return out, nil
}

// whole adds what a dive left in this diver: where it was, what was breathed, how
// deep and when.
func whole(out *facts.PastDive, d PastDive, person string) {
	out.Stops = d.Record.RequiredStops
	out.DensityKgM3 = &d.Place.WaterDensity
	switch p := d.Place.SurfacePressure.(type) {
	case *lastlightv1.Site_AltitudeM:
		out.AltitudeM = &p.AltitudeM
	case *lastlightv1.Site_BarometerBar:
		out.BarometerBar = &p.BarometerBar
	}
	for _, x := range d.Record.Divers {
		if x.Person != person {
			continue
		}
		if x.MaxDepthM != nil {
			out.MaxDepthM = x.MaxDepthM
		}
		if x.Gas == nil { // the first of Gases is the back gas: without it the others say nothing
			return
		}
		out.Gases = append(out.Gases, facts.Breathed{O2: x.Gas.OxygenPercent, He: x.Gas.HeliumPercent})
		for _, g := range x.OtherGases {
			out.Gases = append(out.Gases, facts.Breathed{
				O2: g.GetGas().GetOxygenPercent(), He: g.GetGas().GetHeliumPercent(), DeepestM: g.DeepestM, Minutes: g.Minutes,
			})
		}
		out.Profile = dive.SinceEntry(x.Profile, d.Record.EnteredAt.AsTime(), d.Record.OutAt.AsTime())
	}
}

// zoneWords translates the register's words into the engine's.
var zoneWords = map[string]string{"open_water": "open", "cavern": "cavern", "cave": "cave"}
