package ownrules

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"lastlight/engine/policy"
)

func ptr[T any](v T) *T { return &v }

func example() View {
	return View{
		Plan: Plan{ID: "p", Kind: "normal", Weekday: ptr(int64(7)), RuntimeMin: ptr(81.5), Jumps: ptr(int64(1)), EntryDay: ptr("2026-06-07")},
		Site: Site{ID: "s", Grade: ptr(int64(3))},
		Team: []Diver{
			{ID: "anna", Leader: true, Level: ptr("FULL"), Endorsements: []string{"STAGE"}, AgeYears: ptr(int64(40)), RMVLMin: ptr(18.0)},
			{ID: "bo", Level: ptr("INT"), AgeYears: ptr(int64(17))},
		},
		Supplies:  []Supply{{ID: "a-main", Diver: "anna", Role: "main", VolumeL: ptr(24.0), StartBar: ptr(210.0), O2: ptr(32.0), He: ptr(0.0)}},
		Cylinders: []Cylinder{{ID: "t-1", Supply: "a-main", Diver: "anna", Role: "main", VolumeL: ptr(12.0), Hydro: ptr("2024-05")}, {ID: "t-2", Supply: "a-main", Diver: "anna", Role: "main"}},
		Items:     []Item{{ID: "lamp", Kind: "primary_light", Diver: "anna", Count: 1, BurnMin: ptr(200.0)}, {ID: "lamp-2", Kind: "primary_light", Diver: "bo", Count: 1}},
		Report:    Report{Verdict: "caution", Findings: []Finding{{Rule: "site.grade", Status: "caution", Observed: ptr(3.0), Limit: ptr(2.0)}}},
	}
}

func rule(about policy.About, holds string) policy.OwnRule {
	return policy.OwnRule{ID: "own.x", About: about, Holds: holds}
}

