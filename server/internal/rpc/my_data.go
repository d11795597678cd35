package rpc

import (
	"context"
	"slices"
	"strconv"

	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// ownPage is how many records of a kind stand in one part of a person's data.
const ownPage = 100

// ownSections are the kinds of records about a person, in the order of the file. Each adds a page and gives the token of the next.
var ownSections = []func(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error){
	ownPerson, ownRoles, ownTokens, ownDives, ownPlans, ownIncidents, ownGear, ownExpeditions, ownLeft, ownErasures, ownReads, ownChanges, ownActs, ownLetters,
}

// GetMyData gives one part of everything about the caller.
func (h *Privacy) GetMyData(ctx context.Context, r *lastlightv1.GetMyDataRequest) (*lastlightv1.MyData, error) {
	if err := inPerson(ctx); err != nil {
		return nil, err
	}
	args := []any{access.CallerFrom(ctx).Person}
	after, err := store.ReadToken("my_data", args, r.PageToken, 2)
	if err != nil {
		return nil, err
	}
	section, inner := 0, ""
	if after != nil {
		if section, err = strconv.Atoi(after[0]); err != nil || section < 0 || section >= len(ownSections) {
			return nil, fault.Wrong([]fault.Problem{{Field: "page_token", Read: r.PageToken, Expected: "the next_page_token of the part before", Message: "not a token of one's own data"}})
		}
		inner = after[1]
	}
	out := &lastlightv1.MyData{AsOf: timestamppb.New(h.Store.Now())}
	next, err := ownSections[section](ctx, h, out, inner)
	if err != nil {
		return nil, err
	}
	if next == "" {
		section++
	}
	if section < len(ownSections) {
		out.NextPageToken = store.NextToken("my_data", args, strconv.Itoa(section), next)
	}
	return out, nil
}

func ownPerson(ctx context.Context, h *Privacy, out *lastlightv1.MyData, _ string) (_ string, err error) {
	out.Person, err = h.Store.GetPerson(ctx, access.CallerFrom(ctx).Person) // whole: it is their own
	return "", err
}

func ownRoles(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	self := access.CallerFrom(ctx).Person
	out.Roles, next, err = h.Store.ListRoles(ctx, &lastlightv1.ListRolesRequest{Person: self, ShowRevoked: true, PageSize: ownPage, PageToken: token}, self)
	return next, err
}

func ownLetters(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	self := access.CallerFrom(ctx).Person
	if out.Digest, err = h.Store.Digest(ctx, self); err != nil {
		return "", err
	}
	out.Letters, next, err = h.Store.ListLetters(ctx, &lastlightv1.ListLettersRequest{PageSize: ownPage, PageToken: token}, self)
	return next, err
}

func ownTokens(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	out.Tokens, next, err = h.Store.ListTokens(ctx, &lastlightv1.ListTokensRequest{Person: access.CallerFrom(ctx).Person, PageSize: ownPage, PageToken: token})
	return next, err
}

func ownDives(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (string, error) {
	self := access.CallerFrom(ctx).Person
	page, err := h.Store.ListDives(ctx, &lastlightv1.ListDivesRequest{Person: self, ShowArchived: true, PageSize: ownPage, PageToken: token}, nil, nil)
	if err != nil {
		return "", err
	}
	out.Dives, err = page.Dives()
	for _, d := range out.Dives {
		for i, x := range d.Divers {
			if x.Person != self {
				d.Divers[i] = &lastlightv1.DiveDiver{Person: x.Person}
			}
		}
	}
	return page.Next(), err
}

// ownPlans are the plans that the caller takes part in, and what was decided about each.
func ownPlans(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	c := access.CallerFrom(ctx)
	out.Plans, next, err = h.Store.ListPlans(ctx, &lastlightv1.ListPlansRequest{Person: c.Person, ShowArchived: true, PageSize: ownPage, PageToken: token}, "", nil)
	if err != nil {
		return "", err
	}
	for _, p := range out.Plans {
		s := planSubject(c, p)
		p.Waivers = access.MaskWaivers(c, s, p.Waivers)
		if p.Acknowledgements, err = h.Store.AcknowledgedBy(ctx, p.Id, p.Version, c.Person); err != nil {
			return "", err
		}
		for i, x := range p.Team {
			if x.Person != c.Person {
				p.Team[i] = &lastlightv1.PlanDiver{Person: x.Person}
			}
		}
		for more, page := true, ""; more; more = page != "" {
			var list []*lastlightv1.Decision
			if list, page, err = h.Store.ListDecisions(ctx, &lastlightv1.ListDecisionsRequest{Plan: p.Id, PageSize: ownPage, PageToken: page}); err != nil {
				return "", err
			}
			out.Decisions = append(out.Decisions, shownDecisions(c, s, list)...)
		}
	}
	return next, nil
}

// ownIncidents are those that the caller is in or has reported, as far as the caller reads them, with the caller's own key where
// the others stand under a number.
func ownIncidents(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (string, error) {
	c := access.CallerFrom(ctx)
	list, next, err := h.Store.IncidentsOf(ctx, c.Person, token, ownPage)
	if err != nil {
		return "", err
	}
	for _, m := range list {
		people, at := m.People, m.HappenedAt
		shownIncident(c, m)
		if slices.Contains(people, c.Person) { // who was there knows when
			m.HappenedAt = at
		}
		for i, person := range people {
			if person == c.Person {
				m.People[i] = person
			}
		}
	}
	out.Incidents = list
	return next, nil
}

func ownGear(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (string, error) {
	ids, next, err := h.Store.ItemsOf(ctx, access.CallerFrom(ctx).Person, token, ownPage)
	if err != nil {
		return "", err
	}
	if out.Cylinders, err = each(ids, func(id string) (*lastlightv1.Cylinder, error) { return h.Store.GetCylinder(ctx, id) }); err != nil {
		return "", err
	}
	out.Equipment, err = each(ids, func(id string) (*lastlightv1.Equipment, error) { return h.Store.GetEquipment(ctx, id) })
	return next, err
}

func ownReads(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	out.Reads, next, err = h.Store.ListReads(ctx, &lastlightv1.ListReadsRequest{Person: access.CallerFrom(ctx).Person, PageSize: ownPage, PageToken: token}, true)
	return next, err
}

// ownChanges are what became of the caller's own record, whoever did it.
func ownChanges(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	self := access.CallerFrom(ctx).Person
	out.Changes, next, err = h.Store.ListEvents(ctx, &lastlightv1.ListEventsRequest{Kind: "person", Record: self, PageSize: ownPage, PageToken: token}, store.EventFilter{Others: true})
	return next, err
}

// ownActs are what the caller did, without the records it was done to: those are others'.
func ownActs(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	self := access.CallerFrom(ctx).Person
	out.Acts, next, err = h.Store.ListEvents(ctx, &lastlightv1.ListEventsRequest{Who: self, PageSize: ownPage, PageToken: token}, store.EventFilter{Self: self})
	for _, e := range out.Acts {
		e.Before, e.After = "", ""
	}
	return next, err
}

// ownExpeditions are those that the caller takes part in, without the others.
func ownExpeditions(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (string, error) {
	self := access.CallerFrom(ctx).Person
	list, next, err := h.Store.ExpeditionsWith(ctx, self, token, ownPage)
	for _, m := range list {
		m.Participants = slices.DeleteFunc(m.Participants, func(p *lastlightv1.Participant) bool { return p.Person != self })
		m.Notes = "" // of whoever wrote them, about whomever
	}
	out.Expeditions = list
	return next, err
}

func ownLeft(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	out.Left, next, err = h.Store.LeftBy(ctx, access.CallerFrom(ctx).Person, token, ownPage)
	return next, err
}

func ownErasures(ctx context.Context, h *Privacy, out *lastlightv1.MyData, token string) (next string, err error) {
	out.Erasures, next, err = h.Store.ListErasures(ctx, &lastlightv1.ListErasuresRequest{PageSize: ownPage, PageToken: token}, []string{access.CallerFrom(ctx).Person})
	return next, err
}
