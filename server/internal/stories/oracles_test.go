package stories

import (
	"encoding/base64"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/store"
)

// outsider adds dieter, a diver of the club who is in no team.
func (c *club) outsider() {
	c.t.Helper()
	c.apply(record(&pb.Person{Id: "dieter", FullName: "Dieter"}), record(&pb.RoleGrant{Person: "dieter", Role: "diver"}))
}

// expedition makes one of these people at the site "spring".
func (c *club) expedition(name string, people ...string) {
	c.t.Helper()
	m := &pb.Expedition{Id: name, Title: name, FromDay: "2026-06-01", ToDay: "2026-06-14", Sites: []string{"spring"}}
	for _, p := range people {
		m.Participants = append(m.Participants, &pb.Participant{Person: p, Tasks: []string{"diver"}})
	}
	if _, err := pb.NewExpeditionServiceClient(c.conn).CreateExpedition(c.as("cora"), &pb.CreateExpeditionRequest{Expedition: m, RequestId: id()}); err != nil {
		c.t.Fatal(err)
	}
}

// Who is away shows an empty house: neither the number of dives on a page nor the token of the next one tells it.
func TestListOfDivesDoesNotTellWhoIsAway(t *testing.T) {
	c := inTheWater(t)
	c.outsider()
	for size := int32(1); size <= 3; size++ {
		r := &pb.ListDivesRequest{PageSize: size}
		for {
			page, err := c.dives().ListDives(c.as("dieter"), r)
			if err != nil {
				t.Fatal(err)
			}
			if len(page.Dives) < int(size) && page.NextPageToken != "" {
				t.Errorf("a page of %d has %d dives and goes on: one was left out", size, len(page.Dives))
			}
			if text, _ := base64.RawURLEncoding.DecodeString(page.NextPageToken); strings.Contains(string(text), `"dive"`) {
				t.Errorf("the token names the dive under way: %s", text)
			}
			if r.PageToken = page.NextPageToken; r.PageToken == "" {
				break
			}
		}
	}
	var away bool
	for _, d := range c.listAll("birk", &pb.ListDivesRequest{PageSize: 1}) {
		away = away || d.State == "in_water"
	}
	if !away {
		t.Error("a diver of the team does not list the dive under way")
	}
	out, err := c.files().ExportRecords(c.as("dieter"), &pb.ExportRecordsRequest{Kinds: []string{"dive"}, PageSize: 1})
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := base64.RawURLEncoding.DecodeString(out.NextPageToken); len(out.Records) != 1 || strings.Contains(string(text), `\"dive\"`) {
		t.Errorf("a file of dives tells who is away: %v, %s", out.Records, text)
	}
}

// A plan in the water reads as one that nobody has entered, in every list and at every hour.
func TestStatesOfPlansDoNotTellWhoIsAway(t *testing.T) {
	c := inTheWater(t)
	c.outsider()
	listed := func(as string, states ...pb.PlanState) int {
		out, err := c.plans().ListPlans(c.as(as), &pb.ListPlansRequest{States: states})
		if err != nil {
			t.Fatal(err)
		}
		return len(out.Plans)
	}
	check := func(want pb.PlanState) {
		t.Helper()
		p, err := c.plans().GetPlan(c.as("dieter"), &pb.GetPlanRequest{Id: "dive"})
		if err != nil {
			t.Fatal(err)
		}
		if p.State != want {
			t.Errorf("%s reads as %v, want %v", p.Id, p.State, want)
		}
		for _, state := range []pb.PlanState{pb.PlanState_PLAN_STATE_IN_WATER, pb.PlanState_PLAN_STATE_APPROVED, pb.PlanState_PLAN_STATE_EXPIRED} {
			if found := listed("dieter", state) > 0; found != (state == want) {
				t.Errorf("in the list of %v: %v, while it reads as %v", state, found, want)
			}
		}
		if listed("birk", pb.PlanState_PLAN_STATE_IN_WATER) != 1 || listed("cora", pb.PlanState_PLAN_STATE_IN_WATER) != 1 || listed("cover", pb.PlanState_PLAN_STATE_IN_WATER) != 1 {
			t.Error("team, coordinator or cover do not find the plan in the water")
		}
	}
	p, err := c.plans().GetPlan(c.as("cora"), &pb.GetPlanRequest{Id: "dive"})
	if err != nil {
		t.Fatal(err)
	}
	c.clock.set(p.EnterBy.AsTime().Add(-time.Minute))
	check(pb.PlanState_PLAN_STATE_APPROVED)
	c.clock.set(p.EnterBy.AsTime().Add(time.Minute))
	check(pb.PlanState_PLAN_STATE_EXPIRED)
}

