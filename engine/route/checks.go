package route

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// What failing a check means.
const (
	MeansRefuse  = "refuse"
	MeansWaiver  = "needs_waiver"
	MeansCaution = "caution"
	MeansNothing = "none" // for comparison only
)

// short writes bar and metre amounts in sentences: one decimal.
func short(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) }

// wouldPass says where to turn instead.
func (j *judge) wouldPass() string {
	if !j.reached {
		return ""
	}
	return j.place(j.reach).Earlier()
}

// Earlier says in words that the team turns here or before.
func (p Place) Earlier() string {
	switch {
	case p.InHold:
		return fmt.Sprintf("turn at %s on move %d, %s min into the hold, or earlier", p.Station, p.Move, short(math.Floor(p.AfterHoldMin*10)/10))
	case p.InsideLeg():
		return fmt.Sprintf("turn on move %d, %s m past %s, or earlier", p.Move, short(math.Floor(p.MetresPast*10)/10), p.Station)
	}
	return fmt.Sprintf("turn at %s on move %d, or earlier", p.Station, p.Move)
}

// checks lists every requirement, also those that nothing of the plan concerns.
func (j *judge) checks(r *Result) {
	turn := j.wouldPass()
	add := func(c Check) {
		if c.Verdict == "" {
			c.Verdict = MeansRefuse
		}
		if !c.Passed && c.WhatPass == "" {
			c.WhatPass = turn
		}
		r.Checks = append(r.Checks, c)
	}
	commitment := r.Commitment
	add(j.shareCheck(&commitment))
	add(j.stageCheck(&commitment))
	for _, ends := range []bool{true, false} {
		add(j.sharingCheck(r, ends))
	}
	add(j.restrictionCheck())
	add(j.plannedCheck())
	add(j.caseCheck(CheckLostCylinder, lostWaiting, "D24, D19"))
	add(j.onTheWayCheck())
	add(j.caseCheck(CheckIndependent, lostMain, "D24"))
	add(j.spreadCheck())
	add(j.markerCheck())
	add(j.decoCheck())
	add(j.cavernCheck(r))
	add(j.siphonCheck())
}

func (j *judge) shareCheck(at *Place) Check {
	c := Check{Name: CheckShareRule, Applies: true, Passed: true, Place: at, Unit: "L", Reference: "D17, D23", Margin: math.Inf(1)}
	for d := range j.divers {
		used := j.usedMains(d, j.commitment)
		if m := j.permitted[d] - used; m < c.Margin-litreTolerance {
			c.Who, c.Measured, c.Limit, c.Margin = j.divers[d].name, used, j.permitted[d], m
		}
	}
	c.Passed = c.Margin >= -litreTolerance
	return c
}

func (j *judge) stageCheck(at *Place) Check {
	c := Check{Name: CheckStageShare, Passed: true, Place: at, Unit: "L", Reference: "4.5"}
	for k := range j.cyls {
		x := &j.cyls[k]
		if x.main || x.deco {
			continue
		}
		used := x.start - j.held(k, j.commitment)
		if m := j.allowed[k] - used; !c.Applies || m < c.Margin-litreTolerance {
			c.Applies, c.Who, c.Measured, c.Limit, c.Margin = true, x.id, used, j.allowed[k], m
		}
	}
	c.Passed = c.Margin >= -litreTolerance
	return c
}

func (j *judge) sharingCheck(r *Result, ends bool) Check {
	// One diver alone has nobody to share with, but a way out to swim.
	c := Check{Name: CheckSharing, Applies: len(j.divers) > 1 || j.stranded != nil, Passed: true, Unit: "L", Reference: "D18, D21, D16"}
	s, b, cannotShare := r.WorstSharing, &j.worst, j.shareHere != nil
	if ends {
		c.Name, c.Verdict, c.Reference = CheckSharingLegEnds, MeansNothing, "for comparison"
		s, b, cannotShare = r.WorstSharingAtLegEnds, &j.worstEnds, j.shareHereAtEnds
	}
	if s != nil {
		c.Who, c.Place = s.Donor+"->"+s.Victim, &s.Place
		c.Measured, c.Limit, c.Margin = s.LeftL, s.NeedL, s.MarginL
		c.Passed = b.margin >= -litreTolerance
	}
	if c.Applies && j.stranded != nil {
		at := j.place(*j.stranded)
		c.Passed, c.Place, c.WhatPass = false, &at, ""
	}
	if c.Applies && cannotShare && !j.alone {
		c.Passed = false
	}
	return c
}

