package policy

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

func TestDefaultIsValid(t *testing.T) {
	p := Default()
	for _, problem := range p.Validate() {
		t.Error(problem)
	}
}

// Every top-level section of the shipped policy must cite where its cells come from.
func TestEveryDefaultCellIsCited(t *testing.T) {
	p := Default()
	typ := reflect.TypeOf(p)
	for i := range typ.NumField() {
		name := strings.Split(typ.Field(i).Tag.Get("json"), ",")[0]
		if name == "name" || name == "sources" || name == "own_rules" { // a rule of the club's own cites by itself
			continue
		}
		section := typ.Field(i).Type
		paths := []string{name}
		if section.Kind() == reflect.Struct {
			paths = nil
			for j := range section.NumField() {
				paths = append(paths, name+"."+strings.Split(section.Field(j).Tag.Get("json"), ",")[0])
			}
		}
		for _, path := range paths {
			if c, ok := p.CitationFor(path); !ok || !c.Complete() {
				t.Errorf("%s has no complete citation", path)
			}
		}
	}
}

// The table of the method handbook, practice 2.2, cell by cell.
func TestLadderIsTheHandbookTable(t *testing.T) {
	p := Default()
	type row struct {
		depth, start, visibility     float64
		lights, grade                int
		single, doubles              string
		deco, circuit, stages, scoot bool
	}
	want := map[string]row{
		"OW":   {18, 1400, 3, 1, 1, "", "", false, false, false, false},
		"CAV":  {21, 1400, 10, 2, 1, "1/3", "1/6", false, false, false, false},
		"INT":  {30, 1700, 9, 3, 2, "1/3", "1/6", false, false, false, false},
		"APP":  {40, 3000, 6, 3, 3, "", "1/3", true, true, false, false},
		"FULL": {40, 4000, 3, 3, 5, "", "1/3", true, true, true, true},
	}
	if len(p.Ladder) != len(want) {
		t.Fatalf("%d levels, want %d", len(p.Ladder), len(want))
	}
	for _, l := range p.Ladder {
		got := row{l.MaxDepthM, l.MinStartGasL, l.MinVisibilityM, l.Lights, l.MaxSiteGrade, l.GasSingle.Fraction.String(), l.GasDoubles.Fraction.String(), l.Decompression.Allowed, l.Circuit.Allowed, l.Stages.Allowed, l.Scooter.Allowed}
		if got != want[l.Name] {
			t.Errorf("%s: %+v, want %+v", l.Name, got, want[l.Name])
		}
	}
	if l := p.Level("APP"); *l.Jumps.Max != 2 || l.JumpFromJump || *l.OffMainLine.Max != 1 || *l.LapseMonths != 12 || l.LapsesTo != "INT" {
		t.Errorf("apprentice row differs: %+v", l)
	}
	if l := p.Level("FULL"); l.Jumps.Max != nil || *l.Jumps.WarnAbove != 4 || l.Inflow.Fraction != Frac(1, 4) || l.LowerVisibility != DecideWaiver {
		t.Errorf("full row differs: %+v", l)
	}
}

func TestValidateNamesEveryFault(t *testing.T) {
	p := Default()
	p.Ladder[2].MaxDepthM = -5
	p.Ladder[3].LapsesTo = "FULL"
	p.Gas.StressFactor = 0.5
	p.Mix.O2TolerancePoints = "one"
	p.Watch.GraceMax = 10
	p.Waivers.Rules = append(p.Waivers.Rules, WaiverRule{Rule: "gas.analysis", Roles: []string{"coordinator"}})
	p.Decompression.LastStopM = 4
	got := map[string]bool{}
	for _, problem := range p.Validate() {
		got[problem.Path] = true
		if problem.Message == "" || problem.Got == "" {
			t.Errorf("%s: problem without what was read or expected", problem.Path)
		}
	}
	for _, path := range []string{"ladder[INT].max_depth_m", "ladder[APP].lapses_to", "gas.stress_factor", "mix.o2_tolerance_points", "watch.grace_max", "waivers.rules[9].rule", "decompression.last_stop_m"} {
		if !got[path] {
			t.Errorf("%s not reported; got %v", path, got)
		}
	}
	if len(got) != 7 {
		t.Errorf("%d faults reported, 7 made: %v", len(got), got)
	}
}

func TestPolicySurvivesJSON(t *testing.T) {
	p := Default()
	b, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	var q Policy
	if err := json.Unmarshal(b, &q); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(p, q) {
		t.Error("the document read back differs from the one written")
	}
	if !strings.Contains(string(b), `"fraction":"1/6"`) {
		t.Error("fractions are written as text, e.g. 1/6")
	}
}

func TestWaivers(t *testing.T) {
	p := Default()
	if w := p.Waivers.For("level.visibility"); w == nil || !w.SecondApprover {
		t.Errorf("less visibility: coordinator and second approver (practice 2.2), got %+v", w)
	}
	for _, rule := range []string{"route.sharing_exit", "gas.analysis", "diver.medical", "no.such.rule"} {
		if w := p.Waivers.For(rule); w != nil {
			t.Errorf("%s: nobody may waive, got %+v", rule, w)
		}
	}
}

// Flow classes of practice 6; inflow is judged one class stricter.
func TestFlowClass(t *testing.T) {
	p := Default()
	for _, x := range []struct {
		speed  float64
		inflow bool
		want   string
	}{{0.49, false, "none"}, {-0.5, false, "low"}, {3, false, "moderate"}, {9, false, "high"}, {18, false, "extreme"}, {2, true, "moderate"}, {0.4, true, "none"}, {20, true, "extreme"}} {
		if c, ok := p.FlowClassOf(x.speed, x.inflow); !ok || c.Name != x.want {
			t.Errorf("%g m/min inflow %v: %s, want %s", x.speed, x.inflow, c.Name, x.want)
		}
	}
}
