package route

import (
	"math"
	"slices"
)

// summary counts what rules and brief ask about.
func (j *judge) summary() Summary {
	s := Summary{
		MaxDepthM: j.deepestM, RuntimeMin: j.elapsed + j.endMin, PenetrationM: j.penetrationMetres,
		PenetrationAt: j.place(j.penetrationAt), TurnMin: j.place(j.commitment).ElapsedMin, JumpDepth: j.jumpDepth,
	}
	seen := make([]bool, len(j.legs))
	known := true
	turns := 0
	before := -1
	for i := range j.moves {
		m := &j.moves[i]
		l := &j.legs[m.leg]
		if m.run {
			s.LinesRun = append(s.LinesRun, LineRun{l.in.ID, l.in.LengthM, i + 1, l.in.Gap})
		}
		for _, a := range m.actions {
			if a.kind == ActPlaceMarker {
				s.MarkersPlaced = append(s.MarkersPlaced, PlacedMarker{a.marker, j.nodes[m.to].name})
			}
		}
		if l.in.MainLine == nil {
			known = false
		} else if before >= 0 && before != m.leg {
			if b := j.legs[before].in.MainLine; b != nil && *b && !*l.in.MainLine && !l.jump {
				turns++
			}
		}
		before = m.leg
		if seen[m.leg] {
			continue
		}
		seen[m.leg] = true
		switch {
		case l.jump && l.in.Gap:
			s.Gaps++
		case l.jump:
			s.Jumps++
		}
		switch l.in.Restriction {
		case RestrictionMinor:
			s.MinorRestrict++
		case RestrictionMajor:
			s.MajorRestrict++
		}
		s.StrongestFlow = math.Max(s.StrongestFlow, math.Abs(l.in.FlowMMin))
		for _, n := range l.ends {
			st := &j.in.Stations[j.names.stations[j.nodes[n].name]]
			if st.AirBell && !slices.Contains(s.AirBells, st.Name) {
				s.AirBells = append(s.AirBells, st.Name)
			}
		}
	}
	if known {
		s.TurnsOffMainLine = &turns
	}
	return s
}

// uniformFraction is the formula of practice 4.4 where one depth and one ratio
// of the speeds in and out hold on all legs; it informs and is never a check.
func (j *judge) uniformFraction() *float64 {
	n := float64(len(j.divers))
	if n < 2 {
		return nil
	}
	var ratio float64
	depth := j.nodes[j.start].depth
	for i := range j.moves {
		m := &j.moves[i]
		l := &j.legs[m.leg]
		if known := j.steps[i].known; known {
			continue
		}
		for _, x := range l.travel[m.dir].pieces {
			if x.depth != depth || x.end != depth {
				return nil
			}
		}
		out := &l.travel[1-m.dir]
		if !out.passes {
			return nil
		}
		r := m.ground / out.ground
		if ratio != 0 && math.Abs(r-ratio) > 1e-9 {
			return nil
		}
		ratio = r
	}
	if ratio == 0 {
		return nil
	}
	x := (n - 1) / (n - 1 + float64(n*ratio))
	return &x
}
