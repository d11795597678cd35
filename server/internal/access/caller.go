package access

import (
	"context"
	"slices"
)

// Grant is a role that the caller holds, for the whole club or for one expedition.
type Grant struct {
	Role       Roles  // exactly one
	Expedition string // empty: the whole club
	OfPerson   string // for Guardian: the minor
}

// Caller is who calls: a person on one device, with the roles that stand at this minute.
type Caller struct {
	Person     string
	FullName   string
	Token      Token
	Club       Roles            // held for the whole club
	Expedition map[string]Roles // held for one expedition only
	Wards      []string         // the minors whose guardian the caller is
	Grants     []Grant          // what the sets above were made from
	readings   []Reading        // of this call; see Sees
}

// NewCaller makes a caller of a token, its person and the grants that stand. A lent token leaves the roles aside that whoever
// issued it could not have opened: they may have been given since.
func NewCaller(fullName string, token Token, grants []Grant) *Caller {
	if token.Lent {
		grants = slices.DeleteFunc(slices.Clone(grants), func(g Grant) bool { return g.Role&^lent != 0 })
	}
	c := &Caller{Person: token.Person, FullName: fullName, Token: token, Grants: grants}
	for _, g := range grants {
		if g.Role == Guardian && g.OfPerson != "" {
			c.Wards = append(c.Wards, g.OfPerson)
		}
		if g.Expedition == "" {
			c.Club |= g.Role
			continue
		}
		if c.Expedition == nil {
			c.Expedition = map[string]Roles{}
		}
		c.Expedition[g.Expedition] |= g.Role
	}
	return c
}

// Anywhere is every role the caller holds, for the club or for any expedition.
func (c *Caller) Anywhere() Roles {
	roles := c.Club
	for _, r := range c.Expedition {
		roles |= r
	}
	return roles
}

// In is what the caller may act as on a record of these expeditions: roles held for the club, and for any of them.
func (c *Caller) In(expeditions ...string) Roles {
	roles := c.Club
	for _, e := range expeditions {
		roles |= c.Expedition[e]
	}
	return roles
}

// Where lists the expeditions in which the caller holds one of these roles, sorted and never nil; roles held for the whole club are
// not asked.
func (c *Caller) Where(roles Roles) []string {
	out := []string{}
	for e, held := range c.Expedition {
		if held.Any(roles) {
			out = append(out, e)
		}
	}
	slices.Sort(out)
	return out
}

// Guards tells whether the caller is the guardian of this person.
func (c *Caller) Guards(person string) bool { return slices.Contains(c.Wards, person) }

type callerKey struct{}

// WithCaller puts the caller of a request into its context. Only the interceptor that checked the token does this.
func WithCaller(ctx context.Context, c *Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// CallerFrom gives the caller of the request. It is never nil: outside of a request, and in a method open to all, it is nobody,
// who holds no role and is no person.
func CallerFrom(ctx context.Context) *Caller {
	if c, ok := ctx.Value(callerKey{}).(*Caller); ok {
		return c
	}
	return &Caller{}
}
