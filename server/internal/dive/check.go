// Package dive checks what is written about a dive.
package dive

import (
	"fmt"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/quantity"
)

// Check says what is wrong with a recorded dive by itself, and brings its
// pressures to bar. now is the server's clock.
func Check(d *lastlightv1.Dive, prefix string, now time.Time) error {
	out := fault.Collect(prefix)
	wrong := out.Add
	quantity.ToSI(d, out)
	entered, left := d.EnteredAt.AsTime(), d.OutAt.AsTime()
	if d.EnteredAt != nil {
		dates.Year(out, "entered_at", entered)
	}
	if d.EnteredAt != nil && d.OutAt != nil {
		switch {
		case !left.After(entered):
			wrong("out_at", left.Format(time.RFC3339), "after entered_at, "+entered.Format(time.RFC3339), "out before in")
		case left.Sub(entered) > 48*time.Hour:
			wrong("out_at", left.Format(time.RFC3339), "within 48 hours of entered_at", "a dive of more than two days")
		}
		if left.After(now) {
			wrong("out_at", left.Format(time.RFC3339), "not in the future", "a dive that has not ended is not recorded")
		}
	}
	if d.MarkerReachedAt != nil && (d.MarkerReachedAt.AsTime().Before(entered) || d.MarkerReachedAt.AsTime().After(left)) {
		wrong("marker_reached_at", d.MarkerReachedAt.AsTime().Format(time.RFC3339), "between entered_at and out_at", "the marker was reached outside of the dive")
	}
	if d.MarkerReachedAt != nil && d.MarkerStation == "" {
		wrong("marker_station", "", "the station of the marker", "a marker was reached, but where is not said")
	}
	if d.Kind == "training" && d.TaughtLevel == "" {
		wrong("taught_level", "", "the level being taught", "a training dive says which level it taught")
	}
	seen := map[string]bool{}
	for i, x := range d.Divers {
		at := fmt.Sprintf("divers[%d].", i)
		if seen[x.Person] {
			wrong(at+"person", x.Person, "each diver once", "is in this dive twice")
		}
		seen[x.Person] = true
		if x.StartPressure != nil && x.EndPressure != nil && x.EndPressure.GetBar() > x.StartPressure.GetBar() {
			wrong(at+"end_pressure", fmt.Sprintf("%g bar", x.EndPressure.GetBar()), fmt.Sprintf("not above the start, %g bar", x.StartPressure.GetBar()), "more gas after the dive than before")
		}
		checkCylinders(x, at, wrong)
		if x.MeanDepthM != nil && *x.MeanDepthM > d.GetMaxDepthM() {
			wrong(at+"mean_depth_m", fmt.Sprintf("%g m", *x.MeanDepthM), fmt.Sprintf("at most the greatest depth, %g m", d.GetMaxDepthM()), "on the mean deeper than at the deepest")
		}
		if x.MaxDepthM != nil && *x.MaxDepthM > d.GetMaxDepthM() {
			wrong(at+"max_depth_m", fmt.Sprintf("%g m", *x.MaxDepthM), fmt.Sprintf("at most the dive's, %g m", d.GetMaxDepthM()), "deeper than the dive")
		}
	}
	for i, x := range d.Divers {
		checkBreathed(d, x, fmt.Sprintf("divers[%d].", i), wrong)
	}
	for i, l := range d.Legs {
		for j, p := range l.People {
			if !seen[p] {
				wrong(fmt.Sprintf("legs[%d].people[%d]", i, j), p, "a diver of this dive", "did not dive here")
			}
		}
	}
	for i, l := range d.Left {
		dates.Day(out, fmt.Sprintf("left[%d].remove_by", i), l.RemoveBy)
		if l.Kind != "line" && l.Item == "" {
			wrong(fmt.Sprintf("left[%d].item", i), "", "the cylinder's id or the marker's initials", "says what was left")
		}
	}
	return out.Err()
}
