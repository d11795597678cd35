package engine

// The numbers of the method handbook's "Twelve situations with numbers", where
// they concern what the engine answers. Names are invented.

import (
	"math"
	"strings"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
	"lastlight/engine/route"
)

// find gives the findings of a rule with a code.
func find(r Report, rule, code string) []finding.Finding {
	var out []finding.Finding
	for _, f := range r.Findings {
		if f.Rule == rule && f.Code == code {
			out = append(out, f)
		}
	}
	return out
}

func mustFind(t *testing.T, r Report, status finding.Status, rule, code string) finding.Finding {
	t.Helper()
	fs := find(r, rule, code)
	if len(fs) == 0 {
		t.Errorf("no finding %s %s; the blocking ones are:", rule, code)
		for _, f := range r.Findings {
			if f.Blocks() {
				t.Logf("  %s %s %s: %s", f.Status, f.Rule, f.Code, f.Message)
			}
		}
		t.FailNow()
	}
	if fs[0].Status != status {
		t.Errorf("%s %s is %s, want %s: %s", rule, code, fs[0].Status, status, fs[0].Message)
	}
	return fs[0]
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s %.4f, want %.4f", what, got, want)
	}
}

func turnBars(r Report) []float64 {
	var out []float64
	for _, x := range r.Turns {
		out = append(out, x.TurnBar)
	}
	return out
}

func equalBars(t *testing.T, what string, got []float64, want ...float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s %v, want %v", what, got, want)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("%s %v, want %v", what, got, want)
		}
	}
}

// blockingRules lists the rules that block, each once.
func blockingRules(r Report) map[string]bool {
	out := map[string]bool{}
	for _, f := range r.Findings {
		if f.Blocks() {
			out[f.Rule] = true
		}
	}
	return out
}

func onlyBlocked(t *testing.T, r Report, rules ...string) {
	t.Helper()
	got := blockingRules(r)
	for _, x := range rules {
		if !got[x] {
			t.Errorf("%s does not block", x)
		}
		delete(got, x)
	}
	for x := range got {
		t.Errorf("%s blocks too", x)
	}
}

func trio() Input {
	legs := enginetest.Gallery(360, 360, 0)
	return enginetest.Plan(enginetest.Options{
		Policy: enginetest.WorkedPolicy(), Names: []string{"Ada", "Ben", "Cleo"}, Bars: []float64{210, 195, 185}, Volume: 12, O2: "40",
		Legs: legs, Depth: 20, Moves: enginetest.ThereAndBack(legs),
	})
}

// atWater is the same dive with pressures read at the water.
func atWater(in Input, bars ...float64) Input {
	in.Plan.Supplies = append([]facts.Supply(nil), in.Plan.Supplies...)
	for i := range in.Plan.Supplies {
		bar := bars[i]
		in.Plan.Supplies[i].MeasuredBar = &bar
	}
	in.Moment = facts.AtEntry
	return in
}

func TestStory1AmendmentAtTheWater(t *testing.T) {
	planned := trio()
	r := Evaluate(planned)
	onlyBlocked(t, r)
	equalBars(t, "planned turns", turnBars(r), 150, 135, 125)

	outside, a := enter(t, planned, atWater(planned, 210, 195, 175))
	if len(outside) > 0 || len(EntryBlocking(&a)) > 0 {
		t.Errorf("inside the approved dive, but no go: %v, blocked %v", outside, EntryBlocking(&a))
	}
	equalBars(t, "turns at the water", turnBars(a), 155, 140, 120)
	if before, now := r.Route.Reach.Place.DistanceM, a.Route.Reach.Place.DistanceM; !(now < 360 && now < before) {
		t.Errorf("farthest point %g m after %g m: must be nearer", now, before)
	}

	// Another person, another cylinder, or a pressure nobody read: not inside.
	other := atWater(planned, 210, 195, 175)
	other.Plan.Team = other.Plan.Team[:2]
	other.Plan.Supplies = other.Plan.Supplies[:2]
	if outside, _ := enter(t, planned, other); len(outside) != 2 {
		t.Errorf("a diver less is another dive: %v", outside)
	}
	unread := atWater(planned, 210, 195, 175)
	unread.Plan.Supplies[2].MeasuredBar = nil
	if _, r := enter(t, planned, unread); len(EntryBlocking(&r)) == 0 {
		t.Error("a pressure that was not read must block the entry")
	}
	// So little that nobody may leave the entrance: the gas checks stop the entry.
	if _, r := enter(t, planned, atWater(planned, 210, 195, 4)); len(EntryBlocking(&r)) == 0 {
		t.Error("no dive is left at 4 bar, and nothing blocks")
	}
}

