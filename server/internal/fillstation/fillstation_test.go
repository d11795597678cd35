package fillstation

import (
	"math"
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

func bars(x float64) *pb.Pressure { return &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: x}} }

func psi(x float64) *pb.Pressure { return &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: x}} }

func litres(x float64) *pb.WaterVolume {
	return &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: x}}
}

func mixed(o2, he float64) *pb.GasMix { return &pb.GasMix{OxygenPercent: o2, HeliumPercent: he} }

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, within)
	}
}

func club() *policy.Policy {
	p := policy.Default()
	return &p
}

// Method handbook, physics section 0: oxygen at 1.6 bar in fresh water 5.98 m,
// shown rounded down; section 5: EAN32 has 5.2 g/L at 30.322 m (1 bar, 10 m per
// bar there; fresh water at sea level here).
func TestCheckMix(t *testing.T) {
	out, err := CheckMix(&pb.CheckMixRequest{Gas: mixed(100, 0), DepthM: proto.Float64(6)}, club())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "oxygen at rest", out.DeepestRestingM, 5.9, 1e-9)
	if out.AtDepth.Verdict != "refuse" || len(out.AtDepth.Reasons) != 1 {
		t.Errorf("oxygen at 6 m: %v", out.AtDepth)
	}
	// At rest it may be breathed there: 1.6016 bar, refused above 1.62 (physics 0); at 7 m 1.70 bar are too much.
	for metres, verdict := range map[float64]string{6: "pass", 7: "refuse"} {
		if out, err = CheckMix(&pb.CheckMixRequest{Gas: mixed(100, 0), DepthM: &metres, AtRest: true}, club()); err != nil || out.AtDepth.Verdict != verdict {
			t.Errorf("oxygen at rest at %v m: %v %v", metres, out.AtDepth, err)
		}
	}
	hand := &pb.Surroundings{WaterDensity: 0.1 * 1e5 / 9.80665, Surface: &pb.Surroundings_BarometerBar{BarometerBar: 1}}
	if out, err = CheckMix(&pb.CheckMixRequest{Gas: mixed(32, 0), Surroundings: hand}, club()); err != nil {
		t.Fatal(err)
	}
	near(t, "EAN32 advised to", out.DeepestAdvisedDensityM, 30.3, 1e-9)
	near(t, "EAN32 at work", out.DeepestWorkingM, 33.7, 1e-9)
	// A club with other limits sees its own.
	p := club()
	p.Mix.PO2WorkingBar = 1.3
	if out, _ = CheckMix(&pb.CheckMixRequest{Gas: mixed(32, 0), Surroundings: hand}, p); out.DeepestWorkingM >= 33 {
		t.Errorf("at 1.3 bar %v m", out.DeepestWorkingM)
	}
	if out, _ = CheckMix(&pb.CheckMixRequest{Gas: mixed(10, 70), Surroundings: hand}, club()); out.ShallowestM != 8 {
		t.Errorf("10/70 from %v m down", out.ShallowestM)
	}
	// Physics section 0, 7: at 3000 m (0.7011 bar) 0.21 x 0.7011 = 0.147 bar is enough.
	high := &pb.Surroundings{Surface: &pb.Surroundings_AltitudeM{AltitudeM: 3000}}
	if out, _ = CheckMix(&pb.CheckMixRequest{Gas: mixed(21, 0), Surroundings: high, DepthM: proto.Float64(0)}, club()); out.ShallowestM != 0 || out.AtDepth.Verdict != "pass" {
		t.Errorf("air at 3000 m: %v", out)
	}
	if out, _ = CheckMix(&pb.CheckMixRequest{Gas: mixed(10, 70), Surroundings: high, DepthM: proto.Float64(5)}, club()); out.Limits.OxygenFloorBar != 0.148 || !strings.Contains(out.AtDepth.Reasons[0], "at least 0.148 bar") {
		t.Errorf("10/70 at 3000 m: %v", out)
	}
}

// A mix that is hypoxic at the depth does not keep to what is asked there (practice
// 10): 10/70 at 5 m of fresh water has 0.150 bar.
func TestBestMixOffersNothingHypoxic(t *testing.T) {
	out, err := BestMix(&pb.GetBestMixRequest{DepthM: proto.Float64(5), AtHand: []*pb.GasMix{mixed(10, 70), mixed(21, 35)}}, club())
	if err != nil || len(out.Fitting) != 1 || out.Fitting[0].OxygenPercent != 21 {
		t.Errorf("%v %v", out, err)
	}
}

