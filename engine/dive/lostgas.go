package dive

import (
	"math"

	"lastlight/engine/finding"
)

// LostGas is the whole schedule of the way out from the farthest place after one
// cylinder is gone, or all that a diver carries, at the rates after a failure, with
// whose gas it takes.
type LostGas struct {
	Lost     string     `json:"lost"`            // cylinder; empty: all that the diver carries
	Diver    string     `json:"diver"`           // whose
	Donor    string     `json:"donor,omitempty"` // whose back gas that diver then breathes
	Place    string     `json:"place"`
	AfterMin float64    `json:"after_min"` // into the dive
	Schedule Schedule   `json:"schedule"`  // its divers' supplies say whose gas is breathed
	Short    []Shortage `json:"short"`     // gas that it needs and that is not there
}

// LostGasOf is the schedule after the loss of one cylinder of a diver, or of all that the
// diver carries (""); nil where there is none.
func (a *Answer) LostGasOf(cylinder, diver string) *LostGas {
	for i := range a.LostGas {
		if l := &a.LostGas[i]; l.Lost == cylinder && l.Diver == diver {
			return l
		}
	}
	return nil
}

// lostGas schedules the loss of all that a diver carries, and of every cylinder that is
// for decompression or waits, from the place where the team is farthest out.
func (w *Work) lostGas() []LostGas {
	list := []LostGas{}
	far := w.farthest()
	x := w.way(far)
	if x == nil {
		return list
	}
	row := func(f *failure) LostGas {
		return LostGas{Diver: w.team.Divers[f.victim].Name, Place: placeText(far), AfterMin: finding.Round9(far.moment.Minutes), Short: []Shortage{}}
	}
	for v := range w.team.Divers {
		f, m := w.hardest(far, v)
		if f == nil {
			continue
		}
		l := row(f)
		l.Donor, l.Schedule = w.team.Divers[f.donors[0]].Name, w.lostSchedule(x, far, w.carried(far, v), f.donors[0])
		l.Short = append(l.Short, w.shortOf(m, f.donors[0])...)
		list = append(list, l)
	}
	spare := -1 // the first row whose cylinder nobody would breathe: the schedule of all such is the same
	for i := range w.failures {
		f := &w.failures[i]
		if f.kind != lostWaiting || w.margin(far, f, w.q.Route.Policy.DelayMin) == nil {
			continue
		}
		c := w.cylinder(f.lost)
		l := row(f)
		l.Lost = w.cylinderName(c)
		o := w.goOut(far, f.victim, 1<<c, -1, w.q.Route.Policy.DelayMin)
		unbreathed := o.loser < 0
		if unbreathed && spare >= 0 {
			l.Schedule = list[spare].Schedule
		} else {
			l.Schedule = w.lostSchedule(x, far, 1<<c, -1)
		}
		if unbreathed && spare < 0 {
			spare = len(list)
		}
		for d := range w.team.Divers {
			l.Short = append(l.Short, w.shortOf(w.alone(far, d, o, -1, w.rates[d].after), d)...)
		}
		list = append(list, l)
	}
	return list
}

// hardest is the sharing at a place that leaves a victim's donor least; nil where there is no donor.
func (w *Work) hardest(p *place, victim int) (of *failure, least *margin) {
	for i := range w.failures {
		f := &w.failures[i]
		if f.kind != sharing || f.victim != victim {
			continue
		}
		if m := w.margin(p, f, w.q.Route.Policy.DelayMin); of == nil || m.spare() < least.spare()-litreTolerance {
			of, least = f, m
		}
	}
	return of, least
}

// lostSchedule is the way out of a place after the loss of cylinders, of the whole team
// by name; donor: whose back gas those breathe who lost theirs, -1: nobody did.
func (w *Work) lostSchedule(x *way, p *place, lost uint64, donor int) Schedule {
	o := &outcome{lost: lost, donor: donor, delay: w.q.Route.Policy.DelayMin, divers: len(w.team.Divers)}
	path := w.walkOut(x, p, o, false, &w.out)
	if path == nil {
		return Schedule{Stops: []Stop{}, Switches: []Switch{}, Remarks: []Remark{}, Divers: []Diver{}, NoSchedule: true}
	}
	flags := w.planner.Flags(path, &w.out)
	s := w.scheduleOf(path, w.led(x).factors, &w.out, p.content, p.moment.Minutes, func(d int) float64 { return w.rates[d].after }, false)
	s.Remarks = w.remarks(flags, path, &w.out)
	return s
}

// shortOf lists the gases of a margin that do not suffice: those counted together are
// of diver d, every other of its owner.
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
			s.Supply, s.Diver = w.cylinderName(g.cylinder), w.team.Divers[w.supplies[w.first[g.cylinder]].Diver].Name
		}
		list = append(list, s)
	}
	return list
}
