package stories

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

// saying are the findings of one rule in a report.
func saying(r *pb.Report, rule string) []*pb.Finding {
	var out []*pb.Finding
	for _, f := range r.Findings {
		if f.Rule == rule {
			out = append(out, f)
		}
	}
	return out
}

// signedBy has every finding of a rule that waits waived by one and signed by another.
func (c *club) signedBy(first, second, plan string, version int32, r *pb.Report, rule string) {
	c.t.Helper()
	for _, f := range saying(r, rule) {
		if f.Status != "needs_waiver" || f.WaivedBy != "" {
			continue
		}
		if out, err := c.waive(first, plan, version, f.Key, nil); err != nil || !out.Decided {
			c.t.Fatalf("%s does not waive %s: %v, %v", first, rule, out, err)
		}
		given := c.planAt(plan, 0).Waivers
		i := slices.IndexFunc(given, func(w *pb.Waiver) bool { return w.Finding == f.Key && w.WithdrawnAt == nil })
		if out, err := c.sign(second, plan, given[i].Id); err != nil || !out.Decided {
			c.t.Fatalf("%s does not sign %s: %v, %v", second, rule, out, err)
		}
	}
}

// Exploration (practice 5.3, RT2: SURVEY, laying line and a second approver): passage that nobody has lined is no jump. Without line
// it is refused, without SURVEY too, and neither can be waived; with both, one of whom the policy names waives it and another signs.
func TestExploration(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.officers(map[string]string{"carl": "coordinator", "sofie": "safety_officer", "stan": "coordinator diver"})
	stations := []*pb.Station{{Id: "mouth", Opening: true, Daylight: true}, {Id: "end"}, {Id: "beyond"}}
	legs := []*pb.Leg{{Id: "known", From: "mouth", To: "end", LengthM: 120, Lined: true}, {Id: "unknown", From: "end", To: "beyond", LengthM: 40, UnlinedKind: "new"}}
	c.apply(levelSite("lead", zoneName, 10, stations, legs)...)
	surveyors := []diver{{id: "svea", endorses: []string{"SURVEY"}}, {id: "tore"}}
	c.enrol("lead", surveyors...)
	c.enrol("lead", diver{id: "ulla"}, diver{id: "vera"})
	c.reading("lead", c.at("2026-06-08 07:00"))
	route := func(run bool) *pb.Route {
		there := &pb.RouteMove{Leg: "unknown", To: "beyond", RunLine: run}
		back := &pb.RouteMove{Leg: "unknown", To: "end", RecoverLine: run}
		if run {
			there.Reel = "svea-reel"
		}
		return &pb.Route{Start: "mouth", Moves: []*pb.RouteMove{{Leg: "known", To: "end"}, there, back, {Leg: "known", To: "mouth"}}}
	}
	plan := func(name string, run bool, team ...diver) *pb.Plan {
		p := planOf(name, "lead", c.at("2026-06-08 09:00"), route(run), team, []float64{200, 200})
		if run {
			p.Route.Moves[1].Reel = team[0].id + "-reel"
		}
		return p
	}

	bare := c.submit(plan("bare", false, surveyors...)).Report
	c.mustSay(bare, "leg unknown has no line")
	without := c.submit(plan("without", true, diver{id: "ulla"}, diver{id: "vera"}))
	c.mustSay(without.Report, "plan.exploration", "new line in leg unknown", "without SURVEY", "end-beyond")
	if out, err := c.waive("cora", "without", without.Plan.Version, keyOf(t, without.Report, "plan.exploration"), nil); err != nil || out.Decided || !strings.Contains(out.Explanation, "nobody may waive this") {
		t.Errorf("without SURVEY it was waived: %v, %v", out, err)
	}

	p := plan("lead-1", true, surveyors...)
	p.Standby = []string{"stan"}
	sent := c.submit(p)
	f := saying(sent.Report, "plan.exploration")
	if len(f) != 1 || f[0].Status != "needs_waiver" || !f[0].SecondApprover || !slices.Equal(f[0].WaivableBy, []string{"coordinator", "committee"}) {
		t.Fatalf("exploration is %v", f)
	}
	if len(blocks(sent.Report)) != 1 {
		t.Errorf("beside it stand %v", blocks(sent.Report))
	}
	if c.approve(p, sent.Report).Decided {
		t.Error("approved without a waiver")
	}
	for _, as := range []string{"svea", "tore", "stan", "sofie"} { // of the plan, or of no role that the policy names
		if out, err := c.waive(as, "lead-1", 1, f[0].Key, nil); err == nil && out.Decided || err != nil && status.Code(err) != codes.PermissionDenied {
			t.Errorf("%s waived: %v, %v", as, out, err)
		}
	}
	if out, err := c.waive("cora", "lead-1", 1, f[0].Key, nil); err != nil || !out.Decided {
		t.Fatalf("not waived: %v, %v", out, err)
	}
	if c.approve(p, c.again("lead-1").Report).Decided {
		t.Error("approved without the second approver")
	}
	for _, as := range []string{"cora", "stan", "svea", "sofie"} {
		if out, err := c.sign(as, "lead-1", c.waiverOf("lead-1").Id); err == nil && out.Decided {
			t.Errorf("%s signed", as)
		}
	}
	if out, err := c.sign("carl", "lead-1", c.waiverOf("lead-1").Id); err != nil || !out.Decided {
		t.Fatalf("not signed: %v, %v", out, err)
	}
	if out := c.approve(p, c.again("lead-1").Report); !out.Decided {
		t.Fatalf("not approved: %s\n%v", out.Explanation, blocks(out.Report))
	}
	page := strings.Join(strings.Fields(c.briefOf("lead-1").Text), " ")
	for _, want := range []string{"waived:", "new line in leg unknown", "Officer carl", "[ ] on condition: two teams at most"} {
		if !strings.Contains(page, want) {
			t.Errorf("the brief does not say %q", want)
		}
	}
}

