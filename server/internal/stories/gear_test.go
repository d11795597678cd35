package stories

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

// Story 5 of the handbook: two cylinders are both stamped 4471: 12 L, hydro
// 05/2021, and 7 L, hydro 09/2023, visuals current; 60/30 months, month counted.
// Both can be entered. "Analysis for 4471" is not saved: both are listed by
// size, maker, owner. The 12 L filled 30 May 2026 and dived 2 June: allowed with
// a notice, refused where the club is strict; a refill on 2 June is refused.
func TestTwinSerialOutOfTest(t *testing.T) {
	c := newClub(t, "2026-06-02 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	events := func(hydro string) []*pb.ServiceEvent {
		return []*pb.ServiceEvent{{Kind: "hydro", Date: hydro}, {Kind: "visual", Date: "2025-01"}}
	}
	c.apply(
		record(&pb.Cylinder{Id: "twelve", Serial: "4471", Maker: "Ostmark", Material: "steel", Jurisdiction: "de", OxygenClean: "clean", Owner: "asta", WaterVolume: litres(12), WorkingPressure: bar(232), ServiceEvents: events("2021-05")}),
		record(&pb.Cylinder{Id: "seven", Serial: "4471", Maker: "Kestrel", Material: "steel", Jurisdiction: "de", OxygenClean: "clean", WaterVolume: litres(7), WorkingPressure: bar(300), ServiceEvents: events("2023-09")}),
		record(&pb.CylinderSet{Id: "mains", Kind: "twinset", Cylinders: []string{"twelve", "asta-right"}, Owner: "asta"}),
		record(&pb.Fill{Id: "may-fill", Cylinder: "twelve", FilledAt: stamp(c.at("2026-05-30 10:00")), Pressure: bar(215), Intended: &pb.GasMix{OxygenPercent: 21}}),
	)
	analysis := &pb.Analysis{
		Cylinder: "4471", AnalysedAt: stamp(c.at("2026-05-30 12:00")), OxygenPercent: "21.0", HeliumPercent: "0", AnalysedBy: "asta",
		Analyser: "analyser", CalibratedAt: stamp(c.at("2026-05-30 11:50")), AirReadingPercent: "20.9",
	}
	_, err := c.gear().RecordAnalysis(c.as("asta"), &pb.RecordAnalysisRequest{Analysis: analysis, RequestId: id()})
	said := fmt.Sprint(status.Convert(err).Details())
	for _, want := range []string{"12 L", "7 L", "Ostmark", "Kestrel", "owner asta", "owner the club"} {
		if !strings.Contains(said, want) {
			t.Errorf("the refusal does not name %s: %v %s", want, err, said)
		}
	}
	if list, err := c.gear().ListAnalyses(c.as("keeper"), &pb.ListAnalysesRequest{Cylinder: "twelve"}); err != nil || len(list.Analyses) != 0 {
		t.Errorf("an analysis for 4471 was saved: %v, %v", list, err)
	}
	analysis.Cylinder = "twelve"
	if _, err := c.gear().RecordAnalysis(c.as("asta"), &pb.RecordAnalysisRequest{Analysis: analysis, RequestId: id()}); err != nil {
		t.Fatal(err)
	}

	c.reading("spring", c.at("2026-06-02 07:00"))
	p := planOf("twins", "spring", c.at("2026-06-02 08:30"), route, team, []float64{200, 200})
	p.Team[0].Mains = "mains"
	r := c.submit(p).Report
	if len(blocks(r)) > 0 {
		t.Errorf("dived on 2 June: %v", blocks(r))
	}
	if !slices.ContainsFunc(r.Findings, func(f *pb.Finding) bool {
		return f.Rule == "cylinder.test" && f.Code == "hydro_overdue" && f.Status == "note" && strings.Contains(f.Message, "2026-05-31")
	}) {
		t.Error("no notice that the hydro was due on 31 May")
	}
	for name, want := range map[string][4]string{"twelve": {"no", "notice", "no", "2026-05-31"}, "seven": {"yes", "cannot_tell", "yes", "2028-09-30"}} {
		m, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: name})
		if err != nil {
			t.Fatal(err)
		}
		if got := [4]string{m.Due.Fill.Answer, m.Due.Use.Answer, m.Due.Carry.Answer, m.Due.HydroLastDay}; got != want || !strings.Contains(m.Due.Fill.Clause, "BetrSichV") {
			t.Errorf("%s: fill, use, carry, hydro %v by %q, want %v", name, got, m.Due.Fill.Clause, want)
		}
	}
	if set, err := c.gear().GetCylinderSet(c.as("keeper"), &pb.GetCylinderSetRequest{Id: "mains"}); err != nil || set.Due.GetLastDay() != "2026-05-31" || set.Due.GetCylinder() != "twelve" || set.Due.GetStatus() != "overdue" {
		t.Errorf("the set has not the date of its worst member: %v, %v", set.GetDue(), err)
	}

	refill := &pb.Fill{Cylinder: "twelve", FilledAt: stamp(c.clock.Now()), Pressure: bar(220), Intended: &pb.GasMix{OxygenPercent: 21}, TopUp: true}
	_, err = c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{Fill: refill, RequestId: id()})
	if said := fmt.Sprint(status.Convert(err).Details()); status.Code(err) != codes.InvalidArgument || !strings.Contains(said, "hydro overdue") || !strings.Contains(said, "2026-06-02") {
		t.Errorf("a refill on 2 June: %v %s", err, said)
	}

	c.adoptPolicy(func(p *policy.Policy) { p.Cylinders.StrictOutOfTest = true })
	strict, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "twins"})
	if err != nil {
		t.Fatal(err)
	}
	c.mustSay(strict, "cylinder.test", "hydro", "2026-05-31")

	// A fill that was made all the same is a fact, and the cylinder is not dived.
	c.adoptPolicy(nil)
	refill.MadeAnyway = true
	if _, err := c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{Fill: refill, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	after, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "twins"})
	if err != nil {
		t.Fatal(err)
	}
	c.mustSay(after, "cylinder.test", "filled 2026-06-02", "hydro")
	c.mustSay(after, "gas.analysis", "ended by top up")
}

