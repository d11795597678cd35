package route

// Kinds of Piece.
const (
	PieceDescent = "descent" // from the surface to the first station
	PieceSwim    = "swim"
	PieceHold    = "hold"
	PieceAscent  = "ascent" // from an opening, straight up
)

// Piece is one straight stretch of a dive, or one hold, in time order. Depths
// are metres, times minutes.
type Piece struct {
	Kind        string   `json:"kind"`
	Move        int      `json:"move"`        // from 1; 0 on the descent and on ways out
	Leg         string   `json:"leg"`         // empty on descent, ascent and holds
	Station     string   `json:"station"`     // last left, or where the team holds
	Towards     string   `json:"towards"`     // next station of a swim
	MetresPast  float64  `json:"metres_past"` // past Station where the piece begins
	Metres      float64  `json:"metres"`
	FromDepthM  float64  `json:"from_depth_m"`
	ToDepthM    float64  `json:"to_depth_m"`
	Minutes     float64  `json:"minutes"`
	GasFactor   float64  `json:"gas_factor"` // on consumption: pull-and-glide
	FlowMMin    float64  `json:"flow_m_min"` // along the travel
	Restriction string   `json:"restriction"`
	Task        string   `json:"task"`      // of a hold
	Actions     []Action `json:"actions"`   // done where the piece begins: before a hold, or before the first swim
	Breathing   []string `json:"breathing"` // per diver in team order: cylinder id, "" = the mains; nil on ways out
}

// Path is the plan as the decompression along the passage needs it; its methods
// only read.
type Path struct {
	Pieces []Piece // descent, in, home, last ascent; a hold piece stands for every move, also with 0 minutes
	walk   *walk
}

// Trace gives the planned path. Refusals and problems are those of Evaluate;
// with any of them there is no path.
func Trace(in Input) (*Path, []Refusal, []Problem) {
	l, problems := Lay(in)
	if l == nil {
		return nil, nil, problems
	}
	return l.Path(), l.refused, nil
}

func (p *Path) trace() {
	w := p.walk
	n := len(w.steps) + 2 // holds, descent and ascent
	for i := range w.moves {
		n += len(w.legs[w.moves[i].leg].travel[0].pieces)
	}
	p.Pieces = make([]Piece, 0, n)
	start := &w.nodes[w.start]
	if w.startMin > 0 {
		p.Pieces = append(p.Pieces, Piece{
			Kind: PieceDescent, Towards: start.name, Metres: start.depth, ToDepthM: start.depth,
			Minutes: w.startMin, GasFactor: 1, Breathing: p.breathing(w.segs[0].gear), Actions: w.in.Route.StartActions,
		})
	}
	for i := range w.steps {
		s := &w.steps[i]
		m := &w.moves[i]
		l := &w.legs[m.leg]
		breathing := p.breathing(w.segs[s.first].gear)
		for k := range l.travel[m.dir].pieces {
			x := &l.travel[m.dir].pieces[k]
			p.Pieces = append(p.Pieces, Piece{
				Kind: PieceSwim, Move: i + 1, Leg: l.in.ID, Station: w.nodes[s.from].name, Towards: w.nodes[s.to].name,
				MetresPast: x.at, Metres: x.length, FromDepthM: x.depth, ToDepthM: x.end,
				Minutes: float64(w.minutesPerMetre(x, m.ground) * x.length), GasFactor: m.factor, FlowMMin: l.flow(m.dir),
				Restriction: l.in.Restriction, Breathing: breathing,
			})
		}
		if i == 0 && w.startMin == 0 {
			p.Pieces[0].Actions = w.in.Route.StartActions
		}
		to := &w.nodes[s.to]
		in := &w.in.Route.Moves[i]
		p.Pieces = append(p.Pieces, Piece{
			Kind: PieceHold, Move: i + 1, Station: to.name, FromDepthM: to.depth, ToDepthM: to.depth,
			Minutes: m.hold, GasFactor: 1, Task: in.HoldTask, Actions: in.Actions, Breathing: p.breathing(w.segs[s.hold].gear),
		})
	}
	end := &w.nodes[w.steps[len(w.steps)-1].to]
	if w.endMin > 0 {
		p.Pieces = append(p.Pieces, p.ascent(end, p.breathing(w.gear)))
	}
}

func (p *Path) ascent(from *node, breathing []string) Piece {
	min, _ := p.walk.straight(from.depth, p.walk.in.Policy.AscentMMin)
	return Piece{Kind: PieceAscent, Station: from.name, Metres: from.depth, FromDepthM: from.depth, Minutes: min, GasFactor: 1, Breathing: breathing}
}

func (p *Path) breathing(g *gear) []string {
	list := make([]string, len(g.inUse))
	for d, k := range g.inUse {
		if k != mainsInUse {
			list[d] = p.walk.cyls[k].id
		}
	}
	return list
}

// WayOut is the cheapest known way out of a place of the plan (D15), at
// contingency speed and without holds: swims, then the ascent from an opening.
// The place needs Move and, inside a leg, MetresPast; at a station Arriving or
// InHold tell which value of D14 is meant. False where there is no such place or
// no known way out.
func (p *Path) WayOut(at Place) ([]Piece, bool) {
	s, ok := p.Find(at)
	if !ok {
		return nil, false
	}
	return p.WayFrom(nil, s, 0)
}

// over adds a leg from so many metres on.
func (p *Path) over(out []Piece, leg, dir int, from float64) []Piece {
	return p.upTo(out, leg, dir, from, p.walk.legs[leg].in.LengthM)
}

// upTo adds a leg from so many metres on up to others.
func (p *Path) upTo(out []Piece, leg, dir int, from, to float64) []Piece {
	w := p.walk
	l := &w.legs[leg]
	t := &l.travel[dir]
	for k := range t.pieces {
		x := &t.pieces[k]
		if x.at+x.length <= from+1e-12 {
			continue
		}
		if x.at >= to-1e-12 {
			break
		}
		skip, length, end := max(0, from-x.at), x.length, x.end
		if x.at+x.length > to+1e-12 {
			length = to - x.at
			end = x.depth + float64((x.end-x.depth)*length)/x.length
		}
		out = append(out, Piece{
			Kind: PieceSwim, Leg: l.in.ID, Station: w.nodes[l.ends[dir]].name, Towards: w.nodes[l.ends[1-dir]].name,
			MetresPast: x.at + skip, Metres: length - skip,
			FromDepthM: x.depth + float64((x.end-x.depth)*skip)/x.length, ToDepthM: end,
			Minutes: float64(x.tc * (length - skip)), GasFactor: t.factor, FlowMMin: l.flow(dir), Restriction: l.in.Restriction,
		})
	}
	return out
}
