package stories

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

// A policy governs the dives from its day on, as the site counts days: a plan of the last minute before is neither stale nor
// judged by it, one of the first minute is both, though the adoption lies ahead of today.
func TestPolicyGovernsFromItsDay(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	approved := func(name, entry string) string {
		p := planOf(name, "spring", c.at(entry), route, team, []float64{200, 200})
		p.Night = true
		if out := c.approve(p, c.submit(p).Report); !out.Decided {
			t.Fatalf("%s is not approved: %v %v", name, out.NotDecided, blocks(out.Report))
		}
		return name
	}
	// 23:59 of the 11th in Berlin is 21:59 UTC; 00:00 of the 12th is still the 11th in UTC, which is the club's zone.
	before, first := approved("last-minute", "2026-06-11 20:00"), approved("first-minute", "2026-06-12 00:00")
	stricter := c.draftPolicy(func(p *policy.Policy) { p.Retention[0].Months++ })
	if _, err := c.policies().AdoptPolicy(c.as("keeper"), &pb.AdoptPolicyRequest{Id: stricter, InForceFrom: "2026-06-12", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]pb.PlanState{before: pb.PlanState_PLAN_STATE_APPROVED, first: pb.PlanState_PLAN_STATE_STALE} {
		if got := c.standing(name); got != want {
			t.Errorf("%s is %v, want %v", name, got, want)
		}
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: name})
		if err != nil || (r.Policy == stricter) != (name == first) {
			t.Errorf("%s is judged under %s (%v)", name, r.GetPolicy(), err)
		}
	}
	// Asked again it is approved under the policy of its day, and stays so.
	r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: first})
	if err != nil {
		t.Fatal(err)
	}
	if out := c.approve(&pb.Plan{Id: first}, r); !out.Decided {
		t.Errorf("not approved again: %v", out.NotDecided)
	}
	// A later policy is overtaken before the day of another that is adopted already: it governs up to there alone.
	between := c.draftPolicy(func(p *policy.Policy) { p.Retention[0].Months += 2 })
	if _, err := c.policies().AdoptPolicy(c.as("keeper"), &pb.AdoptPolicyRequest{Id: between, InForceFrom: "2026-06-10", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if a, b := c.standing(before), c.standing(first); a != pb.PlanState_PLAN_STATE_STALE || b != pb.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("of the 11th: %v, of the 12th: %v", a, b)
	}
	// A question about a day is answered by the policy of that day.
	for day, want := range map[string]string{"2026-06-11": between, "2026-06-12": stricter} {
		out, err := c.people().CheckGoodToGo(c.as("asta"), &pb.CheckGoodToGoRequest{Day: day, Site: "spring"})
		if err != nil || out.Policy != want {
			t.Errorf("good to go on %s under %s, want %s (%v)", day, out.GetPolicy(), want, err)
		}
	}
}

// A policy is adopted for days to come, as the club counts them: what is past was dived under the policy of its day, and no
// adoption can be undone.
func TestPolicyIsNotAdoptedForThePast(t *testing.T) {
	c := newClub(t, "2026-06-08 01:30") // 23:30 of the 7th in UTC
	if _, err := c.pool.Exec(t.Context(), `UPDATE club SET time_zone = 'UTC'`); err != nil {
		t.Fatal(err)
	}
	adopt := func(r *pb.AdoptPolicyRequest) error {
		_, err := c.policies().AdoptPolicy(c.as("keeper"), r)
		return err
	}
	draft := c.draftPolicy(nil)
	for _, day := range []string{"2026-06-06", "1999-12-31"} {
		err := adopt(&pb.AdoptPolicyRequest{Id: draft, InForceFrom: day, RequestId: id()})
		if status.Code(err) != codes.InvalidArgument || !slices.ContainsFunc(status.Convert(err).Details(), func(d any) bool {
			b, ok := d.(*errdetails.BadRequest)
			return ok && len(b.FieldViolations) == 1 && b.FieldViolations[0].Field == "in_force_from" && strings.Contains(b.FieldViolations[0].Description, "today (2026-06-07) or later")
		}) {
			t.Errorf("from %s: %v", day, err)
		}
	}
	today := &pb.AdoptPolicyRequest{Id: draft, InForceFrom: "2026-06-07", RequestId: id()}
	if err := adopt(today); err != nil {
		t.Errorf("from today: %v", err)
	}
	c.clock.set(c.at("2026-06-08 12:00"))
	if err := adopt(today); err != nil {
		t.Errorf("the same call again, a day later: %v", err)
	}
}

// T6: a year before 1900 is a slip of the pen, in a time as in a day; the answer names the field.
func TestYearsThatCannotBe(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"})
	dive := func(entered time.Time) error {
		_, err := c.dives().RecordDive(c.as("asta"), &pb.RecordDiveRequest{RequestId: id(), Dive: &pb.Dive{
			Site: "spring", Kind: "normal", EnteredAt: stamp(entered), OutAt: stamp(entered.Add(40 * time.Minute)), MaxDepthM: proto.Float64(10),
			Zone: "open_water", Divers: []*pb.DiveDiver{{Person: "asta"}},
		}})
		return err
	}
	if err := dive(time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Errorf("in 1900: %v", err)
	}
	for _, year := range []int{1899, 1, 1026} {
		err := dive(time.Date(year, 12, 31, 23, 59, 0, 0, time.UTC))
		if status.Code(err) != codes.InvalidArgument || !slices.Contains(fieldsOf(err), "dive.entered_at") {
			t.Errorf("a dive of the year %d: %v %v", year, err, fieldsOf(err))
		}
	}
	long := stamp(time.Date(226, 6, 8, 6, 0, 0, 0, time.UTC))
	for field, call := range map[string]func() error{
		"reading.read_at": func() error {
			_, err := c.sites().RecordReading(c.as("cora"), &pb.RecordReadingRequest{RequestId: id(), Reading: &pb.Reading{Site: "spring", ReadAt: long, Flow: "none"}})
			return err
		},
		"fill.filled_at": func() error {
			_, err := c.gear().RecordFill(c.as("cora"), &pb.RecordFillRequest{RequestId: id(), Fill: &pb.Fill{Cylinder: "asta-left", FilledAt: long, Pressure: bar(200), Intended: &pb.GasMix{OxygenPercent: 32}}})
			return err
		},
		"seen_at": func() error {
			_, err := c.people().RecordCardSeen(c.as("cora"), &pb.RecordCardSeenRequest{RequestId: id(), Person: "asta", Card: "full", SeenAt: long})
			return err
		},
		"incident.happened_at": func() error {
			_, err := c.incidents().ReportIncident(c.as("asta"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{HappenedAt: long, Level: proto.Int32(0), Types: []string{"line"}, Narrative: "slack"}})
			return err
		},
		"plan.planned_entry": func() error {
			p := planOf("ancient", "spring", long.AsTime(), route, []diver{{id: "asta"}}, []float64{200})
			_, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()})
			return err
		},
	} {
		if err := call(); status.Code(err) != codes.InvalidArgument || !slices.Contains(fieldsOf(err), field) {
			t.Errorf("%s in the year 226: %v %v", field, err, fieldsOf(err))
		}
	}
}
