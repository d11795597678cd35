package stories

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// What is wrong with one field hides nothing that is wrong elsewhere in the record, also what only the register knows; and a record
// that names a faulty one of the same file is not complained of for it.
func TestOneFieldHidesNothing(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, wholeFile(c)...)
	now := c.clock.Now()
	twin := aluminium("twin", "Northern", "12345")
	twin.WorkingPressure = bar(2100)
	faulty := aluminium("faulty", "Northern", "4488")
	faulty.Material = "wood"
	file := []*pb.Record{
		record(&pb.Fill{Cylinder: "faulty", FilledAt: stamp(now), Pressure: bar(200), Intended: &pb.GasMix{OxygenPercent: 32}}),
		record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now.Add(time.Hour)), Pressure: bar(2100), Intended: &pb.GasMix{OxygenPercent: 0.32}, TimeZone: "Europe/Bern"}),
		record(&pb.Analysis{Cylinder: "tank", AnalysedAt: stamp(now.Add(time.Hour)), OxygenPercent: "0.32", Pressure: bar(2100)}),
		record(&pb.Analysis{Cylinder: "4488", AnalysedAt: stamp(now), OxygenPercent: "32"}),
		record(&pb.CustodyEvent{Item: "faulty", Kind: "handed_over", Holder: "anna", At: stamp(now)}),
		record(&pb.CylinderSet{Id: "lone", Kind: "single", Cylinders: []string{"faulty"}, DualOutlet: true}),
		record(twin), record(faulty),
		record(&pb.Fill{Cylinder: "nowhere", FilledAt: stamp(now), Pressure: bar(2100), Intended: &pb.GasMix{OxygenPercent: 32}}),
		record(&pb.Survey{Site: "nowhere", SurveyedDay: "8.6.2026", Stations: []*pb.Station{{Id: "a", DepthM: proto.Float64(0), Opening: true}}}),
	}
	want := []string{
		"records[1].fill.filled_at", "records[1].fill.intended.oxygen_percent", "records[1].fill.pressure.bar", "records[1].fill.time_zone",
		"records[2].analysis.analysed_at", "records[2].analysis.oxygen_percent", "records[2].analysis.pressure.bar",
		"records[6].cylinder.serial", "records[6].cylinder.working_pressure.bar", "records[7].cylinder.material",
		"records[8].fill.cylinder", "records[8].fill.pressure.bar", "records[9].survey.site", "records[9].survey.surveyed_day",
	}
	before := c.rows()
	for _, dryRun := range []bool{true, false} {
		out := c.send("keeper", dryRun, file...)
		var got []string
		for _, p := range out.Problems {
			got = append(got, p.Field)
		}
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("dry run %v: problems of\n%s\nwant\n%s", dryRun, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		if after := c.rows(); after != before {
			t.Errorf("something was stored:\n%s\n%s", before, after)
		}
	}
	// A cylinder that may not be filled is told beside a pressure that no gauge shows.
	old := aluminium("old", "Northern", "77")
	old.Manufactured, old.ServiceEvents = "2001-05", nil
	if out := c.send("keeper", false, record(old)); len(out.Problems) > 0 {
		t.Fatal(out.Problems)
	}
	out := c.send("keeper", true, record(&pb.Fill{Cylinder: "old", FilledAt: stamp(now), Pressure: bar(2100), Intended: &pb.GasMix{OxygenPercent: 32}}))
	if len(out.Problems) != 2 || !strings.Contains(fmt.Sprint(out.Problems), "records[0].fill.cylinder") {
		t.Errorf("of a cylinder out of test: %v", out.Problems)
	}
}
