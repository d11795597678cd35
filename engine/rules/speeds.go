package rules

import (
	"slices"

	"lastlight/engine/finding"
)

// speeds compares the speeds of a plan with the club's. A faster swim makes a dive that uses less gas and fewer minutes than the team
// will, and a faster way out is a test that was not made; slower is always allowed. A scooter is ridden on the way as planned and never
// on a way out (practice 1, the swim-out rule): there the club's contingency speed holds whatever is ridden. What a fast team
// swims is cautioned, what nobody swims refused.
func speeds(c *Case) []finding.Finding {
	p := c.Policy.Speeds
	if p.Swim <= 0 || p.ContingencySwim <= 0 {
		return one(unknown(c.plan(), "how fast the club swims", "policy.speeds"))
	}
	swim, swimAt := p.Swim, "policy.speeds.swim"
	if c.allRide() && p.Scooter > swim {
		swim, swimAt = p.Scooter, "policy.speeds.scooter"
	}
	judge := func(s finding.Subject, code string, speed, limit float64, at, limitAt string) finding.Finding {
		f := measured(answer(finding.Pass, code, s), metresMin(speed), metresMin(limit))
		if speed > limit+1e-9 {
			short := metresMin(speed - limit)
			f.Status, f.Code, f.Path, f.Shortfall = finding.Caution, "brisk_"+code, at, &short
			if speed > fastSwim+1e-9 {
				f.Status, f.Code = finding.Refuse, "fast_"+code
			}
		}
		f.Steps = []finding.Step{f.Given(at, limitAt)}
		return f
	}
	stated := func(own, club float64, at, clubAt string) (float64, string) {
		if own > 0 {
			return own, at
		}
		return club, clubAt
	}
	planned, plannedAt := stated(c.In.Plan.SwimMMin, p.Swim, "plan.swim_m_min", "policy.speeds.swim")
	out, outAt := stated(c.In.Plan.ContingencySwimMMin, p.ContingencySwim, "plan.contingency_swim_m_min", "policy.speeds.contingency_swim")
	all := []finding.Finding{
		judge(c.plan(), "swim", planned, swim, plannedAt, swimAt),
		judge(c.plan(), "out", out, p.ContingencySwim, outAt, "policy.speeds.contingency_swim"),
	}
	for i, m := range c.In.Route.Route.Moves {
		if m.SwimMMin > swim+1e-9 {
			move := number(float64(i + 1))
			s := finding.Subject{Kind: finding.KindMove, ID: move, Name: "move " + move}
			all = append(all, judge(s, "swim", m.SwimMMin, swim, path("route.route.moves", i, "swim_m_min"), swimAt))
		}
	}
	return all
}

// fastSwim is what a fast diver swims, m/min (practice 6: usual 12 to 15, fast 21); nobody plans a faster swim.
const fastSwim = 21

func metresMin(x float64) finding.Figure { return finding.Number("", x, 1, "m/min") }

// allRide tells whether everybody rides a scooter: one who swims sets the pace.
func (c *Case) allRide() bool {
	return len(c.Team) > 0 && !slices.ContainsFunc(c.Team, func(m Member) bool { return !m.Scooter })
}
