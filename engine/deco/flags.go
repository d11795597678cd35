package deco

import (
	"cmp"
	"slices"
)

// Kinds of flags (D48), in the order in which they are listed.
const (
	FlagRestriction = "stop_in_restriction"
	FlagStrongFlow  = "stop_in_strong_flow"
	FlagWayIn       = "stop_on_the_way_in"
	FlagAboveLast   = "stop_above_the_last_stop"
	FlagSaddle      = "saddle"
	FlagOxygenHigh  = "ppo2_high"
	FlagOxygenLow   = "ppo2_low"
	FlagNoGas       = "no_gas_for_the_fall"
	FlagOverdrawn   = "cylinder_overdrawn"
	FlagNoSchedule  = "no_schedule"
	FlagNoBreak     = "no_gas_for_a_break" // of air breaks, not of D48
)

// Flag is a finding about a schedule. It never moves a stop.
type Flag struct {
	Kind     string
	Stop     int     // from 1, of stop flags
	Metres   float64 // of a saddle: descended after the first stop
	Diver    int     // of oxygen flags
	Cylinder int     // of oxygen flags and of overdrawn cylinders
}

// Flags lists what D48 says of the last schedule this planner made, whose
// result and path these are; overdrawn cylinders the caller adds, who knows the
// contents. The order is D48's: stop flags by stop, oxygen flags by kind, diver
// and cylinder in order of name.
func (p *Planner) Flags(path *Path, r *Result) []Flag {
	var list []Flag
	if r.NoSchedule {
		return []Flag{{Kind: FlagNoSchedule}}
	}
	for i := range r.Stops {
		list = append(list, p.stopFlags(path, r, i)...)
	}
	if m := saddle(r); m > same {
		list = append(list, Flag{Kind: FlagSaddle, Metres: m})
	}
	list = append(list, p.oxygenFlags(r)...)
	if r.NoGas {
		list = append(list, Flag{Kind: FlagNoGas})
	}
	if r.NoBreak {
		list = append(list, Flag{Kind: FlagNoBreak})
	}
	return list
}

func (p *Planner) stopFlags(path *Path, r *Result, i int) (list []Flag) {
	s := &r.Stops[i]
	q := &path.Pieces[s.Piece]
	restricted, strong := q.Restriction, q.Flow > p.set.FlowLimit
	if node := &path.Nodes[s.Piece]; s.Along <= same && node.Station != "" {
		// At a station the team waits on the better side; a way out that begins there has no leg come over.
		if s.Piece == 0 || path.Pieces[s.Piece-1].OpenWater || q.OpenWater {
			restricted, strong = false, false
		} else {
			before := &path.Pieces[s.Piece-1]
			restricted = restricted && before.Restriction
			strong = strong && before.Flow > p.set.FlowLimit
		}
	}
	if restricted {
		list = append(list, Flag{Kind: FlagRestriction, Stop: i + 1})
	}
	if strong {
		list = append(list, Flag{Kind: FlagStrongFlow, Stop: i + 1})
	}
	if !path.Turned && (r.Turn < 0 || s.Arrival < r.Turn-same) {
		list = append(list, Flag{Kind: FlagWayIn, Stop: i + 1})
	}
	if s.Depth < p.lastStop-same {
		list = append(list, Flag{Kind: FlagAboveLast, Stop: i + 1})
	}
	return list
}

// saddle is the metres descended after the first stop.
func saddle(r *Result) float64 {
	sum, stopped := 0.0, false
	for i := range r.Stretches {
		s := &r.Stretches[i]
		stopped = stopped || s.Kind == Stopped
		if stopped && s.To > s.From {
			sum += s.To - s.From
		}
	}
	return sum
}

// oxygenFlags finds gases breathed outside D45's limits.
func (p *Planner) oxygenFlags(r *Result) []Flag {
	var high, low [MaxDivers]uint64
	for i := range r.Stretches {
		s := &r.Stretches[i]
		for d := range p.team.Divers {
			c := int(s.Breathing[d])
			for _, depth := range [2]float64{s.From, s.To} {
				o := p.oxygen(c, depth)
				if o > p.oxygenLimit(c)+same {
					high[d] |= 1 << c
				}
				if o < p.leastOxygen()-same {
					low[d] |= 1 << c
				}
			}
		}
	}
	var list []Flag
	for _, kind := range []string{FlagOxygenHigh, FlagOxygenLow} {
		from := len(list)
		for d := range p.team.Divers {
			bits := high[d]
			if kind == FlagOxygenLow {
				bits = low[d]
			}
			for c := range p.team.Cylinders {
				if bits>>c&1 == 1 {
					list = append(list, Flag{Kind: kind, Diver: d, Cylinder: c})
				}
			}
		}
		slices.SortStableFunc(list[from:], func(a, b Flag) int {
			if c := cmp.Compare(p.team.Divers[a.Diver].Name, p.team.Divers[b.Diver].Name); c != 0 {
				return c
			}
			return cmp.Compare(p.team.Cylinders[a.Cylinder].ID, p.team.Cylinders[b.Cylinder].ID)
		})
	}
	return list
}
