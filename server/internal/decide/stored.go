package decide

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
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

// Brief gathers the page for the water's edge from the decision's stored run.
func (d *Desk) Brief(ctx context.Context, p *lastlightv1.Plan, units brief.Units) (*brief.Page, error) {
	site, err := d.Store.GetSite(ctx, p.Site)
	if err != nil {
		return nil, err
	}
	location, err := time.LoadLocation(site.TimeZone)
	if err != nil {
		return nil, fmt.Errorf("zone of site %s: %w", site.Id, err)
	}
	page := &brief.Page{Plan: p, Site: site, Location: location, Units: units}
	switch p.State {
	case lastlightv1.PlanState_PLAN_STATE_APPROVED, lastlightv1.PlanState_PLAN_STATE_IN_WATER:
	default:
		return page, nil // nothing of an older decision is shown
	}
	if p.State == lastlightv1.PlanState_PLAN_STATE_IN_WATER {
		page.Stopped = store.Stopped(p.StateReasons)
	}
	e, rep, names, err := d.stored(ctx, p, true)
	if err != nil {
		return nil, err
	}
	page.Report = report.Show(rep, names)
	dressed(page.Report, rep, e, p.Waivers, goesIn(p.PlannedEntry.AsTime(), d.Store.Now()))
	var in engine.Input
	if err := json.Unmarshal(e.Input, &in); err != nil {
		return nil, fmt.Errorf("stored input %d: %w", e.ID, err)
	}
	if in.Moment == facts.AtEntry { // the starts are known: rows for others would be read for them
		page.Measured = measuredBars(&in)
	} else if err := lowerStarts(ctx, d.unhurried, page.Report.Dive, in, names, units); err != nil {
		return nil, err
	}
	_, pageNames, err := d.namesIn(ctx, e.Input)
	if err != nil {
		return nil, err
	}
	page.Names = pageNames
	if err := d.NameWaivers(ctx, p.Waivers); err != nil {
		return nil, err
	}
	for _, w := range p.Waivers {
		for _, id := range []string{w.WaivedBy, w.SecondApprover} {
			if id == "" || page.Names[id] != "" {
				continue
			}
			who, err := d.Store.GetPerson(ctx, id)
			if err != nil {
				return nil, err
			}
			page.Names[id] = who.FullName
		}
	}
	for _, f := range rep.Findings {
		if slices.Contains(rep.Conditions, f.Key()) {
			page.Conditions = append(page.Conditions, report.Public(f, names))
		}
	}
	if before := plannedBefore(rep); len(before) > 0 && in.Moment != facts.AtEntry {
		page.Conditions = append(page.Conditions, names.In("stops and oxygen are without "+strings.Join(before, ", ")+", planned before this dive: they are worked out anew at sign-in"))
	}
	page.MOD, page.Lines = mods(&in, rep), map[string][]string{}
	for _, c := range in.Plan.Carries {
		if item := in.Item(c.Item); item != nil && (item.Kind == facts.Reel || item.Kind == facts.Spool) {
			person := names.ID(c.Diver)
			page.Lines[person] = append(page.Lines[person], item.Name)
		}
	}
	page.Coordinator, err = d.approver(ctx, p)
	return page, err
}

// plannedBefore are the plans of the same divers before this dive that were not dived when it was judged, each once.
func plannedBefore(rep *engine.Report) (plans []string) {
	for _, f := range rep.Findings {
		if f.Rule == "decompression.earlier_dives" && f.Code == "planned_before" && !slices.Contains(plans, f.Other.ID) {
			plans = append(plans, f.Other.ID)
		}
	}
	return plans
}

// measuredBars are the pressures read at the water, by supply id.
func measuredBars(in *engine.Input) map[string]float64 {
	out := map[string]float64{}
	for _, s := range in.Plan.Supplies {
		if s.MeasuredBar != nil {
			out[s.ID] = *s.MeasuredBar
		}
	}
	return out
}

// mods are the depths to which the supplies may be breathed, by supply id: the
// least that the report says of the supply or of one of its cylinders.
func mods(in *engine.Input, rep *engine.Report) map[string]float64 {
	of := map[string]float64{} // supply or cylinder
	for _, f := range rep.Findings {
		for _, x := range f.Figures {
			if x.Name != "mod" || x.Number == nil {
				continue
			}
			if m, known := of[f.Subject.ID]; !known || *x.Number < m {
				of[f.Subject.ID] = *x.Number
			}
		}
	}
	out := map[string]float64{}
	for _, s := range in.Plan.Supplies {
		for _, id := range append([]string{s.ID}, s.Cylinders...) {
			if m, known := of[id]; known {
				if least, any := out[s.ID]; !any || m < least {
					out[s.ID] = m
				}
			}
		}
	}
	return out
}

// approver is who approved the version, and how to ring them.
func (d *Desk) approver(ctx context.Context, p *lastlightv1.Plan) (brief.Officer, error) {
	id, err := d.Store.ApprovedBy(ctx, p.Id, p.Version)
	if err != nil || id == "" {
		return brief.Officer{}, err
	}
	who, err := d.Store.GetPerson(ctx, id)
	if err != nil {
		return brief.Officer{}, err
	}
	return brief.Officer{Name: who.FullName, Telephone: who.GetTelephone()}, nil
}
