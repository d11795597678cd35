package fillstation

import (
	"fmt"

	"lastlight/engine/gas"
	"lastlight/engine/policy"
	"lastlight/engine/water"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// CheckMix tells where a mix may be breathed.
func CheckMix(r *lastlightv1.CheckMixRequest, p *policy.Policy) (*lastlightv1.MixCheck, error) {
	c, err := column(r.Surroundings)
	if err != nil {
		return nil, err
	}
	l, m := limitsOf(p), mixOf(r.Gas)
	if r.OxygenLimitBar != nil {
		l.WorkingBar = *r.OxygenLimitBar
		l.RestingBar = max(l.RestingBar, l.WorkingBar)
	}
	out := &lastlightv1.MixCheck{
		Gas:                    r.Gas,
		DeepestWorkingM:        gas.RoundDown(depth(gas.MOD(m, l.WorkingBar, c))),
		DeepestRestingM:        gas.RoundDown(depth(gas.MOD(m, l.RestingBar, c))),
		DeepestAdvisedDensityM: gas.RoundDown(depth(m.DepthOfDensity(l.DensityCaution, c))),
		DeepestDensityM:        gas.RoundDown(depth(m.DepthOfDensity(l.DensityMost, c))),
		ShallowestM:            gas.RoundUp(depth(l.Shallowest(m, c))),
		Limits:                 limitsUsed(l, c),
	}
	if r.DepthM != nil {
		l.AtRest = r.AtRest
		out.AtDepth = atDepth(m, *r.DepthM, c, l)
	}
	return out, nil
}

func atDepth(m gas.Mix, metres float64, c water.Column, l gas.Limits) *lastlightv1.AtDepth {
	b := l.At(m, metres, c)
	out := &lastlightv1.AtDepth{
		DepthM: metres, OxygenBar: up(b.OxygenBar, 2), EquivalentAirM: up(b.EAD, 1),
		NarcoticWithOxygenM: up(gas.END(m, metres, c, true), 1), NarcoticNitrogenM: up(gas.END(m, metres, c, false), 1),
		Density: up(b.Density, 2), Verdict: "pass",
	}
	words := map[string]string{
		"rich":         fmt.Sprintf("%.2f bar of oxygen, at most %.2f bar at work; at rest on a stop at most %.2f bar (refused above %.2f)", out.OxygenBar, l.WorkingBar, l.RestingBar, l.RestingBar+gas.OxygenSlack),
		"rich_at_rest": fmt.Sprintf("%.2f bar of oxygen, at most %.2f bar at work and %.2f bar at rest on a stop (refused above %.2f)", out.OxygenBar, l.WorkingBar, l.RestingBar, l.RestingBar+gas.OxygenSlack),
		"hypoxic":      fmt.Sprintf("%.3f bar of oxygen, at least %.3f bar", down(b.OxygenBar, 3), up(gas.LeastOxygen(l.FloorBar, c), 3)),
		"heavy":        fmt.Sprintf("%.2f g/L, at most %.2f g/L", out.Density, l.DensityMost),
		"dense":        fmt.Sprintf("%.2f g/L, advised at most %.2f g/L", out.Density, l.DensityCaution),
	}
	for _, code := range b.Refused {
		out.Verdict, out.Reasons = "refuse", append(out.Reasons, words[code])
	}
	for _, code := range b.Cautioned {
		if out.Verdict == "pass" {
			out.Verdict = "caution"
		}
		out.Reasons = append(out.Reasons, words[code])
	}
	return out
}

// BestMix finds the mix for a depth.
func BestMix(r *lastlightv1.GetBestMixRequest, p *policy.Policy) (*lastlightv1.BestMix, error) {
	c, err := column(r.Surroundings)
	if err != nil {
		return nil, err
	}
	l := limitsOf(p)
	w := gas.Want{Depth: r.GetDepthM(), OxygenBar: l.WorkingBar, FloorBar: l.FloorBar, Density: l.DensityCaution, Narcosis: -1, OxygenNarcotic: l.OxygenNarcotic}
	if r.OxygenLimitBar != nil {
		w.OxygenBar = *r.OxygenLimitBar
	}
	if r.DensityLimit != nil {
		w.Density = *r.DensityLimit
	}
	if r.NarcoticLimitM != nil {
		w.Narcosis = *r.NarcoticLimitM
	}
	l.WorkingBar = w.OxygenBar
	l.RestingBar = max(l.RestingBar, l.WorkingBar)
	exact, whole, ok := w.Best(c)
	out := &lastlightv1.BestMix{Found: ok, Limits: limitsUsed(l, c), OxygenLimitBar: w.OxygenBar, DensityLimit: w.Density}
	if ok {
		out.Exact, out.Gas = percent(exact, 6), percent(whole, 0)
		out.ShallowestM = gas.RoundUp(depth(l.Shallowest(whole, c)))
		out.AtDepth = atDepth(whole, r.GetDepthM(), c, l)
	}
	hand := gas.Stocked()
	if len(r.AtHand) > 0 {
		hand = nil
		for _, m := range r.AtHand {
			hand = append(hand, mixOf(m))
		}
	}
	for _, m := range w.Fitting(hand, c) {
		out.Fitting = append(out.Fitting, percent(m, 2))
	}
	return out, nil
}

// CheckSwitch tells how a change of gas stands to the rule of thumb on counterdiffusion.
func CheckSwitch(r *lastlightv1.CheckGasSwitchRequest, p *policy.Policy) *lastlightv1.GasSwitch {
	share := p.Mix.SwitchNitrogenShare
	rise, allowed, note := gas.Counterdiffusion(mixOf(r.From), mixOf(r.To), share.Value())
	out := &lastlightv1.GasSwitch{NitrogenRisePercent: round(100*rise, 2), AllowedPercent: round(100*allowed, 2), Noted: note}
	switch {
	case note:
		out.Note = fmt.Sprintf("Nitrogen rises by more than %s of the fall of helium: inert gas may build up on the way. A rule of thumb, common practice and disputed; it refuses nothing.", share)
	case allowed == 0:
		out.Note = "No helium is lost: the rule of thumb does not concern this change."
	default:
		out.Note = "Within the rule of thumb, which is common practice and disputed."
	}
	return out
}
