package route

import (
	"math"
	"slices"
)

// maxPieces bounds the straight pieces of passage that one plan swims.
const maxPieces = 5000

// Laid is a plan whose input was checked and whose dive was laid over the line
// once: what the several judgements of one plan share. It is not for use by two
// goroutines at once.
type Laid struct {
	in      Input
	names   names
	moves   []resolved
	zones   []Zone
	refused []Refusal
	walk    *walk // nil: refused
	still   *walk // without the flow that helps; nil: not asked for yet
}

// Lay checks an input and lays its dive. The problems are those of Evaluate; a
// plan that is refused is laid all the same, with no dive. The Input is only read,
// and must not be changed while the Laid is used.
func Lay(in Input) (*Laid, []Problem) {
	l := &Laid{in: in}
	var problems []Problem
	if l.names, problems = l.in.check(); len(problems) > 0 {
		return nil, problems
	}
	r := refuse(&l.in, l.names)
	l.moves, l.refused = r.moves, r.list
	used := make([]int, 0, len(r.moves))
	for _, m := range r.moves {
		if m.leg >= 0 && !slices.Contains(used, m.leg) {
			used = append(used, m.leg)
		}
	}
	l.zones = zones(&l.in, l.names, used)
	if len(l.refused) > 0 {
		return l, nil
	}
	pieces := 0
	for _, m := range r.moves {
		pieces += len(in.Legs[m.leg].DepthPoints) + 1
	}
	if pieces > maxPieces {
		return nil, []Problem{{"route.moves", "more than 5000 straight pieces of passage in one plan"}}
	}
	if l.walk, problems = l.swim(&l.in, false, false); len(problems) > 0 {
		return nil, problems
	}
	return l, nil
}

// swim compiles and walks the dive under an input that differs from the one
// checked in what refuses nothing; a bare dive is not judged.
func (l *Laid) swim(in *Input, zeroHelpful, bare bool) (*walk, []Problem) {
	p, problems := compile(in, l.names, l.moves, zeroHelpful)
	if len(problems) > 0 {
		return nil, problems
	}
	p.bare = bare
	w := newWalk(p)
	if !w.run() {
		return nil, []Problem{{"route.moves", "the plan takes longer than 48 h"}}
	}
	w.flows()
	return w, nil
}

// RuntimeMin is how long the dive takes without stops, minutes; 0 where it is refused.
func (l *Laid) RuntimeMin() float64 {
	if l.walk == nil {
		return 0
	}
	return l.walk.elapsed + l.walk.endMin
}

// Judge is Evaluate under a policy, without what ShareAtStations adds. One that
// differs from the policy laid under in more than how much of the gas may be used has
// everything done anew.
func (l *Laid) Judge(pol Policy) (Result, []Problem) {
	same := pol
	same.ShareFraction, same.SiphonRow, same.SiphonFraction = l.in.Policy.ShareFraction, l.in.Policy.SiphonRow, l.in.Policy.SiphonFraction
	in := l.in
	in.Policy = pol
	if same != l.in.Policy {
		return Evaluate(in)
	}
	var p problems
	if pol.check(&p); len(p.list) > 0 {
		return Result{}, p.list
	}
	res := Result{Zones: slices.Clone(l.zones)}
	if l.walk == nil {
		res.Verdict, res.Refused = Refused, slices.Clone(l.refused)
		return res, nil
	}
	w, under := *l.walk, *l.walk.plan
	w.plan, under.in = &under, &in
	j := newJudge(&w)
	res.fill(j)
	if j.helpfulFlow {
		res.withoutHelp(j, l.withoutHelp())
	}
	for i := range in.Loops {
		res.Closability = append(res.Closability, j.closability(&in.Loops[i], true))
	}
	for i := range in.Traverses {
		res.Closability = append(res.Closability, j.closability(&in.Traverses[i], false))
	}
	res.cautions(j)
	res.Conclude()
	return res, nil
}

func (l *Laid) withoutHelp() *walk {
	if l.still == nil {
		l.still, _ = l.swim(&l.in, true, false)
	}
	return l.still
}

// Path is the planned path; nil where the plan is refused.
func (l *Laid) Path() *Path {
	if l.walk == nil {
		return nil
	}
	p := &Path{walk: l.walk}
	p.trace()
	return p
}

// AscentCounted is the same plan with the ascent from the opening counted (D3).
func (l *Laid) AscentCounted() (*Laid, []Problem) {
	if l.in.Policy.CountOpenWaterAscent || l.walk == nil {
		return l, nil
	}
	x := *l
	x.in.Policy.CountOpenWaterAscent, x.still = true, nil
	var problems []Problem
	if x.walk, problems = x.swim(&x.in, false, false); len(problems) > 0 {
		return nil, problems
	}
	return &x, nil
}

// Slower has the ways out swum no faster than so many m/min, and no Pieces; nil
// where that is no speed or the plan is refused.
func (l *Laid) Slower(swim float64) *Path {
	in := l.in
	in.Speeds.ContingencyMMin = math.Min(in.Speeds.ContingencyMMin, swim)
	if l.walk == nil || !(in.Speeds.ContingencyMMin >= slowestMMin && in.Speeds.ContingencyMMin <= fastestMMin) {
		return nil
	}
	if w, problems := l.swim(&in, false, true); len(problems) == 0 {
		return &Path{walk: w}
	}
	return nil
}

// WithoutHelp has no way out swum with the flow: what flows along the travel counts
// as 0 (4.6). It has no Pieces; nil where the plan is refused.
func (l *Laid) WithoutHelp() *Path {
	if l.walk == nil {
		return nil
	}
	if w := l.withoutHelp(); w != nil {
		return &Path{walk: w}
	}
	return nil
}
