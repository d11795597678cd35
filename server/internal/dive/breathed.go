package dive

import (
	"fmt"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// How far a profile and the record beside it may differ: gauges and people round.
const (
	profileSlackM = 1   // metres
	profileSlackS = 120 // seconds
	surfaceM      = 1   // metres; shallower is out of the water
)

// checkBreathed says what is wrong with the gases and the profile of one diver.
// A profile that does not fit its dive would later be no more than "cannot tell".
func checkBreathed(d *lastlightv1.Dive, x *lastlightv1.DiveDiver, at string, wrong func(field, read, expected, message string)) {
	deepest := d.GetMaxDepthM()
	if x.MaxDepthM != nil {
		deepest = *x.MaxDepthM
	}
	minutes := d.OutAt.AsTime().Sub(d.EnteredAt.AsTime()).Minutes()
	if x.Gas == nil && (len(x.OtherGases) > 0 || x.Profile != nil) {
		wrong(at+"gas", "", "the gas of the mains", "other gases or a profile are recorded, but not what the mains held")
	}
	sum := 0.0
	for i, g := range x.OtherGases {
		field := fmt.Sprintf("%sother_gases[%d].", at, i)
		if g.DeepestM != nil && *g.DeepestM > deepest {
			wrong(field+"deepest_m", fmt.Sprintf("%g m", *g.DeepestM), fmt.Sprintf("at most %g m, how deep the diver was", deepest), "breathed deeper than the dive")
		}
		sum += g.GetMinutes()
	}
	if sum > minutes && minutes > 0 {
		wrong(at+"other_gases", fmt.Sprintf("%g min in all", sum), fmt.Sprintf("at most the dive's %.0f min", minutes), "the gases were breathed for longer than the dive")
	}
	if x.Profile != nil {
		checkProfile(d, x, at, deepest, wrong)
	}
}

// checkCylinders says what is wrong with the stages and deco cylinders of one diver.
func checkCylinders(x *lastlightv1.DiveDiver, at string, wrong func(field, read, expected, message string)) {
	seen := map[string]bool{x.Mains: x.Mains != ""}
	for i, c := range x.Cylinders {
		at := fmt.Sprintf("%scylinders[%d].", at, i)
		if seen[c.Cylinder] {
			wrong(at+"cylinder", c.Cylinder, "each cylinder once, and not the mains", "is in this diver's dive twice")
		}
		seen[c.Cylinder] = true
		if c.StartPressure != nil && c.EndPressure != nil && c.EndPressure.GetBar() > c.StartPressure.GetBar() {
			wrong(at+"end_pressure", fmt.Sprintf("%g bar", c.EndPressure.GetBar()), fmt.Sprintf("not above the start, %g bar", c.StartPressure.GetBar()), "more gas after the dive than before")
		}
		if c.Kind == "deco" && c.Way != "" {
			wrong(at+"way", c.Way, "left out", "gas for decompression is breathed decompressing")
		}
	}
}
