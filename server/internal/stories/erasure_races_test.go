package stories

import (
	"fmt"
	"regexp"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// Somebody is erased while a plan names them, is approved with them, or an item is handed to them: one of both is done, the other
// refused, and the key of an erased person comes back nowhere. Every write is held open for some milliseconds before its commit.
func TestErasureRaces(t *testing.T) {
	c, _ := race(t)
	if _, err := c.pool.Exec(t.Context(), `
CREATE FUNCTION hold() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN PERFORM pg_sleep(0.015); RETURN NEW; END $$;
CREATE TRIGGER hold BEFORE UPDATE ON erasure FOR EACH ROW EXECUTE FUNCTION hold();
CREATE TRIGGER hold BEFORE INSERT ON custody_event FOR EACH ROW EXECUTE FUNCTION hold();
CREATE TRIGGER hold BEFORE INSERT ON plan_person FOR EACH ROW EXECUTE FUNCTION hold();
CREATE TRIGGER hold BEFORE INSERT ON cylinder_set FOR EACH ROW EXECUTE FUNCTION hold();`); err != nil {
		t.Fatal(err)
	}
	c.apply(
		record(&pb.Person{Id: "second", FullName: "Second of the committee"}), record(&pb.RoleGrant{Person: "second", Role: "committee"}),
		record(&pb.Equipment{Id: "lent-reel", Kind: "reel", Owner: "birk", LineM: proto.Float64(30)}),
	)
	survey, err := c.sites().GetSurvey(c.as("cora"), &pb.GetSurveyRequest{Site: "spring"})
	if err != nil {
		t.Fatal(err)
	}
	_, _, route := straight(200, 0)
	planWith := func(name, cover string) *pb.Plan {
		p := planOf(name, "spring", c.at("2026-06-08 09:00"), route, []diver{{id: "asta"}, {id: "birk"}}, []float64{200, 200})
		p.Cover, p.Survey = cover, survey.Number
		return p
	}
	for _, x := range []struct {
		mark   string // in the keys
		name   string
		before func(who string) // done before the preview is read
		act    func(who string) (done bool, err error)
		after  func(who string)
	}{
		{"p", "a plan names them", nil, func(who string) (bool, error) {
			_, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: planWith("names-"+who[5:], who), RequestId: id()})
			return err == nil, err
		}, nil},
		{"a", "a plan with them is approved", func(who string) {
			if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: planWith("with-"+who[5:], who), RequestId: id()}); err != nil {
				t.Fatal(err)
			}
			if _, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: "with-" + who[5:], RequestId: id()}); err != nil {
				t.Fatal(err)
			}
		}, func(who string) (bool, error) {
			r, err := c.plans().GetReport(c.as("cora"), &pb.GetReportRequest{Id: "with-" + who[5:]})
			if err != nil {
				return false, err
			}
			d, err := c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: "with-" + who[5:], Version: 1, ReportHash: r.Hash, RequestId: id()})
			return d.GetDecided(), err
		}, func(who string) { c.withdraw("with-" + who[5:]) }},
		{"i", "an item is handed to them", nil, func(who string) (bool, error) {
			_, err := c.gear().RecordCustody(c.as("birk"), &pb.RecordCustodyRequest{RequestId: id(), Items: []string{"lent-reel"}, Event: &pb.CustodyEvent{Kind: "handed_over", At: stamp(c.clock.Now()), Holder: who}})
			return err == nil, err
		}, nil},
		{"s", "a set is theirs", nil, func(who string) (bool, error) {
			_, err := c.gear().CreateCylinderSet(c.as("keeper"), &pb.CreateCylinderSetRequest{RequestId: id(), Set: &pb.CylinderSet{Id: "set-" + who[5:], Kind: "single", Cylinders: []string{"birk-left"}, Owner: who}})
			return err == nil, err
		}, nil},
	} {
		t.Run(x.name, func(t *testing.T) {
			var erased []string
			// A quarter: whenever both want what the other holds the erasure waits out its half second and gives way, and each run goes
			// through the texts of all runs before.
			for run := range max(races(t)/4, 10) {
				who := fmt.Sprintf("gone-%s%d", x.mark, run)
				c.apply(record(&pb.Person{Id: who, FullName: "Vanishing Visitor"}), record(&pb.RoleGrant{Person: who, Role: "cover"}))
				if x.before != nil {
					x.before(who)
				}
				if _, err := c.privacy().RequestErasure(c.as("keeper"), &pb.RequestErasureRequest{Person: who, WrittenDay: "2026-06-01", RequestId: id()}); err != nil {
					t.Fatal(err)
				}
				hash := c.checkErasure("second", who).Hash
				var confirmed, acted error
				var done bool
				both(run, func() { _, confirmed = c.confirmErasure("second", who, hash) }, func() { done, acted = x.act(who) })
				switch {
				case confirmed == nil && done && x.mark == "a":
					t.Errorf("run %d: erased, and a plan with them approved", run)
				case confirmed == nil:
					erased = append(erased, who)
				case !done:
					t.Errorf("run %d: neither: %v, %v", run, confirmed, acted)
				}
				if x.after != nil {
					x.after(who)
				}
			}
			if len(erased) == 0 {
				t.Error("nobody was erased: the race was not run")
			}
			for table, text := range c.words() {
				for _, who := range erased {
					if regexp.MustCompile(who + `\b`).MatchString(text) {
						t.Errorf("%s is erased, and %s says the key", who, table)
					}
				}
			}
		})
	}
}
