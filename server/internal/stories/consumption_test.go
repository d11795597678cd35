package stories

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// swum is a recorded dive of two hand-worked rates, pressures by 1 bar + depth/10,
// ideal gas: down to 20 m in 2 min, 40 min there, up in 2 min are 4 + 120 + 4 =
// 128 bar minutes; from 200 bar in 24 L each bar breathed is 24/128 = 0.1875 L/min.
func swum(name string, at time.Time, ends map[string]float64) *pb.Dive {
	d := &pb.Dive{
		Id: name, Site: "spring", Kind: "normal", Zone: "cave", EnteredAt: stamp(at), OutAt: stamp(at.Add(46 * time.Minute)), MaxDepthM: proto.Float64(20),
	}
	for _, person := range []string{"asta", "birk"} {
		if end, dived := ends[person]; dived {
			d.Divers = append(d.Divers, &pb.DiveDiver{
				Person: person, CountedAs: "FULL", Mains: person + "-mains", Gas: &pb.GasMix{OxygenPercent: 21}, StartPressure: bar(200), EndPressure: bar(end),
				StartTemperatureC: proto.Float64(20), EndTemperatureC: proto.Float64(20),
				Profile: &pb.DiveProfile{AfterS: []uint32{0, 120, 2400, 120}, DepthCm: []uint32{0, 2000, 2000, 0}},
			})
		}
	}
	return d
}

func (c *club) recordDive(d *pb.Dive) *pb.Dive {
	c.t.Helper()
	out, err := c.dives().RecordDive(c.as("cora"), &pb.RecordDiveRequest{Dive: d, RequestId: id()})
	if err != nil {
		c.t.Fatalf("dive %s: %v", d.Id, err)
	}
	return out
}

func (c *club) consumption(as, person string) *pb.MeasuredConsumption {
	c.t.Helper()
	out, err := c.people().GetConsumption(c.as(as), &pb.GetConsumptionRequest{Person: person})
	if err != nil {
		c.t.Fatalf("consumption of %s as %s: %v", person, as, err)
	}
	return out
}

