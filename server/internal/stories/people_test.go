package stories

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

// twoJumps is a level passage with two side passages that need a line run.
func twoJumps() ([]*pb.Station, []*pb.Leg, *pb.Route) {
	stations := []*pb.Station{{Id: "mouth", Opening: true, Daylight: true}, {Id: "fork"}, {Id: "left"}, {Id: "right"}}
	legs := []*pb.Leg{
		{Id: "passage", From: "mouth", To: "fork", LengthM: 20, Lined: true},
		{Id: "to-left", From: "fork", To: "left", LengthM: 10, UnlinedKind: "jump"},
		{Id: "to-right", From: "fork", To: "right", LengthM: 10, UnlinedKind: "jump"},
	}
	return stations, legs, &pb.Route{Start: "mouth", Moves: []*pb.RouteMove{
		{Leg: "passage", To: "fork"},
		{Leg: "to-left", To: "left", RunLine: true, Reel: "asta-reel"},
		{Leg: "to-left", To: "fork", RecoverLine: true},
		{Leg: "to-right", To: "right", RunLine: true, Reel: "birk-reel"},
		{Leg: "to-right", To: "fork", RecoverLine: true},
		{Leg: "passage", To: "mouth"},
	}}
}

// Story 4: an apprentice card's last day is 14 June; the dive ends on the 15th;
// the caller's computer is in another zone.
func TestMidnight(t *testing.T) {
	c := newClub(t, "2026-06-14 21:00")
	c.adoptPolicy(func(p *policy.Policy) { p.Speeds.Swim, p.Speeds.ContingencySwim = 15, 15 })
	stations, legs, route := twoJumps()
	c.apply(levelSite("spring", zoneName, 36, stations, legs)...)
	team := []diver{{id: "asta", oxygen: 28}, {id: "birk", oxygen: 28, level: "APP", issued: "2025-06-14"}}
	c.enrol("spring", team...)
	c.reading("spring", c.at("2026-06-14 20:30"))
	west, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	plan := func(name, enterBy string, hold float64) *pb.Report {
		r := proto.CloneOf(route)
		if hold > 0 {
			r.Moves[2].HoldMin, r.Moves[2].HoldTask = hold, "photographs"
		}
		p := planOf(name, "spring", c.at("2026-06-14 23:10").In(west), r, team, []float64{200, 200})
		p.EnterBy = stamp(c.at("2026-06-14 " + enterBy).In(west))
		p.GasFraction = "1/3"
		return c.submit(p).Report
	}
	// 6 min of swimming, 28 at 36 m, 6 of descent and ascent, the rest of the hour and a half is stops.
	late := plan("late", "23:10", 28)
	if got := late.Dive.LatestSurfacing; got == nil || !got.AsTime().Equal(c.at("2026-06-15 00:40")) {
		t.Errorf("latest surfacing %v, want 15 June 00:40", got.AsTime().In(c.zone))
	}
	c.mustSay(late, "Birk: 2 > 0 jumps")
	c.mustSay(late, "Birk: 36 m > 30 m deep")
	c.mustSay(late, "Birk: 1/3 > 1/6 of the gas")
	lapse := "Birk: APP card ends 2026-06-14, the dive touches 2026-06-15: counts as INT for the whole dive"
	if f := found(late, "diver.card", "birk"); late.Verdict != "refuse" || len(f) != 1 || f[0].Code != "card_ends" || f[0].Message != lapse {
		t.Errorf("verdict %s, card %v, want %q", late.Verdict, f, lapse)
	}
	for _, d := range late.Dive.Divers {
		if d.Person == "birk" && (d.CountsAs != "INT" || d.CountsBecause != "the card has lapsed to INT") {
			t.Errorf("Birk counts as %q because %q", d.CountsAs, d.CountsBecause)
		}
	}

	early := plan("early", "23:40", 0)
	if got := early.Dive.LatestSurfacing.AsTime(); got.After(c.at("2026-06-14 23:50")) {
		t.Errorf("latest surfacing %v, want 23:50 at the latest", got.In(c.zone))
	}
	if len(blocks(early)) > 0 {
		t.Errorf("out by 23:50 is stopped:\n  %s", strings.Join(blocks(early), "\n  "))
	}
	if f := found(early, "diver.card", "birk"); len(f) != 1 || f[0].Status != "caution" || f[0].Code != "last_day" {
		t.Errorf("on the last day: %v", f)
	}
}

