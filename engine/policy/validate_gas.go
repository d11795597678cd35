package policy

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/calendar"
)

func (p *Policy) validateGas(c *checker) {
	g := p.Gas
	c.number("gas.default_rmv_l_min", g.DefaultRMVLMin, 0, 100, "L/min (0 = no default)")
	c.number("gas.stress_factor", g.StressFactor, 1, 5, "× consumption")
	c.number("gas.consumption_floor_l_min", g.ConsumptionFloorLMin, 0, 100, "L/min")
	c.number("gas.delay_min", g.DelayMin, 0, 60, "min")
	c.number("gas.sharing_reserve_bar", g.SharingReserveBar, 0, 200, "bar")
	c.number("gas.planned_reserve_bar", g.PlannedReserveBar, 0, 200, "bar")
	c.number("gas.minimum_gas_bar", g.MinimumGasBar, 0, 300, "bar")
	c.number("gas.step_bar", g.StepBar, 1, 30, "bar")
	c.number("gas.step_psi", g.StepPsi, 1, 500, "psi")
	c.word("gas.three_donor", g.ThreeDonor, "single", "pooled")
	c.word("gas.waiting_gas", g.WaitingGas, "own", "none")
	c.word("gas.stage_rule", g.StageRule, "thirds", "half_plus_15")
	c.fraction("gas.stage_fraction", g.StageFraction)
	c.number("gas.deco_reserve_factor", g.DecoReserveFactor, 1, 5, "× planned deco gas")
	c.number("gas.independent_within_bar", g.IndependentWithinBar, 0, 200, "bar")
	c.fraction("gas.site_opening_share", g.SiteOpeningShare)
	c.decide("gas.helpful_outflow_gone", g.HelpfulOutflowGone, DecideCaution, DecideWaiver, DecideRefuse)
	c.word("gas.model", g.Model, "real", "ideal")
	c.number("gas.rebreather_bailout_l_min", g.RebreatherBailoutLMin, 10, 100, "L/min")

	k := p.Consumption
	c.whole("consumption.dives", k.Dives, 0, 1000, "dives (0 = nothing is learned)")
	c.whole("consumption.within_months", k.WithinMonths, min(1, k.Dives), 120, "months")

	m := p.Mix
	c.whole("mix.analysis_days", m.AnalysisDays, 0, 365, "days")
	c.decimal("mix.o2_tolerance_points", m.O2TolerancePoints, 0, 5, "points of oxygen")
	c.decimal("mix.he_tolerance_points", m.HeTolerancePoints, 0, 10, "points of helium")
	c.whole("mix.calibrated_within_min", m.CalibratedWithin, 0, 7*24*60, "min (0 = not asked)")
	c.decimal("mix.air_reading_low", m.AirReadingLow, 18, 21, "per cent")
	c.decimal("mix.air_reading_high", m.AirReadingHigh, 20.9, 24, "per cent")
	c.number("mix.po2_working_bar", m.PO2WorkingBar, 0.5, 1.6, "bar")
	c.number("mix.po2_resting_bar", m.PO2RestingBar, m.PO2WorkingBar, 2, "bar, not below the working limit")
	c.number("mix.po2_floor_bar", m.PO2FloorBar, 0.16, 0.5, "bar")
	c.number("mix.density_caution_g_l", m.DensityCautionGL, 1, 20, "g/L")
	c.number("mix.density_refuse_g_l", m.DensityRefuseGL, m.DensityCautionGL, 20, "g/L, not below the caution")
	c.fraction("mix.switch_nitrogen_share", m.SwitchNitrogenShare)
}

// decimal checks a number kept as decimal text because it is compared exactly.
func (c *checker) decimal(path, text string, low, high float64, unit string) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		c.add(path, strconv.Quote(text), fmt.Sprintf("expected a decimal number from %g to %g %s", low, high, unit))
		return
	}
	c.number(path, v, low, high, unit)
}

