package access

import (
	"fmt"
	"slices"
	"strings"
)

// Relation is what ties the caller to a record, whatever roles the caller holds. Only the store, which reads the records, says so.
type Relation uint16

const (
	// Self: the record is about the caller, belongs to the caller, or was written by the caller.
	Self Relation = 1 << iota
	// Ward: it is about a minor whose guardian the caller is.
	Ward
	// Leads: it is about the team that the caller leads: the plan, its divers, their cylinders. It counts with the role of leader.
	Leads
	// InTeam: the caller is diver or standby of the plan or dive, or breathes from the cylinder in one.
	InTeam
	// Covers: the caller is the named surface cover.
	Covers
	// WatchRuns: somebody of the record is in the water now: the dive, one of its divers, a dive at the site.
	WatchRuns

	relationEnd
)

// Subject is the record that a call is about, as far as permission depends on it.
type Subject struct {
	Expeditions []string // the expeditions the record belongs to: roles given for one of them count
	Relation    Relation
	// Of is whose the record is: the id of the person, or of the site where the group is Place. It decides nothing; reads are
	// noted under it. Empty: what is asked is of nobody in particular, and is not a read.
	Of string
}

// Method is one line of the table: who may call it.
type Method struct {
	// Name is the full method, "/package.Service/Method".
	Name string
	// Anywhere: these roles may call it, whichever expedition they are held for.
	Anywhere Roles
	// Here: these roles may call it on records of the expedition they are held for; held for the whole club, on any record.
	Here Roles
	// Tied: whoever has one of these relations to the record may call it.
	Tied Relation
	// Open: no token is asked for. Closed again by any of the above.
	Open bool
}

// ForRoles tells whether the caller's roles can permit the method on some record. Where they cannot, the answer may say
// "not allowed" without giving away anything: it depends on no record.
func (m Method) ForRoles(c *Caller) bool {
	return m.Open || c.Person != "" && (m.Tied != 0 || c.Anywhere().Any(m.Anywhere|m.Here))
}

// On tells whether the caller may call the method on this record. Where not, the answer is "not found" unless the caller may
// read the record.
func (m Method) On(c *Caller, s Subject) bool {
	return m.Open || c.Person != "" &&
		(c.Anywhere().Any(m.Anywhere) || c.In(s.Expeditions...).Any(m.Here) || c.tied(s)&m.Tied != 0)
}

// tied is the relation as far as it counts: leading a team counts with the role of leader, being named cover always.
func (c *Caller) tied(s Subject) Relation {
	if !c.In(s.Expeditions...).Any(Leader) {
		return s.Relation &^ Leads
	}
	return s.Relation
}

// byName finds a method of the table.
var byName = index(table)

func index(lines []Method) map[string]Method {
	m := make(map[string]Method, len(lines))
	for _, line := range lines {
		m[line.Name] = line
	}
	return m
}

// Lookup finds a method's line. ok is false for a method that is not listed: it must not be served.
func Lookup(fullMethod string) (m Method, ok bool) {
	m, ok = byName[fullMethod]
	return m, ok
}

// Methods lists the table.
func Methods() []Method { return slices.Clone(table) }

// May tells whether the caller may call the method on this record; false for a method that is not listed.
func May(c *Caller, fullMethod string, s Subject) bool {
	m, ok := Lookup(fullMethod)
	return ok && m.On(c, s)
}

// CheckServed compares what a server serves with the table and names every method that is not listed. The server must not start
// on an error: a method that nobody thought about would otherwise be open or dead.
func CheckServed(served []string) error {
	var unlisted []string
	for _, name := range served {
		if _, ok := byName[name]; !ok {
			unlisted = append(unlisted, name)
		}
	}
	if len(unlisted) == 0 {
		return nil
	}
	slices.Sort(unlisted)
	return fmt.Errorf("methods served but not in the table of who may call them: %s", strings.Join(unlisted, ", "))
}
