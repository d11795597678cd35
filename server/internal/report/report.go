// Package report shows the engine's report to people: as API message, with
// names in the place of pseudonyms, and without what the reader may not see.
package report

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/dive"
	"lastlight/engine/finding"
	"lastlight/engine/route"
	"lastlight/engine/rules"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Names puts names in the place of pseudonyms. A pseudonym it does not know,
// of somebody erased, stays.
type Names struct {
	ids   map[string]string // pseudonym → person id
	shown map[string]string // pseudonym → name
	text  *strings.Replacer
}

// NewNames takes pseudonym → person id and pseudonym → name as shown.
func NewNames(ids, shown map[string]string) Names {
	var pairs []string
	for p, name := range shown {
		pairs = append(pairs, p, name)
	}
	return Names{ids: ids, shown: shown, text: strings.NewReplacer(pairs...)}
}

// instant is a time as the engine writes it; a reader gets blanks for the T and before the offset.
var instant = regexp.MustCompile(`\b(\d{4}-\d\d-\d\d)T(\d\d:\d\d)([+-]\d\d:\d\d)`)

// In replaces every pseudonym in a text, and writes its times for a reader.
func (n Names) In(text string) string {
	text = instant.ReplaceAllString(text, "$1 $2 $3")
	if n.text == nil {
		return text
	}
	return n.text.Replace(text)
}

// ID is the person id behind a pseudonym, or the pseudonym.
func (n Names) ID(pseudonym string) string {
	if id, ok := n.ids[pseudonym]; ok {
		return id
	}
	return pseudonym
}

// Of is the name behind a pseudonym, or the pseudonym.
func (n Names) Of(pseudonym string) string {
	if name, ok := n.shown[pseudonym]; ok {
		return name
	}
	return pseudonym
}

// Show makes the API's report of an engine report.
func Show(r *engine.Report, n Names) *lastlightv1.Report {
	out := &lastlightv1.Report{
		Moment: string(r.Moment), Verdict: string(r.Verdict), EngineVersion: r.EngineVersion, Policy: r.PolicyVersion, Survey: r.SurveyVersion,
		Counts: &lastlightv1.FindingCounts{
			Refuse: int32(r.Counts.Refuse), Indeterminate: int32(r.Counts.Indeterminate), NeedsWaiver: int32(r.Counts.NeedsWaiver),
			Caution: int32(r.Counts.Caution), Note: int32(r.Counts.Note), Pass: int32(r.Counts.Pass), NotApplicable: int32(r.Counts.NotApplicable),
		},
		Dive: figures(r, n),
	}
	for _, f := range r.Findings {
		out.Findings = append(out.Findings, Finding(f, n))
	}
	return out
}

// Citation makes the API's message of a clause.
func Citation(c finding.Citation) *lastlightv1.Citation {
	return &lastlightv1.Citation{Document: c.Document, Edition: c.Edition, Section: c.Section, DateRead: c.DateRead}
}

// Finding makes the API's message of a finding.
func Finding(f finding.Finding, n Names) *lastlightv1.Finding {
	out := &lastlightv1.Finding{
		Rule: f.Rule, RuleVersion: int32(f.RuleVersion), Status: string(f.Status), Code: f.Code, Subject: subject(&f.Subject, n), Other: subject(f.Other, n),
		Path: f.Path, Place: f.Place, Observed: figure(f.Observed, n), Limit: figure(f.Limit, n), Shortfall: figure(f.Shortfall, n),
		Citation: Citation(f.Citation),
		Message:  n.In(f.Message), Remedy: n.In(f.Remedy), DueAt: f.DueAt, Key: f.Key(),
	}
	for i := range f.Figures {
		out.Figures = append(out.Figures, figure(&f.Figures[i], n))
	}
	if f.Waivable() {
		out.WaivableBy, out.SecondApprover = f.Waiver.Roles, f.Waiver.SecondApprover
	}
	for _, s := range f.Steps {
		step := &lastlightv1.Step{What: n.In(s.What), Formula: s.Formula, Result: figure(&s.Result, n), Source: s.Source}
		for i := range s.Inputs {
			step.Inputs = append(step.Inputs, figure(&s.Inputs[i], n))
		}
		out.Steps = append(out.Steps, step)
	}
	for _, e := range f.Evidence {
		out.Records = append(out.Records, &lastlightv1.RecordRef{Kind: e.Kind, Id: n.ID(e.ID), Version: e.Version})
	}
	return out
}

