package deco

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"lastlight/engine/gas"
	"lastlight/engine/tissue"
)

// Planner works out schedules under one set of settings. It keeps its memory
// from call to call and is not for use by two goroutines at once.
type Planner struct {
	// Plain schedules have the same stops and leave out who needed each of them
	// (Stop.NeededBy, and refused tests in Result.Tests), which takes up to a seventh of the time.
	Plain bool

	// Spent is the work of all schedules so far: minutes waited, and parts of a way as so many,
	// for each diver. Beyond Most (0: no bound) schedules fail with ErrTooMuch; it is
	// counted, not timed, so that the same input fails on every machine or on none.
	Spent, Most int

	// Stop is asked before every schedule, and told what was spent since it was asked last; from its first yes on schedules fail
	// with ErrTooMuch. nil: never asked.
	Stop    func(spent int) bool
	told    int // of Spent
	stopped bool

	set   Settings
	model *tissue.Model
	coef  [tissue.Count]coefficients
	steps stepTable

	powersN2, powersHe powers // of one minute

	subs   []sub
	bounds []bound
	travel []segment

	team      *Team
	path      *Path
	lastStop  float64
	helium    bool // anybody's gases or tissues have some
	hasHelium [MaxDivers]bool
	mixes     [MaxCylinders]gas.Mix
	back      [MaxDivers]int
	lost      uint64

	deepest, shallowest [MaxCylinders]float64 // where each may be breathed
	begin               float64               // runtime at the start
	piece               int                   // of the path, of the stretch being logged
	until               bool                  // the walk ends at the last probe
	startOut            []Condition           // memory of WayOut

	twins    [MaxDivers]twin
	few      Team        // without twins
	switches []GasSwitch // memory of switchTwins

	state     [MaxDivers]Condition
	now       [MaxDivers]carrying
	ahead     [MaxDivers]carrying
	sim       [MaxDivers]tissue.State
	up        tissue.State
	outcome   [MaxDivers]tested
	tracked   [MaxDivers]tracked
	followers [MaxDivers][]follower
	exempt    [MaxDivers]int  // last bound of the travel D43 exempted the diver on; -1: none
	byHigh    [MaxDivers]bool // D43 exempted the diver at the last test: the GFhigh line is in force
	simEnd    int             // p.sim is the state at this bound; -1: it is not
	lastLeast int             // compartment of the least margin last found, where the next search begins

	nitrogen [2]*limits // asked for last, and before
}

// tracked is the compartment that refused a diver, followed alone while the team waits.
type tracked struct {
	on          bool
	untested    bool // no full test at this place yet: the compartment was guessed
	compartment int
	n2, he      float64
	behind      int // minutes that the diver's whole state lags
	waiting     follower
}

// NewPlanner checks the settings and makes a planner for them.
func NewPlanner(s Settings) (*Planner, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	p := &Planner{set: s, model: s.Model, lastStop: s.LastStop}
	p.steps.model = s.Model
	p.nitrogen = [2]*limits{new(limits), new(limits)}
	for i := range p.coef {
		p.coef[i] = coefficientsOf(s.Model.Compartment(i))
	}
	return p, nil
}

// partWork is what a part of a way takes, in minutes waited.
const partWork = 16

// ErrTooMuch is the error of a schedule beyond Planner.Most, or after a yes of Planner.Stop.
var ErrTooMuch = errors.New("too much work")

// GivenUp tells whether schedules fail with ErrTooMuch from here on.
func (p *Planner) GivenUp() bool { return p.stopped || p.Most > 0 && p.Spent > p.Most }

// Forget drops what the planner remembers of earlier calls to be faster; no result depends on it.
func (p *Planner) Forget() {
	p.steps.reset()
	p.powersN2.bits, p.powersHe.bits = 0, 0
}

// Schedule walks the path and fills the result: stops, switches, times and the
// team's state at the probes, which must be in the order of the path. The error
// names everything out of bounds in team, path, start or probes.
func (p *Planner) Schedule(team *Team, path *Path, start *Moment, probes []Probe, r *Result) error {
	return p.schedule(team, path, start, probes, r, loss{})
}

