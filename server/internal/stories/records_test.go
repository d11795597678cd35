package stories

import (
	"context"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lastlight/proto/lastlight/v1"
)

func (c *club) files() pb.RecordServiceClient { return pb.NewRecordServiceClient(c.conn) }

func (c *club) incidents() pb.IncidentServiceClient { return pb.NewIncidentServiceClient(c.conn) }

// send applies a file as somebody and gives the answer, whatever it is.
func (c *club) send(as string, dryRun bool, records ...*pb.Record) *pb.ApplyRecordsResponse {
	c.t.Helper()
	out, err := c.files().ApplyRecords(c.as(as), &pb.ApplyRecordsRequest{Records: records, DryRun: dryRun, RequestId: id()})
	if err != nil {
		c.t.Fatalf("apply: %v", err)
	}
	return out
}

// rows counts every row of every table of records, so that "nothing stored" is seen.
func (c *club) rows() string {
	c.t.Helper()
	var all []string
	for _, table := range []string{
		"person", "card", "medical_status", "site", "site_restricted", "survey", "reading", "permit", "item", "cylinder", "equipment", "cylinder_set",
		"service_event", "fill", "analysis", "policy", "expedition", "plan", "dive", "incident", "event", "role_grant",
	} {
		var n int
		if err := c.pool.QueryRow(c.t.Context(), `SELECT count(*) FROM `+table).Scan(&n); err != nil {
			c.t.Fatal(err)
		}
		all = append(all, fmt.Sprintf("%s %d", table, n))
	}
	return strings.Join(all, ", ")
}

func outcomes(out *pb.ApplyRecordsResponse) map[string]int {
	n := map[string]int{}
	for _, r := range out.Records {
		n[r.Outcome]++
	}
	return n
}

func litres(x float64) *pb.WaterVolume {
	return &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: x}}
}

func aluminium(name, maker, serial string) *pb.Cylinder {
	return &pb.Cylinder{Id: name, Serial: serial, Maker: maker, Material: "aluminium", Jurisdiction: "us", WaterVolume: litres(11.1), WorkingPressure: bar(207)}
}

// spring is a site with everything that a file may carry of one.
func spring(name string) *pb.Site {
	return &pb.Site{
		Id: name, Title: "Spring " + name, TimeZone: zoneName, WaterDensity: 1000, SurfacePressure: &pb.Site_AltitudeM{AltitudeM: 420}, WaterTemperatureC: proto.Float64(9.5),
		Grade: 3, CoarsePosition: "north of the lake", ExactPosition: &pb.Position{Latitude: 46.123456, Longitude: 7.654321}, AccessNotes: proto.String("over the fence"), GateCode: proto.String("4711"),
		Thresholds: &pb.GoNoGo{LevelMaxM: proto.Float64(2), FlowMax: "low", VisibilityMinM: proto.Float64(3)},
		Emergency:  &pb.EmergencySheet{EmergencyNumber: "112", WalkToSignalMin: proto.Float64(12), ConfirmedDay: "2026-05-01", Oxygen: []*pb.OxygenCylinder{{WaterVolume: litres(5), Pressure: bar(200)}}},
		Closures:   []*pb.Closure{{FromDay: "2026-12-01", Reason: "bats"}},
	}
}

func line(site string) *pb.Survey {
	return &pb.Survey{
		Site: site, SurveyedDay: "2026-01-10", SurveyedBy: "club",
		Stations: []*pb.Station{{Id: "opening", DepthM: proto.Float64(0), Opening: true, Daylight: true}, {Id: "arch", DepthM: proto.Float64(12)}, {Id: "hall", DepthM: proto.Float64(20)}},
		Legs: []*pb.Leg{
			{Id: "main-1", From: "opening", To: "arch", LengthM: 40, Lined: true, Bottom: "clear"},
			{Id: "main-2", From: "arch", To: "hall", LengthM: 60, Lined: true, Restriction: "minor", DepthPoints: []*pb.DepthPoint{{AtM: 20, DepthM: proto.Float64(24)}}},
		},
	}
}

func anna() *pb.Person {
	return &pb.Person{
		Id: "anna", FullName: "Anna Beispiel", ShortName: "Anna", Initials: "AB", BirthDay: proto.String("1988-02-29"), Telephone: proto.String("+41 00 000"),
		Cards: []*pb.Card{
			{Id: "full", Level: "FULL", IssuedDay: "2020-06-01", Number: proto.String("F-100"), IssuingBody: "a school"},
			{Id: "deco", Endorsement: "DECO", IssuedDay: "2021-06-01", ExpiresDay: "2031-06-01"},
		},
		Consumption:       &pb.SurfaceRate{Unit: &pb.SurfaceRate_LitresPerMinute{LitresPerMinute: 18}},
		Medical:           &pb.MedicalStatus{ExaminedDay: "2026-01-05", DeclaredDay: "2026-02-01", RestrictionCode: "R2"},
		EmergencyContacts: []*pb.EmergencyContact{{FullName: "Otto Beispiel", Telephone: "+41 00 001"}},
	}
}