// What a diver breathes is learned from recorded dives, shown to whom it may be
// shown, and a plan says whose figure it takes.
func TestConsumptionIsLearned(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	// asta: 90, 95, 100, 105 and 110 bar breathed are 16.875, 17.8125, 18.75, 19.6875
	// and 20.625 L/min: median 18.75, of fewer than ten dives the worst tenth the highest.
	// birk: four dives of 120 bar, 22.5 L/min: one too few.
	for i, drop := range []float64{100, 90, 110, 95, 105} {
		ends := map[string]float64{"asta": 200 - drop}
		if i > 0 {
			ends["birk"] = 80
		}
		c.recordDive(swum(fmt.Sprint("learn-", i), c.at("2026-05-01 10:00").AddDate(0, 0, i), ends))
	}
	got := c.consumption("asta", "")
	if len(got.Figures) != 1 || got.Asked != 5 || got.WithinMonths != 24 {
		t.Fatalf("%v", got)
	}
	f := got.Figures[0]
	if f.Way != "swimming" || f.MedianLMin != 18.75 || f.WorstLMin != 20.63 || f.Dives != 5 || f.From != "2026-05-01" || f.To != "2026-05-05" || !f.Enough {
		t.Errorf("%v", f)
	}
	// 20 L/min is stated, the higher counts; the worst is the measured.
	if got.CountsLMin != 20 || got.Origin != "stated" || got.GetWorstLMin() != 20.63 || len(got.Dives) != 5 {
		t.Errorf("%v", got)
	}
	if x := got.Dives[0]; x.Dive != "learn-4" || math.Abs(x.LMin-19.6875) > 1e-9 || math.Abs(x.Litres-2520) > 1e-6 || x.Minutes != 44 || len(x.Remarks) != 0 {
		t.Errorf("newest first: %v", x)
	}
	// The eight dives of the club's paper log hold no pressures: each is named with why.
	if n := len(got.NotCounted); n != 8 || !slices.Contains(got.NotCounted[0].Codes, "no_pressure") || !slices.Contains(got.NotCounted[0].Codes, "no_depth") {
		t.Errorf("%d not counted: %v", n, got.NotCounted)
	}

	// Nothing stated: what is measured counts, and for who has too few dives the default, which says that they say more.
	for _, name := range []string{"asta", "birk"} {
		p, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: name})
		if err != nil {
			t.Fatal(err)
		}
		p.Consumption = nil
		if _, err := c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: p, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
	}
	r := c.submit(c.plan("measured", "2026-06-08 09:00")).Report
	want := map[string][2]any{"asta": {18.75, "measured"}, "birk": {20.0, "policy_default"}}
	for _, d := range r.Dive.Divers {
		if w := want[d.Person]; d.ConsumptionLMin != w[0] || d.ConsumptionOrigin != w[1] {
			t.Errorf("%s: %v %s", d.Person, d.ConsumptionLMin, d.ConsumptionOrigin)
		}
		if d.Person == "asta" && (d.ConsumptionDives != 5 || d.ConsumptionFrom != "2026-05-01" || d.ConsumptionTo != "2026-05-05" || d.WorstConsumptionLMin != 20.63) {
			t.Errorf("asta: %v", d)
		}
	}
	for person, words := range map[string]string{"asta": "18.8 L/min, measured over 5 dives, 2026-05-01 to 2026-05-05", "birk": "4 dives measured of 5 asked, and they say more: 22.5 L/min"} {
		if said := found(r, "diver.consumption", person); len(said) != 1 || !strings.Contains(said[0].Message, words) {
			t.Errorf("%s: %v, want %q", person, said, words)
		}
	}
	// Whose worst nobody has recorded is named.
	if said := found(r, "failure.worst_consumption", "birk"); len(said) != 1 || said[0].Code != "absent" {
		t.Errorf("birk's worst: %v", said)
	}

	// A dive recorded later, of too long ago to load anybody, leaves what was decided as it was.
	p := c.approved("kept", "2026-06-09 09:00")
	before, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: p.Id, Version: 1})
	if err != nil {
		t.Fatal(err)
	}
	c.recordDive(swum("learn-later", c.at("2026-05-20 10:00"), map[string]float64{"asta": 20, "birk": 80}))
	after, err := c.plans().GetEvidence(c.as("cora"), &pb.GetEvidenceRequest{Id: p.Id, Version: 1})
	if err != nil || !proto.Equal(before, after) {
		t.Errorf("the decision has changed: %v", err)
	}
	if got := c.consumption("cora", "birk"); got.Origin != "measured" || got.CountsLMin != 22.5 {
		t.Errorf("birk after the fifth dive: %v", got)
	}

	brief, err := c.plans().GetBrief(c.as("asta"), &pb.GetBriefRequest{Id: p.Id})
	if err != nil || !strings.Contains(brief.Text, "Asta 18.8 L/min measured over 5 dives to 2026-05-05") {
		t.Errorf("%v\n%s", err, brief.GetText())
	}
	// asta leads; birk reads of himself alone.
	if !strings.Contains(brief.GetText(), "no worst recorded of Birk") {
		t.Errorf("birk is not named:\n%s", brief.GetText())
	}
	if brief, err = c.plans().GetBrief(c.as("birk"), &pb.GetBriefRequest{Id: p.Id}); err != nil || strings.Contains(brief.Text, "18.8") || !strings.Contains(brief.Text, "Birk 20 L/min") {
		t.Errorf("%v\n%s", err, brief.GetText())
	}
	for as, want := range map[string]codes.Code{"asta": codes.OK, "cora": codes.OK, "birk": codes.NotFound, "cover": codes.NotFound} {
		if _, err := c.people().GetConsumption(c.as(as), &pb.GetConsumptionRequest{Person: "asta"}); status.Code(err) != want && !(want == codes.NotFound && status.Code(err) == codes.PermissionDenied) {
			t.Errorf("as %s: %v, want %s", as, err, want)
		}
	}
}