// enter evaluates at the water and compares with the dive approved.
func enter(t *testing.T, approved, now Input) ([]string, Report) {
	t.Helper()
	r := Evaluate(now)
	var bytes [][]byte
	for _, v := range []any{approved, Evaluate(approved), now, r} {
		b, err := Bytes(v)
		if err != nil {
			t.Fatal(err)
		}
		bytes = append(bytes, b)
	}
	outside, err := Inside(bytes[0], bytes[1], bytes[2], bytes[3])
	if err != nil {
		t.Fatal(err)
	}
	return outside, r
}

func siphon(length float64, change func(*policy.Policy)) Input {
	p := enginetest.WorkedPolicy()
	if change != nil {
		change(&p)
	}
	legs := enginetest.Gallery(length, length, 3)
	return enginetest.Plan(enginetest.Options{Policy: p, Names: []string{"Ada", "Ben"}, Bars: []float64{200, 200}, Volume: 12, O2: "40", Legs: legs, Depth: 20, Moves: enginetest.ThereAndBack(legs)})
}

func TestStory2Siphon(t *testing.T) {
	in := siphon(480, nil)
	r := Evaluate(in)
	f := mustFind(t, r, finding.Refuse, "route.sharing_exit", "short")
	near(t, "needed L", *f.Limit.Number, 4800, 1e-4)
	near(t, "left L", *f.Observed.Number, 3200, 1e-4)
	near(t, "short L", *f.Shortfall.Number, 1600, 1e-4)
	for _, want := range []string{"4800 L", "3200 L", "short 1600 L = 66.7 bar"} {
		if !strings.Contains(f.Message, want) {
			t.Errorf("message %q does not say %q", f.Message, want)
		}
	}
	if !strings.Contains(f.Remedy, "360 m") {
		t.Errorf("remedy %q does not name the farthest that passes, 360 m", f.Remedy)
	}
	near(t, "farthest m", r.Route.Reach.Place.DistanceM, 360, 1e-5)

	// The situation calls 360 m the farthest that passes, by the sharing check. The method's table of failures (route
	// method, 6) refuses it all the same: out by touch at 7.5 m/min against 3 takes 80 min, 80 × 3 × 20 = 4800 L of 3600,
	// and the stops that so long a way needs, 9 min at 1.6 bar: 288 L.
	farthest := Evaluate(siphon(360, nil))
	onlyBlocked(t, farthest, "failure.touch_contact")
	touch := mustFind(t, farthest, finding.Refuse, "failure.touch_contact", "short")
	near(t, "out by touch, left L", *touch.Observed.Number, 3600, 1e-4)
	near(t, "out by touch, needed L", *touch.Limit.Number, 4800+9*1.6*20, 1e-4)

	stressed := Evaluate(siphon(480, func(p *policy.Policy) { p.Gas.ConsumptionFloorLMin, p.Gas.DelayMin = 30, 2 }))
	near(t, "farthest m at 30 L/min and 2 min", math.Floor(stressed.Route.Reach.Place.DistanceM), 242, 1e-9)
}

func unequal(minutes float64, fraction policy.Fraction) Input {
	p := enginetest.WorkedPolicy()
	for i := range p.Ladder {
		if p.Ladder[i].Name == "FULL" {
			p.Ladder[i].GasDoubles.Fraction = fraction
		}
	}
	legs := enginetest.Gallery(minutes*15, minutes*15, 0)
	in := enginetest.Plan(enginetest.Options{Policy: p, Names: []string{"Ada", "Ben"}, Bars: []float64{210, 210}, Volume: 12, O2: "40", Legs: legs, Depth: 20, Moves: enginetest.ThereAndBack(legs)})
	for i := range in.Cylinders[:2] {
		in.Cylinders[i].VolumeL = 7
	}
	in.Divers[1].Consumption.RMVLMin, in.Divers[2].Consumption.RMVLMin = 12, 22
	return in
}