func (j *judge) restrictionCheck() Check {
	c := Check{Name: CheckShareHere, Applies: j.shareHere != nil && len(j.divers) > 1, Passed: true, Reference: "D11"}
	if c.Applies {
		at := j.place(*j.shareHere)
		c.Passed, c.Place = false, &at
		c.WhatPass = "turn before the major restriction"
		if j.alone {
			c.Verdict = MeansWaiver
		}
	}
	return c
}

func (j *judge) plannedCheck() Check {
	at := j.place(j.end)
	c := Check{Name: CheckPlannedExit, Applies: true, Place: &at, Unit: "bar", Reference: "D24", Margin: math.Inf(1), Limit: j.in.Policy.PlannedReserveBar}
	least := math.Inf(1)
	for k := range j.cyls {
		if !j.relied(k) {
			continue
		}
		x := &j.cyls[k]
		if m := j.content[k] - x.planned; m < least-litreTolerance {
			least = m
			c.Who, c.Measured = j.divers[x.diver].name, x.gauge(j.content[k])
			if !x.main || len(j.divers[x.diver].mains) > 1 {
				c.Who += " " + x.id
			}
		}
	}
	c.Margin = c.Measured - c.Limit
	c.Passed = least >= -litreTolerance
	return c
}

// caseCheck is the lost waiting cylinder or the lost independent main.
func (j *judge) caseCheck(name string, kind lossKind, reference string) Check {
	c := Check{Name: name, Passed: true, Unit: "L", Reference: reference}
	for i := range j.cases {
		x := &j.cases[i]
		l := &j.others[i]
		if x.kind != kind || !l.found || c.Applies && l.margin >= c.Margin-litreTolerance {
			continue
		}
		at := j.place(l.at)
		s := &j.segs[l.at.seg]
		c.Applies, c.Who, c.Place, c.Margin = true, j.who(x), &at, l.margin
		c.Limit = j.need(i, s).at(l.at.x)
		c.Measured = c.Limit + l.margin
	}
	c.Passed = c.Margin >= -litreTolerance
	return c
}

func (j *judge) onTheWayCheck() Check {
	c := Check{Name: CheckOnTheWayOut, Passed: true, Reference: "D39"}
	for k := range j.offTheWay {
		l := &j.offTheWay[k]
		if !l.found || c.Applies && (l.margin > 0 || !c.Passed) {
			continue
		}
		at := j.place(l.at)
		c.Applies, c.Passed, c.Who, c.Place = true, l.margin > 0, j.cyls[k].id, &at
	}
	return c
}

func (j *judge) spreadCheck() Check {
	c := Check{Name: CheckSpread, Passed: true, Unit: "bar", Reference: "D24", Limit: j.spread}
	for d := range j.spreadWorst {
		if l := &j.spreadWorst[d]; l.found && (!c.Applies || l.margin < c.Margin) {
			at := j.place(l.at)
			c.Applies, c.Who, c.Place, c.Margin, c.Measured = true, j.divers[d].name, &at, l.margin, j.spread-l.margin
		}
	}
	c.Passed = c.Margin >= -1e-6
	return c
}

func (j *judge) markerCheck() Check {
	c := Check{Name: CheckMarkerMet, Applies: j.markersCounted, Passed: true, Unit: "L", Reference: "D30"}
	for i := range j.lateMarkers {
		l := &j.lateMarkers[i]
		if c.Passed || l.margin < c.Margin {
			at := j.place(l.at)
			c.Passed, c.Who, c.Place, c.Margin = false, j.divers[l.diver].name, &at, l.margin
			c.Limit = j.permitted[l.diver]
			c.Measured = c.Limit - l.margin
		}
	}
	return c
}