func subject(s *finding.Subject, n Names) *lastlightv1.FindingSubject {
	if s == nil {
		return nil
	}
	out := &lastlightv1.FindingSubject{Kind: string(s.Kind), Id: n.ID(s.ID), Name: n.In(s.Name)}
	if name := n.Of(s.ID); name != s.ID {
		out.Name = name
	}
	return out
}

func figure(f *finding.Figure, n Names) *lastlightv1.Figure {
	if f == nil {
		return nil
	}
	out := &lastlightv1.Figure{Name: n.In(f.Name), Number: f.Number, Text: n.In(f.Text), Unit: f.Unit, From: f.From}
	if f.Of != "" {
		for _, p := range strings.Split(f.Of, "+") {
			out.People = append(out.People, n.ID(p))
		}
	}
	return out
}

// AboutHealth tells whether a finding says, or would tell, why a person is not available.
func AboutHealth(rule, path string) bool {
	return rule == "diver.medical" || rule == "diver.not_diving" || strings.Contains(path, "medical")
}

// Public is a finding's message for whoever reads it: about health only that
// somebody is not available, never why.
func Public(f finding.Finding, n Names) string {
	if AboutHealth(f.Rule, f.Path) {
		return n.Of(f.Subject.ID) + " is not available"
	}
	return n.In(f.Message)
}

// Told is Public for a reader who may not read everybody's cards, age and consumption either: whether they count, never why.
func Told(f finding.Finding, n Names, mayReadTrainingOf func(person string) bool) string {
	one := &lastlightv1.Report{Findings: []*lastlightv1.Finding{Finding(f, n)}}
	Mask(one, func(string) bool { return false })
	MaskTraining(one, mayReadTrainingOf)
	return one.Findings[0].Message
}

// Mask leaves out of a report why somebody other than the reader is not
// available: whoever may not read a medical status sees that, never why.
func Mask(r *lastlightv1.Report, mayReadHealthOf func(person string) bool) {
	if r == nil {
		return
	}
	r.Findings = merged(r.Findings, "diver.available", func(f *lastlightv1.Finding) bool {
		return AboutHealth(f.Rule, f.Path) && !mayReadHealthOf(f.GetSubject().GetId())
	}, func(out *lastlightv1.Finding, name string) {
		if finding.Status(out.Status).Blocks() {
			// Of a status that is missing or over less would be told apart.
			out.Status, out.Message = string(finding.Refuse), name+" is not available"
			out.Remedy = "take another diver; " + name + " sees what to do with `lastlight ready`"
		} else {
			out.Status, out.Message = string(finding.Pass), name+" is available"
		}
	})
}

// merged puts one finding of the rule in the place of all hidden ones about one
// person, with the worst of their statuses: two would tell more than one, and
// could say yes and no at once. say words it.
func merged(list []*lastlightv1.Finding, rule string, hidden func(*lastlightv1.Finding) bool, say func(out *lastlightv1.Finding, name string)) []*lastlightv1.Finding {
	var shown, made []*lastlightv1.Finding
	of := map[string]*lastlightv1.Finding{}
	for _, f := range list {
		if !hidden(f) {
			shown = append(shown, f)
			continue
		}
		status := f.Status
		if f.WaivedBy != "" { // the plan's waivers say that; it stops nothing
			status = string(finding.Caution)
		}
		person := f.GetSubject().GetId()
		out := of[person]
		if out == nil {
			out = &lastlightv1.Finding{Rule: rule, RuleVersion: 1, Subject: f.Subject, Status: status}
			of[person] = out
			shown, made = append(shown, out), append(made, out)
		}
		if finding.Status(status).Rank() < finding.Status(out.Status).Rank() {
			out.Status = status
		}
	}
	for _, out := range made {
		say(out, out.GetSubject().GetName())
	}
	return shown
}

