package stories

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	pb "lastlight/proto/lastlight/v1"
)

// The tests whose names begin with TestToy are the signs by which a system of
// this kind shows that it is a toy, each as a question to the public API.

// pool is a site with a level passage at 10 m and two divers for whom a dive of
// 200 m passes every rule, at 07:30 of 8 June; with a reading of 07:00.
type pool struct {
	*club
	team  []diver
	route *pb.Route
}

func newPool(t *testing.T, now string) *pool {
	c := newClub(t, now)
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	p := &pool{club: c, team: []diver{{id: "asta"}, {id: "birk"}}, route: route}
	c.enrol("spring", p.team...)
	return p
}

func (p *pool) plan(name, entry string) *pb.Plan {
	return planOf(name, "spring", p.at(entry), p.route, p.team, []float64{200, 200})
}

// approved submits and approves, which must succeed.
func (p *pool) approved(name, entry string) *pb.Plan {
	p.t.Helper()
	m := p.plan(name, entry)
	p.mustApprove(m)
	return m
}

func (p *pool) mustApprove(m *pb.Plan) *pb.DecideResponse {
	p.t.Helper()
	out := p.approve(m, p.submit(m).Report)
	if !out.Decided {
		p.t.Fatalf("%s is not approved: %s\n  %s", m.Id, out.Explanation, strings.Join(blocks(out.Report), "\n  "))
	}
	return out
}

// again submits a plan that exists.
func (c *club) again(name string) *pb.SubmitPlanResponse {
	c.t.Helper()
	out, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: name, RequestId: id()})
	if err != nil {
		c.t.Fatalf("submit %s: %v", name, err)
	}
	return out
}

func (c *club) planAt(name string, version int32) *pb.Plan {
	c.t.Helper()
	out, err := c.plans().GetPlan(c.as("cora"), &pb.GetPlanRequest{Id: name, Version: version})
	if err != nil {
		c.t.Fatalf("plan %s: %v", name, err)
	}
	return out
}

func (c *club) briefOf(name string) *pb.Brief {
	c.t.Helper()
	out, err := c.plans().GetBrief(c.as("cover"), &pb.GetBriefRequest{Id: name})
	if err != nil {
		c.t.Fatalf("brief %s: %v", name, err)
	}
	return out
}

func (c *club) board() *pb.Board {
	c.t.Helper()
	out, err := c.dives().GetBoard(c.as("cover"), &pb.GetBoardRequest{})
	if err != nil {
		c.t.Fatalf("board: %v", err)
	}
	return out
}

// measuredAs reads every diver of the plan at these bar.
func measuredAs(m *pb.Plan, starts ...float64) []*pb.Measured {
	var out []*pb.Measured
	for i, d := range m.Team {
		out = append(out, &pb.Measured{Person: d.Person, StartPressure: bar(starts[i])})
	}
	return out
}

func (c *club) signIn(m *pb.Plan, version int32, starts ...float64) *pb.SignInResponse {
	c.t.Helper()
	out, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: m.Id, Version: version, Measured: measuredAs(m, starts...), RequestId: id()})
	if err != nil {
		c.t.Fatalf("sign in %s: %v", m.Id, err)
	}
	return out
}

// mustGo signs a team in, which must succeed.
func (c *club) mustGo(m *pb.Plan, version int32, starts ...float64) *pb.Watch {
	c.t.Helper()
	in := c.signIn(m, version, starts...)
	if !in.Go {
		c.t.Fatalf("%s may not go: %v", m.Id, in.Changed)
	}
	return in.Watch
}

// mustNotGo asks at the water; the answer must be no and have the words in one reason.
func (c *club) mustNotGo(m *pb.Plan, version int32, words ...string) {
	c.t.Helper()
	in := c.signIn(m, version, 200, 200)
	if in.Go {
		c.t.Errorf("%s went in", m.Id)
		return
	}
	for _, said := range in.Changed {
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(said, w) }) {
			return
		}
	}
	c.t.Errorf("%s: no, but nothing says %q: %v", m.Id, words, in.Changed)
}

