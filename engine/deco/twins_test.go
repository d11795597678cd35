package deco

import (
	"reflect"
	"testing"
)

// Whoever comes to the same as another gets what a schedule of everybody by name
// gives: the same caves with a cylinder more that nobody can breathe, by which the
// divers differ and nothing else does.
func TestTwinsComeToTheSame(t *testing.T) {
	rng, count := caves(t)
	left := 0
	for n := range count {
		c := randomCave(rng)
		if n%3 == 0 {
			c.set.BreakEvery, c.set.BreakMinutes = 12, 5
		}
		double(&c, 3)
		for k := range c.path.Nodes { // everybody drops and takes up again what is listed last
			kind := Drop
			if k > len(c.path.Nodes)/2 {
				kind = PickUp
			}
			if rng.Intn(4) > 0 {
				continue
			}
			for d := range c.team.Divers {
				if s := c.team.Divers[d].Stages; len(s) > 0 {
					c.path.Nodes[k].Actions = append(c.path.Nodes[k].Actions, Action{kind, d, s[len(s)-1]})
				}
			}
		}
		p, err := NewPlanner(c.set)
		if err != nil {
			t.Fatal(err)
		}
		probes := []Probe{{Node: len(c.path.Nodes) / 2}, {Node: -1, Piece: len(c.path.Pieces) - 1, Share: 0.5}}
		var few, all Result
		if err := p.Schedule(c.team, c.path, &c.start, probes, &few); err != nil {
			t.Fatal(err)
		}
		if p.few.Divers != nil && len(p.few.Divers) < len(c.team.Divers) {
			left++
		}
		p.few = Team{}
		named := *c.team
		named.Divers = append([]Diver(nil), c.team.Divers...)
		for d := range named.Divers {
			x := c.team.Cylinders[named.Divers[d].Back]
			x.Kind, x.SwitchDepth = Deco, float64(d) // not at hand
			named.Cylinders = append(named.Cylinders[:len(named.Cylinders):len(named.Cylinders)], x)
			named.Divers[d].Stages = append(append([]int(nil), named.Divers[d].Stages...), len(named.Cylinders)-1)
		}
		if err := p.Schedule(&named, c.path, &c.start, probes, &all); err != nil {
			t.Fatal(err)
		}
		if p.few.Divers != nil {
			t.Fatalf("cave %d: divers with other cylinders are left out", n)
		}
		if !reflect.DeepEqual(few, all) {
			t.Fatalf("cave %d: without twins\n%+v\nby name\n%+v", n, few, all)
		}
	}
	if left < count/2 {
		t.Errorf("somebody is left out in %d of %d caves", left, count)
	}
}

// double adds divers like the first one until there are so many.
func double(c *cave, divers int) {
	first := c.team.Divers[0]
	for len(c.team.Divers) < divers {
		shift := len(c.team.Cylinders) - first.Back
		x := Diver{Name: string(rune('A' + len(c.team.Divers))), Back: first.Back + shift}
		c.team.Cylinders = append(c.team.Cylinders, c.team.Cylinders[first.Back])
		for _, s := range first.Stages {
			x.Stages = append(x.Stages, s+shift)
			c.team.Cylinders = append(c.team.Cylinders, c.team.Cylinders[s])
		}
		c.team.Divers = append(c.team.Divers, x)
		c.start.Divers = append(c.start.Divers, c.start.Divers[0].later(shift))
	}
}