func (p *Policy) validatePeople(c *checker) {
	c.whole("people.minimum_age", p.People.MinimumAge, 8, 99, "years")
	c.word("people.medical_mode", p.People.MedicalMode, "strict", "lenient")
	age := 0
	for i, b := range p.People.MedicalBands {
		at := fmt.Sprintf("people.medical_bands[%d].", i)
		c.whole(at+"months", b.Months, 1, 600, "months")
		switch last := i+1 == len(p.People.MedicalBands); {
		case b.Below == nil && !last:
			c.add(at+"below", "none", "expected an age: only the last band has none")
		case b.Below != nil && last:
			c.add(at+"below", strconv.Itoa(*b.Below), "expected none: the last band has no upper age")
		case b.Below != nil:
			c.whole(at+"below", *b.Below, age+1, 120, "years, above the band before")
			age = *b.Below
		}
	}
	if len(p.People.MedicalBands) == 0 {
		c.add("people.medical_bands", "empty", "expected at least one band")
	}
	c.whole("people.declaration_months", p.People.DeclarationMonths, 1, 120, "months")
	c.whole("people.cpr_months", p.People.CprMonths, 0, 240, "months (0 = not asked)")
	c.whole("people.first_aid_months", p.People.FirstAidMonths, 0, 240, "months (0 = not asked)")
	c.whole("people.adult_age", p.People.AdultAge, 1, 30, "years")
	cu := p.Currency
	c.whole("currency.dives", cu.Dives, 0, 500, "dives")
	c.whole("currency.within_months", cu.WithinMonths, 1, 120, "months")
	c.whole("currency.easier_after_days", cu.EasierAfterDays, 1, 3650, "days")
	c.whole("currency.refresher_months", cu.RefresherMonths, 1, 120, "months")
	c.whole("currency.reassess_months", cu.ReassessMonths, cu.RefresherMonths, 240, "months, not below refresher_months")
	c.whole("currency.grace_after_issue_months", cu.GraceMonths, 0, 60, "months")
	c.whole("currency.endorsement_uses", cu.EndorsementUses, 0, 100, "uses")
	c.whole("currency.endorsement_months", cu.EndorsementMonths, 1, 120, "months")
	for _, e := range cu.CountedEndorsements {
		c.word("currency.counted_endorsements", e, p.Endorsements...)
	}
	fv := p.FirstVisit
	c.whole("first_visit.leader_dives", fv.LeaderDives, 0, 100, "dives")
	c.whole("first_visit.leader_months", fv.LeaderMonths, 1, 240, "months")
	c.fraction("first_visit.penetration_share", fv.PenetrationShare)
	c.whole("first_visit.median_months", fv.MedianMonths, 1, 240, "months")
	c.whole("first_visit.median_least", fv.MedianLeast, 1, 1000, "dives")
}

func (p *Policy) validateGear(c *checker) {
	seen := map[string]bool{}
	for i, r := range p.Cylinders.Regimes {
		at := "cylinders.regimes[" + r.Name + "]."
		if r.Name == "" {
			c.add(fmt.Sprintf("cylinders.regimes[%d].name", i), strconv.Quote(r.Name), "expected a name")
		}
		c.day(at+"effective_from", r.EffectiveFrom)
		c.day(at+"effective_to", r.EffectiveTo)
		for _, other := range p.Cylinders.Regimes[:i] {
			if other.Name == r.Name && overlap(other, r) {
				c.add(fmt.Sprintf("cylinders.regimes[%d].name", i), strconv.Quote(r.Name), "expected one regime of a name on any day: end the former by effective_to")
			}
		}
		seen[r.Name] = true
		c.whole(at+"hydro_months", r.HydroMonths, 1, 240, "months")
		c.whole(at+"visual_months", r.VisualMonths, 1, 240, "months")
		if r.VisualRiskMonths != nil {
			c.whole(at+"visual_with_risk_assessment_months", *r.VisualRiskMonths, 1, 240, "months")
		}
		if r.VisualHeavyUseMonths != nil {
			c.whole(at+"visual_heavy_use_months", *r.VisualHeavyUseMonths, 1, 240, "months")
		}
		c.word(at+"count", r.Count, "month", "exact")
		c.word(at+"base", r.Base, "mark", "first_service")
		c.word(at+"carry_past_due", r.CarryPastDue, "filled_in_date", "refused")
		c.decimal(at+"oxygen_clean_above_o2", r.CleanAboveO2, 20, 100, "per cent")
		for _, ban := range r.AlloyRefusedFrom {
			if ban.From == "" {
				c.add(at+"alloy_refused_from["+ban.Alloy+"]", `""`, "expected an ISO day")
			}
			c.day(at+"alloy_refused_from["+ban.Alloy+"]", ban.From)
		}
		if !r.Citation.Complete() {
			c.add(at+"citation", strconv.Quote(r.Citation.Document), "expected document, edition, section and date read")
		}
	}
	if !seen["unknown"] {
		c.add("cylinders.regimes", strconv.Itoa(len(p.Cylinders.Regimes))+" regimes", `expected one named "unknown": it holds for a cylinder without a country`)
	}
	c.whole("cylinders.due_soon_days", p.Cylinders.DueSoonDays, 0, 3650, "days")
	c.whole("cylinders.plus_percent", p.Cylinders.PlusPercent, 0, 20, "per cent")
	c.number("scooter.battery_factor", p.Scooter.BatteryFactor, 0, 10, "× runtime")
	items := map[string]bool{}
	for i, k := range p.Kit {
		if k.Item == "" || items[k.Item] {
			c.add(fmt.Sprintf("kit[%d].item", i), strconv.Quote(k.Item), "expected a kind of equipment that stands once")
		}
		items[k.Item] = true
		if len(k.Clocks) == 0 {
			c.add("kit["+k.Item+"].clocks", "empty", "expected at least one interval")
		}
		for _, cl := range k.Clocks {
			if cl.Clock == "" || cl.Months == 0 && cl.Dives == 0 && !cl.EachTrip {
				c.add("kit["+k.Item+"].clocks", strconv.Quote(cl.Clock), "expected a name and months, dives or each_trip")
			}
			c.whole("kit["+k.Item+"].clocks["+cl.Clock+"].months", cl.Months, 0, 240, "months")
			c.whole("kit["+k.Item+"].clocks["+cl.Clock+"].dives", cl.Dives, 0, 10000, "dives")
			c.decide("kit["+k.Item+"].clocks["+cl.Clock+"].overdue", cl.Overdue, DecideRefuse, DecideCaution)
		}
	}
}