// Practice 7, T27 and T28 through the whole system: one newcomer makes the dive
// one step easier for all, the leader must know the site, and half of what is
// usual is as far as it goes.
func TestFirstVisit(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(90, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	stations, legs, _ = straight(90, 0)
	c.apply(levelSite("other", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team[0])
	c.enrol("other", team[1])
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := planOf("first", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	r := c.submit(p).Report
	if len(blocks(r)) > 0 {
		t.Errorf("led by who knows the site, 100 m where 2000 m is usual:\n  %s", strings.Join(blocks(r), "\n  "))
	}
	why := "one step below FULL (by the card): first visit here by Birk"
	for _, d := range r.Dive.Divers {
		if d.CountsAs != "APP" || d.CountsBecause != why {
			t.Errorf("%s counts as %q because %q, want APP because %q", d.Person, d.CountsAs, d.CountsBecause, why)
		}
	}
	led := planOf("led", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	led.Leader = "birk"
	c.mustSay(c.submit(led).Report, "Birk", "leads a first visit", "at least 2 dives", "2 dives short")
}

// Who can dive where on which day, for an expedition over the lapse of a card.
func TestWhoCanDive(t *testing.T) {
	c := newClub(t, "2026-06-12 07:30")
	c.adoptPolicy(nil)
	for _, name := range []string{"spring", "other"} {
		stations, legs, _ := straight(90, 0)
		c.apply(levelSite(name, zoneName, 10, stations, legs)...)
	}
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk", level: "APP", issued: "2025-06-14"})
	trips := pb.NewExpeditionServiceClient(c.conn)
	if _, err := trips.CreateExpedition(c.as("cora"), &pb.CreateExpeditionRequest{Expedition: &pb.Expedition{
		Id: "week", Title: "Week", FromDay: "2026-06-13", ToDay: "2026-06-16", Sites: []string{"spring", "other"},
		Participants: []*pb.Participant{{Person: "asta", Tasks: []string{"diver"}}, {Person: "birk"}, {Person: "cover", Tasks: []string{"cover"}}},
	}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.people().SetAvailability(c.as("asta"), &pb.SetAvailabilityRequest{Person: "asta", FromDay: "2026-06-16", ToDay: "2026-06-16", Unavailable: true, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := trips.GetEligibility(c.as("asta"), &pb.GetEligibilityRequest{Id: "week"}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver reads everybody's: %v", err)
	}
	x, err := trips.GetEligibility(c.as("cora"), &pb.GetEligibilityRequest{Id: "week"})
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Cells) != 2*4*2 {
		t.Errorf("%d cells, want 16", len(x.Cells))
	}
	got := map[string]string{}
	for _, cell := range x.Cells {
		got[cell.Person+" "+cell.Site+" "+cell.Day] = strings.TrimSpace(cell.CountsAs + " " + cell.Rule)
	}
	for at, want := range map[string]string{
		"asta spring 2026-06-15": "FULL",
		"asta spring 2026-06-16": "FULL diver.not_available", // never why
		"birk spring 2026-06-14": "APP",
		"birk spring 2026-06-15": "INT level.site_grade", // lapsed; the site is of grade 3
		"asta other 2026-06-15":  "APP",                  // a first visit
	} {
		if got[at] != want {
			t.Errorf("%s: %q, want %q", at, got[at], want)
		}
	}
}

// A policy that is adopted for a day within the expedition counts from that day on, as each site counts days; what comes before it is
// judged by the one before.
func TestWhoCanDiveWhenThePolicyChanges(t *testing.T) {
	c := newClub(t, "2026-06-12 07:30")
	c.adoptPolicy(nil)
	for _, name := range []string{"spring", "other"} {
		stations, legs, _ := straight(90, 0)
		c.apply(levelSite(name, zoneName, 10, stations, legs)...)
	}
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk"})
	trips := pb.NewExpeditionServiceClient(c.conn)
	if _, err := trips.CreateExpedition(c.as("cora"), &pb.CreateExpeditionRequest{Expedition: &pb.Expedition{
		Id: "week", Title: "Week", FromDay: "2026-06-13", ToDay: "2026-06-16", Sites: []string{"spring", "other"},
		Participants: []*pb.Participant{{Person: "asta"}, {Person: "birk"}},
	}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	// Born in 1985: 41 years old.
	older := c.draftPolicy(func(p *policyDocument) { p.People.MinimumAge = 42 })
	if _, err := c.policies().AdoptPolicy(c.as("keeper"), &pb.AdoptPolicyRequest{Id: older, InForceFrom: "2026-06-15", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	later := c.draftPolicy(nil)
	if _, err := c.policies().AdoptPolicy(c.as("keeper"), &pb.AdoptPolicyRequest{Id: later, InForceFrom: "2026-06-17", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	x, err := trips.GetEligibility(c.as("cora"), &pb.GetEligibilityRequest{Id: "week"})
	if err != nil {
		t.Fatal(err)
	}
	var order []string
	for _, cell := range x.Cells {
		order = append(order, cell.Site+" "+cell.Day+" "+cell.Person)
		if want := cell.Day < "2026-06-15"; cell.May != want || !want && cell.Rule != "diver.minimum_age" {
			t.Errorf("%s: %v %s", order[len(order)-1], cell.May, cell.Rule)
		}
	}
	if len(order) != 2*4*2 || order[0] != "spring 2026-06-13 asta" || order[7] != "spring 2026-06-16 birk" || order[15] != "other 2026-06-16 birk" {
		t.Errorf("in this order: %v", order)
	}
	if len(x.Policies) != 2 || x.Policies[0].FromDay != "2026-06-13" || x.Policies[0].Policy != x.Policy || x.Policies[1].FromDay != "2026-06-15" || x.Policies[1].Policy != older {
		t.Errorf("policies %v", x.Policies)
	}
	// A plan of such a day says the same.
	_, _, route := straight(90, 0)
	on := func(day string) *pb.Report {
		return c.submit(planOf("on-"+day, "spring", c.at(day+" 09:00"), route, []diver{{id: "asta"}, {id: "birk"}}, []float64{200, 200})).Report
	}
	late, early := on("2026-06-15"), on("2026-06-14")
	if f := found(late, "diver.minimum_age", "asta"); len(f) != 1 || f[0].Status != "refuse" {
		t.Errorf("on the 15th: %v", f)
	}
	if f := found(early, "diver.minimum_age", "asta"); len(f) != 1 || f[0].Status != "pass" {
		t.Errorf("on the 14th: %v", f)
	}
}

// A card that stands today and lapses within the expedition is said today, for its last day. By hand: a card of 14 June 2025
// counts in full for 12 months, to 14 June 2026; the expedition ends on the 16th.
func TestReadyForTheLastDay(t *testing.T) {
	c := newClub(t, "2026-06-12 07:30")
	c.adoptPolicy(nil)
	stations, legs, _ := straight(90, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk", level: "APP", issued: "2025-06-14"})
	for _, x := range []*pb.Expedition{
		{Id: "week", Title: "Week", FromDay: "2026-06-13", ToDay: "2026-06-16", Sites: []string{"spring"}},
		{Id: "over", Title: "Over", FromDay: "2026-06-01", ToDay: "2026-06-11", Sites: []string{"spring"}},
	} {
		if _, err := pb.NewExpeditionServiceClient(c.conn).CreateExpedition(c.as("cora"), &pb.CreateExpeditionRequest{Expedition: x, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	ask := func(as, person, expedition string) (*pb.GoodToGo, error) {
		return c.people().CheckGoodToGo(c.as(as), &pb.CheckGoodToGoRequest{Person: person, Site: "spring", Expedition: expedition})
	}
	x, err := ask("birk", "birk", "week")
	if err != nil {
		t.Fatal(err)
	}
	if last := x.OnLastDay; x.Day != "2026-06-12" || x.CountsAs != "APP" || !x.Yes || last.GetDay() != "2026-06-16" || last.GetCountsAs() != "INT" || last.GetYes() {
		t.Errorf("today %v; on the last day %v", x, last)
	}
	if x, err := ask("birk", "birk", ""); err != nil || x.OnLastDay != nil {
		t.Errorf("no expedition named: %v, %v", x, err)
	}
	if _, err := ask("birk", "birk", "over"); status.Code(err) != codes.InvalidArgument {
		t.Errorf("an expedition that is over: %v", err)
	}
	// A guest's own answer says nothing of expeditions, which guests do not read.
	c.apply(record(&pb.Person{Id: "gusti", FullName: "Gusti", Guest: true}), record(&pb.RoleGrant{Person: "gusti", Role: "guest"}))
	for _, id := range []string{"week", "none"} {
		if x, err := ask("gusti", "gusti", id); err == nil || strings.Contains(err.Error(), "2026-06-16") {
			t.Errorf("a guest asks for %s: %v, %v", id, x, err)
		}
	}
	_, isThere := ask("gusti", "gusti", "week")
	if _, isNot := ask("gusti", "gusti", "none"); status.Code(isThere) != status.Code(isNot) {
		t.Errorf("a guest learns which expedition is there: %v, %v", isThere, isNot)
	}
	if _, err := ask("birk", "birk", "none"); status.Code(err) != codes.NotFound {
		t.Errorf("an expedition that is not there: %v", err)
	}
	if _, err := c.people().SetAvailability(c.as("asta"), &pb.SetAvailabilityRequest{Person: "asta", FromDay: "2026-06-16", ToDay: "2026-06-16", Unavailable: true, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if x, err := ask("asta", "asta", "week"); err != nil || !x.Yes || x.OnLastDay.GetYes() {
		t.Errorf("away on the last day: %v, %v", x, err)
	}
}

// Asked for a plan, the answer is for the plan's day and site, and no diver is good to go in a plan that something else stops.
func TestGoodToGoForAPlan(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	ask := func(person, plan, day, site string) (*pb.GoodToGo, error) {
		return c.people().CheckGoodToGo(c.as(person), &pb.CheckGoodToGoRequest{Plan: plan, Day: day, Site: site})
	}
	sound := c.plan("sound", "2026-06-10 09:00")
	c.submit(sound)
	for _, x := range []struct{ day, site string }{{"", ""}, {"2026-06-10", "spring"}} {
		if g, err := ask("asta", "sound", x.day, x.site); err != nil || g.Day != "2026-06-10" || g.Site != "spring" || !g.Yes {
			t.Errorf("a plan that nothing stops: %v, %v", g, err)
		}
	}
	short := planOf("short", "spring", c.at("2026-06-12 09:00"), c.route, c.team, []float64{200, 60})
	r := c.submit(short).Report
	if r.Verdict != "refuse" {
		t.Fatalf("60 bar for a diver is not refused: %v", r.Verdict)
	}
	for _, person := range []string{"asta", "birk"} {
		g, err := ask(person, "short", "", "")
		if err != nil || g.Day != "2026-06-12" || g.Yes || len(g.Lines) == 0 || g.Lines[0].Sign != "STOP" {
			t.Errorf("%s in a plan that birk's gas stops: %v, %v", person, g, err)
		}
	}
	for name, x := range map[string]struct{ plan, day, site string }{
		"another day": {"sound", "2026-06-11", ""}, "another site": {"sound", "", "elsewhere"},
	} {
		if g, err := ask("asta", x.plan, x.day, x.site); status.Code(err) != codes.InvalidArgument {
			t.Errorf("%s than the plan's: %v, %v", name, g, err)
		}
	}
	if g, err := ask("asta", "none", "", ""); status.Code(err) != codes.NotFound {
		t.Errorf("no such plan: %v, %v", g, err)
	}
}
