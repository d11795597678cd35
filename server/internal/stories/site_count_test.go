package stories

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// recount compares the counts of sites with their dives, people-dives and incidents, counted one by one, and what each dive's
// people say of it with the dive.
func (c *club) recount() {
	c.t.Helper()
	var apart, stale int
	err := c.pool.QueryRow(c.t.Context(), `
SELECT (SELECT count(*) FROM (
    SELECT site, date_trunc('month', at AT TIME ZONE 'UTC')::date AS month, sum(dives) AS dives, sum(people_dives) AS people_dives, sum(incidents) AS incidents FROM (
      SELECT site, entered_at AS at, 1 AS dives, (SELECT count(*) FROM dive_diver x WHERE x.dive = d.id) AS people_dives, 0 AS incidents FROM dive d WHERE NOT archived AND state <> 'in_water'
      UNION ALL SELECT site, happened_at, 0, 0, 1 FROM incident WHERE site IS NOT NULL) one_by_one
    GROUP BY 1, 2) r
  FULL JOIN (SELECT * FROM site_count WHERE (dives, people_dives, incidents) <> (0, 0, 0)) c USING (site, month)
  WHERE (r.dives, r.people_dives, r.incidents) IS DISTINCT FROM (c.dives, c.people_dives, c.incidents)),
  (SELECT count(*) FROM dive_diver x JOIN dive d ON d.id = x.dive
  WHERE (x.state, x.kind, x.zone, x.site, x.entered_at) IS DISTINCT FROM (CASE WHEN d.archived THEN 'archived' ELSE d.state END, d.kind, d.zone, d.site, d.entered_at))`).Scan(&apart, &stale)
	if err != nil {
		c.t.Fatal(err)
	}
	if apart > 0 || stale > 0 {
		c.t.Errorf("counts of %d months differ from what is counted one by one, %d people's lines from their dives", apart, stale)
	}
}

// historyCounts is what the history of a site counts.
func (c *club) historyCounts(site string) (dives, peopleDives int32) {
	c.t.Helper()
	h, err := c.sites().GetSiteHistory(c.as("keeper"), &pb.GetSiteHistoryRequest{Site: site})
	if err != nil {
		c.t.Fatal(err)
	}
	return h.Dives, h.PeopleDives
}

func pastDive(id, site string, at time.Time, people ...string) *pb.Dive {
	d := &pb.Dive{Id: id, Site: site, Kind: "normal", Zone: "cave", MaxDepthM: proto.Float64(10), EnteredAt: stamp(at), OutAt: stamp(at.Add(40 * time.Minute))}
	for _, p := range people {
		d.Divers = append(d.Divers, &pb.DiveDiver{Person: p, CountedAs: "FULL"})
	}
	return d
}