// Method handbook, physics section 6: rows 6.1 and 6.4 by contents (absolute
// pressures there; gauge here, so less the bar that stays), row 6.20 by cooling.
func TestContentsAndCooling(t *testing.T) {
	out, err := Contents(&pb.GetContentsRequest{WaterVolume: litres(7), Pressure: bars(200 - 1.01325), Gas: mixed(100, 0)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "oxygen, L", out.Litres, 1490.81-7*1.0142, 0.3)
	near(t, "compressibility", out.Compressibility, 0.9390, 1e-4)
	near(t, "grams", out.Grams, 61.1642*31.998, 1)
	cooled, err := Settled(&pb.GetSettledPressureRequest{Pressure: bars(232 - 1.01325), Gas: mixed(21, 0), FromC: proto.Float64(40), ToC: proto.Float64(15)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "cooled", cooled.Bar, 205.897-1.01325, 0.1)
	// The other way round, row 6.20: what it comes to in the sun is never shown as less.
	warmed, err := Settled(&pb.GetSettledPressureRequest{Pressure: bars(205.897 - 1.01325), Gas: mixed(21, 0), FromC: proto.Float64(15), ToC: proto.Float64(40)})
	if err != nil {
		t.Fatal(err)
	}
	if exact := 232 - 1.01325; warmed.Bar < exact || warmed.Bar > exact+0.2 {
		t.Errorf("warmed to %v bar", warmed.Bar)
	}
	if helium, err := Contents(&pb.GetContentsRequest{WaterVolume: litres(50), Pressure: bars(200), PureHelium: true, TemperatureC: proto.Float64(15)}); err != nil || helium.Litres < 9100 || helium.Litres > 9300 {
		t.Errorf("helium: %v %v", helium, err)
	}
	if _, err := Contents(&pb.GetContentsRequest{WaterVolume: litres(50), Pressure: bars(200)}); err == nil {
		t.Error("contents of an unknown gas")
	}
	// An 80 of 3000 psi: about 11.0 L of water (80 × 28.317 × 1.01325 / 206.84 bar).
	eighty := &pb.GetContentsRequest{
		WaterVolume:     &pb.WaterVolume{Unit: &pb.WaterVolume_CubicFeetOfGasAtWorkingPressure{CubicFeetOfGasAtWorkingPressure: 80}},
		WorkingPressure: psi(3000), Pressure: psi(3000), Gas: mixed(21, 0),
	}
	if out, err = Contents(eighty); err != nil {
		t.Fatal(err)
	}
	near(t, "an 80 by pressure × volume", out.IdealLitres, 80*28.316846592*1.01325, 15)
	eighty.WorkingPressure = nil
	if _, err = Contents(eighty); err == nil {
		t.Error("an 80 of unknown working pressure")
	}
}

func sheetRequest() *pb.GetBlendSheetRequest {
	return &pb.GetBlendSheetRequest{
		WaterVolume: litres(12), WorkingPressure: bars(232), OxygenClean: "clean", PresentPressure: bars(60), PresentGas: mixed(18, 45), Gas: mixed(18, 45), Pressure: bars(220),
	}
}

// The same in psi and bar is the same sheet, as near as a gauge is read.
func TestPsiAndBarAgree(t *testing.T) {
	const barPerPsi = 0.0689475729317831
	metric, err := Blend(sheetRequest(), club())
	if err != nil {
		t.Fatal(err)
	}
	r := sheetRequest()
	r.WorkingPressure, r.PresentPressure, r.Pressure = psi(232/barPerPsi), psi(60/barPerPsi), psi(220/barPerPsi)
	imperial, err := Blend(r, club())
	if err != nil {
		t.Fatal(err)
	}
	for i := range metric.Steps {
		near(t, "fill to", imperial.Steps[i].ToBar, metric.Steps[i].ToBar, 0.1)
		near(t, "grams", imperial.Steps[i].Grams, metric.Steps[i].Grams, 2)
	}
}

func TestBlendSheetSaysWhatStandsAgainstIt(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*pb.GetBlendSheetRequest)
		check  func(*pb.BlendSheet) bool
	}{
		{"clean", func(*pb.GetBlendSheetRequest) {}, func(s *pb.BlendSheet) bool { return s.Reachable && s.NeedsOxygenClean && s.CleanEnough == "yes" }},
		{"not clean", func(r *pb.GetBlendSheetRequest) { r.OxygenClean = "not_clean" }, func(s *pb.BlendSheet) bool { return s.CleanEnough == "no" }},
		{"nobody knows", func(r *pb.GetBlendSheetRequest) { r.OxygenClean = "" }, func(s *pb.BlendSheet) bool { return s.CleanEnough == "cannot_tell" }},
		{"air in air", func(r *pb.GetBlendSheetRequest) { r.OxygenClean, r.PresentGas, r.Gas = "", mixed(21, 0), mixed(21, 0) }, func(s *pb.BlendSheet) bool { return !s.NeedsOxygenClean && s.CleanEnough == "yes" }},
		{"bleed down", func(r *pb.GetBlendSheetRequest) { r.PresentPressure, r.PresentGas = bars(150), mixed(50, 0) }, func(s *pb.BlendSheet) bool {
			// A second program, model V: at 41.93 bar all its oxygen is wanted. Bled to 41.9
			// there is 0.01 points less, for which no oxygen valve is opened.
			return !s.Reachable && s.BleedToBar != nil && *s.BleedToBar == 41.9 && s.StartBar == *s.BleedToBar && len(s.Steps) == 2 && s.Makes.OxygenPercent == 17.99 && s.Makes.HeliumPercent == 45
		}},
		// EAN36 to EAN32 with air: bleed and top up; no oxygen goes in, and 36 % is below the 40 % of the US (practice 0).
		{"bleed and top up", func(r *pb.GetBlendSheetRequest) {
			r.PresentPressure, r.PresentGas, r.Gas, r.OxygenClean, r.Jurisdiction = bars(200), mixed(36, 0), mixed(32, 0), "not_clean", "us"
		}, func(s *pb.BlendSheet) bool {
			return len(s.Steps) == 1 && s.Steps[0].Add == "top_up" && !s.NeedsOxygenClean && s.CleanEnough == "yes"
		}},
		// What an analyser shows of the air of the compressor asks for no oxygen (practice 10: air reads 20.7 to 21.1).
		{"air as analysed", func(r *pb.GetBlendSheetRequest) {
			r.PresentPressure, r.PresentGas, r.Gas, r.TopUp, r.OxygenClean = bars(50), mixed(21, 0), mixed(21, 0), mixed(20.9, 0), ""
		}, func(s *pb.BlendSheet) bool {
			return s.Reachable && len(s.Steps) == 1 && !s.NeedsOxygenClean && s.Makes.OxygenPercent == 20.92
		}},
		{"nothing to bleed for", func(r *pb.GetBlendSheetRequest) {
			r.PresentPressure, r.PresentGas, r.Gas, r.TopUp = bars(50), mixed(32.1, 0), mixed(32, 0), mixed(32, 0)
		}, func(s *pb.BlendSheet) bool { return s.Reachable && s.BleedToBar == nil && len(s.Steps) == 1 }},
		{"never", func(r *pb.GetBlendSheetRequest) { r.Gas = mixed(10, 0) }, func(s *pb.BlendSheet) bool { return !s.Reachable && s.WhyNot != "" && len(s.Steps) == 0 }},
		{"coarse gauge", func(r *pb.GetBlendSheetRequest) { r.ReadingErrorBar = proto.Float64(10) }, func(s *pb.BlendSheet) bool { return !s.WithinTolerance && s.Least.OxygenPercent < 17 }},
	} {
		r := sheetRequest()
		c.change(r)
		s, err := Blend(r, club())
		if err != nil || !c.check(s) {
			t.Errorf("%s: %v %v", c.name, s, err)
		}
	}
}

