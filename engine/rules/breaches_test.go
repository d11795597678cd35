package rules_test

import (
	"strings"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	"lastlight/engine/rules"
)

// breach is one change to a passing plan and the answer a rule must give; where
// that is a pass, the rule gives no worse one of anybody or anything else.
type breach struct {
	rule   string
	code   string
	status finding.Status
	change func(*facts.Input)
}

func level(in *facts.Input, diver int, name string) {
	in.Divers[diver].Cards[0].Level = name
}

// newHere lets a diver's recorded dives have been at another site.
func newHere(in *facts.Input, diver int) {
	for i := range in.Divers[diver].Dives {
		in.Divers[diver].Dives[i].Site = "site-2"
	}
}

// minor lets the first diver be 17 on the dive's day, where the club admits minors.
func minor(consent facts.Consent) func(*facts.Input) {
	return func(in *facts.Input) {
		in.Policy.People.MinimumAge = 16
		in.Divers[1].Birth = enginetest.Day("2008-06-15")
		in.Divers[1].Consent = []facts.Consent{consent}
	}
}

func penetrations(in *facts.Input, metres ...float64) {
	for _, m := range metres {
		in.Site.Penetrations = append(in.Site.Penetrations, facts.Penetration{Day: enginetest.Day("2026-05-01"), Metres: m})
	}
}

func endorse(in *facts.Input, diver int, names ...string) {
	for _, n := range names {
		in.Divers[diver].Cards = append(in.Divers[diver].Cards, facts.Card{ID: n, Endorsement: n, Issued: enginetest.Day("2021-01-01"), SeenBy: "registrar", SeenAt: enginetest.At("2024-01-10T10:00Z")})
	}
}

func sidePassage(in *facts.Input, l route.Leg, moves ...route.Move) {
	in.Route.Stations = append(in.Route.Stations, route.Station{Name: l.To, DepthM: 20})
	in.Route.Legs = append(in.Route.Legs, l)
	in.Site.Bottoms = append(in.Site.Bottoms, facts.Bottom{Leg: l.ID, Class: "clear"})
	in.Route.Route.Moves = moves
}

func jump(in *facts.Input) {
	sidePassage(in, route.Leg{ID: "BC", From: "B", To: "C", LengthM: 20, Restriction: "none"},
		route.Move{To: "B"}, route.Move{To: "C", RunLine: true}, route.Move{To: "B", RecoverLine: true}, route.Move{To: "A"})
	in.Items = append(in.Items, facts.Item{ID: "reel", Name: "reel", Kind: facts.Reel, LengthM: new(30.0)})
	in.Plan.Carries = append(in.Plan.Carries, facts.Carrying{Diver: "d-Ada", Item: "reel", For: "BC", Count: 1})
}

func stage(in *facts.Input) {
	in.Cylinders = append(in.Cylinders, enginetest.Cylinder("stage-1", "d-Ada", 11, "32"))
	in.Plan.Supplies = append(in.Plan.Supplies, facts.Supply{ID: "stage", Diver: "d-Ada", Role: facts.Stage, Cylinders: []string{"stage-1"}, PlannedO2: "32", PlannedHe: "0", PlannedBar: new(150.0), TemperatureC: new(20.0)})
}

// oxygenStop gives Ada oxygen for stops down to a depth, in fresh water at sea level.
func oxygenStop(in *facts.Input, metres float64) {
	in.Site.DensityKgM3, in.Site.BarometerBar = new(1000.0), new(1.01325)
	in.Cylinders = append(in.Cylinders, enginetest.Cylinder("oxygen-1", "d-Ada", 7, "100"))
	in.Plan.Supplies = append(in.Plan.Supplies, facts.Supply{
		ID: "oxygen", Diver: "d-Ada", Role: facts.Deco, Cylinders: []string{"oxygen-1"}, Resting: true, DeepestM: &metres,
		PlannedO2: "100", PlannedHe: "0", PlannedBar: new(200.0), TemperatureC: new(20.0),
	})
}

func drop(in *facts.Input, diver string, kind facts.ItemKind) {
	var kept []facts.Carrying
	for _, k := range in.Plan.Carries {
		if it := in.Item(k.Item); k.Diver == diver && it.Kind == kind {
			continue
		}
		kept = append(kept, k)
	}
	in.Plan.Carries = kept
}

func longer(in *facts.Input, metres float64) {
	for i := range in.Route.Legs {
		in.Route.Legs[i].LengthM = metres
	}
}

func depth(in *facts.Input, metres float64) {
	for i := range in.Route.Stations {
		in.Route.Stations[i].DepthM = metres
	}
}

// oneWay lets the last leg be one that the team gets into, and out of only while nothing has gone wrong.
func oneWay(in *facts.Input) {
	in.Route.Legs[len(in.Route.Legs)-1].FlowMMin = 8
	in.Plan.ContingencySwimMMin = 7
}

// waits gives Ada gas for stops that lies at the opening from the beginning to the end of the dive, so deep, in fresh water at sea level.
func waits(in *facts.Input, o2 string, metres float64) {
	oxygenStop(in, 6)
	last := len(in.Plan.Supplies) - 1
	in.Plan.Supplies[last].PlannedO2, in.Cylinders[len(in.Cylinders)-1].Analyses[0].O2 = o2, o2
	depth(in, metres)
	id := "oxygen"
	in.Route.Route.StartActions = []route.Action{{Action: route.ActDrop, Diver: "d-Ada", Cylinder: &id}}
	home := &in.Route.Route.Moves[len(in.Route.Route.Moves)-1]
	home.Actions, home.HoldMin, home.HoldTask = []route.Action{{Action: route.ActPickUp, Diver: "d-Ada", Cylinder: &id}}, 1, "pick_up"
}

// ride gives so many of the team a scooter, and the plan its speeds, m/min.
func ride(in *facts.Input, riders int, swim, out float64) {
	for i := range riders {
		in.Plan.Team[i].Scooter = true
	}
	in.Plan.SwimMMin, in.Plan.ContingencySwimMMin = swim, out
}

// flagged is a dive to C, so deep, behind 20 m, that says it turns at the end of a move.
func flagged(in *facts.Input, metres float64, move int) {
	sidePassage(in, route.Leg{ID: "BC", From: "B", To: "C", LengthM: 30, Lined: true, Restriction: "none"}, route.Move{To: "B"}, route.Move{To: "C"}, route.Move{To: "B"}, route.Move{To: "A"})
	in.Route.Stations[len(in.Route.Stations)-1].DepthM = metres
	in.Plan.TurnMove = move
}

// overMidnight puts the entry of the plan so late that the dive touches 15 June.
func overMidnight(in *facts.Input) {
	in.Plan.Entry, in.Plan.EnterBy = enginetest.At("2026-06-14T23:50+02:00"), enginetest.At("2026-06-14T23:55+02:00")
}

// measuredAt reads the first diver's mains at the water, in bar and °C.
func measuredAt(in *facts.Input, bar, celsius float64) {
	in.Plan.Supplies[0].MeasuredBar, in.Plan.Supplies[0].TemperatureC = &bar, &celsius
}