// Practice P8: 14 L at 210 bar and 12 L/min beside 24 L at 210 and 22 L/min at 20 m: own
// thirds leave the first short 572.7 L, by volume the pair turns at 14.85 min and 169.2
// bar, the sharing test alone at 21.30 min.
func TestStory3UnequalLungs(t *testing.T) {
	// B's own third: 1680 L at 22 L/min and 3 bar is 25.45 min.
	r := Evaluate(unequal(1680.0/66, policy.Frac(1, 3)))
	f := mustFind(t, r, finding.Refuse, "route.sharing_exit", "short")
	if f.Subject.Name != "Ada" || f.Other == nil || f.Other.Name != "Ben" {
		t.Errorf("donor %v, victim %v; want Ada and Ben", f.Subject, f.Other)
	}
	near(t, "short L", *f.Shortfall.Number, 572.7, 0.05)
	if !strings.Contains(f.Message, "short 572.7 L") {
		t.Errorf("message %q does not say 572.7 L", f.Message)
	}
	near(t, "matched by volume, min", r.Route.Reach.Place.ElapsedMin-r.Route.Start.ElapsedMin, 14.85, 0.005)
	near(t, "Ben's exact turn", r.Turns[1].ExactBar, 169.2, 0.05)

	alone := Evaluate(unequal(1680.0/66, policy.Frac(1, 1)))
	near(t, "the sharing check alone, min", alone.Route.Reach.Place.ElapsedMin-alone.Route.Start.ElapsedMin, 21.30, 0.005)
}

// jumps is a passage at 36 m with two side passages that are jumped to.
func jumps() Input {
	legs := []route.Leg{
		{ID: "AB", From: "A", To: "B", LengthM: 20, Lined: true, Restriction: "none"},
		{ID: "BC", From: "B", To: "C", LengthM: 10, Restriction: "none"},
		{ID: "BD", From: "B", To: "D", LengthM: 10, Restriction: "none"},
	}
	in := enginetest.Plan(enginetest.Options{Policy: enginetest.WorkedPolicy(), Names: []string{"Ada", "Ben"}, Bars: []float64{200, 200}, Volume: 12, O2: "28", Legs: legs, Depth: 36})
	in.Route.Route.Moves = []route.Move{
		{To: "B"}, {To: "C", RunLine: true}, {To: "B", RecoverLine: true}, {To: "D", RunLine: true}, {To: "B", RecoverLine: true}, {To: "A"},
	}
	forty := 60.0
	for _, leg := range []string{"BC", "BD"} {
		in.Items = append(in.Items, facts.Item{ID: "reel-" + leg, Name: "reel " + leg, Kind: facts.Reel, LengthM: &forty})
		in.Plan.Carries = append(in.Plan.Carries, facts.Carrying{Diver: "d-Ada", Item: "reel-" + leg, For: leg, Count: 1})
	}
	return in
}