// wholeFile is a record of every kind that a file can carry without a decision.
func wholeFile(c *club) []*pb.Record {
	at := c.clock.Now()
	return []*pb.Record{ // what refers comes first, on purpose
		record(&pb.Incident{Id: "silt-out", Site: "north", Dive: "dive-1", HappenedAt: stamp(at.Add(-47 * time.Hour)), Level: proto.Int32(1), Types: []string{"line"}, People: []string{"anna", "bert"}, Narrative: "diver 1 lost the line, diver 2 found it."}),
		record(&pb.Dive{
			Id: "dive-1", Site: "north", Kind: "normal", EnteredAt: stamp(at.Add(-48 * time.Hour)), OutAt: stamp(at.Add(-47 * time.Hour)), MaxDepthM: proto.Float64(20), Zone: "cave", Survey: 1,
			Legs:   []*pb.LegPassed{{Leg: "main-1", Direction: "from_to"}},
			Divers: []*pb.DiveDiver{{Person: "anna", CountedAs: "FULL", StartPressure: bar(210), EndPressure: bar(150)}, {Person: "bert", CountedAs: "FULL"}},
			Left:   []*pb.LeftBehind{{Kind: "line", Place: "main-2", Owner: "anna"}},
		}),
		record(&pb.Expedition{Id: "june", Title: "June", FromDay: "2026-06-01", ToDay: "2026-06-14", Sites: []string{"north"}, Participants: []*pb.Participant{{Person: "anna", Tasks: []string{"diver"}}}}),
		record(&pb.RoleGrant{Person: "anna", Role: "leader", Expedition: "june"}),
		record(&pb.Analysis{Cylinder: "tank", AnalysedAt: stamp(at.Add(-49 * time.Hour)), OxygenPercent: "32.4", AnalysedBy: "anna"}),
		record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(at.Add(-50 * time.Hour)), Pressure: bar(207), Intended: &pb.GasMix{OxygenPercent: 32}}),
		record(&pb.CustodyEvent{Item: "tank", Kind: "back", At: stamp(at.Add(-10 * time.Hour))}),
		record(&pb.CustodyEvent{Item: "tank", Kind: "waiting_in_cave", At: stamp(at.Add(-20 * time.Hour)), Site: "north", Place: "b", RemoveBy: "2026-06-12"}),
		record(&pb.CustodyEvent{Item: "tank", Kind: "handed_over", At: stamp(at.Add(-30 * time.Hour)), Holder: "anna"}),
		record(&pb.CylinderSet{Id: "annas", Kind: "single", Cylinders: []string{"tank"}, Owner: "anna", DualOutlet: true}),
		record(&pb.Reading{Site: "north", ReadAt: stamp(at.Add(-time.Hour)), Flow: "low", VisibilityM: proto.Float64(8)}),
		record(&pb.Permit{Id: "owner-2026", Site: "north", FromDay: "2026-01-01", ToDay: "2026-12-31", DailyFrom: "08:00", DailyTo: "18:00"}),
		record(line("north")),
		record(spring("north")),
		record(&pb.Equipment{Id: "reel-1", Kind: "reel", LineM: proto.Float64(120), Owner: "anna", ServiceEvents: []*pb.ServiceEvent{{Kind: "look", Date: "2026-03"}}}),
		record(func() *pb.Cylinder {
			m := aluminium("tank", "Northern", "12345")
			m.Owner, m.Manufactured = "anna", "2019-04"
			m.ServiceEvents = []*pb.ServiceEvent{{Kind: "visual", Date: "2026-02-03"}, {Kind: "hydro", Date: "2024-05"}}
			return m
		}()),
		record(anna()),
		record(&pb.Person{Id: "bert", FullName: "Bert Muster"}),
	}
}

func TestAppliedTwiceChangesNothing(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	first := c.send("keeper", false, wholeFile(c)...)
	if len(first.Problems) > 0 || outcomes(first)["created"] != len(first.Records) {
		t.Fatalf("first time: %v, %v", first.Problems, first.Records)
	}
	before := c.rows()
	second := c.send("keeper", false, wholeFile(c)...)
	if len(second.Problems) > 0 || outcomes(second)["unchanged"] != len(second.Records) {
		t.Errorf("second time: %v, %v", second.Problems, second.Records)
	}
	if after := c.rows(); after != before {
		t.Errorf("the second time stored something:\n%s\n%s", before, after)
	}
}

