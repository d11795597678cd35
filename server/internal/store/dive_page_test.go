package store

import (
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// A stored dive without its profiles, taken out of the bytes, is the dive without its profiles.
func TestProfilesAreLeftOutOfTheBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := &lastlightv1.Dive{Id: rapid.String().Draw(t, "id"), Site: "s", MaxDepthM: proto.Float64(20), Notes: rapid.String().Draw(t, "notes")}
		for range rapid.IntRange(0, 4).Draw(t, "divers") {
			x := &lastlightv1.DiveDiver{Person: rapid.StringMatching("[a-z]{1,9}").Draw(t, "person"), Gas: &lastlightv1.GasMix{OxygenPercent: 32}}
			if rapid.Bool().Draw(t, "profile") {
				x.Profile = &lastlightv1.DiveProfile{AfterS: rapid.SliceOfN(rapid.Uint32(), 2, 300).Draw(t, "after"), DepthCm: []uint32{0, 100}}
			}
			if rapid.Bool().Draw(t, "way") {
				x.Way = "scooter"
			}
			d.Divers = append(d.Divers, x)
		}
		record, err := proto.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		out, err := appendWithoutProfiles(nil, record)
		if err != nil {
			t.Fatal(err)
		}
		got := &lastlightv1.Dive{}
		if err := proto.Unmarshal(out, got); err != nil {
			t.Fatal(err)
		}
		LeaveProfilesOut(d)
		if !proto.Equal(got, d) || len(got.ProtoReflect().GetUnknown()) > 0 {
			t.Fatalf("from the bytes\n%v\nfrom the dive\n%v", got, d)
		}
	})
}

// PostgreSQL tries the plan for the arguments given five times before it weighs the one for any arguments against it, and counts
// both: https://www.postgresql.org/docs/15/sql-prepare.html.
func TestAPageIsNotPlannedAnewInEveryCall(t *testing.T) {
	t.Parallel()
	config := logDatabase(t).Config().Copy()
	config.MaxConns = 1 // on which its statements are counted
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	if _, err := pool.Exec(t.Context(), `
INSERT INTO dive (id, site, kind, state, entered_at, out_at, max_depth_m, zone, record, line, recorded_by)
SELECT 'many-' || i, 'home', 'normal', 'closed', timestamptz '2024-01-01Z' + i * interval '1 hour', timestamptz '2024-01-01 00:40Z' + i * interval '1 hour', 20, 'cave', '', '', 'p'
FROM generate_series(1, 3000) i`); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(t.Context(), `ANALYZE`); err != nil {
		t.Fatal(err)
	}
	store := New(pool, time.Now)
	for _, r := range []*lastlightv1.ListDivesRequest{{}, {Lines: true}, {ShowArchived: true}, {PageSize: 200, Lines: true}} {
		for range 12 {
			page, err := store.ListDives(t.Context(), r, nil, nil)
			if err != nil || len(page.rows) != PageSize(r.PageSize) {
				t.Fatalf("%v: %d dives, %v", r, len(page.rows), err)
			}
			var ahead pgx.Batch
			page.queueFor(&ahead, []byte("of no token"), time.Now())
			if err := pool.SendBatch(t.Context(), &ahead).Close(); err != nil || len(page.rows) != 0 {
				t.Fatalf("%v, without a token: %d dives, %v", r, len(page.rows), err)
			}
		}
	}
	var statements, kept int
	if err := pool.QueryRow(t.Context(), `SELECT count(*), count(*) FILTER (WHERE custom_plans <= 5)
FROM pg_prepared_statements WHERE statement LIKE 'SELECT d.record%FROM dive d%' OR statement LIKE 'SELECT CASE%FROM dive d%'`).Scan(&statements, &kept); err != nil {
		t.Fatal(err)
	}
	if statements != 8 || kept != 8 {
		t.Errorf("%d statements, not 8; %d of them planned for good", statements, kept)
	}
}
