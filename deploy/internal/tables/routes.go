package tables

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"

	"lastlight/engine/gas"
	"lastlight/engine/route"
)

func init() { Register("routes", routes) }

// Accuracy of routes.json: 6 significant figures, so 1e-5 relative or 1e-6
// absolute (handbook, "Reading data/routes.json").
const (
	routesRelative = 1e-5
	routesAbsolute = 1e-6
)

type routesFile struct {
	Format    string       `json:"format"`
	Scenarios []routesCase `json:"scenarios"`
}

type routesCase struct {
	ID       string          `json:"id"`
	Input    json.RawMessage `json:"input"`
	Expected json.RawMessage `json:"expected"`
	Variants []routesCase    `json:"variants"`
}

// routesInput is the file's form of an input: stations by name, one main volume.
type routesInput struct {
	Water    route.Water              `json:"water"`
	Policy   route.Policy             `json:"policy"`
	Speeds   route.Speeds             `json:"speeds"`
	Stations map[string]route.Station `json:"stations"`
	Legs     []route.Leg              `json:"legs"`
	Team     []struct {
		Name   string           `json:"name"`
		Volume float64          `json:"main_volume_l"`
		Start  float64          `json:"start_bar"`
		RMV    float64          `json:"rmv_l_min"`
		Stages []route.Cylinder `json:"stages"`
	} `json:"team"`
	Route     route.Route          `json:"route"`
	LeftLines []string             `json:"left_lines"`
	Verified  []route.Verification `json:"verified"`
	Loops     []route.Circuit      `json:"loops"`
	Traverses []route.Circuit      `json:"traverses"`
	Limits    *route.CavernLimits  `json:"cavern_limits"`
	Night     bool                 `json:"night"`
	View      *float64             `json:"visibility_m"`
	Claimed   string               `json:"claimed_zone"`
}

// routes runs the route model against a file of the format of routes.json.
func routes(content []byte) (*Result, error) {
	var file routesFile
	if err := json.Unmarshal(content, &file); err != nil {
		return nil, err
	}
	if len(file.Scenarios) == 0 {
		return nil, fmt.Errorf("no scenarios")
	}
	r := &Result{}
	for _, s := range file.Scenarios {
		for _, c := range append([]routesCase{s}, s.Variants...) {
			r.Rows++
			in, err := routesDecode(c.Input)
			if err != nil {
				r.Fail(c.ID, "input", err, "an input")
				continue
			}
			res, problems := route.Evaluate(in)
			if len(problems) > 0 {
				r.Fail(c.ID, "input", problems, "an input that can be evaluated")
				continue
			}
			cmp := routesCompare{r, c.ID, &in, &res}
			if err := cmp.all(c.Expected); err != nil {
				r.Fail(c.ID, "expected", err, "readable expectations")
			}
		}
	}
	return r, nil
}

// routesDecode reads an input. Keys that a row does not need may be missing:
// the value taken then changes nothing where the row has no use for it.
func routesDecode(content []byte) (route.Input, error) {
	var f routesInput
	f.Policy = route.Policy{
		ShareFraction: 1. / 3, Rounding: route.Rounding{Mode: route.RoundDropFloor, StepBar: 5},
		StressFactor: 1, VerifiedCounts: route.VerifiedAfterMarker, VerificationDays: 7, AscentMMin: 9, DescentMMin: 18,
		CountOpenWaterAscent: true, MinProgressMMin: 6, SlowExitFactor: 1, ThreeDonor: route.DonorSingle,
		WaitingGas: route.WaitingOwn, StageRule: route.StageFraction, StageFraction: 1. / 3,
	}
	if err := json.Unmarshal(content, &f); err != nil {
		return route.Input{}, err
	}
	// The file states one factor for its only pull-and-glide row: 1.0.
	in := route.Input{
		Water: f.Water, GasModel: gas.Ideal, Policy: f.Policy, Speeds: f.Speeds, Legs: f.Legs, Route: f.Route,
		LeftLines: f.LeftLines, Verified: f.Verified, Loops: f.Loops, Traverses: f.Traverses, CavernLimits: f.Limits,
		Night: f.Night, VisibilityM: f.View, ClaimedZone: f.Claimed,
	}
	if in.Speeds.ContingencyMMin == 0 {
		in.Speeds.ContingencyMMin = in.Speeds.SwimMMin
	}
	for i := range in.Loops {
		if in.Loops[i].Start == "" {
			in.Loops[i].Start = in.Route.Start
		}
	}
	for _, name := range slices.Sorted(maps.Keys(f.Stations)) {
		s := f.Stations[name]
		s.Name = name
		in.Stations = append(in.Stations, s)
	}
	for _, d := range f.Team {
		in.Team = append(in.Team, route.Diver{
			Name: d.Name, RMVLMin: d.RMV, Stages: d.Stages,
			Mains: []route.Cylinder{{VolumeL: d.Volume, StartBar: d.Start}},
		})
	}
	return in, nil
}

