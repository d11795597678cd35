package deco

import (
	"testing"

	"lastlight/engine/gas"
)

// Air breaks on S6 and S11 of the method handbook, physics section 11, at the
// practice of 20 min on oxygen and 5 off (physics section 8): the oxygen stop is
// as long as a loop written for this test says, no stretch of oxygen is longer than 20
// min, every break is 5 min of the leanest gas that may be breathed at 6 m, and the
// path walked again is nowhere above the limit.
func TestAirBreaks(t *testing.T) {
	for _, c := range []struct {
		oracle int
		lean   int // cylinder of the breaks: 10/70 is too thin at 6 m, 15/55 is not
		breaks int
	}{{1, 0, 1}, {2, 1, 2}} {
		o := &oracles[c.oracle]
		p, team, path, start := o.planner(t)
		var plain, r Result
		if err := p.Schedule(team, path, start, nil, &plain); err != nil {
			t.Fatal(err)
		}
		p.set.BreakEvery, p.set.BreakMinutes = 20, 5
		if err := p.Schedule(team, path, start, nil, &r); err != nil {
			t.Fatal(err)
		}
		last := r.Stops[len(r.Stops)-1]
		if len(r.Stops) != len(plain.Stops) || r.NoBreak || last.Minutes <= plain.Stops[len(plain.Stops)-1].Minutes {
			t.Errorf("%s: stops %v, without breaks %v", o.name, r.Stops, plain.Stops)
		}
		breaks, oxygen := 0, 0.0
		for _, s := range r.Stretches {
			if team.Cylinders[s.Breathing[0]].Mix == gas.Oxygen {
				if oxygen += s.Minutes; s.Kind == Stopped && oxygen > 20 {
					t.Errorf("%s: %v min of oxygen", o.name, oxygen)
				}
				continue
			}
			if oxygen > 0 && s.Kind == Stopped {
				breaks++
				if int(s.Breathing[0]) != c.lean || s.Minutes != 5 {
					t.Errorf("%s: a break of %v min on %s", o.name, s.Minutes, team.Cylinders[s.Breathing[0]].ID)
				}
			}
			oxygen = 0
		}
		if breaks != c.breaks {
			t.Errorf("%s: %d breaks, want %d", o.name, breaks, c.breaks)
		}
		if f := Rewalk(&p.set, team, start, &r); len(f.Travel) > 0 || len(f.Waiting) > 0 {
			t.Errorf("%s: above the limit %v", o.name, f)
		}

		// The stop again: minute by minute, asked after each of oxygen.
		state := start.Divers[0].Tissues
		at := p.set.Water.Pressure
		for _, s := range r.Stretches {
			if s.Kind == Stopped && s.From == last.Depth {
				break
			}
			p.model.Linear(&state, team.Cylinders[s.Breathing[0]].Mix, at(s.From), at(s.To), s.Minutes)
		}
		minutes := 0
		for on, off := 0, 0; ; {
			mix := gas.Oxygen
			if on == 20 {
				mix = team.Cylinders[c.lean].Mix
				if off++; off == 5 {
					on, off = 0, 0
				}
			} else {
				on++
			}
			p.model.Linear(&state, mix, at(last.Depth), at(last.Depth), 1)
			minutes++
			up := state
			p.model.Linear(&up, gas.Oxygen, at(last.Depth), at(0), last.Depth/p.set.Ascent)
			if margin, _ := p.model.Margin(&up, at(0), p.set.GFHigh); margin >= 0 && off == 0 {
				break
			}
		}
		if minutes != last.Minutes {
			t.Errorf("%s: %d min at the last stop, a plain loop says %d", o.name, last.Minutes, minutes)
		}
	}
}

// Nothing at hand for a break: the flag says so, the stop stays on oxygen.
func TestNoGasForABreak(t *testing.T) {
	o := oracles[2]
	o.gases = []Cylinder{o.gases[0], {ID: "o", Mix: gas.Oxygen, Kind: Deco, SwitchDepth: 6}}
	p, team, path, start := o.planner(t)
	p.set.BreakEvery, p.set.BreakMinutes = 20, 5
	var r Result
	if err := p.Schedule(team, path, start, nil, &r); err != nil {
		t.Fatal(err)
	}
	found := false
	for _, f := range p.Flags(path, &r) {
		found = found || f.Kind == FlagNoBreak
	}
	if !r.NoBreak || !found {
		t.Error("nobody says that there is no gas for the break")
	}
}
