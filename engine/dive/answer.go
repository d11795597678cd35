package dive

import (
	"math"
	"slices"
	"strconv"

	"lastlight/engine/deco"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/oxygen"
	"lastlight/engine/route"
	"lastlight/engine/tissue"
)

// Answer is what a plan's decompression comes to.
type Answer struct {
	Schedule Schedule `json:"schedule"` // as planned
	Stops    bool     `json:"stops"`    // needed as planned or on a way out
	// Counted tells whether stops, or changes of gas (D45), take minutes as planned or on a
	// way out; if not, the gas is the route model's alone.
	Counted bool     `json:"counted"`
	WaysOut []Remark `json:"ways_out"` // what is said about ways out, once for each kind, at the place that is longest
	Oxygen  *Oxygen  `json:"oxygen"`   // the way out that takes most oxygen; nil where there is no way out
	Longest *WayOut  `json:"longest"`  // the way out with the most stops; nil where none has any

	Variants []Variant `json:"variants"`        // deeper, longer, both
	Share    *Share    `json:"share,omitempty"` // of the no-stop limit, where a share was asked for
	Cases    []Case    `json:"cases"`           // what else can go wrong, each at its worst place
	LostGas  []LostGas `json:"lost_gas"`        // the schedule after each cylinder that can be lost on its own

	Stretches []route.Stretch `json:"-"` // of the dive as planned, stops included
}

// WayOut is a way out from a place of the dive, after a loss.
type WayOut struct {
	Place        string   `json:"place"`
	AfterMin     float64  `json:"after_min"` // into the dive
	Lost         []string `json:"lost"`      // cylinders
	StopMin      int      `json:"stop_min"`
	ToSurfaceMin float64  `json:"to_surface_min"`
}

// Remark is a flag of a schedule (D48) or what D55 finds, with its place.
type Remark struct {
	Kind     string  `json:"kind"`
	Place    string  `json:"place"`
	DepthM   float64 `json:"depth_m"`
	Metres   float64 `json:"metres"`   // of a saddle: descended after the first stop
	Minutes  float64 `json:"minutes"`  // of the stop
	Diver    string  `json:"diver"`    // of oxygen flags
	Cylinder string  `json:"cylinder"` // of oxygen flags and of overdrawn cylinders
	Value    float64 `json:"value"`    // oxygen pressure breathed, flow, or litres short
	Limit    float64 `json:"limit"`
}

// flightStep is the grain of the model's wait for a flight, minutes (physics 9).
const flightStep = 5

// RemarkDrift is D55's: somebody drifts above the limit of a place while the team waits.
const RemarkDrift = "drift_while_waiting"

// Schedule is a dive or a way out with its stops.
type Schedule struct {
	Stops        []Stop   `json:"stops"`
	Switches     []Switch `json:"switches"`
	NoStop       bool     `json:"no_stop"` // nobody ever needed one (D43)
	NoSchedule   bool     `json:"no_schedule"`
	LastStopM    float64  `json:"last_stop_m"`
	RuntimeMin   float64  `json:"runtime_min"` // from where it begins to the surface
	TurnMin      float64  `json:"turn_min"`    // end of the hold at the turn; of a way out 0
	ToSurfaceMin float64  `json:"to_surface_min"`
	StopMin      int      `json:"stop_min"`
	Divers       []Diver  `json:"divers"`
	Remarks      []Remark `json:"remarks"`
}

// Stop is a wait for decompression with its place on the line (D47).
type Stop struct {
	DepthM     float64  `json:"depth_m"`
	Minutes    int      `json:"minutes"`
	ArrivalMin float64  `json:"arrival_min"`
	Place      string   `json:"place"`
	Leg        string   `json:"leg"` // empty in open water
	Station    string   `json:"station"`
	MetresPast float64  `json:"metres_past"`
	Breathing  []string `json:"breathing"` // cylinder per diver, in team order
	NeededBy   Margin   `json:"needed_by"`
	LeavesWith Margin   `json:"leaves_with"`
}

// Margin is allowed less tension: below zero is too much.
type Margin struct {
	Diver       string  `json:"diver"`
	Compartment int     `json:"compartment"` // from 1
	Bar         float64 `json:"bar"`
	GF          float64 `json:"gf"`

	Parts MarginParts `json:"-"`
}

// MarginParts are the numbers of a margin: bar, metres.
type MarginParts struct {
	Compartment tissue.Compartment
	N2, He      float64 // tensions on the arrival judged
	DepthM      float64 // of that arrival
	AmbientBar  float64
	AnchorM     float64 // D of D42
	GFLow       float64
	GFHigh      float64
}