// carry adds an item to the first diver's kit.
func carry(in *facts.Input, it facts.Item) {
	in.Items = append(in.Items, it)
	in.Plan.Carries = append(in.Plan.Carries, facts.Carrying{Diver: "d-Ada", Item: it.ID, Count: 1})
}

func regulator(in *facts.Input, serviced string, dives *int) {
	carry(in, facts.Item{ID: "reg", Name: "reg", Kind: "regulator", DivesSince: dives, Events: []facts.ItemEvent{{Kind: "service", On: enginetest.Mark(serviced)}}})
}

func scooter(in *facts.Input, battery *float64) {
	carry(in, facts.Item{ID: "dpv", Name: "dpv", Kind: facts.Scooter, BurnMin: battery})
}

// compressedBy is a fill of 13 June by a compressor whose air was tested that day.
func compressedBy(tested string) func(*facts.Input) {
	return func(in *facts.Input) {
		in.Cylinders[0].Fill = &facts.Fill{Compressor: &facts.Item{ID: "comp", Name: "comp", Kind: facts.Compressor, Events: []facts.ItemEvent{{Kind: "test", On: enginetest.Mark(tested)}}}}
	}
}

// saddle is a dive whose way home rises above a ceiling and falls again: half an
// hour at 36 m behind a level at 5 m with a dip to 15 m before the opening.
func saddle(in *facts.Input) {
	in.Route.Stations = []route.Station{{Name: "A", DepthM: 3, Opening: true, Daylight: true}, {Name: "B", DepthM: 15}, {Name: "C", DepthM: 5}, {Name: "D", DepthM: 36}}
	in.Route.Legs, in.Site.Bottoms = nil, nil
	for _, l := range []route.Leg{{ID: "AB", From: "A", To: "B", LengthM: 30}, {ID: "BC", From: "B", To: "C", LengthM: 30}, {ID: "CD", From: "C", To: "D", LengthM: 60}} {
		l.Lined, l.Restriction = true, route.RestrictionNone
		in.Route.Legs = append(in.Route.Legs, l)
		in.Site.Bottoms = append(in.Site.Bottoms, facts.Bottom{Leg: l.ID, Class: "clear"})
	}
	in.Route.Route.Moves = []route.Move{{To: "B"}, {To: "C"}, {To: "D", HoldMin: 30, HoldTask: "survey"}, {To: "C"}, {To: "B"}, {To: "A"}}
}

// tight makes the leg a minor restriction, passed by an apprentice, to whom practice 2.2
// permits one where each end lets a diver turn round.
func tight(in *facts.Input, turns *bool) {
	level(in, 1, "APP")
	c := &in.Divers[1].Cards[0] // it lapses after twelve months
	c.Issued, c.SeenAt = enginetest.Day("2025-09-06"), enginetest.At("2025-09-07T10:00+02:00")
	in.Route.Legs[0].Restriction, in.Route.Legs[0].TurnsRound = route.RestrictionMinor, turns
}

// traverse is a dive from A to an opening at B over a leg verified from there.
func traverse(in *facts.Input) {
	in.Route.Stations[1].Opening = true
	in.Route.Route.Moves = in.Route.Route.Moves[:1]
	in.Policy.Verification.Counts = "from_start"
	in.Site.Verifications = []facts.Verification{{
		Dive: "v", Legs: []string{"AB"}, PassedBy: []string{"d-Ada", "d-Ben"}, Entry: enginetest.At("2026-06-13T09:00+02:00"),
		LevelThen: "normal", FlowThen: "low", SightThen: "good",
	}}
}

