package deco

// Divers who are in the same state with the same gases and do the same all along
// come to the same: a schedule is worked out for the first of them alone, and the
// others are added to its result.

// twin tells of whom a diver is the twin, and by how much the diver's cylinders come later.
type twin struct{ of, shift int }

// apart is the team without the twins at its end.
func (p *Planner) apart(t *Team, path *Path, start *Moment, l *loss) *Team {
	n := len(t.Divers)
	for ; n > 1; n-- {
		d := n - 1
		p.twins[d].of = -1
		for e := range d {
			w := twin{e, t.Divers[d].Back - t.Divers[e].Back}
			if mine := own(&t.Divers[e]); t.twins(d, w) && start.twins(d, w, mine) && l.twins(t, d, e) && path.twins(d, w, mine) {
				p.twins[d] = w
				break
			}
		}
		if p.twins[d].of < 0 {
			break
		}
	}
	// With air breaks one diver may begin one at the minute at which another ends one.
	if n == len(t.Divers) || n > 1 && p.set.BreakEvery > 0 {
		return t
	}
	p.few = Team{Cylinders: t.Cylinders, Divers: t.Divers[:n]}
	return &p.few
}

// twins tells whether two divers have the same gases.
func (t *Team) twins(d int, w twin) bool {
	a, b := &t.Divers[d], &t.Divers[w.of]
	if len(a.Stages) != len(b.Stages) || w.shift <= 0 {
		return false
	}
	same := func(c, of int) bool {
		x, y := &t.Cylinders[c], &t.Cylinders[of]
		return c == of+w.shift && x.Mix == y.Mix && x.Kind == y.Kind && x.SwitchDepth == y.SwitchDepth
	}
	if !same(a.Back, b.Back) {
		return false
	}
	for i := range a.Stages {
		if !same(a.Stages[i], b.Stages[i]) {
			return false
		}
	}
	return true
}

// later is the condition of a twin.
func (c *Condition) later(shift int) Condition {
	x := *c
	x.Breathing, x.AtHand = c.Breathing+shift, c.AtHand<<shift
	return x
}

// twins tells whether two divers are in the same state, breathing and having at
// hand nothing but what is their own (mine, of the first).
func (m *Moment) twins(d int, w twin, mine uint64) bool {
	c := &m.Divers[w.of]
	return c.AtHand&^mine == 0 && mine>>c.Breathing&1 == 1 && m.Divers[d] == c.later(w.shift)
}

// twins tells whether two divers lost nothing, or the same.
func (l *loss) twins(t *Team, d, e int) bool {
	if l.donor[d] != 0 || l.donor[e] != 0 {
		return false
	}
	a, b := &t.Divers[d], &t.Divers[e]
	if l.cylinders>>a.Back&1 != l.cylinders>>b.Back&1 {
		return false
	}
	for i := range a.Stages {
		if l.cylinders>>a.Stages[i]&1 != l.cylinders>>b.Stages[i]&1 {
			return false
		}
	}
	return true
}

// twins tells whether two divers do the same with their own at every node, in the same order.
func (p *Path) twins(d int, w twin, mine uint64) bool {
	for i := range p.Nodes {
		list := p.Nodes[i].Actions
		next := func(k, diver int) int {
			for k < len(list) && list[k].Diver != diver {
				k++
			}
			return k
		}
		x, y := next(0, d), next(0, w.of)
		for x < len(list) && y < len(list) {
			if c := list[y].Cylinder; list[x].Kind != list[y].Kind || list[x].Cylinder != c+w.shift || mine>>c&1 == 0 {
				return false
			}
			x, y = next(x+1, d), next(y+1, w.of)
		}
		if x != y { // one of them does more
			return false
		}
	}
	return true
}

// addTwins adds the divers of the whole team who were left out of a schedule.
func (p *Planner) addTwins(t *Team, r *Result) {
	first := len(p.team.Divers)
	if p.team = t; first == len(t.Divers) {
		return
	}
	twins := p.twins[first:len(t.Divers)]
	breathe := func(list *[MaxDivers]uint8) {
		for i, w := range twins {
			list[first+i] = list[w.of] + uint8(w.shift)
		}
	}
	for i := range r.Stretches {
		s := &r.Stretches[i]
		breathe(&s.Breathing)
		for k, w := range twins {
			s.Anchor[first+k] = s.Anchor[w.of]
			s.Exempt |= s.Exempt >> w.of & 1 << (first + k)
		}
	}
	for i := range r.Stops {
		breathe(&r.Stops[i].Breathing)
	}
	meet := func(list []Condition) []Condition {
		for _, w := range twins {
			list = append(list, list[w.of].later(w.shift))
		}
		return list
	}
	for i := range r.Moments {
		r.Moments[i].Divers = meet(r.Moments[i].Divers)
	}
	r.End.Divers = meet(r.End.Divers)
	for k, w := range twins {
		p.hasHelium[first+k] = p.hasHelium[w.of]
	}
	p.switchTwins(twins, first, r)
}

// switchTwins adds the changes of gas of twins behind those of one event: of every
// diver one at most, in the order of the team.
func (p *Planner) switchTwins(twins []twin, first int, r *Result) {
	done := append(p.switches[:0], r.Switches...)
	p.switches = done
	r.Switches = r.Switches[:0]
	for len(done) > 0 {
		n := 1
		for n < len(done) && done[n].Minutes == done[0].Minutes && done[n].Diver > done[n-1].Diver {
			n++
		}
		r.Switches = append(r.Switches, done[:n]...)
		for k, w := range twins {
			for _, s := range done[:n] {
				if s.Diver == w.of {
					s.Diver, s.Cylinder = first+k, s.Cylinder+w.shift
					r.Switches = append(r.Switches, s)
				}
			}
		}
		done = done[n:]
	}
}