// Switch is a change of gas by itself (D45).
type Switch struct {
	Minute   float64 `json:"minute"`
	DepthM   float64 `json:"depth_m"`
	Diver    string  `json:"diver"`
	Cylinder string  `json:"cylinder"`
}

// Diver is one diver's gas and oxygen on a schedule.
type Diver struct {
	Name         string   `json:"name"`
	Supplies     []Supply `json:"supplies"`
	CNS          float64  `json:"cns_percent"`       // of this dive
	CNSAll       float64  `json:"cns_percent_all"`   // with what earlier dives left, decayed
	CNSWhole     float64  `json:"cns_percent_whole"` // with that of the last 24 hours, not decayed
	OTU          float64  `json:"otu"`
	OTUDay       float64  `json:"otu_day"`                 // with that of the last 24 hours
	OTUAll       float64  `json:"otu_all"`                 // with that of all earlier dives that count
	DailyAll     float64  `json:"daily_percent_all"`       // of the 24-hour limit, with earlier dives
	OxygenBar    float64  `json:"oxygen_bar"`              // greatest pressure breathed
	FlightMin    float64  `json:"flight_min"`              // the model's own wait at the surface for a cabin at 8000 ft; no guideline
	FlightBeyond bool     `json:"flight_beyond,omitempty"` // longer than was searched: FlightMin is no answer

	Flight FlightParts `json:"-"`
}

// FlightParts are the numbers of the model's own wait, of the compartment with
// least to spare at its end: bar.
type FlightParts struct {
	Compartment tissue.Compartment
	Number      int     // of the compartment, from 1
	N2, He      float64 // tensions at surfacing
	InspiredBar float64 // of nitrogen, of air at the surface
	AfterN2     float64 // tensions after the wait
	AfterHe     float64
	CabinBar    float64
	GF          float64
	MarginBar   float64
}

// Supply is what one supply gives on a schedule.
type Supply struct {
	ID      string  `json:"id"`
	UsedL   float64 `json:"used_l"`
	LeftL   float64 `json:"left_l"`
	LeftBar float64 `json:"left_bar"` // 0 where it is overdrawn
}

// cylinderName is how a cylinder of the team is called: mains by their diver's set.
func (w *Work) cylinderName(c int) string { return w.supplies[w.first[c]].ID }

// scheduleOf writes a schedule. content is what the supplies hold at its beginning.
func (w *Work) scheduleOf(path *deco.Path, factors []float64, r *deco.Result, content []float64, begins float64, rateOf func(d int) float64, named bool) Schedule {
	out := Schedule{
		Stops: make([]Stop, 0, len(r.Stops)), Switches: make([]Switch, 0, len(r.Switches)), Remarks: []Remark{}, Divers: make([]Diver, 0, len(w.team.Divers)), NoStop: r.NoStop, NoSchedule: r.NoSchedule, LastStopM: r.LastStop,
		RuntimeMin: finding.Round9(r.End.Minutes - begins), ToSurfaceMin: finding.Round9(r.End.Minutes - begins), StopMin: r.TotalStop(),
	}
	if r.Turn >= 0 {
		out.TurnMin, out.ToSurfaceMin = finding.Round9(r.Turn-begins), finding.Round9(r.End.Minutes-r.Turn)
	}
	for i := range r.Stops {
		out.Stops = append(out.Stops, w.stopOf(path, &r.Stops[i]))
	}
	for _, s := range r.Switches {
		out.Switches = append(out.Switches, Switch{finding.Round9(s.Minutes), finding.Round9(s.Depth), w.team.Divers[s.Diver].Name, w.cylinderName(s.Cylinder)})
	}
	left := append([]float64(nil), content...)
	for k := range r.Stretches {
		s := &r.Stretches[k]
		bar := w.barMinutes(s, factors)
		for d := range w.team.Divers {
			main := int8(-1)
			if named {
				main = w.named[min(s.Piece, len(w.named)-1)][d]
			}
			w.take(left, int(s.Breathing[d]), float64(rateOf(d)*bar), main)
		}
	}
	all := make([]exposed, 0, len(w.team.Divers))
	for d := range w.team.Divers {
		all = append(all, w.exposed(d, r, all))
		out.Divers = append(out.Divers, w.diverOf(d, &all[d], r, content, left))
	}
	return out
}

// exposed is what a schedule does to a diver.
type exposed struct {
	oxygen deco.Exposure
	daily  float64
	flight tissue.FlightWait
}