// Until is Schedule no farther than the last probe, for who asks for states alone.
func (p *Planner) Until(team *Team, path *Path, start *Moment, probes []Probe, r *Result) error {
	p.until = true
	defer func() { p.until = false }()
	return p.schedule(team, path, start, probes, r, loss{})
}

func (p *Planner) schedule(team *Team, path *Path, start *Moment, probes []Probe, r *Result, l loss) error {
	if p.Stop != nil {
		p.stopped = p.stopped || p.Stop(p.Spent-p.told)
		p.told = p.Spent
	}
	if p.GivenUp() {
		return ErrTooMuch
	}
	if err := team.check(); err != nil {
		return err
	}
	if err := errors.Join(path.check(team), start.check(team), checkProbes(probes, path)); err != nil {
		return err
	}
	p.prepare(p.apart(team, path, start, &l), path, start, r, l)
	r.room(len(probes), len(team.Divers))
	p.compile(path, p.lastStop)
	p.walk(path, probes, r)
	p.addTwins(team, r)
	p.Spent += (partWork*len(p.bounds) + r.TotalStop()) * len(team.Divers)
	return nil
}

func checkProbes(probes []Probe, path *Path) error {
	var errs []error
	for i, q := range probes {
		switch {
		case q.Node >= 0 && (q.Node >= len(path.Nodes) || !(q.Hold >= 0 && q.Hold <= path.Nodes[q.Node].Hold+same)):
			errs = append(errs, fmt.Errorf("probe %d: no such node or hold", i))
		case q.Node < 0 && (q.Piece < 0 || q.Piece >= len(path.Pieces) || !(q.Share >= 0 && q.Share <= 1)):
			errs = append(errs, fmt.Errorf("probe %d: no such piece or share", i))
		}
	}
	return errors.Join(errs...)
}

func (p *Planner) prepare(team *Team, path *Path, start *Moment, r *Result, l loss) {
	if p.steps.used > maxSteps {
		p.steps.reset()
	}
	p.team, p.path, p.lost = team, path, l.cylinders
	p.lastStop = p.set.LastStop
	if l.lastStop > 0 {
		p.lastStop = l.lastStop
	}
	p.simEnd, p.lastLeast, p.begin = -1, 0, start.Minutes
	for i := range team.Cylinders {
		p.mixes[i] = team.Cylinders[i].Mix
	}
	p.depths()
	p.helium = false
	p.steps.recent = [2]*tissue.Step{}
	for d := range team.Divers {
		p.back[d] = team.Divers[d].Back
		if l.donor[d] > 0 {
			p.back[d] = l.donor[d] - 1
		}
		c := start.Divers[d]
		p.state[d] = c
		p.now[d] = carrying{atHand: c.AtHand, breathing: c.Breathing}
		p.exempt[d], p.byHigh[d] = -1, c.Exempt
		p.tracked[d] = tracked{compartment: -1}
		h := c.Tissues.HasHelium() || p.mixes[c.Breathing].He > 0 || p.mixes[p.back[d]].He > 0
		for _, i := range team.Divers[d].Stages {
			h = h || p.mixes[i].He > 0
		}
		p.hasHelium[d] = h
		p.helium = p.helium || h
	}
	*r = Result{
		Stops: r.Stops[:0], Switches: r.Switches[:0], Stretches: r.Stretches[:0], Arrival: r.Arrival[:0], Departure: r.Departure[:0],
		Moments: r.Moments[:0], End: Moment{Divers: r.End.Divers[:0]}, Turn: -1, LastStop: p.lastStop, Tests: math.Inf(1), Questions: math.Inf(1), NoStop: true,
	}
	for d := range team.Divers {
		r.NoStop = r.NoStop && !p.state[d].Refused && p.state[d].No == 0
	}
}