// Story 6 of the handbook: 32.4 % measured on 1 June: a dive on 15 June passes,
// on 16 June it is blocked. Analysed again at 33.2 against a plan of 32: off by
// 1.2, MOD 32 m: a plan to 33 m is refused for both reasons.
func TestOldAnalysis(t *testing.T) {
	c := newClub(t, "2026-06-01 16:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(60, 0)
	c.apply(levelSite("hall", zoneName, 30, stations, legs)...)
	deep, deepLegs, deepRoute := straight(60, 0)
	c.apply(levelSite("well", zoneName, 33, deep, deepLegs)...)
	team := []diver{{id: "asta", oxygen: 32}, {id: "birk", oxygen: 32}}
	c.enrol("hall", team...)
	analyse := func(at time.Time, oxygen string) (label string) {
		for _, d := range team {
			for _, side := range []string{"-left", "-right"} {
				out, err := c.gear().RecordAnalysis(c.as(d.id), &pb.RecordAnalysisRequest{RequestId: id(), Analysis: &pb.Analysis{
					Cylinder: d.id + side, AnalysedAt: stamp(at), OxygenPercent: oxygen, HeliumPercent: "0", AnalysedBy: d.id, Pressure: bar(212),
					Analyser: "analyser", CalibratedAt: stamp(at.Add(-10 * time.Minute)), AirReadingPercent: "20.9",
				}})
				if err != nil {
					t.Fatal(err)
				}
				label = out.Label
			}
		}
		return label
	}
	if label := analyse(c.at("2026-06-01 15:30"), "32.4"); !strings.Contains(label, "MOD 33 m") || !strings.Contains(label, "32.4") {
		t.Errorf("label %q, want MOD 33 m from the measured 32.4 (practice P19)", label)
	}
	c.clock.set(c.at("2026-06-15 07:30"))
	c.reading("hall", c.clock.Now())
	p := planOf("fifteenth", "hall", c.at("2026-06-15 08:30"), route, team, []float64{200, 200})
	if r := c.submit(p).Report; len(blocks(r)) > 0 {
		t.Errorf("on 15 June: %v", blocks(r))
	}
	c.clock.set(c.at("2026-06-16 07:30"))
	c.reading("hall", c.clock.Now())
	late := planOf("sixteenth", "hall", c.at("2026-06-16 08:30"), route, team, []float64{200, 200})
	r := c.submit(late).Report
	c.mustSay(r, "gas.analysis", "held to the end of 2026-06-15")
	for _, b := range blocks(r) {
		if !strings.HasPrefix(b, "gas.analysis") {
			t.Errorf("on 16 June something else blocks: %s", b)
		}
	}
	if label := analyse(c.at("2026-06-16 07:20"), "33.2"); !strings.Contains(label, "MOD 32 m") {
		t.Errorf("label %q, want MOD 32 m", label)
	}
	c.reading("well", c.clock.Now())
	r = c.submit(planOf("deep", "well", c.at("2026-06-16 08:30"), deepRoute, team, []float64{200, 200})).Report
	c.mustSay(r, "gas.measured", "off by 1.2")
	c.mustSay(r, "gas.measured", "MOD 32 m", "goes to 33")
}

// Custody (T29; "who, since when, what lies where"): many items at once or none;
// a stage that waits in the cave is no break, one left unattended is; what is
// lost is not dived until it is found; a depot is in the ledger of what was left.
func TestCustody(t *testing.T) {
	c := newClub(t, "2026-06-07 17:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta", endorses: []string{"STAGE"}}, {id: "birk", endorses: []string{"STAGE"}}}
	c.enrol("spring", team...)
	c.stage("asta-stage", "asta")
	p := planOf("depot", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	p.Team[0].Stages = []*pb.PlanStage{{Cylinder: "asta-stage", Kind: "stage", StartPressure: bar(200), Gas: &pb.GasMix{OxygenPercent: 21}, TemperatureC: proto.Float64(20)}}
	c.submit(p)
	says := func() *pb.Report {
		t.Helper()
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "depot"})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	tell := func(who string, e *pb.CustodyEvent, items ...string) error {
		c.clock.set(c.clock.Now().Add(time.Minute))
		e.At = stamp(c.clock.Now())
		_, err := c.gear().RecordCustody(c.as(who), &pb.RecordCustodyRequest{Items: items, Event: e, RequestId: id()})
		return err
	}
	state := func(item string) *pb.Holding {
		t.Helper()
		list, err := c.gear().ListHoldings(c.as("keeper"), &pb.ListHoldingsRequest{PageSize: 200})
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range list.Holdings {
			if h.Item == item {
				return h
			}
		}
		t.Fatalf("%s is nowhere", item)
		return nil
	}
	if h := state("asta-left"); h.State != "held" || h.Holder != "asta" || h.Since != nil {
		t.Errorf("nothing recorded: %v", h)
	}
	if err := tell("asta", &pb.CustodyEvent{Kind: "handed_over", Holder: "birk"}, "asta-left", "no-such"); err == nil {
		t.Error("a hand-over of an item that is not there was stored")
	}
	if _, err := c.gear().RecordCustody(c.as("asta"), &pb.RecordCustodyRequest{
		Items: []string{"birk-primary"}, RequestId: id(),
		Event: &pb.CustodyEvent{Kind: "handed_over", Holder: "birk", At: stamp(c.clock.Now())},
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.gear().RecordCustody(c.as("asta"), &pb.RecordCustodyRequest{
		Items: []string{"birk-primary"}, RequestId: id(),
		Event: &pb.CustodyEvent{Kind: "handed_over", Holder: "asta", At: stamp(c.clock.Now().Add(-time.Minute))},
	}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("before what is on record of it: %v", err)
	}
	if h := state("asta-left"); h.Holder != "asta" {
		t.Errorf("half a hand-over was stored: %v", h)
	}
	if err := tell("asta", &pb.CustodyEvent{Kind: "handed_over", Holder: "birk"}, "asta-left", "asta-right", "asta-primary"); err != nil {
		t.Fatal(err)
	}
	mine, err := c.gear().ListHoldings(c.as("birk"), &pb.ListHoldingsRequest{Holder: "birk"})
	if err != nil || !slices.ContainsFunc(mine.Holdings, func(h *pb.Holding) bool { return h.Item == "asta-primary" && h.Owner == "asta" }) {
		t.Errorf("what birk has: %v, %v", mine, err)
	}
	if _, err := c.gear().ListHoldings(c.as("birk"), &pb.ListHoldingsRequest{Holder: "asta"}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver reads who else has what: %v", err)
	}

	if err := tell("asta", &pb.CustodyEvent{Kind: "waiting_in_cave", Site: "spring", Place: "end", RemoveBy: "2026-06-12"}, "asta-stage"); err != nil {
		t.Fatal(err)
	}
	left, err := c.sites().ListLeftItems(c.as("birk"), &pb.ListLeftItemsRequest{Site: "spring"})
	if err != nil || len(left.Items) != 1 || left.Items[0].Owner != "asta" || left.Items[0].RemoveBy != "2026-06-12" || left.Items[0].Place != "end" {
		t.Errorf("the depot: %v, %v", left, err)
	}
	for _, b := range blocks(says()) {
		if strings.Contains(b, "asta-stage") {
			t.Errorf("a stage that waits in the cave is a break: %s", b)
		}
	}
	if err := tell("asta", &pb.CustodyEvent{Kind: "back"}, "asta-stage"); err != nil {
		t.Fatal(err)
	}
	if left, err := c.sites().ListLeftItems(c.as("birk"), &pb.ListLeftItemsRequest{Site: "spring"}); err != nil || len(left.Items) != 0 {
		t.Errorf("back, and still in the ledger: %v, %v", left, err)
	}
	if err := tell("asta", &pb.CustodyEvent{Kind: "left_unattended", Place: "car park"}, "asta-stage"); err != nil {
		t.Fatal(err)
	}
	c.mustSay(says(), "gas.analysis", "asta-stage", "custody break")
	list, err := c.gear().ListAnalyses(c.as("asta"), &pb.ListAnalysesRequest{Cylinder: "asta-stage"})
	if err != nil || list.Analyses[0].EndedBy != "custody_break" {
		t.Errorf("what ended the analysis: %v, %v", list, err)
	}
	if err := tell("birk", &pb.CustodyEvent{Kind: "lost"}, "asta-stage"); err != nil {
		t.Fatal(err)
	}
	c.mustSay(says(), "cylinder.where", "asta-stage", "lost")
	if h := state("asta-stage"); h.State != "lost" || h.Owner != "asta" || h.Holder != "" {
		t.Errorf("lost: %v", h)
	}
	if err := tell("birk", &pb.CustodyEvent{Kind: "handed_over", Holder: "birk"}, "asta-stage"); err == nil {
		t.Error("what is lost was handed over")
	}
	if err := tell("birk", &pb.CustodyEvent{Kind: "found"}, "asta-stage"); err != nil {
		t.Fatal(err)
	}
	history, err := c.gear().ListCustody(c.as("asta"), &pb.ListCustodyRequest{Item: "asta-stage"})
	if err != nil || len(history.Events) != 5 || history.Events[0].Kind != "found" || history.Events[0].Holder != "birk" {
		t.Errorf("history: %v, %v", history, err)
	}
	if err := tell("birk", &pb.CustodyEvent{Kind: "lost"}, "asta-left"); err != nil {
		t.Fatal(err)
	}
	if list, err := c.gear().ListAnalyses(c.as("asta"), &pb.ListAnalysesRequest{Cylinder: "asta-left"}); err != nil || list.Analyses[0].EndedBy != "custody_break" {
		t.Errorf("what ended the analysis of a cylinder that is lost: %v, %v", list, err)
	}
}

// Quarantine has a reason and a release; anybody takes a thing out of use, the
// register's keepers bring it back; a regulator counts dives from its service.
func TestQuarantineAndServiceOfKit(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	c.reading("spring", c.at("2026-06-08 07:00"))
	c.apply(record(&pb.Equipment{Id: "reg", Kind: "regulator", Owner: "asta"}))
	p := planOf("kit", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200})
	p.Team[0].Equipment = append(p.Team[0].Equipment, "reg")
	c.mustSay(c.submit(p).Report, "kit.service", "reg", "cannot tell")
	if _, err := c.gear().RecordService(c.as("keeper"), &pb.RecordServiceRequest{Item: "reg", RequestId: id(), Event: &pb.ServiceEvent{Id: "wrong", Kind: "service", Date: "2025-06-07"}}); err != nil {
		t.Fatal(err)
	}
	says := func() *pb.Report {
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "kit"})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	c.mustSay(says(), "kit.service", "reg", "2026-06-07")
	// Never deleted, only corrected by a later event.
	if _, err := c.gear().RecordService(c.as("keeper"), &pb.RecordServiceRequest{Item: "reg", RequestId: id(), Event: &pb.ServiceEvent{Kind: "service", Date: "2026-03-07", Corrects: "wrong"}}); err != nil {
		t.Fatal(err)
	}
	if got := blocks(says()); len(got) > 0 {
		t.Errorf("serviced in March: %v", got)
	}
	reg, err := c.gear().GetEquipment(c.as("asta"), &pb.GetEquipmentRequest{Id: "reg"})
	// Eight dives of the owner since 30 March (enrol): 100 less 8.
	if err != nil || len(reg.ServiceEvents) != 2 || reg.Due.GetLastDay() != "2027-03-07" || reg.Due.GetDivesLeft() != 92 {
		t.Errorf("the regulator: %v, %v", reg, err)
	}
	if _, err := c.gear().Quarantine(c.as("birk"), &pb.QuarantineRequest{Item: "reg", Reason: "breathes wet", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.mustSay(says(), "cylinder.quarantine", "reg", "2026-06-08")
	if _, err := c.gear().Release(c.as("birk"), &pb.ReleaseRequest{Item: "reg", Reason: "dried", RequestId: id()}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("released by a diver: %v", err)
	}
	if _, err := c.gear().Release(c.as("keeper"), &pb.ReleaseRequest{Item: "reg", Reason: "diaphragm changed", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if got := blocks(says()); len(got) > 0 {
		t.Errorf("released: %v", got)
	}
	// What measured the gas counts as much as what holds it.
	if out := c.approve(p, says()); !out.Decided {
		t.Fatalf("not approved: %s", out.Explanation)
	}
	if _, err := c.gear().Quarantine(c.as("birk"), &pb.QuarantineRequest{Item: "analyser", Reason: "drifts", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if stale, err := c.plans().GetPlan(c.as("cora"), &pb.GetPlanRequest{Id: "kit"}); err != nil || stale.State != pb.PlanState_PLAN_STATE_STALE {
		t.Errorf("the analyser is in quarantine, the plan is %v, %v", stale.GetState(), err)
	}
	c.mustSay(says(), "gas.analyser", "asta-left", "quarantine")
	ready, err := c.people().CheckGoodToGo(c.as("asta"), &pb.CheckGoodToGoRequest{Day: "2026-06-08"})
	if err != nil || !slices.ContainsFunc(ready.Lines, func(l *pb.GoodToGoLine) bool {
		return strings.Contains(l.What, "reg: service due 2027-03-07") && l.Sign == "OK"
	}) || !slices.ContainsFunc(ready.Lines, func(l *pb.GoodToGoLine) bool {
		return strings.HasPrefix(l.What, "asta-left") && strings.Contains(l.What, "filled until") && strings.Contains(l.What, "carried full until")
	}) {
		t.Errorf("asta's own kit: %v, %v", ready, err)
	}
}

// A cylinder that a dive left is waiting in the cave from its end on, with an
// owner and a day to be out by; taken out, whoever did has it.
func TestCylinderLeftByADive(t *testing.T) {
	c := newClub(t, "2026-06-08 15:00")
	c.adoptPolicy(nil)
	stations, legs, _ := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk"})
	c.stage("asta-stage", "asta")
	if _, err := c.dives().RecordDive(c.as("keeper"), &pb.RecordDiveRequest{RequestId: id(), Dive: &pb.Dive{
		Id: "set-up", Site: "spring", Kind: "set_up", EnteredAt: stamp(c.at("2026-06-08 10:00")), OutAt: stamp(c.at("2026-06-08 11:00")),
		MaxDepthM: proto.Float64(10), Zone: "cave", Divers: []*pb.DiveDiver{{Person: "asta", CountedAs: "FULL"}, {Person: "birk", CountedAs: "FULL"}},
		Left: []*pb.LeftBehind{{Kind: "cylinder", Place: "end", Item: "asta-stage", Owner: "asta", RemoveBy: "2026-06-12"}},
	}}); err != nil {
		t.Fatal(err)
	}
	where := func() *pb.Holding {
		t.Helper()
		list, err := c.gear().ListHoldings(c.as("keeper"), &pb.ListHoldingsRequest{PageSize: 200})
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(list.Holdings, func(h *pb.Holding) bool { return h.Item == "asta-stage" })
		return list.Holdings[i]
	}
	if h := where(); h.State != "waiting_in_cave" || h.Site != "spring" || h.Place != "end" || h.RemoveBy != "2026-06-12" || h.Owner != "asta" || !h.Since.AsTime().Equal(c.at("2026-06-08 11:00")) {
		t.Errorf("left by the dive: %v", h)
	}
	if list, err := c.gear().ListAnalyses(c.as("asta"), &pb.ListAnalysesRequest{Cylinder: "asta-stage"}); err != nil || list.Analyses[0].EndedBy != "" {
		t.Errorf("waiting in the cave ended the analysis: %v, %v", list, err)
	}
	// What waits in caves is for members to know, by whichever list; not for a guest, nor for who was one once.
	c.apply(record(&pb.Person{Id: "gast", FullName: "Gast", Guest: true}), record(&pb.RoleGrant{Person: "gast", Role: "guest"}), record(&pb.Person{Id: "former", FullName: "Former"}))
	waiting := &pb.ListHoldingsRequest{State: "waiting_in_cave"}
	if list, err := c.gear().ListHoldings(c.as("birk"), waiting); err != nil || len(list.Holdings) != 1 {
		t.Errorf("a member lists %v, %v", list, err)
	}
	for _, as := range []string{"gast", "former"} {
		if list, err := c.gear().ListHoldings(c.as(as), waiting); status.Code(err) != codes.PermissionDenied {
			t.Errorf("%s lists what waits in caves: %v, %v", as, list, err)
		}
	}
	left, err := c.sites().ListLeftItems(c.as("asta"), &pb.ListLeftItemsRequest{Site: "spring"})
	if err != nil || len(left.Items) != 1 {
		t.Fatalf("%v, %v", left, err)
	}
	if _, err := c.sites().RecoverLeftItem(c.as("birk"), &pb.RecoverLeftItemRequest{Id: left.Items[0].Id, RecoveredAt: stamp(c.at("2026-06-08 14:00")), RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if h := where(); h.State != "held" || h.Holder != "birk" {
		t.Errorf("taken out: %v", h)
	}
	if _, err := c.sites().RecoverLeftItem(c.as("asta"), &pb.RecoverLeftItemRequest{Id: left.Items[0].Id, RecoveredAt: stamp(c.at("2026-06-08 15:00")), RequestId: id()}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("taken out twice: %v", err)
	}
	if h := where(); h.Holder != "birk" {
		t.Errorf("taken out twice, it is with %s", h.Holder)
	}
}