// exposed works it out, or takes that of an earlier diver who comes to the same.
func (w *Work) exposed(d int, r *deco.Result, earlier []exposed) (x exposed) {
	mix := func(s *deco.Stretch, d int) gas.Mix { return w.team.Cylinders[s.Breathing[d]].Mix }
	for e := range earlier {
		if r.End.Divers[e].Tissues == r.End.Divers[d].Tissues && !slices.ContainsFunc(r.Stretches, func(s deco.Stretch) bool { return mix(&s, e) != mix(&s, d) }) {
			return earlier[e]
		}
	}
	x.oxygen = r.Oxygen(w.team, d, w.pressure)
	for i := range r.Stretches {
		s := &r.Stretches[i]
		f := mix(s, d).O2
		x.daily += oxygen.DailyShare(float64(f*w.pressure(s.From)), float64(f*w.pressure(s.To)), s.Minutes)
	}
	set := &w.q.Settings
	x.flight = set.Model.Flight(r.End.Divers[d].Tissues, set.Water.Surface, tissue.CabinPressure, set.GFHigh, flightStep)
	return x
}

func (w *Work) diverOf(d int, by *exposed, r *deco.Result, before, left []float64) Diver {
	x := Diver{Name: w.team.Divers[d].Name, Supplies: []Supply{}}
	for k := range w.supplies {
		if s := &w.supplies[k]; s.Diver == d {
			bar := 0.0
			if left[k] > 0 {
				bar = w.normal.path.Gauge(k, left[k])
			}
			x.Supplies = append(x.Supplies, Supply{s.ID, finding.Round9(before[k] - left[k]), finding.Round9(left[k]), finding.Round9(bar)})
		}
	}
	e, daily, flight := &by.oxygen, by.daily, &by.flight
	c := w.q.Carried[d]
	x.CNS, x.CNSAll, x.CNSWhole = finding.Round9(e.CNS), finding.Round9(c.CNS+e.CNS), finding.Round9(c.CNSWhole+e.CNS)
	x.OTU, x.OTUDay, x.OTUAll, x.DailyAll = finding.Round9(e.OTU), finding.Round9(c.OTUDay+e.OTU), finding.Round9(c.OTUAll+e.OTU), finding.Round9(c.Daily+daily)
	x.OxygenBar = finding.Round9(e.Worst)
	set := &w.q.Settings
	x.FlightMin, x.FlightBeyond = flight.Minutes, flight.Beyond
	tensions := r.End.Divers[d].Tissues
	k := flight.Compartment
	inspired, _ := set.Model.Inspired(gas.Air, set.Water.Surface)
	x.Flight = FlightParts{
		Compartment: set.Model.Compartment(k), Number: k + 1, N2: tensions.N2[k], He: tensions.He[k], InspiredBar: inspired, AfterN2: flight.N2, AfterHe: flight.He,
		CabinBar: tissue.CabinPressure, GF: set.GFHigh, MarginBar: flight.Margin,
	}
	return x
}

func (w *Work) stopOf(path *deco.Path, s *deco.Stop) Stop {
	out := Stop{DepthM: finding.Round9(s.Depth), Minutes: s.Minutes, ArrivalMin: finding.Round9(s.Arrival), Breathing: make([]string, 0, len(w.team.Divers))}
	out.NeededBy, out.LeavesWith = w.marginOf(s.NeededBy), w.marginOf(s.LeavesWith)
	for d := range w.team.Divers {
		out.Breathing = append(out.Breathing, w.cylinderName(int(s.Breathing[d])))
	}
	q := &path.Pieces[s.Piece]
	out.Station = q.Station
	switch past := q.Past + s.Along; {
	case q.OpenWater:
		out.Place = "open water above " + q.Station
	case past < 1e-9:
		out.Leg, out.Place = q.Leg, "at "+q.Station
	default:
		out.Leg, out.MetresPast = q.Leg, finding.Round9(past)
		out.Place = finding.Decimal(past, 1) + " m past " + q.Station + " on leg " + q.Leg
	}
	return out
}

func (w *Work) marginOf(m deco.Margin) Margin {
	if math.IsInf(m.Bar, 0) || m.Diver >= len(w.team.Divers) {
		return Margin{}
	}
	set := &w.q.Settings
	return Margin{
		Diver: w.team.Divers[m.Diver].Name, Compartment: m.Compartment + 1, Bar: finding.Round9(m.Bar), GF: finding.Round9(m.GF),
		Parts: MarginParts{
			Compartment: set.Model.Compartment(m.Compartment), N2: m.N2, He: m.He, DepthM: m.Depth, AmbientBar: w.pressure(m.Depth), AnchorM: m.Anchor,
			GFLow: set.GFLow, GFHigh: set.GFHigh,
		},
	}
}

