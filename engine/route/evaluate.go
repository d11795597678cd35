package route

import "slices"

// maxPieces bounds the straight pieces of passage that one plan swims.
const maxPieces = 5000

// Evaluate judges one plan. Every input gives either a Result or problems with
// the place of each, never both, never a panic; numbers in the Result are finite.
// The Input is only read.
func Evaluate(in Input) (Result, []Problem) {
	w, res, problems := prepare(&in, false, false)
	if len(problems) > 0 || res.Verdict == Refused {
		return res, problems
	}
	j := newJudge(w)
	res.fill(j)
	if j.helpfulFlow {
		res.withoutHelp(j)
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

// prepare checks, refuses, compiles and walks. keep asks for further ways out than the cheapest.
func prepare(in *Input, keep, zeroHelpful bool) (*walk, Result, []Problem) {
	names, problems := in.check()
	if len(problems) > 0 {
		return nil, Result{}, problems
	}
	var res Result
	r := refuse(in, names)
	used := make([]int, 0, len(r.moves))
	for _, m := range r.moves {
		if m.leg >= 0 && !slices.Contains(used, m.leg) {
			used = append(used, m.leg)
		}
	}
	res.Zones = zones(in, names, used)
	if len(r.list) > 0 {
		res.Verdict, res.Refused = Refused, r.list
		return nil, res, nil
	}
	pieces := 0
	for _, m := range r.moves {
		pieces += len(in.Legs[m.leg].DepthPoints) + 1
	}
	if pieces > maxPieces {
		return nil, Result{}, []Problem{{"route.moves", "more than 5000 straight pieces of passage in one plan"}}
	}
	p, problems := compile(in, names, r.moves, zeroHelpful)
	if len(problems) > 0 {
		return nil, Result{}, problems
	}
	w := newWalk(p)
	w.keep = keep
	if !w.run() {
		return nil, Result{}, []Problem{{"route.moves", "the plan takes longer than 48 h"}}
	}
	return w, res, nil
}

func (r *Result) fill(j *judge) {
	w := j.walk
	r.Start = Start{w.startMin, w.startBarMin}
	r.Moves = w.times()
	r.End = End{w.elapsed + w.endMin, w.barMin, w.metre}
	r.Commitment = w.place(j.commitment)
	r.Divers = j.gas()
	r.WorstSharing, r.WorstSharingAtLegEnds = w.worstSharing(&j.worst), w.worstSharing(&j.worstEnds)
	r.Reach = Reach{WholeRoute: !j.reached, Place: w.place(j.reach), Binds: j.binds}
	for d := range j.divers {
		for _, k := range j.divers[d].mains {
			r.Reach.GaugeBar = append(r.Reach.GaugeBar, j.gaugeAt(d, k, j.reach))
		}
	}
	r.Siphon = Siphon{
		InflowLegs: j.legNames(j.inflow), FractionUsed: Fraction(j.fraction),
		Applied: j.fraction < float64(j.in.Policy.ShareFraction), UniformFraction: j.uniformFraction(),
	}
	r.Verified = w.relianceResult()
	if w.reliance != nil {
		for d, f := range w.reliance.far {
			r.FarSide = append(r.FarSide, FarSide{w.divers[d].name, w.place(f.at), f.margin})
		}
	}
	r.Summary = j.summary()
	j.checks(r)
	r.Parts = j.parts()
}

// withoutHelp computes the sharing exit with helpful flow set to zero (4.6).
func (r *Result) withoutHelp(j *judge) {
	moves := make([]resolved, len(j.moves))
	for i := range j.moves {
		moves[i] = resolved{j.names.legs[j.legs[j.moves[i].leg].in.ID], j.moves[i].dir}
	}
	p, problems := compile(j.in, j.names, moves, true)
	if len(problems) > 0 {
		return
	}
	w := newWalk(p)
	if !w.run() {
		return
	}
	k := &judge{walk: w}
	stranded := spot{-1, 0}
	for i := range w.segs {
		s := &w.segs[i]
		if s.mode == noWay {
			if stranded.seg < 0 {
				stranded = spot{i, 0}
			}
			continue
		}
		for c := range w.cases {
			if w.cases[c].kind.sharing() {
				x, v := w.margin(c, s).lowest(s.length)
				k.worst.take(c, spot{i, x}, v)
			}
		}
	}
	r.Helpful = w.worstSharing(&k.worst)
	if k.worst.found {
		r.Parts.Helpful = k.placeParts(k.worst.at[0].c, k.worst.at[0].at, CheckHelpfulOutflow)
	}
	lost := stranded.seg >= 0 && j.stranded == nil
	if !lost && (r.Helpful == nil || r.Helpful.MarginL >= -litreTolerance) {
		r.addHelpCheck(j, true, nil, 0)
		return
	}
	if lost {
		at := w.place(stranded)
		r.addHelpCheck(j, false, &at, 0)
		return
	}
	r.addHelpCheck(j, false, &r.Helpful.Place, r.Helpful.MarginL)
}