// found gives the findings of a rule about a person, or about anybody for "".
func found(r *pb.Report, rule, person string) []*pb.Finding {
	var out []*pb.Finding
	for _, f := range r.Findings {
		if f.Rule == rule && (person == "" || f.GetSubject().GetId() == person) {
			out = append(out, f)
		}
	}
	return out
}

// bare enters one diver with gear, without dives, and with what edit leaves of the record.
func (c *club) bare(name string, analysed bool, edit func(*pb.Person)) diver {
	c.t.Helper()
	now := c.clock.Now()
	day := func(back int) string { return now.AddDate(0, 0, -back).In(c.zone).Format("2006-01-02") }
	p := &pb.Person{
		Id: name, FullName: "Diver " + name, ShortName: strings.ToUpper(name[:1]) + name[1:], BirthDay: proto.String("1985-04-01"),
		Cards:       []*pb.Card{{Id: "level", Level: "FULL", IssuedDay: day(800), IssuingBody: "test"}},
		Consumption: &pb.SurfaceRate{Unit: &pb.SurfaceRate_LitresPerMinute{LitresPerMinute: 20}},
		Medical:     &pb.MedicalStatus{ExaminedDay: day(100), DeclaredDay: day(50)},

		Reassessments: []*pb.Reassessment{{Day: day(200), AssessedBy: "keeper"}},
	}
	if edit != nil {
		edit(p)
	}
	cards := len(p.Cards)
	c.apply(c.analyser()...)
	c.apply(record(p), record(&pb.RoleGrant{Person: name, Role: "diver"}))
	var mains []string
	for _, side := range []string{"left", "right"} {
		tank := name + "-" + side
		mains = append(mains, tank)
		c.apply(record(&pb.Cylinder{
			Id: tank, Serial: tank, Maker: "Maker of " + name, Material: "steel", Jurisdiction: "de", OxygenClean: "clean", Owner: name,
			WaterVolume: litres(12), WorkingPressure: bar(232),
			ServiceEvents: []*pb.ServiceEvent{{Id: tank + "-hydro", Kind: "hydro", Date: day(300)}, {Id: tank + "-visual", Kind: "visual", Date: day(200)}},
		}),
			record(&pb.Fill{Id: tank + "-fill", Cylinder: tank, FilledAt: stamp(now.Add(-50 * time.Hour)), Pressure: bar(215), Intended: &pb.GasMix{OxygenPercent: 21}}))
		if analysed {
			c.apply(record(&pb.Analysis{Id: tank + "-analysis", Cylinder: tank, AnalysedAt: stamp(now.Add(-49 * time.Hour)), OxygenPercent: "21.0", HeliumPercent: "0", AnalysedBy: name, Analyser: "analyser", CalibratedAt: stamp(now.Add(-50 * time.Hour)), AirReadingPercent: "20.9"}))
		}
	}
	c.apply(record(&pb.CylinderSet{Id: name + "-mains", Kind: "twinset", Cylinders: mains, Owner: name}))
	for kind, e := range map[string]*pb.Equipment{
		"primary": {Kind: "light_primary", BurnMin: proto.Float64(600)}, "backup-1": {Kind: "light_backup", BurnMin: proto.Float64(400)},
		"backup-2": {Kind: "light_backup", BurnMin: proto.Float64(400)}, "spool": {Kind: "spool", LineM: proto.Float64(50)}, "reel": {Kind: "reel", LineM: proto.Float64(200)},
	} {
		e.Id, e.Owner = name+"-"+kind, name
		c.apply(record(c.lookedAfter(e)))
	}
	for k := range 8 {
		entered := now.AddDate(0, 0, -11-7*k).Add(time.Hour)
		c.apply(record(&pb.Dive{
			Id: fmt.Sprintf("past-%s-%d", name, k), Site: "spring", Kind: "normal", EnteredAt: stamp(entered), OutAt: stamp(entered.Add(50 * time.Minute)),
			MaxDepthM: proto.Float64(18), PenetrationM: proto.Float64(2000), Zone: "cave", Divers: []*pb.DiveDiver{{Person: name, CountedAs: "FULL"}},
		}))
	}
	if cards > 0 {
		if _, err := c.people().RecordCardSeen(c.as("keeper"), &pb.RecordCardSeenRequest{Person: name, Card: "level", SeenAt: stamp(now.AddDate(0, 0, -90)), RequestId: id()}); err != nil {
			c.t.Fatal(err)
		}
	}
	return diver{id: name}
}

