package brief

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

func (w *writer) trouble() {
	w.title("STOPS AND TROUBLE")
	w.stops(w.p.Report.Dive.Decompression)
	w.otherWay()
	w.rates()
	if s := w.p.Report.Dive.WorstSharing; s != nil {
		if w.tight {
			w.line("  sharing is tightest: %s for %s, %s above, %s", s.Donor, s.Receiver, w.p.Units.spare(s.MarginL), s.Place)
		} else {
			w.line("  sharing is tightest at %s: %s for %s, %s above what is needed", s.Place, s.Donor, s.Receiver, w.p.Units.spare(s.MarginL))
		}
	}
	if w.tight {
		w.line("  lost gas: share at once, out; lost line: stop, light down, search from a fixed " +
			"spool; lost diver: within your own gas; light: any primary fails, all go out")
	} else {
		w.line("  lost gas: share at once, out by the known way; lost line: stop, light down, " +
			"search from a fixed spool; lost diver: within your own gas only; light: on any primary failure all go out")
	}
	for _, x := range w.p.Plan.Waivers {
		w.waiver(x)
	}
}

// waiver prints what was waived, by whom and on what conditions; one that does not stand is not on the page.
func (w *writer) waiver(x *lastlightv1.Waiver) {
	if x.State != "standing" {
		return
	}
	by := w.name(x.WaivedBy)
	if x.SecondApprover != "" {
		by += " and " + w.name(x.SecondApprover)
	}
	if x.ExpiresAt != nil {
		by += ", until " + x.ExpiresAt.AsTime().In(w.p.Location).Format("2 Jan 15:04 (-07:00)")
	}
	if x.Said != "" {
		by += ": " + x.Said
	}
	w.line("  waived: %s, by %s", x.Rule, by)
	for _, c := range x.Conditions {
		w.line("    [ ] on condition: %s", c)
	}
}

// rates says whose consumption the gas was reckoned with was measured, as far as
// the reader sees it, and at whose worst nothing was reckoned.
func (w *writer) rates() {
	var of, without []string
	for _, d := range w.p.Report.Dive.Divers {
		var said string
		switch d.ConsumptionOrigin {
		case "measured":
			said = fmt.Sprintf("measured over %d dives to %s", d.ConsumptionDives, d.ConsumptionTo)
		case "stated":
			said = "as stated"
		case "policy_default":
			said = "the policy's default"
		default:
			continue
		}
		of = append(of, fmt.Sprintf("%s %s %s", d.Name, w.p.Units.rate(d.ConsumptionLMin), said))
		if d.WorstConsumptionLMin == 0 {
			without = append(without, d.Name)
		}
	}
	if len(of) == 0 {
		return
	}
	if len(without) > 0 {
		of = append(of, "no worst recorded of "+strings.Join(without, ", "))
	}
	w.line("  consumption: %s", strings.Join(of, "; "))
}

// stops prints the schedule with the place of every stop, and how long the
// way out with the most stops takes.
func (w *writer) stops(d *lastlightv1.Decompression) {
	switch {
	case d == nil:
		w.line("  stops: not computed: NO DIVE")
		return
	case !d.StopsNeeded:
		w.line("  stops: none needed as planned or on any known way out, as computed")
		return
	case len(d.Stops) == 0:
		w.line("  stops: none as planned")
	case !w.dense:
		w.line("  stops as planned: %d min, %s min from the turn to the surface", d.StopMin, number(math.Ceil(d.ToSurfaceMin), 0))
	}
	w.planned(d)
	w.otherSchedules(d)
	if l := d.Longest; l != nil {
		w.line("  most stops on a way out: %d min, %s min to the surface, from %s", l.StopMin, number(math.Ceil(l.ToSurfaceMin), 0), l.Place)
	}
}

// planned prints every stop with its place and what is breathed there, where that
// changes, and the changes of gas that are made elsewhere.
func (w *writer) planned(d *lastlightv1.Decompression) {
	var list []string
	on := ""
	for _, s := range d.Stops {
		text := fmt.Sprintf("%s m %d min from minute %s, %s", number(s.DepthM, 1), s.Minutes, minutes(math.Floor(s.ArriveMin)), s.Place)
		if now := strings.Join(s.Breathing, ", "); now != on {
			on = now
			text += ", on " + now
		}
		list = append(list, text)
	}
	if w.dense && len(list) > 0 {
		list[0] = fmt.Sprintf("stops, %d min, %s min from the turn to the surface: ", d.StopMin, number(math.Ceil(d.ToSurfaceMin), 0)) + list[0]
	}
	for i, c := range d.Changes {
		text := c.Cylinder + " (" + w.name(c.Person) + ")"
		if i > 0 && d.Changes[i-1].DepthM == c.DepthM && d.Changes[i-1].Minute == c.Minute {
			list[len(list)-1] += ", " + text
			continue
		}
		list = append(list, fmt.Sprintf("change at %s m, minute %s, to %s", number(c.DepthM, 1), minutes(math.Floor(c.Minute)), text))
	}
	w.entries(list)
}