// The meaning of operators, has, the macros and of errors beside || and && is the language definition's: github.com/google/cel-spec,
// doc/langdef.md, "Logical Operators", "Field Selection", "Macros".
func TestJudge(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		about policy.About
		holds string
		want  []Outcome
		why   string
	}{
		{policy.AboutPlan, `plan.weekday != 7`, []Outcome{Broken}, ""},
		{policy.AboutPlan, `plan.runtime_min <= 90.0`, []Outcome{Holds}, ""},
		{policy.AboutPlan, `plan.runtime_min <= 81.4`, []Outcome{Broken}, ""},
		{policy.AboutPlan, `plan.entry_day < "2026-07-01"`, []Outcome{Holds}, ""},
		{policy.AboutPlan, `team.exists(d, "STAGE" in d.endorsements)`, []Outcome{Holds}, ""},
		{policy.AboutPlan, `team.filter(d, d.level == "FULL").size() >= 2`, []Outcome{Broken}, ""},
		{policy.AboutPlan, `report.findings.all(f, f.status != "caution" || f.observed <= f.limit)`, []Outcome{Broken}, ""},
		{policy.AboutSite, `site.grade < 3 || team.all(d, d.age_years >= 18)`, []Outcome{Broken}, ""},
		{policy.AboutDiver, `diver.age_years >= 18`, []Outcome{Holds, Broken}, ""},
		{policy.AboutSupply, `supply.o2_percent * supply.volume_l > 700.0`, []Outcome{Holds}, ""},
		// Whole numbers and others are compared as numbers; a date of a month or a day as text.
		{policy.AboutPlan, `plan.runtime_min <= 82 && plan.runtime_min > 81 && plan.jumps < 1.5`, []Outcome{Holds}, ""},
		{policy.AboutCylinder, `cylinder.last_hydro >= "2021-06"`, []Outcome{Holds, Unknown}, ""},
		{policy.AboutCylinder, `supplies.exists(s, cylinder.id in s.cylinders)`, []Outcome{Broken, Broken}, ""},
		// A map is read by a key; what it lacks is an error.
		{policy.AboutDiver, `{"FULL": 40, "INT": 30}[diver.level] >= 30`, []Outcome{Holds, Holds}, ""},
		{policy.AboutDiver, `{"FULL": 40}[diver.level] >= 30`, []Outcome{Holds, Unknown}, ""},
		// Not on record: an error, and an error blocks.
		{policy.AboutPlan, `plan.max_depth_m < 40.0`, []Outcome{Unknown}, "plan.max_depth_m is not on record"},
		{policy.AboutPlan, `!plan.night`, []Outcome{Unknown}, "plan.night is not on record"},
		{policy.AboutItem, `item.burn_min > 180.0`, []Outcome{Holds, Unknown}, ""},
		{policy.AboutDiver, `diver.consumption_l_min < 25.0`, []Outcome{Holds, Unknown}, ""},
		{policy.AboutPlan, `!has(plan.night) || !plan.night`, []Outcome{Holds}, ""},
		// What is missing does not matter where the rest decides it.
		{policy.AboutPlan, `plan.night || plan.jumps == 1`, []Outcome{Holds}, ""},
		{policy.AboutPlan, `plan.night || plan.jumps == 2`, []Outcome{Unknown}, "plan.night is not on record"},
		{policy.AboutPlan, `plan.jumps / 0 == 1`, []Outcome{Unknown}, "division by zero"},
		{policy.AboutPlan, `team[7].leader`, []Outcome{Unknown}, "index out of bounds: 7"},
		{policy.AboutPlan, `team[-1].leader`, []Outcome{Unknown}, "index out of bounds: -1"},
		{policy.AboutPlan, `plan.jumps % 0 == 1`, []Outcome{Unknown}, "modulus by zero"},
		{policy.AboutPlan, `9223372036854775807 + plan.jumps > 0`, []Outcome{Unknown}, "integer overflow"},
	} {
		rules := []policy.OwnRule{rule(c.about, c.holds)}
		if faults := Check(rules); len(faults) > 0 {
			t.Errorf("%s: %v", c.holds, faults)
			continue
		}
		answers := Judge(rules, example())
		var got []Outcome
		for _, a := range answers {
			got = append(got, a.Outcome)
			if a.Outcome == Unknown && a.Why == "" {
				t.Errorf("%s: unknown without a reason", c.holds)
			}
			if c.why != "" && !strings.Contains(a.Why, c.why) {
				t.Errorf("%s: because %q, want %q", c.holds, a.Why, c.why)
			}
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: %v, want %v", c.holds, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: %v, want %v (%s)", c.holds, got, c.want, answers[i].Why)
			}
		}
	}
}

