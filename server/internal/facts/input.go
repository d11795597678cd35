package facts

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// ZoneLoader gives a time zone as a value that knows these years.
type ZoneLoader func(name string, fromYear, toYear int) (calendar.Zone, error)

// Input makes the engine's input. measured is nil except at entry. An error
// means that the records themselves are broken (a zone this machine does not
// know, a station that is not there); what is merely missing goes in as missing.
func Input(r *Records, decidedAt time.Time, measured *Measured, zone ZoneLoader) (engine.Input, error) {
	c := converter{r: r, zone: zone, decidedAt: decidedAt}
	in := engine.Input{
		Moment:        facts.Planning,
		DecidedAt:     instant(decidedAt),
		PolicyVersion: r.PolicyID,
		SurveyVersion: fmt.Sprintf("%s/%d", r.Survey.Site, r.Survey.Number),
		Policy:        r.Policy,
	}
	if measured != nil {
		in.Moment = facts.AtEntry
	}
	zones, err := c.zones()
	if err != nil {
		return engine.Input{}, err
	}
	in.Plan = c.plan(measured)
	in.Route = c.route(zones)
	in.Site = c.site(zones)
	for _, p := range r.People {
		d, err := c.diver(p, zones)
		if err != nil {
			return engine.Input{}, err
		}
		in.Divers = append(in.Divers, d)
	}
	for _, cyl := range r.Cylinders {
		in.Cylinders = append(in.Cylinders, c.cylinder(cyl, zones[0]))
	}
	in.Items = c.items(zones[0])
	in.Duties = c.duties()
	return in, nil
}

type converter struct {
	r         *Records
	zone      ZoneLoader
	decidedAt time.Time
}

// pseudonym of a person id; one that is not known stays as it is, so that a
// broken reference is seen and not taken for somebody.
func (c converter) pseudonym(person string) string {
	if p, ok := c.r.Pseudonyms[person]; ok {
		return p
	}
	return person
}

// years a zone must know: dives of some years back, plans and deadlines ahead.
const (
	yearsBack  = 12
	yearsAhead = 3
)

func (c converter) zones() ([]calendar.Zone, error) {
	names := []string{c.r.Site.TimeZone}
	used := map[string]bool{c.r.Plan.GetRoute().GetStart(): true}
	for _, m := range c.r.Plan.GetRoute().GetMoves() {
		used[m.To] = true
	}
	for _, s := range c.r.Survey.Stations {
		if s.Opening && s.TimeZone != "" && used[s.Id] && !slices.Contains(names, s.TimeZone) {
			names = append(names, s.TimeZone)
		}
	}
	var zones []calendar.Zone
	for _, name := range names {
		z, err := c.loadZone(name)
		if err != nil {
			return nil, err
		}
		zones = append(zones, z)
	}
	return zones, nil
}

func (c converter) loadZone(name string) (calendar.Zone, error) {
	year := c.r.Plan.PlannedEntry.AsTime().Year()
	z, err := c.zone(name, year-yearsBack, year+yearsAhead)
	if err != nil {
		return calendar.Zone{}, fmt.Errorf("time zone %q: %w", name, err)
	}
	return z, nil
}

func (c converter) plan(measured *Measured) facts.Plan {
	p := c.r.Plan
	out := facts.Plan{
		ID: p.Id, Version: int64(p.Version), Kind: facts.PlanKind(p.Kind), Taught: p.TaughtLevel,
		Entry: stamp(p.PlannedEntry), EnterBy: stamp(p.EnterBy), Night: &p.Night,
		SwimMMin: p.GetSwimMMin(), ContingencySwimMMin: p.GetContingencySwimMMin(), SlowExitFactor: p.GetSlowExitFactor(),
		Stops: c.r.Stops, VerifiedLegs: p.ReliesOnSetUp, GFLow: p.GfLowPercent, GFHigh: p.GfHighPercent,
	}
	for i, m := range p.GetRoute().GetMoves() {
		if m.Turn {
			out.TurnMove = i + 1
		}
	}
	if f, err := policy.ParseFraction(p.GasFraction); err == nil && p.GasFraction != "" {
		out.GasFraction = f
	}
	out.Trip = calendar.Days{First: day(c.r.Trip[0]), Last: day(c.r.Trip[1])}
	if measured != nil {
		out.Entry = instant(measured.EnteredAt)
	}
	for _, person := range p.Standby {
		out.Standby = append(out.Standby, c.pseudonym(person))
	}
	if p.Cover != "" {
		out.Cover = []string{c.pseudonym(p.Cover)}
	}
	for _, d := range p.Team {
		c.member(&out, d, measured)
	}
	for _, m := range p.GetRoute().GetMoves() {
		if m.Reel != "" {
			c.carriesFor(&out, m.Reel, m.Leg)
		}
	}
	return out
}

// carriesFor notes what a reel is for on whoever carries it.
func (c converter) carriesFor(out *facts.Plan, reel, leg string) {
	for i := range out.Carries {
		if out.Carries[i].Item == reel {
			if out.Carries[i].For == "" {
				out.Carries[i].For = leg
			} else { // the same reel for a second leg
				again := out.Carries[i]
				again.For = leg
				out.Carries = append(out.Carries, again)
			}
			return
		}
	}
}

