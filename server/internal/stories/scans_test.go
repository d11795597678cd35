package stories

import (
	"fmt"
	"testing"
	"time"

	pb "lastlight/proto/lastlight/v1"
)

// fillLog adds dives of other people at other sites to the log, 40,000 at 200 sites, and lets the database learn of them: in an
// empty log reading it from end to end is the best plan.
const fillLog = `
INSERT INTO person (id, pseudonym, full_name, doc) SELECT 'many-' || i, 'many-' || i, 'Diver ' || i, doc FROM person, generate_series(0, 399) i WHERE id = 'asta';
INSERT INTO site (id, title, time_zone, doc) SELECT 'many-' || i, 'Site ' || i, time_zone, doc FROM site, generate_series(0, 199) i WHERE id = 'spring';
INSERT INTO dive (id, site, kind, state, entered_at, out_at, max_depth_m, zone, record, recorded_by)
  SELECT 'many-' || i, 'many-' || i % 200, 'normal', 'closed', at, at + '1 hour', 20, 'cave', '', 'keeper'
  FROM (SELECT i, timestamptz '2026-05-01' - i * interval '4 hours' AS at FROM generate_series(1, 40000) i) x;
INSERT INTO dive_diver (dive, person, entered_at, site, doc)
  SELECT d.id, 'many-' || (n * 7 + k) % 400, d.entered_at, d.site, '{}'
  FROM (SELECT *, row_number() OVER (ORDER BY entered_at) AS n FROM dive WHERE id LIKE 'many-%') d, generate_series(0, 1) k;
ANALYZE`

// The log is never read from end to end, by the database's own count of sequential scans (pg_stat_user_tables): whatever
// statements a question sends, and whichever plan each gets, the first ones for their arguments and, asked often enough, the one for
// all. A connection's counts are certain to be there once it has ended.
func TestQuestionsNeverReadTheWholeLog(t *testing.T) {
	if testing.Short() {
		t.Skip("fills a log of 40,000 dives")
	}
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	if _, err := c.pool.Exec(t.Context(), fillLog); err != nil {
		t.Fatal(err)
	}
	trip, err := pb.NewExpeditionServiceClient(c.conn).CreateExpedition(c.as("keeper"), &pb.CreateExpeditionRequest{RequestId: id(), Expedition: &pb.Expedition{
		Id: "long", Title: "Long", FromDay: "2026-06-08", ToDay: "2026-06-12", Sites: []string{"spring", "many-1"},
		Participants: []*pb.Participant{{Person: "asta"}, {Person: "many-1"}, {Person: "many-2"}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	c.apply(record(&pb.Equipment{Id: "reg", Kind: "regulator", Owner: "asta", ServiceEvents: []*pb.ServiceEvent{{Id: "reg", Kind: "service", Date: "2026-03-07"}}}))
	dived := 0
	const often = 8 // the sixth execution of a prepared statement may have the plan for all arguments
	for name, ask := range map[string]func() error{
		"am I good to go": func() error {
			_, err := c.people().CheckGoodToGo(c.as("keeper"), &pb.CheckGoodToGoRequest{Person: "many-1", Site: "many-1"})
			return err
		},
		"consumption": func() error {
			_, err := c.people().GetConsumption(c.as("keeper"), &pb.GetConsumptionRequest{Person: "many-1"})
			return err
		},
		"matrix": func() error {
			_, err := pb.NewExpeditionServiceClient(c.conn).GetEligibility(c.as("keeper"), &pb.GetEligibilityRequest{Id: trip.Id})
			return err
		},
		"site history": func() error {
			_, err := c.sites().GetSiteHistory(c.as("keeper"), &pb.GetSiteHistoryRequest{Site: "many-1", PageSize: 20})
			return err
		},
		"list of dives": func() error {
			_, err := c.dives().ListDives(c.as("keeper"), &pb.ListDivesRequest{PageSize: 20})
			return err
		},
		"due of a person": func() error {
			_, err := c.due("keeper", &pb.ListDueRequest{Person: "many-1"})
			return err
		},
		"due of the club": func() error {
			_, err := c.due("keeper", &pb.ListDueRequest{Club: true})
			return err
		},
		"due of the club, after a dive": func() error { // which counts for the regulator
			dived++
			c.recordDive(swum(fmt.Sprint("scan-", dived), c.at("2026-05-01 10:00").AddDate(0, 0, dived), map[string]float64{"asta": 100}))
			_, err := c.due("keeper", &pb.ListDueRequest{Club: true})
			return err
		},
		"submit": func() error {
			c.submit(c.plan("scan-"+id()[:8], "2026-06-08 09:00"))
			return nil
		},
	} {
		before := c.scans()
		for range often {
			if err := ask(); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		if after := c.scans(); after != before {
			t.Errorf("%s: the log was read from end to end %d times", name, after-before)
		}
	}
}

// scans ends the server's idle connections, so that their counts are in, and reads how often the log was read from end to end.
func (c *club) scans() (n int64) {
	c.t.Helper()
	const others = `FROM pg_stat_activity WHERE datname = current_database() AND backend_type = 'client backend' AND pid <> pg_backend_pid()`
	conn, err := c.pool.Acquire(c.t.Context())
	if err != nil {
		c.t.Fatal(err)
	}
	defer conn.Release()
	if _, err := conn.Exec(c.t.Context(), `SELECT pg_terminate_backend(pid) `+others); err != nil {
		c.t.Fatal(err)
	}
	for left := 1; left > 0; time.Sleep(10 * time.Millisecond) {
		if err := conn.QueryRow(c.t.Context(), `SELECT count(*) `+others).Scan(&left); err != nil {
			c.t.Fatal(err)
		}
	}
	time.Sleep(1100 * time.Millisecond) // a pool asks a connection that was idle for a second whether it still lives
	if _, err := conn.Exec(c.t.Context(), `SELECT pg_stat_force_next_flush()`); err != nil {
		c.t.Fatal(err)
	}
	if err := conn.QueryRow(c.t.Context(), `SELECT sum(seq_scan)::bigint FROM pg_stat_user_tables WHERE relname IN ('dive', 'dive_diver')`).Scan(&n); err != nil {
		c.t.Fatal(err)
	}
	return n
}
