package stories

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// divesListed is a club with closed dives in which pressures and symptoms are on record, a corrected one, an archived one, and one
// that is in the water with its entry corrected.
func divesListed(t *testing.T) *club {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	c.apply(record(&pb.Person{Id: "dieter", FullName: "Dieter"}), record(&pb.RoleGrant{Person: "dieter", Role: "diver"}),
		record(&pb.Person{Id: "gusti", FullName: "Gusti", Guest: true}), record(&pb.RoleGrant{Person: "gusti", Role: "guest"}))
	for i, name := range []string{"told", "mended", "hidden"} {
		// Finer than the register keeps: what is listed must be what is kept.
		at := c.at("2026-06-01 09:00").Add(time.Duration(i)*24*time.Hour + 1234567*time.Nanosecond)
		c.apply(record(&pb.Dive{
			Id: name, Site: "spring", Kind: "normal", EnteredAt: stamp(at), OutAt: stamp(at.Add(40 * time.Minute)), MaxDepthM: proto.Float64(10), Zone: "cave",
			Divers: []*pb.DiveDiver{
				{Person: "asta", CountedAs: "FULL", Gas: &pb.GasMix{OxygenPercent: 21}, StartPressure: bar(210), EndPressure: bar(120), Symptoms: proto.Bool(true)},
				{Person: "birk", CountedAs: "FULL", Gas: &pb.GasMix{OxygenPercent: 21}, StartPressure: bar(205), EndPressure: bar(110), Symptoms: proto.Bool(false), Used: []string{"DECO"}},
			},
		}))
	}
	mended, err := c.dives().GetDive(c.as("cora"), &pb.GetDiveRequest{Id: "mended"})
	if err != nil {
		t.Fatal(err)
	}
	mended.Notes, mended.Plan, mended.PlanVersion = "the niche, not the fork", "no-such-plan", 3
	if _, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: mended, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.dives().ArchiveDive(c.as("cora"), &pb.ArchiveDiveRequest{Id: "hidden", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := planOf("away", "spring", c.at("2026-06-08 08:00"), route, team, []float64{200, 200})
	if out := c.approve(p, c.submit(p).Report); !out.Decided {
		t.Fatalf("not approved: %s", out.Explanation)
	}
	c.clock.set(c.at("2026-06-08 08:10"))
	in, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "away", Version: 1, RequestId: id(), Measured: []*pb.Measured{
		{Person: "asta", StartPressure: bar(200)}, {Person: "birk", StartPressure: bar(200)},
	}})
	if err != nil || !in.Go {
		t.Fatalf("sign-in: %v %v", in.GetChanged(), err)
	}
	for _, person := range []string{"asta", "birk"} {
		if _, err := c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{
			Dive: "away", Person: person, What: "in", At: stamp(c.at("2026-06-08 08:02")), Reason: "the other watch", RequestId: id(),
		}); err != nil {
			t.Fatal(err)
		}
	}
	return c
}

// listAll lists everything there is, some at a time.
func (c *club) listAll(as string, r *pb.ListDivesRequest) []*pb.Dive {
	c.t.Helper()
	var all []*pb.Dive
	for range 100 {
		page, err := c.dives().ListDives(c.as(as), r)
		if err != nil {
			c.t.Fatal(err)
		}
		if len(page.ProtoReflect().GetUnknown()) > 0 {
			c.t.Fatal("a page with fields that the interface does not know")
		}
		all = append(all, page.Dives...)
		if page.NextPageToken == "" {
			return all
		}
		r.PageToken = page.NextPageToken
	}
	c.t.Fatal("a list without end")
	return nil
}

