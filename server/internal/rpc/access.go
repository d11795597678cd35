package rpc

import (
	"context"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
)

// Access serves AccessService: tokens, roles, and what was done.
type Access struct {
	lastlightv1.UnimplementedAccessServiceServer
	Store         *store.Store
	ServerVersion string
	EngineVersion string
}

const accessService = "/lastlight.v1.AccessService/"

// denied is the answer where the caller may know of the record and may not do this to it.
func denied(why string) error {
	return &fault.Error{Kind: fault.Denied, Reason: "NOT_YOURS", Message: why}
}

// WhoAmI says how the server knows the caller.
func (h *Access) WhoAmI(ctx context.Context, _ *lastlightv1.WhoAmIRequest) (*lastlightv1.WhoAmIResponse, error) {
	c := access.CallerFrom(ctx)
	club, zone, err := h.Store.Club(ctx)
	if err != nil {
		return nil, err
	}
	answer := &lastlightv1.WhoAmIResponse{
		Person: c.Person, FullName: c.FullName, Club: club, ClubTimeZone: zone,
		ServerVersion: h.ServerVersion, EngineVersion: h.EngineVersion,
		Token: &lastlightv1.Token{
			Id: c.Token.ID, Person: c.Person, Device: c.Token.Device,
			IssuedAt: timestamppb.New(c.Token.IssuedAt), ExpiresAt: timestamppb.New(c.Token.ExpiresAt), Lent: c.Token.Lent,
		},
	}
	if !c.Token.LastUsedAt.IsZero() {
		answer.Token.LastUsedAt = timestamppb.New(c.Token.LastUsedAt)
	}
	stand, err := h.Store.StandingRoles(ctx, c.Person)
	if err != nil {
		return nil, err
	}
	for _, g := range stand {
		role, err := access.ParseRole(g.Role)
		if err != nil {
			return nil, err
		}
		// A lent token leaves some of them aside.
		if slices.Contains(c.Grants, access.Grant{Role: role, Expedition: g.Expedition, OfPerson: g.OfPerson}) {
			answer.Roles = append(answer.Roles, g)
		}
	}
	return answer, nil
}

// personSubject is what ties the caller to a person, as far as it depends on no dive.
func personSubject(ctx context.Context, s *store.Store, c *access.Caller, person string) (access.Subject, error) {
	var subject access.Subject
	if person == c.Person {
		subject.Relation |= access.Self
	}
	if c.Guards(person) {
		subject.Relation |= access.Ward
	}
	var err error
	subject.Expeditions, err = s.ExpeditionsOf(ctx, person)
	return subject, err
}

// IssueToken makes a token for a person's device. The secret is in this answer and nowhere else.
func (h *Access) IssueToken(ctx context.Context, r *lastlightv1.IssueTokenRequest) (*lastlightv1.IssuedToken, error) {
	c := access.CallerFrom(ctx)
	subject, err := personSubject(ctx, h.Store, c, r.Person)
	if err != nil {
		return nil, err
	}
	roles, err := h.rolesOf(ctx, r.Person)
	if err != nil {
		return nil, err
	}
	if !access.May(c, accessService+"IssueToken", subject) || !c.MayIssueFor(r.Person, roles, subject.Expeditions) {
		return nil, denied("the committee issues tokens, and a coordinator those of the divers, leaders, cover and guests of an expedition")
	}
	return h.issue(ctx, mutation(ctx, accessService+"IssueToken", r.RequestId, r), func(ctx context.Context, tx *store.Tx, secret access.Secret) (*lastlightv1.Token, error) {
		return tx.AddToken(ctx, r.Person, r.Device, secret.Hash(), access.Life(int(r.Days)), c.Lends(r.Person))
	})
}

// issue runs a write that makes a token. The secret is put into the answer after that: what is kept for a retried request does
// not have it.
func (h *Access) issue(ctx context.Context, m store.Mutation, add func(context.Context, *store.Tx, access.Secret) (*lastlightv1.Token, error)) (*lastlightv1.IssuedToken, error) {
	secret, fresh := access.NewSecret(), false
	answer, err := store.Mutate(ctx, h.Store, m, func(ctx context.Context, tx *store.Tx) (*lastlightv1.IssuedToken, error) {
		token, err := add(ctx, tx, secret)
		fresh = err == nil
		return &lastlightv1.IssuedToken{Token: token}, err
	})
	if err == nil && fresh {
		answer.Secret = secret.Reveal()
	}
	return answer, err
}

// rolesOf is every role a person holds anywhere.
func (h *Access) rolesOf(ctx context.Context, person string) (access.Roles, error) {
	var roles access.Roles
	r := &lastlightv1.ListRolesRequest{Person: person, PageSize: 200}
	for {
		list, next, err := h.Store.ListRoles(ctx, r, "")
		if err != nil {
			return 0, err
		}
		for _, g := range list {
			role, err := access.ParseRole(g.Role)
			if err != nil {
				return 0, err
			}
			roles |= role
		}
		if r.PageToken = next; next == "" {
			return roles, nil
		}
	}
}

