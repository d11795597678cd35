package stories

import (
	"fmt"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// A day of an expedition by its plans: two divers twice on 24 L at 210 bar, of
// which 60 % is breathed, ask four times 24 × 126 = 3024 L of the compressor,
// pressure × volume by hand; by the real gas a few per cent less.
func TestGasBudgetOfADay(t *testing.T) {
	c := newClub(t, "2026-06-07 18:00")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	if _, err := pb.NewExpeditionServiceClient(c.conn).CreateExpedition(c.as("keeper"), &pb.CreateExpeditionRequest{
		Expedition: &pb.Expedition{Id: "june", Title: "June", FromDay: "2026-06-06", ToDay: "2026-06-20", Sites: []string{"spring"}}, RequestId: id(),
	}); err != nil {
		t.Fatal(err)
	}
	c.apply(record(&pb.Person{Id: "bo", FullName: "Bo Blender", Initials: "BB"}), record(&pb.RoleGrant{Person: "bo", Role: "blender", Expedition: "june"}))
	stamped, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: "asta-left"})
	if err != nil {
		t.Fatal(err)
	}
	stamped.WorkingPressure = bar(200)
	if _, err = c.gear().UpdateCylinder(c.as("keeper"), &pb.UpdateCylinderRequest{Cylinder: stamped, ExpectedVersion: stamped.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	for i, at := range []string{"2026-06-08 09:00", "2026-06-08 15:00", "2026-06-09 09:00"} {
		p := planOf(fmt.Sprintf("loop-%d", i), "spring", c.at(at), route, team, []float64{210, 210})
		p.Expedition = "june"
		if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	gasCalls := pb.NewGasServiceClient(c.conn)
	ask := &pb.GetFillPlanRequest{
		Expedition: "june", FromDay: "2026-06-08", ToDay: "2026-06-10", Compressor: &pb.Delivery{Unit: &pb.Delivery_LitresPerMinute{LitresPerMinute: 250}},
		UsedPercent: proto.Float64(60), Present: []*pb.CylinderNow{{Cylinder: "birk-left", Pressure: bar(210), Gas: &pb.GasMix{OxygenPercent: 21}}},
		HeliumStock: []*pb.GasBottle{{WaterVolume: &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: 50}}, Pressure: bar(150)}},
	}
	out, err := gasCalls.GetFillPlan(c.as("bo"), ask)
	if err != nil {
		t.Fatal(err)
	}
	if len(out.Days) != 3 || len(out.Days[0].Fills) != 8 || len(out.Days[1].Fills) != 4 || len(out.Days[2].Fills) != 0 {
		t.Fatalf("days %v", out.Days)
	}
	// Seven of the eight: birk's left is full in the morning.
	if hand := 7 * 12 * 126.0; out.Days[0].TopUpL < 0.92*hand || out.Days[0].TopUpL > 1.01*hand {
		t.Errorf("%v L, by hand %v L", out.Days[0].TopUpL, hand)
	}
	if out.Days[0].OxygenLeftL != nil || out.Days[0].HeliumLeftL == nil || out.Days[2].GetHeliumLeftL() != out.Days[0].GetHeliumLeftL() {
		t.Errorf("stock %v", out.Days)
	}
	// 210 bar are above the 200 bar now stamped on asta's left.
	if out.Days[0].Problems != 2 || out.Days[1].Problems != 1 {
		t.Errorf("problems %d and %d: %v", out.Days[0].Problems, out.Days[1].Problems, out.Days[0].Fills)
	}
	// No sum about gas needs a record, but the fill plan is for blenders and coordinators.
	if _, err := gasCalls.GetFillPlan(c.as("asta"), ask); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a diver asks for the fill plan: %v", err)
	}
	if m, err := gasCalls.CheckMix(c.as("asta"), &pb.CheckMixRequest{Gas: &pb.GasMix{OxygenPercent: 32}}); err != nil || m.DeepestWorkingM < 33 {
		t.Errorf("%v %v", m, err)
	}
	if _, err := gasCalls.CheckMix(c.as("asta"), &pb.CheckMixRequest{Gas: &pb.GasMix{OxygenPercent: 0.32}}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("0.32 %% of oxygen: %v", err)
	}
	ask.Expedition = "july"
	if _, err := gasCalls.GetFillPlan(c.as("cora"), ask); status.Code(err) != codes.NotFound {
		t.Errorf("an expedition that is none: %v", err)
	}
}
