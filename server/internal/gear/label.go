package gear

import (
	"fmt"
	"math"

	"lastlight/engine/analysis"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// Label is the text for a cylinder's label: which cylinder, the gas as measured
// and the depth it may be breathed at, from the measured value and floored
// (T30), the pressure, when and by whom (practice 10). Empty where the
// percentages are none.
func Label(p *policy.Policy, m *lastlightv1.Analysis) string {
	oxygen, err := analysis.ParseDecimal(m.OxygenPercent)
	if err != nil {
		return ""
	}
	helium := analysis.Decimal{}
	if m.HeliumPercent != "" {
		if helium, err = analysis.ParseDecimal(m.HeliumPercent); err != nil {
			return ""
		}
	}
	limit, err := analysis.FromFloat(p.Mix.PO2WorkingBar)
	if err != nil {
		return ""
	}
	floor, err := analysis.FromFloat(p.Mix.PO2FloorBar)
	if err != nil {
		return ""
	}
	answer, err := analysis.JudgeLabel(analysis.Label{PlanOxygen: oxygen, PlanHelium: helium, MeasuredOxygen: oxygen, MeasuredHelium: helium, MaxOxygenBar: limit}, analysis.LabelRules{HypoxicBar: floor})
	if err != nil {
		return ""
	}
	text := fmt.Sprintf("O2 %s %%", oxygen)
	if helium.Float() > 0 {
		text += fmt.Sprintf(", He %s %%", helium)
	}
	text += fmt.Sprintf("; MOD %d m at %s bar", answer.MODM, limit)
	if answer.ShallowestM > 0 {
		text += fmt.Sprintf("; not above %d m", answer.ShallowestM)
	}
	if m.Pressure != nil {
		text += fmt.Sprintf("; %.0f bar", math.Floor(m.Pressure.GetBar()+1e-6))
	}
	return m.Cylinder + ": " + text + "; analysed " + m.AnalysedAt.AsTime().Format("2006-01-02 15:04") + " UTC by " + m.AnalysedBy
}