// An empty medical, analysis, card, date of birth or consumption: none passes in silence.
func TestToyNothingMissingPasses(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	whole := c.bare("hale", true, nil)
	for i, missing := range []struct {
		name     string
		analysed bool
		edit     func(*pb.Person)
		rule     string
	}{
		{"nomed", true, func(p *pb.Person) { p.Medical = nil }, "diver.medical"},
		{"noexam", true, func(p *pb.Person) { p.Medical = &pb.MedicalStatus{} }, "diver.medical"},
		{"nodecl", true, func(p *pb.Person) { p.Medical.DeclaredDay = "" }, "diver.medical"},
		{"noana", false, nil, "gas.analysis"},
		{"nocard", true, func(p *pb.Person) { p.Cards = nil }, "diver.card"},
		{"noage", true, func(p *pb.Person) { p.BirthDay = nil }, "diver.minimum_age"},
	} {
		d := c.bare(missing.name, missing.analysed, missing.edit)
		p := planOf("without-"+missing.name, "spring", c.at("2026-06-08 09:00").Add(time.Duration(i)*time.Hour), c.route, []diver{c.team[0], d}, []float64{200, 200})
		r := c.submit(p).Report
		stopped := false
		for _, f := range r.Findings {
			if f.Rule == missing.rule && slices.Contains([]string{"refuse", "indeterminate"}, f.Status) && f.Remedy != "" {
				stopped = true
			}
		}
		if !stopped {
			t.Errorf("%s: %s does not stop the plan:\n  %s", missing.name, missing.rule, strings.Join(blocks(r), "\n  "))
		}
		if out := c.approve(p, r); out.Decided {
			t.Errorf("%s: approved", missing.name)
		}
	}
	// The same diver with everything on record passes, so it is what is missing that stops.
	c.mustApprove(planOf("whole", "spring", c.at("2026-06-08 09:00"), c.route, []diver{c.team[0], whole}, []float64{200, 200}))

	// Consumption: the policy's default, and it says so.
	d := c.bare("norate", true, func(p *pb.Person) { p.Consumption = nil })
	r := c.submit(planOf("default", "spring", c.at("2026-06-08 15:00"), c.route, []diver{c.team[1], d}, []float64{200, 200})).Report
	said := found(r, "diver.consumption", "norate")
	if len(said) != 1 || said[0].Status != "note" || !strings.Contains(said[0].Message, "the policy's default") {
		t.Errorf("the default consumption is not named: %v", said)
	}
	for _, x := range r.Dive.Divers {
		if x.Person == "norate" && (x.ConsumptionOrigin != "policy_default" || x.ConsumptionLMin != 20) {
			t.Errorf("shown as %v L/min, %s", x.ConsumptionLMin, x.ConsumptionOrigin)
		}
	}
}