// Everything that is wrong is said at once, with its field.
func TestFaultsAreSaidTogether(t *testing.T) {
	r := sheetRequest()
	r.Pressure, r.PresentGas, r.Order = bars(240), nil, []string{"oxygen"}
	_, err := Blend(r, club())
	f, ok := fault.As(err)
	if !ok {
		t.Fatal(err)
	}
	var fields []string
	for _, p := range f.Problems {
		fields = append(fields, p.Field)
	}
	if got := strings.Join(fields, " "); got != "present_gas pressure order" {
		t.Errorf("problems at %q", got)
	}
	r = sheetRequest()
	r.Pressure, r.TemperatureC = bars(232), proto.Float64(-10)
	if _, err := Blend(r, club()); err == nil {
		t.Error("a cold cylinder is filled above its rating")
	}
}

// What is no number, and what no fill station has, is refused by the published bounds.
func TestBoundsOfThePublishedInterface(t *testing.T) {
	for name, m := range map[string]proto.Message{
		"depth not a number":   &pb.CheckMixRequest{Gas: mixed(32, 0), DepthM: proto.Float64(math.NaN())},
		"no end of pressure":   &pb.GetContentsRequest{WaterVolume: litres(12), Pressure: bars(math.Inf(1)), Gas: mixed(21, 0)},
		"2100 bar":             &pb.GetContentsRequest{WaterVolume: litres(12), Pressure: bars(2100), Gas: mixed(21, 0)},
		"0.32 percent":         &pb.CheckMixRequest{Gas: mixed(0.32, 0)},
		"more than the whole":  &pb.CheckMixRequest{Gas: mixed(60, 60)},
		"water of feathers":    &pb.CheckMixRequest{Gas: mixed(32, 0), Surroundings: &pb.Surroundings{WaterDensity: 100}},
		"no temperatures":      &pb.GetSettledPressureRequest{Pressure: bars(200), Gas: mixed(21, 0)},
		"no depth":             &pb.GetBestMixRequest{},
		"no bank":              &pb.GetCascadeRequest{WaterVolume: litres(12), WorkingPressure: bars(232), PresentPressure: bars(0), Pressure: bars(200)},
		"no working pressure":  &pb.GetBlendSheetRequest{WaterVolume: litres(12), PresentPressure: bars(0), Gas: mixed(32, 0), Pressure: bars(200)},
		"a compressor of none": &pb.GetFillPlanRequest{Expedition: "x", FromDay: "2026-06-01", Compressor: &pb.Delivery{}},
		"used more than all":   &pb.GetFillPlanRequest{Expedition: "x", FromDay: "2026-06-01", Compressor: &pb.Delivery{Unit: &pb.Delivery_LitresPerMinute{LitresPerMinute: 250}}, UsedPercent: proto.Float64(101)},
	} {
		if protovalidate.Validate(m) == nil {
			t.Errorf("%s is accepted", name)
		}
	}
	if err := protovalidate.Validate(sheetRequest()); err != nil {
		t.Error(err)
	}
}

