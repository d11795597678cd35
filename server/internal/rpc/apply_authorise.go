package rpc

import (
	"context"
	"fmt"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// authorise judges every record of a file as its own create or update.
func (h *Files) authorise(ctx context.Context, f *file) error {
	var people, sites, items []string
	for _, e := range f.entries {
		switch e.kind {
		case "person":
			people = append(people, e.id)
		case "site":
			sites = append(sites, e.id)
		case "cylinder", "equipment":
			items = append(items, e.id)
		}
	}
	var err error
	if f.subjects["person"], err = h.Store.PersonSubjects(ctx, nil, f.c, people); err != nil {
		return err
	}
	if f.subjects["site"], err = h.Store.SiteSubjects(ctx, nil, f.c, sites); err != nil {
		return err
	}
	if f.subjects["item"], err = h.Store.ItemSubjects(ctx, nil, f.c, items); err != nil {
		return err
	}
	for _, e := range f.entries {
		if e.kind == "role" {
			continue // judged with the record: who may give which role
		}
		if d, ok := e.m.(*lastlightv1.Dive); ok && !mayRecord(f.c, d) {
			f.wrong(e.prefix[:len(e.prefix)-1], e.id, "a record that your roles allow", ownDivesOnly)
			continue
		}
		method, s, err := h.methodFor(ctx, f, e)
		if err != nil {
			return err
		}
		if !access.May(f.c, method, s) {
			what := "entering"
			if e.exists {
				what = "changing"
			}
			f.wrong(e.prefix[:len(e.prefix)-1], e.id, "a record that your roles allow", "none of your roles allows "+what+" this "+e.kind)
		}
	}
	return nil
}

// methodFor is the method that a record of a file stands for, and what ties the caller to it.
func (h *Files) methodFor(ctx context.Context, f *file, e *entry) (string, access.Subject, error) {
	verb := "Create"
	if e.exists {
		verb = "Update"
	}
	var s access.Subject
	owned := func(owner string) {
		if !e.exists && owner != "" && owner == f.c.Person {
			s.Relation |= access.Self
		}
	}
	switch m := e.m.(type) {
	case *lastlightv1.Site:
		return siteService + verb + "Site", f.subjects["site"][e.id], nil
	case *lastlightv1.Survey:
		return siteService + "CreateSurvey", s, nil
	case *lastlightv1.Reading:
		return siteService + "RecordReading", s, nil
	case *lastlightv1.Permit:
		return siteService + verb + "Permit", s, nil
	case *lastlightv1.Person:
		return rosterService + verb + "Person", f.subjects["person"][e.id], nil
	case *lastlightv1.Cylinder:
		s = f.subjects["item"][e.id]
		owned(m.Owner)
		return gearService + verb + "Cylinder", s, nil
	case *lastlightv1.Equipment:
		s = f.subjects["item"][e.id]
		owned(m.Owner)
		return gearService + verb + "Equipment", s, nil
	case *lastlightv1.CylinderSet:
		owned(m.Owner)
		if e.exists {
			before, err := h.Store.GetCylinderSet(ctx, e.id)
			if err != nil {
				return "", s, err
			}
			s = ownerSubject(f.c, s, before.Owner)
		}
		return gearService + verb + "CylinderSet", s, nil
	case *lastlightv1.Fill:
		return gearService + "RecordFill", s, nil
	case *lastlightv1.Analysis:
		return gearService + "RecordAnalysis", s, nil
	case *lastlightv1.CustodyEvent:
		return gearService + "RecordCustody", s, nil
	case *lastlightv1.Policy:
		return policyService + "CreatePolicy", s, nil
	case *lastlightv1.Expedition:
		return expeditionService + verb + "Expedition", access.Subject{Expeditions: expeditions(e.id)}, nil
	case *lastlightv1.Plan:
		s.Expeditions = expeditions(m.Expedition)
		if e.exists {
			before, err := h.Store.GetPlan(ctx, e.id, 0)
			if err != nil {
				return "", s, err
			}
			if !mayMovePlan(f.c, before, m) {
				return planService + "CreatePlan", s, nil
			}
			s = planSubject(f.c, before)
		}
		return planService + verb + "Plan", s, nil
	case *lastlightv1.Dive:
		if !e.exists {
			return diveService + "RecordDive", access.Subject{Expeditions: expeditions(m.Expedition)}, nil
		}
		before, err := h.Store.GetDive(ctx, e.id)
		if err != nil {
			return "", s, err
		}
		return diveService + "UpdateDive", diveSubject(f.c, before, ""), nil
	case *lastlightv1.Incident:
		if !e.exists {
			return incidentService + "ReportIncident", s, nil
		}
		before, err := h.Store.GetIncident(ctx, e.id)
		if err != nil {
			return "", s, err
		}
		return incidentService + "UpdateIncident", incidentSubject(f.c, before), nil
	}
	return "", s, &fault.Error{Kind: fault.Internal, Reason: "UNKNOWN_RECORD", Message: "a record of a kind this server does not know: " + e.kind}
}

// guardDive keeps what the caller does not see of the divers of a dive. leads is Leads where the caller led its plan.
func guardDive(c *access.Caller, leads access.Relation, noted *[]string) store.Guard[*lastlightv1.Dive] {
	return func(before, next *lastlightv1.Dive) error {
		p := fault.Collect("")
		if before == nil {
			return nil
		}
		s := diveSubject(c, before, "")
		of := map[string]*lastlightv1.DiveDiver{}
		for _, d := range before.Divers {
			of[d.Person] = d
		}
		hidden := unseen{p, noted}
		for i, d := range next.Divers {
			at := fmt.Sprintf("divers[%d].", i)
			was := of[d.Person]
			if was == nil {
				continue
			}
			about := access.Subject{Expeditions: s.Expeditions}
			if d.Person == c.Person {
				about.Relation = access.Self
			}
			if !c.Writes(access.Medical, about) {
				hidden.keep(at, was, d, "symptoms")
			}
			about.Relation |= leads
			if !c.Writes(access.Training, about) {
				hidden.keep(at, was, d, trainingOfDiver...)
			}
		}
		return p.Err()
	}
}
