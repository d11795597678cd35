// Package enginetest makes complete, invented inputs that pass every rule, for
// tests to break in one place at a time. Nothing in it is a real person, place
// or object.
package enginetest

import (
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// Day reads YYYY-MM-DD; it panics on anything else, being for constants.
func Day(text string) calendar.Day {
	d, err := calendar.ParseDay(text)
	if err != nil {
		panic(err)
	}
	return d
}

// At reads an instant with its offset; it panics on anything else.
func At(text string) calendar.Instant {
	t, err := calendar.ParseInstant(text)
	if err != nil {
		panic(err)
	}
	return t
}

// Mark reads YYYY-MM or YYYY-MM-DD; it panics on anything else.
func Mark(text string) calendar.Mark {
	m, err := calendar.ParseMark(text)
	if err != nil {
		panic(err)
	}
	return m
}

// Summer is a zone that stays two hours east of UTC from 2020 to 2035.
func Summer() calendar.Zone {
	return calendar.Zone{Name: "Test/Summer", Version: "test", From: At("2020-01-01T00:00Z"), Until: At("2035-01-01T00:00Z"), Base: 120}
}

// WorkedPolicy is the default policy with the plain arithmetic of examples
// worked by hand: ideal gas, no stress factor, no floor, no delay, no reserves,
// no ascent from the opening, no minimum start gas. Out by touch without a loss is
// a caution: the examples know no such exit.
func WorkedPolicy() policy.Policy {
	p := policy.Default()
	p.Gas.Model, p.Gas.CountOpenWaterAscent = "ideal", false
	p.Gas.StressFactor, p.Gas.ConsumptionFloorLMin, p.Gas.DelayMin = 1, 0, 0
	p.Gas.SharingReserveBar, p.Gas.PlannedReserveBar = 0, 0
	p.Speeds.Swim, p.Speeds.ContingencySwim = 15, 15
	p.SlowExit = policy.SlowExit{Clear: 1, SomeSilt: 1, SiltLikely: 1, ZeroVisibility: 1}
	for i := range p.Ladder {
		p.Ladder[i].MinStartGasL = 0
	}
	return p
}

// Diver makes a full cave diver in every respect, seen by the registrar.
func Diver(id, name string) facts.Diver {
	card := func(level, endorsement string) facts.Card {
		return facts.Card{ID: id + "-" + level + endorsement, Level: level, Endorsement: endorsement, Issued: Day("2020-03-01"), SeenBy: "registrar", SeenAt: At("2024-01-10T10:00Z"), Version: 1}
	}
	firstAid := func(endorsement string) facts.Card {
		c := card("", endorsement)
		c.Issued, c.SeenAt = Day("2026-02-07"), At("2026-02-07T18:00+01:00")
		return c
	}
	d := facts.Diver{
		ID: id, Name: name, Version: 1, Birth: Day("1985-04-02"),
		Cards:       []facts.Card{card("FULL", ""), firstAid("CPR"), firstAid("FIRST_AID"), firstAid("OXYGEN")},
		Medical:     &facts.Medical{Examined: Day("2025-05-01"), Declared: Day("2026-01-15"), Version: 1},
		Consumption: &facts.Consumption{RMVLMin: 20, Origin: "measured", Dives: 12},
		Reassessed:  []calendar.Day{Day("2025-09-06")},
	}
	for i, day := range []string{"2025-10-04", "2025-12-06", "2026-01-10", "2026-02-14", "2026-03-07", "2026-04-11", "2026-05-02", "2026-05-16"} {
		d.Dives = append(d.Dives, PastDive(id+"-log-"+string(rune('1'+i)), day))
	}
	return d
}

// PastDive is a full cave diver's closed dive at the site of Plan, an hour from ten in the morning.
func PastDive(id, day string) facts.PastDive {
	penetration, deep := 400.0, 20.0
	return facts.PastDive{
		ID: id, Site: "site-1", Entry: At(day + "T10:00+02:00"), Out: At(day + "T11:00+02:00"), SignedOut: At(day + "T11:00+02:00"), EntryDay: Day(day),
		Zone: "cave", CountedAs: "FULL", Uses: []string{"STAGE"}, PenetrationM: &penetration, MaxDepthM: &deep, Version: 1,
	}
}

// Cylinder makes a steel cylinder in test, filled and analysed the day before
// by the diver who breathes it.
func Cylinder(id, diver string, volume float64, o2 string) facts.Cylinder {
	return facts.Cylinder{
		ID: id, Name: "cylinder " + id, Serial: id, Maker: "Northmetal", Owner: "club", VolumeL: volume, RatedBar: 232, Material: "steel", Regime: "de", Clean: "clean", Version: 1,
		Made: Mark("2018-02"),
		Events: []facts.CylinderEvent{
			{ID: id + "-h", Kind: "hydro", On: Mark("2024-05"), Recorded: Day("2024-05-20")},
			{ID: id + "-o", Kind: "clean", On: Mark("2026-01-20"), Recorded: Day("2026-01-20")},
		},
		FilledOn: Day("2026-06-13"), FilledAt: At("2026-06-13T16:00+02:00"),
		Analyses: []facts.Analysis{{ID: id + "-a", At: At("2026-06-13T18:00+02:00"), O2: o2, He: "0", By: diver, Analyser: Analyser(), Calibrated: At("2026-06-13T17:50+02:00"), AirReading: "20.9", Version: 1}},
	}
}

// Analyser makes the club's analyser, its cell changed in March.
func Analyser() *facts.Item {
	return &facts.Item{ID: "analyser", Name: "analyser", Kind: facts.Analyser, Version: 1, Events: []facts.ItemEvent{{Kind: "cell", On: Mark("2026-03-02"), Recorded: Day("2026-03-02")}}}
}

// lookedAfter are the events that keep the kit of Plan in date.
var lookedAfter = map[facts.ItemKind][]string{
	facts.PrimaryLight: {"burn", "battery"}, facts.BackupLight: {"burn", "battery"}, facts.Spool: {"check"}, facts.Reel: {"check"},
}

// Options are what Plan is made of.
type Options struct {
	Policy policy.Policy
	Names  []string  // divers, in order; the first leads
	Bars   []float64 // start pressure of each diver's twinset
	Volume float64   // litres of each of the two cylinders
	O2     string    // per cent
	Legs   []route.Leg
	Depth  float64
	Moves  []string // stations after the start, there and back
}

// Plan makes a passing input: a team with twinsets in a level spring, planned
// for the morning of 14 June 2026 and decided on the same day at six.
func Plan(o Options) facts.Input {
	fl := func(x float64) *float64 { return &x }
	yes, no := true, false
	in := facts.Input{
		Moment: facts.Planning, DecidedAt: At("2026-06-14T06:00+02:00"), PolicyVersion: "1", SurveyVersion: "3", Policy: o.Policy,
		Plan: facts.Plan{
			ID: "plan-1", Name: "Long Gallery", Version: 1, Kind: facts.Normal,
			Entry: At("2026-06-14T09:00+02:00"), EnterBy: At("2026-06-14T09:30+02:00"),
			Cover: []string{"cora"}, Night: &no,
		},
		Site: facts.Site{
			ID: "site-1", Name: "Mill Spring", Version: 1, Zones: []calendar.Zone{Summer()}, Grade: new(2),
			DensityKgM3: fl(10000 / 9.80665), BarometerBar: fl(1), AltitudeM: fl(120), WaterC: fl(10), PermitRequired: &no,
			Oxygen:   []facts.OxygenCylinder{{VolumeL: 5, Bar: 180}},
			Readings: []facts.Reading{{ID: "r-1", At: At("2026-06-14T05:30+02:00"), LevelM: fl(1.2), Level: "normal", Flow: "low", VisibilityM: fl(20), Visibility: "good", By: "cora", Version: 1}},
		},
		Divers: []facts.Diver{Diver("cora", "Cora")},
	}
	in.Route.Stations = []route.Station{{Name: "A", DepthM: o.Depth, Opening: true, Daylight: true}}
	seen := map[string]bool{"A": true}
	for _, l := range o.Legs {
		for _, s := range []string{l.From, l.To} {
			if !seen[s] {
				seen[s] = true
				in.Route.Stations = append(in.Route.Stations, route.Station{Name: s, DepthM: o.Depth})
			}
		}
		in.Site.Bottoms = append(in.Site.Bottoms, facts.Bottom{Leg: l.ID, Class: "clear"})
	}
	in.Route.Legs = o.Legs
	in.Route.Route.Start = "A"
	for _, s := range o.Moves {
		in.Route.Route.Moves = append(in.Route.Route.Moves, route.Move{To: s})
	}
	item := func(id, diver string, kind facts.ItemKind, count int) *facts.Item {
		it := facts.Item{ID: id, Name: id, Kind: kind, Version: 1}
		for _, done := range lookedAfter[kind] {
			it.Events = append(it.Events, facts.ItemEvent{Kind: done, On: Mark("2026-04-02"), Recorded: Day("2026-04-02")})
		}
		in.Items = append(in.Items, it)
		in.Plan.Carries = append(in.Plan.Carries, facts.Carrying{Diver: diver, Item: id, Count: count})
		return &in.Items[len(in.Items)-1]
	}
	for i, name := range o.Names {
		id := "d-" + name
		in.Divers = append(in.Divers, Diver(id, name))
		in.Plan.Team = append(in.Plan.Team, facts.Member{Diver: id, Leader: i == 0, Apparatus: facts.OpenCircuit})
		left, right := name+"-left", name+"-right"
		in.Cylinders = append(in.Cylinders, Cylinder(left, id, o.Volume, o.O2), Cylinder(right, id, o.Volume, o.O2))
		in.Plan.Supplies = append(in.Plan.Supplies, facts.Supply{
			ID: name + "-twin", Diver: id, Role: facts.Main, Cylinders: []string{left, right}, DualValve: &yes,
			PlannedO2: o.O2, PlannedHe: "0", PlannedBar: fl(o.Bars[i]), TemperatureC: fl(20),
		})
		item(name+"-primary", id, facts.PrimaryLight, 1).BurnMin = fl(600)
		item(name+"-backup-1", id, facts.BackupLight, 1).BurnMin = fl(600)
		item(name+"-backup-2", id, facts.BackupLight, 1).BurnMin = fl(600)
		item(name+"-spool", id, facts.Spool, 1).LengthM = fl(40)
		item(name+"-cutters", id, facts.CuttingTool, 2)
		item(name+"-markers", id, facts.Marker, 3)
		item(name+"-arrows", id, facts.Arrow, 3)
	}
	return in
}

// Gallery is one lined leg of a level passage, a station every step metres,
// from A outwards; flow is positive inwards.
func Gallery(length, step, flow float64) []route.Leg {
	var legs []route.Leg
	from := "A"
	for n, at := 1, 0.0; at < length-1e-9; n++ {
		to := string(rune('A' + n))
		l := min(step, length-at)
		legs = append(legs, route.Leg{ID: from + to, From: from, To: to, LengthM: l, Lined: true, FlowMMin: flow, Restriction: route.RestrictionNone})
		at += l
		from = to
	}
	return legs
}

// ThereAndBack lists the stations of a gallery out to its end and home.
func ThereAndBack(legs []route.Leg) []string {
	var out []string
	for _, l := range legs {
		out = append(out, l.To)
	}
	for i := len(legs) - 1; i >= 0; i-- {
		out = append(out, legs[i].From)
	}
	return out
}

// Pair is two full cave divers with twin twelves at 200 bar, 120 m into a still
// passage at 20 m and back.
func Pair() facts.Input {
	legs := Gallery(120, 120, 0)
	return Plan(Options{Policy: WorkedPolicy(), Names: []string{"Ada", "Ben"}, Bars: []float64{200, 200}, Volume: 12, O2: "32", Legs: legs, Depth: 20, Moves: ThereAndBack(legs)})
}

// AnalysedAt puts a cylinder's reading at this time, on an analyser calibrated ten minutes before.
func AnalysedAt(c *facts.Cylinder, at string) {
	c.Analyses[0].At = At(at)
	c.Analyses[0].Calibrated = At(at).Add(-10)
}