// A file of roles tells as little of who is a minor as their list does.
// What was done, and who was shown whom to ring, tell it too: the committee, who does not see the board, reads them once the
// dive is closed.
func TestLogsDoNotTellTheCommitteeWhoIsAway(t *testing.T) {
	c := inTheWater(t)
	c.apply(record(&pb.Person{Id: "boss", FullName: "Boss"}), record(&pb.RoleGrant{Person: "boss", Role: "committee"}))
	if _, err := c.dives().GetBoard(c.as("cover"), &pb.GetBoardRequest{}); err != nil {
		t.Fatal(err)
	}
	// A read of a contact is of a person who has one on record; what counts here is that nothing of after the entry is read.
	away := func(as string) (told []string) {
		events, err := pb.NewAccessServiceClient(c.conn).ListEvents(c.as(as), &pb.ListEventsRequest{Record: "dive", PageSize: 200})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events.Events {
			if e.Kind == "dive" || e.What == "plan.entered" {
				told = append(told, e.What)
			}
		}
		for _, person := range []string{"asta", "birk"} {
			reads, err := c.privacy().ListReads(c.as(as), &pb.ListReadsRequest{Person: person})
			if err != nil {
				continue // not for a coordinator to read
			}
			for _, r := range reads.Reads {
				if r.Asked == "GetBoard" {
					told = append(told, "board shown of "+person)
				}
			}
		}
		return told
	}
	if told := away("boss"); len(told) > 0 {
		t.Errorf("while they are in the water the committee reads %q", told)
	}
	if told := away("cora"); len(told) == 0 {
		t.Error("a coordinator reads nothing of the entry")
	}
}

func TestFileOfRolesDoesNotTellWhoIsAMinor(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.outsider()
	c.apply(record(&pb.Person{Id: "greta", FullName: "Greta"}), record(&pb.Person{Id: "mino", FullName: "Mino", BirthDay: proto.String("2010-01-01")}),
		record(&pb.RoleGrant{Person: "greta", Role: "guardian", OfPerson: "mino"}))
	guardians := func(as string) int {
		out, err := c.files().ExportRecords(c.as(as), &pb.ExportRecordsRequest{Kinds: []string{"role"}})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, r := range out.Records {
			if r.GetRole().GetOfPerson() != "" {
				n++
			}
		}
		return n
	}
	if guardians("dieter") != 0 || guardians("cora") != 1 {
		t.Errorf("guardians in the file: of a diver %d, of a coordinator %d; want 0 and 1", guardians("dieter"), guardians("cora"))
	}
}

// A coordinator of an expedition ends the tokens of those for whom they issue them, and locks out nobody above.
func TestCoordinatorDoesNotLockOutTheCommittee(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.outsider()
	c.apply(record(&pb.Person{Id: "evi", FullName: "Evi"}), record(spring("spring")))
	c.expedition("june", "keeper", "dieter")
	c.apply(record(&pb.RoleGrant{Person: "evi", Role: "coordinator", Expedition: "june"}))
	tokens := pb.NewAccessServiceClient(c.conn)
	end := func(whose string) error {
		list, err := tokens.ListTokens(c.as(whose), &pb.ListTokensRequest{})
		if err != nil || len(list.Tokens) == 0 {
			t.Fatalf("tokens of %s: %v", whose, err)
		}
		_, err = tokens.RevokeToken(c.as("evi"), &pb.RevokeTokenRequest{Id: list.Tokens[0].Id, RequestId: id()})
		return err
	}
	if err := end("keeper"); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a coordinator of an expedition ends a token of the committee: %v", err)
	}
	if err := end("dieter"); err != nil {
		t.Errorf("a coordinator of an expedition cannot end the token of its diver: %v", err)
	}
}

