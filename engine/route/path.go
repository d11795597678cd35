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

// Path is the plan as the decompression along the passage needs it. It is made
// once by Trace; its methods only read.
type Path struct {
	Pieces []Piece // descent, in, home, last ascent; a hold piece stands for every move, also with 0 minutes
	plan   *plan
}
