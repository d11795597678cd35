package stories

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/store"
)

// Answers kept for repeated calls go after thirty days, whether an incident is open or not; within them a repeated call gets the
// same answer, and after them it is still not carried out twice.
func TestAnswersAreNotKeptForEver(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	r := &pb.RecordReadingRequest{RequestId: id(), Reading: &pb.Reading{Site: "spring", ReadAt: stamp(c.clock.Now()), Flow: "none", Notes: "kept for a while"}}
	first, err := c.sites().RecordReading(c.as("cora"), r)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.incidents().ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
		HappenedAt: stamp(c.clock.Now()), Level: proto.Int32(0), Types: []string{"line"}, Narrative: "Slack line.",
	}}); err != nil {
		t.Fatal(err)
	}
	s := store.New(c.pool, c.clock.Now)
	for _, x := range []struct {
		after time.Duration
		dry   bool
		kept  bool
	}{{30 * 24 * time.Hour, false, true}, {30*24*time.Hour + time.Second, true, true}, {30*24*time.Hour + time.Second, false, false}} {
		c.clock.set(c.at("2026-06-08 07:30").Add(x.after))
		out, err := s.Retain(t.Context(), x.dry)
		if err != nil || (out.Answers > 0) == (x.kept && !x.dry) {
			t.Errorf("after %v: %d answers (%v)", x.after, out.Answers, err)
		}
		again, err := c.sites().RecordReading(c.as("cora"), r)
		if x.kept && (err != nil || !proto.Equal(again, first)) || !x.kept && status.Code(err) != codes.FailedPrecondition {
			t.Errorf("asked again after %v, dry %v: %v, %v", x.after, x.dry, again, err)
		}
	}
	list, err := c.sites().ListReadings(c.as("cora"), &pb.ListReadingsRequest{Site: "spring"})
	if err != nil || len(list.Readings) != 1 {
		t.Errorf("%d readings (%v)", len(list.GetReadings()), err)
	}
}

// What retention takes out raises the version of what it belonged to: nobody writes it back from what was read before.
func TestRetentionRaisesVersions(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	asta, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	cylinder, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: "asta-left"})
	if err != nil {
		t.Fatal(err)
	}
	site, err := c.sites().GetSite(c.as("keeper"), &pb.GetSiteRequest{Id: "spring"})
	if err != nil {
		t.Fatal(err)
	}
	now := c.clock.Now()
	c.clock.set(c.at("2036-06-01 12:00"))
	out, err := store.New(c.pool, c.clock.Now).Retain(t.Context(), false)
	if err != nil {
		t.Fatal(err)
	}
	c.clock.set(now)
	for _, k := range out.Kinds {
		if (k.Kind == "dive" || k.Kind == "analysis") && k.Gone == 0 {
			t.Fatalf("nothing went: %v", out.Kinds)
		}
	}
	asta.ShortName, cylinder.Notes, site.Title = "As", "n", "Spring again"
	for what, err := range map[string]error{
		"person": func() error {
			_, err := c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: asta, ExpectedVersion: asta.Version, RequestId: id()})
			return err
		}(),
		"cylinder": func() error {
			_, err := c.gear().UpdateCylinder(c.as("keeper"), &pb.UpdateCylinderRequest{Cylinder: cylinder, ExpectedVersion: cylinder.Version, RequestId: id()})
			return err
		}(),
		"site": func() error {
			_, err := c.sites().UpdateSite(c.as("keeper"), &pb.UpdateSiteRequest{Site: site, ExpectedVersion: site.Version, RequestId: id()})
			return err
		}(),
	} {
		if status.Code(err) != codes.Aborted {
			t.Errorf("a %s read before is written: %v", what, err)
		}
	}
}