func TestStory4Midnight(t *testing.T) {
	in := jumps()
	card := &in.Divers[2].Cards[0]
	card.SeenAt = enginetest.At("2025-07-01T10:00+02:00")
	card.Level, card.Issued = "APP", enginetest.Day("2025-06-14") // twelve months: its last day is 14 June 2026
	in.Plan.GasFraction = policy.Frac(1, 3)
	in.Plan.Entry, in.Plan.EnterBy = enginetest.At("2026-06-14T23:10+02:00"), enginetest.At("2026-06-14T23:10+02:00")
	in.Plan.RuntimeMin = 90
	// The caller's computer thinks it is still the afternoon, far in the west.
	in.DecidedAt = enginetest.At("2026-06-14T14:00-07:00")
	r := Evaluate(in)
	if r.JudgedAs != "INT" {
		t.Errorf("judged as %q, want INT", r.JudgedAs)
	}
	if r.LastDay.String() != "2026-06-15" {
		t.Errorf("last day touched %s", r.LastDay)
	}
	f := mustFind(t, r, finding.Caution, "diver.card", "card_ends")
	if !strings.Contains(f.Message, "card ends 2026-06-14") || !strings.Contains(f.Message, "counts as INT") {
		t.Errorf("message %q", f.Message)
	}
	for _, x := range []struct{ rule, code, says string }{
		{"level.jumps", "over", "2 > 0 jumps"}, {"level.depth", "over", "36 m > 30 m"}, {"level.gas_rule", "over", "1/3 > 1/6"},
	} {
		if f := mustFind(t, r, finding.Refuse, x.rule, x.code); !strings.Contains(f.Message, x.says) || f.Subject.Name != "Ben" {
			t.Errorf("%s: %q about %s, want %q about Ben", x.rule, f.Message, f.Subject.Name, x.says)
		}
	}

	in.Plan.RuntimeMin = 40 // out by 23:50
	in.Site.Grade = new(3)
	r = Evaluate(in)
	onlyBlocked(t, r)
	mustFind(t, r, finding.Caution, "diver.card", "last_day")
	if r.JudgedAs != "APP" {
		t.Errorf("judged as %q, want APP", r.JudgedAs)
	}
}

func TestStory5TwinSerialOutOfTest(t *testing.T) {
	in := enginetest.Pair()
	c := &in.Cylinders[0]
	c.Serial, c.Events = "4471", []facts.CylinderEvent{{ID: "h", Kind: "hydro", On: enginetest.Mark("2021-05"), Recorded: enginetest.Day("2021-05-30")}, {ID: "v", Kind: "visual", On: enginetest.Mark("2025-01"), Recorded: enginetest.Day("2025-01-30")}}
	shift := func(filled string) Report {
		c.FilledOn, c.FilledAt = enginetest.Day(filled), enginetest.At(filled+"T10:00+02:00")
		for i := range in.Cylinders {
			enginetest.AnalysedAt(&in.Cylinders[i], "2026-06-02T07:00+02:00")
			if i > 0 {
				in.Cylinders[i].FilledOn, in.Cylinders[i].FilledAt = enginetest.Day("2026-06-01"), enginetest.At("2026-06-01T10:00+02:00")
			}
		}
		in.Plan.Entry, in.Plan.EnterBy = enginetest.At("2026-06-02T12:00+02:00"), enginetest.At("2026-06-02T12:30+02:00")
		in.DecidedAt = enginetest.At("2026-06-02T10:30+02:00")
		in.Site.Readings[0].At = enginetest.At("2026-06-02T09:00+02:00")
		return Evaluate(in)
	}
	r := shift("2026-05-30")
	onlyBlocked(t, r)
	mustFind(t, r, finding.Note, "cylinder.test", "hydro_overdue")

	in.Policy.Cylinders.StrictOutOfTest = true
	mustFind(t, shift("2026-05-30"), finding.Refuse, "cylinder.test", "hydro_overdue")
	in.Policy.Cylinders.StrictOutOfTest = false
	for i := range in.Cylinders { // a refill on 2 June, analysed after it
		enginetest.AnalysedAt(&in.Cylinders[i], "2026-06-02T11:00+02:00")
	}
	mustFind(t, shift("2026-06-02"), finding.Refuse, "cylinder.test", "filled_out_of_date")
}