func TestFaultsWithTheirPlace(t *testing.T) {
	t.Parallel()
	deep := strings.Repeat("(", 200) + "true" + strings.Repeat(")", 200)
	for _, c := range []struct {
		about        policy.About
		holds        string
		line, column int
		text         string
	}{
		{policy.AboutPlan, `plan.weekdy != 7`, 1, 5, "undefined field 'weekdy'"},
		{policy.AboutPlan, "plan.weekday != 7 &&\n  plan.nigt", 2, 7, "undefined field 'nigt'"},
		{policy.AboutPlan, `plan.weekday != "seven"`, 1, 14, "no matching overload"},
		{policy.AboutPlan, `plan.weekday +`, 1, 15, "Syntax error"},
		{policy.AboutPlan, `plan.weekday`, 0, 0, "not true or false"},
		{policy.AboutPlan, `diver.leader`, 1, 1, "undeclared reference to 'diver'"},
		{policy.AboutPlan, `timestamp("2026-01-01T00:00:00Z") < timestamp(plan.entry_day)`, 1, 10, "undeclared reference to 'timestamp'"},
		{policy.AboutPlan, `dyn(plan.weekday) == 7`, 1, 4, "undeclared reference to 'dyn'"},
		{policy.AboutPlan, `Plan{id: "x"}.id == plan.id && true`, 0, 0, ""},
		{policy.AboutPlan, `plan.id.matches("(")`, 1, 17, "invalid matches"},
		{policy.AboutPlan, `plan.id == null`, 1, 9, "no matching overload"},
		{policy.AboutPlan, "true &&\n plan.runtime_min + 1 < 90", 2, 19, "30.0"},
		// The entries of a map come in another order in every run.
		{policy.AboutPlan, `{"a": 1, "b": 2}.map(k, k)[0] == "a"`, 1, 1, "no order"},
		{policy.AboutPlan, "plan.jumps == 1 ||\n [{1: plan.id}].all(m, m.exists(k, m[k] == plan.id))", 2, 24, "no order"},
		{policy.AboutPlan, `(plan.jumps > 1 ? {1: 2} : {2: 3}).all(k, k > 0)`, 1, 17, "no order"},
		{policy.AboutPlan, "true" + strings.Repeat("?true:true", 190), 0, 0, "recursion limit"},
		{policy.AboutPlan, "plan" + strings.Repeat(".id", 600), 0, 0, "recursion depth"},
		{policy.AboutPlan, deep, 0, 0, "recursion"},
		{policy.AboutPlan, strings.Repeat("true && ", 400) + "true", 0, 0, "at most 2000"},
		{policy.AboutPlan, `report.findings.all(a, report.findings.all(b, a.rule != b.rule))`, 0, 0, "may cost"},
		{policy.AboutItem, `report.findings.all(f, items.all(i, i.id != f.subject))`, 0, 0, "may cost"},
		{policy.AboutPlan, `team.all(a, team.all(b, team.all(c, team.all(d, a.id + b.id + c.id != d.id))))`, 1, 0, "comprehension"},
	} {
		faults := Check([]policy.OwnRule{rule(c.about, c.holds)})
		if c.text == "" {
			if answers := Judge([]policy.OwnRule{rule(c.about, c.holds)}, example()); len(faults) == 0 && answers[0].Outcome != Unknown {
				t.Errorf("%.60s: a value of the view was made", c.holds)
			}
			continue
		}
		if len(faults) == 0 {
			t.Errorf("%.60s: no fault", c.holds)
			continue
		}
		f := faults[0]
		if f.Line < 0 || f.Column < 0 || (f.Line == 0) != (f.Column == 0) {
			t.Errorf("%.60s: at line %d, column %d", c.holds, f.Line, f.Column)
		}
		if !strings.Contains(f.Text, c.text) {
			t.Errorf("%.60s: %q, want %q", c.holds, f.Text, c.text)
		}
		if c.line > 0 && f.Line != c.line || c.column > 0 && f.Column != c.column {
			t.Errorf("%.60s: line %d, column %d, want %d, %d", c.holds, f.Line, f.Column, c.line, c.column)
		}
	}
	all := Check([]policy.OwnRule{rule(policy.AboutPlan, `plan.a + plan.b`), rule(policy.AboutPlan, `true`), rule(policy.AboutPlan, `plan.c`)})
	if len(all) < 3 || all[0].Rule != 0 || all[len(all)-1].Rule != 2 {
		t.Errorf("all faults at once: %v", all)
	}
}

