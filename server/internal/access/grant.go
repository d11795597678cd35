package access

// lent is what a coordinator gives and takes within an expedition of theirs: roles that open nothing which the coordinator does
// not see and do.
const lent = Diver | Leader | Cover | Guest

// MayGrant tells whether the caller may give this role, or end it. The committee may give every role; a coordinator the everyday
// ones within an expedition.
func (c *Caller) MayGrant(role Roles, expedition string) bool {
	if c.Anywhere().Any(Committee) {
		return true
	}
	return expedition != "" && role&^lent == 0 && c.In(expedition).Any(Coordinator)
}

// MayIssueFor tells whether the caller may give a token to a device of a person who holds these roles and takes part in these
// expeditions. Whoever issues a token could use it, so a coordinator issues none that would open more than the coordinator has.
func (c *Caller) MayIssueFor(person string, roles Roles, expeditions []string) bool {
	switch {
	case c.Person == "":
		return false
	case person == c.Person, c.Anywhere().Any(Committee):
		return true
	}
	return c.In(expeditions...).Any(Coordinator) && roles&^lent == 0
}

// Lends tells whether a token that the caller issues for this person is a lent one: what the caller could open with it stays what
// the caller may open. One's own is as the token it is asked for with, so that nobody lifts it by renewing.
func (c *Caller) Lends(person string) bool {
	return c.Token.Lent || person != c.Person && !c.Anywhere().Any(Committee)
}
