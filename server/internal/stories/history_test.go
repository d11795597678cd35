package stories

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// arrived records when a person came to stay at the altitude of a site.
func (c *club) arrived(person, site, at string) {
	c.t.Helper()
	p, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: person})
	if err != nil {
		c.t.Fatal(err)
	}
	p.Arrivals = append(p.Arrivals, &pb.AltitudeArrival{Site: site, ArrivedAt: stamp(c.at(at))})
	if _, err := c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: p, ExpectedVersion: p.Version, RequestId: id()}); err != nil {
		c.t.Fatal(err)
	}
}

// A site above 300 m: whose arrival is not recorded cannot be told; who arrived
// this morning brings what the valley left, and the surface load shows it.
func TestArrivalAtAltitudeIsAsked(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	site, err := c.sites().GetSite(c.as("keeper"), &pb.GetSiteRequest{Id: "spring"})
	if err != nil {
		t.Fatal(err)
	}
	site.SurfacePressure = &pb.Site_AltitudeM{AltitudeM: 1500}
	if _, err := c.sites().UpdateSite(c.as("keeper"), &pb.UpdateSiteRequest{Site: site, ExpectedVersion: site.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	asked := func(name string) []string {
		t.Helper()
		r := c.submit(c.plan(name, "2026-06-08 09:00")).Report
		var who []string
		for _, person := range []string{"asta", "birk"} {
			f := found(r, "decompression.altitude", person)
			if len(f) == 1 && f[0].Status == "indeterminate" && strings.Contains(f[0].Message, "1500 m") {
				who = append(who, person)
			}
		}
		if blocked := slices.ContainsFunc(blocks(r), func(s string) bool { return strings.Contains(s, "decompression.altitude") }); blocked != (len(who) > 0) {
			t.Errorf("%s: %v asked, blocked by %v", name, who, blocks(r))
		}
		return who
	}
	if got := asked("nobody-said"); !slices.Equal(got, []string{"asta", "birk"}) {
		t.Errorf("asked %v", got)
	}
	c.arrived("asta", "spring", "2026-06-08 07:10")
	if got := asked("one-said"); !slices.Equal(got, []string{"birk"}) {
		t.Errorf("asked %v", got)
	}
	c.arrived("birk", "spring", "2026-06-08 09:01") // after the entry: not there yet
	if got := asked("too-late"); !slices.Equal(got, []string{"birk"}) {
		t.Errorf("asked %v", got)
	}
	c.arrived("birk", "spring", "2026-06-06 12:00")
	if got := asked("both-said"); len(got) != 0 {
		t.Errorf("asked %v", got)
	}
	c.mustApprove(c.plan("dive", "2026-06-08 09:00"))
}

// Flights (T38): 12 h after a single dive without stops, 18 h after two, on the
// report, the brief and the diver's own question; after symptoms none.
func TestFlightAfterDives(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	flight := func(r *pb.Report, hours int) {
		t.Helper()
		want := r.Dive.LatestSurfacing.AsTime().Add(time.Duration(hours) * time.Hour)
		for _, d := range r.Dive.Divers {
			if d.EarliestFlight == nil || !d.EarliestFlight.AsTime().Equal(want) {
				t.Errorf("%s may fly at %v, want %v", d.Person, d.EarliestFlight.AsTime(), want)
			}
		}
	}
	p := c.plan("first", "2026-06-08 07:40")
	r := c.mustApprove(p).Report
	flight(r, 12)
	if text := c.briefOf("first").Text; !strings.Contains(text, "no flight before: Asta 8 Jun") {
		t.Errorf("the brief says nothing of flights:\n%s", text)
	}
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:20"))
	for _, person := range []string{"asta", "birk"} {
		c.seenOut("first", person)
		c.signOut("first", person, person == "birk")
	}
	// Nobody says whether there were stops, and the dive was longer than planned: a flight waits as if there had been some.
	d, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "first", MaxDepthM: proto.Float64(10), PenetrationM: proto.Float64(200), Zone: "cave"}, RequestId: id()})
	if err != nil || d.RequiredStops != nil {
		t.Fatalf("%v %v", d, err)
	}
	asked := func(person string) *pb.GoodToGoLine {
		t.Helper()
		g, err := c.people().CheckGoodToGo(c.as(person), &pb.CheckGoodToGoRequest{Person: person})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range g.Lines {
			if l.GetFinding().GetRule() == "diver.flight" {
				return l
			}
		}
		return nil
	}
	if l := asked("asta"); l == nil || !strings.Contains(l.Finding.Message, "no flight before 2026-06-09 08:20") {
		t.Errorf("asta's own question says %v", l)
	}
	d.RequiredStops = proto.Bool(false)
	if _, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if l := asked("asta"); l == nil || l.Sign != "OK" || !strings.Contains(l.Finding.Message, "no flight before 2026-06-08 20:20") {
		t.Errorf("asta's own question says %v", l)
	}
	if l := asked("birk"); l == nil || l.Sign != "STOP" || !strings.Contains(l.Finding.Message, "until cleared") {
		t.Errorf("birk's own question says %v", l)
	}
	// Two dives: 18 h. Of birk the plan tells no time, and nobody why.
	second := c.submit(c.plan("second", "2026-06-08 16:00")).Report
	for _, d := range second.Dive.Divers {
		want := second.Dive.LatestSurfacing.AsTime().Add(18 * time.Hour)
		if d.Person == "birk" && d.EarliestFlight != nil || d.Person == "asta" && !d.EarliestFlight.AsTime().Equal(want) {
			t.Errorf("%s may fly at %v", d.Person, d.EarliestFlight.AsTime())
		}
	}
}
