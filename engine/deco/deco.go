// Package deco plans decompression along the passage: where on the way a team
// has to wait, how long, and on which gas. It follows the method handbook's
// decisions D40 to D55; on an open-water profile they are convention R1 (physics
// section 11). Depths are metres of the site's water, times minutes, pressures bar absolute.
package deco

import (
	"errors"
	"fmt"
	"math"

	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// Bounds of what a Planner takes.
const (
	MaxDivers    = 6
	MaxCylinders = 64    // of the whole team
	MaxPieces    = 20000 // of a path
	MaxDepth     = 400   // metres
	MaxRate      = 1000  // m/min, up or down
	MaxMinutes   = 6000  // of a path without its stops
	LongestStop  = 720   // minutes at one place; more is "no schedule" (D53)
)

// Tolerances: depths and times that differ by less are the same place; margins
// pass at -marginSlack bar (D52).
const (
	same        = 1e-9
	marginSlack = 1e-9
)

// forgetBelow is by how many metres a diver has to be deeper than an anchor (D42)
// or a remembered "no" (D43) until it counts no more. The handbook gives it as
// one grid step of 3 m and fixes it apart from the policy's grid.
const forgetBelow = 3

// Settings are what the policy and the site fix for a schedule.
type Settings struct {
	Model         *tissue.Model
	Water         water.Column
	GFLow, GFHigh float64 // 0.05 to 1, low ≤ high
	Grid          float64 // metres between stop depths, 1 to 10
	LastStop      float64 // metres, 1 to 12 (3 or 6 by the handbook)
	Ascent        float64 // m/min, of the straight ascent asked for by D43; 0.5 to 30
	SwitchMinutes float64 // spent by the team where anybody changes gas; 0 to 10
	LimitDeco     float64 // bar of oxygen, cylinders of kind Deco
	LimitBottom   float64 // bar of oxygen, every other cylinder
	Tolerance     float64 // bar above a limit that still passes (D45: 0.02)
	Least         float64 // bar of oxygen; the smaller of this and 0.21 of the surface pressure holds (D45: 0.18)
	FlowLimit     float64 // m/min: a stop in more flow is flagged (D48)

	BreakEvery   float64 // minutes of 80 % oxygen or more at a stop until an air break; 0: no breaks
	BreakMinutes int     // whole minutes of a break
}

// Check names every setting out of range.
func (s *Settings) Check() error {
	var errs []error
	in := func(name string, v, low, high float64) {
		if !(v >= low && v <= high) {
			errs = append(errs, fmt.Errorf("%s %v, must be %v to %v", name, v, low, high))
		}
	}
	if s.Model == nil {
		errs = append(errs, errors.New("tissue model missing"))
	}
	errs = append(errs, s.Water.Check())
	in("low gradient factor", s.GFLow, 0.05, 1)
	in("high gradient factor", s.GFHigh, 0.05, 1)
	if s.GFLow > s.GFHigh {
		errs = append(errs, fmt.Errorf("low gradient factor %v above the high one %v", s.GFLow, s.GFHigh))
	}
	in("stop grid in m", s.Grid, 1, 10)
	in("last stop in m", s.LastStop, 1, 12)
	in("ascent rate in m/min", s.Ascent, 0.5, 30)
	in("minutes of a gas switch", s.SwitchMinutes, 0, 10)
	in("oxygen limit for decompression in bar", s.LimitDeco, 0.2, 3)
	in("oxygen limit for back gas in bar", s.LimitBottom, 0.2, 3)
	in("oxygen tolerance in bar", s.Tolerance, 0, 0.2)
	in("least oxygen in bar", s.Least, 0, 0.3)
	in("flow limit for a stop in m/min", s.FlowLimit, 0, 1000)
	if s.BreakEvery != 0 {
		in("minutes of oxygen until an air break", s.BreakEvery, 5, 240)
		in("minutes of an air break", float64(s.BreakMinutes), 1, 60)
	}
	return errors.Join(errs...)
}

// Kind is what a cylinder is for.
type Kind uint8

const (
	Back  Kind = iota // back gas, or the mains in whatever form they are worn
	Stage             // gas for the way, with the limit of back gas
	Deco              // gas for decompression
)

// Cylinder is one gas supply of the team.
type Cylinder struct {
	ID          string
	Mix         gas.Mix
	Kind        Kind
	SwitchDepth float64 // metres, never breathed deeper; not used for Back
}

// Diver has the cylinders of one diver as indices into Team.Cylinders.
type Diver struct {
	Name   string
	Back   int
	Stages []int // in order of listing, which decides ties (D45)
}

// Team is who dives with what.
type Team struct {
	Cylinders []Cylinder
	Divers    []Diver
}

// Condition is everything about a diver that a schedule depends on at a moment.
type Condition struct {
	Tissues   tissue.State
	Breathing int     // index into Team.Cylinders
	AtHand    uint64  // cylinders that can be breathed now, bit = index
	Anchor    float64 // metres, D42; 0: none
	No        float64 // metres of the place where D43's question was answered no and not forgotten; 0: none
	Refused   bool    // was refused by a test on this dive
	Exempt    bool    // by D43 at the last test: until the next one the GFhigh line is in force (D55)

	OxygenMinutes float64 // on 80 % oxygen or more without a break; counted only where breaks are asked for
}

// Moment is the team at a place and time.
type Moment struct {
	Minutes float64 // since the start of the descent
	Divers  []Condition
}

// Begin is the team at the surface before the dive, breathing back gas, with
// every cylinder of its own at hand and the given tissues, one for each diver.
func Begin(t *Team, tissues []tissue.State) Moment {
	m := Moment{Divers: make([]Condition, len(t.Divers))}
	for i := range t.Divers {
		m.Divers[i] = Condition{Breathing: t.Divers[i].Back, AtHand: own(&t.Divers[i])}
		if i < len(tissues) {
			m.Divers[i].Tissues = tissues[i]
		}
	}
	return m
}

func own(d *Diver) uint64 {
	bits := uint64(1) << d.Back
	for _, c := range d.Stages {
		bits |= 1 << c
	}
	return bits
}

// Clone is a copy that shares nothing.
func (m *Moment) Clone() Moment {
	return Moment{Minutes: m.Minutes, Divers: append([]Condition(nil), m.Divers...)}
}

func (t *Team) check() error {
	var errs []error
	if len(t.Divers) < 1 || len(t.Divers) > MaxDivers {
		errs = append(errs, fmt.Errorf("%d divers, must be 1 to %d", len(t.Divers), MaxDivers))
	}
	if len(t.Cylinders) > MaxCylinders {
		errs = append(errs, fmt.Errorf("%d cylinders, at most %d", len(t.Cylinders), MaxCylinders))
	}
	for i := range t.Cylinders {
		c := &t.Cylinders[i]
		if err := c.Mix.Check(); err != nil {
			errs = append(errs, fmt.Errorf("cylinder %s: %w", c.ID, err))
		}
		if c.Kind != Back && !(c.SwitchDepth >= 0 && c.SwitchDepth <= MaxDepth) {
			errs = append(errs, fmt.Errorf("cylinder %s: switch depth %v m, must be 0 to %d m", c.ID, c.SwitchDepth, MaxDepth))
		}
	}
	for i := range t.Divers {
		d := &t.Divers[i]
		known := d.Back >= 0 && d.Back < len(t.Cylinders)
		for _, c := range d.Stages {
			known = known && c >= 0 && c < len(t.Cylinders)
		}
		if !known {
			errs = append(errs, fmt.Errorf("diver %s has a cylinder that the team does not list", d.Name))
		}
	}
	return errors.Join(errs...)
}

func (m *Moment) check(t *Team) error {
	var errs []error
	if len(m.Divers) != len(t.Divers) {
		return fmt.Errorf("state of %d divers for a team of %d", len(m.Divers), len(t.Divers))
	}
	for i := range m.Divers {
		c := &m.Divers[i]
		if c.Breathing < 0 || c.Breathing >= len(t.Cylinders) {
			errs = append(errs, fmt.Errorf("diver %s: breathes no cylinder", t.Divers[i].Name))
		}
		for j := range c.Tissues.N2 {
			if n, h := c.Tissues.N2[j], c.Tissues.He[j]; !(n >= 0 && n < 100 && h >= 0 && h < 100) {
				errs = append(errs, fmt.Errorf("diver %s: tissue tension %v/%v bar, must be 0 to 100 bar", t.Divers[i].Name, n, h))
				break
			}
		}
		if math.IsNaN(c.Anchor) || math.IsNaN(c.No) {
			errs = append(errs, fmt.Errorf("diver %s: anchor is not a number", t.Divers[i].Name))
		}
	}
	if !(m.Minutes >= 0 && m.Minutes <= 100000) {
		errs = append(errs, fmt.Errorf("runtime %v min", m.Minutes))
	}
	return errors.Join(errs...)
}