// routesCompare compares one row. Every key of the file that the format names
// is compared; others (wrong_method, notes) are not looked at.
type routesCompare struct {
	*Result
	row string
	in  *route.Input
	got *route.Result
}

type object = map[string]any

func (c *routesCompare) all(content []byte) error {
	var want object
	if err := json.Unmarshal(content, &want); err != nil {
		return err
	}
	if v, ok := want["verdict"]; ok {
		c.Exact(c.row, "verdict", c.got.Verdict, v)
	}
	if list, ok := want["refused"].([]any); ok {
		c.refused(list)
	} else if len(c.got.Refused) > 0 {
		c.Fail(c.row, "refused", c.got.Refused, "nothing")
	}
	if zones, ok := want["zones"].(object); ok {
		c.zones(zones)
	}
	if c.got.Verdict == route.Refused {
		return nil
	}
	if checks, ok := want["checks"].(object); ok {
		c.checks(checks)
	}
	if o, ok := want["start"].(object); ok {
		c.numbers("start", o, map[string]float64{"elapsed_min": c.got.Start.ElapsedMin, "bar_min": c.got.Start.BarMin})
	}
	if o, ok := want["end"].(object); ok {
		c.numbers("end", o, map[string]float64{"elapsed_min": c.got.End.ElapsedMin, "bar_min": c.got.End.BarMin, "distance_m": c.got.End.DistanceM})
	}
	if list, ok := want["moves"].([]any); ok {
		c.moves(list)
	}
	if o, ok := want["commitment_point"].(object); ok {
		c.place("commitment_point", o, c.got.Commitment)
		c.arriving("commitment_point", o, c.got.Commitment)
		c.numbers("commitment_point", o, placeNumbers(c.got.Commitment))
	}
	if o, ok := want["divers"].(object); ok {
		c.divers(o)
	}
	if o, ok := want["worst_sharing"].(object); ok {
		c.worst("worst_sharing", o, c.got.WorstSharing)
	}
	if o, ok := want["worst_sharing_at_leg_ends"].(object); ok {
		c.worst("worst_sharing_at_leg_ends", o, c.got.WorstSharingAtLegEnds)
	}
	if o, ok := want["reach"].(object); ok {
		c.reach(o)
	}
	if o, ok := want["closability"].(object); ok {
		c.closability(o)
	}
	return nil
}

// numbers compares the keys that the row has.
func (c *routesCompare) numbers(key string, want object, got map[string]float64) {
	for _, k := range slices.Sorted(maps.Keys(got)) {
		if w, ok := want[k].(float64); ok {
			c.Number(c.row, key+"."+k, got[k], w, routesRelative, routesAbsolute)
		}
	}
}

func placeNumbers(p route.Place) map[string]float64 {
	return map[string]float64{"elapsed_min": p.ElapsedMin, "distance_m": p.DistanceM}
}

func (c *routesCompare) checks(want object) {
	got := map[string]route.Check{}
	for _, k := range c.got.Checks {
		got[k.Name] = k
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		k, ok := got[name]
		if !ok {
			c.Fail(c.row, "checks."+name, "no such check", want[name])
			continue
		}
		c.Exact(c.row, "checks."+name, k.Passed, want[name])
	}
}