// ofTraining are the rules that tell a person's cards, consumption or age.
var ofTraining = map[string]bool{"diver.card": true, "diver.consumption": true, "diver.minimum_age": true, "diver.guardian_consent": true, "diver.currency": true, "diver.step_down": true}

// MaskTraining leaves out of a report what somebody's cards, lapses, age and
// consumption are: a fellow diver reads whether they count, never why.
func MaskTraining(r *lastlightv1.Report, mayRead func(person string) bool) {
	if r == nil {
		return
	}
	for _, f := range r.Findings {
		if ownRuleHidden(f, mayRead) {
			f.Message, f.Remedy, f.Steps, f.Observed, f.Citation = f.GetSubject().GetName()+": a rule of the club", "a coordinator can see which, and why", nil, nil, nil
		}
	}
	r.Findings = merged(r.Findings, "diver.counts", func(f *lastlightv1.Finding) bool {
		return ofTraining[f.Rule] && !mayRead(f.GetSubject().GetId())
	}, func(out *lastlightv1.Finding, name string) {
		if finding.Status(out.Status).Blocks() {
			out.Message = name + " does not count for this dive"
			out.Remedy = "take another diver; " + name + " and a coordinator can see why"
		} else {
			out.Status, out.Message = string(finding.Pass), name+" counts for this dive"
		}
	})
	for _, f := range r.Findings {
		for _, s := range f.GetSteps() {
			withhold(s, mayRead)
		}
	}
	for _, d := range r.GetDive().GetDivers() {
		if !mayRead(d.Person) {
			d.CountsAs, d.CountsBecause = "", ""
			d.ConsumptionLMin, d.WorstConsumptionLMin, d.ConsumptionOrigin = 0, 0, ""
			d.ConsumptionWay, d.ConsumptionDives, d.ConsumptionFrom, d.ConsumptionTo = "", 0, "", ""
		}
	}
}

// ownRuleHidden tells whether one of the club's own rules read what stands in somebody's own records: its words may tell what it was.
func ownRuleHidden(f *lastlightv1.Finding, mayRead func(person string) bool) bool {
	if !strings.HasPrefix(f.Rule, "own.") {
		return false
	}
	for _, s := range f.GetSteps() {
		for _, x := range s.GetInputs() {
			if slices.ContainsFunc(x.GetPeople(), func(p string) bool { return !mayRead(p) }) {
				return true
			}
		}
	}
	return false
}

// withhold leaves out of a step what would tell a value from the records of a
// person whom the reader may not see. One such input takes all of them with it:
// from the others and the result it would be a subtraction. The litres that two
// need, and the way out, a team is shown all the same: they dive by them.
func withhold(s *lastlightv1.Step, mayRead func(person string) bool) {
	hidden := func(f *lastlightv1.Figure) bool {
		return slices.ContainsFunc(f.GetPeople(), func(p string) bool { return !mayRead(p) })
	}
	for _, f := range s.GetInputs() {
		s.Withheld = s.Withheld || hidden(f)
	}
	if s.GetWithheld() {
		s.Inputs = nil
	}
	if hidden(s.GetResult()) {
		s.Inputs, s.Result, s.Withheld = nil, nil, true
	}
}