func TestDryRunStoresNothing(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	before := c.rows()
	out := c.send("keeper", true, wholeFile(c)...)
	if len(out.Problems) > 0 || outcomes(out)["created"] != len(out.Records) {
		t.Fatalf("dry run: %v, %v", out.Problems, out.Records)
	}
	if after := c.rows(); after != before {
		t.Errorf("the dry run stored something:\n%s\n%s", before, after)
	}
}

// written gives everything that somebody may write out, over pages of a few.
func (c *club) written(as string, kinds ...string) []*pb.Record {
	c.t.Helper()
	var all []*pb.Record
	for token := ""; ; {
		out, err := c.files().ExportRecords(c.as(as), &pb.ExportRecordsRequest{Kinds: kinds, PageSize: 3, PageToken: token})
		if err != nil {
			c.t.Fatalf("export: %v", err)
		}
		all = append(all, out.Records...)
		if token = out.NextPageToken; token == "" {
			return all
		}
	}
}

func TestWhatIsWrittenOutComesBackUnchanged(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, wholeFile(c)...)
	for _, who := range []string{"keeper", "cora"} {
		out := c.written(who)
		kinds := map[string]bool{}
		for _, r := range out {
			m := r.ProtoReflect()
			kinds[string(m.WhichOneof(m.Descriptor().Oneofs().ByName("record")).Name())] = true
			for _, secret := range []string{"4711", "over the fence", "46.123", "Otto", "+41", "F-100", "R2", "2026-01-05"} {
				if strings.Contains(r.String(), secret) {
					t.Errorf("%s is written out: %v", secret, r)
				}
			}
		}
		for _, kind := range []string{"person", "site", "survey", "cylinder", "equipment", "cylinder_set", "policy", "expedition", "role", "reading", "permit", "fill", "analysis", "dive"} {
			if !kinds[kind] {
				t.Errorf("%s writes out no %s", who, kind)
			}
		}
		var mine []*pb.Record // roles are given by the committee alone, policies made by it
		for _, r := range out {
			if who != "keeper" && (r.GetRole() != nil || r.GetPolicy() != nil) {
				continue
			}
			mine = append(mine, r)
		}
		before := c.rows()
		back := c.send(who, false, mine...)
		if len(back.Problems) > 0 || outcomes(back)["unchanged"] != len(back.Records) {
			t.Errorf("%s brings it back: %v, %v", who, back.Problems, outcomes(back))
		}
		if after := c.rows(); after != before {
			t.Errorf("bringing it back stored something:\n%s\n%s", before, after)
		}
	}
	site, err := c.sites().GetSite(c.as("keeper"), &pb.GetSiteRequest{Id: "north"})
	if err != nil || site.GetGateCode() != "4711" || site.GetExactPosition().GetLatitude() != 46.123456 {
		t.Errorf("restricted fields of the site after it: %v, %v", site, err)
	}
	person, err := c.people().GetPerson(c.as("anna"), &pb.GetPersonRequest{Id: "anna"})
	if err != nil || person.GetMedical().GetRestrictionCode() != "R2" || len(person.EmergencyContacts) != 1 || person.Cards[1].GetNumber() != "F-100" {
		t.Errorf("restricted fields of the person after it: %v, %v", person, err)
	}
}

