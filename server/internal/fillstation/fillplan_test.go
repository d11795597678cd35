package fillstation

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/fillplan"
	"lastlight/engine/gas"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/store"
	"lastlight/server/zones"
)

// planned is a worker on two days, one dive a day with one 12 L cylinder.
func planned(t *testing.T, start []float64, celsius *float64, mix *pb.GasMix, used *float64) *worker {
	t.Helper()
	at := time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)
	d, err := facts.NewDue(club(), "Europe/Berlin", at, zones.Load)
	if err != nil {
		t.Fatal(err)
	}
	q, err := Ask(&pb.GetFillPlanRequest{
		Expedition: "june", FromDay: "2026-06-08", ToDay: "2026-06-09", Compressor: &pb.Delivery{Unit: &pb.Delivery_LitresPerMinute{LitresPerMinute: 250}}, UsedPercent: used,
	})
	if err != nil {
		t.Fatal(err)
	}
	g := &store.ExpeditionGear{
		SiteZones: map[string]string{"spring": "Europe/Berlin"}, Sets: map[string]*pb.CylinderSet{"single": {Cylinders: []string{"c-12"}}},
		Cylinders: map[string]*pb.Cylinder{"c-12": {Id: "c-12", WaterVolume: litres(12), WorkingPressure: bars(300), OxygenClean: "clean"}},
	}
	for i, bar := range start {
		g.Plans = append(g.Plans, &pb.Plan{
			Id: "loop", Site: "spring", PlannedEntry: timestamppb.New(at.AddDate(0, 0, i)),
			Team: []*pb.PlanDiver{{Person: "asta", Mains: "single", StartPressure: bars(bar), Gas: mix, TemperatureC: celsius}},
		})
	}
	return &worker{Ground: Ground{Policy: club(), Due: d, Gear: g}, question: q, last: map[string]content{}, out: &pb.FillPlan{}}
}

// What is left in a cylinder is left of its last fill: 60 % of 150 bar breathed
// leaves 60 bar, whatever the next dive wants.
func TestWhatIsLeftIsOfTheLastFill(t *testing.T) {
	days := planned(t, []float64{150, 230}, nil, mixed(21, 0), proto.Float64(60)).days()
	near(t, "before the first", days[0].Fills[0].NowBar, 60, 1e-9)
	near(t, "before the second", days[1].Fills[0].NowBar, 60, 1e-9)
	near(t, "filled to", days[1].Fills[0].ToBar, 230, 1e-9)
}

// A start pressure is meant at the temperature of the plan: 200 bar of air at 5 °C
// are 216.25 bar at the 20 °C of the fill station (physics 6, model V, worked by a
// second program).
func TestStartPressureAtItsTemperature(t *testing.T) {
	near(t, "filled to", planned(t, []float64{200}, proto.Float64(5), mixed(21, 0), nil).days()[0].Fills[0].ToBar, 216.25, 0.01)
	near(t, "as planned", planned(t, []float64{200}, nil, mixed(21, 0), nil).days()[0].Fills[0].ToBar, 200, 1e-9)
}

// A fill that cannot be worked out adds nothing to the sums: that is said.
func TestGasThatIsNotInTheFiguresIsNamed(t *testing.T) {
	w := planned(t, []float64{200}, nil, mixed(10, 0), nil)
	budgets, err := fillplan.Of(w.days(), fillplan.Station{Kelvin: 293.15, Surface: 1, TopUp: gas.Air, CompressorMin: 250})
	if err != nil {
		t.Fatal(err)
	}
	w.day(budgets[0])
	if w.assumptions(); !strings.Contains(strings.Join(w.out.Assumed, "\n"), "the gas of cylinder c-12 on 2026-06-08 is not in these figures") {
		t.Errorf("%q", w.out.Assumed)
	}
}
