package dive

import (
	"math"
	"slices"

	"lastlight/engine/deco"
	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// Variant is the planned dive deeper, longer or both (method handbook, section 6).
type Variant struct {
	DeeperM   float64    `json:"deeper_m"`
	LongerMin float64    `json:"longer_min"`
	Schedule  Schedule   `json:"schedule"`
	Short     []Shortage `json:"short"` // supplies that would end below the sharing reserve

	Stretches []route.Stretch   `json:"-"`
	Ends      []route.LeftParts `json:"-"` // what every supply that counts holds at the surface, with the sharing reserve
}

// Shortage is a supply that does not last.
type Shortage struct {
	Diver  string  `json:"diver"`
	Supply string  `json:"supply"`
	LeftL  float64 `json:"left_l"`
	NeedL  float64 `json:"need_l"` // the sharing reserve
}

// vary schedules the planned dive with everything but the openings deeper by so
// many metres, at the same speeds, and so many minutes more at a node.
func (w *Work) vary(deeper, longer float64, node int) Variant {
	path := deco.Path{Nodes: append([]deco.Node(nil), w.laid.Nodes...), Pieces: append([]deco.Piece(nil), w.laid.Pieces...)}
	var openings []string
	for i := range w.q.Route.Stations {
		if s := &w.q.Route.Stations[i]; s.Opening {
			openings = append(openings, s.Name)
		}
	}
	opening := func(node int) bool { return slices.Contains(openings, path.Nodes[node].Station) }
	for i := range path.Pieces {
		q := &path.Pieces[i]
		if q.OpenWater {
			continue
		}
		if !opening(i) {
			q.From += deeper
		}
		if !opening(i + 1) {
			q.To += deeper
		}
		q.Minutes = math.Max(q.Minutes, math.Max((q.From-q.To)/w.q.Route.Policy.AscentMMin, (q.To-q.From)/w.q.Route.Policy.DescentMMin))
	}
	path.Nodes[node].Hold += longer
	v := Variant{DeeperM: deeper, LongerMin: longer, Short: []Shortage{}}
	if err := w.planner.Schedule(w.team, &path, &w.begin, nil, &w.out); err != nil {
		v.Schedule.NoSchedule = true
		return v
	}
	v.Schedule = w.scheduleOf(&path, w.factors, &w.out, w.full(), 0, func(d int) float64 { return w.rates[d].planned }, true)
	v.Stretches = w.walked(w.laidPieces(), w.factors, &path, &w.out, len(w.team.Divers)).list
	k := 0
	for d := range v.Schedule.Divers {
		for _, s := range v.Schedule.Divers[d].Supplies {
			x := &w.supplies[k]
			if x.Main || s.UsedL > litreTolerance {
				l := route.LeftParts{Cylinder: k, LeftL: s.LeftL, ReserveL: x.SharingL}
				l.Breathed = w.breathedOf(&w.out, w.factors, w.named, k, math.Inf(1), func(d int) float64 { return w.rates[d].planned })
				v.Ends = append(v.Ends, l)
			}
			if s.LeftL < x.SharingL-litreTolerance && (x.Main || s.UsedL > litreTolerance) {
				v.Short = append(v.Short, Shortage{v.Schedule.Divers[d].Name, s.ID, s.LeftL, finding.Round9(x.SharingL)})
			}
			k++
		}
	}
	return v
}

// Share tells whether the dive stays within a share of the no-stop limit.
type Share struct {
	Share     float64 `json:"share"`
	LongerMin float64 `json:"longer_min"` // at the deepest station: with them the dive takes its minutes / share
	Holds     bool    `json:"holds"`      // no stop even so
}

// noStopShare asks whether the dive would need no stop if it took its minutes divided
// by the share, all of them up to the surface counted, the difference spent at
// its deepest station.
func (w *Work) noStopShare() *Share {
	x := w.q.NoStopShare
	if !(x > 0 && x < 1) {
		return nil
	}
	deepest := 0
	depth := func(node int) float64 {
		if node < len(w.laid.Pieces) {
			return w.laid.Pieces[node].From
		}
		return 0
	}
	for n := range w.laid.Nodes {
		if depth(n) > depth(deepest) {
			deepest = n
		}
	}
	longer := float64(w.result.End.Minutes/x) - w.result.End.Minutes
	v := w.vary(0, longer, deepest)
	return &Share{Share: x, LongerMin: finding.Round9(longer), Holds: v.Schedule.NoStop && v.Schedule.StopMin == 0 && !v.Schedule.NoSchedule}
}
