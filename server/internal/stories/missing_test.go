package stories

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	pb "lastlight/proto/lastlight/v1"
)

// An empty medical, analysis, card, date of birth or consumption: none passes in silence.
func TestNothingMissingPasses(t *testing.T) {
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
func TestNoReadingNoEntry(t *testing.T) {
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
func TestNewPolicyLeavesLastYear(t *testing.T) {
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
func TestCardRevokedTonight(t *testing.T) {
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
	// Cover reads that he does not count, the leader that it is the card.
	c.mustNotGo(p, 1, "Birk", "does not count")
	for as, tells := range map[string]bool{"cover": false, "asta": true} {
		in, err := c.dives().SignIn(c.as(as), &pb.SignInRequest{Plan: p.Id, Version: 1, Measured: measuredAs(p, 200, 200), CheckOnly: true, RequestId: id()})
		if err != nil {
			t.Fatal(err)
		}
		if said := strings.Join(in.Changed, "\n"); in.Go || strings.Contains(said, "card") != tells {
			t.Errorf("%s reads %q", as, said)
		}
	}
	if out := c.approve(p, c.again(p.Id).Report); out.Decided {
		t.Error("approved again without the card")
	}
}