// A text that doubles at every step, and lists looked through within each other: what runs away is cut off and blocks.
func TestRunawayIsCutOff(t *testing.T) {
	t.Parallel()
	v := example()
	for range 300 {
		v.Items = append(v.Items, v.Items[0])
	}
	for range 20_000 { // more than the estimate counts with
		v.Report.Findings = append(v.Report.Findings, v.Report.Findings[0])
	}
	for _, holds := range []string{
		`report.findings.all(f, "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa".matches("(a+)+b") || f.rule.size() > 0)`,
		`report.findings.map(f, f.rule + f.rule + f.rule).all(x, x.size() < 5)`,
	} {
		r := []policy.OwnRule{rule(policy.AboutPlan, holds)}
		if len(Check(r)) > 0 {
			continue // refused when it is entered: as good
		}
		for _, a := range Judge(r, v) {
			if a.Outcome == Holds && len(a.Read) == 0 {
				t.Errorf("%s: holds without reading", holds)
			}
		}
	}
	var many []policy.OwnRule
	for range policy.MaxOwnRules {
		many = append(many, rule(policy.AboutItem, `items.all(i, i.count + item.count > 0)`))
	}
	answers := Judge(many, v)
	if end := answers[len(answers)-1]; end.Outcome != Unknown || !strings.Contains(end.Why, "too much work") {
		t.Errorf("%d rules about %d items each: %v %q", len(many), len(v.Items), end.Outcome, end.Why)
	}
}

func TestReadingsSayWhatWasRead(t *testing.T) {
	t.Parallel()
	a := Judge([]policy.OwnRule{rule(policy.AboutDiver, `diver.age_years >= 18 && diver.id != plan.id`)}, example())
	want := []string{"team[0].age_years=40 of anna", "team[0].id=anna of ", "plan.id=p of "}
	var got []string
	for _, r := range a[0].Read {
		text := r.Text
		if r.Number != nil {
			text = "40"
		}
		got = append(got, r.Path+"="+text+" of "+r.Own)
	}
	if strings.Join(got, "; ") != strings.Join(want, "; ") {
		t.Errorf("read %v, want %v", got, want)
	}
}

