package stories

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/app"
	"lastlight/server/internal/store"
)

func (c *club) privacy() pb.PrivacyServiceClient { return pb.NewPrivacyServiceClient(c.conn) }

// readsOf gives "who asked fields" of a person's read log, as the person reads it; the latest first.
func (c *club) readsOf(person string) []string {
	c.t.Helper()
	out, err := c.privacy().ListReads(c.as(person), &pb.ListReadsRequest{})
	if err != nil {
		c.t.Fatal(err)
	}
	var said []string
	for _, r := range out.Reads {
		if r.Person != person {
			c.t.Errorf("%s reads of %s%s", person, r.Person, r.Site)
		}
		said = append(said, r.Who+" "+r.Asked+" "+r.Fields)
	}
	return said
}

// Practice 13: access to health data is logged. Who was shown a person's status can be read by that person, and by nobody who
// does not answer for it; what was shown stands nowhere; nothing is taken out again.
func TestReadsAreWrittenDown(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	stations, legs, _ := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk"})
	began := len(c.readsOf("asta"))
	c.clock.set(c.clock.Now().Add(time.Hour))

	// Somebody who sees no health, a list by somebody who does, and one's own.
	for _, as := range []string{"birk", "cora", "asta"} {
		if _, err := c.people().GetPerson(c.as(as), &pb.GetPersonRequest{Id: "asta"}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := c.people().ListPeople(c.as("cora"), &pb.ListPeopleRequest{}); err != nil {
		t.Fatal(err)
	}
	got := c.readsOf("asta")
	if got = got[:len(got)-began]; !slices.Equal(got, []string{"cora ListPeople medical", "cora GetPerson medical"}) {
		t.Errorf("asta reads of %q", got)
	}
	if got := c.readsOf("birk"); !slices.Contains(got, "cora ListPeople medical") {
		t.Errorf("the list showed birk too, who reads %q", got)
	}

	// The same again at once is the same read; later it is another.
	for _, later := range []time.Duration{0, 9 * time.Minute, 2 * time.Minute} {
		c.clock.set(c.clock.Now().Add(later))
		if _, err := c.people().GetPerson(c.as("cora"), &pb.GetPersonRequest{Id: "asta"}); err != nil {
			t.Fatal(err)
		}
	}
	if got := c.readsOf("asta"); len(got) != began+3 {
		t.Errorf("after three reads in eleven minutes: %q", got)
	}

	// What leaves nothing in a file is no read.
	if _, err := pb.NewRecordServiceClient(c.conn).ExportRecords(c.as("cora"), &pb.ExportRecordsRequest{Kinds: []string{"person"}}); err != nil {
		t.Fatal(err)
	}
	if got := c.readsOf("asta"); len(got) != began+3 {
		t.Errorf("an export without health counts as a read: %q", got)
	}

	// Another member learns nothing of who read; the committee does, and of nothing that was read.
	if _, err := c.privacy().ListReads(c.as("birk"), &pb.ListReadsRequest{Person: "asta"}); status.Code(err) != codes.NotFound {
		t.Errorf("birk asks who read asta's: %v", err)
	}
	if _, err := c.privacy().ListReads(c.as("birk"), &pb.ListReadsRequest{Site: "spring"}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("birk asks who read the site's place: %v", err)
	}
	all, err := c.privacy().ListReads(c.as("keeper"), &pb.ListReadsRequest{Person: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	asta, err := c.people().GetPerson(c.as("asta"), &pb.GetPersonRequest{Id: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := protojson.Marshal(all); strings.Contains(string(text), asta.Medical.ExaminedDay) {
		t.Errorf("the log says what was read: %s", text)
	}
	for _, sql := range []string{`DELETE FROM data_read`, `UPDATE data_read SET fields = 'place'`} {
		if _, err := c.pool.Exec(t.Context(), sql); err == nil {
			t.Errorf("%s is let through", sql)
		}
	}
}

// A person gets everything about them in one file, what is restricted included, and nothing of others but who they are.
func TestOwnDataInOneFile(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta", rate: 19.375}, {id: "birk", rate: 18.625, born: "1979-11-23"}}
	c.enrol("spring", team...)
	own, err := c.people().GetPerson(c.as("asta"), &pb.GetPersonRequest{Id: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	own.EmergencyContacts = []*pb.EmergencyContact{{FullName: "Contact of asta", Telephone: "+00 555 1"}}
	if _, err := c.people().UpdatePerson(c.as("asta"), &pb.UpdatePersonRequest{Person: own, ExpectedVersion: own.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	p := planOf("loop", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 215.4375})
	c.reading("spring", c.clock.Now().Add(-time.Hour))
	if out := c.approve(p, c.submit(p).Report); !out.Decided {
		t.Fatalf("not approved: %v %v", out.NotDecided, blocks(out.Report))
	}
	if _, err := pb.NewIncidentServiceClient(c.conn).ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
		Site: "spring", HappenedAt: stamp(c.clock.Now().Add(-24 * time.Hour)), Level: proto.Int32(1), Types: []string{"line"}, People: []string{"asta", "birk"}, Narrative: "The line was slack at the fork.",
	}}); err != nil {
		t.Fatal(err)
	}
	for who, address := range map[string]string{"asta": "asta@post.test", "birk": "birk@post.test"} {
		if err := c.digest(who, address, "week"); err != nil {
			t.Fatal(err)
		}
	}

	all := c.ownData("asta")
	b, err := protojson.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	if all.Person.GetMedical().GetExaminedDay() == "" || len(all.Person.EmergencyContacts) != 1 || len(all.Person.Cards) == 0 {
		t.Errorf("of the person: %v", all.Person)
	}
	if len(all.Dives) != 8 || len(all.Plans) != 1 || len(all.Incidents) != 1 || len(all.Cylinders) != 2 || len(all.Equipment) != 5 || len(all.Tokens) == 0 || len(all.Roles) != 2 {
		t.Errorf("%d dives, %d plans, %d incidents, %d cylinders, %d equipment, %d tokens, %d roles", len(all.Dives), len(all.Plans), len(all.Incidents), len(all.Cylinders), len(all.Equipment), len(all.Tokens), len(all.Roles))
	}
	if !slices.ContainsFunc(all.Decisions, func(d *pb.Decision) bool {
		return d.Plan == "loop" && d.Decision == "approved" && d.DecidedBy == "cora"
	}) {
		t.Errorf("decisions: %v", all.Decisions)
	}
	if !slices.ContainsFunc(all.Reads, func(r *pb.DataRead) bool { return r.Fields == "medical" && r.Who != "asta" }) {
		t.Errorf("reads: %v", all.Reads)
	}
	if all.Digest.GetAddress() != "asta@post.test" {
		t.Errorf("digest: %v", all.Digest)
	}
	if len(all.Changes) == 0 || len(all.Acts) == 0 {
		t.Errorf("%d changes, %d acts", len(all.Changes), len(all.Acts))
	}
	if i := all.Incidents[0]; !slices.Equal(i.People, []string{"asta", "diver 2"}) || i.ReportedBy != "" || i.Narrative != "" {
		t.Errorf("the incident: %v", i)
	}
	for _, others := range []string{"18.625", "1979-11-23", "birk-mains", "birk-left", "Diver birk", "215.4375", "birk@post.test"} {
		if strings.Contains(text, others) {
			t.Errorf("%q of birk stands in asta's data", others)
		}
	}
	for _, d := range all.Dives {
		for _, x := range d.Divers {
			if x.Person == "birk" && (x.CountedAs != "" || x.Gas != nil) {
				t.Errorf("of birk: %v", x)
			}
		}
	}
}

// Practice 13: records go by kind after the time that the policy says; an open incident freezes that; a decision is replayed to
// the same bytes after the dives and analyses it was made from are gone.
func TestRetention(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	p := planOf("loop", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	c.reading("spring", c.clock.Now().Add(-time.Hour))
	if out := c.approve(p, c.submit(p).Report); !out.Decided {
		t.Fatalf("not approved: %v %v", out.NotDecided, blocks(out.Report))
	}
	before, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: "loop"})
	if err != nil {
		t.Fatal(err)
	}
	incidents := pb.NewIncidentServiceClient(c.conn)
	c.apply(record(&pb.RoleGrant{Person: "keeper", Role: "safety_officer"}))
	i, err := incidents.ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
		Site: "spring", HappenedAt: stamp(c.clock.Now().Add(-24 * time.Hour)), Level: proto.Int32(1), Types: []string{"line"}, People: []string{"asta"}, Narrative: "The line was slack at the fork.",
	}})
	if err != nil {
		t.Fatal(err)
	}
	told := &pb.RecordDiveRequest{RequestId: id(), Dive: &pb.Dive{
		Site: "spring", Kind: "normal", EnteredAt: stamp(c.at("2026-05-20 09:00")), OutAt: stamp(c.at("2026-05-20 09:40")), MaxDepthM: proto.Float64(10), PenetrationM: proto.Float64(50),
		Zone: "cave", Notes: "tells of the gone", Divers: []*pb.DiveDiver{{Person: "asta"}},
	}}
	if _, err := c.dives().RecordDive(c.as("asta"), told); err != nil {
		t.Fatalf("%v %v", err, status.Convert(err).Details())
	}
	s := store.New(c.pool, c.clock.Now)
	gone := func(dry bool) map[string]int {
		t.Helper()
		r, err := s.Retain(t.Context(), dry)
		if err != nil {
			t.Fatal(err)
		}
		if !r.Citation.Complete() {
			t.Errorf("no clause is cited: %v", r.Citation)
		}
		out := map[string]int{}
		for _, k := range r.Kinds {
			if k.Gone > 0 {
				out[k.Kind] = k.Gone
			}
		}
		return out
	}
	dives := func() int {
		t.Helper()
		out, err := s.ListDives(t.Context(), &pb.ListDivesRequest{Site: "spring"}, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		list, err := out.Dives()
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}

	// The latest of nine dives was on 28 May 2026: ten years later they are older than 120 months, but for an open incident.
	decided := c.clock.Now()
	c.clock.set(c.at("2036-05-30 12:00"))
	if got := gone(false); len(got) != 0 || dives() != 9 {
		t.Errorf("with an incident open went %v", got)
	}
	c.clock.set(decided)
	if _, err := incidents.ReviewIncident(c.as("keeper"), &pb.ReviewIncidentRequest{Id: i.Id, ReviewedNarrative: "Slack line at the fork.", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := incidents.CloseIncident(c.as("keeper"), &pb.CloseIncidentRequest{Id: i.Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if got := gone(false); len(got) != 0 {
		t.Errorf("on the day itself went %v", got)
	}
	c.clock.set(c.at("2036-05-30 12:00"))
	want := map[string]int{"analysis": 4, "dive": 9}
	if got := gone(true); !maps.Equal(got, want) || dives() != 9 {
		t.Errorf("the dry run says %v, want %v, and leaves %d dives", got, want, dives())
	}
	if got := gone(false); !maps.Equal(got, want) || dives() != 0 {
		t.Errorf("went %v, want %v; %d dives are left", got, want, dives())
	}
	if got := gone(false); len(got) != 0 {
		t.Errorf("a second time went %v", got)
	}
	var copies int
	if err := c.pool.QueryRow(t.Context(), `SELECT count(*) FROM event WHERE kind IN ('dive', 'analysis') AND (before IS NOT NULL OR after IS NOT NULL)`).Scan(&copies); err != nil || copies != 0 {
		t.Errorf("%d events hold what is gone (%v)", copies, err)
	}
	// Nor do the answers to the calls that recorded it.
	var answers int
	if err := c.pool.QueryRow(t.Context(), `SELECT count(*) FROM request WHERE position('tells of the gone'::bytea IN response) > 0`).Scan(&answers); err != nil || answers != 0 {
		t.Errorf("%d answers hold what is gone (%v)", answers, err)
	}

	// A call asked again is neither answered with nothing nor carried out twice.
	c.clock.set(decided)
	if _, err := c.dives().RecordDive(c.as("asta"), told); status.Code(err) != codes.FailedPrecondition || dives() != 0 {
		t.Errorf("asked again after it went: %v; %d dives", err, dives())
	}

	// The decision is replayed from its own values.
	after, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: "loop"})
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(before, after) {
		t.Error("the evidence has changed")
	}
	evidence := fmt.Sprintf(`{"plan":%q,"plan_version":%d,"hash":%q,"input":%s,"report":%s}`, after.Plan, after.PlanVersion, after.Hash, after.Input, after.Report)
	file := filepath.Join(t.TempDir(), "evidence.json")
	if err := os.WriteFile(file, []byte(evidence), 0o600); err != nil {
		t.Fatal(err)
	}
	if code := app.Main([]string{"evaluate", file}); code != 0 {
		t.Errorf("lastlightd evaluate ends with %d", code)
	}

	// The plan goes at last, its decisions with it.
	c.clock.set(c.at("2036-06-09 12:00"))
	if got := gone(false); got["plan"] != 1 || got["incident"] != 1 {
		t.Errorf("ten years after the plan went %v", got)
	}
}

// ownData is everything about a person.
func (c *club) ownData(as string) *pb.MyData {
	c.t.Helper()
	all := &pb.MyData{}
	for token, first := "", true; first || token != ""; first = false {
		part, err := c.privacy().GetMyData(c.as(as), &pb.GetMyDataRequest{PageToken: token})
		if err != nil {
			c.t.Fatal(err)
		}
		token = part.NextPageToken
		proto.Merge(all, part)
	}
	return all
}