// A coordinator's page is sent as it is stored; it must say of every dive what reading that one dive says.
func TestWholePageSaysWhatEachDiveSays(t *testing.T) {
	c := divesListed(t)
	seen := map[string]*pb.Dive{}
	for _, d := range c.listAll("cora", &pb.ListDivesRequest{PageSize: 3, ShowArchived: true}) {
		seen[d.Id] = d
		alone, err := c.dives().GetDive(c.as("cora"), &pb.GetDiveRequest{Id: d.Id})
		if err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(d, alone) {
			t.Errorf("listed as\n%v\nread as\n%v", d, alone)
		}
	}
	if len(seen) != 8+3+1 {
		t.Errorf("%d dives are listed, not the 8 of enrolment, 3 and 1 in the water", len(seen))
	}
	if d := seen["told"]; d.GetState() != "closed" || d.GetRecordedBy() != "keeper" || d.GetVersion() != 1 || d.GetDivers()[0].Symptoms == nil || d.GetDivers()[1].GetEndPressure().GetBar() != 110 ||
		d.GetEnteredAt().AsTime() != c.at("2026-06-01 09:00").Add(1234*time.Microsecond).UTC() {
		t.Errorf("listed whole: %v", d)
	}
	if d := seen["mended"]; d.GetNotes() == "" || d.GetVersion() != 2 || d.GetPlan() != "" || d.GetPlanVersion() != 0 {
		t.Errorf("after a correction: %v", d)
	}
	if d := seen["hidden"]; !d.GetArchived() {
		t.Errorf("archived: %v", d)
	}
	if d := seen["away"]; d.GetState() != "in_water" || d.GetOutAt() != nil || !d.GetEnteredAt().AsTime().Equal(c.at("2026-06-08 08:02")) {
		t.Errorf("in the water, entry corrected: %v", d)
	}
	for _, d := range c.listAll("cora", &pb.ListDivesRequest{}) {
		if d.Archived {
			t.Errorf("an archived dive without asking: %v", d)
		}
	}
}

// A server of the release before writes no lines: what it corrects must not go on standing in a list as it was.
func TestLineFollowsTheRecord(t *testing.T) {
	c := divesListed(t)
	var line []byte
	var depth float64
	read := func() {
		t.Helper()
		lines := c.listAll("cora", &pb.ListDivesRequest{Lines: true})
		i := slices.IndexFunc(lines, func(d *pb.Dive) bool { return d.Id == "told" })
		if i < 0 {
			t.Fatal("the dive is in no list")
		}
		depth = lines[i].GetMaxDepthM()
		if err := c.pool.QueryRow(t.Context(), `SELECT line FROM dive WHERE id = 'told'`).Scan(&line); err != nil {
			t.Fatal(err)
		}
	}
	read()
	if line == nil || depth == 31 {
		t.Fatalf("the dive has the line %x, of %v m", line, depth)
	}
	var record []byte
	if err := c.pool.QueryRow(t.Context(), `SELECT record FROM dive WHERE id = 'told'`).Scan(&record); err != nil {
		t.Fatal(err)
	}
	d := &pb.Dive{}
	if err := proto.Unmarshal(record, d); err != nil {
		t.Fatal(err)
	}
	d.MaxDepthM = proto.Float64(31)
	record, err := proto.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.pool.Exec(t.Context(), `UPDATE dive SET record = $1, max_depth_m = 31, version = version + 1 WHERE id = 'told'`, record); err != nil {
		t.Fatal(err)
	}
	if read(); depth != 31 {
		t.Errorf("the list goes on saying %v m", depth)
	}
}

// A line says of every dive some of what the whole list says to the same reader, and of no other dive.
func TestLinesSayNoMoreThanTheList(t *testing.T) {
	c := divesListed(t)
	for _, as := range []string{"cora", "dieter", "birk", "gusti"} {
		whole := c.listAll(as, &pb.ListDivesRequest{PageSize: 3, ShowArchived: true})
		lines := c.listAll(as, &pb.ListDivesRequest{PageSize: 3, ShowArchived: true, Lines: true})
		if len(lines) != len(whole) {
			t.Errorf("%s lists %d lines of %d dives", as, len(lines), len(whole))
			continue
		}
		for i, d := range whole {
			want := &pb.Dive{
				Id: d.Id, Site: d.Site, Plan: d.Plan, Expedition: d.Expedition, Kind: d.Kind, EnteredAt: d.EnteredAt, OutAt: d.OutAt,
				MaxDepthM: d.MaxDepthM, Zone: d.Zone, State: d.State, Archived: d.Archived,
			}
			for _, x := range d.Divers {
				want.Divers = append(want.Divers, &pb.DiveDiver{Person: x.Person})
			}
			if !proto.Equal(lines[i], want) {
				t.Errorf("%s: line\n%v\nof\n%v", as, lines[i], want)
			}
		}
	}
}

