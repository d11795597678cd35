package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"lastlight/engine/dive"
	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// OtherWay is the plan with the circuit of its route swum the other way round, all
// else as planned: what a leader compares before choosing a direction.
type OtherWay struct {
	Station string   `json:"station"` // where the circuit begins and closes
	Legs    []string `json:"legs"`    // in the order of the other way

	Holds      bool         `json:"holds"`    // every check of the route passes, and every row of the table of failures that would refuse
	Why        []string     `json:"why"`      // what does not hold, or why it cannot be computed
	Computed   bool         `json:"computed"` // else nothing below is known
	RuntimeMin float64      `json:"runtime_min"`
	StopMin    int          `json:"stop_min"`
	Stops      []dive.Stop  `json:"stops"`
	SharingL   *float64     `json:"sharing_margin_l"` // at the dearest place; nil for one diver
	Turn       string       `json:"turn_at_the_latest"`
	Divers     []OtherDiver `json:"divers"`
}

// OtherDiver is one diver's gas the other way round.
type OtherDiver struct {
	Diver      string  `json:"diver"`
	TurnBar    float64 `json:"turn_bar"`
	SurfaceBar float64 `json:"surface_bar"`
}

// circuit is the longest run of moves that comes back to where it began and swims
// no leg twice: the moves from first up to last. ok is false where there is none.
func circuit(start string, moves []route.Move) (first, last int, ok bool) {
	legs, stations := map[string]int{}, map[string]int{}
	number := func(of map[string]int, name string) int {
		n, known := of[name]
		if !known {
			n = len(of)
			of[name] = n
		}
		return n
	}
	leg, at := make([]int, len(moves)), make([]int, len(moves)+1) // at: before each move
	at[0] = number(stations, start)
	from := start
	for i := range moves {
		leg[i], at[i+1] = number(legs, legOf(&moves[i], from)), number(stations, moves[i].To)
		from = moves[i].To
	}
	used := make([]int, len(legs)) // 1 + the beginning of the last run that swam it
	for i := range moves {
		for j := i; j < len(moves) && used[leg[j]] != i+1; j++ {
			used[leg[j]] = i + 1
			if at[j+1] == at[i] && j > i && (!ok || j-i > last-first) {
				first, last, ok = i, j, true
			}
		}
	}
	return first, last, ok
}

// legOf names the leg of a move, by its ends where the move does not.
func legOf(m *route.Move, from string) string {
	if m.Leg != "" {
		return m.Leg
	}
	return min(from, m.To) + "\x00" + max(from, m.To)
}

// reversed has the moves of a circuit in the other order: what is done at a station
// stays there, what is done with a line stays with its leg.
func reversed(r *route.Route, first, last int) route.Route {
	out := *r
	out.Moves = slices.Clone(r.Moves)
	for k := first; k <= last; k++ {
		from := last - (k - first) // the move whose leg is swum
		m := r.Moves[from]
		at := r.Moves[last] // done on closing the circuit
		if k < last {
			at = r.Moves[from-1]
		}
		m.To, m.Actions, m.HoldMin, m.HoldTask = at.To, at.Actions, at.HoldMin, at.HoldTask
		out.Moves[k] = m
	}
	return out
}

// otherWay answers the plan with its circuit the other way round.
func (c *Case) otherWay() {
	c.Other = nil
	if !c.computed() {
		return
	}
	moves := c.RouteInput.Route.Moves
	first, last, ok := circuit(c.RouteInput.Route.Start, moves)
	if !ok {
		return
	}
	x := &OtherWay{Station: moves[last].To, Why: []string{}, Stops: []dive.Stop{}, Divers: []OtherDiver{}}
	in := c.RouteInput
	in.Route = reversed(&c.RouteInput.Route, first, last)
	for _, m := range in.Route.Moves[first : last+1] {
		x.Legs = append(x.Legs, m.Leg)
	}
	c.Other = x
	laid, problems := route.Lay(in)
	if len(problems) > 0 {
		x.Why = append(x.Why, problems[0].Text)
		return
	}
	res, problems := laid.Judge(in.Policy)
	switch {
	case len(problems) > 0:
		x.Why = append(x.Why, problems[0].Text)
		return
	case res.Verdict == route.Refused:
		for _, r := range res.Refused {
			x.Why = append(x.Why, c.named(r.Phrase))
		}
		return
	}
	turn := c.In.Plan.TurnMove
	if turn > first && turn <= last { // its station is reached by the other leg
		turn = first + last + 1 - turn
	}
	a, fault := c.dived(in, laid, &res, turn)
	if a == nil {
		x.Why = append(x.Why, nameOr(fault, "the decompression is not computed"))
		return
	}
	x.fill(c, &res, a)
}