func (c converter) member(out *facts.Plan, d *lastlightv1.PlanDiver, measured *Measured) {
	who := c.pseudonym(d.Person)
	m := facts.Member{Diver: who, Leader: d.Person == c.r.Plan.Leader, Apparatus: facts.OpenCircuit}
	if d.Rebreather {
		m.Apparatus = facts.Rebreather
	}
	// In a training plan whoever holds the endorsement acts as instructor.
	m.Instructor = c.r.Plan.Kind == string(facts.Training) && c.holds(d.Person, "INSTRUCTOR")
	for _, id := range d.Equipment {
		if c.equipmentKind(id) == "scooter" {
			m.Scooter = true
		}
		out.Carries = append(out.Carries, facts.Carrying{Diver: who, Item: id, Count: 1})
	}
	for _, k := range counted(who, d) {
		out.Carries = append(out.Carries, facts.Carrying{Diver: who, Item: k.item.ID, Count: k.n})
	}
	slices.SortStableFunc(out.Carries, func(a, b facts.Carrying) int { return compareText(a.Diver+"\x00"+a.Item, b.Diver+"\x00"+b.Item) })
	out.Team = append(out.Team, m)

	mains := facts.Supply{
		Diver: who, Role: facts.Main, PlannedO2: decimal(d.GetGas().GetOxygenPercent()), PlannedHe: decimal(d.GetGas().GetHeliumPercent()),
		PlannedBar: bar(d.StartPressure), TemperatureC: d.TemperatureC,
	}
	if measured != nil {
		if v, ok := measured.MainsBar[d.Person]; ok {
			mains.MeasuredBar = &v
		}
		if t := measured.TemperatureC[d.Person]; t != nil {
			mains.TemperatureC = t
		}
	}
	set := c.set(d.Mains)
	switch {
	case set == nil: // the rules say that nobody knows which cylinders these are
		mains.ID = d.Mains
		out.Supplies = append(out.Supplies, mains)
	case set.Kind == "sidemount":
		for _, cyl := range set.Cylinders {
			one := mains
			one.ID, one.Cylinders = cyl, []string{cyl}
			out.Supplies = append(out.Supplies, one)
		}
	default:
		mains.ID, mains.Cylinders = set.Id, set.Cylinders
		if len(set.Cylinders) == 1 {
			mains.DualValve = &set.DualOutlet
		}
		out.Supplies = append(out.Supplies, mains)
	}
	for _, s := range d.Stages {
		stage := facts.Supply{
			ID: s.Cylinder, Diver: who, Role: facts.Stage, Cylinders: []string{s.Cylinder},
			PlannedO2: decimal(s.GetGas().GetOxygenPercent()), PlannedHe: decimal(s.GetGas().GetHeliumPercent()),
			PlannedBar: bar(s.StartPressure), TemperatureC: s.TemperatureC, DeepestM: s.SwitchDepthM,
		}
		if s.Kind == "deco" {
			stage.Role, stage.Resting = facts.Deco, true
		}
		if measured != nil {
			if v, ok := measured.StageBar[s.Cylinder]; ok {
				stage.MeasuredBar = &v
			}
		}
		out.Supplies = append(out.Supplies, stage)
	}
}

func (c converter) set(id string) *lastlightv1.CylinderSet {
	for _, s := range c.r.Sets {
		if s.Id == id {
			return s
		}
	}
	return nil
}

func (c converter) equipmentKind(id string) string {
	for _, e := range c.r.Equipment {
		if e.Record.Id == id {
			return e.Record.Kind
		}
	}
	return ""
}

func (c converter) holds(person, endorsement string) bool {
	for _, p := range c.r.People {
		if p.Record.Id != person {
			continue
		}
		for _, card := range p.Record.Cards {
			if card.Endorsement == endorsement && card.SeenBy != "" && card.RevokedAt == nil {
				return true
			}
		}
	}
	return false
}

func (c converter) duties() []facts.Duty {
	var out []facts.Duty
	for _, b := range c.r.Bookings {
		d := facts.Duty{Plan: b.Plan, PlanName: b.Plan, State: b.State, As: b.Duty, From: instant(b.From), Until: instant(b.Until)}
		if b.Kind == "cylinder" {
			d.Cylinder, d.As = b.Subject, "cylinder"
		} else {
			d.Diver = c.pseudonym(b.Subject)
		}
		out = append(out, d)
	}
	return out
}

