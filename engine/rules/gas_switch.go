package rules

import (
	"slices"

	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
)

// switches notes, for each diver, every change to a gas with so much more
// nitrogen and so much less helium that inert gas may build up on the way. It
// advises and never blocks: the rule of fifths is common practice, and disputed.
func switches(c *Case) []finding.Finding {
	var out []finding.Finding
	for i, m := range c.Team {
		if m.Record == nil {
			continue
		}
		s, changed := m.subject(), false
		gases, known := c.inOrder(m.Record.ID)
		if !known {
			out = append(out, unknown(s, "the mixes", path("plan.team", i, "")))
			continue
		}
		for k := 1; k < len(gases); k++ {
			from, to := gases[k-1], gases[k]
			if from.mix == to.mix {
				continue
			}
			changed = true
			out = append(out, c.change(from, to))
		}
		if !changed {
			out = append(out, answer(finding.Pass, "none", s))
		}
	}
	if len(out) == 0 {
		out = one(unknown(c.plan(), "the team", "plan.team"))
	}
	return out
}

// taken is a supply with its mix, in the order in which a way up breathes them.
type taken struct {
	supply facts.Supply
	mix    gas.Mix
}

// inOrder are a diver's supplies from the main gas upward, the one breathed
// deepest first; false where a mix is not known.
func (c *Case) inOrder(diver string) ([]taken, bool) {
	var all []taken
	for _, s := range c.In.Plan.Supplies {
		if s.Diver != diver {
			continue
		}
		m, ok := c.mixOf(s)
		if !ok {
			return nil, false
		}
		all = append(all, taken{s, m})
	}
	slices.SortStableFunc(all, func(a, b taken) int {
		if am, bm := a.supply.Role == facts.Main, b.supply.Role == facts.Main; am != bm {
			if am {
				return -1
			}
			return 1
		}
		switch ad, bd := a.supply.DeepestM, b.supply.DeepestM; {
		case ad == nil && bd == nil || ad != nil && bd != nil && *ad == *bd:
			return 0
		case ad == nil || bd != nil && *ad > *bd:
			return -1
		}
		return 1
	})
	return all, true
}

func (c *Case) change(from, to taken) finding.Finding {
	rise, allowed, note := gas.Counterdiffusion(from.mix, to.mix, c.Policy.Mix.SwitchNitrogenShare.Value())
	f := measured(pass(c.supply(to.supply)), finding.Number("", 100*rise, 1, "points"), finding.Number("", 100*allowed, 1, "points"))
	f.Figures = []finding.Figure{finding.Word("from", from.mix.String())}
	switch {
	case note:
		f.Status, f.Code = finding.Note, "rise"
	case allowed == 0 || rise <= 0:
		f.Code = "outside"
	}
	return f
}
