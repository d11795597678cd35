package units

import (
	"math"
	"strconv"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// TestTheSameCylinderBothWays: an 80 ft³ cylinder of 3000 psi holds 11.1 L of
// water by the ideal reading of its name (common practice: "an S80 is 11.1 L").
func TestTheSameCylinderBothWays(t *testing.T) {
	t.Parallel()
	imperial := &pb.WaterVolume{Unit: &pb.WaterVolume_CubicFeetOfGasAtWorkingPressure{CubicFeetOfGasAtWorkingPressure: 80}}
	working := &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 3000}}
	if got := Metric.Cylinder(imperial, working); got != "11.1 L" {
		t.Error(got)
	}
	if got := Imperial.Cylinder(imperial, working); got != "80 ft³" {
		t.Error(got)
	}
	litres, _ := waterLitres(imperial, working)
	back := &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: litres}}
	if got := Imperial.Cylinder(back, &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: 3000 * BarPerPSI}}); got != "80 ft³" {
		t.Error(got)
	}
}

// TestFactors: NIST SP 811 (2008), appendix B.8: 1 psi = 6.894757E+03 Pa, 1 ft³ = 2.831685E-02 m³.
func TestFactors(t *testing.T) {
	t.Parallel()
	if math.Abs(BarPerPSI*1e5-6.894757e3) > 5e-4 || math.Abs(LitresPerCubicF*1e-3-2.831685e-2) > 5e-9 {
		t.Error(BarPerPSI, LitresPerCubicF)
	}
}

func TestShown(t *testing.T) {
	t.Parallel()
	for got, want := range map[string]string{
		Metric.Bar(187.46): "187.5 bar", Metric.Bar(210): "210 bar", Imperial.Bar(210): "3046 psi", Metric.Litres(1600): "1600 L",
		Imperial.Litres(1600): "56.5 ft³", Imperial.Rate(20): "0.71 ft³/min", Metric.Pressure(nil): "", Mix(&pb.GasMix{OxygenPercent: 32}): "32 %",
		Mix(&pb.GasMix{OxygenPercent: 18, HeliumPercent: 45}):                                        "18/45 %",
		Imperial.Figure(&pb.Figure{Number: proto.Float64(66.6667), Text: "66.7", Unit: "bar"}, true): "967 psi",
		Metric.Figure(&pb.Figure{Number: proto.Float64(66.6667), Text: "66.7", Unit: "bar"}, true):   "66.7 bar",
		Imperial.Figure(&pb.Figure{Number: proto.Float64(360), Text: "360", Unit: "m"}, false):       "360 m",
	} {
		if got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
}

func TestTyped(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		system System
		text   string
		want   *pb.Pressure
	}{
		{Metric, "210", &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: 210}}},
		{Imperial, "3000", &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 3000}}},
		{Metric, "3000 psi", &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 3000}}},
		{Imperial, "207.5bar", &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: 207.5}}},
	} {
		if got, err := c.system.ParsePressure(c.text); err != nil || !proto.Equal(got, c.want) {
			t.Errorf("%s: %v %v", c.text, got, err)
		}
	}
	for _, bad := range []string{"", "x", "210 m", "-5", "1e3", "nan", "inf", "2,5"} {
		if got, err := Metric.ParsePressure(bad); err == nil {
			t.Errorf("%q: %v", bad, got)
		}
	}
	for _, bad := range []string{"", "argon", "nan", "32/x"} {
		if got, err := ParseMix(bad); err == nil {
			t.Errorf("%q: %v", bad, got)
		}
	}
}

// A shortfall is shown to what can be read, never smaller than it is.
func TestShortfalls(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		number float64
		unit   string
		want   string
	}{{71.96, "bar", "72 bar"}, {66.62, "bar", "66.7 bar"}, {0.043, "bar", "0.043 bar"}, {0.35, "h", "21 min"}, {17.43, "h", "17.43 h"}} {
		f := &pb.Figure{Number: &c.number, Text: strconv.FormatFloat(c.number, 'f', -1, 64), Unit: c.unit}
		if got := Metric.Figure(f, true); got != c.want {
			t.Errorf("%v %s is shown as %s, want %s", c.number, c.unit, got, c.want)
		}
	}
}

// A turn stands at the next mark of a gauge: 5 bar, or 50 psi (137.7 bar = 1997.2 psi).
func TestTurn(t *testing.T) {
	t.Parallel()
	for bar, want := range map[float64][2]string{137.7: {"140 bar", "2000 psi"}, 140: {"140 bar", "2050 psi"}, 140.1: {"145 bar", "2050 psi"}} {
		if got := [2]string{Metric.Turn(bar), Imperial.Turn(bar)}; got != want {
			t.Errorf("%v bar: %v, want %v", bar, got, want)
		}
	}
}
