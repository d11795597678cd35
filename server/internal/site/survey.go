package site

import (
	"fmt"
	"math"
	"time"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// slack takes up the rounding of typed decimals, m.
const slack = 1e-9

// CheckSurvey notes everything that is wrong with a line network. siteZone is
// the zone of the site; empty: not known here.
func CheckSurvey(p *fault.Problems, m *lastlightv1.Survey, siteZone string, now time.Time) {
	dates.Past(p, "surveyed_day", m.SurveyedDay, dates.Today(now, siteZone))
	stations := map[string]*lastlightv1.Station{}
	first := map[string]int{}
	openings := 0
	for i, s := range m.Stations {
		if j, twice := first[s.Id]; twice {
			p.Addf(s.Id, "each station once", fmt.Sprintf("station %q is in the list already, as stations[%d]", s.Id, j), "stations[%d].id", i)
			continue
		}
		first[s.Id], stations[s.Id] = i, s
		if s.Opening {
			openings++
			if s.AirBell {
				p.Addf("true", "either an opening or an air bell", "an air bell is never an exit", "stations[%d].air_bell", i)
			}
		}
		if s.TimeZone != "" {
			zone(p, fmt.Sprintf("stations[%d].time_zone", i), s.TimeZone)
		}
	}
	if openings == 0 {
		p.Add("stations", "no opening", "at least one station with opening: true", "the cave cannot be entered")
	}
	seen, used := map[string]int{}, map[string]bool{}
	for i, l := range m.Legs {
		if j, twice := seen[l.Id]; twice {
			p.Addf(l.Id, "each leg once", fmt.Sprintf("leg %q is in the list already, as legs[%d]", l.Id, j), "legs[%d].id", i)
		} else {
			seen[l.Id] = i
		}
		used[l.From], used[l.To] = true, true
		checkLeg(p, i, l, stations)
	}
	for i, s := range m.Stations {
		if !used[s.Id] && first[s.Id] == i && len(m.Stations) > 1 {
			p.Addf(s.Id, "a leg that begins or ends here", fmt.Sprintf("no leg leads to station %q", s.Id), "stations[%d].id", i)
		}
	}
}

func checkLeg(p *fault.Problems, i int, l *lastlightv1.Leg, stations map[string]*lastlightv1.Station) {
	at := func(field string) string { return fmt.Sprintf("legs[%d].%s", i, field) }
	from, to := stations[l.From], stations[l.To]
	if from == nil {
		p.Add(at("from"), l.From, "the id of a station of this survey", fmt.Sprintf("there is no station %q", l.From))
	}
	if to == nil {
		p.Add(at("to"), l.To, "the id of a station of this survey", fmt.Sprintf("there is no station %q", l.To))
	}
	if l.From == l.To {
		p.Add(at("to"), l.To, "another station than from", "the leg leads back to its own beginning")
	}
	if l.Lined && l.UnlinedKind != "" {
		p.Add(at("unlined_kind"), l.UnlinedKind, "empty on a lined leg", "a leg with a permanent line is neither jump nor gap nor new")
	}
	if !l.Lined && l.UnlinedKind == "" {
		p.Add(at("unlined_kind"), "", "jump, gap or new", "a leg without a permanent line must say which it is")
	}
	if from == nil || to == nil {
		return
	}
	if l.DeclaredFreeAbove && !(from.Opening && to.Opening) {
		p.Add(at("declared_free_above"), "true", "only where both ends are openings", "the leg does not lead from opening to opening")
	}
	// Between two depth points the line is straight: it cannot be shorter than the difference in depth.
	lastAt, lastDepth, good := 0.0, from.GetDepthM(), true
	piece := func(field string, toM, depth float64) {
		if length, drop := toM-lastAt, math.Abs(depth-lastDepth); drop > length+slack {
			p.Add(field, fmt.Sprintf("%g m", length), fmt.Sprintf("%g m or more, the difference in depth", drop),
				fmt.Sprintf("the line from %g to %g m is shorter than the difference between %g and %g m of depth", lastAt, toM, lastDepth, depth))
		}
		lastAt, lastDepth = toM, depth
	}
	for j, d := range l.DepthPoints {
		field := at(fmt.Sprintf("depth_points[%d].at_m", j))
		if d.AtM >= l.LengthM {
			p.Add(field, fmt.Sprintf("%g m", d.AtM), fmt.Sprintf("less than the length of the leg, %g m", l.LengthM), "the depth point lies beyond the leg")
			good = false
			continue
		}
		if d.AtM <= lastAt {
			p.Add(field, fmt.Sprintf("%g m", d.AtM), fmt.Sprintf("more than %g m", lastAt), "depth points must follow each other along the leg")
			good = false
			continue
		}
		piece(field, d.AtM, d.GetDepthM())
	}
	if good {
		piece(at("length_m"), l.LengthM, to.GetDepthM())
	}
}