// overlap tells whether two regimes are in force on one day; ISO days compare as text.
func overlap(a, b Regime) bool {
	return (a.EffectiveTo == "" || b.EffectiveFrom <= a.EffectiveTo) && (b.EffectiveTo == "" || a.EffectiveFrom <= b.EffectiveTo)
}

// day refuses what is no ISO day; empty is none.
func (c *checker) day(path, text string) {
	if text == "" {
		return
	}
	if _, err := calendar.ParseDay(text); err != nil {
		c.add(path, strconv.Quote(text), "expected an ISO day, YYYY-MM-DD")
	}
}

func (p *Policy) validateDecompression(c *checker) {
	d := p.Decompression
	c.word("decompression.model", d.Model, "zhl16c", "zhl16b")
	c.word("decompression.first_compartment", d.FirstCompartment, "1", "1b")
	c.number("decompression.gf_low", d.GFLow, 5, 100, "per cent")
	c.number("decompression.gf_high", d.GFHigh, d.GFLow, 100, "per cent, not below gf_low")
	if d.LastStopM != 3 && d.LastStopM != 6 {
		c.add("decompression.last_stop_m", strconv.FormatFloat(d.LastStopM, 'g', -1, 64), "expected 3 or 6 m")
	}
	c.number("decompression.stop_step_m", d.StopStepM, 1, 6, "m")
	c.number("decompression.min_stop_min", d.MinStopMin, 0, 1, "min: stops are whole minutes, never fewer than one")
	c.number("decompression.switch_min", d.SwitchMin, 0, 10, "min")
	c.whole("decompression.earlier_dives_hours", d.EarlierDivesHours, 48, 720, "h")
	c.number("decompression.altitude_m", d.AltitudeM, 0, 3000, "m")
	for _, x := range []struct {
		path string
		v    Decide
	}{
		{"hold_stop_in_restriction", d.HoldStopInRestriction},
		{"stop_in_flow", d.StopInFlow},
		{"stop_on_way_in", d.StopOnWayIn},
		{"stop_above_last", d.StopAboveLast},
		{"saddle", d.Saddle},
	} {
		c.decide("decompression."+x.path, x.v, DecideRefuse, DecideWaiver, DecideCaution)
	}
	c.number("oxygen.cns_caution_percent", p.Oxygen.CNSCautionPercent, 0, 100, "per cent")
	c.number("oxygen.cns_refuse_percent", p.Oxygen.CNSRefusePercent, p.Oxygen.CNSCautionPercent, 150, "per cent, not below the caution")
	c.number("oxygen.otu_daily", p.Oxygen.OTUDaily, 0, 1500, "OTU")
	if o := p.Oxygen; o.AirBreakEveryMin == 0 {
		c.number("oxygen.air_break_min", o.AirBreakMin, 0, 60, "min")
	} else {
		c.number("oxygen.air_break_every_min", o.AirBreakEveryMin, 5, 240, "min, or 0 for none")
		c.number("oxygen.air_break_min", o.AirBreakMin, 1, 60, "min")
		if o.AirBreakMin != math.Trunc(o.AirBreakMin) {
			c.add("oxygen.air_break_min", strconv.FormatFloat(o.AirBreakMin, 'g', -1, 64), "expected whole minutes")
		}
	}
	c.number("failures.delay_min", p.Failures.DelayMin, 0, 120, "min")
	for _, x := range []struct {
		path string
		v    Decide
	}{
		{"lose_deco_gas", p.Failures.LoseDecoGas},
		{"delay", p.Failures.Delay},
		{"touch_contact", p.Failures.TouchContact},
		{"touch_contact_sharing", p.Failures.TouchSharing},
		{"scooter_lost", p.Failures.ScooterLost},
		{"worst_consumption", p.Failures.WorstConsumption},
		{"deeper_longer", p.Failures.DeeperLonger},
		{"far_side_shut", p.Failures.FarSideShut},
	} {
		c.decide("failures."+x.path, x.v, DecideRefuse, DecideWaiver, DecideCaution)
	}
	c.number("failures.deeper_m", p.Failures.DeeperM, 0, 20, "m")
	c.number("failures.longer_min", p.Failures.LongerMin, 0, 60, "min")
	c.whole("flying.single_hours", p.Flying.SingleHours, 0, 96, "h")
	c.whole("flying.several_hours", p.Flying.SeveralHours, p.Flying.SingleHours, 96, "h, not below single_hours")
	c.whole("flying.stops_hours", p.Flying.StopsHours, p.Flying.SingleHours, 96, "h, not below single_hours")
	c.whole("flying.chain_hours", p.Flying.ChainHours, 0, 720, "h")
	c.number("flying.cabin_m", p.Flying.CabinM, 0, 3000, "m")
	c.number("first_aid_oxygen.down_to_bar", p.FirstAidOxygen.DownToBar, 0, 100, "bar")
	c.number("first_aid_oxygen.flow_l_min", p.FirstAidOxygen.FlowLMin, 1, 60, "L/min")
	c.whole("first_aid_oxygen.casualties", p.FirstAidOxygen.Casualties, 1, 20, "persons")
	c.whole("statistics.hide_below", p.Statistics.HideBelow, 0, 100, "cases")
	for _, r := range p.Retention {
		c.whole("retention["+r.Record+"].months", r.Months, 0, 1200, "months (0 with 0 days = for ever)")
		c.whole("retention["+r.Record+"].days", r.Days, 0, 36600, "days")
	}
}

