package route

// Evaluate judges one plan. Every input gives either a Result or problems with
// the place of each, never both, never a panic; numbers in the Result are finite.
// The Input is only read.
func Evaluate(in Input) (Result, []Problem) {
	l, problems := Lay(in)
	if len(problems) > 0 {
		return Result{}, problems
	}
	r, problems := l.Judge(in.Policy)
	l.ShareAtStations(&r)
	return r, problems
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

// withoutHelp computes the sharing exit with helpful flow set to zero (4.6); w is that walk.
func (r *Result) withoutHelp(j *judge, w *walk) {
	if w == nil {
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
	if k.worst.found {
		r.Parts.Helpful = k.placeParts(k.worst.at[0].c, k.worst.at[0].at, CheckHelpfulOutflow)
	}
	var nowhere *Place
	if stranded.seg >= 0 && j.stranded == nil {
		at := w.place(stranded)
		nowhere = &at
	}
	r.Checks = append(r.Checks, r.WithoutHelp(&j.in.Policy, w.worstSharing(&k.worst), nowhere))
}
