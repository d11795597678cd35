// Package dive answers a whole plan with its decompression: the schedule along
// the passage, what a way out from any place of it takes with its stops (method
// handbook, D40 to D55), whether the gas suffices for that (D15 to D39 with stops
// included), and what every failure of the route method's section 6 comes to.
//
// A dive without stops or changes of gas is the route model's alone; this package
// then adds the schedule, which has none, and the failures. Metres, minutes, bar, litres at 1 bar.
package dive

import (
	"errors"
	"fmt"

	"lastlight/engine/deco"
	"lastlight/engine/oxygen"
	"lastlight/engine/passage"
	"lastlight/engine/route"
	"lastlight/engine/tissue"
)

// Question is a dive to be answered.
type Question struct {
	Route       route.Input   // as route.Evaluate judged it
	Laid        *route.Laid   // of Route
	Result      *route.Result // what it said, not refused
	Settings    deco.Settings
	Tissues     []tissue.State   // at entry, per diver in team order
	Carried     []oxygen.Carried // account of earlier dives at entry, per diver
	TurnMove    int              // move at whose end the team turns; 0: where the way home begins (D22)
	SwitchDepth passage.SwitchDepth
	DeeperM     float64 // of the variants
	LongerMin   float64

	NoStopShare float64 // share of the no-stop limit to stay within; 0: none asked for

	DelayMin    float64   // at the far point (section 6)
	TouchFactor float64   // of the swim speed, by touch contact
	TurnedThere bool      // the team turns at the turn at the latest, wherever the route goes on to: at entry
	SwimOutMMin float64   // way out without scooters; 0: nobody rides one
	WorstLMin   []float64 // per diver, recorded worst consumption; 0: not recorded

	Stop func(spent int) bool // as deco.Planner asks it: the dive is given up from its first yes on (TooMuch); nil: never
}

// spacing is how many minutes of travel lie between two places at which the gas
// is checked, at most; finest is down to how many the search for a turn, or for a
// place between two that its bound leaves open, goes.
const (
	spacing = 2
	finest  = 0.1
)

// Work is a dive being answered. It is not for use by two goroutines at once.
type Work struct {
	q       *Question
	route   *route.Laid
	counted bool // the gas of descent and ascent in open water counts (D3)
	planner *deco.Planner
	team    *deco.Team
	fewer   [deco.MaxDivers]*deco.Team // see few
	normal  *network
	laid    *deco.Path
	unheld  []route.Piece // see laidPieces
	begin   deco.Moment
	result  deco.Result // as planned
	flags   []deco.Flag // of it
	drift   []deco.Excess

	supplies []route.Supply
	first    []int    // per cylinder of the team: its first supply
	named    [][]int8 // per piece and diver: which main the plan breathes, -1: all of them
	factors  []float64
	rates    []rate
	node     []int // of the end of each move; node[0] is the start
	swims    []int // first piece of each move
	waiting  [][]string

	places     []*place
	commitment *place
	begins     []begin         // of each stretch of the schedule as planned
	endMin     float64         // of the last
	end        []float64       // litres per supply at the surface
	out, again deco.Result     // memory of ways out, and of places looked at later
	atReach    []*place        // the turn at the latest with what is tested there, which counts for the turn too (D25)
	two        []twoOut        // per diver
	unhelped   sharingAt       // without the flow that helps
	farShut    []route.FarSide // D37 with its stops
	rarer      []*place        // looked at for the rarer cases, under networks of their own
	bare       []deco.Node     // memory of cheapest
	pieces     []route.Piece   // memory of lay
	laidLast   *way            // whose pieces they are
	path       led             // of the way out asked for last
	latest     *way
	lost       []int           // memory of walkOut
	told       []route.Stretch // memory of walked

	failures  []failure
	permitted []float64 // per diver, from the mains (D17, D23)
	allowed   []float64 // per supply: stages
	worst     []worst   // per failure
	nowhere   *place    // first place with no known way out
	major     *place    // first place whose way out holds a major restriction
	reach     *place    // turn at the latest; nil: the whole route
	binds     []route.Bind
	beyond    *place   // the place after reach that does not pass
	between   []*place // looked at between two of places, to join them
	before    *place   // the last place that passed before reach was found between two

	margins  margins // those that stay
	searched margins // those of a search

	notes *[]entry // where terms of margins are written down; nil: nowhere
	terms []entry  // memory of notes
}