// RenewToken gives the calling device a new secret and ends the old one, both or neither.
func (h *Access) RenewToken(ctx context.Context, r *lastlightv1.RenewTokenRequest) (*lastlightv1.IssuedToken, error) {
	c := access.CallerFrom(ctx)
	return h.issue(ctx, mutation(ctx, accessService+"RenewToken", r.RequestId, r), func(ctx context.Context, tx *store.Tx, secret access.Secret) (*lastlightv1.Token, error) {
		old, fresh, err := tx.EndToken(ctx, c.Token.ID)
		if err != nil {
			return nil, err
		}
		if !fresh { // another call of this device was faster
			return nil, &fault.Error{Kind: fault.Unauthenticated, Reason: "TOKEN_REVOKED", Message: "this device's token was revoked or renewed a moment ago"}
		}
		return tx.AddToken(ctx, c.Person, old.Device, secret.Hash(), access.Life(int(r.Days)), old.Lent)
	})
}

// RevokeToken ends a token at once: one's own, or of a person the caller answers for.
func (h *Access) RevokeToken(ctx context.Context, r *lastlightv1.RevokeTokenRequest) (*lastlightv1.Token, error) {
	token, err := h.Store.GetToken(ctx, r.Id)
	if err != nil {
		return nil, err
	}
	c := access.CallerFrom(ctx)
	subject, err := personSubject(ctx, h.Store, c, token.Person)
	if err != nil {
		return nil, err
	}
	if !access.May(c, accessService+"RevokeToken", subject) {
		return nil, fault.NoSuch("token", r.Id)
	}
	roles, err := h.rolesOf(ctx, token.Person)
	if err != nil {
		return nil, err
	}
	// Whoever could end the tokens of those above could lock them out, and could not be stopped any more.
	if !c.MayIssueFor(token.Person, roles, subject.Expeditions) {
		return nil, denied("the committee ends tokens, and a coordinator those of the divers, leaders, cover and guests of an expedition")
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, accessService+"RevokeToken", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.Token, error) {
		m, _, err := tx.EndToken(ctx, r.Id)
		return m, err
	})
}

// ListTokens lists the devices of a person, the caller's own if none is named.
func (h *Access) ListTokens(ctx context.Context, r *lastlightv1.ListTokensRequest) (*lastlightv1.ListTokensResponse, error) {
	c := access.CallerFrom(ctx)
	if r.Person == "" {
		r.Person = c.Person
	}
	subject, err := personSubject(ctx, h.Store, c, r.Person)
	if err != nil {
		return nil, err
	}
	if !access.May(c, accessService+"ListTokens", subject) {
		return nil, fault.NoSuch("person", r.Person)
	}
	list, next, err := h.Store.ListTokens(ctx, r)
	return &lastlightv1.ListTokensResponse{Tokens: list, NextPageToken: next}, err
}

// GrantRole gives a role for the club or for an expedition.
func (h *Access) GrantRole(ctx context.Context, r *lastlightv1.GrantRoleRequest) (*lastlightv1.RoleGrant, error) {
	if err := CheckGrant(access.CallerFrom(ctx), r.Grant, "grant."); err != nil {
		return nil, err
	}
	if err := takesIn(ctx, h.Store, r.Grant.Expedition, r.Grant.Person); err != nil {
		return nil, err
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, accessService+"GrantRole", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.RoleGrant, error) {
		m, _, err := tx.GrantRole(ctx, r.Grant)
		return m, fault.Under("grant.", err)
	})
}

// takesIn refuses that a coordinator of an expedition takes people into it who are not: that would open their health and
// cards to whoever coordinates anything. The committee and the club's coordinators do it.
func takesIn(ctx context.Context, s *store.Store, expedition string, people ...string) error {
	if c := access.CallerFrom(ctx); c.Club.Any(access.Committee | access.Coordinator) {
		return nil
	}
	for _, person := range people {
		in, err := s.ExpeditionsOf(ctx, person)
		if err != nil {
			return err
		}
		if !slices.Contains(in, expedition) {
			return denied("only the committee or a coordinator of the club takes " + person + " into this expedition")
		}
	}
	return nil
}