func TestStory6OldAnalysis(t *testing.T) {
	analysed := func(day, entry, o2 string, depth float64) Report {
		in := enginetest.Pair()
		for i := range in.Cylinders {
			in.Cylinders[i].FilledOn, in.Cylinders[i].FilledAt = enginetest.Day(day), enginetest.At(day+"T08:00+02:00")
			enginetest.AnalysedAt(&in.Cylinders[i], day+"T15:00+02:00")
			in.Cylinders[i].Analyses[0].O2 = o2
		}
		for i := range in.Route.Stations {
			in.Route.Stations[i].DepthM = depth
		}
		in.Plan.Entry, in.Plan.EnterBy = enginetest.At(entry+"T09:00+02:00"), enginetest.At(entry+"T09:30+02:00")
		in.DecidedAt = enginetest.At(entry + "T08:00+02:00")
		in.Site.Readings[0].At = enginetest.At(entry + "T07:00+02:00")
		return Evaluate(in)
	}
	onlyBlocked(t, analysed("2026-06-01", "2026-06-15", "32.4", 30))
	onlyBlocked(t, analysed("2026-06-01", "2026-06-16", "32.4", 30), "gas.analysis")
	r := analysed("2026-06-15", "2026-06-16", "33.2", 33)
	off := mustFind(t, r, finding.Refuse, "gas.measured", "o2_off")
	deep := mustFind(t, r, finding.Refuse, "gas.measured", "deeper_than_mod")
	if !strings.Contains(off.Message, "off by 1.2") || !strings.Contains(deep.Message, "MOD 32 m") || !strings.Contains(deep.Message, "1 m too deep") {
		t.Errorf("%q; %q", off.Message, deep.Message)
	}
}

func TestStory7StaleEntry(t *testing.T) {
	in := trio()
	stage := 150.0
	in.Cylinders = append(in.Cylinders, enginetest.Cylinder("stage-1", "d-Ada", 11, "36"))
	in.Plan.Supplies = append(in.Plan.Supplies, facts.Supply{ID: "stage", Diver: "d-Ada", Role: facts.Stage, Cylinders: []string{"stage-1"}, PlannedO2: "36", PlannedHe: "0", PlannedBar: &stage, MeasuredBar: &stage, TemperatureC: new(20.0)})
	in.Divers[1].Cards = append(in.Divers[1].Cards, facts.Card{ID: "ada-stage", Endorsement: "STAGE", Issued: enginetest.Day("2024-01-01"), SeenBy: "registrar", SeenAt: enginetest.At("2024-01-10T10:00Z")})
	first := Evaluate(in)
	onlyBlocked(t, first)
	before, err := Canonical(in, first)
	if err != nil {
		t.Fatal(err)
	}

	now := atWater(in, 210, 195, 185, 170)
	now.Cylinders = append([]facts.Cylinder(nil), in.Cylinders...)
	last := &now.Cylinders[len(now.Cylinders)-1]
	last.Handling = []facts.Handling{{Kind: "top_up", At: enginetest.At("2026-06-13T18:40+02:00")}}
	now.Divers = append([]facts.Diver(nil), in.Divers...)
	medical := *now.Divers[2].Medical
	medical.Suspended = enginetest.Day("2026-06-14")
	now.Divers[2].Medical = &medical
	_, a := enter(t, in, now)
	onlyBlocked(t, a, "gas.analysis", "diver.medical")
	ended := mustFind(t, a, finding.Refuse, "gas.analysis", "ended")
	out := mustFind(t, a, finding.Refuse, "diver.medical", "not_available")
	if !strings.Contains(ended.Message, "top up") {
		t.Errorf("message %q does not name the top-up", ended.Message)
	}
	for _, word := range []string{"medical", "fit", "ill", "health", "suspend", "accident", "symptom"} {
		if strings.Contains(strings.ToLower(out.Message+out.Remedy), word) {
			t.Errorf("%q says %q", out.Message, word)
		}
	}

	// The version approved replays byte for byte.
	again, err := Canonical(in, Evaluate(in))
	if err != nil || string(again) != string(before) {
		t.Error("the same input does not replay to the same bytes")
	}
}