func figures(r *engine.Report, n Names) *lastlightv1.DiveFigures {
	out := &lastlightv1.DiveFigures{
		RuntimeMin: r.RuntimeMin, Entry: stamp(r.Entry), EnterBy: stamp(r.EnterBy), LatestSurfacing: stamp(r.LatestSurfacing), Watch: Watch(r.Watch),
	}
	rows := map[string]*lastlightv1.DiverFigures{}
	for _, t := range r.Turns {
		d := rows[t.Diver]
		if d == nil {
			d = &lastlightv1.DiverFigures{Person: n.ID(t.Diver), Name: n.Of(t.Diver)}
			rows[t.Diver] = d
			out.Divers = append(out.Divers, d)
		}
		d.Turns = append(d.Turns, &lastlightv1.SupplyTurn{Supply: t.Supply, StartBar: t.StartBar, TurnBarExact: t.ExactBar, TurnBar: t.TurnBar, Governs: t.Governs})
	}
	for _, s := range r.Standings {
		if d := rows[s.Diver]; d != nil {
			d.CountsAs, d.CountsBecause = s.CountsAs, n.In(s.Because)
		}
	}
	for _, x := range r.Rates {
		if d := rows[x.Diver]; d != nil {
			d.ConsumptionLMin, d.WorstConsumptionLMin, d.ConsumptionOrigin = x.LMin, x.WorstLMin, x.Origin
			d.ConsumptionWay, d.ConsumptionDives, d.ConsumptionFrom, d.ConsumptionTo = x.Way, int32(x.Dives), x.First.String(), x.Last.String()
		}
	}
	for _, f := range r.Flights {
		if d := rows[f.Diver]; d != nil {
			d.EarliestFlight = stamp(f.Earliest)
		}
	}
	out.Decompression = decompression(r.Dive, n)
	out.OtherWay = otherWay(r.OtherWay)
	x := r.Route
	if x == nil || x.Verdict == route.Refused {
		out.LatestSurfacing = nil // nobody knows how long a route takes that cannot be dived
		return out
	}
	out.MaxDepthM, out.PenetrationM, out.DistanceM, out.TurnMinute = x.Summary.MaxDepthM, x.Summary.PenetrationM, x.End.DistanceM, x.Summary.TurnMin
	for _, d := range x.Divers {
		if row := rows[d.Name]; row != nil {
			row.SurfaceBar = d.SurfaceBar
		}
	}
	out.CommitmentPoint = place(x.Commitment)
	out.TurnAtTheLatest = place(x.Reach.Place)
	out.TurnAtTheLatest.WholeRoute = x.Reach.WholeRoute
	for _, b := range x.Reach.Binds {
		out.TurnAtTheLatest.Binds = append(out.TurnAtTheLatest.Binds, bind(b, n))
	}
	if s := x.WorstSharing; s != nil {
		w := &lastlightv1.WorstSharing{Donor: n.In(s.Donor), Receiver: n.Of(s.Victim), Place: PlaceText(s.Place), LeftL: s.LeftL, NeedL: s.NeedL, MarginL: s.MarginL}
		if s.MarginBar != nil {
			w.MarginBar = *s.MarginBar
		}
		out.WorstSharing = w
	}
	zones := map[string]string{}
	for _, z := range x.Zones {
		zones[z.Leg] = z.Zone
	}
	for _, m := range x.Moves {
		out.Route = append(out.Route, &lastlightv1.RouteLine{
			Move: int32(m.Move), Leg: m.Leg, From: m.From, To: m.To,
			ArriveMin: m.ElapsedArrivalMin, LeaveMin: m.ElapsedDepartureMin, Zone: zones[m.Leg],
		})
	}
	for _, c := range x.Closability {
		f := &lastlightv1.CircuitFigures{
			Id: c.ID, Kind: c.Kind, LengthM: c.LengthM, ReachForwardM: c.ReachForwardM, ReachBackwardM: c.ReachBackwardM,
			Closes: c.Closes, MarkerLegal: c.MarkerLegal, DistanceHalfwayM: c.DistanceHalfwayM, TimeHalfwayM: c.TimeHalfwayM, GasHalfwayM: c.GasHalfwayM, HalvesDiffer: c.HalvesWarning,
		}
		if len(c.MarkerInterval) == 2 {
			f.MarkerFromM, f.MarkerToM = &c.MarkerInterval[0], &c.MarkerInterval[1]
		}
		out.Circuits = append(out.Circuits, f)
	}
	return out
}