// samePlace compares two places as the format allows: a station reached may be
// named by the move that arrives, as 0 m on the next, or as 0 minutes into the
// hold; whether it is the arriving value of D14 is compared by the values.
func (c *routesCompare) samePlace(want object, got route.Place) bool {
	move, whole := want["move"].(float64)
	if whole && move != math.Trunc(move) {
		return false
	}
	station, _ := want["station"].(string)
	past, _ := want["metres_past"].(float64)
	held, _ := want["after_hold_min"].(float64)
	near := func(a, b float64) bool {
		return math.Abs(a-b) <= math.Max(routesAbsolute, routesRelative*math.Abs(b))
	}
	if station != got.Station || !near(got.MetresPast, past) || !near(got.AfterHoldMin, held) {
		return false
	}
	if towards, ok := want["towards"].(string); ok && past > 0 && towards != got.Towards {
		return false
	}
	return int(move) == got.Move || past == 0 && c.departs(int(move), station) == c.departs(got.Move, got.Station)
}

// departs numbers the visit to a station: the move that arrives there.
func (c *routesCompare) departs(move int, station string) int {
	moves := c.in.Route.Moves
	if move >= 1 && move <= len(moves) && moves[move-1].To == station {
		return move
	}
	return move - 1
}

func (c *routesCompare) place(key string, want object, got route.Place) {
	if !c.samePlace(want, got) {
		c.Fail(c.row, key, got, want)
	}
}

// arriving compares which of the two values of D14 is meant, where they differ.
func (c *routesCompare) arriving(key string, want object, got route.Place) {
	flag, _ := want["arriving"].(bool)
	if _, placed := want["station"]; !placed {
		return
	}
	if flag == got.Arriving || want["metres_past"] != 0.0 || got.Move < 1 || got.Move > len(c.got.Moves) {
		return
	}
	if visit := c.departs(got.Move, got.Station); visit >= 1 {
		m := &c.got.Moves[visit-1]
		if a, b := m.WayOutArriving, m.WayOutAfterArrival; a != nil && b != nil && math.Abs(a.BarMin-b.BarMin) > routesAbsolute {
			c.Fail(c.row, key+".arriving", got.Arriving, flag)
		}
	}
}

func (c *routesCompare) moves(list []any) {
	if len(list) != len(c.got.Moves) {
		c.Fail(c.row, "moves", len(c.got.Moves), len(list))
		return
	}
	for i := range list {
		want, _ := list[i].(object)
		got := &c.got.Moves[i]
		key := fmt.Sprintf("moves[%d]", i+1)
		for k, v := range map[string]any{"move": got.Move, "leg": got.Leg, "from": got.From, "to": got.To, "leg_known_before": got.LegKnownBefore} {
			if w, ok := want[k]; ok {
				c.Exact(c.row, key+"."+k, v, w)
			}
		}
		c.numbers(key, want, map[string]float64{
			"minutes": got.Minutes, "bar_min": got.BarMin, "distance_m": got.DistanceM,
			"hold_min": got.HoldMin, "elapsed_arrival_min": got.ElapsedArrivalMin, "elapsed_departure_min": got.ElapsedDepartureMin,
			"cumulative_distance_m": got.CumDistanceM, "cumulative_bar_min_arrival": got.CumBarMinArrival,
			"cumulative_bar_min_departure": got.CumBarMinDeparture,
		})
		c.wayOut(key+".way_out_arriving", want["way_out_arriving"], got.WayOutArriving)
		c.wayOut(key+".way_out_after_arrival", want["way_out_after_arrival"], got.WayOutAfterArrival)
		for k, s := range map[string]*route.Sharing{"sharing_arriving": got.SharingArriving, "sharing_departing": got.SharingDeparting} {
			if o, ok := want[k].(object); ok {
				c.worst(key+"."+k, o, s)
			}
		}
	}
}