type rate struct{ planned, after float64 }

// network is the way out of every place under one set of speeds and water.
type network struct{ path *route.Path }

// Open lays the dive and schedules it. The error says why it cannot be computed;
// it names no place, as the route model has passed the same input.
func Open(q *Question) (*Work, error) {
	// The body ascends from the opening even where a hand example's gas does not (D3).
	counted := q.Route.Policy.CountOpenWaterAscent
	q.Route.Policy.CountOpenWaterAscent = true
	laid, problems := q.Laid.AscentCounted()
	if len(problems) > 0 {
		return nil, fmt.Errorf("the route cannot be laid: %v", problems)
	}
	path := laid.Path()
	if path == nil {
		return nil, errors.New("the route is refused")
	}
	w := &Work{q: q, counted: counted, route: laid, normal: &network{path}, supplies: path.Supplies()}
	var err error
	if w.planner, err = deco.NewPlanner(q.Settings); err != nil {
		return nil, err
	}
	w.planner.Most, w.planner.Stop = mostWork, q.Stop
	if w.team, err = passage.TeamOf(q.Route.Team, q.SwitchDepth); err != nil {
		return nil, err
	}
	if len(q.Tissues) != len(w.team.Divers) || len(q.Carried) != len(w.team.Divers) {
		return nil, fmt.Errorf("tissues of %d and oxygen of %d divers for a team of %d", len(q.Tissues), len(q.Carried), len(w.team.Divers))
	}
	if w.laid, err = passage.FromPieces(path.Pieces, w.team, w.turnMove(), false); err != nil {
		return nil, err
	}
	w.index()
	w.begin = deco.Begin(w.team, q.Tissues)
	return w, w.schedule()
}

// turnMove is the move at whose end the team turns (D47).
func (w *Work) turnMove() int {
	if w.q.TurnMove > 0 {
		return w.q.TurnMove
	}
	p := w.normal.path
	at := p.Place(p.Commitment())
	if _, swims := p.Metres(p.Commitment()); !swims && !at.InHold {
		return 0 // the team goes nowhere
	}
	return at.Move
}

// index finds supplies, moves and pieces.
func (w *Work) index() {
	for range w.supplies {
		w.first = append(w.first, 0)
	}
	w.first = w.first[:len(w.team.Cylinders)]
	k := 0
	for d := range w.team.Divers {
		w.first[w.team.Divers[d].Back] = k
		for k < len(w.supplies) && w.supplies[k].Diver == d && w.supplies[k].Main {
			k++
		}
		for _, c := range w.team.Divers[d].Stages {
			w.first[c] = k
			k++
		}
		planned, after := w.normal.path.Rates(d)
		w.rates = append(w.rates, rate{planned, after})
	}
	moves := len(w.q.Route.Route.Moves)
	w.node, w.swims = make([]int, moves+1), make([]int, moves+1)
	n := 0 // pieces of the laid path so far
	for i := range w.normal.path.Pieces {
		x := &w.normal.path.Pieces[i]
		if x.Kind == route.PieceHold {
			w.node[x.Move] = n
			continue
		}
		if x.Kind == route.PieceSwim && x.MetresPast == 0 {
			w.swims[x.Move] = n
			if x.Move == 1 {
				w.node[0] = n
			}
		}
		n++
		w.factors = append(w.factors, w.gasFactor(x))
		w.named = append(w.named, w.mainsNamed(x))
	}
	w.waiting = w.whereWaiting()
}

