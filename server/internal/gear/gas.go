package gear

import (
	"time"

	"lastlight/engine/analysis"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/fault"
)

// CheckFill notes what is wrong with a fill.
func CheckFill(p *fault.Problems, m *lastlightv1.Fill, now time.Time) {
	dates.Instant(p, "filled_at", m.FilledAt.AsTime(), now)
	if m.TimeZone != "" && !dates.Zone(m.TimeZone) {
		p.Add("time_zone", m.TimeZone, "an IANA zone such as Europe/Zurich, or empty", "there is no such time zone")
	}
}

// CheckAnalysis notes what is wrong with an analysis.
func CheckAnalysis(p *fault.Problems, m *lastlightv1.Analysis, now time.Time) {
	dates.Instant(p, "analysed_at", m.AnalysedAt.AsTime(), now)
	oxygen := percent(p, "oxygen_percent", m.OxygenPercent, 4, 100)
	helium := percent(p, "helium_percent", m.HeliumPercent, 0, 96)
	if oxygen+helium > 100 {
		p.Add("helium_percent", m.HeliumPercent+" %", "oxygen and helium together at most 100 %", "the two are more than the whole gas")
	}
	percent(p, "air_reading_percent", m.AirReadingPercent, 0, 100)
	if c := m.CalibratedAt; c != nil {
		dates.Year(p, "calibrated_at", c.AsTime())
	}
	if c := m.CalibratedAt; c != nil && c.AsTime().After(m.AnalysedAt.AsTime()) {
		p.Add("calibrated_at", c.AsTime().Format(time.RFC3339), "analysed_at or earlier", "calibrated after the analysis")
	}
}

// percent reads a typed percentage; 0 for none.
func percent(p *fault.Problems, field, text string, low, high float64) float64 {
	if text == "" {
		return 0
	}
	d, err := analysis.ParseDecimal(text)
	if err != nil {
		p.Add(field, text, "a number such as 32.4", "not a percentage")
		return 0
	}
	if x := d.Float(); x < low || x > high {
		p.Add(field, text+" %", bounds(low, high), "not a percentage that this gas can have; 0.32 is not 32")
		return 0
	}
	return d.Float()
}

func bounds(low, high float64) string {
	l, _ := analysis.FromFloat(low)
	h, _ := analysis.FromFloat(high)
	return l.String() + " to " + h.String() + " %"
}