// decoCheck wants the content to be the policy's factor times the planned use.
func (j *judge) decoCheck() Check {
	c := Check{Name: CheckDecoGas, Passed: true, Unit: "L", Reference: "4.5"}
	for k := range j.cyls {
		x := &j.cyls[k]
		used := x.start - j.content[k]
		if !x.deco || used < litreTolerance {
			continue
		}
		limit := float64(orOne(j.in.Policy.DecoGasReserveFactor) * used)
		if m := x.start - limit; !c.Applies || m < c.Margin {
			c.Applies, c.Who, c.Measured, c.Limit, c.Margin = true, x.id, x.start, limit, m
		}
	}
	c.Passed = c.Margin >= -litreTolerance
	c.WhatPass = "more of this gas, or a shorter time on it"
	if c.Passed {
		c.WhatPass = ""
	}
	return c
}

func (j *judge) cavernCheck(r *Result) Check {
	c := Check{Name: CheckCavernZone, Applies: j.in.ClaimedZone == ClaimCavern, Passed: true, Reference: "D2"}
	for i := range r.Zones {
		if c.Applies && c.Passed && r.Zones[i].Zone == ZoneCave {
			c.Passed, c.Who = false, r.Zones[i].Leg
			c.WhatPass = "stay out of leg " + r.Zones[i].Leg
		}
	}
	return c
}

func (j *judge) siphonCheck() Check {
	c := Check{Name: CheckSiphon, Applies: len(j.inflow) > 0 && j.in.Policy.SiphonRow != SiphonNoRow, Passed: true, Reference: "D38", Unit: "m/min", Limit: 0.5}
	for _, l := range j.inflow {
		if f := math.Abs(j.legs[l].in.FlowMMin); c.Applies && f > c.Measured {
			c.Who, c.Measured, c.Margin = j.legs[l].in.ID, f, 0.5-f
		}
	}
	c.Passed = !c.Applies || j.in.Policy.SiphonRow != SiphonRefuse
	if !c.Passed {
		c.WhatPass = "a way out without inflow"
	}
	return c
}

// WithoutHelp is the check of the sharing exit without the flow that helps, at the place
// that leaves least, with its caution in the result. worst is nil where nobody can share;
// nowhere is a place without a way out, or none that can be scheduled, nil where there is none.
func (r *Result) WithoutHelp(p *Policy, worst *Sharing, nowhere *Place) Check {
	c := Check{Name: CheckHelpfulOutflow, Applies: true, Passed: true, Verdict: MeansCaution, Unit: "L", Reference: "4.6"}
	if p.HelpfulOutflow == HelpfulRefuse {
		c.Verdict = MeansRefuse
	}
	r.Helpful = worst
	if worst != nil {
		c.Who, c.Place, c.Measured, c.Limit, c.Margin = worst.Donor+"->"+worst.Victim, &worst.Place, worst.LeftL, worst.NeedL, worst.MarginL
		c.Passed = worst.MarginL >= -litreTolerance
	}
	if nowhere != nil {
		c.Passed, c.Place, c.Margin = false, nowhere, 0
	}
	r.Cautions = slices.DeleteFunc(r.Cautions, func(c Caution) bool { return c.Kind == CautionHelpfulOutflow })
	if !c.Passed {
		r.Cautions = append(r.Cautions, Caution{
			Kind: CautionHelpfulOutflow, Who: c.Who, Place: c.Place, Value: c.Margin, Unit: "L",
			Phrase: "without the flow that helps on the way out, two on one supply do not get out",
		})
	}
	return c
}