// A sharing exit is waived by nobody, whatever the policy says. Where the way out leads through a major restriction two cannot share
// there at all: refused, but with independent supplies of every diver it is for whom the policy names, with a second approver (route
// and gas, D11). What is short for two stays refused then too.
func TestSharingExitAndIndependentSupplies(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.officers(map[string]string{"carl": "coordinator", "konrad": "committee", "sofie": "safety_officer"})
	stations := func() []*pb.Station {
		return []*pb.Station{{Id: "mouth", Opening: true, Daylight: true}, {Id: "slot"}, {Id: "room"}}
	}
	c.apply(levelSite("narrow", zoneName, 10, stations(), []*pb.Leg{
		{Id: "in", From: "mouth", To: "slot", LengthM: 60, Lined: true}, {Id: "squeeze", From: "slot", To: "room", LengthM: 40, Lined: true, Restriction: "major"},
	})...)
	out := []*pb.RouteMove{{Leg: "in", To: "slot"}, {Leg: "squeeze", To: "room"}, {Leg: "squeeze", To: "slot"}, {Leg: "in", To: "mouth"}}
	endorsed := []string{"SIDEMOUNT"}
	twins := []diver{{id: "egon", endorses: endorsed}, {id: "fine", endorses: endorsed}}
	mixed := []diver{{id: "gerd", endorses: endorsed, apart: true}, {id: "hild", endorses: endorsed}}
	apart := []diver{{id: "ines", endorses: endorsed, apart: true}, {id: "jens", endorses: endorsed, apart: true}}
	c.enrol("narrow", twins...)
	c.enrol("narrow", mixed...)
	c.enrol("narrow", apart...)
	c.reading("narrow", c.at("2026-06-08 07:00"))
	sent := func(name string, team []diver, starts ...float64) (*pb.Plan, *pb.SubmitPlanResponse) {
		t.Helper()
		p := planOf(name, "narrow", c.at("2026-06-08 09:00"), &pb.Route{Start: "mouth", Moves: out}, team, starts)
		return p, c.submit(p)
	}
	refusedToAll := func(name string, version int32, f *pb.Finding) {
		t.Helper()
		if f.Status != "refuse" || len(f.WaivableBy) > 0 {
			t.Errorf("%s: %s is %s, waived by %v", name, f.Rule, f.Status, f.WaivableBy)
		}
		for _, as := range []string{"cora", "carl", "konrad"} {
			if out, err := c.waive(as, name, version, f.Key, nil); err != nil || out.Decided || !strings.Contains(out.Explanation, "nobody may waive this") {
				t.Errorf("%s: %s waived %s: %v, %v", name, as, f.Rule, out, err)
			}
		}
	}
	const here, share = "route.major_restriction_sharing", "route.sharing_exit"

	// One who cannot go on alone is enough.
	for name, team := range map[string][]diver{"of-twins": twins, "of-mixed": mixed} {
		_, r := sent(name, team, 200, 200)
		for _, rule := range []string{here, share} {
			f := saying(r.Report, rule)
			if len(f) != 1 {
				t.Fatalf("%s: %s says %v", name, rule, f)
			}
			refusedToAll(name, r.Plan.Version, f[0])
		}
	}
	// Independent supplies: the place is for two to decide, the sums pass.
	p, r := sent("of-apart", apart, 200, 200)
	if f := saying(r.Report, here); len(f) != 1 || f[0].Status != "needs_waiver" || !f[0].SecondApprover || !slices.Equal(f[0].WaivableBy, []string{"coordinator", "committee"}) {
		t.Fatalf("%s is %v", here, f)
	}
	if f := saying(r.Report, share); len(f) != 1 || f[0].Status != "pass" {
		t.Errorf("%s is %v", share, f)
	}
	if out, err := c.waive("sofie", "of-apart", 1, keyOf(t, r.Report, here), nil); err == nil && out.Decided {
		t.Error("the safety officer, whom the policy does not name, waived")
	}
	c.signedBy("konrad", "carl", "of-apart", 1, r.Report, here)
	if c.approve(p, c.again("of-apart").Report).Decided {
		t.Error("approved without the waiver of the restriction itself")
	}
	c.signedBy("cora", "carl", "of-apart", 1, c.again("of-apart").Report, "level.major_restriction")
	if out := c.approve(p, c.again("of-apart").Report); !out.Decided {
		t.Fatalf("not approved: %s\n%v", out.Explanation, blocks(out.Report))
	}
	// The same team with gas that is short for two (2 bar, 20 L/min each, 15 m/min: 100 m out take 6.7 min, 533 L, 22 bar of 24 L; one
	// starts with 30 and breathes 11 on the way in): refused, and waived by nobody.
	_, r = sent("of-short", apart, 200, 30)
	f := saying(r.Report, share)
	if len(f) != 1 {
		t.Fatalf("%s says %v", share, f)
	}
	refusedToAll("of-short", r.Plan.Version, f[0])

	// No policy can hand a sharing exit to anybody; what D11 leaves open it can, to whom it names.
	_, err := c.tryPolicy(func(p *policy.Policy) {
		p.Waivers.Nobody = slices.DeleteFunc(p.Waivers.Nobody, func(rule string) bool { return rule == share })
		p.Waivers.Rules = append(p.Waivers.Rules, policy.WaiverRule{Rule: share, Roles: []string{"coordinator"}})
	})
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("a policy that lets a coordinator waive a sharing exit: %v", err)
	}
	c.adoptPolicy(func(p *policy.Policy) {
		for i := range p.Waivers.Rules {
			if w := &p.Waivers.Rules[i]; w.Rule == here {
				w.Roles, w.SecondApprover = []string{"safety_officer"}, false
			}
		}
	})
	_, r = sent("other", apart, 200, 200)
	if out, err := c.waive("cora", "other", 1, keyOf(t, r.Report, here), nil); err != nil || out.Decided {
		t.Errorf("the coordinator, whom that policy does not name, waived: %v, %v", out, err)
	}
	if out, err := c.waive("sofie", "other", 1, keyOf(t, r.Report, here), nil); err != nil || !out.Decided {
		t.Errorf("the safety officer, whom that policy names: %v, %v", out, err)
	}
}