func (p *Planner) walk(path *Path, probes []Probe, r *Result) {
	divers := len(p.team.Divers)
	t := p.begin
	turned := path.Turned
	p.piece = 0
	if path.Delay > 0 {
		t = p.rest(Delayed, path.Delay, p.bounds[0].depth, t, r)
	}
	for j := range p.bounds {
		if p.until && len(probes) == 0 {
			break
		}
		b := &p.bounds[j]
		p.piece = len(path.Pieces)
		if j < len(p.subs) {
			p.piece = int(p.subs[j].piece)
		}
		var node *Node
		picked := uint32(0)
		if b.node >= 0 {
			node = &path.Nodes[b.node]
			r.Arrival = append(r.Arrival, t)
			picked = p.act(node, p.now[:divers])
		}
		if turned && (b.grid || picked != 0) {
			t = p.switchOnArrival(j, picked, t, r)
		}
		if node != nil {
			for len(probes) > 0 && probes[0].Node == int(b.node) {
				p.probeHold(t, probes[0].Hold, b.depth, r)
				probes = probes[1:]
			}
			t = p.rest(Holding, node.Hold, b.depth, t, r)
			if node.Turn {
				turned = true
				r.Turn = t
			}
		}
		if j == len(p.subs) {
			r.Departure = append(r.Departure, t)
			break
		}
		if b.wait {
			var ok bool
			if t, ok = p.leave(path, j, turned, t, r); !ok {
				r.NoSchedule = true
				break
			}
		}
		if turned && p.subs[j].fallStart {
			t = p.switchBeforeFall(j, t, r)
		}
		if node != nil {
			r.Departure = append(r.Departure, t)
		}
		probes = p.swim(j, t, probes, r)
		t += p.subs[j].minutes
	}
	r.End.Minutes = t
	for d := range divers {
		p.sync(d)
		r.End.Divers = append(r.End.Divers, p.state[d])
	}
}

// sync writes what a diver carries back into the condition.
func (p *Planner) sync(d int) {
	c := &p.state[d]
	c.AtHand, c.Breathing, c.Exempt = p.now[d].atHand, p.now[d].breathing, p.byHigh[d]
}

// moment adds the team's state to the result's.
func (p *Planner) moment(t float64, r *Result) *Moment {
	n := len(r.Moments)
	r.Moments = slices.Grow(r.Moments, 1)[:n+1] // what lies there is of an earlier call
	m := &r.Moments[n]
	m.Minutes, m.Divers = t, m.Divers[:0]
	for d := range p.team.Divers {
		p.sync(d)
		m.Divers = append(m.Divers, p.state[d])
	}
	return m
}

// rest spends minutes at a depth.
func (p *Planner) rest(kind StretchKind, minutes, depth, t float64, r *Result) float64 {
	if !(minutes > 0) {
		return t
	}
	at := p.set.Water.Pressure(depth)
	st := p.steps.at(minutes, p.helium)
	for d := range p.team.Divers {
		p.model.Apply(&p.state[d].Tissues, st, p.mixes[p.now[d].breathing], at, at, p.hasHelium[d])
	}
	p.simEnd = -1
	p.log(kind, depth, depth, minutes, r)
	return t + minutes
}

func (p *Planner) log(kind StretchKind, from, to, minutes float64, r *Result) {
	n := len(r.Stretches)
	if n == cap(r.Stretches) {
		r.Stretches = slices.Grow(r.Stretches, max(len(p.subs)+len(p.subs)/4, n/2))
	}
	r.Stretches = r.Stretches[:n+1] // what lies there is of an earlier call
	s := &r.Stretches[n]
	s.Kind, s.Piece, s.From, s.To, s.Minutes, s.Exempt = kind, p.piece, from, to, minutes, 0
	s.Breathing, s.Anchor = [MaxDivers]uint8{}, [MaxDivers]float64{}
	for d := range p.team.Divers {
		s.Breathing[d] = uint8(p.now[d].breathing)
		s.Anchor[d] = p.state[d].Anchor
		if p.byHigh[d] {
			s.Exempt |= 1 << d
		}
	}
	if p.set.BreakEvery > 0 {
		p.countOxygen(minutes)
	}
	if kind != Travel && p.helium && !r.Drifts {
		r.Drifts = p.drifts(s)
	}
}