// The counts of a site follow every way in which a dive or an incident comes, moves and goes: a dive in the water, out, closed,
// recorded, corrected to another month, site and team, archived; a server of the release before writes none of this itself; a
// site's id changes; what is kept no longer goes.
func TestCountsOfASiteFollow(t *testing.T) {
	c := divesListed(t) // recorded, corrected, archived; one in the water
	c.recount()
	dives, people := c.historyCounts("spring")
	for i, step := range []struct {
		what          string
		do            func() error
		dives, people int32 // more
	}{
		{"another site", func() error {
			stations, legs, _ := straight(200, 0)
			c.apply(levelSite("brook", zoneName, 10, stations, legs)...)
			return nil
		}, 0, 0},
		{"a dive of three", func() error {
			c.apply(record(pastDive("three", "spring", c.at("2026-05-31 23:30"), "asta", "birk", "dieter")))
			return nil
		}, 1, 3},
		{"one less, another month", func() error {
			return c.correct("three", func(d *pb.Dive) { d.Divers = d.Divers[:2]; shift(d, 24*time.Hour) })
		}, 0, -1},
		{"another site", func() error { return c.correct("three", func(d *pb.Dive) { d.Site = "brook" }) }, -1, -2},
		{"back", func() error { return c.correct("three", func(d *pb.Dive) { d.Site = "spring" }) }, 1, 2},
		{"archived", func() error {
			_, err := c.dives().ArchiveDive(c.as("cora"), &pb.ArchiveDiveRequest{Id: "three", RequestId: id()})
			return err
		}, -1, -2},
		{"out of the water", func() error {
			c.clock.set(c.at("2026-06-08 08:40"))
			for _, person := range []string{"asta", "birk"} {
				if _, err := c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "away", Person: person, SeenAt: stamp(c.at("2026-06-08 08:39")), RequestId: id()}); err != nil {
					return err
				}
			}
			return nil
		}, 1, 2},
		{"an incident", func() error {
			_, err := c.incidents().ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
				Id: "slip", Site: "spring", HappenedAt: stamp(c.at("2026-06-01 12:00")), Level: proto.Int32(1), Types: []string{"line"}, Narrative: "The line was slack.",
			}})
			return err
		}, 0, 0},
		{"by a server of the release before", func() error {
			_, err := c.pool.Exec(t.Context(), `
INSERT INTO dive (id, site, kind, state, entered_at, out_at, max_depth_m, zone, record, recorded_by) VALUES ('former', 'spring', 'normal', 'closed', '2026-01-01', '2026-01-02', 5, 'cave', '', 'keeper');
INSERT INTO dive_diver (dive, person, entered_at, site, doc) VALUES ('former', 'asta', '2026-01-01', 'spring', '{}')`)
			return err
		}, 1, 1},
		{"a new id", func() error {
			_, err := c.pool.Exec(t.Context(), `UPDATE site SET id = 'source' WHERE id = 'spring'; UPDATE site SET id = 'spring' WHERE id = 'source'`)
			return err
		}, 0, 0},
		{"what is kept no longer", func() error {
			_, err := c.pool.Exec(t.Context(), `
BEGIN; SET LOCAL lastlight.retention = 'on'; DELETE FROM dive_diver WHERE dive = 'former'; DELETE FROM dive WHERE id = 'former'; COMMIT`)
			return err
		}, -1, -1},
	} {
		if err := step.do(); err != nil {
			t.Fatalf("%d, %s: %v", i, step.what, err)
		}
		c.recount()
		dives, people = dives+step.dives, people+step.people
		if d, p := c.historyCounts("spring"); d != dives || p != people {
			t.Errorf("%d, %s: %d dives, %d people-dives; want %d, %d", i, step.what, d, p, dives, people)
		}
	}
}

func shift(d *pb.Dive, by time.Duration) {
	d.EnteredAt, d.OutAt = stamp(d.EnteredAt.AsTime().Add(by)), stamp(d.OutAt.AsTime().Add(by))
}

func (c *club) correct(dive string, change func(*pb.Dive)) error {
	d, err := c.dives().GetDive(c.as("cora"), &pb.GetDiveRequest{Id: dive})
	if err != nil {
		return err
	}
	change(d)
	_, err = c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version, RequestId: id()})
	return err
}

// Writers meet at the counts of two sites, each with dives of its own that go to and fro in the other order: nothing is lost, and
// none waits for the other in a circle.
func TestRaceCounts(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, _ := straight(200, 0)
	c.apply(levelSite("brook", zoneName, 10, stations, legs)...)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	const writers = 4
	for i := range writers {
		name := fmt.Sprintf("p-%d", i)
		c.apply(record(&pb.Person{Id: name, FullName: name}))
	}
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() {
			sites := []string{"brook", "spring"}
			here, there := sites[w%2], sites[1-w%2]
			for n := range max(3, races(t)/8) {
				name := fmt.Sprintf("dive-%d-%d", w, n)
				d := pastDive(name, here, c.at("2026-06-01 09:00").Add(time.Duration(-n)*24*time.Hour), fmt.Sprintf("p-%d", w))
				if _, err := c.dives().RecordDive(c.as("cora"), &pb.RecordDiveRequest{Dive: d, RequestId: id()}); err != nil {
					t.Errorf("record %s: %v", name, err)
				}
				for _, site := range []string{there, here} {
					if err := c.correct(name, func(d *pb.Dive) { d.Site = site }); err != nil {
						t.Errorf("move %s: %v", name, err)
					}
				}
			}
		})
	}
	all.Wait()
	c.recount()
}