func (c *routesCompare) wayOut(key string, want any, got *route.WayOut) {
	o, ok := want.(object)
	if !ok {
		return
	}
	if got == nil {
		c.Fail(c.row, key, "no way out", want)
		return
	}
	c.numbers(key, o, map[string]float64{"bar_min": got.BarMin, "minutes": got.Minutes, "metres": got.Metres})
	list, ok := o["stations"].([]any)
	if !ok {
		return
	}
	if len(list) != len(got.Stations) {
		c.Fail(c.row, key+".stations", got.Stations, list)
		return
	}
	for i := range list {
		s, _ := list[i].(object)
		c.Exact(c.row, fmt.Sprintf("%s.stations[%d]", key, i), got.Stations[i].Station, s["station"])
		c.numbers(fmt.Sprintf("%s.stations[%d]", key, i), s, map[string]float64{"minutes": got.Stations[i].Minutes})
	}
}

// worst compares a sharing margin: of the places and pairs that tie, the one
// that the row names.
func (c *routesCompare) worst(key string, want object, got *route.Sharing) {
	if got == nil {
		c.Fail(c.row, key, "nothing", want)
		return
	}
	var match *route.Sharing
	for i, s := range append([]route.Sharing{*got}, got.AlsoAtTies...) {
		if want["donor"] != nil && want["donor"] != s.Donor || want["victim"] != nil && want["victim"] != s.Victim {
			continue
		}
		if _, ok := want["station"]; ok && !c.samePlace(want, s.Place) {
			continue
		}
		if match == nil {
			match = got
			if i > 0 {
				match = &got.AlsoAtTies[i-1]
			}
		}
	}
	if match == nil {
		c.Fail(c.row, key, fmt.Sprintf("%s->%s at %+v", got.Donor, got.Victim, got.Place), want)
		return
	}
	numbers := placeNumbers(match.Place)
	numbers["left_l"], numbers["need_l"], numbers["margin_l"] = match.LeftL, match.NeedL, match.MarginL
	if match.MarginBar != nil {
		numbers["margin_bar_of_donor"] = *match.MarginBar
	}
	// A margin near 0 is the difference of two figures that the file rounds.
	if w, ok := want["margin_l"].(float64); ok && math.Abs(w-match.MarginL) <= routesAbsolute {
		delete(numbers, "margin_l")
	}
	c.numbers(key, want, numbers)
	c.arriving(key, want, match.Place)
	if inside, ok := want["inside_a_leg"]; ok {
		c.Exact(c.row, key+".inside_a_leg", match.Place.InsideLeg(), inside)
	}
}