// loop is an approach of 100 m and a circuit of 560 m with a station on its far
// side at 270 m, where the set-up dive from the other side left its marker.
func loop() Input {
	legs := []route.Leg{
		{ID: "AB", From: "A", To: "B", LengthM: 100, Lined: true, Restriction: "none"},
		{ID: "BC", From: "B", To: "C", LengthM: 270, Lined: true, Restriction: "none", MainLine: new(true)},
		{ID: "CB", From: "C", To: "B", LengthM: 290, Lined: true, Restriction: "none", MainLine: new(true)},
	}
	in := enginetest.Plan(enginetest.Options{Policy: enginetest.WorkedPolicy(), Names: []string{"Ada", "Ben"}, Bars: []float64{200, 200}, Volume: 12, O2: "40", Legs: legs, Depth: 20})
	in.Route.Route.Moves = []route.Move{{Leg: "AB", To: "B"}, {Leg: "BC", To: "C"}, {Leg: "CB", To: "B"}, {Leg: "AB", To: "A"}}
	in.Site.Verifications = []facts.Verification{{
		Dive: "set-up-2", Legs: []string{"CB"}, PassedBy: []string{"d-Ada", "d-Ben"}, Marker: "C",
		MarkerAt: enginetest.At("2026-06-01T14:00+02:00"), Entry: enginetest.At("2026-06-01T13:30+02:00"), LevelThen: "normal", FlowThen: "low", SightThen: "good",
	}}
	in.Route.Markers = []route.PlacedMarker{{Marker: "m-1", Station: "C"}}
	in.Route.Route.LeftDeclared = []string{"m-1"}
	in.Plan.VerifiedLegs = true
	return in
}

func move(in *Input, entry, decided string) {
	in.Plan.Entry, in.Plan.EnterBy, in.DecidedAt = enginetest.At(entry), enginetest.At(entry), enginetest.At(decided)
	for i := range in.Cylinders {
		in.Cylinders[i].FilledOn, in.Cylinders[i].FilledAt = enginetest.Day("2026-05-31"), enginetest.At("2026-05-31T10:00+02:00")
		enginetest.AnalysedAt(&in.Cylinders[i], "2026-06-01T09:00+02:00")
	}
}

func TestStory8Loop(t *testing.T) {
	in := loop()
	in.Plan.ReliedUntilMin = 25 // at the marker 25 min in: 15:00
	move(&in, "2026-06-08T14:35+02:00", "2026-06-08T09:00+02:00")
	in.Site.Readings[0].At = enginetest.At("2026-06-08T08:00+02:00")
	f := mustFind(t, Evaluate(in), finding.Refuse, "plan.verification", "expired")
	if !strings.Contains(f.Limit.Text, "2026-06-08T14:00") {
		t.Errorf("verification ends %s, want 8 June 14:00", f.Limit.Text)
	}

	// On 7 June without a reading that day: cannot tell, and it blocks an approval
	// of an earlier day too.
	move(&in, "2026-06-07T14:35+02:00", "2026-06-06T20:00+02:00")
	in.Site.Readings[0].At = enginetest.At("2026-06-06T08:00+02:00")
	r := Evaluate(in)
	mustFind(t, r, finding.Indeterminate, "plan.verification", "cannot_tell")
	mustFind(t, r, finding.Note, "site.reading", "due")

	in.DecidedAt = enginetest.At("2026-06-07T09:00+02:00")
	in.Site.Readings[0].At = enginetest.At("2026-06-07T08:00+02:00")
	r = Evaluate(in)
	mustFind(t, r, finding.Pass, "plan.verification", "ok")
	onlyBlocked(t, r)

	// One of the pair replaced: the far side counts no more, and they turn 300 m
	// past the junction (a third of 4800 L, 60 L/min, 15 m/min: 400 m in).
	in.Site.Verifications[0].PassedBy = []string{"d-Ada", "somebody-else"}
	r = Evaluate(in)
	if r.Route.Verified != nil {
		t.Error("a verification of one of the team counts")
	}
	p := r.Route.Reach.Place
	near(t, "turn, m from the surface", p.DistanceM, 400, 1e-4)
}