// remarks turns flags into what a reader is told.
func (w *Work) remarks(flags []deco.Flag, path *deco.Path, r *deco.Result) []Remark {
	list := []Remark{}
	for _, f := range flags {
		m := Remark{Kind: f.Kind, Metres: finding.Round9(f.Metres)}
		if f.Stop > 0 {
			s := w.stopOf(path, &r.Stops[f.Stop-1])
			m.Place, m.DepthM, m.Minutes = s.Place, s.DepthM, float64(s.Minutes)
			if f.Kind == deco.FlagStrongFlow {
				m.Value, m.Limit = finding.Round9(path.Pieces[r.Stops[f.Stop-1].Piece].Flow), w.q.Settings.FlowLimit
			}
		}
		if f.Kind == deco.FlagSaddle {
			m.Place = w.saddlePlace(path, r)
		}
		if f.Kind == deco.FlagOxygenHigh || f.Kind == deco.FlagOxygenLow {
			m.Diver, m.Cylinder = w.team.Divers[f.Diver].Name, w.cylinderName(f.Cylinder)
			m.Value, m.DepthM = w.oxygenWorst(f, r)
			m.Limit = w.oxygenLimit(f)
		}
		if f.Kind == deco.FlagNoSchedule && len(r.Stops) > 0 {
			s := w.stopOf(path, &r.Stops[len(r.Stops)-1])
			m.Place, m.DepthM, m.Minutes = s.Place, s.DepthM, float64(s.Minutes)
		}
		list = append(list, m)
	}
	return list
}

// saddlePlace is where the first descent after the first stop begins.
func (w *Work) saddlePlace(path *deco.Path, r *deco.Result) string {
	stopped := false
	for i := range r.Stretches {
		s := &r.Stretches[i]
		stopped = stopped || s.Kind == deco.Stopped
		if stopped && s.To > s.From {
			q := &path.Pieces[s.Piece]
			if q.Past < 1e-9 {
				return q.Station + " on leg " + q.Leg
			}
			return finding.Decimal(q.Past, 1) + " m past " + q.Station + " on leg " + q.Leg
		}
	}
	return ""
}

// oxygenWorst is the greatest, or least, oxygen pressure a diver breathes from a
// cylinder, with its depth.
func (w *Work) oxygenWorst(f deco.Flag, r *deco.Result) (bar, depth float64) {
	first := true
	for i := range r.Stretches {
		s := &r.Stretches[i]
		if int(s.Breathing[f.Diver]) != f.Cylinder {
			continue
		}
		for _, d := range [2]float64{s.From, s.To} {
			o := float64(w.team.Cylinders[f.Cylinder].Mix.O2 * w.pressure(d))
			if first || (f.Kind == deco.FlagOxygenHigh) == (o > bar) {
				bar, depth, first = o, d, false
			}
		}
	}
	return finding.Round9(bar), finding.Round9(depth)
}

func (w *Work) oxygenLimit(f deco.Flag) float64 {
	set := &w.q.Settings
	switch {
	case f.Kind == deco.FlagOxygenLow:
		return finding.Round9(math.Min(set.Least, float64(0.21*set.Water.Surface)))
	case w.team.Cylinders[f.Cylinder].Kind == deco.Deco:
		return set.LimitDeco
	}
	return set.LimitBottom
}

// overdrawn are the supplies that end below nothing.
func (w *Work) overdrawn(s *Schedule) []Remark {
	var list []Remark
	for i := range s.Divers {
		for _, x := range s.Divers[i].Supplies {
			if x.LeftL < -litreTolerance {
				list = append(list, Remark{Kind: deco.FlagOverdrawn, Diver: s.Divers[i].Name, Cylinder: x.ID, Value: -x.LeftL})
			}
		}
	}
	return list
}

