// Package roster says what must hold of people, cards and medical status
// beyond the bounds of each field.
package roster

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// Check notes what is wrong with a person. today is the day in the club's
// zone; the levels and endorsements are those of the policy in force.
func Check(p *fault.Problems, m *lastlightv1.Person, inForce *policy.Policy, today calendar.Day, now time.Time) {
	born := dates.Past(p, "birth_day", m.GetBirthDay(), today)
	dates.Day(p, "guardian_consent_to", m.GetGuardianConsentTo())
	if m.Guardian != "" && m.Guardian == m.Id {
		p.Add("guardian", m.Guardian, "another person", "nobody is their own guardian")
	}
	seen := map[string]int{}
	for i, c := range m.Cards {
		if j, twice := seen[c.Id]; twice {
			p.Addf(c.Id, "each card once", fmt.Sprintf("card %q is in the list already, as cards[%d]", c.Id, j), "cards[%d].id", i)
		} else {
			seen[c.Id] = i
		}
		checkCard(p, i, c, inForce, today, born)
	}
	for i, a := range m.Reassessments {
		at := fmt.Sprintf("reassessments[%d].", i)
		dates.Past(p, at+"day", a.Day, today)
		if a.AssessedBy == m.Id {
			p.Add(at+"assessed_by", a.AssessedBy, "another person", "nobody assesses themselves")
		}
	}
	if m.Medical != nil {
		CheckMedical(p, "medical.", m.Medical, today, now)
	}
	for i, a := range m.Arrivals {
		if a.ArrivedAt != nil { // it may be planned, so it may lie ahead
			dates.Year(p, fmt.Sprintf("arrivals[%d].arrived_at", i), a.ArrivedAt.AsTime())
		}
	}
	for i, u := range m.Unavailable {
		CheckDays(p, fmt.Sprintf("unavailable[%d].", i), u.FromDay, u.ToDay)
	}
}

func checkCard(p *fault.Problems, i int, c *lastlightv1.Card, inForce *policy.Policy, today, born calendar.Day) {
	at := func(field string) string { return fmt.Sprintf("cards[%d].%s", i, field) }
	switch {
	case (c.Level == "") == (c.Endorsement == ""):
		p.Add(at("level"), c.Level, "either a level or an endorsement", "a card states one of the two")
	case c.Level != "" && inForce.Level(c.Level) == nil:
		p.Add(at("level"), c.Level, "one of "+strings.Join(levels(inForce), ", "), "the club's ladder has no such level")
	case c.Endorsement != "" && !slices.Contains(inForce.Endorsements, c.Endorsement):
		p.Add(at("endorsement"), c.Endorsement, "one of "+strings.Join(inForce.Endorsements, ", "), "the club knows no such endorsement")
	}
	issued := dates.Past(p, at("issued_day"), c.IssuedDay, today)
	expires := dates.Day(p, at("expires_day"), c.ExpiresDay)
	if !issued.IsZero() && !expires.IsZero() && expires.Before(issued) {
		p.Add(at("expires_day"), c.ExpiresDay, "issued_day ("+c.IssuedDay+") or later", "the card ends before it was issued")
	}
	if !issued.IsZero() && !born.IsZero() && issued.Before(born) {
		p.Add(at("issued_day"), c.IssuedDay, "after the date of birth", "the card was issued before its holder was born")
	}
}

func levels(p *policy.Policy) []string {
	var names []string
	for _, l := range p.Ladder {
		names = append(names, l.Name)
	}
	return names
}

// CheckMedical notes what is wrong with a medical status at the prefix.
func CheckMedical(p *fault.Problems, prefix string, m *lastlightv1.MedicalStatus, today calendar.Day, now time.Time) {
	examined := dates.Past(p, prefix+"examined_day", m.ExaminedDay, today)
	until := dates.Day(p, prefix+"doctor_until", m.DoctorUntil)
	dates.Past(p, prefix+"declared_day", m.DeclaredDay, today)
	if !examined.IsZero() && !until.IsZero() && until.Before(examined) {
		p.Add(prefix+"doctor_until", m.DoctorUntil, "examined_day ("+m.ExaminedDay+") or later", "it ends before the examination")
	}
	if s := m.SuspendedAt; s != nil {
		dates.Instant(p, prefix+"suspended_at", s.AsTime(), now)
	}
	if c := m.ClearedAt; c != nil {
		dates.Instant(p, prefix+"cleared_at", c.AsTime(), now)
		if m.SuspendedAt == nil {
			p.Add(prefix+"cleared_at", c.AsTime().Format(time.RFC3339), "only with suspended_at", "nobody is cleared who was not suspended")
		} else if c.AsTime().Before(m.SuspendedAt.AsTime()) {
			p.Add(prefix+"cleared_at", c.AsTime().Format(time.RFC3339), "suspended_at or later", "cleared before suspended")
		}
	}
	for i, r := range m.ClearedByRoles {
		if _, err := access.ParseRole(r); err != nil {
			p.Addf(r, "roles such as medical_officer", "there is no such role", prefix+"cleared_by_roles[%d]", i)
		}
	}
}

// CheckDays notes what is wrong with a span of days at the prefix.
func CheckDays(p *fault.Problems, prefix, fromDay, toDay string) {
	from := dates.Day(p, prefix+"from_day", fromDay)
	to := dates.Day(p, prefix+"to_day", toDay)
	if !from.IsZero() && !to.IsZero() && to.Before(from) {
		p.Add(prefix+"to_day", toDay, "from_day ("+fromDay+") or later", "the last day is before the first")
	}
}
