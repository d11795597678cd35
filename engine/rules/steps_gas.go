package rules

import (
	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/facts"
	"lastlight/engine/finding"
	"lastlight/engine/gas"
	"lastlight/engine/route"
)

// pressureAt is the ambient pressure at a depth.
func (s *steps) pressureAt(depth float64) finding.Figure {
	w := s.c.Water
	p := ambient("pressure", w.Pressure(depth))
	s.add("ambient pressure there", "surface + metre × depth", p,
		ambient("surface", w.Surface).At(s.c.surfaceAt()), ratio("metre", w.PerMetre).At("site.density_kg_m3, bar per metre"), metres("depth", depth).At("route, or the supply's deepest_m"))
	return p.At(finding.Above)
}

// oxygenSteps are a partial pressure of oxygen at a depth.
func (c *Case) oxygenSteps(m gas.Mix, depth float64, at string, f finding.Finding) []finding.Step {
	s := c.explaining("physics, 3; practice, 10")
	p := s.pressureAt(depth)
	s.add("oxygen there", "oxygen × pressure", finding.Number("partial pressure", *f.Observed.Number, 4, "bar"), ratio("oxygen", m.O2).At(at), p)
	return s.lines(f.Given(finding.Above, "policy.mix"))
}

// densitySteps are the density of a gas at a depth.
func (c *Case) densitySteps(m gas.Mix, depth float64, at string, f finding.Finding) []finding.Step {
	s := c.explaining("physics, 5")
	p := s.pressureAt(depth)
	molar := finding.Number("molar mass", m.MolarMass(), 4, "g/mol")
	s.add("molar mass of the mix", "oxygen × 31.998 + nitrogen × 28.0134 + helium × 4.0026", molar, ratio("oxygen", m.O2).At(at), ratio("nitrogen", m.N2()).At("the rest"), ratio("helium", m.He).At(at))
	s.add("density there", "pressure × 100 × molar mass / (8.314462618 × 273.15)", finding.Number("density", *f.Observed.Number, 4, "g/L"), p, molar.At(finding.Above))
	return s.lines(f.Given(finding.Above, "policy.mix"))
}

// startSteps are the litres of a diver's mains at the start.
func (c *Case) startSteps(fillings []mainFilling, sum float64, f finding.Finding) []finding.Step {
	s := c.explaining("physics, 6")
	var in []finding.Figure
	for _, x := range fillings {
		kelvin, surface, z, surfaceZ, slope := x.filling.Parts(x.bar)
		name := c.cylinder(x.cylinder).Label()
		s.content(name, route.CylinderParts{Cylinder: x.supply}, route.FilledParts{
			Ideal: x.filling.Ideal(), VolumeL: x.volume, Bar: x.bar, Litres: x.litres, Kelvin: kelvin, SurfaceBar: surface, Z: z, SurfaceZ: surfaceZ, Slope: slope,
		}, c.startAt(x.supply))
		in = append(in, litres(name, x.litres).At(finding.Above))
	}
	s.add("all mains", finding.Sum, litres("content", sum), in...)
	return s.lines(f.Given(finding.Above, "policy.ladder["+c.LevelName+"].min_start_gas_l"))
}

// analysisSteps are how long an analysis holds.
func (c *Case) analysisSteps(a *facts.Analysis, last calendar.Day, f finding.Finding) []finding.Step {
	s := c.explaining("dates and deadlines, T29")
	if day, err := c.In.Site.Zones[0].Day(a.At); err == nil && !last.IsZero() {
		if day.Add(c.Policy.Mix.AnalysisDays) == last {
			s.add("last good day of the analysis", finding.DaysOn, finding.Word("last good day", last.String()),
				finding.Word("date", day.String()).At("cylinders, analysis "+a.ID), finding.CountOf("days", c.Policy.Mix.AnalysisDays, "").At("policy.mix.analysis_days"))
		}
	}
	return s.lines(f.Given("cylinders, analysis "+a.ID, ""))
}

// medicalSteps are how far an examination and a declaration reach: days, and
// never what they say. They stand in a finding that is masked as a whole.
func (c *Case) medicalSteps(m Member, a due.MedicalDue) []finding.Step {
	rec := m.Record.Medical
	at := path("divers", c.indexOf(m.Diver), "medical.")
	s := c.explaining("dates and deadlines, T22")
	var ends []finding.Figure
	add := func(name, at string, d calendar.Day) {
		if !d.IsZero() {
			ends = append(ends, finding.Word(name, d.String()).At(at))
		}
	}
	add("examination ends", at+"examined, policy.people.medical_bands", a.ExamDue)
	if c.Policy.People.DeclarationRequired && !rec.Declared.IsZero() {
		last := rec.Declared.AddMonths(c.Policy.People.DeclarationMonths)
		s.add("the declaration reaches", finding.SameDay, finding.Word("declaration ends", last.String()), finding.Word("date", rec.Declared.String()).At(at+"declared"), finding.CountOf("months", c.Policy.People.DeclarationMonths, "").At("policy.people.declaration_months"))
		add("declaration ends", finding.Above, last)
	}
	add("the doctor's own date", at+"doctor_until", rec.DoctorUntil)
	if !a.LastDay.IsZero() && len(ends) > 0 {
		s.add("fit until", finding.Earliest, finding.Word("last day", a.LastDay.String()), ends...)
	}
	s.add("the days of the dive", finding.Recorded, finding.Word("", c.daysWords()), finding.Word("verdict", a.Verdict))
	return s.lines()
}
