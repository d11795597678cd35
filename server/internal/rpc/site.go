package rpc

import (
	"context"
	"strconv"

	"google.golang.org/protobuf/proto"

	"lastlight/engine/policy"
	"lastlight/engine/rates"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/site"
	"lastlight/server/internal/store"
)

// Sites serves SiteService.
type Sites struct {
	lastlightv1.UnimplementedSiteServiceServer
	Store *store.Store
}

const siteService = "/lastlight.v1.SiteService/"

func (h *Sites) subject(ctx context.Context, q store.Querier, id string) (access.Subject, error) {
	all, err := h.Store.SiteSubjects(ctx, q, access.CallerFrom(ctx), []string{id})
	return all[id], err
}

// guardSite keeps the place from those who do not see it.
func guardSite(c *access.Caller, s access.Subject, noted *[]string) store.Guard[*lastlightv1.Site] {
	return func(before, next *lastlightv1.Site) error {
		p := fault.Collect("")
		if !c.Writes(access.Place, s) {
			unseen{p, noted}.keep("", before, next, "exact_position", "access_notes", "gate_code")
		}
		return p.Err()
	}
}

func (h *Sites) put(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Site, expect store.Expect) (*lastlightv1.Site, error) {
	g := &ground{now: h.Store.Now()}
	if err := g.checked("site.", m); err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Site, error) {
		s, err := h.subject(ctx, tx, m.Id)
		if err != nil {
			return nil, err
		}
		put, err := tx.PutSite(ctx, m, expect, guardSite(c, s, nil))
		access.MaskSite(c, s, put.Record)
		return put.Record, fault.Under("site.", err)
	})
}

// CreateSite adds a site.
func (h *Sites) CreateSite(ctx context.Context, r *lastlightv1.CreateSiteRequest) (*lastlightv1.Site, error) {
	m := proto.CloneOf(r.Site)
	if m.Id == "" {
		m.Id = store.NewID("site", r.RequestId)
	}
	return h.put(ctx, "CreateSite", r.RequestId, r, m, store.Expect{New: true})
}

// GetSite reads a site.
func (h *Sites) GetSite(ctx context.Context, r *lastlightv1.GetSiteRequest) (*lastlightv1.Site, error) {
	m, err := h.Store.GetSite(ctx, r.Id)
	if err != nil {
		return nil, err
	}
	s, err := h.subject(ctx, nil, r.Id)
	access.MaskSite(access.CallerFrom(ctx), s, m)
	return m, err
}

// ListSites lists sites, never with what is restricted.
func (h *Sites) ListSites(ctx context.Context, r *lastlightv1.ListSitesRequest) (*lastlightv1.ListSitesResponse, error) {
	list, next, err := h.Store.ListSites(ctx, r)
	return &lastlightv1.ListSitesResponse{Sites: list, NextPageToken: next}, err
}

// UpdateSite changes a site.
func (h *Sites) UpdateSite(ctx context.Context, r *lastlightv1.UpdateSiteRequest) (*lastlightv1.Site, error) {
	return h.put(ctx, "UpdateSite", r.RequestId, r, proto.CloneOf(r.Site), store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ArchiveSite hides a site from lists.
func (h *Sites) ArchiveSite(ctx context.Context, r *lastlightv1.ArchiveSiteRequest) (*lastlightv1.Site, error) {
	c := access.CallerFrom(ctx)
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+"ArchiveSite", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Site, error) {
		s, err := h.subject(ctx, tx, r.Id)
		if err != nil {
			return nil, err
		}
		m, err := tx.ArchiveSite(ctx, r.Id)
		access.MaskSite(c, s, m)
		return m, err
	})
}

// CreateSurvey adds a survey.
func (h *Sites) CreateSurvey(ctx context.Context, r *lastlightv1.CreateSurveyRequest) (*lastlightv1.Survey, error) {
	of, err := h.Store.GetSite(ctx, r.Survey.Site)
	if err != nil {
		return nil, err
	}
	p := fault.Collect("survey.")
	site.CheckSurvey(p, r.Survey, of.TimeZone, h.Store.Now())
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+"CreateSurvey", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Survey, error) {
		m, _, err := tx.AddSurvey(ctx, r.Survey)
		return m, fault.Under("survey.", err)
	})
}