// CheckGrant refuses a role that makes no sense, or that the caller may not give. place is where the grant stands in the request.
func CheckGrant(c *access.Caller, g *lastlightv1.RoleGrant, place string) error {
	role, err := access.ParseRole(g.Role)
	if err != nil {
		return fault.Wrong([]fault.Problem{{Field: place + "role", Read: g.Role, Expected: access.Everybody.String(), Message: "no such role"}})
	}
	var problems []fault.Problem
	if (role == access.Guardian) != (g.OfPerson != "") {
		problems = append(problems, fault.Problem{
			Field: place + "of_person", Read: g.OfPerson,
			Expected: "the minor for the role guardian, nothing for any other", Message: "a guardian is somebody's guardian, other roles are nobody's",
		})
	}
	if role == access.Guardian && g.OfPerson == g.Person {
		problems = append(problems, fault.Problem{Field: place + "of_person", Read: g.OfPerson, Expected: "another person", Message: "nobody is their own guardian"})
	}
	if role&(access.Committee|access.Guardian) != 0 && g.Expedition != "" {
		problems = append(problems, fault.Problem{Field: place + "expedition", Read: g.Expedition, Expected: "nothing: the role is the club's", Message: "this role is not given for an expedition"})
	}
	if err := fault.Wrong(problems); err != nil {
		return err
	}
	if !c.MayGrant(role, g.Expedition) {
		return denied("the committee gives and ends roles, and a coordinator those of diver, leader, cover and guest within an expedition")
	}
	return nil
}

// RevokeRole ends a role at once.
func (h *Access) RevokeRole(ctx context.Context, r *lastlightv1.RevokeRoleRequest) (*lastlightv1.RoleGrant, error) {
	c := access.CallerFrom(ctx)
	grant, err := h.Store.GetGrant(ctx, r.Id)
	if err != nil {
		return nil, err
	}
	role, err := access.ParseRole(grant.Role)
	if err != nil {
		return nil, err
	}
	if !c.MayGrant(role, grant.Expedition) {
		return nil, denied("the committee gives and ends roles, and a coordinator those of diver, leader, cover and guest within an expedition")
	}
	return store.Mutate(ctx, h.Store, mutation(ctx, accessService+"RevokeRole", r.RequestId, r), func(ctx context.Context, tx *store.Tx) (*lastlightv1.RoleGrant, error) {
		return tx.RevokeRole(ctx, r.Id)
	})
}

// ListRoles lists who holds which role. Guests and guardians see their own.
func (h *Access) ListRoles(ctx context.Context, r *lastlightv1.ListRolesRequest) (*lastlightv1.ListRolesResponse, error) {
	c := access.CallerFrom(ctx)
	onlyOf := ""
	if !c.Anywhere().Any(access.Members) {
		onlyOf = c.Person
	}
	list, next, err := h.Store.ListRoles(ctx, r, onlyOf)
	if err != nil {
		return nil, err
	}
	for _, g := range list {
		if !seesWard(c, g) {
			g.OfPerson = ""
		}
	}
	return &lastlightv1.ListRolesResponse{Roles: list, NextPageToken: next}, nil
}

// seesWard tells whether the caller may know whose guardian somebody is: that says who is a minor.
func seesWard(c *access.Caller, g *lastlightv1.RoleGrant) bool {
	return g.OfPerson == "" || g.Person == c.Person || c.Club.Any(access.Coordinator|access.WelfareOfficer|access.Committee)
}

// plainKinds are the kinds of records whose events may be shown whole to whoever reads the log: every member sees the records
// themselves, and what is restricted in them is in no event.
var plainKinds = []string{"site", "survey", "reading", "permit", "policy", "expedition", "plan", "decision", "left_item", "line_damage"}

// eventFilter is which events the caller may read beside what they did themselves. Who reported an incident is the safety
// officer's to know; tokens, roles and people are the club's business, not an expedition's, and what was decided about a plan and
// why is that of its own expedition.
func eventFilter(c *access.Caller) store.EventFilter {
	f := store.EventFilter{Self: c.Person, Except: []string{"incident"}, Away: c.Sees(access.Board, access.Subject{})}
	switch {
	case c.Club.Any(access.Committee | access.Coordinator | access.SafetyOfficer):
		f.Others = true
	case c.Anywhere().Any(access.Coordinator | access.SafetyOfficer):
		f.Others, f.Kinds, f.Plans = true, plainKinds, c.Where(access.Coordinator|access.SafetyOfficer)
	}
	if c.Club.Any(access.SafetyOfficer) {
		f.Except = nil
	}
	return f
}

// ListEvents lists what was done, the latest first.
func (h *Access) ListEvents(ctx context.Context, r *lastlightv1.ListEventsRequest) (*lastlightv1.ListEventsResponse, error) {
	c := access.CallerFrom(ctx)
	list, next, err := h.Store.ListEvents(ctx, r, eventFilter(c))
	if err != nil {
		return nil, err
	}
	for _, e := range list {
		if !seesDocuments(c, e) {
			e.Before, e.After = "", ""
		}
	}
	return &lastlightv1.ListEventsResponse{Events: list, NextPageToken: next}, nil
}

// seesDocuments tells whether the caller may read the record in an event, as it would be read now.
func seesDocuments(c *access.Caller, e *lastlightv1.Event) bool {
	switch e.Kind {
	case "incident":
		return c.Club.Any(access.SafetyOfficer)
	case "role", "token":
		return true // whoever gets the event at all may know
	}
	return slices.Contains(plainKinds, e.Kind) || c.Club.Any(access.Coordinator)
}