// NeverWaived are the rules that no club may hand to anybody: sharing exit,
// unanalysed gas, medical stop.
var NeverWaived = []string{"route.sharing_exit", "gas.analysis", "diver.medical"}

func (p *Policy) validateWaivers(c *checker) {
	seen := map[string]bool{}
	for i, w := range p.Waivers.Rules {
		at := fmt.Sprintf("waivers.rules[%d]", i)
		if w.Rule == "" || seen[w.Rule] {
			c.add(at+".rule", strconv.Quote(w.Rule), "expected a rule that stands once")
		}
		seen[w.Rule] = true
		if len(w.Roles) == 0 {
			c.add(at+".roles", "empty", "expected at least one role; a rule that nobody waives stands in nobody")
		}
		for k, role := range w.Roles {
			if !slices.Contains(waiverRoles, role) {
				c.add(fmt.Sprintf("%s.roles[%d]", at, k), strconv.Quote(role), "expected one of "+strings.Join(waiverRoles, ", "))
			}
		}
		if slices.Contains(NeverWaived, w.Rule) || slices.Contains(p.Waivers.Nobody, w.Rule) {
			c.add(at+".rule", strconv.Quote(w.Rule), "expected a rule that may be waived: this one is waived by nobody")
		}
	}
	for _, x := range p.waivedCells() {
		if x.decide == DecideWaiver && p.Waivers.For(x.rule) == nil {
			c.add(x.path, string(DecideWaiver), "expected that waivers.rules says who waives "+x.rule+": as it is nobody may, which is refuse")
		}
	}
}

// waivedCell is a cell that may say needs_waiver, and the rule that then answers so.
type waivedCell struct {
	path   string
	decide Decide
	rule   string
}

func (p *Policy) waivedCells() []waivedCell {
	f := p.Failures
	out := []waivedCell{
		{"readings.threshold_exceeded", p.Readings.ThresholdExceeded, "site.threshold"},
		{"failures.lose_deco_gas", f.LoseDecoGas, "failure.lost_cylinder"},
		{"failures.delay", f.Delay, "failure.delay"},
		{"failures.touch_contact", f.TouchContact, "failure.touch_contact"},
		{"failures.touch_contact_sharing", f.TouchSharing, "failure.touch_contact_sharing"},
		{"failures.scooter_lost", f.ScooterLost, "failure.scooter_lost"},
		{"failures.worst_consumption", f.WorstConsumption, "failure.worst_consumption"},
		{"failures.deeper_longer", f.DeeperLonger, "failure.deeper_longer"},
		{"failures.far_side_shut", f.FarSideShut, "failure.far_side_shut"},
	}
	for _, l := range p.Ladder {
		out = append(out, waivedCell{"ladder[" + l.Name + "].lower_visibility", l.LowerVisibility, "level.visibility"})
	}
	return out
}
