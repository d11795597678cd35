package stories

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "lastlight/proto/lastlight/v1"
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
