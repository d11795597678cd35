package stories

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

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