func TestReferenceIsWhatTheTypesSay(t *testing.T) {
	t.Parallel()
	const file = "VIEW.md"
	if os.Getenv("WRITE_VIEW") != "" {
		if err := os.WriteFile(file, []byte(Reference()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if string(text) != Reference() {
		t.Errorf("%s is not what the types say: WRITE_VIEW=1 go test ./engine/ownrules -run Reference writes it", file)
	}
	for _, d := range byName {
		for _, f := range d.fields {
			if f.name == "" || f.doc == "" {
				t.Errorf("%s: field %d has no name or meaning", d.name, f.index)
			}
		}
	}
}

// FuzzExpression: no text makes the compiler or an evaluation panic, hang or answer without a reason.
func FuzzExpression(f *testing.F) {
	for _, s := range []string{
		`plan.weekday != 7`, `team.exists(d, "STAGE" in d.endorsements)`, `report.findings.all(f, f.observed <= f.limit)`, `has(plan.night) ? plan.night : false`,
		`[1,2,3].map(x, x * 2).exists(x, x > 4)`, `plan.id.matches("^a(b|c)*$")`, `{"a": plan.id}["a"] == "p"`, `size("é") == 1`, "plan.id == '\\u0000'", `1.0 / 0.0 > 1.0`,
	} {
		f.Add(s)
	}
	v := example()
	f.Fuzz(func(t *testing.T, s string) {
		r := []policy.OwnRule{rule(policy.AboutDiver, s)}
		faults := Check(r)
		for _, p := range faults {
			if p.Text == "" || p.Line < 0 || p.Column < 0 {
				t.Errorf("a fault without words or place: %+v", p)
			}
		}
		answers := Judge(r, v)
		for range 3 {
			if again := Judge(r, v); fmt.Sprint(outcomes(again)) != fmt.Sprint(outcomes(answers)) {
				t.Fatalf("%q: another answer to the same question", s)
			}
		}
		if len(answers) != len(v.Team) {
			t.Fatalf("%d answers about %d divers", len(answers), len(v.Team))
		}
		for _, a := range answers {
			if len(faults) > 0 && a.Outcome != Unknown {
				t.Errorf("%q is faulty and is %v", s, a.Outcome)
			}
			if a.Outcome == Unknown && a.Why == "" {
				t.Errorf("%q: unknown without a reason", s)
			}
		}
	})
}

// That a rule asked whether a value is there is told too, and of whose: it may be all that it goes by.
func TestAskingWhetherIsARead(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ holds, want string }{
		{`has(diver.consumption_l_min)`, "team[0].consumption_l_min, on record=true of anna|team[1].consumption_l_min, on record=false of bo"},
		{`has(plan.night) || diver.leader`, "plan.night, on record=false of ;team[0].leader=true of |plan.night, on record=false of ;team[1].leader=false of "},
	} {
		var all []string
		for _, a := range Judge([]policy.OwnRule{rule(policy.AboutDiver, c.holds)}, example()) {
			var one []string
			for _, r := range a.Read {
				one = append(one, r.Path+"="+r.Text+" of "+r.Own)
			}
			all = append(all, strings.Join(one, ";"))
		}
		if got := strings.Join(all, "|"); got != c.want {
			t.Errorf("%s: read %s, want %s", c.holds, got, c.want)
		}
	}
}

// What was compiled is kept, each expression once, for the policies that a comparison asks in turn; and not without end. A rule
// keeps its own words, whichever rule its expression was compiled for.
func TestCompiledIsKeptWithinBounds(t *testing.T) {
	for i := range 3 * mostKept {
		r := rule(policy.AboutPlan, fmt.Sprintf("plan.jumps < %d", i+2))
		r.ID = fmt.Sprintf("own.n%d", i)
		if a := Judge([]policy.OwnRule{r}, example())[0]; a.Outcome != Holds || a.Rule.ID != r.ID {
			t.Fatalf("rule %d: %+v", i, a)
		}
		if n := len(kept.made); n > mostKept {
			t.Fatalf("%d are kept, at most %d", n, mostKept)
		}
	}
	one, other := rule(policy.AboutPlan, "plan.jumps == 1"), rule(policy.AboutPlan, "plan.jumps == 1")
	one.ID, other.ID = "own.one", "own.other"
	for _, a := range [][]policy.OwnRule{{one}, {other}, {one, other}} {
		for i, got := range Judge(a, example()) {
			if got.Rule.ID != a[i].ID {
				t.Errorf("%s answers as %s", a[i].ID, got.Rule.ID)
			}
		}
	}
	broken := []policy.OwnRule{one, rule(policy.AboutPlan, "plan.jmps"), rule(policy.AboutPlan, "plan.jmps")}
	for range 2 {
		if f := Check(broken); len(f) != 2 || f[0].Rule != 1 || f[1].Rule != 2 {
			t.Errorf("faults: %v", f)
		}
	}
}

// The same rule asked of the same view says the same, whatever was asked before.
func TestSameAnswersInEveryRun(t *testing.T) {
	t.Parallel()
	for _, holds := range []string{
		`{"a": plan.weekday, "b": plan.jumps}["b"] == 1 && {"x": plan.id, "y": plan.kind} == {"y": plan.kind, "x": plan.id}`,
		`team.map(d, d.id).size() == 2 && (plan.night || plan.max_depth_m < 30)`,
		`plan.runtime_min / 3.0 == plan.runtime_min * 0.1 || plan.id < string(plan.jumps)`,
	} {
		r := []policy.OwnRule{rule(policy.AboutPlan, holds)}
		if f := Check(r); len(f) > 0 {
			t.Fatalf("%s: %v", holds, f)
		}
		first := ""
		for range 100 {
			text, err := json.Marshal(Judge(r, example()))
			if err != nil {
				t.Fatal(err)
			}
			if first == "" {
				first = string(text)
			}
			if string(text) != first {
				t.Fatalf("%s: %s, then %s", holds, first, text)
			}
		}
	}
}

func outcomes(list []Answer) (out []string) {
	for _, a := range list {
		out = append(out, fmt.Sprint(a.Outcome, a.Why, a.Missing))
	}
	return out
}