// entries have a line each, or share lines where the page is dense.
func (w *writer) entries(list []string) {
	if w.dense && len(list) > 0 {
		w.line("  %s", strings.Join(list, "; "))
		return
	}
	for _, text := range list {
		w.line("   %s", text)
	}
}

// otherSchedules prints, in minutes for each depth, the dive deeper and longer and
// the whole schedule after each gas that can be lost, from the farthest place, with
// whether the gas for it is there and whose it is.
func (w *writer) otherSchedules(d *lastlightv1.Decompression) {
	type row struct {
		label, gas string
		stops      []*lastlightv1.DecompressionStop
		total      float64
	}
	var rows []row
	for _, v := range d.Variants {
		label := ""
		if v.DeeperM > 0 {
			label = "+" + number(v.DeeperM, 1) + " m "
		}
		if v.LongerMin > 0 {
			label += "+" + number(v.LongerMin, 0) + " min"
		}
		rows = append(rows, row{strings.TrimSpace(label), gasHolds(v.Short, nil), v.Stops, v.ToSurfaceMin})
	}
	place := ""
	for _, l := range d.LostGas {
		label := "lost " + strings.Join(l.Lost, " or ")
		if len(l.CarriedBy) > 0 {
			label = w.lostAll(l.CarriedBy)
		}
		if l.NoSchedule {
			w.line("  %s at %s: NO SCHEDULE", label, l.Place)
			continue
		}
		place = l.Place
		gas := gasHolds(l.Short, l.Breathes)
		if len(l.CarriedBy) > 0 && len(l.Short) == 0 {
			gas = "enough, shared"
		}
		rows = append(rows, row{label, gas, l.Stops, l.ToSurfaceMin})
	}
	var depths []float64
	for _, r := range rows {
		for _, s := range r.stops {
			if !slices.Contains(depths, s.DepthM) {
				depths = append(depths, s.DepthM)
			}
		}
	}
	if len(rows) == 0 {
		return
	}
	slices.SortFunc(depths, func(a, b float64) int { return cmp.Compare(b, a) })
	widest := 12
	for _, r := range rows {
		widest = max(widest, min(runes(r.label), 30))
	}
	head := fmt.Sprintf("  %-*s", widest, "stop min at m")
	for _, x := range depths {
		head += fmt.Sprintf("%5s", number(x, 1))
	}
	head += "   out"
	if place != "" {
		if at := "  (lost: at " + place + ")"; runes(head)+runes(at) <= Width {
			head += at
		} else {
			w.line("  lost: at %s", place)
		}
	}
	w.line("%s", head)
	for _, r := range rows {
		text := fmt.Sprintf("  %-*s", widest, r.label)
		for _, x := range depths {
			n := int32(0)
			for _, s := range r.stops {
				if s.DepthM == x {
					n += s.Minutes
				}
			}
			cell := "-"
			if n > 0 {
				cell = fmt.Sprint(n)
			}
			text += fmt.Sprintf("%5s", cell)
		}
		w.line("%s%6s  %s", text, minutes(math.Ceil(r.total)), r.gas)
	}
}

// lostAll names those whose loss of all they carry comes to the same.
func (w *writer) lostAll(people []string) string {
	if len(people) == len(w.p.Plan.Team) {
		return "one lost all carried"
	}
	var names []string
	for _, p := range people {
		names = append(names, w.name(p))
	}
	return strings.Join(names, " or ") + " lost all"
}

// inShort is a schedule in one line: depths and minutes.
func inShort(stops []*lastlightv1.DecompressionStop) string {
	var list []string
	for _, s := range stops {
		list = append(list, fmt.Sprintf("%s m %d", number(s.DepthM, 1), s.Minutes))
	}
	if len(list) == 0 {
		return "no stop"
	}
	return strings.Join(list, ", ")
}

// gasHolds says whether the gas for a schedule is there, and whose.
func gasHolds(short, breathes []string) string {
	switch {
	case len(short) > 0:
		return "NOT ENOUGH " + strings.Join(short, ", ")
	case len(breathes) > 0: // whoever lost it breathes what else is that diver's own
		return "enough, of the own"
	}
	return "gas enough"
}