// GetSurvey reads a survey.
func (h *Sites) GetSurvey(ctx context.Context, r *lastlightv1.GetSurveyRequest) (*lastlightv1.Survey, error) {
	return h.Store.GetSurvey(ctx, r.Site, r.Number)
}

// ListSurveys lists a site's surveys without their stations and legs.
func (h *Sites) ListSurveys(ctx context.Context, r *lastlightv1.ListSurveysRequest) (*lastlightv1.ListSurveysResponse, error) {
	list, next, err := h.Store.ListSurveys(ctx, r)
	return &lastlightv1.ListSurveysResponse{Surveys: list, NextPageToken: next}, err
}

// RecordReading records the morning's look at the water.
func (h *Sites) RecordReading(ctx context.Context, r *lastlightv1.RecordReadingRequest) (*lastlightv1.Reading, error) {
	p := fault.Collect("reading.")
	site.CheckReading(p, r.Reading, h.Store.Now())
	if err := p.Err(); err != nil {
		return nil, err
	}
	m := proto.CloneOf(r.Reading)
	if m.Id == "" {
		m.Id = store.NewID("reading", r.RequestId)
	}
	out, err := store.MutateBlind(ctx, h.Store, mutation(ctx, siteService+"RecordReading", r.RequestId, r), func(tx *store.Tx) *lastlightv1.Reading {
		return tx.RecordReading(m)
	})
	return out, fault.Under("reading.", err)
}

// ListReadings lists a site's readings, latest first.
func (h *Sites) ListReadings(ctx context.Context, r *lastlightv1.ListReadingsRequest) (*lastlightv1.ListReadingsResponse, error) {
	list, next, err := h.Store.ListReadings(ctx, r)
	return &lastlightv1.ListReadingsResponse{Readings: list, NextPageToken: next}, err
}

func (h *Sites) putPermit(ctx context.Context, method, requestID string, body proto.Message, m *lastlightv1.Permit, expect store.Expect) (*lastlightv1.Permit, error) {
	p := fault.Collect("permit.")
	site.CheckPermit(p, m)
	if err := p.Err(); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+method, requestID, body), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Permit, error) {
		put, err := tx.PutPermit(ctx, m, expect)
		return put.Record, fault.Under("permit.", err)
	})
}

// CreatePermit adds a permit.
func (h *Sites) CreatePermit(ctx context.Context, r *lastlightv1.CreatePermitRequest) (*lastlightv1.Permit, error) {
	m := proto.CloneOf(r.Permit)
	if m.Id == "" {
		m.Id = store.NewID("permit", r.RequestId)
	}
	return h.putPermit(ctx, "CreatePermit", r.RequestId, r, m, store.Expect{New: true})
}

// GetPermit reads a permit.
func (h *Sites) GetPermit(ctx context.Context, r *lastlightv1.GetPermitRequest) (*lastlightv1.Permit, error) {
	return h.Store.GetPermit(ctx, r.Id)
}

// ListPermits lists permits.
func (h *Sites) ListPermits(ctx context.Context, r *lastlightv1.ListPermitsRequest) (*lastlightv1.ListPermitsResponse, error) {
	list, next, err := h.Store.ListPermits(ctx, r)
	return &lastlightv1.ListPermitsResponse{Permits: list, NextPageToken: next}, err
}

// UpdatePermit changes a permit.
func (h *Sites) UpdatePermit(ctx context.Context, r *lastlightv1.UpdatePermitRequest) (*lastlightv1.Permit, error) {
	return h.putPermit(ctx, "UpdatePermit", r.RequestId, r, r.Permit, store.Expect{Existing: true, Version: r.ExpectedVersion})
}

// ArchivePermit takes a permit out of every judgement.
func (h *Sites) ArchivePermit(ctx context.Context, r *lastlightv1.ArchivePermitRequest) (*lastlightv1.Permit, error) {
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+"ArchivePermit", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Permit, error) {
		return tx.ArchivePermit(ctx, r.Id)
	})
}