// gasFactor is what consumption is multiplied by on a piece.
func (w *Work) gasFactor(x *route.Piece) float64 {
	if !w.counted && (x.Kind == route.PieceDescent || x.Kind == route.PieceAscent) {
		return 0
	}
	return x.GasFactor
}

// mainsNamed tells which of several mains each diver breathes on a piece.
func (w *Work) mainsNamed(x *route.Piece) []int8 {
	list := make([]int8, len(w.team.Divers))
	for d := range list {
		list[d] = -1
		if d < len(x.Breathing) && x.Breathing[d] != "" {
			first := w.first[w.team.Divers[d].Back]
			for m := 0; w.isMain(first+m, d); m++ {
				if w.supplies[first+m].ID == x.Breathing[d] {
					list[d] = int8(m)
				}
			}
		}
	}
	return list
}

func (w *Work) isMain(k, d int) bool {
	return k < len(w.supplies) && w.supplies[k].Diver == d && w.supplies[k].Main
}

// whereWaiting lists, after the actions at the start and at the end of every
// move, the station where each cylinder of the team waits; "" with its diver.
func (w *Work) whereWaiting() [][]string {
	now := make([]string, len(w.team.Cylinders))
	act := func(actions []route.Action, station string) []string {
		for i := range actions {
			a := &actions[i]
			if a.Cylinder == nil {
				continue
			}
			for d := range w.team.Divers {
				for _, c := range w.team.Divers[d].Stages {
					if w.team.Divers[d].Name != a.Diver || w.team.Cylinders[c].ID != *a.Cylinder {
						continue
					}
					switch a.Action {
					case route.ActDrop:
						now[c] = station
					case route.ActPickUp:
						now[c] = ""
					}
				}
			}
		}
		return append([]string(nil), now...)
	}
	r := &w.q.Route.Route
	list := [][]string{act(r.StartActions, r.Start)}
	for i := range r.Moves {
		list = append(list, act(r.Moves[i].Actions, r.Moves[i].To))
	}
	return list
}

// schedule makes the schedule of the dive as planned with the team's state at
// every place where the gas is checked.
func (w *Work) schedule() error {
	spots := w.normal.path.Spots(spacing)
	commitment := w.normal.path.Commitment()
	probes := make([]deco.Probe, 0, len(spots)+1)
	for i := 0; i < len(spots); i++ {
		if i > 0 && spots[i-1].Before(commitment) && commitment.Before(spots[i]) {
			spots = append(spots[:i], append([]route.Spot{commitment}, spots[i:]...)...)
		}
		w.places = append(w.places, w.placeOf(spots[i]))
		probes = append(probes, w.places[i].probe)
	}
	if err := w.planner.Schedule(w.team, w.laid, &w.begin, probes, &w.result); err != nil {
		return err
	}
	w.flags, w.drift = w.planner.Flags(w.laid, &w.result), w.planner.Drift(&w.begin, &w.result)
	if len(w.result.Moments) < len(w.places) {
		w.places = w.places[:len(w.result.Moments)] // no schedule beyond (D53)
	}
	for i, p := range w.places {
		p.moment, p.told = &w.result.Moments[i], true
		if !p.spot.Before(commitment) && w.commitment == nil {
			w.commitment = p
		}
	}
	if w.commitment == nil { // the schedule breaks off before: nothing beyond is known
		w.commitment = w.places[len(w.places)-1]
	}
	w.breatheAll()
	for _, p := range w.places {
		w.contents(p)
	}
	w.failures = w.everyFailure()
	for d := range w.q.Result.Divers {
		w.permitted = append(w.permitted, w.q.Result.Divers[d].PermittedL)
		for range w.q.Result.Divers[d].Mains {
			w.allowed = append(w.allowed, 0)
		}
		for _, s := range w.q.Result.Divers[d].Stages {
			w.allowed = append(w.allowed, s.PermittedL)
		}
	}
	return nil
}

// Planned is the schedule of the dive as planned.
func (w *Work) Planned() *deco.Result { return &w.result }
