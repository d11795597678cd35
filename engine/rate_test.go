package engine

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
)

func learned(way string, median, worst float64, dives int) facts.LearnedRate {
	l := facts.LearnedRate{Way: way, MedianLMin: median, WorstLMin: worst, First: enginetest.Day("2025-01-05"), Last: enginetest.Day("2026-05-30")}
	for i := range dives {
		l.Dives = append(l.Dives, fmt.Sprint("log-", i))
	}
	return l
}

// ride gives the diver in question a scooter.
func ride(in *Input) {
	for i := range in.Plan.Team {
		in.Plan.Team[i].Scooter = in.Plan.Team[i].Diver == in.Divers[1].ID
	}
}

func said(r Report, rule, diver string) *finding.Finding {
	i := slices.IndexFunc(r.Findings, func(f finding.Finding) bool { return f.Rule == rule && f.Subject.ID == diver })
	if i < 0 {
		return nil
	}
	return &r.Findings[i]
}

// Whose figure counts. The policy asks five dives, pulling multiplies by 1.25,
// the default is 20 L/min (route method, 4 and D5).
func TestWhichConsumptionCounts(t *testing.T) {
	for _, c := range []struct {
		name   string
		know   *facts.Consumption
		change func(*Input)
		lMin   float64
		worst  float64
		origin string
		code   string
		status finding.Status
		says   string
	}{
		{"nothing known", nil, nil, 20, 0, "policy_default", "default", finding.Note, "20 L/min, the policy's default: nothing measured"},
		{"stated", &facts.Consumption{RMVLMin: 18, WorstLMin: 25}, nil, 18, 25, "stated", "declared", finding.Note, "18 L/min, declared and not measured"},
		{"measured", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5)}}, nil, 16.5, 22, "measured", "ok", finding.Pass, "16.5 L/min, measured over 5 dives, 2025-01-05 to 2026-05-30"},
		{"four dives are too few", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 4)}}, nil, 20, 0, "policy_default", "default_few", finding.Note, "the policy's default: 4 dives measured of 5 asked"},
		{"too few, and they say more", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 26, 30, 4)}}, nil, 20, 0, "policy_default", "few_higher", finding.Caution, "they say more: 26 L/min"},
		{"stated, too few", &facts.Consumption{RMVLMin: 18, Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 4)}}, nil, 18, 0, "stated", "declared_few", finding.Note, "4 dives of 5 asked"},
		{"stated lower than measured", &facts.Consumption{RMVLMin: 14, Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 9)}}, nil, 16.5, 22, "measured", "above_stated", finding.Note, "14 L/min is stated, the higher counts"},
		{"stated higher than measured", &facts.Consumption{RMVLMin: 21, WorstLMin: 24, Learned: []facts.LearnedRate{learned("swimming", 16.5, 27, 9)}}, nil, 21, 27, "stated", "stated_higher", finding.Note, "21 L/min, stated by hand; measured is 16.5 L/min over 9 dives"},
		{"the club learns nothing", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 26, 30, 40)}}, func(in *Input) { in.Policy.Consumption.Dives = 0 }, 20, 0, "policy_default", "few_higher", finding.Caution, ""},
		{"a scooter at home", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5), learned("scooter", 30, 40, 5)}}, nil, 16.5, 22, "measured", "ok", finding.Pass, ""},
		{"rides, and breathes more", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5), learned("scooter", 19, 26, 5)}}, func(in *Input) { ride(in) }, 19, 26, "measured", "ok", finding.Pass, "19 L/min, measured over 5 dives, 2025-01-05 to 2026-05-30, on the scooter"},
		{"rides, and breathes less: may have to swim", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5), learned("scooter", 12, 15, 5)}}, func(in *Input) { ride(in) }, 16.5, 22, "measured", "ok", finding.Pass, ""},
		{"rides, and never swam", &facts.Consumption{Learned: []facts.LearnedRate{learned("scooter", 12, 15, 5)}}, func(in *Input) { ride(in) }, 20, 0, "policy_default", "default", finding.Note, ""},
		// 25 / 1.25 = 20 swum: the route model multiplies by 1.25 where it is pulled.
		{"pulls", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5), learned("pull_and_glide", 25, 30, 5)}}, func(in *Input) { in.Policy.Speeds.PullAndGlide = new(7.0) }, 20, 24, "measured", "ok", finding.Pass, "pulling and gliding"},
		{"pulls for less than the factor", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5), learned("pull_and_glide", 18, 30, 5)}}, func(in *Input) { in.Policy.Speeds.PullAndGlide = new(7.0) }, 16.5, 24, "measured", "ok", finding.Pass, ""},
		{"no deco gas on this dive", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5), learned("decompression", 28, 40, 5)}}, nil, 16.5, 22, "measured", "ok", finding.Pass, ""},
		{"nothing, and no default", nil, func(in *Input) { in.Policy.Gas.DefaultRMVLMin = 0 }, 0, 0, "", "none", finding.Indeterminate, "cannot tell"},
		{"measured needs no default", &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 16.5, 22, 5)}}, func(in *Input) { in.Policy.Gas.DefaultRMVLMin = 0 }, 16.5, 22, "measured", "ok", finding.Pass, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := enginetest.Pair()
			in.Divers[1].Consumption = c.know
			if c.change != nil {
				c.change(&in)
			}
			r := Evaluate(in)
			id := in.Divers[1].ID
			i := slices.IndexFunc(r.Rates, func(x DiverRate) bool { return x.Diver == id })
			if i < 0 {
				t.Fatalf("no rate of %s: %+v", id, r.Rates)
			}
			if got := r.Rates[i]; got.LMin != c.lMin || got.WorstLMin != c.worst || got.Origin != c.origin {
				t.Errorf("%+v, want %v, worst %v, %s", got, c.lMin, c.worst, c.origin)
			}
			f := said(r, "diver.consumption", id)
			if f == nil || f.Code != c.code || f.Status != c.status || !strings.Contains(f.Message, c.says) {
				t.Errorf("said %+v, want %s %s with %q", f, c.code, c.status, c.says)
			}
			// What the route is reckoned with is what is said.
			if (r.Route != nil) != (c.lMin > 0) {
				t.Errorf("route computed: %v", r.Route != nil)
			}
			if r.Route != nil {
				for _, x := range r.Route.Parts.Rates {
					if x.Diver == id && x.OwnLMin != c.lMin {
						t.Errorf("the route takes %v", x.OwnLMin)
					}
				}
			}
			// Whose worst is not known is named.
			if f := said(r, "failure.worst_consumption", id); r.Dive != nil && (f == nil || (f.Code == "absent") != (c.worst == 0)) {
				t.Errorf("worst: %+v", f)
			}
			explained(t, r)
			recorded(t, in, r)
		})
	}
}