// route fills what the engine does not derive itself.
func (c converter) route(zones []calendar.Zone) route.Input {
	p := c.r.Plan
	in := route.Input{}
	for _, s := range c.r.Survey.Stations {
		in.Stations = append(in.Stations, route.Station{Name: s.Id, DepthM: s.GetDepthM(), Opening: s.Opening, Daylight: s.Daylight, AirBell: s.AirBell})
	}
	for _, l := range c.r.Survey.Legs {
		overhead := !l.DeclaredFreeAbove
		main := !l.OffMainLine
		leg := route.Leg{
			ID: l.Id, From: l.From, To: l.To, LengthM: l.LengthM, Lined: l.Lined, FlowMMin: l.FlowMMin,
			Restriction: orElse(l.Restriction, route.RestrictionNone), Overhead: &overhead,
			PullAndGlideMMin: l.PullAndGlideMMin, MainLine: &main, Gap: l.UnlinedKind == "gap", Unexplored: l.UnlinedKind == "new", TurnsRound: l.TurnsRound,
		}
		for _, d := range l.DepthPoints {
			leg.DepthPoints = append(leg.DepthPoints, route.DepthPoint{AtM: d.AtM, DepthM: d.GetDepthM()})
		}
		in.Legs = append(in.Legs, leg)
	}
	in.Route = route.Route{Start: p.GetRoute().GetStart(), StartActions: c.actions(p.GetRoute().GetStartActions())}
	for _, m := range p.GetRoute().GetMoves() {
		in.Route.Moves = append(in.Route.Moves, route.Move{
			Leg: m.Leg, To: m.To, SwimMMin: m.GetSwimMMin(), RunLine: m.RunLine, RecoverLine: m.RecoverLine,
			Actions: c.actions(m.Actions), HoldMin: m.HoldMin, HoldTask: m.HoldTask,
		})
	}
	for _, l := range p.GetRoute().GetLeft() {
		in.Route.LeftDeclared = append(in.Route.LeftDeclared, l.Item)
	}
	for _, ci := range p.Circuits {
		circuit := route.Circuit{ID: ci.Id, Approach: ci.Approach, Legs: ci.Legs, MarkerAtM: ci.MarkerAtM, MarkerHoldMin: ci.MarkerHoldMin}
		if ci.FarOpening != "" {
			circuit.StartA, circuit.StartB = in.Route.Start, ci.FarOpening
			in.Traverses = append(in.Traverses, circuit)
		} else {
			circuit.Start = in.Route.Start
			in.Loops = append(in.Loops, circuit)
		}
	}
	if p.CavernOnly {
		in.ClaimedZone = route.ClaimCavern
	}
	in.LeftLines, in.Markers = c.left(zones)
	return in
}

func (c converter) actions(list []*lastlightv1.RouteAction) []route.Action {
	var out []route.Action
	for _, a := range list {
		act := route.Action{Action: a.Action, Diver: c.pseudonym(a.Person), Marker: a.Marker}
		if a.Cylinder != "" {
			act.Cylinder = &a.Cylinder
		}
		out = append(out, act)
	}
	return out
}

// left is what this team may count on of what hangs in the cave (D35): lines
// its own set-up dives left that somebody saw sound on the day of entry, and
// its own markers. Another team's never counts.
func (c converter) left(zones []calendar.Zone) (lines []string, markers []route.PlacedMarker) {
	ours := map[string]bool{}
	for _, d := range c.r.SiteDives {
		ours[d.Id] = len(c.teamIn(d, nil)) >= min(2, len(c.r.Plan.Team))
	}
	for _, l := range c.r.Left {
		if !ours[l.Dive] {
			continue
		}
		switch l.Kind {
		case "line":
			seen := l.LeftAt
			if l.ConfirmedAt != nil {
				seen = l.ConfirmedAt
			}
			if today, err := calendar.SameDay(stamp(seen), stamp(c.r.Plan.PlannedEntry), zones...); err == nil && today {
				lines = append(lines, l.Place)
			}
		case "marker":
			markers = append(markers, route.PlacedMarker{Marker: l.Item, Station: l.Place})
		}
	}
	return lines, markers
}

// teamIn gives the members of the plan's team who dived that dive and, if
// people is not empty, are among people.
func (c converter) teamIn(d *lastlightv1.Dive, people []string) []string {
	var in []string
	for _, m := range c.r.Plan.Team {
		dived := slices.ContainsFunc(d.Divers, func(x *lastlightv1.DiveDiver) bool { return x.Person == m.Person })
		if dived && (len(people) == 0 || slices.Contains(people, m.Person)) {
			in = append(in, m.Person)
		}
	}
	return in
}

func decimal(percent float64) string { return strconv.FormatFloat(percent, 'f', -1, 64) }

func bar(p *lastlightv1.Pressure) *float64 {
	if p == nil {
		return nil
	}
	v := p.GetBar()
	return &v
}

func instant(t time.Time) calendar.Instant {
	if t.IsZero() {
		return calendar.Instant{}
	}
	return calendar.FromUnix(t.Unix())
}

func stamp(t *timestamppb.Timestamp) calendar.Instant {
	if t == nil {
		return calendar.Instant{}
	}
	return instant(t.AsTime())
}

// stampUp is the whole minute at or after a time: who arrived then was there no
// earlier.
func stampUp(t *timestamppb.Timestamp) calendar.Instant {
	if t == nil {
		return calendar.Instant{}
	}
	return calendar.FromUnixUp(t.AsTime().Unix())
}

func orElse(s, fallback string) string {
	if s == "" {
		return fallback
	}
	return s
}

func compareText(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