var breaches = []breach{
	{"diver.first_aid", "not_current", finding.Caution, func(in *facts.Input) { in.Divers[1].Cards = in.Divers[1].Cards[:1] }},
	{"diver.first_aid", "not_current", finding.Caution, func(in *facts.Input) { in.Divers[1].Cards[1].SeenBy = "" }},
	// A card of CPR holds 12 months (practice 11): of 14 June 2025 to that day, of the day before it has ended.
	{"diver.first_aid", "last_day", finding.Caution, func(in *facts.Input) { in.Divers[1].Cards[1].Issued = enginetest.Day("2025-06-14") }},
	{"diver.first_aid", "not_current", finding.Caution, func(in *facts.Input) { in.Divers[1].Cards[1].Issued = enginetest.Day("2025-06-13") }},
	{"diver.first_aid", "ok", finding.Pass, func(in *facts.Input) { in.Divers[1].Cards[2].Issued = enginetest.Day("2024-06-15") }},
	{"diver.first_aid", "not_set", finding.NotApplicable, func(in *facts.Input) { in.Policy.Endorsements = in.Policy.Endorsements[:8] }},
	{"site.first_aid_oxygen", "none", finding.Caution, func(in *facts.Input) { in.Site.Oxygen = nil }},
	{"site.first_aid_oxygen", "empty", finding.Caution, func(in *facts.Input) { in.Site.Oxygen[0].Bar = 20 }},
	{"site.first_aid_oxygen", "ok", finding.Pass, func(in *facts.Input) { in.Site.Oxygen[0].Bar = 50 }},
	{"level.turn_round", "not_told", finding.Indeterminate, func(in *facts.Input) { tight(in, nil) }},
	{"level.turn_round", "cannot", finding.Refuse, func(in *facts.Input) { tight(in, new(false)) }},
	{"level.turn_round", "ok", finding.Pass, func(in *facts.Input) { tight(in, new(true)) }},
	{"plan.input", "problem", finding.Refuse, func(in *facts.Input) { in.Plan.Supplies[0].PlannedBar = new(-1.0) }},
	{"plan.input", "problem", finding.Refuse, func(in *facts.Input) { in.Divers[2].ID = in.Divers[1].ID }},
	{"plan.input", "policy", finding.Indeterminate, func(in *facts.Input) { in.Policy.Ladder = nil }},
	{"diver.guardian_consent", "none", finding.Indeterminate, minor(facts.Consent{})},
	{"diver.guardian_consent", "ended", finding.Refuse, minor(facts.Consent{To: enginetest.Day("2026-06-13"), By: "guardian"})},
	{"diver.guardian_consent", "not_given", finding.Refuse, minor(facts.Consent{To: enginetest.Day("2026-12-31"), By: "d-Ada"})},
	{"diver.guardian_consent", "last_day", finding.Caution, minor(facts.Consent{To: enginetest.Day("2026-06-14"), By: "guardian"})},
	{"diver.guardian_consent", "ok", finding.Pass, minor(facts.Consent{To: enginetest.Day("2026-12-31"), By: "guardian"})},
	// A dive over midnight touches both days: what ends on the first has ended, what begins on the second has begun.
	{"diver.guardian_consent", "ended", finding.Refuse, func(in *facts.Input) {
		minor(facts.Consent{To: enginetest.Day("2026-06-14"), By: "guardian"})(in)
		overMidnight(in)
	}},
	{"diver.currency", "easier", finding.Note, func(in *facts.Input) { in.Divers[1].Dives = in.Divers[1].Dives[3:] }},
	{"diver.currency", "refresher", finding.Refuse, func(in *facts.Input) {
		in.Divers[1].Dives, in.Divers[1].Reassessed = nil, []calendar.Day{enginetest.Day("2025-06-13")}
	}},
	{"diver.currency", "reassess", finding.Refuse, func(in *facts.Input) { in.Divers[1].Dives, in.Divers[1].Reassessed = nil, nil }},
	{"diver.step_down", "easier", finding.Caution, func(in *facts.Input) { in.Divers[1].Dives = in.Divers[1].Dives[3:] }},
	{"diver.step_down", "easier", finding.Caution, func(in *facts.Input) { newHere(in, 2) }},
	{"diver.step_down", "no_step", finding.Refuse, func(in *facts.Input) { level(in, 1, "CAV"); newHere(in, 2) }},
	{"team.first_visit", "no_usual", finding.Note, func(in *facts.Input) { newHere(in, 2) }},
	{"team.first_visit", "leader", finding.Refuse, func(in *facts.Input) { newHere(in, 1) }},
	{"team.first_visit", "ok", finding.Pass, func(in *facts.Input) { newHere(in, 2); penetrations(in, 280, 280, 280, 280, 280) }},
	{"team.first_visit", "too_far", finding.Refuse, func(in *facts.Input) { newHere(in, 2); penetrations(in, 279, 279, 279, 279, 279) }},
	{"team.first_visit", "opening", finding.NotApplicable, func(in *facts.Input) { in.Plan.Kind = facts.SiteOpening }},
	{"plan.complete", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Site.DensityKgM3 = nil }},
	{"plan.complete", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Site.Bottoms = nil }},
	{"plan.complete", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Plan.Supplies[0].PlannedBar = nil }},
	// 9 m/min is high; against the way out it counts as extreme, which is refused (practice 6).
	{"route.flow_class", "inflow", finding.Refuse, func(in *facts.Input) { in.Route.Legs[0].FlowMMin = 9 }},
	{"route.flow_class", "no_class", finding.Indeterminate, func(in *facts.Input) {
		in.Route.Legs[0].FlowMMin, in.Policy.Flow.Classes, in.Policy.Ladder = 8, in.Policy.Flow.Classes[:1], nil
	}},
	{"kit.arrows", "few", finding.Caution, func(in *facts.Input) { in.Policy.Lines.ArrowsPerDiver = 4 }},
	// The shipped speed is 12 m/min, of a scooter 40 (practice 6); the worked examples swim 15. Slower is always allowed.
	{"plan.speeds", "fast_out", finding.Refuse, func(in *facts.Input) { ride(in, 0, 0, 60) }},
	{"plan.speeds", "brisk_out", finding.Caution, func(in *facts.Input) { ride(in, 0, 0, 21) }},
	{"plan.speeds", "fast_out", finding.Refuse, func(in *facts.Input) { ride(in, 2, 40, 22) }}, // nobody rides on a way out (practice 1: swim out)
	{"plan.speeds", "brisk_swim", finding.Caution, func(in *facts.Input) { ride(in, 0, 15.1, 0) }},
	{"plan.speeds", "fast_swim", finding.Refuse, func(in *facts.Input) { ride(in, 0, 21.1, 0) }},
	{"plan.speeds", "fast_swim", finding.Refuse, func(in *facts.Input) { ride(in, 1, 40, 0) }},
	{"plan.speeds", "fast_swim", finding.Refuse, func(in *facts.Input) { ride(in, 2, 40.1, 0) }},
	{"plan.speeds", "fast_swim", finding.Refuse, func(in *facts.Input) { in.Route.Route.Moves[1].SwimMMin = 22 }},
	{"plan.speeds", "swim", finding.Pass, func(in *facts.Input) { ride(in, 2, 40, 15) }},
	{"plan.speeds", "swim", finding.Pass, func(in *facts.Input) { ride(in, 0, 9, 9); in.Route.Route.Moves[1].SwimMMin = 15 }},
	{"plan.speeds", "swim", finding.Pass, func(in *facts.Input) { ride(in, 1, 15, 9) }},
	// D22: the way home of a dive to C and back begins at C.
	{"plan.turn", "way_in", finding.Refuse, func(in *facts.Input) { flagged(in, 23.1, 1) }},
	{"plan.turn", "ok", finding.Pass, func(in *facts.Input) { flagged(in, 23, 1) }},
	{"plan.turn", "ok", finding.Pass, func(in *facts.Input) { flagged(in, 30, 2) }},
	{"plan.turn", "ok", finding.Pass, func(in *facts.Input) { flagged(in, 30, 3) }},
	{"plan.turn", "way_in", finding.Refuse, func(in *facts.Input) {
		flagged(in, 20, 1)
		in.Route.Legs[1].DepthPoints = []route.DepthPoint{{AtM: 15, DepthM: 24}}
	}},
	{"plan.turn", "not_asked", finding.NotApplicable, func(in *facts.Input) { flagged(in, 30, 0) }},
	// MOD = (1.6 bar / fO2 − 1)·10, floored to whole metres (practice 10): 22 m of 50 %, 6 m of oxygen.
	{"gas.staged", "deep", finding.Refuse, func(in *facts.Input) { waits(in, "100", 20) }},
	{"gas.staged", "deep", finding.Refuse, func(in *facts.Input) { waits(in, "100", 6.1) }},
	{"gas.staged", "ok", finding.Pass, func(in *facts.Input) { waits(in, "100", 6) }},
	{"gas.staged", "deep", finding.Refuse, func(in *facts.Input) { waits(in, "50", 22.1) }},
	{"gas.staged", "ok", finding.Pass, func(in *facts.Input) { waits(in, "50", 22) }},
	{"gas.staged", "unknown", finding.Indeterminate, func(in *facts.Input) { waits(in, "50", 20); in.Site.DensityKgM3 = nil }},
	{"gas.staged", "unused", finding.Caution, func(in *facts.Input) {
		saddle(in) // with stops, and oxygen that stays at the surface's side of them
		oxygenStop(in, 1)
	}},
	{"gas.staged", "none", finding.NotApplicable, func(in *facts.Input) { oxygenStop(in, 6) }},
	{"plan.unsupported", "unsupported", finding.Refuse, func(in *facts.Input) { in.Plan.Team[0].Apparatus = facts.Rebreather }},
	{"plan.unsupported", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Plan.Team[0].Apparatus = "" }},
	{"plan.kind", "no_instructor", finding.Refuse, func(in *facts.Input) { in.Plan.Kind, in.Plan.Taught = facts.Training, "FULL" }},
	{"plan.kind", "no_survey", finding.Refuse, func(in *facts.Input) { in.Plan.Kind = facts.SiteOpening }},
	{"plan.site_opening", "second", finding.NeedsWaiver, func(in *facts.Input) { in.Plan.Kind = facts.SiteOpening }},
	{"plan.exploration", "no_survey", finding.Refuse, func(in *facts.Input) { jump(in); in.Route.Legs[len(in.Route.Legs)-1].Unexplored = true }},
	{"plan.exploration", "second", finding.NeedsWaiver, func(in *facts.Input) {
		jump(in)
		in.Route.Legs[len(in.Route.Legs)-1].Unexplored = true
		survey := in.Divers[1].Cards[0]
		survey.ID, survey.Level, survey.Endorsement = "survey", "", "SURVEY"
		in.Divers[1].Cards = append(in.Divers[1].Cards, survey)
	}},
	{"plan.runtime", "short", finding.Refuse, func(in *facts.Input) { in.Plan.RuntimeMin = 5 }},
	{"plan.runtime", "order", finding.Refuse, func(in *facts.Input) { in.Plan.EnterBy = enginetest.At("2026-06-14T08:00+02:00") }},
	{"plan.double_booking", "clash_cylinder", finding.Refuse, func(in *facts.Input) {
		in.Duties = []facts.Duty{{Plan: "p-2", PlanName: "Other", State: "in_water", Cylinder: "Ada-left", As: "cylinder", From: enginetest.At("2026-06-14T07:00+02:00")}}
	}},
	{"plan.double_booking", "twice", finding.Refuse, func(in *facts.Input) { in.Plan.Supplies[1].Cylinders = in.Plan.Supplies[0].Cylinders }},
	{"plan.verification", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Plan.VerifiedLegs = true }},
	{"site.open", "closed", finding.Refuse, func(in *facts.Input) { in.Site.Closed = true }},
	{"site.open", "closure", finding.Refuse, func(in *facts.Input) {
		in.Site.Closures = []facts.Closure{{FromDay: enginetest.Day("2026-06-14"), ToDay: enginetest.Day("2026-06-14")}}
	}},
	{"site.permit", "none", finding.Refuse, func(in *facts.Input) { in.Site.PermitRequired = new(true) }},
	{"site.permit", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Site.PermitRequired = nil }},
	{"site.permit", "outside_permit_hours", finding.Refuse, func(in *facts.Input) {
		in.Site.PermitRequired = new(true)
		in.Site.Permits = []facts.Permit{{From: enginetest.Day("2026-06-01"), To: enginetest.Day("2026-06-30"), DailyFrom: "10:00", DailyTo: "18:00"}}
	}},
	{"site.permit", "outside_permit_dates", finding.Refuse, func(in *facts.Input) {
		in.Site.PermitRequired = new(true)
		in.Site.Permits = []facts.Permit{{From: enginetest.Day("2026-07-01"), To: enginetest.Day("2026-07-30")}}
	}},
	{"site.reading", "no_read", finding.Indeterminate, func(in *facts.Input) { in.Site.Readings = nil }},
	{"site.threshold", "exceeded", finding.Refuse, func(in *facts.Input) { in.Site.Thresholds.MaxLevelM = new(1.0) }},
	{"site.threshold", "exceeded", finding.Refuse, func(in *facts.Input) { in.Site.Thresholds.MaxFlow = "none" }},
	{"site.threshold", "not_in_it", finding.Indeterminate, func(in *facts.Input) {
		in.Site.Thresholds.MinVisibilityM, in.Site.Readings[0].VisibilityM = new(5.0), nil
	}},
	{"site.far_opening", "never", finding.Indeterminate, traverse},
	{"diver.card", "card_not_seen", finding.Indeterminate, func(in *facts.Input) { in.Divers[1].Cards[0].SeenBy = "" }},
	{"diver.card", "card_not_seen", finding.Indeterminate, func(in *facts.Input) { // long before its day of issue, and before what the zones know
		in.Divers[1].Cards[0].SeenAt = enginetest.At("1999-07-01T10:00Z")
	}},
	{"diver.card", "card_seen_by_holder_only", finding.Indeterminate, func(in *facts.Input) { in.Divers[1].Cards[0].SeenBy = "d-Ada" }},
	{"diver.card", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Divers[1].Cards[0].Revoked = enginetest.At("2026-06-14T05:00+02:00") }},
	{"diver.card", "card_ended", finding.Refuse, func(in *facts.Input) { in.Divers[1].Cards[0].Expires = enginetest.Day("2026-06-13") }},
	{"diver.minimum_age", "young", finding.Refuse, func(in *facts.Input) { in.Divers[1].Birth = enginetest.Day("2008-06-15") }},
	{"diver.minimum_age", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Divers[1].Birth = calendar.Day{} }},
	{"diver.medical", "cannot_tell", finding.Indeterminate, func(in *facts.Input) { in.Divers[1].Medical = nil }},
	{"diver.medical", "not_available", finding.Refuse, func(in *facts.Input) { in.Divers[1].Medical.Declared = enginetest.Day("2025-06-13") }},
	{"diver.medical", "depth", finding.Refuse, func(in *facts.Input) { in.Divers[1].Medical.DepthLimitM = new(5.0) }},
	{"diver.medical", "unknown", finding.Indeterminate, func(in *facts.Input) {
		in.Divers[1].Medical.DepthLimitM, in.Route.Route.Start, in.Route.Legs = new(50.0), "", nil
	}},
	{"diver.not_diving", "not_available", finding.Refuse, func(in *facts.Input) { in.Divers[1].NotDiving = []facts.Absence{{From: enginetest.Day("2026-06-14")}} }},
	{"diver.not_diving", "not_available", finding.Refuse, func(in *facts.Input) {
		in.Divers[1].NotDiving = []facts.Absence{{From: enginetest.Day("2026-06-15"), To: enginetest.Day("2026-06-20")}}
		overMidnight(in)
	}},
	{"diver.not_diving", "ok", finding.Pass, func(in *facts.Input) {
		in.Divers[1].NotDiving = []facts.Absence{{From: enginetest.Day("2026-06-15"), To: enginetest.Day("2026-06-20")}}
	}},
	{"diver.consumption", "none", finding.Indeterminate, func(in *facts.Input) { in.Divers[1].Consumption, in.Policy.Gas.DefaultRMVLMin = nil, 0 }},
	{"team.solo", "solo", finding.Refuse, func(in *facts.Input) { in.Plan.Team, in.Plan.Supplies = in.Plan.Team[:1], in.Plan.Supplies[:1] }},
	{"team.size", "too_many", finding.Refuse, func(in *facts.Input) { in.Policy.Ladder[4].TeamMin, in.Policy.Ladder[4].TeamMax = 1, 1 }},
	{"team.leader", "count", finding.Refuse, func(in *facts.Input) { in.Plan.Team[0].Leader = false }},
	{"team.cover", "none", finding.Refuse, func(in *facts.Input) { in.Plan.Cover = nil }},
	{"team.cover", "dives", finding.Refuse, func(in *facts.Input) { in.Plan.Cover = []string{"d-Ben"} }},
	{"level.overhead", "over", finding.Refuse, func(in *facts.Input) { level(in, 2, "CAV") }},
	{"level.depth", "over", finding.Refuse, func(in *facts.Input) { depth(in, 40.1) }},
	{"level.linear", "over", finding.Refuse, func(in *facts.Input) { level(in, 2, "CAV") }},
	{"level.gas_rule", "over", finding.Refuse, func(in *facts.Input) { in.Plan.GasFraction = policy.Frac(1, 2) }},
	{"level.gas_rule", "not_allowed", finding.Refuse, func(in *facts.Input) { in.Plan.Supplies[0].Cylinders = in.Plan.Supplies[0].Cylinders[:1] }},
	{"level.inflow", "refuse", finding.Refuse, func(in *facts.Input) { in.Route.Legs[0].FlowMMin = 1; level(in, 2, "APP") }},
	{"level.inflow", "capped", finding.Note, func(in *facts.Input) { in.Route.Legs[0].FlowMMin = 1 }},
	{"level.start_gas", "short", finding.Refuse, func(in *facts.Input) { in.Policy.Ladder[4].MinStartGasL = 4801 }},
	{"level.visibility", "poor", finding.NeedsWaiver, func(in *facts.Input) { in.Site.Readings[0].VisibilityM = new(2.9) }},
	{"level.visibility", "absent", finding.Indeterminate, func(in *facts.Input) { in.Site.Readings[0].VisibilityM = nil }},
	{"level.jumps", "over", finding.Refuse, func(in *facts.Input) { jump(in); level(in, 2, "INT") }},
	{"level.off_main_line", "over", finding.Refuse, func(in *facts.Input) {
		level(in, 2, "INT")
		in.Route.Legs[0].MainLine = new(true)
		sidePassage(in, route.Leg{ID: "BC", From: "B", To: "C", LengthM: 20, Lined: true, MainLine: new(false), Restriction: "none"}, route.Move{To: "B"}, route.Move{To: "C"}, route.Move{To: "B"}, route.Move{To: "A"})
	}},
	{"level.circuit", "set_up", finding.Refuse, func(in *facts.Input) {
		sidePassage(in, route.Leg{ID: "BC", From: "B", To: "C", LengthM: 20, Lined: true, MainLine: new(true), Restriction: "none"})
		in.Route.Legs = append(in.Route.Legs, route.Leg{ID: "CB", From: "C", To: "B", LengthM: 20, Lined: true, MainLine: new(true), Restriction: "none"})
		in.Site.Bottoms = append(in.Site.Bottoms, facts.Bottom{Leg: "CB", Class: "clear"})
		in.Route.Route.Moves = []route.Move{{To: "B"}, {Leg: "BC", To: "C"}, {Leg: "CB", To: "B"}, {To: "A"}}
	}},
	{"level.traverse", "set_up", finding.Refuse, func(in *facts.Input) {
		in.Route.Stations[1].Opening = true
		in.Route.Route.Moves = in.Route.Route.Moves[:1]
	}},
	{"level.minor_restriction", "not_here", finding.Refuse, func(in *facts.Input) { in.Route.Legs[0].Restriction = "minor"; level(in, 2, "INT") }},
	{"level.major_restriction", "second", finding.NeedsWaiver, func(in *facts.Input) {
		in.Route.Legs[0].Restriction = "major"
		endorse(in, 1, "SIDEMOUNT")
		endorse(in, 2, "SIDEMOUNT")
	}},
	{"level.major_restriction", "endorse", finding.Refuse, func(in *facts.Input) { in.Route.Legs[0].Restriction = "major" }},
	{"level.stages", "endorse", finding.Refuse, stage},
	{"level.scooter", "endorse", finding.Refuse, func(in *facts.Input) { in.Plan.Team[1].Scooter = true }},
	{"level.decompression", "endorse", finding.Refuse, func(in *facts.Input) { depth(in, 39); longer(in, 300) }},
	{"level.decompression", "long", finding.Refuse, func(in *facts.Input) { saddle(in); in.Policy.Ladder[4].DecoMinutes = new(1.0) }},
	{"level.decompression", "gases", finding.Refuse, func(in *facts.Input) {
		saddle(in)
		in.Policy.Ladder[4].DecoGases = new(1)
		for i, o2 := range []string{"50", "100"} {
			id := "deco-" + o2
			in.Cylinders = append(in.Cylinders, enginetest.Cylinder(id, "d-Ada", 7, o2))
			in.Plan.Supplies = append(in.Plan.Supplies, facts.Supply{
				ID: id, Diver: "d-Ada", Role: facts.Deco, Cylinders: []string{id}, Resting: true, DeepestM: new([]float64{21, 6}[i]),
				PlannedO2: o2, PlannedHe: "0", PlannedBar: new(200.0), TemperatureC: new(20.0),
			})
		}
	}},
	{"level.no_stop_share", "over", finding.Refuse, func(in *facts.Input) { in.Policy.Ladder[4].NoStopShare = new(0.8); depth(in, 30) }},
	{"level.no_stop_share", "ok", finding.Pass, func(in *facts.Input) { in.Policy.Ladder[4].NoStopShare = new(0.8); depth(in, 5) }},
	{"level.site_grade", "over", finding.Refuse, func(in *facts.Input) { in.Site.Grade = new(3); level(in, 2, "INT") }},
	{"level.site_grade", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Site.Grade = nil }},
	{"cylinder.test", "visual_overdue", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Events[0].On = enginetest.Mark("2023-11") }},
	{"cylinder.test", "fill_date_unknown", finding.Indeterminate, func(in *facts.Input) {
		in.Cylinders[0].FilledOn, in.Cylinders[0].FilledAt = calendar.Day{}, calendar.Instant{}
	}},
	{"cylinder.quarantine", "quarantine", finding.Refuse, func(in *facts.Input) {
		in.Cylinders[3].Quarantined = &facts.Quarantine{Since: enginetest.At("2026-06-01T10:00+02:00"), Reason: "valve"}
	}},
	{"cylinder.quarantine", "quarantine", finding.Refuse, func(in *facts.Input) {
		in.Items[0].Quarantined = &facts.Quarantine{Since: enginetest.At("2026-06-01T10:00+02:00"), Reason: "switch"}
	}},
	{"cylinder.rating", "over", finding.Refuse, func(in *facts.Input) { in.Plan.Supplies[0].PlannedBar = new(232.1) }},
	// Read cold, 225 bar are 237 bar at 20 °C, and read hot, 240 are 225: absolute pressure by absolute temperature, marked 232.
	{"cylinder.rating", "over", finding.Refuse, func(in *facts.Input) { measuredAt(in, 225, 5) }},
	{"cylinder.rating", "ok", finding.Pass, func(in *facts.Input) { measuredAt(in, 240, 40) }},
	// By the real gas (physics 6, model V worked by a second program) 215 bar of air at 5 °C are 232.8 bar at 20 °C.
	{"cylinder.rating", "over", finding.Refuse, func(in *facts.Input) {
		measuredAt(in, 215, 5)
		in.Policy.Gas.Model = string(gas.Real)
		for i := range in.Plan.Supplies {
			in.Plan.Supplies[i].PlannedO2 = "21"
		}
	}},
	{"cylinder.rating", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].RatedBar = 0 }},
	{"cylinder.clean", "not_clean", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Clean = "not_clean" }},
	{"cylinder.clean", "clean_unknown", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].Clean = "" }},
	{"cylinder.clean", "overdue", finding.Caution, func(in *facts.Input) { in.Cylinders[0].Events[1].On = enginetest.Mark("2025-06-12") }},
	{"cylinder.clean", "not_clean", finding.Refuse, func(in *facts.Input) {
		// Air, but oxygen was decanted into it (practice 0: any filling by partial pressure).
		in.Cylinders[0].Clean, in.Cylinders[0].Fill, in.Plan.Supplies[0].PlannedO2 = "not_clean", &facts.Fill{PartialPressure: true}, "21"
	}},
	{"cylinder.where", "lost", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Lies = &facts.Lies{Lost: true} }},
	{"cylinder.where", "lost", finding.Refuse, func(in *facts.Input) { in.Items[0].Lies = &facts.Lies{Lost: true} }},
	{"cylinder.where", "elsewhere", finding.Refuse, func(in *facts.Input) { stage(in); in.Cylinders[4].Lies = &facts.Lies{Site: "site-2"} }},
	{"cylinder.where", "elsewhere", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Lies = &facts.Lies{Site: "site-1"} }},
	{"cylinder.where", "waits", finding.Note, func(in *facts.Input) { stage(in); in.Cylinders[4].Lies = &facts.Lies{Site: "site-1", Place: "B"} }},
	{"gas.analyser", "not_named", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].Analyses[0].Analyser = nil }},
	{"gas.analyser", "not_calibrated", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].Analyses[0].Calibrated = calendar.Instant{} }},
	{"gas.analyser", "calibration_late", finding.Refuse, func(in *facts.Input) {
		in.Cylinders[0].Analyses[0].Calibrated = enginetest.At("2026-06-13T15:59+02:00")
	}},
	{"gas.analyser", "no_air_reading", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].Analyses[0].AirReading = "" }},
	{"gas.analyser", "air_reading_off", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Analyses[0].AirReading = "20.6" }},
	{"gas.analyser", "air_reading_off", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Analyses[0].AirReading = "21.2" }},
	{"gas.analyser", "overdue", finding.Refuse, func(in *facts.Input) {
		in.Cylinders[0].Analyses[0].Analyser.Events[0].On = enginetest.Mark("2025-06-12")
	}},
	{"gas.analyser", "last_day", finding.Caution, func(in *facts.Input) {
		in.Cylinders[0].Analyses[0].Analyser.Events[0].On = enginetest.Mark("2025-06-13")
	}},
	{"gas.analyser", "service_absent", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].Analyses[0].Analyser.Events = nil }},
	{"gas.analyser", "quarantine", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Analyses[0].Analyser.Quarantined = &facts.Quarantine{} }},
	{"gas.analyser", "quarantine", finding.Refuse, func(in *facts.Input) {
		in.Policy.Mix.CalibratedWithin = 0
		in.Cylinders[0].Analyses[0].Analyser.Quarantined = &facts.Quarantine{}
	}},
	{"gas.compressor_air", "overdue", finding.Refuse, compressedBy("2026-03-12")},
	{"gas.compressor_air", "last_day", finding.Caution, compressedBy("2026-03-13")},
	{"gas.compressor_air", "quarantine", finding.Refuse, func(in *facts.Input) {
		compressedBy("2026-06-01")(in)
		in.Cylinders[0].Fill.Compressor.Quarantined = &facts.Quarantine{}
	}},
	{"gas.analysis", "not_analysed", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Analyses = nil }},
	{"gas.analysis", "by_other", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Analyses[0].By = "d-Ben" }},
	{"gas.analysis", "ended", finding.Refuse, func(in *facts.Input) {
		in.Cylinders[0].Handling = []facts.Handling{{Kind: "custody_break", At: enginetest.At("2026-06-13T18:00+02:00")}}
	}},
	{"gas.analysis", "ended", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].FilledAt = enginetest.At("2026-06-13T18:30+02:00") }},
	// One more, recorded of a minute after the planned entry, takes nothing away from the one before it.
	{"gas.analysis", "ok", finding.Pass, func(in *facts.Input) {
		later := in.Cylinders[0].Analyses[0]
		later.ID, later.At = "later", enginetest.At("2026-06-14T12:00+02:00")
		in.Cylinders[0].Analyses = append(in.Cylinders[0].Analyses, later)
	}},
	{"gas.measured", "o2_off", finding.Refuse, func(in *facts.Input) { in.Cylinders[0].Analyses[0].O2 = "33.1" }},
	// 32 % may be breathed to 33 m at work (1.4 bar) and to 40 m at rest (1.6 bar).
	{"gas.measured", "deeper_than_mod", finding.Refuse, func(in *facts.Input) { depth(in, 35) }},
	{"gas.measured", "ok", finding.Pass, func(in *facts.Input) {
		depth(in, 35)
		in.Plan.Supplies[0].Resting, in.Plan.Supplies[1].Resting = true, true
	}},
	{"gas.measured", "not_analysed", finding.Indeterminate, func(in *facts.Input) { in.Cylinders[0].Analyses = nil }},
	{"gas.rich", "rich", finding.Refuse, func(in *facts.Input) { depth(in, 34) }},
	// Planned to pass, measured within the tolerance and too rich.
	{"gas.rich", "rich", finding.Refuse, func(in *facts.Input) { depth(in, 33); in.Cylinders[0].Analyses[0].O2 = "33" }},
	{"gas.rich", "ok", finding.Pass, func(in *facts.Input) { depth(in, 33) }},
	// Oxygen at 6 m of fresh water at sea level is 1.6016 bar, refused only above 1.62 (physics 0): 7 m are 1.70.
	{"gas.rich", "ok", finding.Pass, func(in *facts.Input) { oxygenStop(in, 6) }},
	{"gas.rich", "rich", finding.Refuse, func(in *facts.Input) { oxygenStop(in, 7) }},
	{"gas.hypoxic", "hypoxic", finding.Refuse, func(in *facts.Input) {
		in.Plan.Supplies[0].PlannedO2, in.Cylinders[0].Analyses, in.Cylinders[1].Analyses = "17", nil, nil
	}},
	// Planned with enough oxygen, measured within the tolerance and below the floor.
	{"gas.hypoxic", "hypoxic", finding.Refuse, func(in *facts.Input) {
		in.Plan.Supplies[0].PlannedO2, in.Cylinders[1].Analyses[0].O2 = "18", "17.1"
	}},
	{"gas.density", "heavy", finding.Refuse, func(in *facts.Input) { depth(in, 39) }},
	{"gas.density", "dense", finding.Caution, func(in *facts.Input) { depth(in, 31) }},
	// 18/45 has 5.1 g/L at 55 m, 18/43 has 5.3: within the tolerance, above the advised density.
	{"gas.density", "dense", finding.Caution, func(in *facts.Input) {
		in.Plan.Supplies[0].PlannedO2, in.Plan.Supplies[0].PlannedHe = "18", "45"
		in.Cylinders[0].Analyses[0].O2, in.Cylinders[0].Analyses[0].He = "18", "43"
		in.Cylinders[1].Analyses[0].O2, in.Cylinders[1].Analyses[0].He = "18", "45"
		depth(in, 55)
	}},
	{"gas.switch", "rise", finding.Note, func(in *facts.Input) {
		in.Plan.Supplies[0].PlannedO2, in.Plan.Supplies[0].PlannedHe = "18", "45"
		stage(in)
		in.Plan.Supplies[len(in.Plan.Supplies)-1].PlannedO2 = "50"
	}},
	{"kit.lights", "few", finding.Refuse, func(in *facts.Input) { drop(in, "d-Ben", facts.BackupLight) }},
	{"kit.lights", "no_primary", finding.Refuse, func(in *facts.Input) { drop(in, "d-Ben", facts.PrimaryLight) }},
	{"kit.light_burn", "short", finding.Refuse, func(in *facts.Input) { in.Items[0].BurnMin = new(23.9) }},
	{"kit.light_burn", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Items[0].BurnMin = nil }},
	{"kit.service", "overdue", finding.Refuse, func(in *facts.Input) { in.Items[0].Events[0].On = enginetest.Mark("2025-12-13") }},
	{"kit.service", "last_day", finding.Caution, func(in *facts.Input) { in.Items[0].Events[0].On = enginetest.Mark("2025-12-14") }},
	{"kit.service", "service_absent", finding.Indeterminate, func(in *facts.Input) { in.Items[0].Events = nil }},
	{"kit.service", "overdue", finding.Caution, func(in *facts.Input) { in.Items[0].Events[1].On = enginetest.Mark("2023-06-13") }}, // the battery
	{"kit.service", "not_on_trip", finding.Caution, func(in *facts.Input) { in.Moment = facts.AtEntry }},
	{"kit.service", "overdue_dives", finding.Refuse, func(in *facts.Input) { regulator(in, "2026-01-10", new(100)) }},
	{"kit.service", "ok", finding.Pass, func(in *facts.Input) { regulator(in, "2026-01-10", new(99)) }},
	{"kit.service", "service_absent", finding.Indeterminate, func(in *facts.Input) { regulator(in, "2026-01-10", nil) }},
	{"kit.service", "overdue", finding.Refuse, func(in *facts.Input) { regulator(in, "2025-06-13", new(3)) }},
	{"kit.scooter_battery", "short", finding.Refuse, func(in *facts.Input) { scooter(in, new(23.9)) }}, // 16 min × 1.5
	{"kit.scooter_battery", "ok", finding.Pass, func(in *facts.Input) { scooter(in, new(24.0)) }},
	{"kit.scooter_battery", "unknown", finding.Indeterminate, func(in *facts.Input) { scooter(in, nil) }},
	{"kit.reels", "short", finding.Refuse, func(in *facts.Input) { jump(in); in.Items[len(in.Items)-1].LengthM = new(23.9) }},
	{"kit.reels", "none", finding.Refuse, func(in *facts.Input) { jump(in); in.Plan.Carries = in.Plan.Carries[:len(in.Plan.Carries)-1] }},
	{"kit.safety_spool", "few", finding.Refuse, func(in *facts.Input) { drop(in, "d-Ben", facts.Spool) }},
	{"kit.markers", "few", finding.Refuse, func(in *facts.Input) { jump(in); drop(in, "d-Ben", facts.Marker) }},
	{"kit.cutting_tools", "few", finding.Refuse, func(in *facts.Input) { drop(in, "d-Ben", facts.CuttingTool) }},
	// A leg swum in with 8 m/min at 15 m/min, and not against it at 7: alone or in a pair, there is no way out after a failure.
	{"route.sharing_exit", "no_way", finding.Refuse, oneWay},
	{"route.sharing_exit", "nobody", finding.Refuse, func(in *facts.Input) {
		oneWay(in)
		in.Policy.Team.SoloAllowed = true
		in.Plan.Team, in.Plan.Supplies = in.Plan.Team[:1], in.Plan.Supplies[:1]
	}},
	{"route.faults", "refused", finding.Refuse, func(in *facts.Input) { in.Route.Route.Moves = in.Route.Route.Moves[:1] }},
	{"route.share_rule", "failed", finding.Refuse, func(in *facts.Input) { longer(in, 401) }},
	{"route.sharing_exit", "short", finding.Refuse, func(in *facts.Input) { longer(in, 401) }},
	{"route.planned_exit", "failed", finding.Refuse, func(in *facts.Input) { in.Policy.Gas.PlannedReserveBar = 161 }},
	{"route.major_restriction_sharing", "failed", finding.Refuse, func(in *facts.Input) { in.Route.Legs[0].Restriction = "major" }},
	{"route.cavern_zone", "failed", finding.Refuse, func(in *facts.Input) { in.Route.ClaimedZone = "cavern" }},
	{"route.siphon_row", "failed", finding.Refuse, func(in *facts.Input) { in.Route.Legs[0].FlowMMin = 1; level(in, 2, "APP") }},
	{"route.turn", "whole", finding.Note, func(in *facts.Input) {}},
	{"route.cautions", "said", finding.Caution, func(in *facts.Input) { in.Policy.Gas.Model = "real"; in.Plan.Supplies[0].TemperatureC = nil }},
	{"decompression.computed", "start", finding.Indeterminate, func(in *facts.Input) { in.Site.AltitudeM = new(301.0) }},
	{"decompression.computed", "failed", finding.Indeterminate, func(in *facts.Input) { // mains of two gases
		s := in.Plan.Supplies[0]
		s.ID, s.PlannedO2, s.Cylinders = "third", "28", []string{"third"}
		in.Cylinders = append(in.Cylinders, enginetest.Cylinder("third", s.Diver, 12, "28"))
		in.Plan.Supplies = append(in.Plan.Supplies, s)
	}},
	// Out of 80 min at 40 m a quarter of an hour before: above every limit at the surface.
	{"decompression.computed", "failed", finding.Indeterminate, func(in *facts.Input) {
		in.Divers[1].Dives = []facts.PastDive{{
			ID: "x", Entry: in.Plan.Entry.Add(-95), Out: in.Plan.Entry.Add(-15), MaxDepthM: new(40.0), AltitudeM: new(0.0), DensityKgM3: new(1000.0), Gases: []facts.Breathed{{O2: 21}},
		}}
	}},
	{"decompression.gradient", "looser", finding.Refuse, func(in *facts.Input) { in.Plan.GFHigh = new(95.0) }},
	{"decompression.schedule", "saddle", finding.Refuse, saddle},
	{"decompression.ways_out", "saddle", finding.Refuse, saddle},
	{"failure.deeper_longer", "short", finding.Refuse, func(in *facts.Input) { in.Policy.Gas.SharingReserveBar = 160 }},
	{"failure.deeper_longer", "none", finding.Refuse, func(in *facts.Input) { depth(in, 335); in.Policy.Failures.DeeperM = 20 }},
	{"oxygen.ways_out", "over", finding.Caution, func(in *facts.Input) { in.Policy.Oxygen.CNSRefusePercent, in.Policy.Oxygen.CNSCautionPercent = 1, 1 }},
	// Three days of 816 OTU and more (500 min of oxygen at 4 m, 1.4 bar) are above REPEX' 2300 of five days.
	{"oxygen.exposure", "days", finding.Refuse, func(in *facts.Input) {
		for _, d := range []string{"2026-06-11", "2026-06-12", "2026-06-13"} {
			in.Divers[1].Dives = append(in.Divers[1].Dives, facts.PastDive{
				ID: d, Entry: enginetest.At(d + "T00:00+02:00"), Out: enginetest.At(d + "T08:20+02:00"), MaxDepthM: new(4.0), AltitudeM: new(0.0),
				DensityKgM3: new(1000.0), Gases: []facts.Breathed{{O2: 100}},
			})
		}
	}},
	{"failure.delay", "short", finding.Refuse, func(in *facts.Input) { in.Policy.Failures.DelayMin = 120 }},
	{"failure.touch_contact", "short", finding.Refuse, func(in *facts.Input) {
		in.Policy.Failures.TouchContact, in.Policy.Speeds.TouchContactFactor = policy.DecideRefuse, 0.05
	}},
	{"failure.touch_contact_sharing", "short", finding.Caution, func(in *facts.Input) { in.Policy.Speeds.TouchContactFactor = 0.1 }},
	{"failure.scooter_lost", "short", finding.Refuse, func(in *facts.Input) {
		in.Plan.Team[0].Scooter, in.Plan.ContingencySwimMMin, in.Policy.Speeds.ContingencySwim = true, 40, 1
	}},
	{"failure.worst_consumption", "short", finding.NeedsWaiver, func(in *facts.Input) { in.Divers[1].Consumption.WorstLMin = 200 }},
	{"oxygen.exposure", "over", finding.Refuse, func(in *facts.Input) { in.Policy.Oxygen.CNSRefusePercent, in.Policy.Oxygen.CNSCautionPercent = 1, 1 }},
	{"oxygen.exposure", "much", finding.Caution, func(in *facts.Input) { in.Policy.Oxygen.CNSCautionPercent = 1 }},
	{"oxygen.exposure", "lungs", finding.Refuse, func(in *facts.Input) { in.Policy.Oxygen.OTUDaily = 5 }},
	{"decompression.altitude", "arrival", finding.Indeterminate, func(in *facts.Input) { in.Site.AltitudeM = new(301.0) }},
	{"decompression.altitude", "unknown", finding.Indeterminate, func(in *facts.Input) { in.Site.AltitudeM, in.Site.BarometerBar = nil, nil }},
	{"decompression.earlier_dives", "no_gas", finding.Indeterminate, func(in *facts.Input) {
		in.Divers[1].Dives = []facts.PastDive{{
			ID: "x", Entry: enginetest.At("2026-06-12T08:00+02:00"), Out: enginetest.At("2026-06-12T09:01+02:00"),
			MaxDepthM: new(12.0), AltitudeM: new(0.0), DensityKgM3: new(1000.0),
		}}
	}},
	{"diver.flight", "dive_open", finding.Note, func(in *facts.Input) {
		in.Divers[1].Dives = []facts.PastDive{{ID: "x", Entry: enginetest.At("2026-06-12T08:00+02:00"), Out: enginetest.At("2026-06-12T09:01+02:00"), Open: true}}
	}},
	{"decompression.earlier_dives", "open", finding.Indeterminate, func(in *facts.Input) {
		in.Divers[1].Dives = []facts.PastDive{{ID: "x", Entry: enginetest.At("2026-06-12T08:00+02:00"), Out: enginetest.At("2026-06-12T09:01+02:00"), Open: true}}
	}},
	{"decompression.earlier_dives", "planned_before", finding.Caution, func(in *facts.Input) {
		in.Duties = []facts.Duty{{Plan: "p-0", State: "approved", Diver: in.Plan.Team[1].Diver, As: "diver", From: enginetest.At("2026-06-14T05:00+02:00"), Until: enginetest.At("2026-06-14T06:00+02:00")}}
	}},
	{"watch.times", "no_time", finding.Indeterminate, func(in *facts.Input) { in.Site.Zones = nil }},
	{"watch.can_help", "cannot", finding.NeedsWaiver, func(in *facts.Input) { longer(in, 390); in.Policy.Gas.ConsumptionFloorLMin = 70 }},
	{"watch.walk", "alone", finding.Refuse, func(in *facts.Input) { in.Site.WalkMin = new(40.0) }},
}

