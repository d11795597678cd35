package rules

import (
	"strings"

	"lastlight/engine/analysis"
	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
)

// instrumentRules are about what measured the gas and what compressed it.
func instrumentRules() []Rule {
	return []Rule{
		{
			ID: "gas.analyser", Version: 1, Title: "The analyser can be trusted", Citation: handbook("practice", "9.3, 10"), Cell: "mix.calibrated_within_min",
			Words: serviceWords(map[string]Words{
				"not_analysed":     {Says: "{subject}: nothing measured"},
				"not_named":        {Says: "{subject}: cannot tell, the analysis names no analyser on record", Remedy: "analyse it again and name the analyser"},
				"quarantine":       {Says: "{subject}: its analyser is in quarantine", Remedy: "analyse it again with another"},
				"calibrated":       {Says: "{subject}: analyser calibrated {observed} before the reading, at most {limit}; {air} % in air"},
				"not_calibrated":   {Says: "{subject}: cannot tell when the analyser was calibrated", Remedy: "calibrate in air, analyse it again and record both"},
				"calibration_late": {Says: "{subject}: analyser calibrated {observed} before the reading, at most {limit}", Remedy: "calibrate in air and analyse it again"},
				"no_air_reading":   {Says: "{subject}: cannot tell what the analyser showed in air", Remedy: "calibrate in air, analyse it again and record the reading"},
				"air_reading_off":  {Says: "{subject}: the analyser showed {observed} in air, {limit} expected", Remedy: "replace the cell or take another analyser, and analyse it again"},
			}),
			Check: func(c *Case) []finding.Finding { return c.eachCylinder(analyser) },
		},
		{
			ID: "gas.compressor_air", Version: 1, Title: "The compressor's air was tested", Citation: handbook("practice", "9.3, compressor air"), Cell: "kit",
			Words: serviceWords(map[string]Words{
				"not_named":  {Says: "{subject}: no compressor on record filled it"},
				"quarantine": {Says: "{subject}: filled by a compressor in quarantine", Remedy: "empty it and fill it elsewhere"},
			}),
			Check: func(c *Case) []finding.Finding {
				return c.eachCylinder(func(c *Case, s finding.Subject, cyl *facts.Cylinder, _ facts.Supply, at string) []finding.Finding {
					if cyl.Fill == nil || cyl.Fill.Compressor == nil || cyl.FilledOn.IsZero() {
						return one(answer(finding.NotApplicable, "not_named", s))
					}
					return c.instrument(s, cyl.Fill.Compressor, cyl.FilledOn, at)
				})
			},
		},
	}
}

// instrument judges an analyser or a compressor on the day it was used; the
// finding is about the cylinder, and names the instrument.
func (c *Case) instrument(s finding.Subject, it *facts.Item, on calendar.Day, at string) []finding.Finding {
	s.Name = s.Label() + ", " + it.Name
	if it.Quarantined != nil {
		f := answer(finding.Refuse, "quarantine", s)
		f.Path, f.Evidence = at, record("item", it.ID, it.Version)
		return one(f)
	}
	return c.clocks(s, it, on, at)
}

func analyser(c *Case, s finding.Subject, cyl *facts.Cylinder, _ facts.Supply, at string) []finding.Finding {
	a := lastAnalysis(cyl, c.Span.Entry)
	if a == nil {
		return one(answer(finding.NotApplicable, "not_analysed", s)) // gas.analysis says so
	}
	within := c.Policy.Mix.CalibratedWithin
	if within <= 0 {
		// The calibration is not asked; what is known against the analyser still counts.
		if a.Analyser != nil {
			if out := c.instrument(s, a.Analyser, c.seenDay(a.At), at); len(out) > 0 {
				return out
			}
		}
		return one(notAsked(s))
	}
	cannot := func(code string) finding.Finding {
		f := answer(finding.Indeterminate, code, s)
		f.Path = at
		return f
	}
	var out []finding.Finding
	base := pass(s)
	base.Code = "calibrated"
	base.Evidence = record("analysis", a.ID, a.Version)
	if a.Analyser == nil {
		out = append(out, cannot("not_named"))
	} else {
		out = append(out, c.instrument(s, a.Analyser, c.seenDay(a.At), at)...)
	}
	if a.Calibrated.IsZero() {
		out = append(out, cannot("not_calibrated"))
	} else {
		ago := a.At.Sub(a.Calibrated)
		base = measured(base, finding.CountOf("", ago, "min"), finding.CountOf("", within, "min"))
		if ago < 0 || ago > within {
			f := base
			f.Status, f.Code, f.Path = finding.Refuse, "calibration_late", at
			out = append(out, f)
		}
	}
	air, err := analysis.ParseDecimal(a.AirReading)
	low, errLow := analysis.ParseDecimal(c.Policy.Mix.AirReadingLow)
	high, errHigh := analysis.ParseDecimal(c.Policy.Mix.AirReadingHigh)
	switch {
	case err != nil || errLow != nil || errHigh != nil:
		out = append(out, cannot("no_air_reading"))
	case air.Float() < low.Float()-1e-9 || air.Float() > high.Float()+1e-9:
		f := measured(base, finding.Word("", a.AirReading+" %"), finding.Word("", strings.Join([]string{c.Policy.Mix.AirReadingLow, "to", c.Policy.Mix.AirReadingHigh, "%"}, " ")))
		f.Status, f.Code, f.Path = finding.Refuse, "air_reading_off", at
		out = append(out, f)
	}
	if !anyBlocks(out) {
		base.Figures = []finding.Figure{finding.Word("air", a.AirReading)}
		out = append(out, base)
	}
	return out
}