func (p *Planner) switchOnArrival(j int, picked uint32, t float64, r *Result) float64 {
	changed := false
	for d := range p.team.Divers {
		if p.changeOnArrival(d, j, &p.now[d], picked>>d&1 == 1, p.exempt[d] >= j) {
			changed = true
			r.Switches = append(r.Switches, GasSwitch{Minutes: t, Depth: p.bounds[j].depth, Diver: d, Cylinder: p.now[d].breathing})
		}
	}
	if changed {
		t = p.rest(Switching, p.set.SwitchMinutes, p.bounds[j].depth, t, r)
	}
	return t
}

func (p *Planner) switchBeforeFall(j int, t float64, r *Result) float64 {
	changed := false
	for d := range p.team.Divers {
		c, missing := p.changeBeforeFall(d, j, &p.now[d])
		r.NoGas = r.NoGas || missing
		if c {
			changed = true
			r.Switches = append(r.Switches, GasSwitch{Minutes: t, Depth: p.bounds[j].depth, Diver: d, Cylinder: p.now[d].breathing})
		}
	}
	if changed {
		t = p.rest(Switching, p.set.SwitchMinutes, p.bounds[j].depth, t, r)
	}
	return t
}

// swim moves the team over sub j and takes the probes inside it.
func (p *Planner) swim(j int, t float64, probes []Probe, r *Result) []Probe {
	s := &p.subs[j]
	from, to := p.set.Water.Pressure(s.from), p.set.Water.Pressure(s.to)
	q := &p.path.Pieces[s.piece]
	end := 1.0
	if j+1 < len(p.subs) && p.subs[j+1].piece == s.piece {
		end = p.subs[j+1].share(q)
	}
	p.log(Travel, s.from, s.to, s.minutes, r)
	for len(probes) > 0 && probes[0].Node < 0 && probes[0].Piece == int(s.piece) && probes[0].Share <= end {
		p.probeInside(t, s, end, probes[0].Share, q, from, r)
		probes = probes[1:]
	}
	if p.simEnd == j+1 {
		for d := range p.team.Divers {
			p.state[d].Tissues = p.sim[d]
		}
	} else {
		st := p.steps.at(s.minutes, p.helium)
		for d := range p.team.Divers {
			if s.minutes > 0 {
				p.model.Apply(&p.state[d].Tissues, st, p.mixes[p.now[d].breathing], from, to, p.hasHelium[d])
			}
		}
	}
	p.simEnd = -1
	if s.falling {
		for d := range p.team.Divers {
			p.state[d].sink(s.to)
		}
	}
	return probes
}

// sink forgets anchor and answer once the diver is deep enough below them (D42, D43).
func (c *Condition) sink(depth float64) {
	if depth > c.Anchor+forgetBelow+same {
		c.Anchor = 0
	}
	if depth > c.No+forgetBelow+same {
		c.No = 0
	}
}

// probeHold takes the state some minutes into a hold, on a copy: a probe changes
// no bit of the schedule.
func (p *Planner) probeHold(t, hold, depth float64, r *Result) {
	m := p.moment(t+hold, r)
	if hold > 0 {
		at := p.set.Water.Pressure(depth)
		st := p.steps.at(hold, p.helium)
		for d := range m.Divers {
			p.model.Apply(&m.Divers[d].Tissues, st, p.mixes[p.now[d].breathing], at, at, p.hasHelium[d])
		}
	}
}

func (p *Planner) probeInside(t float64, s *sub, end, share float64, q *Piece, from float64, r *Result) {
	part := 0.0
	if begin := s.share(q); end > begin {
		part = max(0, (share-begin)/(end-begin))
	}
	minutes := float64(part * s.minutes)
	depth := s.from + float64(part*(s.to-s.from))
	m := p.moment(t+minutes, r)
	if minutes > 0 {
		st := p.steps.at(minutes, p.helium)
		for d := range m.Divers {
			p.model.Apply(&m.Divers[d].Tissues, st, p.mixes[p.now[d].breathing], from, p.set.Water.Pressure(depth), p.hasHelium[d])
			if s.falling {
				m.Divers[d].sink(depth)
			}
		}
	}
}