// A worst consumption that was measured is a dive reckoned at it.
func TestMeasuredWorstIsReckoned(t *testing.T) {
	in := enginetest.Pair()
	in.Divers[1].Consumption = &facts.Consumption{Learned: []facts.LearnedRate{learned("swimming", 20, 200, 12)}}
	f := said(Evaluate(in), "failure.worst_consumption", in.Divers[1].ID)
	if f == nil || f.Code != "short" || f.Status != finding.NeedsWaiver {
		t.Errorf("%+v", f)
	}
	// The other of the pair has none: named, and nothing blocks for it.
	other := in.Plan.Team[0].Diver
	if other == in.Divers[1].ID {
		other = in.Plan.Team[1].Diver
	}
	f = said(Evaluate(in), "failure.worst_consumption", other)
	if f == nil || f.Code != "absent" || f.Status != finding.Note || !strings.Contains(f.Message, "no worst consumption is recorded") {
		t.Errorf("%+v", f)
	}
}

// A decision taken before dives were learned from replays as it was: an input
// without what is measured, under a policy that learns nothing.
func TestFormerInputsStand(t *testing.T) {
	in := enginetest.Pair()
	in.Policy.Consumption.Dives, in.Policy.Consumption.WithinMonths = 0, 0
	in.Divers[1].Consumption = &facts.Consumption{RMVLMin: 22, WorstLMin: 30, Origin: "declared"}
	r := Evaluate(in)
	for _, x := range r.Rates {
		if x.Diver == in.Divers[1].ID && (x.LMin != 22 || x.WorstLMin != 30 || x.Origin != "stated") {
			t.Errorf("%+v", x)
		}
	}
}
