package training

import "lastlight/engine/calendar"

// AgeAnswer is whether a diver is old enough.
type AgeAnswer struct {
	Age       int          `json:"age"`        // whole years on the dive's first day
	ReachedOn calendar.Day `json:"reached_on"` // the day the minimum age is reached
	Verdict   string       `json:"verdict"`    // Passes, Refused; CannotTell without a date of birth
}

// MinimumAge asks the minimum age, in years, on the first day of the dive (T24).
func MinimumAge(born calendar.Day, years int, days calendar.Days) AgeAnswer {
	if born.IsZero() || days.First.IsZero() {
		return AgeAnswer{Verdict: CannotTell}
	}
	out := AgeAnswer{ReachedOn: Birthday(born, years), Age: AgeOn(born, days.First), Verdict: Passes}
	if days.First.Before(out.ReachedOn) {
		out.Verdict = Refused
	}
	return out
}

// Birthday is the day an age is reached; for those born on 29 February, in
// common years, 1 March (T24: a minimum age).
func Birthday(born calendar.Day, years int) calendar.Day {
	b := born.AddMonths(12 * years)
	_, _, bornDay := born.Date()
	if _, _, day := b.Date(); !b.IsZero() && day != bornDay {
		return b.Add(1)
	}
	return b
}

// AgeOn is the age in whole years on a day, 0 before the first birthday.
func AgeOn(born, on calendar.Day) int {
	bornYear, _, _ := born.Date()
	year, _, _ := on.Date()
	age := year - bornYear
	if on.Before(Birthday(born, age)) {
		age--
	}
	return max(0, age)
}
