package clubpolicy

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/policy"
	"lastlight/server/internal/fault"
)

func shipped(t *testing.T) map[string]any {
	t.Helper()
	b, err := Canonical(policy.Default())
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]any
	if err := json.Unmarshal(b, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func TestShippedDefaultReadsAsItself(t *testing.T) {
	t.Parallel()
	b, _ := json.Marshal(shipped(t))
	p := fault.Collect("")
	got := Decode(p, b, calendar.Day{})
	if len(p.List()) > 0 {
		t.Fatalf("problems in the shipped default: %v", p.List())
	}
	again, _ := Canonical(got)
	if want, _ := Canonical(policy.Default()); string(again) != string(want) {
		t.Error("the shipped default reads as another policy")
	}
}

func TestEveryFaultOfADocumentIsNamed(t *testing.T) {
	t.Parallel()
	m := shipped(t)
	m["colour"] = "red"
	delete(m, "watch")
	m["team"].(map[string]any)["solo"] = 3
	m["name"] = 4
	b, _ := json.Marshal(m)
	p := fault.Collect("policy.")
	Decode(p, b, calendar.Day{})
	var all []string
	for _, x := range p.List() {
		all = append(all, x.Field)
	}
	text := strings.Join(all, " ")
	for _, want := range []string{"policy.document.colour", "policy.document.watch", "policy.document.team.solo", "policy.document.name"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s is not named in %v", want, all)
		}
	}
}

// What the engine says of a cell stands under "expected:", and does not say that word again.
func TestExpectedIsSaidOnce(t *testing.T) {
	t.Parallel()
	m := shipped(t)
	m["people"].(map[string]any)["medical_bands"] = []any{}
	b, _ := json.Marshal(m)
	p := fault.Collect("policy.")
	Decode(p, b, calendar.Day{})
	if len(p.List()) == 0 {
		t.Fatal("a policy without medical bands is taken")
	}
	for _, x := range p.List() {
		if x.Expected == "" || strings.HasPrefix(x.Expected, "expected") {
			t.Errorf("%s: expected: %s", x.Field, x.Expected)
		}
	}
}

// What is no policy, what cannot be used, and what is wrong with the club's own rules: all of it in one round, each at its place in
// the document, and nothing that only follows.
func TestAllRoundsAreOne(t *testing.T) {
	t.Parallel()
	m := shipped(t)
	group := func(name string) map[string]any { return m[name].(map[string]any) }
	group("gas")["site_opening_share"] = "3/2"
	group("lights")["primary_factor"] = "lots"
	delete(group("currency"), "dives")
	group("currency")["dive"] = 6
	group("team")["cutting_tools"] = 99
	ladder := m["ladder"].([]any)
	ladder[1].(map[string]any)["max_depth_m"] = 1000
	delete(ladder[2].(map[string]any), "team_max")
	rule := func(change func(map[string]any)) map[string]any {
		r := map[string]any{
			"id": "own.standby", "title": "Somebody stands by", "about": "plan", "holds": "plan.standby >= 1", "otherwise": "refuse", "says": "nobody", "remedy": "name one",
			"citation": map[string]any{"document": "minutes", "edition": "2026", "section": "4", "date_read": "2026-02-01"},
		}
		change(r)
		return r
	}
	m["own_rules"] = []any{
		rule(func(r map[string]any) { r["holds"] = "true &&\n  plan.stand_by >= 1" }),
		rule(func(r map[string]any) { r["id"], r["otherwise"] = "own.two", "needs_waver" }),
		rule(func(r map[string]any) { r["id"], r["about"], r["holds"] = "own.three", "boat", "boat.length > 3" }),
		rule(func(r map[string]any) {
			r["id"] = "own.four"
			r["citation"].(map[string]any)["date_read"] = "2026-06-09"
		}),
		rule(func(r map[string]any) {
			r["id"] = "own.five"
			r["citation"].(map[string]any)["date_read"] = "last week"
		}),
		rule(func(r map[string]any) {
			r["id"] = "own.six"
			r["citation"].(map[string]any)["date_read"] = "2026-06-08"
		}),
	}
	b, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	today, err := calendar.ParseDay("2026-06-08")
	if err != nil {
		t.Fatal(err)
	}
	p := fault.Collect("")
	Decode(p, b, today)
	var got []string
	for _, x := range p.List() {
		got = append(got, fmt.Sprintf("%s: %s (read %s; expected %s; at %d:%d)", x.Field, x.Message, x.Read, x.Expected, x.Line, x.Column))
	}
	slices.Sort(got)
	want := []string{
		"document.currency.dive: there is no such cell (read dive; expected one of dives, within_months, easier_after_days, refresher_months, reassess_months, grace_after_issue_months, endorsement_uses, endorsement_months, counted_endorsements; at 0:0)",
		"document.currency.dives: the cell is missing: a policy is always whole (read ; expected a whole number; at 0:0)",
		"document.gas.site_opening_share: the cell cannot be read (read 3/2; expected a fraction above 0 and at most 1, as 1/3; at 0:0)",
		"document.ladder[1].max_depth_m: the policy cannot be used like this (read 1000; expected 1 to 350 m; at 0:0)",
		"document.ladder[2].team_max: the cell is missing: a policy is always whole (read ; expected a whole number; at 0:0)",
		"document.lights.primary_factor: another sort of value is needed (read lots; expected a number; at 0:0)",
		"document.own_rules[0].holds: line 2, column 7 of the expression: undefined field 'stand_by' (read true &&\n  plan.stand_by >= 1; expected an expression in CEL that is true where all is in order; at 2:7)",
		"document.own_rules[1].otherwise: the policy cannot be used like this (read \"needs_waver\"; expected one of refuse, needs_waiver, caution; at 0:0)",
		"document.own_rules[2].about: the policy cannot be used like this (read \"boat\"; expected one of plan, site, diver, supply, cylinder, item; at 0:0)",
		"document.own_rules[3].citation.date_read: the day lies in the future (read 2026-06-09; expected today (2026-06-08) or earlier; at 0:0)",
		"document.own_rules[4].citation.date_read: there is no such day (read last week; expected a day that exists, YYYY-MM-DD; at 0:0)",
		"document.team.cutting_tools: the policy cannot be used like this (read 99; expected 0 to 10 per diver; at 0:0)",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
