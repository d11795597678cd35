package analysis

import "fmt"

// LabelRules are the club's tolerances and limits for a mix (T30).
type LabelRules struct {
	OxygenTolerance Decimal `json:"o2_tolerance"` // percentage points, 1.0; equality passes
	HeliumTolerance Decimal `json:"he_tolerance"` // percentage points, 2.0; equality passes
	HypoxicBar      Decimal `json:"hypoxic_bar"`  // 0.18 bar: least oxygen pressure that may be breathed
}

// Label is a mix as planned and as measured. Percentages are typed decimals.
type Label struct {
	PlanOxygen     Decimal  `json:"plan_o2"`
	PlanHelium     Decimal  `json:"plan_he"`
	MeasuredOxygen Decimal  `json:"measured_o2"` // above 0, at most 100
	MeasuredHelium Decimal  `json:"measured_he"` // not measured = 0
	MaxOxygenBar   Decimal  `json:"pp_max"`      // bar
	PlanDepthM     *Decimal `json:"plan_depth_m,omitempty"`
	AtDepthM       *Decimal `json:"at_depth_m,omitempty"` // for PartialOxygen and NarcoticDepth
}

// LabelAnswer is what the measured mix allows. Depths are metres of water at 10 m per bar.
type LabelAnswer struct {
	MODExactM      float64  `json:"mod_exact_m"`                // two decimals, half up
	MODM           int      `json:"mod_m"`                      // floored
	ShallowestM    int      `json:"shallowest_m"`               // rounded up, at least 0
	PartialOxygen  *float64 `json:"pp_o2,omitempty"`            // bar, three decimals
	NarcoticDepthM *float64 `json:"narcotic_depth_m,omitempty"` // oxygen counted as narcotic, two decimals
	Why            []string `json:"why"`
	Verdict        string   `json:"verdict"` // Accept, RePlan or Blocked
}

// JudgeLabel compares a measured mix with the plan: all reasons at once; deeper
// than the floored measured MOD blocks, and beats a mix out of tolerance. The
// error names percentages that no gas can have.
func JudgeLabel(l Label, rules LabelRules) (LabelAnswer, error) {
	o2, he := l.MeasuredOxygen.millionths, l.MeasuredHelium.millionths
	if o2 <= 0 || he < 0 || o2+he > 100*million {
		return LabelAnswer{}, fmt.Errorf("oxygen %s %% and helium %s %% are no mix", l.MeasuredOxygen, l.MeasuredHelium)
	}
	// depth = (pressure/fraction − 1)·10 with fraction = o2/100
	depth := func(bar Decimal) ratio { return ratio{1000*bar.millionths - 10*o2, o2} }
	mod := depth(l.MaxOxygenBar)
	out := LabelAnswer{
		MODExactM:   mod.shown(2),
		MODM:        int(mod.floor()),
		ShallowestM: int(max(0, depth(rules.HypoxicBar).ceil())),
		Why:         []string{},
		Verdict:     Accept,
	}
	if off(o2, l.PlanOxygen.millionths) > rules.OxygenTolerance.millionths {
		out.Why, out.Verdict = append(out.Why, OxygenOff), RePlan
	}
	if off(he, l.PlanHelium.millionths) > rules.HeliumTolerance.millionths {
		out.Why, out.Verdict = append(out.Why, HeliumOff), RePlan
	}
	if l.PlanDepthM != nil && l.PlanDepthM.millionths > int64(out.MODM)*million {
		out.Why, out.Verdict = append(out.Why, DeeperThanMOD), Blocked
	}
	if l.AtDepthM != nil {
		// Tenths of a bar over a depth of d metres: d + 10. Products are scaled down to
		// ten-thousandths of a metre and of a per cent so that they fit.
		tenths := (l.AtDepthM.millionths + 10*million) / 100
		pp := ratio{tenths * (o2 / 100), 10 * 10_000 * 100 * 10_000}
		narcotic := ratio{tenths*((100*million-he)/100) - 10*10_000*100*10_000, 10_000 * 100 * 10_000}
		p, n := pp.shown(3), narcotic.shown(2)
		out.PartialOxygen, out.NarcoticDepthM = &p, &n
	}
	return out, nil
}

func off(a, b int64) int64 { return max(a-b, b-a) }