// Coordinating one expedition opens the health and cards of its people. Nobody gets into it by the coordinator's own hand, by a
// role, by the list of participants or by a file.
func TestCoordinatorOfOneExpeditionTakesNobodyIn(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.outsider()
	c.apply(record(&pb.Person{Id: "evi", FullName: "Evi"}), record(&pb.Person{Id: "birk", FullName: "Birk"}), record(spring("spring")))
	c.expedition("june", "keeper", "dieter")
	c.apply(record(&pb.RoleGrant{Person: "evi", Role: "coordinator", Expedition: "june"}))
	grant := &pb.RoleGrant{Person: "birk", Role: "guest", Expedition: "june"}
	if _, err := pb.NewAccessServiceClient(c.conn).GrantRole(c.as("evi"), &pb.GrantRoleRequest{Grant: grant, RequestId: id()}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("by a role: %v", err)
	}
	if out := c.send("evi", false, record(grant)); len(out.Problems) == 0 {
		t.Error("by a file with a role")
	}
	expeditions := pb.NewExpeditionServiceClient(c.conn)
	june, err := expeditions.GetExpedition(c.as("evi"), &pb.GetExpeditionRequest{Id: "june"})
	if err != nil {
		t.Fatal(err)
	}
	june.Participants = append(june.Participants, &pb.Participant{Person: "birk", Tasks: []string{"diver"}})
	if _, err := expeditions.UpdateExpedition(c.as("evi"), &pb.UpdateExpeditionRequest{Expedition: june, RequestId: id()}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("by the list of participants: %v", err)
	}
	if out := c.send("evi", false, record(june)); len(out.Problems) == 0 {
		t.Error("by a file with the expedition")
	}
	grant.Person = "dieter"
	if _, err := pb.NewAccessServiceClient(c.conn).GrantRole(c.as("evi"), &pb.GrantRoleRequest{Grant: grant, RequestId: id()}); err != nil {
		t.Errorf("a role for somebody who takes part: %v", err)
	}
}

