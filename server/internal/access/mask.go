package access

import (
	"fmt"
	"slices"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// MaskPerson clears in place what the caller does not see of a person. The person's guardian, told by the record itself, counts
// as such. Whoever does not even see that the person is in the directory, as a guest, sees nothing: then it answers false, and
// the record must not be shown at all.
func MaskPerson(c *Caller, s Subject, p *lastlightv1.Person) bool {
	if p == nil {
		return false
	}
	s.Relation |= c.toPerson(p.Id)
	s.Of = p.Id
	if !c.Sees(Directory, s) {
		return false
	}
	if !c.Sees(Reach, s) {
		p.Telephone, p.Unavailable, p.Arrivals = nil, nil, nil
	}
	if p.Medical != nil && !c.Sees(Medical, s) {
		p.Medical = nil
	}
	if p.Medical.GetRestrictionCode() != "" && !c.Sees(Restriction, s) {
		p.Medical.RestrictionCode = ""
	}
	if len(p.EmergencyContacts) > 0 && !c.Sees(Contacts, s) {
		p.EmergencyContacts = nil
	}
	if !c.Sees(Training, s) {
		p.Cards, p.Consumption, p.WorstConsumption, p.Reassessments = nil, nil, nil, nil
	}
	if !c.Sees(CardNumber, s) {
		for _, card := range p.Cards {
			card.Number = nil
		}
	}
	if !c.Sees(Minor, s) {
		p.BirthDay, p.Guardian, p.GuardianConsentTo = nil, "", nil
	}
	return true
}

// toPerson is what a person's key alone says of the caller's relation to it.
func (c *Caller) toPerson(person string) Relation {
	var r Relation
	if person != "" && person == c.Person {
		r |= Self
	}
	if c.Guards(person) {
		r |= Ward
	}
	return r
}

// MaskSite clears in place what the caller does not see of a site. That something is on record stays visible.
func MaskSite(c *Caller, s Subject, site *lastlightv1.Site) {
	if site == nil || site.ExactPosition == nil && site.AccessNotes == nil && site.GateCode == nil {
		return
	}
	s.Of = site.Id
	if !c.Sees(Place, s) {
		site.ExactPosition, site.AccessNotes, site.GateCode = nil, nil, nil
	}
}

// Pseudonyms are the people of an incident in the order of the report, to whoever does not see who they are.
func Pseudonyms(n int) (list []string) {
	for i := range n {
		list = append(list, fmt.Sprintf("diver %d", i+1))
	}
	return list
}

// MaskIncident clears in place what the caller does not see of an incident: the club reads what the safety officer has reviewed,
// with persons as pseudonyms in the order of the report.
func MaskIncident(c *Caller, s Subject, i *lastlightv1.Incident) {
	if i == nil {
		return
	}
	if i.ReportedBy != "" && i.ReportedBy == c.Person {
		s.Relation |= Self
	}
	if !c.Sees(Identities, s) {
		i.People = Pseudonyms(len(i.People))
		if i.ReportedBy != c.Person {
			i.ReportedBy = ""
		}
	}
	if !c.Sees(Narrative, s) {
		i.Narrative, i.Trigger, i.HarmfulAction, i.PrecedingEvent = i.ReviewedNarrative, "", "", ""
		i.Outcome, i.WentRight, i.Lessons = "", "", ""
		// Which dive it was names who was in it; so does the minute, as long as nobody has looked.
		i.Dive, i.Injured = "", nil
		if i.ReviewedNarrative == "" {
			i.HappenedAt, i.ReportedAt = nil, nil
		}
	}
}

// MaskWaivers leaves of a plan's waivers what the caller sees: not that there is one to whoever may not know, and no reasons to
// whoever may know the rest.
func MaskWaivers(c *Caller, s Subject, list []*lastlightv1.Waiver) []*lastlightv1.Waiver {
	if !c.Sees(WaiverFact, s) {
		return nil
	}
	if !c.Sees(WaiverReason, s) {
		for _, w := range list {
			w.Reason, w.WithdrawnReason = "", ""
		}
	}
	return list
}

// MaskWatch clears in place what the caller does not see of a team's entry in the register. Whoever does not see who is away
// sees nothing of it: then it answers false, and the entry must not be shown at all.
func MaskWatch(c *Caller, s Subject, w *lastlightv1.Watch) bool {
	if !c.Sees(Board, s) {
		return false
	}
	if w == nil {
		return true
	}
	if !w.AllSeenOut {
		s.Relation |= WatchRuns
	} else {
		s.Relation &^= WatchRuns
	}
	hidden := func(person string) bool {
		return !c.Sees(Contacts, Subject{Expeditions: s.Expeditions, Relation: s.Relation &^ Self, Of: person})
	}
	w.Contacts = slices.DeleteFunc(w.Contacts, func(x *lastlightv1.WatchContact) bool { return hidden(x.Person) })
	w.WithoutContact = slices.DeleteFunc(w.WithoutContact, hidden)
	for _, d := range w.Divers {
		if !c.Sees(Medical, Subject{Expeditions: s.Expeditions, Relation: c.toPerson(d.Person)}) {
			d.Symptoms = nil
		}
	}
	return true
}

// MaskCylinder clears in place what the caller does not see of a cylinder: its test dates and what follows from them.
func MaskCylinder(c *Caller, s Subject, cylinder *lastlightv1.Cylinder) {
	if cylinder == nil {
		return
	}
	if cylinder.Owner != "" && cylinder.Owner == c.Person {
		s.Relation |= Self
	}
	if !c.Sees(GearDates, s) {
		cylinder.ServiceEvents, cylinder.Due = nil, nil
		cylinder.FirstServiceDay, cylinder.RiskAssessmentDay = "", ""
	}
}
