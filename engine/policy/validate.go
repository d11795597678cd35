package policy

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Problem is one fault of a policy document.
type Problem struct {
	Path    string `json:"path"` // e.g. ladder[INT].max_depth_m
	Got     string `json:"got"`
	Message string `json:"message"` // what is expected, with its unit
}

func (p Problem) String() string { return p.Path + ": " + p.Message + ", got " + p.Got }

type checker struct{ problems []Problem }

func (c *checker) add(path, got, message string) {
	c.problems = append(c.problems, Problem{path, got, message})
}

func (c *checker) number(path string, v, low, high float64, unit string) {
	if math.IsNaN(v) || v < low || v > high {
		c.add(path, strconv.FormatFloat(v, 'g', -1, 64), fmt.Sprintf("expected %g to %g %s", low, high, unit))
	}
}

func (c *checker) whole(path string, v, low, high int, unit string) {
	if v < low || v > high {
		c.add(path, strconv.Itoa(v), fmt.Sprintf("expected %d to %d %s", low, high, unit))
	}
}

func (c *checker) word(path, v string, allowed ...string) {
	if !slices.Contains(allowed, v) {
		c.add(path, strconv.Quote(v), "expected one of "+strings.Join(allowed, ", "))
	}
}

func (c *checker) decide(path string, v Decide, allowed ...Decide) {
	words := make([]string, len(allowed))
	for i, a := range allowed {
		words[i] = string(a)
	}
	c.word(path, string(v), words...)
}

func (c *checker) fraction(path string, f Fraction) {
	if f.Den <= 0 || f.Num <= 0 || f.Num > f.Den || f.Den > 1000 {
		c.add(path, strconv.Quote(f.String()), "expected a fraction above 0 and at most 1")
	}
}

// Validate returns every fault of the document, in the order of the document;
// nil means it may be adopted. It compares single cells and cells against each
// other; it does not judge whether a club's number is wise.
func (p *Policy) Validate() []Problem {
	c := &checker{}
	p.validateLadder(c)
	p.validateDiving(c)
	p.validateGas(c)
	p.validatePeople(c)
	p.validateGear(c)
	p.validateDecompression(c)
	p.validateWaivers(c)
	p.validateOwnRules(c)
	for i, s := range p.Sources {
		if s.Path == "" || !s.Citation.Complete() {
			c.add(fmt.Sprintf("sources[%d]", i), strconv.Quote(s.Path), "expected a path and a citation with document, edition, section and date read")
		}
	}
	return c.problems
}

