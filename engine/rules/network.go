package rules

import (
	"slices"

	"lastlight/engine/finding"
	"lastlight/engine/route"
)

// Spot is one thing the route asks for and where it stands.
type Spot struct {
	Diver string // diver id where it is one diver's, else empty
	What  string // what the reader is told, e.g. the leg
	Place string
}

// Reach is a greatest value and where it is reached.
type Reach struct {
	Known bool
	Value float64
	Place string
}

// Network is what the route asks for, counted on the line network as surveyed.
type Network struct {
	Known bool   // every move names one leg of the survey
	Fault string // the first move that does not

	Depth  Reach // m
	Linear Reach // m from the surface, depth of the opening included

	Jumps        []Spot // legs without a permanent line, jumps and gaps, each once
	JumpFromJump []Spot
	Explored     []Spot // of the jumps: passage in which nobody has laid line, and this team does
	OffMain      []Spot // permanent lines taken off the main line, each once
	MainUnknown  []Spot // legs at a junction of which nobody has recorded whether they are the main line
	Circuit      []Spot
	Traverse     []Spot
	Minor, Major []Spot
	TurnsRound   []*bool // of each of Minor: a diver can turn round at both ends; nil = not surveyed
	Stages       []Spot
	Scooters     []Spot
	Deco         []Spot

	Overhead []Spot    // legs that are cave zone, in the order swum
	Cavern   []Spot    // legs that are cavern zone
	Decide   []string  // stations at which the way out must be chosen
	Runs     []LineRun // lines the team runs
	StartsIn bool      // a permanent line starts at the opening entered
	Passed   []string  // stations, in order of the first arrival

	walk []walk // the moves with their legs, up to the first that has none
}

// LineRun is a line the team runs.
type LineRun struct {
	Leg     string
	LengthM float64
	Move    int // from 0
}

// walk follows the moves over the survey.
type walk struct {
	leg     *route.Leg
	from    string
	to      string
	move    int
	reverse bool
}

// around is the survey at the stations of the route, gathered in one pass: a site
// may have thousands of legs, and a route passes hundreds of stations.
type around struct {
	depth map[string]float64
	legs  map[string][]*route.Leg // that meet at a station, in the order of the survey
}

func aroundRoute(in *route.Input) *around {
	a := &around{depth: map[string]float64{}, legs: map[string][]*route.Leg{in.Route.Start: nil}}
	for i := range in.Route.Moves {
		a.legs[in.Route.Moves[i].To] = nil
	}
	for i := range in.Stations {
		name := in.Stations[i].Name
		if _, passed := a.legs[name]; !passed {
			continue
		}
		if _, twice := a.depth[name]; !twice {
			a.depth[name] = in.Stations[i].DepthM
		}
	}
	for i := range in.Legs {
		l := &in.Legs[i]
		if list, passed := a.legs[l.From]; passed {
			a.legs[l.From] = append(list, l)
		}
		if list, passed := a.legs[l.To]; passed && l.To != l.From {
			a.legs[l.To] = append(list, l)
		}
	}
	return a
}

// follow resolves every move to its leg; ok is false at the first that cannot be.
func (a *around) follow(in *route.Input) (ws []walk, fault string, ok bool) {
	at := in.Route.Start
	for i, m := range in.Route.Moves {
		var found *route.Leg
		n := 0
		for _, l := range a.legs[at] {
			joins := l.From == at && l.To == m.To || l.To == at && l.From == m.To
			if joins && (m.Leg == "" || m.Leg == l.ID) {
				found = l
				n++
			}
		}
		if n != 1 {
			return ws, path("route.route.moves", i, "leg"), false
		}
		ws = append(ws, walk{leg: found, from: at, to: m.To, move: i, reverse: found.From != at})
		at = m.To
	}
	return ws, "", len(ws) > 0
}

// survey counts what the route asks for.
func survey(in *route.Input) Network {
	a := aroundRoute(in)
	ws, fault, ok := a.follow(in)
	n := Network{Known: ok, Fault: fault, walk: ws}
	if !ok {
		if n.Fault == "" {
			n.Fault = "route.route.moves"
		}
		return n
	}
	n.depths(in, a)
	n.lines(in, a)
	n.shape(in, ws)
	return n
}

func (n *Network) depths(in *route.Input, a *around) {
	see := func(depth float64, place string) {
		if !n.Depth.Known || depth > n.Depth.Value {
			n.Depth = Reach{Known: true, Value: depth, Place: place}
		}
	}
	if d, ok := a.depth[in.Route.Start]; ok {
		see(d, in.Route.Start)
	}
	for _, w := range n.walk {
		for _, p := range w.leg.DepthPoints {
			see(p.DepthM, "leg "+w.leg.ID+", "+finding.Decimal(p.AtM, 1)+" m past "+w.leg.From)
		}
		if d, ok := a.depth[w.to]; ok {
			see(d, w.to)
		}
	}
}

