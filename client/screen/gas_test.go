package screen

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"lastlight/client/exit"
	pb "lastlight/proto/lastlight/v1"
)

func gasOf(o2, he float64) *pb.GasMix { return &pb.GasMix{OxygenPercent: o2, HeliumPercent: he} }

var clubLimits = &pb.GasLimits{OxygenWorkingBar: 1.4, OxygenRestingBar: 1.6, OxygenFloorBar: 0.18, DensityAdvised: 5.2, DensityMost: 6.2, OxygenNarcotic: true}

func TestGasScreens(t *testing.T) {
	screens(t, "gas-check", func(w View) error {
		return w.MixCheck(&pb.MixCheck{
			Gas: gasOf(32, 0), DeepestWorkingM: 34.2, DeepestRestingM: 40.6, DeepestAdvisedDensityM: 30.8, DeepestDensityM: 38.6, Limits: clubLimits,
			AtDepth: &pb.AtDepth{
				DepthM: 36, OxygenBar: 1.46, EquivalentAirM: 29.6, NarcoticWithOxygenM: 36, NarcoticNitrogenM: 29.6, Density: 5.87, Verdict: "refuse",
				Reasons: []string{"1.46 bar of oxygen, at most 1.40 bar at work; at rest on a stop at most 1.60 bar", "5.87 g/L, advised at most 5.20 g/L"},
			},
		})
	}, exit.Refused)
	screens(t, "gas-best", func(w View) error {
		return w.BestMix(&pb.BestMix{
			Found: true, Exact: gasOf(21.836, 38.03), Gas: gasOf(21, 39), OxygenLimitBar: 1.4, DensityLimit: 5.2, Limits: clubLimits, Fitting: []*pb.GasMix{gasOf(18, 45), gasOf(15, 55)},
			AtDepth: &pb.AtDepth{DepthM: 55, OxygenBar: 1.35, EquivalentAirM: 22.8, NarcoticWithOxygenM: 29.6, NarcoticNitrogenM: 22.8, Density: 5.19, Verdict: "pass"},
		})
	}, exit.Done)
	// Method handbook, physics section 6, row 6.31's pressures, absolute there.
	sheet := &pb.BlendSheet{
		Reachable: true, Makes: gasOf(21, 35), Least: gasOf(20.31, 34.12), Most: gasOf(21.67, 35.87), ReadingErrorBar: 1, WithinTolerance: true, OxygenTolerancePercent: 1, HeliumTolerancePercent: 2,
		SettlesBar: 215.3, IdealMakes: gasOf(20.36, 37.72), NeedsOxygenClean: true, CleanEnough: "yes",
		Steps: []*pb.BlendStep{
			{Add: "helium", ToBar: 71.48, RiseBar: 71.48, Grams: 137.2, Litres: 835.5, IdealToBar: 77, HeliumPercent: 100},
			{Add: "oxygen", ToBar: 92.03, RiseBar: 20.55, Grams: 291.6, Litres: 222.1, IdealToBar: 97.47, OxygenPercent: 21, HeliumPercent: 79},
			{Add: "top_up", ToBar: 220, RiseBar: 127.97, Grams: 1573.7, Litres: 1329.5, IdealToBar: 220, OxygenPercent: 21, HeliumPercent: 35},
		},
		Notices: []string{"The cylinder, its valve and the whip must be clean for oxygen: it is on record so; any doubt makes it not clean."},
	}
	screens(t, "blend", func(w View) error { return w.BlendSheet(sheet) }, exit.Done)
	bled := proto.Clone(sheet).(*pb.BlendSheet)
	bled.Reachable, bled.WhyNot, bled.BleedToBar, bled.StartBar, bled.CleanEnough = false, "too much oxygen in the cylinder", new(41.3), 41.3, "no"
	screens(t, "blend-bleed", func(w View) error { return w.BlendSheet(bled) }, exit.Refused)
	screens(t, "blend-cannot", func(w View) error {
		return w.BlendSheet(&pb.BlendSheet{WhyNot: "too much oxygen in the gases given: this mix cannot be reached with them, however far the cylinder is bled down"})
	}, exit.Refused)
	screens(t, "cascade", func(w View) error {
		return w.Cascade(&pb.Cascade{ReachesBar: 176.9, Makes: gasOf(21, 0), Steps: []*pb.CascadeStep{
			{Bottle: 2, BottleFromBar: 100, BottleToBar: 80.6, CylinderToBar: 80.6}, {Bottle: 1, BottleFromBar: 200, BottleToBar: 176.9, CylinderToBar: 176.9},
		}})
	}, exit.Done)
	screens(t, "fill-plan", func(w View) error {
		return w.FillPlan(&pb.FillPlan{
			Expedition: "june-2026",
			Days: []*pb.FillDay{{
				Day: "2026-06-01", TopUpL: 72576, CompressorMin: 291, CompressorShortMin: 51, OxygenL: 1210, HeliumL: 5400, OxygenLeftL: new(3890.0), HeliumLeftL: new(-120.0), Problems: 1,
				Fills: []*pb.PlannedFill{
					{Cylinder: "c-12-1", Plan: "loop-1", FromBar: 84, ToBar: 210, Gas: gasOf(18, 45), TopUpL: 700, OxygenL: 90, HeliumL: 680, BankToBar: 172.4, NeedsOxygenClean: true},
					{Cylinder: "c-12-2", Plan: "loop-1", FromBar: 84, ToBar: 210, Gas: gasOf(32, 0), BleedToBar: new(60.0), Problems: []string{"hydro overdue"}},
				},
			}},
			LeavingTest: []*pb.LeavingTest{{Cylinder: "c-12-1", Event: "hydro", LastDay: "2026-06-03", NoFillFrom: "2026-06-04"}, {Cylinder: "c-7-1", Why: []string{"hydro unknown"}}},
			Assumed:     []string{"12 plans still to be dived; litres at 1 bar and 20 °C by the real gas."},
		})
	}, exit.Done)
}
