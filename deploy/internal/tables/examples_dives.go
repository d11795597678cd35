package tables

import (
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

// exampleDives are the schedules of physics section 11 that the oxygen rows name.
var exampleDives = map[string]scheduleRow{
	"S1":  exampleDive("S1", tissue.C, 1.01325, 40, 30, .3, .7, 3, "air"),
	"S2":  exampleDive("S2", tissue.C, 1.01325, 30, 40, .4, .85, 3, "ean32", "o2", 6.0),
	"S3":  exampleDive("S3", tissue.C, 1.01325, 55, 25, .3, .8, 6, "tx21/35", "ean50", 21.0, "o2", 6.0),
	"S4":  exampleDive("S4", tissue.B, 1.0, 42, 20, 1, 1, 3, "air"),
	"S5":  exampleDive("S5", tissue.C, 0.79495, 30, 35, .35, .75, 3, "air", "ean50", 21.0),
	"S6":  exampleDive("S6", tissue.C, 1.01325, 75, 20, .2, .8, 6, "tx15/55", "tx21/35", 45.0, "ean50", 21.0, "o2", 6.0),
	"S10": exampleDive("S10", tissue.C, 1.01325, 26, 25, .3, .85, 3, "ean32"),
	"S11": exampleDive("S11", tissue.C, 1.01325, 90, 18, .25, .75, 6, "tx10/70", "tx21/35", 45.0, "ean50", 21.0, "o2", 6.0),
}

func exampleDive(name string, v tissue.Variant, surface, depth, bottom, low, high, last float64, bottomGas string, others ...any) scheduleRow {
	row := scheduleRow{
		Name: name, Variant: v, First: "1b", Surface: surface, PerMetre: water.Fresh.PerMetre, Vapour: tissue.WaterVapour,
		Depth: depth, BottomTime: bottom, Descent: 20, Ascent: 10, GFLow: low, GFHigh: high, LastStop: last, Step: 3,
		Gases: [][2]any{{bottomGas, nil}},
	}
	if surface == 1 {
		row.PerMetre = 0.1
	}
	for i := 0; i < len(others); i += 2 {
		row.Gases = append(row.Gases, [2]any{others[i], others[i+1]})
	}
	return row
}

// schedule is whole-dive oxygen exposure, to 0.01 %.
func (c *exampleCheck) schedule() bool {
	row, ok := exampleDives[c.text("schedule")]
	if !ok {
		return false
	}
	s, _, team, err := row.schedule(row.First, row.Vapour)
	if err != nil {
		c.result.Fail(c.ID, "schedule", err, row.Name)
		return true
	}
	e := s.Oxygen(team, 0, water.Column{Surface: row.Surface, PerMetre: row.PerMetre}.Pressure)
	c.within("CNS_pct", e.CNS, 1e-4, 0)
	c.within("OTU", e.OTU, 1e-4, 0)
	return true
}

// exampleProfiles are the dives of physics section 11 that the flying rows name:
// depth reached, minutes, gas.
var exampleProfiles = map[string][][3]any{
	"T1": {{18.0, .9, "air"}, {18.0, 29.1, "air"}, {9.0, .9, "air"}, {9.0, 14.1, "air"}, {5.0, .4, "air"}, {5.0, 2.6, "air"}, {0.0, .5, "air"}},
	"T2": {{40.0, 2.0, "ean32"}, {40.0, 18.0, "ean32"}, {21.0, 1.9, "ean32"}, {21.0, 5.0, "ean50"}, {6.0, 1.5, "ean50"}, {6.0, 10.0, "o2"}, {0.0, .6, "o2"}},
}

func (c *exampleCheck) flight() bool {
	segments, ok := exampleProfiles[c.text("profile")]
	if !ok {
		return false
	}
	m := tissue.Default()
	s := m.Saturated(water.Fresh.Surface)
	depth := 0.0
	for _, seg := range segments {
		mix, err := mixNamed(seg[2].(string))
		if err != nil {
			c.result.Fail(c.ID, "profile", err, seg[2])
		}
		m.Advance(&s, water.Fresh, tissue.Piece{From: depth, To: seg[0].(float64), Minutes: seg[1].(float64), Mix: mix})
		depth = seg[0].(float64)
	}
	w := m.Flight(s, water.Fresh.Surface, tissue.CabinPressure, 0.80, 5)
	c.is("minutes", w.Minutes)
	c.exact("controlling", m.Compartment(w.Compartment).ID)
	c.within("margin", w.Margin, 0, 1e-6)
	return true
}
