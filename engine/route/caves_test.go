package route

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastlight/engine/gas"
)

// caves draws small caves with a plan on them. Everything is on a grid coarse
// enough that places can be told apart and fine enough that nothing ties by
// construction.
type caves struct {
	stages, verified, holds, lines bool
}

func grid(t *rapid.T, label string, low, high, step float64) float64 {
	return low + step*float64(rapid.IntRange(0, int(math.Round((high-low)/step))).Draw(t, label))
}

func (c caves) draw(t *rapid.T) Input {
	p := policyOfVectors()
	p.StressFactor = grid(t, "stress", 1, 2, 0.25)
	p.DelayMin = grid(t, "delay", 0, 5, 1)
	p.SharingReserveBar = grid(t, "sharing reserve", 0, 20, 10)
	p.PlannedReserveBar = grid(t, "planned reserve", 20, 40, 10)
	p.ShareFraction = Fraction(1 / grid(t, "fraction", 2, 6, 1))
	if rapid.Bool().Draw(t, "pooled") {
		p.ThreeDonor = DonorPooled
	}
	in := Input{
		Water: Water{1.013, 0.1}, GasModel: gas.Ideal, Policy: p,
		Speeds: Speeds{grid(t, "swim", 12, 18, 1), grid(t, "contingency", 9, 15, 1)},
	}
	n := rapid.IntRange(3, 6).Draw(t, "stations")
	for i := range n {
		s := Station{Name: fmt.Sprint("s", i), DepthM: grid(t, "depth", 3, 40, 0.5)}
		if i == 0 {
			s.DepthM, s.Opening = grid(t, "opening depth", 0, 6, 1), true
		}
		in.Stations = append(in.Stations, s)
	}
	in.Stations[n-1].Opening = rapid.Bool().Draw(t, "second opening")
	join := func(a, b int) {
		l := Leg{
			ID: fmt.Sprint("l", len(in.Legs)), From: in.Stations[a].Name, To: in.Stations[b].Name, Lined: true,
			FlowMMin: grid(t, "flow", -3, 3, 0.5),
		}
		deep := math.Abs(in.Stations[a].DepthM - in.Stations[b].DepthM)
		l.LengthM = deep + grid(t, "length", 20, 120, 1)
		if rapid.Bool().Draw(t, "depth point") {
			at := grid(t, "at", 0.3, 0.7, 0.1) * l.LengthM
			room := math.Min(at, l.LengthM-at) - deep
			if room > 1 {
				between := (in.Stations[a].DepthM + in.Stations[b].DepthM) / 2
				l.DepthPoints = []DepthPoint{{at, math.Max(1, between+math.Max(-room, math.Min(room, grid(t, "bend", -15, 15, 1))))}}
			}
		}
		if c.lines && rapid.IntRange(0, 4).Draw(t, "jump") == 0 {
			l.Lined = false
		}
		in.Legs = append(in.Legs, l)
	}
	for i := 1; i < n; i++ {
		join(rapid.IntRange(max(0, i-2), i-1).Draw(t, "parent"), i)
	}
	for range rapid.IntRange(0, 2).Draw(t, "loops") {
		a := rapid.IntRange(0, n-2).Draw(t, "a")
		join(a, rapid.IntRange(a+1, n-1).Draw(t, "b"))
	}
	for i := range rapid.IntRange(2, 3).Draw(t, "divers") {
		in.Team = append(in.Team, Diver{
			Name: fmt.Sprint("d", i), RMVLMin: grid(t, "rmv", 12, 24, 1),
			Mains: []Cylinder{{VolumeL: grid(t, "volume", 14, 30, 1), StartBar: grid(t, "bar", 120, 230, 1)}},
		})
	}
	c.route(t, &in)
	return in
}

