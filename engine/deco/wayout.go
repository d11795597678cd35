package deco

import (
	"fmt"
	"math"
)

// richOxygen is the fraction from which a gas counts as the oxygen that a last
// stop at 6 m is made for (D40).
const richOxygen = 0.8

// lastStopWithoutOxygen is the last stop of a way out after that gas is lost (D40), metres.
const lastStopWithoutOxygen = 3

// Loss is what a way out goes without.
type Loss struct {
	Cylinders []int // indices into Team.Cylinders
	Donor     int   // diver whose back gas those who lost their own breathe; -1: nobody lost back gas
}

// loss is Loss as the planner uses it; its zero value is none.
type loss struct {
	cylinders uint64
	donor     [MaxDivers]int // 1 + cylinder breathed as back gas; 0: the diver's own
	lastStop  float64        // 0: that of the settings
}

// WayOut schedules a way out from a moment of a dive after a loss (D44). The
// path begins at the place, has the delay there, picks up what waits for its
// owners, and is Turned. A lost gas being breathed is left at once, before the
// delay. from is not changed. Errors as for Schedule, and a back gas lost with no donor.
func (p *Planner) WayOut(team *Team, path *Path, from *Moment, l Loss, r *Result) error {
	if err := team.check(); err != nil {
		return err
	}
	if err := from.check(team); err != nil {
		return err
	}
	if len(path.Pieces) == 0 {
		return path.check(team)
	}
	var in loss
	for _, c := range l.Cylinders {
		if c < 0 || c >= len(team.Cylinders) {
			return fmt.Errorf("loss of cylinder %d, which the team has not", c)
		}
		in.cylinders |= 1 << c
	}
	start := Moment{Minutes: from.Minutes, Divers: p.startOut[:0]}
	start.Divers = append(start.Divers, from.Divers...)
	p.startOut = start.Divers
	depth := path.Pieces[0].From
	p.team, p.lost = team, in.cylinders
	p.depths()
	for d := range team.Divers {
		diver := &team.Divers[d]
		c := &start.Divers[d]
		p.back[d] = diver.Back
		if in.cylinders>>diver.Back&1 == 1 {
			if l.Donor < 0 || l.Donor >= len(team.Divers) || in.cylinders>>team.Divers[l.Donor].Back&1 == 1 {
				return fmt.Errorf("diver %s lost the back gas and no donor is named who has it", diver.Name)
			}
			p.back[d] = team.Divers[l.Donor].Back
			in.donor[d] = 1 + p.back[d]
		}
		if p.losesOxygen(diver, in.cylinders) {
			in.lastStop = math.Min(p.set.LastStop, lastStopWithoutOxygen)
		}
		c.AtHand = c.AtHand&^in.cylinders | 1<<p.back[d]
		if in.cylinders>>c.Breathing&1 == 1 {
			c.Breathing = p.back[d]
			if !p.Allowed(c.Breathing, depth) {
				carry := carrying{atHand: c.AtHand, breathing: c.Breathing}
				if best, ok := p.richest(d, &carry, depth, -1); ok {
					c.Breathing = best
				}
			}
		}
	}
	return p.schedule(team, path, &start, nil, r, in)
}

// losesOxygen tells whether the loss takes the diver's only gas of 80 % oxygen or more.
func (p *Planner) losesOxygen(diver *Diver, lost uint64) bool {
	had, has := false, false
	for _, i := range diver.Stages {
		if p.team.Cylinders[i].Mix.O2 >= richOxygen-same {
			had = true
			has = has || lost>>i&1 == 0
		}
	}
	return had && !has
}