func (c *routesCompare) divers(want object) {
	for i := range c.got.Divers {
		g := &c.got.Divers[i]
		o, ok := want[g.Name].(object)
		key := "divers." + g.Name
		if !ok {
			continue
		}
		c.numbers(key, o, map[string]float64{
			"usable_l": g.UsableL, "permitted_l": g.PermittedL, "penetration_l": g.PenetrationL,
			"share_turn_bar_exact": g.ShareTurnBar, "share_turn_bar_rounded": g.ShareTurnRoundedBar, "two_out_bar_exact": g.TwoOutBar,
			"turn_bar_exact": g.TurnBar, "turn_bar_rounded": g.TurnRoundedBar, "surface_bar": g.SurfaceBar,
		})
		c.maybe(key+".gauge_at_reach_bar", o, "gauge_at_reach_bar", g.GaugeAtReachBar)
		stages, _ := o["stages"].(object)
		for _, s := range g.Stages {
			if w, ok := stages[s.Cylinder].(object); ok {
				c.numbers(key+"."+s.Cylinder, w, map[string]float64{
					"permitted_l": s.PermittedL, "drop_at_bar_exact": s.DropAtBar,
					"penetration_l": s.PenetrationL, "end_bar": s.EndBar,
				})
			}
		}
		for _, id := range slices.Sorted(maps.Keys(stages)) {
			if !slices.ContainsFunc(g.Stages, func(s route.StageTurn) bool { return s.Cylinder == id }) {
				c.Fail(c.row, key+"."+id, "no such stage", stages[id])
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if !slices.ContainsFunc(c.got.Divers, func(g route.DiverGas) bool { return g.Name == name }) {
			c.Fail(c.row, "divers."+name, "no such diver", want[name])
		}
	}
}

// maybe compares a number that may be null.
func (c *routesCompare) maybe(key string, want object, name string, got *float64) {
	w, ok := want[name]
	if !ok {
		return
	}
	number, some := w.(float64)
	if some != (got != nil) {
		c.Fail(c.row, key, got, w)
	} else if some {
		c.Number(c.row, key, *got, number, routesRelative, routesAbsolute)
	}
}

func (c *routesCompare) reach(want object) {
	got := &c.got.Reach
	if w, ok := want["whole_route"]; ok {
		c.Exact(c.row, "reach.whole_route", got.WholeRoute, w)
	}
	c.numbers("reach", want, placeNumbers(got.Place))
	if _, ok := want["station"]; ok {
		c.place("reach", want, got.Place)
	}
	c.binds("reach.binds", want, "binds", got.Binds)
	gauges, _ := want["gauge_bar"].(object)
	for _, g := range got.GaugeBar {
		c.numbers("reach.gauge_bar", gauges, map[string]float64{g.Diver: g.Bar})
	}
}

// binds: any of the requirements that tie may be named; so each one named must
// be among those found.
func (c *routesCompare) binds(key string, want object, name string, got []route.Bind) {
	w, ok := want[name]
	if !ok {
		return
	}
	list, _ := w.([]any)
	if len(list) == 0 {
		if len(got) > 0 {
			c.Fail(c.row, key, got, w)
		}
		return
	}
	for _, x := range list {
		pair, _ := x.([]any)
		if len(pair) != 2 || !slices.ContainsFunc(got, func(b route.Bind) bool {
			return b.Check == pair[0] && (b.Who == pair[1] || c.owner(b.Who) == pair[1])
		}) {
			c.Fail(c.row, key, got, w)
			return
		}
	}
}

// owner of a stage; a check on a cylinder may name either.
func (c *routesCompare) owner(id string) string {
	for _, d := range c.in.Team {
		for _, s := range d.Stages {
			if s.ID == id {
				return d.Name
			}
		}
	}
	return ""
}

func (c *routesCompare) closability(want object) {
	for _, id := range slices.Sorted(maps.Keys(want)) {
		o, _ := want[id].(object)
		i := slices.IndexFunc(c.got.Closability, func(x route.Closability) bool { return x.ID == id })
		key := "closability." + id
		if i < 0 {
			c.Fail(c.row, key, "nothing", o)
			continue
		}
		g := &c.got.Closability[i]
		c.numbers(key, o, map[string]float64{
			"length_m": g.LengthM, "reach_forward_m": g.ReachForwardM, "reach_backward_m": g.ReachBackwardM,
			"distance_halfway_m": g.DistanceHalfwayM, "time_halfway_m": g.TimeHalfwayM, "gas_halfway_m": g.GasHalfwayM,
			"halves_differ_fraction": g.HalvesDiffer,
		})
		for k, v := range map[string]bool{"closes": g.Closes, "halves_warning": g.HalvesWarning} {
			if w, ok := o[k]; ok {
				c.Exact(c.row, key+"."+k, v, w)
			}
		}
		if w, ok := o["marker_legal"]; ok {
			c.Exact(c.row, key+".marker_legal", g.MarkerLegal, w)
		}
		if w, ok := o["marker_interval_m"]; ok {
			list, _ := w.([]any)
			if len(list) != len(g.MarkerInterval) {
				c.Fail(c.row, key+".marker_interval_m", g.MarkerInterval, w)
			}
			for i := range min(len(list), len(g.MarkerInterval)) {
				n, _ := list[i].(float64)
				c.Number(c.row, key+".marker_interval_m", g.MarkerInterval[i], n, routesRelative, routesAbsolute)
			}
		}
		c.binds(key+".binds_forward", o, "binds_forward", g.BindsForward)
		c.binds(key+".binds_backward", o, "binds_backward", g.BindsBackward)
	}
}