// bindWords say a check of the route model in the words of the trade.
var bindWords = map[string]string{
	route.CheckShareRule: "share of the gas", route.CheckStageShare: "share of the stage", route.BindSharing: "sharing exit",
	route.BindSharingGoingHome: "sharing exit on the way home", route.CheckPlannedExit: "planned reserve", route.CheckLostCylinder: "a waiting cylinder gone",
	route.CheckOnTheWayOut: "cylinder off the way out", route.CheckMarkerMet: "marker not met in time", route.CheckIndependent: "one main cylinder gone",
	route.CheckDecoGas: "decompression gas", route.BindProgress: "no progress", route.BindNoWayOut: "no way out", route.CheckShareHere: "cannot share here",
}

func bind(b route.Bind, n Names) string {
	word, ok := bindWords[b.Check]
	if !ok {
		word = strings.ReplaceAll(b.Check, "_", " ")
	}
	if donor, receiver, two := strings.Cut(b.Who, "->"); two {
		return word + ", " + n.In(donor) + " for " + n.In(receiver)
	}
	if b.Who == "" {
		return word
	}
	return word + ", " + n.In(b.Who)
}

// PlaceText says a place on the line in words.
func PlaceText(p route.Place) string {
	switch {
	case p.InHold && p.AfterHoldMin > 0:
		return p.Station + ", " + finding.Decimal(p.AfterHoldMin, 1) + " min into the hold"
	case p.InsideLeg():
		return finding.Decimal(p.MetresPast, 1) + " m past " + p.Station + " towards " + p.Towards
	}
	return p.Station
}

func place(p route.Place) *lastlightv1.TurnPlace {
	return &lastlightv1.TurnPlace{Move: int32(p.Move), Station: p.Station, MetresPast: p.MetresPast, Towards: p.Towards, HoldMin: p.AfterHoldMin, ElapsedMin: p.ElapsedMin}
}

// Watch makes the API's message of the watch times.
func Watch(w *engine.Watch) *lastlightv1.WatchTimes {
	if w == nil {
		return nil
	}
	out := &lastlightv1.WatchTimes{
		Eto: stamp(w.ETO.At), Look: stamp(w.Look.At), Coordinator: stamp(w.Coordinator.At), Dial: stamp(w.Dial.At),
		GraceMin: float64(w.GraceMin), GasClause: w.GasClause,
	}
	if w.Walk != nil {
		out.Walk = stamp(w.Walk.At)
	}
	return out
}

func stamp(t calendar.Instant) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return &timestamppb.Timestamp{Seconds: t.Unix()}
}

// Worst gives up to n blocking findings of a report in one line each, for
// explanations; the whole list is in the report.
func Worst(r *lastlightv1.Report, n int) string {
	var lines []string
	for _, f := range r.GetFindings() {
		if finding.Status(f.Status).Blocks() && f.WaivedBy == "" {
			lines = append(lines, f.Message)
		}
	}
	if len(lines) > n {
		lines = append(lines[:n:n], strconv.Itoa(len(lines)-n)+" more")
	}
	return strings.Join(lines, "; ")
}

// decompression makes the API's message of the dive with its stops.
func decompression(a *dive.Answer, n Names) *lastlightv1.Decompression {
	if a == nil {
		return nil
	}
	s := &a.Schedule
	out := &lastlightv1.Decompression{StopsNeeded: a.Stops, StopMin: int32(s.StopMin), ToSurfaceMin: s.ToSurfaceMin}
	out.Stops = stops(s)
	for i := range a.Variants {
		v := &a.Variants[i]
		x := &lastlightv1.DecompressionVariant{
			DeeperM: v.DeeperM, LongerMin: v.LongerMin, Stops: stops(&v.Schedule), StopMin: int32(v.Schedule.StopMin), ToSurfaceMin: v.Schedule.ToSurfaceMin,
		}
		for _, short := range v.Short {
			x.Short = append(x.Short, short.Supply+" of "+n.Of(short.Diver))
		}
		out.Variants = append(out.Variants, x)
	}
	out.LostGas = lostGas(a.LostGas, n)
	for _, x := range s.Switches {
		out.Changes = append(out.Changes, &lastlightv1.GasChange{Minute: x.Minute, DepthM: x.DepthM, Person: n.ID(x.Diver), Cylinder: x.Cylinder})
	}
	if l := a.Longest; l != nil {
		out.Longest = &lastlightv1.LongestWayOut{Place: l.Place, AfterMin: l.AfterMin, StopMin: int32(l.StopMin), ToSurfaceMin: l.ToSurfaceMin}
	}
	for _, d := range s.Divers {
		out.Oxygen = append(out.Oxygen, &lastlightv1.OxygenFigures{Person: n.ID(d.Name), CnsPercent: d.CNSAll, OtuDay: d.OTUDay})
	}
	return out
}

