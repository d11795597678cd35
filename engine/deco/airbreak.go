package deco

// Air breaks: at a stop nobody breathes a gas of 80 % oxygen or more for longer
// than Settings.BreakEvery minutes at a stretch (travel and switches before the
// stop counted); then the leanest gas at hand is breathed for BreakMinutes, and
// the team does not leave while anybody has a break. Break minutes count as minutes of
// the stop, tissues, gas and oxygen follow them, and a break costs no switch
// minutes. The practice is the US Navy's in-water one (30 min on, 5 off, Rev 4, p.
// 14-6, read) and technical diving's (20 to 25 on, 5 off); how it goes into a schedule in
// whole minutes is this project's. Holds that a plan asks for are not cut.

// onOxygen tells whether a diver breathes what a break is made from.
func (p *Planner) onOxygen(d int) bool {
	return p.mixes[p.now[d].breathing].O2 >= richOxygen-same
}

// breaksPossible tells whether the policy asks for breaks and somebody here may need one.
func (p *Planner) breaksPossible() bool {
	if !(p.set.BreakEvery > 0) {
		return false
	}
	for d := range p.team.Divers {
		if p.onOxygen(d) {
			return true
		}
	}
	return false
}

// breakGas is the leanest gas at hand below 80 % oxygen that may be breathed at a depth.
func (p *Planner) breakGas(d int, depth float64) (best int, ok bool) {
	least := richOxygen - same
	try := func(c int) {
		if o := p.mixes[c].O2; p.now[d].atHand>>c&1 == 1 && p.Allowed(c, depth) && o < least-same {
			least, best, ok = o, c, true
		}
	}
	try(p.back[d])
	for _, c := range p.team.Divers[d].Stages {
		try(c)
	}
	return best, ok
}

// countOxygen keeps how long each diver has breathed such a gas without a break.
func (p *Planner) countOxygen(minutes float64) {
	for d := range p.team.Divers {
		if c := &p.state[d]; p.onOxygen(d) {
			c.OxygenMinutes += minutes
		} else if minutes > 0 {
			c.OxygenMinutes = 0
		}
	}
}

// waitWithBreaks is the wait of leave where breaks are asked for, minute by minute
// and in full.
func (p *Planner) waitWithBreaks(j int, t float64, r *Result) (after float64, ok bool) {
	depth := p.bounds[j].depth
	at := p.set.Water.Pressure(depth)
	minute := p.steps.at(1, p.helium)
	stop := &r.Stops[len(r.Stops)-1]
	var goesBack, left [MaxDivers]int
	unlogged := 0
	write := func() {
		if unlogged > 0 {
			p.log(Stopped, depth, depth, float64(unlogged), r)
			unlogged = 0
		}
	}
	change := func(d, cylinder, n int) {
		write()
		p.now[d].breathing = cylinder
		r.Switches = append(r.Switches, GasSwitch{Minutes: t + float64(n), Depth: depth, Diver: d, Cylinder: cylinder})
	}
	p.simEnd = -1
	for n := 0; n < LongestStop; {
		for d := range p.team.Divers {
			if left[d] > 0 || !p.onOxygen(d) || p.state[d].OxygenMinutes+float64(unlogged)+1 <= p.set.BreakEvery+same {
				continue
			}
			c, found := p.breakGas(d, depth)
			if !found {
				r.NoBreak = true
				continue
			}
			goesBack[d], left[d] = p.now[d].breathing, p.set.BreakMinutes
			change(d, c, n)
		}
		for d := range p.team.Divers {
			p.model.Apply(&p.state[d].Tissues, minute, p.mixes[p.now[d].breathing], at, at, p.hasHelium[d])
		}
		n++
		unlogged++
		breaking := false
		for d := range p.team.Divers {
			if left[d] == 0 {
				continue
			}
			if left[d]--; left[d] == 0 {
				change(d, goesBack[d], n)
			}
			breaking = breaking || left[d] > 0
		}
		if breaking {
			continue
		}
		refused, worst := p.testAll(j, r, false)
		if refused {
			stop.NeededBy = *worst
			continue
		}
		write()
		stop.Minutes, stop.LeavesWith = n, *worst
		p.permitted(j)
		return t + float64(n), true
	}
	write()
	stop.Minutes = LongestStop
	return t + LongestStop, false
}