// Practice 13: what an incident rests on stays as long as the incident, closed or not, though other dives of its age go.
func TestDiveStaysWithItsClosedIncident(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(func(p *policy.Policy) {
		for i := range p.Retention {
			if p.Retention[i].Record == "incident" {
				p.Retention[i].Months = 240
			}
		}
	})
	stations, legs, _ := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk"})
	var dives []string
	for _, day := range []string{"2026-05-20", "2026-05-21"} {
		d, err := c.dives().RecordDive(c.as("asta"), &pb.RecordDiveRequest{RequestId: id(), Dive: &pb.Dive{
			Site: "spring", Kind: "normal", EnteredAt: stamp(c.at(day + " 09:00")), OutAt: stamp(c.at(day + " 09:40")), MaxDepthM: proto.Float64(10), PenetrationM: proto.Float64(50),
			Zone: "cave", Divers: []*pb.DiveDiver{{Person: "asta"}},
		}})
		if err != nil {
			t.Fatalf("%v %v", err, status.Convert(err).Details())
		}
		dives = append(dives, d.Id)
	}
	c.apply(record(&pb.RoleGrant{Person: "keeper", Role: "safety_officer"}))
	i, err := c.incidents().ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
		Dive: dives[0], HappenedAt: stamp(c.at("2026-05-20 09:20")), Level: proto.Int32(1), Types: []string{"line"}, People: []string{"asta"}, Narrative: "The line was slack at the fork.",
	}})
	if err != nil {
		t.Fatalf("%v %v", err, status.Convert(err).Details())
	}
	if _, err := c.incidents().ReviewIncident(c.as("keeper"), &pb.ReviewIncidentRequest{Id: i.Id, ReviewedNarrative: "Slack line at the fork.", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.incidents().CloseIncident(c.as("keeper"), &pb.CloseIncidentRequest{Id: i.Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	s := store.New(c.pool, c.clock.Now)
	for _, x := range []struct {
		day                  string
		incident, told, next int
	}{{"2036-06-10", 1, 1, 0}, {"2046-06-10", 0, 0, 0}} {
		c.clock.set(c.at(x.day + " 12:00"))
		if _, err := s.Retain(t.Context(), false); err != nil {
			t.Fatal(err)
		}
		var incident, told, next int
		if err := c.pool.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM incident), (SELECT count(*) FROM dive WHERE id = $1), (SELECT count(*) FROM dive WHERE id = $2)`, dives[0], dives[1]).
			Scan(&incident, &told, &next); err != nil || incident != x.incident || told != x.told || next != x.next {
			t.Errorf("on %s: %d incidents, %d of its dive, %d of the other, want %v (%v)", x.day, incident, told, next, x, err)
		}
	}
}

// A person's own data has every kind of record about them, and of the others who stand in the same records only who they are.
func TestOwnDataHasEveryKind(t *testing.T) {
	c := everyKind(t)
	birk, err := c.people().GetPerson(c.as("birk"), &pb.GetPersonRequest{Id: "birk"})
	if err != nil {
		t.Fatal(err)
	}
	birk.Telephone = proto.String("+00 555 8801")
	birk.EmergencyContacts = []*pb.EmergencyContact{{FullName: "Friend of birk", Telephone: "+00 555 8802"}}
	if _, err := c.people().UpdatePerson(c.as("birk"), &pb.UpdatePersonRequest{Person: birk, ExpectedVersion: birk.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.privacy().RequestErasure(c.as("zofia"), &pb.RequestErasureRequest{RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	all := &pb.MyData{}
	for token, first := "", true; first || token != ""; first = false {
		part, err := c.privacy().GetMyData(c.as("zofia"), &pb.GetMyDataRequest{PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		token = part.NextPageToken
		proto.Merge(all, part)
	}
	b, err := protojson.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	for _, mark := range marks {
		if !strings.Contains(string(b), mark) {
			t.Errorf("%q is not in it", mark)
		}
	}
	for _, others := range []string{"+00 555 8801", "Friend of birk", "birk-mains", "1985-04-01", "Diver birk"} {
		if strings.Contains(string(b), others) {
			t.Errorf("%q of birk is in it", others)
		}
	}
	filled := all.ProtoReflect()
	fields := filled.Descriptor().Fields()
	for i := range fields.Len() {
		if f := fields.Get(i); !filled.Has(f) && f.Name() != "next_page_token" && f.Name() != "letters" { // none is queued here
			t.Errorf("%s is empty", f.Name())
		}
	}
}