func TestCascadeSaysWhereItEnds(t *testing.T) {
	r := &pb.GetCascadeRequest{
		Bank: []*pb.GasBottle{{WaterVolume: litres(50), Pressure: bars(200)}, {WaterVolume: litres(50), Pressure: bars(100), Count: 2}}, WaterVolume: litres(12),
		WorkingPressure: bars(232), PresentPressure: bars(0), Pressure: bars(150),
	}
	out, err := Cascade(r)
	if err != nil || !out.Enough || out.ReachesBar != 150 || len(out.Steps) != 3 || out.Steps[2].Bottle != 1 {
		t.Errorf("%v %v", out, err)
	}
	r.Pressure = bars(232)
	if out, err = Cascade(r); err != nil || out.Enough {
		t.Errorf("%v %v", out, err)
	}
	r.Pressure = bars(240)
	if _, err = Cascade(r); err == nil {
		t.Error("filled above the working pressure")
	}
	// Filled cold: 232 bar at -5 °C are more at 15 °C, as on a blend sheet.
	r.Bank[0].Pressure, r.Bank[0].Count, r.Pressure, r.TemperatureC = bars(300), 4, bars(232), proto.Float64(-5)
	if _, err = Cascade(r); err == nil || !strings.Contains(err.Error(), "at 15 °C") {
		t.Errorf("a cold cylinder is filled above its rating: %v", err)
	}
	r.Pressure = bars(200)
	if _, err = Cascade(r); err != nil {
		t.Error(err)
	}
}

func TestAskReadsTheDays(t *testing.T) {
	r := &pb.GetFillPlanRequest{FromDay: "2026-06-01", ToDay: "2026-08-01", Present: []*pb.CylinderNow{{Cylinder: "a", Pressure: bars(1)}, {Cylinder: "a", Pressure: bars(1)}}}
	_, err := Ask(r)
	if f, ok := fault.As(err); !ok || len(f.Problems) != 2 {
		t.Errorf("%v", err)
	}
	r.ToDay, r.Present = "", nil
	q, err := Ask(r)
	if err != nil {
		t.Fatal(err)
	}
	from, to := q.Span()
	if from.UTC().Format("2006-01-02") != "2026-05-31" || to.UTC().Format("2006-01-02") != "2026-06-03" {
		t.Errorf("%v to %v", from, to)
	}
}
