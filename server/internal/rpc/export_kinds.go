package rpc

import (
	"context"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// exporters are the kinds that can be written out.
var exporters = map[string]exporter{
	"person": {
		method: rosterService + "ListPeople",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListPeople(ctx, &lastlightv1.ListPeopleRequest{PageToken: token, PageSize: size})
			if err != nil {
				return nil, "", err
			}
			list, err = maskPeople(ctx, h.Store, forFile(list))
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Person, error) { return h.Store.GetPerson(ctx, id) })
			if err != nil {
				return nil, err
			}
			list, err = maskPeople(ctx, h.Store, forFile(list))
			return messages(list, nil), err
		},
	},
	"site": {
		method: siteService + "ListSites",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListSites(ctx, &lastlightv1.ListSitesRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Site, error) { return h.Store.GetSite(ctx, id) })
			return messages(list, nil), err
		},
	},
	"survey": {
		method: siteService + "ListSurveys",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.AllSurveys(ctx, token, size)
			return messages(list, nil), next, err
		},
		// By "site/number"; a site alone is its latest.
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Survey, error) {
				site, text, _ := strings.Cut(id, "/")
				number, err := strconv.ParseInt("0"+text, 10, 32)
				if err != nil {
					return nil, fault.NoSuch("survey", id)
				}
				return h.Store.GetSurvey(ctx, site, int32(number))
			})
			return messages(list, nil), err
		},
	},
	"cylinder": {
		method: gearService + "ListCylinders",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListCylinders(ctx, &lastlightv1.ListCylindersRequest{PageToken: token, PageSize: size})
			return messages(list, maskedCylinder(ctx)), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Cylinder, error) { return h.Store.GetCylinder(ctx, id) })
			return messages(list, maskedCylinder(ctx)), err
		},
	},
	"equipment": {
		method: gearService + "ListEquipment",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListEquipment(ctx, &lastlightv1.ListEquipmentRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Equipment, error) { return h.Store.GetEquipment(ctx, id) })
			return messages(list, nil), err
		},
	},
	"cylinder_set": {
		method: gearService + "ListCylinderSets",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListCylinderSets(ctx, &lastlightv1.ListCylinderSetsRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.CylinderSet, error) { return h.Store.GetCylinderSet(ctx, id) })
			return messages(list, nil), err
		},
	},
	"policy": {
		method: policyService + "ListPolicies",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.AllPolicies(ctx, token, size)
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Policy, error) { return h.Store.GetPolicy(ctx, id) })
			return messages(list, nil), err
		},
	},
	"expedition": {
		method: expeditionService + "ListExpeditions",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListExpeditions(ctx, &lastlightv1.ListExpeditionsRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Expedition, error) { return h.Store.GetExpedition(ctx, id) })
			return messages(list, nil), err
		},
	},
	"role": {
		method: accessService + "ListRoles",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListRoles(ctx, &lastlightv1.ListRolesRequest{PageToken: token, PageSize: size}, "")
			return messages(list, standingGrant(ctx)), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.RoleGrant, error) { return h.Store.GetGrant(ctx, id) })
			return messages(list, standingGrant(ctx)), err
		},
	},
	"reading": {
		method: siteService + "ListReadings",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.AllReadings(ctx, token, size)
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := h.Store.ReadingsByID(ctx, ids)
			return messages(list, nil), err
		},
	},
	"permit": {
		method: siteService + "ListPermits",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListPermits(ctx, &lastlightv1.ListPermitsRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Permit, error) { return h.Store.GetPermit(ctx, id) })
			return messages(list, nil), err
		},
	},
	"fill": {
		method: gearService + "ListFills",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListFills(ctx, &lastlightv1.ListFillsRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := h.Store.FillsByID(ctx, ids)
			return messages(list, nil), err
		},
	},
	"analysis": {
		method: gearService + "ListAnalyses",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListAnalyses(ctx, &lastlightv1.ListAnalysesRequest{PageToken: token, PageSize: size})
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := h.Store.AnalysesByID(ctx, ids)
			return messages(list, nil), err
		},
	},
	"custody_event": {
		method: gearService + "ListCustody",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListCustody(ctx, &lastlightv1.ListCustodyRequest{PageToken: token, PageSize: size})
			return messages(list, handEntered), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := h.Store.CustodyByID(ctx, ids)
			return messages(list, handEntered), err
		},
	},
	"plan": {
		method: planService + "ListPlans",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListPlans(ctx, &lastlightv1.ListPlansRequest{PageToken: token, PageSize: size}, "", nil)
			return messages(list, nil), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Plan, error) { return h.Store.GetPlan(ctx, id, 0) })
			return messages(list, nil), err
		},
	},
	"dive": {
		method: diveService + "ListDives",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			page, err := h.Store.ListDives(ctx, &lastlightv1.ListDivesRequest{PageToken: token, PageSize: size}, nil, &store.BoardSight{})
			if err != nil {
				return nil, "", err
			}
			list, err := page.Dives()
			return messages(list, closedDive(access.CallerFrom(ctx))), page.Next(), err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Dive, error) { return h.Store.GetDive(ctx, id) })
			return messages(list, closedDive(access.CallerFrom(ctx))), err
		},
	},
	"incident": {
		method: incidentService + "ListIncidents",
		page: func(ctx context.Context, h *Files, token string, size int32) ([]proto.Message, string, error) {
			list, next, err := h.Store.ListIncidents(ctx, &lastlightv1.ListIncidentsRequest{PageToken: token, PageSize: size}, false, access.CallerFrom(ctx).Person)
			return messages(list, wholeIncident(access.CallerFrom(ctx))), next, err
		},
		ids: func(ctx context.Context, h *Files, ids []string) ([]proto.Message, error) {
			list, err := each(ids, func(id string) (*lastlightv1.Incident, error) { return h.Store.GetIncident(ctx, id) })
			return messages(list, wholeIncident(access.CallerFrom(ctx))), err
		},
	},
}

// maskedCylinder masks a cylinder by what owning it opens; nothing is left out.
func maskedCylinder(ctx context.Context) func(*lastlightv1.Cylinder) bool {
	c := access.CallerFrom(ctx)
	return func(m *lastlightv1.Cylinder) bool {
		access.MaskCylinder(c, access.Subject{}, m)
		return true
	}
}

// standingGrant leaves out roles that have ended, and those of guardians for whoever may not know of whom: without the minor
// such a role makes no record.
func standingGrant(ctx context.Context) func(*lastlightv1.RoleGrant) bool {
	c := access.CallerFrom(ctx)
	return func(m *lastlightv1.RoleGrant) bool { return m.RevokedAt == nil && seesWard(c, m) }
}

// handEntered leaves out the custody events that follow from a dive: its own record says them.
func handEntered(m *lastlightv1.CustodyEvent) bool { return m.Dive == "" }
