package stories

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "lastlight/proto/lastlight/v1"
)

// Whoever guesses an id reads nothing by it: not a medical, not a position, not
// who is away, not who was in an incident; what is hidden is not found.
func TestGuessedIds(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	north := spring("north")
	c.apply(record(north),
		record(&pb.Person{Id: "gusti", FullName: "Gusti", Guest: true}), record(&pb.RoleGrant{Person: "gusti", Role: "guest"}),
		record(&pb.Person{Id: "dieter", FullName: "Dieter"}), record(&pb.RoleGrant{Person: "dieter", Role: "diver"}), record(&pb.RoleGrant{Person: "dieter", Role: "leader"}))
	birk, err := c.people().GetPerson(c.as("birk"), &pb.GetPersonRequest{Id: "birk"})
	if err != nil || birk.Medical == nil {
		t.Fatalf("birk reads himself as %v, %v", birk, err)
	}
	birk.EmergencyContacts, birk.Telephone = []*pb.EmergencyContact{{FullName: "Otto", Telephone: "+41 00 001"}}, proto.String("+41 00 000")
	if _, err := c.people().UpdatePerson(c.as("birk"), &pb.UpdatePersonRequest{Person: birk, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	p := c.approved("away", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
	if _, err := c.incidents().ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{Incident: &pb.Incident{
		Id: "secret", Site: "spring", HappenedAt: stamp(c.at("2026-06-07 08:00")),
		Level: proto.Int32(2), Types: []string{"gas"}, People: []string{"birk"}, Narrative: "A mask was flooded.",
	}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	tokens, err := pb.NewAccessServiceClient(c.conn).ListTokens(c.as("birk"), &pb.ListTokensRequest{})
	if err != nil || len(tokens.Tokens) == 0 {
		t.Fatalf("birk's tokens: %v, %v", tokens, err)
	}

	asks := map[string]func(as, name string) error{
		"person": func(as, name string) error {
			_, err := c.people().GetPerson(c.as(as), &pb.GetPersonRequest{Id: name})
			return err
		},
		"good to go": func(as, name string) error {
			_, err := c.people().CheckGoodToGo(c.as(as), &pb.CheckGoodToGoRequest{Person: name})
			return err
		},
		"site": func(as, name string) error {
			_, err := c.sites().GetSite(c.as(as), &pb.GetSiteRequest{Id: name})
			return err
		},
		"plan": func(as, name string) error {
			_, err := c.plans().GetPlan(c.as(as), &pb.GetPlanRequest{Id: name})
			return err
		},
		"report": func(as, name string) error {
			_, err := c.plans().GetReport(c.as(as), &pb.GetReportRequest{Id: name})
			return err
		},
		"brief": func(as, name string) error {
			_, err := c.plans().GetBrief(c.as(as), &pb.GetBriefRequest{Id: name})
			return err
		},
		"evidence": func(as, name string) error {
			_, err := c.plans().GetEvidence(c.as(as), &pb.GetEvidenceRequest{Id: name})
			return err
		},
		"dive": func(as, name string) error {
			_, err := c.dives().GetDive(c.as(as), &pb.GetDiveRequest{Id: name})
			return err
		},
		"out": func(as, name string) error {
			_, err := c.dives().SeenOut(c.as(as), &pb.SeenOutRequest{Dive: name, Person: "birk", RequestId: id()})
			return err
		},
		"incident": func(as, name string) error {
			_, err := c.incidents().GetIncident(c.as(as), &pb.GetIncidentRequest{Id: name})
			return err
		},
		"analyses": func(as, name string) error {
			_, err := c.gear().ListAnalyses(c.as(as), &pb.ListAnalysesRequest{Cylinder: name})
			return err
		},
		"token": func(as, name string) error {
			_, err := pb.NewAccessServiceClient(c.conn).RevokeToken(c.as(as), &pb.RevokeTokenRequest{Id: name, RequestId: id()})
			return err
		},
	}
	there := map[string]string{
		"person": "birk", "good to go": "birk", "site": "north", "plan": "away", "report": "away", "brief": "away", "evidence": "away", "dive": "away", "out": "away",
		"incident": "secret", "analyses": "birk-left", "token": tokens.Tokens[0].Id,
	}
	nowhere := "00000000-0000-4000-8000-000000000000"
	// A guest sees only what is theirs; of what a member may read, "not allowed" gives nothing away.
	for what, ask := range asks {
		is, isNot := ask("gusti", there[what]), ask("gusti", nowhere)
		if status.Code(is) == codes.OK || status.Code(is) != status.Code(isNot) ||
			strings.ReplaceAll(is.Error(), there[what], "X") != strings.ReplaceAll(isNot.Error(), nowhere, "X") {
			t.Errorf("a guest asks for a %s that exists: %v; that does not: %v", what, is, isNot)
		}
	}
	for _, what := range []string{"dive", "out", "token"} {
		if err := asks[what]("dieter", there[what]); status.Code(err) != codes.NotFound {
			t.Errorf("a diver of another team asks for the %s: %v", what, err)
		}
	}
	for _, what := range []string{"good to go", "report", "brief", "evidence", "analyses"} {
		if err := asks[what]("dieter", there[what]); status.Code(err) != codes.NotFound && status.Code(err) != codes.PermissionDenied {
			t.Errorf("a diver of another team asks for the %s: %v", what, err)
		}
	}

	// What a member reads of another, of a site, of an incident.
	for _, as := range []string{"dieter", "asta"} {
		m, err := c.people().GetPerson(c.as(as), &pb.GetPersonRequest{Id: "birk"})
		if err != nil || m.Medical != nil || m.BirthDay != nil || len(m.EmergencyContacts) > 0 || as == "dieter" && (len(m.Cards) > 0 || m.Consumption != nil || m.Telephone != nil) {
			t.Errorf("%s reads of birk %v, %v", as, m, err)
		}
		s, err := c.sites().GetSite(c.as(as), &pb.GetSiteRequest{Id: "north"})
		if err != nil || s.ExactPosition != nil || s.GateCode != nil || s.AccessNotes != nil || strings.Contains(fmt.Sprint(s), "46.12") {
			t.Errorf("%s reads of the site %v, %v", as, s, err)
		}
		i, err := c.incidents().GetIncident(c.as(as), &pb.GetIncidentRequest{Id: "secret"})
		if err != nil || strings.Contains(fmt.Sprint(i), "birk") || i.Narrative != "" {
			t.Errorf("%s reads of the incident %v, %v", as, i, err)
		}
	}
	// Who is away: the team, cover and the coordinator know; contacts only cover and coordinator.
	for as, want := range map[string]int{"dieter": 0, "asta": 1, "cover": 1, "cora": 1} {
		b, err := c.dives().GetBoard(c.as(as), &pb.GetBoardRequest{})
		if err != nil || len(b.Watches) != want {
			t.Errorf("%s sees on the board %v, %v", as, b.GetWatches(), err)
			continue
		}
		if contacts := strings.Contains(fmt.Sprint(b), "Otto"); contacts != (as == "cover" || as == "cora") {
			t.Errorf("%s sees the contacts: %v", as, contacts)
		}
		// Whoever may not see them is not told either that somebody has none.
		if without := len(b.GetWatches()) > 0 && len(b.Watches[0].WithoutContact) > 0; without != (as == "cover" || as == "cora") {
			t.Errorf("%s sees who has no contact: %v", as, b.GetWatches())
		}
	}
	list, err := c.dives().ListDives(c.as("dieter"), &pb.ListDivesRequest{PageSize: 200})
	if err != nil || strings.Contains(fmt.Sprint(list), "in_water") {
		t.Errorf("a diver of another team lists who is away: %v", err)
	}
	history, err := c.sites().GetSiteHistory(c.as("dieter"), &pb.GetSiteHistoryRequest{Site: "spring"})
	if err != nil || strings.Contains(fmt.Sprint(history), "away") {
		t.Errorf("the history of the site tells who is away: %v", err)
	}
}

// The board is for cover, coordinator and team: nobody else learns from a plan that its team is in the water.
func TestPlanDoesNotTellWhoIsAway(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}, {id: "cleo"}}
	c.enrol("spring", team...)
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := planOf("away", "spring", c.at("2026-06-08 08:30"), route, team[:2], []float64{200, 200})
	if out := c.approve(p, c.submit(p).Report); !out.Decided {
		t.Fatalf("not approved: %s", out.Explanation)
	}
	c.clock.set(c.at("2026-06-08 08:31"))
	in, err := c.dives().SignIn(c.as("cover"), &pb.SignInRequest{Plan: "away", Version: 1, RequestId: id(), Measured: []*pb.Measured{
		{Person: "asta", StartPressure: bar(200)}, {Person: "birk", StartPressure: bar(200)},
	}})
	if err != nil || !in.Go {
		t.Fatalf("sign-in: %v %v", in.GetChanged(), err)
	}
	for who, want := range map[string]pb.PlanState{"asta": pb.PlanState_PLAN_STATE_IN_WATER, "cora": pb.PlanState_PLAN_STATE_IN_WATER, "cleo": pb.PlanState_PLAN_STATE_APPROVED} {
		got, err := c.plans().GetPlan(c.as(who), &pb.GetPlanRequest{Id: "away"})
		if err != nil || got.State != want {
			t.Errorf("%s reads %v (%v), want %v", who, got.GetState(), err, want)
		}
		list, err := c.plans().ListPlans(c.as(who), &pb.ListPlansRequest{States: []pb.PlanState{pb.PlanState_PLAN_STATE_IN_WATER}})
		if told := len(list.GetPlans()) > 0; err != nil || told != (want == pb.PlanState_PLAN_STATE_IN_WATER) {
			t.Errorf("%s finds the plan by its state: %v (%v)", who, told, err)
		}
	}
}

// What is answered about a field that the caller does not see depends on nothing that stands in it: neither a dry run nor a change
// tells a guess that is right from one that is wrong, nor whether anything is on record.
func TestAnswersDoNotTellWhatIsHidden(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.apply(record(&pb.Person{Id: "comm", FullName: "Comm"}), record(&pb.RoleGrant{Person: "comm", Role: "committee"}),
		record(&pb.Person{Id: "medic", FullName: "Medic"}), record(&pb.RoleGrant{Person: "medic", Role: "medical_officer"}), record(&pb.Person{Id: "rolf", FullName: "Rolf"}))
	fields := map[string]func(p *pb.Person, right bool){
		"medical": func(p *pb.Person, right bool) {
			p.Medical = &pb.MedicalStatus{ExaminedDay: pick(right, "2026-01-10", "2025-12-10"), DeclaredDay: "2026-01-10"}
		},
		"emergency_contacts": func(p *pb.Person, right bool) {
			p.EmergencyContacts = []*pb.EmergencyContact{{FullName: pick(right, "Otto", "Ida"), Telephone: "+00 555 0101"}}
		},
		"cards": func(p *pb.Person, right bool) {
			p.Cards = []*pb.Card{{Id: "level", Level: pick(right, "FULL", "CAV"), IssuedDay: "2024-01-10", IssuingBody: "test"}}
		},
		"birth_day": func(p *pb.Person, right bool) { p.BirthDay = proto.String(pick(right, "1985-04-02", "2010-04-02")) },
		"guardian":  func(p *pb.Person, right bool) { p.Guardian = pick(right, "rolf", "medic") },
		"guardian_consent_to": func(p *pb.Person, right bool) {
			p.GuardianConsentTo = proto.String(pick(right, "2026-12-31", "2026-11-30"))
		},
	}
	full, empty := &pb.Person{Id: "full", FullName: "Full"}, &pb.Person{Id: "empty", FullName: "Empty"}
	for _, set := range fields {
		set(full, true)
	}
	c.apply(record(full), record(empty))
	asComm := func(name string) *pb.Person {
		p, err := c.people().GetPerson(c.as("comm"), &pb.GetPersonRequest{Id: name})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	for field, set := range fields {
		for _, right := range []bool{true, false} {
			for _, name := range []string{"full", "empty"} {
				p := asComm(name)
				if p.ProtoReflect().Has(p.ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(field))) {
					t.Fatalf("the committee sees %s", field)
				}
				set(p, right)
				for _, dryRun := range []bool{true, false} {
					out := c.send("comm", dryRun, record(p))
					if len(out.Problems) > 0 || out.Records[0].Outcome != "unchanged" || !slices.Equal(out.Records[0].NotLookedAt, []string{field}) {
						t.Errorf("%s of %s, right %v, dry run %v: %v", field, name, right, dryRun, out)
					}
				}
				_, err := c.people().UpdatePerson(c.as("comm"), &pb.UpdatePersonRequest{Person: p, RequestId: id()})
				if status.Code(err) != codes.InvalidArgument || !strings.Contains(fmt.Sprint(status.Convert(err).Details()), "you do not see this field") {
					t.Errorf("%s of %s, right %v: %v", field, name, right, err)
				}
			}
		}
	}
	// Left out it stays, and the rest is changed.
	p := asComm("full")
	p.ShortName = "Fully"
	if out := c.send("comm", false, record(p)); len(out.Problems) > 0 || out.Records[0].Outcome != "changed" || !slices.Equal(out.Records[0].Changes, []string{"short_name"}) || len(out.Records[0].NotLookedAt) > 0 {
		t.Errorf("with everything hidden left out: %v", out)
	}
	got, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: "full"})
	if err != nil || got.GetBirthDay() != "1985-04-02" || len(got.Cards) != 1 || got.Medical.GetExaminedDay() != "2026-01-10" || got.Guardian != "rolf" {
		t.Errorf("after that it is %v, %v", got, err)
	}
	// Whoever enters somebody new knows what they write.
	if out := c.send("comm", true, record(&pb.Person{Id: "newcomer", FullName: "New", BirthDay: proto.String("1990-01-01")})); len(out.Problems) > 0 || len(out.Records[0].NotLookedAt) > 0 {
		t.Errorf("somebody new: %v", out)
	}
	// A coordinator sees the medical status, and not the code agreed with the medical officer.
	if _, err := c.people().SetMedicalStatus(c.as("medic"), &pb.SetMedicalStatusRequest{Person: "full", Medical: &pb.MedicalStatus{ExaminedDay: "2026-01-10", DeclaredDay: "2026-01-10", RestrictionCode: "B7"}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	for _, code := range []string{"B7", "C1"} {
		for _, name := range []string{"full", "empty"} {
			_, err := c.people().SetMedicalStatus(c.as("cora"), &pb.SetMedicalStatusRequest{Person: name, Medical: &pb.MedicalStatus{ExaminedDay: "2026-01-10", DeclaredDay: "2026-01-10", RestrictionCode: code}, RequestId: id()})
			if status.Code(err) != codes.InvalidArgument || !strings.Contains(fmt.Sprint(status.Convert(err).Details()), "the medical officer agrees the code") {
				t.Errorf("code %s of %s: %v", code, name, err)
			}
		}
	}
}

// A guardian is told whether a ward dives, and by no line why not: whoever was suspended with symptoms has more against them than
// whoever never declared anything.
func TestGoodToGoDoesNotTellWhy(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	c.apply(record(&pb.Person{Id: "gerd", FullName: "Gerd"}))
	lines := map[string]string{}
	for ward, medical := range map[string]*pb.MedicalStatus{
		"ill": {ExaminedDay: "2026-01-10", DeclaredDay: "2026-01-10", SuspendedAt: stamp(c.at("2026-06-07 12:00"))}, "undeclared": nil,
	} {
		c.apply(record(&pb.Person{Id: ward, FullName: "Ward", BirthDay: proto.String("2010-04-02"), Guardian: "gerd", Medical: medical}),
			record(&pb.RoleGrant{Person: "gerd", Role: "guardian", OfPerson: ward}))
		out, err := c.people().CheckGoodToGo(c.as("gerd"), &pb.CheckGoodToGoRequest{Person: ward})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range out.Lines {
			lines[ward] += l.Sign + " " + l.What + "\n"
		}
	}
	if lines["ill"] != lines["undeclared"] || strings.Count(lines["ill"], "available") != 1 || !strings.HasPrefix(lines["ill"], "STOP Ward is not available\n") {
		t.Errorf("of who was suspended: %s\nof who never declared: %s", lines["ill"], lines["undeclared"])
	}
}

func pick(right bool, a, b string) string {
	if right {
		return a
	}
	return b
}