// route draws a way in and goes home the same way.
func (c caves) route(t *rapid.T, in *Input) {
	at := in.Stations[0].Name
	in.Route.Start = at
	var way []int
	for range rapid.IntRange(1, 6).Draw(t, "moves in") {
		var joins []int
		for i := range in.Legs {
			if in.Legs[i].From == at || in.Legs[i].To == at {
				joins = append(joins, i)
			}
		}
		i := rapid.SampledFrom(joins).Draw(t, "leg")
		way = append(way, i)
		at = c.step(t, in, i, at)
	}
	if in.Stations[stationIndex(in, at)].Opening && rapid.Bool().Draw(t, "ends there") {
		return
	}
	for _, i := range slices.Backward(way) {
		at = c.step(t, in, i, at)
	}
	if c.stages {
		c.stage(t, in, len(way))
	}
}

func (c caves) step(t *rapid.T, in *Input, i int, at string) string {
	l := &in.Legs[i]
	m := Move{Leg: l.ID, To: l.To}
	if l.To == at {
		m.To = l.From
	}
	if !l.Lined && !slices.ContainsFunc(in.Route.Moves, func(m Move) bool { return m.Leg == l.ID }) {
		m.RunLine = true
		in.Route.LeftDeclared = append(in.Route.LeftDeclared, l.ID)
	}
	if c.holds && rapid.IntRange(0, 2).Draw(t, "hold") == 0 {
		m.HoldMin = grid(t, "minutes", 1, 6, 1)
		m.HoldTask = rapid.SampledFrom([]string{"survey", "pick_up", "photograph", "remove_marker"}).Draw(t, "task")
	}
	if c.verified && len(in.Verified) == 0 && rapid.IntRange(0, 3).Draw(t, "verified") == 0 {
		v := Verification{DaysAgo: 2, MarkerStation: m.To}
		for k := range in.Team {
			v.PassedBy = append(v.PassedBy, in.Team[k].Name)
		}
		for k := range in.Legs {
			if in.Legs[k].Lined {
				v.Legs = append(v.Legs, in.Legs[k].ID)
			}
		}
		in.Verified = append(in.Verified, v)
	}
	in.Route.Moves = append(in.Route.Moves, m)
	return m.To
}

// stage gives the first diver a stage that is left on the way in and picked up
// on the way home, and breathed until the one and from the other on. It is large
// enough not to run dry: which cylinder is breathed then does not change
// inside a leg.
func (c caves) stage(t *rapid.T, in *Input, inward int) {
	id := "stage"
	in.Team[0].Stages = []Cylinder{{ID: id, VolumeL: 40, StartBar: grid(t, "stage bar", 180, 230, 1)}}
	in.Policy.StageFraction = Fraction(1 / grid(t, "stage fraction", 2, 6, 1))
	if rapid.Bool().Draw(t, "none") {
		in.Policy.WaitingGas = WaitingNone
	}
	in.Route.StartActions = []Action{{Action: ActSwitchTo, Diver: "d0", Cylinder: &id}}
	k := rapid.IntRange(0, inward-1).Draw(t, "dropped after")
	drop, pick := &in.Route.Moves[k], &in.Route.Moves[len(in.Route.Moves)-2-k]
	if k == inward-1 {
		return // would be dropped and picked up at the turn
	}
	drop.Actions = append(drop.Actions, Action{Action: ActDrop, Diver: "d0", Cylinder: &id})
	pick.Actions = append(pick.Actions, Action{Action: ActPickUp, Diver: "d0", Cylinder: &id}, Action{Action: ActSwitchTo, Diver: "d0", Cylinder: &id})
	in.Route.LeftDeclared = append(in.Route.LeftDeclared, id)
}

func stationIndex(in *Input, name string) int {
	return slices.IndexFunc(in.Stations, func(s Station) bool { return s.Name == name })
}

func legIndex(in *Input, id string) int {
	return slices.IndexFunc(in.Legs, func(l Leg) bool { return l.ID == id })
}

// clone copies what the tests change.
func clone(in Input) Input {
	in.Stations = slices.Clone(in.Stations)
	in.Legs = slices.Clone(in.Legs)
	in.Team = slices.Clone(in.Team)
	for i := range in.Team {
		in.Team[i].Mains = slices.Clone(in.Team[i].Mains)
		in.Team[i].Stages = slices.Clone(in.Team[i].Stages)
	}
	in.Route.Moves = slices.Clone(in.Route.Moves)
	for i := range in.Route.Moves {
		in.Route.Moves[i].Actions = slices.Clone(in.Route.Moves[i].Actions)
	}
	in.Route.LeftDeclared = slices.Clone(in.Route.LeftDeclared)
	in.Verified = slices.Clone(in.Verified)
	return in
}