// Today's reading is a condition of entry; a reading without a level, where the
// site has a limit for it, is no reading of the level.
func TestToyNoReadingNoEntry(t *testing.T) {
	c := newPool(t, "2026-06-07 18:00")
	site, err := c.sites().GetSite(c.as("keeper"), &pb.GetSiteRequest{Id: "spring"})
	if err != nil {
		t.Fatal(err)
	}
	site.Thresholds = &pb.GoNoGo{LevelMaxM: proto.Float64(1), FlowMax: "low", VisibilityMinM: proto.Float64(3)}
	if _, err := c.sites().UpdateSite(c.as("keeper"), &pb.UpdateSiteRequest{Site: site, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	p := c.approved("morning", "2026-06-08 08:30")
	c.clock.set(c.at("2026-06-08 08:31"))
	c.mustNotGo(p, 1, "reading", "2026-06-08")
	read := func(at string, level *float64, visibility float64) {
		t.Helper()
		if _, err := c.sites().RecordReading(c.as("cora"), &pb.RecordReadingRequest{Reading: &pb.Reading{Site: "spring", ReadAt: stamp(c.at(at)), LevelM: level, Flow: "none", VisibilityM: &visibility}, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	read("2026-06-08 08:00", nil, 15)
	c.mustNotGo(p, 1, "level")
	read("2026-06-08 08:10", proto.Float64(1.2), 15)
	c.mustNotGo(p, 1, "level", "1.2", "no-go")
	read("2026-06-08 08:20", proto.Float64(0.5), 15)
	c.mustGo(p, 1, 200, 200)
}

// A new policy judges new plans; what was decided under the old one is
// evaluated again a year later to the same bytes.
func TestToyNewPolicyLeavesLastYear(t *testing.T) {
	c := newPool(t, "2026-10-08 07:30")
	c.reading("spring", c.at("2026-10-08 07:00"))
	p := c.approved("lastyear", "2026-10-08 08:30")
	evidence := func() *pb.Evidence {
		t.Helper()
		e, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: p.Id, Version: 1})
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	decided := func() *pb.Report {
		t.Helper()
		r, err := c.plans().GetReport(c.as("cora"), &pb.GetReportRequest{Id: p.Id, Version: 1, OfDecision: true})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	before, report := evidence(), decided()

	c.clock.set(c.at("2027-06-08 07:30"))
	delete(c.token, "cora") // its life is over; the keeper's is longer
	c.adoptPolicy(func(p *policyDocument) { p.Gas.StressFactor, p.Gas.DelayMin, p.People.MinimumAge = 3, 20, 60 })
	after := evidence()
	if !bytes.Equal(before.Input, after.Input) || !bytes.Equal(before.Report, after.Report) || before.Hash != after.Hash {
		t.Error("the evidence of last year's decision is another one after a new policy")
	}
	var in engine.Input
	if err := json.Unmarshal(after.Input, &in); err != nil {
		t.Fatal(err)
	}
	if replayed, err := engine.Bytes(engine.Evaluate(in)); err != nil || !bytes.Equal(replayed, before.Report) {
		t.Errorf("last year's decision does not replay to the same bytes (%v)", err)
	}
	if !proto.Equal(report, decided()) {
		t.Error("last year's report reads differently after a new policy")
	}
	// Judged anew, the same dive is another one: the test would see a policy that leaks.
	c.mustSay(c.submit(c.plan("thisyear", "2027-06-08 08:30")).Report, "60 years")
}

// Card revoked tonight: the approval does not stand tomorrow.
func TestToyCardRevokedTonight(t *testing.T) {
	c := newPool(t, "2026-06-07 18:00")
	p := c.approved("tomorrow", "2026-06-08 08:30")
	c.clock.set(c.at("2026-06-07 22:00"))
	if _, err := c.people().RevokeCard(c.as("keeper"), &pb.RevokeCardRequest{Person: "birk", Card: "level", Reason: "taken back", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if m := c.planAt(p.Id, 0); m.State != pb.PlanState_PLAN_STATE_STALE || !strings.Contains(strings.Join(m.StateReasons, " "), "cards") {
		t.Errorf("the plan is %v because %v; want stale, because of cards", m.State, m.StateReasons)
	}
	if brief := c.briefOf(p.Id); brief.Valid || strings.Contains(brief.Text, "TURN bar") {
		t.Errorf("the brief of a stale plan is valid:\n%s", brief.Text)
	}
	c.clock.set(c.at("2026-06-08 08:31"))
	c.reading("spring", c.at("2026-06-08 08:00"))
	c.mustNotGo(p, 1, "Birk", "card")
	if out := c.approve(p, c.again(p.Id).Report); out.Decided {
		t.Error("approved again without the card")
	}
}

// What lies between two openings has a roof until somebody declares it free above.
func TestToyBetweenTwoOpenings(t *testing.T) {
	for _, free := range []bool{false, true} {
		t.Run(fmt.Sprintf("declared free %v", free), func(t *testing.T) {
			c := newClub(t, "2026-06-08 07:30")
			c.adoptPolicy(nil)
			c.apply(levelSite("spring", zoneName, 10, []*pb.Station{{Id: "mouth", Opening: true, Daylight: true}, {Id: "window", Opening: true, Daylight: true}},
				[]*pb.Leg{{Id: "between", From: "mouth", To: "window", LengthM: 30, Lined: true, DeclaredFreeAbove: free}})...)
			team := []diver{{id: "asta", level: "OW"}, {id: "birk", level: "OW"}}
			c.enrol("spring", team...)
			c.reading("spring", c.at("2026-06-08 07:00"))
			route := &pb.Route{Start: "mouth", Moves: []*pb.RouteMove{{Leg: "between", To: "window", Turn: true}, {Leg: "between", To: "mouth"}}}
			r := c.submit(planOf("between", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})).Report
			zone := ""
			for _, l := range r.Dive.Route {
				zone = l.Zone
			}
			if (zone == "open water") != free {
				t.Errorf("the leg between two openings, declared free %v, is %q", free, zone)
			}
			overhead := slices.ContainsFunc(r.Findings, func(f *pb.Finding) bool { return f.Rule == "level.overhead" && f.Status == "refuse" })
			if overhead == free {
				t.Errorf("an open-water diver under a roof refused: %v, declared free %v\n  %s", overhead, free, strings.Join(blocks(r), "\n  "))
			}
		})
	}
}

// Against the flow is another dive than with it; where nobody moves forward
// there is no time at all.
func TestToyFlow(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(liftInflow)
	team := []diver{{id: "asta"}, {id: "birk"}}
	for i, flow := range []float64{-4, 4, -12, 12} {
		stations, legs, _ := straight(440, flow)
		c.apply(levelSite(fmt.Sprintf("flow-%d", i), zoneName, 10, stations, legs)...)
	}
	c.enrol("flow-0", team...)
	report := func(i int, swim float64) *pb.Report {
		t.Helper()
		_, _, route := straight(440, 0)
		p := planOf(fmt.Sprintf("plan-%d-%g", i, swim), fmt.Sprintf("flow-%d", i), c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
		p.SwimMMin, p.ContingencySwimMMin = &swim, &swim
		return c.submit(p).Report
	}
	against, with := report(0, 12), report(1, 12)
	a, b := against.Dive.TurnAtTheLatest, with.Dive.TurnAtTheLatest
	if a == nil || b == nil || a.MetresPast == b.MetresPast && a.ElapsedMin == b.ElapsedMin {
		t.Errorf("reversing the flow changes nothing: %v, %v", a, b)
	}
	// 440 m at 12 - 4 and at 12 + 4 m/min, one of them in, the other out: by hand 55 and 27.5 min.
	if in := against.Dive.Route[0].ArriveMin; math.Abs(in-55) > 1e-6 {
		t.Errorf("in against 4 m/min takes %v min, want 55", in)
	}
	if in := with.Dive.Route[0].ArriveMin; math.Abs(in-27.5) > 1e-6 {
		t.Errorf("in with 4 m/min takes %v min, want 27.5", in)
	}
	for i, way := range map[int]string{2: "in", 3: "home"} {
		r := report(i, 5)
		if r.Verdict != "refuse" {
			t.Errorf("5 m/min against 12 on the way %s: %s", way, r.Verdict)
		}
		d := r.Dive
		if d.RuntimeMin != 0 || d.LatestSurfacing != nil || d.Watch != nil || len(d.Route) != 0 || len(d.Divers) != 0 {
			t.Errorf("no progress on the way %s, and yet a time: %v min, surfacing %v, watch %v, %d legs, turns %v", way, d.RuntimeMin, d.LatestSurfacing, d.Watch, len(d.Route), turns(d.Divers))
		}
		c.mustSay(r, "leg passage", "m/min over ground")
	}
}

// One diver who needs three times the gas is another team.
func TestToyTripledConsumption(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(440, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk"}, diver{id: "trudi", rate: 60})
	c.reading("spring", c.at("2026-06-08 07:00"))
	one := c.submit(planOf("one", "spring", c.at("2026-06-08 08:30"), route, []diver{{id: "asta"}, {id: "birk"}}, []float64{210, 210})).Report
	three := c.submit(planOf("three", "spring", c.at("2026-06-08 12:30"), route, []diver{{id: "asta"}, {id: "trudi"}}, []float64{210, 210})).Report
	if a, b := turns(one.Dive.Divers)["asta"], turns(three.Dive.Divers)["asta"]; !(b > a) {
		t.Errorf("asta turns at %v beside 20 L/min and at %v beside 60 L/min; want later with less", a, b)
	}
	// 1/3 of 24 L × 210 bar is 1680 L; at 2 bar and 60 L/min 14 min, at 12 m/min 168 m (by hand).
	if place := three.Dive.TurnAtTheLatest; place.WholeRoute || math.Abs(place.MetresPast-168) > 0.01 {
		t.Errorf("turn at %v, want 168 m past the mouth", place)
	}
	if len(blocks(one)) > 0 || len(blocks(three)) == 0 {
		t.Errorf("440 m: with 20 L/min stopped by %v, with 60 L/min by %v", blocks(one), blocks(three))
	}
}

// One answer names every fault, each with whom, where, by how much, and what to do.
func TestToyAllFaultsAtOnce(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(900, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "young", born: "2009-01-01"}, diver{id: "claim", unseen: true})
	p := planOf("faults", "spring", c.at("2026-06-08 08:30"), route, []diver{{id: "asta"}, {id: "young"}, {id: "claim"}}, []float64{200, 200, 200})
	p.Cover = "asta"
	p.Team[1].Equipment = p.Team[1].Equipment[:2] // one backup light, no spool, no reel
	p.Team[2].Gas = &pb.GasMix{OxygenPercent: 32}
	r := c.submit(p).Report
	rules := map[string]bool{}
	for _, f := range r.Findings {
		if !slices.Contains([]string{"refuse", "indeterminate", "needs_waiver"}, f.Status) {
			continue
		}
		rules[f.Rule] = true
		if f.GetSubject().GetName() == "" || f.Message == "" || f.Remedy == "" || f.Path == "" && f.Place == "" || f.GetCitation().GetDocument() == "" {
			t.Errorf("%s lacks one of subject, place, words, remedy, source: %v", f.Rule, f)
		}
	}
	for _, rule := range []string{"diver.card", "diver.minimum_age", "team.cover", "gas.measured", "site.reading", "route.share_rule", "route.sharing_exit"} {
		if !rules[rule] {
			t.Errorf("%s is not among the reasons %v", rule, rules)
		}
	}
	sharing := found(r, "route.sharing_exit", "")
	if !slices.ContainsFunc(sharing, func(f *pb.Finding) bool {
		return f.Status == "refuse" && f.GetOther().GetName() != "" && f.Place != "" && f.GetShortfall().GetNumber() > 0 && f.Shortfall.Unit == "L" &&
			f.GetObserved().GetUnit() == "L" && f.GetLimit().GetNumber() > f.GetObserved().GetNumber() && strings.Contains(f.Remedy, "turn no later than")
	}) {
		t.Errorf("the sharing exit does not say donor, receiver, place, shortfall and farthest place: %v", sharing)
	}
	if r.Counts.Refuse+r.Counts.Indeterminate+r.Counts.NeedsWaiver != int32(len(blocks(r))) || r.Counts.Pass == 0 {
		t.Errorf("counts %v for %d reasons", r.Counts, len(blocks(r)))
	}
}

// Everybody in a plan is kept from deciding about it: TestOwnDive asks that of
// diver, standby and cover. Here: of refusing and waiving too.
func TestToyNobodyDecidesAboutOwnDive(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.apply(record(&pb.RoleGrant{Person: "asta", Role: "coordinator"}))
	p := c.plan("own", "2026-06-08 08:30")
	if _, err := c.sites().RecordReading(c.as("cora"), &pb.RecordReadingRequest{Reading: &pb.Reading{Site: "spring", ReadAt: stamp(c.at("2026-06-08 07:00")), LevelM: proto.Float64(0.5), Flow: "none", VisibilityM: proto.Float64(2)}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	r := c.submit(p).Report
	refused, err := c.plans().RefusePlan(c.as("asta"), &pb.RefusePlanRequest{Id: p.Id, Version: 1, Reason: "mine", RequestId: id()})
	if err != nil || refused.Decided || refused.NotDecided != "not_yours" {
		t.Errorf("a diver refuses the plan: %v, %v", refused, err)
	}
	for _, f := range r.Findings {
		if f.Status != "needs_waiver" {
			continue
		}
		out, err := c.plans().WaiveFinding(c.as("asta"), &pb.WaiveFindingRequest{Id: p.Id, Version: 1, Finding: f.Key, Reason: "mine", RequestId: id()})
		if err != nil || out.Decided || out.NotDecided != "not_yours" {
			t.Errorf("a diver waives %s: %v, %v", f.Rule, out, err)
		}
	}
}

// A length, a volume and a pressure are the same however they were written.
func TestToyMetricAndImperial(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	before, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: "asta-left"})
	if err != nil {
		t.Fatal(err)
	}
	// 232 bar are 3364.88 psi (1 psi = 6894.757 Pa): what a gauge in psi shows.
	imperial := proto.CloneOf(before)
	imperial.WorkingPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 3364.88}}
	after, err := c.gear().UpdateCylinder(c.as("keeper"), &pb.UpdateCylinderRequest{Cylinder: imperial, RequestId: id()})
	if err != nil || after.Version != before.Version || after.WorkingPressure.GetBar() != before.WorkingPressure.GetBar() {
		t.Errorf("written in psi it became another cylinder: %v, %v, was %v", after, err, before)
	}
	metric := c.submit(c.plan("metric", "2026-06-08 08:30")).Report
	p := c.plan("imperial", "2026-06-08 08:30")
	for _, d := range p.Team {
		d.StartPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 200 * 1e5 / 6894.757293168}}
	}
	r := c.submit(p).Report
	for i, d := range r.Dive.Divers {
		if x := metric.Dive.Divers[i]; math.Abs(d.Turns[0].TurnBarExact-x.Turns[0].TurnBarExact) > 1e-6 || d.Turns[0].TurnBar != x.Turns[0].TurnBar {
			t.Errorf("%s turns at %v with psi, at %v with bar", d.Person, d.Turns, x.Turns)
		}
	}
}

// What cannot be is refused by the method itself, field by field, and leaves nothing behind.
func TestToyImpossibleValues(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	now := c.clock.Now()
	refused := func(what string, err error, fields ...string) {
		t.Helper()
		details := fmt.Sprint(status.Convert(err).Details())
		if status.Code(err) != codes.InvalidArgument {
			t.Errorf("%s: %v", what, err)
		}
		for _, f := range fields {
			if !strings.Contains(details, f) {
				t.Errorf("%s: %s is not among the violations: %s", what, f, details)
			}
		}
	}
	c.as("cora") // her token is an event of its own
	before := c.rows()
	_, err := c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{Fill: &pb.Fill{Cylinder: "asta-left", FilledAt: stamp(now), Pressure: bar(2100), Intended: &pb.GasMix{OxygenPercent: 0.32}}, RequestId: id()})
	refused("2100 bar of 0.32 %", err, "fill.pressure.bar", "fill.intended.oxygen_percent")
	_, err = c.gear().RecordAnalysis(c.as("keeper"), &pb.RecordAnalysisRequest{Analysis: &pb.Analysis{Cylinder: "asta-left", AnalysedAt: stamp(now), OxygenPercent: "0.32"}, RequestId: id()})
	refused("0.32 %", err, "analysis.oxygen_percent")
	_, err = c.dives().RecordDive(c.as("keeper"), &pb.RecordDiveRequest{Dive: &pb.Dive{
		Site: "spring", Kind: "normal", EnteredAt: stamp(now.Add(-time.Hour)), OutAt: stamp(now.Add(-2 * time.Hour)),
		MaxDepthM: proto.Float64(10), Zone: "cave", Divers: []*pb.DiveDiver{{Person: "asta"}},
	}, RequestId: id()})
	refused("out before in", err, "dive.out_at")
	p := c.plan("impossible", "2026-06-08 08:30")
	p.Team[0].StartPressure, p.Team[1].Gas = bar(2100), &pb.GasMix{OxygenPercent: 0.32}
	_, err = c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()})
	refused("a plan with both", err, "plan.team[0].start_pressure.bar", "plan.team[1].gas.oxygen_percent")
	if after := c.rows(); after != before {
		t.Errorf("something was stored:\n%s\n%s", before, after)
	}

	// The register too: nobody is out before they are in, nor in after they were out.
	c.reading("spring", c.at("2026-06-08 07:00"))
	p = c.approved("register", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:30"))
	_, err = c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "register", Version: 1, Measured: measuredAs(p, 2100, 200), RequestId: id()})
	refused("2100 bar at the water", err, "measured[0].start_pressure.bar")
	_, err = c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "register", Person: "asta", SeenAt: stamp(c.at("2026-06-08 07:30")), RequestId: id()})
	refused("seen out before in", err, "seen_at")
	if _, err := c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "register", Person: "asta", SeenAt: stamp(c.at("2026-06-08 08:10")), RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	_, err = c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{Dive: "register", Person: "asta", What: "in", At: stamp(c.at("2026-06-08 08:20")), Reason: "typed wrong", RequestId: id()})
	refused("in after out", err, "at")
}

// Rounding a turn pressure is to more gas, at every start.
func TestToyTurnNeverRoundedDown(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(900, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk", litres: 14, rate: 17})
	p := planOf("rounding", "spring", c.at("2026-06-08 08:30"), route, []diver{{id: "asta"}, {id: "birk"}}, []float64{200, 200})
	c.submit(p)
	seen := 0
	for start := 150.0; start < 235; start += 7.3 {
		p.Team[0].StartPressure, p.Team[1].StartPressure = bar(start), bar(start-1.1)
		if _, err := c.plans().UpdatePlan(c.as("cora"), &pb.UpdatePlanRequest{Plan: p, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: p.Id})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range r.Dive.Divers {
			for _, x := range d.Turns {
				seen++
				if x.TurnBar < x.TurnBarExact-1e-9 || x.TurnBar > x.TurnBarExact+5 {
					t.Errorf("from %v bar %s turns at %v, exactly %v: not up by less than 5 bar", start, d.Person, x.TurnBar, x.TurnBarExact)
				}
			}
		}
	}
	if seen < 20 {
		t.Errorf("only %d turn pressures seen", seen)
	}
}
