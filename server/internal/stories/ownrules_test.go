package stories

import (
	"encoding/json"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/structpb"

	"lastlight/engine/finding"
	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

func own(id string, about policy.About, holds string, otherwise policy.Decide) policy.OwnRule {
	r := policy.OwnRule{
		ID: "own." + id, Title: "rule " + id, About: about, Holds: holds, Otherwise: otherwise, Says: "breaks rule " + id, Remedy: "keep rule " + id,
		Citation: finding.Citation{Document: "club meeting", Edition: "2026", Section: "minute 4", DateRead: "2026-02-01"},
	}
	if otherwise == policy.DecideWaiver {
		r.WaivedBy = []string{"coordinator", "committee"}
	}
	return r
}

// A rule that cannot be compiled is refused when it is entered, all faults at once, each with line and column of its text.
func TestOwnRulesThatCannotBeCompiled(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	p := policy.Default()
	p.OwnRules = []policy.OwnRule{
		own("good", policy.AboutPlan, `plan.weekday != 7`, policy.DecideRefuse),
		own("typo", policy.AboutPlan, "plan.weekday != 7 &&\n  plan.nigth", policy.DecideRefuse),
		own("number", policy.AboutDiver, `diver.age_years`, policy.DecideRefuse),
		own("dear", policy.AboutItem, `report.findings.all(f, items.all(i, i.id != f.subject))`, policy.DecideCaution),
	}
	b, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	document := &structpb.Struct{}
	if err := protojson.Unmarshal(b, document); err != nil {
		t.Fatal(err)
	}
	entered := &pb.Policy{Id: "faulty", Document: document, Reason: "to see the faults"}
	if _, err := c.policies().CreatePolicy(c.as("keeper"), &pb.CreatePolicyRequest{Policy: entered, RequestId: id()}); status.Code(err) != codes.InvalidArgument {
		t.Fatalf("entered all the same: %v", err)
	}
	answer, err := pb.NewRecordServiceClient(c.conn).ApplyRecords(c.as("keeper"), &pb.ApplyRecordsRequest{
		Records: []*pb.Record{record(entered)}, DryRun: true, RequestId: id(),
	})
	if err != nil {
		t.Fatal(err)
	}
	places := map[string][2]int32{}
	for _, x := range answer.Problems {
		places[x.Field] = [2]int32{x.Line, x.Column}
	}
	const at = "records[0].policy.document.own_rules"
	if len(answer.Problems) != 3 || places[at+"[1].holds"] != [2]int32{2, 7} {
		t.Errorf("problems: %v", answer.Problems)
	}
	for _, field := range []string{at + "[2].holds", at + "[3].holds"} {
		if _, ok := places[field]; !ok {
			t.Errorf("nothing about %s: %v", field, answer.Problems)
		}
	}
}

// An own rule is compared before it is adopted, blocks what it is about, is waived by whom it names, and tells nobody's age.
func TestOwnRulesDecideWithTheOthers(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.submit(c.plan("one", "2026-06-08 08:00"))
	draft := c.draftPolicy(func(p *policyDocument) {
		p.OwnRules = []policy.OwnRule{
			own("mondays", policy.AboutPlan, `plan.weekday != 1`, policy.DecideWaiver), // 2026-06-08 is a Monday
			own("age", policy.AboutDiver, `diver.age_years > 150`, policy.DecideCaution),
			own("unknown", policy.AboutPlan, `!has(plan.night) || !plan.night || plan.jumps / 0 == 1`, policy.DecideCaution),
		}
	})
	x, err := c.policies().ComparePolicy(c.as("cora"), &pb.ComparePolicyRequest{Id: draft})
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]bool{}
	for _, p := range x.Plans {
		for _, f := range p.Findings {
			said[f.GetAfter().GetRule()] = true
		}
	}
	if len(x.Plans) != 1 || x.Plans[0].VerdictAfter != "needs_waiver" || !said["own.mondays"] || !said["own.age"] {
		t.Errorf("the comparison says %v", x.Plans)
	}
	if _, err := c.policies().AdoptPolicy(c.as("keeper"), &pb.AdoptPolicyRequest{Id: draft, InForceFrom: "2026-06-08", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	again, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: "one", RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	key := ""
	for _, f := range again.Report.Findings {
		switch f.Rule {
		case "own.mondays":
			key = f.Key
			if f.Status != "needs_waiver" || !strings.HasSuffix(f.Message, ": breaks rule mondays") || f.Citation.GetDocument() != "club meeting" || f.Steps[0].GetFormula() != "plan.weekday != 1" {
				t.Errorf("the finding: %v", f)
			}
		case "own.age":
			if f.Status != "caution" || f.Steps[0].GetWithheld() {
				t.Errorf("the coordinator reads %v", f)
			}
		}
	}
	// A fellow diver reads that a rule of the club is not met, and neither which sum it was nor an age.
	seen, err := c.plans().GetReport(c.as("birk"), &pb.GetReportRequest{Id: "one"})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range seen.Findings {
		if f.Rule == "own.age" && f.Subject.GetId() == "asta" && (strings.Contains(f.Message, "rule age") || len(f.Steps) > 0) {
			t.Errorf("a fellow diver reads %v", f)
		}
	}
	if _, err := c.plans().WaiveFinding(c.as("asta"), &pb.WaiveFindingRequest{Id: "one", Version: again.Plan.Version, Finding: key, Reason: "I like Mondays", RequestId: id()}); status.Code(err) != codes.PermissionDenied && status.Code(err) != codes.NotFound {
		t.Errorf("a diver of the team waives: %v", err)
	}
	if _, err := c.plans().WaiveFinding(c.as("cora"), &pb.WaiveFindingRequest{Id: "one", Version: again.Plan.Version, Finding: key, Reason: "a holiday", RequestId: id()}); err != nil {
		t.Errorf("the coordinator may not waive: %v", err)
	}
}

// A draft says what it changes of another policy: groups are laid over each other, a list stands whole, and what is stored is whole.
// Entered twice it is the same; what it is based on must be on record; its faults have their place as those of a whole one.
func TestDraftBasedOnAnother(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	base := c.draftPolicy(func(p *policyDocument) { p.Cavern.MaxDepthM = 17 })
	draft := func(name, basedOn, holds string) *pb.Policy {
		document, err := structpb.NewStruct(map[string]any{
			"cavern": map[string]any{"max_linear_m": 33.0},
			"own_rules": []any{map[string]any{
				"id": "own.sundays", "title": "No Sundays", "about": "plan", "holds": holds, "otherwise": "refuse", "says": "a Sunday", "remedy": "another day",
				"citation": map[string]any{"document": "club meeting", "edition": "2026", "section": "4", "date_read": "2026-02-01"},
			}},
		})
		if err != nil {
			t.Fatal(err)
		}
		return &pb.Policy{Id: name, BasedOn: basedOn, Document: document, Reason: "no Sundays"}
	}
	enter := func(p *pb.Policy) (*pb.Policy, error) {
		return c.policies().CreatePolicy(c.as("keeper"), &pb.CreatePolicyRequest{Policy: p, RequestId: id()})
	}
	got, err := enter(draft("sundays", base, `plan.weekday != 7`))
	if err != nil {
		t.Fatal(err)
	}
	cavern := got.Document.Fields["cavern"].GetStructValue().Fields
	if cavern["max_depth_m"].GetNumberValue() != 17 || cavern["max_linear_m"].GetNumberValue() != 33 || len(got.Document.Fields["ladder"].GetListValue().GetValues()) == 0 || got.BasedOn != base {
		t.Errorf("stored: based on %q, cavern %v", got.BasedOn, cavern)
	}
	x, err := c.policies().ComparePolicy(c.as("cora"), &pb.ComparePolicyRequest{Id: "sundays", Against: base})
	if err != nil {
		t.Fatal(err)
	}
	for _, cell := range x.Cells {
		if !strings.HasPrefix(cell.Path, "own_rules") && cell.Path != "cavern.max_linear_m" {
			t.Errorf("differs from its base in %v", cell)
		}
	}
	again, err := pb.NewRecordServiceClient(c.conn).ApplyRecords(c.as("keeper"), &pb.ApplyRecordsRequest{Records: []*pb.Record{record(draft("sundays", base, `plan.weekday != 7`))}, RequestId: id()})
	if err != nil || len(again.Records) != 1 || again.Records[0].Outcome != "unchanged" {
		t.Errorf("entered twice: %v, %v", again, err)
	}
	if _, err := enter(draft("nowhere", "no-such", `true`)); status.Code(err) != codes.InvalidArgument || !strings.Contains(status.Convert(err).Proto().String(), "based_on") {
		t.Errorf("based on nothing: %v", err)
	}
	if _, err := enter(draft("slip", base, "plan.weekday != 7 &&\n  plan.nigth")); status.Code(err) != codes.InvalidArgument || !strings.Contains(status.Convert(err).Proto().String(), "LINE_2_COLUMN_7") {
		t.Errorf("a slip: %v", err)
	}
	faulty, err := pb.NewRecordServiceClient(c.conn).ApplyRecords(c.as("keeper"), &pb.ApplyRecordsRequest{Records: []*pb.Record{record(draft("slip", base, "true &&\n  plan.nigth"))}, DryRun: true, RequestId: id()})
	if err != nil || len(faulty.Problems) != 1 || faulty.Problems[0].Line != 2 || faulty.Problems[0].Column != 7 || faulty.Problems[0].Field != "records[0].policy.document.own_rules[0].holds" {
		t.Errorf("a slip in a file: %v, %v", faulty, err)
	}
}

// An own rule is tried on plans on record: a plan approved under the former policy would have been refused; what is stored stands
// and replays without the rule.
func TestOwnRulesTriedOnPlansOnRecord(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.approved("granted", "2026-06-08 08:00") // a Monday
	stored := c.evidenceOf("granted")
	draft := c.draftPolicy(func(p *policyDocument) {
		p.OwnRules = []policy.OwnRule{own("mondays", policy.AboutPlan, `plan.weekday != 1`, policy.DecideRefuse)}
	})
	x, err := c.policies().CompareDecidedPlans(c.as("cora"), &pb.CompareDecidedPlansRequest{Id: draft})
	if err != nil || len(x.Plans) != 1 {
		t.Fatalf("%v, %v", x, err)
	}
	p := x.Plans[0]
	if finding.Status(p.VerdictBefore).Blocks() || p.VerdictAfter != "refuse" || len(p.Findings) != 1 || p.Findings[0].Before != nil || p.Findings[0].After.GetRule() != "own.mondays" {
		t.Errorf("tried: %v", p)
	}
	if now := c.evidenceOf("granted"); string(now.Input) != string(stored.Input) || string(now.Report) != string(stored.Report) {
		t.Error("trying a rule changed what is stored")
	}
}