// unreached are the checks of the route model that a plan of this file's kind
// does not concern; the route model's own tables test them both ways.
var unreached = []string{
	"route.stage_share", "route.lost_cylinder", "route.independent_main", "route.independent_spread", "route.cylinder_on_way_out",
	"route.marker_in_time", "route.deco_gas", "route.helpful_outflow", "failure.lost_cylinder", "failure.far_side_shut",
	"route.other_way",     // compares and decides nothing
	"decompression.stops", // tells each stop and why; what is wrong with one is decompression.schedule's
}

func TestEveryRuleFailsWhereItMust(t *testing.T) {
	for _, b := range breaches {
		in := enginetest.Pair()
		b.change(&in)
		var seen []string
		ok := false
		for _, f := range judge(in) {
			if f.Rule != b.rule {
				continue
			}
			seen = append(seen, string(f.Status)+" "+f.Code)
			if b.status == finding.Pass && f.Status != finding.Pass && f.Status != finding.NotApplicable {
				t.Errorf("%s: want nothing but %s, got %s %s: %s", b.rule, b.code, f.Status, f.Code, f.Message)
			}
			if f.Code == b.code && f.Status == b.status {
				ok = true
				if testing.Verbose() {
					t.Logf("%s: %s | %s", b.rule, f.Message, f.Remedy)
				}
				if f.Blocks() && (f.Message == "" || f.Remedy == "" || f.Path == "") {
					t.Errorf("%s %s: message %q, remedy %q, path %q: each must say something", b.rule, b.code, f.Message, f.Remedy, f.Path)
				}
				if strings.ContainsAny(f.Message+f.Remedy, "{}") {
					t.Errorf("%s %s: placeholder left in %q / %q", b.rule, b.code, f.Message, f.Remedy)
				}
			}
		}
		if !ok {
			t.Errorf("%s: want %s %s, got %v", b.rule, b.status, b.code, seen)
		}
	}
}

func TestEveryRuleIsTestedBothWays(t *testing.T) {
	tested := map[string]bool{}
	for _, b := range breaches {
		tested[b.rule] = true
	}
	for _, u := range unreached {
		tested[u] = true
	}
	passes := map[string]bool{}
	for _, f := range judge(enginetest.Pair()) {
		if f.Blocks() {
			t.Errorf("the passing plan is stopped by %s: %s", f.Rule, f.Message)
		}
		passes[f.Rule] = true
	}
	for _, r := range rules.Table() {
		if !tested[r.ID] {
			t.Errorf("%s has no failing case", r.ID)
		}
		if !passes[r.ID] {
			t.Errorf("%s gives no answer for a passing plan", r.ID)
		}
	}
}
