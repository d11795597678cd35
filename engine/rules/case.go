package rules

import (
	"strconv"

	"lastlight/engine/calendar"
	"lastlight/engine/dive"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/history"
	"lastlight/engine/policy"
	"lastlight/engine/route"
	"lastlight/engine/watch"
	"lastlight/engine/water"
)

// Case is the input with what several rules need worked out once. It is built
// by Open and not changed by rules.
type Case struct {
	In     *facts.Input
	Policy *policy.Policy

	// Faults make the input unfit to be computed on: nothing below is worked out,
	// and no rule runs but the one that tells them.
	Faults []facts.Problem

	Span Span          // the dive as judged
	Days calendar.Days // site-local days it touches; zero where it cannot be told

	Team []Member // the plan's team with their records, in the plan's order

	// LevelName and Level are what the least qualified diver present permits;
	// nil where it cannot be told. A training dive is judged at the level taught.
	LevelName string
	Level     *policy.Level

	// Least is the index of the least qualified diver in Team, -1 where unknown.
	Least int

	EntryDay calendar.Day // site-local

	Network   Network       // what the route asks for, counted on the line network
	Water     *water.Column // nil = unknown
	SetUpDone bool          // recorded set-up dives concern this route

	Route         *route.Result     // nil where it could not be computed
	RouteInput    route.Input       // what it was computed on
	laid          *route.Laid       // RouteInput on the line; nil where it could not be laid
	RouteProblems []route.Problem   // faults of the route's input
	RouteMissing  []finding.Finding // inputs without which the route model cannot run

	Starts    []history.Start // what each member brings to the entry; empty where entry, water or altitude is unknown
	Dive      *dive.Answer    // with its stops; nil where it cannot be computed
	DiveFault string          // why, where nothing is merely missing

	Other *OtherWay // nil where the route has no circuit, or cannot be computed

	Watch *watch.Times // nil where it cannot be told

	told  map[toldKey]told // ways out that a finding has explained, for others to name it
	lines []finding.Step   // memory of explanations

	stretches    map[float64][]*toldStretch // arithmetic that several findings tell, each made once; by bar minutes
	contentLines map[contentKey]*finding.Step
	ratesAt      map[string]string  // where each diver's consumption stands
	cylinders    []suppliedCylinder // nil: not worked out yet

	stop    func(spent int) bool // see Stopped
	stopped bool

	asked bool // a person's question for a day, without a plan
	scope

	Missing []finding.Finding // inputs nobody has recorded, each once
}

// Span is the dive on the clock.
type Span struct {
	Entry      calendar.Instant
	EnterBy    calendar.Instant
	RuntimeMin float64          // surface to surface; 0 = unknown
	Surfacing  calendar.Instant // latest: enter by + runtime, up to the whole minute; none = unknown
	Dial       calendar.Instant // latest dial time; none = unknown
}

// Member is one diver of the team with the records at hand.
type Member struct {
	facts.Member
	Path   string       // path of the member in the plan
	Record *facts.Diver // nil where the input lacks the person
	Standing
}

// subject names the member by display name.
func (m Member) subject() finding.Subject {
	s := finding.Subject{Kind: finding.KindDiver, ID: m.Diver}
	if m.Record != nil {
		s.Name = m.Record.Name
	}
	return s
}

func (c *Case) plan() finding.Subject {
	return finding.Subject{Kind: finding.KindPlan, ID: c.In.Plan.ID, Name: nameOr(c.In.Plan.Name, "plan")}
}

func (c *Case) site() finding.Subject {
	return finding.Subject{Kind: finding.KindSite, ID: c.In.Site.ID, Name: nameOr(c.In.Site.Name, "site")}
}

func (c *Case) person(kind finding.Kind, id string) finding.Subject {
	s := finding.Subject{Kind: kind, ID: id}
	if d := c.In.Diver(id); d != nil {
		s.Name = d.Name
	}
	return s
}

func (c *Case) cylinder(id string) finding.Subject {
	s := finding.Subject{Kind: finding.KindCylinder, ID: id}
	if cyl := c.In.Cylinder(id); cyl != nil {
		s.Name = cyl.Name
	}
	return s
}

func nameOr(name, other string) string {
	if name != "" {
		return name
	}
	return other
}

// isDiver tells whether the person dives in this plan.
func (c *Case) isDiver(id string) bool {
	for _, m := range c.In.Plan.Team {
		if m.Diver == id {
			return true
		}
	}
	return false
}

// instructorInTeam tells whether a member who holds the endorsement acts as
// instructor on this dive.
func (c *Case) instructorInTeam() bool {
	for _, m := range c.Team {
		if m.Instructor && m.Holds("INSTRUCTOR") {
			return true
		}
	}
	return false
}

// local writes an instant as the site's clocks show it.
func (c *Case) local(t calendar.Instant) string {
	if len(c.In.Site.Zones) > 0 {
		if s, err := c.In.Site.Zones[0].Format(t); err == nil {
			return s
		}
	}
	return t.String()
}

// path writes an input path with an index.
func path(list string, i int, rest string) string {
	p := list + "[" + strconv.Itoa(i) + "]"
	if rest != "" {
		p += "." + rest
	}
	return p
}

func record(kind, id string, version int64) []finding.Evidence {
	return []finding.Evidence{{Kind: kind, ID: id, Version: version}}
}