// split puts stations on a leg at the given metres from its From, in order, and
// makes every move over it so many moves. Lines and verifications go with it.
func split(in Input, id string, at []float64) Input {
	out := clone(in)
	n := legIndex(&in, id)
	l := in.Legs[n]
	names, pieces := []string{l.From}, []Leg{}
	for i, metres := range append(slices.Clone(at), l.LengthM) {
		from := 0.0
		if i > 0 {
			from = at[i-1]
		}
		p := l
		p.ID, p.From, p.LengthM = fmt.Sprintf("%s.%d", id, i), names[i], metres-from
		p.DepthPoints = nil
		for _, d := range l.DepthPoints {
			if d.AtM > from+1e-9 && d.AtM < metres-1e-9 {
				p.DepthPoints = append(p.DepthPoints, DepthPoint{d.AtM - from, d.DepthM})
			}
		}
		p.To = l.To
		if i < len(at) {
			p.To = fmt.Sprintf("%s@%d", id, i)
			out.Stations = append(out.Stations, Station{Name: p.To, DepthM: depthAt(&in, &l, metres)})
		}
		names = append(names, p.To)
		pieces = append(pieces, p)
	}
	out.Legs = append(out.Legs, pieces...)
	out.Legs = slices.Delete(out.Legs, n, n+1)
	out.Route.Moves = nil
	for _, m := range in.Route.Moves {
		if m.Leg != id {
			out.Route.Moves = append(out.Route.Moves, m)
			continue
		}
		for i := range pieces {
			k := i
			if m.To == l.From {
				k = len(pieces) - 1 - i
			}
			x := Move{Leg: pieces[k].ID, To: pieces[k].To, SwimMMin: m.SwimMMin, RunLine: m.RunLine, RecoverLine: m.RecoverLine}
			if m.To == l.From {
				x.To = pieces[k].From
			}
			if i == len(pieces)-1 {
				x.Actions, x.HoldMin, x.HoldTask = m.Actions, m.HoldMin, m.HoldTask
			}
			out.Route.Moves = append(out.Route.Moves, x)
		}
	}
	for i := range pieces {
		out.Route.LeftDeclared = append(out.Route.LeftDeclared, pieces[i].ID)
		for k := range out.Verified {
			out.Verified[k].Legs = append(slices.Clone(out.Verified[k].Legs), pieces[i].ID)
			if !slices.Contains(in.Verified[k].Legs, id) {
				out.Verified[k].Legs = in.Verified[k].Legs
			}
		}
	}
	return out
}

func depthAt(in *Input, l *Leg, metres float64) float64 {
	at, depth := 0.0, in.Stations[stationIndex(in, l.From)].DepthM
	for _, d := range append(slices.Clone(l.DepthPoints), DepthPoint{l.LengthM, in.Stations[stationIndex(in, l.To)].DepthM}) {
		if metres <= d.AtM {
			return depth + (d.DepthM-depth)*(metres-at)/(d.AtM-at)
		}
		at, depth = d.AtM, d.DepthM
	}
	return depth
}

func must(t *rapid.T, in Input) Result {
	t.Helper()
	r, problems := Evaluate(in)
	if len(problems) > 0 {
		t.Fatalf("problems: %v", problems)
	}
	if len(r.Refused) > 0 {
		t.Fatalf("refused: %v", r.Refused)
	}
	return r
}