// A dive counts for everybody in it: it is said by who dived it, or by a coordinator, whichever way it comes in, and correcting
// it neither tells nor changes what the caller does not see.
func TestDivesOfOthersAreNotWritten(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.outsider()
	past := func(name string, people ...string) *pb.Dive {
		d := &pb.Dive{
			Id: name, Site: "spring", Kind: "normal", EnteredAt: stamp(c.at("2026-06-06 09:00")), OutAt: stamp(c.at("2026-06-06 09:40")), MaxDepthM: proto.Float64(10), Zone: "cave",
		}
		for _, p := range people {
			d.Divers = append(d.Divers, &pb.DiveDiver{Person: p, Gas: &pb.GasMix{OxygenPercent: 21}, StartPressure: bar(200), EndPressure: bar(150), Symptoms: proto.Bool(p == "asta")})
		}
		return d
	}
	if out := c.send("dieter", false, record(past("theirs", "asta"))); len(out.Problems) == 0 {
		t.Error("a file records a dive of somebody else")
	}
	if out := c.send("dieter", false, record(past("mine", "dieter", "asta"))); len(out.Problems) > 0 {
		t.Fatalf("a file with an own dive: %v", out.Problems)
	}
	if _, err := c.dives().UpdateDive(c.as("dieter"), &pb.UpdateDiveRequest{Dive: past("mine", "asta", "birk"), RequestId: id()}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("whoever recorded a dive makes it one of others: %v", err)
	}
	if out := c.send("dieter", false, record(past("mine", "asta", "birk"))); len(out.Problems) == 0 {
		t.Error("a file makes an own dive one of others")
	}
	shown, err := c.dives().GetDive(c.as("dieter"), &pb.GetDiveRequest{Id: "mine"})
	if err != nil {
		t.Fatal(err)
	}
	shown.Notes = "the niche"
	if _, err := c.dives().UpdateDive(c.as("dieter"), &pb.UpdateDiveRequest{Dive: shown, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	after, err := c.dives().GetDive(c.as("cora"), &pb.GetDiveRequest{Id: "mine"})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(after.Divers, func(d *pb.DiveDiver) bool { return d.Person == "asta" })
	if x := after.Divers[i]; after.Notes != "the niche" || !x.GetSymptoms() || x.GetEndPressure().GetBar() != 150 {
		t.Errorf("correcting the notes took away what its writer does not see: %v", after)
	}
	// Nor is it told by what it would contradict: whatever depth is claimed, nothing is said of the mean depth that others do not see.
	after.Divers[i].MeanDepthM = proto.Float64(7.25)
	if _, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: after, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	shown.MaxDepthM = proto.Float64(2)
	if _, err := c.dives().UpdateDive(c.as("dieter"), &pb.UpdateDiveRequest{Dive: shown, RequestId: id()}); err != nil {
		t.Errorf("a depth below what is hidden: %v %v", err, status.Convert(err).Details())
	}
	// The dive of a plan has the plan's id.
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("morning", "2026-06-08 07:40")
	if _, err := c.dives().RecordDive(c.as("dieter"), &pb.RecordDiveRequest{Dive: past("morning", "dieter"), RequestId: id()}); status.Code(err) != codes.AlreadyExists {
		t.Errorf("a past dive takes the id of a plan that is to be dived: %v", err)
	}
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
}

// A plan stays in the expedition whose coordinator decides about it.
func TestPlanStaysInItsExpedition(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.expedition("june", "asta", "birk")
	c.expedition("july", "asta", "birk")
	roles, err := pb.NewAccessServiceClient(c.conn).ListRoles(c.as("keeper"), &pb.ListRolesRequest{Person: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range roles.Roles {
		if g.Role == "leader" || g.Role == "coordinator" {
			if _, err := pb.NewAccessServiceClient(c.conn).RevokeRole(c.as("keeper"), &pb.RevokeRoleRequest{Id: g.Id, RequestId: id()}); err != nil {
				t.Fatal(err)
			}
		}
	}
	c.apply(record(&pb.RoleGrant{Person: "asta", Role: "leader", Expedition: "june"}))
	p := c.plan("plan", "2026-06-08 09:00")
	p.Expedition = "june"
	if _, err := c.plans().CreatePlan(c.as("asta"), &pb.CreatePlanRequest{Plan: p, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	p.Expedition = "july"
	if _, err := c.plans().UpdatePlan(c.as("asta"), &pb.UpdatePlanRequest{Plan: p, RequestId: id()}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a leader of one expedition moves a plan into another: %v", err)
	}
	if out := c.send("asta", false, record(p)); len(out.Problems) == 0 {
		t.Error("a file moves a plan into another expedition")
	}
	p.Expedition, p.Goal = "june", "the sump"
	if _, err := c.plans().UpdatePlan(c.as("asta"), &pb.UpdatePlanRequest{Plan: p, RequestId: id()}); err != nil {
		t.Errorf("a leader changes a plan of theirs: %v", err)
	}
}

// What no reader sees is in no text: on a terminal or a brief it would pass for something else. In words it is refused, with its place.
func TestTextsAreReadable(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.outsider()
	named := func(name string) error {
		_, err := c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{RequestId: id(), Person: &pb.Person{Id: "dieter", FullName: name}})
		return err
	}
	for _, name := range []string{"\x1b[2JDieter", "Die\u202eter", "Dieter\nTURN at 50 bar", "Die\u0085ter", "Die\x00ter", "Die\u2028ter"} {
		if err := named(name); status.Code(err) != codes.InvalidArgument || !slices.Equal(fieldsOf(err), []string{"person.full_name"}) {
			t.Errorf("named %q: %v %v", name, err, fieldsOf(err))
		}
	}
	if err := named("Dieter Müller-Žižek 李"); err != nil {
		t.Error(err)
	}
	if out := c.send("keeper", true, record(&pb.Person{Id: "dieter", FullName: "\x1b[2JDieter"})); len(out.Problems) != 1 || out.Problems[0].Field != "records[0].person.full_name" {
		t.Errorf("in a file: %v", out.Problems)
	}
	_, err := c.people().GetPerson(c.as("dieter"), &pb.GetPersonRequest{Id: "a\x00b"})
	if status.Code(err) != codes.InvalidArgument {
		t.Errorf("an id that is no text: %v", err)
	}
	token := store.NextToken("people", []any{false, "", ""}, "a\x00b")
	if _, err := c.people().ListPeople(c.as("dieter"), &pb.ListPeopleRequest{PageToken: token}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a page token made up by hand: %v", err)
	}
	if _, err := c.incidents().ReportIncident(c.as("dieter"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
		Id: "mask", HappenedAt: stamp(c.at("2026-06-07 08:00")), Level: proto.Int32(1), Types: []string{"gas"}, Narrative: "A mask was flooded.\n\nIt was emptied.",
	}}); slices.Contains(fieldsOf(err), "incident.narrative") {
		t.Errorf("prose has lines: %v", err)
	}
}