// GetSiteHistory tells what happened at a site. A number of incidents that
// could point at somebody is hidden outside the safety group (T41).
func (h *Sites) GetSiteHistory(ctx context.Context, r *lastlightv1.GetSiteHistoryRequest) (*lastlightv1.SiteHistory, error) {
	inForce, err := h.Store.PolicyInForce(ctx)
	if err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	safety, from := c.Anywhere().Any(access.SafetyOfficer), inForce.Statistics.HideBelow
	if safety {
		from = 0
	}
	got, err := h.Store.GetSiteHistory(ctx, r, c.Sees(access.Narrative, access.Subject{}), from)
	if err != nil {
		return nil, err
	}
	out := &lastlightv1.SiteHistory{Site: r.Site, Dives: got.Dives, PeopleDives: got.PeopleDives, Incidents: got.Incidents, Entries: got.Entries, NextPageToken: got.Next, Left: got.Left}
	out.Rate = incidentRate(out, safety, inForce)
	if out.Rate != nil && out.Rate.ShownAs != "" && out.Rate.PerThousand == 0 && out.Rate.Upper == 0 {
		out.Incidents = 0
	}
	return out, nil
}

// The exact limits are shown at 95 %, per 1,000 people-dives (T40).
const rateConfidence, ratePer = 0.95, 1000

func incidentRate(h *lastlightv1.SiteHistory, inSafetyGroup bool, inForce *policy.Policy) *lastlightv1.IncidentRate {
	rate := rates.Judge(rates.Question{N: int(h.Incidents), Exposure: float64(h.PeopleDives), InSafetyGroup: inSafetyGroup},
		rates.Rules{Confidence: rateConfidence, HideBelow: inForce.Statistics.HideBelow, Per: ratePer})
	switch rate.Verdict {
	case rates.Hidden:
		return &lastlightv1.IncidentRate{ShownAs: rate.ShownN}
	case rates.Shown:
		return &lastlightv1.IncidentRate{PerThousand: rate.Rate, Lower: rate.Limits[0], Upper: rate.Limits[1], ShownAs: strconv.Itoa(int(h.Incidents))}
	}
	return nil
}

// ListLeftItems lists what dives left in the caves.
func (h *Sites) ListLeftItems(ctx context.Context, r *lastlightv1.ListLeftItemsRequest) (*lastlightv1.ListLeftItemsResponse, error) {
	list, next, err := h.Store.ListLeftItems(ctx, r)
	return &lastlightv1.ListLeftItemsResponse{Items: list, NextPageToken: next}, err
}

func (h *Sites) mayChangeLeft(ctx context.Context, method, id string) error {
	m, err := h.Store.GetLeftItem(ctx, id)
	if err != nil {
		return err
	}
	var s access.Subject
	if m.Owner == access.CallerFrom(ctx).Person {
		s.Relation |= access.Self
	}
	return allowed(ctx, siteService+method, siteService+"ListLeftItems", s, "left item", id)
}

// RecoverLeftItem notes that something left is out of the cave.
func (h *Sites) RecoverLeftItem(ctx context.Context, r *lastlightv1.RecoverLeftItemRequest) (*lastlightv1.LeftItem, error) {
	if err := h.mayChangeLeft(ctx, "RecoverLeftItem", r.Id); err != nil {
		return nil, err
	}
	if err := notFuture("recovered_at", r.RecoveredAt, h.Store.Now()); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+"RecoverLeftItem", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.LeftItem, error) {
		return tx.RecoverLeftItem(ctx, r.Id, r.RecoveredAt.AsTime(), r.Dive)
	})
}

// ConfirmLeftItem notes that something left was seen in place and sound.
func (h *Sites) ConfirmLeftItem(ctx context.Context, r *lastlightv1.ConfirmLeftItemRequest) (*lastlightv1.LeftItem, error) {
	if err := h.mayChangeLeft(ctx, "ConfirmLeftItem", r.Id); err != nil {
		return nil, err
	}
	if err := notFuture("seen_at", r.SeenAt, h.Store.Now()); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+"ConfirmLeftItem", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.LeftItem, error) {
		return tx.ConfirmLeftItem(ctx, r.Id, r.SeenAt.AsTime())
	})
}

// ReportLineDamage records damage of a line.
func (h *Sites) ReportLineDamage(ctx context.Context, r *lastlightv1.ReportLineDamageRequest) (*lastlightv1.LineDamage, error) {
	if err := notFuture("damage.seen_at", r.Damage.SeenAt, h.Store.Now()); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, siteService+"ReportLineDamage", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.LineDamage, error) {
		return tx.ReportLineDamage(ctx, r.Damage)
	})
}