// Conclude is the verdict: fail if anything that refuses, or needs a waiver, is
// not passed; which of the two says each check.
func (r *Result) Conclude() {
	r.Verdict = Pass
	for i := range r.Checks {
		if c := &r.Checks[i]; !c.Passed && (c.Verdict == MeansRefuse || c.Verdict == MeansWaiver) {
			r.Verdict = Fail
		}
	}
	share, sharing := math.Inf(1), math.Inf(1)
	for i := range r.Divers {
		g := &r.Divers[i]
		share = math.Min(share, g.TurnBar-g.ShareTurnBar)
		sharing = math.Min(sharing, g.TurnBar-g.TwoOutBar)
	}
	r.Governs = CheckShareRule
	if sharing < share {
		r.Governs = BindSharing
	}
}

// cautions are the things to say that decide nothing.
func (r *Result) cautions(j *judge) {
	add := func(c Caution) { r.Cautions = append(r.Cautions, c) }
	slow := j.in.Policy.SlowProgressMMin
	if slow == 0 {
		slow = 3
	}
	seen := make([]bool, len(j.legs))
	for i := range j.moves {
		n := j.moves[i].leg
		if seen[n] {
			continue
		}
		seen[n] = true
		for dir := range 2 {
			l := &j.legs[n]
			t := &l.travel[dir]
			switch {
			case !t.passes:
				add(Caution{
					Kind: CautionNoWayOver, Who: l.in.ID, Value: t.ground, Unit: "m/min",
					Phrase: "leg " + l.in.ID + " " + directionArrow[dir] + " is no way out: no ground is made at contingency speed",
				})
			case t.ground < slow-1e-9:
				add(Caution{
					Kind: CautionSlowProgress, Who: l.in.ID, Value: t.ground, Limit: slow, Unit: "m/min",
					Phrase: "leg " + l.in.ID + " " + directionArrow[dir] + ": " + short(t.ground) + " m/min over ground at contingency speed",
				})
			}
		}
	}
	for i := range r.FarSide {
		f := &r.FarSide[i]
		if f.MarginL < -litreTolerance {
			add(Caution{
				Kind: CautionFarSideShut, Who: f.Diver, Place: &f.Place, Value: f.MarginL, Unit: "L",
				Phrase: "far side shut at the last metre: alone, back the way in, " + short(f.MarginL) + " L",
			})
		}
	}
	for d := range j.in.Team {
		v := &j.in.Team[d]
		for _, list := range [][]Cylinder{v.Mains, v.Stages} {
			for k := range list {
				if list[k].TempC == nil && j.in.GasModel == "real" {
					add(Caution{
						Kind: CautionTemperature, Who: v.Name + " " + list[k].ID, Value: 20, Unit: "°C",
						Phrase: "no temperature entered for the pressure of " + v.Name + ": 20 °C taken",
					})
				}
			}
		}
		g := &r.Divers[d]
		if m := j.in.Policy.MinimumGasBar; m > 0 {
			for _, k := range j.divers[d].mains {
				if bar := j.cyls[k].gauge(j.held(k, j.commitment)); bar < m-1e-9 {
					add(Caution{
						Kind: CautionMinimumGas, Who: v.Name, Place: &r.Commitment, Value: bar, Limit: m, Unit: "bar",
						Phrase: g.Name + " is below the minimum gas before the way home begins: the turn pressure comes first",
					})
				}
			}
		}
	}
	for i := range r.Closability {
		if c := &r.Closability[i]; c.HalvesWarning {
			add(Caution{
				Kind: CautionHalves, Who: c.ID, Value: c.HalvesDiffer, Limit: j.in.Policy.halvesWarn(), Unit: "",
				Phrase: "halves by distance, time and gas differ: gas decides",
			})
		}
	}
	if len(j.divers) == 1 {
		add(Caution{Kind: CautionSolo, Who: j.divers[0].name, Phrase: "no second diver: nobody to share with"})
	}
	if len(j.cases) > 0 && j.cases[0].kind == sharePooled {
		add(Caution{Kind: CautionPooled, Phrase: "donors are counted together: they must take turns"})
	}
}