// A dive whose pressures say nothing of a rate does not count, and says why.
func TestDivesThatSayNothingOfConsumption(t *testing.T) {
	c := newPool(t, "2026-06-08 07:30")
	day := 0
	for _, x := range []struct {
		name   string
		change func(*pb.Dive)
		then   func(*pb.Dive)
		code   string
	}{
		{"counts", nil, nil, ""},
		{"shared", func(d *pb.Dive) { d.Divers[0].GasEvents = []string{"shared"} }, nil, "shared"},
		{"the-other-shared", func(d *pb.Dive) { d.Divers[1].GasEvents = []string{"shared"} }, nil, "shared"},
		{"leak", func(d *pb.Dive) { d.Divers[0].GasEvents = []string{"lost"} }, nil, "lost"},
		{"said-filled", func(d *pb.Dive) { d.Divers[0].GasEvents = []string{"filled"} }, nil, "filled"},
		{"filled", nil, func(d *pb.Dive) {
			if _, err := c.gear().RecordFill(c.as("keeper"), &pb.RecordFillRequest{RequestId: id(), Fill: &pb.Fill{
				Cylinder: "asta-left", FilledAt: stamp(d.EnteredAt.AsTime().Add(20 * time.Minute)), Pressure: bar(200), Intended: &pb.GasMix{OxygenPercent: 21}, TopUp: true,
			}}); err != nil {
				t.Fatal(err)
			}
		}, "filled"},
		{"near-miss", nil, func(d *pb.Dive) {
			if _, err := pb.NewIncidentServiceClient(c.conn).ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
				Site: "spring", Dive: d.Id, HappenedAt: d.EnteredAt, Level: proto.Int32(1), Narrative: "free flow", People: []string{"asta"},
			}}); err != nil {
				t.Fatal(err)
			}
		}, "set_aside"},
		{"hazard", nil, func(d *pb.Dive) {
			if _, err := pb.NewIncidentServiceClient(c.conn).ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
				Site: "spring", Dive: d.Id, HappenedAt: d.EnteredAt, Level: proto.Int32(0), Narrative: "a loose tie-off", People: []string{"asta"},
			}}); err != nil {
				t.Fatal(err)
			}
		}, ""},
		{"one-set", func(d *pb.Dive) { d.Divers[1].Mains = "asta-mains" }, nil, "shared"},
		{"no-register", func(d *pb.Dive) { d.Divers[0].Mains = "" }, nil, "no_volume"},
		{"volume-said", func(d *pb.Dive) { d.Divers[0].Mains, d.Divers[0].MainsVolumeL = "", proto.Float64(24) }, nil, ""},
		{"mixed", func(d *pb.Dive) { d.Divers[0].Way = "mixed" }, nil, "not_apart"},
		{"no-profile", func(d *pb.Dive) { d.Divers[0].Profile = nil }, nil, "no_depth"},
		{"mean-depth", func(d *pb.Dive) { d.Divers[0].Profile, d.Divers[0].MeanDepthM = nil, proto.Float64(18) }, nil, ""},
		{"not-warm", func(d *pb.Dive) { d.Divers[0].StartTemperatureC, d.Divers[0].EndTemperatureC = nil, nil }, nil, ""},
	} {
		day++
		d := swum("say-"+x.name, c.at("2026-04-01 10:00").AddDate(0, 0, day), map[string]float64{"asta": 100, "birk": 100})
		if x.change != nil {
			x.change(d)
		}
		c.recordDive(d)
		if x.then != nil {
			x.then(d)
		}
		got := c.consumption("asta", "")
		counted := slices.ContainsFunc(got.Dives, func(y *pb.MeasuredDive) bool { return y.Dive == d.Id })
		i := slices.IndexFunc(got.NotCounted, func(y *pb.UnmeasuredDive) bool { return y.Dive == d.Id })
		switch {
		case counted != (x.code == ""):
			t.Errorf("%s: counted %v, %v", x.name, counted, got.NotCounted)
		case x.code != "" && (i < 0 || !slices.Equal(got.NotCounted[i].Codes, []string{x.code}) || len(got.NotCounted[i].Reasons) != 1):
			t.Errorf("%s: %v", x.name, got.NotCounted[max(i, 0)])
		}
	}
	got := c.consumption("asta", "")
	remarks := map[string]string{}
	for _, x := range got.Dives {
		remarks[x.Dive] = strings.Join(x.Remarks, "; ")
	}
	if !strings.Contains(remarks["say-mean-depth"], "mean depth as recorded") || !strings.Contains(remarks["say-not-warm"], "20 °C taken") || remarks["say-counts"] != "" {
		t.Errorf("remarks %v", remarks)
	}
	// What was reported stays with those who may read it.
	if text := fmt.Sprint(got); strings.Contains(text, "free flow") || strings.Contains(text, "incident") {
		t.Errorf("the report of an incident shows: %s", text)
	}
	// The same pressures in psi say the same.
	d := swum("say-psi", c.at("2026-05-20 10:00"), map[string]float64{"asta": 100})
	d.Divers[0].StartPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 2900.755}}
	d.Divers[0].EndPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 1450.377}}
	c.recordDive(d)
	if x := c.consumption("asta", "").Dives[0]; x.Dive != d.Id || math.Abs(x.LMin-18.75) > 1e-9 {
		t.Errorf("in psi: %v", x)
	}
	// And corrected: 2176 psi are 150 bar (1 psi = 6894.757 Pa), of which half as much is breathed.
	d.Divers[0].EndPressure = &pb.Pressure{Unit: &pb.Pressure_Psi{Psi: 2175.566}}
	corrected, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	if x := corrected.Divers[0]; math.Abs(x.StartPressure.GetBar()-200) > 1e-3 || math.Abs(x.EndPressure.GetBar()-150) > 1e-3 {
		t.Errorf("corrected in psi it is %v", x)
	}
	if x := c.consumption("asta", "").Dives[0]; x.Dive != d.Id || math.Abs(x.LMin-18.75/2) > 1e-3 {
		t.Errorf("corrected in psi: %v", x)
	}
	// Nobody sees in a dive how much another breathes.
	shown, err := c.dives().GetDive(c.as("birk"), &pb.GetDiveRequest{Id: "say-shared"})
	if err != nil {
		t.Fatal(err)
	}
	if x := shown.Divers[0]; x.StartPressure != nil || x.EndTemperatureC != nil || len(x.GasEvents) > 0 {
		t.Errorf("birk is shown %v", x)
	}
}