func (x *OtherWay) fill(c *Case, r *route.Result, a *dive.Answer) {
	x.Computed = true
	x.RuntimeMin, x.StopMin, x.Stops = finding.Round9(math.Max(r.Summary.RuntimeMin, a.Schedule.RuntimeMin)), a.Schedule.StopMin, a.Schedule.Stops
	if s := r.WorstSharing; s != nil {
		spare := finding.Round9(s.MarginL)
		x.SharingL = &spare
	}
	x.Turn = placeText(&r.Reach.Place)
	if r.Reach.WholeRoute {
		x.Turn = "the whole route"
	}
	for _, d := range r.Divers {
		x.Divers = append(x.Divers, OtherDiver{d.Name, d.TurnRoundedBar, finding.Round9(d.SurfaceBar)})
	}
	for _, k := range r.Checks {
		if !k.Passed && checkStatus(k.Verdict).Blocks() {
			x.Why = append(x.Why, words(k.Name))
		}
	}
	for i := range a.Cases {
		k := &a.Cases[i]
		if said := words(k.Kind); !k.Holds() && c.caseDecides(k.Kind).Blocks() && !slices.Contains(x.Why, said) {
			x.Why = append(x.Why, said)
		}
	}
	for _, m := range a.Schedule.Remarks {
		if said := words(m.Kind); c.remarkStatus(m.Kind).Blocks() && !slices.Contains(x.Why, said) {
			x.Why = append(x.Why, said)
		}
	}
	x.Holds = len(x.Why) == 0
}

// caseDecides is what a row of the table of failures means where it does not hold.
func (c *Case) caseDecides(kind string) finding.Status {
	f := c.Policy.Failures
	switch kind {
	case dive.CaseDelay:
		return f.Delay.Status()
	case dive.CaseTouchContact:
		return f.TouchContact.Status()
	case dive.CaseTouchSharing:
		return f.TouchSharing.Status()
	case dive.CaseLostCylinder:
		return f.LoseDecoGas.Status()
	case dive.CaseScooterLost:
		return f.ScooterLost.Status()
	case dive.CaseWorstConsumption:
		return f.WorstConsumption.Status()
	case dive.CaseFarSide:
		return f.FarSideShut.Status()
	}
	return c.Policy.Gas.HelpfulOutflowGone.Status()
}

// directions compares the circuit as planned with the other way round. It decides nothing.
func directions(c *Case) []finding.Finding {
	if !c.computed() {
		return one(c.routeUnknown(c.plan()))
	}
	x := c.Other
	if x == nil {
		return one(answer(finding.NotApplicable, "none", c.plan()))
	}
	f := answer(finding.Note, "ok", c.plan())
	f.Place = x.Station
	f.Figures = []finding.Figure{finding.Word("why", strings.Join(x.Why, "; "))}
	s := c.explaining("route method, 5; passage decompression, P05")
	s.add("legs the other way round", finding.Recorded, finding.Word("", "from "+x.Station), finding.Word("legs", strings.Join(x.Legs, ", ")).At("route.route.moves, the circuit in the other order"))
	if !x.Computed {
		f.Code, f.Steps = "not_known", s.lines()
		return one(f)
	}
	planned, stops := c.Route.Summary.RuntimeMin, 0
	if c.Dive != nil {
		planned, stops = math.Max(planned, c.Dive.Schedule.RuntimeMin), c.Dive.Schedule.StopMin
	}
	f = measured(f, finding.Number("", x.RuntimeMin, 1, "min"), finding.Number("", planned, 1, "min"))
	f.Figures = append(f.Figures, finding.CountOf("stops", x.StopMin, "min"), finding.CountOf("planned_stops", stops, "min"))
	s.add("minutes, the other way round less as planned", "other - planned", minutes("difference", x.RuntimeMin-planned), minutes("other", x.RuntimeMin).At("report, other_way"), minutes("planned", planned).At("lines of plan.runtime"))
	gas := ""
	if p := c.Route.WorstSharing; p != nil && x.SharingL != nil {
		s.add("litres to spare while sharing, the other way round less as planned", "other - planned", litres("difference", *x.SharingL-p.MarginL),
			litres("other", *x.SharingL).At("report, other_way"), litres("planned", p.MarginL).At("lines of route.sharing_exit"))
		gas = fmt.Sprintf("; sharing leaves %s L, as planned %s L", finding.Decimal(*x.SharingL, 0), finding.Decimal(p.MarginL, 0))
	}
	f.Figures = append(f.Figures, finding.Word("gas", gas))
	f.Steps = s.lines()
	if !x.Holds {
		f.Code = "fails"
	}
	return one(f)
}
