package decide

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"time"

	"lastlight/engine"
	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/brief"
	"lastlight/server/internal/report"
	"lastlight/server/internal/store"
)

// pseudonyms stand in stored bytes wherever a person is meant.
var pseudonyms = regexp.MustCompile(`P-[2-9A-Z]{6}`)

// stored reads the stored run of a plan version, and the names to put in.
func (d *Desk) stored(ctx context.Context, p *lastlightv1.Plan, ofDecision bool) (*store.Evaluation, *engine.Report, report.Names, error) {
	e, err := store.LatestEvaluation(ctx, d.Store.Pool(), p.Id, p.Version, ofDecision)
	if err == nil && e == nil {
		err = d.noReport(p)
	}
	if err != nil {
		return nil, nil, report.Names{}, err
	}
	var rep engine.Report
	if err := json.Unmarshal(e.Report, &rep); err != nil {
		return nil, nil, report.Names{}, fmt.Errorf("stored report %d: %w", e.ID, err)
	}
	names, _, err := d.namesIn(ctx, e.Input, e.Report)
	return e, &rep, names, err
}

func (d *Desk) namesIn(ctx context.Context, texts ...[]byte) (report.Names, map[string]string, error) {
	found := map[string]bool{}
	for _, t := range texts {
		for _, p := range pseudonyms.FindAll(t, -1) {
			found[string(p)] = true
		}
	}
	var list []string
	for p := range found {
		list = append(list, p)
	}
	slices.Sort(list)
	ids, names, err := d.Store.PeopleByPseudonym(ctx, list)
	if err != nil {
		return report.Names{}, nil, err
	}
	byID := map[string]string{}
	for p, id := range ids {
		byID[id] = names[p]
	}
	return report.NewNames(ids, names), byID, nil
}

// Evidence gives the bytes that the last decision about a version rests on, or
// the last evaluation where there is no decision.
func (d *Desk) Evidence(ctx context.Context, p *lastlightv1.Plan) (*lastlightv1.Evidence, error) {
	e, err := store.LatestEvaluation(ctx, d.Store.Pool(), p.Id, p.Version, true)
	if err == nil && e == nil {
		e, err = store.LatestEvaluation(ctx, d.Store.Pool(), p.Id, p.Version, false)
	}
	if err == nil && e == nil {
		err = d.noReport(p)
	}
	if err != nil {
		return nil, err
	}
	return &lastlightv1.Evidence{Plan: e.Plan, PlanVersion: e.Version, Input: e.Input, Report: e.Report, Hash: e.Hash}, nil
}

// How many rows of lower starts the brief carries per diver, and their step.
// The last row of a diver is the start below which there is no dive.
const (
	lowerRows    = 3
	lowerStepBar = 10.0
	noDiveBar    = 5.0 // grain of the start below which there is no dive
)

// Brief gathers the page for the water's edge from the decision's stored run.
func (d *Desk) Brief(ctx context.Context, p *lastlightv1.Plan) (*brief.Page, error) {
	site, err := d.Store.GetSite(ctx, p.Site)
	if err != nil {
		return nil, err
	}
	location, err := time.LoadLocation(site.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("zone of site %s: %w", site.Id, err)
	}
	page := &brief.Page{Plan: p, Site: site, Location: location}
	switch p.State {
	case lastlightv1.PlanState_PLAN_STATE_APPROVED, lastlightv1.PlanState_PLAN_STATE_IN_WATER:
	default:
		return page, nil // nothing of an older decision is shown
	}
	e, rep, names, err := d.stored(ctx, p, true)
	if err != nil {
		return nil, err
	}
	page.Report = report.Show(rep, names)
	dressed(page.Report, e, p.Waivers)
	var in engine.Input
	if err := json.Unmarshal(e.Input, &in); err != nil {
		return nil, fmt.Errorf("stored input %d: %w", e.ID, err)
	}
	lowerStarts(page.Report.Dive, in, names)
	_, pageNames, err := d.namesIn(ctx, e.Input)
	if err != nil {
		return nil, err
	}
	page.Names = pageNames
	for _, f := range rep.Findings {
		if slices.Contains(rep.Conditions, f.Key()) {
			page.Conditions = append(page.Conditions, report.Public(f, names))
		}
	}
	return page, nil
}

