package dive

import (
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/finding"
)

// LostGas is the whole schedule of the way out from the farthest place after one
// cylinder is gone, at the rates after a failure, with whose gas it takes.
type LostGas struct {
	Lost     string     `json:"lost"`  // cylinder
	Diver    string     `json:"diver"` // whose
	Place    string     `json:"place"`
	AfterMin float64    `json:"after_min"` // into the dive
	Schedule Schedule   `json:"schedule"`  // its divers' supplies say whose gas is breathed
	Short    []Shortage `json:"short"`     // gas that it needs and that is not there
}

// LostGasOf is the schedule after the loss of one cylinder, nil where there is none.
func (a *Answer) LostGasOf(cylinder string) *LostGas {
	for i := range a.LostGas {
		if a.LostGas[i].Lost == cylinder {
			return &a.LostGas[i]
		}
	}
	return nil
}

// lostGas schedules the loss of every cylinder that is for decompression or waits,
// from the place where the team is farthest out.
func (w *Work) lostGas() []LostGas {
	list := []LostGas{}
	far := w.farthest()
	x := w.way(far)
	if x == nil {
		return list
	}
	kept := -1 // the row whose schedule is in w.again: most that is lost unbreathed leaves the same schedule
	for i := range w.failures {
		f := &w.failures[i]
		if f.kind != lostWaiting || w.margin(far, f, w.q.Route.Policy.DelayMin) == nil {
			continue
		}
		c := w.cylinder(f.lost)
		l := LostGas{
			Lost: w.cylinderName(c), Diver: w.team.Divers[f.victim].Name, Place: placeText(far), AfterMin: finding.Round9(far.moment.Minutes), Short: []Shortage{},
		}
		o := &outcome{lost: 1 << c, donor: -1, delay: w.q.Route.Policy.DelayMin, divers: len(w.team.Divers)}
		path := w.walkOut(x, far, o, false, &w.out)
		if path == nil {
			l.Schedule = Schedule{Stops: []Stop{}, Switches: []Switch{}, Remarks: []Remark{}, Divers: []Diver{}, NoSchedule: true}
			list = append(list, l)
			continue
		}
		if kept >= 0 && readsAs(&w.out, &w.again) {
			l.Schedule = list[kept].Schedule
		} else {
			flags := w.planner.Flags(path, &w.out)
			l.Schedule = w.scheduleOf(path, w.led(x).factors, &w.out, far.content, far.moment.Minutes, func(d int) float64 { return w.rates[d].after }, false)
			l.Schedule.Remarks = w.remarks(flags, path, &w.out)
		}
		if kept < 0 {
			kept, w.out, w.again = len(list), w.again, w.out
		}
		for d := range w.team.Divers {
			l.Short = append(l.Short, w.shortOf(w.alone(far, d, w.goOut(far, f.victim, 1<<c, -1, o.delay), -1, w.rates[d].after), d)...)
		}
		list = append(list, l)
	}
	return list
}

// readsAs tells whether two schedules of one path are written the same.
func readsAs(a, b *deco.Result) bool {
	return a.End.Minutes == b.End.Minutes && a.Turn == b.Turn && a.LastStop == b.LastStop &&
		a.NoStop == b.NoStop && a.NoSchedule == b.NoSchedule && a.NoGas == b.NoGas && a.NoBreak == b.NoBreak &&
		slices.Equal(a.Stretches, b.Stretches) && slices.Equal(a.Stops, b.Stops) && slices.Equal(a.Switches, b.Switches) &&
		slices.EqualFunc(a.End.Divers, b.End.Divers, func(x, y deco.Condition) bool { return x.Tissues == y.Tissues })
}

// shortOf lists the gases of a margin that do not suffice.
func (w *Work) shortOf(m *margin, d int) (list []Shortage) {
	if m.fails {
		return nil
	}
	for _, g := range m.gases {
		if g.left-g.need >= -litreTolerance {
			continue
		}
		s := Shortage{Diver: w.team.Divers[d].Name, LeftL: finding.Round9(math.Max(0, g.left)), NeedL: finding.Round9(g.need)}
		if g.cylinder >= 0 {
			s.Supply = w.cylinderName(g.cylinder)
		}
		list = append(list, s)
	}
	return list
}