// Each line is one that a file is refused for (reasons of the coordinator's files, issue of the register).
func TestRefusedFilesStoreNothingAndTellEverything(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, wholeFile(c)...)
	now := c.clock.Now()
	short := line("north")
	short.Legs[1].LengthM = 21 // from the low point, 24 m deep at 20 m, to the hall at 20 m: 1 m of line for 4 m of depth
	lonely := line("north")
	lonely.Stations = append(lonely.Stations, &pb.Station{Id: "nowhere", DepthM: proto.Float64(3)})
	unlined := line("north")
	unlined.Legs[1].Lined = false
	free := line("north")
	free.Legs[0].DeclaredFreeAbove = true
	wrong := []struct {
		record *pb.Record
		field  string
		says   string
	}{
		{record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now), Pressure: bar(2100), Intended: &pb.GasMix{OxygenPercent: 32}}), "fill.pressure.bar", "450"},
		{record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now), Pressure: bar(-1), Intended: &pb.GasMix{OxygenPercent: 32}}), "fill.pressure.bar", "450"},
		{record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now), Pressure: bar(math.NaN()), Intended: &pb.GasMix{OxygenPercent: 32}}), "fill.pressure.bar", ""},
		{record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now), Pressure: bar(math.Inf(1)), Intended: &pb.GasMix{OxygenPercent: 32}}), "fill.pressure.bar", ""},
		{record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now), Pressure: bar(200), Intended: &pb.GasMix{OxygenPercent: 0.32}}), "fill.intended.oxygen_percent", "4"},
		{record(&pb.Fill{Cylinder: "tank", FilledAt: stamp(now.Add(time.Hour)), Pressure: bar(200), Intended: &pb.GasMix{OxygenPercent: 32}}), "fill.filled_at", "future"},
		{record(&pb.Analysis{Cylinder: "tank", AnalysedAt: stamp(now), OxygenPercent: "0.32"}), "analysis.oxygen_percent", "4 to 100"},
		{record(&pb.Analysis{Cylinder: "tank", AnalysedAt: stamp(now), OxygenPercent: "50", HeliumPercent: "51"}), "analysis.helium_percent", "100"},
		{record(short), "survey.legs[1].length_m", "shorter"},
		{record(lonely), "survey.stations[3].id", "no leg"},
		{record(unlined), "survey.legs[1].unlined_kind", "jump, gap or new"},
		{record(free), "survey.legs[0].declared_free_above", "opening"},
		{record(aluminium("other", "northern", "12345")), "cylinder.serial", "tank"},
		{record(&pb.Dive{Id: "backwards", Site: "north", Kind: "normal", EnteredAt: stamp(now.Add(-time.Hour)), OutAt: stamp(now.Add(-2 * time.Hour)), MaxDepthM: proto.Float64(5), Zone: "cave", Divers: []*pb.DiveDiver{{Person: "anna"}}}), "dive.out_at", ""},
		{record(&pb.Person{Id: "carl", FullName: "Carl", BirthDay: proto.String("2026-02-30")}), "person.birth_day", "no such day"},
		{record(&pb.Person{Id: "dora", FullName: "Dora", BirthDay: proto.String("2026-06-09")}), "person.birth_day", "future"},
		{record(&pb.Person{Id: "emil", FullName: "Emil", Cards: []*pb.Card{{Id: "x", Level: "MASTER", IssuedDay: "2020-01-01"}}}), "person.cards[0].level", "FULL"},
		{record(&pb.Person{Id: "fred", FullName: "Fred", Cards: []*pb.Card{{Id: "x", Level: "FULL", Endorsement: "DECO", IssuedDay: "2020-01-01"}}}), "person.cards[0].level", "either"},
		{record(func() *pb.Cylinder {
			m := aluminium("old", "Northern", "77")
			m.Manufactured, m.ServiceEvents = "2024-05", []*pb.ServiceEvent{{Kind: "hydro", Date: "2024-04"}}
			return m
		}()), "cylinder.service_events[0].date", "before"},
		{record(&pb.CylinderSet{Id: "pair", Kind: "twinset", Cylinders: []string{"tank"}}), "cylinder_set.cylinders", "2 in a twinset"},
		{record(&pb.Permit{Id: "half", Site: "north", FromDay: "2026-05-02", ToDay: "2026-05-01", DailyFrom: "08:00"}), "permit.to_day", "before"},
		{record(&pb.Reading{Site: "nowhere", ReadAt: stamp(now), Flow: "low"}), "reading.site", "no such site"},
		{record(&pb.Site{Id: "south", Title: "South", TimeZone: "Europe/Bern", WaterDensity: 1000, Grade: 1}), "site.time_zone", "no such time zone"},
		{record(&pb.Person{Id: "anna", FullName: "Anna"}), "person.id", ""},
		{record(&pb.Person{Id: "anna", FullName: "Anna"}), "person.id", "already"},
	}
	var file []*pb.Record
	for _, w := range wrong {
		file = append(file, w.record)
	}
	before := c.rows()
	for _, dryRun := range []bool{true, false} {
		out := c.send("keeper", dryRun, file...)
		for i, w := range wrong {
			if i == len(wrong)-2 {
				continue // the first of the two that are one
			}
			field := fmt.Sprintf("records[%d].%s", i, w.field)
			found := false
			for _, p := range out.Problems {
				found = found || strings.HasPrefix(p.Field, field) && strings.Contains(p.Message+" "+p.Expected, w.says)
			}
			if !found {
				t.Errorf("dry run %v: %s, %q is not told", dryRun, field, w.says)
			}
		}
		if after := c.rows(); after != before {
			t.Errorf("something was stored:\n%s\n%s", before, after)
		}
		if t.Failed() {
			for _, p := range out.Problems {
				t.Logf("%s: %s (read %q, expected %s)", p.Field, p.Message, p.Read, p.Expected)
			}
			break
		}
	}
}

