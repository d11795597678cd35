package stories

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
)

// P18 of the handbook's practice: hydro 05/2021 every 60 months holds to 31 May 2026, visual every 30 months to 30 November 2023. A
// visual done late in 05/2025 holds to 30 November 2027, and the hydro still ends on 31 May 2026.
func TestP18LateVisualDoesNotMoveTheHydro(t *testing.T) {
	for _, x := range []struct {
		now    string
		events []*pb.ServiceEvent
		want   [2]string
	}{
		{"2023-11-20 08:00", []*pb.ServiceEvent{{Kind: "hydro", Date: "2021-05"}}, [2]string{"2026-05-31", "2023-11-30"}},
		{"2025-06-01 08:00", []*pb.ServiceEvent{{Kind: "hydro", Date: "2021-05"}, {Kind: "visual", Date: "2025-05"}}, [2]string{"2026-05-31", "2027-11-30"}},
	} {
		t.Run(x.now, func(t *testing.T) {
			c := newClub(t, x.now)
			c.apply(record(&pb.Cylinder{
				Id: "twelve", Serial: "4471", Maker: "Ostmark", Material: "steel", Jurisdiction: "de", OxygenClean: "clean",
				WaterVolume: litres(12), WorkingPressure: bar(232), ServiceEvents: x.events,
			}))
			m, err := c.gear().GetCylinder(c.as("keeper"), &pb.GetCylinderRequest{Id: "twelve"})
			if err != nil {
				t.Fatal(err)
			}
			if got := [2]string{m.Due.HydroLastDay, m.Due.VisualLastDay}; got != x.want {
				t.Errorf("on %s hydro and visual end on %v, want %v", x.now, got, x.want)
			}
		})
	}
}

// P20 of the handbook's practice: exam 10 March 2023, born 20 September 1985. Strict, as the shipped rules are: the interval shrinks
// at 40, 10 March 2026. Lenient: 60 months, 10 March 2028.
func TestP20MedicalStrictAndLenient(t *testing.T) {
	for _, x := range []struct{ mode, now, declared, last, rule string }{
		{"strict", "2026-02-20 08:00", "2026-01-10", "2026-03-10", "shrinks at 40"},
		{"lenient", "2028-02-20 08:00", "2028-01-10", "2028-03-10", "interval at exam"},
	} {
		t.Run(x.mode, func(t *testing.T) {
			c := newClub(t, x.now)
			c.adoptPolicy(func(p *policy.Policy) { p.People.MedicalMode = x.mode })
			c.apply(record(&pb.Person{Id: "asta", FullName: "Asta", BirthDay: proto.String("1985-09-20"), Medical: &pb.MedicalStatus{ExaminedDay: "2023-03-10", DeclaredDay: x.declared}}))
			out, err := c.people().CheckGoodToGo(c.as("keeper"), &pb.CheckGoodToGoRequest{Person: "asta"})
			if err != nil {
				t.Fatal(err)
			}
			figures := map[string]string{}
			for _, l := range out.Lines {
				if f := l.GetFinding(); f.GetRule() == "diver.medical" {
					for _, x := range f.Figures {
						figures[x.Name] = x.GetText()
					}
				}
			}
			if figures["until"] != x.last || figures["interval"] != x.rule {
				t.Errorf("%s: want until %s by %s: %v", x.mode, x.last, x.rule, figures)
			}
		})
	}
}

// P16 of the handbook's practice: a runtime of 95 min asks a primary of 143 min (half as much again, to the minute) and backups of 95
// min each.
func TestP16LightsOfARuntime(t *testing.T) {
	c := newClub(t, "2026-06-02 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(475, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	team := []diver{{id: "asta"}, {id: "birk"}}
	c.enrol("spring", team...)
	c.reading("spring", c.at("2026-06-02 07:00"))
	p := planOf("lights", "spring", c.at("2026-06-02 08:30"), route, team, []float64{200, 200})
	p.SwimMMin = proto.Float64(10) // 475 m in and out: 95 min
	c.submit(p)
	for _, x := range []struct {
		primary, backup float64
		short           bool
	}{{143, 95, false}, {142, 95, true}, {143, 94, true}} {
		for item, minutes := range map[string]float64{"asta-primary": x.primary, "asta-backup-1": x.backup} {
			m, err := c.gear().GetEquipment(c.as("keeper"), &pb.GetEquipmentRequest{Id: item})
			if err != nil {
				t.Fatal(err)
			}
			m.BurnMin = &minutes
			if _, err := c.gear().UpdateEquipment(c.as("keeper"), &pb.UpdateEquipmentRequest{Equipment: m, ExpectedVersion: m.Version, RequestId: id()}); err != nil {
				t.Fatal(err)
			}
		}
		r, err := c.plans().EvaluatePlan(c.as("cora"), &pb.EvaluatePlanRequest{Id: "lights"})
		if err != nil {
			t.Fatal(err)
		}
		short := slices.ContainsFunc(r.Findings, func(f *pb.Finding) bool { return f.Rule == "kit.light_burn" && f.Status == "refuse" })
		if short != x.short {
			t.Errorf("primary of %g min, backup of %g: short %v; %v", x.primary, x.backup, short, blocks(r))
		}
	}
}
