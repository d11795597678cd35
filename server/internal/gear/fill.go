package gear

import (
	"fmt"
	"strings"

	"lastlight/engine/analysis"
	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/gear"
	"lastlight/engine/policy"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// anyway is how a fill that was made all the same is put on record.
const anyway = "a cylinder that may be filled; made_anyway puts a fill on record that was made all the same"

// CheckFilling judges a fill against the cylinder as it stood on the fill's day:
// in test, not too far, cleaned for what goes in. All problems at once.
func CheckFilling(p *fault.Problems, inForce *policy.Policy, cyl *facts.Cylinder, m *lastlightv1.Fill, on calendar.Day) {
	if m.MadeAnyway {
		return
	}
	bare := *cyl
	bare.FilledOn = calendar.Day{}
	may := gear.CylinderOn(inForce, &bare, on)
	if may.Fill.Answer.Blocks() {
		why := strings.ReplaceAll(strings.Join(may.Fill.Why, ", "), "_", " ")
		said := "may not be filled on " + on.String()
		if may.Fill.Answer == due.CannotTell {
			said = "cannot be told whether it may be filled on " + on.String()
		}
		p.Add("cylinder", m.Cylinder+": "+why, anyway, said+" ("+may.Fill.Clause.Document+", "+may.Fill.Clause.Section+")")
	} else if settled := settledBar(m); settled > may.MaxFillBar+1e-6 {
		p.Add("pressure", fmt.Sprintf("%.1f bar at 20 °C", settled), fmt.Sprintf("at most %.1f bar", may.MaxFillBar), "above the marked pressure, or what a standing plus adds to it")
	}
	regime, ok := gear.RegimeOn(inForce, cyl, on)
	if !ok {
		return
	}
	limit, err := analysis.ParseDecimal(regime.CleanAboveO2)
	rich := err == nil && m.Intended.GetOxygenPercent() > limit.Float()
	if (rich || m.Method == "partial_pressure") && cyl.Clean != "clean" {
		p.Add("intended", fmt.Sprintf("%g %% oxygen into a cylinder that is %s", m.Intended.GetOxygenPercent(), strings.ReplaceAll(cyl.Clean, "_", " ")),
			"a cylinder cleaned for oxygen above "+regime.CleanAboveO2+" %, and for any filling by partial pressure", "not clean, or not known to be")
	}
}

// settledBar is the fill's gauge pressure once it has come to 20 °C, the
// temperature at which gas is counted; as read where no temperature was.
func settledBar(m *lastlightv1.Fill) float64 {
	bar := m.Pressure.GetBar()
	if m.TemperatureC == nil {
		return bar
	}
	return (bar+1)*293.15/(273.15+*m.TemperatureC) - 1
}