// Answer works everything out and gives the answer; the result of the route
// model gets what stops change (Apply). Where TooMuch tells so afterwards the answer
// is not to be used, and the result is left alone.
func (w *Work) Answer() *Answer {
	a := &Answer{WaysOut: []Remark{}}
	a.Schedule = w.scheduleOf(w.laid, w.factors, &w.result, w.full(), 0, func(d int) float64 { return w.rates[d].planned }, true)
	a.Schedule.Remarks = append(w.remarks(w.flags, w.laid, &w.result), w.overdrawn(&a.Schedule)...)
	a.Stretches = w.walked(w.laidPieces(), w.factors, w.laid, &w.result, len(w.team.Divers)).list
	for _, e := range w.drift {
		s := &w.result.Stretches[e.Stretch]
		a.Schedule.Remarks = append(a.Schedule.Remarks, Remark{
			Kind: RemarkDrift, Diver: w.team.Divers[e.Diver].Name, DepthM: finding.Round9(s.To), Minutes: s.Minutes, Value: finding.Round9(e.Bar),
			Cylinder: w.cylinderName(int(s.Breathing[e.Diver])),
		})
	}
	for _, v := range [][2]float64{{w.q.DeeperM, 0}, {0, w.q.LongerMin}, {w.q.DeeperM, w.q.LongerMin}} {
		a.Variants = append(a.Variants, w.vary(v[0], v[1], w.node[w.turnMove()]))
	}
	a.Share = w.noStopShare()
	w.check()
	a.Cases = w.cases()
	a.Oxygen = w.mostOxygen()
	a.LostGas = w.lostGas()
	if w.TooMuch() {
		return a
	}
	a.Stops = !w.result.NoStop || w.result.TotalStop() > 0 || w.result.NoSchedule
	a.Counted = len(w.result.Switches) > 0
	w.waysOut(a)
	if a.Counted = a.Counted || a.Stops; a.Counted {
		w.twoOuts()
	}
	if w.TooMuch() {
		return a
	}
	w.planner.Most, w.planner.Stop = 0, nil // what is left is a few ways out taken to pieces
	if a.Counted {
		w.Apply(w.q.Result, a)
	}
	return a
}

// mostWork bounds what one dive may take, as deco.Planner.Spent counts it: 2 to 4
// seconds on the processors of 2026. A large plan, 60 moves of three divers with two gases for
// decompression, takes a five-hundredth; what takes more is a dive of a day or two.
const mostWork = 100e6

// TooMuch tells whether the dive was given up: it takes too much to compute, or Question.Stop says so.
func (w *Work) TooMuch() bool { return w.planner.GivenUp() }

// waysOut gathers what the ways out looked at say.
func (w *Work) waysOut(a *Answer) {
	for _, p := range w.places {
		for _, o := range p.outs {
			a.Stops = a.Stops || o.stops > 0 || o.noSchedule
			a.Counted = a.Counted || o.changes
			if o.stops > 0 && (a.Longest == nil || o.stops > a.Longest.StopMin) {
				a.Longest = &WayOut{
					Place: placeText(p), AfterMin: finding.Round9(p.moment.Minutes), Lost: w.names(o.lost),
					StopMin: o.stops, ToSurfaceMin: finding.Round9(o.minutes),
				}
			}
			for _, said := range w.saidOf(o) {
				if !slices.ContainsFunc(a.WaysOut, func(m Remark) bool { return m.Kind == said.Kind }) {
					said.Place, said.DepthM = placeText(p), finding.Round9(p.at.DepthM)
					a.WaysOut = append(a.WaysOut, said)
				}
			}
		}
	}
}

// saidOf is what is said about a way out alone; a saddle with its metres.
func (w *Work) saidOf(o *outcome) []Remark {
	var list []Remark
	for _, f := range o.flags {
		list = append(list, Remark{Kind: f.Kind, Metres: finding.Round9(f.Metres)})
	}
	if o.drift {
		list = append(list, Remark{Kind: RemarkDrift})
	}
	return list
}

func (w *Work) names(lost uint64) []string {
	list := []string{}
	for c := range w.team.Cylinders {
		if lost>>c&1 == 1 {
			list = append(list, w.cylinderName(c))
		}
	}
	return list
}

// placeText says a place in words.
func placeText(p *place) string {
	x := &p.at
	switch {
	case x.InHold && x.AfterHoldMin > 0:
		return finding.Decimal(x.AfterHoldMin, 1) + " min into the hold at " + x.Station
	case x.InsideLeg():
		return finding.Decimal(x.MetresPast, 1) + " m past " + x.Station + " towards " + x.Towards
	case x.Arriving:
		return "arriving at " + x.Station
	case x.Station == "":
		return "move " + strconv.Itoa(x.Move)
	}
	return x.Station
}

// Fault is an error of this engine found in the schedule, empty if there is none
// (D55): walked again with another formula, the dive as planned is nowhere above
// the limit in force on the way.
func (w *Work) Fault() string {
	f := deco.Rewalk(&w.q.Settings, w.team, &w.begin, &w.result)
	if len(f.Travel) == 0 {
		return ""
	}
	x := f.Travel[0]
	return "the schedule is " + finding.Decimal(x.Bar, 6) + " bar above the limit of " + w.team.Divers[x.Diver].Name + " on the way: an error of the engine, report it"
}
