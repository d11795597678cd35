package watch

import "lastlight/engine/calendar"

// Reading is one recorded reading of a site's conditions.
type Reading struct {
	At    calendar.Instant `json:"at"`
	Class string           `json:"class"` // class of flow
}

// TodaysReading is the reading that counts for an entry.
type TodaysReading struct {
	Verdict string           `json:"verdict"` // Known or CannotTell
	Index   int              `json:"index"`   // among the readings given; -1 when there is none
	Used    calendar.Instant `json:"used"`
	Class   string           `json:"class,omitempty"`
}

// ReadingFor picks the last reading at or before the entry on the entry's
// site-local day, however old (T33); of one minute, the one listed last. On a
// traverse whose openings lie in several zones it is of the entry's day in each
// of them (T1). No zone: cannot tell.
func ReadingFor(readings []Reading, entry calendar.Instant, zones ...calendar.Zone) (TodaysReading, error) {
	out := TodaysReading{Verdict: CannotTell, Index: -1}
	if len(zones) == 0 {
		return out, nil
	}
	for i, r := range readings {
		if r.At.IsZero() || r.At.After(entry) || r.At.Before(out.Used) {
			continue
		}
		// Within two days of the entry the zone is asked; further back is never today.
		if entry.Sub(r.At) > 2*24*60 {
			continue
		}
		today, err := calendar.SameDay(r.At, entry, zones...)
		if err != nil {
			return TodaysReading{Verdict: CannotTell, Index: -1}, err
		}
		if today {
			out = TodaysReading{Verdict: Known, Index: i, Used: r.At, Class: r.Class}
		}
	}
	return out, nil
}

// Verification asks whether verified legs may be relied on.
type Verification struct {
	VerifiedAt  []calendar.Instant `json:"verified_at"` // of every set-up dive relied on: the minute its marker was reached, else its entry
	ReliedUntil calendar.Instant   `json:"relied_until"`
	Entry       calendar.Instant   `json:"entry"`
	ClassThen   string             `json:"class_then"` // class of flow on the set-up dives
	Readings    []Reading          `json:"readings"`
	HoldsForMin int                `json:"holds_for_min"` // 168 h = 10,080 elapsed minutes
}

// Verified is whether they may.
type Verified struct {
	EndsAt  calendar.Instant `json:"ends_at"` // the oldest governs; none when nothing is on record
	Verdict string           `json:"verdict"` // Counts, Expired, CannotTell or ConditionsDiffer
	Reading TodaysReading    `json:"reading"`
}

// JudgeVerification sets the last planned minute at which a verified leg is
// relied on against the oldest verification, then today's reading, in every zone,
// against the class of flow of then (T31, T1). A verification after the entry cannot be relied on.
func JudgeVerification(v Verification, zones ...calendar.Zone) (Verified, error) {
	out := Verified{Verdict: CannotTell}
	var oldest calendar.Instant
	for _, at := range v.VerifiedAt {
		if at.IsZero() || at.After(v.Entry) {
			return out, nil
		}
		if oldest.IsZero() || at.Before(oldest) {
			oldest = at
		}
	}
	reading, err := ReadingFor(v.Readings, v.Entry, zones...)
	if err != nil {
		return out, err
	}
	out.Reading = reading
	if oldest.IsZero() {
		return out, nil
	}
	out.EndsAt = oldest.Add(v.HoldsForMin)
	switch {
	case v.ReliedUntil.After(out.EndsAt):
		out.Verdict = Expired
	case v.ReliedUntil.IsZero() || v.ClassThen == "" || reading.Verdict != Known:
		out.Verdict = CannotTell
	case reading.Class != v.ClassThen:
		out.Verdict = ConditionsDiffer
	default:
		out.Verdict = Counts
	}
	return out, nil
}

// FarOpening is whether the opening a traverse leaves by is known to be open.
type FarOpening struct {
	EndsAt  calendar.Instant `json:"ends_at"`
	Verdict string           `json:"verdict"` // Passes or CannotTell
}

// JudgeFarOpening: seen open not after the entry, and at most holdsForMin
// elapsed minutes (48 h) before the latest surfacing there (T32).
func JudgeFarOpening(seenOpenAt calendar.Instant, dive calendar.Span, holdsForMin int) FarOpening {
	out := FarOpening{EndsAt: seenOpenAt.Add(holdsForMin), Verdict: CannotTell}
	if !seenOpenAt.IsZero() && !seenOpenAt.After(dive.Entry) && !dive.Out.After(out.EndsAt) {
		out.Verdict = Passes
	}
	return out
}