// lowerStarts works out what the entry would answer if one diver started with
// less than planned: the rows that replace the server where there is no signal.
// What blocks at entry even with the planned starts (a reading still to be
// taken) stands on the page as a condition and is not repeated here.
func lowerStarts(figures *lastlightv1.DiveFigures, in engine.Input, names report.Names) {
	in = atEntryAsPlanned(in)
	asPlanned := engine.Evaluate(in)
	known := map[string]bool{}
	for _, f := range engine.EntryBlocking(&asPlanned) {
		known[f.Key()] = true
	}
	// entry answers for one diver's start; an empty noDive means go.
	entry := func(diver string, bar float64) (rep engine.Report, noDive string) {
		rep = engine.Evaluate(withStart(in, diver, bar))
		for _, f := range engine.EntryBlocking(&rep) {
			if !known[f.Key()] {
				return rep, report.Public(f, names)
			}
		}
		return rep, ""
	}
	for _, row := range figures.Divers {
		diver, planned := plannedStart(&in, row.Person, names)
		if planned <= 0 {
			continue
		}
		for n := 1; n <= lowerRows && planned > float64(n)*lowerStepBar; n++ {
			l := &lastlightv1.LowerStart{StartBar: planned - float64(n)*lowerStepBar}
			rep, noDive := entry(diver, l.StartBar)
			if noDive != "" {
				break
			}
			shown := report.Show(&rep, names)
			for _, x := range shown.Dive.Divers {
				for _, t := range x.Turns {
					t.Person = x.Person
					l.Turns = append(l.Turns, t)
				}
			}
			l.TurnAtTheLatest = brief.Place(shown.Dive.TurnAtTheLatest)
			row.LowerStarts = append(row.LowerStarts, l)
		}
		// Less gas never makes a dive that was none: halve down to the lowest start that goes.
		goes, why := int(planned/noDiveBar), ""
		for low := 0; goes-low > 1; {
			middle := (low + goes) / 2
			if _, noDive := entry(diver, float64(middle)*noDiveBar); noDive == "" {
				goes = middle
			} else {
				low, why = middle, noDive
			}
		}
		row.LowerStarts = append(row.LowerStarts, &lastlightv1.LowerStart{StartBar: float64(goes) * noDiveBar, NoDive: "no dive below: " + why})
	}
}

// atEntryAsPlanned is the input as at entry, every planned pressure measured.
func atEntryAsPlanned(in engine.Input) engine.Input {
	in.Moment = facts.AtEntry
	in.Plan.Supplies = slices.Clone(in.Plan.Supplies)
	for i := range in.Plan.Supplies {
		if bar := in.Plan.Supplies[i].PlannedBar; bar != nil {
			v := *bar
			in.Plan.Supplies[i].MeasuredBar = &v
		}
	}
	return in
}

// plannedStart gives a person's pseudonym and the planned start of the mains, 0 where there is none.
func plannedStart(in *engine.Input, person string, names report.Names) (diver string, bar float64) {
	for _, s := range in.Plan.Supplies {
		if s.Role == facts.Main && names.ID(s.Diver) == person && s.PlannedBar != nil {
			return s.Diver, *s.PlannedBar
		}
	}
	return "", 0
}

// withStart is the input with another measured start of one diver's mains.
func withStart(in engine.Input, diver string, bar float64) engine.Input {
	in.Plan.Supplies = slices.Clone(in.Plan.Supplies)
	for i := range in.Plan.Supplies {
		if s := &in.Plan.Supplies[i]; s.Role == facts.Main && s.Diver == diver {
			s.MeasuredBar = &bar
		}
	}
	return in
}