// lostGas puts losses together that come to the same: two divers' cylinders of one gas.
func lostGas(list []dive.LostGas, n Names) (out []*lastlightv1.LostGasSchedule) {
	for i := range list {
		l := &list[i]
		x := &lastlightv1.LostGasSchedule{
			Place: l.Place, Stops: stops(&l.Schedule), StopMin: int32(l.Schedule.StopMin), ToSurfaceMin: l.Schedule.ToSurfaceMin, NoSchedule: l.Schedule.NoSchedule,
		}
		if l.Lost != "" {
			x.Lost = []string{l.Lost}
		} else {
			x.CarriedBy, x.Breathes = []string{n.ID(l.Diver)}, []string{"back gas of another"}
		}
		for _, d := range l.Schedule.Divers {
			if d.Name != l.Diver {
				continue
			}
			for _, s := range d.Supplies {
				if s.UsedL > 0.5 {
					x.Breathes = append(x.Breathes, nameOr(s.ID, "back gas"))
				}
			}
		}
		for _, s := range l.Short {
			x.Short = append(x.Short, nameOr(s.Supply, "back gas")+" of "+n.Of(s.Diver))
		}
		same := func(y *lastlightv1.LostGasSchedule) bool {
			return y.ToSurfaceMin == x.ToSurfaceMin && y.NoSchedule == x.NoSchedule && slices.EqualFunc(y.Stops, x.Stops, func(a, b *lastlightv1.DecompressionStop) bool {
				return a.DepthM == b.DepthM && a.Minutes == b.Minutes && a.Place == b.Place
			}) && (len(y.Short) == 0) == (len(x.Short) == 0) && (len(y.CarriedBy) == 0) == (len(x.CarriedBy) == 0)
		}
		if k := slices.IndexFunc(out, same); k >= 0 {
			out[k].Lost, out[k].CarriedBy = append(out[k].Lost, x.Lost...), append(out[k].CarriedBy, x.CarriedBy...)
			for _, s := range x.Breathes {
				if !slices.Contains(out[k].Breathes, s) {
					out[k].Breathes = append(out[k].Breathes, s)
				}
			}
			for _, s := range x.Short {
				if !slices.Contains(out[k].Short, s) {
					out[k].Short = append(out[k].Short, s)
				}
			}
			continue
		}
		out = append(out, x)
	}
	return out
}

// otherWay makes the API's message of the circuit the other way round.
func otherWay(o *rules.OtherWay) *lastlightv1.OtherWay {
	if o == nil {
		return nil
	}
	out := &lastlightv1.OtherWay{Station: o.Station, Legs: o.Legs, Holds: o.Holds, Why: o.Why}
	if o.Computed {
		out.RuntimeMin, out.StopMin, out.SharingMarginL = &o.RuntimeMin, int32(o.StopMin), o.SharingL
		out.Stops = stops(&dive.Schedule{Stops: o.Stops})
	}
	return out
}

func nameOr(name, other string) string {
	if name != "" {
		return name
	}
	return other
}

func stops(s *dive.Schedule) []*lastlightv1.DecompressionStop {
	var list []*lastlightv1.DecompressionStop
	for _, x := range s.Stops {
		list = append(list, &lastlightv1.DecompressionStop{
			DepthM: x.DepthM, Minutes: int32(x.Minutes), ArriveMin: x.ArrivalMin, Place: x.Place, Breathing: x.Breathing,
		})
	}
	return list
}
