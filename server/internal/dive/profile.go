package dive

import (
	"fmt"
	"math"
	"slices"
	"time"

	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Samples unpacks a profile; what its lists do not hold alike is left out.
// Seconds count from the profile's beginning.
func Samples(p *lastlightv1.DiveProfile) []facts.Sample {
	n := min(len(p.GetAfterS()), len(p.GetDepthCm()))
	out := make([]facts.Sample, 0, n)
	second := 0
	for i := range n {
		second += int(p.AfterS[i])
		s := facts.Sample{Second: second, DepthM: float64(p.DepthCm[i]) / 100}
		if i < len(p.Gas) {
			s.Gas = int(p.Gas[i])
		}
		out = append(out, s)
	}
	return out
}

// SinceEntry unpacks a profile with seconds since the dive's entry. A profile
// that began later than the register's entry keeps its place, as far as it
// still ends within the dive: earlier, more gas would have left the tissues.
func SinceEntry(p *lastlightv1.DiveProfile, entered, out time.Time) []facts.Sample {
	samples := Samples(p)
	if len(samples) == 0 || p.StartedAt == nil {
		return samples
	}
	spare := int(out.Sub(entered).Seconds()) - samples[len(samples)-1].Second
	late := max(0, min(spare, int(p.StartedAt.AsTime().Sub(entered).Seconds())))
	for i := range samples {
		samples[i].Second += late
	}
	return samples
}

// checkProfile says what is wrong with a profile beside its record.
func checkProfile(d *lastlightv1.Dive, x *lastlightv1.DiveDiver, at string, deepest float64, wrong func(field, read, expected, message string)) {
	p := x.Profile
	if len(p.AfterS) != len(p.DepthCm) || (len(p.Gas) > 0 && len(p.Gas) != len(p.AfterS)) {
		wrong(at+"profile", fmt.Sprintf("%d times, %d depths, %d gases", len(p.AfterS), len(p.DepthCm), len(p.Gas)), "one of each for every sample, or no gas at all", "the profile's lists are not of one length")
		return
	}
	samples := Samples(p)
	if len(samples) == 0 {
		return
	}
	// One sample stands for all with the same fault: a profile has hundreds.
	if i := slices.Index(p.AfterS[1:], 0); i >= 0 {
		wrong(fmt.Sprintf("%sprofile.after_s[%d]", at, i+1), "0", "at least 1", "samples are in order of time")
	}
	if i := slices.IndexFunc(samples, func(s facts.Sample) bool { return s.Gas > len(x.OtherGases) }); i >= 0 {
		wrong(fmt.Sprintf("%sprofile.gas[%d]", at, i), fmt.Sprint(samples[i].Gas), fmt.Sprintf("0 to %d", len(x.OtherGases)), "no such gas is recorded")
	}
	below := 0
	for i, s := range samples {
		if s.DepthM > samples[below].DepthM {
			below = i
		}
	}
	if depth := samples[below].DepthM; depth > deepest+profileSlackM {
		wrong(fmt.Sprintf("%sprofile.depth_cm[%d]", at, below), fmt.Sprintf("%g m", depth), fmt.Sprintf("at most %g m, the greatest depth recorded", deepest),
			"the profile is deeper than the dive; if it is of this dive, correct the recorded depth first")
	}
	last := samples[len(samples)-1]
	if last.DepthM > surfaceM {
		wrong(at+"profile", fmt.Sprintf("ends at %g m", last.DepthM), "a last sample at the surface", "the profile does not end at the surface")
	}
	entered, out := d.EnteredAt.AsTime(), d.OutAt.AsTime()
	if length := out.Sub(entered).Seconds(); float64(last.Second) > length+profileSlackS && length > 0 {
		wrong(at+"profile", fmt.Sprintf("%d s", last.Second), fmt.Sprintf("at most the dive's %.0f min", length/60), "the profile is longer than the dive; if it is of this dive, correct the recorded times first")
	}
	if p.StartedAt == nil {
		return
	}
	began := p.StartedAt.AsTime()
	ended := began.Add(time.Duration(last.Second) * time.Second)
	if !began.Before(out) || !ended.After(entered) {
		wrong(at+"profile.started_at", began.Format(time.RFC3339), fmt.Sprintf("within the dive, %s to %s", entered.Format(time.RFC3339), out.Format(time.RFC3339)),
			"the profile is of another time than the dive; if the clock that recorded it was wrong, say when it began")
	}
}

// How far clocks may differ before it is said.
const clockSlack = 5 * time.Minute

// Disagreements says where a recorded profile and the register differ: nothing
// here stops the record, and nothing of it is swallowed. survey may be nil.
func Disagreements(d *lastlightv1.Dive, x *lastlightv1.DiveDiver, survey *lastlightv1.Survey) []string {
	samples := Samples(x.Profile)
	if len(samples) == 0 {
		return nil
	}
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	greatest := 0.0
	for _, s := range samples {
		greatest = math.Max(greatest, s.DepthM)
	}
	recorded := d.GetMaxDepthM()
	if x.MaxDepthM != nil {
		recorded = *x.MaxDepthM
	}
	if math.Abs(recorded-greatest) > profileSlackM {
		say("greatest depth: %.2f m in the profile, %g m in the register", greatest, recorded)
	}
	if survey != nil {
		deepest := 0.0
		for _, s := range survey.Stations {
			deepest = math.Max(deepest, s.GetDepthM())
		}
		for _, l := range survey.Legs {
			for _, p := range l.DepthPoints {
				deepest = math.Max(deepest, p.GetDepthM())
			}
		}
		if greatest > deepest+profileSlackM {
			say("depth: %.2f m in the profile, survey %d of %s goes to %g m", greatest, survey.Number, d.Site, deepest)
		}
	}
	length := time.Duration(samples[len(samples)-1].Second) * time.Second
	entered, left := d.EnteredAt.AsTime(), d.OutAt.AsTime()
	if x.Profile.StartedAt == nil {
		if missing := left.Sub(entered) - length; missing > clockSlack {
			say("the profile is %.0f min shorter than the dive in the register", missing.Minutes())
		}
		return out
	}
	began := x.Profile.StartedAt.AsTime()
	apart := func(what string, profile, register time.Time) {
		if by := profile.Sub(register); by.Abs() > clockSlack {
			say("%s: %s in the profile, %s in the register", what, profile.Format("2006-01-02 15:04Z07:00"), register.Format("2006-01-02 15:04Z07:00"))
		}
	}
	apart("in", began, entered)
	apart("out", began.Add(length), left)
	return out
}
