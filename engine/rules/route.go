package rules

import (
	"math"
	"slices"
	"strings"

	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// routeCheck is one check of the route model told as a rule.
type routeCheck struct {
	id, title, check, section string
	words                     map[string]Words
}

// routeRules turn what the route model found into findings: its refusals, each
// of its checks, its cautions, and the turn at the latest.
func routeRules() []Rule {
	rules := []Rule{
		{
			ID: "route.faults", Version: 1, Title: "The route can be computed", Citation: handbook("route method", "D33"),
			Words: map[string]Words{
				"ok":      {Says: "{subject}: every move is possible"},
				"lacks":   {Says: "{subject}: cannot tell, the route lacks {observed}", Remedy: "record what is missing"},
				"refused": {Says: "{subject}: {observed}", Remedy: "{remedy}"},
				"problem": {Says: "{subject}: {observed}", Remedy: "correct {field}"},
			},
			Check: routeFaults,
		},
	}
	margin := func(what string) map[string]Words {
		return map[string]Words{
			"ok":             {Says: "{who}: " + what + " {observed}, limit {limit}"},
			"failed":         {Says: "{who}: " + what + " {observed}, limit {limit}: {shortfall} missing{at}", Remedy: "{pass}"},
			"not_applicable": {Says: "nothing of the plan concerns it"},
		}
	}
	gone := func(what string) map[string]Words {
		w := margin(what)
		w["no_way"] = Words{Says: "{who}: no way out that can be swum and scheduled{at}", Remedy: "{pass}"}
		return w
	}
	sharing := map[string]Words{
		"no_way":         {Says: "{subject} to {other}: no way out that two can share and that can be scheduled{at}", Remedy: "turn no later than {farthest}"},
		"nobody":         {Says: "{subject}: no way out that can be swum{at}", Remedy: "turn no later than {farthest}"},
		"ok":             {Says: "{subject} to {other}: at the dearest place{at}: {observed} left, {limit} needed by two"},
		"short":          {Says: "{subject} to {other}: two need {limit}, {subject} has {observed}: short {shortfall}{in_bar}{at}", Remedy: "turn no later than {farthest}"},
		"not_applicable": {Says: "nothing of the plan concerns it"},
	}
	for _, r := range []routeCheck{
		{"route.share_rule", "Gas for the way in", route.CheckShareRule, "4.1", margin("gas up to the commitment point")},
		{"route.stage_share", "Stage gas for the way in", route.CheckStageShare, "4.5", margin("stage gas up to the commitment point")},
		{"route.sharing_exit", "Two out on one supply, everywhere", route.CheckSharing, "4.2", sharing},
		{"route.major_restriction_sharing", "Sharing through a major restriction", route.CheckShareHere, "D11", map[string]Words{
			"ok":             {Says: "{who}: no way out leads through a major restriction"},
			"failed":         {Says: "{who}: cannot share here, the cheapest way out holds a major restriction{at}", Remedy: "{pass}"},
			"not_applicable": {Says: "nothing of the plan concerns it"},
		}},
		{"route.planned_exit", "Everybody surfaces with the reserve", route.CheckPlannedExit, "4.3", margin("left at the surface")},
		{"route.lost_cylinder", "Out with any waiting cylinder or decompression gas gone", route.CheckLostCylinder, "D24", gone("left with the cylinder gone")},
		{"route.independent_main", "Out with either independent main gone", route.CheckIndependent, "D24", gone("left with one main gone")},
		{"route.independent_spread", "Independent mains kept alike", route.CheckSpread, "D24", margin("difference between the mains")},
		{"route.cylinder_on_way_out", "Waiting cylinders on the way out", route.CheckOnTheWayOut, "D39", margin("waiting cylinder")},
		{"route.marker_in_time", "Marker met before the turn", route.CheckMarkerMet, "D30", margin("gas on meeting the marker")},
		{"route.deco_gas", "Decompression gas with its reserve", route.CheckDecoGas, "4.5", margin("decompression gas")},
		{"route.cavern_zone", "Sold as a cavern dive", route.CheckCavernZone, "D2", map[string]Words{
			"ok":             {Says: "{subject}: every leg is cavern zone"},
			"failed":         {Says: "{who}: is cave zone, the dive is sold as a cavern dive", Remedy: "{pass}"},
			"not_applicable": {Says: "the dive is not sold as a cavern dive"},
		}},
		{"route.siphon_row", "Siphon row of the policy", route.CheckSiphon, "D38", map[string]Words{
			"ok":             {Says: "{who}: inflow {observed}, limit {limit}"},
			"failed":         {Says: "{who}: inflow {observed}, limit {limit}: the siphon row refuses it", Remedy: "{pass}"},
			"not_applicable": {Says: "no inflow on the way"},
		}},
	} {
		rules = append(rules, Rule{
			ID: r.id, Version: 1, Title: r.title, Citation: handbook("route method", r.section), Words: r.words,
			Check: func(c *Case) []finding.Finding { return c.routeCheck(r.check) },
		})
	}
	unhelped := margin("left without the helpful flow")
	unhelped["no_way"] = Words{Says: "{who}: without the helpful flow no way out that can be swum and scheduled{at}", Remedy: "{pass}"}
	return append(rules,
		Rule{
			ID: "route.helpful_outflow", Version: 1, Title: "Helpful outflow gone", Citation: handbook("route method", "D38"), Words: unhelped,
			Check: helpfulOutflow,
		},
		Rule{
			ID: "route.flow_class", Version: 1, Title: "No leg in a flow that the club refuses", Citation: handbook("practice", "6"), Cell: "flow.inflow_one_class_stricter",
			Words: map[string]Words{
				"ok":       {Says: "{subject}: flow at most {observed}, counts as {class}"},
				"refused":  {Says: "{subject}: flow {observed} counts as {class}: no dive in it", Remedy: "another route, or another day"},
				"inflow":   {Says: "{subject}: flow {observed} against the way out counts one class up, as {class}: no dive in it", Remedy: "another route, or another day"},
				"no_class": {Says: "{subject}: cannot tell, flow {observed} is in no class of the policy", Remedy: "give the policy's last class no upper end"},
			},
			Check: flowClasses,
		},
		Rule{
			ID: "route.other_way", Version: 1, Title: "The circuit the other way round", Citation: handbook("route method", "5"),
			Words: map[string]Words{
				"ok":        {Says: "{subject}: the circuit at {place} the other way round: {observed}, as planned {limit}; stops {stops}, as planned {planned_stops}{gas}"},
				"fails":     {Says: "{subject}: the circuit at {place} the other way round does not hold ({why}): {observed}, as planned {limit}; stops {stops}, as planned {planned_stops}{gas}"},
				"not_known": {Says: "{subject}: the circuit at {place} the other way round cannot be computed: {why}"},
				"none":      {Says: "{subject}: no circuit"},
			},
			Check: directions,
		},
		Rule{
			ID: "route.turn", Version: 1, Title: "Turn at the latest", Citation: handbook("route method", "D25, D27"),
			Words: map[string]Words{
				"ok":    {Says: "{subject}: turn at {observed}, from {start} in {supply}: {governs} governs"},
				"short": {Says: "{subject}: turn at {observed}, from {start}: no dive below it", Remedy: "start with more gas"},
				"whole": {Says: "{subject}: the gas allows the whole route as planned"},
				"place": {Says: "{subject}: turn no later than {place}, {binds}"},
			},
			Check: turns,
		},
		Rule{
			ID: "route.cautions", Version: 1, Title: "What else the route says", Citation: handbook("route method", "D5, D29, D37, D38"),
			Words: map[string]Words{
				"ok":   {Says: "{subject}: no caution"},
				"said": {Says: "{phrase}{at}"},
			},
			Check: cautions,
		},
	)
}

// mends are what would pass instead of each kind of refusal of the route model (D33).
var mends = map[string]string{
	route.RefuseSelfLeg:      "correct the survey: a leg joins two stations",
	route.RefuseShortLeg:     "correct the survey: the length of the leg, its depth points or the depths of its stations",
	route.RefuseHalfPlus15:   "start the stage with at least 90 bar",
	route.RefuseStart:        "start at a station that the survey has as an opening",
	route.RefuseNoLeg:        "mend the move: legs and stations are those of the survey, and it begins where the move before ended",
	route.RefuseNameLeg:      "name the leg in the move",
	route.RefuseRunOverLine:  "run no line there, or correct the survey if the leg has none",
	route.RefuseNoLine:       "run line on the move, swim another way, or correct the survey if the leg has line",
	route.RefuseRecover:      "recover only line that this dive runs or that this team left there",
	route.RefuseProgress:     "declare pull-and-glide for the leg in the survey if it can be pulled along, or swim another way",
	route.RefuseMoveProgress: "swim the move faster, declare pull-and-glide for the leg in the survey if it can be pulled along, or swim another way",
	route.RefuseSwitch:       "switch to a cylinder where the diver carries it: pick it up first, or name another",
	route.RefuseDrop:         "drop a cylinder where the diver carries it, and once: pick it up first, or name another",
	route.RefusePickUp:       "pick it up at the station where this diver dropped it, or drop it there first",
	route.RefuseMarker:       "remove a marker where it was placed, or place it first",
	route.RefuseEnd:          "add the moves home to a station that the survey has as an opening",
	route.RefuseLineLeft:     "recover the line on a move home, or declare it as left",
	route.RefuseMarkerLeft:   "remove the marker on a move home, or declare it as left",
	route.RefuseCylinderLeft: "pick the cylinder up on a move home, or declare it as left",
}

func routeFaults(c *Case) []finding.Finding {
	s := c.plan()
	var out []finding.Finding
	for _, p := range c.RouteProblems {
		f := answer(finding.Refuse, "problem", s)
		w := finding.Word("", p.Text)
		f.Observed, f.Path = &w, "route."+p.Field
		f.Figures = []finding.Figure{finding.Word("field", p.Field)}
		out = append(out, f)
	}
	if len(c.RouteMissing) > 0 { // plan.complete names each of them
		f := answer(finding.Indeterminate, "lacks", s)
		n := finding.CountOf("", len(c.RouteMissing), "inputs")
		f.Observed, f.Path = &n, c.RouteMissing[0].Path
		out = append(out, f)
	}
	if c.Route != nil {
		for _, r := range c.Route.Refused {
			sub := s
			place := r.At
			if r.At == route.AtMove {
				sub = finding.Subject{Kind: finding.KindMove, ID: number(float64(r.Move)), Name: "move " + number(float64(r.Move))}
				place = sub.Name
			} else if r.At == route.AtLeg {
				sub = finding.Subject{Kind: finding.KindLeg, ID: r.Object, Name: "leg " + r.Object}
			}
			f := answer(finding.Refuse, "refused", sub)
			w := finding.Word("", strings.TrimPrefix(c.named(r.Phrase), sub.Name+": "))
			f.Observed, f.Place = &w, place
			f.Path = "route.route.moves"
			f.Figures = []finding.Figure{finding.Word("kind", r.Kind), finding.Word("object", r.Object), finding.Word("detail", r.Detail), finding.Word("remedy", nameOr(mends[r.Kind], "mend what is named"))}
			out = append(out, f)
		}
	}
	if len(out) == 0 {
		if c.Route == nil {
			return one(unknown(s, "the route", "route"))
		}
		out = one(pass(s))
	}
	return out
}

// routeUnknown is what every rule says that needs a route where the plan has none that can be swum: one cause, and in every line
// of it the same remedy, so that a reader mends the move that is named and not what depends on it.
func (c *Case) routeUnknown(s finding.Subject) finding.Finding {
	f := answer(finding.Indeterminate, "route_unknown", s)
	if f.Path = c.Network.Fault; f.Path == "" {
		f.Path = "route"
	}
	return f
}

// computed tells whether the route model gave figures.
func (c *Case) computed() bool { return c.Route != nil && c.Route.Verdict != route.Refused }

// who names whom a check of the route model is about: a diver, donor and
// victim, a cylinder or a leg.
func (c *Case) who(text string) (s finding.Subject, other *finding.Subject) {
	donor, victim, two := strings.Cut(text, "->")
	if two {
		v := c.donors(victim)
		return c.donors(donor), &v
	}
	for i := range c.Team {
		if m := &c.Team[i]; m.Diver == text {
			return m.subject(), nil
		}
	}
	_, of, _ := strings.Cut(text, " ") // a diver and one of the diver's supplies
	for i := range c.In.Plan.Supplies {
		if sup := &c.In.Plan.Supplies[i]; sup.ID == text || sup.ID == of {
			return c.supply(*sup), nil
		}
	}
	for i := range c.In.Route.Legs {
		if l := &c.In.Route.Legs[i]; l.ID == text {
			return finding.Subject{Kind: finding.KindLeg, ID: l.ID, Name: "leg " + l.ID}, nil
		}
	}
	if text == "" {
		return c.plan(), nil
	}
	return finding.Subject{Kind: finding.KindPlan, ID: text, Name: text}, nil
}

// donors names one diver, or several who pool, written A+B by the route model.
func (c *Case) donors(text string) finding.Subject {
	s := finding.Subject{Kind: finding.KindDiver, ID: text}
	for i, id := range strings.Split(text, "+") {
		if i > 0 {
			s.Name += " + "
		}
		s.Name += c.nameOf(id).Label()
	}
	return s
}

// named puts display names in the place of ids in a phrase of the route model.
func (c *Case) named(phrase string) string {
	var pairs []string
	for _, m := range c.Team {
		if m.Record != nil && m.Record.Name != "" && len(m.Diver) > 1 {
			pairs = append(pairs, m.Diver, m.Record.Name)
		}
	}
	return strings.NewReplacer(pairs...).Replace(phrase)
}

// placeText writes a place on the route for a reader.
func placeText(p *route.Place) string {
	if p == nil {
		return ""
	}
	switch {
	case p.InHold && p.AfterHoldMin > 0:
		return finding.Decimal(p.AfterHoldMin, 1) + " min into the hold at " + p.Station
	case p.InsideLeg():
		return finding.Decimal(p.MetresPast, 1) + " m past " + p.Station + " towards " + p.Towards
	case p.Arriving:
		return "arriving at " + p.Station
	}
	return p.Station
}

// farthest is the turn at the latest with its metres from the start.
func (c *Case) farthest() string {
	if !c.computed() {
		return "a place not known"
	}
	p := c.Route.Reach.Place
	return placeText(&p) + " (" + finding.Decimal(p.DistanceM, 0) + " m)"
}

func (c *Case) routeCheck(name string) []finding.Finding {
	if !c.computed() {
		return one(c.routeUnknown(c.plan()))
	}
	for _, k := range c.Route.Checks {
		if k.Name != name {
			continue
		}
		s, other := c.who(k.Who)
		f := answer(finding.Pass, "ok", s)
		f.Other = other
		if !k.Applies {
			f.Status, f.Code, f.Subject, f.Other = finding.NotApplicable, "not_applicable", c.plan(), nil
			return one(f)
		}
		decimals := 1
		if k.Unit == "L" {
			decimals = 0
		}
		f = measured(f, finding.Number("", k.Measured, decimals, k.Unit), finding.Number("", k.Limit, decimals, k.Unit))
		f.Place = placeText(k.Place)
		who := s.Label()
		if other != nil {
			who += " to " + other.Label()
		}
		f.Figures = []finding.Figure{finding.Word("who", who), finding.Word("pass", nameOr(c.named(k.WhatPass), "turn no later than "+c.farthest()))}
		if !k.Passed {
			f.Status, f.Code, f.Path = checkStatus(k.Verdict), "failed", "route.route.moves"
			if k.Margin >= 0 && (name == route.CheckLostCylinder || name == route.CheckIndependent) {
				f.Code, f.Observed, f.Limit = "no_way", nil, nil
			}
			if k.Margin < 0 {
				short := finding.Number("", -k.Margin, 1, k.Unit)
				f.Shortfall = &short
			}
		}
		f = at(f)
		f.Steps = c.checkSteps(name, &k)
		switch {
		case name != route.CheckSharing:
		case c.Route.WorstSharing != nil:
			f = c.sharing(f, c.Route.WorstSharing, k.Passed)
		case !k.Passed: // one diver, or nowhere a way out
			f.Code, f.Subject, f.Observed, f.Limit, f.Steps = "nobody", c.plan(), nil, nil, nil
			f.Figures = append(f.Figures, finding.Word("farthest", c.farthest()))
		}
		return one(f)
	}
	// A check the route model did not report: nothing of the plan concerns it.
	return one(answer(finding.NotApplicable, "not_applicable", c.plan()))
}

func checkStatus(verdict string) finding.Status {
	switch verdict {
	case "needs_waiver":
		return finding.NeedsWaiver
	case "caution":
		return finding.Caution
	case "none":
		return finding.Note
	}
	return finding.Refuse
}

// sharing tells the sharing exit with donor, victim, litres and the donor's bar.
func (c *Case) sharing(f finding.Finding, w *route.Sharing, passed bool) finding.Finding {
	donor, victim := c.donors(w.Donor), c.donors(w.Victim)
	f.Subject, f.Other = donor, &victim
	f = measured(f, finding.Number("", w.LeftL, 0, "L"), finding.Number("", w.NeedL, 0, "L"))
	if passed || w.MarginL < -1e-6 { // else the check's own: where there is no way out
		f.Place = placeText(&w.Place)
	}
	f.Figures = nil
	f = at(f)
	if !passed && w.MarginL >= -1e-6 {
		f.Code, f.Observed, f.Limit, f.Steps = "no_way", nil, nil, nil
		f.Figures = append(f.Figures, finding.Word("farthest", c.farthest()))
	} else if !passed {
		short := finding.Number("", -w.MarginL, 1, "L")
		f.Code, f.Shortfall = "short", &short
		inBar := ""
		if w.MarginBar != nil {
			bar := finding.Number("short_bar", -*w.MarginBar, 1, "bar")
			f.Figures = append(f.Figures, bar)
			inBar = " = " + bar.String()
		}
		f.Figures = append(f.Figures, finding.Word("in_bar", inBar), finding.Word("farthest", c.farthest()))
	}
	return f
}

func turns(c *Case) []finding.Finding {
	if !c.computed() {
		return one(c.routeUnknown(c.plan()))
	}
	var out []finding.Finding
	for i, d := range c.Route.Divers {
		for k, m := range d.Mains {
			f := answer(finding.Note, "ok", c.nameOf(d.Name))
			turn := finding.Number("", m.TurnRoundedBar, 1, "bar")
			f.Observed = &turn
			f.Figures = []finding.Figure{
				finding.Number("start", m.StartBar, 1, "bar"), finding.Number("exact", m.TurnBar, 2, "bar"),
				finding.Word("governs", words(d.TurnGovernedBy)), finding.Word("supply", m.Cylinder),
			}
			if m.TurnBar > m.StartBar+1e-6 {
				f.Status, f.Code, f.Path = finding.Refuse, "short", "plan.supplies"
			}
			f.Rule = "route.turn"
			f.Steps = c.turnSteps(i, k, f.Key())
			out = append(out, f)
		}
	}
	r := c.Route.Reach
	f := answer(finding.Note, "place", c.plan())
	f.Place = c.farthest()
	var binds []string
	for _, b := range r.Binds {
		s, other := c.who(b.Who)
		who := s.Label()
		if other != nil {
			who += " to " + other.Label()
		}
		binds = append(binds, words(b.Check)+" of "+who)
	}
	f.Figures = []finding.Figure{finding.Word("binds", strings.Join(binds, ", "))}
	if r.WholeRoute {
		f.Code = "whole"
	}
	f.Steps = c.reachSteps()
	return append(out, f)
}

func cautions(c *Case) []finding.Finding {
	if !c.computed() {
		return one(c.routeUnknown(c.plan()))
	}
	var out []finding.Finding
	for _, k := range c.Route.Cautions {
		s, _ := c.who(k.Who)
		f := answer(finding.Caution, "said", s)
		f = measured(f, finding.Number("", k.Value, 1, k.Unit), finding.Number("", k.Limit, 1, k.Unit))
		f.Place = placeText(k.Place)
		f.Figures = []finding.Figure{finding.Word("who", s.Label()), finding.Word("phrase", c.named(k.Phrase)), finding.Word("kind", k.Kind)}
		out = append(out, at(f))
	}
	if len(out) == 0 {
		out = one(pass(c.plan()))
	}
	return out
}

// Farthest is the turn at the latest: its place for a reader, with the metres
// swum from the start, and the minutes into the dive.
func (c *Case) Farthest() (place string, minute float64) {
	if !c.computed() {
		return "", 0
	}
	return c.farthest(), c.Route.Reach.Place.ElapsedMin
}

// flowClasses judges the water on every leg of the route by the policy's classes,
// one class up where it goes against the way out.
func flowClasses(c *Case) []finding.Finding {
	if !c.computed() {
		return one(c.routeUnknown(c.plan()))
	}
	var out []finding.Finding
	seen := map[string]bool{}
	at, strongest, worst := "", -1.0, ""
	judge := func(k int) {
		l := &c.RouteInput.Legs[k]
		if seen[l.ID] {
			return
		}
		seen[l.ID] = true
		inflow := slices.Contains(c.Route.Siphon.InflowLegs, l.ID)
		class, ok := c.Policy.FlowClassOf(l.FlowMMin, inflow)
		plain, _ := c.Policy.FlowClassOf(l.FlowMMin, false)
		speed := finding.Number("", math.Abs(l.FlowMMin), 1, "m/min")
		if math.Abs(l.FlowMMin) > strongest {
			at, strongest, worst = "leg "+l.ID, math.Abs(l.FlowMMin), class.Name
		}
		if ok && !class.Refuse {
			return
		}
		f := answer(finding.Refuse, "refused", finding.Subject{Kind: finding.KindLeg, ID: l.ID, Name: "leg " + l.ID})
		f.Observed, f.Path, f.Figures = &speed, path("route.legs", k, "flow_m_min"), []finding.Figure{finding.Word("class", class.Name)}
		switch {
		case !ok:
			f.Status, f.Code = finding.Indeterminate, "no_class"
		case !plain.Refuse:
			f.Code = "inflow"
		}
		out = append(out, f)
	}
	named := map[string]int{} // where the legs stand that moves name
	for i := range c.RouteInput.Route.Moves {
		named[c.RouteInput.Route.Moves[i].Leg] = -1
	}
	for k := range c.RouteInput.Legs {
		if _, ok := named[c.RouteInput.Legs[k].ID]; ok {
			named[c.RouteInput.Legs[k].ID] = k
		}
	}
	from := c.RouteInput.Route.Start
	for i := range c.RouteInput.Route.Moves {
		m := &c.RouteInput.Route.Moves[i]
		if k := named[m.Leg]; m.Leg != "" && k >= 0 {
			judge(k)
		}
		for k := 0; m.Leg == "" && k < len(c.RouteInput.Legs); k++ {
			if l := &c.RouteInput.Legs[k]; l.From == from && l.To == m.To || l.To == from && l.From == m.To {
				judge(k)
			}
		}
		from = m.To
	}
	if len(out) == 0 {
		f := pass(c.plan())
		speed := finding.Number("", math.Max(0, strongest), 1, "m/min")
		f.Observed, f.Place, f.Figures = &speed, at, []finding.Figure{finding.Word("class", worst)}
		out = one(f)
	}
	return out
}