func TestOneBadRecordStopsTheFile(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	before := c.rows()
	out := c.send("keeper", false, record(spring("good")), record(aluminium("a", "Northern", "1")), record(aluminium("b", "NORTHERN", "1")))
	if len(out.Problems) != 1 || out.Problems[0].Field != "records[2].cylinder.serial" || !strings.Contains(out.Problems[0].Message, `"a" and "b"`) {
		t.Errorf("problems: %v", out.Problems)
	}
	if after := c.rows(); after != before {
		t.Errorf("something was stored:\n%s\n%s", before, after)
	}
}

// Sent many times at once, a request has one effect, and every call gets its answer.
func TestRequestSentTwiceAtOnceHasOneEffect(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, record(spring("north")))
	ctx := c.as("keeper")
	for range 20 {
		r := &pb.RecordReadingRequest{Reading: &pb.Reading{Site: "north", ReadAt: stamp(c.clock.Now()), Flow: "low"}, RequestId: id()}
		var answers [8]*pb.Reading
		var all sync.WaitGroup
		for i := range answers {
			all.Go(func() {
				var err error
				if answers[i], err = c.sites().RecordReading(ctx, r); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
		var readings, events int
		err := c.pool.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM reading WHERE id = $1), (SELECT count(*) FROM event WHERE record = $1)`, answers[0].GetId()).Scan(&readings, &events)
		if err != nil || readings != 1 || events != 1 {
			t.Fatalf("%d readings, %d events, %v", readings, events, err)
		}
		for _, a := range answers {
			if !proto.Equal(a, answers[0]) {
				t.Errorf("answers differ: %v, %v", a, answers[0])
			}
		}
	}
}

func TestRetriedRequestHasOneEffect(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, record(spring("north")))
	r := &pb.RecordReadingRequest{Reading: &pb.Reading{Site: "north", ReadAt: stamp(c.clock.Now()), Flow: "low"}, RequestId: id()}
	first, err := c.sites().RecordReading(c.as("keeper"), r)
	if err != nil {
		t.Fatal(err)
	}
	before := c.rows()
	second, err := c.sites().RecordReading(c.as("keeper"), r)
	if err != nil || !proto.Equal(first, second) {
		t.Errorf("the answer to a repeated call: %v, %v; before it: %v", second, err, first)
	}
	if after := c.rows(); after != before {
		t.Errorf("a repeated call had an effect:\n%s\n%s", before, after)
	}
	r.Reading.Flow = "high"
	if _, err = c.sites().RecordReading(c.as("keeper"), r); status.Code(err) != codes.InvalidArgument || !strings.Contains(err.Error(), "request id") {
		t.Errorf("the same id with another body: %v", err)
	}
	tested := aluminium("x", "M", "9")
	tested.ServiceEvents = []*pb.ServiceEvent{{Id: "x-hydro", Kind: "hydro", Date: "2026-03"}}
	file := &pb.ApplyRecordsRequest{Records: []*pb.Record{record(&pb.Fill{Cylinder: "x", FilledAt: stamp(c.clock.Now()), Pressure: bar(100), Intended: &pb.GasMix{OxygenPercent: 21}}), record(tested)}, RequestId: id()}
	one, err := c.files().ApplyRecords(c.as("keeper"), file)
	if err != nil {
		t.Fatal(err)
	}
	again, err := c.files().ApplyRecords(c.as("keeper"), file)
	if err != nil || !proto.Equal(one, again) || outcomes(again)["created"] != 2 {
		t.Errorf("a repeated file: %v, %v; before: %v", again, err, one)
	}
}

// The aluminium 80 of the trade: 80 ft³ of gas at 3000 psi is 11.1 L at 207 bar.
func TestMetricAndImperialAreOneCylinder(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	imperial := aluminium("eighty", "Northern", "80")
	imperial.WaterVolume = &pb.WaterVolume{Unit: &pb.WaterVolume_CubicFeetOfGasAtWorkingPressure{CubicFeetOfGasAtWorkingPressure: 80}}
	imperial.WorkingPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 3000}}
	for i, pair := range [][2]*pb.Cylinder{{imperial, aluminium("eighty", "Northern", "80")}, {aluminium("other", "Northern", "81"), func() *pb.Cylinder {
		m := proto.CloneOf(imperial)
		m.Id, m.Serial = "other", "81"
		return m
	}()}} {
		c.send("keeper", false, record(pair[0]))
		out := c.send("keeper", false, record(pair[1]))
		if outcomes(out)["unchanged"] != 1 {
			t.Errorf("pair %d: entered the other way: %v %v", i, out.Records, out.Problems)
		}
		got, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: pair[0].Id})
		if err != nil || math.Abs(got.WaterVolume.GetLitres()-11.1) > 0.05 || math.Abs(got.WorkingPressure.GetBar()-206.8) > 0.25 {
			t.Errorf("pair %d is answered in SI as %v, %v", i, got, err)
		}
	}
	fine := aluminium("eighty", "Northern", "80")
	fine.WorkingPressure = bar(232)
	if out := c.send("keeper", false, record(fine)); outcomes(out)["changed"] != 1 || out.Records[0].Changes[0] != "working_pressure.bar" {
		t.Errorf("another working pressure is %v", out.Records)
	}
}

// Story 5 of the handbook: an analysis for a serial that two cylinders bear.
func TestTwinSerials(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	a, b := aluminium("a", "Northern", "4711"), aluminium("b", "Southern", "4711")
	a.Owner, b.WaterVolume = "keeper", litres(12)
	a.ServiceEvents = []*pb.ServiceEvent{{Id: "a-hydro", Kind: "hydro", Date: "2026-03"}}
	c.send("keeper", false, record(a), record(b))
	r := &pb.RecordAnalysisRequest{Analysis: &pb.Analysis{Cylinder: "4711", AnalysedAt: stamp(c.clock.Now()), OxygenPercent: "32.0"}, RequestId: id()}
	_, err := c.gear().RecordAnalysis(c.as("keeper"), r)
	for _, want := range []string{"11.1 L", "12 L", "Northern", "Southern", "owner keeper", "owner the club"} {
		if !strings.Contains(fmt.Sprint(status.Convert(err).Details()), want) {
			t.Errorf("the refusal does not name %s: %v %v", want, err, status.Convert(err).Details())
		}
	}
	r.Analysis.Cylinder, r.RequestId = "a", id()
	out, err := c.gear().RecordAnalysis(c.as("keeper"), r)
	if err != nil || out.Cylinder != "a" || !strings.Contains(out.Label, "MOD") {
		t.Errorf("by its own key: %v, %v", out, err)
	}
	if _, err := c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{Fill: &pb.Fill{Cylinder: "a", FilledAt: stamp(c.clock.Now()), Pressure: bar(200), Intended: &pb.GasMix{OxygenPercent: 32}, TopUp: true}, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	list, err := c.gear().ListAnalyses(c.as("keeper"), &pb.ListAnalysesRequest{Cylinder: "a"})
	if err != nil || len(list.Analyses) != 1 || list.Analyses[0].EndedBy != "top_up" {
		t.Errorf("after a top-up in the same minute (T29): %v, %v", list, err)
	}
}

func TestPageTokensBelongToTheirList(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	var file []*pb.Record
	for i := range 7 {
		file = append(file, record(aluminium(fmt.Sprintf("tank-%d", i), "Northern", fmt.Sprint(i))))
	}
	c.send("keeper", false, file...)
	var seen []string
	token := ""
	for {
		out, err := c.gear().ListCylinders(c.as("keeper"), &pb.ListCylindersRequest{PageSize: 3, PageToken: token, Search: "north"})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range out.Cylinders {
			seen = append(seen, m.Id)
		}
		if token = out.NextPageToken; token == "" {
			break
		}
		if _, err := c.gear().ListCylinders(c.as("keeper"), &pb.ListCylindersRequest{PageSize: 3, PageToken: token, Search: "south"}); status.Code(err) != codes.InvalidArgument {
			t.Errorf("a token with another search: %v", err)
		}
		if _, err := c.people().ListPeople(c.as("keeper"), &pb.ListPeopleRequest{PageToken: token}); status.Code(err) != codes.InvalidArgument {
			t.Errorf("a token of another list: %v", err)
		}
	}
	if len(seen) != 7 || seen[0] != "tank-0" || seen[6] != "tank-6" {
		t.Errorf("pages give %v", seen)
	}
}

func TestFactsAreForEver(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, wholeFile(c)...)
	for _, sql := range []string{
		`UPDATE event SET what = 'x'`, `DELETE FROM event`, `UPDATE survey SET doc = '{}'`, `DELETE FROM survey`, `DELETE FROM reading`, `UPDATE fill SET doc = '{}'`,
		`DELETE FROM fill`, `UPDATE analysis SET doc = '{}'`, `DELETE FROM analysis`, `UPDATE service_event SET doc = '{}'`, `DELETE FROM service_event`,
		`UPDATE policy SET doc = '{}'`, `DELETE FROM policy`, `DELETE FROM dive`, `DELETE FROM incident`,
	} {
		if _, err := c.pool.Exec(t.Context(), sql); err == nil {
			t.Errorf("%s went through", sql)
		}
	}
}

func TestIncidentKeepsNames(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, wholeFile(c)...)
	c.send("keeper", false, record(&pb.Person{Id: "sara", FullName: "Sara Sicher"}), record(&pb.RoleGrant{Person: "sara", Role: "safety_officer"}),
		record(&pb.RoleGrant{Person: "anna", Role: "diver"}), record(&pb.RoleGrant{Person: "bert", Role: "diver"}))
	r := &pb.ReportIncidentRequest{Incident: &pb.Incident{
		Id: "free-flow", Site: "north", HappenedAt: timestamppb.New(c.clock.Now().Add(-2 * time.Hour)), Level: proto.Int32(3), Types: []string{"equipment"},
		People: []string{"bert", "anna"}, Injured: []int32{1}, Narrative: "Bert's regulator froze; Anna Beispiel shared gas. Keeper was ashore.",
	}, RequestId: id()}
	_, err := c.incidents().ReportIncident(c.as("anna"), r)
	if details := fmt.Sprint(status.Convert(err).Details()); !strings.Contains(details, "diver 1") || !strings.Contains(details, "diver 2") {
		t.Fatalf("names in the narrative: %v %s", err, details)
	}
	r.Incident.Narrative, r.RequestId = "The regulator of diver 1 froze; diver 2 shared gas.", id()
	mine, err := c.incidents().ReportIncident(c.as("anna"), r)
	if err != nil || mine.Narrative == "" || mine.People[0] != "diver 1" {
		t.Fatalf("the reporter's own report: %v, %v", mine, err)
	}
	get := func(as string) *pb.Incident {
		m, err := c.incidents().GetIncident(c.as(as), &pb.GetIncidentRequest{Id: "free-flow"})
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	if m := get("cora"); m.Narrative != "" || m.People[0] != "diver 1" || m.ReportedBy != "" {
		t.Errorf("the club reads before the review: %v", m)
	}
	if m := get("sara"); m.People[0] != "bert" || m.Narrative == "" {
		t.Errorf("the safety officer reads %v", m)
	}
	suspended := func(person string) bool {
		m, err := c.people().GetPerson(c.as(person), &pb.GetPersonRequest{Id: person})
		if err != nil {
			t.Fatal(err)
		}
		return m.GetMedical().GetSuspendedAt() != nil && m.Medical.ClearedAt == nil
	}
	if !suspended("bert") || suspended("anna") {
		t.Errorf("suspended: the injured %v, the reporter %v", suspended("bert"), suspended("anna"))
	}
	if _, err := c.people().SetMedicalStatus(c.as("bert"), &pb.SetMedicalStatusRequest{Person: "bert", Medical: &pb.MedicalStatus{DeclaredDay: "2026-06-08", SuspendedAt: stamp(c.clock.Now().Add(-2 * time.Hour)), ClearedAt: stamp(c.clock.Now())}, RequestId: id()}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("the injured clears himself: %v", err)
	}
	if _, err := c.people().SetMedicalStatus(c.as("bert"), &pb.SetMedicalStatusRequest{Person: "bert", Medical: &pb.MedicalStatus{DeclaredDay: "2026-06-08"}, RequestId: id()}); err != nil || !suspended("bert") {
		t.Errorf("a new declaration lifts the suspension: %v", err)
	}
	if _, err := c.incidents().ReviewIncident(c.as("sara"), &pb.ReviewIncidentRequest{Id: "free-flow", ReviewedNarrative: "A first stage froze.", RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if m := get("cora"); m.Narrative != "A first stage froze." {
		t.Errorf("the club reads after the review: %v", m)
	}
	mine.Narrative, mine.Lessons = "The regulator of diver 1 froze at 20 m.", "Check the first stage."
	if m, err := c.incidents().UpdateIncident(c.as("anna"), &pb.UpdateIncidentRequest{Incident: mine, RequestId: id()}); err != nil || m.Lessons == "" {
		t.Errorf("the reporter amends: %v, %v", m, err)
	}
	var former, people int
	if err := c.pool.QueryRow(context.Background(), `SELECT (SELECT count(*) FROM incident_former WHERE incident = 'free-flow'), (SELECT count(*) FROM incident_person WHERE incident = 'free-flow')`).Scan(&former, &people); err != nil || former != 2 || people != 2 {
		t.Errorf("former versions %d, people %d, %v", former, people, err)
	}
	history, err := c.sites().GetSiteHistory(c.as("cora"), &pb.GetSiteHistoryRequest{Site: "north", PageSize: 2})
	if err != nil || history.Dives != 1 || history.PeopleDives != 2 || history.Incidents != 0 || history.Rate.GetShownAs() == "" || len(history.Left) != 1 || history.NextPageToken == "" {
		t.Errorf("history outside the safety group: %v, %v", history, err)
	}
	inside, err := c.sites().GetSiteHistory(c.as("sara"), &pb.GetSiteHistoryRequest{Site: "north", PageSize: 200})
	if err != nil || inside.Incidents != 2 || inside.Rate.GetPerThousand() != 1000 {
		t.Errorf("history for the safety officer: %v, %v", inside, err)
	}
	kinds := map[string]int{}
	for _, e := range inside.GetEntries() {
		kinds[e.Kind]++
	}
	for _, kind := range []string{"dive", "incident", "reading", "left", "survey", "closure"} {
		if kinds[kind] == 0 {
			t.Errorf("no %s in the history: %v", kind, kinds)
		}
	}
}

func TestCardsAndWhatIsUnseen(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	c.send("keeper", false, record(anna()), record(&pb.RoleGrant{Person: "anna", Role: "coordinator"}), record(&pb.Person{Id: "wanda", FullName: "Wanda"}), record(&pb.RoleGrant{Person: "wanda", Role: "welfare_officer"}))
	if _, err := c.people().RecordCardSeen(c.as("anna"), &pb.RecordCardSeenRequest{Person: "anna", Card: "full", RequestId: id()}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("one's own card: %v", err)
	}
	before, err := c.people().RecordCardSeen(c.as("cora"), &pb.RecordCardSeenRequest{Person: "anna", Card: "full", RequestId: id()})
	if err != nil || before.Cards[1].SeenBy != "cora" {
		t.Fatalf("%v %v", before, err)
	}
	// The welfare officer sees no cards, no medical status: an update without them leaves them.
	seen, err := c.people().GetPerson(c.as("wanda"), &pb.GetPersonRequest{Id: "anna"})
	if err != nil || len(seen.Cards) != 0 || seen.Medical != nil || seen.BirthDay == nil {
		t.Fatalf("the welfare officer sees %v, %v", seen, err)
	}
	seen.ShortName = "Annie"
	if _, err := c.people().UpdatePerson(c.as("wanda"), &pb.UpdatePersonRequest{Person: seen, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	after, err := c.people().GetPerson(c.as("cora"), &pb.GetPersonRequest{Id: "anna"})
	if err != nil || after.ShortName != "Annie" || len(after.Cards) != 2 || after.Cards[1].SeenBy != "cora" || after.Medical == nil || after.Version <= before.Version {
		t.Errorf("after it: %v, %v", after, err)
	}
	seen.Cards = []*pb.Card{{Id: "full", Level: "CAV", IssuedDay: "2020-06-01"}}
	if _, err := c.people().UpdatePerson(c.as("wanda"), &pb.UpdatePersonRequest{Person: seen, RequestId: id()}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("changing what one does not see: %v", err)
	}
	// A card that says something else must be seen again.
	after.Cards[1].Level = "APP"
	changed, err := c.people().UpdatePerson(c.as("cora"), &pb.UpdatePersonRequest{Person: after, ExpectedVersion: after.Version, RequestId: id()})
	if err != nil || changed.Cards[1].SeenBy != "" {
		t.Errorf("a changed card: %v, %v", changed, err)
	}
	if _, err := c.people().UpdatePerson(c.as("cora"), &pb.UpdatePersonRequest{Person: after, ExpectedVersion: after.Version, RequestId: id()}); status.Code(err) != codes.Aborted {
		t.Errorf("an update of a former version: %v", err)
	}
	away, err := c.people().SetAvailability(c.as("anna"), &pb.SetAvailabilityRequest{Person: "anna", FromDay: "2026-06-10", ToDay: "2026-06-20", Unavailable: true, RequestId: id()})
	if err != nil || len(away.Unavailable) != 1 {
		t.Fatalf("%v %v", away, err)
	}
	back, err := c.people().SetAvailability(c.as("anna"), &pb.SetAvailabilityRequest{Person: "anna", FromDay: "2026-06-12", ToDay: "2026-06-12", RequestId: id()})
	if err != nil || len(back.Unavailable) != 2 || back.Unavailable[0].ToDay != "2026-06-11" || back.Unavailable[1].FromDay != "2026-06-13" {
		t.Errorf("available again on one day: %v, %v", back.GetUnavailable(), err)
	}
}
