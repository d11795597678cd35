package stories

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// What lies between two openings has a roof until somebody declares it free above.
func TestBetweenTwoOpenings(t *testing.T) {
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
func TestFlow(t *testing.T) {
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
func TestTripledConsumption(t *testing.T) {
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
func TestAllFaultsAtOnce(t *testing.T) {
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
func TestNobodyDecidesAboutOwnDive(t *testing.T) {
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

// Rounding a turn pressure is to more gas, at every start.
func TestTurnNeverRoundedDown(t *testing.T) {
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

// A slip of the pen in a route is told when the plan is entered, each with its place; a plan on an earlier survey stays as it is.
func TestRouteNamesPlacesOfTheSurvey(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	team := []diver{{id: "asta"}, {id: "birk"}}
	stations, legs, route := straight(40, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", team...)
	p := planOf("drawn", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	misspelt := proto.CloneOf(p)
	misspelt.Route.Start, misspelt.Route.Moves[0].Leg, misspelt.Route.Moves[1].To = "moth", "pasage", "moth"
	for _, dryRun := range []bool{true, false} {
		var told []string
		for _, x := range c.send("keeper", dryRun, record(misspelt)).Problems {
			told = append(told, x.Field+" "+x.Read)
		}
		want := []string{"records[0].plan.route.start moth", "records[0].plan.route.moves[0].leg pasage", "records[0].plan.route.moves[1].to moth"}
		slices.Sort(told)
		slices.Sort(want)
		if !slices.Equal(told, want) {
			t.Errorf("dry run %v: %q, want %q", dryRun, told, want)
		}
	}
	if out := c.send("keeper", false, record(p)); len(out.Problems) != 0 {
		t.Fatalf("the plan as it is drawn: %v", out.Problems)
	}
	for i := range stations {
		stations[i].Id += "-anew"
	}
	for i := range legs {
		legs[i].Id, legs[i].From, legs[i].To = legs[i].Id+"-anew", legs[i].From+"-anew", legs[i].To+"-anew"
	}
	c.apply(record(&pb.Survey{Site: "spring", SurveyedDay: "2026-06-07", SurveyedBy: "cora", Stations: stations, Legs: legs}))
	p.Goal = "on the names of last year"
	if out := c.send("keeper", false, record(p)); len(out.Problems) != 0 {
		t.Errorf("a plan on an earlier survey: %v", out.Problems)
	}
	r, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: p.Id, RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if v := r.Report.Verdict; v != "refuse" && v != "indeterminate" {
		t.Errorf("its legs are gone, and the verdict is %s", v)
	}
}

// A person may have been reassessed by one who follows in the same file, as a file of everybody has it; nobody else is made up.
func TestAssessorFollowsInTheFile(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	assessed := func(by string) *pb.Person {
		return &pb.Person{Id: "abel", FullName: "Abel", Reassessments: []*pb.Reassessment{{Day: "2026-01-05", AssessedBy: by}}}
	}
	if out := c.send("keeper", false, record(assessed("zoe")), record(&pb.Person{Id: "zoe", FullName: "Zoe"})); len(out.Problems) != 0 {
		t.Errorf("the assessor is in the file: %v", out.Problems)
	}
	p := assessed("nobody")
	p.Id = "bela"
	if _, err := c.people().CreatePerson(c.as("keeper"), &pb.CreatePersonRequest{Person: p, RequestId: id()}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("assessed by nobody on record: %v", err)
	}
}