// D16: a walk in steps of about a metre (a station on every metre of every leg)
// finds nothing lower than the closed forms, and the same lowest.
func TestStepsFindNothingLower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := caves{stages: rapid.Bool().Draw(t, "stages"), verified: true, holds: true, lines: true}.draw(t)
		slower(t, &in)
		r := must(t, in)
		fine := in
		for _, l := range in.Legs {
			used := slices.ContainsFunc(in.Route.Moves, func(m Move) bool { return m.Leg == l.ID })
			if !used || len(fine.Route.Moves) > 700 {
				continue
			}
			var at []float64
			step := math.Max(1, l.LengthM/60)
			for x := step; x < l.LengthM-step/2; x += step {
				at = append(at, x)
			}
			fine = split(fine, l.ID, at)
		}
		if len(fine.Route.Moves) > MaxMoves {
			t.Skip("too long")
		}
		f := must(t, fine)
		same(t, "worst sharing", f.WorstSharing.MarginL, r.WorstSharing.MarginL, 1e-6)
		if f.WorstSharingAtLegEnds.MarginL < r.WorstSharing.MarginL-1e-6 {
			t.Fatalf("a step finds %v, the closed form %v", f.WorstSharingAtLegEnds.MarginL, r.WorstSharing.MarginL)
		}
		sameJudgement(t, f, r)
	})
}

func same(t *rapid.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within*(1+math.Abs(want))) {
		t.Fatalf("%s: %v against %v", what, got, want)
	}
}

// sameJudgement wants the same verdict, margins and places, told by time.
func sameJudgement(t *rapid.T, a, b Result) {
	t.Helper()
	same(t, "reach", a.Reach.Place.ElapsedMin, b.Reach.Place.ElapsedMin, 1e-6)
	same(t, "commitment", a.Commitment.ElapsedMin, b.Commitment.ElapsedMin, 1e-6)
	same(t, "penetration", a.Summary.PenetrationM, b.Summary.PenetrationM, 1e-6)
	for i := range a.Divers {
		same(t, "turn", a.Divers[i].TurnBar, b.Divers[i].TurnBar, 1e-6)
		same(t, "two out", a.Divers[i].TwoOutBar, b.Divers[i].TwoOutBar, 1e-6)
		same(t, "penetration gas", a.Divers[i].PenetrationL, b.Divers[i].PenetrationL, 1e-6)
		same(t, "surface", a.Divers[i].SurfaceBar, b.Divers[i].SurfaceBar, 1e-6)
	}
	if a.Verdict != b.Verdict || a.Reach.WholeRoute != b.Reach.WholeRoute {
		t.Fatalf("verdict %s %v against %s %v", a.Verdict, a.Reach, b.Verdict, b.Reach)
	}
	for i := range a.Checks {
		if x, y := a.Checks[i], b.Checks[i]; x.Passed != y.Passed && x.Name != CheckSharingLegEnds || x.Applies != y.Applies {
			t.Fatalf("check %+v against %+v", x, y)
		} else if x.Name != CheckSharingLegEnds && x.Name != CheckPlannedExit {
			same(t, x.Name, x.Margin, y.Margin, 1e-6)
		}
	}
}

// slower draws what makes a way out dear or hard: slow exits, pull-and-glide,
// restrictions, independent cylinders, real gas.
func slower(t *rapid.T, in *Input) {
	in.Policy.SlowExitFactor = grid(t, "slow exit", 1, 2, 0.25)
	in.Policy.SlowExitMinorRestrict = 2
	if rapid.Bool().Draw(t, "real gas") {
		in.GasModel = gas.Real
	}
	if rapid.Bool().Draw(t, "pull and glide") {
		pull := grid(t, "pull", 6, 12, 1)
		in.Policy.PullAndGlideMMin, in.Policy.PullAndGlideGasFactor = &pull, 1.25
	}
	if rapid.Bool().Draw(t, "independent") {
		m := in.Team[0].Mains[0]
		m.ID, m.VolumeL = "left", m.VolumeL/2
		n := m
		n.ID, n.VolumeL = "right", n.VolumeL+1
		in.Team[0].Mains = []Cylinder{m, n}
	}
	for i := range in.Legs {
		in.Legs[i].Restriction = rapid.SampledFrom([]string{"none", "none", "none", "minor", "major"}).Draw(t, "restriction")
		in.Legs[i].SlowExitFactor = grid(t, "bottom", 1, 1.5, 0.25)
	}
}