// lined counts the permanent lines at a station.
func (a *around) lined(station string) int {
	n := 0
	for _, l := range a.legs[station] {
		if l.Lined {
			n++
		}
	}
	return n
}

func (n *Network) lines(in *route.Input, a *around) {
	nested := map[string]int{in.Route.Start: 0} // jumps between the station and open water, on the way first taken
	seen := map[string]bool{}
	n.StartsIn = a.lined(in.Route.Start) > 0
	n.Passed = []string{in.Route.Start}
	branched := false
	for _, w := range n.walk {
		branched = branched || a.lined(w.from) > 2 || a.lined(w.to) > 2
	}
	for _, w := range n.walk {
		l := w.leg
		if in.Route.Moves[w.move].RunLine {
			n.Runs = append(n.Runs, LineRun{Leg: l.ID, LengthM: l.LengthM, Move: w.move})
		}
		if first, known := nested[w.to]; !known || first > nested[w.from]+1 {
			nested[w.to] = nested[w.from]
			if !l.Lined && !l.Gap && !l.Unexplored {
				nested[w.to]++
			}
			n.Passed = append(n.Passed, w.to)
		}
		if seen[l.ID] {
			continue
		}
		seen[l.ID] = true
		spot := Spot{What: "leg " + l.ID, Place: w.from + "-" + w.to}
		switch {
		case !l.Lined:
			spot.What = "the jump over leg " + l.ID
			switch {
			case l.Gap:
				spot.What = "the gap over leg " + l.ID
			case l.Unexplored:
				spot.What = "new line in leg " + l.ID
				if in.Route.Moves[w.move].RunLine {
					n.Explored = append(n.Explored, spot)
				}
			}
			n.Jumps = append(n.Jumps, spot)
			if !l.Gap && !l.Unexplored && nested[w.from] > 0 {
				n.JumpFromJump = append(n.JumpFromJump, spot)
			}
			n.decide(w.from)
		case a.lined(w.from) > 2 || a.lined(w.from) > 1 && w.from == in.Route.Start:
			// A junction of permanent lines. Which of them is the main line must be
			// on record; a line without branches is its own main line.
			if l.MainLine == nil && branched {
				n.MainUnknown = append(n.MainUnknown, spot)
			} else if l.MainLine != nil && !*l.MainLine {
				n.OffMain = append(n.OffMain, spot)
			}
			n.decide(w.from)
		case l.MainLine != nil && !*l.MainLine && a.lined(w.from) <= 2 && !a.offAlready(w.from):
			n.OffMain = append(n.OffMain, spot)
			n.decide(w.from)
		}
		switch l.Restriction {
		case route.RestrictionMinor:
			spot.What = "a minor restriction in leg " + l.ID
			n.Minor = append(n.Minor, spot)
			n.TurnsRound = append(n.TurnsRound, l.TurnsRound)
		case route.RestrictionMajor:
			spot.What = "a major restriction in leg " + l.ID
			n.Major = append(n.Major, spot)
		}
	}
}

// offAlready tells whether the station lies on lines that are all off the main
// line: going on along them passes no further T.
func (a *around) offAlready(station string) bool {
	for _, l := range a.legs[station] {
		if l.Lined && (l.MainLine == nil || *l.MainLine) {
			return false
		}
	}
	return true
}

func (n *Network) decide(station string) {
	if !slices.Contains(n.Decide, station) {
		n.Decide = append(n.Decide, station)
	}
}

// shape finds circuits and traverses: a leg that joins two stations already
// joined by legs swum closes a circuit; an end at another opening is a traverse.
func (n *Network) shape(in *route.Input, ws []walk) {
	parent := map[string]string{}
	var root func(s string) string
	root = func(s string) string {
		p, ok := parent[s]
		if !ok || p == s {
			return s
		}
		r := root(p)
		parent[s] = r
		return r
	}
	seen := map[string]bool{}
	for _, w := range ws {
		if seen[w.leg.ID] {
			continue
		}
		seen[w.leg.ID] = true
		a, b := root(w.from), root(w.to)
		if a == b {
			n.Circuit = append(n.Circuit, Spot{What: "circuit closed by leg " + w.leg.ID, Place: w.from + "-" + w.to})
			continue
		}
		parent[a] = b
	}
	if end := ws[len(ws)-1].to; end != in.Route.Start {
		n.Traverse = append(n.Traverse, Spot{What: "traverse " + in.Route.Start + " to " + end, Place: end})
	}
}
