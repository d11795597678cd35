package access

import "slices"

// Reading is that the caller was shown fields of somebody else's record; never what they say.
type Reading struct {
	Fields string // the group's name in the table
	Of     string // id of the person, or of the site
	Place  bool   // Of is a site
}

// note keeps a reading once for the call.
func (c *Caller) note(r Reading) {
	if !slices.Contains(c.readings, r) {
		c.readings = append(c.readings, r)
	}
}

// Readings is what the call has shown so far, one for each record and group of fields, in the order of showing.
func (c *Caller) Readings() []Reading { return slices.Clone(c.readings) }
