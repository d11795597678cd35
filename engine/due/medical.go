package due

import (
	"fmt"
	"slices"

	"lastlight/engine/calendar"
)

// AgeBand is the interval between examinations below an age (T22).
type AgeBand struct {
	BelowAge *int `json:"below_age"` // nil in the last band
	Months   int  `json:"months"`
}

// MedicalRules are the club's rules for medical examinations.
type MedicalRules struct {
	Bands               []AgeBand `json:"bands"`                // by rising age: below 40 60, below 60 36, else 24
	Lenient             bool      `json:"lenient"`              // the interval of the examination's day runs to its end
	DeclarationRequired bool      `json:"declaration_required"` // a yearly declaration is asked
	DeclarationMonths   int       `json:"declaration_months"`   // 12, exact
}

// Medical is a diver's medical record: dates only, never its content.
type Medical struct {
	Exam        calendar.Day `json:"exam"`
	Born        calendar.Day `json:"born"`
	Declared    calendar.Day `json:"declared"`     // the latest yearly declaration
	DoctorUntil calendar.Day `json:"doctor_until"` // the doctor's own earlier date

	Accident  calendar.Day     `json:"accident"`   // latest accident or symptoms
	Cleared   calendar.Day     `json:"cleared"`    // by the roles named, after Accident
	ClearedAt calendar.Instant `json:"cleared_at"` // its recorded minute, where known: it counts from then
}

// MedicalDue is how far a medical examination reaches.
type MedicalDue struct {
	ExamDue calendar.Day `json:"exam_due"`
	Rule    string       `json:"rule,omitempty"`    // interval_at_exam or shrinks_at_<age>
	LastDay calendar.Day `json:"last_day"`          // none: unknown
	Governs string       `json:"governs,omitempty"` // exam, declaration or doctor
	Verdict string       `json:"verdict,omitempty"` // only when days are asked
	Caution []string     `json:"caution,omitempty"`
}

// The verdicts, rules and governing dates of a medical; calendar.CannotTell is one more verdict.
const (
	MedicalValid     = "valid"
	MedicalEnded     = "ended"
	MedicalSuspended = "suspended"
	MedicalNotYet    = "not_yet"

	IntervalAtExam = "interval_at_exam"
	shrinksAt      = "shrinks_at_%d"

	GovernsExam        = "exam"
	GovernsDeclaration = "declaration"
	GovernsDoctor      = "doctor"
)

// MedicalReach tells how far the examination reaches, without asking about a day.
func MedicalReach(m Medical, rules MedicalRules) MedicalDue {
	var out MedicalDue
	out.ExamDue, out.Rule = examDue(m, rules)
	if out.ExamDue.IsZero() {
		out.Governs = GovernsExam
		return out
	}
	out.LastDay, out.Governs = out.ExamDue, GovernsExam
	if rules.DeclarationRequired {
		if m.Declared.IsZero() {
			out.LastDay, out.Governs = calendar.Day{}, GovernsDeclaration
			return out
		}
		if last := m.Declared.AddMonths(rules.DeclarationMonths); last.Before(out.LastDay) {
			out.LastDay, out.Governs = last, GovernsDeclaration
		}
	}
	if !m.DoctorUntil.IsZero() && m.DoctorUntil.Before(out.LastDay) {
		out.LastDay, out.Governs = m.DoctorUntil, GovernsDoctor
	}
	return out
}

// MedicalOn judges the days of a dive: the record must hold on every one.
// entry is the dive's entry, against which a clearance is set; none when only
// days are asked. Suspended beats not yet, ended and cannot tell, in this order.
func MedicalOn(m Medical, days calendar.Days, entry calendar.Instant, rules MedicalRules) MedicalDue {
	if m.Declared.After(days.First) {
		m.Declared = calendar.Day{} // on the first day asked it does not exist
	}
	out := MedicalReach(m, rules)
	over := func(last calendar.Day) bool { return !last.IsZero() && days.Last.After(last) }
	switch {
	case m.suspended(days, entry):
		out.Verdict = MedicalSuspended
	case !m.Exam.IsZero() && days.First.Before(m.Exam):
		out.Verdict = MedicalNotYet
	case over(out.LastDay) || over(out.ExamDue) || over(m.DoctorUntil):
		out.Verdict = MedicalEnded
	case out.LastDay.IsZero():
		out.Verdict = string(calendar.CannotTell)
	default:
		out.Verdict = MedicalValid
		if days.Last == out.LastDay {
			out.Caution = []string{LastDay}
		}
	}
	return out
}

func (m Medical) suspended(days calendar.Days, entry calendar.Instant) bool {
	if m.Accident.IsZero() || m.Accident.After(days.Last) {
		return false
	}
	switch {
	case m.Cleared.IsZero() || m.Cleared.Before(m.Accident) || m.Cleared.After(days.First):
		return true
	case !m.ClearedAt.IsZero() && !entry.IsZero():
		return m.ClearedAt.After(entry)
	}
	return false
}

// examDue is the last good day of the examination itself and the rule that set it.
func examDue(m Medical, rules MedicalRules) (calendar.Day, string) {
	if m.Exam.IsZero() || m.Born.IsZero() || len(rules.Bands) == 0 {
		return calendar.Day{}, ""
	}
	at := slices.IndexFunc(rules.Bands, func(b AgeBand) bool {
		return b.BelowAge == nil || m.Exam.Before(StricterBirthday(m.Born, *b.BelowAge))
	})
	if at < 0 {
		return calendar.Day{}, ""
	}
	due, rule := m.Exam.AddMonths(rules.Bands[at].Months), IntervalAtExam
	if rules.Lenient {
		return due, rule
	}
	for i := at; i+1 < len(rules.Bands) && rules.Bands[i].BelowAge != nil; i++ {
		age := *rules.Bands[i].BelowAge
		shrunk := m.Exam.AddMonths(rules.Bands[i+1].Months)
		if birthday := StricterBirthday(m.Born, age); birthday.After(shrunk) {
			shrunk = birthday
		}
		if shrunk.Before(due) {
			due, rule = shrunk, fmt.Sprintf(shrinksAt, age)
		}
	}
	return due, rule
}

// StricterBirthday is the day an age that makes a rule stricter is reached: in
// common years 28 February for those born on the 29th (T24).
func StricterBirthday(born calendar.Day, age int) calendar.Day { return born.AddMonths(12 * age) }
