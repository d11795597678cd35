package rules_test

import (
	"regexp"
	"strings"
	"testing"

	"lastlight/engine/calendar"
	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/policy"
)

// What is worked out is not recorded by anybody: of it the report names what is missing behind it, for whom, and what to do.
func TestWhatIsMissingBehindWhatIsWorkedOut(t *testing.T) {
	for name, c := range map[string]struct {
		change       func(*facts.Input)
		rule         string
		says, remedy string
	}{
		"no entry": {
			func(in *facts.Input) { in.Plan.Entry = calendar.Instant{} }, "watch.walk",
			"Long Gallery: cannot tell the times of the watch: the plan has no planned entry", "give the plan its entry",
		},
		"no entry, no zone": {
			func(in *facts.Input) { in.Plan.Entry, in.Site.Zones = calendar.Instant{}, nil }, "watch.times",
			"Long Gallery: cannot tell the times of the watch: the plan has no planned entry; Mill Spring has no time zone on record", "give the plan its entry; enter the site's time zone",
		},
		"no zone": {
			func(in *facts.Input) { in.Site.Zones = nil }, "gas.analysis",
			"cylinder Ada-left: cannot tell the days of the dive: Mill Spring has no time zone on record", "enter the site's time zone",
		},
		"no start pressure": {
			func(in *facts.Input) { in.Plan.Supplies[1].PlannedBar = nil }, "watch.can_help",
			"Long Gallery: cannot tell how long the gas left lasts: the route cannot be computed without the start pressure of cylinder Ben-left + cylinder Ben-right",
			"enter the start pressure of cylinder Ben-left + cylinder Ben-right",
		},
		"a route with faults": {
			func(in *facts.Input) { in.Route.Route.Moves[0].To = "nowhere" }, "watch.can_help",
			"Long Gallery: cannot tell how long the gas left lasts: the route has faults", "mend the route first",
		},
		"no card": {
			func(in *facts.Input) { in.Divers[1].Cards = nil }, "diver.currency",
			"Ada: cannot tell, no training card is on record", "enter the card, and have somebody else record having seen it",
		},
		"a card that nobody has seen": {
			func(in *facts.Input) { in.Divers[1].Cards[0].SeenBy = "" }, "diver.currency",
			"Ada: cannot tell, no training card counts yet", "see what is said of the card itself",
		},
	} {
		in := enginetest.Pair()
		c.change(&in)
		told := false
		for _, f := range judge(in) {
			if f.Rule == c.rule && f.Status == finding.Indeterminate && f.Message == c.says {
				told = true
				if f.Remedy != c.remedy {
					t.Errorf("%s: to do %q, want %q", name, f.Remedy, c.remedy)
				}
			}
			if nobodyRecords.MatchString(f.Remedy) {
				t.Errorf("%s: %s is told to %q", name, f.Rule, f.Remedy)
			}
		}
		if !told {
			var said []string
			for _, f := range judge(in) {
				if f.Rule == c.rule {
					said = append(said, string(f.Status)+" "+f.Message)
				}
			}
			t.Errorf("%s: %s says\n%s\nwant\n%s", name, c.rule, strings.Join(said, "\n"), c.says)
		}
	}
}

// nobodyRecords are things that follow from records and are none.
var nobodyRecords = regexp.MustCompile(`^record (the (times|days|day|dial|route|flow)|how |which |a (training card that counts|set-up dive))`)

// The part of the gas for the way in is shown as the coordinator finds it in plan and policy: what the level gives, and of it what a
// site opening is given; each with the fraction as the policy writes it, and the product is the one that the route is judged by.
func TestShareOfASiteOpeningIsShown(t *testing.T) {
	in := enginetest.Pair()
	in.Plan.Kind = facts.SiteOpening
	in.Plan.GasFraction = policy.Frac(1, 3)
	in.Policy.Gas.SiteOpeningShare = policy.Frac(1, 2)
	for i := range in.Policy.Ladder {
		in.Policy.Ladder[i].GasDoubles = policy.GasRule{Kind: policy.GasFraction, Fraction: policy.Frac(1, 4)}
	}
	for _, f := range judge(in) {
		if f.Rule != "route.turn" || f.Subject.Label() != "Ada" {
			continue
		}
		var got []string
		for _, s := range f.Steps {
			var inputs []string
			for _, x := range s.Inputs {
				inputs = append(inputs, x.Name+" = "+x.Text+" ("+x.From+")")
			}
			got = append(got, s.What+": "+s.Formula+" of "+strings.Join(inputs, ", ")+" is "+s.Result.Text)
		}
		text := strings.Join(got, "\n")
		for _, want := range []string{
			"the part of the gas for the way in: the least of all of the plan = 0.333333 (plan.gas_fraction: 1/3), level FULL with doubles = 0.25 (policy.ladder[FULL].gas_doubles: 1/4) is 0.25",
			"of it, the part that a site opening is given: fraction × opening of fraction = 0.25 (above), opening = 0.5 (policy.gas.site_opening_share: 1/2) is 0.125",
			"permitted up to the commitment point: fraction × smallest of fraction = 0.125 (above), smallest = ",
		} {
			if !strings.Contains(text, want) {
				t.Errorf("lacks\n%s\nin\n%s", want, text)
			}
		}
		return
	}
	t.Error("no turn is told")
}
