package route

import "lastlight/engine/gas"

// plan is the compiled input: names resolved to indices of what the route
// touches, so that the rest of the survey costs nothing more.
type plan struct {
	in     *Input
	divers []diver
	cyls   []cylinder // all cylinders of the team, mains of a diver before the stages
	nodes  []node
	legs   []leg
	moves  []move
	start  int // node
	cases  []lossCase

	names  names
	nodeOf map[int]int // index in the survey → here
	legOf  map[int]int

	zeroHelpful bool // contingency flows along the travel count as 0 (4.6)
	bare        bool // only the ways out are asked for: nothing is judged
}

type diver struct {
	name    string
	rmv     float64
	after   float64 // consumption after a failure, D36
	mains   []int   // cylinders
	stages  []int
	all     []int     // mains, then stages
	share   []float64 // of each main's volume in all
	usable  float64   // U, D17
	atIdeal float64   // the same by pressure × volume
}

type cylinder struct {
	id      string
	diver   int
	main    bool
	deco    bool
	volume  float64
	filling gas.Filling
	start   float64 // litres
	bar     float64 // gauge at the start
	sharing float64 // litres of the sharing reserve
	planned float64 // litres of the planned reserve
}

func (c *cylinder) gauge(litres float64) float64 { return c.filling.Gauge(c.volume, litres) }

type node struct {
	name    string
	depth   float64
	opening bool // and no air bell
}

type leg struct {
	in       *Leg
	ends     [2]int // nodes: from, to
	open     bool   // open water, D9
	lined    bool   // permanently, or left by this team (D35)
	jump     bool   // not permanently lined
	major    bool
	travel   [2]travel // from → to, to → from
	pullable float64   // pull-and-glide speed, 0 = not declared
}

// travel is a leg in one direction.
type travel struct {
	pieces []piece
	passes bool    // contingency ground speed above 0
	ground float64 // contingency ground speed
	factor float64 // on gas, for pull-and-glide
	barMin float64 // contingency, the whole leg
	min    float64
}

// piece is a straight stretch in the direction of travel.
type piece struct {
	at, length float64 // metres from where the travel begins
	depth, end float64 // metres
	p, g       float64 // bar at its beginning, bar per metre
	tc         float64 // contingency minutes per metre
	cost       float64 // tc × gas factor
	barMin     float64 // contingency, from the beginning of the leg to that of the piece
	min        float64
}

// integral is bar·metres from the beginning of the piece to x.
func (p *piece) integral() quad { return quad{0, p.p, p.g / 2} }

type move struct {
	leg, dir int
	to       int
	swim     float64
	ground   float64
	factor   float64
	run      bool
	recover  bool
	hold     float64
	working  bool // D22
	actions  []act
	index    int // in the input
}

type act struct {
	kind     string
	diver    int
	cylinder int // -1 = the mains
	marker   string
}

// lossCase is one failure that is tested at every place: consumers breathe,
// after the failure, what the donors have left.
type lossCase struct {
	kind      lossKind
	donors    []int // divers
	consumers []int
	c         float64 // Σ consumption after the failure, L/min
	home      float64 // what the donors breathe on a way home without a failure, L/min (D20)
	lost      int     // cylinder, for lostWaiting and lostMain
	victim    int     // diver, for the sharing cases
}

type lossKind int

const (
	sharePair lossKind = iota
	sharePooled
	lostWaiting
	lostMain
)

func (k lossKind) sharing() bool { return k <= sharePooled }