func (p *Policy) validateLadder(c *checker) {
	if len(p.Ladder) == 0 {
		c.add("ladder", "empty", "expected at least one level")
	}
	seen := map[string]bool{}
	overheads := []Overhead{OverheadNone, OverheadDaylight, OverheadMainLine, OverheadDark}
	easier := -1
	for i := range p.Ladder {
		l := &p.Ladder[i]
		at := "ladder[" + l.Name + "]."
		if l.Name == "" {
			at = fmt.Sprintf("ladder[%d].", i)
			c.add(at+"name", `""`, "expected a name")
		} else if seen[l.Name] {
			c.add(at+"name", strconv.Quote(l.Name), "expected each level once")
		}
		seen[l.Name] = true
		o := slices.Index(overheads, l.Overhead)
		if o < 0 {
			c.word(at+"overhead", string(l.Overhead), "none", "daylight_zone", "dark_zone_main_line", "dark_zone")
		} else if o < easier {
			c.add(at+"overhead", string(l.Overhead), "expected at least what the level below may do: the ladder goes from easy to hard")
		}
		easier = max(easier, o)
		c.number(at+"max_depth_m", l.MaxDepthM, 1, 350, "m")
		if l.MaxLinearM != nil {
			c.number(at+"max_linear_m", *l.MaxLinearM, 0, 10000, "m")
		}
		c.gasRule(at+"gas_single", l.GasSingle)
		c.gasRule(at+"gas_doubles", l.GasDoubles)
		c.gasRule(at+"inflow", l.Inflow)
		c.number(at+"min_start_gas_l", l.MinStartGasL, 0, 100000, "L at 1 bar")
		c.number(at+"min_visibility_m", l.MinVisibilityM, 0, 100, "m")
		c.decide(at+"lower_visibility", l.LowerVisibility, DecideRefuse, DecideWaiver, DecideCaution)
		if l.NoStopShare != nil {
			c.number(at+"no_stop_share", *l.NoStopShare, 0, 1, "of the no-stop limit")
		}
		if l.DecoGases != nil {
			c.whole(at+"deco_gases", *l.DecoGases, 0, 20, "gases")
		}
		if l.DecoMinutes != nil {
			c.number(at+"deco_minutes", *l.DecoMinutes, 0, 1440, "min")
		}
		for _, cell := range []struct {
			name string
			p    Permission
		}{
			{"decompression", l.Decompression},
			{"jumps", l.Jumps},
			{"off_main_line", l.OffMainLine},
			{"circuit", l.Circuit},
			{"traverse", l.Traverse},
			{"minor_restriction", l.MinorRestriction},
			{"major_restriction", l.MajorRestriction},
			{"stages", l.Stages},
			{"scooter", l.Scooter},
			{"rebreather", l.Rebreather},
		} {
			for _, e := range cell.p.Endorsements {
				c.word(at+cell.name+".endorsements", e, p.Endorsements...)
			}
			if cell.p.Max != nil {
				c.whole(at+cell.name+".max", *cell.p.Max, 0, 1000, "per dive")
			}
			if cell.p.WarnAbove != nil {
				c.whole(at+cell.name+".warn_above", *cell.p.WarnAbove, 0, 1000, "per dive")
			}
		}
		for _, e := range l.DeeperWith {
			c.word(at+"deeper_with", e, p.Endorsements...)
		}
		c.whole(at+"team_min", l.TeamMin, 1, 12, "divers")
		c.whole(at+"team_max", l.TeamMax, max(1, l.TeamMin), 12, "divers")
		c.whole(at+"lights", l.Lights, 0, 12, "lights per diver")
		c.whole(at+"max_site_grade", l.MaxSiteGrade, 0, 5, "site grade")
		c.whole(at+"course_dives", l.CourseDives, 0, 500, "dives")
		if l.LapseMonths != nil {
			c.whole(at+"lapse_months", *l.LapseMonths, 1, 240, "months")
			if l.LapsesTo != "" && (p.Rung(l.LapsesTo) < 0 || p.Rung(l.LapsesTo) >= i) {
				c.add(at+"lapses_to", strconv.Quote(l.LapsesTo), "expected an easier level of the ladder")
			}
		}
	}
}

func (c *checker) gasRule(path string, g GasRule) {
	c.word(path+".kind", string(g.Kind), string(GasNotAllowed), string(GasMinimum), string(GasFraction))
	if g.Kind == GasFraction {
		c.fraction(path+".fraction", g.Fraction)
	}
}