func TestStory9TwoPlansOneDiver(t *testing.T) {
	in := enginetest.Pair()
	in.Plan.Entry, in.Plan.EnterBy, in.Plan.RuntimeMin = enginetest.At("2026-06-14T11:00+02:00"), enginetest.At("2026-06-14T11:00+02:00"), 120
	in.Duties = []facts.Duty{{Plan: "p-2", PlanName: "Morning Dive", State: "approved", Diver: "d-Ben", As: "diver", From: enginetest.At("2026-06-14T09:00+02:00"), Until: enginetest.At("2026-06-14T11:30+02:00")}}
	f := mustFind(t, Evaluate(in), finding.Refuse, "plan.double_booking", "clash")
	if f.Subject.Name != "Ben" || !strings.Contains(f.Message, "Morning Dive") {
		t.Errorf("%q does not name diver and plan", f.Message)
	}
	// The first plan's cover dives in the second.
	in.Duties[0].As = "cover"
	mustFind(t, Evaluate(in), finding.Refuse, "plan.double_booking", "clash")
	in.Duties[0].State = "submitted"
	onlyBlocked(t, Evaluate(in))
}

func TestStory10ClockChange(t *testing.T) {
	in := enginetest.Pair()
	in.Site.Zones = []calendar.Zone{{
		Name: "Test/Autumn", Version: "test", From: enginetest.At("2020-01-01T00:00Z"), Until: enginetest.At("2030-01-01T00:00Z"), Base: 120,
		Changes: []calendar.Change{{At: enginetest.At("2026-10-25T03:00+02:00"), Offset: 60}},
	}}
	in.Plan.Entry, in.Plan.EnterBy, in.Plan.RuntimeMin = enginetest.At("2026-10-25T00:40+02:00"), enginetest.At("2026-10-25T00:40+02:00"), 200
	in.Route.Route.Moves[0].HoldMin, in.Route.Route.Moves[0].HoldTask = 10, "survey"
	r := Evaluate(in)
	if r.Watch == nil {
		t.Fatal("no watch")
	}
	if r.Watch.ETO.Local != "2026-10-25T03:00+01:00" {
		t.Errorf("ETO %s, want 03:00 (+01:00)", r.Watch.ETO.Local)
	}
	// Before the gas clause: half the runtime capped at 90 min.
	if r.Watch.GasClause == "not_binding" && r.Watch.Dial.Local != "2026-10-25T04:30+01:00" {
		t.Errorf("dial %s, want 04:30 (+01:00)", r.Watch.Dial.Local)
	}
}

func TestStory12Guest(t *testing.T) {
	in := enginetest.Pair()
	g := &in.Divers[2]
	g.Guest, g.Birth = true, enginetest.Day("2008-06-12")
	g.Cards[0].SeenBy, g.Cards[0].SeenAt = "", calendar.Instant{}
	g.Medical.Examined = enginetest.Day("2025-05-01")
	onDay := func(day string) Report {
		in.Plan.Entry, in.Plan.EnterBy, in.DecidedAt = enginetest.At(day+"T20:00+02:00"), enginetest.At(day+"T20:00+02:00"), enginetest.At(day+"T19:30+02:00")
		in.Site.Readings[0].At = enginetest.At(day + "T07:00+02:00")
		for i := range in.Cylinders {
			in.Cylinders[i].FilledOn, in.Cylinders[i].FilledAt = enginetest.Day("2026-06-10"), enginetest.At("2026-06-10T16:00+02:00")
			enginetest.AnalysedAt(&in.Cylinders[i], "2026-06-10T18:00+02:00")
		}
		return Evaluate(in)
	}
	r := onDay("2026-06-11")
	f := mustFind(t, r, finding.Refuse, "diver.minimum_age", "young")
	if !strings.Contains(f.Message, "17 years on 2026-06-11, at least 18 years") {
		t.Errorf("message %q", f.Message)
	}
	mustFind(t, r, finding.Indeterminate, "diver.card", "card_not_seen")

	r = onDay("2026-06-13")
	if got := find(r, "diver.minimum_age", "young"); len(got) != 0 {
		t.Error("18 on 12 June: old enough on the 13th")
	}
	mustFind(t, r, finding.Indeterminate, "diver.card", "card_not_seen")
	g.Cards[0].SeenBy, g.Cards[0].SeenAt = "d-Ben", enginetest.At("2026-06-13T09:00+02:00")
	mustFind(t, onDay("2026-06-13"), finding.Indeterminate, "diver.card", "card_seen_by_holder_only")
	g.Cards[0].SeenBy = "cora"
	onlyBlocked(t, onDay("2026-06-13"))
}