// The page is read before the token is judged: nothing of it may reach those who do not see it.
func TestPageIsMaskedForThoseWhoSeeLess(t *testing.T) {
	c := divesListed(t)
	for as, dives := range map[string]int{"dieter": 8 + 2, "birk": 8 + 2 + 1, "gusti": 0} {
		list := c.listAll(as, &pb.ListDivesRequest{PageSize: 3})
		if len(list) != dives {
			t.Errorf("%s lists %d dives, not %d", as, len(list), dives)
		}
		for _, d := range list {
			alone, err := c.dives().GetDive(c.as(as), &pb.GetDiveRequest{Id: d.Id})
			if err != nil || d.State == "closed" && !proto.Equal(d, alone) {
				t.Errorf("%s lists\n%v\nand reads\n%v, %v", as, d, alone, err)
			}
			for _, x := range d.Divers {
				if x.Person != as && (x.Symptoms != nil || x.StartPressure != nil || x.EndPressure != nil || x.CountedAs != "" || len(x.Used) > 0) {
					t.Errorf("%s lists of %s: %v", as, x.Person, x)
				}
			}
		}
	}
	// A coordinator of an expedition sees no more than a member of dives that are not of it.
	june := &pb.Expedition{Id: "june", Title: "June", FromDay: "2026-06-01", ToDay: "2026-06-14", Sites: []string{"spring"}, Participants: []*pb.Participant{{Person: "dieter", Tasks: []string{"diver"}}}}
	if _, err := pb.NewExpeditionServiceClient(c.conn).CreateExpedition(c.as("cora"), &pb.CreateExpeditionRequest{Expedition: june, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.apply(record(&pb.RoleGrant{Person: "dieter", Role: "coordinator", Expedition: "june"}))
	for _, d := range c.listAll("dieter", &pb.ListDivesRequest{}) {
		if d.State != "closed" || d.Divers[0].Symptoms != nil || d.Divers[0].StartPressure != nil {
			t.Errorf("a coordinator of another expedition lists %v", d)
		}
	}
}

// A token or a role that was taken away ends with the call before, although pages are read ahead.
func TestRevokedTokenListsNothing(t *testing.T) {
	c := divesListed(t)
	access := pb.NewAccessServiceClient(c.conn)
	whole := func() bool {
		list := c.listAll("dieter", &pb.ListDivesRequest{})
		return len(list) > 0 && list[0].State == "in_water"
	}
	granted, err := access.GrantRole(c.as("keeper"), &pb.GrantRoleRequest{Grant: &pb.RoleGrant{Person: "dieter", Role: "coordinator"}, RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if !whole() {
		t.Error("a coordinator does not list who is away")
	}
	if _, err := access.RevokeRole(c.as("keeper"), &pb.RevokeRoleRequest{Id: granted.Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if whole() {
		t.Error("the role was revoked, and the list is still a coordinator's")
	}
	tokens, err := access.ListTokens(c.as("dieter"), &pb.ListTokensRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := access.RevokeToken(c.as("keeper"), &pb.RevokeTokenRequest{Id: tokens.Tokens[0].Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	answer, err := c.dives().ListDives(c.as("dieter"), &pb.ListDivesRequest{})
	if status.Code(err) != codes.Unauthenticated || answer != nil {
		t.Errorf("a revoked token lists %v, %v", answer, err)
	}
	if _, err := c.dives().ListDives(c.as("cora"), &pb.ListDivesRequest{PageSize: 100000}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a page too large: %v", err)
	}
	if _, err := c.dives().ListDives(c.as("cora"), &pb.ListDivesRequest{PageToken: "nonsense"}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a token of no list: %v", err)
	}
}