func (p *Policy) validateDiving(c *checker) {
	c.whole("team.cutting_tools", p.Team.CuttingTools, 0, 10, "per diver")
	c.number("lights.primary_factor", p.Lights.PrimaryFactor, 0, 10, "× runtime")
	c.number("lights.backup_factor", p.Lights.BackupFactor, 0, 10, "× runtime")
	c.whole("lights.primaries", p.Lights.Primaries, 0, 5, "lights")
	c.number("lines.reel_factor", p.Lines.ReelFactor, 1, 5, "× leg")
	c.number("lines.primary_reel_m", p.Lines.PrimaryReelM, 0, 500, "m")
	c.whole("lines.safety_spools", p.Lines.SafetySpools, 0, 5, "per diver")
	c.number("lines.safety_spool_m", p.Lines.SafetySpoolM, 0, 200, "m")
	c.whole("lines.markers_per_decision", p.Lines.MarkersPerDecision, 0, 5, "per diver")
	c.whole("lines.arrows_per_diver", p.Lines.ArrowsPerDiver, 0, 20, "per diver")
	s := p.Speeds
	for _, x := range []struct {
		path string
		v    float64
	}{
		{"speeds.swim", s.Swim}, {"speeds.contingency_swim", s.ContingencySwim}, {"speeds.ascent", s.Ascent}, {"speeds.descent", s.Descent}, {"speeds.scooter", s.Scooter},
	} {
		c.number(x.path, x.v, 1, 120, "m/min")
	}
	c.number("speeds.min_progress", s.MinProgress, 0, 60, "m/min")
	c.number("speeds.contingency_caution", s.ContingencyCaution, 0, 60, "m/min")
	if s.PullAndGlide != nil {
		c.number("speeds.pull_and_glide", *s.PullAndGlide, 1, 60, "m/min")
	}
	c.number("speeds.pull_and_glide_rmv_factor", s.PullAndGlideRMV, 1, 5, "× consumption")
	c.number("speeds.touch_contact_factor", s.TouchContactFactor, 0.05, 1, "× swim speed")
	last := 0.0
	for i, f := range p.Flow.Classes {
		at := fmt.Sprintf("flow.classes[%d].", i)
		if f.Name == "" {
			c.add(at+"name", `""`, "expected a name")
		}
		if f.Below == nil {
			if i+1 < len(p.Flow.Classes) {
				c.add(at+"below_m_min", "none", "expected an upper end in m/min: only the last class has none")
			}
		} else {
			c.number(at+"below_m_min", *f.Below, last, 1000, "m/min, above the class before")
			last = *f.Below
		}
	}
	if n := len(p.Flow.Classes); n == 0 || p.Flow.Classes[n-1].Below != nil {
		c.add("flow.classes", strconv.Itoa(n)+" classes", "expected a last class without an upper end")
	}
	c.number("flow.inflow_above_m_min", p.Flow.InflowAboveMMin, 0, 60, "m/min")
	c.number("flow.hold_stop_m_min", p.Flow.HoldStopMMin, 0, 120, "m/min")
	for _, x := range []struct {
		path string
		v    float64
	}{
		{"slow_exit.clear", p.SlowExit.Clear}, {"slow_exit.some_silt", p.SlowExit.SomeSilt}, {"slow_exit.silt_likely", p.SlowExit.SiltLikely}, {"slow_exit.zero_visibility", p.SlowExit.ZeroVisibility},
	} {
		c.number(x.path, x.v, 1, 10, "× exit time")
	}
	c.whole("verification.hours", p.Verification.Hours, 1, 24*60, "h")
	c.whole("verification.far_opening_hours", p.Verification.FarOpeningHours, 1, 24*60, "h")
	c.word("verification.counts", p.Verification.Counts, "after_marker", "from_start", "never")
	c.whole("verification.min_passed", p.Verification.MinPassed, 2, 12, "divers: a solo diver verifies nothing")
	c.number("verification.halves_warn_share", p.Verification.HalvesWarnShare, 0, 1, "of the distance half")
	c.number("cavern.max_depth_m", p.Cavern.MaxDepthM, 0, 60, "m")
	c.number("cavern.max_linear_m", p.Cavern.MaxLinearM, 0, 100, "m")
	c.number("cavern.min_visibility_m", p.Cavern.MinVisibilityM, 0, 100, "m")
	c.decide("readings.threshold_exceeded", p.Readings.ThresholdExceeded, DecideRefuse, DecideWaiver, DecideCaution)
	c.whole("entry.enter_by_min", p.Entry.EnterByMin, 0, 24*60, "min")
	c.whole("watch.round_to_min", p.Watch.RoundToMin, 1, 60, "min")
	c.fraction("watch.grace_share", p.Watch.GraceShare)
	c.whole("watch.grace_floor", p.Watch.GraceFloor, 0, 600, "min")
	c.whole("watch.grace_min", p.Watch.GraceMin, p.Watch.GraceFloor, 600, "min, not below grace_floor")
	c.whole("watch.grace_max", p.Watch.GraceMax, p.Watch.GraceMin, 600, "min, not below grace_min")
	c.fraction("watch.look_share", p.Watch.LookShare)
	c.fraction("watch.coordinator_share", p.Watch.CoordinatorShare)
	if p.Watch.CoordinatorShare.Less(p.Watch.LookShare) {
		c.add("watch.coordinator_share", p.Watch.CoordinatorShare.String(), "expected not below look_share: the look comes first")
	}
	c.whole("overlap.buffer_min", p.Overlap.BufferMin, 0, 24*60, "min")
}
